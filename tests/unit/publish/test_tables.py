"""CSV tables, audits, words, manifest: what people open first, and in a spreadsheet."""

import csv

import numpy as np
import pandas as pd
import pytest
from drawn import site
from hypothesis import given
from hypothesis import strategies as st

from wrackline import contract
from wrackline.errors import Fault
from wrackline.io import sha256
from wrackline.model import Season
from wrackline.publish import audits
from wrackline.publish.manifest import manifest
from wrackline.publish.tables import field_list, json_rows, pairs_in, write_csv
from wrackline.publish.words import CAUTION, as_text, statement


def written(tmp_path, **columns):
    """Return the cells of a table as a CSV reader sees them, header first."""
    write_csv(pd.DataFrame(columns), tmp_path / "table.csv")
    with (tmp_path / "table.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.reader(stream))


@pytest.mark.parametrize(
    ("name", "value", "cell"),
    [
        ("depth_m", -0.25, "-0.250"),
        ("depth_m", -0.0, "0.000"),
        ("depth_m", -0.0004, "0.000"),
        ("depth_m", np.nan, ""),
        ("depth_m", None, ""),
        ("depth_m", pd.NA, ""),
        ("floor_area_m2", 12.3456, "12.35"),
        ("axis_deg", 179.999, "180.00"),
        ("recorded_share", 0.98765, "0.988"),
        ("rows", 7, "7"),
        ("kept", True, "True"),
        ("note", "=1+1", "'=1+1"),
        ("note", "+49 30", "'+49 30"),
        ("note", "-5", "'-5"),
        ("note", "-2+3", "'-2+3"),
        ("note", " =1+1", "' =1+1"),
        ("note", "\u00a0\u200b=1+1", "'\u00a0\u200b=1+1"),
        ("note", "\x0b=1+1", "'\x0b=1+1"),
        ("note", "＝1+1", "'＝1+1"),
        ("note", "a;=1+1", "a;'=1+1"),
        ("note", 'a; "=1+1"', 'a;\' "=1+1"'),
        ("note", "a\t=1+1", "a\t'=1+1"),
        ("note", "a\n=1+1", "a\n'=1+1"),
        ("note", "=cmd|'/C calc'!A0", "'=cmd|'/C calc'!A0"),
        ("note", "@SUM(A1)", "'@SUM(A1)"),
        ("note", "\tx", "\tx"),
        ("note", "\t=x", "\t'=x"),
        ("note", "\r=1", "\n'=1"),
        ("note", "a\rb\r\nc", "a\nb\nc"),
        ("note", "\n=1", "\n'=1"),
        ("note", "a=b", "a=b"),
        ("note", 'one, "two"\nthree', 'one, "two"\nthree'),
        ("note", "Mörtel, 床", "Mörtel, 床"),
    ],
)
def test_a_cell_holds_what_it_means_and_no_formula(tmp_path, name, value, cell):
    """Null is an empty cell, −0 is 0; a text that a spreadsheet would run gets an apostrophe."""
    column = pd.Series([value], dtype=object)
    assert written(tmp_path, survey=["2031-a"], **{name: column}) == [
        ["survey", name],
        ["2031-a", cell],
    ]


def cells_of(text, separator, quoting):
    """Return the cells that a spreadsheet has of a file that it splits as told."""
    return [
        cell
        for row in csv.reader(text.split("\n"), delimiter=separator, quoting=quoting)
        for cell in row
    ]


SIGNS = st.text(st.sampled_from("=+-@＝＠;,\t\n\r \"'\u00a0\u200b\x0b10.a"), max_size=12)


@given(st.lists(st.tuples(SIGNS, SIGNS), min_size=1, max_size=3))
def test_however_a_spreadsheet_splits_it_no_cell_is_a_formula(tmp_path_factory, rows):
    """Split at commas, semicolons or tabs, quotes heeded or not, all that begins is a text.

    What spreadsheets take for a formula, also behind blanks and signs that don't show, was tried
    with one of them; full-width signs and semicolons are common practice, no source.
    """
    path = tmp_path_factory.getbasetemp() / "split.csv"
    write_csv(pd.DataFrame(rows, columns=["name", "note"]), path)
    text = path.read_text(encoding="utf-8")
    for separator in ";\t":
        for quoting in (csv.QUOTE_MINIMAL, csv.QUOTE_NONE):
            assert not [cell for cell in cells_of(text, separator, quoting) if formula(cell)]
    with path.open(encoding="utf-8", newline="") as stream:
        assert not [cell for row in csv.reader(stream) for cell in row if formula(cell)]


def formula(cell):
    """Tell whether a text may be run: what shows of it first is a sign."""
    shown = "".join(sign for sign in cell if sign.isprintable() and not sign.isspace())
    return shown.lstrip('"').startswith(tuple("=+-@＝＋－＠"))


def test_a_header_is_no_formula_either(tmp_path):
    """A column's name is guarded like a text."""
    assert written(tmp_path, **{"=1+1": [1]})[0] == ["'=1+1"]


def test_cells_that_some_would_split_stand_in_quotes(tmp_path):
    """A semicolon in a list of surveys parts no cells where a program splits at semicolons too."""
    write_csv(pd.DataFrame({"room": ["R1"], "surveys": ["a;b"]}), tmp_path / "table.csv")
    assert (tmp_path / "table.csv").read_text() == 'room,surveys\nR1,"a;b"\n'


@pytest.mark.parametrize(
    ("value", "sd", "cells"),
    [
        (12.3456, 0.312, ["12.35", "0.31"]),
        (12.3456, 0.367, ["12.3", "0.4"]),
        (1234.5, 48.0, ["1230", "50"]),
        (-0.0004, 0.02, ["0.000", "0.020"]),
        (12.3456, 0.0, ["12.35", "0.00"]),
        (12.3456, None, ["12.35", ""]),
        (12.3456, np.nan, ["12.35", ""]),
        (None, 0.312, ["", "0.31"]),
        (None, None, ["", ""]),
    ],
)
def test_a_figure_is_printed_to_the_place_that_its_sd_supports(tmp_path, value, sd, cells):
    """Both stand to the same place; where the sd says nothing, the unit's decimals stay."""
    columns = {"floor_area_m2": [value], "room": ["R1"], "floor_area_sd_m2": [sd]}
    _, row = written(tmp_path, **columns)
    assert row == [cells[0], "R1", cells[1]]


def test_each_row_has_its_own_place(tmp_path):
    """A good and a poor figure of one column keep the digits that each supports."""
    rows = written(tmp_path, top_depth_m=[3.14159, 3.14159], top_depth_sd_m=[0.002, 0.4])
    assert rows[1:] == [["3.1416", "0.0020"], ["3.1", "0.4"]]


def test_stated_errors_of_surveys_are_no_pairs(tmp_path):
    """Columns with an sd in their name but no figure beside them keep the unit's decimals."""
    rows = written(tmp_path, random_horizontal_sd_m=[0.05], rows=[7])
    assert rows[1] == ["0.050", "7"]


def test_pairs_whose_names_do_not_say_so_are_told(tmp_path):
    """Mean and median of a comparison are rounded by the one sd beside them."""
    columns = {name: [0.03456] for name in (*audits.OVERLAP_PAIRS, "nmad_m")} | {"sd_m": [0.05]}
    write_csv(pd.DataFrame(columns), tmp_path / "table.csv", pairs=audits.OVERLAP_PAIRS)
    assert (tmp_path / "table.csv").read_text() == (
        "mean_m,median_m,nmad_m,sd_m\n0.03,0.03,0.035,0.05\n"
    )


def test_every_pair_of_the_layers_and_tables_is_found():
    """Each field that the contract pairs with its standard uncertainty is printed by it."""
    for name, fields in {**contract.LAYERS, **contract.TABLES, **contract.PICTURES}.items():
        names = [field.name for field in fields]
        told = [f.meaning.split("standard uncertainty of ")[-1] for f in fields if "_sd_" in f.name]
        assert {value for value in told if value in names} <= set(pairs_in(names)), name
    assert pairs_in(["axis_deg", "axis_sd_deg", "sd_m", "depth_m"]) == {"axis_deg": "axis_sd_deg"}


def test_rows_for_json_keep_all_digits_and_tell_nothing_from_nan():
    """What is missing is null, be it None, NaN or NA; figures are not rounded."""
    table = pd.DataFrame({"a": [1.23456789, np.nan], "b": [None, "x"], "c": [pd.NA, 3]})
    assert json_rows(table) == [
        {"a": 1.23456789, "b": None, "c": None},
        {"a": None, "b": "x", "c": 3},
    ]


def test_geometries_are_left_out(tmp_path):
    """A table's geometry is in the GeoPackage, not in its CSV."""
    assert written(tmp_path, room=["R1"], geometry=["POINT (0 0)"]) == [["room"], ["R1"]]


def test_a_table_of_no_rows_has_its_header(tmp_path):
    """A layer without rows is a header and nothing else."""
    empty = pd.DataFrame(columns=["room", "floor_area_m2"])
    write_csv(empty, tmp_path / "deep" / "rooms.csv")
    assert (tmp_path / "deep" / "rooms.csv").read_bytes() == b"room,floor_area_m2\n"


def test_the_field_list_has_every_field_of_every_layer():
    """Each field stands once for each layer, table and picture, with unit and meaning."""
    table = field_list()
    fields = [*contract.LAYERS.values(), *contract.TABLES.values(), *contract.PICTURES.values()]
    assert len(table) == sum(map(len, fields))
    row = table.loc[(table["layer"] == "rooms") & (table["field"] == "bed_depth_m")].iloc[0]
    assert (row["unit"], row["meaning"]) == ("m", "median depth of the seabed in it")


def test_changes_are_listed_season_by_season():
    """Each event is one row, the fields in the order that the field list has them."""
    gone = {"season": "2032", "what": "room", "event": "gone", "number": "R1", "parents": "R1"}
    split = {"season": "2033", "what": "room", "event": "split", "number": "R2", "share": 0.5}
    table = audits.change_table({"2032": [gone], "2033": [split]})
    assert table["number"].tolist() == ["R1", "R2"]
    assert list(table.columns) == [field.name for field in contract.TABLES["changes"]]


def test_suspicions_are_listed_in_four_parts():
    """Each keeps its four parts, file, row and place, and whether a person accepted it."""
    doubt = Fault("odd", "a", "b", "c", "d", "x.csv", 3, "2031-a", "suspicion", (5.0, 6.0), 2.5)
    both = {"suspicions": [doubt.as_dict()], "accepted": [doubt.as_dict()]}
    rows = audits.suspicion_table(both).to_numpy().tolist()
    said = ["2031-a", "x.csv", 3, "odd", "a", "b", "c", "d", 5.0, 6.0, 2.5]
    assert rows == [[*said, False], [*said, True]]


@pytest.mark.parametrize(
    "table",
    [
        audits.change_table({}),
        audits.suspicion_table({"suspicions": [], "accepted": []}),
        audits.overlap_table({"pairs": []}),
        audits.accuracy_table({"surveys": []}),
    ],
)
def test_audits_of_nothing_are_headers(table):
    """Without soundings, overlaps, doubts or changes a table has its columns and no row."""
    assert len(table) == 0
    assert len(table.columns) > 3


def test_a_survey_has_a_limit_and_an_answer_for_each_order():
    """An order of S-44 becomes two columns: its limit, and whether it is kept."""
    order = {"order": "special", "tvu_max_m": 0.25, "kept": True}
    one = dict.fromkeys(audits.ACCURACY, 1) | {"s44": [order], "notes": ["a", "b"]}
    row = audits.accuracy_table({"surveys": [one]}).iloc[0]
    assert (row["s44_special_limit_m"], row["s44_special_kept"], row["notes"]) == (
        0.25,
        True,
        "a; b",
    )


def test_the_composite_comes_last_among_the_surveys():
    """Its row has the same columns; a site without one has none."""
    one = dict.fromkeys(audits.ACCURACY, 1) | {"s44": [], "notes": []}
    whole = {"surveys": [one], "composite": {**one, "survey": "composite"}}
    assert list(audits.accuracy_table(whole)["survey"]) == [1, "composite"]
    assert list(audits.accuracy_table({**whole, "composite": None})["survey"]) == [1]


SEASON = Season.model_validate(
    {
        "schema_version": 1,
        "season": "2031",
        "surveys": [
            {
                "name": name,
                "technique": "any",
                "holds": "wall_lines",
                "file": "a.gpkg",
                "crs": "EPSG:32625",
                "from_date": first,
                "to_date": last,
                "vertical": {"meaning": "height"},
                "random_horizontal_sd_m": 0.03,
                "random_vertical_sd_m": 0.02,
            }
            for name, first, last in (
                ("a", "2031-06-03", "2031-06-05"),
                ("b", "2031-06-01", "2031-06-02"),
            )
        ],
    }
)


def test_the_statement_tells_units_datum_level_dates_and_caution():
    """Beside every figure stand datum, sea level with its sign, first and last day, caution."""
    parts = statement(site(level=-0.25), {"2031": SEASON})
    assert parts["depths"].startswith("below msl, -0.250 m (sd 0.000 m) from the datum")
    assert parts["surveyed"] == "2031-06-01 to 2031-06-05"
    assert parts["caution"] == CAUTION
    assert all(f"{topic}:" in as_text(parts) for topic in parts)


def test_the_manifest_lists_each_product_with_its_checksum(tmp_path):
    """Names are relative to the folder, in order, with size and SHA-256."""
    for name in ("b.csv", "a/c.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(name)
    files = [tmp_path / "b.csv", tmp_path / "a/c.csv"]
    listed = manifest(files, tmp_path, {"site": "invented"})
    assert list(listed["files"]) == ["a/c.csv", "b.csv"]
    assert listed["files"]["b.csv"] == {"sha256": sha256(tmp_path / "b.csv"), "bytes": 5}
    assert listed["about"] == {"site": "invented"}
