"""Tables of soundings: CSV, XYZ and other plain text, by the columns that the config names.

Line ends may be LF, CRLF or CR; cells are read as text first, so that every cell that is no
number is named with its row instead of becoming a gap.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.intake import table_words as words
from wrackline.intake.corrections import column_number, line_corrections, refused
from wrackline.intake.readings import Array, Reading
from wrackline.intake.slips import (
    DECIMAL_COMMA,
    MARKS,
    all_numbers,
    as_number,
    better_separator,
    header_match,
    looks_like_dms,
    split_line,
)
from wrackline.intake.texts import MISSING, Clock, encoding_of
from wrackline.model import Columns, Correction
from wrackline.verdict import LISTED, Problems, Source

Flags = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

ROLES = ("easting", "northing", "vertical")
LINES = 500_000
"""Lines that are read and taken apart at a time."""
ASTRAY_SHARE = 0.1
"""Rows are told to be shifted or swapped only where they are fewer than this share of a block."""


@dataclass(frozen=True)
class Wanted:
    """Numbers, from 0, of the columns to read, by role; `width` is the table's own."""

    numbers: Mapping[str, tuple[int, ...]]
    names: list[str]

    @property
    def width(self) -> int:
        """Columns of the table."""
        return len(self.names)

    @property
    def all(self) -> list[int]:
        """Numbers of all wanted columns, sorted."""
        return sorted({number for numbers in self.numbers.values() for number in numbers})


@dataclass
class Tally:
    """What is counted over the whole table and said once: by kind and role, count and first."""

    found: dict[tuple[str, str], list[tuple[int, int, str]]] = field(default_factory=dict)

    def add(self, kind: str, role: str, rows: Ints, texts: list[str]) -> None:
        """Count cells of one kind in one block."""
        if len(rows):
            entry = (len(rows), int(rows[0]), texts[0])
            self.found.setdefault((kind, role), []).append(entry)

    def close(self, source: Source, problems: Problems) -> None:
        """Say what was counted."""
        for (kind, role), entries in self.found.items():
            count = sum(entry[0] for entry in entries)
            _, row, text = entries[0]
            if kind == "empty_cell":
                problems.add(_empty_cells(source, role, row, count))
            elif kind == "decimal_comma":
                problems.add(words.decimal_comma(source, role, text, row, count=count))
            elif kind == "dms_text":
                problems.add(words.dms_text(source, role, text, row, count=count))


@dataclass(frozen=True)
class Reader:
    """What is needed to read any block of one table."""

    source: Source
    problems: Problems
    wanted: Wanted
    clock: Clock
    tally: Tally


def read_table(source: Source, problems: Problems, *, lines: int = LINES) -> Iterator[Reading]:
    """Yield a survey's table in chunks; whatever is wrong goes to `problems`.

    Parameters
    ----------
    source : Source
    problems : Problems
    lines : int
        Lines a chunk.
    """
    encoding = encoding_of(source, problems)
    if encoding is None:
        return
    with source.path.open(encoding=encoding, newline=None) as stream:
        first = [line for line in islice(stream, 20) if line.strip()][:5]
        stream.seek(0)
        mending = line_corrections(source)
        columns = source.survey.columns
        head = stream.readline()
        names = _names(head, columns)
        row = 2 if columns.header else 1
        if columns.header:
            head = _mended(source, [head], 1, names, mending, problems)[0]
            names = _names(head, columns)
        else:
            stream.seek(0)
        wanted = _wanted(source, first, names, problems)
        if wanted is None:
            return
        reader = Reader(source, problems, wanted, Clock(source), Tally())
        while block := list(islice(stream, lines)):
            block = _mended(source, block, row, names, mending, problems)
            yield _read_block(reader, block, row)
            row += len(block)
    for left in (one for at in sorted(mending) for one in mending[at]):
        problems.add(refused(source, left, f"no row {left.row} in the table"))
    reader.tally.close(source, problems)
    reader.clock.close(problems)


def _names(head: str, columns: Columns) -> list[str]:
    """Return the first line's cells, or numbers from 1 where it is no header."""
    cells = split_line(head.rstrip("\r\n"), columns.separator)
    return cells if columns.header else [str(number) for number in range(1, len(cells) + 1)]


def _mended(
    source: Source,
    block: list[str],
    row: int,
    names: list[str],
    mending: dict[int, list[Correction]],
    problems: Problems,
) -> list[str]:
    """Return lines with the corrections to them put in, which are taken out of `mending`."""
    mine = [at for at in mending if row <= at < row + len(block)]
    for at in mine:
        cells = split_line(block[at - row].rstrip("\r\n"), source.survey.columns.separator)
        for one in mending.pop(at):
            place = column_number(names, one.column)
            there = cells[place] if place is not None and place < len(cells) else None
            if place is None:
                problems.add(refused(source, one, f"no column '{one.column}'"))
            elif there != one.was:
                problems.add(refused(source, one, f"'{there or ''}' in the cell"))
            else:
                cells[place] = one.becomes
        block[at - row] = _line(cells, source.survey.columns)
    return block


def _line(cells: list[str], columns: Columns) -> str:
    mark = MARKS[columns.separator]
    if mark is None:
        return " ".join(cells) + "\n"
    out = io.StringIO()
    csv.writer(out, delimiter=mark, lineterminator="\n").writerow(cells)
    return out.getvalue()


def _wanted(
    source: Source, first: list[str], names: list[str], problems: Problems
) -> Wanted | None:
    """Return where the wanted columns are, or None, with a fault, when one is missing."""
    columns = source.survey.columns
    right = better_separator(first, columns.separator)
    if right is not None:
        problems.add(words.wrong_separator(source, right))
        return None
    if columns.header and _no_header(names, columns):
        problems.add(words.header_missing(source, 1, names))
        return None
    given = {role: getattr(columns, role) for role in (*ROLES, "time")}
    numbers: dict[str, tuple[int, ...]] = {}
    for role, name in given.items():
        parts = _parts(name, names)
        places = [_place(source, role, part, names, problems) for part in parts]
        found = tuple(place for place in places if place is not None)
        if parts and len(found) == len(parts):
            numbers[role] = found
    if any(name is not None and role not in numbers for role, name in given.items()):
        return None
    chosen = [numbers[role][0] for role in ROLES]
    if not columns.header and _is_header(source, first, chosen):
        problems.add(_header_unread(source, first[0]))
        return None
    return Wanted(numbers, names)


def _no_header(names: list[str], columns: Columns) -> bool:
    """Tell whether a first row is numbers alone, or numbers with a time or the like among them."""
    there = [name for name in names if name]
    figures = [name for name in there if columns.decimal in name]
    measured = sum(bool(np.isfinite(as_number(name, columns.decimal))) for name in figures)
    return all_numbers(names, columns.decimal) or (
        measured > 1 and all(name[0].isdigit() or name[0] in "+-" for name in there)
    )


def _parts(given: str | int | None, names: list[str]) -> list[str | int]:
    """Return the columns that a role is spread over: 'year month day' is three."""
    if given is None:
        return []
    if isinstance(given, int) or given in names:
        return [given]
    return list(given.split()) if header_match(given, names) is None else [given]


def _is_header(source: Source, first: list[str], chosen: list[int]) -> bool:
    """Tell whether the first line names columns, although the config says that it doesn't."""
    columns = source.survey.columns
    if len(first) < 2:
        return False
    rows = [split_line(line.rstrip("\r\n"), columns.separator) for line in first[:2]]
    told = [
        [as_number(row[k], columns.decimal) for k in chosen] if max(chosen) < len(row) else []
        for row in rows
    ]
    words = all(any(c.isalpha() for c in rows[0][k]) for k in chosen if k < len(rows[0]))
    return words and bool(np.isnan(told[0]).all()) and bool(np.isfinite(told[1]).all())


def _place(
    source: Source, role: str, given: str | int, names: list[str], problems: Problems
) -> int | None:
    """Return the number, from 0, of one column, or None with a fault."""
    if isinstance(given, int):
        if 1 <= given <= len(names):
            return given - 1
    else:
        match = header_match(given, names)
        if match is None and role == "vertical" and given == Columns().vertical:
            depths = source.survey.vertical.meaning != "height"
            match = header_match("depth", names) if depths else None
        if match is not None:
            if match.how == "misspelt":
                problems.add(words.header_misspelt(source, given, names[match.place], role=role))
            return match.place
        if given.isdecimal() and 1 <= int(given) <= len(names):
            return int(given) - 1
    problems.add(words.no_column(source, str(given), names, role=role))
    return None


def _read_block(reader: Reader, block: list[str], row: int) -> Reading:
    """Return one block of lines as numbers; rows that can't be used are left out and named."""
    source, problems, wanted = reader.source, reader.problems, reader.wanted
    frame = _frame(source, block, wanted, row=row, problems=problems)
    rows = np.arange(row, row + len(frame), dtype=np.int64)
    cells = {role: frame[wanted.numbers[role][0]] for role in ROLES}
    told = {role: _numbers(text, source.survey.columns) for role, text in cells.items()}
    times = [frame[number] for number in wanted.numbers.get("time", ())]
    blank = _blank(told, times)
    astray = _astray(source, {role: values for role, (values, _) in told.items()}, rows, problems)
    good = ~blank & ~astray
    good &= ~_too_wide(reader, frame, rows, good)
    usable = good.copy()
    for role, (values, state) in told.items():
        _name_cells(reader, role, cells[role], rows, np.where(good, state, NUMBER))
        usable &= np.isfinite(values) & (state == NUMBER)
    time = reader.clock.read(times, rows, usable) if times else None
    if time is not None:
        usable &= np.isfinite(time)
    x, y, v = (told[role][0][usable] for role in ROLES)
    seen = int((~blank).sum())
    return Reading(x, y, v, rows[usable], seen, None if time is None else time[usable])


def _frame(
    source: Source, block: list[str], wanted: Wanted, *, row: int, problems: Problems
) -> pd.DataFrame:
    """Return the wanted columns of a block, and the one beyond the last, as texts."""
    mark = MARKS[source.survey.columns.separator]
    lead = (" " if mark is None else mark).join("x" * (wanted.width + 1))
    try:
        frame = pd.read_csv(
            io.StringIO(lead + "\n" + "".join(block)),
            sep=r"\s+" if mark is None else mark,
            header=None,
            names=list(range(wanted.width + 1)),
            usecols=sorted({*wanted.all, wanted.width}),
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
        return pd.DataFrame({number: empty for number in (*wanted.all, wanted.width)})
    return frame.fillna("").reset_index(drop=True)


NUMBER, EMPTY, MARKED, BAD = 0, 1, 2, 3
"""What a cell holds: a number, nothing, a configured mark of no value, or something else."""


def _numbers(texts: pd.Series, columns: Columns) -> tuple[Array, Ints]:
    """Return a column as numbers, NaN where a cell holds none, and what each cell holds."""
    plain = texts if columns.decimal == "." else texts.str.replace(",", ".", regex=False)
    values = pd.to_numeric(plain, errors="coerce").to_numpy(dtype=float, copy=True)
    state = np.full(len(values), NUMBER, dtype=np.int64)
    odd = np.flatnonzero(~np.isfinite(values))
    if len(odd):
        there = texts.iloc[odd].str.strip()
        lower = there.str.lower()
        state[odd] = np.where(lower.isin(MISSING).to_numpy(dtype=bool), EMPTY, BAD)
        state[odd[there.isin(columns.no_value).to_numpy(dtype=bool)]] = MARKED
        values[odd] = np.nan
    marks = pd.to_numeric(pd.Series(columns.no_value, dtype=str), errors="coerce").dropna()
    if len(marks):
        state[np.isin(values, marks.to_numpy(dtype=float))] = MARKED
    return values, state


def _blank(told: dict[str, tuple[Array, Ints]], times: list[pd.Series]) -> Flags:
    """Tell rows in which every wanted cell is empty."""
    blank = np.logical_and.reduce([state == EMPTY for _, state in told.values()])
    places = np.flatnonzero(blank)
    for text in times:
        there = text.iloc[places].str.strip().str.lower()
        blank[places] &= there.isin(MISSING).to_numpy(dtype=bool)
    return np.asarray(blank, dtype=bool)


def _astray(source: Source, values: dict[str, Array], rows: Ints, problems: Problems) -> Flags:
    """Name rows whose numbers stand one column beside where they belong, or swapped.

    Told where easting and northing are numbers of very different size, and few rows differ.
    """
    east, north = values["easting"], values["northing"]
    if not (np.isfinite(east).any() and np.isfinite(north).any()):
        return np.zeros(len(rows), dtype=bool)
    like_e, like_n = float(np.nanmedian(east)), float(np.nanmedian(north))
    near = 0.05 * abs(like_e - like_n)
    with np.errstate(invalid="ignore"):
        e_in_n, n_in_e = np.abs(north - like_e) < near, np.abs(east - like_n) < near
        spread = np.nanmedian(np.abs(east - like_e)) + np.nanmedian(np.abs(north - like_n))
    if not spread < near or (e_in_n | n_in_e).mean() > ASTRAY_SHARE:
        return np.zeros(len(rows), dtype=bool)
    shifted, swapped = e_in_n ^ n_in_e, e_in_n & n_in_e
    for make, chosen in ((_column_shifted, shifted), (_row_swapped, swapped)):
        for at in np.flatnonzero(chosen)[:1]:
            fault = make(source, int(rows[at]), float(east[at]), float(north[at]))
            problems.add(fault, int(chosen.sum()) - 1)
    return np.asarray(shifted | swapped, dtype=bool)


def _too_wide(reader: Reader, frame: pd.DataFrame, rows: Ints, good: Flags) -> Flags:
    """Name rows that have more cells than the table has columns."""
    beyond = frame[reader.wanted.width]
    wide = np.array(beyond.ne(""), dtype=bool)
    places = np.flatnonzero(wide)
    wide[places] = beyond.iloc[places].str.strip().ne("").to_numpy(dtype=bool)
    for at in np.flatnonzero(wide & good)[:1]:
        whole = all(frame[number].iloc[at].strip(" +-").isdigit() for number in reader.wanted.all)
        if whole and wide.mean() > 0.5 and reader.source.survey.columns.separator == "comma":
            fault = _comma_for_both(reader.source, int(rows[at]), int(wide.sum()))
        else:
            fault = words.row_too_wide(reader.source, int(rows[at]), str(beyond.iloc[at]))
        reader.problems.add(fault, 0 if fault.kind != "row_too_wide" else int(wide.sum()) - 1)
    return wide


def _name_cells(reader: Reader, role: str, texts: pd.Series, rows: Ints, state: Ints) -> None:
    """Name the cells that are no finite number: the first ones each, the rest as a count."""
    empty = np.flatnonzero(state == EMPTY)
    reader.tally.add("empty_cell", role, rows[empty], texts.iloc[empty[:1]].tolist())
    bad = np.flatnonzero(state == BAD)
    if not len(bad):
        return
    there = texts.iloc[bad].str.strip()
    commas = np.zeros(len(bad), dtype=bool)
    if reader.source.survey.columns.decimal == ".":
        commas = there.str.fullmatch(DECIMAL_COMMA).to_numpy(dtype=bool)
    angles = ~commas & there.map(looks_like_dms).to_numpy(dtype=bool)
    for kind, chosen in (("decimal_comma", commas), ("dms_text", angles)):
        reader.tally.add(kind, role, rows[bad[chosen]], there[chosen].iloc[:1].tolist())
    odd = np.flatnonzero(~commas & ~angles)
    for k, at in enumerate(odd[:LISTED]):
        fault = words.no_number(reader.source, role, str(texts.iloc[bad[at]]), int(rows[bad[at]]))
        last = k == min(LISTED, len(odd)) - 1
        reader.problems.add(fault, len(odd) - LISTED if last and len(odd) > LISTED else 0)


def _empty_cells(source: Source, role: str, row: int, count: int) -> Fault:
    return source.suspicion(
        "empty_cell",
        f"an empty cell as {role}, in {count} rows",
        "a number; the rows were left out",
        "the ground there is not covered by these soundings",
        "fill the cells in, or leave them: the rows are counted here",
        row=row,
    )


def _comma_for_both(source: Source, row: int, count: int) -> Fault:
    return source.fault(
        "decimal_comma",
        f"whole numbers in twice as many cells, in {count} rows: a comma as decimal mark and "
        "between columns too",
        "one mark for decimals and another between columns",
        "whole metres would be read, and decimals as a column of their own",
        "export the table with semicolons or tabs between columns, and set columns.separator and "
        "columns.decimal",
        row=row,
    )


def _header_unread(source: Source, line: str) -> Fault:
    return source.fault(
        "header_unread",
        f"column names in the first row: {line.strip()[:60]}",
        "numbers in the first row, as columns.header: false says",
        "the names would be taken for a sounding",
        "set columns.header: true",
        row=1,
    )


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


def _column_shifted(source: Source, row: int, east: float, north: float) -> Fault:
    return source.fault(
        "column_shifted",
        f"easting {east:g} and northing {north:g}, one column beside the other rows",
        "the same number in the same column of every row",
        "a northing would be read as easting, or a depth as northing",
        "mend the row: a cell too many or too few before its numbers",
        row=row,
    )


def _row_swapped(source: Source, row: int, east: float, north: float) -> Fault:
    return source.fault(
        "axes_swapped",
        f"easting {east:.1f} and northing {north:.1f}, swapped against the other rows",
        "easting and northing in the same columns of every row",
        "the sounding would lie far from the site",
        "swap the two numbers of the row",
        row=row,
    )
