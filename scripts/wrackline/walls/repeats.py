"""The same wall traced by several surveys: the best tracing stands, the others become its sources.

Where the wall then lies, all tracings tell (`wrackline.walls.placing`).

Rule: a line of another survey that runs for most of its length beside a better known line, no
further off than their standard uncertainties together explain, is a repeat; where one follows the
wall's centre and the other a face, half the wall lies between them; where a pole was held against
the face for one and not for the other, half the pole. Phases and heights may speak against it.
Within one survey nothing is merged, since the two faces of a wall are two lines. A line that goes
on beyond what it repeats stays for its new part. One that lies further off than errors explain,
with nothing else that it or the other could be a tracing of, is a repeat that disagrees. A line of
an old plan gives way piece by piece: what a better survey recorded since is cut out of it, and only
longer stretches stay.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.model import WallSettings
from wrackline.uncertainty import ErrorModel
from wrackline.walls.levels import Levels, heights_at, levels_of
from wrackline.walls.linework import OLD_PLAN, line_name

REPEAT_SHARE = 0.8
REPEAT_SDS = 3.0
REPEAT_LIMIT_M = 0.25
"""Beyond this two lines are never one: thinner walls than twice this are rare (no source)."""

USUAL_HALF_WALL_M = 0.3
"""Half of a wall whose thickness nobody stated (common practice, no source)."""

OLD_STRETCH_M = 1.0
"""What is left of an old plan's line beside newer ones counts from this length on (no source)."""

LEFT_STRETCH_M = 1.0
"""A line that goes on by this much beyond those that it repeats says something new (no source)."""

CURVE_STEP_M = 1.0
"""Shorter pieces are steps along a curve (no source)."""

PARALLEL_DEG = 20.0

LEVEL_STEP_M = 0.5
"""Heights of two lines are held against each other at least this often."""

STACKED = (
    "{} and {} run in one place, {:.2f} m apart in height, and are kept as two walls; "
    "config/phases.csv can say which is the later, tops_differ_max_m that they are one"
)


def position_sd(model: ErrorModel) -> float:
    """Return a survey's standard uncertainty of position per axis, shared shifts included [m]."""
    shifts = [part.sd for part in model.named if part.kind in ("easting", "northing")]
    named = max(shifts, default=0.0)
    return float(np.sqrt(model.random_horizontal**2 + model.patchy_horizontal**2 + named**2))


@dataclass
class Traced:
    """Lines of all surveys of a view, with what is decided about them.

    Attributes
    ----------
    shapes : array of LineString, shape (n,)
    survey : array of str, shape (n,)
    sd : array, shape (n,)
        Standard uncertainty of position per axis [m].
    centre, old : array of bool, shape (n,)
        Whether a line follows a wall's centre; whether it comes from an old plan.
    half_wall : array, shape (n,)
        Half the thickness of its wall [m].
    off_face : array, shape (n,)
        How far a face's line lies off it: half the width of the pole, where stated [m].
    span : array of int, shape (n, 2)
        First and last phase in which it stood; -1 where nothing is known.
    levels : Levels
        Where on the wall, and how well, heights were taken.
    repeats : dict of int to set of str
        Surveys that traced the line of a row again.
    """

    shapes: np.ndarray
    survey: np.ndarray
    sd: np.ndarray
    centre: np.ndarray
    old: np.ndarray
    half_wall: np.ndarray
    off_face: np.ndarray
    span: np.ndarray
    levels: Levels
    repeats: dict[int, set[str]] = field(default_factory=dict)

    def reach(self, row: int, other: int) -> float:
        """Return how far apart two lines of one wall may lie [m]."""
        return float(self.reaches(row, np.array([other]))[0])

    def reaches(self, row: int, others: np.ndarray) -> np.ndarray:
        """Return how far apart a line and each of others may lie, were they one wall's [m]."""
        spread = REPEAT_SDS * np.hypot(self.sd[row], self.sd[others])
        old = self.old[row] | self.old[others]
        spread = np.where(old, spread, np.minimum(spread, REPEAT_LIMIT_M))
        spread = spread + np.abs(self.off_face[row] - self.off_face[others])
        wall = self.half_wall[row] if self.centre[row] else self.half_wall[others]
        alike = self.centre[row] == self.centre[others]
        return np.asarray(np.where(alike, spread, spread + wall))

    def may_give_way(self, row: int, other: int) -> bool:
        """Tell whether phases allow a line to be a repeat of another."""
        return bool(self.span[row, 0] < 0 or (self.span[row] == self.span[other]).all())

    def note(self, row: int, others: Iterable[int]) -> None:
        """Note at other lines that the survey of a row traced them again."""
        for other in others:
            self.repeats.setdefault(int(other), set()).add(str(self.survey[row]))


def merge_repeats(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> gpd.GeoDataFrame:
    """Return the lines without repeats, the surveys that repeated them noted in `repeats`.

    Parameters
    ----------
    lines : GeoDataFrame
        `LINE_COLUMNS` of all surveys of a view.
    models : mapping of str to ErrorModel
        Errors by survey.
    settings : WallSettings
        How far heights of one wall differ [m].

    Returns
    -------
    GeoDataFrame
        The kept lines in their former order. Of an old plan's line the stretches that nothing
        better replaced, each a row.
    """
    traced = _traced(lines, models, settings)
    order = np.lexsort([np.arange(len(lines)), traced.survey, traced.sd, traced.old])
    kept: list[int] = []
    left: dict[int, list[shapely.Geometry]] = {}
    for survey in dict.fromkeys(traced.survey[order]):
        mine = np.flatnonzero(traced.survey == survey)
        if kept and traced.old[mine].all():
            left |= _left_of_old(traced, mine, np.array(kept))
            mine = np.array([row for row in mine if left[int(row)]], dtype=int)
        elif kept:
            mine = _without_repeats(traced, mine, np.array(kept))
        kept.extend(int(row) for row in mine)
    rows = [row for row in sorted(kept) for _ in left.get(row, [None])]
    merged = lines.iloc[rows].copy()
    merged["repeats"] = [";".join(sorted(traced.repeats.get(row, ()))) for row in rows]
    shapes = [part for row in sorted(kept) for part in left.get(row, [traced.shapes[row]])]
    placed = merged.set_geometry(gpd.GeoSeries(shapes, merged.index, lines.crs))
    return placed.reset_index(drop=True)


def _traced(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> Traced:
    sd = lines["survey"].map({name: position_sd(model) for name, model in models.items()})
    half = pd.to_numeric(lines["thickness_m"]).to_numpy(float, na_value=np.nan) / 2
    return Traced(
        shapes=lines.geometry.to_numpy(),
        survey=lines["survey"].to_numpy(str),
        sd=sd.to_numpy(float),
        centre=(lines["line_follows"] == "centre").to_numpy(bool, na_value=False),
        old=(lines["evidence"] == OLD_PLAN).to_numpy(bool, na_value=False),
        half_wall=np.where(np.isnan(half), USUAL_HALF_WALL_M, half),
        off_face=off_face(lines),
        span=span_of(lines),
        levels=levels_of(lines, models, settings),
    )


def off_face(lines: gpd.GeoDataFrame) -> np.ndarray:
    """Return how far lines lie off the faces that they follow, shape (n,) [m]."""
    half = pd.to_numeric(lines["pole_width_m"]).to_numpy(float, na_value=np.nan) / 2
    return np.asarray(np.nan_to_num(half))


def span_of(lines: gpd.GeoDataFrame) -> np.ndarray:
    """Return first and last phase of lines, shape (n, 2); -1 where nothing is known."""
    return np.asarray(lines[["stands_from", "stands_to"]].fillna(-1), dtype=np.int64)


def repeats_of(
    lines: gpd.GeoDataFrame,
    models: Mapping[str, ErrorModel],
    settings: WallSettings,
    rows: np.ndarray,
) -> np.ndarray:
    """Return the lines of other surveys that repeat some lines: pairs of a repeat and its line.

    Parameters
    ----------
    lines : GeoDataFrame
    models : mapping of str to ErrorModel
    settings : WallSettings
    rows : array of bool, shape (n,)
        The lines asked about.
    """
    asked = np.flatnonzero(rows)
    pairs: list[tuple[int, int]] = []
    if not len(asked):
        return np.zeros((0, 2), dtype=np.int64)
    traced = _traced(lines, models, settings)
    tree = shapely.STRtree(traced.shapes)
    for row in asked.tolist():
        reach = REPEAT_LIMIT_M + 2 * float(traced.half_wall.max()) + float(traced.off_face.max())
        for other in tree.query(traced.shapes[row], predicate="dwithin", distance=reach).tolist():
            apart = traced.survey[other] != traced.survey[row]
            if apart and _share_beside(traced, other, row) >= REPEAT_SHARE:
                pairs.append((other, row))
    return np.array(sorted(pairs), dtype=np.int64).reshape(-1, 2)


def _without_repeats(traced: Traced, mine: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """Return which of one survey's lines say something new; note the others at the line kept."""
    tree = shapely.STRtree(traced.shapes[kept])
    new, taken = [], set()
    for row in mine:
        widest = REPEAT_LIMIT_M + traced.half_wall[row] + float(traced.half_wall[kept].max())
        widest += float(traced.off_face.max())
        near = kept[tree.query(traced.shapes[row], predicate="dwithin", distance=widest)]
        near = [other for other in near if traced.may_give_way(row, other)]
        beside = [(_share_beside(traced, row, other), other) for other in near]
        beside = [(share, other) for share, other in beside if share > 0]
        best = max(beside, default=(0.0, -1))
        others = [other for _, other in beside]
        if sum(share for share, _ in beside) < REPEAT_SHARE:
            new.append(row)
            continue
        taken.update(others)
        if _goes_on(traced, row, others):
            new.append(row)
        else:
            traced.note(row, [best[1]] if best[0] >= REPEAT_SHARE else others)
    astray = _astray(traced, new, kept[~np.isin(kept, sorted(taken))])
    return np.array([row for row in new if row not in astray], dtype=int)


def _goes_on(traced: Traced, row: int, others: list[int]) -> bool:
    """Tell whether a line goes on beyond those that it repeats; what is beside them is cut later.

    A centre line and a face are never cut by each other, so such a repeat is one whole.
    """
    if (traced.centre[others] != traced.centre[row]).any():
        return False
    corridors = [traced.shapes[k].buffer(max(traced.reach(row, k), 1e-6)) for k in others]
    rest = traced.shapes[row].difference(shapely.union_all(corridors))
    return bool(_long_parts([rest], LEFT_STRETCH_M))


def _astray(traced: Traced, rows: list[int], kept: np.ndarray) -> set[int]:
    """Return the lines that trace a wall again further off than errors explain, and note them.

    The wall's own survey must have seen no other line there, and the line's survey no nearer one:
    `kept` are the lines that nothing of it repeats.
    """
    tree, found = shapely.STRtree(traced.shapes[kept]), set()
    for row in rows:
        near = kept[tree.query(traced.shapes[row], predicate="dwithin", distance=REPEAT_LIMIT_M)]
        alike = near[traced.centre[near] == traced.centre[row]]
        alike = [k for k in alike.tolist() if traced.may_give_way(row, k)]
        beside = [k for k in alike if not _two_levels(traced, row, k)]
        shares = [_beside(traced, row, k, REPEAT_LIMIT_M) for k in beside]
        if max(shares, default=0.0) >= REPEAT_SHARE:
            traced.note(row, [beside[int(np.argmax(shares))]])
            found.add(row)
    return found


def stacked(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> list[str]:
    """Return which lines of different surveys are two walls in one place by their heights alone.

    Parameters
    ----------
    lines : GeoDataFrame
        `LINE_COLUMNS` of the lines that stand.
    models : mapping of str to ErrorModel
    settings : WallSettings
    """
    if lines["survey"].nunique() < 2:
        return []
    traced = _traced(lines, models, settings)
    reach = REPEAT_LIMIT_M + float(traced.half_wall.max()) + float(traced.off_face.max())
    tree = shapely.STRtree(traced.shapes)
    one, other = tree.query(traced.shapes, predicate="dwithin", distance=reach)
    chosen = (one < other) & (traced.survey[one] != traced.survey[other])
    one, other = one[chosen], other[chosen]
    chosen = _may_be_stacked(traced, one, other)
    notes = []
    for row, beside in zip(one[chosen].tolist(), other[chosen].tolist(), strict=True):
        phased = (traced.span[[row, beside]] >= 0).all() and not traced.may_give_way(row, beside)
        share = max(_beside(traced, row, beside), _beside(traced, beside, row))
        if share >= REPEAT_SHARE and not phased and _two_levels(traced, row, beside):
            names = sorted(line_name(lines.iloc[k]) for k in (row, beside))
            notes.append(STACKED.format(*names, abs(_above(traced, row, beside))))
    return sorted(notes)


def _may_be_stacked(traced: Traced, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Tell of which pairs of lines some heights differ by enough."""
    xyz, line = shapely.get_coordinates(traced.shapes, include_z=True, return_index=True)
    low, high = np.full(len(traced.shapes), np.inf), np.full(len(traced.shapes), -np.inf)
    known = np.isfinite(xyz[:, 2])
    np.minimum.at(low, line[known], xyz[known, 2])
    np.maximum.at(high, line[known], xyz[known, 2])
    up = traced.levels.two_walls(one, other, high[one] - low[other])
    return np.asarray(up | traced.levels.two_walls(one, other, low[one] - high[other]))


def _share_beside(traced: Traced, row: int, other: int) -> float:
    """Return the share of a line's length that is beside another, 0 if heights make them two."""
    share = _beside(traced, row, other)
    return share if share > 0 and not _two_levels(traced, row, other) else 0.0


def _two_levels(traced: Traced, row: int, other: int) -> bool:
    """Tell whether heights make two walls of two lines."""
    if not traced.shapes[row].has_z or not traced.shapes[other].has_z:
        return False
    above = np.array([_above(traced, row, other)])
    return bool(traced.levels.two_walls(np.array([row]), np.array([other]), above)[0])


def _above(traced: Traced, row: int, other: int) -> float:
    """Return how far a line lies over another where they run together; NaN if not known [m]."""
    line, beside = traced.shapes[row], traced.shapes[other]
    steps = max(3, int(np.ceil(line.length / LEVEL_STEP_M)))
    along = (np.arange(steps) + 0.5) * line.length / steps
    points = shapely.line_interpolate_point(line, along)
    together = shapely.distance(points, beside) <= traced.reach(row, other)
    there = shapely.line_locate_point(beside, points[together])
    above = _heights(line, along[together]) - _heights(beside, there)
    known = above[np.isfinite(above)]
    return float(np.median(known)) if len(known) else np.nan


def _heights(line: shapely.Geometry, along: np.ndarray) -> np.ndarray:
    """Return a line's heights some way along it, shape (1, n); NaN where none was taken [m]."""
    xyz = shapely.get_coordinates(line, include_z=True)
    return heights_at(xyz, np.zeros(1, dtype=np.int64), along[None])


def _beside(traced: Traced, row: int, other: int, reach: float | None = None) -> float:
    """Return the share of a line's length that runs within reach of another."""
    line, beside = traced.shapes[row], traced.shapes[other]
    reach = traced.reach(row, other) if reach is None else reach
    if line.length == 0 or reach == 0:
        return float(line.equals(beside))
    corridor = beside.buffer(reach, cap_style="flat")
    along = line.intersection(corridor).length / line.length
    return float(along) if along > 0 and _runs_along(line, beside, corridor) else 0.0


def _runs_along(
    line: shapely.Geometry, other: shapely.Geometry, corridor: shapely.Geometry
) -> bool:
    """Tell whether the common stretch is long beside the corridor's width, not a mere crossing."""
    width = corridor.area / max(other.length, 1e-9)
    return bool(line.intersection(corridor).length > 1.5 * width)


def _left_of_old(
    traced: Traced, mine: np.ndarray, kept: np.ndarray
) -> dict[int, list[shapely.Geometry]]:
    """Return, for each line of an old plan, the stretches that no better line has replaced."""
    pieces, owner = _straight(traced.shapes[kept])
    tree = shapely.STRtree(pieces)
    left = {}
    for row in mine.tolist():
        reach = float(traced.reaches(row, kept).max())
        stretches, _ = _straight(traced.shapes[[row]])
        rest, found = [], set()
        for stretch in stretches:
            near = tree.query(stretch, predicate="dwithin", distance=reach)
            beside = near[_parallel(stretch, pieces[near])]
            beside = [k for k in beside if not _two_levels(traced, row, int(kept[owner[k]]))]
            corridors = [
                _corridor(pieces[k], traced.reach(row, int(kept[owner[k]]))) for k in beside
            ]
            rest.append(stretch.difference(shapely.union_all(corridors)))
            found |= {
                int(kept[owner[k]])
                for k, corridor in zip(beside, corridors, strict=True)
                if stretch.intersection(corridor).length > OLD_STRETCH_M
            }
        traced.note(row, sorted(found))
        left[row] = _long_parts(rest, OLD_STRETCH_M)
    return left


def _corridor(piece: shapely.Geometry, reach: float) -> shapely.Geometry:
    """Return the ground beside a straight piece; around its ends too where it is a curve's step."""
    return piece.buffer(reach, cap_style="round" if piece.length < CURVE_STEP_M else "flat")


def _straight(lines: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the straight pieces of lines, and the place of the line that each is part of."""
    xyz, line = shapely.get_coordinates(lines, include_z=True, return_index=True)
    first = np.flatnonzero(np.diff(line) == 0)
    return shapely.linestrings(np.stack([xyz[first], xyz[first + 1]], axis=1)), line[first]


def _parallel(stretch: shapely.Geometry, others: np.ndarray) -> np.ndarray:
    """Tell which straight pieces run as another does, either way."""
    ends = shapely.get_coordinates(np.r_[stretch, others]).reshape(-1, 2, 2)
    angle = np.degrees(np.arctan2(*(ends[:, 1] - ends[:, 0]).T))
    turn = (angle[1:] - angle[0] + 90.0) % 180.0 - 90.0
    return np.asarray(np.abs(turn) <= PARALLEL_DEG)


def _long_parts(rest: list[shapely.Geometry], least_m: float) -> list[shapely.Geometry]:
    """Return the stretches joined end to end, without the short ones."""
    parts = [part for piece in rest for part in shapely.get_parts(piece) if part.length > 0]
    if not parts:
        return []
    joined = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(parts)))
    return [part for part in joined if part.length >= least_m]
