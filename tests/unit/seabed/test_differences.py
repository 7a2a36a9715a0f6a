"""Differences of two seasons: signs, what cancels, and levels of detection."""

import numpy as np
import pytest
from changed import grid_of, level, surface

from wrackline.seabed.differences import common_grid, difference, level_of_detection
from wrackline.uncertainty import NamedError

FLAT = np.full((12, 14), -3.0)
EAST = np.tile(np.arange(14) * 0.1, (12, 1))


def of(earlier, later):
    return difference(earlier, later, common_grid(earlier, later))


def test_what_came_is_above_zero():
    """Later minus earlier, cell by cell; unknown where either is."""
    later = FLAT + 0.25
    later[0, 0] = np.nan
    found = of(surface(FLAT), surface(later))
    assert np.isnan(found.height[0, 0])
    assert found.only[0][0, 0]
    np.testing.assert_allclose(found.height.ravel()[1:], 0.25)


def test_the_published_level_of_detection():
    """Two models of 0.10 m each: 0.277 m at 95 %.

    t √(σ₁² + σ₂²): Brasington et al. 2003, doi:10.1016/S0169-555X(02)00320-3, and Lane et al. 2003,
    doi:10.1002/esp.483; the number is computed from the formula, as recalled.
    """
    old, new = level("2031-a", 0.10), level("2032-b", 0.10)
    found = of(surface(FLAT, old), surface(FLAT, new))
    np.testing.assert_allclose(1.96 * found.sd, 0.27719, atol=5e-6)
    assert level_of_detection([0.1, 0.1], 1.0) == pytest.approx(0.1414, abs=5e-5)


def test_a_source_common_to_both_seasons_cancels():
    """A level shift named in both models leaves the difference; another one stays."""
    mark, own = NamedError("mark:height", "height", 0.2), NamedError("boat:height", "height", 0.03)
    old, new = level("2031-a", named=(mark,)), level("2032-b", named=(mark, own))
    np.testing.assert_allclose(of(surface(FLAT, old), surface(FLAT, new)).sd, 0.03)
    other = level("2032-b", named=(NamedError("other:height", "height", 0.2),))
    np.testing.assert_allclose(of(surface(FLAT, old), surface(FLAT, other)).sd, 0.2 * np.sqrt(2))


def test_a_common_displacement_cancels_only_where_the_slopes_are_alike():
    """A shift east common to both moves the difference by the change of slope alone."""
    shift = (NamedError("mark:easting", "easting", 0.5),)
    old, new = level("2031-a", named=shift), level("2032-b", named=shift)
    assert np.abs(of(surface(EAST, old), surface(EAST + 1, new)).named["mark:easting"]).max() < 1e-9
    effect = of(surface(FLAT, old), surface(EAST, new)).named["mark:easting"]
    np.testing.assert_allclose(effect, -0.05, atol=1e-9)


def test_all_causes_stand_in_the_sd():
    """Random, patchy (with the slope) and a file's own uncertainty add by squares."""
    new = level("2032-b", 0.03, patchy_vertical=0.04, patchy_horizontal=0.5, patchy_distance=9.0)
    found = of(surface(EAST, level("2031-a")), surface(EAST, new, sd_rest=0.12))
    parts = 0.03**2 + 0.04**2 + (0.5 * 0.1) ** 2 + 0.12**2
    np.testing.assert_allclose(found.sd, np.sqrt(parts))


def test_surfaces_that_do_not_meet_have_no_grid_in_common():
    """Two rasters side by side."""
    far = grid_of(12, 14)
    far = type(far)(far.origin, 1.0, 100, 0, 114, 12)
    assert common_grid(surface(FLAT), surface(FLAT, grid=far)) is None
