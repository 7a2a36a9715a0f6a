"""The second design of the joining, which the benchmarks measure: its programme and its rooms."""

import sys
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
from broken_walls import MAKERS, make
from chosen_at_once import Programme, rooms_by
from room_score import score
from town_model import Damage


@pytest.mark.parametrize("seed", range(5))
def test_programme_is_solved_to_the_optimum(seed):
    """No other of all 1,024 sets gains more and keeps to the rows (each of them was tried)."""
    rng = np.random.default_rng(seed)
    gain = rng.uniform(-1, 3, 10)
    rows = (rng.random((8, 10)) < 0.25).astype(float)
    rows[0, :2] = 1, -1
    rows, bound = rows[rows.any(axis=1)], np.ones(8)[rows.any(axis=1)]
    bound[0] = 0
    best = Programme(gain, sparse.csr_matrix(rows), bound).solved()
    every = np.array(list(product((0, 1), repeat=10)))
    kept = (every @ rows.T <= bound).all(axis=1)
    assert (rows @ best <= bound).all()
    assert gain @ best == pytest.approx((every @ gain)[kept].max(), abs=1e-9)


def test_both_designs_find_rooms():
    """On a small town most rooms come back whichever design chooses, and rounds find no fewer."""
    town = make("own towns", 8, 2001)
    drawn = MAKERS["own towns"][1](town, Damage(), 2001)
    rounds, at_once = (
        score(town.spaces, rooms_by(design, drawn)[0], 0.1).f1 for design in ("rounds", "at once")
    )
    assert rounds >= at_once >= 0.8
