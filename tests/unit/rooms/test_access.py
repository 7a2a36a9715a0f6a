"""Access graphs of small buildings whose figures can be counted by hand, and ranges over them."""

import networkx as nx
import numpy as np
import pandas as pd
import pytest

from wrackline.rooms.access import (
    MEASURES,
    Outline,
    access_figures,
    access_ranges,
    d_value,
    quantile,
)

ROW = [("outside", "a"), ("a", "b"), ("b", "c"), ("c", "d")]
RING = [("outside", "a"), ("a", "b"), ("b", "c"), ("c", "d"), ("d", "a")]


def figures(edges, rooms):
    """Return the figures with rooms as index."""
    return access_figures(edges, list(rooms)).set_index("room")


def test_rooms_in_a_row():
    """In a row of four rooms each but the last leads on, and depth grows by one door a room."""
    found = figures(ROW, "abcd")
    assert found["steps_from_outside"].tolist() == [1, 2, 3, 4]
    assert found["rooms_behind"].tolist() == [3, 2, 1, 0]
    assert found["dead_end"].tolist() == [False, False, False, True]
    assert found["through_room"].tolist() == [True, True, True, False]
    assert found["mean_depth"].tolist() == [7 / 4, 6 / 4, 7 / 4, 10 / 4]
    assert found["control"].tolist() == [1.5, 1.0, 1.5, 0.5]
    assert found.loc["d", "relative_asymmetry"] == 1.0
    np.testing.assert_allclose(found.loc["d", "integration"], d_value(5))


def test_ring():
    """Within a ring no room is the only way to another, except the one with the outer door."""
    found = figures(RING, "abcd")
    assert found["rooms_behind"].tolist() == [3, 0, 0, 0]
    assert found["steps_from_outside"].tolist() == [1, 2, 3, 2]
    assert not found["dead_end"].any()
    assert found["through_room"].all()


def test_loop_through_the_outside():
    """A second outer door makes a row a loop: its far end is near, and nothing lies behind."""
    found = figures([*ROW, ("d", "outside")], "abcd")
    assert found["steps_from_outside"].tolist() == [1, 2, 2, 1]
    assert found["rooms_behind"].tolist() == [0, 0, 0, 0]
    np.testing.assert_allclose(found["control"], 1.0)
    np.testing.assert_allclose(found["mean_depth"], 6 / 4)


def test_room_without_a_way_in():
    """Rooms that can't be reached have no figures but their doors, and say why; others keep all."""
    found = figures([*ROW, ("x", "y")], "abcdxy")
    assert found.loc[["x", "y"], "doors"].tolist() == [1, 1]
    assert found.loc[["x", "y"]].drop(columns=["doors", "null_because"]).isna().all(axis=None)
    assert found.loc["x", "null_because"] == "all but doors: no known door leads here from outside"
    pd.testing.assert_frame_equal(found.loc[list("abcd")], figures(ROW, "abcd"))


def test_no_doors_at_all():
    """A building without known doors has rooms with no doors and nothing else."""
    found = figures([], "ab")
    assert found["doors"].tolist() == [0, 0]
    assert found["steps_from_outside"].isna().all()


def test_two_doors_are_one_way():
    """Two doors between the same rooms count twice as doors and once as a way."""
    once, twice = figures(ROW, "abcd"), figures([*ROW, ("d", "c")], "abcd")
    assert twice["doors"].tolist() == [2, 2, 3, 2]
    pd.testing.assert_frame_equal(once.drop(columns="doors"), twice.drop(columns="doors"))


@pytest.mark.parametrize(
    ("edges", "rooms", "missing"),
    [
        ([("outside", "a")], "a", ["relative_asymmetry", *MEASURES[-2:]]),
        (ROW[:3], "abc", list(MEASURES[-2:])),
        ([("a", other) for other in ("outside", "b", "c", "d")], "abcd", ["integration"]),
    ],
)
def test_what_small_buildings_lack(edges, rooms, missing):
    """RA needs three spaces, D five, integration a depth to invert; what lacks is named."""
    found = figures(edges, rooms).loc["a"]
    assert [name for name in MEASURES if np.isnan(found[name])] == missing
    assert found["null_because"].startswith(f"{', '.join(missing)}: ")


def test_against_networkx():
    """Depth is the inverse of closeness; rooms with others behind are the articulation points."""
    for seed in range(20):
        graph = nx.relabel_nodes(nx.gnm_random_graph(9, 11, seed=seed), str)
        graph = graph.subgraph(nx.node_connected_component(graph, "0"))
        if len(graph) < 5:
            continue
        rooms = sorted(set(graph) - {"0"})
        found = access_figures(list(graph.edges), rooms, "0").set_index("room")
        closeness = nx.closeness_centrality(graph)
        np.testing.assert_allclose(found["mean_depth"], [1 / closeness[room] for room in rooms])
        cut = set(nx.articulation_points(graph)) - {"0"}
        assert set(found.index[found["rooms_behind"] > 0]) == cut


def test_order_leaves_no_trace():
    """Doors and rooms in another order, and doors named from their other side, change nothing."""
    edges = [*RING, ("c", "e"), ("outside", "d")]
    rng = np.random.default_rng(4)
    for _ in range(10):
        mixed = [edges[k][:: rng.choice([-1, 1])] for k in rng.permutation(len(edges))]
        rooms = [str(room) for room in rng.permutation(list("abcde"))]
        pd.testing.assert_frame_equal(
            access_figures(mixed, rooms), access_figures(edges, list("abcde"))
        )


@pytest.mark.parametrize(
    ("edges", "rooms", "words"),
    [
        ([], ["a", "a"], "share a name"),
        ([], ["a", "outside"], "share a name"),
        ([("a", "b")], ["a"], "a door joins 'a' and 'b'"),
        ([("a", "a")], ["a"], "a door joins 'a' and 'a'"),
    ],
)
def test_what_is_refused(edges, rooms, words):
    """Names used twice and doors that lead nowhere are refused."""
    with pytest.raises(ValueError, match=words):
        access_figures(edges, rooms)


def ranges(outlines, rooms="abcd", known=1.0, least=0.5):
    """Return ranges with rooms as index."""
    found = access_ranges(outlines, list(rooms), doors_known=known, least_known=least)
    return found.set_index("room")


def test_certain_outline():
    """One outline gives ranges that are its figures."""
    found, plain = ranges([Outline(ROW)]), figures(ROW, "abcd")
    for name in ("steps_from_outside", "doors", "rooms_behind", *MEASURES):
        for end in ("low", "high"):
            np.testing.assert_array_equal(found[f"{name}_{end}"], plain[name])
    assert found["dead_end_share"].tolist() == [0.0, 0.0, 0.0, 1.0]
    assert found["reached_share"].tolist() == [1.0] * 4
    assert found["null_because"].tolist() == [""] * 4


def test_unlikely_outlines_drop_out():
    """An outline with less than 2.5 % of the weight leaves ranges alone, one with more widens."""
    loop = [*ROW, ("d", "outside")]
    for weight, low in ((0.02, 4), (0.03, 1)):
        found = ranges([Outline(ROW, 1 - weight), Outline(loop, weight)])
        assert found.loc["d", ["steps_from_outside_low", "steps_from_outside_high"]].tolist() == [
            low,
            4,
        ]
        np.testing.assert_allclose(found.loc["d", "dead_end_share"], 1 - weight)


def test_outlines_that_cut_a_room_off():
    """Ranges are over outlines in which the room is reached; the share of these stands beside."""
    found = ranges([Outline(ROW, 3.0), Outline(ROW[:3], 1.0)])
    assert found.loc["d", "reached_share"] == 0.75
    assert found.loc["d", "dead_end_share"] == 1.0
    assert found.loc["d", ["mean_depth_low", "mean_depth_high"]].tolist() == [2.5, 2.5]
    never = ranges([Outline(ROW[:3], 1.0)]).loc["d"]
    assert never["reached_share"] == 0.0
    assert never["null_because"].endswith("in no outline can the room be reached")
    assert [never["doors_low"], never["doors_high"]] == [0, 0]


@pytest.mark.parametrize(
    ("known", "why"),
    [
        (0.4, "all: 40% of the doors known, 50% needed"),
        (None, "all: an unknown share of the doors known, 50% needed"),
    ],
)
def test_too_few_doors_known(known, why):
    """Below the least share of known doors every figure is null and says why; at it none is."""
    found = ranges([Outline(ROW)], known=known)
    assert found["null_because"].tolist() == [why] * 4
    assert found.drop(columns="null_because").isna().all(axis=None)
    assert ranges([Outline(ROW)], known=0.5)["mean_depth_low"].notna().all()


def test_order_of_outlines_leaves_no_trace():
    """Outlines listed in another order give the same ranges to the last bit."""
    rng = np.random.default_rng(5)
    weights = rng.uniform(0.1, 1, 12)
    shapes = [ROW, RING, [*ROW, ("d", "outside")], ROW[:3]]
    outlines = [Outline(shapes[k % 4], float(weight)) for k, weight in enumerate(weights)]
    mixed = [outlines[k] for k in rng.permutation(12)]
    pd.testing.assert_frame_equal(ranges(outlines), ranges(mixed), check_exact=True)


def test_quantile_of_equal_weights():
    """With equal weights the quantile is numpy's inverse of the distribution."""
    values = np.random.default_rng(6).normal(size=41)
    for share in (0.0, 0.025, 0.1, 0.5, 0.975, 1.0):
        expected = np.quantile(values, share, method="inverted_cdf")
        assert quantile(values, np.ones(41), share) == expected


@pytest.mark.parametrize(
    ("outlines", "known", "words"),
    [
        ([], 1.0, r"weights \[\] of outlines"),
        ([Outline(ROW, 0.0)], 1.0, "must sum to more than 0"),
        ([Outline(ROW, -1.0), Outline(ROW, 2.0)], 1.0, "must not be negative"),
        ([Outline(ROW)], 60.0, "doors_known is 60.0"),
    ],
)
def test_ranges_refused(outlines, known, words):
    """No outlines, weights without meaning, and per cents for shares are refused."""
    with pytest.raises(ValueError, match=words):
        ranges(outlines, known=known)
