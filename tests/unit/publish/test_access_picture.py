"""Access graphs of buildings, side by side: which, what joins them, and where they are drawn."""

import networkx as nx
import numpy as np
import pytest
import shapely
from printed_page import by_gid, gids
from report_site import ABOUT, layer

from wrackline.publish.text_pictures.access import (
    LEVEL_MM,
    MOST_DRAWN,
    PITCH_MM,
    access_graphs,
    draw_access,
)


def building(name, rooms, doors, kind="room"):
    """Return the rows of a building's rooms and of its openings, told as (one, other, evidence)."""
    named = [{"room": f"{name}-{k}", "building": name, "kind": kind} for k in range(rooms)]
    ways = [
        {"opening": f"O{name}-{j}", "evidence": evidence,
         "joins": ";".join("outside" if end is None else f"{name}-{end}" for end in ends)}
        for j, (*ends, evidence) in enumerate(doors)
    ]  # fmt: skip
    return named, ways


def plan(*buildings):
    """Return the layers `rooms` and `openings` of buildings."""
    rooms = [row for named, _ in buildings for row in named]
    ways = [row for _, told in buildings for row in told]
    return (
        layer("rooms", rooms, [shapely.box(0, 0, 1, 1)] * len(rooms)),
        layer("openings", ways, [shapely.LineString([(0, 0), (1, 0)])] * len(ways)),
    )


CHAIN = [(None, 0, "seen"), (0, 1, "possible"), (1, 2, "seen")]
HALL = [(None, 0, "seen"), (0, 1, "seen"), (0, 2, "seen"), (0, 3, "possible")]


def test_the_best_known_come_first():
    """By the share of doors seen, then by rooms; too small a building has no row."""
    table = access_graphs(
        *plan(building("R1", 3, CHAIN), building("R2", 4, HALL), building("R3", 2, CHAIN[:2]))
    )
    order = table[table["row"] == "space"].drop_duplicates("building")
    assert order["building"].tolist() == ["R2", "R1"]
    np.testing.assert_allclose(order["doors_known_share"].astype(float), [3 / 4, 2 / 3])


def test_too_little_known_is_left_out_with_the_reason():
    """A building with one of five doors seen has one row, which says why."""
    doors = [(None, k, "possible") for k in range(4)] + [(None, 0, "seen")]
    table = access_graphs(*plan(building("R1", 5, doors)))
    assert table["row"].tolist() == ["left out"]
    assert table["null_because"].tolist() == ["all: 20% of the doors known, 25% needed"]


def test_ways_are_the_openings():
    """The graph's ways are those of the layer, as networkx reads them; seen wins over possible."""
    doors = [*HALL, (0, 1, "possible"), (None, 3, "possible")]
    table = access_graphs(*plan(building("R1", 4, doors)))
    ways = table[table["row"] == "way"]
    drawn = nx.Graph(list(zip(ways["space"], ways["to_space"], strict=True)))
    name = {None: "outside"} | {k: f"R1-{k}" for k in range(4)}
    assert nx.utils.edges_equal(
        drawn.edges, nx.Graph([(name[a], name[b]) for a, b, _ in doors]).edges
    )
    twice = ways[(ways["space"] == "R1-0") & (ways["to_space"] == "R1-1")].iloc[0]
    assert (twice["evidence"], twice["openings"]) == ("seen", "OR1-1;OR1-4")
    steps = nx.single_source_shortest_path_length(drawn, "outside")
    spaces = table[table["row"] == "space"]
    assert dict(zip(spaces["space"], spaces["steps_from_outside"], strict=True)) == dict(steps)


def test_spaces_are_drawn_where_the_table_has_them():
    """On paper spaces stand a pitch apart and levels a level apart, the outside below."""
    table = access_graphs(*plan(building("R1", 4, HALL)))
    made = draw_access(table, ABOUT)
    centre = {
        row["space"]: np.mean(
            by_gid(made, f"space-R1-{row['space']}").get_extents().get_points(), axis=0
        )
        for row in table[table["row"] == "space"].to_dict("records")
    }
    per_mm = made.figure.dpi / 25.4
    base = centre["outside"]
    for row in table[table["row"] == "space"].to_dict("records"):
        off = (centre[row["space"]] - base) / per_mm
        np.testing.assert_allclose(
            off, [row["across"] * PITCH_MM, row["level"] * LEVEL_MM], atol=0.01
        )


def test_seen_and_possible_differ_by_dashes():
    """What was seen is a whole line, what is possible a dashed one: also in grey."""
    made = draw_access(access_graphs(*plan(building("R1", 3, CHAIN))), ABOUT)
    seen = by_gid(made, "way-R1-R1-0-outside")
    possible = by_gid(made, "way-R1-R1-0-R1-1")
    assert seen.get_linestyle() in ("-", "solid")
    assert possible.get_linestyle() not in ("-", "solid")
    assert seen.get_linewidth() > possible.get_linewidth()


def test_at_most_twelve_are_drawn_and_all_are_told():
    """Of 20 buildings the 12 best known are drawn; the table has all of them."""
    table = access_graphs(*plan(*(building(f"R{k:02}", 3, CHAIN) for k in range(20))))
    assert table["building"].nunique() == 20
    assert table.loc[table["drawn"], "building"].nunique() == MOST_DRAWN
    made = draw_access(table, ABOUT)
    told = {name.split("-")[1] for name in gids(made, "space-")}
    assert told == set(table.loc[table["drawn"], "building"])


def test_a_room_without_a_way_is_dashed_and_says_why():
    """What no opening leads to has no steps, with the reason, and a dashed outline."""
    table = access_graphs(*plan(building("R1", 4, CHAIN)))
    row = table[table["space"] == "R1-3"].iloc[0]
    assert row["steps_from_outside"] is None or np.isnan(row["steps_from_outside"])
    assert "no way leads here" in row["null_because"]
    made = draw_access(table, ABOUT)
    assert by_gid(made, "space-R1-R1-3").get_linestyle() not in ("-", "solid")


@pytest.mark.parametrize("kind", ["court", "room"])
def test_a_court_is_a_square(kind):
    """Courts and rooms differ by their outline."""
    table = access_graphs(*plan(building("R1", 3, CHAIN, kind=kind)))
    shape = type(by_gid(draw_access(table, ABOUT), "space-R1-R1-0")).__name__
    assert shape == {"court": "Rectangle", "room": "Circle"}[kind]
