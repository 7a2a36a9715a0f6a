"""Slope and light, on surfaces whose answer is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrackline.seabed.relief import hillshade, horn_gradient, shade_around, slope_deg


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


def test_light_from_four_sides_shows_banks_in_every_direction():
    """Wherever a bank of 45° runs, a side of it differs from level ground by a tenth of the greys.

    A single light leaves banks that run along it no darker on one side than on the other.
    """
    turn = np.radians(np.arange(0, 360, 5))
    east, north = np.sin(turn), np.cos(turn)
    sides = np.abs(np.stack([shade_around(east, north), shade_around(-east, -north)]) - 181)
    assert sides.max(axis=0).min() > 25
    assert np.abs(hillshade(east, north) - hillshade(-east, -north)).min() < 1


def test_light_from_four_sides_is_unknown_where_the_ground_is():
    """A gap has no light, and level ground the light of one lamp: 1 + 254 sin 45°, rounded."""
    found = shade_around(np.array([np.nan, 0.0]), np.array([0.0, 0.0]))
    np.testing.assert_array_equal(found, [np.nan, 181])
