"""The settlement that is laid out from one number."""

from pathlib import Path

import networkx as nx
import numpy as np
import pytest
import shapely
import yaml

from wrackline.demo.facts import answers
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.town import overlaps, settled

ROOT = Path(__file__).parents[3]


def town(hectares):
    """Return the demo's truth at another size."""
    content = yaml.safe_load((ROOT / "config" / "demo.yaml").read_text(encoding="utf-8"))
    return settled({**content, "hectares": hectares})


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
    """At every size buildings stand apart, inside the ground."""
    hamlet = Hamlet(town(hectares))
    outlines = {name: house.footprint for name, house in hamlet.houses.items()}
    assert overlaps(hamlet.truth, outlines) == []
    east, north = hamlet.truth.extent
    west_m, south_m = hamlet.truth.south_west
    ground = shapely.box(west_m, south_m, west_m + east, south_m + north)
    assert all(ground.covers(outline) for outline in outlines.values())
    assert east * north == pytest.approx(hectares * 1e4, rel=0.01)


def test_a_corner_is_the_corner_of_the_whole(whole):
    """Half a hectare has the same houses at the same places as eight."""
    corner = Hamlet(town(0.5))
    assert len(corner.houses) >= 2
    for name, house in corner.houses.items():
        assert shapely.equals_exact(house.footprint, whole.houses[name].footprint, 1e-6)


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
    content = yaml.safe_load((ROOT / "config" / "demo.yaml").read_text(encoding="utf-8"))
    one, other = (settled({**content, "hectares": 1.0, "seed": seed}) for seed in (1, 2))
    assert one.buildings != other.buildings
