"""Views and contours against exact planes, and independent programs on real relief."""

import shutil
import subprocess

import numpy as np
import pytest
import rasterio
from contourpy import LineType, contour_generator
from matplotlib import cbook
from scipy.ndimage import convolve
from scipy.spatial import cKDTree

from wrackline.rasters import Band, Grid, read_grid, write_raster
from wrackline.seabed.local_relief import local_relief
from wrackline.seabed.relief import hillshade, horn_gradient, shade_around, slope_deg
from wrackline.seabed.tracing import trace

GDALDEM = {
    "slope": "slope",
    "hillshade": "hillshade",
    "shade_around": "hillshade -multidirectional",
}
"""The same views in gdaldem's words."""


def plane(east, north):
    x, y = np.meshgrid(np.arange(5.0), np.arange(5.0)[::-1])
    return east * x + north * y


def test_slope_of_a_plane():
    """Plane z = 0.3x + 0.4y: 26.565051° (arctan 0.5; Horn 1981 is exact on planes)."""
    found = slope_deg(*horn_gradient(plane(0.3, 0.4), 1.0))
    np.testing.assert_allclose(found[1:-1, 1:-1], 26.565051, atol=1e-6)


def test_hillshade_of_a_plane():
    """The same plane under light from 315°, 45° high: 150 (gdaldem 3.6.2 prints 150)."""
    found = hillshade(*horn_gradient(plane(0.3, 0.4), 1.0))
    np.testing.assert_array_equal(found[1:-1, 1:-1], 150)


def relief(folder):
    """Write the relief that matplotlib carries (344 × 403 cells, taken as 90 m) as a raster."""
    with np.load(cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as data:
        height = data["elevation"].astype(float)
    assert (height.shape, height.min(), height.max()) == ((344, 403), 236, 1076)
    grid = Grid((500_000.0, 4_700_000.0), 90.0, 0, 0, 403, 344)
    path = folder / "relief.tif"
    band = Band("height", "m", height)
    write_raster(path, [band], grid=grid, crs="EPSG:32633", vertical_datum="not stated")
    return path, height


def test_mean_and_greatest_slope_of_real_relief(tmp_path):
    """Mean 11.937719°, greatest 33.759931° (computed beforehand with numpy and with gdaldem)."""
    _, height = relief(tmp_path)
    slope = slope_deg(*horn_gradient(height, 90.0))[1:-1, 1:-1]
    np.testing.assert_allclose(slope.mean(), 11.937719, atol=1e-5)
    np.testing.assert_allclose(slope.max(), 33.759931, atol=1e-5)


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not on this machine")
@pytest.mark.parametrize("view", list(GDALDEM))
def test_real_relief_against_an_independent_program(tmp_path, view):
    """The program gdaldem gives the slope within 1e-5° and the same lights in every cell."""
    path, height = relief(tmp_path)
    out = tmp_path / "out.tif"
    mode, *options = GDALDEM[view].split()
    command = ["gdaldem", mode, path, out, "-q", *options]
    subprocess.run(command, check=True, capture_output=True)
    with rasterio.open(out) as source:
        expected = source.read(1)[1:-1, 1:-1].astype(float)
    gradient = horn_gradient(height, 90.0)
    draw = {"slope": slope_deg, "hillshade": hillshade, "shade_around": shade_around}[view]
    found = draw(*gradient)[1:-1, 1:-1]
    np.testing.assert_allclose(found, expected, atol=1e-5 if view == "slope" else 0)


def test_local_relief_of_real_relief_against_a_convolution(tmp_path):
    """scipy.ndimage's mean over the same disc gives the same trend, to a micrometre."""
    _, height = relief(tmp_path)
    axis = np.arange(-7, 8)
    disc = (np.add.outer(axis**2, axis**2) <= 7.5**2).astype(float)
    trend = convolve(height, disc / disc.sum())
    found = local_relief(height, 90.0, 7.5 * 90.0)
    inner = (slice(7, -7), slice(7, -7))
    np.testing.assert_allclose(found[inner], (height - trend)[inner], atol=2e-6)


@pytest.mark.parametrize("most_cells", [403 * 11, 10**9])
def test_lines_of_real_relief_against_an_independent_library(tmp_path, most_cells):
    """The library contourpy draws as many lines at each height, through the same places."""
    path, height = relief(tmp_path)
    grid = read_grid(path)
    heights = np.array([300.5, 420.25, 555.5, 700.5, 901.0])
    drawn, _ = trace(lambda part: height[grid.window(part)], grid, heights, most_cells=most_cells)
    library = contour_generator(*grid.centres(), height, line_type=LineType.Separate)
    for at, mine in zip(heights, drawn, strict=True):
        theirs = library.lines(at)
        assert len(mine.lines) == len(theirs) > 0
        places = cKDTree(np.concatenate(theirs))
        assert places.query(np.concatenate(mine.lines))[0].max() < 1e-4
        closed = [
            sum(bool((one[0] == one[-1]).all()) for one in all_) for all_ in (mine.lines, theirs)
        ]
        assert closed[0] == closed[1]
        lengths = [
            np.sort([np.hypot(*np.diff(one, axis=0).T).sum() for one in all_])
            for all_ in (mine.lines, theirs)
        ]
        np.testing.assert_allclose(*lengths, rtol=1e-9, atol=1e-4)
