"""What is said of slips in tables, alike for soundings and for items: one message a kind."""

from __future__ import annotations

import difflib

from wrackline.errors import Fault
from wrackline.verdict import Source

SHOWN = 40
"""Characters of a cell that a message shows."""


def header_missing(source: Source, row: int, head: list[str]) -> Fault:
    """Say that the first row, which should hold names, holds numbers."""
    return source.fault(
        "header_missing",
        f"numbers alone in the first row: {', '.join(head[:4])}",
        "a first row of column names, or columns.header: false with columns by number",
        "the first point would be lost, and the columns could not be told apart",
        "write the column names into the file's first row, or set columns.header: false",
        row=row,
    )


def no_column(source: Source, wanted: str, names: list[str], *, role: str) -> Fault:
    """Say that a column isn't there, or stands twice; `role` is what it is wanted for."""
    twice = names.count(wanted) > 1
    plain = {other.lower(): other for other in names}
    near = difflib.get_close_matches(wanted.lower(), plain, n=1, cutoff=0.4)
    hint = f"did you mean '{plain[near[0]]}'? " if near else ""
    return source.fault(
        "column_twice" if twice else "column_missing",
        f"{'two columns' if twice else 'no column'} '{wanted}' for {role}",
        f"one of the file's columns: {', '.join(names[:12]) or 'none'}",
        f"the {role} of every row would be unknown",
        "give the column's number, from 1, instead of its name"
        if twice
        else f"{hint}write the right name under columns.{role}, or mend columns.separator",
        row=1,
    )


def header_misspelt(source: Source, wanted: str, there: str, *, role: str) -> Fault:
    """Say that a column was read whose name is nearly the wanted one."""
    return source.suspicion(
        "header_misspelt",
        f"a column '{there}', taken for '{wanted}' as {role}",
        f"a column named '{wanted}', or its right name under columns.{role}",
        f"another column would give a wrong {role}",
        f"write '{there}' under columns.{role} if it is the one, or mend the file's header",
        row=1,
    )


def wrong_separator(source: Source, right: str) -> Fault:
    """Say that another separator than the configured one takes the rows apart."""
    given = source.survey.columns.separator
    return source.fault(
        "wrong_separator",
        f"one cell a row by columns.separator '{given}'; '{right}' takes the rows apart",
        "the separator that the file has",
        "no column could be told from another",
        f"write columns.separator: {right}",
        row=1,
    )


def row_too_wide(source: Source, row: int, beyond: str) -> Fault:
    """Say that a row has more cells than the first."""
    return source.fault(
        "row_too_wide",
        f"more cells than the first row has, '{beyond[:SHOWN]}' beyond its last",
        "as many cells in each row as in the first",
        "numbers could be read from the wrong column (a decimal comma?)",
        "mend the row, or columns.separator and columns.decimal",
        row=row,
    )


def no_number(source: Source, role: str, text: str, row: int) -> Fault:
    """Say that a cell is no number."""
    return source.fault(
        "no_number",
        f"'{text[:SHOWN]}' as {role}",
        f"a finite number with decimal '{source.survey.columns.decimal}', without unit",
        "the row would lack a value that it needs",
        "mend the cell; if it stands for a missing value, list it in columns.no_value",
        row=row,
    )


def decimal_comma(source: Source, role: str, text: str, row: int, *, count: int) -> Fault:
    """Say that a column has decimal commas."""
    return source.fault(
        "decimal_comma",
        f"'{text[:SHOWN]}' as {role}, a decimal comma, in {count} rows",
        "numbers with a decimal point, as columns.decimal says",
        "the numbers can't be read, or a comma would be dropped and make them far too large",
        "write columns.decimal: ',' if the whole file has it; else mend the cells",
        row=row,
    )


def dms_text(source: Source, role: str, text: str, row: int, *, count: int) -> Fault:
    """Say that a column has degrees, minutes and seconds."""
    return source.fault(
        "dms_text",
        f"'{text[:SHOWN]}' as {role}, degrees and minutes as text, in {count} rows",
        "decimal degrees, or metres of a grid",
        "the rows would lack a value that they need",
        "export decimal degrees (degrees + minutes / 60 + seconds / 3600), west and south negative",
        row=row,
    )
