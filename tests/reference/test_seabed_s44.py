"""IHO S-44, edition 6: limits of total vertical uncertainty of table 1, and the matrix of 7.6."""

import numpy as np
import pytest

from wrackline.accuracy.standards import COVERAGE_S44, MATRIX, ORDERS, feature_shown, tvu_max
from wrackline.accuracy.tally import Tally

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


CELLS = {"exclusive": (12, 8), "special": (10, 8), "1a": (8, 6), "1b": (8, 6), "2": (7, 4)}
"""Table 1: the cells of rows Bc and Bd that each order stands in."""


@pytest.mark.parametrize("order", CELLS)
def test_orders_stand_in_the_cells_of_the_matrix_that_table_1_names(order):
    """A and b of an order are those of its cells, as Bc12, Bd8 for the exclusive order."""
    c, d = CELLS[order]
    assert (MATRIX["Bc"][c - 1], MATRIX["Bd"][d - 1]) == ORDERS[order]


def test_the_matrix_goes_down_to_its_published_ends():
    """A down to 0.05 m, b to 0.002, features to 0.05 m; 14, 10 and 14 columns (7.6)."""
    assert [len(row) for row in MATRIX.values()] == [14, 10, 14]
    assert [row[-1] for row in MATRIX.values()] == [0.05, 0.002, 0.05]
    assert all(list(row) == sorted(row, reverse=True) for row in MATRIX.values())


@pytest.mark.parametrize(
    ("feature_m", "cell"), [(2.0, "Be5"), (1.0, "Be6"), (0.5, "Be9")], ids=["1a", "special", "excl"]
)
def test_features_of_the_orders_stand_in_their_cells(feature_m, cell):
    """Cubes of 2, 1 and 0.5 m, which table 1 puts into Be5, Be6 and Be9, with half of it a cell."""
    assert feature_shown(0.1, feature_m / 2)["feature_cell"] == cell
    assert feature_shown(feature_m, 0.05)["feature_cell"] == cell


@pytest.mark.parametrize(
    ("depth", "u95", "cell"),
    [
        (0.0, 0.05, "Bc14, Bd10"),
        (0.0, 0.0501, "Bc13, Bd10"),
        (10.0, float(np.hypot(0.1, 10 * 0.004)), "Bc13, Bd9"),
        (10.0, float(np.hypot(0.1, 10 * 0.0075)), "Bc13, Bd8"),
        (10.0, float(np.hypot(0.15, 10 * 0.0075)), "Bc12, Bd8"),
        (3.0, 0.3001, "Bc9, Bd9"),
    ],
)
def test_the_finest_cells_that_an_uncertainty_meets(depth, u95, cell):
    """By hand: √(a² + (b d)²) of the named cells is just kept, that of the next finer ones not."""
    tally = Tally()
    tally.add(np.full(100, depth), np.full(100, u95 / 1.96))
    assert tally.finest()["matrix_cell"] == cell


def test_nineteen_of_twenty_cells_must_keep_a_limit():
    """At 95 of 100 cells within a = 0.05 m it is kept, at 94 it isn't."""
    for good, a_m in ((95, 0.05), (94, 0.2)):
        tally = Tally()
        tally.add(np.zeros(100), np.where(np.arange(100) < good, 0.02, 0.1))
        assert tally.finest()["matrix_a_m"] == a_m


def test_counted_orders_are_those_of_the_formula():
    """Shares of cells within each order, counted by class, are those of the formula."""
    rng = np.random.default_rng(3)
    depth, sd = rng.uniform(-1, 12, 5000), rng.uniform(0.0, 0.4, 5000)
    tally = Tally()
    for part in np.array_split(np.arange(5000), 7):
        tally.add(depth[part], sd[part])
    for row in tally.orders():
        assert row["share"] == (1.96 * sd <= tvu_max(depth, row["order"])).mean()
    middle = np.median(depth)
    np.testing.assert_allclose(tally.figures()["depth_m"], middle, atol=5.1e-4)
