"""Outlines beside wall centre lines: floors between faces, and footprints to outer faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

Array = npt.NDArray[np.float64]

ON_LINE_M = 0.001


@dataclass(frozen=True)
class Outline:
    """A space's outline, moved in or out by half the thickness of the walls around it.

    Attributes
    ----------
    polygon : Geometry
        The space in the grid.
    span : array, shape (m, 2)
        The part of each bounding edge along which the outline runs, as fractions of the edge.
    length_m : array, shape (m,)
        Length of the outline along each edge [m].
    """

    polygon: shapely.Geometry
    span: Array
    length_m: Array


def floor_of(
    polygon: shapely.Geometry, ends: Array, side: Array, thickness: Array
) -> Outline | None:
    """Return the floor of an enclosed space: what its walls leave.

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
    Outline or None
        None where a thickness is unknown, or where the walls would leave no floor.

    Examples
    --------
    Four by three metres to wall centres, walls of 0.5 m: 3.5 by 2.5 m of floor.

    >>> corner = np.array([[0.0, 0], [4, 0], [4, 3], [0, 3], [0, 0]])
    >>> ends = np.stack([corner[:-1], corner[1:]], axis=1)
    >>> float(floor_of(shapely.box(0, 0, 4, 3), ends, np.ones(4), np.full(4, 0.5)).polygon.area)
    8.75
    """
    return _moved(polygon, ends, side, thickness / 2)


def footprint_of(
    polygon: shapely.Geometry, ends: Array, side: Array, thickness: Array
) -> Outline | None:
    """Return the ground that a building covers: its spaces and all of its outer walls.

    Parameters are those of `floor_of`.

    Examples
    --------
    >>> corner = np.array([[0.0, 0], [4, 0], [4, 3], [0, 3], [0, 0]])
    >>> ends = np.stack([corner[:-1], corner[1:]], axis=1)
    >>> whole = footprint_of(shapely.box(0, 0, 4, 3), ends, np.ones(4), np.full(4, 0.5))
    >>> float(whole.polygon.area)
    15.75
    """
    return _moved(polygon, ends, side, -thickness / 2)


def _moved(polygon: shapely.Geometry, ends: Array, side: Array, inward: Array) -> Outline | None:
    """Return the outline with each edge moved inward (outward where negative) [m]."""
    if np.isnan(inward).any():
        return None
    size = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    if not inward.any():
        return Outline(polygon, np.tile([0.0, 1.0], (len(ends), 1)), size)
    if np.ptp(inward) == 0:
        moved = shapely.buffer(polygon, -inward[0], join_style="mitre", mitre_limit=10.0)
    else:
        strips = shapely.buffer(shapely.linestrings(ends), np.abs(inward), cap_style="square")
        strip = shapely.union_all(strips[inward != 0])
        combine = shapely.difference if inward.sum() > 0 else shapely.union
        moved = combine(polygon, strip)
    if shapely.is_empty(moved):
        return None
    return Outline(moved, *_runs(moved, ends, side, inward))


def _runs(moved: shapely.Geometry, ends: Array, side: Array, inward: Array) -> tuple[Array, Array]:
    """Return where along each edge the moved outline runs beside it, and for how long."""
    step = ends[:, 1] - ends[:, 0]
    size = np.hypot(step[:, 0], step[:, 1])
    along = step / size[:, None]
    normal = np.stack([-along[:, 1], along[:, 0]], axis=-1) * side[:, None]
    beyond = along * 2 * np.abs(inward)[:, None]
    shift = normal * inward[:, None]
    beside = np.stack([ends[:, 0] + shift - beyond, ends[:, 1] + shift + beyond], axis=1)
    outline = shapely.buffer(shapely.boundary(moved), ON_LINE_M, cap_style="flat")
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
