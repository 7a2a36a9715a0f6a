"""Decisions about spaces: which are one, which are open ground."""

import datetime as dt

import numpy as np
import pytest
from drawn import box, items, line_table, models_of, network_of, site

from wrackline.model import Decision
from wrackline.rooms.bed import Bed
from wrackline.rooms.plan import Items, make_plan
from wrackline.rooms.view import prepare
from wrackline.walls.decided import AGAINST, FOLLOWED, IDLE

TWO = [*box(0, 0, 8, 4), [(4, 0), (4, 4)]]


def decision(kind, place, to=None, date="2031-09-01"):
    """Return a decision of an invented team."""
    far = {} if to is None else {"to_easting": to[0], "to_northing": to[1]}
    day = dt.date.fromisoformat(date)
    at = {"easting": place[0], "northing": place[1]}
    return Decision(decision=kind, who="A. Diver", date=day, why="looked at it", **at, **far)


def plan(lines, *decisions):
    """Return the rooms and openings of hand-drawn centre lines, and what became of decisions."""
    table = line_table(lines, follows="centre", thickness_m=0.5)
    models = models_of(table)
    view = prepare(network_of(table), models, site(), [], decisions)
    made = make_plan(view, Items(items(), items(), []), Bed())
    return made["rooms"], made["openings"], [o.outcome for o in view.outcomes]


def test_two_rooms_that_are_one_are_measured_as_one():
    """The partition is passed over: 4 m and 8 m between centres, walls of 0.5 m taken off."""
    rooms, _, outcome = plan(TWO, decision("merge", (2, 2), (6, 2)))
    assert outcome == [FOLLOWED]
    np.testing.assert_allclose(rooms["floor_area_m2"], [7.5 * 3.5])


@pytest.mark.parametrize("to", [(3, 3), (20, 2)], ids=["one room", "outside"])
def test_a_merger_of_what_shares_no_outline_is_idle(to):
    """Two places in one room, or one outside, name no two neighbours."""
    rooms, _, outcome = plan(TWO, decision("merge", (2, 2), to))
    assert outcome == [IDLE]
    assert len(rooms) == 2


def test_a_wall_recorded_since_contradicts_a_merger():
    """The lines were surveyed in June 2031, after the day of the decision."""
    early = decision("merge", (2, 2), (6, 2), date="2031-01-01")
    assert plan(TWO, early)[2] == [AGAINST]


def test_open_ground_is_no_room_and_lies_outside():
    """Its neighbour's door leads outside then."""
    gap = [*box(0, 0, 8, 4), [(4, 0), (4, 1.5)], [(4, 2.4), (4, 4)]]
    rooms, openings, outcome = plan(gap, decision("open_ground", (6, 2)))
    assert outcome == [FOLLOWED]
    assert len(rooms) == 1
    assert openings["joins"].tolist() == [f"{rooms['room'].iloc[0]};outside"]


def test_open_ground_in_the_open_is_idle():
    """Nothing encloses the place."""
    assert plan(TWO, decision("open_ground", (20, 2)))[2] == [IDLE]
