"""The hamlet's record against the truth that its survey files were made from.

Every measured figure is held against `data/demo/truth.json` in units of the sd that it states
itself: z = (figure - truth) / sd. The truth's areas and axes are geodesic, the workflow's come
from the grid. Rooms, buildings, doorways and walls are matched by where they lie.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scipy.special import ndtr
from scipy.stats import binomtest

from wrackline.io import read_json
from wrackline.rasters import read_raster

COVERAGE, WIDEST = 1.96, 4.0
# A share of figures within 1.96 sd is doubted when chance gives one as odd less than once in 1000.
ODDS = 0.001


def read(hamlet, layer):
    """Return a layer of the record."""
    return gpd.read_file(hamlet / "results" / "site.gpkg", layer=layer)


@pytest.fixture(scope="module")
def truth(hamlet):
    """Return the right answers, buildings by name."""
    return read_json(hamlet / "data" / "demo" / "truth.json")


@pytest.fixture(scope="module")
def rooms(hamlet, truth):
    """Return pairs of the record's row and the truth of every room."""
    there = read(hamlet, "rooms")
    true = [room for house in truth["buildings"].values() for room in house["rooms"].values()]
    return [(there.iloc[_overlapping(there, room["floor_wkt"])], room) for room in true]


@pytest.fixture(scope="module")
def buildings(hamlet, truth):
    """Return pairs of the record's row and the truth of every building."""
    there = read(hamlet, "buildings")
    true = truth["buildings"].values()
    return [(there.iloc[_overlapping(there, house["footprint_wkt"])], house) for house in true]


@pytest.fixture(scope="module")
def doorways(hamlet, truth):
    """Return pairs of the record's row and the truth of every doorway, the nearest taken."""
    there = read(hamlet, "openings")
    true = [door for house in truth["buildings"].values() for door in house["doorways"]]
    sills = [shapely.centroid(shapely.from_wkt(door["sill_wkt"])) for door in true]
    return [(there.iloc[there.distance(s).argmin()], d) for s, d in zip(sills, true, strict=True)]


def _overlapping(there, wkt):
    """Return the row that shares most of its ground with an outline; more than 90 % must be."""
    outline, shapes = shapely.from_wkt(wkt), there.geometry.to_numpy()
    common = shapely.area(shapely.intersection(outline, shapes))
    share = common / shapely.area(shapely.union(outline, shapes))
    assert share.max() > 0.9
    return int(share.argmax())


def scores(pairs, field, true_of, *, period=None):
    """Return z of a field, of those rows whose truth is known; angles by their period."""
    found = []
    name, unit = field.rsplit("_", 1)
    for row, true in pairs:
        if true_of(true) is not None:
            error = row[field] - true_of(true)
            if period is not None:
                error = (error + period / 2) % period - period / 2
            found.append(error / row[f"{name}_sd_{unit}"])
    return np.array(found)


def assert_within(z, count):
    """Hold scores against their number and the widest allowed."""
    assert len(z) == count
    assert np.abs(z).max() < WIDEST


def assert_covered(z):
    """Hold the share of independent scores within 1.96 against 95 %, by a binomial test."""
    inside = int((np.abs(z) < COVERAGE).sum())
    assert binomtest(inside, len(z), 0.95).pvalue > ODDS


def test_as_many_as_in_truth(hamlet, truth, rooms, buildings, doorways):
    """The record has each room, building and doorway of the truth once, and no other."""
    for layer, field, pairs in (
        ("rooms", "room", rooms),
        ("buildings", "building", buildings),
        ("openings", "opening", doorways),
    ):
        numbers = [row[field] for row, _ in pairs]
        assert sorted(numbers) == sorted(read(hamlet, layer)[field])
    assert len(buildings) == len(truth["buildings"]) == 14


def test_rooms_belong_to_their_buildings(rooms, buildings, truth):
    """Rooms that share a house in the truth share a building's number in the record."""
    numbers = iter([row["building"] for row, _ in rooms])
    for (row, house), name in zip(buildings, truth["buildings"], strict=True):
        found = {next(numbers) for _ in house["rooms"]}
        assert found == {row["building"]}, name
        assert row["room_count"] == sum(r["kind"] == "room" for r in house["rooms"].values())


def test_kinds_are_told_apart(rooms):
    """Courts and rooms are suggested as what they are."""
    assert [row["kind"] for row, _ in rooms] == [true["kind"] for _, true in rooms]


def test_floor_areas(rooms):
    """Floor areas lie within their sd of the geodesic areas of the true floors."""
    z = scores(rooms, "floor_area_m2", lambda room: room["floor_area_m2"])
    assert_within(z, len(rooms))
    assert_covered(z)


def test_centre_areas_and_perimeters(rooms):
    """Areas to wall centres and perimeters, which state no sd, lie within 3 % of the truth's."""
    for row, true in rooms:
        np.testing.assert_allclose(row["centre_area_m2"], true["centre_area_m2"], rtol=0.03)
        np.testing.assert_allclose(row["perimeter_m"], true["perimeter_m"], rtol=0.03)


def test_room_axes(rooms):
    """Axes lie within their sd of the true azimuths, right angles taken as the same."""
    z = scores(rooms, "axis_deg", lambda room: room["axis_square_deg"], period=90)
    assert_within(z, len(rooms))
    assert_covered(z)


def test_long_rooms_lie_along_their_length(rooms):
    """The axis of a room that is half as long again as wide runs along its longer sides."""
    long = [pair for pair in rooms if pair[1]["elongation"] > 1.5]
    assert len(long) > 5
    z = scores(long, "axis_deg", lambda room: room["axis_deg"], period=180)
    assert np.abs(z).max() < WIDEST


def test_bed_depths(rooms):
    """Seabed depths in rooms lie within their sd of the true bed's median there."""
    assert_within(scores(rooms, "bed_depth_m", lambda room: room["bed"]["depth_m"]), len(rooms))


def test_floor_depths(rooms):
    """Floors have a depth where the truth says that one was met, right within its sd."""
    met = [pair for pair in rooms if pair[1]["floor_seen"]]
    other = [row for row, true in rooms if not true["floor_seen"]]
    assert_within(scores(met, "floor_depth_m", lambda room: room["floor_depth_m"]), len(met))
    assert len(met) > 5
    assert all(np.isnan(row["floor_depth_m"]) for row in other)


def test_floors_lie_below_the_bed(rooms):
    """Where a floor was met under deposit, the record has it deeper than the seabed."""
    for row, true in rooms:
        if "excavated" in true["floor_seen"]:
            assert row["floor_depth_m"] > row["bed_depth_m"]


def test_footprints(buildings):
    """Footprints lie within their sd of the geodesic areas to the outer faces."""
    z = scores(buildings, "footprint_m2", lambda house: house["footprint_m2"])
    assert_within(z, len(buildings))
    assert_covered(z)


def test_building_axes(buildings):
    """Axes of buildings lie within their sd of the truth."""
    z = scores(buildings, "axis_deg", lambda house: house["axis_square_deg"], period=90)
    assert_within(z, len(buildings))
    assert_covered(z)


def test_wall_top_depths(buildings):
    """Depths of wall tops lie within their sd of the truth; above the sea they are negative."""
    z = scores(buildings, "top_depth_m", lambda house: house["wall_top_depth_m"])
    assert_within(z, len(buildings))
    ashore = [row["top_depth_m"] for row, true in buildings if true["wall_top_depth_m"] < 0]
    assert len(ashore) == 1
    assert ashore[0] < 0


def test_doorway_widths(doorways):
    """Openings are as wide as the doorways, within their sd."""
    z = scores(doorways, "width_m", lambda door: door["width_m"])
    assert_within(z, len(doorways))
    assert_covered(z)


def test_doorways_lie_where_they_are(doorways):
    """Openings lie within half a wall's thickness, and a pole's error, of the sills' middles."""
    for row, true in doorways:
        sill = shapely.from_wkt(true["sill_wkt"])
        assert shapely.distance(row.geometry, shapely.centroid(sill)) < 0.5


def test_recorded_thresholds_make_doorways_seen(doorways):
    """A doorway is seen where the truth has a threshold that was recorded, else possible."""
    expected = [
        "possible" if true["threshold_height_m"] is None else "seen" for _, true in doorways
    ]
    assert [row["evidence"] for row, _ in doorways] == expected


def test_wall_thickness(hamlet, truth):
    """Bodies between traced faces are as thick as the truth's walls, within their sd."""
    bodies = read(hamlet, "wall_bodies")
    pairs = []
    for house in truth["buildings"].values():
        ground = shapely.from_wkt(house["footprint_wkt"]).buffer(0.5)
        inside = bodies.loc[bodies.within(ground)]
        assert (len(inside) > 0) == (house["traced"] == "faces")
        pairs += [(row, house) for _, row in inside.iterrows()]
    z = scores(pairs, "thickness_m", lambda house: house["wall_thickness_m"])
    assert_within(z, len(bodies))
    assert_covered(z)


def test_features(hamlet, truth):
    """Features keep kind and origin, and their tops lie within their sd of the truth."""
    there = read(hamlet, "features").set_index("line")
    pairs = [(there.loc[name], true) for name, true in truth["features"].items()]
    for row, true in pairs:
        assert (row["kind"], row["origin"]) == (true["kind"], true["origin"])
    assert_within(scores(pairs, "top_depth_m", lambda thing: thing["top_depth_m"]), len(pairs))


def test_walls_stand_out_in_the_local_relief(hamlet, truth):
    """Of pairs of a sounded cell on a true wall and one in the open, the wall's is higher in 85 %.

    Between sounding lines, where walls were filled over, nothing can show them.
    """
    houses = truth["buildings"].values()
    ground = shapely.union_all([shapely.from_wkt(house["footprint_wkt"]) for house in houses])
    floors = [room["floor_wkt"] for house in houses for room in house["rooms"].values()]
    walls = shapely.difference(ground, shapely.union_all(shapely.from_wkt(floors)))
    open_ground = shapely.buffer(ground, 4.0)
    folder = hamlet / "results" / "seabed"
    grid, bands = read_raster(folder / "local_relief.tif")
    sounded = read_raster(folder / "count.tif")[1]["count"] > 0
    east, north = np.meshgrid(*grid.centres())
    relief = np.where(sounded, bands["local_relief"], np.nan)
    on = relief[shapely.contains_xy(walls, east, north)]
    off = np.sort(relief[~shapely.contains_xy(open_ground, east, north) & np.isfinite(relief)])
    on = on[np.isfinite(on)]
    assert min(len(on), len(off)) > 500
    assert np.searchsorted(off, on).mean() / len(off) > 0.85
    assert abs(np.median(off)) < 0.02


def test_floors_of_which_flooding_is_told(hamlet, rooms):
    """Heights of floors beside probabilities lie within their sd of the truth's."""
    table = pd.read_csv(hamlet / "results" / "tables" / "flooding.csv")
    true = {row["room"]: room["floor_height_m"] for row, room in rooms}
    told = table[table["room"].notna()]
    assert len(told)
    z = (told["floor_height_m"] - told["room"].map(true)) / told["floor_height_sd_m"]
    assert np.abs(z).max() < WIDEST
    above = told["level_above_floor_m"] / told["level_above_floor_sd_m"]
    np.testing.assert_allclose(told["probability"], ndtr(above), atol=1e-3)
    measured = table["probability"].notna()
    assert (measured == table["null_because"].isna()).all()
