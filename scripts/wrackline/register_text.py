"""From the bytes of a register to its rows of cells, whatever program saved it.

Reads nothing itself; `registers` hands it a file's content. What a spreadsheet changes in a CSV
file without loss (separator, byte order mark, UTF-16, a first line ``sep=;``, empty rows and
columns at the end, line breaks in cells) is undone here. What can't be undone is named with its
row. Only light modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

SEPARATORS = (",", ";", "\t")
_MARKED = ((codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_HINT = re.compile(r"\s*\"?sep=([,;\t])\"?\s*", re.IGNORECASE)
_BLANKS = " \t\u00a0\u202f\u2009\ufeff\u200b"
"""What stands beside a value and is none of it: no-break, narrow and zero-width blanks too."""


@dataclass(frozen=True)
class Row:
    """A row that is not blank: the line of the file at which it ends, and its cells."""

    line: int
    cells: list[str]


class UnreadableError(Exception):
    """A register's text can't be taken apart; says where, what was found and what to do."""

    def __init__(self, found: str, remedy: str, row: int | None = None) -> None:
        super().__init__(found)
        self.found, self.remedy, self.row = found, remedy, row


def rows_in(content: bytes, columns: Collection[str]) -> list[Row]:
    r"""Return the rows of a register that are not blank, the head first.

    Parameters
    ----------
    content : bytes
        The file, in UTF-8 or, with its mark, in UTF-16.
    columns : collection of str
        Names of the register's columns, by which the separator is told: it is the one that finds
        most of them in the head.

    Raises
    ------
    UnreadableError
        When the text is in no such encoding, or a quotation mark has no partner.

    Examples
    --------
    >>> rows_in(b"sep=;\r\nWho;Why\r\nA. Orr;bench, door\r\n;;\r\n", ["who", "why"])
    [Row(line=2, cells=['who', 'why']), Row(line=3, cells=['A. Orr', 'bench, door'])]
    """
    lines = _decoded(content).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    hint = _HINT.fullmatch(lines[0])
    separators = SEPARATORS if hint is None else (hint[1],)
    start = 0 if hint is None else 1
    head = next((line for line in lines[start:] if line.strip(_BLANKS + "".join(SEPARATORS))), "")
    separator = max(separators, key=lambda mark: len({*_names(head, mark)} & {*columns}))
    rows = list(_rows(lines, start, separator))
    names = [Row(row.line, [as_name(cell) for cell in row.cells]) for row in rows[:1]]
    return _same_width([*names, *rows[1:]])


def as_name(cell: str) -> str:
    """Return a column's name as registers write it.

    >>> as_name(" To Easting")
    'to_easting'
    """
    return re.sub(r"[\s-]+", "_", cell.strip(_BLANKS + '"').casefold())


def _decoded(content: bytes) -> str:
    encoding = next((name for mark, name in _MARKED if content.startswith(mark)), "utf-8-sig")
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as slip:
        raise _not_text(content, encoding, slip.start) from slip
    if "\0" in text:
        raise UnreadableError("bytes of 0 between the letters", "save it as CSV in UTF-8")
    return text


def _not_text(content: bytes, encoding: str, at: int) -> UnreadableError:
    """Name the first row with letters that are not in UTF-8, as they would read elsewhere."""
    if encoding == "utf-16":
        return UnreadableError("a text in UTF-16 that breaks off", "save it as CSV in UTF-8")
    row = content.count(b"\n", 0, at)
    parts = re.split(rb"[,;\t\r]", content.split(b"\n")[row])
    word = next(part for part in parts if not _is_utf8(part)).decode("cp1252", "replace")
    return UnreadableError(
        f"letters that are not in UTF-8; in Windows-1252 they would read '{word}'",
        "save it as 'CSV UTF-8'; in which alphabet it is, nothing in the file tells",
        row + 1,
    )


def _is_utf8(part: bytes) -> bool:
    try:
        part.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _names(head: str, separator: str) -> list[str]:
    return [as_name(cell) for cell in head.split(separator)]


def _rows(lines: Sequence[str], start: int, separator: str) -> Iterator[Row]:
    """Yield the rows from a line on; a quotation mark without partner ends the reading."""
    text = io.StringIO("\n".join(lines[start:]), newline="")
    reader = csv.reader(text, delimiter=separator, strict=True)
    first, width = start, 0
    while True:
        try:
            cells = next(reader, None)
        except csv.Error as slip:
            raise _unpaired(first + 1, str(slip)) from slip
        if cells is None:
            return
        last = start + reader.line_num
        whole = "\n".join(lines[first:last])
        swallowed = width > 1 and any(
            "\n" in cell and cell.count(separator) >= width - 1 for cell in cells
        )
        if whole.count('"') % 2 or swallowed:
            raise _unpaired(first + 1, f"{last - first} lines in one row" if swallowed else "")
        first, width = last, width or len(cells)
        trimmed = [_one_line(cell) for cell in cells]
        if any(trimmed):
            yield Row(last, trimmed)


def _one_line(cell: str) -> str:
    r"""Return a cell without blanks around it, a line break in it as one blank.

    >>> _one_line(" a bench,\n and a door\u00a0")
    'a bench, and a door'
    """
    return " ".join(part.strip(_BLANKS) for part in cell.split("\n")).strip(_BLANKS)


def _unpaired(row: int, detail: str) -> UnreadableError:
    return UnreadableError(
        "a quotation mark without a partner" + (f" ({detail})" if detail else ""),
        "pair the quotation marks; one that is part of a text is written twice, and the text put "
        "between two more",
        row,
    )


def _same_width(rows: list[Row]) -> list[Row]:
    """Return rows without columns of no name and no cell; rows of another width stay as they are.

    A spreadsheet writes all rows alike, the head too. A row alone that is wider has a separator
    too many somewhere, though its last cell be empty.
    """
    if not rows:
        return []
    head = rows[0].cells
    full = [row.cells for row in rows if len(row.cells) == len(head)]
    kept = [k for k, name in enumerate(head) if name or any(cells[k] for cells in full)]
    return [
        Row(row.line, [row.cells[k] for k in kept]) if len(row.cells) == len(head) else row
        for row in rows
    ]
