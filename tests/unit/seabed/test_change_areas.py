"""Which cells are taken for changed, and when they are an area."""

import numpy as np
import pytest
from changed import level, surface
from scipy.stats import binom, false_discovery_control
from scipy.stats import norm as normal

from wrackline.seabed.change_areas import (
    Threshold,
    areas,
    in_steps,
    local_scores,
    stands,
    threshold,
    window_cells,
)
from wrackline.seabed.differences import difference
from wrackline.uncertainty import NamedError


@pytest.mark.parametrize("seed", range(5))
def test_cells_are_taken_as_the_published_procedure_takes_them(seed):
    """The same cells as scipy's Benjamini-Hochberg, a library of its own."""
    rng = np.random.default_rng(seed)
    z = np.trunc(np.concatenate([rng.normal(size=900), rng.normal(3.5, 1, 100)]) * 1000) / 1000
    found = threshold(in_steps(z))
    taken = false_discovery_control(2 * normal.sf(np.abs(z))) <= 0.05
    assert found.taken == taken.sum()
    np.testing.assert_array_equal(np.abs(z) >= found.z - 1e-9, taken)


def test_nothing_is_taken_of_nothing():
    """Without a cell, or without one far off, there is no threshold."""
    assert threshold(in_steps(np.full(4, np.nan))) == Threshold(None, 0, 0)
    assert threshold(in_steps(np.array([0.1, -0.5, 1.2]))).z is None


def test_a_mean_over_a_window_has_less_noise_but_all_of_what_is_shared():
    """Nine cells of 0.3 m at random and a level of 0.1 m: sd √(0.09 / 9 + 0.01)."""
    new = level("2032-b", 0.3, named=(NamedError("l:height", "height", 0.1),))
    old, later = surface(np.zeros((9, 9))), surface(np.full((9, 9), 0.2), new)
    found = difference(old, later, old.grid)
    z = local_scores(found, np.ones((9, 9), bool), 3)
    assert z[4, 4] == pytest.approx(0.2 / np.sqrt(0.09 / 9 + 0.01))
    assert z[0, 0] == pytest.approx(0.2 / np.sqrt(0.09 / 4 + 0.01))


def test_a_shift_within_its_source_is_no_area_in_most_runs():
    """All cells lifted by one named error: taken in no more runs than 5 %, or none of them.

    2,000 draws; the bound is the 99.9 % quantile of the binomial distribution.
    """
    rng = np.random.default_rng(7)
    new = level("2032-b", 0.01, named=(NamedError("l:height", "height", 0.1),))
    old, any_taken = surface(np.zeros((6, 6))), 0
    for draw in rng.normal(0, 0.1, 2000):
        later = surface(draw + rng.normal(0, 0.01, (6, 6)), new)
        z = local_scores(difference(old, later, old.grid), np.ones((6, 6), bool), 3)
        any_taken += threshold(in_steps(z)).z is not None
    assert any_taken <= binom.ppf(0.999, 2000, 0.05)


def test_what_came_and_what_went_are_areas_apart():
    """Side by side, they don't join; numbers begin with what came."""
    z = np.zeros((8, 12))
    z[2:6, 1:6], z[2:6, 6:11] = -6.0, 6.0
    scores = in_steps(z)
    numbered = areas(scores, threshold(scores), 3)
    assert np.unique(numbered[2:6, 6:11]).tolist() == [1]
    assert np.unique(numbered[2:6, 1:6]).tolist() == [2]


def test_a_broken_line_of_soundings_is_one_area():
    """Every second cell of a line was met; a lone cell on whole ground is no area."""
    z = np.full((7, 20), np.nan)
    z[3, ::2] = 8.0
    scores = in_steps(z)
    assert areas(scores, threshold(scores), 3).max() == 1
    whole = np.zeros((9, 9))
    whole[4, 4] = 8.0
    scores = in_steps(whole)
    assert areas(scores, threshold(scores), 3).max() == 0


def test_a_small_area_needs_a_smaller_p():
    """Its p, times how often the area fits into the ground: at most 5 %."""
    z = normal.isf(0.05 / 2 * 10 / 1000)
    assert stands(z + 1e-6, 10, 1000)
    assert not stands(z - 1e-6, 10, 1000)
    assert window_cells(3.0, 1.0) == 3
