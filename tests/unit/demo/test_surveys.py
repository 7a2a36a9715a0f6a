"""The demo's surveys of every kind, read by intake and placed by the fit, against their truth."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pytest
import shapely
import yaml

from wrackline.config import load_site
from wrackline.demo import make
from wrackline.demo.fieldwork import real_errors
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.made import Made
from wrackline.demo.town import settled
from wrackline.fit.depth_gauges import density_ratio
from wrackline.fit.items import errors_of, fit_items
from wrackline.intake.items import read_items
from wrackline.io import sha256
from wrackline.uncertainty import error_model
from wrackline.verdict import Source
from wrackline.walls.repeats import position_sd

ROOT = Path(__file__).parents[3]
CONFIG = load_site(ROOT)
HEAVY = ("swath", "sonar", "photo", "photo_mosaic", "soundings")
ITEMS = [name for name in CONFIG.vector_surveys if "mosaic" not in name and "sonar" not in name]


@pytest.fixture(scope="module")
def truth():
    content = yaml.safe_load((ROOT / "config" / "demo.yaml").read_text(encoding="utf-8"))
    return {**content, "hectares": 3.0}


@pytest.fixture(scope="module")
def hamlet(truth):
    return Hamlet(settled(truth))


@pytest.fixture(scope="module")
def made(truth, tmp_path_factory):
    """Make the light files of three hectares."""
    folder = tmp_path_factory.mktemp("surveys")
    wanted = [m["file"] for name, m in truth["surveys"].items() if name not in HEAVY]
    make(truth, folder, wanted=wanted)
    return folder


@pytest.fixture(scope="module")
def read(made):
    """Return each survey's items as fitted, its verdict and its errors."""
    found = {}
    for name in ITEMS:
        survey = CONFIG.surveys[name]
        source = Source(name, survey, made, tuple(CONFIG.control_for(name)))
        items, verdict = read_items(source, crs=CONFIG.site.crs, origin=CONFIG.site.origin)
        fitted = fit_items(items, name, survey, CONFIG.site)
        model, _ = errors_of(name, survey, CONFIG.site, verdict.adjustment)
        found[name] = (fitted, verdict, model)
    return found


@pytest.mark.parametrize("name", ITEMS)
def test_intake_takes_every_survey_as_sound(read, name):
    """No fault, and no suspicion that isn't accepted with its reason."""
    items, verdict, _ = read[name]
    assert len(items) > 0
    assert [fault.kind for fault in verdict.faults] == []
    open_ones = {fault.kind for fault in verdict.suspicions}
    assert open_ones <= set(CONFIG.surveys[name].accepted)


def test_the_season_files_state_errors_of_the_true_sizes(truth):
    """No survey claims to be better than it is; what is off lies within two sds of its source."""
    whole = settled(truth)
    for name, survey in CONFIG.surveys.items():
        stated, real = error_model(name, survey, CONFIG.site), real_errors(whole, survey.name)
        for part in ("random", "patchy"):
            for way in ("horizontal", "vertical"):
                known = getattr(stated, f"{part}_{way}")
                assert known >= getattr(real, f"{part}_{way}"), (name, part, way)
        allowed = {part.name: part.sd for part in stated.named}
        for part in real.named:
            if part.name in allowed:
                assert abs(part.sd) <= 2 * allowed[part.name]


def test_control_believes_what_is_nearly_true(truth):
    """Marks of control.csv lie within three of their sds of the truth, once re-levelled."""
    whole = settled(truth)
    origin = np.array(whole.south_west)
    for row in CONFIG.control:
        mark = whole.marks[row.point]
        off = np.array([row.easting, row.northing]) - origin - mark.at
        assert np.abs(off).max() < 3 * row.sd_m, row.point
        if row.fate != "re-levelled":
            assert abs(row.height - mark.height_m) < 3 * row.height_sd_m, row.point
    assert {row.fate for row in CONFIG.control} == {"stands", "lost", "re-levelled"}


def faces(hamlet):
    """Return all true faces of walls, and all their centres, as one geometry each."""
    runs = [run.line for house in hamlet.houses.values() for run in house.face_runs()]
    free = [shape.exterior for shape in hamlet.free_walls.values()]
    centres = [run.line for house in hamlet.houses.values() for run in house.centre_runs()]
    return shapely.union_all(runs + free), shapely.union_all(centres)


@pytest.mark.parametrize(
    "name",
    ["2031-walls", "2032-walls_east", "2032-walls_day", "2033-walls_again", "2031-walls_centre"],
)
def test_traced_walls_lie_where_their_errors_allow(read, hamlet, name):
    """Distances of traced points from true walls have the size that the survey states.

    Across a wall one axis of the position error counts. With a shared cause all points move
    together, so the root mean square may lie up to twice off either way.
    """
    items, _, model = read[name]
    target = faces(hamlet)[int("centre" in name)]
    places = shapely.points(shapely.get_coordinates(items.geometry.to_numpy()))
    off = shapely.distance(places, target)
    share = float(np.sqrt(np.mean(off**2))) / position_sd(model)
    assert 0.5 < share < 2.0
    assert off.max() < 6 * position_sd(model) + 0.16  # an end may pass its corner


def test_the_old_plan_comes_back_to_the_site(read, hamlet):
    """Lines in fathoms on a grid of their own lie on the walls, within a few decimetres."""
    items, _, model = read["1986-tape_plan"]
    places = shapely.points(shapely.get_coordinates(items.geometry.to_numpy()))
    off = shapely.distance(places, faces(hamlet)[1])
    assert np.sqrt(np.mean(off**2)) < 1.5 * position_sd(model)
    assert np.median(off) > 0.05


def test_tapes_bring_a_building_back(read, hamlet):
    """The outline taped from three nails is that of a house, within its stated errors."""
    items, _, model = read["2032-walls_tape"]
    corners = shapely.points(shapely.get_coordinates(items.geometry.to_numpy()))
    outlines = [house.footprint.exterior for house in hamlet.houses.values()]
    off = min(shapely.distance(corners, outline).max() for outline in outlines)
    assert off < 5 * position_sd(model)


@pytest.mark.parametrize("name", ["2032-levels", "2031-floors", "2033-floors_east"])
def test_floors_have_their_heights(read, hamlet, name):
    """Points on floors, by level, pole or satellite, have the floor's true height."""
    items, _, model = read[name]
    floors = {
        f"{house} {room}": content.floor_m
        for house, building in hamlet.truth.buildings.items()
        for room, content in building.rooms.items()
    }
    xyz = shapely.get_coordinates(items.geometry.to_numpy(), include_z=True)
    noted = items["note"].notna().to_numpy()
    off = xyz[noted, 2] - np.array([floors[note] for note in items.loc[noted, "note"]])
    sd = np.hypot(model.random_vertical, max((p.sd for p in model.named), default=0.0))
    assert noted.sum() > 5
    assert np.sqrt(np.mean(off**2)) < 2 * sd


def test_a_probe_reaches_the_floor(read, hamlet):
    """Bed less deposit is the floor's height, where a rod met the floor."""
    items, _, _ = read["2032-probes"]
    met = items[items["kind"] == "floor"]
    rooms = [
        (shape, house.truth.rooms[name].floor_m)
        for house in hamlet.houses.values()
        for name, shape in house.rooms.items()
    ]
    for _, row in met.iterrows():
        floor = next(level for shape, level in rooms if shape.intersects(row.geometry))
        assert row.geometry.z == pytest.approx(floor, abs=0.3)
    assert len(met) > 3


def test_what_a_depth_gauge_shows_is_what_its_density_says(truth):
    """The gauge of the demo shows as much too deep as the config's salt water is denser."""
    gauge = CONFIG.surveys["2032-dive_depths"].vertical.depth_gauge
    shows = Made.model_validate(truth["surveys"]["dive_depths"]).shows_times
    assert shows == pytest.approx(1 / density_ratio(gauge), abs=5e-4)


def test_spreadsheets_and_drawings_read_back(made):
    """The finds are a spreadsheet, the walls of the east a drawing with one layer."""
    sheet = openpyxl.load_workbook(made / "data/demo/2032/finds.xlsx").active
    assert [cell.value for cell in sheet[1]] == ["easting", "northing", "height", "line", "kind"]
    drawing = gpd.read_file(made / "data/demo/2032/walls_east.dxf")
    assert set(drawing["Layer"]) == {"walls"}
    east = pd.read_csv(made / "data/demo/2033/floors_east.csv", sep=";", decimal=",")
    assert east["height"].between(35, 50).all()


def test_the_same_truth_makes_the_same_bytes(truth, made, tmp_path):
    """Every light file comes out alike a second time, spreadsheet and drawing included."""
    wanted = [m["file"] for name, m in truth["surveys"].items() if name not in HEAVY]
    again = make(truth, tmp_path, wanted=wanted)
    assert [p for p in again if sha256(p) != sha256(made / p.relative_to(tmp_path))] == []


@pytest.mark.parametrize("hectares", [0.4, 1.0])
def test_a_small_corner_leaves_no_survey_empty(truth, hectares, tmp_path):
    """On a corner of the ground every file has rows."""
    small = {**truth, "hectares": hectares}
    wanted = [m["file"] for name, m in small["surveys"].items() if name not in HEAVY]
    for path in make(small, tmp_path, wanted=wanted):
        if path.suffix == ".csv":
            assert len(path.read_text().splitlines()) > 2, path.name
        elif path.suffix in (".gpkg", ".fgb", ".geojson", ".dxf"):
            assert len(gpd.read_file(path)) > 0, path.name
