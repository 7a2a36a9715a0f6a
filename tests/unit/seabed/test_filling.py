"""Gaps: filled from what lies near, up to the distance, with an sd that tells what it is worth."""

import numpy as np
import pytest
import scipy.linalg
from scipy.interpolate import LinearNDInterpolator, RBFInterpolator
from scipy.ndimage import distance_transform_edt
from scipy.spatial import ConvexHull, Delaunay
from scipy.stats import binom

from wrackline.seabed import neighbours
from wrackline.seabed.fill import fill_gaps, margin_cells
from wrackline.seabed.roughness import Roughness, RoughnessSums

SIDE = 36


def gappy(seed, share=0.3, shape=(20, 25)):
    rng = np.random.default_rng(seed)
    height = rng.normal(size=shape).cumsum(axis=0).cumsum(axis=1) * 0.01
    height[rng.random(shape) < share] = np.nan
    return height


def noise_of(height, variance):
    return np.where(np.isfinite(height), variance, np.nan)


def rough_of(height, *, distance=1.5, random=0.0, **patchy):
    sums = RoughnessSums(1.0, 2 * distance, **patchy)
    sums.add(height, noise_of(height, random))
    return sums.model()


def fill(height, *, distance=1.5, random=0.0, own=0.0, rough="its own"):
    return fill_gaps(
        height,
        noise_of(height, random),
        np.full_like(height, own),
        cell_m=1.0,
        distance_m=distance,
        rough=rough_of(height, distance=distance, random=random) if rough == "its own" else rough,
    )


def test_a_plane_is_filled_without_error():
    """Kriging with a linear drift takes a plane as it is, and its sd says so."""
    y, x = np.mgrid[0:15, 0:15].astype(float)
    plane = -3 + 0.2 * x - 0.1 * y
    holed = plane.copy()
    holed[np.random.default_rng(1).random(plane.shape) < 0.4] = np.nan
    filled = fill(holed)
    known = np.isfinite(filled.height)
    np.testing.assert_allclose(filled.height[known], plane[known], atol=1e-7)
    np.testing.assert_allclose(filled.random[known], 0.0, atol=1e-6)
    assert known.sum() > np.isfinite(holed).sum()


def by_the_book(places, heights, noise, covariance):
    """Solve for the mean, the slopes and what the heights tell beyond them, by least squares.

    Weights of the heights are the top rows of the inverse of [K + N, F; Fᵀ, 0] (Chilès and Delfiner
    2012, Geostatistics, 4.6), from memory; the inverse here is scipy's, in metres and unscaled.
    """
    apart = np.linalg.norm(places[:, None] - places, axis=2)
    drift = np.column_stack([np.ones(len(places)), places])
    system = np.block([[covariance(apart) + np.diag(noise), drift], [drift.T, np.zeros((3, 3))]])
    right = np.concatenate([covariance(np.linalg.norm(places, axis=1)), [1.0, 0.0, 0.0]])
    solved = scipy.linalg.solve(system, right)
    return solved[: len(places)] @ heights, -(solved @ right)


def test_a_filled_cell_is_that_of_the_kriging_system():
    """Height and variance of a gap's middle are those that scipy's solver gives for its system."""
    height = gappy(5, share=0.0, shape=(9, 9))
    height[4, 4] = np.nan
    rough = Roughness((3.0,), (0.001, 0.02, 0.0, 1e-5))
    filled = fill(height, distance=1.0, random=0.003, rough=rough)
    away = np.indices(height.shape).reshape(2, -1).T - 4
    nearest = np.argwhere((abs(away).max(axis=1) <= 1) & (abs(away).sum(axis=1) > 0))[:, 0]
    second = [(0, 2), (2, 0), (0, -2), (-2, 0), (1, 2), (2, -1), (-1, -2), (-2, 1)]
    places = np.vstack([away[nearest], second])
    at = tuple((places + 4).T)
    noise = np.full(16, 0.003 + 1e-8)
    expected = by_the_book(places.astype(float), height[at], noise, rough.covariance)
    np.testing.assert_allclose((filled.height[4, 4], filled.random[4, 4]), expected, rtol=1e-6)


def test_neighbours_are_the_nearest_two_of_each_sector():
    """Row by row search finds what a look at all cells finds, sector by sector."""
    measured = np.isfinite(gappy(9, share=0.7, shape=(41, 41)))
    z = np.where(measured, 0.0, np.nan)
    near = neighbours._nearest_in_row(z)
    at, reach = np.empty((neighbours.MOST, 2), dtype=np.int64), 9
    for row, column in [(20, 20), (3, 30), (40, 0), (17, 39)]:
        n = neighbours._neighbours(near, row, column, reach, at)
        down, right = (np.argwhere(measured) - (row, column)).T
        square = down**2 + right**2
        sector = np.floor(np.round(np.arctan2(-down, right) / (np.pi / 4), 9)).astype(int) % 8
        close = (square <= reach**2) & (square > 0)
        wanted = [sorted(square[close & (sector == k)])[:2] for k in range(8)]
        found = [int(s) for s in (at[:n] ** 2).sum(axis=1)]
        assert sorted(found) == sorted(int(s) for part in wanted for s in part)


@pytest.mark.parametrize("distance", [0.0, 1.0, 1.5, 3.0])
def test_nothing_is_filled_beyond_the_distance_nor_outside(distance):
    """Each filled cell lies within the distance of a measured one, none outside their hull."""
    height = np.full((20, 40), np.nan)
    height[5:15, 5:12] = gappy(3, share=0.1, shape=(10, 7))
    height[5:15, 25:32] = gappy(4, share=0.1, shape=(10, 7))
    filled = fill(height, distance=distance, rough=rough_of(height, distance=3.0))
    new = np.isfinite(filled.height) & ~np.isfinite(height)
    away = distance_transform_edt(~np.isfinite(height))
    assert (away[new] <= distance + 1e-9).all()
    np.testing.assert_array_equal(filled.distance_m[new], away[new])
    assert new.any() == (distance > 0)
    measured = np.argwhere(np.isfinite(height))
    hull = Delaunay(measured[ConvexHull(measured).vertices])
    assert (hull.find_simplex(np.argwhere(new)) >= 0).all()
    assert not np.isfinite(filled.height[:5]).any()
    assert not np.isfinite(filled.height[:, :5]).any()


def test_measured_cells_are_left_as_they_are():
    """Filling touches gaps alone; the file's own variance goes over to them."""
    height = gappy(6)
    filled = fill(height, random=0.01, own=0.04)
    known = np.isfinite(height)
    np.testing.assert_array_equal(filled.height[known], height[known])
    np.testing.assert_array_equal(filled.random[known], 0.01)
    np.testing.assert_array_equal(filled.distance_m[known], 0.0)
    np.testing.assert_allclose(filled.own, 0.04)


def test_too_few_cells_fill_nothing():
    """Where nothing tells how the seabed varies, no sd could be had, so nothing is filled."""
    height = np.full((5, 5), np.nan)
    height[0, 0], height[2, 2], height[0, 4], height[4, 4], height[4, 0] = 1.0, 2.0, 3.0, 2.0, 1.0
    assert rough_of(height) is None
    filled = fill(height, distance=3.0)
    np.testing.assert_array_equal(filled.height, height)
    told = fill(height, distance=3.0, rough=Roughness((), (0.1, 0.0, 0.0)))
    assert np.isfinite(told.height).sum() > 5


def test_a_single_line_of_cells_surrounds_nothing():
    """Soundings in one line tell no slope across it: nothing is filled, nothing fails."""
    height = np.full((5, 80), np.nan)
    height[2, np.arange(80) % 4 < 2] = np.arange(40.0)
    filled = fill(height, distance=2.0, rough=Roughness((), (0.1, 0.0, 0.0)))
    np.testing.assert_array_equal(filled.height, height)


def test_a_cell_on_a_wall_does_not_lift_what_is_filled_beside_it():
    """Between sounding lines that cross a wall, gaps stay within 5 cm of the bed."""
    rng = np.random.default_rng(8)
    row, column = np.indices((60, 61))
    bed = 0.02 * column + rng.normal(0, 0.01, row.shape)
    height = np.where(abs(row - 30) < 1, bed + 0.6, bed)
    height[column % 6 != 0] = np.nan
    filled = fill(height, distance=3.0, random=1e-4)
    new = np.isnan(height) & (abs(row - 30) > 1) & np.isfinite(filled.height)
    assert np.abs(filled.height - 0.02 * column)[new].max() < 0.05
    assert np.isfinite(filled.height[27:34, 6:55]).all()


@pytest.mark.parametrize("rows", [1, 7, 30])
def test_strips_with_their_margin_give_the_same_bytes(rows):
    """Filled strip by strip, with `margin_cells` around, the survey is the same to the last bit."""
    height = gappy(12, share=0.6, shape=(61, 70))
    height[25:33, 20:31] = np.nan
    distance, random = 3.0, noise_of(height, 0.002)
    rough, margin = rough_of(height, distance=distance, random=0.002), margin_cells(1.0, distance)
    whole = fill(height, distance=distance, random=0.002, rough=rough)
    padded = [np.pad(band, margin, constant_values=np.nan) for band in (height, random)]
    for top in range(0, len(height), rows):
        part = slice(top, top + rows + 2 * margin)
        strip = fill_gaps(
            padded[0][part],
            padded[1][part],
            0 * padded[0][part],
            cell_m=1.0,
            distance_m=distance,
            rough=rough,
        )
        inner = slice(margin, margin + min(rows, len(height) - top)), slice(margin, -margin)
        for name in ("height", "random", "distance_m"):
            expected = getattr(whole, name)[top : top + rows]
            np.testing.assert_array_equal(getattr(strip, name)[inner], expected)


def thin_plate(places, heights):
    return RBFInterpolator(places, heights, neighbors=32, kernel="thin_plate_spline")


LIBRARIES = {"triangles": (LinearNDInterpolator, 0.8), "thin plate": (thin_plate, 1.1)}
"""Interpolators of scipy, and the part of their RMSE that ours stays below."""
BEDS = {
    "ramp": lambda x, y: 0.04 * x - 0.015 * y,
    "dome": lambda x, y: 2.0 * np.exp(-((x - 30) ** 2 + (y - 30) ** 2) / 1600),
}


@pytest.mark.parametrize("library", LIBRARIES)
@pytest.mark.parametrize("bed", BEDS)
@pytest.mark.parametrize("lines", [True, False], ids=["lines", "holes"])
def test_noisy_beds_are_filled_beside_library_interpolators(bed, library, lines):
    """Held-out lines and blocks: RMSE below 0.8 of triangles', at most a tenth above thin plates'.

    `tests/benchmarks/filling.py` prints the whole comparison.
    """
    interpolator, part = LIBRARIES[library]
    row, column = np.indices((60, 60))
    truth = BEDS[bed](column, row)
    height = truth + np.random.default_rng(10).normal(0, 0.02, truth.shape)
    height[(column % 8 != 4) if lines else (row % 16 < 8) & (column % 16 < 8)] = np.nan
    filled = fill(height, distance=5.0, random=4e-4).height
    known, gaps = np.argwhere(np.isfinite(height)), np.argwhere(np.isnan(height))
    other = interpolator(known.astype(float), height[tuple(known.T)])(gaps.astype(float))
    at = tuple(gaps[np.isfinite(other) & np.isfinite(filled[tuple(gaps.T)])].T)
    theirs = np.full(height.shape, np.nan)
    theirs[tuple(gaps.T)] = other
    ours, scipys = (np.sqrt(np.mean((z - truth)[at] ** 2)) for z in (filled, theirs))
    assert len(at[0]) > 500
    assert ours < part * scipys


def roots_of_fields():
    """Return square roots of the covariance of a bed and of patchy errors, (n_cells, n_cells).

    The bed's covariance is exponential with a range of 6 cells, that of patchy errors spherical
    with 16 cells.
    """
    places = np.argwhere(np.ones((SIDE, SIDE))).astype(float)
    apart = np.linalg.norm(places[:, None] - places, axis=2)
    share = np.minimum(apart / 16, 1.0)
    beds = np.exp(-apart / 6), 1 - 1.5 * share + 0.5 * share**3
    return [np.linalg.cholesky(c + 1e-9 * np.eye(len(places))) for c in beds]


PATTERNS = {
    "lines": lambda row, column, rng: column % 5 != 2,
    "holes": lambda row, column, rng: (row % 8 < 4) & (column % 8 < 4),
    "scattered": lambda row, column, rng: rng.random(row.shape) < 0.4,
}


def held_by_interval(surveys, seed):
    """Simulate surveys; return for each whether one filled cell's 95 % interval holds the truth.

    Bed sd 0.10 m on a slope; random errors 0.05 m, patchy 0.04 m, a named shift of 0.03 m.
    """
    rng = np.random.default_rng(seed)
    bed_root, patch_root = roots_of_fields()
    beds = 0.10 * rng.normal(size=(surveys, SIDE**2)) @ bed_root.T
    patches = 0.04 * rng.normal(size=(surveys, SIDE**2)) @ patch_root.T
    row, column = np.indices((SIDE, SIDE))
    margin = margin_cells(1.0, 2.5)
    held = np.zeros(surveys, dtype=bool)
    for i in range(surveys):
        slope = rng.normal(0, 0.05, 2)
        truth = beds[i].reshape(row.shape) + slope[0] * row + slope[1] * column
        height = truth + patches[i].reshape(row.shape) + rng.normal(0, 0.05, row.shape)
        height += rng.normal(0, 0.03)
        height[list(PATTERNS.values())[i % 3](row, column, rng)] = np.nan
        rough = rough_of(
            height, distance=2.5, random=0.0025, patchy_sd_m=0.04, patchy_distance_m=16.0
        )
        gaps = np.argwhere(np.isnan(height[margin:-margin, margin:-margin])) + margin
        y, x = gaps[rng.integers(len(gaps))]
        part = slice(y - margin, y + margin + 1), slice(x - margin, x + margin + 1)
        filled = fill(height[part], distance=2.5, random=0.0025, rough=rough)
        sd = np.sqrt(filled.random[margin, margin] + 0.04**2 + 0.03**2)
        held[i] = abs(filled.height[margin, margin] - truth[y, x]) <= 1.96 * sd
    return held


@pytest.mark.parametrize(
    "surveys", [300, pytest.param(1000, marks=pytest.mark.slow)], ids=["quick", "1,000"]
)
def test_intervals_of_filled_cells_hold_the_true_seabed(surveys):
    """Over simulated surveys that tell their bed's roughness themselves, 93-97 % of intervals hold.

    One filled cell a survey. The bounds are wider by what 99 of 100 binomial counts stay within.
    """
    held = int(held_by_interval(surveys, seed=2031).sum())
    assert binom.ppf(0.005, surveys, 0.93) <= held <= binom.ppf(0.995, surveys, 0.97)
