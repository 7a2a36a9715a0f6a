"""Tables of soundings: line ends, encodings, columns, and cells that are no numbers."""

import datetime as dt

import numpy as np
import pytest

from wrackline.intake.tables import read_table
from wrackline.model import Columns, Correction, Survey, Vertical
from wrackline.verdict import Problems, Source

PLAIN = "easting,northing,height\n10.5,20.25,-3.125\n11,21,-4\n"


def read(folder, content, *, lines=1000, meant=None, corrections=(), **columns):
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
    source = Source("2031-echo", survey, folder, corrections=corrections)
    parts = list(read_table(source, problems, lines=lines))
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


def test_a_misspelt_column_goes_on_as_a_suspicion(tmp_path):
    """Another case is taken as it is; one clear misspelling is taken and shown."""
    rows, _, faults, _ = read(tmp_path, "Easting,northin,height\n1,2,3\n")
    assert rows == [(1.0, 2.0, 3.0)]
    assert [(f.kind, f.severity) for f in faults] == [("header_misspelt", "suspicion")]
    assert "'northin'" in faults[0].found


@pytest.mark.parametrize(
    ("head", "meaning"),
    [
        ("x,y,z", "height"),
        ("E,N,elev", "height"),
        ("East,North,Height [m]", "height"),
        ("easting,northing,depth", "depth_below_datum"),
        ("x,y,sounding", "depth_below_datum"),
    ],
)
def test_other_names_of_the_columns_are_known(tmp_path, head, meaning):
    """Where the default name isn't there, one that such columns go by is taken."""
    rows, _, faults, _ = read(tmp_path, head + "\n1,2,3\n", meant=Vertical(meaning=meaning))
    assert rows == [(1.0, 2.0, 3.0)]
    assert faults == []


def test_a_depth_is_not_taken_for_a_height(tmp_path):
    """A file of depths whose config speaks of heights has no column of heights."""
    _, _, faults, _ = read(tmp_path, "x,y,depth\n1,2,3\n")
    assert [f.kind for f in faults] == ["column_missing"]


@pytest.mark.parametrize(
    ("content", "columns", "kind"),
    [
        ("1.5,2.5,3.5\n4,5,6\n", {}, "header_missing"),
        ("1.5,2.5,3.5,2031-06-02T10:00\n4,5,6,2031-06-02T10:01\n", {}, "header_missing"),
        ("easting,northing,height\n1.5,2.5,3.5\n",
         {"header": False, "easting": 1, "northing": 2, "vertical": 3}, "header_unread"),
        ("easting;northing;height\n1.5;2.5;3.5\n", {}, "wrong_separator"),
        ("easting northing height\n1.5 2.5 3.5\n", {}, "wrong_separator"),
        ("easting,northing,height\n1,5,2,5,3,5\n4,5,5,5,6,5\n", {}, "decimal_comma"),
        ("easting;northing;height\n1;2;3,5\n4;5;6,5\n", {"separator": "semicolon"},
         "decimal_comma"),
        ("easting;northing;height\n38°01'02\";2;3\n", {"separator": "semicolon"}, "dms_text"),
    ],
)  # fmt: skip
def test_how_a_table_is_laid_out_is_named_where_the_config_is_wrong(
    tmp_path, content, columns, kind
):
    """One fault names the header, separator, decimal comma or angle, and nothing is read."""
    _, _, faults, _ = read(tmp_path, content, **columns)
    assert [(f.kind, f.severity) for f in faults] == [(kind, "fault")]


def soundings(count=40):
    return [f"{324400 + k}.5,{4207600 + k}.25,-{3 + k % 5}.5" for k in range(count)]


@pytest.mark.parametrize(
    ("spoil", "kind"),
    [
        (lambda row: "," + row, "column_shifted"),
        (lambda row: row.split(",", 1)[1], "column_shifted"),
        (lambda row: ",".join([*row.split(",")[1::-1], row.split(",")[2]]), "axes_swapped"),
    ],
    ids=["to the right", "to the left", "swapped"],
)
def test_a_row_beside_its_columns_is_named(tmp_path, spoil, kind):
    """A cell too many or too few, or two numbers swapped in one row, is told by its neighbours."""
    body = soundings()
    body[7] = spoil(body[7])
    rows, _, faults, _ = read(tmp_path, "\n".join(["easting,northing,height", *body]) + "\n")
    assert len(rows) == 39
    assert [(f.kind, f.row) for f in faults] == [(kind, 9)]


def correction(row, column, was, becomes):
    return Correction(
        file="echo.csv", row=row, column=column, was=was, becomes=becomes, why="book", who="x",
        when=dt.date(2031, 6, 3),
    )  # fmt: skip


def test_corrections_are_read_in_place_of_what_the_file_has(tmp_path):
    """A cell is mended by row and column, in whichever chunk it stands."""
    mended = (correction(3, "height", "-4", "-4.5"), correction(2, "2", "20.25", "20"))
    for lines in (1, 1000):
        rows, _, faults, _ = read(tmp_path, PLAIN, lines=lines, corrections=mended)
        assert rows == [(10.5, 20.0, -3.125), (11.0, 21.0, -4.5)]
        assert faults == []


@pytest.mark.parametrize(
    "wrong",
    [
        correction(3, "height", "-5", "-4.5"),
        correction(9, "height", "-4", "-4.5"),
        correction(3, "zzz", "-4", "1"),
    ],
    ids=["another value", "no such row", "no such column"],
)
def test_a_correction_that_does_not_fit_is_refused(tmp_path, wrong):
    """What can't be applied is a fault; the file is left as it is."""
    rows, _, faults, _ = read(tmp_path, PLAIN, corrections=(wrong,))
    assert rows == GOOD
    assert [(f.kind, f.severity) for f in faults] == [("correction_refused", "fault")]


def test_a_column_that_stands_twice_is_refused(tmp_path):
    """Two columns of one name can't be told apart."""
    _, _, faults, _ = read(tmp_path, "easting,northing,height,height\n1,2,3,4\n")
    assert [f.kind for f in faults] == ["column_twice"]


@pytest.mark.parametrize("cell", ["x", "inf", "-inf", "1_0", "3.5 m", "0x10", "1e999"])
def test_a_cell_that_is_no_finite_number_is_named_with_its_row(tmp_path, cell):
    """Text, infinity and odd numerals are faults with file, row and the cell itself."""
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
        "easting,northing,depth,at\n1,2,3,2031-06-01T02:00:10\n1,2,3,2031-06-01T02:00:10Z\n"
        "1,2,3,2031-06-01T02:00:10+02:00\n1,2,3,later\n"
    )
    _, _, faults, parts = read(tmp_path, content, meant=clock, vertical="depth", time="at")
    midnight = (dt.date(2031, 6, 1) - dt.date(1970, 1, 1)).days * 86_400.0
    np.testing.assert_allclose(parts[0].time - midnight, [10.0, 7210.0, 10.0])
    assert ("no_time", 5) in [(f.kind, f.row) for f in faults]
