"""A register that went through a spreadsheet is read right, or what it lost is named.

What spreadsheets write is common practice, no source; RFC 4180 says what a quotation mark does,
ISO 8601 how a day is written, and the two day counts (from 1900 and from 1904) are those that
spreadsheets themselves document.
"""

import csv
import datetime as dt
import io
import random

import pytest

from wrackline.model import ControlValue, Correction, Interpretation, Phasing
from wrackline.register_text import SEPARATORS
from wrackline.registers import read_rows

NAME = "config/interpretations.csv"
COLUMNS = "number easting northing what reading certainty who when why evidence".split()  # noqa: SIM905
GOOD = [
    ["", "324432.1", "4207624.25", "room", "dwelling", "probable", "A. Orr", "2031-07-02"],
    ["R051-038", "", "", "room", "store", "possible", "Bjørn Lund", "2031-07-25"],
    [
        "",
        "324438",
        "4207622.5",
        "building",
        "house, with court",
        "certain",
        "C. Imre",
        "2033-11-30",
    ],
    ["B7", "324452.4", "", "feature", 'a "landing" place', "possible", "C. Imre", "2032-07-01"],
]
ROWS = [[*row, f"seen by {row[6]}, twice", f"notebook {k}"] for k, row in enumerate(GOOD, 3)]
ROWS[1][9] = ""


def read(folder, content, model=Interpretation, name=NAME):
    """Return the rows of a register of the given bytes or text, and its faults."""
    content = content if isinstance(content, bytes) else content.encode("utf-8")
    (folder / "config").mkdir(exist_ok=True)
    (folder / name).write_bytes(content)
    faults = []
    rows = read_rows(folder, type(folder)(name), model, faults)
    return [row for _, row in rows], faults


def written(rows, separator=",", head=COLUMNS, quoting=csv.QUOTE_MINIMAL):
    """Return rows as a spreadsheet writes them."""
    text = io.StringIO()
    csv.writer(text, delimiter=separator, quoting=quoting).writerows([head, *rows])
    return text.getvalue()


@pytest.fixture
def good(tmp_path):
    """Return the rows that the good register is read as."""
    rows, faults = read(tmp_path, written(ROWS))
    assert (len(rows), faults) == (len(ROWS), [])
    return rows


def changed(column, value, row=0):
    """Return the good rows with one cell changed."""
    rows = [list(cells) for cells in ROWS]
    rows[row][COLUMNS.index(column)] = value
    return rows


def with_commas(rows):
    """Return rows whose numbers have decimal commas."""
    return [[c.replace(".", ",") if k in (1, 2) else c for k, c in enumerate(r)] for r in rows]


HARMLESS = {
    "semicolons": written(ROWS, ";"),
    "tabs": written(ROWS, "\t"),
    "decimal commas": written(with_commas(ROWS), ";"),
    "decimal commas, comma between cells": written(with_commas(ROWS)),
    "byte order mark": b"\xef\xbb\xbf" + written(ROWS).encode(),
    "utf-16, little end first": written(ROWS, "\t").encode("utf-16"),
    "utf-16, big end first": b"\xfe\xff" + written(ROWS, "\t").encode("utf-16-be"),
    "first line sep=;": "sep=;\r\n" + written(ROWS, ";"),
    "all cells quoted": written(ROWS, ";", quoting=csv.QUOTE_ALL),
    "empty columns and rows at the end": written(
        [[*row, "", ""] for row in [*ROWS, [""] * 10]], head=[*COLUMNS, "", ""]
    ),
    "head with capitals and blanks": written(ROWS, head=[f" {c.title()} " for c in COLUMNS]),
    "old line ends": written(ROWS).replace("\r\n", "\r"),
    "line break in a cell": written(changed("why", "seen by A. Orr,\ntwice")),
    "no-break blank": written(changed("why", "seen by A. Orr, twice\u00a0")),
    "thousands": written(changed("northing", "4 207 624.25")),
    "thousands with narrow blanks": written(changed("northing", "4\u202f207\u202f624.25")),
    "thousands with points": written(changed("northing", "4.207.624,25"), ";"),
    "capital": written(changed("certainty", "Probable")),
    "day with points": written(changed("when", "2.7.2031")),
    "day after the twelfth": written(changed("when", "25/07/2031", row=1)),
    "month first, after the twelfth": written(changed("when", "7/25/2031", row=1)),
    "year first": written(changed("when", "2031/07/02")),
    "day with midnight": written(changed("when", "2031-07-02 00:00:00")),
    "month by name": written(changed("when", "2-Jul-2031")),
}


@pytest.mark.parametrize("content", HARMLESS.values(), ids=HARMLESS)
def test_what_has_one_meaning_is_read(tmp_path, good, content):
    """Each form with one meaning gives the rows of the register as it was."""
    assert read(tmp_path, content) == (good, [])


NAMED = {
    "day or month": ("when", "02/07/2031", "2031-07-02 or 2031-02-07"),
    "two digits of a year": ("when", "7/2/31", "two digits"),
    "day number": ("when", "47665", "2030-07-01, or 2034-07-02"),
    "seconds": ("when", "86400", "the number"),
    "error for a number": ("easting", "#REF!", "error"),
    "error for a text": ("reading", "#NAME?", "error"),
    "column too narrow": ("easting", "#######", "error"),
    "formula": ("why", "=A3", "formula"),
    "digits lost": ("northing", "4.21E+06", "first digits"),
    "comma with two meanings": ("easting", "324,432", "324.432 or 324432"),
    "number turned to a day": ("number", "04-Mar", "a day"),
    "number turned to a whole day": ("number", "04/03/2031", "a day"),
    "letters lost": ("who", "Bj\ufffdrn", "lost"),
    "letters twice encoded": ("who", "BjÃ¸rn", "Bjørn"),
}


@pytest.mark.parametrize(("column", "cell", "words"), NAMED.values(), ids=NAMED)
def test_what_has_two_meanings_or_none_is_named(tmp_path, column, cell, words):
    """One fault, with file, row and column, and in it what the cell may have meant."""
    rows = [[row[0], row[1] and "324432", row[2] and "4207624", *row[3:]] for row in ROWS]
    rows[2][COLUMNS.index(column)] = cell
    (fault,) = read(tmp_path, written(rows))[1]
    assert (fault.kind, fault.file, fault.row) == ("register_value", NAME, 4)
    assert fault.found.startswith(f"{column}: ")
    assert words in fault.found


@pytest.mark.parametrize(
    ("start", "day"), [(dt.date(1899, 12, 30), "2030-07-01"), (dt.date(1904, 1, 1), "2034-07-02")]
)
def test_the_two_counts_of_days(start, day):
    """Day 1 of the one count is 1900-01-01 with a leap day too many, day 0 of the other 1904-01-01.

    Day 60 of the first is the day that never was, 1900-02-29; so it counts from 1899-12-30 later.
    """
    assert str(start + dt.timedelta(47665)) == day


def test_windows_letters_are_named_with_their_row(tmp_path):
    """Of letters in no known alphabet the row is told, and how they would read in one."""
    (fault,) = read(tmp_path, written(ROWS).encode("cp1252"))[1]
    assert (fault.kind, fault.row) == ("register_unreadable", 3)
    assert "Bjørn Lund" in fault.found
    assert "UTF-8" in fault.remedy


def test_letters_of_windows_that_are_ascii_do_no_harm(tmp_path, good):
    """A register without other letters is the same in either alphabet."""
    plain = [[cell.replace("ø", "o") for cell in row] for row in ROWS]
    rows, faults = read(tmp_path, written(plain).encode("cp1252"))
    assert (len(rows), faults) == (len(good), [])


@pytest.mark.parametrize("at", ["before", "after"])
def test_a_stray_quote_is_named_with_its_row(tmp_path, at):
    """At a cell's start it would swallow rows, at its end become text; either way it is named."""
    text = written(ROWS).replace("store", '"store' if at == "before" else 'store"')
    (fault,) = read(tmp_path, text)[1]
    assert (fault.kind, fault.row) == ("register_unreadable", 3)


def test_two_stray_quotes_swallow_no_row(tmp_path):
    """Two marks, one in each of two rows' same column, would make one row of both."""
    plain = [[*row[:4], "house", *row[5:8], "seen", "book"] for row in ROWS]
    lines = written(plain).split("\r\n")
    lines[2], lines[3] = lines[2].replace("house", '"house'), lines[3].replace("house", 'house"')
    (fault,) = read(tmp_path, "\r\n".join(lines))[1]
    assert (fault.kind, fault.row) == ("register_unreadable", 3)


def test_curly_quotes_hold_nothing_together(tmp_path):
    """A text with a comma in curly quotation marks is cut, and the fault says by what."""
    text = written(ROWS).replace('"seen by A. Orr, twice"', "“seen by A. Orr, twice”")
    (fault,) = read(tmp_path, text)[1]
    assert (fault.kind, fault.row) == ("register_row", 2)
    assert "curly" in fault.remedy


def test_a_decimal_comma_among_separating_commas_is_named(tmp_path):
    """It makes a cell too many, even where the row's last cell is empty."""
    lines = written(ROWS).split("\r\n")
    lines[2] = "R1,324432,1,4207624,room,store,possible,A. Orr,2031-07-02,seen,"
    (fault,) = read(tmp_path, "\r\n".join(lines))[1]
    assert (fault.kind, fault.row) == ("register_row", 3)


def test_a_value_beside_the_table_is_named(tmp_path):
    """What stands under no column's name would be passed over."""
    rows = [[*row, ""] for row in ROWS]
    rows[1][-1] = "ask her"
    faults = read(tmp_path, written(rows, head=[*COLUMNS, ""]))[1]
    assert [fault.kind for fault in faults] == ["register_column"]


@pytest.mark.parametrize("ending", [".xlsx", ".csv.txt", ".CSV.xlsx"])
def test_a_register_saved_under_another_name_is_named(tmp_path, ending):
    """It isn't passed over as if nobody had written any."""
    (tmp_path / "config").mkdir()
    (tmp_path / f"config/interpretations{ending}").touch()
    faults = []
    assert read_rows(tmp_path, type(tmp_path)(NAME), Interpretation, faults) == []
    assert [fault.kind for fault in faults] == ["register_elsewhere"]


def test_names_of_marks_and_phases_that_became_days_are_named(tmp_path):
    """A mark 3-4 becomes 04-Mar, a phase 1-2 becomes 01. Feb."""
    head = "point,easting,northing,sd_m\n"
    control = read(tmp_path, head + "04-Mar,1,2,0.01\n", ControlValue, "config/control.csv")[1]
    line = "line,phase_from,who,date\n2031-walls:1,01. Feb,me,2031-06-09\n"
    phases = read(tmp_path, line, Phasing, "config/phases.csv")[1]
    assert [fault.found.split(":")[0] for fault in control + phases] == ["point", "phase_from"]


def test_names_that_are_no_days_are_names(tmp_path):
    """A house 7 bis, a mark 3-4 that nothing has touched, a number with two strokes."""
    head = "point,easting,northing,sd_m\n"
    rows = "".join(f"{name},1,2,0.01\n" for name in ("7 bis", "3-4", "B-12", "12/3/4", "May Point"))
    marks, faults = read(tmp_path, head + rows, ControlValue, "config/control.csv")
    assert ([mark.point for mark in marks][:2], faults) == (["7 bis", "3-4"], [])


def test_rows_of_raw_files_may_have_thousands(tmp_path):
    """The 1,204th row is row 1204, whatever the spreadsheet puts between."""
    head = "file;row;column;was;is;why;who;when\n"
    rows = "a.csv;1,204;x;1;2;book;me;2031-06-09\na.csv;1 204;x;1;2;book;me;2031-06-09\n"
    fixes, faults = read(tmp_path, head + rows, Correction, "config/corrections.csv")
    assert ([fix.row for fix in fixes], faults) == ([1204, 1204], [])


def turned_day(day, mark, order):
    """Return a day with its parts in another order."""
    parts = dict(zip("ymd", day.split("-"), strict=True)) | {"Y": day[2:4]}
    return mark.join(
        str(int(parts[letter])) if letter in "md" else parts[letter] for letter in order
    )


CELL_DAMAGES = [
    lambda cell, column, chance: chance.choice(["#REF!", "#NAME?", "=B2", "#####"]),
    lambda cell, column, chance: (
        turned_day(cell, *chance.choice([("/", "dmy"), ("-", "mdy"), (".", "dmy"), ("/", "dmY")]))
        if column == "when"
        else cell
    ),
    lambda cell, column, chance: (
        str((dt.date.fromisoformat(cell) - dt.date(1899, 12, 30)).days)
        if column == "when"
        else cell
    ),
    lambda cell, column, chance: f"{cell}\u00a0",
    lambda cell, column, chance: cell.replace("ø", "Ã¸"),
    lambda cell, column, chance: cell.replace(".", ",") if "ing" in column[-3:] else cell,
    lambda cell, column, chance: f"{float(cell):.2E}" if column[1:] == "asting" and cell else cell,
    lambda cell, column, chance: cell.capitalize() if column in ("what", "certainty") else cell,
    lambda cell, column, chance: cell.replace(" ", "\n"),
]


def damaged_text(text, chance):
    """Damage the text as a whole: put a mark or a line break in, or take a character out."""
    at = chance.randrange(text.index("\n"), len(text))
    mark = chance.choice(['"', "\n", ",", ";", ""])
    return text[:at] + mark + text[at + (mark == "") :]


def encoded(text, chance):
    """Return the text in a form of bytes that some program writes."""
    return text.encode(chance.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))


@pytest.mark.parametrize("seed", range(4))
def test_no_cell_is_misread(tmp_path, good, seed):
    """Of 200 registers with damaged cells, each gives the same rows, or faults in those rows."""
    chance = random.Random(seed)  # noqa: S311
    named = 0
    for _ in range(200):
        rows, hit = [list(cells) for cells in ROWS], chance.sample(range(len(ROWS)), 2)
        for row in hit:
            k = chance.choice([7, *range(10)])
            rows[row][k] = chance.choice(CELL_DAMAGES)(rows[row][k], COLUMNS[k], chance)
        text = written(rows, chance.choice(SEPARATORS))
        found, faults = read(tmp_path, encoded(text, chance))
        assert found == good or faults, text
        named += bool(faults)
        if faults and faults[0].kind != "register_unreadable" and text.count("\n") == 5:
            assert {fault.row - 2 for fault in faults} <= set(hit), text
    assert 40 < named < 180  # neither is all of it refused, nor all of it taken


@pytest.mark.parametrize("seed", range(4))
def test_no_row_is_lost(tmp_path, good, seed):
    """Of 200 registers with a mark put in or taken out anywhere, none comes out with fewer rows.

    A letter put into a text can't be told from what was meant; a row that is gone can.
    """
    chance = random.Random(seed)  # noqa: S311
    for _ in range(200):
        text = damaged_text(written(ROWS, chance.choice(SEPARATORS)), chance)
        found, faults = read(tmp_path, text)
        assert len(found) == len(good) or faults, text
        assert all(fault.row is not None for fault in faults), text
