"""Hachures and section lines are recorded and numbered like features, and are no things."""

import geopandas as gpd
import pytest
import shapely
from drawn import CRS, doubled, items, plan_of, site

from wrackline.drawn_marks import are_marks
from wrackline.publish.sea_level import sea_level_table
from wrackline.publish.summary import _features
from wrackline.rooms.met_floors import MetFloors
from wrackline.seasons.carry import carry
from wrackline.seasons.freezing import frozen_table
from wrackline.uncertainty import ErrorModel

ROOM = doubled(0, 0, 6, 5, 0.6)
INSIDE = shapely.LineString([(1, 1, -3.0), (2, 2, -3.5)])
DRAWN = (
    {"kind": "hachure", "geometry": INSIDE, "line": "H1"},
    {"kind": "Section line", "geometry": INSIDE, "line": "A"},
    {"kind": "stone", "origin": "built", "geometry": INSIDE.buffer(0.3), "line": "S1"},
)


@pytest.fixture(scope="module")
def plan():
    """Return the plan of a room in which a hachure, a section line and a stone were drawn."""
    return plan_of(ROOM, features=DRAWN)


def test_marks_are_told_by_their_kind():
    """Whatever the capitals; a stone is a thing."""
    assert are_marks([row["kind"] for row in DRAWN]).tolist() == [True, True, False]


def test_marks_are_numbered_and_keep_their_own_name(plan):
    """Each has a number from its place, and the survey's own name, by which sections are known."""
    features = plan["features"].set_index("line")
    assert features["feature"].str.startswith("F").all()
    assert list(features.index) == ["H1", "A", "S1"]


def test_marks_lie_in_no_room_and_have_no_height(plan):
    """The stone lies in the room; of marks both are null, and it is said why."""
    features = plan["features"].set_index("line")
    assert features["room"].isna().tolist() == [True, True, False]
    assert features.loc[["H1", "A"], ["top_depth_m", "top_depth_sd_m"]].isna().all(axis=None)
    assert features.loc[["H1", "A"], "null_because"].str.contains("room, top_depth_m: a mark").all()


def test_marks_are_counted_nowhere(plan):
    """The summary counts one stone."""
    assert [(f.text, f.value) for f in _features(plan["features"])] == [("features: stone", 1)]


def test_marks_say_nothing_of_the_sea(plan):
    """They have no row among the structures that bound the sea level of their time."""
    features = plan["features"]
    models = [ErrorModel("2031-items", 0.05, 0.04)]
    nothing = MetFloors(items(()), models).points
    found = sea_level_table({**plan, "features": features}, nothing, models, site())
    stone = features.loc[features["line"] == "S1", "feature"].iloc[0]
    assert found["structure"].tolist() == [stone]


def test_no_event_tells_that_a_mark_was_drawn(plan):
    """A season that drew all three brought one new feature, the stone."""
    empty = plan_of(ROOM)
    frozen = frozen_table((), CRS)
    before = carry(empty, None, frozen, "2031", (0.0, 0.0))
    after = carry(plan, before.things, frozen, "2032", (0.0, 0.0))
    new = after.events[after.events["what"] == "feature"]
    stone = after.plan["features"].set_index("line").loc["S1", "feature"]
    assert new["number"].tolist() == [stone]
    assert isinstance(after.plan["features"], gpd.GeoDataFrame)
