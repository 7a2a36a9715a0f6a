"""CSV tables, audits, words, manifest: what people open first, and in a spreadsheet."""

import csv

import numpy as np
import pandas as pd
import pytest
from drawn import site

from wrackline import contract
from wrackline.errors import Fault
from wrackline.io import sha256
from wrackline.model import Season
from wrackline.publish import audits
from wrackline.publish.manifest import manifest
from wrackline.publish.tables import field_list, write_csv
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
        ("note", "@SUM(A1)", "'@SUM(A1)"),
        ("note", "\tx", "'\tx"),
        ("note", "\r=1", "'\n=1"),
        ("note", "a\rb\r\nc", "a\nb\nc"),
        ("note", "\n=1", "'\n=1"),
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


def test_geometries_are_left_out(tmp_path):
    """A table's geometry is in the GeoPackage, not in its CSV."""
    assert written(tmp_path, room=["R1"], geometry=["POINT (0 0)"]) == [["room"], ["R1"]]


def test_a_table_of_no_rows_has_its_header(tmp_path):
    """A layer without rows is a header and nothing else."""
    empty = pd.DataFrame(columns=["room", "floor_area_m2"])
    write_csv(empty, tmp_path / "deep" / "rooms.csv")
    assert (tmp_path / "deep" / "rooms.csv").read_bytes() == b"room,floor_area_m2\n"


def test_the_field_list_has_every_field_of_every_layer():
    """Each field stands once for each layer, with unit and meaning."""
    table = field_list()
    assert len(table) == sum(map(len, contract.LAYERS.values()))
    row = table.loc[(table["layer"] == "rooms") & (table["field"] == "bed_depth_m")].iloc[0]
    assert (row["unit"], row["meaning"]) == ("m", "median depth of the seabed in it")


def test_changes_are_listed_by_season_and_layer():
    """What is new or lost after a season is one row each; what is kept is none."""
    change = {"new": ["R2"], "lost": ["R1"], "kept": ["R3"], "used": ["R1", "R2", "R3"]}
    table = audits.change_table({"2032": {"rooms": change}})
    assert table.to_numpy().tolist() == [
        ["2032", "rooms", "R2", "new"],
        ["2032", "rooms", "R1", "lost"],
    ]


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
