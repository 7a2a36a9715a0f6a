"""Which points get a spot height: spread at every rank, the same whatever the order of input."""

import numpy as np
import pytest
import shapely
from shapely.ops import polylabel

from wrackline.seasons.spot_choice import (
    APART_M,
    lattice,
    poles,
    preferred_vertices,
    ranks,
)

NONE = np.nan


@pytest.fixture(scope="module")
def places():
    """Return 600 places on 80 by 60 m, some of them at one spot."""
    rng = np.random.default_rng(11)
    xy = rng.uniform((0, 0), (80, 60), (560, 2)).round(2)
    return np.concatenate([xy, xy[:40]])


@pytest.mark.parametrize("rank", [1, 2, 3, 4])
def test_points_up_to_a_rank_keep_their_distance(places, rank):
    """All pairs, told one by one, lie as far apart as the rank promises."""
    some = places[(ranks(places) > 0) & (ranks(places) <= rank)]
    away = np.hypot(*(some[:, None] - some).transpose(2, 0, 1))
    assert away[~np.eye(len(some), dtype=bool)].min() >= APART_M[rank - 1]


@pytest.mark.parametrize("rank", [1, 2, 3, 4])
def test_no_ground_is_left_out_that_has_a_point(places, rank):
    """What isn't chosen lies nearer to something chosen than the rank's distance."""
    found = ranks(places)
    chosen = (found > 0) & (found <= rank)
    away = np.hypot(*(places[~chosen][:, None] - places[chosen]).transpose(2, 0, 1))
    assert (away.min(axis=1) < APART_M[rank - 1]).all()


def test_places_preferred_are_taken_as_one_by_one(places):
    """As a plain double loop does it: each in turn, if it lies clear of all that was taken."""
    taken = []
    for k in range(len(places)):
        if all(np.hypot(*(places[k] - places[j])) >= 5.0 for j in taken):
            taken.append(k)
    assert np.flatnonzero(ranks(places, (5.0,))).tolist() == taken


def test_the_first_place_is_always_taken_and_of_none_there_is_none():
    """Two at one place: the one preferred."""
    assert ranks(np.zeros((2, 2))).tolist() == [1, 0]
    assert ranks(np.zeros((0, 2))).tolist() == []


def test_the_highest_and_the_lowest_of_a_wall_come_first():
    """Then ends and the corner, then what lies along; what has no height is no candidate."""
    wall = [(0, 0, -2.0), (2, 0, NONE), (4, 0, -1.5), (6, 0, -2.2), (8, 0, -2.1), (8, 5, -2.0)]
    xyz = np.array([*wall, (8, 7, -2.05), (8, 9, -2.1)], dtype=float)
    order = preferred_vertices(xyz, np.zeros(8, dtype=int))
    assert order.tolist() == [2, 3, 0, 4, 7, 5, 6]


def test_a_wall_at_one_level_has_its_western_end_first():
    """Highest and lowest at once; of equal heights the westernmost stands for both."""
    xyz = np.array([(3, 0, -1.0), (1, 0, -1.0), (2, 5, -1.0)])
    assert preferred_vertices(xyz, np.array([0, 0, 0])).tolist() == [1, 2, 0]


def test_the_order_of_lines_is_of_no_matter():
    """Lines handed in the other way round give the same places in the same order."""
    rng = np.random.default_rng(5)
    lines = [
        np.column_stack([rng.uniform(0, 50, (4, 2)), rng.normal(-2, 0.3, 4)]) for _ in range(12)
    ]
    number = np.repeat(np.arange(12), 4)
    one, other = np.concatenate(lines), np.concatenate(lines[::-1])
    found = one[preferred_vertices(one, number)], other[preferred_vertices(other, number)]
    np.testing.assert_array_equal(*found)


def test_a_lattice_counts_from_the_origin():
    """Another ground sees the same places where both overlap: they last from season to season."""
    whole = lattice((100.0, 200.0), (90.0, 190.0, 160.0, 240.0), 10.0)
    part = lattice((100.0, 200.0), (113.0, 201.0, 139.0, 233.0), 10.0)
    assert set(map(tuple, part)) == {(x, y) for x in (120, 130) for y in (210, 220, 230)}
    assert set(map(tuple, part)) <= set(map(tuple, whole))
    assert len(whole) == 8 * 6


def test_coarse_places_of_a_lattice_come_first():
    """Every second each way: ranks 1 are then 20 m apart, and 2 fills up to 10 m."""
    xy = lattice((0.0, 0.0), (0.0, 0.0, 40.0, 40.0), 10.0)
    rank = ranks(xy)
    assert rank.tolist() == [1] * 9 + [2] * 16


def test_a_pole_lies_as_far_in_as_another_search_finds():
    """Against Shapely's search by quadtree (polylabel), to a thousandth of the shape's width."""
    ell = shapely.Polygon([(0, 0), (6, 0), (6, 2.5), (3, 2.5), (3, 5), (0, 5)])
    court = shapely.box(10, 0, 18, 6) - shapely.box(13, 2, 14, 3)
    found = shapely.points(poles(np.array([ell, court], dtype=object)))
    for shape, point in zip([ell, court], found, strict=True):
        best = shape.boundary.distance(polylabel(shape, tolerance=1e-4))
        assert shape.contains(point)
        assert shape.boundary.distance(point) == pytest.approx(best, abs=6e-3)
