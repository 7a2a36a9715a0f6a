"""Slope and hillshade against exact planes and an independent program on real relief."""

import shutil
import subprocess

import numpy as np
import pytest
import rasterio
from matplotlib import cbook

from wrackline.rasters import Band, Grid, write_raster
from wrackline.seabed.relief import hillshade, horn_gradient, slope_deg


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
@pytest.mark.parametrize("view", ["slope", "hillshade"])
def test_real_relief_against_an_independent_program(tmp_path, view):
    """The program gdaldem gives the slope within 1e-5° and the same hillshade in every cell."""
    path, height = relief(tmp_path)
    out = tmp_path / "out.tif"
    subprocess.run(["gdaldem", view, path, out, "-q"], check=True, capture_output=True)
    with rasterio.open(out) as source:
        expected = source.read(1)[1:-1, 1:-1].astype(float)
    gradient = horn_gradient(height, 90.0)
    found = (slope_deg if view == "slope" else hillshade)(*gradient)[1:-1, 1:-1]
    np.testing.assert_allclose(found, expected, atol=1e-5 if view == "slope" else 0)
