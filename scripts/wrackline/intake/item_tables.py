"""Tables of points with attributes: floor points, probes, finds and features.

A row that lacks a place or a height is left out and named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.intake.rows import Rows, column_of, numbers_in, read_rows
from wrackline.intake.slips import as_number
from wrackline.verdict import Problems, Source

PLACE = ("easting", "northing", "vertical")


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
    rows : Rows
        The whole table, with the rows that lack a number.
    """

    cells: pd.DataFrame
    xyz: npt.NDArray[np.float64]
    row: npt.NDArray[np.int64]
    seen: int
    rows: Rows


def read_point_table(source: Source, problems: Problems) -> PointTable | None:
    """Return the points of a table, or None with a fault.

    Where the survey's vertical meaning is 'none', heights are NaN and no such column is needed.
    """
    columns = source.survey.columns
    if not columns.header:
        problems.add(_no_header(source))
        return None
    rows = read_rows(source, problems)
    if rows is None:
        return None
    flat = source.survey.vertical.meaning == "none"
    names = {role: getattr(columns, role) for role in PLACE if not (flat and role == "vertical")}
    places = {role: column_of(source, rows, name, problems) for role, name in names.items()}
    xyz = np.full((len(rows.cells), len(PLACE)), np.nan)
    good = np.ones(len(rows.cells), dtype=bool)
    for role, place in places.items():
        if place is None:
            return None
        texts = [cells[place] for cells in rows.cells]
        values = numbers_in(source, texts, rows.row, role, problems)
        xyz[:, PLACE.index(role)] = values
        bare = [_is_bare(source, text) for text in texts]
        for row in rows.row[good & np.array(bare, dtype=bool) & np.isnan(values)]:
            problems.add(_empty(source, int(row), role))
        good &= np.isfinite(values)
    kept = [rows.cells[k] for k in np.flatnonzero(good)]
    cells = pd.DataFrame(kept, columns=[name.lower() for name in rows.names], dtype=str)
    return PointTable(cells, xyz[good], rows.row[good], len(rows.cells), rows)


def _is_bare(source: Source, text: str) -> bool:
    """Tell whether a cell is empty or stands for a missing value."""
    columns = source.survey.columns
    marked = text in columns.no_value or bool(np.isfinite(as_number(text, columns.decimal)))
    return text == "" or marked


def _no_header(source: Source) -> Fault:
    return source.fault(
        "no_header",
        "a table read without column names",
        "a first row of column names, and columns.header: true",
        "attributes could not be told apart",
        "write the column names into the file's first row",
        row=1,
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
