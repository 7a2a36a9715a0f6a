"""Whether a survey lies where it should, by its declared CRS and by its distance from the site."""

import datetime as dt

import geopandas as gpd
import pytest
import shapely
from pyproj import CRS

from wrackline.intake.places import (
    check_declared_crs,
    check_items_place,
    check_place,
    unit_factor,
)
from wrackline.model import LocalGrid, Survey, Vertical
from wrackline.verdict import Problems, Source

SITE = {"crs": "EPSG:32625", "origin": (500_000.0, 4_200_000.0)}


def source(crs="EPSG:32625", **more):
    survey = Survey(
        name="walls",
        technique="any",
        holds="wall_lines",
        file="walls.gpkg",
        crs=None if "local_grid" in more else crs,
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=Vertical(meaning="none"),
        random_horizontal_sd_m=0.03,
        random_vertical_sd_m=0.02,
        **more,
    )
    return Source("2031-walls", survey)


def declared(crs, given="EPSG:32625"):
    problems = Problems()
    check_declared_crs(source(given), CRS.from_user_input(crs) if crs else None, problems)
    return problems.listed()


@pytest.mark.parametrize(
    "crs", [None, "EPSG:32625", "+proj=utm +zone=25 +datum=WGS84", "EPSG:32625+5773"]
)
def test_a_declared_crs_that_gives_the_same_numbers_is_no_contradiction(crs):
    """No word, the same CRS, its text without a name and one with heights all agree."""
    assert declared(crs) == []


def test_a_declared_crs_that_gives_other_numbers_is_a_fault():
    """The fault names both, the file's and the config's."""
    (fault,) = declared("EPSG:32626")
    assert fault.kind == "crs_contradiction"
    assert "EPSG:32626" in fault.found
    assert "EPSG:32625" in fault.allowed


def test_an_unknown_configured_crs_is_left_to_the_check_of_the_place():
    """An unknown CRS in the config is named once, where the survey is placed."""
    problems = Problems()
    check_declared_crs(source("EPSG:999999"), CRS.from_epsg(32625), problems)
    assert problems.listed() == []
    check_place(source("EPSG:999999"), [0, 0, 1, 1], problems, **SITE)
    assert [fault.kind for fault in problems.listed()] == ["unknown_crs"]


@pytest.mark.parametrize(
    ("bounds", "remedy"),
    [
        pytest.param([500_000, 4_200_000, 500_100, 4_200_100], None, id="at the site"),
        pytest.param([500_000, 4_249_000, 500_100, 4_249_900], None, id="within 50 km"),
        pytest.param([500_000, 4_250_000, 500_100, 4_250_100], "check `crs`", id="beyond 50 km"),
        pytest.param([500_000, 4_200_000, 500_100, 4_299_000], "check `crs`", id="one end beyond"),
        pytest.param([4_200_000, 500_000, 4_200_100, 500_100], "swap", id="swapped"),
        pytest.param([float("inf"), 0, float("inf"), 0], "check `crs`", id="nowhere"),
    ],
)
def test_a_survey_must_lie_within_50_km_with_all_its_corners(bounds, remedy):
    """Beyond 50 km is a fault; where the two axes swapped would lie at the site, it says so."""
    problems = Problems()
    check_place(source(), bounds, problems, **SITE)
    assert [fault.remedy.startswith(remedy) for fault in problems.listed()] == [True] * bool(remedy)


E, N = SITE["origin"]


@pytest.mark.parametrize(
    ("crs", "point", "kind", "remedy"),
    [
        ("EPSG:32625", (N, E), "axes_swapped", "swap"),
        ("EPSG:32625", (E / 0.3048, N / 0.3048), "feet_for_metres", "us_survey_foot"),
        ("EPSG:32625", (E * 1000, N * 1000), "millimetres_for_metres", "unit: millimetre"),
        ("EPSG:32626", (E, N), "wrong_zone", "EPSG:32625"),
        ("EPSG:32725", (E, N), "wrong_zone", "EPSG:32625"),
        ("EPSG:25829", (E, N), "wrong_zone", "EPSG:32625"),
        ("EPSG:32625", (-33.0, 37.95), "degrees_for_metres", "EPSG:4326"),
        ("EPSG:32625", (37.95, -33.0), "degrees_for_metres", "longitude"),
        ("EPSG:4326", (37.95, -33.0), "axes_swapped", "swap"),
        ("EPSG:4326", (E, N), "metres_for_degrees", "EPSG:32625"),
        ("EPSG:32625", (112.0, 38.5), "local_for_crs", "local_grid"),
        ("EPSG:32625", (E, N + 60_000), "far_from_site", "check `crs`"),
    ],
)
def test_what_would_bring_a_survey_to_the_site_is_named(crs, point, kind, remedy):
    """Swapped axes, feet, millimetres, zones, degrees and local grids have kinds of their own."""
    problems = Problems()
    check_place(source(crs), [*point, point[0] + 1e-3, point[1] + 1e-3], problems, **SITE)
    (fault,) = problems.listed()
    assert (fault.kind, fault.severity) == (kind, "fault")
    assert remedy in fault.remedy


def test_the_unit_of_eastings_is_counted_in_that_of_the_crs():
    """Feet of a CRS in metres, metres of one in US feet, and no unit given."""
    assert unit_factor(source(unit="foot")) == pytest.approx(0.3048)
    assert unit_factor(source("EPSG:2263", unit="metre")) == pytest.approx(3937 / 1200)
    assert unit_factor(source()) == 1.0
    assert unit_factor(source("EPSG:4326", unit="foot")) == 1.0


def test_a_local_grid_is_placed_by_its_marks():
    """Small local numbers are no survey far away: the marks bring them to the site."""
    marks = [
        {"point": "A", "local": (0, 0), "site": (500_010, 4_200_010)},
        {"point": "B", "local": (10, 0), "site": (500_020, 4_200_010)},
    ]
    problems = Problems()
    local = source(local_grid=LocalGrid(points=marks, control_sd_m=0.02))
    check_place(local, [0, 0, 9, 9], problems, **SITE)
    assert problems.listed() == []


def lines(*starts):
    shapes = [shapely.LineString([(e, n), (e + 1, n)]) for e, n in starts]
    return gpd.GeoDataFrame({"row": range(1, len(shapes) + 1)}, geometry=shapes)


def test_one_item_astray_is_named_by_its_row():
    """Of three lines the one far from the site is named, with its distance."""
    items = lines((500_000, 4_200_000), (500_000, 4_300_000), (500_009, 4_200_000))
    problems = Problems()
    check_items_place(source(), items, problems, **SITE)
    (fault,) = problems.listed()
    assert (fault.kind, fault.row) == ("far_from_site", 2)
    assert "100 km" in fault.found


def test_all_items_astray_are_one_fault_of_the_survey():
    """Where everything lies elsewhere the CRS is in doubt, not one row."""
    problems = Problems()
    check_items_place(source(), lines((0, 9e6), (5, 9e6)), problems, **SITE)
    assert [(fault.kind, fault.row) for fault in problems.listed()] == [("far_from_site", None)]


def test_one_item_with_swapped_numbers_is_told_from_one_far_away():
    """Of three lines the one whose easting and northing are exchanged is named so, with a place."""
    items = lines((500_000, 4_200_000), (4_200_000, 500_000), (500_009, 4_200_000))
    problems = Problems()
    check_items_place(source(), items, problems, **SITE)
    (fault,) = problems.listed()
    assert (fault.kind, fault.row, fault.place) == ("axes_swapped", 2, (4_200_000.0, 500_000.0))
