"""The whole demo's record against the truth that its survey files were made from.

Every measured figure is held against `data/demo/truth.json` in units of the sd that it states
itself. Surveys share their named sources, so figures are not independent: the share within 1.96 sd
is held against a lower bound, and none may lie further off than `WIDEST`. What can't be
read (a house that no survey traced since the old plan) is counted, not measured.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
import yaml
from scipy.stats import binom

from sites import REPOSITORY
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.town import settled
from wrackline.io import read_json
from wrackline.rasters import read_raster
from wrackline.rooms.access import access_figures
from wrackline.seasons.seabed_change import FILLED, MEASURED

WIDEST, COVERAGE, LEAST_SHARE = 4.5, 1.96, 0.88
SAME = 0.85
"""Intersection over union from which a room of the record is that of the truth."""

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def truth(demo):
    return read_json(demo / "data" / "demo" / "truth.json")


def layer(demo, name):
    return gpd.read_file(demo / "results" / "site.gpkg", layer=name)


def disturbed(truth):
    """Return the houses that no survey traced."""
    return {name for name, house in truth["buildings"].items() if house["traced"] == "no"}


def matched(table, wkt):
    """Return the row that lies where an outline does, None where none does."""
    outline, shapes = shapely.from_wkt(wkt), table.geometry.to_numpy()
    near = shapely.STRtree(shapes).query(outline, predicate="intersects")
    if not len(near):
        return None
    common = shapely.area(shapely.intersection(outline, shapes[near]))
    share = common / shapely.area(shapely.union(outline, shapes[near]))
    return table.iloc[near[share.argmax()]] if share.max() > SAME else None


@pytest.fixture(scope="module")
def rooms(demo, truth):
    """Return pairs of the record's row, or None, and the truth of every room that was traced."""
    table, left_out = layer(demo, "rooms"), disturbed(truth)
    return [
        (matched(table, room["floor_wkt"]), room)
        for name, house in truth["buildings"].items()
        if name not in left_out
        for room in house["rooms"].values()
    ]


@pytest.fixture(scope="module")
def buildings(demo, truth):
    table, left_out = layer(demo, "buildings"), disturbed(truth)
    return [
        (matched(table, house["footprint_wkt"]), house)
        for name, house in truth["buildings"].items()
        if name not in left_out
    ]


def scores(pairs, field, true_of, period=None):
    """Return z of a field, of those rows whose truth is known; angles by their period."""
    name, unit = field.rsplit("_", 1)
    found = []
    for row, true in pairs:
        if row is None or true_of(true) is None or np.isnan(row[field]):
            continue
        error = row[field] - true_of(true)
        if period is not None:
            error = (error + period / 2) % period - period / 2
        found.append(error / row[f"{name}_sd_{unit}"])
    return np.array(found)


def assert_honest(z, least):
    """Hold scores against their number, their share within 1.96 and the widest allowed."""
    assert len(z) >= least
    assert np.abs(z).max() < WIDEST
    assert (np.abs(z) < COVERAGE).mean() >= LEAST_SHARE


def test_every_room_that_was_traced_is_found(rooms, buildings, truth):
    """All rooms and houses that surveys traced undisturbed are on the record."""
    assert [true["floor_wkt"] for row, true in rooms if row is None] == []
    assert [true["footprint_wkt"] for row, true in buildings if row is None] == []
    assert len(rooms) > 200
    assert len(disturbed(truth)) < 12


def test_few_spaces_are_no_rooms(demo, truth):
    """What the record takes for a room and the truth does not have is rare."""
    table = layer(demo, "rooms")
    true = [
        shapely.from_wkt(r["floor_wkt"])
        for h in truth["buildings"].values()
        for r in h["rooms"].values()
    ]
    within = shapely.union_all(true).buffer(0.5)
    assert shapely.within(table.geometry.to_numpy(), within).mean() > 0.97


def test_floor_areas(rooms):
    """Floor areas lie within their sd of the geodesic areas of the true floors."""
    assert_honest(scores(rooms, "floor_area_m2", lambda room: room["floor_area_m2"]), 200)


def test_axes(rooms, buildings):
    """Axes lie within their sd of the true azimuths, right angles taken as the same."""
    assert_honest(scores(rooms, "axis_deg", lambda room: room["axis_square_deg"], 90), 200)
    straight = [
        (row, h) for row, h in buildings if not any(r["round"] for r in h["rooms"].values())
    ]
    assert_honest(scores(straight, "axis_deg", lambda house: house["axis_square_deg"], 90), 50)


def test_seabed_depths(rooms):
    """Seabed depths of rooms without plants lie within their sd of the true bed's median."""
    bare = [pair for pair in rooms if pair[1]["overgrown_share"] == 0]
    assert_honest(scores(bare, "bed_depth_m", lambda room: room["bed"]["depth_m"]), 200)


def test_floors(rooms):
    """Floors have a depth where one was met and nowhere else, right within their sd."""
    z = scores(rooms, "floor_depth_m", lambda room: room["floor_depth_m"])
    assert_honest(z, 60)
    unmet = [row for row, true in rooms if not true["floor_seen"]]
    assert all(np.isnan(row["floor_depth_m"]) for row in unmet)


def test_footprints_and_wall_tops(buildings):
    """Footprints and the depths of wall tops lie within their sd of the truth."""
    assert_honest(scores(buildings, "footprint_m2", lambda house: house["footprint_m2"]), 50)
    assert_honest(scores(buildings, "top_depth_m", lambda house: house["wall_top_depth_m"]), 50)


def test_wall_thickness(demo, buildings):
    """Bodies between traced faces are as thick as the truth's walls, within their sd."""
    bodies = layer(demo, "wall_bodies")
    pairs = []
    for _, house in buildings:
        ground = shapely.from_wkt(house["footprint_wkt"]).buffer(0.5)
        inside = bodies[bodies.within(ground) & (bodies.area > 2.0)]
        pairs += [(row, house) for _, row in inside.iterrows()]
    assert_honest(scores(pairs, "thickness_m", lambda house: house["wall_thickness_m"]), 50)


def test_doorways(demo, truth):
    """Open doorways are found with their width; blocked ones are none."""
    table, left_out = layer(demo, "openings"), disturbed(truth)
    doors = [d for n, h in truth["buildings"].items() if n not in left_out for d in h["doorways"]]
    pairs, shut = [], []
    for door in doors:
        away = table.distance(shapely.centroid(shapely.from_wkt(door["sill_wkt"])))
        near = table.loc[away.idxmin()] if away.min() < 0.6 else None
        (shut if door["blocked"] else pairs).append((near, door))
    assert np.mean([row is not None for row, _ in pairs]) > 0.97
    assert [row for row, _ in shut if row is not None] == []
    ruined = shapely.union_all([shapely.from_wkt(one["ground_wkt"]) for one in truth["walls_lost"]])
    kept = [(r, d) for r, d in pairs if not shapely.from_wkt(d["sill_wkt"]).intersects(ruined)]
    assert len(pairs) - len(kept) < 6  # doors of which a jamb is gone are wider than they were
    assert_honest(scores(kept, "width_m", lambda door: door["width_m"]), 150)
    seen = [row["evidence"] == "seen" for row, door in pairs if row is not None]
    true = [door["threshold_height_m"] is not None for row, door in pairs if row is not None]
    assert np.mean(np.array(seen) == np.array(true)) > 0.95


def test_features(demo, truth):
    """Features keep kind and origin, and their tops lie within their sd of the truth."""
    table = layer(demo, "features").drop_duplicates("line").set_index("line")
    pairs = [(table.loc[n], true) for n, true in truth["features"].items() if n in table.index]
    assert len(pairs) > 0.95 * len(truth["features"])
    for row, true in pairs:
        assert (row["kind"], row["origin"]) == (true["kind"], true["origin"])
    assert_honest(scores(pairs, "top_depth_m", lambda thing: thing["top_depth_m"]), 100)


def test_structures_bound_the_sea_level_and_quays_give_it(demo, truth):
    """A floor gives a limit and never a level; the two quays give one, lower than every floor."""
    table = pd.read_csv(demo / "results" / "tables" / "sea_level.csv")
    floors = table[table["what"] == "floor"]
    assert (floors["indication"] == "terrestrial limiting").all()
    assert floors["sea_level_m"].isna().all()
    assert floors["statement"].str.startswith("sea level at or below").all()
    quays = table[table["indication"] == "index point"]
    assert quays["what"].tolist() == ["quay", "quay"]
    assert quays["sea_level_m"].max() < floors["elevation_m"].min()


def test_the_old_plan_lives_on_where_nothing_better_came(demo):
    """Lines of 1986 that nobody traced since are on the plan, and say so."""
    walls = layer(demo, "wall_lines")
    old = walls[walls["evidence"] == "old plan"]
    assert len(old) > 5
    assert set(old["surveys"]) == {"1986-tape_plan"}


def test_interpretations_disagree_and_none_is_lost(demo):
    """Every row of the register is in the table, two of them in dispute, one tied to nothing."""
    table = pd.read_csv(demo / "results" / "tables" / "interpretations.csv")
    rows = pd.read_csv(demo / "config" / "interpretations.csv")
    assert table["reading"].tolist() == rows["reading"].tolist()
    counts = table["status"].value_counts()
    assert counts["disputed"] == 2
    assert counts["superseded"] == 1
    assert counts["nothing there"] == 1


def test_the_demo_passes_its_own_check(demo):
    """No fault and no open suspicion; what is accepted has its reason."""
    report = read_json(demo / "work" / "check" / "report.json")
    assert report["faults"] == report["suspicions"] == []
    assert {row["kind"] for row in report["accepted"]} == {"scale_of_grid"}


@pytest.mark.parametrize("pair", ["2032-2033", "2031-2032"])
def test_the_seabeds_change_holds_the_true_volume(demo, pair):
    """Net volumes lie within their 95 % interval of the truth's, over the very cells compared."""
    figures = read_json(demo / "work" / "seasons" / "change" / f"{pair}.json")
    grid, bands = read_raster(demo / "work" / "seasons" / "change" / f"{pair}.tif")
    natural = np.isin(bands["ground"], (MEASURED, FILLED))
    rise = true_rise(grid) if pair.endswith("2033") else np.zeros(grid.shape)
    true = rise[natural].sum() * figures["cell_area_m2"]
    site, gross = figures["site"], figures["gross"]
    assert abs(site["volume_m3"] - true) < COVERAGE * site["volume_sd_m3"]
    for name, part in (("came_m3", rise), ("went_m3", -rise)):
        volume = np.maximum(part[natural], 0).sum() * figures["cell_area_m2"]
        assert abs(gross[name] - volume) < COVERAGE * gross["gross_sd_m3"]


def true_rise(grid):
    """Return the truth's change of the bed, the mean over 3 × 3 places in each cell [m]."""
    truth = yaml.safe_load((REPOSITORY / "config" / "demo.yaml").read_text(encoding="utf-8"))
    hamlet = Hamlet(settled(truth))
    x, y = np.meshgrid(*grid.centres())
    off = np.linspace(-1 / 3, 1 / 3, 3) * grid.cell_m
    places = [np.column_stack([(x + a).ravel(), (y + b).ravel()]) for a in off for b in off]
    rises = [hamlet.bed(xy, moved=True) - hamlet.bed(xy) for xy in places]
    return np.mean(rises, axis=0).reshape(grid.shape)


def test_areas_of_change_are_where_sand_moved(demo, truth):
    """Each of the five moves is an area of its sign, and there is no other; trenches are none."""
    areas = layer(demo, "seabed_change_areas")
    areas = areas[(areas["earlier"] == "2032") & (areas["later"] == "2033")]
    for move in truth["seabed_moved"]:
        mine = areas[areas.distance(shapely.Point(move["at"])) < move["radius_m"]]
        words = "ground has come" if move["height_m"] > 0 else "ground has gone"
        assert mine["change"].tolist() == [words]
    assert len(areas) == len(truth["seabed_moved"])


def test_seasons_agree_on_the_stable_rock(demo):
    """On rock the seasons fit within their errors, and so nothing is to be written."""
    for pair in ("2031-2032", "2032-2033"):
        figures = read_json(demo / "work" / "seasons" / "change" / f"{pair}.json")
        found = figures["stable"]["registration"]
        assert found["cells"] > 300
        assert not found["apart"]
        assert found["correction"] == {}


def test_ranges_of_access_hold_the_truth(demo, truth):
    """Doors on the way in, and control, lie within their ranges in 95 of 100 rooms or more.

    Ranges are meant to hold 95 of 100; the bound is the 0.1 % quantile of the binomial
    distribution at that share.
    """
    told = pd.read_csv(demo / "results" / "tables" / "access.csv").set_index("room")
    held = {"steps_from_outside": [], "control": []}
    table, left_out = layer(demo, "rooms"), disturbed(truth)
    for name, house in truth["buildings"].items():
        true = access_figures([tuple(pair) for pair in house["joined"]], list(house["rooms"]))
        true = true.set_index("room")
        for room, facts in house["rooms"].items():
            row = matched(table, facts["floor_wkt"])
            if row is None or name in left_out:
                continue
            for figure, hits in held.items():
                low, high = (told.loc[row["room"], f"{figure}_{end}"] for end in ("low", "high"))
                if not np.isnan(low):
                    hits.append(low - 1e-3 <= true.loc[room, figure] <= high + 1e-3)
    for hits in held.values():
        assert len(hits) > 60
        assert sum(hits) >= binom.ppf(0.001, len(hits), 0.95)


def test_families_of_directions_are_the_towns(demo, truth):
    """The walls' families lie within 4 sds of the directions that the houses were laid out by."""
    table = pd.read_csv(demo / "results" / "tables" / "orientation.csv")
    families = table[table["row"] != "class"]
    true = sorted({round(house["axis_square_deg"], 1) for house in truth["buildings"].values()})
    assert len(families) == len(true) == 2
    off = np.abs(np.sort(families["axis_deg"]) - true)
    assert (off < 4 * families.sort_values("axis_deg")["axis_sd_deg"].to_numpy() + 0.05).all()


@pytest.fixture(scope="module")
def ground(demo):
    """Return the truth as geometry."""
    text = (demo / "config" / "demo.yaml").read_text(encoding="utf-8")
    return Hamlet(settled(yaml.safe_load(text)))


def true_tops(ground, spots):
    """Return the true height of the wall on whose face each spot lies, of several the nearest."""
    bodies, tops = zip(*ground.wall_tops, strict=True)
    shapes = spots.geometry.to_numpy()
    at, body = shapely.STRtree(bodies).query(shapes, predicate="dwithin", distance=0.5)
    assert set(at) == set(range(len(spots)))
    heights = spots["height_m"].to_numpy()[at]
    order = np.lexsort([np.abs(np.array(tops)[body] - heights), at])
    return np.array(tops)[body[order]][np.unique(at[order], return_index=True)[1]]


def true_bed(ground, spots):
    """Return the true height of the bed that each spot's survey met; NaN under plants."""
    xy = spots[["easting_m", "northing_m"]].to_numpy()
    later = (spots["season"] >= "2033").to_numpy()
    bed = np.where(later, ground.bed(xy, moved=True), ground.bed(xy))
    return np.where(ground.canopy(xy, moved=True) > 0, np.nan, bed)


def true_floors(ground, spots):
    """Return the true height of the floor of the room in which, or at whose door, each lies."""
    floors = [
        (inside.buffer(0.4), house.truth.rooms[name].floor_m)
        for house in ground.houses.values()
        for name, inside in house.rooms.items()
        if house.truth.rooms[name].floor_m is not None
    ]
    found = [[m for room, m in floors if room.contains(point)] for point in spots.geometry]
    heights = spots["height_m"]
    pairs = zip(found, heights, strict=True)
    return np.array([min(near, key=lambda m, z=z: abs(m - z)) for near, z in pairs])


@pytest.mark.parametrize(
    ("of", "true_of", "least"),
    [("wall top", true_tops, 800), ("floor", true_floors, 120), ("seabed", true_bed, 800)],
)
def test_spot_heights_are_the_heights_of_what_they_say(demo, ground, of, true_of, least):
    """Heights and depths lie about the truth as their sds say: four heights, none for another."""
    spots = layer(demo, "spot_heights")
    spots = spots[spots["of"] == of].reset_index(drop=True)
    true = true_of(ground, spots)
    known = np.isfinite(true)
    level = ground.truth.sea_level_m
    height = (spots["height_m"] - true) / spots["height_sd_m"]
    depth = (spots["depth_m"] - (level - true)) / spots["depth_sd_m"]
    assert_honest(height[known].to_numpy(), least)
    assert_honest(depth[known].to_numpy(), least)


def test_trenches_cover_what_was_dug(demo, ground):
    """Each lies where the truth has one, with its 2 m2 within 4.5 sd; so does its plan of 2032."""
    dug = layer(demo, "trenches")
    true = [outline for outline, _ in ground.trenches]
    assert len(dug) == len(true)
    assert np.abs((dug["area_m2"] - 2.0) / dug["area_sd_m2"]).max() < WIDEST
    for outline in true:
        near = dug.geometry.intersection(outline).area.max()
        assert near > 1.7
    package = demo / "results" / "seasons" / "2031" / "plan.gpkg"
    assert not len(gpd.read_file(package, layer="trenches"))


def test_what_was_drawn_off_photographs_is_on_the_plan(demo, truth):
    """Stones, hachures and section lines lie where the truth has them, by their own names."""
    features = layer(demo, "features")
    mine = features[features["survey"] == "2033-details"].set_index("line")
    assert sorted(mine.index) == sorted(truth["details"])
    assert set(mine["kind"]) == {"hachure", "section line", "stone"}
    for name, row in mine.iterrows():
        true = truth["details"][name]
        assert row["kind"] == true["kind"]
        away = shapely.hausdorff_distance(row.geometry, shapely.from_wkt(true["geometry_wkt"]))
        assert away < WIDEST * 0.035
    marks = mine[mine["kind"] != "stone"]
    assert marks["room"].isna().all()
    assert marks["top_depth_m"].isna().all()
    assert mine.loc[mine["kind"] == "stone", "top_depth_m"].notna().all()


def test_wall_bodies_of_dated_walls_have_their_phase(demo):
    """Stumps are early, the houses over them late; what nobody dated has no phase."""
    bodies, walls = layer(demo, "wall_bodies"), layer(demo, "wall_lines")
    dated = dict(zip(walls["wall"], walls["phase_from"], strict=True))
    for row in bodies.itertuples():
        told = {dated[wall] for wall in row.wall.split(";")} - {None}
        assert {row.phase_from} - {None} == told
    assert set(bodies["phase_from"].dropna()) == {"early", "late"}
