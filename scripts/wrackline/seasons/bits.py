"""Recorded walls cut into short bits, each with its frame, its wall's body and its recorded top.

A bit is about `BIT_M` of a wall line. All that is said of a wall, whether it was traced, is buried
or is lost, is first said of its bits, so that a wall half in the ground covered, or half under
sand, is told in two stretches.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.walls.repeats import USUAL_HALF_WALL_M

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

BIT_M = 0.5
START_M, APART_M = 0.02, 0.06
"""A ray across a body starts so far off the line, and a body begins no further off than this."""


@dataclass(frozen=True)
class Bits:
    """Bits of wall lines, those of a line together and in order along it.

    Attributes
    ----------
    wall : array of int, shape (n,)
        Row of the wall line.
    along : array, shape (n, 2)
        From where to where along the line [m].
    xy : array, shape (n, 2)
        Middle [m].
    way : array, shape (n, 2)
        Unit vector along the line.
    top : array, shape (n,)
        Recorded height of the wall's top; NaN where none was recorded [m].
    span : array, shape (n, 2)
        Where the wall's body lies across the line, + to the left of it [m].
    sided : array of bool, shape (n,)
        Whether it is known on which side of the line the body lies.
    """

    wall: Ints
    along: Array
    xy: Array
    way: Array
    top: Array
    span: Array
    sided: Flags

    def __len__(self) -> int:
        return len(self.wall)

    def pick(self, chosen: npt.NDArray[np.generic]) -> Bits:
        """Return the chosen bits only."""
        return Bits(*(values[chosen] for values in vars(self).values()))

    @property
    def left(self) -> Array:
        """Unit vectors to the left of the lines, shape (n, 2)."""
        return np.column_stack([-self.way[:, 1], self.way[:, 0]])

    @property
    def length(self) -> Array:
        """Lengths, shape (n,) [m]."""
        return np.asarray(self.along[:, 1] - self.along[:, 0])

    def turned(self) -> Bits:
        """Return the bits with their bodies on the other side of the lines."""
        return replace(self, span=-self.span[:, ::-1])


def cut_walls(
    walls: gpd.GeoDataFrame, bodies: gpd.GeoDataFrame, thickness: Array, max_thickness_m: float
) -> Bits:
    """Return the bits of wall lines.

    Parameters
    ----------
    walls : GeoDataFrame, n rows
        The contract's `wall_lines`; heights are those of the wall's top where `traced_at` says so.
    bodies : GeoDataFrame
        The contract's `wall_bodies`.
    thickness : array, shape (n,)
        Thickness that was stated for a wall, NaN where none was [m].
    max_thickness_m : float
        What is wider across a body is no wall's thickness [m].

    Returns
    -------
    Bits
    """
    lines = shapely.force_2d(walls.geometry.to_numpy())
    length = shapely.length(lines)
    count = np.maximum(1, np.rint(length / BIT_M)).astype(np.int64)
    wall = np.repeat(np.arange(len(walls)), count)
    first = np.cumsum(count) - count
    number = np.arange(len(wall)) - first[wall]
    size = length[wall] / count[wall]
    along = np.column_stack([number * size, (number + 1) * size])
    at = [_points(lines[wall], along[:, 0] + share * size) for share in (0.25, 0.5, 0.75)]
    step = at[2] - at[0]
    way = step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    topped = (walls["traced_at"] == "top").to_numpy(bool, na_value=False)
    top = np.where(topped[wall], _heights(walls, wall, along.mean(axis=1)), np.nan)
    unknown = np.full((len(wall), 2), np.nan)
    bits = Bits(wall, along, at[1], way, top, unknown, np.zeros(len(wall), bool))
    return _with_bodies(bits, walls, bodies, thickness, max_thickness_m=max_thickness_m)


def _points(lines: npt.NDArray[np.object_], along: Array) -> Array:
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(lines, along)))


def _heights(walls: gpd.GeoDataFrame, wall: Ints, along: Array) -> Array:
    """Return the lines' heights some way along them; NaN beside a vertex without one."""
    top = np.full(len(wall), np.nan)
    xyz, line = shapely.get_coordinates(
        walls.geometry.to_numpy(), include_z=True, return_index=True
    )
    starts = np.searchsorted(line, np.arange(len(walls) + 1))
    mine = np.searchsorted(wall, np.arange(len(walls) + 1))
    for row in range(len(walls)):
        part, bits = xyz[starts[row] : starts[row + 1]], slice(mine[row], mine[row + 1])
        away = np.r_[0.0, np.cumsum(np.hypot(*np.diff(part[:, :2], axis=0).T))]
        top[bits] = np.interp(along[bits], away, part[:, 2])
    return top


def _with_bodies(
    bits: Bits,
    walls: gpd.GeoDataFrame,
    bodies: gpd.GeoDataFrame,
    thickness: Array,
    *,
    max_thickness_m: float,
) -> Bits:
    """Return bits with what is known of their walls' bodies."""
    left, right = (_depth(bits, side * bits.left, bodies, max_thickness_m) for side in (1, -1))
    stated = np.nan_to_num(thickness, nan=2 * USUAL_HALF_WALL_M)[bits.wall]
    centred = (walls["line_follows"] == "centre").to_numpy(bool, na_value=False)[bits.wall]
    left, right = (_carried(bits.wall, side) for side in (left, right))
    span = np.column_stack([np.zeros(len(bits)), stated])
    told = np.isfinite(left) ^ np.isfinite(right)
    span[told & np.isfinite(left), 1] = left[told & np.isfinite(left)]
    on_right = told & np.isfinite(right)
    span[on_right] = np.column_stack([-right[on_right], np.zeros(on_right.sum())])
    span[centred] = np.column_stack([-stated, stated])[centred] / 2
    return replace(bits, span=span, sided=told | centred)


def _depth(bits: Bits, way: Array, bodies: gpd.GeoDataFrame, most_m: float) -> Array:
    """Return how far a wall's body goes on from the bits' middles some way; NaN where none is."""
    depth = np.full(len(bits), np.nan)
    if not len(bodies) or not len(bits):
        return depth
    ends = np.stack([bits.xy + START_M * way, bits.xy + 1.5 * most_m * way], axis=1)
    rays, shapes = shapely.linestrings(ends), bodies.geometry.to_numpy()
    ray, body = shapely.STRtree(shapes).query(rays, predicate="intersects")
    parts, owner = shapely.get_parts(
        shapely.intersection(rays[ray], shapes[body]), return_index=True
    )
    beside = shapely.distance(parts, shapely.points(bits.xy[ray[owner]])) < APART_M
    fits = beside & (shapely.length(parts) < most_m)
    depth[ray[owner[fits]]] = shapely.length(parts[fits]) + START_M
    return depth


def _carried(wall: Ints, depth: Array) -> Array:
    """Return depths with those of bits at corners taken from the rest of their wall."""
    out = depth.copy()
    edges = np.flatnonzero(np.diff(wall)) + 1
    for part in np.split(np.arange(len(wall)), edges):
        known = depth[part][np.isfinite(depth[part])]
        if 2 * len(known) >= len(part) > 0:
            out[part] = np.where(np.isfinite(depth[part]), depth[part], np.median(known))
        else:
            out[part] = np.nan
    return out
