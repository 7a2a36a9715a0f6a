"""Blunders in drawn shapes and their heights: crossings, doublings back, twins, spikes, marks."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from wrackline.errors import Fault
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Place = tuple[float, float]

SAME_M = 0.001
"""Lines closer than this all along are one line."""

OVERSHOOT_M = 0.5
"""A line may cross itself this close to its ends: it runs over where it was to end."""

BACK_DEG, BACK_M = 2.0, 0.10
"""Turning back is within this angle of half a turn, over at least this length both ways."""

SLIVER_M = 0.05
"""Outlines narrower than this hold no ground."""

SPIKE_M, SPIKE_MADS = 1.5, 8.0
"""A vertex is a spike beyond both, above or below both its neighbours in a line."""

NEAR_ZERO_M, ZERO_SPREADS, ZERO_SHARE = 0.5, 5.0, 0.3
"""Heights of 0 are doubtful where fewer than the share, and all others are far from 0."""

FLAT_VERTICES = 4
"""Heights that are 0 throughout are doubtful from so many on."""

SENTINEL_M, AWAY_M = 500.0, 100.0
"""Marks of a missing height are beyond the first, and further than the second from the others."""


def check_lines(source: Source, items: gpd.GeoDataFrame, scale: float, problems: Problems) -> None:
    """Name lines that cross themselves or turn back, and polygons whose outlines do.

    Parameters
    ----------
    source : Source
    items : GeoDataFrame
        Single shapes, with `row`.
    scale : float
        Metres of one unit of the numbers.
    problems : Problems
    """
    geometry = items.geometry.to_numpy()
    lines = np.flatnonzero((items.geom_type == "LineString") & ~shapely.is_simple(geometry))
    for k in lines:
        xy, row = shapely.get_coordinates(geometry[k]), int(items["row"].iloc[k])
        crossing = crossing_of(xy, OVERSHOOT_M / scale)
        if crossing is not None:
            problems.add(_self_crossing(source, row, crossing))
        turn = turn_back_of(xy, BACK_M / scale)
        if turn is not None:
            problems.add(_backtracking(source, row, turn))
    polygons = np.flatnonzero((items.geom_type == "Polygon") & ~shapely.is_valid(geometry))
    for k in polygons:
        problems.add(_self_crossing(source, int(items["row"].iloc[k]), invalid_at(geometry[k])))


def crossing_of(xy: Array, overshoot: float) -> Place | None:
    """Return the first place where a line crosses itself, ends that only touch it left out.

    Parameters
    ----------
    xy : array, shape (n, 2)
        Its vertices.
    overshoot : float
        Length along the line, from either end, within which crossings are no blunder.

    Examples
    --------
    >>> bow = np.array([[0.0, 0], [4, 4], [4, 0], [0, 4]])
    >>> crossing_of(bow, 0.5)
    (2.0, 2.0)
    """
    segments = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    one, other = shapely.STRtree(segments).query(segments, predicate="crosses")
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]
    for i, j in sorted(zip(one.tolist(), other.tolist(), strict=True)):
        if j <= i + 1:
            continue
        x, y = shapely.get_coordinates(shapely.intersection(segments[i], segments[j]))[0]
        first = along[i] + np.hypot(x - xy[i, 0], y - xy[i, 1])
        second = along[j] + np.hypot(x - xy[j, 0], y - xy[j, 1])
        if first > overshoot and along[-1] - second > overshoot:
            return float(x), float(y)
    return None


def turn_back_of(xy: Array, least: float) -> Place | None:
    """Return the first vertex at which a line turns back along where it came from.

    Parameters
    ----------
    xy : array, shape (n, 2)
        Its vertices.
    least : float
        Length of both segments below which a turn is scatter of the points.

    Examples
    --------
    >>> turn_back_of(np.array([[0.0, 0], [3, 0], [1, 0], [1, 2]]), 0.1)
    (3.0, 0.0)
    """
    step = np.diff(xy, axis=0)
    length = np.hypot(*step.T)
    dot = np.sum(step[:-1] * step[1:], axis=1)
    cross = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
    back = np.abs(np.degrees(np.arctan2(cross, dot))) > 180 - BACK_DEG
    found = np.flatnonzero(back & (np.minimum(length[:-1], length[1:]) > least))
    return (float(xy[found[0] + 1, 0]), float(xy[found[0] + 1, 1])) if len(found) else None


def invalid_at(polygon: BaseGeometry) -> Place | None:
    """Return the place that GEOS names where a polygon is invalid, None where it names none."""
    numbers = re.search(r"\[([-+.\deE]+) ([-+.\deE]+)", shapely.is_valid_reason(polygon))
    return (float(numbers[1]), float(numbers[2])) if numbers else None


def as_outlines(
    source: Source, items: gpd.GeoDataFrame, scale: float, problems: Problems
) -> gpd.GeoDataFrame:
    """Return outlines of trenches as polygons: closed lines become ones; those that can't, named.

    Parameters
    ----------
    source : Source
    items : GeoDataFrame
        Single shapes of any kind, with `row`.
    scale : float
        Metres of one unit of the numbers.
    problems : Problems

    Returns
    -------
    GeoDataFrame
        Valid polygons, and shapes that are neither lines nor polygons as they are.
    """
    shapes, kept = [], []
    for k, shape in enumerate(items.geometry):
        row = int(items["row"].iloc[k])
        outline = shape
        if shape.geom_type == "LineString":
            xyz = shapely.get_coordinates(shape, include_z=shapely.has_z(shape))
            gap = float(np.hypot(*(xyz[0, :2] - xyz[-1, :2])))
            if gap * scale > SAME_M or len(xyz) < 4:
                problems.add(_open_outline(source, row, gap * scale, _place(xyz[-1])))
                continue
            outline = shapely.Polygon(np.vstack([xyz[:-1], xyz[:1]]))
        if outline.geom_type == "Polygon" and not outline.is_valid:
            problems.add(_invalid_ring(source, row, invalid_at(outline)))
            continue
        if outline.geom_type == "Polygon":
            width = 4 * outline.area / outline.length * scale
            if width < SLIVER_M:
                problems.add(_sliver(source, row, width, _place(outline.exterior.coords[0])))
        shapes.append(outline)
        kept.append(k)
    out = items.iloc[kept].reset_index(drop=True)
    return out.set_geometry(gpd.GeoSeries(shapes, index=out.index))


def _place(xyz: Array) -> Place:
    return float(xyz[0]), float(xyz[1])


def without_twins(
    source: Source, items: gpd.GeoDataFrame, scale: float, problems: Problems
) -> gpd.GeoDataFrame:
    """Return lines without those that run, all along, where another one does.

    Of two that are the same, the first stays; of two of which one is part of the other, the longer.

    Parameters
    ----------
    source : Source
    items : GeoDataFrame
        Lines, with `row`.
    scale : float
        Metres of one unit of the numbers.
    problems : Problems
    """
    lines, rows = items.geometry.to_numpy(), items["row"].to_numpy(int)
    if not len(lines):
        return items
    wide = shapely.buffer(lines, SAME_M / scale)
    whole, part = shapely.STRtree(lines).query(wide, predicate="covers")
    covered = set(zip(whole.tolist(), part.tolist(), strict=True))
    gone: set[int] = set()
    for i, j in sorted(covered, key=lambda pair: (pair[1], pair[0])):
        twin = (j, i) in covered
        if i == j or j in gone or (twin and i > j):
            continue
        gone.add(j)
        slip = _twin if twin else _inside_another
        problems.add(
            slip(source, int(rows[j]), int(rows[i]), _place(shapely.get_coordinates(lines[j])[0]))
        )
    return items.iloc[[k for k in range(len(items)) if k not in gone]].reset_index(drop=True)


def check_heights(source: Source, items: gpd.GeoDataFrame, problems: Problems) -> None:
    """Name heights that are marks of a missing one, a 0 for want of one, or a slip within a line.

    Parameters
    ----------
    source : Source
    items : GeoDataFrame
        Single shapes, with `row`; heights in metres.
    problems : Problems
    """
    if source.survey.vertical.meaning == "none" or not len(items):
        return
    xyz, item = shapely.get_coordinates(
        items.geometry.to_numpy(), include_z=True, return_index=True
    )
    rows = items["row"].to_numpy(int)[item]
    there = np.isfinite(xyz[:, 2])
    marks = sentinels(xyz[:, 2])
    for k in _first_of_each(rows, marks).tolist():
        problems.add(_sentinel(source, int(rows[k]), xyz[k]))
    zero = doubtful_zeros(np.where(marks, np.nan, xyz[:, 2]))
    if zero.all() and len(zero):
        problems.add(_all_zero(source, len(zero)))
    else:
        for k in _first_of_each(rows, zero).tolist():
            problems.add(_zero(source, int(rows[k]), xyz[k]))
    sound = there & ~marks & ~zero
    for k in np.flatnonzero(spikes(xyz[:, 2], item, sound)).tolist():
        problems.add(_spike(source, int(rows[k]), xyz[k]))


def _first_of_each(rows: Ints, chosen: npt.NDArray[np.bool_]) -> Ints:
    """Return the first chosen place of every row."""
    places = np.flatnonzero(chosen)
    _, first = np.unique(rows[places], return_index=True)
    return places[first]


def sentinels(z: Array) -> npt.NDArray[np.bool_]:
    """Return which heights are marks of a missing one: large, away from all others, repeated.

    One of nines alone needs no second.

    >>> sentinels(np.array([-2.0, -999.0, -2.5, 777.0, 777.0, 612.0])).tolist()
    [False, True, False, True, True, False]
    """
    marks = np.zeros(len(z), dtype=bool)
    large = np.isfinite(z) & (np.abs(z) > SENTINEL_M)
    for value, count in zip(*np.unique(z[large], return_counts=True), strict=True):
        others = z[np.isfinite(z) & (z != value)]
        nines = re.fullmatch(r"-?9+(\.9+)?", f"{value:g}") is not None
        away = len(others) == 0 or abs(value - float(np.median(others))) > AWAY_M
        if (count > 1 or nines) and away:
            marks |= z == value
    return marks


def doubtful_zeros(z: Array) -> npt.NDArray[np.bool_]:
    """Return which heights are 0 for want of one: few, among others that are all far from 0.

    Heights that are 0 throughout are doubtful too.

    >>> doubtful_zeros(np.array([-2.1, 0.0, -2.2, -2.0, -2.1])).tolist()
    [False, True, False, False, False]
    >>> doubtful_zeros(np.array([0.1, 0.0, -0.2, 0.4, -0.1])).any()
    np.False_
    """
    zero = z == 0
    others = z[np.isfinite(z) & ~zero]
    if not len(others):
        return np.asarray(zero & (zero.sum() >= FLAT_VERTICES), dtype=bool)
    middle = float(np.median(others))
    spread = float(np.median(np.abs(others - middle))) * 1.4826
    few = zero.sum() < ZERO_SHARE * np.isfinite(z).sum()
    far = abs(middle) > ZERO_SPREADS * spread + NEAR_ZERO_M and np.abs(others).min() > NEAR_ZERO_M
    return np.asarray(zero & bool(few and far), dtype=bool)


def spikes(z: Array, item: Ints, sound: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Return which vertices stand far above, or far below, both their neighbours in a line.

    Parameters
    ----------
    z : array, shape (n,)
        Heights [m].
    item : array of int, shape (n,)
        Line of each; vertices of a line are consecutive.
    sound : array of bool, shape (n,)
        Heights that are looked at.
    """
    out = np.zeros(len(z), dtype=bool)
    at = np.flatnonzero(sound)
    if len(at) < 3:
        return out
    same = (item[at][:-2] == item[at][1:-1]) & (item[at][2:] == item[at][1:-1])
    before, after = z[at][1:-1] - z[at][:-2], z[at][1:-1] - z[at][2:]
    least = np.minimum(np.abs(before), np.abs(after)) * (np.sign(before) == np.sign(after))
    bend = (before + after)[same] / 2
    mad = float(np.median(np.abs(bend - np.median(bend)))) if len(bend) else 0.0
    out[at[1:-1]] = same & (least > max(SPIKE_M, SPIKE_MADS * mad))
    return out


def _self_crossing(source: Source, row: int, at: Place | None) -> Fault:
    return source.suspicion(
        "self_crossing",
        "a line that crosses itself",
        "lines and outlines that meet themselves at their ends alone",
        "spaces would be enclosed that aren't there",
        "look for two points in the wrong order, or one of another line",
        row=row,
        at=at,
    )


def _backtracking(source: Source, row: int, at: Place) -> Fault:
    return source.suspicion(
        "backtracking",
        "a line that turns back along where it came from",
        "each stretch once",
        "an end of wall could be drawn where there is none",
        "look for a point in the wrong order, or two lines strung into one",
        row=row,
        at=at,
    )


def _open_outline(source: Source, row: int, gap_m: float, at: Place) -> Fault:
    return source.fault(
        "open_outline",
        f"an outline whose ends are {gap_m:.2f} m apart, or of fewer than three corners",
        "polygons, or lines that end where they begin",
        "what was dug could not be told from what was not",
        "close the line in the drawing",
        row=row,
        at=at,
    )


def _invalid_ring(source: Source, row: int, at: Place | None) -> Fault:
    return source.fault(
        "invalid_ring",
        "an outline that crosses or touches itself",
        "one ring around the ground that was dug",
        "its area would be wrong",
        "put its corners in order, or split it into two outlines",
        row=row,
        at=at,
    )


def _sliver(source: Source, row: int, width_m: float, at: Place) -> Fault:
    return source.suspicion(
        "sliver",
        f"an outline about {width_m:.3f} m wide",
        f"outlines at least {SLIVER_M:g} m wide",
        "it holds hardly any ground",
        "look for a corner that is missing, or an outline drawn over another one",
        row=row,
        at=at,
    )


def _twin(source: Source, row: int, first: int, at: Place) -> Fault:
    return source.suspicion(
        "line_twice",
        f"a line through the same places as row {first}",
        "each line once",
        "it is left out: its ends would hide the gaps that row has",
        "delete one of the two",
        row=row,
        at=at,
    )


def _inside_another(source: Source, row: int, other: int, at: Place) -> Fault:
    return source.suspicion(
        "line_inside_another",
        f"a line that is wholly part of the one of row {other}, to {SAME_M * 1000:g} mm",
        "each stretch of wall once",
        "it is left out: the other one has all of it",
        "delete one of the two",
        row=row,
        at=at,
    )


def _sentinel(source: Source, row: int, xyz: Array) -> Fault:
    return source.fault(
        "sentinel_height",
        f"a vertical number of {xyz[2]:g}, like the marks of a missing one",
        "heights that were taken, or none",
        "a mark of a missing value would be taken for a height",
        f"list '{xyz[2]:g}' in columns.no_value, or correct the number",
        row=row,
        at=_place(xyz),
    )


def _zero(source: Source, row: int, xyz: Array) -> Fault:
    return source.suspicion(
        "zero_height",
        "a vertical number of exactly 0, where all others are far from it",
        "heights that were taken, or none",
        "a wall or floor would stand metres from where it is",
        "look it up in the field book; list '0' in columns.no_value if none was taken",
        row=row,
        at=_place(xyz),
    )


def _all_zero(source: Source, count: int) -> Fault:
    return source.suspicion(
        "zero_height",
        f"{count} vertical numbers, all of them exactly 0",
        "heights that were taken, or vertical.meaning: none",
        "a flat drawing would be taken for walls and floors at height 0",
        "write vertical.meaning: none if the drawing has no heights",
    )


def _spike(source: Source, row: int, xyz: Array) -> Fault:
    return source.suspicion(
        "height_spike",
        f"a vertical number of {xyz[2]:.2f}, more than {SPIKE_M:g} m from both its neighbours' "
        "on the same side",
        "heights along a line that follow each other",
        "a stretch of wall would rise or fall where it doesn't",
        "look for a wrong staff or prism height, or a digit too many",
        row=row,
        at=_place(xyz),
    )
