"""What is wall and what is open: small plans told by eye, and minimum cuts of another library."""

import networkx as nx
import numpy as np
import pytest

from wrackline.walls.planar import node
from wrackline.walls.solid import (
    CLOSING,
    ELSE,
    IN_LINE,
    LED_ON,
    OPEN,
    UNKNOWN,
    WALL,
    Lying,
    told_apart,
)

RECORDED, CLOSED, GAP, WEIGHED = "recorded", "closed", "gap", "weighed"
USUAL, THICKEST = 0.6, 1.6
SIDE, CELL_M = 5, 1.0


def lying(kind, side):
    """Return what edges lie on from the kind of each and the side of its wall."""
    kind = np.array(kind, dtype=str)
    return Lying(
        recorded=kind == RECORDED,
        closing=kind == CLOSED,
        side=np.array(side, dtype=np.int64),
        in_line=kind == GAP,
    )


def told(rows, usual_m=USUAL, thickest_m=THICKEST):
    """Return what lies left and right of drawn edges: start, stop, kind, side of its wall."""
    edges = np.array([row[:2] for row in rows], dtype=float).reshape(-1, 2, 2)
    found = told_apart(edges, lying(*zip(*(r[2:] for r in rows), strict=True)), usual_m, thickest_m)
    return found.tolist()


def grid(rng):
    """Return a grid of cells of 1 m, its edges of random kinds; cells left and right of each.

    Cells are numbered row by row; the number after the last stands for what lies outside.
    """
    k = np.arange(SIDE * (SIDE + 1))
    x, y = np.divmod(k, SIDE)
    up = np.stack([np.column_stack([x, y]), np.column_stack([x, y + 1])], axis=1)
    outside = SIDE * SIDE
    west = np.where(x > 0, y * SIDE + x - 1, outside)
    east = np.where(x < SIDE, y * SIDE + x, outside)
    across = up[:, :, ::-1]
    above = np.where(x < SIDE, x * SIDE + y, outside)
    below = np.where(x > 0, (x - 1) * SIDE + y, outside)
    edges = np.concatenate([up, across]) * CELL_M
    beside = np.stack([np.r_[west, above], np.r_[east, below]], axis=1)
    kind = rng.choice([RECORDED, CLOSED, GAP, WEIGHED], len(edges), p=[0.5, 0.15, 0.1, 0.25])
    side = rng.choice([-1, 0, 1], len(edges)) * np.isin(kind, [RECORDED, CLOSED])
    return edges, beside, kind, side


def costs(beside, kind, side):
    """Return what speaks for open ground and for wall by cell, and each edge's price [mm]."""
    tells = {cell: [0, 0] for cell in range(SIDE * SIDE + 1)}
    for (left, right), what, k in zip(beside.tolist(), kind, side, strict=True):
        worth = round(1000 * (1.0 if what == RECORDED else LED_ON) * CELL_M)
        tells[left if k > 0 else right][1] += worth * (k != 0)
        tells[right if k > 0 else left][0] += worth * (k != 0)
    tells[SIDE * SIDE] = [10**9, 0]
    price = {CLOSED: CLOSING, GAP: IN_LINE, WEIGHED: ELSE, RECORDED: 0.0}
    return tells, [round(1000 * price[what] * CELL_M) for what in kind]


@pytest.mark.parametrize("seed", range(30))
def test_the_telling_costs_what_another_library_says(seed):
    """On a random grid of cells it costs as much as networkx's minimum cut, so none is cheaper.

    Cells that could be either count as open, then as wall: both cost the same.
    """
    edges, beside, kind, side = grid(np.random.default_rng(seed))
    found = told_apart(edges, lying(kind, side), 0.0, 10 * CELL_M)
    tells, price = costs(beside, kind, side)
    graph = nx.DiGraph()
    for cell, (for_open, for_wall) in tells.items():
        graph.add_edge("open", cell, capacity=for_open)
        graph.add_edge(cell, "wall", capacity=for_wall)
    for (a, b), what, cost in zip(beside.tolist(), kind, price, strict=True):
        if what != RECORDED:
            for one, other in ((a, b), (b, a)):
                before = graph.get_edge_data(one, other, {"capacity": 0})["capacity"]
                graph.add_edge(one, other, capacity=before + cost)
    least = nx.minimum_cut_value(graph, "open", "wall")
    for unknown in (OPEN, WALL):
        is_wall = np.full(SIDE * SIDE + 1, -1)
        is_wall[beside] = np.where(found == UNKNOWN, unknown, found) == WALL
        cost = sum(tells[cell][0 if wall else 1] for cell, wall in enumerate(is_wall.tolist()))
        parted = is_wall[beside[:, 0]] != is_wall[beside[:, 1]]
        cost += sum(p for p, apart in zip(price, parted, strict=True) if apart)
        assert cost == least


def test_every_edge_of_a_cell_says_the_same_of_it():
    """Whichever edge is asked, a cell is one thing; order and direction of edges change nothing."""
    draw = np.random.default_rng(7)
    edges, beside, kind, side = grid(draw)
    found = told_apart(edges, lying(kind, side), USUAL, THICKEST)
    for cell in range(SIDE * SIDE + 1):
        assert len(set(found[beside == cell].tolist())) == 1
    order, turned = draw.permutation(len(edges)), draw.random(len(edges)) < 0.5
    ways = np.where(turned[:, None, None], edges[order, ::-1], edges[order])
    sides = np.where(turned, -side[order], side[order])
    again = told_apart(ways, lying(kind[order], sides), USUAL, THICKEST)
    assert np.array_equal(np.where(turned[:, None], again[:, ::-1], again), found[order])


def test_nothing_and_lines_around_no_ground():
    """No edges have nothing beside them; two faces that enclose nothing have open ground alone."""
    none = np.zeros(0, dtype=bool)
    nothing = Lying(none, none, np.zeros(0, dtype=np.int64), none)
    assert told_apart(np.zeros((0, 2, 2)), nothing, USUAL, THICKEST).shape == (0, 2)
    faces = [((0, 0), (5, 0), RECORDED, 1), ((0, 0.6), (5, 0.6), RECORDED, -1)]
    assert told(faces) == [[OPEN, OPEN]] * 2


def walled(kinds, sides, long_m=5.0, wide_m=0.6):
    """Return a rectangle taken anticlockwise, so that its inside lies to the left."""
    corners = [(0, 0), (long_m, 0), (long_m, wide_m), (0, wide_m)]
    ring = zip(corners, corners[1:] + corners[:1], kinds, sides, strict=True)
    return list(ring)


def test_between_its_faces_lies_the_wall():
    """A wall of 5 by 0.6 m whose ends were closed is wall inside and open around."""
    ring = walled([RECORDED, CLOSED] * 2, [1, 0] * 2)
    assert told(ring) == [[WALL, OPEN]] * 4


def test_a_room_whose_faces_have_no_side_is_not_told():
    """What is recorded all around and has no face with a side could be either."""
    assert told(walled([RECORDED] * 4, [0] * 4, wide_m=4.0)) == [[UNKNOWN, OPEN]] * 4


def test_no_wall_is_wider_than_walls_are():
    """A house of 5 by 4 m whose faces all look inwards is no wall: a circle of 4 m fits."""
    ring = walled([RECORDED] * 4, [1] * 4, wide_m=4.0)
    assert told(ring) == [[UNKNOWN, OPEN]] * 4
    assert told(ring, thickest_m=4.0) == [[WALL, OPEN]] * 4


def halves(price_of):
    """Return a wall of 5 m and a court beside it, of which 2 m of the face between were lost."""
    lost = [((3, 0.6), (1, 0.6), price_of, 0)]
    wall = [((0, 0), (5, 0), RECORDED, 1), ((5, 0), (5, 0.6), CLOSED, 0)]
    wall += [((5, 0.6), (3, 0.6), RECORDED, 1), ((1, 0.6), (0, 0.6), RECORDED, 1)]
    wall += [((0, 0.6), (0, 0), CLOSED, 0)]
    court = [((5, 0.6), (5, 4), RECORDED, -1), ((5, 4), (0, 4), RECORDED, -1)]
    court += [((0, 4), (0, 0.6), RECORDED, -1)]
    return lost + wall + court


@pytest.mark.parametrize("kind", [CLOSED, GAP, WEIGHED])
def test_a_lost_stretch_of_a_face_parts_wall_from_room(kind):
    """Two metres of a face were lost: the wall is to the left of what was weighed there."""
    assert told(halves(kind))[0] == [WALL, OPEN]


def test_a_face_is_not_made_up_where_little_speaks_for_it():
    """20 cm of recorded face don't outweigh 2 m that would have to be missing."""
    rows = [((2, 0.6), (0, 0.6), WEIGHED, 0), ((0, 0.6), (0, 0), RECORDED, 0)]
    rows += [((0, 0), (1.8, 0), RECORDED, 0), ((1.8, 0), (2, 0), RECORDED, 1)]
    rows += [((2, 0), (2, 0.6), RECORDED, 0)]
    rows += [((2, 0.6), (2, 4), RECORDED, -1), ((2, 4), (0, 4), RECORDED, -1)]
    rows += [((0, 4), (0, 0.6), RECORDED, -1)]
    assert told(rows)[0] == [OPEN, OPEN]


def doorway(deep_m):
    """Return a doorway of 1 m between two jambs, closed along both faces of its wall."""
    rows = [((0, 0), (1, 0), CLOSED, 0), ((1, 0), (1, deep_m), RECORDED, 0)]
    return [*rows, ((1, deep_m), (0, deep_m), CLOSED, 0), ((0, deep_m), (0, 0), RECORDED, 0)]


@pytest.mark.parametrize(("deep_m", "inside"), [(0.6, WALL), (0.9, WALL), (1.1, OPEN)])
def test_a_doorways_depth_is_wall(deep_m, inside):
    """Between closings, what is as narrow as walls of 0.6 m are is a doorway's depth."""
    assert told(doorway(deep_m))[0] == [inside, OPEN]


def test_noded_edges_of_crossing_faces_are_told():
    """Two walls of 0.6 m that cross: all five parts of the cross are wall, the rest is open."""
    ends = np.array([[[-3, y], [3, y]] for y in (0, 0.6)], dtype=float)
    caps = np.array([[[x, 0], [x, 0.6]] for x in (-3, 3)], dtype=float)
    every = np.concatenate([ends, caps])
    edges = node(np.concatenate([every, every[:, :, ::-1]]))
    middle = edges.mean(axis=1)
    step = edges[:, 1] - edges[:, 0]
    long = np.abs(step).max(axis=1) > 1
    toward = np.array([0.3, 0.3]) - middle
    left = step[:, 0] * toward[:, 1] - step[:, 1] * toward[:, 0] > 0
    side = np.where(long, np.where(left, 1, -1), 0)
    found = told_apart(edges, lying([RECORDED] * len(edges), side), USUAL, THICKEST)
    arms = found[long]
    assert set(map(tuple, np.sort(arms, axis=1).tolist())) == {(OPEN, WALL)}
    assert np.array_equal(
        np.where(side[long] > 0, arms[:, 0], arms[:, 1]), np.full(len(arms), WALL)
    )
