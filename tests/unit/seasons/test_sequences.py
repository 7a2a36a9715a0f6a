"""Small simulated sequences of seasons: numbers kept, none reused, changes named, readings found.

The bars themselves are measured on 200 full sequences (`tests/benchmarks/season_sequences.py`).
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
import season_score as scored
import season_sequences as sequences

SEEDS = range(2000, 2003)


@pytest.fixture(scope="module")
def told():
    """Return what was counted, and what failed, in three small sequences told three times each."""
    return sequences.run(SEEDS, sequences.library(), sequences.SMALL, cores=1)


def test_rooms_keep_their_numbers(told):
    """Rooms that did not change bear the number that they had, and no number is another's."""
    count, failures = told
    assert count["rooms: unchanged"] > 20
    assert count["rooms: unchanged, kept"] == count["rooms: unchanged"], failures
    assert count["rooms: numbers reused"] == 0, failures


def test_numbers_in_print_stand(told):
    """After an early file was repaired, and an older plan put before, none is renamed or lost."""
    count, failures = told
    assert count["frozen: looked at"] > 20
    for what in ("renamed", "reused", "dropped without a word"):
        assert count[f"frozen: {what}"] == 0, failures


def test_no_interpretation_is_lost(told):
    """Each is tied to its room in every later season, or listed for review."""
    count, failures = told
    assert count["interpretations: looked at"] > 20
    assert count["interpretations: lost"] == 0, failures


def test_changes_are_named(told):
    """Splits, mergers and losses are told as what they are, as far as the bars ask."""
    count, failures = told
    assert scored.failed(count) == [], failures
