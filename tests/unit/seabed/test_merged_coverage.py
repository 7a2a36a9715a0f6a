"""Merged surfaces of simulated sets of surveys: stated 95 % intervals hold the true seabed."""

import sys
from pathlib import Path

import pytest
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "benchmarks"))

from merged_coverage import KINDS, Sets, cases, cell_scores, held, median_scores

CASES = tuple(cases("random"))
QUICK = {
    ("two", "patchy"),
    ("three", "mixed"),
    ("two, one source shared", "named"),
    ("three, one source shared", "mixed"),
    ("at a feathered seam", "random"),
    ("three at a feathered seam", "mixed"),
    ("coarse and fine", "named"),
    ("seasons, change stated", "mixed"),
    ("seasons, change unknown", "named"),
}
ALL = [
    pytest.param(case, kind, marks=() if (case, kind) in QUICK else pytest.mark.slow)
    for case in CASES
    for kind in KINDS
]
ROOMS = [
    pytest.param(case, kind, marks=() if case in ("three", "coarse and fine") else pytest.mark.slow)
    for case in CASES
    for kind in ("mixed",)
    if case != "seasons at a feathered seam"  # the bed of two dates has no one median
]

WIDER = {"coarse and fine": 0.01, "coarse at a feathered seam": 0.01}
"""How much more may hold it: the relief that a coarse survey can't show is estimated."""


@pytest.mark.parametrize(("case", "kind"), ALL)
def test_intervals_of_merged_cells_hold_the_true_seabed(case, kind):
    """One cell each of 1,089 independent sets: in 93 to 97 %, as a binomial of 95 % does."""
    sets = Sets(33)
    share = held(cell_scores(*cases(kind)[case], sets, 5))
    low, high = binom.ppf([0.0005, 0.9995], sets.across**2, 0.95) / sets.across**2
    assert max(low, 0.93) <= share <= min(high, 0.97) + WIDER.get(case, 0.0)


@pytest.mark.parametrize(("case", "kind"), ROOMS)
def test_intervals_of_medians_on_merged_surfaces_hold_the_true_median(case, kind):
    """One room each of 225 independent sets: at least as often as a binomial of 95 % allows."""
    share = held(median_scores(*cases(kind)[case], Sets(15), 6))
    assert share >= binom.ppf(0.002, 225, 0.95) / 225
