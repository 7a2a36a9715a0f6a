"""What a season leaves to a person: asked with place and file, what settles most first."""

import pandas as pd
import pytest
import shapely
from drawn import box, line_table, plan_of

from wrackline import contract
from wrackline.seasons.interpretations import reading_columns
from wrackline.seasons.to_decide import Question, in_doubt, questions

NOBODY = pd.DataFrame(columns=list(reading_columns()))


def plan(support=0.5):
    """Return two rooms with a gap in the wall between them, closed in some plausible outlines."""
    lines = [*box(0, 0, 8, 3), [(4, 0), (4, 1)], [(4, 2), (4, 3)]]
    made = plan_of(line_table(lines))
    walls = made["wall_lines"]
    walls.loc[walls["evidence"] == "inferred", "support"] = support
    return made


def read(**changed):
    row = dict.fromkeys(reading_columns(), "") | {
        "what": "room",
        "reading": "store",
        "who": "A. Orr",
        "when": "2031-07-02",
        "status": "stands",
    }
    return row | changed


def test_a_doubtful_gap_is_asked_with_its_place_and_what_it_settles():
    """The closing between two rooms: at its middle, both rooms, all of their floor at a half."""
    made = plan()
    row = questions(made, [], NOBODY, []).iloc[0]
    assert (row["easting"], row["northing"]) == (4.0, 1.5)
    assert all(number in row["settles"] for number in made["rooms"]["room"])
    assert row["floor_m2"] == pytest.approx(made["rooms"]["floor_area_m2"].sum())
    assert row["answer_in"] == "config/decisions.csv"


@pytest.mark.parametrize("support", [0.0, 0.05, 0.95, 1.0])
def test_a_gap_that_is_sure_is_not_asked(support):
    """What stands in almost all plausible outlines, or in almost none, settles little."""
    assert len(questions(plan(support), [], NOBODY, [])) == 0


def test_doubt_counts_most_at_a_half():
    """A gap in half of the outlines settles more than one in four fifths."""
    assert in_doubt(0.5) > in_doubt(0.8) > in_doubt(0.95) > in_doubt(1.0) == 0
    most, less = (questions(plan(s), [], NOBODY, [])["floor_m2"].iloc[0] for s in (0.5, 0.8))
    assert most > less


def test_readings_to_be_looked_at_and_disputes_are_asked():
    """A room that changed since, and one over which readers differ; superseded ones are not."""
    made = plan(1.0)
    one, other = made["rooms"]["room"]
    rows = [
        read(number=one, review="outline only 50% alike"),
        read(number=one, review="outline only 50% alike", status="superseded"),
        read(number=other, status="disputed"),
        read(number=other, status="disputed", reading="stable", who="B. Lund"),
    ]
    asked = questions(made, [], pd.DataFrame(rows), [])
    assert len(asked) == 2
    assert set(asked["number"]) == {one, other}
    dispute = asked[asked["number"] == other].iloc[0]
    assert "stable (B. Lund) or store (A. Orr)" in dispute["question"]
    inside = made["rooms"].geometry[(made["rooms"]["room"] == other).to_numpy()].iloc[0]
    assert inside.contains(shapely.Point(dispute["easting"], dispute["northing"]))


def test_a_number_in_print_that_is_gone_is_asked():
    """Somebody has to say that it is given up; a number not in print may go in silence."""
    gone = {"what": "room", "event": "gone", "number": "R9", "parents": "R9", "children": ""}
    printed = gone | {"why": "nothing there; its number is in print and stays its own"}
    asked = questions(plan(1.0), [printed, gone | {"why": "nothing there"}], NOBODY, [])
    assert asked["number"].tolist() == ["R9"]
    assert asked["easting"].isna().all()


def test_what_settles_most_comes_first_and_everything_is_ranked():
    """Ranks count from 1 in falling order of floor; notes about phases come with none."""
    more = [Question("a", "X", None, "much", 99.0, "config/decisions.csv")]
    asked = questions(plan(), [], NOBODY, ["which is later"], more)
    assert asked["rank"].tolist() == list(range(1, len(asked) + 1))
    assert asked["floor_m2"].is_monotonic_decreasing
    assert asked["question"].iloc[0] == "a"
    assert asked["answer_in"].iloc[-1] == "config/phases.csv"


def test_a_plan_of_nothing_asks_nothing():
    """No walls, no readings: no question, and the columns are there."""
    asked = questions(plan_of([]), [], NOBODY, [])
    assert len(asked) == 0
    assert list(asked.columns) == [field.name for field in contract.TABLES["to_decide"]]
