"""Items brought into the site's CRS and datum, with their errors."""

import datetime as dt

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Transformer

from wrackline.errors import ConfigError
from wrackline.fit.items import errors_of, fit_items, heights
from wrackline.model import AppliedOffset, LocalGrid, Site, Survey, Vertical

CRS = "EPSG:32625"
SITE = Site(
    schema_version=1,
    name="invented",
    crs=CRS,
    vertical_datum="invented",
    origin=(500_000, 4_200_000),
    sea_levels=[{"name": "msl", "height_m": 0.0}],
    depths_below="msl",
    error_sources={"bench": {"kind": "shift", "height_sd_m": 0.02}},
)
OFFSET = AppliedOffset(height_m=0.1, sd_m=0.03, replaces=["bench"], why="check points, season lead")


def survey(meaning="height", *, crs=CRS, zero=0.0, **more):
    return Survey(
        name="walls",
        technique="any",
        holds="wall_lines",
        file="walls.gpkg",
        crs=None if "local_grid" in more else crs,
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=Vertical(meaning=meaning, datum_height_m=zero),
        random_horizontal_sd_m=0.03,
        random_vertical_sd_m=0.02,
        **more,
    )


def fitted(shape, given):
    return fit_items(gpd.GeoDataFrame({"row": [1]}, geometry=[shape]), "2031-walls", given, SITE)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        pytest.param(survey(), -2.5, id="height"),
        pytest.param(survey(zero=0.4), -2.1, id="height above another zero"),
        pytest.param(survey("depth_below_datum"), 2.5, id="depth"),
        pytest.param(survey("depth_below_datum", zero=0.4), 2.9, id="depth below another zero"),
        pytest.param(survey("none"), np.nan, id="none"),
        pytest.param(survey(applied_offset=OFFSET), -2.4, id="offset"),
        pytest.param(survey("none", applied_offset=OFFSET), np.nan, id="none stays none"),
    ],
)
def test_vertical_numbers_become_heights_as_the_config_means_them(given, expected):
    """A number of −2.5 becomes the height that its meaning, zero and offset say."""
    np.testing.assert_allclose(heights(np.array([-2.5]), given), [expected])


def test_missing_heights_stay_missing():
    """NaN goes through every meaning as NaN, beside heights that are known."""
    line = shapely.linestrings([[500_000, 4_200_000, np.nan], [500_001, 4_200_000, -1.0]])
    z = shapely.get_coordinates(fitted(line, survey()).geometry, include_z=True)[:, 2]
    np.testing.assert_array_equal(z, [np.nan, -1.0])


@pytest.mark.parametrize(
    "shape",
    [
        shapely.Point(500_001, 4_200_002, -1),
        shapely.LineString([(500_001, 4_200_002, -1), (500_003, 4_200_002, -2)]),
        shapely.Polygon(
            shapely.box(500_000, 4_200_000, 500_009, 4_200_009).exterior,
            [shapely.box(500_001, 4_200_001, 500_002, 4_200_002).exterior],
        ),
    ],
)
def test_in_the_sites_own_crs_places_stay(shape):
    """Points, lines and polygons with holes keep their numbers in the site's CRS."""
    moved = fitted(shape, survey()).geometry.iloc[0]
    np.testing.assert_array_equal(shapely.get_coordinates(moved), shapely.get_coordinates(shape))
    assert moved.geom_type == shape.geom_type
    assert fitted(shape, survey()).crs.to_epsg() == 32625


def test_another_crs_is_transformed():
    """Longitude and latitude become the easting and northing that PROJ gives."""
    east, north = Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(-33.1, 37.9)
    moved = fitted(shapely.Point(-33.1, 37.9, -1.0), survey(crs="EPSG:4326")).geometry.iloc[0]
    np.testing.assert_allclose([moved.x, moved.y, moved.z], [east, north, -1.0])


MARKS = [
    {"point": "A", "local": (0, 0), "site": (500_000, 4_200_000)},
    {"point": "B", "local": (10, 0), "site": (500_000, 4_200_010)},
    {"point": "C", "local": (0, 10), "site": (499_990, 4_200_000)},
]


def test_a_local_grid_is_brought_to_its_marks():
    """A grid turned by a quarter: local north is west."""
    local = survey(local_grid=LocalGrid(points=MARKS, control_sd_m=0.02))
    moved = fitted(shapely.Point(2, 3, -1), local).geometry.iloc[0]
    np.testing.assert_allclose([moved.x, moved.y], [499_997, 4_200_002])


def test_a_local_grids_errors_and_fit_are_told():
    """Shift, turn and scale of the marks join the survey's errors; the note tells the fit."""
    local = survey(local_grid=LocalGrid(points=MARKS, control_sd_m=0.02))
    model, notes = errors_of("2031-walls", local, SITE)
    assert {part.kind for part in model.named} == {"easting", "northing", "rotation", "scale"}
    assert notes == ["local grid: 3 marks, scale 1.000000, s0 0.000 m, largest residual 0.000 m"]


def test_marks_that_disagree_are_remarked_on():
    """Residuals of many times the stated sd ask for a look."""
    marks = [*MARKS[:2], {"point": "C", "local": (0, 10), "site": (499_989, 4_200_000)}]
    local = survey(local_grid=LocalGrid(points=marks, control_sd_m=0.02))
    assert errors_of("2031-walls", local, SITE)[1][1].startswith("residuals exceed 3 times")


def test_an_applied_offset_takes_the_place_of_what_it_replaces():
    """The offset's own sd stands in the budget, the source that it replaces doesn't."""
    given = survey(error_sources=["bench"], applied_offset=OFFSET)
    model, notes = errors_of("2031-walls", given, SITE)
    assert [(part.name, part.sd) for part in model.named] == [("2031-walls:applied_offset", 0.03)]
    assert notes == []


def test_an_unknown_crs_is_an_error_of_the_config():
    """A survey that can't be placed raises with the CRS named."""
    with pytest.raises(ConfigError, match="crs 'EPSG:999999'"):
        fitted(shapely.Point(0, 0), survey(crs="EPSG:999999"))
