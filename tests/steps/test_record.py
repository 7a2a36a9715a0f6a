"""The record in `results/`: what people's own programs rely on when they open it."""

import csv
import hashlib
import re

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from pyproj import CRS
from rio_cogeo import cog_validate

from wrackline import contract
from wrackline.config import load_site
from wrackline.io import read_json

SURFACE_UNITS = {"height": "m", "sd": "m", "count": "1", "source": "1"}
VIEW_UNITS = {
    "slope": "degree",
    "hillshade": "1",
    "shade_around": "1",
    "local_relief": "m",
    "openness": "degree",
}
RASTER_UNITS = SURFACE_UNITS | VIEW_UNITS
RASTERS = tuple(RASTER_UNITS)
TOPICS = ("crs", "units", "vertical_datum", "depths", "uncertainties", "surveyed", "caution")
# A number's name ends in its unit; these have none, or are metres by the project's convention.
UNITS = ("_m", "_m2", "_deg")
MEASURES = ("control", "mean_steps", "integration")
MEASURES += ("relative_asymmetry", "real_relative_asymmetry")
BARE = {
    *("easting", "northing", "elongation", "support", "room_count", "probability", "matrix_b"),
    *("rows", "used", "weight", "cells", "filled_cells", "row", "p"),
    *(f"{name}_{end}" for name in MEASURES for end in ("low", "high")),
}
OF_A_SEASON = ("figures_moved", "to_decide")
OF_TWO_SEASONS = ("figures_moved", "seabed_change", "seabed_change_areas")
# Null where there is nothing to tell, by the field's own meaning.
MAY_BE_EMPTY = {
    "wall_lines": {"closing", "gap_m", "traced_at"},
    "rooms": {"building"},
    "features": {"room", "origin", "line", "note"},
    "tracings": {"why"},
}
# Fields that are null together, explained once by the first.
TOGETHER = {
    "floor_depth_m": ("floor_evidence",),
    "bed_depth_m": ("bed_depth_min_m", "bed_depth_max_m", "bed_date"),
}


@pytest.fixture(scope="module")
def results(hamlet):
    """Return the folder of the demo's products."""
    return hamlet / "results"


@pytest.fixture(scope="module")
def config(hamlet):
    """Return the demo's config."""
    return load_site(hamlet)


@pytest.fixture(scope="module")
def layers(results):
    """Return every layer of the site's GeoPackage by name."""
    return {name: gpd.read_file(results / "site.gpkg", layer=name) for name in contract.LAYERS}


def tables(results, folder="tables"):
    """Return header and rows of every CSV of a folder by name."""
    found = {}
    for path in sorted((results / folder).glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as stream:
            header, *rows = csv.reader(stream)
        found[path.stem] = header, rows
    return found


@pytest.mark.parametrize("layer", contract.LAYERS)
def test_layers_have_the_contracts_fields(layers, config, layer):
    """Each layer has the contract's fields in its order, rows, and the site's CRS."""
    table = layers[layer]
    assert list(table.columns) == [*contract.columns(layer), "geometry"]
    assert len(table) or layer in OF_TWO_SEASONS
    assert CRS(table.crs) == CRS(config.site.crs)


def test_season_packages_hold_the_plan(results, layers):
    """The plan of the last season is the site's own."""
    for layer in (*contract.PLAN_LAYERS, *contract.BESIDE_PLAN):
        season = gpd.read_file(results / "seasons" / "2031" / "plan.gpkg", layer=layer)
        assert season.drop(columns="geometry").equals(layers[layer].drop(columns="geometry"))
        assert (season.geometry == layers[layer].geometry).all()


def test_numbers_are_unique(layers):
    """No two rooms, buildings, walls, openings or features bear one number."""
    for layer, field in (
        ("wall_lines", "wall"),
        ("rooms", "room"),
        ("buildings", "building"),
        ("openings", "opening"),
        ("features", "feature"),
        ("surveys", "survey"),
    ):
        assert layers[layer][field].is_unique, layer


def test_everything_names_surveys_that_exist(layers, config):
    """Every row of the plan names one or more surveys of the config, and seasons of it."""
    for layer in ("wall_lines", "wall_bodies", "openings", "rooms", "buildings"):
        for named in layers[layer]["surveys"]:
            assert named
            assert set(named.split(";")) <= set(config.surveys), layer
    assert set(layers["features"]["survey"]) <= set(config.surveys)
    for layer in ("wall_lines", "openings", "rooms", "buildings"):
        for field in ("first_season", "last_season"):
            assert set(layers[layer][field]) <= set(config.seasons)


def test_everything_names_lines_that_exist(layers, config, hamlet):
    """Lines that walls and rooms were drawn from are in the survey files, by number or row."""
    known = set()
    for name in config.holding("wall_lines"):
        survey = config.surveys[name]
        file = gpd.read_file(hamlet / survey.file, layer=survey.layer)
        known |= {f"{name}/{line}" for line in file["line"].dropna()}
        known |= {f"{name}/#{row}" for row in range(1, len(file) + 1)}
    for layer in ("wall_lines", "rooms"):
        for named in layers[layer]["lines"]:
            assert named
            assert set(named.split(";")) <= known, layer


def test_references_between_layers_hold(layers):
    """Rooms name buildings, openings and features name rooms, bodies name walls that are there."""
    rooms, walls = set(layers["rooms"]["room"]), set(layers["wall_lines"]["wall"])
    assert set(layers["rooms"]["building"].dropna()) == set(layers["buildings"]["building"])
    assert set(layers["features"]["room"].dropna()) <= rooms
    for named in layers["openings"]["joins"]:
        assert set(named.split(";")) <= rooms | {"outside"}
    for named in layers["wall_bodies"]["wall"]:
        assert set(named.split(";")) <= walls


@pytest.mark.parametrize("layer", [name for name in contract.LAYERS if name != "contours"])
def test_what_is_null_says_why(layers, layer):
    """A field without value is named in its row's `null_because`, alone or with its figure."""
    table = layers[layer]
    if "null_because" not in table:
        assert not table.isna().to_numpy().any()
        return
    needed = [name for name in contract.columns(layer) if name not in MAY_BE_EMPTY.get(layer, ())]
    unexplained = {
        field
        for _, row in table.iterrows()
        for field in needed
        if _is_null(row[field]) and not _told(field, str(row["null_because"]))
    }
    assert unexplained == set()


def _is_null(value):
    return value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value))


def _told(field, said):
    """Return whether a text names a field, the figure that it belongs to, or its group's head."""
    heads = [head for head, others in TOGETHER.items() if field in others]
    names = [field, re.sub(r"_sd_(\w+)$", r"_\1", field), *heads]
    return any(name in said for name in names)


def test_nothing_is_zero_for_want_of_a_value(layers):
    """Where `null_because` explains a figure, the figure is null and not 0."""
    for layer in contract.PLAN_LAYERS:
        table = layers[layer]
        for field, kind in contract.columns(layer).items():
            if kind == "real":
                told = table["null_because"].str.contains(f"{field}:", regex=False, na=False)
                assert table.loc[told, field].isna().all(), f"{layer}.{field}"


def test_figures_have_their_sd(layers):
    """Whatever has a value in a measured field has an sd above zero beside it."""
    for layer, table in layers.items():
        for field in contract.columns(layer):
            stem, _, unit = field.rpartition("_")
            if f"{stem}_sd_{unit}" in table and table[field].notna().any():
                measured = table[field].notna()
                if layer == "wall_lines" and field == "axis_deg":
                    measured &= table["evidence"] == "recorded"
                assert (table.loc[measured, f"{stem}_sd_{unit}"] > 0).all(), f"{layer}.{field}"


def test_shares_and_angles_keep_their_bounds(layers):
    """Shares lie from 0 to 1, axes from 0 to 180 degrees, a building's to 90."""
    rooms = layers["rooms"]
    assert rooms["recorded_share"].between(0, 1).all()
    assert rooms["bed_covered_share"].between(0, 1).all()
    assert rooms["axis_deg"].between(0, 180, inclusive="left").all()
    assert layers["buildings"]["axis_deg"].between(0, 90, inclusive="left").all()
    assert (rooms["elongation"] >= 1).all()


def test_recorded_walls_keep_heights_and_closings_have_none(layers):
    """Recorded lines have a height at every vertex, inferred ones at none."""
    walls = layers["wall_lines"]
    recorded = (walls["evidence"] == "recorded").to_numpy()
    shapes = walls.geometry.to_numpy()
    for chosen, expected in ((recorded, True), (~recorded, False)):
        z = shapely.get_coordinates(shapes[chosen], include_z=True)[:, 2]
        assert chosen.any()
        assert (np.isfinite(z) == expected).all()


@pytest.mark.parametrize("name", RASTERS)
def test_rasters(results, config, name):
    """Rasters are valid COGs of float32 with nodata, unit, CRS, datum, sea level and dates."""
    path = results / "seabed" / f"{name}.tif"
    assert cog_validate(path, strict=True, quiet=True) == (True, [], [])
    with rasterio.open(path) as raster:
        assert raster.dtypes == ("float32",)
        assert raster.nodata == -9999
        assert (raster.descriptions, raster.units) == ((name,), (RASTER_UNITS[name],))
        assert CRS.from_wkt(raster.crs.to_wkt()) == CRS(config.site.crs)
        assert raster.transform.e == -raster.transform.a == -config.site.seabed.cell_m
        tags = raster.tags()
        assert max(raster.shape) <= 512 or raster.overviews(1)
    assert tags["vertical_datum"] == config.site.vertical_datum
    assert config.site.depths_below in tags["depths"]
    assert "Not for navigation" in tags["caution"]
    assert ("view" in tags) == (name in VIEW_UNITS)
    for survey in config.point_surveys:
        assert f"{survey}: {config.surveys[survey].from_date}" in tags["surveyed"]


def test_rasters_lie_on_one_grid(results, config):
    """All rasters have the same cells, counted from the site's origin."""
    frames = set()
    for name in RASTERS:
        with rasterio.open(results / "seabed" / f"{name}.tif") as raster:
            frames.add((raster.shape, raster.transform))
    ((_, transform),) = frames
    steps = np.subtract((transform.c, transform.f), config.site.origin) / config.site.seabed.cell_m
    np.testing.assert_array_equal(steps, np.rint(steps))


@pytest.mark.parametrize("layer", contract.LAYERS)
def test_tables_have_the_contracts_fields(results, layers, layer):
    """Each layer's CSV has the contract's fields as its header and as many rows as the layer."""
    header, rows = tables(results)[layer]
    assert header == list(contract.columns(layer))
    assert len(rows) == len(layers[layer])


@pytest.mark.parametrize("table", contract.TABLES)
def test_tables_beside_the_layers_have_the_contracts_fields(results, table):
    """Tables that follow from the plan have the contract's fields as their header, and rows."""
    folder = "seasons/2031" if table in OF_A_SEASON else "tables"
    header, rows = tables(results, folder)[table]
    assert header == list(contract.table_columns(table))
    assert rows or table in OF_TWO_SEASONS


def test_the_summary_is_the_same_in_json_and_in_its_table(results):
    """Figures stand in one order and are shown alike; a floor or grave never gives a level."""
    summary = read_json(results / "summary.json")
    header, rows = tables(results)["summary"]
    shown = [row[header.index("shown")].removeprefix("'") for row in rows]
    assert [figure["shown"] for figure in summary["figures"]] == shown
    limits = [row for row in summary["sea_level"] if "limiting" in row["indication"]]
    assert limits
    assert all(row["sea_level_m"] is None for row in limits)


def test_headers_carry_units(results):
    """A column of fractions ends in its unit, is a share, or is named as one that has none."""
    bare = set()
    for name, (header, rows) in tables(results).items():
        for k, column in enumerate(header):
            cells = [row[k] for row in rows if row[k]]
            number = bool(cells) and all(re.fullmatch(r"-?\d+\.\d+", cell) for cell in cells)
            if number and not column.endswith((*UNITS, "_share")) and column not in BARE:
                bare.add(f"{name}.{column}")
    assert bare == set()


def test_units_stand_in_names():
    """Every field of the contract with a unit has that unit at the end of its name."""
    for layer, fields in contract.LAYERS.items():
        for field in fields:
            if field.unit:
                assert field.name.endswith(f"_{field.unit}"), f"{layer}.{field.name}"
            elif field.kind == "real":
                assert field.name in BARE or field.name.endswith("_share"), field.name


def test_list_of_fields(results):
    """Beside the tables stands a list of all fields with type, unit and meaning."""
    header, rows = tables(results)["fields"]
    assert header == ["layer", "field", "type", "unit", "meaning"]
    beside = {f"pictures/{name}": fields for name, fields in contract.PICTURES.items()}
    told = {**contract.LAYERS, **contract.TABLES, **beside}
    expected = [
        [layer, field.name, field.kind, field.unit, field.meaning]
        for layer, fields in told.items()
        for field in fields
    ]
    assert rows == expected
    assert all(row[4] for row in rows)


def test_statement(results, config):
    """The statement names units, datum, sea level with its sd, dates and the caution."""
    about = read_json(results / "manifest.json")["about"]
    text = (results / "READ_ME.txt").read_text(encoding="utf-8")
    for topic in TOPICS:
        assert about[topic]
        assert about[topic] in text
    assert config.site.vertical_datum in text
    assert f"below {config.site.depths_below}, +0.120 m (sd 0.015 m)" in text
    assert "2031-06-09 to 2031-06-19" in text
    assert "Not for navigation and not for dive planning" in text


def test_manifest(results):
    """The manifest has every product with its size and checksum, and nothing else is there."""
    listed = read_json(results / "manifest.json")["files"]
    there = {path.relative_to(results).as_posix() for path in results.rglob("*") if path.is_file()}
    assert there == {*listed, "manifest.json"}
    for name, record in listed.items():
        content = (results / name).read_bytes()
        assert len(content) == record["bytes"]
        assert hashlib.sha256(content).hexdigest() == record["sha256"]


def test_surveys_are_accounted_for(layers, config, hamlet):
    """Every survey has its row: file with checksum, errors as stated, ground, use."""
    rows = layers["surveys"].set_index("survey")
    assert list(rows.index) == list(config.surveys)
    for name, survey in config.surveys.items():
        row = rows.loc[name]
        assert row["sha256"] == hashlib.sha256((hamlet / survey.file).read_bytes()).hexdigest()
        assert row["random_vertical_sd_m"] == survey.random_vertical_sd_m
        assert row["error_sources"] == ";".join(survey.error_sources)
        assert row.geometry.area > 0


def test_pictures(results):
    """Pictures are there in the forms promised, and stamped with no date."""
    beside = [f"pictures/{name}" for name in contract.PICTURES]
    for name in ("plan.png", "seabed.png", "uncertainty.png", *(f"{n}.png" for n in beside)):
        content = (results / name).read_bytes()
        assert content.startswith(b"\x89PNG")
        assert b"tIME" not in content
    for name in ("plan.svg", *(f"{n}.svg" for n in beside)):
        drawn = (results / name).read_text(encoding="utf-8")
        assert drawn.startswith("<?xml")
        assert "dc:date" not in drawn


def test_pictures_for_the_text_have_their_data(results):
    """Each picture's CSV has the contract's fields, and rows; orientation is in tables/ too."""
    for name, fields in contract.PICTURES.items():
        table = pd.read_csv(results / "pictures" / f"{name}.csv")
        assert list(table.columns) == [field.name for field in fields]
        assert len(table) > 0
    kept = results / "tables" / "orientation.csv"
    assert kept.read_bytes() == (results / "pictures" / "orientation.csv").read_bytes()


def test_areas_in_the_picture_are_the_records(results, layers):
    """Counts of the histogram's classes add up to the record's rooms and buildings."""
    table = pd.read_csv(results / "pictures" / "areas.csv")
    classes = table[(table["row"] == "class") & (table["kind"] != "all")]
    counts = classes.groupby("of")["count"].sum()
    assert counts["spaces"] == layers["rooms"]["floor_area_m2"].notna().sum()
    assert counts["buildings"] == layers["buildings"]["footprint_m2"].notna().sum()


def test_depths_in_the_picture_are_the_records(results, layers):
    """Every seabed and floor depth of a building stands in the picture's data, to its rounding."""
    table = pd.read_csv(results / "pictures" / "depths.csv")
    for of, field in (("seabed", "bed_depth_m"), ("floor", "floor_depth_m")):
        told = table[table["of"] == of].set_index("name")["depth_m"].dropna()
        kept = layers["buildings"].set_index("building")[field].dropna()
        assert sorted(told.index) == sorted(kept.index)
        np.testing.assert_allclose(told, kept[told.index], atol=0.01)


def test_every_room_says_how_it_was_reached_or_why_not(results, layers):
    """The access table has a row a room; ranges are whole and in order, or a reason stands."""
    header, rows = tables(results)["access"]
    told = pd.DataFrame(rows, columns=header)
    assert sorted(told["room"]) == sorted(layers["rooms"]["room"])
    low, high = (
        pd.to_numeric(told[f"steps_from_outside_{end}"], errors="coerce") for end in ("low", "high")
    )
    assert low.notna().any()
    assert (low.dropna() <= high.dropna()).all()
    assert told.loc[low.isna(), "null_because"].str.len().gt(0).all()


def test_the_walls_directions_are_the_hamlets(results):
    """The hamlet's houses were drawn square to 12.8 and to 61.8 degrees: two families."""
    header, rows = tables(results)["orientation"]
    table = pd.DataFrame(rows, columns=header)
    families = table[table["row"] != "class"]
    axis, sd = (families[name].to_numpy(float) for name in ("axis_deg", "axis_sd_deg"))
    assert len(axis) == 2
    assert (np.abs(axis - [12.8, 61.8]) < 4 * sd).all()


def test_every_building_has_its_page(results, layers):
    """The pages name each building of the record once, and the report leads to each."""
    pages = (results / "buildings.html").read_text(encoding="utf-8")
    page = (results / "report.html").read_text(encoding="utf-8")
    numbers = list(layers["buildings"]["building"])
    assert re.findall(r'<h2 id="(B[^"]+)"', pages) == numbers
    assert sorted(re.findall(r'href="buildings\.html#(B[^"]+)"', page)) == sorted(numbers)
    assert "http" not in pages.replace("http-equiv", "")


def test_every_decision_says_what_became_of_it(results, hamlet):
    """The hamlet's team confirms a doorway, and calls a place open that no walls enclose."""
    said = pd.read_csv(hamlet / "config" / "decisions.csv")
    told = pd.read_csv(results / "tables" / "decisions.csv")
    assert told[list(said.columns)].equals(said)
    assert told["outcome"].tolist() == ["followed", "no effect"]
    assert told["because"].notna().all()


def test_rooms_and_closings_have_a_support(layers):
    """Every room, building and closing stands in some of the plausible outlines; most in most."""
    for layer in ("rooms", "buildings"):
        assert layers[layer]["support"].between(0, 1).all()
        assert layers[layer]["support"].median() > 0.9
    walls = layers["wall_lines"]
    inferred = walls["evidence"] == "inferred"
    assert walls["support"].notna().tolist() == inferred.tolist()
