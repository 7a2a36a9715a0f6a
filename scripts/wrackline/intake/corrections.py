"""Corrections of `config/corrections.csv`, put into what a file holds; none is lost unseen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.intake.slips import header_match
from wrackline.model import Correction
from wrackline.verdict import Problems, Source

Ints = npt.NDArray[np.int64]

SHAPES = ("geometry", "geom", "shape", "wkt")


def line_corrections(source: Source) -> dict[int, list[Correction]]:
    """Return the corrections to a survey's file by row, for readers of many lines.

    Such a reader compares `was` itself, and names with `refused` each that it could not apply.
    """
    found: dict[int, list[Correction]] = {}
    for correction in source.corrections:
        found.setdefault(correction.row, []).append(correction)
    return found


def apply(
    source: Source,
    names: Sequence[str],
    cells: list[list[str]],
    rows: Ints,
    problems: Problems,
) -> list[list[str]]:
    """Return a table's cells with its corrections put in; one that can't be is a fault.

    Parameters
    ----------
    source : Source
    names : sequence of str
        Column names.
    cells : list of list of str
        The rows, each as wide as `names`.
    rows : array of int, shape (n,)
        Row of the file that each stands in.
    problems : Problems
    """
    if not source.corrections:
        return cells
    at = {int(row): k for k, row in enumerate(rows)}
    mended = [list(row) for row in cells]
    for one in source.corrections:
        column = column_number(names, one.column)
        if one.row not in at:
            problems.add(refused(source, one, f"no row {one.row} in the table"))
        elif column is None:
            problems.add(refused(source, one, f"no column '{one.column}'"))
        elif mended[at[one.row]][column] != one.was:
            problems.add(_differs(source, one, mended[at[one.row]][column]))
        else:
            mended[at[one.row]][column] = one.becomes
    return mended


def column_number(names: Sequence[str], column: str) -> int | None:
    """Return the number, from 0, of a column given by its name or by its number from 1.

    >>> column_number(["easting", "Northing"], "northing"), column_number(["a", "b"], "2")
    (1, 1)
    >>> column_number(["a", "b"], "3") is None
    True
    """
    match = header_match(column, names)
    if match is not None and match.how in ("exact", "alike"):
        return match.place
    if column.isdecimal() and 1 <= int(column) <= len(names):
        return int(column) - 1
    return None


def apply_to_features(source: Source, cells: pd.DataFrame, problems: Problems) -> pd.DataFrame:
    """Return features' attributes with their corrections put in; one that can't be is a fault.

    Parameters
    ----------
    source : Source
    cells : DataFrame, n rows
        Attributes as OGR gives them; row numbers count features from 1.
    problems : Problems
    """
    mended = cells.copy()
    names = [str(name) for name in cells.columns]
    for one in source.corrections:
        column = column_number(names, one.column)
        if column is None and one.column.lower() in SHAPES:
            problems.add(refused(source, one, "a geometry, which no cell holds"))
        elif column is None:
            problems.add(refused(source, one, f"no attribute '{one.column}'"))
        elif one.row > len(mended):
            problems.add(refused(source, one, f"no feature {one.row} in the layer"))
        else:
            _put(source, mended, one, column, problems)
    return mended


def _put(
    source: Source, cells: pd.DataFrame, one: Correction, column: int, problems: Problems
) -> None:
    there = attribute_text(cells.iloc[one.row - 1, column])
    if there != one.was:
        problems.add(_differs(source, one, there))
        return
    name = cells.columns[column]
    values = cells.iloc[:, column].astype(object).tolist()
    values[one.row - 1] = one.becomes or None
    cells[name] = pd.Series(values, index=cells.index, dtype=object)


def attribute_text(value: Any) -> str:
    """Return an attribute as a text: whole numbers without a decimal point, nothing as ''.

    >>> attribute_text(7.0), attribute_text(None), attribute_text(" a ")
    ('7', '', 'a')
    """
    if pd.api.types.is_scalar(value) and pd.isna(value):
        return ""
    whole = isinstance(value, float) and value.is_integer()
    return str(int(value) if whole else value).strip()


def refused(source: Source, one: Correction, why: str) -> Fault:
    """Return the fault of a correction that can't be applied, with the reason as what was found."""
    return source.fault(
        "correction_refused",
        f"{why}, for the correction of '{one.column}' from '{one.was}' to '{one.becomes}'",
        "a row and a column that the file has, and cells alone",
        "the file would be read as it was, although a person decided otherwise",
        "mend the correction; a shape is mended in a copy of the drawing, named as a new file",
        row=one.row,
    )


def _differs(source: Source, one: Correction, there: str) -> Fault:
    return source.fault(
        "correction_refused",
        f"'{there}' in column '{one.column}', where the correction was to find '{one.was}'",
        "a cell that still holds what the correction's `was` says",
        f"'{one.becomes}' would be put in the place of a value that nobody looked at",
        "look at the file again: was it copied anew, sorted, or is the row another one?",
        row=one.row,
    )
