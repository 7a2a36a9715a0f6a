"""Text tables of points with attributes: floor points and features, every cell read as text first.

A row is cited by the line of the file at which it starts; the header is row 1.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.intake.tables import SEPARATORS
from wrackline.intake.texts import encoding_of
from wrackline.model import Columns
from wrackline.verdict import Problems, Source

PLACE = ("easting", "northing", "vertical")
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
NOT_NUMBER = float("nan")


@dataclass(frozen=True)
class PointTable:
    """A table's usable rows.

    Attributes
    ----------
    cells : DataFrame, n rows
        All columns as texts, named in lower case.
    xyz : array, shape (n, 3)
        Easting-like, northing-like and vertical numbers in the file's own sense.
    row : array of int, shape (n,)
        Where each row starts in the file.
    seen : int
        Rows in the file that are not blank.
    """

    cells: pd.DataFrame
    xyz: npt.NDArray[np.float64]
    row: npt.NDArray[np.int64]
    seen: int


def read_point_table(source: Source, problems: Problems) -> PointTable | None:
    """Return the points of a text table, or None with a fault."""
    encoding = encoding_of(source, problems)
    columns = source.survey.columns
    if encoding is None:
        return None
    if not columns.header:
        problems.add(_no_header(source))
        return None
    text = source.path.read_bytes().decode(encoding).replace("\r\n", "\n").replace("\r", "\n")
    lines = _lines(source, text, problems)
    if not lines:
        if not problems.fatal:
            problems.add(_blank(source))
        return None
    names = [name.strip() for name in lines[0][1]]
    places = [_place(source, role, names, problems) for role in PLACE]
    if problems.fatal:
        return None
    body = [(row, _fitted(source, row, cells, len(names), problems)) for row, cells in lines[1:]]
    read = {row: _numbers(source, row, [cells[k] for k in places], problems) for row, cells in body}
    used = [(row, cells) for row, cells in body if read[row] is not None]
    return PointTable(
        cells=pd.DataFrame([c for _, c in used], columns=[n.lower() for n in names], dtype=str),
        xyz=np.array([read[row] for row, _ in used], dtype=float).reshape(-1, 3),
        row=np.array([row for row, _ in used], dtype=np.int64),
        seen=len(body),
    )


def _lines(source: Source, text: str, problems: Problems) -> list[tuple[int, list[str]]]:
    """Return the rows that are not blank, each with the line at which it starts."""
    rows, start = [], 1
    try:
        for cells, last in _split(text, source.survey.columns):
            if any(cell.strip() for cell in cells):
                rows.append((start, cells))
                if last > start:
                    problems.add(_over_lines(source, start, last))
            start = last + 1
    except csv.Error as slip:
        problems.add(_quotes(source, start, slip))
        return []
    return rows


def _split(text: str, columns: Columns) -> Iterator[tuple[list[str], int]]:
    """Yield the cells of each row and the line at which it ends."""
    if columns.separator == "space":
        for number, line in enumerate(text.split("\n"), start=1):
            yield line.split(), number
        return
    mark = SEPARATORS[columns.separator]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    for cells in reader:
        yield cells, reader.line_num


def _place(source: Source, role: str, names: list[str], problems: Problems) -> int:
    """Return the number, from 0, of a column that the config names; -1 with a fault."""
    given = getattr(source.survey.columns, role)
    if isinstance(given, int) and 1 <= given <= len(names):
        return given - 1
    found = [k for k, name in enumerate(names) if name == str(given)]
    if len(found) == 1:
        return found[0]
    problems.add(_no_column(source, role, str(given), names))
    return -1


def _fitted(
    source: Source, row: int, cells: list[str], width: int, problems: Problems
) -> list[str]:
    """Return a row with as many cells as the header, one of another width named."""
    beyond = [cell for cell in cells[width:] if cell.strip()]
    if beyond:
        problems.add(_too_wide(source, row, beyond[0]))
    if len(cells) < width:
        problems.add(_too_short(source, row, len(cells), width))
    return [cell.strip() for cell in (cells + [""] * width)[:width]]


def _numbers(source: Source, row: int, texts: list[str], problems: Problems) -> list[float] | None:
    """Return the three numbers of a row, or None, said why, where one is missing or none."""
    columns = source.survey.columns
    values = []
    for role, text in zip(PLACE, texts, strict=True):
        if text == "" or text in columns.no_value:
            problems.add(_empty(source, row, role))
            return None
        value = as_number(text, columns.decimal)
        if not np.isfinite(value):
            problems.add(_no_number(source, row, role, text))
            return None
        values.append(value)
    return values


def as_number(text: str, decimal: str) -> float:
    """Return a text as a number, NaN where it is none.

    >>> as_number("-3,25", ","), as_number("1_000", "."), as_number("inf", ".")
    (-3.25, nan, nan)
    """
    if decimal != "." and "." in text:
        return NOT_NUMBER
    plain = text.replace(decimal, ".")
    return float(plain) if NUMBER.fullmatch(plain) else NOT_NUMBER


def _no_header(source: Source) -> Fault:
    return source.fault(
        "no_header",
        "a table read without column names",
        "a first row of column names, and columns.header: true",
        "attributes could not be told apart",
        "write the column names into the file's first row",
        row=1,
    )


def _blank(source: Source) -> Fault:
    return source.fault(
        "no_rows",
        "a file of blank lines",
        "a first row of column names, and at least one row",
        "the survey would be missing from the record",
        "copy the file anew from the instrument or the archive",
    )


def _no_column(source: Source, role: str, name: str, names: list[str]) -> Fault:
    twice = names.count(name) > 1
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.4)
    hint = f"did you mean '{near[0]}'? " if near else ""
    return source.fault(
        "column_twice" if twice else "column_missing",
        f"{'two columns' if twice else 'no column'} '{name}' for {role}",
        f"one of the file's columns: {', '.join(names[:12]) or 'none'}",
        f"the {role} of every row would be unknown",
        "give the column's number, from 1, instead of its name"
        if twice
        else f"{hint}write it under columns.{role}, or mend columns.separator",
        row=1,
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


def _too_wide(source: Source, row: int, beyond: str) -> Fault:
    return source.fault(
        "row_too_wide",
        f"more cells than the first row has, '{beyond}' beyond its last",
        "as many cells in each row as in the first",
        "numbers could be read from the wrong column (a decimal comma?)",
        "mend the row, or columns.separator and columns.decimal",
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


def _empty(source: Source, row: int, role: str) -> Fault:
    return source.suspicion(
        "empty_cell",
        f"no value as {role}",
        "a number",
        "the row is left out",
        "fill the cell in, or leave it: the rows are counted here",
        row=row,
    )


def _no_number(source: Source, row: int, role: str, text: str) -> Fault:
    decimal = source.survey.columns.decimal
    return source.fault(
        "no_number",
        f"'{text[:40]}' as {role}",
        f"a finite number with decimal '{decimal}', without unit",
        "the point would have no place or no height",
        "mend the cell; if it stands for a missing value, list it in columns.no_value",
        row=row,
    )
