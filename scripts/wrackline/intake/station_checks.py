"""What can be wrong with a total station's day, from single readings to marks that don't fit."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from wrackline.errors import Fault
from wrackline.fit.adjust import critical_value
from wrackline.fit.stations import forgotten_constant, near_section
from wrackline.intake.marks import Marks
from wrackline.intake.slips import plain_name
from wrackline.intake.station_rows import Day, Fitted
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

FACES_APART_RAD = float(np.radians(30 / 3600))
FACES_APART_M = 0.003
"""The two faces may differ by this angle, or by what the target moves between them."""
STEEPEST_DEG = 45.0
"""Zenith angles below this look up steeply, as no sight into water does."""
LONGEST_POLE_M, HIGHEST_AXIS_M = 15.0, 5.0
GON_SHARE = 0.03
"""Share of circle readings beyond 360 from which they are taken for gon; a tenth is expected."""
FEW, RARE = 10, 0.1
"""Shots from which on a nought among pole heights stands out, and how rare it is then."""
RUN, GAPS, LOST = 20, 2, 5
"""Length of a run of numbers, and how many gaps of which size in it are slips."""
SIGNIFICANCE = 0.001
APART_SDS = 4.0
"""Two shots of one name further apart than so many sds of their difference are two points."""

SHIFTED = "all shots of the setup would be shifted or turned"
ONE_SHOT = "the point would lie in a wrong place"
WRONG_HEIGHT = "heights would be wrong by the pole's length"
BOOK = "look it up in the field book and put it right in config/corrections.csv"


def kinds_of(
    source: Source,
    texts: Sequence[str],
    row: Ints,
    known: Mapping[str, str],
    problems: Problems,
) -> npt.NDArray[np.str_]:
    """Return each row's kind by the words known for it; others are named, and left empty."""
    kind_by_word = {word: kind for kind, words in known.items() for word in words.split()}
    kinds = [kind_by_word.get(plain_name(text), "") for text in texts]
    for text, kind, at in zip(texts, kinds, row, strict=True):
        if not kind and any(texts):
            problems.add(_unknown_kind(source, text, int(at)))
    return np.array(kinds, dtype="U16")


def _unknown_kind(source: Source, text: str, row: int) -> Fault:
    return source.fault(
        "unknown_kind",
        f"'{text}' as kind",
        "station, back_sight or shot",
        "it can't be told what the row is",
        "write one of the three; take remarks out of the table",
        row=row,
    )


def check_structure(source: Source, day: Day, problems: Problems) -> None:
    """Say where a setup or all shots are missing."""
    if not (day.kind != "").any() and problems.fatal:
        return  # without kinds nothing can be told
    early = np.flatnonzero((day.setup == 0) & (day.kind != ""))
    if len(early):
        problems.add(_station_missing(source, int(day.row[early[0]]), len(early)))
    if not (day.kind == "shot").any():
        problems.add(
            source.fault(
                "no_shots",
                f"{len(day.row)} rows and no shot among them",
                "a row of kind 'shot' for every measured point",
                "the survey would add no point",
                "look whether the table was cut short, or its kinds were lost in the export",
            )
        )


def _station_missing(source: Source, row: int, count: int) -> Fault:
    return source.fault(
        "station_missing",
        f"{count} rows of sights before the first station",
        "a row of kind 'station' before the sights taken from it",
        "it can't be told where the sights were taken from",
        "put in the missing row, with the instrument's height",
        row=row,
    )


def check_readings(source: Source, day: Day, problems: Problems) -> None:
    """Say which readings are missing or can't be right."""
    number, sight = day.number, day.kind != "station"
    shot = day.kind == "shot"
    needed = {
        "circle_deg": sight,
        "zenith_deg": shot | (sight & np.isfinite(number["slope_m"])),
        "slope_m": shot,
        "target_height_m": shot | (sight & np.isfinite(number["zenith_deg"])),
    }
    for name, rows in needed.items():
        if problems.fatal and np.isnan(number[name]).all():
            continue  # the column is missing, which was said
        for k in np.flatnonzero(rows & (day.kind != "") & np.isnan(number[name])):
            problems.add(_reading_missing(source, name, int(day.row[k])))
    _check_angles(source, day, problems)
    for name, least, most in (
        ("slope_m", 0.05, 10_000.0),
        ("target_height_m", 0.0, LONGEST_POLE_M),
        ("instrument_height_m", 0.0, HIGHEST_AXIS_M),
    ):
        for k in np.flatnonzero((number[name] < least) | (number[name] > most)):
            allowed = f"{least:g} to {most:g} m"
            problems.add(_out_of_range(source, name, number[name][k], allowed, int(day.row[k])))
    _check_noughts(source, day, problems)
    limit = np.maximum(FACES_APART_RAD, FACES_APART_M / np.maximum(np.nan_to_num(day.slope), 1.0))
    for k in np.flatnonzero(number["apart"] > limit):
        problems.add(_faces(source, number["apart"][k], day.point[k], int(day.row[k])))


def _check_angles(source: Source, day: Day, problems: Problems) -> None:
    sight = day.kind != "station"
    for suffix in ("_deg", "_2_deg"):
        circle, zenith = day.number[f"circle{suffix}"], day.number[f"zenith{suffix}"]
        beyond = circle > 360
        many = max(1.0, GON_SHARE * np.isfinite(circle).sum())
        if beyond.sum() > many and not (circle > 400).any():
            problems.add(_gon(source, circle, int(day.row[np.argmax(beyond)])))
        else:
            for k in np.flatnonzero(beyond | (circle < 0)):
                name = f"circle{suffix}"
                problems.add(_out_of_range(source, name, circle[k], "0 to 360", int(day.row[k])))
        turned = (zenith > 360 - STEEPEST_DEG) & (zenith <= 360)
        upright = sight & ((np.abs(zenith) < STEEPEST_DEG) | turned)
        if upright.any():
            first = int(np.argmax(upright))
            problems.add(
                _not_zenith(source, zenith[first], int(upright.sum()), int(day.row[first]))
            )
        for k in np.flatnonzero(((zenith < 0) | (zenith > 360)) & ~upright):
            name = f"zenith{suffix}"
            problems.add(_out_of_range(source, name, zenith[k], "0 to 360", int(day.row[k])))


def _check_noughts(source: Source, day: Day, problems: Problems) -> None:
    """Name pole heights of nought among others that are none."""
    shots = np.flatnonzero(day.kind == "shot")
    heights = day.number["target_height_m"][shots]
    noughts = shots[heights == 0]
    if len(shots) < FEW or not 0 < len(noughts) <= RARE * len(shots):
        return
    usual = float(np.nanmedian(heights))
    for k in noughts:
        problems.add(_nought(source, day.point[k], usual, int(day.row[k])))


def _reading_missing(source: Source, name: str, row: int) -> Fault:
    kind = "target_height_missing" if name == "target_height_m" else "reading_missing"
    return source.fault(
        kind,
        f"no {name}",
        "circle, zenith angle, slope distance and target height of every shot (0 where there was "
        "no pole); of a back-sight at least the circle",
        "the sight could not be reduced",
        BOOK,
        row=row,
    )


def _out_of_range(source: Source, name: str, value: float, allowed: str, row: int) -> Fault:
    what = name.removesuffix("_deg").removesuffix("_m").replace("_2", "")
    return source.fault(
        f"{what}_out_of_range",
        f"{name} {value:g}",
        allowed + (", in decimal degrees" if name.endswith("_deg") else ""),
        ONE_SHOT,
        BOOK,
        row=row,
    )


def _gon(source: Source, circle: Array, row: int) -> Fault:
    return source.fault(
        "angles_in_gon",
        f"circle readings up to {np.nanmax(circle):g}, {int((circle > 360).sum())} beyond 360",
        "decimal degrees, 0 to 360",
        "every bearing would be too large by a ninth",
        "set the export to degrees, or multiply circle and zenith angles by 0.9 in a copy",
        row=row,
    )


def _not_zenith(source: Source, value: float, count: int, row: int) -> Fault:
    return source.fault(
        "zenith_not_vertical",
        f"zenith angle {value:g}" + (f", and {count - 1} more alike" if count > 1 else ""),
        "angles from the zenith: 90 is level, more than 90 looks down",
        "the shot would go up into the sky",
        "if the angle was taken from the horizontal, write 90 minus it; if not, "
        "look up the reading",
        row=row,
    )


def _nought(source: Source, point: str, usual: float, row: int) -> Fault:
    return source.suspicion(
        "target_height_zero",
        f"target height 0 for point '{point}', where most have about {usual:g} m",
        "the pole's height for a pole, 0 for a target on the mark itself",
        WRONG_HEIGHT,
        BOOK,
        row=row,
    )


def _faces(source: Source, apart: float, point: str, row: int) -> Fault:
    seconds = np.degrees(apart) * 3600
    return source.suspicion(
        "faces_disagree",
        f"the two faces of the sight to '{point}' disagree by {seconds:.0f} arc-seconds",
        "30 arc-seconds, or 3 mm at the target",
        "one of the two readings may be a slip, and the mean half of it",
        BOOK,
        row=row,
    )


def back_sight_missing(source: Source, row: int, name: str, count: int, least: int) -> Fault:
    """Return the fault of a setup with too few back-sights."""
    where = f"mark '{name}'" if least == 1 else f"free station '{name}'"
    return source.fault(
        "back_sight_missing",
        f"{where} with back-sights to {count} marks",
        f"at least {least}; a station on no known mark needs two",
        "the circle would have no direction, and no shot of the setup a place",
        "put in the back-sight's row; if the station stood on a known mark, name it as "
        "config/control.csv does",
        row=row,
    )


def undetermined(source: Source, row: int, name: str, count: int) -> Fault:
    """Return the fault of a setup that its sights don't fix."""
    return source.fault(
        "setup_undetermined",
        f"station '{name}', which {count} back-sights don't fix",
        "two back-sights with distances, or three in different directions",
        "no shot of the setup could be placed",
        "put in the distances to the marks, or a further back-sight",
        row=row,
    )


def height_unknown(source: Source, row: int, name: str) -> Fault:
    """Return the fault of a setup whose axis has no height."""
    return source.fault(
        "axis_height_unknown",
        f"station '{name}' without any known height",
        "instrument_height_m on a mark with a height, or a back-sight with zenith angle, distance "
        "and target height to one",
        "no shot of the setup would have a height",
        "put in the instrument's height, or the mark's height in config/control.csv",
        row=row,
    )


def check_setups(source: Source, day: Day, fitted: Sequence[Fitted], problems: Problems) -> None:
    """Say which marks don't fit, and whether a prism's constant was forgotten."""
    constant = _pooled_constant(fitted)
    known = None if constant is None else forgotten_constant(*constant)
    if known is not None and constant is not None:
        row = int(day.row[fitted[0].station])
        problems.add(_prism(source, row, *constant, known))
    for setup in fitted:
        off = setup.fit.off if known is None else setup.fit.off_with_constant
        for k in off:
            problems.add(_misfit(source, day, setup, k))
        for k in setup.fit.off_height:
            problems.add(_height_misfit(source, day, setup, k))


def _pooled_constant(fitted: Sequence[Fitted]) -> tuple[float, float] | None:
    """Return the constant that all distances are off by, and its sd, or None if none shows."""
    pairs = np.array([(setup.fit.constant, setup.fit.constant_sd) for setup in fitted])
    pairs = pairs[np.isfinite(pairs).all(axis=1)]
    if not len(pairs):
        return None
    weight = 1 / pairs[:, 1] ** 2
    return float((pairs[:, 0] * weight).sum() / weight.sum()), float(1 / np.sqrt(weight.sum()))


def _prism(source: Source, row: int, size: float, sd: float, known: float) -> Fault:
    return source.suspicion(
        "prism_constant",
        f"distances to the marks are all {abs(size) * 1000:.0f} mm too "
        f"{'long' if size > 0 else 'short'} (sd {sd * 1000:.0f} mm)",
        f"0; {known * 1000:g} mm is a prism's constant in use",
        "every shot would lie too far or too near by it",
        f"look up the prism of the day; if its constant was not set, write "
        f"{-np.sign(size) * known * 1000:g} into prism_constant_mm",
        row=row,
    )


def _misfit(source: Source, day: Day, setup: Fitted, k: int) -> Fault:
    lone = setup.fit.redundancy < 2
    if k < 0:
        name, row = day.point[setup.station], int(day.row[setup.station])
        size = float(np.sqrt(np.nanmean(setup.fit.along**2 + setup.fit.across**2)))
        found = f"the station's mark '{name}' doesn't lie where the back-sights put the instrument"
        at = (float(setup.fit.x[0]), float(setup.fit.x[1]))
    else:
        name, row = setup.marks[k], int(day.row[setup.backs[k]])
        along, across = (float(v) for v in (setup.fit.along[k], setup.fit.across[k]))
        size = float(np.hypot(np.nan_to_num(along), across))
        parts = f"{along:+.3f} m along and " if np.isfinite(along) else ""
        found = (
            f"mark '{name}' is sighted {size:.3f} m off its place ({parts}{across:+.3f} m across"
        )
        found += " the line of sight)"
        at = (float(setup.place[k, 0]), float(setup.place[k, 1]))
    return source.suspicion(
        "control_misfit",
        found,
        "what the sds of marks and sights let expect; a misfit once in a thousand setups"
        + ("; with one sight to spare, another mark may be to blame" if lone else ""),
        SHIFTED,
        f"look whether '{name}' was moved or mistaken for another mark, and whether its values in "
        "config/control.csv are right",
        row=row,
        at=at,
    )


def _height_misfit(source: Source, day: Day, setup: Fitted, k: int) -> Fault:
    fit = setup.fit
    if k < 0:
        row, place = int(day.row[setup.station]), fit.x[:2]
        own = setup.own_axis - fit.axis
        return source.suspicion(
            "instrument_height_off",
            f"the mark's height and the instrument's above it make the axis {own:+.3f} m higher "
            "than the back-sights do",
            "agreement within what the sds let expect",
            "all heights of the setup are wrong if the back-sights are",
            "look up the instrument's height, then the target heights of the back-sights",
            row=row,
            at=(float(place[0]), float(place[1])),
        )
    place = setup.place[k]
    size = -float(fit.height[k])
    sd = float(np.hypot(setup.axis_sd[k], fit.axis_sd))
    return _height_off(
        source,
        "control_misfit",
        (setup.marks[k], size, float("nan") if k in fit.off else sd),
        int(day.row[setup.backs[k]]),
        (float(place[0]), float(place[1])),
    )


def _height_off(
    source: Source,
    otherwise: str,
    misfit: tuple[str, float, float],
    row: int,
    at: tuple[float, float],
) -> Fault:
    """Return the suspicion of a height misfit, named a pole's section where it agrees with one.

    Of a mark that is out of place as well the sd is NaN: the pole can't be to blame.
    """
    name, size, sd = misfit
    section = near_section(size, sd) if np.isfinite(sd) else None
    found = f"mark '{name}' comes out {abs(size):.3f} m too {'high' if size > 0 else 'low'}"
    if section is None:
        return source.suspicion(
            otherwise,
            found,
            "agreement within what the sds let expect",
            "heights measured with the same pole or from the same setup may be off too",
            "look up the target height, and the mark's height in config/control.csv",
            row=row,
            at=at,
        )
    slip = "too small" if size > 0 else "too large"
    return source.suspicion(
        "pole_section",
        f"{found}, near {section:g} m",
        f"agreement within what the sds let expect; {section:g} m is a pole section in use",
        WRONG_HEIGHT,
        f"look whether the target height is {slip} by a section, here and in the shots beside it",
        row=row,
        at=at,
    )


def check_marks(
    source: Source,
    day: Day,
    marks: Marks,
    reduced: tuple[Array, Array],
    problems: Problems,
) -> Ints:
    """Compare shots on control marks with them; return the places, from 0, of those shots."""
    xyz, sd = reduced
    shots = [
        (k, value)
        for k in np.flatnonzero(day.kind == "shot")
        if (value := marks.peek(day.point[k], day.day[k])) is not None
    ]
    limit = critical_value(3 * max(len(shots), 1), SIGNIFICANCE)
    for k, value in shots:
        there = np.array(
            [value.easting, value.northing, np.nan if value.height is None else value.height]
        )
        own = np.array([value.sd_m, value.sd_m, value.height_sd_m or value.sd_m])
        off, spread = xyz[k] - there, np.hypot(sd[k], own)
        row, at = int(day.row[k]), (value.easting, value.northing)
        if (np.abs(off[:2]) > limit * spread[:2]).any():
            problems.add(_check_shot(source, value.point, off, row, at))
        elif abs(off[2]) > limit * spread[2]:
            misfit = (value.point, float(off[2]), float(spread[2]))
            problems.add(_height_off(source, "check_shot_off", misfit, row, at))
    return np.array([k for k, _ in shots], dtype=np.int64)


def _check_shot(source: Source, name: str, off: Array, row: int, at: tuple[float, float]) -> Fault:
    return source.suspicion(
        "check_shot_off",
        f"the shot on mark '{name}' lies {np.hypot(*off[:2]):.3f} m from it "
        f"({off[0]:+.3f} m east, {off[1]:+.3f} m north)",
        "agreement within what the sds let expect",
        SHIFTED,
        "look whether the instrument was knocked, or another point bears the mark's name",
        row=row,
        at=at,
    )


def check_unchecked(
    source: Source, day: Day, fitted: Sequence[Fitted], checked: Ints, problems: Problems
) -> None:
    """Name setups in which nothing would show a wrong back-sight."""
    for setup in fitted:
        number = day.setup[setup.station]
        if setup.fit.redundancy < 1 and not (day.setup[checked] == number).any():
            row = int(day.row[setup.station])
            problems.add(_unchecked(source, row, day.point[setup.station], setup.marks))


def _unchecked(source: Source, row: int, name: str, marks: Sequence[str]) -> Fault:
    return source.suspicion(
        "setup_unchecked",
        f"station '{name}' with no more than it needs: {', '.join(marks)}",
        "a distance to the back-sight, a second back-sight, or a shot on a known mark",
        "a wrong mark or reading would turn all shots of the setup unseen",
        "give what else was measured; at the next season sight a second mark",
        row=row,
    )


def check_names(source: Source, day: Day, xyz: Array, checked: Ints, problems: Problems) -> None:
    """Name points whose number was used twice or skipped."""
    shots = np.setdiff1d(np.flatnonzero(day.kind == "shot"), checked)
    shots = shots[[bool(day.point[k]) for k in shots]] if len(shots) else shots
    names = [day.point[k] for k in shots]
    if len(set(names)) < 0.8 * len(names):
        return
    first: dict[str, int] = {}
    sd = max(source.survey.random_horizontal_sd_m, 0.01) * np.sqrt(2)
    for k in shots:
        before = first.setdefault(day.point[k], int(k))
        apart = float(np.hypot(*(xyz[k] - xyz[before])[:2]))
        if before != k and apart > APART_SDS * sd:
            rows = (int(day.row[before]), int(day.row[k]))
            at = (float(xyz[k, 0]), float(xyz[k, 1]))
            problems.add(_repeated(source, day.point[k], apart, rows, at))
    for k, lost in skipped_numbers(names):
        problems.add(_skipped(source, names[k], lost, int(day.row[shots[k]])))


def skipped_numbers(names: Sequence[str]) -> list[tuple[int, list[int]]]:
    """Return where numbers were skipped in a long run of them, and which.

    Only one or two gaps of a few numbers in a run of at least twenty count.

    Examples
    --------
    >>> skipped_numbers([f"P{n}" for n in range(1, 31) if n not in (7, 8)])
    [(6, [7, 8])]
    >>> skipped_numbers(["P1", "P2", "P4"])
    []
    """
    series: dict[str, list[tuple[int, int]]] = {}
    for k, name in enumerate(names):
        match = re.fullmatch(r"(.*?)(\d{1,9})", name, re.ASCII)
        if match:
            series.setdefault(match[1], []).append((k, int(match[2])))
    found = []
    for run in series.values():
        numbers = np.maximum.accumulate([number for _, number in run])
        step = np.diff(numbers)
        there = {number for _, number in run}
        gaps = [
            (run[k + 1][0], [n for n in range(numbers[k] + 1, numbers[k + 1]) if n not in there])
            for k in np.flatnonzero((step > 1) & (step <= LOST + 1))
        ]
        gaps = [(k, lost) for k, lost in gaps if lost]
        if len(run) >= RUN and 0 < len(gaps) <= GAPS and (step != 1).sum() <= 2 * GAPS:
            found += gaps
    return found


def _repeated(
    source: Source, name: str, apart: float, rows: tuple[int, int], at: tuple[float, float]
) -> Fault:
    return source.suspicion(
        "point_repeated",
        f"point '{name}' again, {apart:.2f} m from where row {rows[0]} has it",
        "one place a name",
        "one of the two stands for another point",
        "look up which point it is and correct its name in config/corrections.csv",
        row=rows[1],
        at=at,
    )


def _skipped(source: Source, name: str, lost: Sequence[int], row: int) -> Fault:
    some = ", ".join(map(str, lost))
    return source.suspicion(
        "numbers_skipped",
        f"no number {some} before point '{name}'",
        "numbers without gaps, as everywhere else in this day",
        "points may be missing from the export",
        "look whether the instrument holds them; accept the gap if they were never taken",
        row=row,
    )


def without_line(source: Source, day: Day, loose: Ints, count: int) -> Fault:
    """Return the suspicion of shots that belong to no line in a survey of lines."""
    return source.suspicion(
        "lone_point",
        f"{len(loose)} of {count} shots alone on their line or without one, "
        f"the first point '{day.point[loose[0]]}'",
        "two shots or more a line, named in column 'line'",
        "they are left out: one point is no line",
        "look for a misspelt line; leave such points out by `pick`, or make them a survey of "
        "floor_points",
        row=int(day.row[loose[0]]),
    )
