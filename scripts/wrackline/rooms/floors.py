"""Floors inside wall centre lines: the enclosed space less half of every wall around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

Array = npt.NDArray[np.float64]

ON_LINE_M = 0.001


@dataclass(frozen=True)
class Floor:
    """A floor between faces.

    Attributes
    ----------
    polygon : Geometry
        The floor in the grid.
    span : array, shape (m, 2)
        The part of each bounding edge along which the floor runs, as fractions of the edge.
    length_m : array, shape (m,)
        Length of the floor's outline along each edge [m].
    """

    polygon: shapely.Geometry
    span: Array
    length_m: Array


def floor_of(polygon: shapely.Polygon, ends: Array, side: Array, thickness: Array) -> Floor | None:
    """Return the floor of an enclosed space.

    Parameters
    ----------
    polygon : Polygon
        The space between the lines as drawn.
    ends : array, shape (m, 2, 2)
        Start and stop of each bounding edge [m].
    side : array, shape (m,)
        +1 where the space lies to the left of the edge, -1 to its right.
    thickness : array, shape (m,)
        Thickness of the wall whose centre each edge is; 0 along faces, NaN where unknown [m].

    Returns
    -------
    Floor or None
        None where a thickness is unknown, or where the walls would leave no floor.

    Examples
    --------
    Four by three metres to wall centres, walls of 0.5 m: 3.5 by 2.5 m of floor.

    >>> corner = np.array([[0.0, 0], [4, 0], [4, 3], [0, 3], [0, 0]])
    >>> ends = np.stack([corner[:-1], corner[1:]], axis=1)
    >>> float(floor_of(shapely.box(0, 0, 4, 3), ends, np.ones(4), np.full(4, 0.5)).polygon.area)
    8.75
    """
    if np.isnan(thickness).any():
        return None
    size = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    if not thickness.any():
        return Floor(polygon, np.tile([0.0, 1.0], (len(ends), 1)), size)
    if np.ptp(thickness) == 0:
        floor = shapely.buffer(polygon, -thickness[0] / 2, join_style="mitre", mitre_limit=10.0)
    else:
        lines = shapely.linestrings(ends)
        strips = shapely.buffer(lines, thickness / 2, cap_style="square")
        floor = shapely.difference(polygon, shapely.union_all(strips[thickness > 0]))
    if shapely.is_empty(floor):
        return None
    return Floor(floor, *_runs(floor, ends, side, thickness))


def _runs(
    floor: shapely.Geometry, ends: Array, side: Array, thickness: Array
) -> tuple[Array, Array]:
    """Return where along each edge the floor's outline runs beside it, and for how long."""
    step = ends[:, 1] - ends[:, 0]
    size = np.hypot(step[:, 0], step[:, 1])
    along = step / size[:, None]
    inward = np.stack([-along[:, 1], along[:, 0]], axis=-1) * side[:, None]
    beyond = along * thickness[:, None]
    shift = inward * thickness[:, None] / 2
    beside = np.stack([ends[:, 0] + shift - beyond, ends[:, 1] + shift + beyond], axis=1)
    outline = shapely.buffer(shapely.boundary(floor), ON_LINE_M, cap_style="flat")
    common = shapely.intersection(shapely.linestrings(beside), outline)
    long = shapely.length(common) > 4 * ON_LINE_M
    xy, edge = shapely.get_coordinates(common, return_index=True)
    place = ((xy - ends[edge, 0]) * along[edge]).sum(axis=1) / size[edge]
    span = np.zeros((len(ends), 2))
    for column, reduce in ((0, np.minimum), (1, np.maximum)):
        values = np.full(len(ends), np.inf if column == 0 else -np.inf)
        reduce.at(values, edge, place)
        span[:, column] = np.where(long, values, 0.0)
    return span, np.where(long, (span[:, 1] - span[:, 0]) * size, 0.0)
