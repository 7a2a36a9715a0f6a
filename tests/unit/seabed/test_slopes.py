"""Gradients: of the plane through a neighbourhood, strip by strip, and of lone cells."""

import numpy as np
import pytest

from wrackline.seabed.slopes import SLOPE_MARGIN, SlopeSums, plane_gradient


def gappy(seed, share):
    rng = np.random.default_rng(seed)
    height = rng.normal(size=(40, 31)).cumsum(axis=0) * 0.05
    height[rng.random(height.shape) < share] = np.nan
    return height


def by_least_squares(height, cell_m, row, column):
    """Return the gradient of numpy's least-squares plane through the 5 × 5 cells around a cell."""
    part = np.pad(height, 2, constant_values=np.nan)[row : row + 5, column : column + 5]
    down, right = np.nonzero(np.isfinite(part))
    design = np.column_stack([right - 2.0, 2.0 - down, np.ones(len(down))]) * [cell_m, cell_m, 1]
    return np.linalg.lstsq(design, part[down, right], rcond=None)[0][:2]


def test_gradients_are_those_of_the_least_squares_plane():
    """Everywhere but across single lines of cells, which have no plane, numpy's plane is met."""
    height = gappy(1, 0.5)
    east, north = plane_gradient(height, 0.5)
    checked = 0
    for row, column in np.argwhere(np.isfinite(height)):
        part = np.isfinite(height)[max(row - 2, 0) : row + 3, max(column - 2, 0) : column + 3]
        places = np.argwhere(part) - np.argwhere(part).mean(axis=0)
        if len(places) > 3 and np.linalg.svd(places)[1][-1] > 1:
            found = east[row, column], north[row, column]
            expected = by_least_squares(height, 0.5, row, column)
            np.testing.assert_allclose(found, expected, atol=1e-7)
            checked += 1
    assert checked > 500


@pytest.mark.parametrize("rows", [1, 6, 17])
def test_strips_with_their_margin_give_the_same_bytes(rows):
    """Gradients read strip by strip are those of the whole to the last bit."""
    height = gappy(2, 0.8)
    whole = plane_gradient(height, 0.5, lone_slope=0.3)
    padded = np.pad(height, SLOPE_MARGIN, constant_values=np.nan)
    for top in range(0, len(height), rows):
        strip = plane_gradient(padded[top : top + rows + 2 * SLOPE_MARGIN], 0.5, lone_slope=0.3)
        for one, part in zip(whole, strip, strict=True):
            inner = part[SLOPE_MARGIN:-SLOPE_MARGIN, SLOPE_MARGIN:-SLOPE_MARGIN]
            np.testing.assert_array_equal(inner, one[top : top + rows])


def test_a_lone_cell_is_as_steep_as_all_others_together():
    """Left to itself it gets their root mean square, as sums over strips give it too."""
    height = gappy(3, 0.3)
    height[5:18] = np.nan
    height[11, 15] = 2.0
    east, north = plane_gradient(height, 0.5)
    others = np.isfinite(east)
    others[11, 15] = False
    square = (east**2 + north**2)[others].mean()
    np.testing.assert_allclose([east[11, 15], north[11, 15]], np.sqrt(square / 2))
    found = []
    for turn in (1, -1):
        sums = SlopeSums()
        for part in np.array_split(np.arange(40), 5)[::turn]:
            sums.add(*(g[part] for g in plane_gradient(height, 0.5, lone_slope=np.nan)))
        found.append(sums.lone_slope())
    assert found[0] == found[1]
    np.testing.assert_allclose(found[0], np.sqrt(square), rtol=1e-6)


def test_nothing_known_has_no_slope():
    """A surface of gaps gives gaps, and no steepness."""
    east, north = plane_gradient(np.full((3, 4), np.nan), 1.0)
    assert np.isnan(east).all()
    assert np.isnan(north).all()
    assert SlopeSums().lone_slope() == 0.0
