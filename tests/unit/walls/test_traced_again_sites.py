"""Simulated houses traced in two or three seasons: intervals, gain, and who is accused."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

from traced_again import KINDS, accused, areas, found_displaced, places

pytestmark = pytest.mark.slow

HOUSES = 400
"""A right interval of 95 % then holds 93 to 97 % in 94 of 100 seeds (binomial, sd 1.1 %)."""


@pytest.mark.parametrize("seasons", [2, 3])
@pytest.mark.parametrize("kind", KINDS)
def test_the_interval_of_a_merged_wall_holds_the_truth(kind, seasons):
    """For each kind of error, and all together; and the mean is nearer than the better tracing."""
    got = places(kind, HOUSES, 1, seasons)
    assert 0.93 <= got.within <= 0.97
    assert got.rmse_m < 0.95 * got.alone_m


@pytest.mark.parametrize("follows", ["face", "centre"])
def test_the_interval_of_a_room_inside_merged_walls_holds_its_area(follows):
    """Three tracings, errors of every kind, thickness in doubt where centres were traced."""
    z = areas(HOUSES, 2, follows)
    assert 0.93 <= (np.abs(z) <= 1.96).mean() <= 0.97


def test_few_sites_name_a_wall_where_none_disagrees():
    """At a level of 5 % of sites; of 100 right ones over 9 would name one in 3 of 100 seeds."""
    assert accused(100, 3) <= 0.09


def test_a_displaced_wall_is_named():
    """One wall of four, 5 sd of its offset off: chance of staying unseen under 1 in 100."""
    hit, wrong = found_displaced(60, 4, 5.0)
    assert hit >= 0.95
    assert wrong <= 0.2
