"""The same walls traced by two surveys, held against each other: shift, turn and height.

Places along each line are taken to the nearest roughly parallel stretch of the other survey; the
offsets across, one a line, give shift and turn by least squares.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.accuracy.agreement import Compared, robust_fit
from wrackline.model import Survey
from wrackline.uncertainty import Budget, ErrorModel, propagate

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

EVERY_M = 0.5
REACH_M = 0.7
PARALLEL_COS = np.cos(np.radians(12.0))
SHORTEST_M = 1.0
LEAST_LINES = 6
UNSEEN_M = 0.02
"""Sd of what a traced face may honestly be off from one tracer to the next, all walls alike
(common practice, no source)."""
LINE_SD_M = 0.03
"""Sd of the same from wall to wall (common practice, no source)."""


@dataclass(frozen=True)
class Lines:
    """A survey of wall lines, placed.

    Attributes
    ----------
    name : str
    survey : Survey
    model : ErrorModel
    ends : array, shape (n, 2, 3)
        Straight stretches: easting, northing, height of their ends [m]; heights may be NaN.
    line : array of int, shape (n,)
        Line that each belongs to.
    """

    name: str
    survey: Survey
    model: ErrorModel
    ends: Array
    line: Ints


def lines_of(name: str, survey: Survey, model: ErrorModel, items: gpd.GeoDataFrame) -> Lines:
    """Return the straight stretches of a survey's wall lines.

    Parameters
    ----------
    name : str
    survey : Survey
    model : ErrorModel
    items : GeoDataFrame
        Placed items.
    """
    lines = [shape for shape in items.geometry if shape.geom_type == "LineString"]
    xyz, line = shapely.get_coordinates(lines, include_z=True, return_index=True)
    same = line[1:] == line[:-1]
    ends = np.stack([xyz[:-1][same], xyz[1:][same]], axis=1) if len(xyz) else np.empty((0, 2, 3))
    return Lines(name, survey, model, ends, line[1:][same] if len(xyz) else line)


def along(lines: Lines, every_m: float = EVERY_M) -> tuple[Array, Array, Ints]:
    """Return places along the stretches, their directions and the line of each.

    Parameters
    ----------
    lines : Lines
    every_m : float
        Longest step from place to place [m].

    Returns
    -------
    xyz : array, shape (m, 3)
    way : array, shape (m, 2)
        Unit vectors.
    line : array of int, shape (m,)
    """
    step = lines.ends[:, 1] - lines.ends[:, 0]
    length = np.hypot(step[:, 0], step[:, 1])
    count = np.where(length > 0, np.maximum(1, np.ceil(length / every_m)), 0).astype(np.int64)
    at = np.repeat(np.arange(len(count)), count)
    start = np.repeat(np.cumsum(count) - count, count)
    part = (np.arange(len(at)) - start + 0.5) / count[at] if len(at) else np.empty(0)
    xyz = lines.ends[at, 0] + part[:, None] * step[at]
    return xyz, step[at, :2] / length[at, None], lines.line[at]


@dataclass(frozen=True)
class Matched:
    """Lines of the newer survey that run along lines of the older.

    Attributes
    ----------
    newer, older : Lines
    xyz : array, shape (n, 3)
        Middle of each [m].
    normal : array, shape (n, 2)
        Unit vectors across.
    across, above : array, shape (n,)
        Newer minus older, across and up [m]; `above` is NaN where either has no height.
    places : array of int, shape (n,)
        Places along that it was seen at.
    share : float
        Part of the newer survey's length that is matched.
    """

    newer: Lines
    older: Lines
    xyz: Array
    normal: Array
    across: Array
    above: Array
    places: Ints
    share: float


def match(newer: Lines, older: Lines) -> Matched | None:
    """Return where two surveys traced the same walls; None where they didn't.

    Lines along faces are only held against lines along faces, centres against centres.

    Parameters
    ----------
    newer, older : Lines
    """
    if newer.survey.line_follows != older.survey.line_follows:
        return None
    if not len(newer.ends) or not len(older.ends):
        return None
    xyz, way, line = along(newer)
    found = _nearest(xyz, way, older)
    if found is None:
        return None
    near, across, above, share = found
    xyz, way, line = xyz[near], way[near], line[near]
    # one observation a straight side of a line: a ring has several directions
    turned = np.where(way[:, [0]] * 1e3 + way[:, [1]] < 0, -way, way)
    across = np.where(way[:, 0] * 1e3 + way[:, 1] < 0, -across, across)
    angle = np.round(np.degrees(np.arctan2(turned[:, 1], turned[:, 0])) / 15).astype(np.int64)
    key = np.unique(np.column_stack([line, angle]), axis=0, return_inverse=True)[1].reshape(-1)
    groups = [np.flatnonzero(key == k) for k in np.unique(key)]
    groups = [g for g in groups if len(g) * EVERY_M >= SHORTEST_M]
    if len(groups) < LEAST_LINES:
        return None
    middle = np.array([xyz[g].mean(axis=0) for g in groups])
    direction = np.array([turned[g].mean(axis=0) for g in groups])
    direction /= np.hypot(direction[:, 0], direction[:, 1])[:, None]
    return Matched(
        newer, older, middle,
        np.column_stack([-direction[:, 1], direction[:, 0]]),
        np.array([np.median(across[g]) for g in groups]),
        np.array([np.median(above[g]) for g in groups]),
        np.array([len(g) for g in groups]),
        share,
    )  # fmt: skip


def _nearest(xyz: Array, way: Array, older: Lines) -> tuple[Ints, Array, Array, float] | None:
    """Return the places beside a parallel stretch, their offsets across and up, and their share."""
    stretches = shapely.linestrings(older.ends[:, :, :2])
    tree = shapely.STRtree(stretches)
    place, other = tree.query(shapely.points(xyz[:, :2]), predicate="dwithin", distance=REACH_M)
    start, step = older.ends[other, 0], older.ends[other, 1] - older.ends[other, 0]
    length = np.hypot(step[:, 0], step[:, 1])
    good = length > 0
    place, start, step, length = place[good], start[good], step[good], length[good]
    from_start = xyz[place, :2] - start[:, :2]
    unit = step[:, :2] / length[:, None]
    run = (from_start * unit).sum(axis=1) / length
    parallel = np.abs((unit * way[place]).sum(axis=1)) > PARALLEL_COS
    inside = parallel & (run >= 0) & (run <= 1)
    if not inside.any():
        return None
    place, run, start, step = place[inside], run[inside], start[inside], step[inside]
    offset = xyz[place] - (start + run[:, None] * step)
    across = offset[:, 1] * way[place, 0] - offset[:, 0] * way[place, 1]
    order = np.lexsort([np.abs(across), place])
    first = order[np.r_[True, np.diff(place[order]) > 0]]
    return place[first], across[first], offset[first, 2], len(first) / len(xyz)


def wall_shift(matched: Matched) -> tuple[Compared, Compared] | None:
    """Return shift towards east and north [m], and turn, anticlockwise [radians].

    Parameters
    ----------
    matched : Matched

    Returns
    -------
    tuple of Compared or None
        None where the walls run one way only.
    """
    normal, centre = matched.normal, matched.xyz[:, :2].mean(axis=0)
    arm = matched.xyz[:, :2] - centre
    turn = normal[:, 1] * arm[:, 0] - normal[:, 0] * arm[:, 1]
    design = np.column_stack([normal, turn])
    weight = np.sqrt(np.minimum(matched.places, 12))
    if np.linalg.cond(design / np.maximum(np.abs(design).max(axis=0), 1e-9)) > 20:
        return None
    found, gradient, left = robust_fit(design * weight[:, None], matched.across * weight)
    gradient = gradient * weight
    left = left / weight
    budgets = _budgets(matched, gradient, left, across=True)
    worst = int(np.argmax(np.abs(matched.across)))
    shift = _compared(matched, (float(found[0]), float(found[1])), tuple(budgets[:2]), worst)
    return shift, _compared(matched, (float(found[2]),), (budgets[2],), worst)


def wall_level(matched: Matched) -> Compared | None:
    """Return the median difference of the walls' heights [m].

    Parameters
    ----------
    matched : Matched
    """
    known = np.isfinite(matched.above)
    if (
        known.sum() < LEAST_LINES
        or matched.newer.survey.traced_at != matched.older.survey.traced_at
    ):
        return None
    some = replace(
        matched, xyz=matched.xyz[known], normal=matched.normal[known],
        across=matched.across[known], above=matched.above[known], places=matched.places[known],
    )  # fmt: skip
    d = some.above
    gradient = np.full((1, len(d)), 1.0 / len(d))
    budget = _budgets(some, gradient, d - np.median(d), across=False)[0]
    worst = int(np.argsort(np.abs(d))[int(0.9 * (len(d) - 1))])
    budget = replace(budget, random=1.2533 * budget.random)
    return _compared(some, (float(np.median(d)),), (budget,), worst)


def _budgets(matched: Matched, gradients: Array, left: Array, *, across: bool) -> list[Budget]:
    """Return budgets of figures from their gradients on the offsets, shape (m, n)."""
    up = np.zeros((len(left), 1)) if across else np.ones((len(left), 1))
    unit = np.hstack([matched.normal if across else np.zeros((len(left), 2)), up])
    scatter = max(1.4826 * float(np.median(np.abs(left))), LINE_SD_M)
    out = []
    for gradient in gradients:
        sides = [
            propagate(
                unit * gradient[:, None], matched.xyz, np.zeros(len(left), dtype=np.int_),
                [replace(side.model, random_horizontal=0.0, random_vertical=0.0)],
            )
            for side in (matched.newer, matched.older)
        ]  # fmt: skip
        both = sides[0].minus(sides[1])
        common = UNSEEN_M * float(np.hypot.reduce((unit * gradient[:, None]).sum(axis=0)))
        random = float(np.sqrt((gradient**2).sum())) * scatter
        out.append(Budget(float(np.hypot(random, common)), both.patchy, both.named))
    return out


def _compared(
    matched: Matched, values: tuple[float, ...], budgets: tuple[Budget, ...], at: int
) -> Compared:
    xyz = matched.xyz
    extent = float(np.hypot.reduce(xyz[:, :2].max(axis=0) - xyz[:, :2].min(axis=0)))
    depth = None if np.isnan(xyz[at, 2]) else round(-float(xyz[at, 2]), 2)
    place = (round(float(xyz[at, 0]), 2), round(float(xyz[at, 1]), 2))
    names = (matched.newer.name, matched.older.name)
    return Compared(*names, values, budgets, len(xyz), place, depth, extent)


def near_lines(all_lines: Iterable[Lines], every_m: float) -> Array:
    """Return places along the wall lines of all surveys, shape (n, 2) [m]."""
    places = [along(lines, every_m)[0][:, :2] for lines in all_lines if len(lines.ends)]
    return np.vstack(places) if places else np.empty((0, 2))
