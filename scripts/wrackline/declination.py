"""Magnetic declination by the International Geomagnetic Reference Field, 14th generation.

IAGA 2024, IGRF-14, doi:10.5281/zenodo.14012302. It ends with 2029; later days are led on along
its last year's change, which a compass can't tell from the truth for some years.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import ppigrf  # type: ignore[import-untyped]
from pyproj import CRS, Transformer

Array = npt.NDArray[np.float64]

FIRST_DAY = dt.date(1900, 1, 1)
LAST_OF_MODEL = dt.date(2030, 1, 1)
YEAR_BEFORE = dt.date(2029, 1, 1)
LAST_DAY = dt.date(2035, 1, 1)
"""Five years, one term of the model, past its end."""

YEAR_DAYS, STEP_DAYS = 365.25, 30
MODEL_SD_DEG, LOCAL_SD_NT = 0.26, 5417.0
"""Error of a declination: sqrt(0.26² + (5417 / H)²) degrees, H in nT. So the World Magnetic Model
2025 states it (NOAA and BGS, technical report), which ends with the same year and leaves out the
same part of the field: the crust's, and the Sun's on a usual day."""

CARRIED_SD_NT = 17.0
"""How far the field strays sideways, a year, from the change predicted five years before [nT]: root
mean square over terms of the definitive models from 1970 to 2020 at 270 places up to 72° of
latitude (measured on IGRF-14, no other source; a test measures it anew)."""


def declination_deg(
    longitude: float, latitude: float, days: Sequence[dt.date], *, height_m: float = 0.0
) -> Array:
    """Return how far magnetic north lies east of true north.

    Parameters
    ----------
    longitude, latitude : float
        Geodetic, WGS 84 [degrees].
    days : sequence of date, length n
        From `FIRST_DAY` to `LAST_DAY`.
    height_m : float
        Above the ellipsoid [m].

    Returns
    -------
    array, shape (n,)
        True azimuth = magnetic bearing + declination [degrees].

    Raises
    ------
    ValueError
        When a day lies outside.

    Examples
    --------
    >>> declination_deg(-71.35, 42.283, [dt.date(2015, 7, 4)], height_m=1000.0).round(3)
    array([-14.638])
    """
    if not days:
        return np.empty(0)
    if min(days) < FIRST_DAY or max(days) > LAST_DAY:
        raise ValueError(f"declination is known from {FIRST_DAY} to {LAST_DAY} alone")
    wanted = sorted({min(day, LAST_OF_MODEL) for day in days} | {YEAR_BEFORE, LAST_OF_MODEL})
    east, north = _field_nt(longitude, latitude, wanted, height_m)
    value = dict(zip(wanted, np.degrees(np.arctan2(east, north)), strict=True))
    span = (LAST_OF_MODEL - YEAR_BEFORE).days
    a_day = (value[LAST_OF_MODEL] - value[YEAR_BEFORE]) / span
    late = np.array([max((day - LAST_OF_MODEL).days, 0) for day in days])
    held = np.array([value[min(day, LAST_OF_MODEL)] for day in days], dtype=float)
    return np.asarray(held + a_day * late, dtype=float)


def yearly_change_min(
    longitude: float, latitude: float, day: dt.date, *, height_m: float = 0.0
) -> float:
    """Return by how much declination grows in a year, as it changes from that day on.

    Parameters
    ----------
    longitude, latitude, height_m : float
        As for `declination_deg`.
    day : date
        From `FIRST_DAY` to `LAST_DAY`.

    Returns
    -------
    float
        Positive where magnetic north moves to the east [minutes of arc a year].

    Examples
    --------
    >>> round(yearly_change_min(-109.9, 59.9, dt.date(2000, 7, 2), height_m=1100.0))
    -24
    """
    start = min(day, LAST_OF_MODEL - dt.timedelta(days=STEP_DAYS))
    days = [start, start + dt.timedelta(days=STEP_DAYS)]
    before, after = declination_deg(longitude, latitude, days, height_m=height_m)
    turned = (after - before + 180.0) % 360.0 - 180.0
    return float(60.0 * turned * YEAR_DAYS / STEP_DAYS)


def declination_sd_deg(longitude: float, latitude: float, day: dt.date) -> float:
    """Return the standard uncertainty of a declination, iron and disturbed days left aside.

    Parameters
    ----------
    longitude, latitude : float
        Geodetic, WGS 84 [degrees].
    day : date

    Returns
    -------
    float
        `MODEL_SD_DEG` and `LOCAL_SD_NT` over the horizontal field; past the model's end
        `CARRIED_SD_NT` a year is added [degrees].
    """
    east, north = _field_nt(longitude, latitude, [min(day, LAST_OF_MODEL)], 0.0)
    across_nt = float(np.hypot(east[0], north[0]))
    years = max((day - LAST_OF_MODEL).days, 0) / YEAR_DAYS
    carried = np.degrees(np.arctan(CARRIED_SD_NT * years / across_nt))
    return float(np.sqrt(MODEL_SD_DEG**2 + (LOCAL_SD_NT / across_nt) ** 2 + carried**2))


def _field_nt(
    longitude: float, latitude: float, days: Sequence[dt.date], height_m: float
) -> tuple[Array, Array]:
    """Return the field's parts to the east and north, day by day [nT]."""
    times = [dt.datetime(day.year, day.month, day.day) for day in days]
    east, north, _ = ppigrf.igrf(longitude, latitude, height_m / 1000.0, times)
    return np.ravel(east), np.ravel(north)


def geodetic(crs_text: str, easting: float, northing: float) -> tuple[float, float]:
    """Return longitude and latitude of a place of a projected CRS, on its own datum [degrees].

    Datums differ by less than declination can show.
    """
    crs = CRS.from_user_input(crs_text)
    if crs.geodetic_crs is None:
        raise ValueError(f"{crs.name} has no geodetic CRS")
    to_geodetic = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    longitude, latitude = to_geodetic.transform(easting, northing)
    return float(longitude), float(latitude)
