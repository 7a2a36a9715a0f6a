"""Tables of soundings: CSV, XYZ and other plain text, by the columns that the config names.

Line ends may be LF, CRLF or CR; cells are read as text first, so that every cell that is no
number is named with its row instead of becoming a gap.
"""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.intake.readings import Array, Reading
from wrackline.intake.texts import encoding_of, utc_seconds
from wrackline.model import Columns
from wrackline.verdict import Problems, Source

Flags = npt.NDArray[np.bool_]

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": r"\s+"}
ROLES = ("easting", "northing", "vertical", "time")
LINES = 500_000
"""Lines that are read and taken apart at a time."""


def read_table(source: Source, problems: Problems, *, lines: int = LINES) -> Iterator[Reading]:
    """Yield a survey's table in chunks; whatever is wrong goes to `problems`.

    Parameters
    ----------
    source : Source
    problems : Problems
    lines : int
        Lines a chunk.
    """
    columns = source.survey.columns
    encoding = encoding_of(source, problems)
    if encoding is None:
        return
    with source.path.open(encoding=encoding, newline=None) as stream:
        head = stream.readline()
        wanted = _wanted(source, _cells(head, columns), problems)
        if wanted is None:
            return
        row = 2
        if not columns.header:
            stream.seek(0)
            row = 1
        while block := list(islice(stream, lines)):
            yield _read_block(source, block, wanted, row=row, problems=problems)
            row += len(block)


@dataclass(frozen=True)
class Wanted:
    """Numbers, from 0, of the columns to read, by role; `width` is the table's own."""

    numbers: dict[str, int]
    width: int


def _cells(line: str, columns: Columns) -> list[str]:
    """Return the cells of one line, blanks around them taken off."""
    line = line.rstrip("\r\n")
    if columns.separator == "space":
        return line.split()
    return [cell.strip() for cell in next(csv.reader([line], delimiter=_sep(columns)), [])]


def _sep(columns: Columns) -> str:
    return SEPARATORS[columns.separator]


def _wanted(source: Source, head: list[str], problems: Problems) -> Wanted | None:
    """Return where the wanted columns are, or None when one is missing."""
    columns = source.survey.columns
    names = head if columns.header else [str(number) for number in range(1, len(head) + 1)]
    numbers: dict[str, int] = {}
    for role in ROLES:
        given = getattr(columns, role)
        if given is None:
            continue
        if isinstance(given, int):
            place = given - 1 if 1 <= given <= len(head) else None
        else:
            place = names.index(given) if names.count(given) == 1 else None
        if place is None:
            problems.add(_column_missing(source, role, str(given), names))
        else:
            numbers[role] = place
    complete = all(role in numbers for role in ROLES if getattr(columns, role) is not None)
    return Wanted(numbers, len(head)) if complete else None


def _column_missing(source: Source, role: str, given: str, names: list[str]) -> Fault:
    near = difflib.get_close_matches(given.lower(), [n.lower() for n in names], n=1, cutoff=0.4)
    right = next((n for n in names if near and n.lower() == near[0]), None)
    twice = names.count(given) > 1
    shown = ", ".join(names[:12]) or "none"
    if twice:
        remedy = "give the column's number, from 1, instead of its name"
    elif right:
        remedy = f"did you mean '{right}'? write it under columns.{role}"
    else:
        remedy = f"name the right column under columns.{role}, or mend columns.separator"
    return source.fault(
        "column_twice" if twice else "column_missing",
        f"{'two columns' if twice else 'no column'} '{given}' for {role}",
        f"one of the file's columns: {shown}",
        f"the {role} of every row would be unknown",
        remedy,
        row=1,
    )


def _read_block(
    source: Source, block: list[str], wanted: Wanted, *, row: int, problems: Problems
) -> Reading:
    """Return one block of lines as numbers; rows that can't be used are left out and named."""
    frame = _frame(source, block, wanted, row=row, problems=problems)
    rows = np.arange(row, row + len(frame), dtype=np.int64)
    cells = {role: frame[number].str.strip() for role, number in wanted.numbers.items()}
    blank = np.logical_and.reduce([text.eq("").to_numpy(dtype=bool) for text in cells.values()])
    good = ~blank & ~_too_wide(source, frame[wanted.width], rows, problems)
    values: dict[str, Array] = {}
    for role, texts in cells.items():
        if role == "time":
            values[role], usable = _times(source, texts, rows, good, problems=problems)
        else:
            values[role], usable = _numbers(source, role, texts, rows, good, problems=problems)
        good &= usable
    kept = {role: numbers[good] for role, numbers in values.items()}
    return Reading(
        kept["easting"],
        kept["northing"],
        kept["vertical"],
        rows[good],
        int((~blank).sum()),
        kept.get("time"),
    )


def _frame(
    source: Source, block: list[str], wanted: Wanted, *, row: int, problems: Problems
) -> pd.DataFrame:
    """Return the wanted columns of a block, and the one beyond the last, as texts."""
    columns = source.survey.columns
    lead = (" " if columns.separator == "space" else _sep(columns)).join("x" * (wanted.width + 1))
    try:
        frame = pd.read_csv(
            io.StringIO(lead + "\n" + "".join(block)),
            sep=_sep(columns),
            header=None,
            names=list(range(wanted.width + 1)),
            usecols=sorted({*wanted.numbers.values(), wanted.width}),
            dtype=str,
            keep_default_na=False,
            skip_blank_lines=False,
            index_col=False,
        ).iloc[1:]
    except pd.errors.ParserError:
        frame = None
    if frame is None or len(frame) != len(block):
        problems.add(_quotes(source, row, len(block)))
        empty = pd.Series([], dtype=str)
        return pd.DataFrame({number: empty for number in (*wanted.numbers.values(), wanted.width)})
    return frame.fillna("")


def _quotes(source: Source, row: int, count: int) -> Fault:
    return source.fault(
        "quotes",
        f"a quotation mark that is opened and not closed within its row, in rows {row} to "
        f"{row + count - 1}",
        "quotation marks in pairs, none across rows",
        "rows would be swallowed into one cell",
        "take stray quotation marks out of the file",
        row=row,
    )


def _too_wide(
    source: Source, beyond: pd.Series, rows: npt.NDArray[np.int64], problems: Problems
) -> Flags:
    """Name rows that have more cells than the table has columns."""
    wide = beyond.str.strip().ne("").to_numpy(dtype=bool)
    for at in np.flatnonzero(wide)[:1]:
        problems.add(
            source.fault(
                "row_too_wide",
                f"more cells than the first row has, '{beyond.iloc[at]}' beyond its last",
                "as many cells in each row as in the first",
                "numbers could be read from the wrong column (a decimal comma?)",
                "mend the row, or columns.separator and columns.decimal",
                row=int(rows[at]),
            ),
            int(wide.sum()) - 1,
        )
    return wide


def _numbers(
    source: Source,
    role: str,
    texts: pd.Series,
    rows: npt.NDArray[np.int64],
    good: Flags,
    *,
    problems: Problems,
) -> tuple[Array, Flags]:
    """Return a column as numbers and which rows of it can be used."""
    columns = source.survey.columns
    missing = texts.isin(columns.no_value).to_numpy(dtype=bool)
    plain = texts if columns.decimal == "." else texts.str.replace(",", ".", regex=False)
    values = pd.to_numeric(plain.mask(missing, ""), errors="coerce").to_numpy(dtype=float)
    marks = pd.to_numeric(pd.Series(columns.no_value, dtype=str), errors="coerce").dropna()
    missing = missing | np.isin(values, marks.to_numpy(dtype=float))
    empty = texts.eq("").to_numpy(dtype=bool) & good & ~missing
    bad = good & ~missing & ~empty & ~np.isfinite(values)
    _name_cells(source, role, texts, rows, bad, problems=problems)
    if empty.any():
        first = int(np.flatnonzero(empty)[0])
        problems.add(_empty_cells(source, role, int(rows[first])), int(empty.sum()) - 1)
    return values, good & np.isfinite(values) & ~missing


def _name_cells(
    source: Source,
    role: str,
    texts: pd.Series,
    rows: npt.NDArray[np.int64],
    bad: Flags,
    *,
    problems: Problems,
) -> None:
    """Name the cells that are no finite number: the first ones each, the rest as a count."""
    places = np.flatnonzero(bad)
    for at in places[:20]:
        rest = len(places) - 20 if at == places[min(19, len(places) - 1)] else 0
        problems.add(
            source.fault(
                "no_number",
                f"'{texts.iloc[at]}' as {role}",
                f"a finite number with decimal '{source.survey.columns.decimal}', without unit",
                "the row has no place or no height",
                "mend the cell; if it stands for a missing value, list it in columns.no_value",
                row=int(rows[at]),
            ),
            max(rest, 0),
        )


def _empty_cells(source: Source, role: str, row: int) -> Fault:
    return source.suspicion(
        "empty_cell",
        f"an empty cell as {role}",
        "a number; the row was left out",
        "the ground there is not covered by this sounding",
        "fill the cell in, or leave it: the rows are counted here",
        row=row,
    )


def _times(
    source: Source,
    texts: pd.Series,
    rows: npt.NDArray[np.int64],
    good: Flags,
    *,
    problems: Problems,
) -> tuple[Array, Flags]:
    """Return the times as UTC seconds and which rows of them can be used."""
    seconds = utc_seconds(texts, source.survey.vertical.time_utc_offset_h)
    bad = good & ~np.isfinite(seconds)
    for at in np.flatnonzero(bad)[:1]:
        problems.add(
            source.fault(
                "no_time",
                f"'{texts.iloc[at]}' as time",
                "date and time of day as ISO 8601, e.g. 2031-06-02T10:15:30",
                "the water's level at the time of the sounding is unknown",
                "mend the cell, or export the times as ISO 8601",
                row=int(rows[at]),
            ),
            int(bad.sum()) - 1,
        )
    return seconds, good & np.isfinite(seconds)
