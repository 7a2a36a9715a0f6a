"""The three norths of a sheet: the grid's, the meridian's and the compass needle's."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from wrackline.crs import grid_factors
from wrackline.declination import (
    FIRST_DAY,
    LAST_DAY,
    LAST_OF_MODEL,
    declination_deg,
    declination_sd_deg,
    geodetic,
    yearly_change_min,
)
from wrackline.publish.sheets.language import Language


@dataclass(frozen=True)
class Norths:
    """Where true and magnetic north lie, seen from grid north, at one place on one day.

    Attributes
    ----------
    day : date
    true_deg : float
        Grid azimuth of true north, the grid's convergence with its sign turned: positive where it
        lies east of grid north [degrees].
    magnetic_deg : float or None
        Grid azimuth of magnetic north, positive to the east [degrees]; none where the field
        isn't known for the day.
    magnetic_sd_deg : float or None
        Its standard uncertainty, without iron near by and magnetic storms [degrees].
    change_min : float or None
        How far magnetic north moves in a year, positive to the east [minutes of arc].
    carried_on : bool
        Whether the day lies past the model's end, so that its last year's change was carried on.
    """

    day: dt.date
    true_deg: float
    magnetic_deg: float | None = None
    magnetic_sd_deg: float | None = None
    change_min: float | None = None
    carried_on: bool = False


def norths_at(crs: str, easting: float, northing: float, day: dt.date) -> Norths:
    """Return the three norths of a place.

    Parameters
    ----------
    crs : str
        The site's projected CRS.
    easting, northing : float
        The middle of the sheet [m].
    day : date
        When a compass is to be read by it.

    Notes
    -----
    True azimuth = grid azimuth + convergence = magnetic bearing + declination, so magnetic north
    has the grid azimuth declination - convergence.

    Examples
    --------
    >>> found = norths_at("EPSG:32625", 324500.0, 4207700.0, dt.date(2033, 7, 1))
    >>> round(found.true_deg, 2), round(found.magnetic_deg, 1), round(found.change_min)
    (1.23, -7.7, 11)
    """
    turn = float(grid_factors(crs, np.array([easting]), np.array([northing]))[0][0])
    if not FIRST_DAY <= day <= LAST_DAY:
        return Norths(day, -turn)
    place = geodetic(crs, easting, northing)
    return Norths(
        day=day,
        true_deg=-turn,
        magnetic_deg=float(declination_deg(*place, [day])[0]) - turn,
        magnetic_sd_deg=declination_sd_deg(*place, day),
        change_min=yearly_change_min(*place, day),
        carried_on=day > LAST_OF_MODEL,
    )


def say_norths(norths: Norths, language: Language) -> list[str]:
    """Return what a sheet says beside its north arrows, the compass's part last.

    Parameters
    ----------
    norths : Norths
    language : Language
    """
    lines = [_side("true", norths.true_deg, 2, language)]
    year = str(norths.day.year)
    if norths.magnetic_deg is None or norths.change_min is None or norths.magnetic_sd_deg is None:
        return [*lines, language.say("magnetic_not_known", year=year)]
    side = "east" if norths.change_min >= 0 else "west"
    minutes = language.number(abs(norths.change_min), 0)
    lines += [
        _side("magnetic", norths.magnetic_deg, 1, language),
        language.say(f"magnetic_changing_{side}", year=year, minutes=minutes),
        language.say("magnetic_model", sd=language.number(norths.magnetic_sd_deg, 1)),
    ]
    if norths.carried_on:
        last = str(LAST_OF_MODEL.year - 1)
        lines.append(language.say("magnetic_carried_on", year=last))
    return lines


def _side(north: str, angle_deg: float, digits: int, language: Language) -> str:
    side = "east" if angle_deg >= 0 else "west"
    degrees = language.number(abs(angle_deg), digits)
    return language.say(f"{north}_{side}_of_grid", degrees=degrees)
