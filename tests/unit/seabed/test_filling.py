"""Gaps: filled by triangles, up to the distance, with an sd that tells what it is worth."""

import numpy as np
import pytest
from scipy.ndimage import binary_dilation, distance_transform_edt
from scipy.spatial import cKDTree

from wrackline.seabed.fill import RANGES, _triangles, fill_gaps, roughness


def gappy(seed, share=0.3, shape=(20, 25)):
    rng = np.random.default_rng(seed)
    height = rng.normal(size=shape).cumsum(axis=0).cumsum(axis=1) * 0.01
    height[rng.random(shape) < share] = np.nan
    return height


def fill(height, *, distance=1.5, cell=1.0, random=0.0):
    noise = np.where(np.isfinite(height), random, np.nan)
    return fill_gaps(height, noise, np.zeros_like(height), cell_m=cell, distance_m=distance)


def test_a_plane_is_filled_without_error():
    """Linear interpolation of a plane is exact, and its sd says so."""
    y, x = np.mgrid[0:15, 0:15].astype(float)
    plane = -3 + 0.2 * x - 0.1 * y
    holed = plane.copy()
    holed[np.random.default_rng(1).random(plane.shape) < 0.4] = np.nan
    height, random, _ = fill(holed)
    known = np.isfinite(height)
    np.testing.assert_allclose(height[known], plane[known], atol=1e-12)
    np.testing.assert_allclose(random[known], 0.0, atol=1e-9)
    assert known.sum() > np.isfinite(holed).sum()


def test_triangles_of_the_rim_hold_no_other_measured_cell():
    """No measured cell lies within the circle through a triangle's corners (Delaunay 1934)."""
    measured = np.isfinite(gappy(9, share=0.5, shape=(30, 30)))
    measured[10:14, 8:19] = False
    rim = np.argwhere(measured & binary_dilation(~measured, np.ones((3, 3), dtype=bool)))
    targets = np.argwhere(~measured)
    corners, weights, inside = _triangles(rim, targets)
    np.testing.assert_allclose((weights[..., None] * rim[corners]).sum(axis=1), targets[inside])
    first, second, third = np.moveaxis(rim[corners].astype(float), 1, 0)
    sides = 2 * np.stack([second - first, third - first], axis=1)
    squares = (second**2).sum(1) - (first**2).sum(1), (third**2).sum(1) - (first**2).sum(1)
    centre = np.linalg.solve(sides, np.stack(squares, axis=1)[..., None])[..., 0]
    radius = np.linalg.norm(first - centre, axis=1)
    nearest = cKDTree(np.argwhere(measured)).query(centre)[0]
    np.testing.assert_allclose(nearest, radius, atol=1e-9)
    assert inside.sum() > 300


@pytest.mark.parametrize("distance", [0.0, 1.0, 1.5, 3.0])
def test_nothing_is_filled_beyond_the_distance_nor_outside(distance):
    """Each filled cell lies within the distance of a measured one, none outside their hull."""
    height = np.full((20, 40), np.nan)
    height[5:15, 5:12] = gappy(3, share=0.1, shape=(10, 7))
    height[5:15, 25:32] = gappy(4, share=0.1, shape=(10, 7))
    filled, *_ = fill(height, distance=distance)
    new = np.isfinite(filled) & ~np.isfinite(height)
    away = distance_transform_edt(~np.isfinite(height))
    assert (away[new] <= distance + 1e-9).all()
    assert new.any() == (distance > 0)
    assert not np.isfinite(filled[:5]).any()
    assert not np.isfinite(filled[:, :5]).any()


def test_measured_cells_are_left_as_they_are():
    """Filling touches gaps alone."""
    height = gappy(6)
    filled, random, _ = fill(height, random=0.01)
    known = np.isfinite(height)
    np.testing.assert_array_equal(filled[known], height[known])
    np.testing.assert_array_equal(random[known], 0.01)


def test_too_few_cells_fill_nothing():
    """Where nothing tells how the seabed varies, no sd could be had, so nothing is filled."""
    height = np.full((5, 5), np.nan)
    height[0, 0], height[2, 2], height[0, 4] = 1.0, 2.0, 3.0
    filled, *_ = fill(height, distance=3.0)
    np.testing.assert_array_equal(filled, height)


def test_a_single_line_of_cells_has_no_triangles():
    """Soundings in one line span no triangle: nothing is filled, nothing fails."""
    height = np.full((5, 60), np.nan)
    height[2, ::2] = np.arange(30.0)
    filled, *_ = fill(height, distance=2.0)
    np.testing.assert_array_equal(filled, height)


def test_roughness_is_that_of_a_random_walk():
    """A sum of independent steps of variance s² per cell has γ(d) = s² d / 2."""
    walk = np.random.default_rng(2).normal(0, 0.1, (200, 400)).cumsum(axis=1)
    walk = np.where(np.arange(200)[:, None] % 6 == 0, walk, np.nan)  # rows apart
    line, *curved = roughness(walk, np.zeros_like(walk), cell_m=1.0, reach_m=4.0)
    at_three = 3 * line + sum(c * (1 - np.exp(-3 / r)) for c, r in zip(curved, RANGES, strict=True))
    np.testing.assert_allclose(at_three, 0.015, rtol=0.1)


def test_roughness_leaves_noise_and_slope_out():
    """A noisy plane isn't rough: noise is known and taken off, slope goes into the square."""
    x = np.tile(np.arange(200.0), (200, 1))
    noisy = 0.3 * x + np.random.default_rng(3).normal(0, 0.1, x.shape)
    found = roughness(noisy, np.full(x.shape, 0.01), cell_m=1.0, reach_m=4.0)
    assert found.max() < 2e-4


def field(count, shape, reach, seed):
    """Return random surfaces with exponential correlation, shape (count, *shape), sd 1 m."""
    places = np.argwhere(np.ones(shape)).astype(float)
    apart = np.linalg.norm(places[:, None] - places, axis=2)
    root = np.linalg.cholesky(np.exp(-apart / reach) + 1e-9 * np.eye(len(places)))
    rng = np.random.default_rng(seed)
    return (rng.normal(size=(count, len(places))) @ root.T).reshape(count, *shape)


@pytest.mark.parametrize("wide", [1, 2, 3], ids=["1 cell", "2 cells", "3 cells"])
def test_intervals_of_filled_cells_hold_the_true_seabed(wide):
    """Over 300 rough seabeds with noise and a gap, 95 % intervals hold the truth in 93-97 %.

    The bounds are wider by 2.6 binomial standard deviations of 300 trials (1.26 %).
    """
    truths = field(300, (16, 18), 6.0, seed=wide)
    rng = np.random.default_rng(100 + wide)
    held = 0
    for truth in truths:
        measured = truth + rng.normal(0, 0.1, truth.shape)
        measured[:, 8 : 8 + wide] = np.nan
        height, random, _ = fill(measured, distance=2.0, random=0.01)
        at = 8, 8 + wide // 2
        held += abs(height[at] - truth[at]) <= 1.96 * np.sqrt(random[at])
    assert 0.93 - 2.6 * 0.0126 <= held / 300 <= 0.97 + 2.6 * 0.0126
