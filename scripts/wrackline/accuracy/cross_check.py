"""Every survey against the others, the marks and the site: suspicions of blunders of scale.

Works on what intake wrote, in the file's own numbers, so that other signs, units, clocks, axes and
grids can be tried. Gross slips come first; a survey that one explains is left out of finer checks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pyarrow.parquet as pq
import shapely
from scipy.spatial import cKDTree

from wrackline import vectors
from wrackline.accuracy import bed_agreement, cross_words, line_agreement, site_checks
from wrackline.accuracy.agreement import Compared, Suspect, suspects
from wrackline.accuracy.bed_cells import BedCells, cell_side, read_bed_cells
from wrackline.accuracy.line_agreement import Lines, lines_of
from wrackline.accuracy.repeats import Repeat, is_lattice, point_codes, repeats
from wrackline.accuracy.run_agreement import Ties, clock_slip, off_runs, tie_runs
from wrackline.errors import Fault, WracklineError
from wrackline.fit.items import errors_of, fit_items
from wrackline.frames import placing
from wrackline.model import POINT_HOLDS, Site, Survey
from wrackline.uncertainty import ErrorModel, NamedError
from wrackline.verdict import Source, sort_accepted

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

SAMPLE = 3000
"""Places of a survey that are tried elsewhere."""
LEAST_LEVEL_M = 0.05
LEAST_WALL_LEVEL_M = 0.08
LEAST_TILT_M = 0.06
LEAST_SHIFT_M = 0.10
LEAST_BED_SHIFT_M = 0.30
LEAST_TURN_M = 0.10
OWN_SD_REACH_M = 100.0
"""Distance over which a file's own uncertainty is taken to be alike (no source)."""
ABSURD_M = 100.0


@dataclass(frozen=True)
class CheckedSurvey:
    """One survey as intake left it.

    Attributes
    ----------
    name : str
        Identifier.
    survey : Survey
    table : Path
        `points.parquet` or `items.parquet` of the stage intake.
    folder : Path
        The site's folder.
    adjustment : dict or None
        What the adjustment of raw observations found.
    """

    name: str
    survey: Survey
    table: Path
    folder: Path = Path()
    adjustment: dict[str, Any] | None = None

    @property
    def source(self) -> Source:
        """The survey's file."""
        return Source(self.name, self.survey, self.folder)

    @property
    def is_bed(self) -> bool:
        """Whether it holds bed points."""
        return self.survey.holds in POINT_HOLDS


@dataclass
class Field:
    """All surveys, loaded, and what is said of them so far."""

    site: Site
    surveys: dict[str, CheckedSurvey]
    beds: dict[str, BedCells] = field(default_factory=dict)
    items: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    models: dict[str, ErrorModel] = field(default_factory=dict)
    own: dict[str, Array] = field(default_factory=dict)
    placed: dict[str, Array] = field(default_factory=dict)
    said: list[Fault] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    figures: list[dict[str, Any]] = field(default_factory=list)
    explained: set[str] = field(default_factory=set)
    _kept: dict[tuple[str, ...], Any] = field(default_factory=dict)

    @property
    def side_m(self) -> float:
        """Side of a cell of comparison [m]."""
        return cell_side(self.site, [one.survey for one in self.surveys.values()])

    @property
    def is_coarse(self) -> bool:
        """Whether cells are so wide that slopes of the bed would pass for slips of a stretch."""
        return self.side_m > cell_side(self.site)

    def say(self, name: str, words: cross_words.Words, *, gross: bool = False) -> None:
        """Note a suspicion of a survey; a gross one leaves it out of finer checks."""
        doubt = self.surveys[name].source.suspicion(words.kind, *words.parts, row=words.row)
        self.said.append(replace(doubt, place=words.place, depth_m=words.depth_m))
        if gross:
            self.explained.add(name)

    def lines(self) -> list[Lines]:
        """Return the wall lines of surveys that no gross slip explains."""
        return [
            lines_of(name, self.surveys[name].survey, self.models[name], items)
            for name, items in self.items.items()
            if self.surveys[name].survey.holds == "wall_lines" and name not in self.explained
        ]

    def fair_beds(self) -> list[BedCells]:
        """Return the surveys of the bed that no gross slip explains, older ones first."""
        fair = [bed for name, bed in self.beds.items() if name not in self.explained]
        return sorted(fair, key=lambda bed: (bed.survey.from_date, bed.name))

    def wall_cells(self) -> Ints:
        """Return keys of cells at walls."""
        key = ("walls", *sorted(self.explained))
        if key not in self._kept:
            side = next(iter(self.beds.values())).cell_m
            places = line_agreement.near_lines(self.lines(), side / 2)
            self._kept[key] = site_checks.wall_cells(places, self.site.origin, side)
        return np.asarray(self._kept[key], dtype=np.int64)

    def ties(self, bed: BedCells) -> Ties | None:
        """Return the ties of a survey's runs with each other and with all other fair surveys."""
        key = (bed.name, *sorted(self.explained))
        if key not in self._kept:
            others = [other for other in self.fair_beds() if other is not bed]
            self._kept[key] = tie_runs(bed, others, self.wall_cells())
        ties: Ties | None = self._kept[key]
        return ties


def cross_check(surveys: Sequence[CheckedSurvey], site: Site) -> dict[str, Any]:
    """Hold every survey against the others, its marks and the site.

    Parameters
    ----------
    surveys : sequence of CheckedSurvey
        Those with an empty table are passed over: intake says why.
    site : Site

    Returns
    -------
    dict
        ``faults`` of surveys that can't be placed, ``suspicions`` and ``accepted``
        (`Fault.as_dict`; accepted are those of a kind that the
        survey's config accepts), and ``pairs``: ``newer``, ``older``, ``figure``, ``values``
        newer − older, ``sds``, ``count``, ``place``.
    """
    ground = Field(site, {one.name: one for one in sorted(surveys, key=lambda s: s.name)})
    for one in ground.surveys.values():
        _load(ground, one)
    for check in (_marks, _poles, _repeats, _places, _readings, _alone, _clocks, _runs):
        check(ground)
    _bed_pairs(ground)
    _on_bed(ground)
    _wall_pairs(ground)
    stand: list[Fault] = []
    accepted: list[Fault] = []
    for doubt in ground.said:
        kept, dropped = sort_accepted(ground.surveys[doubt.survey].survey, [doubt])
        stand, accepted = stand + kept, accepted + dropped
    return {
        "faults": [fault.as_dict() for fault in ground.faults],
        "suspicions": [doubt.as_dict() for doubt in stand],
        "accepted": [doubt.as_dict() for doubt in accepted],
        "pairs": ground.figures,
    }


def _load(ground: Field, one: CheckedSurvey) -> None:
    """Read and place a survey; why one can't be is kept, an empty one is passed over."""
    if one.survey.holds == "picture" or not pq.read_metadata(one.table).num_rows:
        return
    try:
        model = _model(one, ground.site)
        if one.is_bed:
            model = _with_own_sd(model, one.table)
            bed = read_bed_cells(one.source, one.table, ground.site, model, side_m=ground.side_m)
            if bed is not None:
                ground.beds[one.name] = bed
                ground.own[one.name] = _sample(one.table)
        else:
            table = vectors.read(one.table)
            if len(table):
                ground.items[one.name] = fit_items(
                    table, one.name, one.survey, ground.site, folder=one.folder
                )
                ground.own[one.name] = _thin(shapely.get_coordinates(table.geometry.to_numpy()))
        if one.name in ground.own:
            place = placing(one.name, one.survey, ground.site.crs)
            own = ground.own[one.name]
            placed = np.column_stack(place(own[:, 0], own[:, 1]))
            there = np.isfinite(placed).all(axis=1)
            ground.own[one.name], ground.placed[one.name] = own[there], placed[there]
    except WracklineError as error:
        ground.faults += [replace(fault, survey=one.name) for fault in error.faults]
        return
    ground.models[one.name] = model


def _model(one: CheckedSurvey, site: Site) -> ErrorModel:
    """Return a survey's errors, those of its adjustment included."""
    return errors_of(one.name, one.survey, site, one.adjustment)[0]


def _with_own_sd(model: ErrorModel, table: Path) -> ErrorModel:
    """Return the errors widened by what the file says of itself beyond the config.

    A file's own uncertainty names no cause, so it is taken as alike over the survey and, as much
    again, from part to part of it.
    """
    with pq.ParquetFile(table) as stored:
        if "sd" not in stored.schema_arrow.names or not stored.metadata.num_rows:
            return model
        parts = stored.iter_batches(batch_size=500_000, columns=["sd"])
        total = sum(float(np.nansum(part.column(0).to_numpy() ** 2)) for part in parts)
        own = total / stored.metadata.num_rows
    beyond = float(np.sqrt(max(own - model.random_vertical**2 - model.patchy_vertical**2, 0.0)))
    if beyond == 0:
        return model
    return replace(
        model,
        patchy_vertical=float(np.hypot(model.patchy_vertical, beyond)),
        patchy_distance=max(model.patchy_distance, OWN_SD_REACH_M),
        named=(*model.named, NamedError(f"{model.survey}:own_sd", "height", beyond)),
    )


def _thin(xy: Array) -> Array:
    return xy[:: max(1, -(-len(xy) // SAMPLE))]


def _sample(table: Path) -> Array:
    """Return places of a table of points, evenly taken, in the file's own numbers."""
    with pq.ParquetFile(table) as stored:
        step = max(1, -(-stored.metadata.num_rows // SAMPLE))
        parts, seen = [], 0
        for batch in stored.iter_batches(batch_size=500_000, columns=["x", "y"]):
            xy = np.column_stack([batch.column(name).to_numpy() for name in ("x", "y")])
            parts.append(xy[(-seen) % step :: step])
            seen += len(xy)
    return np.vstack(parts) if parts else np.empty((0, 2))


def _marks(ground: Field) -> None:
    """Check the marks and the scale of every local grid."""
    for name in ground.own:
        survey = ground.surveys[name].survey
        if survey.local_grid is None:
            continue
        unit = site_checks.scale_unit(survey)
        if unit is not None:
            ground.say(name, cross_words.scale(*unit))
        for misfit in site_checks.mark_misfits(survey.local_grid):
            ground.say(name, cross_words.mark(misfit, survey.local_grid.control_sd_m))


def _poles(ground: Field) -> None:
    """Name the surveys whose faces were traced with a pole of unstated width."""
    for name in ground.own:
        survey = ground.surveys[name].survey
        if survey.lacks_pole_width:
            ground.say(name, cross_words.pole_width(survey))


def _repeats(ground: Field) -> None:
    """Check for points that stand in two files of like content."""
    kinds: dict[str, dict[str, Ints]] = {}
    most = max([bed.cells["n"].sum() for bed in ground.beds.values()], default=1)
    keep = max(1, int(most // 2_000_000))
    for name in ground.own:
        one = ground.surveys[name]
        kind = "bed" if one.is_bed else one.survey.holds
        codes = _bed_codes(one, keep) if one.is_bed else _item_codes(ground.items[name])
        kinds.setdefault(kind, {})[name] = codes
    for like in kinds.values():
        found: dict[tuple[str, bool], list[Repeat]] = {}
        for pair in repeats(like):
            found.setdefault((pair.inner, pair.whole), []).append(pair)
        for (inner, _), alike in found.items():
            place = _here(ground.placed[inner][0])
            ground.say(inner, cross_words.repeat(alike, place), gross=True)


def _bed_codes(one: CheckedSurvey, keep: int) -> Ints:
    """Return codes of places in the file's own numbers; heights count only on a lattice."""
    parts: list[Ints] = []
    with pq.ParquetFile(one.table) as stored:
        for batch in stored.iter_batches(batch_size=500_000, columns=["x", "y", "v"]):
            x, y, v = (batch.column(name).to_numpy() for name in ("x", "y", "v"))
            scale = 1e6 if np.abs(x).max() <= 360 else 1.0
            height = v if one.survey.holds == "bed_grid" or is_lattice(x) else np.zeros_like(v)
            parts.append(point_codes(x * scale, y * scale, height, keep))
    return np.unique(np.concatenate(parts)) if parts else np.empty(0, dtype=np.int64)


def _item_codes(items: gpd.GeoDataFrame) -> Ints:
    xy = shapely.get_coordinates(items.geometry.to_numpy())
    return point_codes(xy[:, 0], xy[:, 1], np.zeros(len(xy)))


def _here(place: Array) -> tuple[float, float]:
    return round(float(place[0]), 2), round(float(place[1]), 2)


def _places(ground: Field) -> None:
    """Check whether a survey apart from all others falls on them once read otherwise."""
    for name, xy in ground.placed.items():
        rest = [
            places
            for other, places in ground.placed.items()
            if other != name and other not in ground.explained
        ]
        few = sum(len(places) for places in rest) < site_checks.LEAST_POINTS
        if few or name in ground.explained or not len(xy):
            continue
        tree = cKDTree(np.vstack(rest))
        away = float(np.median(tree.query(xy)[0]))
        if site_checks.nearness(xy, tree) < 0.1 and away > site_checks.APART_M:
            _elsewhere(ground, name, tree, away)


def _elsewhere(ground: Field, name: str, others: Any, away: float) -> None:
    survey, own = ground.surveys[name].survey, ground.own[name]
    where = _here(ground.placed[name].mean(axis=0))
    turned = site_checks.nearness(site_checks.swapped(name, survey, ground.site, own), others)
    if turned > site_checks.ON_TOP:
        ground.say(name, cross_words.swapped(away, turned, where, survey), gross=True)
        return
    if survey.crs is None or away < site_checks.FAR_M:
        return
    fits = site_checks.fitting_crs(name, survey, ground.site, own, others)
    if fits is not None:
        ground.say(name, cross_words.zone(away, fits, where, survey), gross=True)


def _readings(ground: Field) -> None:
    """Check whether vertical numbers, with another sign or unit, would agree with the others."""
    while True:
        fair = ground.fair_beds()
        found = [
            slip
            for bed in fair
            for other in fair
            if bed is not other
            for slip in [bed_agreement.misread(bed, other)]
            if slip is not None
        ]
        if not found:
            return
        level = ground.site.depth_level.height_m
        slip = max(found, key=lambda one: (_likeness(one, found, level), one.name))
        ground.say(slip.name, cross_words.misread(slip), gross=True)


def _likeness(
    slip: bed_agreement.Misread, found: Sequence[bed_agreement.Misread], level: float
) -> tuple[float, ...]:
    """Rank slips: those that most others bear out, then what lies above the water, then kinds."""
    bears = sum(1 for one in found if one.name == slip.name and one.kind == slip.kind)
    above = slip.kind == "wrong_sign" and slip.height > level
    likely = list(bed_agreement.FACTORS).index(slip.kind)
    return float(bears), float(above), -float(likely)


def _alone(ground: Field) -> None:
    """Check what can be said of each survey of the bed by itself."""
    for bed in ground.fair_beds():
        why = site_checks.above_water(bed, ground.site)
        place = _here(bed.places()[len(bed.cells) // 2])
        middle = float(np.median(bed.cells["h"])) - ground.site.depth_level.height_m
        lost = site_checks.zero_lost(bed, ground.site)
        if lost is not None:
            ground.say(bed.name, cross_words.zero_lost(*lost, bed.survey), gross=True)
        elif why:
            ground.say(bed.name, cross_words.above_water(why, place), gross=True)
        elif abs(middle) > ABSURD_M:
            ground.say(bed.name, cross_words.absurd(middle, place), gross=True)


def _clocks(ground: Field) -> None:
    """Check clocks of soundings that were reduced by a record of the water's level."""
    if ground.is_coarse:
        return
    for bed in ground.fair_beds():
        ties = ground.ties(bed) if bed.water is not None else None
        slip = clock_slip(ties) if ties is not None else None
        if slip is not None:
            place = _here(bed.places()[len(bed.cells) // 2])
            ground.say(bed.name, cross_words.clock(slip, place), gross=True)


def _runs(ground: Field) -> None:
    """Check stretches of sounding; the clearest is named, and the rest held against each other."""
    if ground.is_coarse:
        return
    while fair := ground.fair_beds():
        best = None
        for bed in fair:
            ties = ground.ties(bed)
            off = off_runs(ties) if ties is not None else None
            if off is not None and (best is None or off.test > best[1].test):
                best = bed, off
        if best is None:
            return
        bed, off = best
        mine = bed.runs[(bed.runs["run"] >= off.first) & (bed.runs["run"] <= off.last)]
        middle = mine.iloc[len(mine) // 2]
        place = _here(np.array([middle["x"], middle["y"]]) + np.array(bed.origin))
        depth = round(ground.site.depth_level.height_m - float(middle["h"]), 2)
        ground.say(bed.name, cross_words.runs(bed, off, place, depth), gross=True)


def _bed_pairs(ground: Field) -> None:
    """Compare all pairs of surveys of the bed, and name the surveys that they together call off."""
    level: list[Compared] = []
    tilts: list[Compared] = []
    shifts: list[Compared] = []
    for shared in _shared(ground):
        level.append(bed_agreement.level(shared))
        tilts += _some(bed_agreement.tilt(shared))
        shifts += _some(bed_agreement.shift(shared))
    _name(ground, "survey_tilt", tilts, LEAST_TILT_M)
    _name(ground, "survey_shift", shifts, LEAST_BED_SHIFT_M)
    _name(ground, "survey_offset", level, LEAST_LEVEL_M)


def _some(one: Compared | None) -> list[Compared]:
    return [] if one is None else [one]


def _shared(ground: Field) -> Iterator[bed_agreement.Shared]:
    fair = ground.fair_beds()
    if len(fair) < 2:
        return
    avoid = ground.wall_cells()
    for at, newer in enumerate(fair):
        for older in fair[:at]:
            shared = bed_agreement.share(newer, older, avoid)
            if shared is not None:
                yield shared


def _wall_pairs(ground: Field) -> None:
    """Compare all pairs of surveys that traced the same walls."""
    lines = sorted(ground.lines(), key=lambda one: (one.survey.from_date, one.name))
    level: list[Compared] = []
    shifts: list[Compared] = []
    turns: list[Compared] = []
    for at, newer in enumerate(lines):
        for older in lines[:at]:
            matched = line_agreement.match(newer, older)
            if matched is None:
                continue
            both = line_agreement.wall_shift(matched)
            if both is not None:
                shifts.append(both[0])
                turns.append(both[1])
            level += _some(line_agreement.wall_level(matched))
    _name(ground, "survey_shift", shifts, LEAST_SHIFT_M)
    _name(ground, "survey_turn", turns, LEAST_TURN_M)
    _name(ground, "survey_offset", level, LEAST_WALL_LEVEL_M)


def _name(ground: Field, kind: str, compared: list[Compared], least: float) -> list[Suspect]:
    """Note the figures, and a suspicion of each survey that they call off."""
    ground.figures += [pair.figures(kind) for pair in compared]
    if not compared:
        return []
    if kind in ("survey_tilt", "survey_turn"):  # sizes are metres over the shared ground
        extent = max(pair.extent_m for pair in compared)
        least = least / max(extent, 1.0)
    named = suspects(compared, least)
    for suspect in named:
        ground.say(suspect.name, cross_words.off(kind, suspect, ground.surveys))
    return named


def _on_bed(ground: Field) -> None:
    """Check heights of walls and floors against the bed beside them."""
    doubted = {fault.survey for fault in ground.said}
    beds = [bed for bed in ground.fair_beds() if bed.name not in doubted]
    for name, items in ground.items.items():
        survey = ground.surveys[name].survey
        if name in ground.explained or not beds:
            continue
        if survey.holds == "wall_lines" and survey.traced_at == "top":
            lines = lines_of(name, survey, ground.models[name], items)
            xyz = line_agreement.along(lines, 1.0)[0] if len(lines.ends) else np.empty((0, 3))
        elif survey.holds == "floor_points":
            met = items[~items["evidence"].isin(["threshold", "paving"])]
            xyz = shapely.get_coordinates(met.geometry.to_numpy(), include_z=True)
        else:
            continue
        points = site_checks.on_bed(xyz, ground.models[name], beds)
        if points is None:
            continue
        words = cross_words.on_bed(points, survey)
        if words is not None:
            ground.say(name, words, gross=True)
