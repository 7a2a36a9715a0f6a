"""Tape-and-snorkel books: distances, offsets, depths and compass bearings between named points.

One row a measure (`measure`, `from`, `to`, `value_m`), adjusted together onto the marks of
`config/control.csv`. Distances are slope distances; offsets are level: `point` stands `along_m`
along the base line from `from` to `to`, and `value_m` to its right, or left where negative.
"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline.crs import grid_factors, site_crs
from wrackline.errors import Fault, WracklineError
from wrackline.fit import tapes as fit
from wrackline.fit.adjust import Rejected
from wrackline.fit.declination import FIRST_DAY, LAST_DAY, declination_deg, geodetic
from wrackline.intake.readings import Found
from wrackline.intake.rows import Rows, column_of, numbers_in, read_rows, texts_of
from wrackline.model import UNITS_M, ControlValue
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MEASURES = ("distance", "offset", "depth", "bearing", "line")
LINE_HOLDS = ("wall_lines", "trench_outlines")
ATTRIBUTES = ("kind", "origin", "evidence", "note", "thickness_m", "thickness_sd_m")
LEAST_SD_M = 0.001
BEARING_SD_DEG = 2.0
"""A hand-held compass under water (common practice, no source)."""

SURE = 4.0
"""Standard uncertainties beyond which a disagreement is no chance (common practice, no source)."""

STRETCHED, OTHER_UNIT = 0.005, 0.05
"""Tapes off by more than these shares are stretched, or in another unit."""

WHOLE_M = 0.05
POOR_S0, POOR_SHARE, POOR_COUNT = 3.0, 0.2, 3
"""A network is poor beyond this reference sd, or this share and count of blunders."""

PLAIN = {
    fit.DISTANCE: "distance",
    fit.ALONG: "offset",
    fit.RIGHT: "offset",
    fit.HEIGHT: "depth",
    fit.BEARING: "bearing",
}
AXES = {fit.EAST: "easting", fit.NORTH: "northing", fit.HEIGHT: "height"}


@dataclass(frozen=True)
class Book:
    """The rows of a tape book; points are counted from 0 in order of first sight, -1 for none.

    Values, sds and places along a base line are in metres, bearings and their sds in degrees.
    """

    points: list[str]
    first: Ints
    measure: list[str]
    a: Ints
    b: Ints
    p: Ints
    line: list[str]
    value: Array
    sd: Array
    along: Array
    day: list[dt.date]
    row: Ints
    cells: pd.DataFrame

    def rows_of(self, measure: str) -> Ints:
        """Return the places of all rows of one measure."""
        return np.flatnonzero(np.array(self.measure, dtype=object) == measure)


@dataclass(frozen=True)
class Work:
    """A network, with what its numbers came from.

    `origin` is each observation's row of the book, -1 for a mark's; `marks` the values of marks by
    point; `turn_deg` the declination of each bearing row [degrees].
    """

    network: fit.Network
    origin: Ints
    marks: dict[int, ControlValue]
    turn_deg: Array


def read_tape(source: Source, problems: Problems) -> Found | None:
    """Return the lines, or points, of a tape book, or None with a fault.

    Parameters
    ----------
    source : Source
        Its control in the survey's CRS; its survey's sds hold where a row states none.
    problems : Problems

    Returns
    -------
    Found or None
        Heights in the sense of the survey's `vertical`. Attributes of a line are those of its
        first row, of a point those of its depth.
    """
    rows = read_rows(source, problems)
    if rows is None:
        return None
    book = _book(source, rows, problems)
    if book is None:
        return None
    if source.survey.holds in LINE_HOLDS and "line" not in book.measure:
        problems.add(_no_lines(source))
    _check_values(source, book, problems)
    _check_depths(source, book, problems)
    marks = _marks(source, book)
    if len(marks) < 2:
        problems.add(_few_marks(source, book, marks))
    if not _crs_right(source, problems) or problems.fatal:
        return None
    work = _work(source, book, marks)
    _check_ties(source, book, work.network, problems)
    if problems.fatal:
        return None
    solved = fit.solve(work.network)
    _judge(source, book, work, solved, problems)
    if problems.fatal:
        return None
    cells, shapes, row = _items(source, book, work, solved)
    account = _account(source, book, work, solved)
    return Found(cells, shapes, row, len(rows.cells), account)


def _book(source: Source, rows: Rows, problems: Problems) -> Book | None:
    """Return the rows as they stand, or None with a fault."""
    columns = source.survey.columns
    measure = [word.lower() for word in texts_of(source, rows, "measure", problems)]
    ends = [texts_of(source, rows, name, problems) for name in ("from", "to")]
    point = texts_of(source, rows, columns.point or "point", problems, needed=False)
    line = texts_of(source, rows, columns.line or "line", problems, needed="line" in measure)
    for k in np.flatnonzero(~np.isin(measure, MEASURES)) if any(measure) else ():
        problems.add(_unknown_word(source, measure[k], int(rows.row[k])))
    value = _values(source, rows, measure, problems)
    if problems.fatal or value is None:
        return None
    based = [name if word == "offset" else "" for name, word in zip(point, measure, strict=True)]
    second = ["" if word == "depth" else b for b, word in zip(ends[1], measure, strict=True)]
    named = [ends[0], second, based]
    first: dict[str, int] = {}
    for at, names in enumerate(zip(*named, strict=True)):
        for name in names:
            first.setdefault(name, at)
    points = [name for name in first if name]
    number = {"": -1} | {name: k for k, name in enumerate(points)}
    a, b, p = (np.array([number[name] for name in texts], dtype=np.int64) for texts in named)
    cells = pd.DataFrame(rows.cells, columns=[name.lower() for name in rows.names], dtype=str)
    return Book(
        points,
        np.array([rows.row[first[name]] for name in points], dtype=np.int64),
        measure,
        a,
        b,
        p,
        line,
        *value,
        _days(source, rows, measure, problems),
        rows.row,
        cells.loc[:, ~cells.columns.duplicated()],
    )


def _values(
    source: Source, rows: Rows, measure: list[str], problems: Problems
) -> tuple[Array, Array, Array] | None:
    """Return values, sds and places along base lines; missing ones are faults, sds filled in."""
    survey, word = source.survey, np.array(measure, dtype=object)
    there: list[str] = [
        name for name in ("value_m", "value") if name in [n.lower() for n in rows.names]
    ]
    if not there:
        place = column_of(source, rows, "value_m", problems, aliases=("reading", "reading_m"))
        if place is None:
            return None
        there = [rows.names[place]]
    columns = [texts_of(source, rows, name, problems) for name in there]
    texts = [next((cell for cell in cells if cell), "") for cells in zip(*columns, strict=True)]
    value = numbers_in(source, texts, rows.row, there[0], problems)
    along_texts = texts_of(source, rows, "along_m", problems, needed=False, aliases=("along",))
    along = numbers_in(source, along_texts, rows.row, "along_m", problems)
    sd_texts = texts_of(source, rows, "sd_m", problems, needed=False, aliases=("sd",))
    sd = numbers_in(source, sd_texts, rows.row, "sd_m", problems)
    for k in np.flatnonzero(sd <= 0):
        problems.add(_sd_fault(source, f"'{sd_texts[k]}' as sd", int(rows.row[k])))
    _check_filled(source, rows, measure, (texts, along_texts), problems)
    flat = UNITS_M[survey.unit or "metre"]
    unit = np.select(
        [word == "bearing", word == "depth"], [1.0, UNITS_M[survey.vertical.unit]], flat
    )
    usual = np.select(
        [word == "bearing", word == "depth"],
        [BEARING_SD_DEG, max(survey.random_vertical_sd_m, LEAST_SD_M)],
        max(survey.random_horizontal_sd_m, LEAST_SD_M),
    )
    return value * unit, np.where(np.isnan(sd), usual, sd * unit), along * flat


def _check_filled(
    source: Source,
    rows: Rows,
    measure: list[str],
    texts: tuple[list[str], list[str]],
    problems: Problems,
) -> None:
    """Name rows that lack a cell which their measure needs."""
    columns = source.survey.columns

    def column(name: str | int) -> list[str]:
        return texts_of(source, rows, name, Problems(), needed=False)

    empty = ("", *columns.no_value)
    cells = {
        "from": column("from"),
        "to": column("to"),
        "value_m": texts[0],
        "along_m": texts[1],
        "point": column(columns.point or "point"),
        "line": column(columns.line or "line"),
    }
    needs = {
        "distance": ("from", "to", "value_m"),
        "offset": ("from", "to", "value_m", "along_m", "point"),
        "depth": ("from", "value_m"),
        "bearing": ("from", "to", "value_m"),
        "line": ("from", "to", "line"),
    }
    for k, word in enumerate(measure):
        for name in needs.get(word, ()):
            if cells[name][k] in empty:
                problems.add(_missing_fault(source, f"a {word} without {name}", int(rows.row[k])))


def _days(source: Source, rows: Rows, measure: list[str], problems: Problems) -> list[dt.date]:
    """Return the day of each row, the survey's first where none is stated."""
    days = []
    texts = texts_of(source, rows, "date", problems, needed=False)
    for text, word, row in zip(texts, measure, rows.row, strict=True):
        day = source.survey.from_date
        if text and word == "bearing":
            try:
                day = dt.date.fromisoformat(text[:10])
            except ValueError:
                problems.add(_date_fault(source, f"'{text[:40]}' as date", int(row)))
        days.append(day)
    return days


def _check_values(source: Source, book: Book, problems: Problems) -> None:
    """Name values that can't be, row by row."""
    for k, word in enumerate(book.measure):
        value, row = float(book.value[k]), int(book.row[k])
        if word == "distance" and value <= 0:
            problems.add(_distance_fault(source, f"a distance of {value:g} m", row))
        if word == "bearing" and not (0 <= value <= 360 or np.isnan(value)):
            problems.add(_bearing_fault(source, f"a bearing of {value:g}", row))
        if word == "bearing" and not FIRST_DAY <= book.day[k] <= LAST_DAY:
            problems.add(_day_fault(source, f"a bearing of {book.day[k]}", row))
        ends = [end for end in (book.a[k], book.b[k], book.p[k]) if end >= 0]
        if len(set(ends)) < len(ends):
            problems.add(_same_fault(source, f"{_ends(book, k)}: one point twice", row))
        if word == "depth" and source.survey.vertical.meaning == "none":
            problems.add(_depth_fault(source, "a depth", row))


def _check_depths(source: Source, book: Book, problems: Problems) -> None:
    """Name depths of one point that disagree."""
    told: dict[int, int] = {}
    for k in book.rows_of("depth"):
        before = told.setdefault(int(book.a[k]), int(k))
        apart = abs(float(book.value[k] - book.value[before]))
        if apart > SURE * float(np.hypot(book.sd[k], book.sd[before])):
            problems.add(_depth_twice(source, book, before, int(k)))


def _marks(source: Source, book: Book) -> dict[int, ControlValue]:
    """Return the values of marks that the book names, by point."""
    day = source.survey.from_date
    named = {mark.point: mark for mark in reversed(source.control)}
    named |= {mark.point: mark for mark in source.control if mark.holds_on(day, day)}
    return {k: named[name] for k, name in enumerate(book.points) if name in named}


def _crs_right(source: Source, problems: Problems) -> bool:
    """Tell whether the survey's CRS can take the marks' metres; if not, say so."""
    try:
        site_crs(str(source.survey.crs))
    except WracklineError:
        problems.add(_crs_unfit(source))
        return False
    if source.survey.vertical.zero != "site" and source.survey.vertical.meaning != "none":
        problems.add(_other_zero(source))
    return True


def _up(source: Source) -> float:
    """Return 1 where the file's vertical numbers count up, -1 where they count down."""
    return 1.0 if source.survey.vertical.meaning == "height" else -1.0


def _work(source: Source, book: Book, marks: dict[int, ControlValue]) -> Work:
    """Return the book as a network, heights up from the file's zero."""
    crs = str(source.survey.crs)
    centre = np.array([[mark.easting, mark.northing] for mark in marks.values()]).mean(axis=0)
    convergence, scale = grid_factors(crs, centre[:1], centre[1:])
    bearings = book.rows_of("bearing")
    place = geodetic(crs, float(centre[0]), float(centre[1]))
    turn = np.zeros(len(book.measure))
    turn[bearings] = declination_deg(*place, [book.day[k] for k in bearings])
    table = [*_mark_rows(source, book, marks), *_book_rows(source, book)]
    kind, a, b, p, value, sd, origin = (np.array(column) for column in zip(*table, strict=True))
    value = value.astype(float)
    rays = kind == fit.BEARING
    value[rays] = np.radians(value[rays] + turn[origin[rays]] - convergence[0])
    network = fit.Network(kind, a, b, p, value, sd, float(scale[0]), len(book.points))
    return Work(network, origin, marks, turn)


Row = tuple[int, int, int, int, float, float, int]


def _mark_rows(source: Source, book: Book, marks: dict[int, ControlValue]) -> Iterator[Row]:
    flat = source.survey.vertical.meaning == "none"
    zero = source.survey.vertical.datum_height_m
    for k, mark in marks.items():
        yield fit.EAST, k, k, -1, mark.easting, mark.sd_m, -1
        yield fit.NORTH, k, k, -1, mark.northing, mark.sd_m, -1
        if mark.height is not None and not flat:
            sd = mark.height_sd_m or mark.sd_m
            yield fit.HEIGHT, k, k, -1, mark.height - zero, sd, -1
    if flat:  # without heights every tape counts as level
        for k in range(len(book.points)):
            yield fit.HEIGHT, k, k, -1, 0.0, LEAST_SD_M, -1


def _book_rows(source: Source, book: Book) -> Iterator[Row]:
    for k, word in enumerate(book.measure):
        a, b, p = int(book.a[k]), int(book.b[k]), int(book.p[k])
        value, sd = float(book.value[k]), float(book.sd[k])
        if word == "distance":
            yield fit.DISTANCE, a, b, -1, value, sd, k
        elif word == "offset":
            yield fit.ALONG, a, b, p, float(book.along[k]), sd, k
            yield fit.RIGHT, a, b, p, value, sd, k
        elif word == "depth":
            yield fit.HEIGHT, a, a, -1, _up(source) * value, sd, k
        elif word == "bearing":
            yield fit.BEARING, a, b, -1, value, float(np.radians(sd)), k


def _check_ties(source: Source, book: Book, network: fit.Network, problems: Problems) -> None:
    """Name points that hang on no mark, or on too few measures."""
    hanging = fit.hanging(network)
    for point, plan, high in fit.weak_points(network):
        problems.add(_undetermined(source, book, point, plan, high))
        hanging[point] = False
    for alone in np.flatnonzero(hanging):
        problems.add(_undetermined(source, book, int(alone), 0, 0))


def _judge(
    source: Source, book: Book, work: Work, solved: fit.Solution, problems: Problems
) -> None:
    """Name what is wrong with the network as a whole, then single measures and points."""
    factor = _unit_slip(work, solved)
    if factor is not None:
        problems.add(_scale_wrong(source, factor))
        return
    if _is_poor(work, solved):
        problems.add(_poor(source, work, solved))
        return
    stretched = _stands_out(solved.tape_scale - 1.0, solved.tape_scale_sd, STRETCHED)
    if stretched:
        problems.add(_stretch(source, solved))
    turned = len(book.rows_of("bearing")) > 2 and _stands_out(solved.turn, solved.turn_sd, 0.0)
    if turned:
        problems.add(_compass(source, book, work, solved))
    whole = stretched or turned
    for found in solved.apart if whole else solved.snooped.rejected:
        size = found.size if whole else float(solved.misfit[found.index])
        problems.add(_misfit(source, book, work, solved, replace(found, size=size)))
    for point, plan, high in fit.loose_points(solved):
        problems.add(_undetermined(source, book, point, int(plan), int(high)))
    for point, east, north in solved.mirrored:
        problems.add(_mirror(source, book, solved, point, (east, north)))


def _stands_out(size: float, sd: float, least: float) -> bool:
    """Tell whether a common error is known, no chance, and larger than the least that matters."""
    return bool(np.isfinite(size) and abs(size) > max(least, SURE * sd))


def _unit_slip(work: Work, solved: fit.Solution) -> float | None:
    """Return read over true lengths where they seem to be in another unit, else None."""
    off = solved.tape_scale - 1.0
    if _stands_out(off, solved.tape_scale_sd, OTHER_UNIT):
        return solved.tape_scale
    if _is_poor(work, solved) or solved.snooped.adjustment.s0 > POOR_S0:
        factor = fit.in_feet(work.network)
        return None if factor is None else 1.0 / factor
    return None


def _is_poor(work: Work, solved: fit.Solution) -> bool:
    """Tell whether so much had to be set aside that the network can't be trusted."""
    measures = int((work.origin >= 0).sum())
    left = min(len(solved.apart), len(solved.snooped.rejected))
    return left > max(POOR_COUNT, POOR_SHARE * measures)


def _items(
    source: Source, book: Book, work: Work, solved: fit.Solution
) -> tuple[pd.DataFrame, npt.NDArray[np.object_], Ints]:
    """Return what the survey holds: attributes, geometries and rows."""
    xyz = solved.xyz.copy()
    flat = source.survey.vertical.meaning == "none"
    xyz[:, 2] = np.nan if flat else _up(source) * xyz[:, 2]
    lined = source.survey.holds in (*LINE_HOLDS, "features")
    records, shapes = [], []
    drawn: set[int] = set()
    for at, corners in _lines(book) if lined else ():
        drawn.update(corners)
        shapes.append(_drawn(source, xyz[corners]))
        records.append((book.line[at], at, int(book.row[at])))
    if source.survey.holds not in LINE_HOLDS:
        depth = {int(book.a[k]): int(k) for k in book.rows_of("depth")[::-1]}
        for k, name in enumerate(book.points):
            if k not in work.marks and k not in drawn:
                shapes.append(shapely.Point(xyz[k]))
                records.append((name, depth.get(k, -1), int(book.first[k])))
    cells = pd.DataFrame({"line": [name for name, _, _ in records]}, dtype=object)
    for name in ATTRIBUTES:
        if name in book.cells:
            texts = book.cells[name].to_list()
            cells[name] = [texts[at] if at >= 0 else "" for _, at, _ in records]
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = shapes
    return cells, geometry, np.array([row for _, _, row in records], dtype=np.int64)


def _drawn(source: Source, corners: Array) -> shapely.Geometry:
    """Return a line through points; a trench's outline is closed."""
    ring = source.survey.holds == "trench_outlines" and len(corners) > 2
    open_end = not np.array_equal(corners[0, :2], corners[-1, :2])
    return shapely.LineString(np.vstack([corners, corners[:1]]) if ring and open_end else corners)


def _lines(book: Book) -> Iterator[tuple[int, list[int]]]:
    """Yield first row and points of each line; where a row doesn't go on, a new part begins."""
    parts: dict[str, list[tuple[int, list[int]]]] = {}
    for k in book.rows_of("line"):
        mine = parts.setdefault(book.line[k], [])
        if not mine or mine[-1][1][-1] != book.a[k]:
            mine.append((int(k), [int(book.a[k])]))
        mine[-1][1].append(int(book.b[k]))
    for mine in parts.values():
        yield from mine


def _account(source: Source, book: Book, work: Work, solved: fit.Solution) -> dict[str, Any]:
    """Return the adjustment as a JSON-ready record; residuals are observed minus computed."""
    adjusted = solved.snooped.adjustment
    rejected = {found.index: found for found in solved.snooped.rejected}
    residuals = []
    for k in range(len(work.origin)):
        plain = _plain(source, book, work, k, float(solved.misfit[k]))
        standardised = rejected[k].standardised if k in rejected else adjusted.standardised[k]
        if plain is not None:
            plain |= {"standardised": round(float(standardised), 2), "rejected": k in rejected}
            residuals.append(plain)
    marks = list(work.marks.values())
    errors = fit.datum_errors(
        source.name,
        np.array([[mark.easting, mark.northing] for mark in marks]),
        np.array([mark.sd_m for mark in marks]),
        np.array([m.height_sd_m or m.sd_m for m in marks if m.height is not None]),
    )
    if source.survey.vertical.meaning == "none":
        errors = [error for error in errors if error.kind != "height"]
    return {
        "points": _point_records(source, book, work, solved),
        "residuals": residuals,
        "s0": round(adjusted.s0, 3) if np.isfinite(adjusted.s0) else None,
        "errors": [vars(error) | {"pivot": list(error.pivot)} for error in errors],
    }


def _plain(source: Source, book: Book, work: Work, k: int, misfit: float) -> dict[str, Any] | None:
    """Return an observation for the record, None for a height that was only taken for level."""
    kind, at = int(work.network.kind[k]), int(work.origin[k])
    degrees = kind == fit.BEARING
    off = float(np.degrees(misfit)) if degrees else misfit
    if at < 0:
        point = int(work.network.a[k])
        if kind == fit.HEIGHT and source.survey.vertical.meaning == "none":
            return None
        value = float(work.network.value[k])
        return {
            "row": None,
            "measure": f"mark {book.points[point]} {AXES[kind]}",
            "value": round(value, 4),
            "residual": round(off, 4),
        }
    value = float(book.along[at] if kind == fit.ALONG else book.value[at])
    down = kind == fit.HEIGHT and _up(source) < 0
    return {
        "row": int(book.row[at]),
        "measure": book.measure[at] + (" along" if kind == fit.ALONG else ""),
        "value": round(value, 4),
        "residual": round(-off if down else off, 4),
    }


def _point_records(
    source: Source, book: Book, work: Work, solved: fit.Solution
) -> list[dict[str, Any]]:
    """Return each point's place, sds and mean redundancy of its measures, heights up from zero."""
    flat = source.survey.vertical.meaning == "none"
    zero = source.survey.vertical.datum_height_m
    checked = np.nan_to_num(solved.snooped.adjustment.redundancy)
    records = []
    for k, name in enumerate(book.points):
        mine = work.network.touches(k) & (work.origin >= 0)
        east, north, high = (float(v) for v in solved.xyz[k])
        sds = [round(float(v), 4) for v in solved.sds[k]]
        records.append(
            {
                "point": name,
                "easting": round(east, 4),
                "northing": round(north, 4),
                "height": None if flat else round(high + zero, 4),
                "sds": sds[:2] if flat else sds,
                "redundancy": round(float(checked[mine].mean()), 3) if mine.any() else None,
            }
        )
    return records


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


def _misfit(
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
        size = rejected.size * (_up(source) if kind == fit.HEIGHT else 1.0)
        slip = slip_in_words(value, value - size)
        told = f"{value:.2f} m, where all others give {value - size:.2f}, {size:+.2f}"
    along = " (along it)" if kind == fit.ALONG else ""
    told = f"{_ends(book, at)}{along}: {told} off" + (f" ({slip})" if slip else "")
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


def _ends(book: Book, at: int) -> str:
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
        f"{_ends(book, at)}: {book.value[at]:.1f} degrees, the way back",
        "the bearing from the first point to the second",
        "the point would be led to the wrong side",
        "exchange from and to, or correct the bearing by 180 degrees",
        row=int(book.row[at]),
        at=place,
    )


def _compass(source: Source, book: Book, work: Work, solved: fit.Solution) -> Fault:
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


def _poor(source: Source, work: Work, solved: fit.Solution) -> Fault:
    count, measures = len(solved.snooped.rejected), int((work.origin >= 0).sum())
    return source.fault(
        "tape_network",
        f"{count} of {measures} measures that don't fit the others",
        f"at most {POOR_SHARE:.0%} of them",
        "nobody could say which of them are right",
        "were points confused, or are the sds stated much too small? adjust the book in parts, "
        "beginning with what hangs on the marks",
    )


def _scale_wrong(source: Source, factor: float) -> Fault:
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


def _stretch(source: Source, solved: fit.Solution) -> Fault:
    return source.suspicion(
        "tape_stretch",
        f"tapes that read {solved.tape_scale:.4f} times true lengths "
        f"(sd {solved.tape_scale_sd:.4f}), as the marks have them",
        f"within {STRETCHED:.1%} of true",
        "lines between marks are squeezed or drawn out",
        "compare the tape with a steel one; a tape in a current bows out and reads too long",
    )


def _mirror(
    source: Source, book: Book, solved: fit.Solution, point: int, other: tuple[float, float]
) -> Fault:
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


def _undetermined(source: Source, book: Book, point: int, plan: int, high: int) -> Fault:
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


def _few_marks(source: Source, book: Book, marks: dict[int, ControlValue]) -> Fault:
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


def _no_lines(source: Source) -> Fault:
    return source.fault(
        "no_tape_lines",
        f"{source.survey.holds}, and no row whose measure is 'line'",
        "rows 'line' with from, to and the line's name, in the order of the wall",
        "points would be placed and no wall drawn through them",
        "add the rows that string the points into lines; single points are features or finds",
    )


def _unknown_word(source: Source, word: str, row: int) -> Fault:
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
_sd_fault = _simple("bad_sd", "more than 0", _LOST, "mend it, or leave it empty")
_date_fault = _simple(
    "bad_date",
    "year-month-day, or nothing where the survey's first day will do",
    "the declination of the day would be unknown",
    "write the date as 2031-06-09",
)
_distance_fault = _simple(
    "bad_distance", "more than 0 m", "no point could lie so", "mend the row, or take it out"
)
_bearing_fault = _simple(
    "bad_bearing",
    "degrees from 0 to 360, clockwise from magnetic north",
    "the direction would be wrong",
    "mend the row; 400 gon are 360 degrees",
)
_day_fault = _simple(
    "no_declination",
    f"a day from {FIRST_DAY} to {LAST_DAY}, for which the field model holds",
    "the bearing could not be taken to the grid",
    "mend the date",
)
_same_fault = _simple("same_point", "different points", _LOST, "mend the names")
_depth_fault = _simple(
    "depth_unasked",
    "no depths where vertical.meaning is 'none'",
    "tapes would be taken for level in spite of them",
    "write in the season's config how the depths are meant",
)
_missing_fault = _simple("tape_cell_missing", "a value", _LOST, "fill the cell in")


def _depth_twice(source: Source, book: Book, before: int, k: int) -> Fault:
    return source.fault(
        "depth_twice",
        f"depth of '{book.points[book.a[k]]}': {book.value[before]:.2f} m in row "
        f"{book.row[before]}, {book.value[k]:.2f} m in row {book.row[k]}",
        f"depths of one point within {SURE:g} sds of each other",
        "heights, and with them slope distances, would be wrong by half of that",
        "find out which is right; were both reduced to one level of the water?",
        row=int(book.row[k]),
    )


def _crs_unfit(source: Source) -> Fault:
    return source.fault(
        "tape_crs",
        f"crs: {source.survey.crs}",
        "the site's own CRS, projected and in metres, in which config/control.csv counts",
        "marks and measures would not be in one system",
        "write the site's crs",
    )


def _other_zero(source: Source) -> Fault:
    return source.fault(
        "tape_zero",
        f"vertical.zero: {source.survey.vertical.zero}",
        "'site': depths are adjusted together with the marks' heights, which count from there",
        "depths and marks would not be in one system",
        "write vertical.zero: site, and the zero's height above it as datum_height_m",
    )
