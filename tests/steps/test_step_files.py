"""What steps hand on in `work/`: every file holds what its step's docstring promises."""

import json

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
import rasterio
import shapely
from pyproj import CRS

from wrackline import contract
from wrackline.config import load_site
from wrackline.drawn_marks import are_marks
from wrackline.io import read_json
from wrackline.numbers import NUMBERED
from wrackline.seabed.contours import CONTOURS
from wrackline.seabed.gridding import BANDS as SURFACE_BANDS
from wrackline.seabed.merge import BANDS
from wrackline.seabed.waterlines import WATERLINES
from wrackline.seasons.carry import THING_COLUMNS
from wrackline.seasons.events import EVENT_COLUMNS
from wrackline.seasons.interpretations import reading_columns
from wrackline.seasons.room_states import from_record
from wrackline.uncertainty import model_from_dict
from wrackline.vectors import DTYPES
from wrackline.walls.accounts import TRACING_COLUMNS
from wrackline.walls.linework import ITEM_COLUMNS, LINE_COLUMNS
from wrackline.walls.moved import SHARE_COLUMNS, SOURCE_COLUMNS
from wrackline.walls.network import EDGE_COLUMNS, PIECE_COLUMNS

SURVEY_BANDS = tuple(name for name, _ in SURFACE_BANDS)
MERGED_BANDS = tuple(BANDS)
WITHOUT = ("count", "source", "filled", "together", "surface", "rejected")
UNITS = dict.fromkeys(WITHOUT, "1")
ITEM_SHAPES = {
    "wall_lines": {"LineString"},
    "floor_points": {"Point"},
    "features": {"Point", "LineString", "Polygon"},
    "trench_outlines": {"Polygon"},
}
PLAN_SHAPES = {
    "wall_lines": {"LineString"},
    "wall_bodies": {"Polygon"},
    "openings": {"LineString"},
    "rooms": {"Polygon", "MultiPolygon"},
    "buildings": {"Polygon", "MultiPolygon"},
    "features": {"Point", "LineString", "Polygon"},
    "trench_outlines": {"Polygon"},
}


@pytest.fixture(scope="module")
def config(hamlet):
    """Return the demo's config."""
    return load_site(hamlet)


def geo(path):
    """Return what a GeoParquet file declares of its geometry column."""
    declared = json.loads(pq.read_schema(path).metadata[b"geo"])
    assert declared["primary_column"] == "geometry"
    return declared["columns"]["geometry"]


def assert_table(path, columns, shapes, crs):
    """Hold a GeoParquet file to its columns, their types, its shapes and its CRS."""
    table = gpd.read_parquet(path)
    assert list(table.columns) == [*columns, "geometry"], path
    for name, kind in columns.items():
        assert table[name].dtype == DTYPES[kind], f"{path}: {name}"
    assert set(table.geom_type) <= shapes, path
    declared = geo(path)
    assert "crs" in declared, path  # left out, it would mean longitude and latitude
    if crs is None:
        assert declared["crs"] is None, path
    else:
        assert CRS.from_json_dict(declared["crs"]) == CRS(crs), path
    return table


def test_points_as_read(hamlet, config):
    """`read_points` writes x, y, v as floats, rows as integers, times where a column is named."""
    for name in config.point_surveys:
        table = pd.read_parquet(hamlet / "work" / "intake" / name / "points.parquet")
        timed = config.surveys[name].columns.time is not None
        assert list(table.columns) == ["x", "y", "v", "row", *(["time"] if timed else [])]
        types = {column: str(kind) for column, kind in table.dtypes.items()}
        assert types.pop("row") == "int64"
        assert set(types.values()) == {"float64"}
        assert np.isfinite(table[["x", "y", "v"]].to_numpy()).all()


def test_items_as_read(hamlet, config):
    """`read_items` writes the file's own numbers, so its table declares no CRS."""
    for name in config.vector_surveys:
        path = hamlet / "work" / "intake" / name / "items.parquet"
        shapes = ITEM_SHAPES[config.surveys[name].holds]
        table = assert_table(path, ITEM_COLUMNS, shapes, None)
        assert set(table["survey"]) == {name}


def test_verdicts(hamlet, config):
    """Every survey has a verdict with checksum, counts and bounds; the demo's have no fault."""
    for name, survey in config.surveys.items():
        verdict = read_json(hamlet / "work" / "intake" / name / "verdict.json")
        assert (verdict["survey"], verdict["file"]) == (name, survey.file)
        assert len(verdict["sha256"]) == 64
        assert 0 < verdict["used"] <= verdict["rows"]
        west, south, east, north = verdict["bounds"]
        assert west < east
        assert south < north
        assert verdict["faults"] == []


def test_report(hamlet, config):
    """The report has all surveys, with the number of their faults, and all faults; and its page."""
    report = read_json(hamlet / "work" / "check" / "report.json")
    assert sorted(one["survey"] for one in report["surveys"]) == sorted(config.surveys)
    assert sum(one["suspicions"] for one in report["surveys"]) == len(report["suspicions"])
    assert (report["faults"], report["suspicions"], report["accepted"]) == ([], [], [])
    page = (hamlet / "work" / "check" / "report.html").read_text(encoding="utf-8")
    assert all(f">{name}</" in page for name in config.surveys)


def test_cross_check(hamlet, config):
    """Every pair of surveys that meet has its figures, each with its sd."""
    checked = read_json(hamlet / "work" / "accuracy" / "cross_check.json")
    assert sorted(checked) == ["accepted", "faults", "pairs", "suspicions"]
    assert all(sd > 0 for pair in checked["pairs"] for sd in pair["sds"])
    assert {pair["newer"] for pair in checked["pairs"]} <= set(config.surveys)


def test_points_as_fitted(hamlet, config):
    """`fit_points` writes eastings, northings and heights in steps of 0.1 mm."""
    for name in config.point_surveys:
        cloud = laspy.read(hamlet / "work" / "fit" / name / "points.laz")
        np.testing.assert_allclose(cloud.header.scales, 1e-4)
        account = read_json(hamlet / "work" / "fit" / name / "errors.json")
        assert len(cloud) == account["rows"] - account["dropped"]
        assert ("sd_m" in cloud.point_format.extra_dimension_names) == account["own_sd"]


def test_errors_as_fitted(hamlet, config):
    """Every survey has its error model, with each source that its config names, and its dates."""
    for name, survey in config.surveys.items():
        account = read_json(hamlet / "work" / "fit" / name / "errors.json")
        model = model_from_dict(account["model"])
        assert model.survey == name
        assert model.random_vertical == survey.random_vertical_sd_m
        assert {part.name.split(":")[0] for part in model.named} >= set(survey.error_sources)
        assert account["from_date"] == str(survey.from_date)
        assert account["to_date"] == str(survey.to_date)


def test_items_as_fitted(hamlet, config):
    """`fit_items` writes the same columns in the site's CRS, with heights above the datum."""
    for name in config.vector_surveys:
        path = hamlet / "work" / "fit" / name / "items.parquet"
        shapes = ITEM_SHAPES[config.surveys[name].holds]
        table = assert_table(path, ITEM_COLUMNS, shapes, config.site.crs)
        assert shapely.has_z(table.geometry.to_numpy()).all()


def test_overlaps(hamlet, config):
    """Every pair of surveys of bed points is compared, or listed as apart."""
    overlaps = read_json(hamlet / "work" / "fit" / "overlaps.json")
    count = len(config.point_surveys)
    assert len(overlaps["pairs"]) + len(overlaps["apart"]) == count * (count - 1) // 2
    for pair in overlaps["pairs"]:
        assert {pair["newer"], pair["older"]} <= set(config.point_surveys)
        assert pair["sd_m"] > 0


@pytest.mark.parametrize(
    ("pattern", "bands"), [("survey/*.tif", SURVEY_BANDS), ("upto-*.tif", MERGED_BANDS)]
)
def test_surfaces(hamlet, config, pattern, bands):
    """Surfaces have the promised bands with their units, as float32, NaN written as -9999."""
    paths = sorted((hamlet / "work" / "seabed").glob(pattern))
    assert paths
    for path in paths:
        with rasterio.open(path) as raster:
            shares = raster.descriptions[len(bands) :]
            assert raster.descriptions == (*bands, *shares)
            assert all(share.startswith("share:") for share in shares)
            assert (len(shares) > 0) == ("source" in bands)
            units = *(UNITS.get(band, "m") for band in bands), *("1" for _ in shares)
            assert raster.units == units
            assert set(raster.dtypes) == {"float32"}
            assert raster.nodata == -9999
            assert CRS.from_wkt(raster.crs.to_wkt()) == CRS(config.site.crs)
            assert raster.tags()["vertical_datum"] == config.site.vertical_datum
            values = dict(zip(raster.descriptions, raster.read(masked=True), strict=True))
        assert (values["sd"] > 0).all()
        assert (values["sd_random"] <= values["sd"]).all()
        assert set(np.unique(values["filled"].compressed())) <= {0, 1}
        assert (values["count"][values["filled"] == 1] == 0).all()


def test_record_of_the_composite(hamlet, config):
    """Beside the composite stand its sources, their models and dates, in the band's order."""
    record = read_json(hamlet / "work" / "seabed" / "upto-2031.json")
    assert record["sources"] == config.point_surveys
    assert [model["survey"] for model in record["models"]] == record["sources"]
    assert len(record["dates"]) == len(record["sources"])
    with rasterio.open(hamlet / "work" / "seabed" / "upto-2031.tif") as raster:
        source = raster.read(MERGED_BANDS.index("source") + 1, masked=True)
    assert set(np.unique(source.compressed())) <= set(range(len(record["sources"])))


def test_lines_on_the_bed(hamlet, config):
    """Contours and waterlines are lines with heights; depth counts from the named level."""
    folder, level = hamlet / "work" / "seabed", config.site.depth_level
    lines = assert_table(folder / "contours.parquet", CONTOURS, {"LineString"}, config.site.crs)
    np.testing.assert_allclose(lines["height_m"] + lines["depth_m"], level.height_m)
    step = lines["height_m"] / config.site.seabed.contour_step_m
    np.testing.assert_allclose(step, np.rint(step), atol=1e-9)
    shores = assert_table(
        folder / "waterlines.parquet", WATERLINES, {"LineString"}, config.site.crs
    )
    named = {level.name: level.height_m for level in config.site.sea_levels}
    assert set(zip(shores["sea_level"], shores["height_m"], strict=True)) <= set(named.items())
    assert (shores["height_sd_m"] > 0).all()
    assert (shores["may_lie_off_m"].isna() == (shores["null_because"] != "")).all()


def test_network(hamlet, config):
    """`join_walls` writes lines, pieces and edges; edges lie on pieces, pieces on vertices."""
    folder, crs = hamlet / "work" / "walls" / "upto-2031", config.site.crs
    lines = assert_table(folder / "lines.parquet", LINE_COLUMNS, {"LineString"}, crs)
    pieces = assert_table(folder / "pieces.parquet", PIECE_COLUMNS, {"LineString"}, crs)
    edges = assert_table(folder / "edges.parquet", EDGE_COLUMNS, {"LineString"}, crs)
    assert edges["piece"].between(0, len(pieces) - 1).all()
    assert pieces["line"].between(-1, len(lines) - 1).all()
    vertices = shapely.get_num_coordinates(lines.geometry.to_numpy()).sum()
    for end in ("start_vertex_i", "start_vertex_j", "stop_vertex_i", "stop_vertex_j"):
        assert pieces[end].between(0, vertices - 1).all()
    assert ((pieces["line"] == -1) == (pieces["kind"] != "recorded")).all()


def test_tracings(hamlet, config):
    """Every surveyed wall line has a row, and its wall stands; sources and shares place it."""
    folder, crs = hamlet / "work" / "walls" / f"upto-{max(config.seasons)}", config.site.crs
    tracings = assert_table(folder / "tracings.parquet", TRACING_COLUMNS, {"LineString"}, crs)
    standing = gpd.read_parquet(folder / "lines.parquet")
    names = tracings.loc[tracings["standing"], "wall_line"]
    assert set(tracings["wall_line"]) == set(names)
    assert set(standing["survey"]) == set(tracings.loc[tracings["standing"], "survey"])
    assert tracings["weight"].between(0, 1).all()
    assert (tracings["off_m"].isna() <= (tracings["why"] != "")).all()
    sources = assert_table(folder / "sources.parquet", SOURCE_COLUMNS, {"Point"}, crs)
    shares = pd.read_parquet(folder / "shares.parquet")
    assert tuple(shares.columns) == SHARE_COLUMNS
    vertices = len(shapely.get_coordinates(standing.geometry.to_numpy()))
    if len(shares):
        assert shares["placed"].max() < 3 * vertices
        assert shares["source"].max() < 3 * (vertices + len(sources))


@pytest.mark.parametrize("folder", ["rooms/upto-2031", "seasons/2031"])
@pytest.mark.parametrize("layer", contract.PLAN_LAYERS)
def test_plans(hamlet, config, folder, layer):
    """Plans have the contract's fields with their types, their shapes and the site's CRS."""
    path = hamlet / "work" / folder / f"{layer}.parquet"
    table = assert_table(path, contract.columns(layer), PLAN_SHAPES[layer], config.site.crs)
    assert len(table)
    assert table.geometry.is_valid.all()


@pytest.mark.parametrize(
    ("file", "shapes"),
    [
        ("seasons/2031/spot_heights.parquet", {"Point"}),
        ("trenches/2031/trenches.parquet", {"Polygon"}),
    ],
)
def test_what_stands_beside_the_plan(hamlet, config, file, shapes):
    """Spot heights and trenches have the contract's fields with their types, and rows."""
    path = hamlet / "work" / file
    table = assert_table(path, contract.columns(path.stem), shapes, config.site.crs)
    assert len(table)
    assert not table.isna().to_numpy().any()


def test_spot_heights_name_what_is_on_the_plan(hamlet):
    """Walls and rooms by their lasting numbers; a floor's height is never the seabed's."""
    folder = hamlet / "work" / "seasons" / "2031"
    spots = gpd.read_parquet(folder / "spot_heights.parquet")
    plan = {name: gpd.read_parquet(folder / f"{name}.parquet") for name in ("wall_lines", "rooms")}
    walls = spots[spots["of"].str.startswith("wall")]
    recorded = plan["wall_lines"][plan["wall_lines"]["evidence"] != "inferred"]
    assert set(walls["thing"]) <= set(recorded["wall"])
    of_rooms = spots[spots["of"].isin(["floor", "seabed"])]
    assert set(of_rooms["thing"]) - {""} <= set(plan["rooms"]["room"])
    met = plan["rooms"].set_index("room")["floor_depth_m"]
    for row in spots[(spots["of"] == "floor") & (spots["thing"] != "")].itertuples():
        assert np.isfinite(met[row.thing])


def test_what_was_numbered(hamlet, config):
    """In the first season all is new; everything on the plan is remembered with its outline."""
    folder = hamlet / "work" / "seasons" / "2031"
    events = read_json(folder / "events.json")
    assert all(set(event) == set(EVENT_COLUMNS) for event in events)
    shapes = {"Point", "LineString", "Polygon", "MultiPolygon"}
    things = assert_table(folder / "things.parquet", THING_COLUMNS, shapes, config.site.crs)
    for layer, (field, _) in NUMBERED.items():
        plan = gpd.read_parquet(folder / f"{layer}.parquet")
        new = [event["number"] for event in events if event["what"] == field]
        mine = things[things["layer"] == layer]
        assert sorted(mine["number"]) == sorted(plan[field])
        told = plan[plan["evidence"] != "inferred"] if layer == "wall_lines" else plan
        told = told[~are_marks(told["kind"])] if layer == "features" else told
        assert sorted(new) == sorted(told[field])
    assert things["on_plan"].all()


def test_readings(hamlet, config):
    """Every row of the register is there, tied or not, with what it was made of."""
    path = hamlet / "work" / "seasons" / max(config.seasons) / "readings.parquet"
    shapes = {"Point", "LineString", "Polygon", "MultiPolygon"}
    table = gpd.read_parquet(path)
    assert table["row"].tolist() == list(range(len(config.interpretations)))
    tied = table[table["made_number"].notna()]
    assert set(tied.geometry.geom_type) <= shapes
    assert {name: DTYPES[kind] for name, kind in reading_columns().items()} == {
        name: str(table[name].dtype) for name in reading_columns()
    }


def test_states(hamlet, config):
    """Rooms that the season saw have a state, told by that season."""
    season = max(config.seasons)
    told = from_record(read_json(hamlet / "work" / "seasons" / season / "states.json"))
    assert set(told.states) == set(told.since)
    assert set(told.states.values()) <= {"seen", "buried", "lost", "overgrown"}


def test_audit(hamlet, config):
    """The audit has every survey of bed points, with S-44 by order, and all overlaps."""
    audit = read_json(hamlet / "work" / "accuracy" / "audit.json")
    assert audit["depths_below"] == config.site.depths_below
    assert [one["survey"] for one in audit["surveys"]] == config.point_surveys
    for one in audit["surveys"]:
        np.testing.assert_allclose(one["u95_m"], 1.96 * one["sd_m"])
        assert [order["order"] for order in one["s44"]] == ["exclusive", "special", "1a", "1b", "2"]
        assert one["matrix_cell"].startswith("Bc")
        assert one["feature_null_because"] or one["feature_m"] >= 2 * config.site.seabed.cell_m
    assert audit["composite"]["cells"] > audit["composite"]["filled_cells"] > 0
    assert audit["overlaps"] == read_json(hamlet / "work" / "fit" / "overlaps.json")
