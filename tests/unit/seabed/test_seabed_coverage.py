"""Simulated surveys: 95 % intervals of a cell's height hold the true seabed."""

import numpy as np
import pytest
from scipy.stats import binom
from sims import TECHNIQUES, errors_in_sds

KINDS = ("random", "patchy", "named", "mixed")


def check_held(errors):
    """As often within 1.96 sd as a binomial of 95 % allows, and of the size that is stated."""
    held, (low, high) = np.abs(errors) <= 1.96, binom.ppf([0.001, 0.999], len(errors), 0.95)
    assert low <= held.sum() <= high
    assert 0.85 <= np.sqrt(np.mean(errors**2)) <= 1.12


@pytest.mark.parametrize("name", TECHNIQUES)
def test_intervals_hold_the_true_seabed(name):
    """Errors of all kinds together, one cell each of 200 independent surveys a technique."""
    check_held(errors_in_sds(name, "mixed", 200, cells=3 if name == "photographs" else 5))


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", TECHNIQUES)
def test_intervals_hold_the_true_seabed_in_1000_surveys(name, kind):
    """Each technique, each kind of error: from 93 to 97 % of 1,000 independent surveys."""
    errors = errors_in_sds(name, kind, 1000, seed=57, cells=3 if name == "photographs" else 5)
    assert 0.93 <= (np.abs(errors) <= 1.96).mean() <= 0.97
    check_held(errors)
