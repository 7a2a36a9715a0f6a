"""Walls traced by both faces, and what their ends look at: drawings of a few lines each.

That a doorway beside a corner has one jamb alone is common practice, no source.
"""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from drawn import box, line_table, network_of

from wrackline.walls.linework import RECORDED
from wrackline.walls.stubs import shared_costs

ROOM = box(0, 0, 8, 3)


def wide_closings(lines):
    """Return the ends of closings wider than a slip of the pole, rounded, sorted, and the areas."""
    network = network_of(line_table(lines, follows="face"))
    pieces = network.pieces
    wide = (pieces.kind != RECORDED) & (pieces.gap_m > 0.5)
    standing = np.isin(network.piece, np.flatnonzero(wide))
    faces = shapely.get_parts(shapely.polygonize(shapely.linestrings(network.edges)))
    found = network.edges[standing].round(3).tolist()
    return sorted(found), sorted(shapely.area(faces).round(2).tolist())


@pytest.mark.parametrize(
    "wall_end",
    [
        pytest.param([[(4, 0), (4, 1.8), (4.6, 1.8), (4.6, 0)]], id="turned round in one line"),
        pytest.param(
            [[(4, 1.8), (4, 0)], [(4, 1.8), (4.6, 1.8)], [(4.6, 0), (4.6, 1.8)]],
            id="jamb as its own line",
        ),
        pytest.param(
            [[(4, 0), (4, 1.7)], [(3.9, 1.8), (4.6, 1.8)], [(4.6, 1.8), (4.6, 0)]],
            id="one face short of its jamb",
        ),
    ],
)
def test_a_doorway_beside_a_corner_is_closed_along_both_faces(wall_end):
    """A wall 0.6 m thick ends 1.2 m before the north wall: both faces are led on to it."""
    found, areas = wide_closings([*ROOM, *wall_end])
    np.testing.assert_allclose(found, [[[4, 1.8], [4, 3]], [[4.6, 1.8], [4.6, 3]]], atol=0.11)
    np.testing.assert_allclose(areas, [0.72, 1.08, 10.2, 12.0], atol=0.1)


def test_a_wall_that_ends_further_off_than_a_doorway_stays_open():
    """The same wall ending 1.8 m before the north wall is a buttress, no doorway's jamb."""
    found, _ = wide_closings([*ROOM, [(4, 0), (4, 1.2), (4.6, 1.2), (4.6, 0)]])
    assert found == []


@pytest.mark.parametrize(
    "stands_free",
    [
        pytest.param([[(4, 1.2), (4.6, 1.2), (4.6, 1.8), (4, 1.8), (4, 1.2)]], id="pillar"),
        pytest.param(
            [[(4, 1.2), (4.6, 1.2)], [(4.6, 1.2), (4.6, 1.8), (4.1, 1.8)], [(4, 1.8), (4, 1.2)]],
            id="pillar of several lines",
        ),
        pytest.param(
            [
                [(4, 1.2), (4.6, 1.2), (4.6, 1.8), (4, 1.8)],
                [(4, 1.2), (4, 1.8)],
                [(5.8, 1.2), (6.4, 1.2), (6.4, 1.8), (5.8, 1.8)],
                [(5.8, 1.2), (5.8, 1.8)],
            ],
            id="two pillars in a row",
        ),
        pytest.param(box(1.3, 1.2, 6.7, 1.8), id="bench"),
    ],
)
def test_what_stands_free_is_led_on_to_nothing(stands_free):
    """Pillars and benches a doorway's width from walls, or from each other, stay as drawn."""
    found, _ = wide_closings([*ROOM, *stands_free])
    assert found == []


def test_two_faces_that_nothing_joins_are_a_wall_that_goes_on():
    """Faces 0.6 m apart, broken off 1 m before the walls on both sides, are led on to them."""
    found, areas = wide_closings([*box(0, 0, 4, 3), [(1, 1), (3, 1)], [(1, 1.6), (3, 1.6)]])
    assert found == [
        [[0, 1], [1, 1]],
        [[0, 1.6], [1, 1.6]],
        [[3, 1], [4, 1]],
        [[3, 1.6], [4, 1.6]],
    ]
    assert areas == [2.4, 4.0, 5.6]


def test_a_jamb_leads_on_no_wall():
    """Where two walls' ends look at a corner, the one in line with its jamb reaches its face."""
    corner = [(0, 0.8), (1.6, 0.8), (1.6, 0), (0, 0)]
    east = [(4, 0), (2.6, 0), (2.6, 0.8), (4, 0.8)]
    south = [(1.6, -3), (1.6, -1.2), (1.1, -1.2), (1.1, -3)]
    found, _ = wide_closings([corner, east, south])
    assert found == [
        [[1.1, -1.2], [1.1, 0]],
        [[1.6, -1.2], [1.6, 0]],
        [[1.6, 0], [2.6, 0]],
        [[1.6, 0.8], [2.6, 0.8]],
    ]


def test_a_wall_is_seen_for_longer_than_it_is_thick():
    """A block of 1.6 m by 0.6 m goes on lengthways, though the walls there are 15 degrees askew."""
    block = [[(0, 0), (1.6, 0)], [(1.6, 0), (1.6, 0.6)], [(0, 0.6), (0, 0)]]
    block += [[(1.6, 0.6), (0.9, 0.6)], [(0.7, 0.6), (0, 0.6)]]
    east, west = [(2.5, -1.2), (3.1, 1.2)], [(-0.9, -1.2), (-1.5, 1.2)]
    south = [(-1, -1.2), (2.6, -1.2)]
    found, _ = wide_closings([*block, east, west, south])
    assert len(found) == 4
    assert not any(end[1] == -1.2 for ends in found for end in ends)


def test_both_faces_of_a_wall_cost_the_same_and_one_alone_costs_more():
    """Costs of 2 and 3 become their mean, 2.5; one whose other face meets nothing costs 1 more."""
    pairs = np.array([[0, 1], [2, 3]])
    asked = SimpleNamespace(ends=range(4), stubs=pairs, led_on=np.zeros(4, dtype=bool))
    costs = shared_costs(asked, np.array([0, 1, 2]), np.array([2.0, 3.0, 2.0]))
    assert costs.tolist() == [2.5, 2.5, 3.0]


def test_a_lost_stretch_begins_at_no_two_jambs():
    """Two walls' ends with jambs, 2.4 m apart in line, are further apart than a doorway is wide."""
    west = [(0, 0), (2, 0), (2, 0.5), (0, 0.5)]
    east = [(6.4, 0), (4.4, 0), (4.4, 0.5), (6.4, 0.5)]
    assert wide_closings([west, east])[0] == []


def test_neither_order_nor_direction_of_lines_leaves_a_trace():
    """The same lines backwards and in another order make the same closings."""
    lines = [*ROOM, [(4, 0), (4, 1.8)], [(4, 1.8), (4.6, 1.8)], [(4.6, 1.8), (4.6, 0)]]
    assert wide_closings([line[::-1] for line in lines[::-1]]) == wide_closings(lines)
