"""Level books: runs from mark to mark reduced to heights, and their misclosure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline.errors import Fault
from wrackline.fit.levelling import (
    SURE,
    Run,
    allowed_misclosure,
    common_variance,
    distributed,
    page_check,
    reduce_run,
)
from wrackline.intake.drawings import picked
from wrackline.intake.marks import Marks, heights_meant
from wrackline.intake.readings import Found
from wrackline.intake.rows import Rows, numbers_of, read_rows, texts_of
from wrackline.intake.slips import plain_name
from wrackline.intake.station_days import as_day
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NUMBERS: dict[str, tuple[str, ...]] = {
    "back_sight_m": ("back_sight", "bs"),
    "intermediate_sight_m": ("intermediate_sight", "intermediate", "is"),
    "fore_sight_m": ("fore_sight", "foresight", "fs"),
    "easting": (),
    "northing": (),
    "distance_m": ("sight_length_m", "distance"),
    "reduced_level_m": ("reduced_level", "rl", "height"),
}
NEEDED = ("back_sight_m", "fore_sight_m")
LONGEST_STAFF_M = 8.0
"""No staff is longer (common practice, no source)."""
MILLIMETRES = 100.0
"""Half the readings beyond this were not written in metres."""
ROUNDED_M = 0.0015
"""A book's own heights may differ by rounding."""
ROUND_SLIPS_M = (0.1, 0.5, 1.0)
BOOK = "look it up in the field book and put it right in config/corrections.csv"
ALL_FOLLOWING = "all heights that follow would be wrong by it"


@dataclass(frozen=True)
class Book:
    """A level book's rows, in order."""

    point: list[str]
    row: Ints
    number: dict[str, Array]
    text: pd.DataFrame
    day: list[Any]

    def sights(self, part: slice) -> tuple[Array, Array, Array]:
        """Return back-sights, intermediate sights and fore-sights of some rows."""
        names = ("back_sight_m", "intermediate_sight_m", "fore_sight_m")
        back, intermediate, fore = (self.number[name][part] for name in names)
        return back, intermediate, fore


@dataclass(frozen=True)
class Levelled:
    """A run of the book: its rows, heights, shared variance, and account for the record."""

    part: slice
    height: Array
    variance: Array
    account: dict[str, Any]


def read_levels(source: Source, problems: Problems) -> Found | None:
    """Return the points of a level book that have a place, with their heights.

    A run starts with a back-sight on a known mark and ends with a fore-sight; turning points have
    both in one row. A point's place is its own `easting` and `northing`, or, of an intermediate
    sight, that of the mark of its name.

    Parameters
    ----------
    source : Source
    problems : Problems

    Returns
    -------
    Found or None
        Points with heights above the site's datum; ``adjustment`` has ``runs`` and ``errors``.
        None with a fault.
    """
    heights_meant(source, problems)
    rows = read_rows(source, problems)
    if rows is None:
        return None
    if not len(rows.row):
        problems.add(_no_rows(source))
        return None
    book = _book(source, rows, problems)
    _check_sights(source, book, problems)
    if problems.fatal:
        return None
    marks = Marks(source, problems)
    known: dict[str, float] = {}
    runs = [_run(source, book, part, marks, known) for part in _runs(book)]
    levelled = [run for run in runs if run is not None]
    if problems.fatal or not levelled:
        return None
    return _items(source, book, levelled, marks)


def _no_rows(source: Source) -> Fault:
    return source.fault(
        "no_rows",
        "column names, and no row under them",
        "at least one run of levels",
        "the survey would be missing from the record",
        "copy the file anew; the level book may have lost its rows",
    )


def _book(source: Source, rows: Rows, problems: Problems) -> Book:
    columns = source.survey.columns
    names: dict[str, str | int] = {"easting": columns.easting, "northing": columns.northing}
    number = {
        name: numbers_of(
            source, rows, names.get(name, name), problems, needed=name in NEEDED, aliases=aliases
        )
        for name, aliases in NUMBERS.items()
    }
    point = texts_of(source, rows, columns.point or "point", problems)
    time = texts_of(source, rows, columns.time or "time", problems, needed=False)
    text = {
        name: texts_of(source, rows, getattr(columns, name) or name, problems, needed=False)
        for name in ("line", "code")
    }
    own = {*NUMBERS, "point", "line", "code", "time"}
    known = {plain_name(alias) for name in own for alias in (name, *NUMBERS.get(name, ()))}
    for at, name in enumerate(rows.names):
        if name and plain_name(name) not in known:
            text.setdefault(name.lower(), [cells[at] for cells in rows.cells])
    frame = pd.DataFrame(text, index=range(len(point)), dtype=object)
    return Book(point, rows.row, number, frame, [as_day(text) for text in time])


def _check_sights(source: Source, book: Book, problems: Problems) -> None:
    """Say which rows can't be part of a run, and which readings can't be a staff's."""
    back, intermediate, fore = book.sights(slice(None))
    sights = np.column_stack([back, intermediate, fore])
    there = np.isfinite(sights)
    large = there & (np.abs(np.nan_to_num(sights)) > LONGEST_STAFF_M)
    beyond = there & (np.abs(np.nan_to_num(sights)) > MILLIMETRES)
    if beyond.sum() > 0.5 * there.sum():
        k = int(np.argmax(beyond.any(axis=1)))
        problems.add(_millimetres(source, float(np.nanmax(sights[k])), int(book.row[k])))
    else:
        for k in np.flatnonzero(large.any(axis=1)).tolist():
            reading = float(sights[k][large[k]][0])
            problems.add(_too_long(source, book.point[k], reading, int(book.row[k])))
    for k in np.flatnonzero(~there.any(axis=1)).tolist():
        problems.add(_no_sight(source, book.point[k], int(book.row[k])))
    for k in np.flatnonzero(there[:, 1] & (there[:, 0] | there[:, 2])).tolist():
        problems.add(_mixed(source, book.point[k], int(book.row[k])))
    half = np.isfinite(book.number["easting"]) != np.isfinite(book.number["northing"])
    for k in np.flatnonzero(half).tolist():
        problems.add(_half_place(source, book.point[k], int(book.row[k])))


def _runs(book: Book) -> list[slice]:
    """Return the rows of each run: from a back-sight without fore-sight to the next."""
    back, _, fore = book.sights(slice(None))
    starts = np.flatnonzero(np.isfinite(back) & ~np.isfinite(fore)).tolist()
    if not starts or starts[0] != 0:
        starts.insert(0, 0)
    return [slice(a, b) for a, b in zip(starts, [*starts[1:], len(back)], strict=True)]


def _run(
    source: Source, book: Book, part: slice, marks: Marks, known: dict[str, float]
) -> Levelled | None:
    """Return a run reduced and closed, or None with a fault; its points join the known ones."""
    first, last = part.start, part.stop - 1
    start = _known(book, first, marks, known)
    if start is None:
        return None
    back, intermediate, fore = book.sights(part)
    run = reduce_run(start[0], back, intermediate, fore)
    if run.broken is not None:
        row = int(book.row[first + run.broken])
        marks.problems.add(_sight_missing(source, book.point[first + run.broken], row))
        return None
    _check_book(source, book, part, run, marks.problems)
    closes = np.isfinite(fore[-1])
    end = _known(book, last, marks, known, needed=False) if closes else None
    same = book.point[first].casefold() == book.point[last].casefold()
    ends = (start[1], None if end is None else end[1])
    misclosure = None if end is None else float(run.height[-1] - end[0])
    account = _account(source, book, part, run, (misclosure, ends, same))
    if misclosure is None:
        marks.problems.add(_open(source, book.point[last], int(book.row[last])))
    elif abs(misclosure) > account["allowed_m"]:
        marks.problems.add(_off(source, book, part, account))
    height = run.height if misclosure is None else distributed(run, misclosure)
    variance = common_variance(run, source.survey.random_vertical_sd_m, ends)
    levelled = Levelled(part, height, variance, account)
    _check_marks(source, book, levelled, marks)
    turned = np.flatnonzero(np.isfinite(fore))
    known.update({book.point[first + k].casefold(): float(height[k]) for k in turned})
    return levelled


def _known(
    book: Book, k: int, marks: Marks, known: dict[str, float], *, needed: bool = True
) -> tuple[float, float] | None:
    """Return a point's height and its sd: a mark's, or one levelled before; None with a fault."""
    name, row = book.point[k], int(book.row[k])
    value = marks.peek(name, book.day[k])
    if value is None and name.casefold() in known:
        return known[name.casefold()], 0.0
    value = marks.find(name, book.day[k], row, needed=needed)
    if value is None:
        return None
    if value.height is None:
        if needed:
            at = (value.easting, value.northing)
            marks.problems.add(_no_height(marks.source, name, row, at))
        return None
    return value.height, value.height_sd_m or value.sd_m


def _account(
    source: Source,
    book: Book,
    part: slice,
    run: Run,
    closing: tuple[float | None, tuple[float, float | None], bool],
) -> dict[str, Any]:
    """Return a run for the record, JSON-ready."""
    misclosure, (first_sd, last_sd), same = closing
    back, _, fore = book.sights(part)
    setups = int(run.setup.max())
    lengths = book.number["distance_m"][part]
    length = float(np.nansum(lengths)) / 1000 if np.isfinite(lengths).any() else float("nan")
    ends = 0.0 if same or last_sd is None else float(np.hypot(first_sd, last_sd))
    allowed = allowed_misclosure(setups, length, source.survey.random_vertical_sd_m, ends)
    return {
        "row": int(book.row[part.start]),
        "from": book.point[part.start],
        "to": book.point[part.stop - 1],
        "setups": setups,
        "length_km": length if np.isfinite(length) else None,
        "rise_m": float(run.height[-1] - run.height[0]),
        "page_check_m": page_check(back, fore, run.height) if np.isfinite(fore[-1]) else None,
        "misclosure_m": misclosure,
        "allowed_m": allowed,
    }


def _check_book(source: Source, book: Book, part: slice, run: Run, problems: Problems) -> None:
    """Name the rows at which the book's own heights begin to differ from its readings."""
    stated = book.number["reduced_level_m"][part]
    apart = stated - run.height
    before = 0.0
    for k in np.flatnonzero(np.isfinite(apart)):
        if abs(apart[k] - before) > ROUNDED_M:
            row = int(book.row[part.start + k])
            problems.add(_sum_slip(source, book.point[part.start + k], stated[k], apart[k], row))
            before = float(apart[k])


def _check_marks(source: Source, book: Book, run: Levelled, marks: Marks) -> None:
    """Compare marks that a run passes with their heights."""
    for k in range(1, run.part.stop - run.part.start - 1):
        at = run.part.start + k
        value = marks.peek(book.point[at], book.day[at])
        if value is None or value.height is None:
            continue
        size = float(run.height[k] - value.height)
        own = value.height_sd_m or value.sd_m
        sd = np.sqrt(own**2 + source.survey.random_vertical_sd_m**2 + run.variance[k])
        if abs(size) > max(SURE * sd, run.account["allowed_m"]):
            place = (value.easting, value.northing)
            marks.problems.add(_mark_off(source, value.point, size, int(book.row[at]), place))


def _items(source: Source, book: Book, runs: Sequence[Levelled], marks: Marks) -> Found:
    """Return the points that have a place, with their heights."""
    n = len(book.point)
    place = np.column_stack([book.number["easting"], book.number["northing"]])
    for k in np.flatnonzero(np.isfinite(book.number["intermediate_sight_m"])):
        value = marks.peek(book.point[k], book.day[k])
        if value is not None and np.isnan(place[k]).any():
            place[k] = value.easting, value.northing
        elif np.isnan(place[k]).any():
            marks.problems.add(_no_place(source, book.point[k], int(book.row[k])))
    height, variance = np.full(n, np.nan), np.full(n, np.nan)
    for run in runs:
        height[run.part], variance[run.part] = run.height, run.variance
    kept = picked(source, list(book.text["code"]), marks.problems, "code")
    places = np.flatnonzero(kept & np.isfinite(place).all(axis=1) & np.isfinite(height))
    sd = float(np.sqrt(variance[places].mean())) if len(places) else 0.0
    error = {
        "name": f"{source.name}:levelling_height",
        "kind": "height",
        "sd": sd,
        "pivot": place[places].mean(axis=0).tolist() if len(places) else [0.0, 0.0],
        "azimuth_deg": 0.0,
    }
    cells = book.text.assign(point=book.point)
    if "kind" not in cells:
        cells = cells.assign(kind=book.text["code"])
    shapes = shapely.points(np.column_stack([place, height])[places])
    return Found(
        cells.iloc[places].reset_index(drop=True),
        np.asarray(shapes, dtype=object),
        book.row[places],
        n,
        {"runs": [run.account for run in runs], "errors": [error]},
    )


def _off(source: Source, book: Book, part: slice, account: dict[str, Any]) -> Fault:
    size, allowed = account["misclosure_m"], account["allowed_m"]
    slip = [s for s in ROUND_SLIPS_M if abs(abs(size) - s) <= allowed]
    hint = f", near {slip[0]:g} m, as of a figure misread" if slip else ""
    return source.suspicion(
        "levelling_misclosure",
        f"the run from '{account['from']}' to '{account['to']}' ({account['setups']} setups) "
        f"closes {size:+.3f} m off{hint}",
        f"{allowed:.3f} m: {account['setups']} setups, and the sds of readings and marks",
        "heights along the run are wrong by up to that; it is distributed over the setups as if "
        "it were chance",
        "look for a misread or miswritten figure, and whether both marks' heights still hold; "
        "level the run again if neither shows",
        row=int(book.row[part.stop - 1]),
    )


def _open(source: Source, name: str, row: int) -> Fault:
    return source.suspicion(
        "levelling_open",
        f"the run ends at '{name}', whose height isn't known",
        "a run that ends with a fore-sight on a mark with a height, the first one for one",
        "a misread figure would shift all that follows it, unseen",
        "give the closing sight, or the mark's height in config/control.csv",
        row=row,
    )


def _sum_slip(source: Source, name: str, stated: float, apart: float, row: int) -> Fault:
    return source.suspicion(
        "book_sum_slip",
        f"the book has {stated:.3f} m for '{name}'; its readings give {stated - apart:.3f} m",
        "heights that follow from the readings",
        "either a sum or a reading is wrong; the reading is taken",
        BOOK,
        row=row,
    )


def _mark_off(source: Source, name: str, size: float, row: int, at: tuple[float, float]) -> Fault:
    return source.suspicion(
        "check_sight_off",
        f"mark '{name}' comes out {abs(size):.3f} m too {'high' if size > 0 else 'low'}",
        "agreement within what the sds let expect",
        "heights near it may be wrong as well",
        "look up the reading, and the mark's height in config/control.csv",
        row=row,
        at=at,
    )


def _millimetres(source: Source, reading: float, row: int) -> Fault:
    return source.fault(
        "staff_in_millimetres",
        f"staff readings such as {reading:g}",
        "metres",
        "heights would be off by hundreds of metres",
        "divide the readings by 1000 (millimetres) or by 100 (centimetres) in a copy",
        row=row,
    )


def _too_long(source: Source, name: str, reading: float, row: int) -> Fault:
    return source.fault(
        "staff_reading",
        f"a staff reading of {reading:g} m at '{name}'",
        f"up to {LONGEST_STAFF_M:g} m, less than 0 for a staff held upside down",
        ALL_FOLLOWING,
        BOOK,
        row=row,
    )


def _no_sight(source: Source, name: str, row: int) -> Fault:
    return source.fault(
        "sight_missing",
        f"no reading at '{name}'",
        "a back-sight, an intermediate sight or a fore-sight in every row",
        "the point would have no height",
        BOOK,
        row=row,
    )


def _sight_missing(source: Source, name: str, row: int) -> Fault:
    return source.fault(
        "sight_missing",
        f"the run breaks off at '{name}': the sight before it, or its own, is missing",
        "a back-sight first; then intermediate sights, and turning points with a fore-sight and "
        "the next back-sight in one row",
        "nothing that follows would have a height",
        BOOK,
        row=row,
    )


def _mixed(source: Source, name: str, row: int) -> Fault:
    return source.fault(
        "sights_mixed",
        f"an intermediate sight at '{name}' beside a back-sight or fore-sight",
        "an intermediate sight alone in its row",
        "it can't be told by which reading the run goes on",
        "write a turning point's first reading as a fore-sight; keep other readings in rows of "
        "their own",
        row=row,
    )


def _half_place(source: Source, name: str, row: int) -> Fault:
    return source.fault(
        "half_place",
        f"one of easting and northing at '{name}'",
        "both, or none for points that are not to be placed",
        "the point could not be placed",
        "write the other, or take it out",
        row=row,
    )


def _no_place(source: Source, name: str, row: int) -> Fault:
    return source.suspicion(
        "place_missing",
        f"no place for '{name}'",
        "easting and northing of every point of an intermediate sight, or a mark's name",
        "it is left out",
        "write its place into columns 'easting' and 'northing'",
        row=row,
    )


def _no_height(source: Source, name: str, row: int, at: tuple[float, float]) -> Fault:
    return source.fault(
        "mark_without_height",
        f"the run starts at mark '{name}', which has no height",
        "a mark with a height in config/control.csv",
        "nothing on the run would have a height",
        "write the mark's height, or start from another",
        row=row,
        at=at,
    )
