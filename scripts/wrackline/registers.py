"""The small registers under `config/`: marks, corrections, readings, numbers in print.

Reads only `control.csv`, `corrections.csv`, `interpretations.csv` and `numbers.csv`; writes
nothing. Every slip of every row is named. `plan_registers` reads its own in the same way. Only
light modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from wrackline.errors import ConfigError, Fault
from wrackline.model import ControlValue, Correction, GivenNumber, Interpretation
from wrackline.register_cells import CellError, Column, columns_of, marks_in, mended
from wrackline.register_text import Row as TextRow
from wrackline.register_text import UnreadableError, rows_in

CONTROL = Path("config/control.csv")
CORRECTIONS = Path("config/corrections.csv")
INTERPRETATIONS = Path("config/interpretations.csv")
NUMBERS = Path("config/numbers.csv")
SPREADSHEETS = (".xlsx", ".xls", ".ods", ".tsv", ".txt")
"""Endings under which a register is saved by mistake."""

Row = TypeVar("Row", bound=BaseModel)
Cells = Mapping[str, str]
"""A row's cells that are not empty, by column."""


@dataclass(frozen=True)
class Slip:
    """What a register's messages need: the file, and where in it."""

    file: Path
    row: int | None = None

    def fault(self, kind: str, found: str, allowed: str, consequence: str, remedy: str) -> Fault:
        """Return a fault of this place."""
        return Fault(kind, found, allowed, consequence, remedy, str(self.file), self.row)


def read_control(folder: Path, faults: list[Fault]) -> tuple[ControlValue, ...]:
    """Read the control marks of a site; no file, no marks.

    Parameters
    ----------
    folder : Path
        The site's folder.
    faults : list of Fault
        Receives every fault of every row.
    """
    rows = read_rows(folder, CONTROL, ControlValue, faults)
    for (_, one), (row, other) in combinations(rows, 2):
        if one.point == other.point and _overlap(one, other):
            faults.append(_twice(other, row))
    return tuple(value for _, value in rows)


def read_corrections(
    folder: Path, faults: list[Fault], *, files: Sequence[str]
) -> tuple[Correction, ...]:
    """Read the corrections to a site's raw files; no file, no corrections.

    Parameters
    ----------
    folder : Path
        The site's folder.
    faults : list of Fault
        Receives every fault of every row.
    files : sequence of str
        Raw files that the seasons name.
    """
    rows = read_rows(folder, CORRECTIONS, Correction, faults)
    seen: set[tuple[str, int, str]] = set()
    for row, correction in rows:
        if correction.file not in files:
            faults.append(_no_survey(correction, row, files))
        cell = (correction.file, correction.row, correction.column)
        if cell in seen:
            faults.append(_corrected_twice(correction, row))
        seen.add(cell)
    return tuple(correction for _, correction in rows)


def read_interpretations(folder: Path, faults: list[Fault]) -> tuple[Interpretation, ...]:
    """Read what people read the site's things as; no file, no readings.

    Parameters
    ----------
    folder : Path
        The site's folder.
    faults : list of Fault
        Receives every fault of every row.
    """
    return tuple(row for _, row in read_rows(folder, INTERPRETATIONS, Interpretation, faults))


def read_numbers(folder: Path, faults: list[Fault]) -> tuple[GivenNumber, ...]:
    """Read the numbers that stand in print; no file, none.

    Parameters
    ----------
    folder : Path
        The site's folder.
    faults : list of Fault
        Receives every fault of every row.
    """
    rows = read_rows(folder, NUMBERS, GivenNumber, faults)
    first: dict[tuple[str, str, str], int] = {}
    for row, given in rows:
        key = (given.series, given.what, given.number)
        if key in first:
            faults.append(_given_twice(given, row, first[key]))
        first.setdefault(key, row)
    return tuple(given for _, given in rows)


def given_numbers(folder: Path) -> tuple[GivenNumber, ...]:
    """Return the numbers that stand in print, for who can't go on with a faulty register.

    Raises
    ------
    ConfigError
        With every fault of every row.
    """
    faults: list[Fault] = []
    rows = read_numbers(folder, faults)
    if faults:
        raise ConfigError(faults)
    return rows


def _overlap(one: ControlValue, other: ControlValue) -> bool:
    starts = [value.from_date for value in (one, other) if value.from_date is not None]
    ends = [value.to_date for value in (one, other) if value.to_date is not None]
    return not starts or not ends or max(starts) <= min(ends)


def read_rows(
    folder: Path,
    name: Path,
    model: type[Row],
    faults: list[Fault],
    *,
    check: Callable[[Slip, Cells], Iterator[Fault]] | None = None,
) -> list[tuple[int, Row]]:
    """Return a register's rows with their numbers; no file, no rows.

    Parameters
    ----------
    folder : Path
        The site's folder.
    name : Path
        The register, relative to it.
    model : type
        What a row is read into.
    faults : list of Fault
        Receives every fault of every row.
    check : callable, optional
        Yields what is wrong with a row's cells beside what `model` finds; it is asked first, and
        of every row.
    """
    table = _table(folder, name, model, faults)
    if table is None:
        return []
    head = table[0].cells if table else []
    wrong = list(_header_faults(name, head, model))
    faults += wrong
    rows: list[tuple[int, Row]] = []
    for line, cells, broken in [] if wrong else _by_column(name, table, columns_of(model), faults):
        slip = Slip(name, line)
        if check is not None:
            faults += check(slip, cells)
        faults += [_broken(slip, key, cell) for key, cell in broken.items()]
        values = {key: cell for key, cell in cells.items() if key not in broken}
        try:
            row = model.model_validate(values)
        except ValidationError as problem:
            faults += [
                _bad(slip, error, values)
                for error in problem.errors()
                if not broken or (error["loc"] and error["loc"][0] not in broken)
            ]
        else:
            rows += [] if broken else [(line, row)]
    return rows


def _by_column(
    name: Path, table: Sequence[TextRow], columns: Mapping[str, Column], faults: list[Fault]
) -> Iterator[tuple[int, dict[str, str], dict[str, CellError]]]:
    """Yield each row's line, its cells that aren't empty as they are meant, and the broken ones."""
    head = table[0].cells
    fit = [row for row in table[1:] if len(row.cells) == len(head)]
    numbers = [k for k, key in enumerate(head) if columns[key].kind == "number"]
    marks = marks_in(row.cells[k] for row in fit for k in numbers)
    for row in table[1:]:
        if len(row.cells) != len(head):
            faults.append(_width(Slip(name, row.line), row.cells, len(head)))
            continue
        cells = {key: cell for key, cell in zip(head, row.cells, strict=True) if cell}
        broken: dict[str, CellError] = {}
        for key, cell in cells.items():
            try:
                cells[key] = mended(cell, columns[key], marks)
            except CellError as slip:
                broken[key] = slip
        yield row.line, cells, broken


def _table(
    folder: Path, name: Path, model: type[BaseModel], faults: list[Fault]
) -> list[TextRow] | None:
    """Return a file's rows with their numbers, or None where there is none or it can't be read."""
    file = folder / name
    if not file.exists():
        faults += [_elsewhere(name, other) for other in _saved_elsewhere(file)]
        return None
    try:
        return rows_in(file.read_bytes(), _names(model))
    except UnreadableError as slip:
        faults.append(_unreadable(Slip(name, slip.row), slip.found, slip.remedy))
    except OSError as problem:
        what = f"{type(problem).__name__}: {problem}"
        faults.append(_unreadable(Slip(name), what, "give leave to read it"))
    return None


def _saved_elsewhere(file: Path) -> list[Path]:
    """Return what a spreadsheet saved in a register's place, under another ending."""
    return [
        other
        for other in sorted(file.parent.glob(f"{file.stem}.*"))
        if other.suffix.lower() in SPREADSHEETS or other.name.lower().startswith(f"{file.name}.")
    ]


def _names(model: type[BaseModel]) -> dict[str, bool]:
    """Return a register's column names, each with whether it must be there."""
    return {field.alias or name: field.is_required() for name, field in model.model_fields.items()}


def _header_faults(name: Path, head: list[str], model: type[BaseModel]) -> Iterator[Fault]:
    names = _names(model)
    for column in sorted(set(head) - set(names)):
        near = difflib.get_close_matches(column, names, n=1, cutoff=0.4)
        yield Slip(name, 1).fault(
            "register_column",
            f"the column '{column}'",
            f"{', '.join(names)}",
            "what it says would be passed over, unseen",
            f"did you mean '{near[0]}'?" if near else "rename or remove it",
        )
    for column, needed in names.items():
        if head.count(column) > 1 or (needed and column not in head):
            yield Slip(name, 1).fault(
                "register_column",
                f"{'two columns' if column in head else 'no column'} '{column}'",
                f"the columns {', '.join(names)}, each once",
                "the register can't be read",
                "mend the first row; config/README.md explains every column",
            )


def _bad(slip: Slip, error: Any, values: dict[str, str]) -> Fault:
    column = str(error["loc"][0]) if error["loc"] else ""
    choices = re.findall(r"'([^']*)'", error.get("ctx", {}).get("expected", ""))
    near = nearest(values.get(column, ""), choices)
    given = f"{column}: '{values[column]}'" if column in values else f"no {column}"
    return slip.fault(
        "register_value",
        given if column else "a row that is not consistent",
        str(error["msg"]).removeprefix("Value error, "),
        "nothing is built, so that no product rests on a guess",
        f"did you mean '{near}'?"
        if near
        else "mend the cell; numbers with a decimal point and no unit, days as 2031-06-09",
    )


def nearest(word: str, right: Sequence[str]) -> str | None:
    """Return the right word nearest to a given one, capitals aside; none when all are far.

    >>> nearest("Abut", ["bonded", "abuts"])
    'abuts'
    >>> nearest("7", ["1", "2"]) is None
    True
    """
    by_folded = {name.casefold(): name for name in right}
    near = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.5)
    return by_folded[near[0]] if near else None


def _unreadable(slip: Slip, found: str, remedy: str) -> Fault:
    return slip.fault(
        "register_unreadable",
        found,
        "a CSV in UTF-8, separated by commas, semicolons or tabs",
        "the register can't be read",
        remedy,
    )


def _elsewhere(name: Path, other: Path) -> Fault:
    return Slip(name).fault(
        "register_elsewhere",
        f"no such file, but {other.name}",
        "the register as CSV, under its own name",
        "its rows would be passed over, unseen",
        f"save it as {name.name}, or take {other.name} out of config/",
    )


def _broken(slip: Slip, column: str, cell: CellError) -> Fault:
    return slip.fault(
        "register_value",
        f"{column}: {cell.found}",
        "numbers with a decimal point and no unit, days as 2031-06-09, texts as they were written",
        "nothing is built, so that no product rests on a guess",
        cell.remedy,
    )


def _width(slip: Slip, cells: Sequence[str], width: int) -> Fault:
    curly = any(mark in cell for cell in cells for mark in "\u201c\u201d\u201e\u00ab\u00bb")
    return slip.fault(
        "register_row",
        f"{len(cells)} cells",
        f"{width}, as many as the first row has",
        "values would be read in the wrong column",
        "straight quotation marks alone hold a text together: put them in place of the curly ones"
        if curly
        else "add or remove separators; put texts that hold one into quotation marks",
    )


def _twice(value: ControlValue, row: int) -> Fault:
    return Slip(CONTROL, row).fault(
        "control_twice",
        f"mark '{value.point}' with a second value for the same days",
        "one value a mark on any day",
        "it would be left to chance which of the two a survey rests on",
        "end the earlier value by to_date, and begin the later one by from_date",
    )


def _no_survey(correction: Correction, row: int, files: Sequence[str]) -> Fault:
    near = difflib.get_close_matches(correction.file, files, n=1, cutoff=0.5)
    return Slip(CORRECTIONS, row).fault(
        "correction_without_file",
        f"the file '{correction.file}'",
        "a file that a survey of the seasons names",
        "the correction would do nothing, unseen",
        f"did you mean '{near[0]}'?" if near else "mend the file's name, or take the row out",
    )


def _corrected_twice(correction: Correction, row: int) -> Fault:
    return Slip(CORRECTIONS, row).fault(
        "corrected_twice",
        f"a second correction of row {correction.row}, {correction.column}, in {correction.file}",
        "one correction a cell",
        "it would be left to chance which of the two counts",
        "keep the later one; its `was` is what stands in the raw file",
    )


def _given_twice(given: GivenNumber, row: int, first: int) -> Fault:
    whose = f"of the series '{given.series}'" if given.series else "of the record"
    return Slip(NUMBERS, row).fault(
        "number_twice",
        f"the {given.what} number '{given.number}' {whose}, which row {first} has too",
        "each number once in its series: a number in print is never given to a second thing",
        "it would be left to chance which of the two things bears it",
        "take one row out, or put the other into a series of its own",
    )
