"""Intervals of figures hold the truth as often as they say, on a few seeded corners of the demo.

The 1,000 corners a regime are measured by `make bench`; here a binomial bound that honest sds pass
with odds of 999 in 1000, and sds too small by a third do not.
"""

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
import corner_sites

COUNT, SEED = 24, 11

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module", params=["mixed", "named"])
def corners(request):
    return corner_sites.simulate(COUNT, SEED, request.param, processes=1)


@pytest.mark.parametrize("figure", corner_sites.FIGURES)
def test_intervals_hold_the_truth(corners, figure):
    """Of a figure's 95 % intervals as many hold the truth as chance allows, none far off."""
    z = corner_sites.scores_of(corners, figure)
    assert len(z) >= COUNT * 0.6
    inside = int((np.abs(z) <= corner_sites.COVERAGE).sum())
    assert binom.cdf(inside, len(z), 0.95) > 0.001
    assert np.abs(z).max() < 6


def test_corners_do_not_depend_on_each_other():
    """A corner is the same alone and among others: each has a seed of its own."""
    alone = corner_sites.simulate(1, SEED, "random", processes=1)
    among = corner_sites.simulate(2, SEED, "random", processes=1)
    assert alone[0] == among[0]
