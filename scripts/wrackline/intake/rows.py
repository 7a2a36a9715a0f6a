"""Rows of a table, text or spreadsheet, every cell as text, with what is wrong with it said.

A row is cited by the line of the file at which it starts, or the row of the sheet; the header of
a table without blank lines before it is row 1.
"""

from __future__ import annotations

import csv
import datetime as dt
import difflib
import importlib
import io
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.intake import corrections
from wrackline.intake import table_words as words
from wrackline.intake.slips import (
    DECIMAL_COMMA,
    MARKS,
    all_numbers,
    as_number,
    better_separator,
    header_match,
    looks_like_dms,
)
from wrackline.intake.texts import encoding_of
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Lines = list[tuple[int, list[str]]]

LARGEST_BYTES = 200_000_000
"""A spreadsheet that unpacks to more than this is no survey's table."""

LEAST_ROWS, LEAST_COLUMNS = 5, 3
"""Tables smaller than this don't show what belongs into which column."""

CONSISTENT, MOSTLY = 0.9, 0.7
"""Share of cells that makes a column one of numbers, and of rows that makes a table regular."""

LARGE = 100.0
"""Columns of numbers beyond this (coordinates) are told by their size as well."""

BROKEN = (zipfile.BadZipFile, zlib.error, KeyError, ValueError, TypeError, SyntaxError, EOFError)
"""What comes of a spreadsheet that is none, or that was cut short."""


@dataclass(frozen=True)
class Rows:
    """A table's rows.

    Attributes
    ----------
    names : list of str
        Column names; numbers from 1 where the config says that there is no header.
    cells : list of list of str
        The rows below the header, each as wide as it, corrections applied.
    row : array of int, shape (n,)
        Line of a text, or row of a sheet, at which each starts.
    """

    names: list[str]
    cells: list[list[str]]
    row: Ints


def read_rows(source: Source, problems: Problems) -> Rows | None:
    """Return the rows of a text table or spreadsheet that are not blank, or None with a fault.

    Parameters
    ----------
    source : Source
    problems : Problems
        Receives all that is wrong with the table as a whole, and corrections that don't fit.
    """
    sheet = source.path.suffix.lower() == ".xlsx"
    lines = _sheet(source, problems) if sheet else _text(source, problems)
    if lines is None:
        return None
    if not lines:
        problems.add(_blank(source))
        return None
    columns = source.survey.columns
    head = [name.strip() for name in lines[0][1]]
    if columns.header and all_numbers(head, columns.decimal):
        problems.add(words.header_missing(source, lines[0][0], head))
        return None
    names = head if columns.header else [str(k + 1) for k in range(len(head))]
    body = lines[1:] if columns.header else lines
    cells = [_fitted(source, row, texts, len(names), problems) for row, texts in body]
    row = np.array([row for row, _ in body], dtype=np.int64)
    cells = corrections.apply(source, names, cells, row, problems)
    return _unshifted(source, Rows(names, cells, row), problems)


def numbers_of(
    source: Source,
    rows: Rows,
    name: str | int,
    problems: Problems,
    *,
    needed: bool = True,
    aliases: Sequence[str] = (),
) -> Array:
    """Return a column as numbers, NaN where a cell is empty; a cell that is none is a fault.

    Parameters
    ----------
    source : Source
    rows : Rows
    name : str or int
        Column's name, or its number from 1.
    problems : Problems
    needed : bool
        Whether a missing column is a fault; if not, all values are NaN.
    aliases : sequence of str
        Further names that the column may go by.

    Returns
    -------
    array, shape (n,)
    """
    texts = texts_of(source, rows, name, problems, needed=needed, aliases=aliases)
    return numbers_in(source, texts, rows.row, str(name), problems)


def texts_of(
    source: Source,
    rows: Rows,
    name: str | int,
    problems: Problems,
    *,
    needed: bool = True,
    aliases: Sequence[str] = (),
) -> list[str]:
    """Return a column as texts, all empty where there is no such column; see `numbers_of`."""
    place = column_of(source, rows, name, problems, needed=needed, aliases=aliases)
    return [""] * len(rows.cells) if place is None else [cells[place] for cells in rows.cells]


def column_of(
    source: Source,
    rows: Rows,
    name: str | int,
    problems: Problems,
    *,
    needed: bool = True,
    aliases: Sequence[str] = (),
) -> int | None:
    """Return the number, from 0, of a column given by name or by number from 1, or None.

    A name matches whatever its case, blanks, marks and accents, and by what such columns are
    otherwise called, where one column alone does; a misspelling is a suspicion.
    """
    if isinstance(name, int) and 1 <= name <= len(rows.names):
        return name - 1
    match = header_match(str(name), rows.names, aliases)
    if match is not None:
        if match.how == "misspelt":
            problems.add(
                words.header_misspelt(source, str(name), rows.names[match.place], role=str(name))
            )
        return match.place
    if needed or rows.names.count(str(name)) > 1:
        problems.add(words.no_column(source, str(name), rows.names, role=str(name)))
    return None


def numbers_in(
    source: Source, texts: Sequence[str], row: Ints, name: str, problems: Problems
) -> Array:
    """Return texts as numbers, NaN where empty or a mark of no value; others are faults.

    Parameters
    ----------
    source : Source
    texts : sequence of str, length n
    row : array of int, shape (n,)
    name : str
        What they are, for the message.
    problems : Problems

    Returns
    -------
    array, shape (n,)
    """
    columns = source.survey.columns
    values = np.array([as_number(text, columns.decimal) for text in texts], dtype=float)
    marks = [as_number(mark, columns.decimal) for mark in columns.no_value]
    missing = np.array([text in columns.no_value for text in texts], dtype=bool)
    missing |= np.isin(values, np.array(marks, dtype=float))
    empty = np.array([text == "" for text in texts], dtype=bool)
    bad = ~empty & ~missing & ~np.isfinite(values)
    commas, angles = [], []
    for k in np.flatnonzero(bad).tolist():
        if columns.decimal == "." and DECIMAL_COMMA.fullmatch(texts[k]):
            commas.append(k)
        elif looks_like_dms(texts[k]):
            angles.append(k)
        else:
            problems.add(words.no_number(source, name, texts[k], int(row[k])))
    if commas:
        problems.add(
            words.decimal_comma(
                source, name, texts[commas[0]], int(row[commas[0]]), count=len(commas)
            )
        )
    if angles:
        k = angles[0]
        problems.add(words.dms_text(source, name, texts[k], int(row[k]), count=len(angles)))
    return np.where(missing | ~np.isfinite(values), np.nan, values)


def _text(source: Source, problems: Problems) -> Lines | None:
    """Return the rows of a text that are not blank, each with the line at which it starts."""
    encoding = encoding_of(source, problems)
    if encoding is None:
        return None
    text = source.path.read_bytes().decode(encoding).replace("\r\n", "\n").replace("\r", "\n")
    separator = source.survey.columns.separator
    first = [line for line in text[:100_000].split("\n")[:20] if line.strip()][:5]
    right = better_separator(first, separator)
    if right is not None:
        problems.add(words.wrong_separator(source, right))
        return None
    rows, start = [], 1
    try:
        for cells, last in _split(text, MARKS[separator]):
            if any(cell.strip() for cell in cells):
                rows.append((start, cells))
                if last > start:
                    problems.add(_over_lines(source, start, last))
            start = last + 1
    except csv.Error as slip:
        problems.add(_quotes(source, start, slip))
        return None
    return rows


def _split(text: str, mark: str | None) -> Iterator[tuple[list[str], int]]:
    """Yield the cells of each row and the line at which it ends."""
    if mark is None:
        for number, line in enumerate(text.split("\n"), start=1):
            yield line.split(), number
        return
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    for cells in reader:
        yield cells, reader.line_num


def _sheet(source: Source, problems: Problems) -> Lines | None:
    """Return the rows of a spreadsheet that are not blank, each with its number."""
    try:
        with zipfile.ZipFile(source.path) as packed:
            size = sum(part.file_size for part in packed.infolist())
        if size > LARGEST_BYTES:
            problems.add(_too_large(source, size))
            return None
        return _sheet_rows(source, problems)
    except BROKEN as slip:
        problems.add(_no_spreadsheet(source, slip))
        return None


def _sheet_rows(source: Source, problems: Problems) -> Lines | None:
    """Return a sheet's rows; formulas are not worked out, their stored values are taken."""
    openpyxl = importlib.import_module("openpyxl")  # few surveys are workbooks
    values = openpyxl.load_workbook(source.path, read_only=True, data_only=True)
    written = openpyxl.load_workbook(source.path, read_only=True, data_only=False)
    try:
        name = _sheet_name(source, values.sheetnames, problems)
        if name is None:
            return None
        for book in (values, written):
            book[name].reset_dimensions()
        stored = values[name].iter_rows(values_only=True)
        formulas = written[name].iter_rows(values_only=True)
        rows = []
        for number, (cells, raw) in enumerate(zip(stored, formulas, strict=False), start=1):
            for column, (value, formula) in enumerate(zip(cells, raw, strict=False), start=1):
                if value is None and isinstance(formula, str) and formula.startswith("="):
                    problems.add(_no_stored_value(source, number, column, formula))
            texts = [cell_text(value, source.survey.columns.decimal) for value in cells]
            if any(texts):
                rows.append((number, _trimmed(texts)))
        return rows
    finally:
        values.close()
        written.close()


def _trimmed(texts: list[str]) -> list[str]:
    """Return a row without the empty cells at its end."""
    last = max((k for k, text in enumerate(texts) if text), default=-1)
    return texts[: last + 1]


def _sheet_name(source: Source, names: list[str], problems: Problems) -> str | None:
    wanted = source.survey.layer
    if wanted is not None and wanted not in names:
        problems.add(_no_sheet(source, wanted, names))
        return None
    if wanted is None and len(names) != 1:
        problems.add(_which_sheet(source, names))
        return None
    return wanted or names[0]


def cell_text(value: object, decimal: str) -> str:
    """Return a spreadsheet's cell as text: dates as ISO 8601, numbers with the decimal mark.

    >>> cell_text(12.5, ","), cell_text(7.0, "."), cell_text(dt.datetime(2031, 6, 2), ".")
    ('12,5', '7', '2031-06-02')
    """
    if value is None:
        return ""
    if isinstance(value, float):
        return str(int(value) if value.is_integer() else value).replace(".", decimal)
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time()
        return value.date().isoformat() if midnight else value.isoformat(timespec="seconds")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value).strip()


def _fitted(
    source: Source, row: int, cells: list[str], width: int, problems: Problems
) -> list[str]:
    """Return a row with as many cells as the header, one of another width named."""
    beyond = [cell for cell in cells[width:] if cell.strip()]
    if beyond:
        problems.add(words.row_too_wide(source, row, beyond[0]))
    if len(cells) < width and source.path.suffix.lower() != ".xlsx":
        problems.add(_too_short(source, row, len(cells), width))
    return [cell.strip() for cell in (cells + [""] * width)[:width]]


def _unshifted(source: Source, rows: Rows, problems: Problems) -> Rows:
    """Return the table without rows that stand one column beside where they belong; name them."""
    if len(rows.cells) < LEAST_ROWS or len(rows.names) < LEAST_COLUMNS:
        return rows
    decimal = source.survey.columns.decimal
    texts = pd.DataFrame(rows.cells)
    values = texts.map(lambda text: as_number(text, decimal)).to_numpy(dtype=float)
    empty = (texts == "").to_numpy(dtype=bool)
    wrong = _misfits(values, empty, values, empty)
    told = (wrong >= 2) & (np.mean(wrong == 0) >= MOSTLY)
    shifted = np.zeros(len(rows.cells), dtype=bool)
    for step, side in ((1, "right"), (-1, "left")):
        moved, bare = np.roll(values[told], -step, axis=1), np.roll(empty[told], -step, axis=1)
        edge = -1 if step == 1 else 0
        open_end = empty[told][:, 0 if step == 1 else -1] | (step == 1)
        moved[:, edge], bare[:, edge] = np.nan, True
        fits = _misfits(moved, bare, values, empty, free=edge) == 0
        for k in np.flatnonzero(told)[fits & open_end & ~shifted[told]]:
            shifted[k] = True
            problems.add(_shifted(source, int(rows.row[k]), side, rows.cells[k]))
    kept = np.flatnonzero(~shifted)
    return Rows(rows.names, [rows.cells[k] for k in kept], rows.row[kept])


def _misfits(
    values: Array, empty: Flags, table: Array, bare: Flags, *, free: int | None = None
) -> Ints:
    """Return, for each row, in how many columns its cell is not what the table has there.

    Parameters
    ----------
    values, empty : array, shape (m, k)
        Numbers (NaN where none) and empty cells of the rows that are looked at.
    table, bare : array, shape (n, k)
        Those of the whole table.
    free : int, optional
        Column that isn't counted.
    """
    there = np.maximum((~bare).sum(axis=0), 1)
    share = np.isfinite(table).sum(axis=0) / there
    full = (~bare).mean(axis=0) >= CONSISTENT
    with np.errstate(all="ignore"):
        size = np.array(
            [np.median(np.abs(c[np.isfinite(c)])) if np.isfinite(c).any() else 0.0 for c in table.T]
        )
        ratio = np.abs(values) / size
    large = (size > LARGE) & (share >= CONSISTENT)
    number = np.isfinite(values)
    wrong = (share >= CONSISTENT) & ~number & ~empty
    wrong |= (share <= 1 - CONSISTENT) & number
    wrong |= full & empty
    wrong |= large & number & ~((ratio > 0.2) & (ratio < 5))
    if free is not None:
        wrong[:, free] = False
    return np.asarray(wrong.sum(axis=1), dtype=np.int64)


def _blank(source: Source) -> Fault:
    return source.fault(
        "no_rows",
        "a file of blank lines",
        "a first row of column names, and at least one row",
        "the survey would be missing from the record",
        "copy the file anew from the instrument or the archive",
    )


def _quotes(source: Source, row: int, slip: csv.Error) -> Fault:
    return source.fault(
        "quotes",
        f"a row that can't be taken apart: {slip}",
        "quotation marks in pairs, around whole cells",
        "rows would be swallowed into one cell",
        "take stray quotation marks out of the file",
        row=row,
    )


def _over_lines(source: Source, row: int, last: int) -> Fault:
    return source.suspicion(
        "cell_over_lines",
        f"a cell in quotation marks that runs on to row {last}",
        "cells of one line, or notes that are meant to have several",
        "if two quotation marks are strays, the rows between them are lost",
        "look at these rows; take stray quotation marks out",
        row=row,
    )


def _too_short(source: Source, row: int, count: int, width: int) -> Fault:
    return source.suspicion(
        "row_too_short",
        f"{count} cells where the first row has {width}",
        "as many cells in each row as in the first",
        "the cells that are missing are taken for empty",
        "fill the row up, if something was lost from it",
        row=row,
    )


def _shifted(source: Source, row: int, side: str, cells: list[str]) -> Fault:
    shown = " | ".join(cells[:6])
    return source.fault(
        "column_shifted",
        f"a row that stands one column too far to the {side}: {shown[:60]}",
        "every cell under its own column's name",
        "numbers would be read from the wrong columns",
        "put the missing cell in, or take the one too many out",
        row=row,
    )


def _too_large(source: Source, size: int) -> Fault:
    return source.fault(
        "unpacks_too_large",
        f"a spreadsheet that unpacks to {size / 1e6:.0f} MB",
        f"at most {LARGEST_BYTES / 1e6:.0f} MB",
        "unpacking it could fill the machine's memory",
        "export the one sheet that is needed as CSV",
    )


def _no_spreadsheet(source: Source, slip: Exception) -> Fault:
    return source.fault(
        "unreadable",
        f"no spreadsheet that can be opened: {type(slip).__name__}",
        "an XLSX workbook without a password",
        "the survey would be missing from the record",
        "take the password off, save it as XLSX anew, or export the sheet as CSV",
    )


def _no_stored_value(source: Source, row: int, column: int, formula: str) -> Fault:
    return source.fault(
        "formula_without_value",
        f"'{formula[:40]}' in column {column}, with no value stored beside it",
        "values; formulas are not worked out, what was stored with them is read",
        "the cell would be taken for empty",
        "open and save the file in a spreadsheet program, or paste the values in",
        row=row,
    )


def _no_sheet(source: Source, name: str, names: list[str]) -> Fault:
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
    return source.fault(
        "layer_missing",
        f"no sheet '{name}'",
        f"the workbook's sheets: {', '.join(names)}",
        "the survey would be missing from the record",
        f"did you mean '{near[0]}'? mend `layer`" if near else "mend `layer` in the config",
    )


def _which_sheet(source: Source, names: list[str]) -> Fault:
    return source.fault(
        "layer_unnamed",
        f"a workbook of {len(names)} sheets: {', '.join(names)}",
        "one sheet a survey, named where the workbook has several",
        "rows of one kind could be taken for another",
        "write `layer` in the season's config; several sheets are several surveys",
    )
