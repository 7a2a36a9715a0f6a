"""Published figures of combined uncertainty, through the project's one law of propagation.

ASPRS Positional Accuracy Standards, ed. 2 (2023), 7.11.4, table 7.4: the first row was read, the
others follow from the formula printed with it. Least detectable change: Brasington et al. 2003,
Lane et al. 2003, Wheaton et al. 2010 (doi:10.1002/esp.1886), from memory. Volumes: Anderson 2019
(doi:10.1002/esp.4551), equations 11, 12, 16 and 19, as a public-domain notebook of the US
Geological Survey applies them; its printed results were read and recomputed.
"""

import numpy as np
import pytest
from scipy.integrate import quad

from wrackline.uncertainty import (
    COVERAGE_95,
    Budget,
    ErrorModel,
    NamedError,
    propagate,
    spherical,
)

# Checked data's RMSE and that of the check points, 2.0 cm, give these [cm].
ASPRS_CM = {1.0: 2.24, 1.5: 2.50, 2.0: 2.83, 2.5: 3.20, 3.0: 3.61, 3.5: 4.03, 4.0: 4.47}
ASPRS_CM |= {4.5: 4.92, 5.0: 5.39, 5.5: 5.85, 6.0: 6.32, 6.5: 6.80, 7.0: 7.28, 7.5: 7.76}
ASPRS_CM |= {8.0: 8.25, 8.5: 8.73, 9.0: 9.22, 9.5: 9.71, 10.0: 10.20}

CELL_M, CELLS = 0.25, 682640
RANDOM_M, SILL_M2, RANGE_M, SYSTEMATIC_M = 0.11584754, 0.0071469, 2.3546, 0.104254974
NOTEBOOK_COVERAGE = 1.96


@pytest.mark.parametrize("checked", ASPRS_CM)
def test_check_points_add_in_quadrature(checked):
    """ASPRS table 7.4: the errors of data and of check points combine as a root of squares."""
    found = Budget(random=checked).plus(Budget(random=2.0)).sd
    np.testing.assert_allclose(found, ASPRS_CM[checked], atol=0.00501)


def test_least_change_that_can_be_told():
    """Two surfaces of 0.10 m each tell 0.1414 m at one sd, 0.2772 m at 95 %."""
    difference = Budget(random=0.10).minus(Budget(random=0.10))
    np.testing.assert_allclose(difference.sd, 0.1414, atol=5e-5)
    np.testing.assert_allclose(COVERAGE_95 * difference.sd, 0.2772, atol=5e-5)


def test_what_both_rest_on_tells_nothing():
    """A benchmark common to both surfaces drops out of their difference, and only it."""
    one = Budget(0.10, 0.0, {"benchmark_1:height": 0.05})
    other = Budget(0.10, 0.0, {"benchmark_1:height": 0.05, "gauge_zero:height": 0.02})
    np.testing.assert_allclose(one.minus(other).sd, np.sqrt(0.02 + 0.02**2), rtol=1e-12)


def test_integral_of_the_spherical_correlation():
    """Over the plane the spherical correlation of range a integrates to pi a² / 5."""
    reach = 2.3546
    found, _ = quad(lambda h: float(spherical(np.array(h), reach)) * 2 * np.pi * h, 0, reach)
    np.testing.assert_allclose(found, np.pi * reach**2 / 5, rtol=1e-10)


def heights(size):
    """Return a gradient on heights alone, one a cell, and the cells' places."""
    count = len(size)
    gradient = np.column_stack([np.zeros((count, 2)), size])
    return gradient, np.zeros((count, 3)), np.zeros(count, dtype=int)


def test_random_error_of_a_volume():
    """Equation 11: independent errors of 682 640 cells make 11.725 m³ at 95 %."""
    volume = np.full(CELLS, CELL_M**2)
    budget = propagate(*heights(volume), [ErrorModel("lidar", 0.0, RANDOM_M)])
    np.testing.assert_allclose(NOTEBOOK_COVERAGE * budget.sd, 11.725159819775277, rtol=1e-9)


def test_random_error_of_a_mean():
    """Equation 12: they leave the mean change of height uncertain by 0.27 mm."""
    share = np.full(CELLS, 1 / CELLS)
    budget = propagate(*heights(share), [ErrorModel("lidar", 0.0, RANDOM_M)])
    np.testing.assert_allclose(NOTEBOOK_COVERAGE * budget.sd, 0.00027481916839974867, rtol=1e-9)


def test_systematic_error_of_a_volume():
    """Equation 19: a shift of all heights makes 4 448 m³, however many cells there are."""
    volume = np.full(CELLS, CELL_M**2)
    shift = NamedError("datum:height", "height", SYSTEMATIC_M)
    budget = propagate(*heights(volume), [ErrorModel("lidar", 0.0, 0.0, named=(shift,))])
    assert budget.random == budget.patchy == 0.0
    np.testing.assert_allclose(budget.sd, 4448.03846571, rtol=1e-10)


def test_correlated_error_of_a_volume():
    """Equation 16: errors alike over 2.35 m make 63.9 m³; the notebook's 63.66 rounds √(π/5).

    A square of 120 by 120 cells stands for the field; what its rim lacks is allowed for.
    """
    side = 120
    x, y = (axis.ravel() * CELL_M for axis in np.mgrid[:side, :side])
    places = np.column_stack([x, y, np.zeros(side**2)])
    gradient = np.column_stack([np.zeros((side**2, 2)), np.full(side**2, CELL_M**2)])
    model = ErrorModel("lidar", 0.0, 0.0, 0.0, np.sqrt(SILL_M2), RANGE_M)
    budget = propagate(gradient, places, np.zeros(side**2, dtype=int), [model])
    whole = NOTEBOOK_COVERAGE * budget.patchy * np.sqrt(CELLS) / side
    rounded, exact = 63.66416245931655, 63.879
    np.testing.assert_allclose(rounded * np.sqrt(np.pi / 5) / 0.79, exact, atol=0.001)
    np.testing.assert_allclose(whole, exact, rtol=0.04)
    assert whole < exact
