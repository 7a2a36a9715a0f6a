"""Tables as rows of texts: how text and spreadsheets are read, and which slips are told apart.

The slips are common practice in exchanged tables, no source.
"""

import datetime as dt
import re
import zipfile

import numpy as np
import openpyxl
import pytest

from wrackline.intake import rows as rows_module
from wrackline.intake.rows import numbers_of, read_rows, texts_of
from wrackline.intake.slips import (
    better_separator,
    decimal_comma_share,
    header_match,
    looks_like_dms,
)
from wrackline.model import Columns, Survey, Vertical
from wrackline.verdict import Problems, Source

HEADER = "easting,northing,height,kind"
POINTS = [f"324{410 + k}.25,4207{610 + k}.50,-2.{k},jar" for k in range(9)]


def source_of(folder, file, layer=None, **columns):
    survey = Survey(
        name="points",
        technique="total station",
        holds="features",
        file=file,
        layer=layer,
        crs="EPSG:32625",
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=Vertical(meaning="height"),
        columns=Columns(**columns),
        random_horizontal_sd_m=0.03,
        random_vertical_sd_m=0.02,
    )
    return Source("2031-points", survey, folder)


def table(folder, lines, **columns):
    """Return the source, the rows and the problems of a text of some lines."""
    (folder / "points.csv").write_text("\n".join(lines), encoding="utf-8")
    source, problems = source_of(folder, "points.csv", **columns), Problems()
    return source, read_rows(source, problems), problems


def workbook(folder, sheets, name="points.xlsx"):
    """Write a workbook of some sheets, each a list of rows."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, content in sheets.items():
        sheet = book.create_sheet(title)
        for row in content:
            sheet.append(row)
    book.save(folder / name)
    return name


def said(problems):
    return [(fault.kind, fault.row, fault.severity) for fault in problems.listed()]


def test_rows_are_padded_stripped_and_cited_by_their_line(tmp_path):
    """Blank lines are passed over, blanks around cells taken off, short rows filled up."""
    lines = ["", "a, b ,c", "", " 1 ,2,3", "4,5,"]
    _, rows, problems = table(tmp_path, lines)
    assert rows.names == ["a", "b", "c"]
    assert rows.cells == [["1", "2", "3"], ["4", "5", ""]]
    assert rows.row.tolist() == [4, 5]
    assert said(problems) == []


def test_numbers_are_nan_where_empty_and_faults_where_they_are_none(tmp_path):
    """An empty cell and a mark of no value are NaN; a word is a fault with its row."""
    source, rows, problems = table(
        tmp_path, ["z,n", "1.5,a", ",b", "-9999,c", "deep,d"], no_value=["-9999.0"]
    )
    np.testing.assert_array_equal(
        numbers_of(source, rows, "z", problems), [1.5, np.nan, np.nan, np.nan]
    )
    assert said(problems) == [("no_number", 5, "fault")]
    assert texts_of(source, rows, "n", problems) == ["a", "b", "c", "d"]


@pytest.mark.parametrize(
    ("header", "doubts"),
    [
        ("Easting,Northing,Height,kind", []),
        ("E,N,Elevation,kind", []),
        ("Rechtswert,Hochwert,Höhe [m],kind", []),
        ("EAST_ING , north ing,RL,kind", []),
        ("Este,Norte,Cota,kind", []),
        ("Eatsing,Northing,Heigth,kind", ["header_misspelt", "header_misspelt"]),
    ],
)
def test_columns_go_by_their_common_names(tmp_path, header, doubts):
    """Case, blanks, accents and common names are no doubt; a misspelling is one, and is read."""
    source, rows, problems = table(tmp_path, [header, *POINTS])
    found = [numbers_of(source, rows, name, problems)[0] for name in HEADER.split(",")[:3]]
    assert found == [324410.25, 4207610.5, -2.0]
    assert [kind for kind, _, _ in said(problems)] == doubts


def test_the_configured_name_comes_before_a_common_one():
    """A column of the very name is taken though another bears a common name of the same."""
    assert header_match("easting", ["x", "easting"]).place == 1
    assert header_match("easting", ["x", "east"]) is None
    assert header_match("line_1", ["line_2"]) is None


def test_a_column_that_is_not_there_is_a_fault_only_where_needed(tmp_path):
    """A needed column that is missing is named with the nearest one; another is all empty."""
    source, rows, problems = table(tmp_path, ["easting,kin", "1,jar"])
    assert np.isnan(numbers_of(source, rows, "depth", problems, needed=False)).all()
    assert said(problems) == []
    texts_of(source, rows, "kind", problems)
    assert problems.listed()[0].kind == "column_missing"
    assert "'kin'" in problems.listed()[0].remedy


@pytest.mark.parametrize(
    ("lines", "columns", "kind", "row"),
    [
        pytest.param(POINTS, {}, "header_missing", 1, id="no header"),
        pytest.param(
            [line.replace(",", ";") for line in [HEADER, *POINTS]],
            {},
            "wrong_separator",
            1,
            id="semicolons",
        ),
        pytest.param(
            [line.replace(",", "\t") for line in [HEADER, *POINTS]],
            {"separator": "semicolon"},
            "wrong_separator",
            1,
            id="tabs",
        ),
        pytest.param([HEADER, *POINTS], {"separator": "tab"}, "wrong_separator", 1, id="commas"),
    ],
)
def test_a_table_of_another_make_is_refused(tmp_path, lines, columns, kind, row):
    """A table without header or with another separator than configured ends in that one fault."""
    lines = [line.rsplit(",", 1)[0] for line in lines] if kind == "header_missing" else lines
    _, rows, problems = table(tmp_path, lines, **columns)
    assert rows is None
    assert said(problems) == [(kind, row, "fault")]


def test_the_right_separator_is_named():
    """The remedy's word is the separator that gives every line as many cells."""
    assert better_separator(["a;b;c", "1,5;2,5;3"], "comma") == "semicolon"
    assert better_separator(["notes on the walls", "none"], "comma") is None


def test_decimal_commas_are_said_once_a_column_with_their_number(tmp_path):
    """Cells with a decimal comma, where a point is configured, are one fault with their count."""
    lines = ["a;b", "1,5;2", "2,5;3", "3.5;4"]
    source, rows, problems = table(tmp_path, lines, separator="semicolon")
    numbers_of(source, rows, "a", problems)
    assert said(problems) == [("decimal_comma", 2, "fault")]
    assert "in 2 rows" in problems.listed()[0].found
    assert decimal_comma_share(["1,5", "2", "3,5", ""]) == pytest.approx(2 / 3)


@pytest.mark.parametrize("text", ["12°34'56\"", "12 34 56 N", "S 12°34.5'", "033:12:05.25 W"])
def test_degrees_and_minutes_are_told_from_numbers(tmp_path, text):
    """Angles in degrees and minutes are one fault, not one a cell."""
    assert looks_like_dms(text)
    source, rows, problems = table(
        tmp_path, ["a;b", f"{text};1", f"{text};2"], separator="semicolon"
    )
    if rows is not None:  # a lone quotation mark is a fault of its own
        numbers_of(source, rows, "a", problems)
        assert [kind for kind, _, _ in said(problems)] == ["dms_text"]


@pytest.mark.parametrize(
    ("line", "side"),
    [
        (",324419.25,4207619.50,-2.5", "right"),
        ("X,324419.25,4207619.50,-2.5", "right"),
        ("4207619.50,-2.5,jar,", "left"),
    ],
)
def test_a_row_that_stands_one_column_beside_is_refused(tmp_path, line, side):
    """A row whose cells fit one column further on is named, and which way it slipped."""
    _, rows, problems = table(tmp_path, [HEADER, *POINTS, line])
    assert said(problems) == [("column_shifted", 11, "fault")]
    assert side in problems.listed()[0].found
    assert len(rows.cells) == 9


@pytest.mark.parametrize(
    "line", ["324419.25,4207619.50,,jar", "324419.25,4207619.50,-2.1,", "324419.25,north,-2.1,jar"]
)
def test_rows_with_one_cell_amiss_are_not_taken_for_shifted(tmp_path, line):
    """An empty cell, or a word for a number, is no shift."""
    _, rows, problems = table(tmp_path, [HEADER, *POINTS, line])
    assert len(rows.cells) == 10
    assert said(problems) == []


def test_a_spreadsheet_is_read_as_its_text_export_is(tmp_path):
    """Numbers, texts and dates of a sheet come out as a text table would have them."""
    content = [
        ["easting", "day", "note"],
        [324410.25, dt.datetime(2031, 6, 2), "jar"],
        [],
        [7, dt.datetime(2031, 6, 2, 9, 30), None],
    ]
    source = source_of(tmp_path, workbook(tmp_path, {"walls": content}))
    problems = Problems()
    rows = read_rows(source, problems)
    assert rows.cells == [["324410.25", "2031-06-02", "jar"], ["7", "2031-06-02T09:30:00", ""]]
    assert rows.row.tolist() == [2, 4]
    assert said(problems) == []


def test_numbers_of_a_spreadsheet_follow_no_decimal_comma(tmp_path):
    """A sheet's numbers are numbers, whatever decimal mark the config has for texts."""
    name = workbook(tmp_path, {"walls": [["z", "kind"], [-2.5, "jar"]]})
    source, problems = source_of(tmp_path, name, decimal=","), Problems()
    assert numbers_of(source, read_rows(source, problems), "z", problems).tolist() == [-2.5]


def test_sheets_are_chosen_by_name(tmp_path):
    """Of several sheets one is named in the config; a wrong name is refused with the right one."""
    name = workbook(tmp_path, {"walls": [["a", "b"], ["x", 1]], "finds": [["a", "b"], ["y", 2]]})
    problems = Problems()
    assert read_rows(source_of(tmp_path, name, "finds"), problems).cells == [["y", "2"]]
    for layer in (None, "find"):
        assert read_rows(source_of(tmp_path, name, layer), problems) is None
    assert [kind for kind, _, _ in said(problems)] == ["layer_unnamed", "layer_missing"]
    assert "'finds'" in problems.listed()[1].remedy


def test_formulas_are_not_worked_out(tmp_path):
    """A formula's stored value is read; one without is a fault with its row, not an empty cell."""
    name = workbook(tmp_path, {"walls": [["a", "b"], [1, "=A2+1"], [2, 5]]})
    problems = Problems()
    read_rows(source_of(tmp_path, name), problems)
    assert said(problems) == [("formula_without_value", 2, "fault")]
    _store(tmp_path / name, "<f>A2+1</f><v></v>", "<f>A2+1</f><v>41</v>")
    problems = Problems()
    assert read_rows(source_of(tmp_path, name), problems).cells[0] == ["1", "41"]
    assert said(problems) == []


def _store(path, before, after):
    """Change the XML of a workbook's first sheet."""
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"].decode()
    plain = re.sub(r"<v\s*/>", "<v></v>", sheet)
    assert before in plain, plain
    parts["xl/worksheets/sheet1.xml"] = plain.replace(before, after).encode()
    with zipfile.ZipFile(path, "w") as packed:
        for name, content in parts.items():
            packed.writestr(name, content)


def test_a_workbook_that_is_none_ends_in_a_fault(tmp_path, monkeypatch):
    """Bytes that are no archive, archives cut short and those that unpack too large are refused."""
    name = workbook(tmp_path, {"walls": [["a", "b"], ["x", 1]]})
    whole = (tmp_path / name).read_bytes()
    problems = Problems()
    for content in (b"\xd0\xcf\x11\xe0 old", whole[:800], b""):
        (tmp_path / "cut.xlsx").write_bytes(content)
        assert read_rows(source_of(tmp_path, "cut.xlsx"), problems) is None
    assert [kind for kind, _, _ in said(problems)] == ["unreadable"] * 3
    monkeypatch.setattr(rows_module, "LARGEST_BYTES", 1000)
    problems = Problems()
    assert read_rows(source_of(tmp_path, name), problems) is None
    assert said(problems) == [("unpacks_too_large", None, "fault")]
