"""What a check says of readings by numbers that the last record doesn't know."""

import pytest

from wrackline.known_numbers import say_unknown
from wrackline.model import Interpretation

HEAD = "what,series,number,printed,first_season,last_season,now,state,note"


@pytest.fixture
def site(tmp_path):
    """Return a site whose record knows two rooms, one of them by an old plan's number too."""
    (tmp_path / "results" / "tables").mkdir(parents=True)
    rows = [HEAD, "room,,R024-136,,,,,stands,", "room,plan of 1986,14,,,,,stands,"]
    (tmp_path / "results" / "tables" / "concordance.csv").write_text("\n".join(rows))
    return tmp_path


def reading(number, what="room"):
    return Interpretation.model_validate(
        {
            "number": number,
            "what": what,
            "reading": "store",
            "certainty": "possible",
            "who": "me",
            "when": "2034-07-01",
            "why": "jars",
        }
    )


def test_a_mistyped_number_is_named_with_the_nearest(site):
    """Two figures turned round, and a number of a room where a building is meant."""
    lines = say_unknown(site, [reading("R024-163"), reading("R024-136", "building")])
    assert "did you mean 'R024-136'?" in lines[0]
    assert "the building R024-136" in lines[1]


@pytest.mark.parametrize("number", ["R024-136", "14", "plan of 1986: 14"])
def test_known_numbers_are_passed_over(site, number):
    """Those of the record, and those of others with or without their series."""
    assert say_unknown(site, [reading(number)]) == []


def test_without_a_record_nothing_is_said(tmp_path):
    """Before the first build no number is known."""
    assert say_unknown(tmp_path, [reading("R1")]) == []
