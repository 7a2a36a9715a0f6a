"""Surveys held against the site: water, bed and walls, marks of local grids, where others lie."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pyproj import CRS
from scipy.spatial import cKDTree
from scipy.special import ndtri

from wrackline.accuracy.bed_cells import BedCells, cell_keys
from wrackline.errors import WracklineError
from wrackline.fit.similarity import fit_affine, fit_local_grid, fit_similarity, marks_of
from wrackline.frames import horizontal, placing
from wrackline.model import LocalGrid, SeaLevel, Site, Survey
from wrackline.uncertainty import ErrorModel

Array = npt.NDArray[np.float64]

SOUNDER_WORDS = ("sounder", "sonar", "beam", "echo")
ABOVE_WATER_M = 0.5
ZERO_M = 0.6
"""Beds that a sounder met lie no further above the highest named level (common practice)."""
UNDER_BED_M = 0.3
OVER_BED_M = 3.5
TALLEST_M = 3.0
CLEAR_SDS = 4.0
MOST_OF = 0.6
LEAST_POINTS = 6
BESIDE_CELLS = 2
SECTIONS_M = (0.3, 0.5, 1.0, 1.5, 2.0)
"""Lengths by which a pole's setting slips: its sections (common practice, no source)."""
SECTION_TOLERANCE_M = 0.04


def is_sounder(survey: Survey) -> bool:
    """Tell whether a survey's technique can only meet ground below the water.

    Lasers are beams that can't.
    """
    words = survey.technique.lower()
    return any(word in words for word in SOUNDER_WORDS) and "laser" not in words


def zero_lost(bed: BedCells, site: Site) -> tuple[float, SeaLevel] | None:
    """Return the mean level of a water record far from every named sea level, and the nearest.

    A sea that is far from its mean for the whole of a record is a gauge's zero that was forgotten
    or taken with the wrong sign; within the record's own range, or `ZERO_M`, it may be weather.

    Parameters
    ----------
    bed : BedCells
        A survey; one without a record of the water's level has no zero to lose.
    site : Site

    Returns
    -------
    tuple of float and SeaLevel, or None
        Mean height above the site's datum [m].
    """
    meant = bed.survey.vertical
    if bed.water is None or meant.zero != "site":
        return None
    level = bed.water.level[np.isfinite(bed.water.level)]
    mean = float(level.mean()) + meant.water_level_zero_m
    nearest = min(site.sea_levels, key=lambda one: abs(one.height_m - mean))
    far = abs(nearest.height_m - mean) > max(ZERO_M, float(np.ptp(level)))
    return (mean, nearest) if far else None


def above_water(bed: BedCells, site: Site) -> str:
    """Tell, in words, why a lone survey's vertical numbers must have the wrong sign; "" if not.

    Parameters
    ----------
    bed : BedCells
    site : Site
    """
    meaning = bed.survey.vertical.meaning
    if meaning == "depth_below_water" and bed.negative > 0.5:
        return f"{bed.negative:.0%} of its depths below the water are negative"
    if not is_sounder(bed.survey):
        return ""
    middle = float(np.median(bed.cells["h"]))
    highest = max(level.height_m for level in site.sea_levels)
    if middle > highest + ABOVE_WATER_M:
        return f"a sounded bed {middle - highest:.2f} m above {site.sea_levels[0].name}"
    return ""


def section_of(size_m: float, sd_m: float) -> float | None:
    """Return the length of pole that an error of height is as good as equal to, None if none.

    >>> section_of(-1.01, 0.02), section_of(0.75, 0.02)
    (1.0, None)
    """
    for length in SECTIONS_M:
        if abs(abs(size_m) - length) <= min(SECTION_TOLERANCE_M, 2 * sd_m) and sd_m < length / 8:
            return length
    return None


@dataclass(frozen=True)
class OnBed:
    """How points of walls or floors lie to the bed beside them.

    Attributes
    ----------
    above : array, shape (n,)
        Height of each point above the median bed beside it [m].
    xyz : array, shape (n, 3)
        The points [m].
    others : str
        Surveys of the bed, in words.
    sd : float
        Of the bed and the points together, as the config states it [m].
    """

    above: Array
    xyz: Array
    others: str
    sd: float


def on_bed(xyz: Array, model: ErrorModel, beds: Sequence[BedCells]) -> OnBed | None:
    """Return how points lie to the bed beside them; None where too few have bed around.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Points with heights; NaN are left out [m].
    model : ErrorModel
        Errors of their survey.
    beds : sequence of BedCells
    """
    known = xyz[np.isfinite(xyz[:, 2])]
    if len(known) < LEAST_POINTS or not beds:
        return None
    places = np.vstack([bed.places() for bed in beds])
    height = np.concatenate([bed.cells["h"].to_numpy(float) for bed in beds])
    reach = (BESIDE_CELLS + 0.5) * beds[0].cell_m
    found = cKDTree(places).query(known[:, :2], k=8, distance_upper_bound=reach)
    near, at = np.asarray(found[0]), np.asarray(found[1])
    full = np.isfinite(near).sum(axis=1) >= 4
    if full.sum() < LEAST_POINTS:
        return None
    beside = np.append(height, np.nan)[at[full]]
    above = known[full, 2] - np.nanmedian(beside, axis=1)
    sds = [_vertical_sd(m) for m in (model, *(bed.model for bed in beds))]
    return OnBed(
        above,
        known[full],
        ", ".join(bed.name for bed in beds),
        float(np.hypot(sds[0], max(sds[1:]))),
    )


def _vertical_sd(model: ErrorModel) -> float:
    shifts = [part.sd for part in model.named if part.kind == "height"]
    return float(
        np.sqrt(model.random_vertical**2 + model.patchy_vertical**2 + sum(sd**2 for sd in shifts))
    )


def under_bed(points: OnBed) -> bool:
    """Tell whether most points lie well below the bed beside them."""
    deep = points.above < -max(UNDER_BED_M, CLEAR_SDS * points.sd)
    return bool(deep.mean() > MOST_OF)


def over_bed(points: OnBed) -> bool:
    """Tell whether most points lie well above the bed beside them."""
    high = points.above > max(UNDER_BED_M, CLEAR_SDS * points.sd)
    return bool(high.mean() > MOST_OF)


def sign_of_walls(points: OnBed, survey: Survey) -> bool:
    """Tell whether walls far above the bed would stand on it were their heights' sign changed."""
    if np.median(points.above) < OVER_BED_M or survey.vertical.meaning == "none":
        return False
    bed = points.xyz[:, 2] - points.above
    zero = survey.vertical.datum_height_m
    flipped = 2 * zero - points.xyz[:, 2] - bed
    return bool(((flipped > -UNDER_BED_M) & (flipped < TALLEST_M)).mean() > 0.8)


@dataclass(frozen=True)
class MarkMisfit:
    """A mark of a local grid that the others don't bear out, or all of them together.

    Attributes
    ----------
    point : str
        Its name; empty when the residuals as a whole are too large.
    size : float
        Distance of the mark from where the others put it [m].
    azimuth_deg : float
        Grid azimuth from there to the mark as given [degrees].
    test : float
        Size in its standard uncertainty (root of the two-dimensional w-test).
    place : tuple of float
        The mark as given [m].
    """

    point: str
    size: float
    azimuth_deg: float
    test: float
    place: tuple[float, float]


MARK_ALARM = 0.001
LARGE_ALARM = 0.0005
LEAST_MARK_SIZES = 2.0
"""Marks nearer than this many control_sd_m to where the others put them are never named."""


def mark_misfits(grid: LocalGrid) -> list[MarkMisfit]:
    """Return the marks of a local grid that the others don't bear out, the worst first.

    Each mark is left out in turn (Baarda 1968, data snooping, with the stated control_sd_m); the
    worst is set aside, and the rest tested again.

    Parameters
    ----------
    grid : LocalGrid
    """
    local, site = marks_of(grid)
    need = 4 if grid.method == "affine" else 3
    names = [point.point for point in grid.points]
    left, out = list(range(len(names))), []
    while len(left) > need:
        tests = [_left_out(grid, local, site, left, k) for k in left]
        best = int(np.argmax([test.test for test in tests]))
        critical = float(np.sqrt(-2 * np.log(MARK_ALARM / len(left))))
        clear = tests[best].test > critical
        if not clear or tests[best].size < LEAST_MARK_SIZES * grid.control_sd_m:
            break
        out.append(tests[best])
        left.pop(best)
    if len(out) > max(1, len(names) // 3):
        return [_all_of(grid, site)]
    return out if out else _too_large(grid, site)


def _left_out(
    grid: LocalGrid, local: Array, site: Array, left: Sequence[int], mark: int
) -> MarkMisfit:
    """Return how a mark lies to where the other marks put it."""
    rest = [k for k in left if k != mark]
    affine = grid.method == "affine"
    fit = (fit_affine if affine else fit_similarity)(local[rest], site[rest])
    there = fit.apply(local[[mark]])[0]
    away = site[mark] - there
    arm = local[mark] - local[rest].mean(axis=0)
    spread = local[rest] - local[rest].mean(axis=0)
    if affine:
        lever = float(arm @ np.linalg.pinv(spread.T @ spread) @ arm)
    else:
        lever = float(arm @ arm / (spread**2).sum())
    sd = grid.control_sd_m * np.sqrt(1 + 1 / len(rest) + lever)
    size = float(np.hypot(*away))
    azimuth = float(np.degrees(np.arctan2(away[0], away[1])) % 360)
    place = (float(site[mark, 0]), float(site[mark, 1]))
    return MarkMisfit(grid.points[mark].point, size, azimuth, size / float(sd), place)


def _too_large(grid: LocalGrid, site: Array) -> list[MarkMisfit]:
    """Return one misfit without a name where the residuals together are too large."""
    fit = fit_local_grid(grid)
    free = fit.residuals.size - (6 if grid.method == "affine" else 4)
    if free < 1:
        return []
    chi = float((fit.residuals**2).sum() / grid.control_sd_m**2)
    # Wilson and Hilferty 1931: the cube root of chi-squared is nearly normal
    z = ((chi / free) ** (1 / 3) - (1 - 2 / (9 * free))) / np.sqrt(2 / (9 * free))
    return [_all_of(grid, site)] if z > -ndtri(LARGE_ALARM) else []


def _all_of(grid: LocalGrid, site: Array) -> MarkMisfit:
    fit = fit_local_grid(grid)
    worst = int(np.argmax(np.hypot(*fit.residuals.T)))
    place = (float(site[worst, 0]), float(site[worst, 1]))
    return MarkMisfit("", fit.s0, 0.0, fit.s0 / grid.control_sd_m, place)


SCALES = {
    "international feet": 0.3048,
    "feet for metres twice over": 1 / 0.3048,
    "millimetres": 0.001,
    "centimetres": 0.01,
    "fathoms": 1.8288,
    "kilometres": 1000.0,
}
SCALE_TOLERANCE = 0.01


def scale_unit(survey: Survey) -> tuple[str, float] | None:
    """Return the unit that a local grid's numbers seem to be in, and its scale; None for metres.

    Only where the grid was laid out on the ground: pixels of a scan have any scale.
    """
    grid = survey.local_grid
    if grid is None or grid.method == "affine" or survey.holds in ("picture", "bed_grid"):
        return None
    scale = fit_local_grid(grid).scale
    for unit, size in SCALES.items():
        if abs(scale / size - 1) < SCALE_TOLERANCE:
            return unit, scale
    return None


APART_M = 20.0
"""Surveys wholly further than this from all others are tried elsewhere (no source)."""
BESIDE_M = 5.0
ON_TOP = 0.6
FAR_M = 2000.0
DATUMS = {
    (6326, "N"): 32600, (6326, "S"): 32700, (6258, "N"): 25800, (6230, "N"): 23000,
    (6269, "N"): 26900, (6267, "N"): 26700, (6322, "N"): 32200, (6322, "S"): 32300,
}  # fmt: skip
"""EPSG codes of UTM, less the zone, by datum and hemisphere (EPSG dataset)."""

Elsewhere = tuple[str, Callable[[Array, Array], tuple[Array, Array]]]


def nearness(xy: Array, others: cKDTree) -> float:
    """Return the share of places, shape (n, 2), that lie beside a place of others."""
    if not len(xy) or not np.isfinite(xy).all():
        return 0.0
    return float((np.asarray(others.query(xy)[0]) < BESIDE_M).mean())


def swapped(name: str, survey: Survey, site: Site, own: Array) -> Array:
    """Return where a survey's places would lie were its two numbers swapped, shape (n, 2) [m].

    Parameters
    ----------
    name : str
    survey, site : Survey, Site
    own : array, shape (n, 2)
        In the file's own numbers.
    """
    with np.errstate(over="ignore", invalid="ignore"):
        return np.column_stack(placing(name, survey, site.crs)(own[:, 1], own[:, 0]))


def other_crs(survey: Survey) -> Iterator[str]:
    """Yield CRSs that a survey's could be mistaken for: UTM of a zone beside, or another datum."""
    try:
        crs = horizontal(CRS.from_user_input(str(survey.crs)))
    except ValueError:
        return
    zone = crs.utm_zone
    if zone is None:
        return
    number, side = int(zone[:-1]), zone[-1]
    codes = set(DATUMS.values())
    own = crs.to_epsg(min_confidence=20)
    mine = [base for base in codes if own is not None and base < own <= base + 60]
    first = mine or [DATUMS[6326, side]]
    for base in [*first, *sorted(codes - set(first))]:
        for near in (number, (number - 2) % 60 + 1, number % 60 + 1):
            if base + near != own:
                yield f"EPSG:{base + near}"


def fitting_crs(
    name: str, survey: Survey, site: Site, own: Array, others: cKDTree
) -> tuple[str, float] | None:
    """Return the CRS in which a survey falls on the others, and the share that does.

    Parameters
    ----------
    name : str
    survey, site : Survey, Site
    own : array, shape (n, 2)
        In the file's own numbers.
    others : cKDTree
        Places of all others in the site's CRS.
    """
    best: tuple[str, float] | None = None
    for code in other_crs(survey):
        try:
            place = placing(name, survey.model_copy(update={"crs": code}), site.crs)
            xy = np.column_stack(place(own[:, 0], own[:, 1]))
        except WracklineError:
            continue
        share = nearness(xy, others)
        if share > ON_TOP and (best is None or share > best[1]):
            best = code, share
    return best


def wall_cells(places: Array, origin: tuple[float, float], cell_m: float) -> npt.NDArray[np.int64]:
    """Return the keys of all cells within one cell of places along walls."""
    if not len(places):
        return np.empty(0, dtype=np.int64)
    keys = np.unique(cell_keys(places - np.array(origin), cell_m))
    steps = [(e << 21) + n for e in (-1, 0, 1) for n in (-1, 0, 1)]
    return np.unique((keys[:, None] + np.array(steps)).reshape(-1))
