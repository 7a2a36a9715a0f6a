"""Truth becomes exact geometry."""

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from shapely.geometry import LineString, Point

from wrackline.demo.hamlet import Hamlet, bed_height
from wrackline.demo.truth import Seabed, parse
from wrackline.errors import ConfigError

TWO_ROOMS = {
    "about": "two rooms",
    "seed": 1,
    "crs": "EPSG:32625",
    "south_west": [500000.0, 1000.0],
    "extent_m": [30.0, 20.0],
    "sea_level_m": 0.0,
    "truth_files": "truth",
    "seabed": {"south_west_m": -5.0, "rise_north_m_per_m": 0.1},
    "families": {"plain": {"origin": [10.0, 5.0], "azimuth_grid_deg": 0.0}},
    "buildings": {
        "b1": {
            "family": "plain",
            "at": [0.0, 0.0],
            "wall_m": 0.5,
            "wall_top_m": -3.0,
            "rooms": {
                "r1": {"inside": [0.0, 0.0, 4.0, 5.0]},
                "r2": {"inside": [4.5, 0.0, 3.0, 5.0]},
            },
            "doorways": [
                {"room": "r1", "side": "near", "at_m": 1.0, "width_m": 1.0},
                {"room": "r1", "side": "right", "at_m": 2.5, "width_m": 0.8},
            ],
        }
    },
    "surveys": {},
}


@pytest.fixture
def house():
    return Hamlet(parse(TWO_ROOMS)).houses["b1"]


def changed(**parts):
    """Return the two rooms with some keys of their building changed."""
    return {**TWO_ROOMS, "buildings": {"b1": {**TWO_ROOMS["buildings"]["b1"], **parts}}}


def test_areas_are_those_of_the_numbers(house):
    """Rooms measure 4 x 5 and 3 x 5; the footprint 8.5 x 6; walls are what is left."""
    assert_allclose([room.area for room in house.rooms.values()], [20.0, 15.0])
    assert_allclose(house.footprint.area, 8.5 * 6.0, rtol=1e-4)
    assert_allclose(house.walls.area, 51.0 - 35.0 - 1.0 * 0.5 - 0.8 * 0.5, rtol=1e-3)
    assert_allclose(house.centres["r1"].area, 4.5 * 5.5)


def test_places_lie_where_the_frame_puts_them(house):
    """An unturned frame starts at south-west corner plus origin."""
    assert_allclose(house.rooms["r1"].bounds, (500010.0, 1005.0, 500014.0, 1010.0))


def test_doorways_cut_the_faces_on_both_sides(house):
    """A doorway in an outer wall cuts the outer and the inner face, one in a party wall both."""
    runs = house.face_runs()
    length = sum(run.line.length for run in runs)
    assert_allclose(length, 2 * (8.5 + 6.0) + 18.0 + 16.0 - 2 * 1.0 - 2 * 0.8, atol=0.02)
    assert len(runs) == 4 + 4 + 4 + 2 + 2
    jambs = sum(run.corners.count(False) for run in runs)
    assert jambs == 2 * 4


def test_centre_lines_run_through_and_stop_at_the_party_wall(house):
    """Centre lines of outer walls run corner to corner, past the party wall's foot."""
    runs = house.centre_runs()
    lengths = sorted(round(run.line.length, 2) for run in runs)
    # far wall whole; near wall cut by a doorway; two ends; the party wall in two pieces
    assert_allclose(lengths, [0.75, 2.35, 2.35, 5.5, 5.5, 6.25, 8.0], atol=0.01)


def test_a_turned_family_turns_its_buildings():
    """Azimuth 90 turns along to the east and across to the south."""
    truth = {**TWO_ROOMS, "families": {"plain": {"origin": [10, 5], "azimuth_grid_deg": 90.0}}}
    room = Hamlet(parse(truth)).houses["b1"].rooms["r1"]
    assert_allclose(room.bounds, (500010.0, 1001.0, 500015.0, 1005.0), atol=1e-6)


def test_seabed_slopes_and_mounds():
    """The slope rises north; a mound stands full in its middle, 61 % at its radius."""
    mound = {"at": [5.0, 0.0], "height_m": 1.0, "radius_m": 2.0}
    seabed = Seabed(south_west_m=-5, rise_north_m_per_m=0.1, mounds=[mound])
    places = np.array([[105.0, 10.0], [5.0, 0.0], [7.0, 0.0]])
    assert_allclose(bed_height(seabed, places), [-4.0, -4.0, -5 + np.exp(-0.5)])


def test_a_sounding_meets_wall_tops():
    """Over a wall the surface is the wall's top, in a doorway and a room the seabed."""
    hamlet = Hamlet(parse(TWO_ROOMS))
    xy = hamlet.ground.place(np.array([[9.75, 7.0], [11.0, 4.75], [12.0, 7.0]]))
    assert_allclose(hamlet.surface(xy), [-3.0, -5 + 0.475, -4.3])


def test_sill_lies_across_the_doorway(house):
    """The sill is as long as the doorway is wide, in the middle of the wall."""
    sill = house.sill(house.truth.doorways[0])
    assert sill.equals(LineString([(500010.5, 1004.75), (500011.5, 1004.75)]))
    assert shapely.contains(house.doorways[0], Point(500011.0, 1004.75))


@pytest.mark.parametrize(
    ("truth", "named"),
    [
        (changed(wall_m=-1), r"buildings\.b1\.wall_m.*\n.*greater than 0"),
        (changed(wall_thick=1), r"buildings\.b1\.wall_thick"),
        (changed(family="hill"), r"buildings\.b1\.family.*\n.*plain"),
        (changed(doorways=[{"room": "r9", "side": "near", "at_m": 1, "width_m": 1}]), "r1"),
    ],
)
def test_a_truth_that_cannot_be_used_is_refused(truth, named):
    """The message names the key and what is allowed."""
    with pytest.raises(ConfigError, match=named):
        parse(truth)


def test_rooms_that_lie_apart_are_refused():
    """A building is one body."""
    rooms = {"r1": {"inside": [0, 0, 2, 2]}, "r2": {"inside": [9, 9, 2, 2]}}
    with pytest.raises(ConfigError, match=r"rooms.*\n.*one body"):
        parse(changed(rooms=rooms, doorways=[]))
