"""Corrections of single cells: applied where the cell is as expected, refused anywhere else."""

import datetime as dt

import geopandas as gpd
import pyogrio
import pytest
import shapely

from wrackline.intake.corrections import line_corrections
from wrackline.intake.items import read_items
from wrackline.model import Correction, Survey, Vertical
from wrackline.verdict import Source

CRS, ORIGIN = "EPSG:32625", (324400.0, 4207600.0)
TABLE = "easting,northing,height,kind\n324410,4207610,-2.5,jar\n324411,4207611,25,bowl\n"


def correction(row, column, was, becomes, file="finds.csv"):
    return Correction(
        file=file,
        row=row,
        column=column,
        was=was,
        becomes=becomes,
        why="field book p. 14",
        who="A. Diver",
        when=dt.date(2031, 7, 1),
    )


def read(folder, *corrections, file="finds.csv", holds="finds"):
    survey = Survey(
        name="finds",
        technique="tape",
        holds=holds,
        file=file,
        crs=CRS,
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=Vertical(meaning="height"),
        random_horizontal_sd_m=0.03,
        random_vertical_sd_m=0.02,
    )
    source = Source("2031-finds", survey, folder, corrections=tuple(corrections))
    return read_items(source, crs=CRS, origin=ORIGIN)


@pytest.mark.parametrize("column", ["height", "Height", "3"])
def test_a_cell_of_a_table_is_put_right(tmp_path, column):
    """A correction that finds what it expects changes the one cell, its column named or counted."""
    (tmp_path / "finds.csv").write_text(TABLE)
    items, verdict = read(tmp_path, correction(3, column, "25", "-2.5"))
    assert verdict.faults == []
    assert [point.z for point in items.geometry] == [-2.5, -2.5]


@pytest.mark.parametrize(
    ("bad", "found"),
    [
        (correction(3, "height", "-25", "-2.5"), "'25' in column 'height'"),
        (correction(9, "height", "25", "-2.5"), "no row 9"),
        (correction(1, "height", "height", "z"), "no row 1"),
        (correction(3, "heigth", "25", "-2.5"), "no column 'heigth'"),
        (correction(3, "5", "25", "-2.5"), "no column '5'"),
    ],
)
def test_a_correction_that_does_not_fit_stops_the_run(tmp_path, bad, found):
    """Another value, row or column than expected is a fault that says both values."""
    (tmp_path / "finds.csv").write_text(TABLE)
    _, verdict = read(tmp_path, bad)
    assert [(f.kind, f.row) for f in verdict.faults] == [("correction_refused", bad.row)]
    assert found in verdict.faults[0].found
    assert f"'{bad.was}'" in verdict.faults[0].found


def drawing(folder):
    table = gpd.GeoDataFrame(
        {"kind": ["jra", None], "nr": [7.0, 8.0]},
        geometry=[shapely.Point(324410, 4207610, -2), shapely.Point(324411, 4207611, -2)],
        crs=CRS,
    )
    pyogrio.write_dataframe(table, folder / "finds.gpkg")


def test_an_attribute_of_a_drawing_is_put_right(tmp_path):
    """Features are counted from 1; an empty attribute is expected as an empty text."""
    drawing(tmp_path)
    mend = [correction(1, "kind", "jra", "jar"), correction(2, "kind", "", "bowl")]
    items, verdict = read(tmp_path, *mend, file="finds.gpkg")
    assert verdict.faults == []
    assert items["kind"].tolist() == ["jar", "bowl"]


@pytest.mark.parametrize(
    ("bad", "found"),
    [
        (correction(1, "geometry", "", "POINT (1 1)"), "a geometry"),
        (correction(3, "kind", "jra", "jar"), "no feature 3"),
        (correction(1, "kidn", "jra", "jar"), "no attribute 'kidn'"),
        (correction(1, "nr", "6", "5"), "'7' in column 'nr'"),
    ],
)
def test_a_correction_of_a_drawing_that_does_not_fit_stops_the_run(tmp_path, bad, found):
    """Shapes can't be corrected by a cell; neither can attributes or features that aren't there."""
    drawing(tmp_path)
    _, verdict = read(tmp_path, bad, file="finds.gpkg")
    assert [fault.kind for fault in verdict.faults] == ["correction_refused"]
    assert found in verdict.faults[0].found


def test_corrections_are_listed_by_line_for_bulk_readers(tmp_path):
    """Readers of many lines get the corrections of each row together."""
    mend = (
        correction(3, "1", "a", "b"),
        correction(3, "2", "c", "d"),
        correction(5, "1", "e", "f"),
    )
    found = line_corrections(Source("2031-finds", None, tmp_path, corrections=mend))
    assert {row: len(ones) for row, ones in found.items()} == {3: 2, 5: 1}
