"""How broken walls are joined: drawings of a few lines, each with one gap of a known kind."""

import numpy as np
import pytest
import shapely
from drawn import box, line_table, network_of

from wrackline.walls.linework import RECORDED

NORTH_WEST_SOUTH = [[(4, 3), (0, 3)], [(0, 3), (0, 0)], [(0, 0), (4, 0)]]


def closings(lines, follows="face", **walls):
    """Return the closings of lines as (kind, gap), sorted, and their network."""
    network = network_of(line_table(lines, follows=follows), **walls)
    pieces = network.pieces
    made = (pieces.kind != RECORDED) & (pieces.gap_m > 0.002)
    found = zip(pieces.kind[made].tolist(), pieces.gap_m[made].round(6).tolist(), strict=True)
    return sorted(found), network


def areas(network):
    faces = shapely.get_parts(shapely.polygonize(shapely.linestrings(network.edges)))
    return sorted(shapely.area(faces).round(3).tolist())


@pytest.mark.parametrize(
    ("east_wall", "expected"),
    [
        pytest.param(
            [[(4, 0.2), (4, 2.9)]], [("extension", 0.1), ("extension", 0.2)], id="extension"
        ),
        pytest.param([[(4, 0), (4, 1.2)], [(4, 1.5), (4, 3)]], [("joint", 0.3)], id="joint"),
        pytest.param([[(4, 0), (4, 1)], [(4, 1.9), (4, 3)]], [("doorway", 0.9)], id="doorway"),
        pytest.param([[(4, 0), (4, 1.9)]], [("doorway", 1.1)], id="doorway before a wall"),
        pytest.param([[(4, 0), (4, 1)], [(4, 1), (4, 3)]], [], id="touching"),
        pytest.param([[(4, -0.3), (4, 3.3)]], [], id="overshoots"),
    ],
)
def test_each_kind_of_gap_in_a_rooms_east_wall_is_closed(east_wall, expected):
    """A room of 12 m² closes whatever its east wall lacks, with the kind and width of the gap."""
    rest = [[(4.2, 3), (-0.1, 3)], [(0, 3.2), (0, -0.1)], [(-0.1, 0), (4.2, 0)]]
    found, network = closings([*rest, *east_wall])
    assert found == expected
    assert areas(network) == [12.0]


def test_two_ends_that_fall_short_of_their_corner_are_led_to_it():
    """Both walls are extended, by 0.2 m and 0.3 m, to where they would have met."""
    lines = [*NORTH_WEST_SOUTH[:2], [(0, 0), (3.8, 0)], [(4, 0.3), (4, 3)]]
    found, network = closings(lines)
    assert found == [("corner", 0.5), ("corner", 0.5)]
    assert areas(network) == [12.0]


def test_an_end_that_faces_no_wall_is_led_to_the_foot_of_the_nearest():
    """A wall that runs 0.2 m beside another, and faces nothing, is led straight to it."""
    lines = [*box(0, 0, 8, 4), [(8, 2), (6, 2), (6, 0.2), (3, 0.2)]]
    found, network = closings(lines)
    assert found == [("foot", 0.2)]
    (foot,) = np.flatnonzero(network.pieces.kind == "foot")
    ends = network.pieces.ends(network.work.xyz)[foot, :, :2]
    np.testing.assert_allclose(ends, [[3, 0.2], [3, 0]])


def test_a_doorway_beside_a_corner_is_closed_to_the_corner():
    """The south wall stops 0.8 m before the corner, the west wall 0.1 m: both are led to it."""
    lines = [[(4, 3), (0, 3)], [(0, 3), (0, 0.1)], [(0.8, 0), (4, 0)], [(4, 0), (4, 3)]]
    found, network = closings(lines)
    assert found == [("corner", 0.9), ("doorway", 0.9)]
    assert areas(network) == [12.0]


def test_what_is_wider_than_a_doorway_is_a_lost_stretch():
    """A gap of 1.7 m is a lost stretch where doorways are at most 1.6 m wide, if one may be."""
    lines = [*NORTH_WEST_SOUTH, [(4, 0), (4, 0.7)], [(4, 2.4), (4, 3)]]
    assert closings(lines, lost_stretch_max_m=0)[0] == []
    assert closings(lines)[0] == [("lost", 1.7)]
    assert closings(lines, doorway_max_m=1.8)[0] == [("doorway", 1.7)]


def test_joining_can_be_switched_off():
    """With all distances at 0 nothing is joined."""
    lines = [*NORTH_WEST_SOUTH, [(4, 0.2), (4, 2.9)]]
    assert closings(lines, join_gap_m=0, doorway_max_m=0, lost_stretch_max_m=0)[0] == []


def test_recorded_lines_are_never_moved():
    """After joining, every recorded vertex is where it was surveyed, to the node grid."""
    rng = np.random.default_rng(3)
    lines = [np.array(line) + rng.normal(0, 0.08, (2, 2)) for line in box(0, 0, 4, 3)]
    network = network_of(line_table(lines))
    np.testing.assert_array_equal(network.work.xyz[:, :2], np.concatenate(lines))
    nodes = shapely.multipoints(network.edges.reshape(-1, 2))
    for vertex in np.concatenate(lines):
        assert shapely.distance(nodes, shapely.Point(vertex)) < 0.001


def test_a_wall_that_meets_another_midway_is_noded_there():
    """A T of two walls has three edges once the shorter is led to the longer."""
    found, network = closings([[(0, 0), (6, 0)], [(2, 0.1), (2, 3)]])
    assert found == [("extension", 0.1)]
    recorded = sorted(network.length[network.recorded].round(3).tolist())
    assert recorded == [2.0, 2.9, 4.0]


def test_a_closed_ring_is_left_alone():
    """A closed ring has no free end, even where a free end of another wall is near."""
    ring = [(0, 0), (4, 0), (4, 3), (0, 3), (0, 0)]
    assert closings([ring])[0] == []
    assert closings([ring, [(4.3, 1), (9, 1)]])[0] == [("extension", 0.3)]


@pytest.mark.parametrize(
    ("ring", "expected"),
    [
        pytest.param(
            [(0.3, 0), (4, 0), (4, 3), (0, 3), (0, 0.2)], [("corner", 0.5)] * 2, id="corner"
        ),
        pytest.param(
            [(2.3, 0), (4, 0), (4, 3), (0, 3), (0, 0), (2, 0)], [("joint", 0.3)], id="joint"
        ),
        pytest.param(
            [(2.9, 0), (4, 0), (4, 3), (0, 3), (0, 0), (2, 0)], [("doorway", 0.9)], id="door"
        ),
        pytest.param([(-0.2, 0), (4, 0), (4, 3), (0, 3), (0, -0.3)], [], id="crossing ends"),
    ],
)
def test_one_line_round_a_room_is_closed_where_its_ends_miss(ring, expected):
    """A single line round 12 m² is closed on itself by the kind of gap between its ends."""
    found, network = closings([ring])
    assert found == expected
    assert areas(network) == [12.0]


def test_a_short_wall_is_not_closed_on_itself():
    """The two ends of a bent stub are no gap in a ring: they miss by a good part of its length."""
    assert closings([[(0, 0), (0.5, 0), (0.5, 0.4), (0.2, 0.4)]])[0] == []


def test_each_free_end_is_used_once():
    """Of two walls in line with an end, it is joined to the nearer."""
    lines = [[(0, 0), (3, 0)], [(3.2, 0.15), (6, 0.15)], [(3.3, -0.2), (6, -0.2)]]
    network = closings(lines)[1]
    joints = network.pieces.vertices[network.pieces.kind == "joint"]
    assert np.sort(joints[:, :, 0]).tolist() == [[1, 2]]


@pytest.mark.parametrize("lines", [[], [[(0, 0), (5, 0)]]])
def test_nothing_and_a_single_wall_have_no_closing(lines):
    """No line at all, and one wall of two points, make networks without closings."""
    found, network = closings(lines)
    assert found == []
    assert len(network.edges) == len(lines)


def test_the_order_of_lines_leaves_no_trace():
    """The same lines in another order make the same edges."""
    rng = np.random.default_rng(1)
    lines = [np.array(line) + rng.normal(0, 0.1, (2, 2)) for line in box(0, 0, 4, 3) * 2]
    edges = network_of(line_table(lines)).edges
    again = [lines[k] for k in rng.permutation(len(lines))]
    np.testing.assert_array_equal(network_of(line_table(again)).edges, edges)


def ring(radius, gap):
    """Return a round wall of short steps with a gap in it, as one line."""
    half = np.arcsin(gap / 2 / radius)
    turn = np.linspace(half, 2 * np.pi - half, 33)
    return [(radius * np.cos(t), radius * np.sin(t), 1.0) for t in turn]


@pytest.mark.parametrize("radius", [2.1, 2.9, 4.0])
def test_a_gap_in_a_round_wall_is_closed_straight(radius):
    """A doorway of 1.1 m in a ring is one closing as wide as the gap, and no corner."""
    network = network_of(line_table([ring(radius, 1.1)]))
    inferred = network.pieces.kind != "recorded"
    assert network.pieces.kind[inferred].tolist() == ["doorway"]
    assert network.pieces.gap_m[inferred] == pytest.approx(1.1)


def test_an_end_is_not_led_back_to_the_wall_behind_it():
    """Of a south wall stands 0.25 m beside the west wall; its end looks across 6 m, not back."""
    rest = [[(12, 0), (12, 8)], [(12, 8), (0, 8)], [(0, 8), (0, 0)]]
    lines = [*rest, [(0.1, 0), (0.35, 0)], [(6.35, 0), (12, 0)]]
    found, network = closings(lines, follows="centre")
    assert found == [("corner", 0.1), ("corner", 0.1), ("lost", 6.0)]
    assert areas(network) == [96.0]


def test_a_short_pier_is_led_on_either_way():
    """A pier of 0.2 m is led on across a doorway, and as well across what was lost on its far side.

    Its far end lies beside the doorway's closing, which leads away from it.
    """
    rest = [[(12, 0), (12, 4)], [(12, 4), (0, 4)], [(0, 4), (0, 0)]]
    lines = [*rest, [(0, 0), (3, 0)], [(3.9, 0), (4.1, 0)], [(8.1, 0), (12, 0)]]
    found, network = closings(lines, follows="centre")
    assert found == [("doorway", 0.9), ("lost", 4.0)]
    assert areas(network) == [48.0]


@pytest.mark.parametrize(("longest_m", "expected"), [(8.0, []), (15.0, [("lost", 12.0)])])
def test_a_lost_stretch_is_as_long_as_the_site_says(longest_m, expected):
    """Of a wall of 40 m, 12 m are lost: closed where the config lets stretches be so long."""
    rest = [[(40, 0), (40, 20)], [(40, 20), (0, 20)], [(0, 20), (0, 0)]]
    lines = [*rest, [(0, 0), (14, 0)], [(26, 0), (40, 0)]]
    found, _ = closings(lines, lost_stretch_max_m=longest_m)
    assert found == expected
