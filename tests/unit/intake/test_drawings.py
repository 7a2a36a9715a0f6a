"""Drawings: DXF layers, units, blocks and texts, Shapefiles with parts missing.

DXF group codes: 0 entity, 2 name, 8 layer, 9 header variable, 10 to 31 coordinates, 70 integer
value; $INSUNITS 1 inch, 2 foot, 4 mm, 5 cm, 6 m, 0 none (from memory).
"""

import geopandas as gpd
import pyogrio
import pytest
import shapely
from items_read import CRS, E0, N0, kinds, read_file

from wrackline.intake.drawings import drawing_unit_m
from wrackline.model import Columns


def line(layer, y=0.0, factor=1.0):
    x0, x1, north = E0 / factor, (E0 + 5) / factor, (N0 + y) / factor
    return f"0\nLINE\n8\n{layer}\n10\n{x0}\n20\n{north}\n30\n-2\n11\n{x1}\n21\n{north}\n31\n-2\n"


def label(layer):
    return f"0\nTEXT\n8\n{layer}\n10\n{E0}\n20\n{N0}\n30\n-2\n40\n0.2\n1\nwall 7\n"


def symbol(layer):
    return f"0\nINSERT\n8\n{layer}\n2\nJAR\n10\n{E0 + 1}\n20\n{N0}\n30\n-2.5\n"


BLOCK = (
    "0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n8\n0\n2\nJAR\n70\n0\n10\n0\n20\n0\n30\n0\n"
    "0\nLINE\n8\n0\n10\n0\n20\n0\n11\n1\n21\n1\n0\nENDBLK\n0\nENDSEC\n"
)


def dxf(folder, *entities, units=None):
    """Write a DXF of some entities, with a unit in its header."""
    variable = "" if units is None else f"9\n$INSUNITS\n70\n{units:6d}\n"
    head = f"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n{variable}0\nENDSEC\n"
    body = "0\nSECTION\n2\nENTITIES\n" + "".join(entities) + "0\nENDSEC\n0\nEOF\n"
    (folder / "plan.dxf").write_text(head + BLOCK + body)
    return "plan.dxf"


def test_drawing_layers_are_picked(tmp_path):
    """Only the picked layers of a drawing are read, rows counted through the whole drawing."""
    name = dxf(tmp_path, line("GRID"), line("WALLS", 1), line("WALLS-2", 2))
    items, verdict = read_file(tmp_path, name, pick=["walls"])
    assert kinds(verdict) == ([], [])
    assert items["row"].tolist() == [2]
    assert (verdict.rows, verdict.used) == (3, 1)


def test_a_wrong_drawing_layer_is_named_with_the_nearest(tmp_path):
    """A picked layer that isn't there is a fault which lists those that are."""
    name = dxf(tmp_path, line("WALLS"), line("GRID", 1))
    _, verdict = read_file(tmp_path, name, pick=["WALL"])
    assert "pick_unknown" in kinds(verdict)[0]
    assert (verdict.faults[0].allowed, "'WALLS'" in verdict.faults[0].remedy) == (
        "those of the file: GRID, WALLS",
        True,
    )


def test_texts_are_passed_over_and_blocks_named(tmp_path):
    """Labels are no walls; symbols are left out of walls with a suspicion that counts them."""
    name = dxf(tmp_path, line("WALLS"), label("WALLS"), symbol("WALLS"), symbol("WALLS"))
    items, verdict = read_file(tmp_path, name)
    assert len(items) == 1
    assert kinds(verdict) == ([], ["blocks_skipped"])
    assert verdict.suspicions[0].found.startswith("2 ")


def test_symbols_are_points_where_points_are_asked_for(tmp_path):
    """Finds that were drawn as symbols lie where those were inserted."""
    name = dxf(tmp_path, symbol("JARS"), label("JARS"))
    items, verdict = read_file(tmp_path, name, holds="finds")
    assert kinds(verdict) == ([], [])
    assert shapely.get_coordinates(items.geometry, include_z=True).tolist() == [[E0 + 1, N0, -2.5]]
    assert items["kind"].tolist() == ["JARS"]


@pytest.mark.parametrize(
    ("units", "unit", "said"),
    [
        (6, None, ([], [])),
        (0, None, ([], [])),
        (None, None, ([], [])),
        (4, None, (["drawing_unit"], [])),
        (1, "foot", ([], ["drawing_unit"])),
        (2, "us_survey_foot", ([], [])),
        (4, "millimetre", ([], [])),
    ],
)
def test_the_unit_that_a_drawing_declares_is_held_against_the_config(tmp_path, units, unit, said):
    """Another unit than metres must be confirmed in the config; a person's word then stands."""
    factor = {"foot": 0.3048, "us_survey_foot": 1200 / 3937, "millimetre": 0.001}.get(unit, 1.0)
    name = dxf(tmp_path, line("WALLS", factor=factor), units=units)
    items, verdict = read_file(tmp_path, name, unit=unit)
    assert kinds(verdict) == said
    assert drawing_unit_m(tmp_path / name) == {6: 1.0, 4: 0.001, 1: 0.0254, 2: 0.3048}.get(units)
    if not said[0]:
        assert items.geometry.length.tolist() == [pytest.approx(5.0)]


@pytest.mark.parametrize("ending", [".shx", ".dbf"])
def test_a_shapefile_without_one_of_its_files_is_refused(tmp_path, ending):
    """A Shapefile is several files; the one that was not copied is named."""
    table = gpd.GeoDataFrame({"a": [1]}, geometry=[shapely.LineString([(E0, N0), (E0, N0 + 1)])])
    pyogrio.write_dataframe(table.set_crs(CRS), tmp_path / "walls.shp")
    (tmp_path / f"walls{ending}").unlink()
    _, verdict = read_file(tmp_path, "walls.shp")
    assert kinds(verdict)[0] == ["shapefile_part_missing"]
    assert ending in verdict.faults[0].found


def test_marks_of_no_value_are_taken_out_of_drawn_heights(tmp_path):
    """Heights that the config calls no value are missing, and those beside them stay."""
    walls = [shapely.LineString([(E0, N0, -999), (E0 + 1, N0, -2), (E0 + 2, N0, -2)])]
    pyogrio.write_dataframe(gpd.GeoDataFrame(geometry=walls, crs=CRS), tmp_path / "walls.gpkg")
    _, verdict = read_file(tmp_path, "walls.gpkg", columns=Columns(no_value=["-999"]))
    assert kinds(verdict) == ([], ["no_heights"])
    assert verdict.vertical == [-2, -2]
