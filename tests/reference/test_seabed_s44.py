"""IHO S-44, edition 6, table 1: limits of total vertical uncertainty at depths of 1 to 10 m."""

import numpy as np
import pytest

from wrackline.accuracy.standards import COVERAGE_S44, ORDERS, tvu_max

TABLE = {
    "exclusive": (0.15, [0.1502, 0.1517, 0.1546, 0.1677]),
    "special": (0.25, [0.2501, 0.2510, 0.2528, 0.2610]),
    "1a": (0.5, [0.5002, 0.5015, 0.5042, 0.5166]),
    "1b": (0.5, [0.5002, 0.5015, 0.5042, 0.5166]),
    "2": (1.0, [1.0003, 1.0024, 1.0066, 1.0261]),
}


@pytest.mark.parametrize("order", TABLE)
def test_limits_by_order(order):
    """TVU at 1, 3, 5 and 10 m, from a and b of table 1 by the formula of 3.2.3; a at depth 0."""
    at_zero, limits = TABLE[order]
    np.testing.assert_allclose(tvu_max([1, 3, 5, 10], order), limits, atol=5.1e-5)
    assert tvu_max(0.0, order) == at_zero


def test_orders_and_coverage():
    """Five orders, strictest first; 95 % is 1.96 sd for depths (2.7)."""
    assert list(ORDERS) == list(TABLE)
    assert COVERAGE_S44 == 1.96
