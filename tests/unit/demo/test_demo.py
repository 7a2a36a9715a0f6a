"""The demo's files: deterministic, as its config says, and true within their errors."""

import copy
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd
import pytest
import shapely
from numpy.testing import assert_allclose
from scipy.stats import chi2

from wrackline.config import load_site
from wrackline.demo import make
from wrackline.demo.fieldwork import real_errors
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.truth import parse
from wrackline.errors import ConfigError
from wrackline.io import read_json, sha256
from wrackline.uncertainty import components, error_model

ROOT = Path(__file__).parents[3]
DATA = "data/demo/2031"
SCALE = 0.99997962
CONVERGENCE = -1.23130


@pytest.fixture(scope="module")
def site():
    return load_site(ROOT / "tests" / "hamlet")


@pytest.fixture(scope="module")
def hamlet(truth):
    return Hamlet(parse(truth))


def test_same_truth_same_bytes(truth, made, tmp_path):
    """Made twice, every file has the same bytes."""
    for path in make(truth, tmp_path):
        assert sha256(path) == sha256(made / path.relative_to(tmp_path)), path


def test_every_file_of_the_season_is_made(site, made):
    """The demo's season names files that the truth describes, and all of them."""
    named = {survey.file for survey in site.surveys.values()}
    named |= {s.vertical.water_level for s in site.surveys.values() if s.vertical.water_level}
    there = {str(p.relative_to(made)) for p in (made / "data").rglob("*") if p.is_file()}
    assert named == there - {"data/demo/truth.json", "data/demo/truth.gpkg"}


def test_stated_sizes_are_the_real_ones(site, truth):
    """The season states for each survey the error sizes that the truth gives it."""
    whole = parse(truth)
    for name, survey in site.surveys.items():
        stated = error_model(name, survey, site.site)
        real = real_errors(whole, survey.name)
        for part in ("random", "patchy"):
            for way in ("horizontal", "vertical"):
                assert getattr(stated, f"{part}_{way}") == getattr(real, f"{part}_{way}"), name
        assert stated.patchy_distance == real.patchy_distance
        assert survey.error_sources == whole.surveys[survey.name].errors.named
        assert survey.technique


def test_misfortunes_are_no_larger_than_stated_sources_allow(site, truth):
    """What is really off lies within two stated standard uncertainties, about the same pivot."""
    whole = parse(truth)
    stated = {
        part.name: part
        for name, source in site.site.error_sources.items()
        for part in components(name, source, site.site.origin)
    }
    real = [part for name in whole.surveys for part in real_errors(whole, name).named]
    assert {part.name for part in real} == set(stated)
    for part in real:
        assert abs(part.sd) <= 2 * stated[part.name].sd, part.name
        if part.kind == "rotation":
            assert part.pivot == stated[part.name].pivot


def test_true_sea_level_lies_within_its_stated_error(site, truth):
    """The stated level is off by the gauge's zero and by no more than two sd besides."""
    level = site.site.depth_level
    off = level.height_m - truth["sea_level_m"] - truth["misfortunes"]["gauge_zero"]["height_m"]
    assert level.error_sources == ["gauge_zero"]
    assert abs(off) <= 2 * level.sd_m


def test_walls_stand_above_the_seabed_and_floors_lie_below(hamlet):
    """Wall tops rise above the bed all around, by 0.1 m at least; floors lie under deposit."""
    for house in hamlet.houses.values():
        bed = hamlet.bed(np.array(house.footprint.exterior.coords))
        assert house.truth.wall_top_m > bed.max() + 0.1, house.name
        for name, room in house.truth.rooms.items():
            if room.floor_m is not None:
                inside = hamlet.bed(np.array(house.rooms[name].exterior.coords))
                assert room.floor_m < inside.min(), (house.name, name)


def test_buildings_do_not_overlap_and_lie_on_the_ground(hamlet, truth):
    """Every building stands clear of the others by a metre, inside the site."""
    prints = [house.footprint for house in hamlet.houses.values()]
    west, south = truth["south_west"]
    ground = shapely.box(west, south, west + truth["extent_m"][0], south + truth["extent_m"][1])
    for number, footprint in enumerate(prints):
        assert ground.contains(footprint)
        assert all(footprint.distance(other) > 1.0 for other in prints[:number])


def test_the_hamlet_has_what_it_should_show(hamlet):
    """A dozen buildings or more, two families, one to six rooms, a court, awash walls."""
    houses = hamlet.houses.values()
    assert len(houses) >= 12
    assert {len(house.truth.rooms) for house in houses} >= {1, 2, 3, 4, 6}
    assert len({house.frame.azimuth_grid_deg for house in houses}) == 2
    assert any(r.kind == "court" for h in houses for r in h.truth.rooms.values())
    assert any(house.truth.wall_top_m > hamlet.truth.sea_level_m for house in houses)


def test_traced_walls_follow_the_true_faces(made, hamlet, truth):
    """Traced vertices lie on true faces within random, patchy and named errors."""
    lines = gpd.read_file(made / DATA / "walls.gpkg", layer="walls")
    faces = shapely.union_all(
        [
            shapely.boundary(g)
            for h in hamlet.houses.values()
            for g in (h.footprint, *h.rooms.values())
        ]
    )
    points = shapely.points(shapely.get_coordinates(lines.geometry))
    off = shapely.distance(points, faces)
    # 0.036 m random and patchy per axis, up to 0.03 m of named errors; ends overshoot by 0.15 m
    assert off.max() < 0.15 + 5 * 0.036
    assert np.quantile(off, 0.9) < 2.5 * 0.036 + 0.03
    assert 0.01 < np.median(off) < 0.05
    assert lines.geometry.has_z.all()
    assert list(lines.columns) == ["line", "note", "geometry"]
    assert lines["line"].is_unique


def test_wall_heights_scatter_as_stated(made, hamlet, truth):
    """Heights of wall lines scatter about the true tops as the stated errors say."""
    lines = gpd.read_file(made / DATA / "walls.gpkg", layer="walls")
    xyz, index = shapely.get_coordinates(lines.geometry, include_z=True, return_index=True)
    tops = lines["note"].str[:3].map({n: h.truth.wall_top_m for n, h in hamlet.houses.items()})
    off = xyz[:, 2] - tops.to_numpy()[index]
    assert_allclose(off.mean(), truth["misfortunes"]["benchmark_1"]["height_m"], atol=0.012)
    assert_allclose(off.std(), np.hypot(0.03, 0.02), rtol=0.15)


def test_centre_lines_bear_their_thickness(made, hamlet):
    """Centre-traced buildings come with a taped thickness near the true one."""
    lines = gpd.read_file(made / DATA / "walls_centre.gpkg", layer="walls")
    true = lines["note"].str[:3].map({n: h.truth.wall_m for n, h in hamlet.houses.items()})
    assert (lines["thickness_m"] - true).abs().max() < 5 * 0.03
    assert set(true.index) == set(lines.index)
    assert lines["note"].str[:3].nunique() == 3


def test_soundings_give_the_seabed_back(made, hamlet, site):
    """Depth and gauge, taken together with both clocks, give the bed within the errors."""
    survey = site.surveys["2031-soundings"]
    table = pd.read_csv(made / DATA / "soundings.csv")
    record = pd.read_csv(made / DATA / "gauge.csv")
    ahead = pd.Timedelta(hours=survey.vertical.time_utc_offset_h)
    utc = (pd.to_datetime(table["time"]) - ahead).to_numpy()
    level = np.interp(
        utc.astype("datetime64[ms]").astype(float),
        pd.to_datetime(record["time"]).to_numpy().astype("datetime64[ms]").astype(float),
        record["level_m"],
    )
    height = level + survey.vertical.water_level_zero_m - table["depth"].to_numpy()
    off = height - hamlet.bed(table[["easting", "northing"]].to_numpy())
    assert_allclose(np.median(off), 0.021, atol=0.01)  # the gauge's zero is off by this
    assert_allclose(1.4826 * np.median(abs(off - np.median(off))), np.hypot(0.05, 0.04), rtol=0.1)


def test_swath_is_small_and_true(made, hamlet):
    """The cloud has at most 150,000 points, over bed and wall tops, off by its antenna."""
    cloud = laspy.read(made / DATA / "swath.laz")
    xyz = np.column_stack([cloud.x, cloud.y, cloud.z])
    assert len(xyz) <= 150_000
    off = xyz[:, 2] - hamlet.bed(xyz[:, :2])
    assert_allclose(np.median(off), -0.018, atol=0.02)
    assert (off > 0.4).sum() > 1000  # the walls


def test_floor_points_lie_in_their_rooms(made, hamlet):
    """Every floor point lies in its room at its floor's height, with its evidence."""
    table = pd.read_csv(made / DATA / "floors.csv")
    for row in table.itertuples():
        house, room = row.note.split()
        assert hamlet.houses[house].rooms[room].contains(shapely.Point(row.easting, row.northing))
        assert abs(row.height - hamlet.houses[house].truth.rooms[room].floor_m) < 0.12
    assert set(table["evidence"]) == {"excavated", "threshold", "paving", "probe"}


def test_features_are_points_lines_and_outlines(made):
    """Features bear kind and origin, and come in all three shapes."""
    table = gpd.read_file(made / DATA / "features.gpkg", layer="features")
    assert set(table.geom_type) == {"Point", "LineString", "Polygon"}
    assert {"threshold", "hearth", "cistern", "jar"} <= set(table["kind"])
    assert {"built", "natural", "modern"} == set(table["origin"])


def test_answers_agree_with_the_numbers_in_the_truth(made):
    """A 4.2 x 5.0 m room has 21 m² in the grid, and on the ground by the scale factor squared."""
    answers = read_json(made / "data/demo/truth.json")
    house = answers["buildings"]["b01"]
    room = house["rooms"]["r1"]
    assert_allclose(room["floor_area_grid_m2"], 21.0, atol=1e-3)
    assert_allclose(shapely.from_wkt(room["floor_wkt"]).area, 21.0, atol=1e-2)
    # PROJ's own factors at the place
    assert_allclose(room["floor_area_m2"], 21.0 / SCALE**2, atol=2e-4)
    assert_allclose(room["axis_deg"], 14.0 + CONVERGENCE, atol=1e-3)
    assert_allclose(room["perimeter_m"], 18.4 / SCALE, atol=1e-3)
    assert_allclose(house["wall_top_depth_m"], 4.311)
    assert room["floor_depth_m"] == 5.411
    assert house["rooms"]["r2"]["floor_depth_m"] is None


def test_truth_map_has_its_layers(made):
    """The map of the truth holds buildings, rooms, wall bodies, doorways and features."""
    layers = {name for name, _ in gpd.list_layers(made / "data/demo/truth.gpkg").to_numpy()}
    assert layers == {"buildings", "rooms", "wall_bodies", "doorways", "features"}


def test_leaving_a_survey_out_changes_no_other(truth, made, tmp_path):
    """Surveys draw their errors apart from each other."""
    less = copy.deepcopy(truth)
    del less["surveys"]["walls"]
    (path,) = make(less, tmp_path, wanted=[f"{DATA}/floors.csv"])
    assert sha256(path) == sha256(made / DATA / "floors.csv")


def test_another_seed_makes_other_errors_on_the_same_hamlet(truth, made, tmp_path):
    """The seed changes the surveys and not the right answers, which name it."""
    other = {**truth, "seed": truth["seed"] + 1}
    floors, answers = make(other, tmp_path, wanted=[f"{DATA}/floors.csv", "data/demo/truth.json"])
    if floors.suffix == ".json":
        floors, answers = answers, floors
    assert sha256(floors) != sha256(made / floors.relative_to(tmp_path))
    again, first = read_json(answers), read_json(made / answers.relative_to(tmp_path))
    assert again.pop("seed") == first.pop("seed") + 1
    assert again == first


def test_a_smaller_hamlet_can_be_asked_for(truth, tmp_path):
    """One building, no features: every survey still writes its file."""
    small = copy.deepcopy(truth)
    small["buildings"] = {"b05": truth["buildings"]["b05"]}
    small["features"] = {}
    small["surveys"]["swath"]["per_m2"] = 0.1
    for path in make(small, tmp_path):
        assert path.is_file()
    lines = gpd.read_file(tmp_path / DATA / "walls.gpkg")
    assert len(lines) == 4 + 4 + 2
    assert len(gpd.read_file(tmp_path / DATA / "walls_centre.gpkg")) == 0
    assert len(pd.read_csv(tmp_path / DATA / "floors.csv")) == 0


def test_an_undescribed_file_is_refused(truth, tmp_path):
    """A season that names a file which the truth doesn't describe gets told so."""
    with pytest.raises(ConfigError, match=r"data/demo/2032/walls\.gpkg"):
        make(truth, tmp_path, wanted=["data/demo/2032/walls.gpkg"])
    assert not list(tmp_path.iterdir())


def test_random_errors_of_features_fit_their_sd(made, hamlet, truth):
    """Thresholds' heights scatter about the truth as chi-square allows."""
    table = gpd.read_file(made / DATA / "features.gpkg", layer="features")
    sills = table[table["kind"] == "threshold"]
    doors = [d for h in hamlet.houses.values() for d in h.truth.doorways if d.threshold_m]
    measured = [shapely.get_coordinates(g, include_z=True)[:, 2] for g in sills.geometry]
    off = np.array(measured) - np.array([[d.threshold_m] for d in doors]) - 0.016
    statistic = float(((off / 0.03) ** 2).sum())
    assert chi2.ppf(0.001, off.size) < statistic < chi2.ppf(0.999, off.size)
