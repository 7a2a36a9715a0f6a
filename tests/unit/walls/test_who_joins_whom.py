"""Which spaces share a wall, as the benchmarks count it: drawn rooms, told apart by eye."""

import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
from room_score import pairs, score


def rooms(*corners):
    """Return rectangles from west, south, east, north [m]."""
    return np.array([shapely.box(*c) for c in corners], dtype=object)


@pytest.mark.parametrize("thick", [0.4, 0.8])
@pytest.mark.parametrize("turn", [0.0, 33.0])
def test_two_rooms_share_the_wall_between_them(thick, turn):
    """A wall of 3 m between two floors is shared, however thick and whichever way it runs."""
    floors = rooms((0, 0, 4, 3), (4 + thick, 0, 8, 3))
    turned = np.array([shapely.affinity.rotate(f, turn, origin=(0, 0)) for f in floors])
    assert pairs(turned, 1.0) == {(0, 1)}


def test_a_wall_beyond_the_reach_is_not_looked_across():
    """Two floors 1.2 m apart have more than a wall between them."""
    assert pairs(rooms((0, 0, 4, 3), (5.2, 0, 9, 3)), 1.0) == set()


def test_diagonal_neighbours_share_no_wall():
    """Four rooms around a crossing are neighbours side by side, never across it."""
    four = rooms((0, 0, 3, 3), (3.4, 0, 6, 3), (0, 3.4, 3, 6), (3.4, 3.4, 6, 6))
    assert pairs(four, 1.0) == {(0, 1), (0, 2), (1, 3), (2, 3)}


@pytest.mark.parametrize(("length", "shared"), [(0.4, set()), (0.6, {(0, 1)})])
@pytest.mark.parametrize("reach", [0.1, 1.0], ids=["centre lines", "floors"])
def test_a_wall_counts_from_half_a_metre_on(length, shared, reach):
    """Rooms set off against each other face each other along 0.4 m or 0.6 m."""
    apart = 0.0 if reach < 0.5 else 0.4
    floors = rooms((0, 0, 4, 3), (4 + apart, 3 - length, 8, 6 - length))
    assert pairs(floors, reach) == shared


def test_only_the_first_space_met_is_a_neighbour():
    """What lies behind a narrow room is no neighbour of what lies before it."""
    assert pairs(rooms((0, 0, 4, 3), (4.2, 0, 4.6, 3), (4.8, 0, 8, 3)), 1.0) == {(0, 1), (1, 2)}


def test_a_court_joins_the_house_that_stands_in_it():
    """An outline has its inner rings too."""
    court = shapely.box(0, 0, 10, 10).difference(shapely.box(3, 3, 7, 7))
    house = shapely.box(3.4, 3.4, 6.6, 6.6)
    assert pairs(np.array([court, house]), 1.0) == {(0, 1)}


def test_noise_of_a_pole_does_not_part_neighbours():
    """Vertices off by 5 cm leave a grid of rooms with its 24 shared walls, and none besides."""
    rng = np.random.default_rng(11)
    corners = [(x, y, x + 3, y + 3) for x in np.arange(4) * 3.5 for y in np.arange(4) * 3.5]
    floors = shapely.segmentize(rooms(*corners), 1.5)
    xy = shapely.get_coordinates(floors).reshape(16, 9, 2)[:, :8]
    found = shapely.polygons(xy + rng.normal(0, 0.05, xy.shape))
    assert pairs(found, 1.0) == pairs(floors, 1.0)
    assert len(pairs(floors, 1.0)) == 24
    assert score(floors, found, 1.0).joins_f1 == 1.0


def test_nothing_has_no_neighbours():
    """No spaces, no pairs."""
    assert pairs(np.zeros(0, dtype=object), 1.0) == set()
