"""Roughness of a seabed: from second differences, strip by strip."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from wrackline.seabed.roughness import OUTLYING, Roughness, RoughnessSums, huber_square


def sums_of(height, random=0.0, *, reach=4.0, rows=None):
    sums = RoughnessSums(1.0, reach)
    for top in range(0, len(height), rows or len(height)):
        part = height[top : top + (rows or len(height))]
        sums.add(part, np.where(np.isfinite(part), random, np.nan))
    return sums


def test_a_random_walk_has_the_variance_of_its_steps():
    """z(−h) − 2 z(0) + z(h) of a sum of independent steps of variance s² is 2 h s²."""
    walk = np.random.default_rng(2).normal(0, 0.1, (200, 400)).cumsum(axis=1)
    walk = np.where(np.arange(200)[:, None] % 9 == 0, walk, np.nan)  # rows apart
    found = sums_of(walk).model().second_difference(np.array([1.0, 2.0, 4.0]))
    np.testing.assert_allclose(found, [0.02, 0.04, 0.08], rtol=0.1)


def test_noise_level_and_slope_are_left_out():
    """A noisy slope isn't rough: noise is known and taken off, second differences know no slope."""
    x = np.tile(np.arange(200.0), (200, 1))
    noisy = 0.3 * x - 0.1 * x.T + np.random.default_rng(3).normal(0, 0.1, x.shape)
    model = sums_of(noisy, random=0.01).model()
    assert model.second_difference(np.array([1.0, 4.0])).max() < 6 * 0.01 * 0.05
    assert model.noise_share > 0.95


def test_noise_that_can_not_be_there_is_taken_as_alike_in_neighbours():
    """Where 0.1 m is stated and 0.02 m is seen, a 25th of the variance differs between cells."""
    smooth = np.random.default_rng(4).normal(0, 0.02, (150, 150))
    share = sums_of(smooth, random=0.01).model().noise_share
    np.testing.assert_allclose(share, 0.04, rtol=0.1)


def test_patchy_errors_are_no_roughness():
    """A level bed measured with patchy errors of 0.1 m, alike over 20 cells, is told as smooth."""
    places = np.argwhere(np.ones((30, 30))).astype(float)
    apart = np.linalg.norm(places[:, None] - places, axis=2)
    share = np.minimum(apart / 20, 1.0)
    root = np.linalg.cholesky(1 - 1.5 * share + 0.5 * share**3 + 1e-9 * np.eye(900))
    rng = np.random.default_rng(9)
    told = [RoughnessSums(1.0, 4.0), RoughnessSums(1.0, 4.0, patchy_sd_m=0.1, patchy_distance_m=20)]
    for _ in range(40):
        bed = 0.1 * (root @ rng.normal(size=900)).reshape(30, 30)
        for sums in told:
            sums.add(np.pad(bed, ((0, 20), (0, 0)), constant_values=np.nan), np.zeros((50, 30)))
    step = np.array([1.0, 2.0, 4.0])
    plain, taken_off = (sums.model().second_difference(step) for sums in told)
    assert (taken_off < 0.1 * plain).all()


def test_walls_do_not_make_a_bed_rough():
    """Walls on a twentieth of a level bed add little to what its cells differ by."""
    rng = np.random.default_rng(5)
    bed = rng.normal(0, 0.02, (200, 200))
    walls = bed + 0.6 * (np.arange(200) % 40 < 2)
    step = np.array([2.0])
    plain, walled = (sums_of(z).model().second_difference(step)[0] for z in (bed, walls))
    assert plain < walled < 4 * plain
    squares = (walls[:, :-4] - 2 * walls[:, 2:-2] + walls[:, 4:]) ** 2
    assert squares.mean() > 20 * plain


@pytest.mark.parametrize("rows", [1, 5, 64])
def test_where_strips_are_cut_leaves_no_trace(rows):
    """The same survey cut otherwise gives the same model, bit by bit."""
    rng = np.random.default_rng(6)
    height = rng.normal(size=(97, 60)).cumsum(axis=0) * 0.05
    height[rng.random(height.shape) < 0.3] = np.nan
    random = 0.001
    assert sums_of(height, random, rows=rows).model() == sums_of(height, random).model()


def test_fewer_than_thirty_differences_tell_nothing():
    """Of 27 differences no model comes, of 36 one does."""
    assert sums_of(np.arange(29.0)[None] % 3, reach=1.0)._classes.sum() >= 30
    few = np.full((1, 200), np.nan)
    few[0, :27] = np.arange(27.0) % 2
    short = RoughnessSums(1.0, 1.0)
    short.add(few[:, :9], 0 * few[:, :9])
    assert short._classes.sum() < 30
    assert short.model() is None


def test_huber_scale_of_classes_is_that_of_the_values():
    """Scale from counted classes and Huber's equation solved over the values agree within 2 %."""
    values = np.random.default_rng(7).standard_t(2, 20_000) * 300
    square, cut = values**2, OUTLYING**2
    normal = (np.minimum(norm.ppf((np.arange(1e6) + 0.5) / 1e6) ** 2, cut)).mean()
    wanted = brentq(lambda s: np.minimum(square / s, cut).mean() - normal, 1.0, 1e9)
    share, octave = np.frexp(np.rint(abs(values)))
    number = octave * 32 + ((2 * share - 1) * 32).astype(int)
    classes = np.bincount(np.where(np.rint(abs(values)) > 0, number, 0), minlength=1280)
    np.testing.assert_allclose(huber_square(classes), wanted, rtol=0.02)


def test_parts_are_generalised_covariances_of_order_one():
    """Any weights without level and slope, which sum to 0, give a variance of at least 0."""
    rng = np.random.default_rng(8)
    places = rng.uniform(0, 20, (12, 2))
    drift = np.column_stack([np.ones(12), places])
    free = np.linalg.svd(drift.T)[2][3:]
    apart = np.linalg.norm(places[:, None] - places, axis=2)
    for number in range(4):
        part = Roughness((3.0,), tuple(float(k == number) for k in range(4)))
        variances = np.linalg.eigvalsh(free @ part.covariance(apart) @ free.T)
        assert variances.min() > 0
