"""Whether a survey lies where it should: the CRS that its file declares, and its distance."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS

from wrackline.crs import parse_crs
from wrackline.errors import Fault, WracklineError
from wrackline.frames import horizontal, placing, same_crs
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]

FAR_M = 50_000.0
"""Surveys further than this from the site's origin are in the wrong place or the wrong CRS."""


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
    away = _away(source, corners, problems, crs=crs, origin=origin)
    if away is not None and not away[0].max() <= FAR_M:
        problems.add(_far(source, *(float(distance.max()) for distance in away)))


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
    away = _away(source, xy, problems, crs=crs, origin=origin)
    if away is None:
        return
    astray = ~(away[0] <= FAR_M)
    rows = np.unique(items["row"].to_numpy(int)[item[astray]])
    if len(rows) == items["row"].nunique():
        problems.add(_far(source, *(float(distance.max()) for distance in away)))
        return
    for row in rows:
        mine = astray & (items["row"].to_numpy(int)[item] == row)
        problems.add(_stray(source, float(away[0][mine].max()), int(row)))


def _away(
    source: Source, xy: Array, problems: Problems, *, crs: str, origin: tuple[float, float]
) -> tuple[Array, Array] | None:
    """Return distances from the origin as read and with the axes swapped, None with a fault."""
    try:
        place = placing(source.name, source.survey, crs)
    except WracklineError as error:
        problems.extend(error.faults)
        return None
    with np.errstate(over="ignore", invalid="ignore"):
        as_read, swapped = place(xy[:, 0], xy[:, 1]), place(xy[:, 1], xy[:, 0])
        return _from_origin(as_read, origin), _from_origin(swapped, origin)


def _from_origin(place: tuple[Array, Array], origin: tuple[float, float]) -> Array:
    return np.hypot(place[0] - origin[0], place[1] - origin[1])


def _stray(source: Source, distance: float, row: int) -> Fault:
    away = f"{distance / 1000:.0f} km" if np.isfinite(distance) else "nowhere in the site's CRS,"
    return source.fault(
        "far_from_site",
        f"an item {away} from the site's origin, the others near it",
        f"items within {FAR_M / 1000:.0f} km of it",
        "the record would reach from there to the site",
        "mend its coordinates: a digit too many, or two numbers swapped?",
        row=row,
    )


def _far(source: Source, distance: float, swapped: float) -> Fault:
    reach = f"reaches {distance / 1000:.0f} km from the site's origin"
    return source.fault(
        "far_from_site",
        f"a survey that {reach if np.isfinite(distance) else 'lies nowhere in its grid'}",
        f"surveys within {FAR_M / 1000:.0f} km of it",
        "the record would reach from there to the site",
        "swap easting and northing: then it lies at the site"
        if swapped <= FAR_M
        else "check `crs` and which number is easting; cut off what lies far from the site",
    )
