"""Plausible outlines: seen openings always doors, possible ones in half, in any order of rows."""

import numpy as np
import pandas as pd
import pytest

from wrackline.rooms.access import access_ranges
from wrackline.rooms.doors import doors_known, plausible_doors


def openings(*rows):
    """Return openings; each a text as "R1;R2 seen", numbered in turn."""
    parts = [row.split(" ") for row in rows]
    return pd.DataFrame(
        {
            "opening": [f"O{k:03d}" for k in range(len(rows))],
            "joins": [joins for joins, _ in parts],
            "evidence": [evidence for _, evidence in parts],
        }
    )


def test_every_combination_of_few():
    """Three possible openings make all eight combinations, each once and alike in weight."""
    found = plausible_doors(
        openings(*[f"R{k};outside possible" for k in range(3)]), ["R0", "R1", "R2"]
    )
    doors = {tuple(one for one, _ in outline.edges) for outline in found}
    assert len(found) == len(doors) == 8
    assert {(), ("R0",), ("R2",), ("R0", "R1", "R2")} <= doors
    assert {outline.weight for outline in found} == {1.0}


def test_what_was_seen_is_a_door_in_all():
    """A seen opening stands in every outline; without possible ones there is one outline."""
    both = plausible_doors(openings("R1;R2 possible", "R1;outside seen"), ["R1", "R2"])
    assert len(both) == 2
    assert all(("R1", "outside") in outline.edges for outline in both)
    (alone,) = plausible_doors(openings("R1;outside seen"), ["R1"])
    assert alone.edges == [("R1", "outside")]


def test_a_building_without_openings_has_one_outline():
    """No opening on the plan: one outline without a door, in which no room is reached."""
    (alone,) = plausible_doors(openings(), ["R1"])
    assert alone.edges == []
    table = access_ranges([alone], ["R1"], doors_known=1.0, least_known=0.0)
    assert table["reached_share"].tolist() == [0.0]


def test_many_are_drawn_evenly():
    """Of twelve possible openings each is a door in about half of the outlines drawn.

    Held against the 0.1 % quantiles of the binomial distribution, 0.1 / 12 % for each.
    """
    rooms = [f"R{k:02d}" for k in range(12)]
    found = plausible_doors(openings(*[f"{room};outside possible" for room in rooms]), rooms)
    assert len(found) == 256
    doors = np.array([[(room, "outside") in one.edges for room in rooms] for one in found])
    # 3.94 sds of a normal distribution leave 0.1 / 12 % on both sides together (from memory).
    assert np.abs(doors.mean(axis=0) - 0.5).max() < 3.94 * 0.5 / np.sqrt(256)
    assert np.abs(np.corrcoef(doors.T) - np.eye(12)).max() < 4.6 / np.sqrt(256)


@pytest.mark.parametrize("number", [3, 12])
def test_order_of_rows_changes_nothing(number):
    """The same openings in another order, and named the other way round, give the same outlines."""
    rooms = [f"R{k:02d}" for k in range(number)]
    found = openings(*[f"{room};outside possible" for room in rooms])
    turned = found.iloc[::-1].assign(
        joins=[";".join(reversed(joins.split(";"))) for joins in found["joins"][::-1]]
    )
    one, other = plausible_doors(found, rooms), plausible_doors(turned, rooms[::-1])
    assert [outline.edges for outline in one] == [outline.edges for outline in other]


def test_what_is_not_of_the_building_is_outside():
    """A lane or another building's room beyond a door counts as outside; strange doors are none."""
    found = openings("R1;R9 seen", "R8;R9 seen", "R1;outside;R9 seen")
    (alone,) = plausible_doors(found, ["R1"])
    assert alone.edges == [("R1", "outside"), ("R1", "outside")]


def test_an_opening_within_one_space_is_no_door():
    """A gap in a wall that ends within a room leads from the room to itself: no way."""
    (alone,) = plausible_doors(openings("R1 seen", "R1;R1 seen"), ["R1"])
    assert alone.edges == []


def test_doors_known_counts_what_rooms_need():
    """Two seen of three openings into four rooms: four doors are needed, so a half is known."""
    found = openings("R1;outside seen", "R1;R2 seen", "R2;outside possible")
    assert doors_known(found, ["R1", "R2", "R3", "R4"]) == 0.5
    assert doors_known(found, ["R1", "R2"]) == pytest.approx(2 / 3)
    assert doors_known(openings(), ["R1"]) == 0


def test_ranges_over_a_passage_room():
    """By hand: a way into the far room leads through the near one, or straight in.

    Near room: always entered, one step. Far room: in half of the outlines with the straight door
    one step, else two where the inner gap is a door; cut off where neither is.
    """
    found = openings("near;outside seen", "far;near possible", "far;outside possible")
    table = access_ranges(
        plausible_doors(found, ["far", "near"]), ["far", "near"], doors_known=1.0, least_known=0.5
    ).set_index("room")
    ends = ["steps_from_outside_low", "steps_from_outside_high"]
    assert table.loc["far", ends].tolist() == [1, 2]
    assert table.loc["near", ends].tolist() == [1, 1]
    assert table.loc["far", "reached_share"] == 0.75
    assert table.loc["near", "through_room_share"] == 0.5
    assert table.loc["near", ["rooms_behind_low", "rooms_behind_high"]].tolist() == [0, 1]


def test_no_outlines_are_refused():
    """Asking for none says what is allowed and why."""
    with pytest.raises(ValueError, match="at least one outline is needed"):
        plausible_doors(openings(), [], most=0)
