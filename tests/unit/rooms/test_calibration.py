"""Are the stated uncertainties true? Seeded sites, surveyed with errors drawn from their model.

A smaller run of what `make bench` does on 1,000 sites. Bounds are those that a true sd passes in
999 of 1,000 draws: binomial for shares, chi-square for the root mean square.
"""

import numpy as np
import pytest
from scipy.stats import binom, chi2

from benchmarks.one_room_sites import rms, scores, share_within, simulate

SITES, SEED = 240, 20311
ODDS = 0.001


@pytest.fixture(scope="module")
def z():
    """Return error over stated sd, by figure."""
    return scores(simulate(SITES, SEED))


@pytest.mark.parametrize("figure", ["area", "depth", "axis"])
def test_share_within(z, figure):
    """As many figures lie within 1.96 sd of the truth as the normal distribution says."""
    least, most = binom.ppf([ODDS / 2, 1 - ODDS / 2], SITES, 0.95) / SITES
    assert least <= share_within(z[figure]) <= most


@pytest.mark.parametrize("figure", ["area", "depth", "axis"])
def test_rms(z, figure):
    """The root mean square of error over sd is one, within what chance allows."""
    least, most = np.sqrt(chi2.ppf([ODDS / 2, 1 - ODDS / 2], SITES) / SITES)
    assert least <= rms(z[figure]) <= most


@pytest.mark.parametrize("figure", ["area", "depth", "axis"])
def test_no_bias(z, figure):
    """The mean of error over sd is zero, within what chance allows."""
    assert abs(z[figure].mean()) < 3.29 / np.sqrt(SITES)
