"""Tables of soundings: line ends, encodings, columns, and cells that are no numbers."""

import datetime as dt

import numpy as np
import pytest

from wrackline.intake.tables import read_table
from wrackline.model import Columns, Survey, Vertical
from wrackline.verdict import Problems, Source

PLAIN = "easting,northing,height\n10.5,20.25,-3.125\n11,21,-4\n"


def read(folder, content, *, lines=1000, meant=None, **columns):
    """Return the rows (x, y, v), their row numbers, and the faults."""
    survey = Survey(
        name="echo",
        technique="echo sounder",
        holds="bed_points",
        file="echo.csv",
        crs="EPSG:32633",
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=meant or Vertical(meaning="height"),
        columns=Columns(**columns),
        random_horizontal_sd_m=0.1,
        random_vertical_sd_m=0.1,
    )
    raw = content if isinstance(content, bytes) else content.encode()
    (folder / "echo.csv").write_bytes(raw)
    problems = Problems()
    parts = list(read_table(Source("2031-echo", survey, folder), problems, lines=lines))
    rows = [tuple(map(float, row)) for p in parts for row in zip(p.x, p.y, p.v, strict=True)]
    return rows, [int(n) for p in parts for n in p.row], problems.listed(), parts


GOOD = [(10.5, 20.25, -3.125), (11.0, 21.0, -4.0)]


@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        "\ufeff" + PLAIN,
        PLAIN.replace("\n11", "\n\n11"),
        PLAIN.replace(",", " , "),
        PLAIN.rstrip("\n"),
        PLAIN.replace("\n", ",\n"),
        PLAIN.replace("10.5", '"10.5"'),
    ],
    ids=["lf", "crlf", "cr", "bom", "blank line", "blanks", "no last end", "last comma", "quotes"],
)
def test_the_same_table_is_read_however_it_was_saved(tmp_path, content):
    """Line ends, byte order mark, blank lines, blanks, a last comma or quotes change nothing."""
    rows, _, faults, _ = read(tmp_path, content)
    assert rows == GOOD
    assert faults == []


@pytest.mark.parametrize(
    ("content", "columns"),
    [
        ("easting;northing;height\n10,5;20,25;-3,125\n11;21;-4\n",
         {"separator": "semicolon", "decimal": ","}),
        ("easting\tnorthing\theight\n10.5\t20.25\t-3.125\n11\t21\t-4\n", {"separator": "tab"}),
        (" 10.5  20.25 -3.125\n11 21   -4 \n",
         {"separator": "space", "header": False, "easting": 1, "northing": 2, "vertical": 3}),
        ("-3.125,x,20.25,10.5\n-4,y,21,11\n",
         {"header": False, "easting": 4, "northing": 3, "vertical": 1}),
    ],
    ids=["semicolon, decimal comma", "tab", "blanks, no header", "numbered columns"],
)  # fmt: skip
def test_the_config_says_how_a_table_is_laid_out(tmp_path, content, columns):
    """Separator, decimal mark, header and numbered columns are taken from the config."""
    rows, numbers, faults, _ = read(tmp_path, content, **columns)
    assert rows == GOOD
    assert faults == []
    assert numbers == ([2, 3] if columns.get("header", True) else [1, 2])


def test_a_chunk_of_one_line_gives_the_same_rows(tmp_path):
    """The size of chunks changes neither numbers nor row numbers."""
    rows, numbers, faults, _ = read(tmp_path, PLAIN, lines=1)
    assert rows == GOOD
    assert numbers == [2, 3]
    assert faults == []


def test_latin_1_is_read_and_shown_as_a_suspicion(tmp_path):
    """A file that is not UTF-8 is read as Latin-1, and said so."""
    content = "easting,northing,height,Höhe\n10.5,20.25,-3.125,a\n11,21,-4,b\n".encode("latin-1")
    rows, _, faults, _ = read(tmp_path, content)
    assert rows == GOOD
    assert [(f.kind, f.severity) for f in faults] == [("not_utf8", "suspicion")]


def test_a_spreadsheet_is_no_text(tmp_path):
    """Zero bytes make a file no text table; nothing is read."""
    rows, _, faults, _ = read(tmp_path, b"PK\x03\x04\x00\x00")
    assert rows == []
    assert [f.kind for f in faults] == ["not_text"]


def test_a_misspelt_column_is_named_with_the_nearest(tmp_path):
    """A missing column's fault suggests the nearest of the file's own."""
    _, _, faults, _ = read(tmp_path, "Easting,northin,height\n1,2,3\n")
    assert [f.kind for f in faults] == ["column_missing", "column_missing"]
    assert "'Easting'" in faults[0].remedy
    assert "'northin'" in faults[1].remedy


def test_a_column_that_stands_twice_is_refused(tmp_path):
    """Two columns of one name can't be told apart."""
    _, _, faults, _ = read(tmp_path, "easting,northing,height,height\n1,2,3,4\n")
    assert [f.kind for f in faults] == ["column_twice"]


@pytest.mark.parametrize("cell", ["x", "inf", "-inf", "NaN", "1_0", "3,5", "0x10", "1e999"])
def test_a_cell_that_is_no_finite_number_is_named_with_its_row(tmp_path, cell):
    """Text, infinity, NaN and odd numerals are faults with file, row and the cell itself."""
    content = f"easting\tnorthing\theight\n1\t2\t3\n4\t5\t{cell}\n"
    rows, _, faults, _ = read(tmp_path, content, separator="tab")
    assert rows == [(1.0, 2.0, 3.0)]
    assert [(f.kind, f.row, f.file) for f in faults] == [("no_number", 3, "echo.csv")]
    assert f"'{cell}'" in faults[0].found


def test_all_bad_cells_are_counted_across_chunks(tmp_path):
    """Fifty bad cells in chunks of seven are twenty messages and a count of thirty."""
    content = "easting,northing,height\n" + "1,2,bad\n" * 50
    _, _, faults, _ = read(tmp_path, content, lines=7)
    assert len(faults) == 21
    assert faults[-1].found == "30 more of this kind"


def test_marks_of_missing_values_are_left_out_however_they_are_written(tmp_path):
    """-9999 in the config also takes -9999.00; NaN can be named too."""
    content = "easting,northing,height\n1,2,-9999.00\n1,2,NaN\n3,4,5\n"
    rows, _, faults, parts = read(tmp_path, content, no_value=["-9999", "NaN"])
    assert rows == [(3.0, 4.0, 5.0)]
    assert faults == []
    assert sum(part.seen for part in parts) == 3


def test_empty_cells_leave_their_rows_out_as_a_suspicion(tmp_path):
    """Empty cells are counted and shown, and don't stop the run."""
    rows, _, faults, _ = read(tmp_path, "easting,northing,height\n1,2,\n3,4,5\n6,,7\n")
    assert rows == [(3.0, 4.0, 5.0)]
    assert [(f.kind, f.severity, f.row) for f in faults] == [
        ("empty_cell", "suspicion", 4),
        ("empty_cell", "suspicion", 2),
    ]


def test_a_row_with_too_many_cells_is_a_fault(tmp_path):
    """Decimal commas in a comma table would shift numbers: the row is refused."""
    rows, _, faults, _ = read(tmp_path, "easting,northing,height\n1,5,2,5,3\n1,2,3\n")
    assert rows == [(1.0, 2.0, 3.0)]
    assert [(f.kind, f.row) for f in faults] == [("row_too_wide", 2)]


def test_a_stray_quotation_mark_does_not_swallow_rows(tmp_path):
    """An unclosed quotation mark is a fault, not a silent loss of rows."""
    _, _, faults, _ = read(tmp_path, 'easting,northing,height\n1,"2,3\n4,5,6\n1,"2,3\n')
    assert [f.kind for f in faults] == ["quotes"]


def test_times_are_utc_by_the_clock_of_the_config_or_by_their_own_zone(tmp_path):
    """A clock two hours ahead is turned back; a time with its own zone is taken at its word."""
    clock = Vertical(meaning="depth_below_water", water_level="tide.csv", time_utc_offset_h=2.0)
    content = (
        "easting,northing,depth,at\n1,2,3,1970-01-01T02:00:10\n1,2,3,1970-01-01T02:00:10Z\n"
        "1,2,3,1970-01-01T02:00:10+02:00\n1,2,3,later\n"
    )
    _, _, faults, parts = read(tmp_path, content, meant=clock, vertical="depth", time="at")
    np.testing.assert_allclose(parts[0].time, [10.0, 7210.0, 10.0])
    assert [(f.kind, f.row) for f in faults] == [("no_time", 5)]
