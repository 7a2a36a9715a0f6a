"""Rasters counted from the site's origin: cells, files, and what stands in them."""

import numpy as np
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st

from wrackline.rasters import (
    CAUTION,
    NODATA,
    Band,
    Grid,
    read_grid,
    read_raster,
    ticks,
    write_raster,
)

GRID = Grid((500_000.0, 4_700_000.0), 0.5, 2, 3, 6, 6)
VALUES = np.arange(12.0).reshape(3, 4)


def write(path, **more):
    bands = [Band("height", "m", np.where(VALUES == 5, np.nan, VALUES)), Band("count", "1", VALUES)]
    write_raster(path, bands, grid=GRID, crs="EPSG:32633", vertical_datum="msl 2031", **more)
    return path


def test_a_raster_reads_back_as_it_was_written(tmp_path):
    """Grid, names and values survive; NaN is nodata on the way."""
    grid, bands = read_raster(write(tmp_path / "a.tif"))
    assert grid == GRID == read_grid(tmp_path / "a.tif")
    assert list(bands) == ["height", "count"]
    np.testing.assert_array_equal(bands["count"], VALUES)
    assert np.isnan(bands["height"]).sum() == 1


def test_the_file_says_what_it_is(tmp_path):
    """CRS, nodata, names, units, datum and caution stand in the file, rows north to south."""
    with rasterio.open(write(tmp_path / "a.tif", tags={"survey": "x"})) as source:
        assert source.crs.to_epsg() == 32633
        assert (source.nodata, source.dtypes) == (NODATA, ("float32", "float32"))
        assert (source.descriptions, source.units) == (("height", "count"), ("m", "1"))
        tags = source.tags()
        assert source.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert source.bounds == (500_001.0, 4_700_001.5, 500_003.0, 4_700_003.0)
    assert (tags["vertical_datum"], tags["caution"], tags["survey"]) == ("msl 2031", CAUTION, "x")


def test_equal_input_gives_equal_bytes(tmp_path):
    """Nothing of the clock or the machine stands in a raster."""
    one, other = write(tmp_path / "a.tif"), write(tmp_path / "b.tif")
    assert one.read_bytes() == other.read_bytes()


@pytest.mark.filterwarnings("ignore::PendingDeprecationWarning")
def test_large_rasters_have_overviews_and_pass_as_cloud_optimised(tmp_path):
    """The independent validator finds neither errors nor warnings."""
    cogeo = pytest.importorskip("rio_cogeo")
    grid = Grid((0.0, 0.0), 1.0, 0, 0, 700, 600)
    values = np.random.default_rng(1).normal(size=grid.shape)
    path = tmp_path / "large.tif"
    band = Band("height", "m", values)
    write_raster(path, [band], grid=grid, crs="EPSG:32633", vertical_datum="msl", smooth=True)
    assert cogeo.cog_validate(path, strict=True, quiet=True) == (True, [], [])
    with rasterio.open(path) as source:
        assert source.overviews(1) == [2, 4]


def test_cells_are_closed_to_the_south_west():
    """A place on a cell's west or south edge belongs to it; one tick less does not."""
    grid = Grid((0.0, 0.0), 0.1, -10, -10, 10, 10)
    assert grid.cells(ticks([0.0, 0.1, 0.3, -0.1, 0.2999, -0.0001]), 0).tolist() == [
        0, 1, 3, -1, 2, -1
    ]  # fmt: skip


@settings(max_examples=200, derandomize=True, database=None)
@given(st.integers(-10_000, 10_000), st.sampled_from([0.05, 0.07, 0.1, 0.25, 0.3, 0.5, 2.0]))
def test_every_edge_of_a_cell_falls_into_the_cell_it_begins(number, cell_m):
    """Whatever the cell size, the edge number * cell is in cell `number`, exactly."""
    grid = Grid((500_000.0, 4_700_000.0), cell_m, 0, 0, 1, 1)
    edge = ticks(500_000.0) + round(number * cell_m * 10_000)
    assert grid.cells(np.array([edge]), 0)[0] == number


def test_a_grid_around_bounds_holds_its_own_corners():
    """Both corners lie in the grid, also on edges."""
    grid = Grid.around((0.0, 0.0), 2.0, (0.0, -0.5, 4.0, 3.9))
    assert (grid.west, grid.south, grid.east, grid.north) == (0, -1, 3, 2)
    corners = ticks([0.0, 4.0]), ticks([-0.5, 3.9])
    assert (grid.flat(*corners) >= 0).all()
    assert grid.flat(ticks([-0.1]), ticks([0.0])).tolist() == [-1]


def test_a_union_holds_both_and_its_windows_find_them():
    """Cells keep their place in the larger grid."""
    other = Grid(GRID.origin, 0.5, -1, 4, 3, 9)
    whole = GRID.union(other)
    big = np.zeros(whole.shape)
    big[whole.window(GRID)] = VALUES
    x, y = GRID.centres()
    at = whole.flat(ticks(x), np.full(4, ticks(y[0])))
    np.testing.assert_array_equal(big.ravel()[at], VALUES[0])
