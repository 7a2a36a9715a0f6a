"""What goes to other programs, from whole sites: tables, drawing, styles, rasters."""

import csv
import re

import ezdxf
import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from defusedxml import ElementTree
from rio_cogeo import cog_validate

from sites import CRS, ORIGIN, built, hut_site, survey, write_shapes, write_yaml
from wrackline import contract
from wrackline.publish.style_rules import STYLES
from wrackline.publish.styles import OGC, SE

NUMBER = r"[+-]?\d+(\.\d+)?(,.*)?"
"""A figure, and what follows it where a row isn't split at commas."""


def formulas(results):
    """Return the cells of all tables that begin like a formula, split at whatever sign."""
    found = []
    tables = sorted(results.rglob("*.csv"))
    assert len(tables) > 25
    for table in tables:
        text = table.read_text(encoding="utf-8")
        for separator in ",;\t":
            for row in csv.reader(text.split("\n"), delimiter=separator):
                cells = [cell.strip().lstrip('"') for cell in row]
                found += [
                    (table.name, cell)
                    for cell in cells
                    if cell.startswith(tuple("=+-@＝＋－＠")) and not re.fullmatch(NUMBER, cell)
                ]
    return found


def test_no_cell_of_a_table_is_a_formula(hamlet):
    """However a spreadsheet splits them, no cell begins with what it would run."""
    assert formulas(hamlet / "results") == []


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """Build the hut with texts of the team and of surveyors that a spreadsheet would run."""
    folder = hut_site(tmp_path_factory.mktemp("hostile"))
    jar = shapely.Point(ORIGIN[0] + 16, ORIGIN[1] + 12, -2.9)
    things = folder / "data" / "things.geojson"
    things.unlink()
    words = {"kind": ["@SUM(1)"], "note": ['a;=HYPERLINK("http://x")'], "origin": ["+built"]}
    write_shapes([jar], things, CRS, **words)
    walls = survey("walls", "data/walls.gpkg", "wall_lines", technique="=1+1", note="\t=1")
    surveys = [walls, survey("things", "data/things.geojson", "features", technique="x\n=2")]
    content = {"schema_version": 1, "season": "2031", "surveys": surveys}
    write_yaml(content, folder / "config" / "seasons" / "2031.yaml")
    columns = "easting,northing,what,reading,certainty,who,when,why,evidence"
    row = f"{ORIGIN[0] + 12},{ORIGIN[1] + 12},room,=1+1,certain,-A,2031-07-02,"
    row += "\"=cmd|'/C calc'!A0\",＝1+1"
    (folder / "config" / "interpretations.csv").write_text(f"{columns}\n{row}\n", encoding="utf-8")
    return built(folder, within_s=400)


@pytest.mark.slow
def test_hostile_texts_reach_the_tables_as_texts(hostile):
    """What the registers say stands in the tables, told by an apostrophe; nothing runs."""
    results = hostile / "results"
    assert formulas(results) == []
    readings = pd.read_csv(results / "tables" / "interpretations.csv").iloc[0]
    assert (readings["reading"], readings["who"]) == ("'=1+1", "'-A")
    assert (readings["why"], readings["evidence"]) == ("'=cmd|'/C calc'!A0", "'＝1+1")
    feature = pd.read_csv(results / "tables" / "features.csv").iloc[0]
    assert feature["kind"] == "'@SUM(1)"
    assert feature["note"] == 'a;\'=HYPERLINK("http://x")'
    kinds = gpd.read_file(results / "site.gpkg", layer="features")["kind"]
    assert kinds.tolist() == ["@SUM(1)"]  # the package keeps the word itself


@pytest.mark.slow
def test_hostile_texts_break_no_drawing(hostile):
    """The drawing of such a site is whole, by the audit of the library that reads it."""
    assert ezdxf.readfile(hostile / "results" / "plan.dxf").audit().errors == []


@pytest.fixture(scope="module")
def drawn(hamlet):
    """Return the drawing as GDAL reads it."""
    return pyogrio.read_dataframe(hamlet / "results" / "plan.dxf")


def layer(site, name):
    """Return a layer of a site's package."""
    return gpd.read_file(site / "results" / "site.gpkg", layer=name)


def test_the_drawing_has_each_thing_of_the_plan_once(hamlet, drawn):
    """GDAL reads as many walls, doorways, rooms, contours, features and numbers as there are."""
    found = drawn["Layer"].value_counts()
    walls = layer(hamlet, "wall_lines")["evidence"].value_counts()
    assert found.filter(regex="^walls recorded").sum() == walls["recorded"]
    assert found.filter(regex="^walls inferred").sum() == walls["inferred"]
    doors = layer(hamlet, "openings")["evidence"].value_counts()
    assert found.filter(regex="^doorways").sum() == doors.sum()
    rooms = layer(hamlet, "rooms")
    assert found["room numbers"] == len(rooms)
    assert found["building numbers"] == len(layer(hamlet, "buildings"))
    assert found.filter(regex="^contours").sum() == len(layer(hamlet, "contours"))
    features = layer(hamlet, "features")
    assert found.filter(regex="^features ").sum() == len(features)
    assert set(drawn.loc[drawn["Layer"] == "room numbers", "Text"]) == set(rooms["room"])


def test_the_drawing_lies_where_the_plan_lies(hamlet, drawn):
    """Each recorded wall is read back within a millimetre, heights included; z only where known."""
    walls = layer(hamlet, "wall_lines")
    walls = walls[walls["evidence"] == "recorded"].geometry.to_numpy()
    again = drawn[drawn["Layer"] == "walls recorded"].geometry.to_numpy()
    np.testing.assert_allclose(
        shapely.get_coordinates(again, include_z=True),
        shapely.get_coordinates(walls, include_z=True),
        rtol=0,
        atol=0.001,
    )
    flat = drawn[drawn["Layer"].str.contains("without heights|^rooms|^doorways|^buildings")]
    assert len(flat) > 20
    assert not flat.geometry.has_z.any()


def test_the_drawing_declares_metres_and_carries_the_caution(hamlet):
    """The header's unit is 6, metres; the first lines say what the plan is not for."""
    path = hamlet / "results" / "plan.dxf"
    assert ezdxf.readfile(path).header["$INSUNITS"] == 6
    assert "Not for navigation" in path.read_text(encoding="cp1252")[:2000]


def picked(test, table):
    """Return the rows that a filter of a style picks, as the standard has it."""
    name = test.tag.removeprefix(f"{{{OGC}}}")
    if name == "Or":
        return np.any([picked(one, table) for one in test], axis=0)
    if name == "Not":
        return ~picked(test[0], table)
    column = table[test[0].text]
    known = column.notna().to_numpy()
    if name == "PropertyIsNull":
        return ~known
    return known & (column.astype(object) == test[1].text).to_numpy()


@pytest.mark.parametrize("name", contract.LAYERS)
def test_styles_draw_every_row_once(hamlet, name):
    """Of each group of rules one picks each row, or the rule for the others does."""
    table = layer(hamlet, name)
    root = ElementTree.parse(hamlet / "results" / "styles" / f"{name}.sld").getroot()
    groups = list(root.iter(f"{{{SE}}}FeatureTypeStyle"))
    assert len(groups) == len(STYLES[name])
    for group in groups:
        filters = [rule.find(f"{{{OGC}}}Filter") for rule in group.findall(f"{{{SE}}}Rule")]
        others = len(list(group.iter(f"{{{SE}}}ElseFilter")))
        hits = np.zeros(len(table), dtype=int)
        for asked in filters[: len(filters) - others]:
            hits += 1 if asked is None else picked(asked[0], table)
        assert (hits <= 1).all()
        assert others or (hits == 1).all()


@pytest.mark.slow
def test_every_raster_of_the_demo_is_cloud_optimised(demo):
    """The seabed's rasters and those of its change keep the strict form, without a warning."""
    rasters = sorted((demo / "results").rglob("*.tif"))
    assert len(rasters) > 10
    for path in rasters:
        assert cog_validate(path, strict=True, quiet=True) == (True, [], []), path.name


@pytest.mark.slow
def test_no_cell_of_the_demos_tables_is_a_formula(demo):
    """Nor in the tables of seasons and of changes."""
    assert formulas(demo / "results") == []
