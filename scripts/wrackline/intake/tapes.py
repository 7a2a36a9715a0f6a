"""Tape-and-snorkel books: distances, offsets, depths and compass bearings between named points.

One row a measure (`measure`, `from`, `to`, `value_m`), adjusted together onto the marks of
`config/control.csv`. Distances are slope distances; offsets are level: `point` stands `along_m`
along the base line from `from` to `to`, and `value_m` to its right, or left where negative.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline.crs import grid_factors, site_crs
from wrackline.declination import FIRST_DAY, LAST_DAY, declination_deg, geodetic
from wrackline.errors import WracklineError
from wrackline.fit import tapes as fit
from wrackline.intake import tape_words as words
from wrackline.intake.readings import Found
from wrackline.intake.rows import Rows, column_of, numbers_in, read_rows, texts_of
from wrackline.intake.tape_books import (
    ATTRIBUTES,
    AXES,
    BEARING_SD_DEG,
    LEAST_SD_M,
    LINE_HOLDS,
    MEASURES,
    OTHER_UNIT,
    POOR_COUNT,
    POOR_S0,
    POOR_SHARE,
    STRETCHED,
    SURE,
    Book,
    Row,
    Work,
    upward,
)
from wrackline.model import UNITS_M, ControlValue
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


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
        problems.add(words.no_lines(source))
    _check_values(source, book, problems)
    _check_depths(source, book, problems)
    marks = _marks(source, book)
    if len(marks) < 2:
        problems.add(words.few_marks(source, book, marks))
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
        problems.add(words.unknown_word(source, measure[k], int(rows.row[k])))
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
        problems.add(words.sd_fault(source, f"'{sd_texts[k]}' as sd", int(rows.row[k])))
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
                problems.add(
                    words.missing_fault(source, f"a {word} without {name}", int(rows.row[k]))
                )


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
                problems.add(words.date_fault(source, f"'{text[:40]}' as date", int(row)))
        days.append(day)
    return days


def _check_values(source: Source, book: Book, problems: Problems) -> None:
    """Name values that can't be, row by row."""
    for k, word in enumerate(book.measure):
        value, row = float(book.value[k]), int(book.row[k])
        if word == "distance" and value <= 0:
            problems.add(words.distance_fault(source, f"a distance of {value:g} m", row))
        if word == "bearing" and not (0 <= value <= 360 or np.isnan(value)):
            problems.add(words.bearing_fault(source, f"a bearing of {value:g}", row))
        if word == "bearing" and not FIRST_DAY <= book.day[k] <= LAST_DAY:
            problems.add(words.day_fault(source, f"a bearing of {book.day[k]}", row))
        ends = [end for end in (book.a[k], book.b[k], book.p[k]) if end >= 0]
        if len(set(ends)) < len(ends):
            problems.add(
                words.same_fault(source, f"{words.between(book, k)}: one point twice", row)
            )
        if word == "depth" and source.survey.vertical.meaning == "none":
            problems.add(words.depth_fault(source, "a depth", row))


def _check_depths(source: Source, book: Book, problems: Problems) -> None:
    """Name depths of one point that disagree."""
    told: dict[int, int] = {}
    for k in book.rows_of("depth"):
        before = told.setdefault(int(book.a[k]), int(k))
        apart = abs(float(book.value[k] - book.value[before]))
        if apart > SURE * float(np.hypot(book.sd[k], book.sd[before])):
            problems.add(words.depth_twice(source, book, before, int(k)))


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
        problems.add(words.crs_unfit(source))
        return False
    if source.survey.vertical.zero != "site" and source.survey.vertical.meaning != "none":
        problems.add(words.other_zero(source))
    return True


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
            yield fit.HEIGHT, a, a, -1, upward(source) * value, sd, k
        elif word == "bearing":
            yield fit.BEARING, a, b, -1, value, float(np.radians(sd)), k


def _check_ties(source: Source, book: Book, network: fit.Network, problems: Problems) -> None:
    """Name points that hang on no mark, or on too few measures."""
    hanging = fit.hanging(network)
    for point, plan, high in fit.weak_points(network):
        problems.add(words.undetermined(source, book, point, plan, high))
        hanging[point] = False
    for alone in np.flatnonzero(hanging):
        problems.add(words.undetermined(source, book, int(alone), 0, 0))


def _judge(
    source: Source, book: Book, work: Work, solved: fit.Solution, problems: Problems
) -> None:
    """Name what is wrong with the network as a whole, then single measures and points."""
    factor = _unit_slip(work, solved)
    if factor is not None:
        problems.add(words.scale_wrong(source, factor))
        return
    if _is_poor(work, solved):
        problems.add(words.poor(source, work, solved))
        return
    stretched = _stands_out(solved.tape_scale - 1.0, solved.tape_scale_sd, STRETCHED)
    if stretched:
        problems.add(words.stretch(source, solved))
    turned = len(book.rows_of("bearing")) > 2 and _stands_out(solved.turn, solved.turn_sd, 0.0)
    if turned:
        problems.add(words.compass(source, book, work, solved))
    whole = stretched or turned
    for found in solved.apart if whole else solved.snooped.rejected:
        size = found.size if whole else float(solved.misfit[found.index])
        problems.add(words.misfit(source, book, work, solved, replace(found, size=size)))
    for point, plan, high in fit.loose_points(solved):
        problems.add(words.undetermined(source, book, point, int(plan), int(high)))
    for point, east, north in solved.mirrored:
        problems.add(words.mirror(source, book, solved, point, (east, north)))


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
    xyz[:, 2] = np.nan if flat else upward(source) * xyz[:, 2]
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
    down = kind == fit.HEIGHT and upward(source) < 0
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
