"""Parts of a season's page: lengths as seen, lines that disagree, the seabed's change."""

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from wrackline.accuracy.markup import join
from wrackline.publish.season_parts import (
    change_part,
    season_questions,
    seen_part,
    traced_part,
)


def text(part):
    """Return what a part says, marks left out."""
    return str(join(part.inside))


def test_lengths_are_told_by_status():
    """Of 40 m of wall 30 were seen and 10 buried: metres and shares, the surest first."""
    seen = gpd.GeoDataFrame(
        {"status": ["seen", "buried", "seen"], "length_m": [10.0, 10.0, 20.0]},
        geometry=[shapely.LineString([(0, 0), (1, 0)])] * 3,
    )
    said = text(seen_part(seen))
    assert said.index(">seen<") < said.index(">buried<")
    assert "30 m" in said
    assert "75%" in said
    assert "not looked for</td>" not in said


def test_a_plan_without_walls_has_none_to_see():
    """No sightings, and a sentence that says so."""
    none = gpd.GeoDataFrame({"status": [], "length_m": []}, geometry=[])
    assert "no wall" in text(seen_part(none))


TRACINGS = gpd.GeoDataFrame(
    {
        "survey": ["2031-a", "2033-b", "2033-b"],
        "season": ["2031", "2033", "2033"],
        "line": ["W1", "V1", "V<2>"],
        "row": [1, 1, 2],
        "wall_line": ["2031-a/W1", "2031-a/W1", "2033-b/V<2>"],
        "off_m": [0.0, 0.21, None],
        "off_sd_m": [0.02, 0.04, None],
        "disagrees": [False, True, pd.NA],
        "why": ["", "too far", ""],
    },
    geometry=[shapely.LineString([(0, 0), (5, 0)])] * 3,
)


def test_lines_that_disagree_are_listed():
    """Two lines this season, one of them of a wall that was traced before, and off it."""
    said = text(traced_part(TRACINGS, "2033"))
    assert "Of 2 lines traced, 1 are of walls that another survey traced too; 1 disagree." in said
    assert "0.21 ± 0.04 m" in said
    assert "<2>" not in said


def test_a_season_without_lines_disagrees_in_nothing():
    """No line, no table."""
    assert "<table" not in text(traced_part(TRACINGS, "2032"))


PAIR = {
    "earlier": "2031",
    "site": {
        "area_m2": 812.0,
        "volume_m3": 40.0,
        "volume_sd_m3": 9.0,
        "mean_m": 0.05,
        "mean_sd_m": 0.011,
    },
    "gross": {"came_m3": 55.0, "went_m3": 15.0, "gross_sd_m3": 9.5},
    "dug": {"volume_m3": None, "volume_sd_m3": None},
    "area_count": 3,
    "stable": {"registration": {"null_because": "no ground is stated as stable"}},
}


def test_the_seabeds_change_is_told_with_its_map():
    """Net volume with its sd, what came and went, the number of areas, and the picture."""
    (part,) = change_part([PAIR], [b"png"])
    said = text(part)
    assert part.heading == "The seabed since 2031"
    for figure in ("40 ± 9 m³", "0.050 ± 0.011 m", "55 ±", "15 ±", "data:image/png;base64,"):
        assert figure in said
    assert "no ground is stated as stable" in said
    assert change_part([], []) == []


@pytest.fixture
def rooms():
    data = {"room": ["R1", "R2"], "floor_area_m2": [12.0, None]}
    return gpd.GeoDataFrame(data, geometry=[shapely.box(0, 0, 4, 3), shapely.box(9, 0, 12, 3)])


def test_rooms_suggested_as_lost_are_asked(rooms):
    """A loss is a question with the room's floor and place; a burial is no question."""
    events = [
        {"event": "lost", "number": "R1", "why": "60% lost"},
        {"event": "buried", "number": "R2", "why": ""},
        {"event": "lost", "number": "R9", "why": "not on the plan"},
    ]
    (asked,) = season_questions({"events": events}, rooms, [], "2033")
    assert (asked.number, asked.floor_m2, asked.where) == ("R1", 12.0, "a look on site")
    assert rooms.geometry.iloc[0].contains(asked.place)


def test_tracings_that_disagree_are_asked(rooms):
    """What the joining found is passed on as it is."""
    (asked,) = season_questions({"events": []}, rooms, ["2031-a/W1 and 2033-b/V1"], "2033")
    assert asked.question == "2031-a/W1 and 2033-b/V1"
