"""Published worked examples of projections: coordinates, convergence and scale.

Flinders Peak and Buninyong: worked example of the GDA technical manual (Transverse Mercator on
GRS80; also printed for GDA2020). Snyder: USGS Professional Paper 1395, p. 269. Annex C: Ordnance
Survey, A Guide to Coordinate Systems in Great Britain. Guidance note: IOGP 373-07-02 (September
2019), Transverse Mercator, pp. 54-55. Numbers were read in stored public copies and recomputed
with pyproj 3.7.2, PROJ 9.5.1.
"""

import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod, Transformer

from wrackline.crs import grid_factors, transformer
from wrackline.rooms.view import azimuth

ZONE_54, ZONE_55 = "EPSG:28354", "EPSG:28355"
FLINDERS, BUNINYONG, BUNINYONG_55 = (
    (273741.297, 5796489.777),
    (758173.797, 5828674.340),
    (228854.051, 5828259.038),
)
SNYDER = "+proj=tmerc +lat_0=0 +lon_0=-75 +k=0.9996 +ellps=clrk66 +units=m"


def degrees(whole, minutes, seconds):
    """Return degrees from degrees, minutes and seconds, all positive."""
    return whole + minutes / 60 + seconds / 3600


def factors(crs, place):
    """Return convergence [degrees] and scale at one place."""
    convergence, scale = grid_factors(crs, np.array([place[0]]), np.array([place[1]]))
    return float(convergence[0]), float(scale[0])


@pytest.mark.parametrize(
    ("zone", "place", "convergence", "scale"),
    [
        (ZONE_55, FLINDERS, degrees(1, 35, 3.65), 1.00023056),
        (ZONE_54, BUNINYONG, -degrees(1, 47, 19.36), 1.00042107),
    ],
)
def test_convergence_and_scale_of_the_manual(zone, place, convergence, scale):
    """Both are as printed, but for the sign: the manual's convergence is the other way round."""
    found = factors(zone, place)
    np.testing.assert_allclose(found[0], convergence, atol=0.005 / 3600)
    np.testing.assert_allclose(found[1], scale, atol=5e-9)


def test_sign_of_convergence():
    """West of the central meridian, in the south, grid north lies east of true north: positive."""
    assert factors(ZONE_55, FLINDERS)[0] > 0
    assert factors("EPSG:32633", (687472.806, 4763381.752))[0] > 0  # east of it, in the north
    assert factors("EPSG:32633", (312527.194, 4763381.752))[0] < 0


def test_true_azimuth_from_a_grid_bearing():
    """The grid bearing from Flinders Peak to Buninyong gives the azimuth, to 0.01 seconds."""
    bearing = degrees(305, 17, 1.72)
    convergence, _ = factors(ZONE_55, FLINDERS)
    found = azimuth(np.radians(90 - bearing), convergence, 360.0)
    np.testing.assert_allclose(found, degrees(306, 52, 5.37), atol=0.01 / 3600)


def test_scale_along_the_line():
    """Simpson's mean of the scale along the line is the manual's line scale factor."""
    middle = tuple(np.mean([FLINDERS, BUNINYONG_55], axis=0))
    ends = [factors(ZONE_55, place)[1] for place in (FLINDERS, middle, BUNINYONG_55)]
    line_scale = float(np.dot(ends, [1, 4, 1])) / 6
    np.testing.assert_allclose(line_scale, 1.00036397, atol=1e-8)
    np.testing.assert_allclose(54992.279 / line_scale, 54972.271, atol=0.001)


@pytest.mark.parametrize(
    ("source", "target", "place", "expected", "tolerance_m"),
    [
        (
            "EPSG:4283",
            ZONE_55,
            (degrees(144, 25, 29.52440), -degrees(37, 57, 3.72030)),
            FLINDERS,
            0.0006,
        ),
        (
            "EPSG:4277",
            "EPSG:27700",
            (degrees(1, 43, 4.5177), degrees(52, 39, 27.2531)),
            (651409.903, 313177.270),
            0.001,
        ),
        # printed to centimetres; exact formulas give 577274.984, 69740.492
        ("EPSG:4277", "EPSG:27700", (0.5, 50.5), (577274.99, 69740.50), 0.012),
        ("+proj=longlat +ellps=clrk66", SNYDER, (-73.5, 40.5), (127106.5, 4484124.4), 0.06),
    ],
    ids=["GDA manual", "Annex C", "guidance note 7-2", "Snyder"],
)
def test_coordinates_as_printed(source, target, place, expected, tolerance_m):
    """The project's transformations give the printed eastings and northings."""
    operation = transformer(CRS(source), CRS(target), survey="2031-walls", file="walls.gpkg")
    np.testing.assert_allclose(operation.transform(*place), expected, atol=tolerance_m)


def test_scale_of_snyder():
    """The scale factor of Snyder's example is as printed, 0.9997989."""
    np.testing.assert_allclose(factors(SNYDER, (127106.467, 4484124.434))[1], 0.9997989, atol=5e-8)


@pytest.mark.parametrize(
    ("crs", "place", "convergence", "scale"),
    [
        ("EPSG:32633", (687472.806, 4763381.752), 1.569052, 1.00003238),
        ("EPSG:3765", (565226.403, 4762554.181), 0.545618, 0.99995232),
    ],
)
def test_one_place_in_two_grids(crs, place, convergence, scale):
    """At 43 N 17.3 E two grids turn by a degree and scale by 80 ppm apart.

    Not published: computed with pyproj 3.7.2, PROJ 9.5.1, and kept against a change.
    """
    found = factors(crs, place)
    np.testing.assert_allclose(found[0], convergence, atol=5e-7)
    np.testing.assert_allclose(found[1], scale, atol=5e-9)
    back = Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(*place)
    np.testing.assert_allclose(back, (17.3, 43.0), atol=1e-8)


def test_ground_area_is_grid_area_over_scale_squared():
    """At Flinders Peak k² is 1.00046117, and a square of 100 m has that much less ground."""
    square = shapely.box(-50, -50, 50, 50)
    corners = shapely.get_coordinates(square) + FLINDERS
    back = Transformer.from_crs(ZONE_55, "EPSG:4283", always_xy=True)
    ground, _ = Geod(ellps="GRS80").polygon_area_perimeter(*back.transform(*corners.T))
    scale = factors(ZONE_55, FLINDERS)[1]
    np.testing.assert_allclose(scale**2, 1.00046117, atol=5e-9)
    np.testing.assert_allclose(1e4 / scale**2, abs(ground), rtol=1e-8)


def test_scale_of_a_grid_that_is_not_conformal():
    """Of an equal-area grid the scale is 1 everywhere: areas there are ground areas already."""
    convergence, scale = grid_factors("EPSG:3035", np.array([4.0e6, 5.0e6]), np.array([2.6e6, 3e6]))
    np.testing.assert_allclose(scale, 1.0, atol=1e-9)
    assert convergence[0] < 0 < convergence[1]
