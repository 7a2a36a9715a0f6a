"""Whether a survey lies where it should: the CRS that its file declares, and its distance."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
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
        Receives a fault when the middle is further than `FAR_M` from the site's origin.
    crs : str
        The site's CRS.
    origin : tuple of float
        The site's origin [m].
    """
    try:
        place = placing(source.name, source.survey, crs)
    except WracklineError as error:
        problems.extend(error.faults)
        return
    middle = (np.asarray(bounds)[:2] + np.asarray(bounds)[2:]) / 2
    distance = _distance(place(middle[:1], middle[1:]), origin)
    if not distance <= FAR_M:
        swapped = _distance(place(middle[1:], middle[:1]), origin)
        problems.add(_far(source, distance, swapped))


def _distance(place: tuple[Array, Array], origin: tuple[float, float]) -> float:
    return float(np.hypot(place[0][0] - origin[0], place[1][0] - origin[1]))


def _far(source: Source, distance: float, swapped: float) -> Fault:
    away = f"{distance / 1000:.0f} km" if np.isfinite(distance) else "nowhere in the site's CRS,"
    hint = "swap easting and northing: then it lies at the site"
    return source.fault(
        "far_from_site",
        f"a survey {away} from the site's origin",
        f"surveys within {FAR_M / 1000:.0f} km of it",
        "the record would reach from there to the site",
        hint if swapped <= FAR_M else "check `crs`, and which column is easting and which northing",
    )
