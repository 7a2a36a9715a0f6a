"""Where a survey looked: as stated, as swum, or as the data show it; never a hull."""

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from wrackline.errors import InputError
from wrackline.grounds import (
    ground_of_items,
    ground_of_surface,
    ground_stated,
    plants_stated,
    read_stated,
    swim_corridor,
)
from wrackline.rasters import Band, Grid, write_raster

CRS = "EPSG:32625"


def drawn(path, shapes, crs=CRS, **columns):
    """Write shapes to a file and return it."""
    pyogrio.write_dataframe(gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs), path)
    return path


def raster(path, height, filled=None):
    """Write a raster of cells of 1 m from the origin, with `filled` a survey's surface."""
    grid = Grid((0.0, 0.0), 1.0, 0, 0, height.shape[1], height.shape[0])
    bands = [Band("height", "m", height)]
    bands += [] if filled is None else [Band("filled", "1", filled)]
    write_raster(path, bands, grid=grid, crs=CRS, vertical_datum="invented")
    return path


def test_a_surface_looked_where_it_measured(tmp_path):
    """Filled cells were not looked at: two sounded columns of 5 are ten square metres, no hull."""
    height, filled = np.zeros((5, 9)), np.ones((5, 9))
    filled[:, [1, 7]] = 0
    ground, how = ground_of_surface(raster(tmp_path / "a.tif", height, filled))
    assert ground.area == pytest.approx(10.0)
    assert how == "cells that it measured, gaps of a cell closed"


def test_a_gap_of_one_cell_in_a_swath_is_closed(tmp_path):
    """A cell that no sounding met, with measured ones all round, was looked at."""
    height, filled = np.zeros((5, 5)), np.zeros((5, 5))
    height[2, 2] = np.nan
    ground, _ = ground_of_surface(raster(tmp_path / "a.tif", height, filled))
    assert ground.area == pytest.approx(25.0)


def test_a_swim_line_is_a_corridor(tmp_path):
    """A straight way of 10 m, looking 2 m to either side: 40 m² and two half discs."""
    path = drawn(tmp_path / "swum.gpkg", [shapely.LineString([(0, 0), (10, 0)])])
    ground, how = swim_corridor(path, 2.0, CRS)
    assert ground.area == pytest.approx(40 + np.pi * 4, rel=0.01)
    assert how == "within 2 m of the lines swum"


def test_a_way_around_a_building_leaves_its_inside_out(tmp_path):
    """What lies beyond the reach of a ring was not looked at: no hull."""
    ring = shapely.LineString(shapely.box(0, 0, 20, 20).exterior.coords)
    ground, _ = swim_corridor(drawn(tmp_path / "ring.gpkg", [ring]), 2.0, CRS)
    assert not ground.contains(shapely.Point(10, 10))


def test_a_stated_raster_counts_where_it_has_a_value(tmp_path):
    """The mosaic that walls were traced from: its cells with a value, in the site's CRS."""
    height = np.full((4, 6), np.nan)
    height[:, :3] = 1.0
    path = raster(tmp_path / "mosaic.tif", height)
    ground, how = ground_stated(path, CRS)
    assert ground.bounds == pytest.approx((0, 0, 3, 4))
    assert how == "cells of mosaic.tif with a value"


def test_ground_and_swim_lines_add_up(tmp_path):
    """Both statements count, and both are named."""
    area = drawn(tmp_path / "area.gpkg", [shapely.box(0, 0, 4, 4)])
    way = drawn(tmp_path / "way.gpkg", [shapely.LineString([(100, 0), (110, 0)])])
    ground, how = read_stated(area, (way, 1.0), CRS)
    assert ground.area == pytest.approx(16 + 20 + np.pi, rel=0.01)
    assert how == "as stated by the team; within 1 m of the lines swum"
    assert read_stated(None, None, CRS) is None


def test_other_coordinates_are_brought_to_the_sites(tmp_path):
    """A file in degrees lands in the site's CRS: a box of about 100 m."""
    east, north = -33.0, 38.0  # on the central meridian of UTM zone 25
    box = shapely.box(east, north, east + 0.001, north + 0.001)
    ground, _ = ground_stated(drawn(tmp_path / "deg.gpkg", [box], "EPSG:4326"), CRS)
    assert ground.area == pytest.approx(111_000 * 0.001 * 87_800 * 0.001, rel=0.01)


def test_plants_have_shares_or_cover_all(tmp_path):
    """The column share is read; without one plants cover all of each polygon."""
    patches = [shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)]
    told = plants_stated(drawn(tmp_path / "a.gpkg", patches, share=[0.4, 1.0]), CRS)
    assert told["share"].tolist() == [0.4, 1.0]
    assert plants_stated(drawn(tmp_path / "b.gpkg", patches), CRS)["share"].tolist() == [1.0, 1.0]


@pytest.mark.parametrize("share", [[40.0, 0.1], [-0.1, 0.2], [np.nan, 0.1]])
def test_shares_in_per_cent_are_named(tmp_path, share):
    """A share beyond 0 to 1 is a fault that names its feature and the way out."""
    patches = [shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)]
    path = drawn(tmp_path / "a.gpkg", patches, share=share)
    with pytest.raises(InputError, match="column share of 0 to 1") as raised:
        plants_stated(path, CRS)
    assert raised.value.faults[0].row == 1
    assert "mend plant_cover" in raised.value.faults[0].remedy


@pytest.mark.parametrize(
    ("reader", "wrong", "words"),
    [
        (lambda p: swim_corridor(p, 1.0, CRS), shapely.box(0, 0, 1, 1), "lines that were swum"),
        (lambda p: ground_stated(p, CRS), shapely.Point(0, 0), "polygons of the ground looked at"),
        (lambda p: plants_stated(p, CRS), shapely.Point(0, 0), "polygons where plants grow"),
    ],
)
def test_files_of_another_kind_are_named(tmp_path, reader, wrong, words):
    """Polygons for lines, points for polygons, text, nothing: each says what is allowed."""
    text = tmp_path / "text.gpkg"
    text.write_text("no drawing")
    for path in (drawn(tmp_path / "a.gpkg", [wrong]), text, tmp_path / "none.gpkg"):
        with pytest.raises(InputError, match=words):
            reader(path)


def test_an_empty_picture_states_no_ground(tmp_path):
    """A raster in which no cell has a value says nothing of where was looked."""
    empty = raster(tmp_path / "empty.tif", np.full((3, 3), np.nan))
    with pytest.raises(InputError, match="polygons of the ground looked at"):
        ground_stated(empty, CRS)


def test_nothing_recorded_looked_at_no_ground():
    """A survey without items has an empty ground."""
    assert ground_of_items(gpd.GeoDataFrame(geometry=[], crs=CRS))[0].is_empty
