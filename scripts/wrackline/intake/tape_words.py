"""What is said of slips in tape books, each in four parts."""

from __future__ import annotations

import difflib
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from wrackline.declination import FIRST_DAY, LAST_DAY
from wrackline.errors import Fault
from wrackline.fit import tapes as fit
from wrackline.fit.adjust import Rejected
from wrackline.intake.tape_books import (
    AXES,
    MEASURES,
    POOR_SHARE,
    STRETCHED,
    SURE,
    WHOLE_M,
    Book,
    Work,
    upward,
)
from wrackline.model import ControlValue
from wrackline.verdict import Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def slip_in_words(value: float, expected: float) -> str:
    """Return what slip of the pen would make `expected` into `value`, empty when none is known.

    >>> slip_in_words(13.42, 12.40), slip_in_words(21.34, 12.35), slip_in_words(12.71, 12.40)
    ('a slip of 1 whole metre?', 'digits exchanged, for 12.34?', '')
    """
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    off = abs(value - expected)
    for k in range(len(text) - 1):
        pair = text[k : k + 2]
        other = text[:k] + pair[::-1] + text[k + 2 :]
        if pair.isdigit() and off > 3 * WHOLE_M and abs(float(other) - expected) <= WHOLE_M:
            return f"digits exchanged, for {other}?"
    whole = round(off)
    if whole >= 1 and abs(off - whole) <= WHOLE_M:
        return f"a slip of {whole} whole metre{'s' if whole > 1 else ''}?"
    return ""


def _at(solved: fit.Solution, *points: int) -> tuple[float, float]:
    """Return the middle of points."""
    east, north = solved.xyz[list(points), :2].mean(axis=0)
    return float(east), float(north)


def misfit(
    source: Source, book: Book, work: Work, solved: fit.Solution, rejected: Rejected
) -> Fault:
    """Return what is to be said of a measure that was found to be a blunder."""
    k = rejected.index
    kind, at = int(work.network.kind[k]), int(work.origin[k])
    if at < 0:
        return _mark_misfit(source, book, work, solved, rejected)
    others = _others(book, work, solved, k)
    ends = (book.a[at], book.p[at] if book.p[at] >= 0 else book.b[at])
    place = _at(solved, *{int(end) for end in ends if end >= 0})
    value = float(book.along[at] if kind == fit.ALONG else book.value[at])
    if kind == fit.BEARING:
        off = float(np.degrees(np.arctan2(np.sin(rejected.size), np.cos(rejected.size))))
        if abs(abs(off) - 180) < max(15.0, SURE * float(book.sd[at])):
            return _reversed(source, book, at, place)
        slip = _declination_slip(off, float(work.turn_deg[at]), float(book.sd[at]))
        told = f"{value:.1f} degrees, where all others give {(value - off) % 360:.1f}, {off:+.1f}"
    else:
        size = rejected.size * (upward(source) if kind == fit.HEIGHT else 1.0)
        slip = slip_in_words(value, value - size)
        told = f"{value:.2f} m, where all others give {value - size:.2f}, {size:+.2f}"
    along = " (along it)" if kind == fit.ALONG else ""
    told = f"{between(book, at)}{along}: {told} off" + (f" ({slip})" if slip else "")
    return _tape_misfit(source, told, others, int(book.row[at]), place)


def _others(book: Book, work: Work, solved: fit.Solution, k: int) -> str:
    """Return, in words, which others could be the blunder as well as a rejected observation."""
    lists = zip(solved.snooped.rejected, solved.alike, strict=True)
    alike = next((others for rejected, others in lists if rejected.index == k), [])
    rows = sorted({int(book.row[work.origin[j]]) for j in alike if work.origin[j] >= 0})
    marks = sorted({book.points[work.network.a[j]] for j in alike if work.origin[j] < 0})
    named = [f"row {row}" for row in rows[:8]] + [f"mark '{name}'" for name in marks[:4]]
    return ", ".join(named)


def _declination_slip(off: float, declination: float, sd: float) -> str:
    """Return what use of the declination would be off by so much [degrees], or nothing."""
    for factor, words in DECLINATION.items():
        if abs(declination) > sd and abs(off - factor * declination) < sd:
            return f"{words}?"
    return ""


DECLINATION = {
    1: "corrected for declination already",
    -1: "corrected for declination the wrong way",
    2: "corrected for declination twice already",
}


def between(book: Book, at: int) -> str:
    """Return a row's measure and points in words."""
    a, b, p = (book.points[k] if k >= 0 else "" for k in (book.a[at], book.b[at], book.p[at]))
    word = book.measure[at]
    if word == "depth":
        return f"depth of '{a}'"
    if word == "offset":
        return f"offset of '{p}' from the base line '{a}' to '{b}'"
    return f"{word} from '{a}' to '{b}'"


def _tape_misfit(
    source: Source, told: str, others: str, row: int, place: tuple[float, float]
) -> Fault:
    return source.suspicion(
        "tape_misfit",
        told + (f"; or the blunder is in {others}: nothing tells them apart" if others else ""),
        "measures that agree with each other within their sds",
        "the row is left out of the adjustment",
        "look into the field book; correct the row in config/corrections.csv, or measure again"
        + (", and tie the point to one more" if others else ""),
        row=row,
        at=place,
    )


def _mark_misfit(
    source: Source, book: Book, work: Work, solved: fit.Solution, rejected: Rejected
) -> Fault:
    point, kind = int(work.network.a[rejected.index]), int(work.network.kind[rejected.index])
    others = _others(book, work, solved, rejected.index)
    return source.suspicion(
        "mark_misfit",
        f"{AXES[kind]} of mark '{book.points[point]}' {rejected.size:+.2f} m off from where the "
        "measures put it" + (f"; or the blunder is in {others}" if others else ""),
        "marks that agree with the measures between them",
        f"that {AXES[kind]} is left out of the adjustment",
        "was the right mark used, and has it stood still? look into config/control.csv",
        at=_at(solved, point),
    )


def _reversed(source: Source, book: Book, at: int, place: tuple[float, float]) -> Fault:
    return source.fault(
        "bearing_reversed",
        f"{between(book, at)}: {book.value[at]:.1f} degrees, the way back",
        "the bearing from the first point to the second",
        "the point would be led to the wrong side",
        "exchange from and to, or correct the bearing by 180 degrees",
        row=int(book.row[at]),
        at=place,
    )


def compass(source: Source, book: Book, work: Work, solved: fit.Solution) -> Fault:
    """Return a common error of all bearings: wrong use of the declination, or the compass's own."""
    rows = book.rows_of("bearing")
    mean = float(work.turn_deg[rows].mean())
    turn, sd = float(np.degrees(solved.turn)), float(np.degrees(solved.turn_sd))
    near = [f for f in DECLINATION if abs(turn - f * mean) < 3 * max(sd, 0.5)]
    parts = (
        f"{len(rows)} bearings that all lie {turn:+.1f} degrees off",
        "magnetic bearings as read; the declination, "
        f"{mean:+.1f} degrees, is brought in from the field model",
    )
    if near and abs(mean) > 1.0:
        return source.fault(
            "declination_twice",
            f"{parts[0]}, as if {DECLINATION[near[0]]}",
            parts[1],
            "points would be turned about the marks",
            "write the bearings as read from the compass",
            row=int(book.row[rows[0]]),
            at=_at(solved, *book.a[rows].tolist()),
        )
    return source.suspicion(
        "compass_off",
        *parts,
        "points that hang on bearings are turned about the marks",
        "was iron near the compass? has it been compared with a known line?",
        row=int(book.row[rows[0]]),
        at=_at(solved, *book.a[rows].tolist()),
    )


def poor(source: Source, work: Work, solved: fit.Solution) -> Fault:
    """Say that too many measures disagree for any to be trusted."""
    count, measures = len(solved.snooped.rejected), int((work.origin >= 0).sum())
    return source.fault(
        "tape_network",
        f"{count} of {measures} measures that don't fit the others",
        f"at most {POOR_SHARE:.0%} of them",
        "nobody could say which of them are right",
        "were points confused, or are the sds stated much too small? adjust the book in parts, "
        "beginning with what hangs on the marks",
    )


def scale_wrong(source: Source, factor: float) -> Fault:
    """Say that lengths look like another unit, by what the marks say."""
    feet = {"feet": 1 / fit.FOOT_M, "metres": fit.FOOT_M}
    unit = next((name for name, size in feet.items() if abs(factor / size - 1) < 0.03), None)
    guess = {"feet": ": feet read as metres", "metres": ": metres read as feet"}
    return source.fault(
        "scale_wrong",
        f"lengths {factor:.3f} times those between the marks{guess[unit] if unit else ''}",
        "lengths in the configured unit, that agree with the marks",
        "the plan would come out too large or too small",
        "write the tape's unit as `unit` in the season's config"
        if unit
        else "compare a tape between two marks with config/control.csv: wrong marks, or unit?",
    )


def stretch(source: Source, solved: fit.Solution) -> Fault:
    """Say that tapes are stretched, or were read short, by what the marks say."""
    return source.suspicion(
        "tape_stretch",
        f"tapes that read {solved.tape_scale:.4f} times true lengths "
        f"(sd {solved.tape_scale_sd:.4f}), as the marks have them",
        f"within {STRETCHED:.1%} of true",
        "lines between marks are squeezed or drawn out",
        "compare the tape with a steel one; a tape in a current bows out and reads too long",
    )


def mirror(
    source: Source, book: Book, solved: fit.Solution, point: int, other: tuple[float, float]
) -> Fault:
    """Say that a point could as well lie on the other side, and where."""
    east, north = _at(solved, point)
    return source.suspicion(
        "mirror_ambiguous",
        f"point '{book.points[point]}' fits at {east:.2f}, {north:.2f} and as well at "
        f"{other[0]:.2f}, {other[1]:.2f}, on the other side of its neighbours",
        "measures that tell the two sides apart",
        "the first of the two is taken",
        "add an offset with its side, a bearing, or a tape to a third point off the line",
        row=int(book.first[point]),
        at=(east, north),
    )


def undetermined(source: Source, book: Book, point: int, plan: int, high: int) -> Fault:
    """Return what a point lacks; nothing counted means that it hangs on no mark."""
    name = book.points[point]
    others = [other for other in book.points if other != name]
    near = difflib.get_close_matches(name.lower(), [o.lower() for o in others], 1, 0.75)
    alike = [o for o in others if near and o.lower() == near[0] and len(name) > 2]
    missing = [f"{plan} measure{'s' if plan > 1 else ''} in plan"] if plan else []
    missing += ["a height"] if high else []
    helps = ["tapes, an offset or a bearing from points that are placed"] if plan else []
    helps += ["its depth"] if high else []
    return source.fault(
        "point_undetermined",
        f"point '{name}' lacks {' and '.join(missing)}"
        if missing
        else f"point '{name}' hangs on no mark by any chain of measures",
        "two measures in plan from points that are placed themselves, and a depth",
        "nobody could say where it lies",
        f"measure {' and '.join(helps) or 'from a mark to its neighbours'}"
        + (f"; or is '{alike[0]}' meant?" if alike else ""),
        row=int(book.first[point]),
    )


def few_marks(source: Source, book: Book, marks: dict[int, ControlValue]) -> Fault:
    """Say that too few points are marks of the control."""
    known = sorted({mark.point for mark in source.control})
    used = ", ".join(f"'{book.points[k]}'" for k in marks)
    return source.fault(
        "tape_control",
        f"{len(marks)} of the book's points in config/control.csv{': ' + used if used else ''}",
        "two marks at least, by the names of config/control.csv: "
        + (", ".join(known[:12]) or "it has none for these days"),
        "the measures would hang in the air",
        "name the marks alike in both files, or tie the measures to a second mark",
    )


def no_lines(source: Source) -> Fault:
    """Say that no row draws a line, though lines are what the survey holds."""
    return source.fault(
        "no_tape_lines",
        f"{source.survey.holds}, and no row whose measure is 'line'",
        "rows 'line' with from, to and the line's name, in the order of the wall",
        "points would be placed and no wall drawn through them",
        "add the rows that string the points into lines; single points are features or finds",
    )


def unknown_word(source: Source, word: str, row: int) -> Fault:
    """Say that a row's measure is none of the words known."""
    near = difflib.get_close_matches(word, MEASURES, n=1, cutoff=0.4)
    return source.fault(
        "unknown_measure",
        f"'{word[:40]}' as measure",
        f"one of {', '.join(MEASURES)}",
        "nobody could say what the value means",
        f"did you mean '{near[0]}'?" if near else "write one of these words",
        row=row,
    )


def _simple(
    kind: str, allowed: str, effect: str, remedy: str
) -> Callable[[Source, str, int], Fault]:
    """Return a maker of faults of one kind, from what was found and its row."""
    return lambda source, found, row: source.fault(kind, found, allowed, effect, remedy, row=row)


_LOST = "the row would be of no use"
sd_fault = _simple("bad_sd", "more than 0", _LOST, "mend it, or leave it empty")
date_fault = _simple(
    "bad_date",
    "year-month-day, or nothing where the survey's first day will do",
    "the declination of the day would be unknown",
    "write the date as 2031-06-09",
)
distance_fault = _simple(
    "bad_distance", "more than 0 m", "no point could lie so", "mend the row, or take it out"
)
bearing_fault = _simple(
    "bad_bearing",
    "degrees from 0 to 360, clockwise from magnetic north",
    "the direction would be wrong",
    "mend the row; 400 gon are 360 degrees",
)
day_fault = _simple(
    "no_declination",
    f"a day from {FIRST_DAY} to {LAST_DAY}, for which the field model holds",
    "the bearing could not be taken to the grid",
    "mend the date",
)
same_fault = _simple("same_point", "different points", _LOST, "mend the names")
depth_fault = _simple(
    "depth_unasked",
    "no depths where vertical.meaning is 'none'",
    "tapes would be taken for level in spite of them",
    "write in the season's config how the depths are meant",
)
missing_fault = _simple("tape_cell_missing", "a value", _LOST, "fill the cell in")


def depth_twice(source: Source, book: Book, before: int, k: int) -> Fault:
    """Say that two depths of one point disagree."""
    return source.fault(
        "depth_twice",
        f"depth of '{book.points[book.a[k]]}': {book.value[before]:.2f} m in row "
        f"{book.row[before]}, {book.value[k]:.2f} m in row {book.row[k]}",
        f"depths of one point within {SURE:g} sds of each other",
        "heights, and with them slope distances, would be wrong by half of that",
        "find out which is right; were both reduced to one level of the water?",
        row=int(book.row[k]),
    )


def crs_unfit(source: Source) -> Fault:
    """Say that lengths can't be taken in such a CRS."""
    return source.fault(
        "tape_crs",
        f"crs: {source.survey.crs}",
        "the site's own CRS, projected and in metres, in which config/control.csv counts",
        "marks and measures would not be in one system",
        "write the site's crs",
    )


def other_zero(source: Source) -> Fault:
    """Say that depths must count from the site's datum."""
    return source.fault(
        "tape_zero",
        f"vertical.zero: {source.survey.vertical.zero}",
        "'site': depths are adjusted together with the marks' heights, which count from there",
        "depths and marks would not be in one system",
        "write vertical.zero: site, and the zero's height above it as datum_height_m",
    )
