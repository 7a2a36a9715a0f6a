"""What a spreadsheet makes of the cells of a register: read right, or named, never misread.

Numbers and days come in many forms once a spreadsheet has had them. Forms with one meaning are
brought to the one that registers are written in; a form with two meanings, or one in which digits
were lost, is a slip. Which forms spreadsheets write is common practice, no source. Only light
modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

import datetime as dt
import re
import types
import typing
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel

Kind = Literal["number", "whole", "day", "choice", "text"]

NAMES = ("point", "line", "other_line", "number", "phase_from", "phase_to")
"""Columns of names, which a spreadsheet may take for days: 3-4 becomes 04-Mar."""

_ERRORS = re.compile(
    r"#(REF|NAME|VALUE|DIV/0|N/A|NUM|NULL|SPILL|BEZUG|WERT|NOM|VALEUR)[!?]?|Err:\d+|#{3,}", re.I
)
_FORMULA = re.compile(r"=\s*(\$?[A-Z]{1,3}\$?\d+|[A-Z.]+\()")
_GROUPED = re.compile(r"[-+]?\d{1,3}([ \u00a0\u2009\u202f'\u2019]\d{3})+([.,]\d+)?")
_PLAIN = re.compile(r"[-+]?\d*[.,]?\d*")
_POWER = re.compile(r"[-+]?\d+[.,]?(\d*)[eE]\+?(\d+)")
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})([ T]00:00(:00(\.0+)?)?)?|\d{8}")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.]) ?(\d{1,2})\2 ?(\d{2}|\d{4})")
_WITH_NAME = re.compile(r"(\d{1,2})\.?[- ]([A-Za-z]{3,9})\.?[- ](\d{4})")
_SHORT_MONTHS = (
    "jan feb mar apr may jun jul aug sept? oct nov dec mrz mär mai okt dez janv févr mars avr juin "
    "juil août déc ene abr ago dic gen mag giu lug set ott mrt mei fev out"
)
"""Months as spreadsheets shorten them in seven languages of Europe; from memory."""
_MONTH = rf"(?:{_SHORT_MONTHS.replace(' ', '|')})\.?"
_MADE_DAY = re.compile(
    rf"\d{{1,2}}\.?[- /]{_MONTH}|{_MONTH}[- /]\d{{1,2}}"
    r"|\d{1,2}[-/.]\d{1,2}[-/.]\d{4}|\d{4}-\d{2}-\d{2}( 00:00(:00)?)?",
    re.IGNORECASE,
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_SERIAL = range(15_000, 80_000)
"""Day numbers of a spreadsheet from 1941 to 2119."""


class CellError(Exception):
    """A cell with two meanings, or with none any more; says what was found and what to do."""

    def __init__(self, found: str, remedy: str) -> None:
        super().__init__(found)
        self.found, self.remedy = found, remedy


@dataclass(frozen=True)
class Column:
    """What a column of a register holds: its name, its kind, and the words of a choice."""

    name: str
    kind: Kind
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Marks:
    """Which decimal marks the numbers of a register prove to be in use."""

    comma: bool = False
    point: bool = False


def columns_of(model: type[BaseModel]) -> dict[str, Column]:
    """Return what each column of a register holds, by name.

    Parameters
    ----------
    model : type
        What a row is read into.
    """
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    return {name: _column(name, field.annotation) for name, field in fields.items()}


def marks_in(cells: Iterable[str]) -> Marks:
    """Return which decimal marks are proven by numbers that can be read in one way alone.

    Parameters
    ----------
    cells : iterable of str
        All cells of columns of numbers.

    Examples
    --------
    >>> marks_in(["324432,1", "324,432", "12"])
    Marks(comma=True, point=False)
    """
    found = {_proof(cell) for cell in cells}
    return Marks("," in found, "." in found)


def mended(cell: str, column: Column, marks: Marks) -> str:
    """Return a cell in the form that registers are written in; what no form explains stays.

    Parameters
    ----------
    cell : str
        Not empty, without blanks around it.
    column : Column
        The column that it stands in.
    marks : Marks
        Of all numbers of the register.

    Raises
    ------
    CellError
        When the cell has two meanings, or has lost what it said.

    Examples
    --------
    >>> mended("4 207 624,5", Column("northing", "number"), Marks())
    '4207624.5'
    >>> mended("25/07/2031", Column("when", "day"), Marks())
    '2031-07-25'
    """
    _not_broken(cell)
    if column.kind == "number":
        return _number(cell, marks)
    if column.kind == "whole":
        return re.sub(r"[ \u00a0\u2009\u202f'\u2019]|,(?=\d{3}(\D|$))", "", cell)
    if column.kind == "day":
        return _day(cell)
    if column.kind == "choice":
        return {word.casefold(): word for word in column.choices}.get(cell.casefold(), cell)
    if column.name in NAMES and _MADE_DAY.fullmatch(cell):
        raise CellError(
            f"'{cell}', a day, as a spreadsheet makes of names such as 3-4",
            "write the name again, in a column set to text; names with a letter in front are safe",
        )
    return cell


def _column(name: str, annotation: Any) -> Column:
    """Return what a field's type says of its cells, None and bounds aside."""
    parts = typing.get_args(annotation)
    if typing.get_origin(annotation) is typing.Annotated:
        return _column(name, parts[0])
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        return _column(name, next(part for part in parts if part is not type(None)))
    if typing.get_origin(annotation) is typing.Literal:
        return Column(name, "choice", parts)
    kinds: Mapping[Any, Kind] = {float: "number", int: "whole", dt.date: "day"}
    return Column(name, kinds.get(annotation, "text"))


def _not_broken(cell: str) -> None:
    """Refuse what a spreadsheet writes in place of a value that it has no more."""
    if _ERRORS.fullmatch(cell):
        raise CellError(f"'{cell}', a spreadsheet's error", "write the value that was meant")
    if _FORMULA.match(cell):
        raise CellError(f"the formula '{cell}'", "write its value")
    if "\ufffd" in cell:
        raise CellError(f"letters that were lost: '{cell}'", "write them again, save as UTF-8")
    if not cell.isascii() and (meant := _twice_encoded(cell)) is not None:
        raise CellError(
            f"'{cell}', which is '{meant}' once taken for Windows-1252",
            f"write '{meant}'; open the file as UTF-8 next time",
        )


def _twice_encoded(cell: str) -> str | None:
    """Return what a cell said before its UTF-8 was taken for Windows-1252; None if it wasn't.

    >>> _twice_encoded("BjÃ¸rn"), _twice_encoded("Bjørn")
    ('Bjørn', None)
    """
    try:
        meant = cell.encode("cp1252").decode("utf-8")
    except (UnicodeEncodeError, UnicodeDecodeError):
        return None
    return meant if meant != cell else None


def _number(cell: str, marks: Marks) -> str:
    bare = cell.replace("\u2212", "-")
    if _GROUPED.fullmatch(bare):
        bare = re.sub(r"[ \u00a0\u2009\u202f'\u2019]", "", bare)
    power = _POWER.fullmatch(bare)
    if power and len(power[1]) < int(power[2]):
        raise CellError(
            f"'{cell}', a number of which a spreadsheet kept the first digits alone",
            "write all of its digits; widen the column before saving",
        )
    if "," in bare and "." in bare:
        decimal = max(",.", key=bare.rfind)
        group = "," if decimal == "." else "."
        whole, _, rest = bare.rpartition(decimal)
        return f"{_ungrouped(whole, group)}.{rest}" if _is_grouped(whole, group) else cell
    mark = "," if "," in bare else "."
    if bare.count(mark) > 1:
        return _ungrouped(bare, mark) if _is_grouped(bare, mark) else cell
    if not _PLAIN.fullmatch(bare) or mark not in bare:
        return bare
    return bare.replace(",", ".") if _is_decimal(bare, mark, marks) else bare.replace(mark, "")


def _is_decimal(bare: str, mark: str, marks: Marks) -> bool:
    """Tell whether the one comma or point of a number is its decimal mark, or refuse to guess."""
    if not _is_grouped(bare, mark) or (mark == "." and not marks.comma):
        return True  # a point is one unless the register writes commas
    if mark == "," and marks.comma != marks.point:
        return marks.comma
    whole, _, rest = bare.partition(mark)
    raise CellError(
        f"'{bare}', which is {whole}.{rest} or {whole}{rest}",
        "write it with a decimal point and nothing between the thousands",
    )


def _is_grouped(number: str, mark: str) -> bool:
    """Tell whether a number's thousands may be parted by a mark: by every one of them, or none."""
    return re.fullmatch(rf"[-+]?[1-9]\d{{0,2}}(\{mark}\d{{3}})*|[-+]?\d+", number) is not None


def _ungrouped(number: str, mark: str) -> str:
    return number.replace(mark, "")


def _proof(cell: str) -> str | None:
    """Return the decimal mark that a number proves, if it does."""
    if "," in cell and "." in cell:
        return max(",.", key=cell.rfind)
    for mark in ",.":
        if cell.count(mark) == 1 and _PLAIN.fullmatch(cell) and not _is_grouped(cell, mark):
            return mark
    return None


def _day(cell: str) -> str:
    """Return a day as year-month-day where a form has one meaning; what is no form stays."""
    first = _YEAR_FIRST.fullmatch(cell)
    if first and first[1]:
        return f"{first[1]}-{int(first[2]):02d}-{int(first[3]):02d}"
    if first:
        return f"{cell[:4]}-{cell[4:6]}-{cell[6:]}"
    named = _WITH_NAME.fullmatch(cell)
    if named and named[2][:3].casefold() in _MONTHS:
        month = _MONTHS.index(named[2][:3].casefold()) + 1
        return f"{named[3]}-{month:02d}-{int(named[1]):02d}"
    last = _YEAR_LAST.fullmatch(cell)
    if last:
        return _turned_day(cell, int(last[1]), last[2], int(last[3]), last[4])
    if re.fullmatch(r"\d+([.,]\d+)?", cell):
        raise CellError(*_day_number(cell))
    return cell


def _turned_day(cell: str, one: int, mark: str, two: int, year: str) -> str:
    """Return a day whose year stands last; with points the day is first in all countries."""
    if len(year) == 2:
        raise CellError(f"'{cell}', a year of two digits", "write the day as 2031-06-09")
    if mark == "." or one > 12 or one == two:
        return f"{year}-{two:02d}-{one:02d}"
    if two > 12:
        return f"{year}-{one:02d}-{two:02d}"
    raise CellError(
        f"'{cell}', which is {year}-{two:02d}-{one:02d} or {year}-{one:02d}-{two:02d}",
        "write it as year-month-day, in a column set to text",
    )


def _day_number(cell: str) -> tuple[str, str]:
    number = int(re.split("[.,]", cell)[0])
    if number not in _SERIAL:
        return f"the number '{cell}'", "write the day as 2031-06-09"
    days = [
        start + dt.timedelta(days=number) for start in (dt.date(1899, 12, 30), dt.date(1904, 1, 1))
    ]
    return (
        f"'{cell}', a spreadsheet's number of a day: {days[0]}, or {days[1]} where it counts from "
        "1904",
        "write the day as 2031-06-09, in a column set to text",
    )
