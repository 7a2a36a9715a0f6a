"""Outlines beside lines: floors between wall faces, footprints to outer faces, walls' bodies."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

Array = npt.NDArray[np.float64]

CUT_M, ON_LINE_M = 1e-6, 1e-5
"""Grid on which outlines are cut, and how near it an outline runs along a line."""

OVERLAP_M = 1e-5
"""What is cut off or put on begins so far beyond the line, so that no hair of it stays between."""


LEAST_SINE = 1e-4
"""Walls that turn by less run on straight."""

MITRE_LIMIT, BEND_LIMIT = 10.0, 2.0
"""Sharp corners that reach further than this many moves are cut off flat; at bends
that do, where a thin wall runs on as a thick one, the thick one's end shows as a jog."""


@dataclass(frozen=True)
class Outline:
    """A space's outline, moved in or out: by half a wall's thickness, or half a pole's width.

    Attributes
    ----------
    polygon : Geometry
        The space in the grid.
    span : array, shape (m, 2)
        The part of each bounding edge along which the outline runs, as fractions of the edge.
    length_m : array, shape (m,)
        Length of the outline along each edge [m].
    jog : array, shape (m, 2)
        Area gained per metre by which each end of an edge moves on from its start to its stop,
        where a wall of another thickness goes on in line [m].
    """

    polygon: shapely.Geometry
    span: Array
    length_m: Array
    jog: Array


def outline_of(
    polygon: shapely.Geometry, ends: Array, side: Array, inward: Array
) -> Outline | None:
    """Return the outline of a space with each edge moved in or out.

    Parameters
    ----------
    polygon : Polygon
        The space between the lines as drawn.
    ends : array, shape (m, 2, 2)
        Start and stop of each bounding edge [m].
    side : array, shape (m,)
        +1 where the space lies to the left of the edge, -1 to its right.
    inward : array, shape (m,)
        How far the outline lies inside each edge (outside where negative); NaN where unknown [m].

    Returns
    -------
    Outline or None
        None where a move is unknown, or where nothing would be left.

    Examples
    --------
    Four by three metres to the centres of walls of 0.5 m: 3.5 by 2.5 m of floor, and 4.5 by 3.5 m
    covered by both.

    >>> corner = np.array([[0.0, 0], [4, 0], [4, 3], [0, 3], [0, 0]])
    >>> ends = np.stack([corner[:-1], corner[1:]], axis=1)
    >>> room = shapely.box(0, 0, 4, 3)
    >>> float(outline_of(room, ends, np.ones(4), np.full(4, 0.25)).polygon.area)
    8.75
    >>> float(outline_of(room, ends, np.ones(4), np.full(4, -0.25)).polygon.area)
    15.75
    """
    if np.isnan(inward).any():
        return None
    size = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    if not inward.any():
        return Outline(polygon, np.tile([0.0, 1.0], (len(ends), 1)), size, np.zeros((len(ends), 2)))
    walk = np.where(side[:, None, None] > 0, ends, ends[:, ::-1])
    corners = _corners(walk, inward)
    moved = polygon
    for part, combine in _parts(walk, inward, corners):
        moved = _areal(combine(moved, part, grid_size=CUT_M))
    if shapely.is_empty(moved):
        return None
    span = _spans(moved, walk, inward, corners)
    jog = _jogs(len(walk), corners)
    back = side < 0
    span[back] = 1 - span[back, ::-1]
    jog[back] = -jog[back, ::-1]
    return Outline(moved, span, (span[:, 1] - span[:, 0]) * size, jog)


@dataclass(frozen=True)
class _Corner:
    """Where edge `before` ends and edge `after` starts.

    `tip` is where their moved lines meet, from the node; None where it is too far. `inward` is how
    far both are moved for it, `jog` what the second lies deeper, `straight` whether they run on.
    """

    before: int
    after: int
    tip: Array | None
    inward: tuple[float, float]
    jog: float = 0.0
    straight: bool = False


def _corners(walk: Array, inward: Array) -> list[_Corner]:
    """Return the corners of an outline walked with the space on the left."""
    step = walk[:, 1] - walk[:, 0]
    along = step / np.hypot(step[:, 0], step[:, 1])[:, None]
    leaving: dict[tuple[float, ...], list[int]] = {}
    for edge, start in enumerate(walk[:, 0].tolist()):
        leaving.setdefault(tuple(start), []).append(edge)
    corners = []
    for before, stop in enumerate(walk[:, 1].tolist()):
        turns = [(_turn(along[before], along[k]), k) for k in leaving.get(tuple(stop), ())]
        if turns:
            _, after = max(turns)
            corners.append(_corner(along, inward, before, after))
    return corners


def _turn(one: Array, other: Array) -> float:
    """Return the angle from one direction to another, positive to the left [radians]."""
    return float(np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other))


def _corner(along: Array, inward: Array, before: int, after: int) -> _Corner:
    one, other = along[before], along[after]
    moves = float(inward[before]), float(inward[after])
    sine = float(one[0] * other[1] - one[1] * other[0])
    bend = bool(one @ other > 0)
    if bend and abs(sine) < LEAST_SINE:
        return _straight_on(along, moves, before, after)
    tip = _tip(one, other, moves, sine)
    limit = (BEND_LIMIT if bend else MITRE_LIMIT) * max(map(abs, moves))
    if tip is not None and np.hypot(*tip) <= limit:
        return _Corner(before, after, tip, moves)
    if not bend:
        return _Corner(before, after, None, moves)
    thin = min(moves, key=abs)
    return _Corner(
        before, after, _tip(one, other, (thin, thin), sine), (thin, thin), moves[1] - moves[0]
    )


def _straight_on(along: Array, moves: tuple[float, float], before: int, after: int) -> _Corner:
    """Return a corner that is none: both strips end at one point, so that no slit parts them."""
    thin = min(moves, key=abs)
    east, north = along[before if thin == moves[1] else after]
    tip = thin * np.array([-north, east])
    return _Corner(before, after, tip, (thin, thin), moves[1] - moves[0], straight=True)


def _tip(one: Array, other: Array, moves: tuple[float, float], sine: float) -> Array | None:
    """Return where two lines from a node, each moved to its left, meet; None if parallel."""
    if abs(sine) < LEAST_SINE:
        return None
    tip: Array = (moves[0] * other - moves[1] * one) / sine
    return tip


def _left(walk: Array) -> Array:
    """Return the unit vectors to the left of edges, shape (m, 2)."""
    step = walk[:, 1] - walk[:, 0]
    left: Array = np.stack([-step[:, 1], step[:, 0]], axis=-1) / np.hypot(*step.T)[:, None]
    return left


def _parts(
    walk: Array, inward: Array, corners: list[_Corner]
) -> Iterator[tuple[shapely.Geometry, Callable[..., shapely.Geometry]]]:
    """Yield what the outline gains, then what it loses, then what it gains where both meet.

    At a corner between an edge moved out and one moved in, what lies up to the tip is lost where
    the space is narrower than a half turn there, and gained where it is wider.
    """
    strips, kites = _strips(walk, inward, corners), _kites(walk, corners)
    for sign, combine in ((-1, shapely.union), (1, shapely.difference), (0, shapely.union)):
        mine = [shape for shape, way in (*strips, *kites) if way == sign]
        if mine:
            yield _areal(shapely.union_all(mine)), combine


def _areal(shape: shapely.Geometry) -> shapely.Geometry:
    """Return the areas of a shape, without lines that cutting may leave."""
    if shape.geom_type != "GeometryCollection":
        return shape
    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])


def _strips(
    walk: Array, inward: Array, corners: list[_Corner]
) -> list[tuple[shapely.Geometry, int]]:
    """Return the strip beside each edge that its move covers, cut square, and its way: 1 inward."""
    aside = np.repeat((_left(walk) * inward[:, None])[:, None], 2, axis=1)
    for corner in corners:
        for edge, end in ((corner.before, 1), (corner.after, 0)):
            if corner.straight and inward[edge] == corner.inward[0]:
                aside[edge, end] = corner.tip
    near = walk - (_left(walk) * np.sign(inward)[:, None])[:, None] * OVERLAP_M
    far = walk + aside
    ring = np.stack([near[:, 0], near[:, 1], walk[:, 1], far[:, 1], far[:, 0], walk[:, 0]], axis=1)
    moved = inward != 0
    ways = np.sign(inward[moved]).astype(int).tolist()
    return list(zip(shapely.polygons(ring[moved]), ways, strict=True))


def _kites(walk: Array, corners: list[_Corner]) -> list[tuple[shapely.Geometry, int]]:
    """Return what strips leave open at corners, up to the tip where their faces meet, and its way.

    The way is 1 where it is lost, -1 where it is gained, 0 where it is gained last.
    """
    left = _left(walk)
    kites, ways = [], []
    for corner in corners:
        if corner.tip is not None and not corner.straight:
            pair = (corner.before, corner.after)
            sides = [m * left[k] for m, k in zip(corner.inward, pair, strict=True)]
            kites.append(walk[corner.before, 1] + [0 * corner.tip, sides[0], corner.tip, sides[1]])
            low, high = min(corner.inward), max(corner.inward)
            one, other = left[corner.before], left[corner.after]
            narrow = one[0] * other[1] > one[1] * other[0]
            ways.append((1 if narrow else 0) if low < 0 < high else (1 if high > 0 else -1))
    hulls = shapely.convex_hull(shapely.multipoints(np.array(kites).reshape(-1, 4, 2)))
    return [(hull, way) for hull, way in zip(hulls, ways, strict=True) if hull.area > 0]


def _spans(moved: shapely.Geometry, walk: Array, inward: Array, corners: list[_Corner]) -> Array:
    """Return where along each edge, as walked, the moved outline runs beside it, shape (m, 2)."""
    step = walk[:, 1] - walk[:, 0]
    size = np.hypot(step[:, 0], step[:, 1])
    along = step / size[:, None]
    reach = np.tile([0.0, 1.0], (len(walk), 1))
    for corner in corners:
        if corner.tip is not None:
            for edge, end, move in zip(
                (corner.before, corner.after), (1, 0), corner.inward, strict=True
            ):
                if inward[edge] == move:
                    reach[edge, end] += float(corner.tip @ along[edge]) / size[edge]
    beside = (
        walk[:, :1] + reach[..., None] * step[:, None] + (_left(walk) * inward[:, None])[:, None]
    )
    outline = shapely.buffer(shapely.boundary(moved), ON_LINE_M, cap_style="flat")
    common = shapely.intersection(shapely.linestrings(beside), outline)
    xy, edge = shapely.get_coordinates(common, return_index=True)
    place = ((xy - walk[edge, 0]) * along[edge]).sum(axis=1) / size[edge]
    span = np.stack([np.full(len(walk), np.inf), np.full(len(walk), -np.inf)], axis=1)
    np.minimum.at(span[:, 0], edge, place)
    np.maximum.at(span[:, 1], edge, place)
    shown = (shapely.length(common) > 4 * ON_LINE_M) & (reach[:, 1] > reach[:, 0])
    return np.where(shown[:, None], span, 0.0)


def _jogs(count: int, corners: list[_Corner]) -> Array:
    """Return what the area gains where the end of an edge moves on, shape (count, 2) [m]."""
    jog = np.zeros((count, 2))
    for corner in corners:
        jog[corner.before, 1] = corner.jog
    return jog
