"""Slope, hillshade, contours and waterlines, on surfaces whose answer is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrackline.model import SeaLevel
from wrackline.rasters import Grid
from wrackline.seabed.contours import contour_heights, contours, waterlines
from wrackline.seabed.relief import hillshade, horn_gradient, slope_deg

LEVEL = SeaLevel(name="msl", height_m=0.1, sd_m=0.0)


def grid_of(shape, cell=1.0):
    return Grid((500_000.0, 4_700_000.0), cell, 0, 0, shape[1], shape[0])


@settings(max_examples=30, derandomize=True, database=None)
@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0.05, 10))
def test_planes_have_their_own_gradient_inside_and_none_at_borders(east, north, cell):
    """Horn's operator is exact on planes; borders are unknown."""
    x, y = np.meshgrid(np.arange(6.0), np.arange(5.0)[::-1])
    found = horn_gradient((east * x + north * y) * cell, cell)
    np.testing.assert_allclose(found[0][1:-1, 1:-1], east, atol=1e-9)
    np.testing.assert_allclose(found[1][1:-1, 1:-1], north, atol=1e-9)
    assert np.isnan(found[0]).sum() == 30 - 12


def test_a_gap_takes_the_nine_cells_around_it_along():
    """No slope is made up beside a gap."""
    height = np.zeros((7, 7))
    height[3, 3] = np.nan
    assert np.isnan(horn_gradient(height, 1.0)[0][1:-1, 1:-1]).sum() == 9


@pytest.mark.parametrize("shape", [(1, 1), (2, 5), (5, 2)])
def test_surfaces_below_three_cells_have_no_slope(shape):
    """There is no neighbourhood to take it from, and no failure either."""
    assert np.isnan(horn_gradient(np.zeros(shape), 1.0)[0]).all()


def test_level_ground_and_walls_facing_the_light():
    """Level ground 181; full light 255 on a slope of 45° facing north-west; shade is 1."""
    east, north = np.array([0.0, np.sqrt(0.5), -9.0]), np.array([0.0, -np.sqrt(0.5), 9.0])
    np.testing.assert_array_equal(hillshade(east, north), [181, 255, 1])
    np.testing.assert_allclose(slope_deg(east[:2], north[:2]), [0, 45])


def test_contours_of_a_plane_are_straight_and_in_place():
    """On a plane rising 0.1 per metre eastward, the contour of −1 m lies where it must."""
    grid = grid_of((10, 40))
    height = np.tile(-3.05 + 0.1 * np.arange(40), (10, 1))
    drawn = contours(height, grid, step_m=0.5, level=LEVEL, crs="EPSG:32633")
    assert drawn["height_m"].tolist() == [-3.0, -2.5, -2.0, -1.5, -1.0, -0.5, 0.0, 0.5]
    np.testing.assert_allclose(drawn["depth_m"], 0.1 - drawn["height_m"], atol=1e-9)
    for row in drawn.itertuples():
        x = np.asarray(row.geometry.coords)[:, 0] - 500_000
        np.testing.assert_allclose(x, 0.5 + (row.height_m + 3.05) / 0.1, atol=1e-6)
        np.testing.assert_allclose(row.geometry.length, 9.0)


def test_contours_end_where_the_surface_does():
    """A strip without soundings cuts each contour in two, none crosses it."""
    height = np.tile(0.1 * np.arange(20.0)[:, None], (1, 21))
    height[:, 10] = np.nan
    drawn = contours(height, grid_of(height.shape), step_m=0.5, level=LEVEL, crs="EPSG:32633")
    assert drawn["height_m"].value_counts().eq(2).all()
    sides = drawn.geometry.bounds[["minx", "maxx"]] - 500_000
    assert ((sides["maxx"] <= 9.5 + 1e-9) | (sides["minx"] >= 11.5 - 1e-9)).all()


def test_a_basin_has_closed_contours_of_the_right_radius():
    """The waterline of a bowl is a ring with the circle's length, within the cell's chord."""
    y, x = np.mgrid[-30:31, -30:31] * 1.0
    bowl = (x**2 + y**2) / 100 - 4
    level = SeaLevel(name="old", height_m=0.0)
    drawn = waterlines(
        bowl,
        grid_of(bowl.shape),
        levels=[level, SeaLevel(name="high", height_m=99.0)],
        crs="EPSG:32633",
    )
    assert drawn["sea_level"].tolist() == ["old"]
    (ring,) = drawn.geometry
    assert ring.is_ring
    np.testing.assert_allclose(ring.length, 2 * np.pi * 20, rtol=2e-3)


def test_nothing_known_draws_nothing_and_keeps_the_columns():
    """Empty surfaces, and levels that the surface doesn't reach, give empty tables."""
    empty = np.full((4, 4), np.nan)
    drawn = contours(empty, grid_of((4, 4)), step_m=0.5, level=LEVEL, crs="EPSG:32633")
    assert (len(drawn), list(drawn.columns)) == (0, ["height_m", "depth_m", "geometry"])
    drawn = waterlines(np.zeros((1, 9)), grid_of((1, 9)), levels=[LEVEL], crs="EPSG:32633")
    assert (len(drawn), list(drawn.columns)) == (0, ["sea_level", "height_m", "geometry"])
    assert drawn.crs.to_epsg() == 32633


def test_contour_heights_are_round_numbers():
    """Multiples of 0.1 come out as 0.3, not as 0.30000000000000004."""
    assert contour_heights(np.array([[0.25, 0.45]]), 0.1).tolist() == [0.3, 0.4]
    assert contour_heights(np.array([[-0.04, 0.04]]), 0.1).tolist() == [0.0]
