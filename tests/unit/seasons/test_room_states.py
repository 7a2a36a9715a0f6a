"""Rooms lost, buried, overgrown, uncovered: by most of their outline, when looked for."""

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from wrackline.seasons.events import EVENT_COLUMNS
from wrackline.seasons.room_states import from_record, lost_rooms, room_states

ROOMS = gpd.GeoDataFrame({"room": ["R1", "R2"]}, geometry=[shapely.box(0, 0, 4, 3)] * 2)


def outlines(**lengths):
    """Return how much of the outline of R1 has which status."""
    rows = [("R1", status.replace("_", " "), length) for status, length in lengths.items()]
    return pd.DataFrame(rows, columns=["room", "status", "length_m"])


def after(*seasons):
    """Return the states after seasons from 2031 on, each told by the lengths of R1's outline."""
    told = from_record(None)
    for k, lengths in enumerate(seasons):
        told = room_states(ROOMS, outlines(**lengths), told, str(2031 + k))
    return told


SEEN, LOST, BURIED = {"seen": 14}, {"seen": 6, "lost": 8}, {"seen": 4, "buried": 10}
GREEN, UNSOUGHT = {"overgrown": 8, "seen": 6}, {"not_looked_for": 9, "lost": 5}


@pytest.mark.parametrize(
    ("seasons", "event"),
    [
        pytest.param([SEEN], None, id="seen at first"),
        pytest.param([LOST], "lost", id="lost at first"),
        pytest.param([SEEN, LOST], "lost", id="lost"),
        pytest.param([SEEN, BURIED], "buried", id="buried"),
        pytest.param([SEEN, GREEN], "overgrown", id="overgrown"),
        pytest.param([BURIED, SEEN], "uncovered", id="uncovered"),
        pytest.param([GREEN, SEEN], "uncovered", id="no longer overgrown"),
        pytest.param([LOST, SEEN], "seen again", id="not lost after all"),
        pytest.param([BURIED, LOST], "lost", id="from buried to lost"),
        pytest.param([BURIED, BURIED], None, id="still buried"),
        pytest.param([SEEN, {"seen": 8, "lost": 6}], None, id="lost in part"),
        pytest.param([SEEN, UNSOUGHT], None, id="looked for in part"),
        pytest.param([BURIED, UNSOUGHT, SEEN], "uncovered", id="remembered over a season"),
    ],
)
def test_changes_of_state_are_events(seasons, event):
    """Most of the recorded outline decides, and less than half looked for decides nothing."""
    events = after(*seasons).events
    assert [row["event"] for row in events] == ([event] if event else [])
    for row in events:
        assert set(row) == set(EVENT_COLUMNS)
        assert "a suggestion" in row["why"]


def test_what_was_known_stays_known():
    """A season that didn't look leaves state and season as they were, and reads back alike."""
    told = after(SEEN, BURIED, BURIED, UNSOUGHT)
    assert told.states == {"R1": "buried"}
    assert told.since == {"R1": "2032"}
    assert from_record(told.as_record()) == told


def test_a_room_that_left_the_plan_has_no_event():
    """Its walls may be lost, but the number is none of this plan's rooms."""
    told = room_states(ROOMS.iloc[1:], outlines(**LOST), from_record(None), "2031")
    assert told.events == []


def test_rooms_suggested_as_lost_are_listed():
    """Only events of loss count."""
    assert lost_rooms(after(SEEN, LOST).events) == ["R1"]
    assert lost_rooms(after(SEEN, BURIED).events) == []


def test_no_outlines_tell_nothing():
    """A season without a look at any wall changes nothing."""
    none = pd.DataFrame(columns=["room", "status", "length_m"])
    assert room_states(ROOMS, none, from_record(None), "2031").states == {}
