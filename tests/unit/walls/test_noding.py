"""Noding of pieces, held against GEOS's and against what snap rounding promises."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from wrackline.walls.ends import TOUCH_M
from wrackline.walls.noding import noded, noded_along

GRID_M = 0.001
FAR_M = np.array([352000.0, 4821000.0])


def by_geos(ends):
    """Return the edges that GEOS makes of pieces (OverlayNG, snap rounding on a fixed grid)."""
    parts = shapely.get_parts(shapely.union_all(shapely.linestrings(ends), grid_size=GRID_M))
    xy, part = shapely.get_coordinates(parts, return_index=True)
    first = np.flatnonzero(np.diff(part) == 0)
    return on_grid(np.stack([xy[first], xy[first + 1]], axis=1))


def on_grid(edges):
    """Return edges as whole cells, each from its lesser end."""
    whole = np.rint(edges / GRID_M).astype(int)
    return {tuple(sorted(map(tuple, edge))) for edge in whole.tolist()}


def tangle(seed, count=120, size_m=10.0, end_m=0.0):
    """Return pieces at random, some of which end on others, or miss them by millimetres."""
    rng = np.random.default_rng(seed)
    ends = rng.uniform(0, size_m, (count, 2, 2))
    met = rng.integers(0, count, count // 2)
    share = rng.uniform(0, 1, (count // 2, 1))
    ends[: count // 2, 1] = ends[met, 0] + share * (ends[met, 1] - ends[met, 0])
    ends[: count // 2, 1] += rng.normal(0, 1, (count // 2, 2)) * end_m
    return ends


@pytest.mark.parametrize("end_m", [0.0, 0.0005, 0.002])
@pytest.mark.parametrize("size_m", [0.2, 10.0, 200.0])
def test_edges_are_those_of_geos(size_m, end_m):
    """The edges are those of GEOS's noding on the same grid."""
    ends = tangle(1, size_m=size_m, end_m=end_m) + FAR_M
    assert on_grid(noded(ends, GRID_M)[0]) == by_geos(ends)


def test_edges_meet_at_their_ends_alone():
    """No two edges cross, overlap or touch but at ends (Hobby 1999, theorem on snap rounding)."""
    edges, _ = noded(tangle(2, size_m=1.0, end_m=0.0005), GRID_M)
    lines = shapely.linestrings(edges)
    a, b = shapely.STRtree(lines).query(lines, predicate="intersects")
    a, b = a[a < b], b[a < b]
    shared = (edges[a, :, None] == edges[b, None]).all(axis=3).sum(axis=(1, 2))
    assert len(a) > 1000
    assert (shared == 1).all()
    assert (shapely.length(shapely.intersection(lines[a], lines[b])) == 0).all()


def test_an_end_near_a_piece_cuts_it():
    """A piece that passes an end within half a millimetre is cut there and led through it."""
    ends = np.array([[[0.0, 0.0], [2.0, 0.0]], [[1.0, 0.0004], [1.0, 1.0]]])
    assert on_grid(noded(ends, GRID_M)[0]) == by_geos(ends)
    assert len(noded(ends, GRID_M)[0]) == 3


def test_an_edge_lies_on_the_first_piece_along_it():
    """Where pieces lie over each other the edge belongs to the first of them."""
    ends = np.array([[[1.0, 0.0], [3.0, 0.0]], [[0.0, 0.0], [2.0, 0.0]]])
    edges, piece = noded(ends, GRID_M)
    assert edges[:, :, 0].tolist() == [[0, 1], [1, 2], [2, 3]]
    assert piece.tolist() == [1, 0, 0]


def test_order_and_direction_leave_no_trace():
    """The edges are the same, in the same order, whichever way and order pieces come in."""
    ends = tangle(3)
    turned = ends[::-1, ::-1]
    assert np.array_equal(noded(ends, GRID_M)[0], noded(turned, GRID_M)[0])


def test_pieces_within_one_cell_leave_nothing():
    """A piece shorter than the grid has no edge."""
    assert len(noded(np.array([[[0.0001, 0.0], [0.0003, 0.0]]]), GRID_M)[0]) == 0


@pytest.mark.parametrize("size_m", [0.2, 10.0])
def test_pieces_along_an_edge_are_those_that_geos_finds_beside_all_of_it(size_m):
    """Of all pairs of an edge and a piece, those whose Hausdorff distance is within a touch.

    Straight edges are nowhere further from a straight piece than at an end: GEOS's distances.
    """
    ends = tangle(4, size_m=size_m, end_m=0.0005)
    ends = np.concatenate([ends, ends[:20] + np.array([0.0005, 0.0])])
    edges, (edge, piece) = noded_along(ends, GRID_M)
    lines = shapely.linestrings(ends)
    off = [shapely.distance(shapely.points(edges[:, k])[:, None], lines) for k in (0, 1)]
    beside = np.argwhere(np.maximum(*off) <= TOUCH_M)
    assert np.array_equal(np.stack([edge, piece], axis=1), beside)
    assert np.bincount(edge, minlength=len(edges)).max() > 1
    assert np.array_equal(piece[np.flatnonzero(np.diff(edge, prepend=-1))], noded(ends, GRID_M)[1])
