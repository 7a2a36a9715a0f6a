"""Whether a survey lies where it should: the CRS that its file declares, and its distance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS

from wrackline.crs import parse_crs
from wrackline.errors import Fault, WracklineError
from wrackline.frames import horizontal, placing, same_crs
from wrackline.model import UNITS_M, Survey
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]

FAR_M = 50_000.0
"""Surveys further than this from the site's origin are in the wrong place or the wrong CRS."""
LOCAL_M = 20_000.0
"""Numbers up to this are a local grid's, where the site's own are larger (no source)."""
DEGREE_M = 111_320.0
"""About the length of a degree of latitude, for limits alone."""


def check_declared_crs(source: Source, declared: CRS | None, problems: Problems) -> None:
    """Compare the CRS that a file declares, if any, with the configured one.

    Parameters
    ----------
    source : Source
    declared : CRS or None
        The file's own word.
    problems : Problems
        Receives a fault when the two give a place different numbers.
    """
    if declared is None or source.survey.crs is None:
        return
    try:
        given = parse_crs(source.survey.crs, file=source.survey.file, survey=source.name)
    except WracklineError:
        return  # named once, by the check of its place
    if not same_crs(CRS.from_user_input(declared), given):
        problems.add(_contradiction(source, CRS.from_user_input(declared), given))


def _contradiction(source: Source, declared: CRS, given: CRS) -> Fault:
    code = horizontal(declared).to_authority(min_confidence=70)
    name = f"{':'.join(code)} ({declared.name})" if code else declared.name
    return source.fault(
        "crs_contradiction",
        f"the file declares {name}",
        f"the configured crs, {source.survey.crs} ({given.name})",
        "one of the two would put the survey into the wrong place",
        "find out which is right; mend `crs`, or export the file anew",
    )


def check_place(
    source: Source, bounds: Array, problems: Problems, *, crs: str, origin: tuple[float, float]
) -> None:
    """Check that a survey lies near the site, in the CRS that the config names.

    Parameters
    ----------
    source : Source
    bounds : array, shape (4,)
        Least x, least y, greatest x, greatest y in the file's own numbers.
    problems : Problems
        Receives a fault when a corner is further than `FAR_M` from the site's origin.
    crs : str
        The site's CRS.
    origin : tuple of float
        The site's origin [m].
    """
    west, south, east, north = np.asarray(bounds, dtype=float)
    corners = np.array([[west, south], [east, south], [east, north], [west, north]])
    where = Where(source, crs, origin)
    away = where.away(corners, problems)
    if away is not None and not away.max() <= FAR_M:
        problems.add(where.fault(corners, float(away.max())))


def check_items_place(
    source: Source,
    items: gpd.GeoDataFrame,
    problems: Problems,
    *,
    crs: str,
    origin: tuple[float, float],
) -> None:
    """Check that every item lies near the site: all astray is one fault, some are named by row.

    Parameters
    ----------
    source : Source
    items : GeoDataFrame
        At least one, with `row`, in the file's own numbers.
    problems, crs, origin
        See `check_place`.
    """
    xy, item = shapely.get_coordinates(items.geometry.to_numpy(), return_index=True)
    where = Where(source, crs, origin)
    away = where.away(xy, problems)
    if away is None:
        return
    astray = ~(away <= FAR_M)
    rows = np.unique(items["row"].to_numpy(int)[item[astray]])
    if len(rows) == items["row"].nunique():
        problems.add(where.fault(xy, float(away.max())))
        return
    for row in rows:
        mine = astray & (items["row"].to_numpy(int)[item] == row)
        swapped = bool(where.lies(xy[mine][:, ::-1]))
        place = (float(xy[mine][0, 0]), float(xy[mine][0, 1]))
        problems.add(_stray(source, float(away[mine].max()), int(row), place, swapped=swapped))


def locator(source: Source, crs: str) -> Callable[[float, float], tuple[float, float] | None]:
    """Return the function that takes a place from the file's own numbers to the site's CRS.

    It gives None for a place that can't be had there.

    Parameters
    ----------
    source : Source
    crs : str
        The site's CRS.
    """
    try:
        place = placing(source.name, source.survey, crs)
    except WracklineError:
        return lambda x, y: None

    def located(x: float, y: float) -> tuple[float, float] | None:
        with np.errstate(over="ignore", invalid="ignore"):
            east, north = place(np.array([x]), np.array([y]))
        there = bool(np.isfinite(east[0]) and np.isfinite(north[0]))
        return (round(float(east[0]), 3), round(float(north[0]), 3)) if there else None

    return located


def unit_factor(source: Source) -> float:
    """Return what a file's eastings and northings are to be multiplied by, for its CRS.

    1 where the config names no unit, for a local grid, whose marks are in the file's own numbers,
    and for degrees.

    Parameters
    ----------
    source : Source
    """
    survey = source.survey
    if survey.unit is None or survey.local_grid is not None:
        return 1.0
    unit_m = _unit_of(str(survey.crs))
    return 1.0 if unit_m is None else UNITS_M[survey.unit] / unit_m


def metres_of(source: Source) -> float:
    """Return about how many metres one unit of a survey's CRS or local grid is [m]."""
    if source.survey.local_grid is not None:
        return 1.0
    unit_m = _unit_of(str(source.survey.crs))
    return DEGREE_M if unit_m is None else unit_m


def _unit_of(text: str) -> float | None:
    """Return metres of a CRS's unit: None for degrees, 1 for a CRS that isn't known."""
    try:
        crs = horizontal(parse_crs(text, file=""))
    except WracklineError:
        return 1.0
    return None if crs.is_geographic else float(crs.axis_info[0].unit_conversion_factor)


@dataclass(frozen=True)
class Where:
    """Tells how far from the site a survey's numbers lie, and what would bring them there.

    Attributes
    ----------
    source : Source
    crs : str
        The site's CRS.
    origin : tuple of float
        The site's origin [m].
    """

    source: Source
    crs: str
    origin: tuple[float, float]

    def away(self, xy: Array, problems: Problems) -> Array | None:
        """Return distances from the origin [m], None with a fault when there is no way there."""
        try:
            return self._distances(xy, self.source.survey)
        except WracklineError as error:
            problems.extend(error.faults)
            return None

    def _distances(self, xy: Array, survey: Survey) -> Array:
        place = placing(self.source.name, survey, self.crs)
        with np.errstate(over="ignore", invalid="ignore"):
            east, north = place(xy[:, 0], xy[:, 1])
            away = np.hypot(east - self.origin[0], north - self.origin[1])
        return np.asarray(np.where(np.isnan(away), np.inf, away))

    def lies(self, xy: Array, crs: str | None = None) -> bool:
        """Tell whether numbers lie at the site, in the configured CRS or another one."""
        survey = self.source.survey
        if crs is not None:
            survey = survey.model_copy(update={"crs": crs, "local_grid": None})
        try:
            return bool(self._distances(xy, survey).max() <= FAR_M)
        except WracklineError:
            return False

    def fault(self, xy: Array, distance: float) -> Fault:
        """Return the fault of a survey that lies elsewhere, by what would explain it."""
        for explain in (_degrees, _swapped, _zone, _scale, _local):
            kind, words, remedy = explain(self, xy)
            if kind:
                return self._far(kind, distance, f"; {words}", remedy)
        remedy = "check `crs` and which number is easting; cut off what lies far from the site"
        return self._far("far_from_site", distance, "", remedy)

    def _far(self, kind: str, distance: float, words: str, remedy: str) -> Fault:
        reach = f"reaches {distance / 1000:.0f} km from the site's origin"
        return self.source.fault(
            kind,
            f"a survey that {reach if np.isfinite(distance) else 'lies nowhere in its grid'}"
            + words,
            f"surveys within {FAR_M / 1000:.0f} km of it",
            "the record would reach from there to the site",
            remedy,
        )


Explained = tuple[str, str, str]
"""Kind, what the numbers seem to be, and remedy; all empty where it isn't so."""
NOT_SO: Explained = ("", "", "")


def _degrees(where: Where, xy: Array) -> Explained:
    """Degrees declared as metres, or metres as degrees."""
    survey = where.source.survey
    if survey.crs is None:
        return NOT_SO
    if _unit_of(survey.crs) is None:
        for order, words in ((1, ""), (-1, ", northing first")):
            if where.lies(xy[:, ::order], where.crs):
                remedy = f"set crs: {where.crs}" + (", and swap the columns" if words else "")
                return "metres_for_degrees", f"as metres of the site's CRS{words}, at it", remedy
        return NOT_SO
    for order, words in ((1, "longitude and latitude"), (-1, "latitude and longitude")):
        turned = xy[:, ::order]
        fits = np.abs(turned[:, 1]).max() <= 90 and np.abs(xy).max() <= 360
        if fits and where.lies(turned, "EPSG:4326"):
            return (
                "degrees_for_metres",
                f"as degrees ({words}) it lies at it",
                "set crs to the geographic one that the receiver used, e.g. EPSG:4326, with "
                "columns.easting the longitude",
            )
    return NOT_SO


def _swapped(where: Where, xy: Array) -> Explained:
    """Easting and northing exchanged."""
    if not where.lies(xy[:, ::-1]):
        return NOT_SO
    return (
        "axes_swapped",
        "with easting and northing swapped it lies at it",
        "swap columns.easting and columns.northing: then it lies at the site",
    )


def _zone(where: Where, xy: Array) -> Explained:
    """Numbers of the site's own CRS, or of a neighbouring zone."""
    given = where.source.survey.crs
    if given is None or _unit_of(given) is None:
        return NOT_SO
    for name in dict.fromkeys([where.crs, *_neighbours(given)]):
        if name != given and where.lies(xy, name):
            return (
                "wrong_zone",
                f"in the neighbouring zone {name} it lies at it",
                f"set crs: {name}, if the instrument was set to that zone",
            )
    return NOT_SO


def _neighbours(given: str) -> list[str]:
    """Return codes of zones beside a grid's own, and of the other hemisphere's.

    >>> _neighbours("EPSG:32625")
    ['EPSG:32624', 'EPSG:32626', 'EPSG:32725']
    """
    authority, _, code = given.partition(":")
    if not code.isdecimal():
        return []
    number = int(code)
    other = {326: 100, 327: -100}.get(number // 100)
    numbers = [number - 1, number + 1] + ([] if other is None else [number + other])
    return [f"{authority}:{number}" for number in numbers]


def _scale(where: Where, xy: Array) -> Explained:
    """Numbers in another unit than the CRS's."""
    survey = where.source.survey
    if survey.crs is None or _unit_of(survey.crs) is None:
        return NOT_SO
    for unit, kind, words in (
        ("foot", "feet_for_metres", "read as feet, or as US survey feet,"),
        ("us_survey_foot", "us_feet_for_metres", "read as US survey feet"),
        ("millimetre", "millimetres_for_metres", "read as millimetres"),
        ("centimetre", "centimetres_for_metres", "read as centimetres"),
    ):
        if where.lies(xy * UNITS_M[unit]):
            apart = float(np.abs(xy).max()) * (UNITS_M["us_survey_foot"] - UNITS_M["foot"])
            choice = (
                f", or us_survey_foot ({apart:.1f} m apart here: ask)" if "feet" in kind else ""
            )
            return kind, f"{words} it lies at it", f"set unit: {unit}{choice}"
    return NOT_SO


def _local(where: Where, xy: Array) -> Explained:
    """Small numbers of a local grid, declared as a projected CRS."""
    crs = where.source.survey.crs
    small = np.abs(xy).max() <= LOCAL_M < np.abs(where.origin).max()
    if crs is None or _unit_of(crs) is None or not small:
        return NOT_SO
    return (
        "local_for_crs",
        f"numbers up to {np.abs(xy).max():.0f}, as of a local grid",
        "give the survey a local_grid with two marks or more in place of crs",
    )


def _stray(
    source: Source, distance: float, row: int, at: tuple[float, float], *, swapped: bool
) -> Fault:
    away = f"{distance / 1000:.0f} km" if np.isfinite(distance) else "nowhere in the site's CRS,"
    return source.fault(
        "axes_swapped" if swapped else "far_from_site",
        f"an item {away} from the site's origin, the others near it",
        f"items within {FAR_M / 1000:.0f} km of it",
        "the record would reach from there to the site",
        "swap its easting and northing: then it lies at the site"
        if swapped
        else "mend its coordinates: a digit too many?",
        row=row,
        at=at,
    )
