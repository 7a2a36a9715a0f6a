"""Published worked examples of areas, through the figure that floors and footprints rest on.

Mahun, Open Access Surveying Library, Traverse Computations, ch. G (numbers read in a stored public
copy and recomputed). Planimeter(1), examples of the GeographicLib manual page (likewise). The
shoelace example of encyclopaedias, and ST_Area of the PostGIS manual, are from memory; arithmetic
reproduces their printed digits.
"""

import numpy as np
import pytest
import shapely

from wrackline.demo.facts import Ground
from wrackline.rooms.figures import area
from wrackline.walls.planar import node

US_FOOT_M = 1200 / 3937

MAHUN_1 = [(500.000, 2000.000), (323.614, 1561.426), (526.996, 1488.321), (719.336, 1686.956)]
MAHUN_P1 = [
    (1541.207, 2215.890),
    (1373.915, 2336.574),
    (1299.818, 2350.205),
    (1343.189, 2523.212),
    (1569.360, 2359.080),
]
MAHUN_P2 = [(600.000, 1000.000), (254.542, 1209.288), (97.543, 566.876), (470.303, 397.969)]
# The traverse A to F that the parcel A, C, F, E of problem 2 was cut from crosses itself.
MAHUN_P2_B, MAHUN_P2_D = (569.612, 1293.788), (463.631, 766.846)
SHOELACE = [(1, 6), (3, 1), (7, 2), (4, 4), (8, 5)]
POSTGIS = [(743238, 2967416), (743238, 2967450), (743265, 2967450), (743265.625, 2967416)]


def sides(corners):
    """Return the sides of a polygon, shape (n, 2, 2)."""
    start = np.asarray(corners, dtype=float)
    return np.stack([start, np.roll(start, -1, axis=0)], axis=1)


def area_of(corners):
    """Return the signed area by `wrackline.rooms.figures.area`, anticlockwise positive."""
    edges = sides(corners)
    return area(edges, np.arange(len(edges)), np.ones(len(edges))).value


def swapped(corners):
    """Return (east, north) from the (north, east) that the textbook prints."""
    return [(east, north) for north, east in corners]


@pytest.mark.parametrize(
    ("corners", "expected", "tolerance"),
    [
        (swapped(MAHUN_1), 102935.7, 0.1),
        (swapped(MAHUN_P1), 38970, 5),
        (swapped(MAHUN_P2), 250550, 20),
        (SHOELACE, 16.5, 1e-12),
        (POSTGIS, 928.625, 1e-6),
    ],
    ids=["Mahun example 1", "Mahun problem 1", "Mahun problem 2", "shoelace", "ST_Area"],
)
def test_areas_as_printed(corners, expected, tolerance):
    """The figure gives the printed area, within the uncertainty printed with it."""
    np.testing.assert_allclose(abs(area_of(corners)), expected, atol=tolerance)


def test_area_in_another_unit():
    """928.625 square US survey feet are 86.27243 square metres."""
    metres = np.array(POSTGIS) * US_FOOT_M
    np.testing.assert_allclose(abs(area_of(metres)), 86.27243, atol=5e-6)


def test_sides_that_run_either_way_count_alike():
    """An edge stored backwards with side -1 leaves area and gradient what they were."""
    edges = sides(SHOELACE)
    turned, side = edges.copy(), np.ones(5)
    turned[[1, 3]], side[[1, 3]] = edges[[1, 3], ::-1], -1.0
    plain, mixed = area(edges, np.arange(5), np.ones(5)), area(turned, np.arange(5), side)
    assert mixed.value == plain.value
    np.testing.assert_allclose(mixed.gradient[[1, 3]], plain.gradient[[1, 3], ::-1])
    np.testing.assert_allclose(mixed.gradient[[0, 2, 4]], plain.gradient[[0, 2, 4]])


def test_far_from_the_origin_no_digit_is_lost():
    """A room of 12 m² at a northing of five million metres has 12 m² to a square millimetre."""
    corner = np.array([458000.0, 5550000.0])
    room = corner + np.array([(0, 0), (4, 0), (4, 3), (0, 3)])
    np.testing.assert_allclose(area_of(room), 12.0, atol=1e-6)


def test_a_crossing_traverse_falls_apart_into_its_loops():
    """Of a traverse that crosses itself the network makes simple spaces, not their difference."""
    a, c, f, e = MAHUN_P2
    traverse = sides(swapped([a, MAHUN_P2_B, c, MAHUN_P2_D, e, f]))
    shapes = shapely.get_parts(shapely.polygonize(shapely.linestrings(node(traverse))))
    loops = shapely.polygonize(
        [shapely.unary_union(shapely.LineString([*traverse[:, 0], traverse[0, 0]]))]
    )
    assert len(shapes) == len(shapely.get_parts(loops)) > 1
    assert shapely.is_valid(shapes).all()
    np.testing.assert_allclose(shapely.area(shapes).sum(), loops.area, rtol=1e-6)


def test_planimeter():
    """A square of 100 km in UTM 18 has the manual page's geodesic perimeter and area.

    The demo's truth is measured on the ellipsoid by the same code.
    """
    square = shapely.box(500000, 4400000, 600000, 4500000)
    ground = Ground("EPSG:32618")
    np.testing.assert_allclose(ground.area(square), 10007388597.2, atol=0.1)
    np.testing.assert_allclose(ground.length(square.exterior), 400139.532959, atol=1e-6)
