"""What a season saw of every wall: not seen is not gone.

Each wall of the season's plan is cut into bits, each survey of the season is asked what it says of
them (`wrackline.seasons.judging`), and what it says most surely becomes the season's word: a wall
is *seen*, *overgrown*, *buried*, *lost*, it *could not be seen*, or it was *not looked for*. Bits
with one word and one witness become a stretch, with its evidence in words and figures. The word is
a suggestion; nothing is taken off the plan by it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.rasters import RasterReader
from wrackline.seasons import judging
from wrackline.seasons.bits import Array, Bits, Flags, Ints, cut_walls
from wrackline.seasons.evidence import stretch_rows
from wrackline.seasons.judging import (
    BURIED,
    HIDDEN,
    LOST,
    OVERGROWN,
    PLANTS,
    SEEN,
    UNSOUGHT,
    Absence,
    Codes,
    Heights,
    confirmed,
    heights_of,
    joint_sd,
    judge_absence,
    judge_heights,
    runs_of,
    sharpest,
)
from wrackline.seasons.looked import GROUND
from wrackline.seasons.looked import PLANTS as PLANT_ROWS
from wrackline.seasons.standing import Standing, read_standing, straight_walls
from wrackline.survey_names import season_of
from wrackline.uncertainty import ErrorModel
from wrackline.walls.linework import line_name
from wrackline.walls.repeats import position_sd

LEAST_M = 1.0
"""No less than this of a wall is said to be lost or buried, unless it is shorter (no source)."""
OFF_SDS = 3.0


@dataclass(frozen=True)
class Plan:
    """The numbered plan after a season, as far as walls go.

    Attributes
    ----------
    walls, bodies : GeoDataFrame
        The contract's `wall_lines`, without what was inferred, and `wall_bodies`.
    thickness : array, shape (n,)
        Stated thickness of each wall, NaN where none was [m].
    models : mapping of str to ErrorModel
        Errors of all surveys of walls so far.
    max_thickness_m : float
        Two faces further apart are faces of two walls [m].
    """

    walls: gpd.GeoDataFrame
    bodies: gpd.GeoDataFrame
    thickness: Array
    models: Mapping[str, ErrorModel]
    max_thickness_m: float


@dataclass(frozen=True)
class Season:
    """What a season's surveys bring for the walls.

    Attributes
    ----------
    traits : mapping of str to mapping
        Of its surveys of walls and of the bed, as `wrackline.sources.sight_traits` gives them.
    grounds : GeoDataFrame
        `wrackline.seasons.looked.COLUMNS`.
    lines : GeoDataFrame
        `ITEM_COLUMNS` of the lines that it traced, those that are no walls left out.
    surfaces : mapping of str to Path
        Of its surveys of the bed.
    models : mapping of str to ErrorModel
        Of its surveys of the bed.
    """

    traits: Mapping[str, Mapping[str, Any]]
    grounds: gpd.GeoDataFrame
    lines: gpd.GeoDataFrame
    surfaces: Mapping[str, Path | str]
    models: Mapping[str, ErrorModel]


@dataclass(frozen=True)
class Told:
    """What the season says of bits.

    Attributes
    ----------
    status, reason : array of int, shape (n,)
        See `wrackline.seasons.judging`.
    witness : array of str, shape (n,)
        The survey that says so, empty where none does.
    traced_by : array of str, shape (n,)
        Line of the season along the bit, empty where none.
    plants : array, shape (n,)
        Share of the ground that plants cover, NaN where nobody stated it.
    """

    status: Codes
    reason: Codes
    witness: npt.NDArray[np.object_]
    traced_by: npt.NDArray[np.object_]
    plants: Array


def sight_walls(plan: Plan, season: Season, name: str) -> gpd.GeoDataFrame:
    """Return what a season saw of the walls of its plan, stretch by stretch.

    Parameters
    ----------
    plan : Plan
    season : Season
    name : str
        Of the season.

    Returns
    -------
    GeoDataFrame
        Fields of the contract's layer `sightings`, walls in the plan's order, stretches along them.
    """
    bits = cut_walls(plan.walls, plan.bodies, plan.thickness, plan.max_thickness_m)
    heights = [_heights(bits, plan, season, survey) for survey in season.surfaces]
    told = settled(tell(bits, plan, season, heights), bits)
    return stretch_rows(plan.walls, bits, told, heights, name)


def tell(bits: Bits, plan: Plan, season: Season, heights: Sequence[Heights]) -> Told:
    """Return what the season says of bits, the surest word of all its surveys."""
    count, thickness = len(bits), bits.span[:, 1] - bits.span[:, 0]
    off = np.array([OFF_SDS * _line_sd(season, plan, name) for name in season.lines["survey"]])
    shapes = shapely.force_2d(season.lines.geometry.to_numpy())
    traced, line = judging.traced_bits(bits, shapes, off)
    names = np.array([line_name(row) for _, row in season.lines.iterrows()] or [""], dtype=object)
    plants = plant_shares(bits, season.grounds)
    beside = judging.lines_beside(bits, shapes, plan.max_thickness_m)
    bed = best_bed(heights)
    words = [
        (*judge_absence(absence, bed, thickness, beside), absence.survey)
        for absence in absences(bits, season)
    ]
    words += [(*_by_heights(part, thickness, bits, season), part.survey) for part in heights]
    status, reason, witness = surest(words, count)
    looked = (status != UNSOUGHT) | (plants >= PLANTS)
    told = [
        ((plants >= PLANTS) & looked & (status != SEEN), OVERGROWN),
        (traced, SEEN),
    ]
    for where, what in told:
        status[where], reason[where] = what, judging.NO_REASON
        witness[where] = ""
    traced_by = np.where(traced, names[np.maximum(line, 0)], "")
    witness = np.where(traced, [str(name).split("/")[0] for name in traced_by], witness)
    return Told(status, reason, witness, traced_by, plants)


def _by_heights(
    heights: Heights, thickness: Array, bits: Bits, season: Season
) -> tuple[Codes, Codes]:
    """Return what a survey's heights say of bits; in its ground it looked, if with no sounding."""
    status, reason = confirmed(*judge_heights(heights, thickness), heights, bits)
    rows = (season.grounds["survey"] == heights.survey) & (season.grounds["what"] == GROUND)
    for shape in season.grounds.geometry[rows]:
        unmet = (status == UNSOUGHT) & _within(bits, shape)
        status[unmet], reason[unmet] = HIDDEN, judging.FEW
    return status, reason


def _line_sd(season: Season, plan: Plan, survey: str) -> float:
    return position_sd(plan.models[survey]) if survey in plan.models else 0.0


def surest(
    words: Sequence[tuple[Codes, Codes, str]], count: int
) -> tuple[Codes, Codes, npt.NDArray[np.object_]]:
    """Return the surest word on each bit: seen before buried, lost, could not be seen.

    Parameters
    ----------
    words : sequence of (status, reason, survey)
        What each survey says, arrays of shape (n,).
    count : int
        Number of bits n.
    """
    status = np.full(count, UNSOUGHT)
    reason = np.zeros(count, dtype=np.int64)
    witness = np.full(count, "", dtype=object)
    for said, why, survey in words:
        surer = said > status
        status[surer], reason[surer], witness[surer] = said[surer], why[surer], survey
    return status, reason, witness


def best_bed(heights: Sequence[Heights]) -> Heights | None:
    """Return for each bit the reading that knows best how the bed lies to the recorded top."""
    if not heights:
        return None
    sd = np.stack([np.where(np.isfinite(h.proud), h.proud_sd, np.inf) for h in heights])
    chosen = sd.argmin(axis=0)
    standing = {
        name: np.choose(chosen, [getattr(h.standing, name) for h in heights])
        for name in vars(heights[0].standing)
    }
    rest = {
        name: np.choose(chosen, [getattr(h, name) for h in heights])
        for name in ("proud", "proud_sd", "common_sd")
    }
    return Heights("", np.nan, Standing(**standing), **rest)


def plant_shares(bits: Bits, grounds: gpd.GeoDataFrame, survey: str | None = None) -> Array:
    """Return the greatest share of the ground that plants cover at bits.

    NaN where nobody stated plants; 0 beyond the patches where somebody did.

    Parameters
    ----------
    bits : Bits
    grounds : GeoDataFrame
        `wrackline.seasons.looked.COLUMNS`.
    survey : str, optional
        The one whose word counts; that of all if left out.
    """
    mine = grounds if survey is None else grounds[grounds["survey"] == survey]
    share = np.full(len(bits), np.nan)
    stating = mine["survey"][mine["what"] == PLANT_ROWS].unique()
    looked = mine[(mine["what"] == GROUND) & mine["survey"].isin(stating)]
    for shape in looked.geometry:
        share[_within(bits, shape)] = 0.0
    patches = mine[mine["what"] == PLANT_ROWS]
    for shape, part in zip(patches.geometry, patches["share"].astype(float), strict=True):
        inside = _within(bits, shape)
        share[inside] = np.fmax(share[inside], part)
    return share


def _within(bits: Bits, shape: Any) -> Flags:
    shapely.prepare(shape)
    return np.asarray(shapely.intersects_xy(shape, bits.xy[:, 0], bits.xy[:, 1]))


def absences(bits: Bits, season: Season) -> list[Absence]:
    """Return what the season's surveys of walls state of where they looked.

    One that states no ground says nothing by what it lacks, nor does an old plan.
    """
    table, found = season.grounds, []
    stated = table[(table["what"] == GROUND) & table["stated"].fillna(False).astype(bool)]
    for survey, shape in zip(stated["survey"], stated.geometry, strict=True):
        traits = season.traits.get(survey)
        if traits is None or traits["holds"] != "wall_lines" or traits["old_plan"]:
            continue
        found.append(
            Absence(
                survey,
                _within(bits, shape),
                _or_nan(traits["visibility_m"]),
                _or_nan(traits["resolution_m"]),
                plant_shares(bits, table, survey),
            )
        )
    return found


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def _heights(bits: Bits, plan: Plan, season: Season, survey: str) -> Heights:
    """Return what one survey's surface says of bits."""
    model = season.models[survey]
    recorders = sorted(plan.models)
    by_wall = np.array([recorders.index(recorder(row)) for row in plan.walls["lines"]], dtype=int)
    which = by_wall[bits.wall] if len(bits) else np.zeros(0, dtype=int)
    models = [plan.models[name] for name in recorders]
    place = np.array([position_sd(part) for part in models])[which]
    place = np.hypot(place, position_sd(model))
    joint = joint_sd(models, which, model, np.column_stack([bits.xy, np.nan_to_num(bits.top)]))
    with RasterReader(season.surfaces[survey]) as surface:
        windows = _on_either_side(surface, bits, plan, place)
    resolution = season.traits[survey]["resolution_m"]
    return sharpest([heights_of(survey, resolution, part, bits.top, joint) for part in windows])


def recorder(lines: str) -> str:
    """Return the survey whose heights a wall has: the newest of those of its lines.

    >>> recorder("2031-walls/W1;2033-again/W7")
    '2033-again'
    """
    surveys = [name.split("/", 1)[0] for name in lines.split(";")]
    return max(surveys, key=lambda name: (season_of(name), name))


def _on_either_side(surface: RasterReader, bits: Bits, plan: Plan, place: Array) -> list[Standing]:
    """Return what a surface shows; of a face whose wall's side isn't known, on the higher side."""
    others = straight_walls(shapely.force_2d(plan.walls.geometry.to_numpy()))
    found = read_standing(surface, bits, others, place)
    asked = np.flatnonzero(np.isin(bits.wall, bits.wall[~bits.sided]))
    if not len(asked):
        return found
    turned = read_standing(surface, bits.turned().pick(asked), others, place[asked])
    return [
        _higher(one, other, asked, bits.sided) for one, other in zip(found, turned, strict=True)
    ]


def _higher(one: Standing, other: Standing, asked: Ints, sided: Flags) -> Standing:
    better = ~sided[asked] & (
        np.nan_to_num(other.exposure, nan=-np.inf) > np.nan_to_num(one.exposure[asked], nan=-np.inf)
    )
    fields = {}
    for name, values in vars(one).items():
        fields[name] = values.copy()
        fields[name][asked[better]] = getattr(other, name)[better]
    return Standing(**fields)


def settled(told: Told, bits: Bits) -> Told:
    """Return what is told without scraps: no loss or burial under `LEAST_M`, no lone bit unsaid."""
    status, reason = told.status.copy(), told.reason.copy()
    for code in (LOST, BURIED):
        for run in runs_of(status, bits):
            whole = len(run) == (bits.wall == bits.wall[run[0]]).sum()
            if status[run[0]] == code and bits.length[run].sum() < LEAST_M and not whole:
                status[run], reason[run] = HIDDEN, judging.SHORT
    runs = runs_of(status, bits)
    for before, run, after in zip(runs, runs[1:], runs[2:], strict=False):
        one_wall = bits.wall[before[0]] == bits.wall[run[0]] == bits.wall[after[0]]
        alike = status[before[0]] == status[after[0]]
        unsaid = status[run[0]] in (HIDDEN, UNSOUGHT) and status[before[0]] not in (LOST, BURIED)
        if one_wall and alike and unsaid and bits.length[run].sum() < LEAST_M:
            status[run], reason[run] = status[before[0]], reason[before[-1]]
            told.witness[run] = told.witness[before[-1]]
    return Told(status, reason, told.witness, told.traced_by, told.plants)
