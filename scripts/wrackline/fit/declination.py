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
    times = [dt.datetime(day.year, day.month, day.day) for day in wanted]
    east, north, _ = ppigrf.igrf(longitude, latitude, height_m / 1000.0, times)
    value = dict(zip(wanted, np.degrees(np.arctan2(east, north)).ravel(), strict=True))
    span = (LAST_OF_MODEL - YEAR_BEFORE).days
    a_day = (value[LAST_OF_MODEL] - value[YEAR_BEFORE]) / span
    late = np.array([max((day - LAST_OF_MODEL).days, 0) for day in days])
    held = np.array([value[min(day, LAST_OF_MODEL)] for day in days], dtype=float)
    return np.asarray(held + a_day * late, dtype=float)


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
