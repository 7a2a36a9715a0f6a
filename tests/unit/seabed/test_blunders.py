"""Blunders among soundings: found, listed and named, while walls keep their edges."""

import numpy as np
import pytest
from scipy.stats import binom
from sims import gridded, is_listed, passes, town, town_rmse

from wrackline.seabed.gridding import Settings
from wrackline.seabed.surface_kinds import STRUCTURE
from wrackline.uncertainty import ErrorModel

MULTIBEAM = ErrorModel("2031-swath", 0.06, 0.04)
PHOTOGRAPHS = ErrorModel("2031-photo", 0.02, 0.03)
CASES = {"multibeam": (MULTIBEAM, 200, 0.2), "photographs": (PHOTOGRAPHS, 1200, 0.07)}


@pytest.fixture(scope="module")
def rng():
    return np.random.default_rng(41)


@pytest.mark.parametrize("case", CASES)
def test_single_blunders_are_found_and_good_points_stay(case):
    """At least 99 % found, at most 0.1 % of good points lost, RMSE within 5 % of clean data's."""
    model, per_m2, cell_m = CASES[case]
    xyz, blunder = passes(np.random.default_rng(42), per_m2, model, side=24.0)
    done = gridded(xyz, model, Settings(cell_m, 0.0))
    clean = gridded(xyz[blunder == 0], model, Settings(cell_m, 0.0))
    listed = is_listed(done, xyz)
    wrong, good = int((blunder > 0).sum()), int((blunder == 0).sum())
    assert listed[blunder > 0].sum() >= binom.ppf(0.001, wrong, 0.99)
    assert listed[blunder == 0].sum() <= binom.ppf(0.999, good, 0.001)
    assert town_rmse(done) <= 1.05 * town_rmse(clean)


def test_sparse_soundings_lose_no_wall(rng):
    """With a point in every fifth cell what stands up to 1.5 m may be a wall; all else is found."""
    xyz, blunder = passes(rng, 0.2, MULTIBEAM, side=180.0, number=1)
    done = gridded(xyz, MULTIBEAM, Settings(1.0, 0.0))
    listed, off = is_listed(done, xyz), xyz[:, 2] - town(*xyz[:, :2].T)
    sure = (blunder > 0) & ((off < -1.0) | (off > 2.0))
    assert listed[sure].sum() >= binom.ppf(0.001, sure.sum(), 0.99)
    assert listed[blunder == 0].sum() <= binom.ppf(0.999, (blunder == 0).sum(), 0.001)
    assert not listed[(off > 0) & (off < 1.0)].any()


@pytest.mark.parametrize("case", ["multibeam", "photographs"])
def test_walls_of_a_course_keep_their_edges(case):
    """Beside walls 0.3 m high the surface is as good as one from which nothing was set aside."""
    model, per_m2, cell_m = CASES[case]
    xyz, blunder = passes(np.random.default_rng(43), per_m2, model, side=24.0)
    done = gridded(xyz, model, Settings(cell_m, 0.0))
    plain = gridded(xyz[blunder == 0], model, Settings(cell_m, 0.0, structure_max_m=None))
    assert town_rmse(done, near_walls=True) <= 1.05 * town_rmse(plain, near_walls=True)
    assert (done.bands["surface"] == STRUCTURE).any()


@pytest.mark.parametrize("seed", [7, 8])
def test_blocks_of_one_pass_are_named_and_leave_the_seabed(seed):
    """Discs of one pass 0.5 to 5 m off: each is named, and the surface is as without them."""
    xyz, block = passes(np.random.default_rng(seed), 200, MULTIBEAM, blocks=True)
    done = gridded(xyz, MULTIBEAM, Settings(0.2, 0.0))
    clean = gridded(xyz[block == 0], MULTIBEAM, Settings(0.2, 0.0))
    named = np.array([[0.2 * one.column, 0.2 * one.row] for one in done.blocks])
    for number in np.unique(block[block > 0]):
        middle = xyz[block == number, :2].mean(axis=0)
        assert np.linalg.norm(named - middle, axis=1).min() < 1.2
    assert town_rmse(done) <= 1.05 * town_rmse(clean)


def test_a_block_says_how_far_off_it_was_and_how_many_points(rng):
    """A shoal 2 m above the bed over 1.5 m: one block above, by 2 m, its points counted."""
    xyz, _ = passes(rng, 200, MULTIBEAM, share=0.0)
    shoal = (np.hypot(*(xyz[:, :2] - [15, 15]).T) < 1.5) & (np.arange(len(xyz)) % 2 == 0)
    xyz[shoal, 2] += 2.0
    done = gridded(xyz, MULTIBEAM, Settings(0.2, 0.0))
    (block,) = done.blocks
    assert block.kind == "above"
    np.testing.assert_allclose(block.offset_m, 2.0, atol=0.05)
    np.testing.assert_allclose(block.points, shoal.sum(), rtol=0.05)
    np.testing.assert_allclose([0.2 * block.column, 0.2 * block.row], 15, atol=0.2)
    assert np.isfinite(done.bands["canopy"]).sum() > 0.8 * np.pi * 1.5**2 / 0.04


def test_late_echoes_below_the_bed_are_told_by_what_lies_around(rng):
    """A block below the bed is set aside too, though the lower of two layers is the usual bed."""
    xyz, _ = passes(rng, 200, MULTIBEAM, share=0.0)
    late = (np.hypot(*(xyz[:, :2] - [15, 15]).T) < 1.5) & (np.arange(len(xyz)) % 2 == 0)
    clean = town_rmse(gridded(xyz[~late], MULTIBEAM, Settings(0.2, 0.0)))
    xyz[late, 2] -= 1.5
    done = gridded(xyz, MULTIBEAM, Settings(0.2, 0.0))
    (block,) = done.blocks
    assert block.kind == "below"
    assert town_rmse(done) <= 1.05 * clean


def test_a_lone_block_beyond_any_structure_is_set_aside_and_a_quay_is_not(rng):
    """Nothing but a shoal was seen there: set aside beyond structure_max_m; a quay goes on."""
    xyz, _ = passes(rng, 200, MULTIBEAM, share=0.0)
    shoal = np.hypot(*(xyz[:, :2] - [15, 3]).T) < 0.8
    xyz[shoal, 2] += 2.5
    quay = xyz[:, 1] > 25
    xyz[quay, 2] += 3.0
    done = gridded(xyz, MULTIBEAM, Settings(0.2, 0.0))
    (block,) = done.blocks
    assert (block.layers, block.kept) == (1, False)
    row = done.grid.north - 1 - int(3 / 0.2)
    assert np.isnan(done.bands["height"][row, int(15 / 0.2) - done.grid.west])
    assert done.bands["rejected"][row, int(15 / 0.2) - done.grid.west] > 0
    assert np.isfinite(done.bands["height"][2:20, 2:-2]).mean() > 0.99


def test_a_low_lone_block_stands_as_a_structure(rng):
    """A heap 1 m high that only its own points show can't be told from a ruin: it stays."""
    xyz, _ = passes(rng, 200, MULTIBEAM, share=0.0)
    heap = np.hypot(*(xyz[:, :2] - [15, 3]).T) < 0.8
    xyz[heap, 2] += 1.0
    done = gridded(xyz, MULTIBEAM, Settings(0.2, 0.0))
    assert done.blocks == []
    at = done.grid.north - 1 - int(3 / 0.2), int(15 / 0.2) - done.grid.west
    assert done.bands["surface"][at] == STRUCTURE


def test_nothing_is_rejected_when_the_config_says_so(rng):
    """Where blunders aren't looked for every point is seabed, and no middle is told."""
    xyz, _ = passes(rng, 50, MULTIBEAM)
    done = gridded(xyz, MULTIBEAM, Settings(0.5, 0.0, structure_max_m=None))
    assert np.nansum(done.bands["count"]) == len(xyz)
    assert len(done.lone) == 0
    assert np.isnan(done.bands["middle"]).all()


def test_too_few_points_to_judge_are_kept():
    """Four soundings that disagree are four soundings."""
    xyz = np.array([[0.5, 0.5, 0.0], [1.5, 0.5, 3.0], [0.5, 1.5, -2.0], [1.5, 1.5, 0.5]])
    done = gridded(xyz, MULTIBEAM, Settings(1.0, 0.0))
    assert np.nansum(done.bands["count"]) == 4


def level_ground(rng, side=6.0, per_m2=12):
    """Return points of level ground at -4 m."""
    xyz = np.column_stack([rng.uniform(0, side, (int(per_m2 * side**2), 2)), np.zeros(432)])
    xyz[:, 2] = -4 + rng.normal(0, 0.02, len(xyz))
    return xyz


@pytest.mark.parametrize("apart_m", [0.1, 1.0])
def test_two_blunders_do_not_bear_each_other_out(rng, apart_m):
    """Two points 2 m up, in one cell or in neighbouring ones, are no witness for each other."""
    xyz = level_ground(rng)
    pair = np.array([[3.4, 3.4, -2.0], [3.4 + apart_m, 3.4, -2.0]])
    inside = (np.floor(xyz[:, :2]) == 3).all(axis=1) | (np.floor(xyz[:, :2]) == [4, 3]).all(axis=1)
    few = np.flatnonzero(inside)[10:] if apart_m < 1 else np.flatnonzero(inside)
    xyz = np.concatenate([np.delete(xyz, few, axis=0), pair])
    done = gridded(xyz, MULTIBEAM, Settings(1.0, 0.0))
    assert is_listed(done, xyz)[-2:].all()
    assert len(done.lone) == 2


def test_a_rock_s_flank_is_no_block(rng):
    """A cone 3 m high and 3 m wide, small enough for a shoal, rises step by step: it stays."""
    xyz, _ = passes(rng, 200, MULTIBEAM, share=0.0)
    away = np.hypot(*(xyz[:, :2] - [15, 4]).T)
    xyz[:, 2] += 3.0 * np.maximum(1 - away / 1.5, 0.0)
    done = gridded(xyz, MULTIBEAM, Settings(0.2, 0.0))
    assert done.blocks == []
    at = done.grid.north - 1 - int(4 / 0.2), int(15 / 0.2) - done.grid.west
    np.testing.assert_allclose(done.bands["height"][at], town(15.1, 4.1) + 2.7, atol=0.3)


def test_a_block_does_not_bend_the_ground_beside_it(rng):
    """Cells around late echoes 3 m down have the heights that they have without them."""
    xyz, _ = passes(rng, 200, MULTIBEAM, share=0.0)
    late = (np.hypot(*(xyz[:, :2] - [15, 4]).T) < 1.0) & (np.arange(len(xyz)) % 2 == 0)
    clean = gridded(xyz[~late], MULTIBEAM, Settings(0.2, 0.0))
    xyz[late, 2] -= 3.0
    done = gridded(xyz, MULTIBEAM, Settings(0.2, 0.0))
    both = done.grid.intersection(clean.grid)
    east, north = np.meshgrid(*both.centres())
    beside = np.abs(np.hypot(east - 15, north - 4) - 1.2) < 0.5
    first, second = (one.bands["height"][one.grid.window(both)] for one in (done, clean))
    assert np.nanmax(np.abs(first - second)[beside]) < 0.03
