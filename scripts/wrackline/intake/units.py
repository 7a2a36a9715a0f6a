"""Units of items: what readers give is taken to metres, once, whatever the file's unit was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from wrackline.errors import Fault
from wrackline.fit.similarity import fit_local_grid
from wrackline.intake.readings import Found
from wrackline.model import OBSERVED, UNITS_M
from wrackline.verdict import Problems, Source

DEGREE_M = 111_000.0
"""A degree of latitude, roughly, for checks alone [m]."""


def in_metres(source: Source, found: Found, problems: Problems) -> Found:
    """Return what a reader found with heights in metres, eastings and northings in the CRS's unit.

    Numbers on a local grid stay as they are: its marks are in the file's own numbers, and the fit
    brings the scale. What is reduced from observations is in metres already.

    Parameters
    ----------
    source : Source
    found : Found
    problems : Problems
        Receives a fault where a unit of length is given to degrees.
    """
    survey = source.survey
    if survey.form in OBSERVED:
        return found
    if survey.unit is not None and _crs_unit_m(source) is None:
        problems.add(_unit_of_degrees(source, survey.unit))
        return found
    flat, high = plane_factor(source), UNITS_M[survey.vertical.unit]
    if flat == 1.0 and high == 1.0:
        return found
    geometry = found.geometry.copy()
    for raised, factors in ((True, (flat, flat, high)), (False, (flat, flat))):
        mine = np.flatnonzero((shapely.has_z(geometry) == raised) & ~shapely.is_missing(geometry))
        if len(mine):
            geometry[mine] = shapely.transform(
                geometry[mine], lambda xyz, by=factors: xyz * np.array(by), include_z=raised
            )
    return replace(found, geometry=geometry)


def plane_factor(source: Source) -> float:
    """Return what eastings and northings of the file are multiplied by."""
    survey = source.survey
    own = _crs_unit_m(source)
    if survey.unit is None or own is None or survey.local_grid is not None:
        return 1.0
    return UNITS_M[survey.unit] / own


def metres_in_numbers(source: Source) -> float:
    """Return the metres, roughly, of one unit of the numbers that `in_metres` gives."""
    if source.survey.local_grid is not None:
        return float(fit_local_grid(source.survey.local_grid).scale) or 1.0  # 0: no fit at all
    return _crs_unit_m(source) or DEGREE_M


def _crs_unit_m(source: Source) -> float | None:
    """Return the metres of the CRS's own unit, None for degrees; a CRS that is none counts as 1."""
    if source.survey.crs is None:
        return 1.0
    try:
        crs = CRS.from_user_input(source.survey.crs)
    except CRSError:
        return 1.0  # named once, by the check of its place
    if crs.is_geographic:
        return None
    return float(crs.axis_info[0].unit_conversion_factor) if crs.axis_info else 1.0


def _unit_of_degrees(source: Source, unit: str) -> Fault:
    return source.fault(
        "unit_of_degrees",
        f"unit: {unit}, with {source.survey.crs}, whose numbers are degrees",
        "no unit where the CRS counts in degrees",
        "degrees would be taken for lengths",
        "leave `unit` out, or give the projected CRS that the numbers are in",
    )
