"""Simulated seasons of a corner of the demo: intervals of net change hold the truth.

The bars stand for 1,000 runs, which `tests/benchmarks/seabed_change.py` makes; these are as many as
an everyday test, and a slow one, can afford, with bounds of the binomial distribution.
"""

import sys
from pathlib import Path

import pytest
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "benchmarks"))

from seabed_change import COVERAGE_95, runs

AREAS_SHARE = 0.05


def assert_honest(ended):
    """Hold runs against 95 % intervals of net change, and of what came and went."""
    least = binom.ppf(0.001, len(ended), 0.95)
    for seen, true in (("net", "true"), ("fill", None), ("cut", None)):
        held = 0
        for one in ended:
            pair = (getattr(one, true), one.net) if true else getattr(one, seen)
            held += abs(pair[0] - pair[1]) <= COVERAGE_95 * (one.sd if true else one.gross_sd)
        assert held >= least, seen


@pytest.mark.parametrize(
    ("pair", "number"),
    [
        ("swath, photographs", 10),
        pytest.param("swath, photographs", 150, marks=pytest.mark.slow),
        pytest.param("sounding lines, swath", 150, marks=pytest.mark.slow),
    ],
)
def test_where_nothing_changed_nothing_is_reported(pair, number):
    """Net change 0 is in its interval, and few runs have any area of change."""
    ended = list(runs(pair, False, range(5000, 5000 + number)))
    assert_honest(ended)
    assert sum(one.areas > 0 for one in ended) <= binom.ppf(0.999, number, AREAS_SHARE)


@pytest.mark.parametrize(
    ("pair", "number"),
    [
        ("swath, photographs", 10),
        pytest.param("swath, photographs", 150, marks=pytest.mark.slow),
        pytest.param("sounding lines, swath", 150, marks=pytest.mark.slow),
    ],
)
def test_where_sand_moved_the_interval_holds_its_volume(pair, number):
    """The true net volume is in its interval; of the areas found few are false."""
    ended = list(runs(pair, True, range(6000, 6000 + number)))
    assert_honest(ended)
    found, false = sum(one.areas for one in ended), sum(one.false_areas for one in ended)
    assert found > 0
    assert false <= binom.ppf(0.999, found, AREAS_SHARE)
