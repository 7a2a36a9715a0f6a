"""Sums over cells against direct double sums, and formulas of the literature."""

import numpy as np
import pytest
from changed import level, surface

from wrackline.seabed.change_sums import Sums, block_correlation, correlated_sum
from wrackline.seabed.differences import difference
from wrackline.uncertainty import NamedError, spherical

RNG = np.random.default_rng(4)


def summed(earlier, later, mask=None, *, strip=None, weight=None):
    """Return the sum of a difference over a mask, piece by piece."""
    grid = earlier.grid
    sums = Sums(grid)
    mask = np.ones(grid.shape, bool) if mask is None else mask
    for part in grid.strips(strip or 10**9):
        rows, columns = grid.window(part)
        own = None if weight is None else weight[rows, columns]
        whole = (slice(0, part.shape[0]), slice(0, part.shape[1]))
        sums.add(difference(earlier, later, part), mask[rows, columns], whole, own)
    return sums.total()


def direct_patchy(mask, weight, size, reach, cell_m):
    """Return ΣΣ w_i w_j σ² ρ(d_ij) by all pairs, a way of its own."""
    row, column = np.nonzero(mask)
    xy = np.column_stack([row, column]) * cell_m
    apart = np.hypot(*(xy[:, None] - xy).transpose(2, 0, 1))
    pull = (weight if np.ndim(weight) == 0 else weight[mask]) * size * np.ones(len(row))
    return pull @ spherical(apart, reach) @ pull


@pytest.mark.parametrize(("reach", "tolerance"), [(5.0, 1e-9), (30.0, 0.005), (100.0, 0.005)])
def test_patchy_errors_are_those_of_all_pairs(reach, tolerance):
    """Sums over blocks give the double sum over all pairs of an odd shape's cells."""
    mask = np.hypot(*np.mgrid[-20:20, -25:25]) < 19
    mask &= RNG.random(mask.shape) < 0.7
    new = level("2032-b", patchy_vertical=0.05, patchy_distance=reach)
    found = summed(surface(np.zeros(mask.shape)), surface(np.zeros(mask.shape), new), mask)
    wanted = np.sqrt(direct_patchy(mask, 1.0, 0.05, reach, 1.0))
    assert found.budget.patchy == pytest.approx(wanted, rel=tolerance)


def test_patchy_errors_with_weights_of_both_signs():
    """Also for a tilt's weights, of which half are negative."""
    mask, weight = np.ones((30, 30), bool), np.tile(np.linspace(-1, 1, 30), (30, 1))
    new = level("2032-b", patchy_vertical=0.05, patchy_distance=40.0)
    found = summed(surface(np.zeros((30, 30))), surface(np.zeros((30, 30)), new), weight=weight)
    wanted = np.sqrt(direct_patchy(mask, weight, 0.05, 40.0, 1.0))
    assert found.budget.patchy == pytest.approx(wanted, rel=0.01)


def test_strips_make_no_difference():
    """The same sums, whether taken in one piece or in strips of two rows."""
    new = level("2032-b", 0.03, patchy_vertical=0.05, patchy_distance=20.0)
    later = surface(RNG.normal(size=(23, 17)), new)
    one, many = (summed(surface(np.zeros((23, 17))), later, strip=k) for k in (10**9, 34))
    assert many.value == pytest.approx(one.value, rel=1e-12)
    assert many.sd == pytest.approx(one.sd, rel=1e-12)


def test_named_errors_are_never_averaged():
    """A tilt about the middle leaves the mean alone, a shift moves every cell."""
    shape, middle = (20, 20), (500_010.0, 4_700_010.0)
    tilt = level("2032-b", named=(NamedError("t:tilt", "tilt", 0.01, middle, 90.0),))
    shift = level("2032-b", named=(NamedError("s:height", "height", 0.01),))
    flat = surface(np.zeros(shape))
    assert summed(flat, surface(np.zeros(shape), tilt)).sd == pytest.approx(0.0, abs=1e-9)
    assert summed(flat, surface(np.zeros(shape), shift)).sd == pytest.approx(400 * 0.01)


@pytest.mark.parametrize("side", [3, 6, 12, 40])
def test_cells_that_share_an_error_in_squares(side):
    """Groups of 6 × 6 cells laid anyhow over a square region: simulated, within 12 %.

    The group's place is drawn anew, so that two cells are of one with (1 − |x| / 6) (1 − |y| / 6).
    """
    sums = []
    for _ in range(4000):
        big = RNG.normal(size=(side // 6 + 2,) * 2).repeat(6, 0).repeat(6, 1)
        top, left = RNG.integers(0, 6, 2)
        sums.append(big[top : top + side, left : left + side].sum())
    later = surface(np.zeros((side, side)), level("2032-b", 1.0), together=36.0)
    found = summed(surface(np.zeros((side, side))), later)
    assert found.budget.random == pytest.approx(np.std(sums), rel=0.12)


def test_blocks_correlate_as_their_cells_do_on_average():
    """The mean of all pairs of cells of two blocks, by hand for blocks of 2 × 2."""
    cells = np.array([(0, 0), (0, 1), (1, 0), (1, 1)], float)
    found = block_correlation(6.0, 1.0, 2)
    for north, east in ((0, 0), (1, 0), (1, 2), (3, 1)):
        apart = cells[:, None] - (cells + np.array([2 * north, 2 * east]))
        wanted = spherical(np.hypot(*apart.transpose(2, 0, 1)), 6.0).mean()
        assert found[north, east] == pytest.approx(wanted)
    assert correlated_sum(np.ones((1, 3)), np.ones((3, 3))) == pytest.approx(9.0)
