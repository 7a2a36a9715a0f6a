"""Reduction of total-station and level readings against figures from outside.

Each is from memory of surveying handbooks or worked by hand, as said beside it.
"""

import numpy as np
import pytest

from wrackline.crs import grid_factors
from wrackline.fit.levelling import allowed_misclosure, page_check, reduce_run
from wrackline.fit.stations import (
    Sights,
    curvature_and_refraction,
    fit_setup,
    mean_of_faces,
    reduce_slope,
)

NAN = np.nan


@pytest.mark.parametrize("length_km", [0.1, 0.5, 1.0, 3.0])
def test_curvature_and_refraction_of_the_handbooks(length_km):
    """Handbooks give 0.0673 K² m for K km, refraction one seventh of curvature (from memory)."""
    computed = curvature_and_refraction(np.array([1000 * length_km]), 1 / 7)[0]
    assert computed == pytest.approx(0.0673 * length_km**2, rel=2e-3)


def test_curvature_alone_of_the_handbooks():
    """Curvature without refraction is 0.0785 K² m (from memory)."""
    assert curvature_and_refraction(np.array([1000.0]), 0.0)[0] == pytest.approx(0.0785, abs=5e-5)


def test_refraction_coefficient_of_gauss():
    """With Gauss's coefficient of 0.13 a sight of 1 km rises by 0.0683 m (computed by hand)."""
    by_hand = 0.87 * 1000**2 / (2 * 6_371_000)
    assert curvature_and_refraction(np.array([1000.0]))[0] == pytest.approx(by_hand)
    assert by_hand == pytest.approx(0.0683, abs=5e-5)


def test_level_distance_and_rise_of_a_right_triangle():
    """A slope of 50 m with 3-4-5 sides is 40 m level and 30 m up, but for 0.1 mm of curvature."""
    level, rise = reduce_slope(np.array([50.0]), np.array([np.arctan2(4, 3)]))
    np.testing.assert_allclose([level[0], rise[0]], [40.0, 30.0], atol=3e-4)


def test_two_faces_by_the_field_book():
    """The field book's own way (worked by hand): mean of I and II - 180; (I + 360 - II) / 2.

    Circle 45 30 10 and 225 30 16 give 45 30 13; zenith 88 15 20 and 271 44 30 give 88 15 25.
    """

    def deg(d, m, s):
        return np.array([d + m / 60 + s / 3600])

    circle, zenith, apart = mean_of_faces(
        (deg(45, 30, 10), deg(88, 15, 20)), (deg(225, 30, 16), deg(271, 44, 30))
    )
    np.testing.assert_allclose(np.degrees(circle), deg(45, 30, 13))
    np.testing.assert_allclose(np.degrees(zenith), deg(88, 15, 25))
    assert np.degrees(apart[0]) * 3600 == pytest.approx(10)


def test_a_circle_reading_beside_north_is_averaged_across_it():
    """Faces of 359 59 58 and 180 00 02 average to 0, not to 180 (worked by hand)."""
    first = (np.array([360 - 2 / 3600]), np.array([90.0]))
    circle, _, _ = mean_of_faces(first, (np.array([180 + 2 / 3600]), np.array([270.0])))
    assert np.cos(circle[0]) == pytest.approx(1.0)


def test_three_point_resection_on_a_square():
    """From a square's centre its corners lie 90 degrees apart; three directions give it back."""
    corners = np.array([[100.0, 100.0], [300, 100], [300, 300]])
    seen = Sights(
        corners,
        np.full(3, 1e-6),
        np.radians([0.0, 270.0, 180.0]),
        np.full(3, NAN),
        np.full(3, NAN),
        np.full(3, NAN),
    )
    setup = fit_setup(seen, None, 0.001)
    np.testing.assert_allclose(setup.x[:2], [200, 200], atol=1e-6)
    assert np.degrees(setup.x[2]) % 360 == pytest.approx(225)


def test_grid_scale_of_utm():
    """UTM's scale is 0.9996 (1 + d² / 2R²) at d from the central meridian (from memory)."""
    scale = grid_factors("EPSG:32625", np.array([324_400.0]), np.array([4_207_600.0]))[1][0]
    assert scale == pytest.approx(0.9996 * (1 + 175_600**2 / (2 * 6_371_000**2)), abs=3e-6)


def test_a_level_book_by_height_of_instrument():
    """A book of two turning points, worked by hand by height of instrument, and its page check.

    100.000 + 1.325 = 101.325; 101.325 - 2.100 = 99.225; 101.325 - 1.005 = 100.320;
    100.320 + 2.450 = 102.770; 102.770 - 0.870 = 101.900; 101.900 + 0.645 = 102.545;
    102.545 - 2.545 = 100.000: sums 4.420 - 4.420 = 0.
    """
    back = np.array([1.325, NAN, 2.450, 0.645, NAN])
    middle = np.array([NAN, 2.100, NAN, NAN, NAN])
    fore = np.array([NAN, NAN, 1.005, 0.870, 2.545])
    run = reduce_run(100.0, back, middle, fore)
    np.testing.assert_allclose(run.height, [100.0, 99.225, 100.320, 101.900, 100.0])
    assert run.setup.tolist() == [0, 1, 1, 2, 3]
    assert page_check(back, fore, run.height) == pytest.approx(0.0, abs=1e-12)


def test_rise_and_fall_gives_the_same_heights():
    """Rise and fall, summed from reading to reading, is the same arithmetic (common practice)."""
    back = np.array([0.870, NAN, 1.500, NAN])
    middle = np.array([NAN, 1.200, NAN, NAN])
    fore = np.array([NAN, NAN, 1.330, 0.950])
    rises = [0.870 - 1.200, 1.200 - 1.330, 1.500 - 0.950]
    heights = reduce_run(50.0, back, middle, fore).height
    np.testing.assert_allclose(heights, 50.0 + np.cumsum([0.0, *rises]))


@pytest.mark.parametrize(("length_km", "limit_m"), [(1.0, 0.012), (4.0, 0.024), (0.25, 0.006)])
def test_third_order_misclosure(length_km, limit_m):
    """Third-order levelling closes within 12 mm times the root of the kilometres (from memory)."""
    assert allowed_misclosure(10, length_km, 0.0, 0.0) == pytest.approx(limit_m)
