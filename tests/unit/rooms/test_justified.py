"""Justified access graphs: levels by doors from outside, and few crossings.

Levels are held against networkx, crossings against all orders of small graphs.
"""

from itertools import permutations, product

import networkx as nx
import numpy as np
import pytest

from wrackline.rooms.justified import justified, tangles


def building(seed, rooms=7, more=3):
    """Return the doors of a building at random: a tree and some doors more."""
    rng = np.random.default_rng(seed)
    names = ["outside", *(f"R{k:03}" for k in range(rooms))]
    doors = [(names[k], names[int(rng.integers(0, k))]) for k in range(1, rooms + 1)]
    doors += [tuple(rng.choice(names, 2, replace=False)) for _ in range(more)]
    return [(str(one), str(other)) for one, other in doors], names[1:]


def levels_of(places):
    """Return the spaces of each row, from left to right."""
    rows = {}
    for name, at in places.items():
        rows.setdefault(at.row, []).append((at.across, name))
    return [[name for _, name in sorted(rows[row])] for row in sorted(rows)]


@pytest.mark.parametrize("seed", range(30))
def test_levels_are_doors_from_outside(seed):
    """A space's level is networkx's shortest way; spaces of a level stand one place apart."""
    doors, rooms = building(seed)
    places = justified(doors, rooms)
    steps = nx.single_source_shortest_path_length(nx.Graph(doors), "outside")
    assert {name: at.step for name, at in places.items()} == dict(steps)
    for level in levels_of(places):
        across = sorted(places[name].across for name in level)
        np.testing.assert_allclose(across, np.arange(len(level)) - (len(level) - 1) / 2)


@pytest.mark.parametrize("seed", range(60))
def test_trees_have_no_crossing(seed):
    """A building without rings of doors is drawn without a crossing."""
    doors, rooms = building(seed, rooms=12, more=0)
    assert tangles(nx.Graph(doors), levels_of(justified(doors, rooms))) == 0


def test_crossings_are_as_few_as_can_be():
    """Of 60 small buildings with rings, 57 have the fewest crossings of all orders, as measured.

    Exact by trying every order; of 180 others it was 171.
    """
    fewest = 0
    for seed in range(60):
        doors, rooms = building(1000 + seed, rooms=6, more=3)
        graph, levels = nx.Graph(doors), levels_of(justified(doors, rooms))
        orders = product(*(permutations(level) for level in levels))
        least = min(tangles(graph, [list(level) for level in order]) for order in orders)
        fewest += tangles(graph, levels) == least
    assert fewest >= 57


def test_order_changes_nothing():
    """Doors and rooms in another order, doors told the other way round, give the same places."""
    doors, rooms = building(5)
    turned = [(other, one) for one, other in doors[::-1]]
    assert justified(doors, rooms) == justified(turned, rooms[::-1])


def test_what_no_door_leads_to_stands_on_top():
    """Two rooms joined to each other alone have no step and stand side by side in the top row."""
    places = justified([("outside", "A"), ("C", "D")], ["A", "B", "C", "D"])
    assert [places[name].step for name in ("B", "C", "D")] == [None] * 3
    assert {places[name].row for name in ("B", "C", "D")} == {2}
    assert abs(places["C"].across - places["D"].across) == 1


def test_a_building_without_doors():
    """All rooms stand above the outside, none of them reached."""
    places = justified([], ["A", "B"])
    assert places["outside"].step == 0
    assert places["A"].step is None
