"""Links of heights: sums along the path, geoid grids between their cells, and shared causes."""

import datetime as dt

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import Transformer

from wrackline.errors import InputError
from wrackline.fit.items import errors_of, fit_items
from wrackline.fit.points import Frame, fit_points
from wrackline.heights import link_errors, zero_height
from wrackline.model import (
    AppliedOffset,
    ErrorSource,
    HeightLink,
    SeaLevel,
    Site,
    Survey,
    Vertical,
)
from wrackline.points import read_points
from wrackline.uncertainty import Budget, level_budget, propagate
from wrackline.verdict import Source

CRS = "EPSG:32625"
ORIGIN = (324_400.0, 4_207_600.0)
SOURCES = {
    "levelled": ErrorSource(kind="shift", height_sd_m=0.02),
    "geoid": ErrorSource(kind="shift", easting_sd_m=0.5, height_sd_m=0.05),
}
HARBOUR = HeightLink(zero="harbour", above="old", height_m=0.3, error_source="levelled")
OLD = HeightLink(zero="old", height_m=-1.2, error_source="levelled")
ELLIPSOID = HeightLink(zero="ellipsoid", geoid_grid="geoid.tif", error_source="geoid")
SITE = Site(
    schema_version=1,
    name="Ebbrune",
    crs=CRS,
    vertical_datum="invented",
    origin=ORIGIN,
    sea_levels=[SeaLevel(name="sea", height_m=0.1, sd_m=0.01, error_sources=["levelled"])],
    depths_below="sea",
    error_sources=SOURCES,
    height_links=[HARBOUR, OLD, ELLIPSOID],
)


def survey(zero, **more):
    values = {
        "name": "bed",
        "technique": "any",
        "holds": "bed_points",
        "file": "bed.csv",
        "crs": CRS,
        "from_date": dt.date(2031, 6, 1),
        "to_date": dt.date(2031, 6, 2),
        "vertical": Vertical(meaning="height", zero=zero, datum_height_m=0.01),
        "random_horizontal_sd_m": 0.1,
        "random_vertical_sd_m": 0.2,
        **more,
    }
    return Survey(**values)


def geoid(folder, *, crs=CRS, west=ORIGIN[0], north=ORIGIN[1] + 40, cell=10.0, hole=False):
    """Write a grid of 4 x 4 cells that rises by 0.1 m a cell eastwards and 0.2 m southwards."""
    row, column = np.mgrid[0:4, 0:4]
    values = (50 + 0.1 * column + 0.2 * row).astype("float64")
    if hole:
        values[0, 0] = -9999
    with rasterio.open(
        folder / "geoid.tif", "w", driver="GTiff", height=4, width=4, count=1, dtype="float64",
        crs=crs, transform=Affine(cell, 0, west, 0, -cell, north), nodata=-9999,
    ) as out:  # fmt: skip
        out.write(values, 1)


def at(folder, east, north, path=(ELLIPSOID,)):
    """Return the zero's height some metres from the origin."""
    places = np.array([[ORIGIN[0] + east, ORIGIN[1] + north]], dtype=float)
    return float(zero_height(path, places[:, 0], places[:, 1], crs=CRS, folder=folder)[0])


def test_heights_of_links_add_up_along_the_path(tmp_path):
    """0.3 m above a zero that lies 1.2 m below the datum is 0.9 m below it."""
    assert at(tmp_path, 0, 0, SITE.links_from("harbour")) == pytest.approx(-0.9)
    assert at(tmp_path, 0, 0, SITE.links_from("site")) == 0.0


@pytest.mark.parametrize(
    ("east", "north", "undulation"),
    [(5, 35, 50.0), (15, 35, 50.1), (5, 25, 50.2), (10, 30, 50.15), (12.5, 27.5, 50.225),
     (0.5, 39.5, 50.0), (39.5, 0.5, 50.9), (0, 40, 50.0), (40, 0, 50.9)],
)  # fmt: skip
def test_a_geoid_grid_is_read_between_its_cell_centres(tmp_path, east, north, undulation):
    """At centres, half-way, elsewhere, in the outer half cells and on the edge: N is taken off."""
    geoid(tmp_path)
    assert at(tmp_path, east, north) == pytest.approx(-undulation, abs=1e-9)


def test_a_geoid_grid_in_degrees_is_read_in_degrees(tmp_path):
    """A grid of longitude, 0 to 360, and latitude gives at a cell's centre that cell's value."""
    to_degrees = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(*ORIGIN)
    west, north = longitude + 360 - 0.0015, latitude + 0.0025
    geoid(tmp_path, crs="EPSG:4326", west=west, north=north, cell=0.001)
    assert at(tmp_path, 0, 0) == pytest.approx(-(50 + 0.1 + 0.2 * 2), abs=1e-6)


@pytest.mark.parametrize(
    ("change", "place", "kind"),
    [
        ({}, (41, 20), "geoid_grid_outside"),
        ({}, (20, -1), "geoid_grid_outside"),
        ({"hole": True}, (7, 33), "geoid_grid_outside"),
        ({"crs": None}, (20, 20), "geoid_grid_crs"),
        (None, (20, 20), "geoid_grid_unreadable"),
    ],
    ids=["east of it", "south of it", "beside an empty cell", "no CRS", "no file"],
)
def test_a_geoid_grid_that_does_not_serve_is_named(tmp_path, change, place, kind):
    """Nothing is taken from outside a grid; the fault names it."""
    if change is not None:
        geoid(tmp_path, **change)
    with pytest.raises(InputError, match=kind) as caught:
        at(tmp_path, *place)
    assert caught.value.faults[0].file == "geoid.tif"


def test_an_empty_cell_further_off_does_not_matter(tmp_path):
    """At the centre of a cell its empty neighbour has no weight."""
    geoid(tmp_path, hole=True)
    assert at(tmp_path, 15, 35) == pytest.approx(-50.1)


def test_a_cause_counts_once_and_only_its_heights(tmp_path):
    """Two links on one cause are one error; the easting of the geoid's cause is not taken."""
    twice = link_errors(SITE.links_from("harbour"), SOURCES, ORIGIN)
    assert [(part.name, part.sd) for part in twice] == [("levelled:height", 0.02)]
    once = link_errors(SITE.links_from("ellipsoid"), SOURCES, ORIGIN)
    assert [part.name for part in once] == ["geoid:height"]


def points(folder, given, zero):
    """Return account and heights of two fitted points that read 51 and 52."""
    table = {"x": [ORIGIN[0] + 5.0, ORIGIN[0] + 15.0], "y": [ORIGIN[1] + 35.0] * 2}
    pq.write_table(pa.table({**table, "v": [51.0, 52.0], "row": [2, 3]}), folder / "p.parquet")
    frame = Frame(CRS, "invented", ORIGIN, SOURCES, tuple(SITE.links_from(zero)))
    source = Source("2031-bed", given, folder)
    account = fit_points(folder / "p.parquet", folder / "p.laz", source=source, frame=frame)
    return account, np.concatenate([part.height for part in read_points(folder / "p.laz")]) * 1e-4


def test_bed_points_are_brought_from_the_ellipsoid_to_the_datum(tmp_path):
    """H = h - N at each point, with the link's error in the model and a note."""
    geoid(tmp_path)
    account, found = points(tmp_path, survey("ellipsoid"), "ellipsoid")
    np.testing.assert_allclose(found, [51.01 - 50.0, 52.01 - 50.1], atol=1e-4)
    assert [part["name"] for part in account["model"]["named"]] == ["geoid:height"]
    assert any("geoid.tif" in note for note in account["notes"])


def test_depths_below_a_linked_zero_count_down_from_it(tmp_path):
    """51 m below a zero 0.9 m under the datum."""
    down = survey("harbour", vertical=Vertical(meaning="depth_below_datum", zero="harbour"))
    _, found = points(tmp_path, down, "harbour")
    np.testing.assert_allclose(found, [-51.9, -52.9], atol=1e-4)


@pytest.mark.parametrize(
    "more",
    [
        {"error_sources": ["levelled"]},
        {"applied_offset": AppliedOffset(height_m=0, sd_m=0, replaces=["levelled"], why="w"),
         "error_sources": ["levelled"]},
    ],
    ids=["named by the survey", "replaced by an offset"],
)  # fmt: skip
def test_a_cause_that_the_survey_accounts_for_is_not_added_again(tmp_path, more):
    """The config's own word on a cause stands: named once, or replaced."""
    account, _ = points(tmp_path, survey("harbour", **more), "harbour")
    names = [part["name"] for part in account["model"]["named"]]
    assert names == ([] if "applied_offset" in more else ["levelled:height"])


def test_items_take_the_same_links_as_points(tmp_path):
    """A line's heights and errors come through the geoid grid as points do."""
    geoid(tmp_path)
    walls = survey("ellipsoid", holds="wall_lines")
    line = shapely.LineString(
        [(ORIGIN[0] + 5, ORIGIN[1] + 35, 51.0), (ORIGIN[0] + 15, ORIGIN[1] + 35, 52.0)]
    )
    items = gpd.GeoDataFrame({"row": [1]}, geometry=[line])
    fitted = fit_items(items, "2031-bed", walls, SITE, folder=tmp_path)
    height = shapely.get_coordinates(fitted.geometry, include_z=True)[:, 2]
    np.testing.assert_allclose(height, [51.01 - 50.0, 52.01 - 50.1], atol=1e-9)
    model, _ = errors_of("2031-bed", walls, SITE)
    assert [part.name for part in model.named] == ["geoid:height"]


def test_a_cause_shared_with_the_sea_level_cancels_from_depths():
    """A depth below a level that rests on the link's own cause doesn't feel that cause."""
    model, _ = errors_of("2031-bed", survey("harbour", holds="floor_points"), SITE)
    height = propagate(
        np.array([[0.0, 0.0, 1.0]]), np.array([[*ORIGIN, 0.0]]), np.zeros(1, int), [model]
    )
    depth = level_budget(SITE.depth_level, SITE).minus(height)
    assert isinstance(depth, Budget)
    assert depth.named["levelled:height"] == pytest.approx(0.0)
    assert depth.sd == pytest.approx(np.hypot(0.2, 0.01))


def test_a_survey_without_heights_needs_no_links(tmp_path):
    """Where nothing has a height, no geoid grid is opened and no error added."""
    flat = survey(
        "ellipsoid", holds="wall_lines", vertical=Vertical(meaning="none", zero="harbour")
    )
    items = gpd.GeoDataFrame(
        {"row": [1]}, geometry=[shapely.LineString([ORIGIN, (324_410, 4_207_610)])]
    )
    fitted = fit_items(items, "2031-bed", flat, SITE, folder=tmp_path)
    assert np.isnan(shapely.get_coordinates(fitted.geometry, include_z=True)[:, 2]).all()
    assert errors_of("2031-bed", flat, SITE)[0].named == ()
