"""Uncertainties of volumes of change, as the US Geological Survey printed them.

It applied Anderson 2019 (Earth Surf. Process. Landforms 44, 1015-1033, doi:10.1002/esp.4551) to
repeat surveys of a reservoir's deltas. Inputs and figures are those that the notebook of the
repository jlogan-usgs/whiskeytown-dem-differencing prints: cells of 0.25 m, 682,640 of them, σ_rms
0.11584754 m, sill 0.0071469 m², range 2.3546 m, σ_sys 0.104254974 m. The systematic figure is
printed as it stands, the others times 1.96. Its mean correlated figure, 9.3576e-05 m, multiplies by
L² where eq. 14 divides; divided it is 0.00149722 m.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit" / "seabed"))

from changed import level, surface

from wrackline.seabed.change_sums import Sums
from wrackline.seabed.differences import difference
from wrackline.uncertainty import NamedError

ROWS, COLUMNS, CELL_M = 805, 848, 0.25  # 682,640 cells
RMS_M, SILL_M2, RANGE_M, SYSTEMATIC_M = 0.11584754, 0.0071469, 2.3546, 0.104254974
K = 1.96


@pytest.fixture(scope="module")
def total():
    """Return the sum of all cells' differences, with its budget."""
    model = level(
        "2032-b",
        RMS_M,
        patchy_vertical=SILL_M2**0.5,
        patchy_distance=RANGE_M,
        named=(NamedError("system:height", "height", SYSTEMATIC_M),),
    )
    flat = np.zeros((ROWS, COLUMNS))
    earlier, later = surface(flat, cell_m=CELL_M), surface(flat, model, cell_m=CELL_M)
    sums = Sums(earlier.grid)
    for part in earlier.grid.strips(100_000):
        whole = (slice(0, part.shape[0]), slice(0, part.shape[1]))
        sums.add(difference(earlier, later, part), np.ones(part.shape, bool), whole)
    return sums


def test_the_random_part_of_a_volume(total):
    """Eqs 11 and 12: √n L² σ and σ / √n."""
    assert K * total.total(CELL_M**2).budget.random == pytest.approx(11.725159819775277, rel=1e-9)
    cells = ROWS * COLUMNS
    mean = K * total.total(1 / cells).budget.random
    assert mean == pytest.approx(0.00027481916839974867, rel=1e-9)


def test_the_systematic_part_of_a_volume(total):
    """Eq. 19: n L² σ_sys; printed as 4448.038."""
    named = total.total(CELL_M**2).budget.named["system:height"]
    assert named == pytest.approx(4448.038, abs=5e-4)


def test_the_correlated_part_of_a_volume(total):
    """Eq. 16: 0.79 a √n L σ_sc, 0.79 being √(π / 5) rounded; the ground's rim lessens it."""
    found = K * total.total(CELL_M**2).budget.patchy
    assert found == pytest.approx(63.66416245931655, rel=0.01)
    exact = K * np.sqrt(np.pi / 5 * SILL_M2 * ROWS * COLUMNS) * RANGE_M * CELL_M
    assert exact == pytest.approx(63.879, abs=5e-4)
    assert 0.98 * exact < found < exact


def test_the_correlated_part_of_a_mean(total):
    """Eq. 14, the notebook's slip mended: 0.00149722 m."""
    found = K * total.total(1 / (ROWS * COLUMNS)).budget.patchy
    assert found == pytest.approx(0.00149722, rel=0.01)
