"""The settlement that is laid out from one number."""

import os
import subprocess
import sys
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
import shapely
import yaml

from wrackline.demo.facts import ABOUT, answers
from wrackline.demo.hamlet import Hamlet, bed_height
from wrackline.demo.town import overlaps, settled
from wrackline.demo.truth import parse

ROOT = Path(__file__).parents[3]
ASKED = """
import hashlib, sys, yaml
from wrackline.demo.town import settled
content = yaml.safe_load(open(sys.argv[1], encoding="utf-8"))
print(hashlib.sha256(settled({**content, "hectares": 2.0}).model_dump_json().encode()).hexdigest())
"""


def content(hectares, **keys):
    """Return the content of the demo's truth file at another size."""
    read = yaml.safe_load((ROOT / "config" / "demo.yaml").read_text(encoding="utf-8"))
    return {**read, "hectares": hectares, **keys}


def town(hectares, **keys):
    """Return the demo's truth at another size."""
    return settled(content(hectares, **keys))


def apart(hamlet):
    """Return the distance between every two buildings less than 3 m apart [m]."""
    outlines = np.array([house.footprint for house in hamlet.houses.values()], dtype=object)
    one, other = shapely.STRtree(outlines).query(outlines, "dwithin", 3.0)
    return shapely.distance(outlines[one], outlines[other])[one < other]


@pytest.fixture(scope="module")
def whole():
    return Hamlet(town(8.0))


@pytest.fixture(scope="module")
def facts(whole):
    return answers(whole)


def test_the_demo_has_what_a_drowned_town_has(whole):
    """8 ha hold 50 to 80 buildings in two families, with everything that the record must tell."""
    truth = whole.truth
    assert 50 <= len(truth.buildings) <= 80
    assert len(truth.families) == 2
    rooms = [room for building in truth.buildings.values() for room in building.rooms.values()]
    doors = [door for building in truth.buildings.values() for door in building.doorways]
    assert {room.kind for room in rooms} == {"room", "court"}
    assert any(room.apse for room in rooms)
    assert any(room.round for room in rooms)
    assert {room.household for room in rooms} == {"", "a", "b"}
    assert any(door.blocked for door in doors)
    assert {building.phase for building in truth.buildings.values()} == {"early", "late"}
    assert {wall.kind for wall in truth.free_walls.values()} == {"enclosure", "stump"}
    kinds = {thing.kind for thing in truth.features.values()}
    assert kinds >= {"hearth", "grave", "cistern", "jar", "paving", "quay", "rock edge", "bench"}
    assert {thing.origin for thing in truth.features.values()} == {"built", "natural", "modern"}
    assert truth.seabed.plants
    assert truth.seabed.outcrops


@pytest.mark.parametrize("hectares", [0.3, 2.0, 8.0, 30.0])
def test_no_two_buildings_overlap_and_all_lie_within_the_ground(hectares):
    """At every size buildings stand apart, a lane of 1.2 m between them, inside the ground."""
    hamlet = Hamlet(town(hectares))
    outlines = {name: house.footprint for name, house in hamlet.houses.items()}
    assert overlaps(hamlet.truth, outlines) == []
    assert (apart(hamlet) > 1.2).all()
    east, north = hamlet.truth.extent
    west_m, south_m = hamlet.truth.south_west
    ground = shapely.box(west_m, south_m, west_m + east, south_m + north)
    assert all(ground.covers(outline) for outline in outlines.values())
    assert east * north == pytest.approx(hectares * 1e4, rel=0.01)


@pytest.mark.parametrize(("small", "large"), [(0.5, 2.0), (2.0, 8.0), (8.0, 30.0)])
def test_a_corner_is_the_corner_of_the_whole(small, large):
    """A small site has the same houses and walls at the same places as a large one."""
    corner, whole = Hamlet(town(small)), Hamlet(town(large))
    assert len(corner.houses) >= 2
    assert len(whole.houses) > len(corner.houses)
    for name, house in corner.houses.items():
        assert shapely.equals_exact(house.footprint, whole.houses[name].footprint, 1e-6)
    assert set(corner.free_walls) <= set(whole.free_walls)


def test_every_house_of_a_corner_is_all_that_stands_there(whole):
    """Where a block of the whole lies well within the corner's ground, the corner has its house."""
    corner = Hamlet(town(2.0))
    ground = shapely.box(
        *whole.truth.south_west, *corner.ground.place(np.array([[130.0, 90.0]]))[0]
    )
    there = {n for n, house in whole.houses.items() if house.footprint.within(ground)}
    assert len(there) > 8
    assert there <= set(corner.houses)


def test_every_room_can_be_walked_into(whole):
    """Through doorways that are open each room is reached from outside."""
    for house in whole.houses.values():
        ways = nx.Graph()
        for door in house.open_doorways:
            room = house.rooms[door.room]
            through = house.frame.put(house.passage(door)).buffer(0.05)
            others = [name for name, other in house.rooms.items() if other.intersects(through)]
            assert room.intersects(through)
            beyond = [name for name in others if name != door.room] or ["outside"]
            ways.add_edge(door.room, beyond[0])
        assert set(nx.node_connected_component(ways, "outside")) == {*house.rooms, "outside"}


def test_a_blocked_doorway_is_wall(whole):
    """Where a doorway was walled up the wall goes on, and its face is traced past it."""
    shut = [
        (house, door)
        for house in whole.houses.values()
        for door in house.truth.doorways
        if door.blocked
    ]
    assert shut
    for house, door in shut:
        middle = shapely.Point(house.sill(door).centroid)
        assert house.walls.contains(middle)


def test_walls_are_equally_thick_around_a_curve(whole):
    """From the inside of an apse or a round room to the outside it is one wall's thickness."""
    curved = 0
    for house in whole.houses.values():
        for name, room in house.truth.rooms.items():
            if room.apse is None and not room.round:
                continue
            curved += 1
            arc = [p for p in house.rooms[name].exterior.coords if len(house.rooms) < 3]
            outer = house.footprint.exterior
            off = np.array([outer.distance(shapely.Point(place)) for place in arc])
            near = off[off < 1.5 * house.truth.wall_m]
            assert near.min() == pytest.approx(house.truth.wall_m, abs=0.01)
            assert np.median(near) == pytest.approx(house.truth.wall_m, abs=0.01)
    assert curved >= 5


def test_areas_of_apse_and_round_rooms(whole, facts):
    """A round room has pi r², an apse half of it, less what 32 straight steps cut off a circle."""
    steps = 32
    share = steps / (2 * np.pi) * np.sin(2 * np.pi / steps)  # regular polygon in a circle
    for name, house in whole.houses.items():
        for room_name, room in house.truth.rooms.items():
            _, _, wide, deep = room.inside
            area = facts["buildings"][name]["rooms"][room_name]["floor_area_grid_m2"]
            if room.round:
                assert area == pytest.approx(share * np.pi * wide**2 / 4, rel=1e-4)
            elif room.apse:
                half = share * np.pi * wide**2 / 8
                assert area == pytest.approx(wide * deep + half, rel=1e-4)


def test_the_bed_runs_from_the_foreshore_to_the_shore(whole):
    """The job's depths: walls ashore, and nothing deeper than 10 m."""
    rng = np.random.default_rng(1)
    places = whole.ground.place(rng.uniform(0, 1, (5000, 2)) * whole.truth.extent)
    bed = whole.bed(places)
    assert -10 < bed.min() < -8
    assert 0.5 < bed.max() < 2.0
    assert (whole.canopy(places) >= 0).all()
    assert (whole.surface(places, canopy=True) >= bed).all()


def test_floors_lie_under_deposit_and_above_the_quays(whole):
    """Floors are buried, walls stand out of the bed, and quays reach lower than every floor."""
    floors = []
    for house in whole.houses.values():
        bed = whole.bed(np.array(house.footprint.exterior.coords))
        floors += [room.floor_m for room in house.truth.rooms.values()]
        assert max(r.floor_m for r in house.truth.rooms.values()) < bed.max()
        assert house.truth.wall_top_m > bed.mean()
    quays = [t.top_m for t in whole.truth.features.values() if t.kind == "quay"]
    assert len(quays) == 2
    assert max(quays) < min(floors)


def test_features_lie_in_their_rooms_and_not_on_each_other(whole):
    """Each feature of a room lies between its walls, clear of the others; outdoors, of houses."""
    bodies = shapely.union_all([house.footprint for house in whole.houses.values()])
    taken = {}
    for thing in whole.truth.features.values():
        shape = whole.shape(thing)
        if thing.building is None:
            assert not bodies.intersects(shape)
            continue
        assert whole.houses[thing.building].rooms[thing.room].contains(shape)
        others = taken.setdefault((thing.building, thing.room), [])
        assert all(shape.distance(other) > 0.05 for other in others)
        others.append(shape)
    assert len(taken) > 60


def test_a_stump_runs_under_its_late_house_alone(whole):
    """What is left of an early house is crossed by one late building, and stands lower than it."""
    stumps = [name for name, w in whole.truth.free_walls.items() if w.kind == "stump"]
    assert len(stumps) >= 3
    for name, body in whole.free_walls.items():
        above = [h for h in whole.houses.values() if h.footprint.distance(body) < 0.5]
        assert len(above) == (1 if name in stumps else 0)
        for house in above:
            assert house.truth.phase == "late"
            assert whole.truth.free_walls[name].top_m < house.truth.wall_top_m


def test_the_foreshore_is_as_wide_on_every_site():
    """At the same distance from the south edge the bed falls away by the same 1.79 m."""
    for hectares in (0.5, 30.0):
        truth = parse(content(hectares))
        flat = truth.seabed.model_copy(update={"foreshore": None})
        places = np.array([[5.0, 0.0], [5.0, 6.125], [5.0, 12.25], [5.0, 20.0]])
        drop = bed_height(flat, places, truth.extent[1])
        drop -= bed_height(truth.seabed, places, truth.extent[1])
        np.testing.assert_allclose(drop, [1.79, 0.895, 0.0, 0.0], atol=1e-9)


def test_doorways_join_what_the_facts_say(facts):
    """Every room is joined to a room of its building or to outside; blocked doorways join none."""
    for house in facts["buildings"].values():
        doors = house["doorways"]
        assert house["joined"] == [d["between"] for d in doors if not d["blocked"]]
        named = {name for pair in house["joined"] for name in pair}
        assert named == {*house["rooms"], "outside"}
        for one, other in house["joined"]:
            pair = [one, other]
            assert (
                "outside" in pair
                or pair in house["neighbours"]
                or pair[::-1] in house["neighbours"]
            )


def test_the_facts_explain_their_keys(facts):
    """Keys that are explained exist, and features have a shape on the map."""
    house = next(iter(facts["buildings"].values()))
    room = next(iter(house["rooms"].values()))
    there = {*facts, *(f"buildings.{k}" for k in house), *(f"rooms.{k}" for k in room)}
    assert {keys.split(", ")[0] for keys in ABOUT} <= there
    assert all(shapely.from_wkt(f["geometry_wkt"]).is_valid for f in facts["features"].values())


def test_facts_name_neighbours_phases_and_what_lies_under(facts):
    """The right answers say who shares a wall, what was built when, and where stumps run."""
    houses = facts["buildings"].values()
    row = next(h for h in houses if len(h["rooms"]) == 4 and len(h["neighbours"]) == 3)
    assert [sorted(pair) for pair in row["neighbours"]]
    rooms = [room for house in houses for room in house["rooms"].values()]
    assert any(room["overlies"] for room in rooms)
    assert all(0 <= room["overgrown_share"] <= 1 for room in rooms)
    assert all((room["axis_deg"] is None) == room["round"] for room in rooms)
    assert facts["hectares"] == pytest.approx(8.0, rel=0.01)


def test_another_seed_is_another_town():
    """The seed changes what stands where."""
    one, other = (town(1.0, seed=seed) for seed in (1, 2))
    assert one.buildings != other.buildings


def test_the_same_seed_is_the_same_town_in_every_process():
    """Nothing hangs on the order in which Python happens to hash names."""
    said = {
        subprocess.run(
            [sys.executable, "-c", ASKED, str(ROOT / "config" / "demo.yaml")],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(said) == 1
    assert said != {""}
