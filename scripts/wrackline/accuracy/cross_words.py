"""What the checks of surveys against each other say: four plain clauses, and where to look."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from wrackline.accuracy.agreement import Suspect
from wrackline.accuracy.bed_agreement import FACTORS, Misread
from wrackline.accuracy.bed_cells import BedCells
from wrackline.accuracy.repeats import Repeat
from wrackline.accuracy.run_agreement import ClockSlip, OffRuns
from wrackline.accuracy.site_checks import (
    MarkMisfit,
    OnBed,
    over_bed,
    section_of,
    sign_of_walls,
    under_bed,
)
from wrackline.model import SeaLevel, Survey

Place = tuple[float, float] | None

POLE_UNSTATED = "pole_width_unstated"


@dataclass(frozen=True)
class Words:
    """A suspicion without its survey.

    Attributes
    ----------
    kind : str
    parts : tuple of str
        Found, allowed, effect, to do.
    place : tuple of float or None
        In the site's CRS [m].
    depth_m : float or None
    row : int or None
    """

    kind: str
    parts: tuple[str, str, str, str]
    place: Place = None
    depth_m: float | None = None
    row: int | None = None


def scale(unit: str, size: float) -> Words:
    """Return what to say of a local grid whose numbers are not metres."""
    return Words(
        "scale_of_grid",
        (
            f"a local grid fitted with a scale of {size:.5f}, as of {unit}",
            "a scale near 1: numbers in metres",
            "positions come out right, but sds and lengths in the file are in another unit",
            "state the survey's `unit`, or accept scale_of_grid if the grid is meant so",
        ),
    )


def mark(misfit: MarkMisfit, control_sd_m: float) -> Words:
    """Return what to say of a mark of a local grid that the others don't bear out."""
    if not misfit.point:
        return Words(
            "mark_misfit",
            (
                f"marks that miss their places by {misfit.size:.3f} m (reference sd of the fit)",
                f"about {control_sd_m:g} m, the stated control_sd_m",
                "the whole survey would be turned, scaled or bent to fit wrong marks",
                "check local and site numbers of all marks, their order of axes too; measure "
                "them again, or state a truer control_sd_m",
            ),
            misfit.place,
        )
    return Words(
        "mark_misfit",
        (
            f"mark {misfit.point} lies {misfit.size:.2f} m towards {misfit.azimuth_deg:.0f}° of "
            f"where the other marks put it, {misfit.test:.1f} sds",
            f"marks that agree within their control_sd_m of {control_sd_m:g} m",
            "the whole survey would be pulled towards the wrong mark",
            f"check the numbers of {misfit.point} in local_grid.points against the book; if they "
            "stand, measure the mark again or leave it out",
        ),
        misfit.place,
    )


def pole_width(survey: Survey) -> Words:
    """Return what to say of faces traced with a pole whose width isn't stated."""
    return Words(
        POLE_UNSTATED,
        (
            f"wall faces traced by '{survey.technique}', without pole_width_m",
            "the width of the pole or reflector that was held against the faces; 0 where the "
            "faces themselves were measured",
            "its axis was measured, so floors come out too small, wall bodies too thick and "
            "footprints too large by half that width along every face",
            "measure the pole and state pole_width_m",
        ),
    )


def repeat(found: Sequence[Repeat], place: Place) -> Words:
    """Return what to say of a survey whose points stand in other files too."""
    kind = "same_survey_twice" if found[0].whole else "survey_inside_another"
    others = ", ".join(one.outer for one in found)
    return Words(
        kind,
        (
            f"{min(one.share for one in found):.0%} of its places stand, to the millimetre, "
            f"in {others} too",
            "every measurement in one survey of the record alone",
            "it would count twice: sds too small, and agreement with itself",
            "take one of them out of its season, or those points out of it; if the wrong file was "
            "copied, put the right one there",
        ),
        place,
    )


def swapped(away: float, share: float, place: Place, survey: Survey) -> Words:
    """Return what to say of a survey that lies on the others once its axes are swapped."""
    key = "local numbers" if survey.local_grid else "eastings and northings"
    return Words(
        "axes_swapped",
        (
            f"a survey {away:.0f} m from all others; with its two numbers swapped {share:.0%} "
            "of it lies beside them",
            "easting (x) first, northing (y) second, as `columns` and the marks have them",
            "the survey would lie in the wrong place, turned over",
            f"swap columns.easting and columns.northing, or swap the {key} in the file",
        ),
        place,
    )


def zone(away: float, fits: tuple[str, float], place: Place, survey: Survey) -> Words:
    """Return what to say of a survey that lies on the others in another CRS."""
    return Words(
        "wrong_zone",
        (
            f"a survey {away / 1000:.1f} km from all others; read as {fits[0]}, {fits[1]:.0%} of "
            "it lies beside them",
            f"the configured crs, {survey.crs}, to be the file's",
            "the survey would lie in the wrong place",
            f"look the CRS up in the survey's report; if it is {fits[0]}, set `crs` to it",
        ),
        place,
    )


def misread(slip: Misread) -> Words:
    """Return what to say of vertical numbers that agree once read otherwise."""
    factor = FACTORS[slip.kind]
    how = "with their sign changed" if factor < 0 else f"times {factor:g}"
    return Words(
        slip.kind,
        (
            f"heights {slip.before:.2f} m from those of {slip.other} in {slip.count} shared "
            f"cells; with its numbers {how}, {slip.after:.2f} m",
            "vertical numbers in metres, up or down as vertical.meaning says",
            "every depth of the survey would be wrong",
            "check vertical.meaning (height counts up, depth down) and the sign in the file"
            if factor < 0
            else "state the file's vertical.unit, or export it in metres; if the file is right, "
            f"look at {slip.other}",
        ),
        slip.place,
    )


def above_water(why: str, place: Place) -> Words:
    """Return what to say of a survey that can't have met ground above the water."""
    return Words(
        "wrong_sign",
        (
            why,
            "ground that a sounder met to lie under the water",
            "the seabed would stand above the sea",
            "check vertical.meaning (height counts up, depth down) and the sign in the file",
        ),
        place,
    )


def zero_lost(mean: float, nearest: SeaLevel, survey: Survey) -> Words:
    """Return what to say of a water record that stays far from every named sea level."""
    zero = survey.vertical.water_level_zero_m
    return Words(
        "gauge_zero",
        (
            f"a record whose water stands {mean:+.2f} m from the site's datum on average; "
            f"{nearest.name}, the nearest sea level, at {nearest.height_m:+.2f} m",
            "a mean within the record's own range of a sea level that site.yaml names",
            "every depth of the survey would be wrong by as much",
            f"check vertical.water_level_zero_m, now {zero:g}: how far the gauge's zero lies above "
            "the site's datum, negative where it lies below",
        ),
        None,
    )


def absurd(middle: float, place: Place) -> Words:
    """Return what to say of a survey at a height where no settlement is dived on."""
    return Words(
        "level_absurd",
        (
            f"a bed {abs(middle):.0f} m {'above' if middle > 0 else 'below'} the sea's level",
            "a bed near the sea's level",
            "depths of the whole survey would be wrong",
            "check the unit (vertical.unit), vertical.zero and vertical.datum_height_m",
        ),
        place,
    )


def clock(slip: ClockSlip, place: Place) -> Words:
    """Return what to say of a clock that agrees better when set otherwise."""
    return Words(
        "clock_slip",
        (
            f"runs that differ by {slip.before:.2f} m (rms) where they meet each other or other "
            f"surveys; with {slip.hours:+g} h on the sounder's clock, by {slip.after:.2f} m",
            "times that agree with the water-level record's",
            "every depth would be reduced by the level of another hour",
            "check vertical.time_utc_offset_h and vertical.water_level_utc_offset_h: local or "
            "summer time, and which way they count",
        ),
        place,
    )


def runs(bed: BedCells, off: OffRuns, place: Place, depth_m: float) -> Words:
    """Return what to say of a stretch of sounding, or a day, that is off."""
    spans = bed.spans.iloc[off.first : off.last + 1]
    first, last = int(spans["first_row"].min()), int(spans["last_row"].max())
    start, end = float(spans["first_s"].min()), float(spans["last_s"].max())
    when = f", {_time(start)} to {_time(end)}" if np.isfinite(start) else ""
    way = "too high" if off.size > 0 else "too low"
    what = f"the day {off.day}, rows" if off.day else "rows"
    return Words(
        "day_level_off" if off.day else "block_off",
        (
            f"{what} {first} to {last}{when}: {abs(off.size):.2f} m {way} (sd {off.sd:.2f} m) "
            f"against the rest and other surveys, in {off.cells} windows",
            "runs that agree with their neighbours within their errors",
            "a step across the seabed, and wrong depths on one side of it",
            "sound some of those lines again; look for another draught, sound speed, "
            "tide reading or instrument height in the log",
        ),
        place,
        depth_m,
        first,
    )


def _time(seconds: float) -> str:
    return str(np.datetime64(round(seconds), "s")) + "Z"


SEASONS = "between seasons the seabed itself may have changed"


def off(kind: str, suspect: Suspect, surveys: Mapping[str, Any]) -> Words:
    """Return what to say of a survey that all comparisons together call off."""
    other = ", ".join(suspect.others)
    years = {name.split("-", 1)[0] for name in (suspect.name, *suspect.others)}
    is_bed = surveys[suspect.name].is_bed
    either = "" if suspect.certain else "; either of the two may be the one that is off"
    change = f"; {SEASONS}" if is_bed and len(years) > 1 and kind != "survey_shift" else ""
    found, remedy = SAYS[kind](suspect, is_bed)
    section = section_of(suspect.size, suspect.sd) if kind == "survey_offset" else None
    if section and not is_bed:
        kind = "pole_section"
        found += f", as of a pole section of {section:g} m"
    count = suspect.compared.count
    where = f"{count} {'cells' if is_bed else 'stretches of wall'}"
    return Words(
        kind,
        (
            f"{found} against {other}, {where}{either}{change}",
            "surveys that agree within their stated errors, shared causes taken out",
            EFFECT[kind],
            remedy,
        ),
        suspect.compared.place,
        suspect.compared.depth_m,
    )


EFFECT = {
    "survey_offset": "a step where the surveys meet, and depths wrong by as much",
    "pole_section": "every height of the survey wrong by as much",
    "survey_tilt": "depths that go wrong from one end of the site to the other",
    "survey_shift": "walls doubled or displaced, and depths wrong on slopes",
    "survey_turn": "walls doubled or displaced towards the site's edges",
}


def _offset(suspect: Suspect, is_bed: bool) -> tuple[str, str]:
    size = float(suspect.numbers[0])
    way = "too high" if size > 0 else "too low"
    bed = (
        "measure a few cells there again by an independent means; check vertical.zero, "
        "vertical.datum_height_m, the gauge's zero, the transducer's draught"
    )
    walls = (
        "measure a few wall tops there again; check the pole's length, the instrument's height "
        "and the benchmark's height"
    )
    return f"{abs(size):.2f} m {way} (sd {suspect.sd:.2f} m)", bed if is_bed else walls


def _tilt(suspect: Suspect, is_bed: bool) -> tuple[str, str]:
    extent = suspect.compared.extent_m
    return (
        f"a tilt of {suspect.size * extent:.2f} m over {extent:.0f} m, rising towards "
        f"{_azimuth(suspect)} (sd {suspect.sd * extent:.2f} m)",
        "sound a line across the site again; check the water level's slope, roll, the "
        "antenna's tilt, or the levelling of the instrument",
    )


def _shift(suspect: Suspect, is_bed: bool) -> tuple[str, str]:
    return (
        f"{suspect.size:.2f} m displaced towards {_azimuth(suspect)} (sd {suspect.sd:.2f} m)",
        "measure one corner again from two marks; check `crs` and its datum, the marks' numbers, "
        "and the offset of antenna to transducer or pole",
    )


def _turn(suspect: Suspect, is_bed: bool) -> tuple[str, str]:
    degrees = float(np.degrees(suspect.numbers[0]))
    return (
        f"turned by {abs(degrees):.3f}° {'anticlockwise' if degrees > 0 else 'clockwise'}"
        f" (sd {np.degrees(suspect.sd):.3f}°)",
        "measure two far corners again; check the backsight and the marks of the local grid",
    )


SAYS = {
    "survey_offset": _offset,
    "survey_tilt": _tilt,
    "survey_shift": _shift,
    "survey_turn": _turn,
}


def _azimuth(suspect: Suspect) -> str:
    east, north = suspect.numbers
    return f"{np.degrees(np.arctan2(east, north)) % 360:.0f}°"


def on_bed(points: OnBed, survey: Survey) -> Words | None:
    """Return what to say of walls or floors that lie wrong to the bed; None if they don't."""
    middle = float(np.median(points.above))
    worst = int(np.argmax(np.abs(points.above)))
    xyz = points.xyz[worst]
    place, depth = (round(float(xyz[0]), 2), round(float(xyz[1]), 2)), round(-float(xyz[2]), 2)
    walls = survey.holds == "wall_lines"
    remedy = (
        "check traced_at, vertical.meaning, vertical.zero and the pole's length; level a wall "
        f"top and the bed beside it again; if these stand, look at {points.others}"
    )
    if walls and sign_of_walls(points, survey):
        found = f"wall tops {middle:.2f} m above the bed beside them; with the sign changed near it"
        allowed = "heights up or depths down, as vertical.meaning says"
        return Words("wrong_sign", (found, allowed, "walls above the sea", remedy), place, depth)
    if walls and under_bed(points):
        kind, allowed = "bed_above_walls", "wall tops at the bed or above it"
        found = f"wall tops that lie {-middle:.2f} m under the bed beside them, most of them"
    elif not walls and over_bed(points):
        kind, allowed = "floor_above_bed", "floors met under the deposit"
        found = f"floors that lie {middle:.2f} m above the bed beside them, most of them"
    else:
        return None
    spread = 1.4826 * float(np.median(np.abs(points.above - middle)))
    section = section_of(middle, points.sd) if spread < 0.1 else None
    if section:
        kind, found = "pole_section", found + f", as of a pole section of {section:g} m"
    effect = "depths of walls, floors and deposit would contradict each other"
    return Words(kind, (found, allowed, effect, remedy), place, depth)
