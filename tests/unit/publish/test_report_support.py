"""What the report says of support and of the team's decisions."""

import pandas as pd

from wrackline.publish.phases import UNPHASED, as_last_stood, phase_words
from wrackline.publish.report_support import LEAST_COUNT, plot, reliability, support_words
from wrackline.publish.report_team import NO_TEAM, NONE, team_words


def test_the_worth_of_support_is_told_as_counted_on_simulated_towns():
    """Plot and table name the ground on which they were counted."""
    words = "".join(support_words())
    assert words.count("on simulated towns") >= 3


def test_counted_bins_lie_near_the_line_of_agreement():
    """Of rooms given a support, so many are real, within 0.08: bins of a hundred rooms or more."""
    bins = reliability()
    large = bins[bins["rooms"] >= LEAST_COUNT]
    assert len(large) >= 5
    assert ((large["mean_support"] - large["real_share"]).abs() <= 0.08).all()


def test_a_bin_of_few_rooms_is_hollow():
    """A share of a few rooms says little, and is drawn so."""
    bins = pd.DataFrame(
        {"mean_support": [0.5, 0.9], "real_share": [0.4, 0.9], "rooms": [LEAST_COUNT - 1, 500]}
    )
    assert plot(bins).count('fill="#fff"') == 1


def test_decisions_stand_with_their_outcome():
    """Who decided what, where and why, and what became of it."""
    row = {
        "decision": "open_ground",
        "easting": 324420.5,
        "northing": 4207610.25,
        "to_easting": None,
        "to_northing": None,
        "who": "A. Diver",
        "date": "2031-09-01",
        "why": "a yard <open>",
        "outcome": "followed",
        "because": "the space is no room",
    }
    words = "".join(team_words(NO_TEAM | {"decisions": [row], "notes": ["2031-a:7: no wall"]}))
    assert "324420.50 4207610.25" in words
    assert "followed: the space is no room" in words
    assert "a yard &lt;open&gt;" in words
    assert "2031-a:7: no wall" in words


def test_tracings_that_disagree_are_listed_apart_from_phases():
    """The list is there only where something disagrees."""
    words = "".join(team_words(NO_TEAM | {"disagree": ["2032-b/7 lies 0.20 m off"]}))
    assert "2032-b/7 lies 0.20 m off" in words
    assert "register of phases:" not in words
    assert "disagree about a wall" not in "".join(team_words(NO_TEAM))


def test_without_phases_and_decisions_the_report_says_so():
    """What was not told is named as such."""
    words = "".join(team_words(NO_TEAM))
    assert UNPHASED in words
    assert NONE in words
    assert phase_words([""]) == UNPHASED


def test_drawings_leave_out_rooms_and_closings_of_earlier_phases():
    """Recorded walls stay, whenever they stood."""
    rooms = pd.DataFrame({"room": ["a", "b", "c"], "phase_to": ["I", "II", None]})
    lines = pd.DataFrame(
        {
            "wall": ["w", "x", "y"],
            "phase_to": ["I", "I", None],
            "evidence": ["recorded", "inferred", "inferred"],
        }
    )
    drawn = as_last_stood({"rooms": rooms, "wall_lines": lines}, ["I", "II"])
    assert drawn["rooms"]["room"].tolist() == ["b", "c"]
    assert drawn["wall_lines"]["wall"].tolist() == ["w", "y"]
