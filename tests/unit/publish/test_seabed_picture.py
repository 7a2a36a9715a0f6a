"""Pictures of the seabed: rasters made small, walls to be seen, keys with units, the same bytes."""

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image

from wrackline import contract, vectors
from wrackline.publish import pictures
from wrackline.publish.pictures import Seabed, draw_seabed
from wrackline.publish.shrinking import Small, shrunk
from wrackline.rasters import Band, Grid, write_raster

ABOUT = {
    "site": "A quay (invented)",
    "vertical_datum": "invented",
    "caution": "Not for navigation.",
}
FRAME = {"crs": "EPSG:32625", "vertical_datum": "invented"}
ORIGIN = (324400.0, 4207600.0)


def written(path, height, cell=0.5):
    """Write heights as a raster and return its path."""
    grid = Grid(ORIGIN, cell, 2, 3, 2 + height.shape[1], 3 + height.shape[0])
    write_raster(path, [Band("height", "m", height)], grid=grid, **FRAME)
    return path


@pytest.mark.parametrize("piece", [1, 50, 10**9])
def test_small_rasters_are_means_of_blocks(tmp_path, monkeypatch, piece):
    """Blocks of 3 by 3 are averaged over what is known, whatever the pieces read at a time."""
    monkeypatch.setattr("wrackline.publish.shrinking.PIECE_CELLS", piece)
    height = np.arange(7 * 11, dtype=float).reshape(7, 11)
    height[0:3, 0:3] = np.nan
    height[3, 3] = np.nan
    small = shrunk(written(tmp_path / "a.tif", height), ["height"], 4)
    values = small.bands["height"]
    assert values.shape == (3, 4)
    assert np.isnan(values[0, 0])
    assert values[1, 1] == pytest.approx(np.nanmean(height[3:6, 3:6]))
    assert values[2, 3] == pytest.approx(height[6:, 9:].mean())
    west, north = ORIGIN[0] + 1.0, ORIGIN[1] + 5.0
    assert small.extent == (west, west + 6.0, north - 4.5, north)


def test_small_enough_rasters_stay_as_they_are(tmp_path):
    """No cell is averaged where there is room for all, and unknown ones stay unknown."""
    height = np.arange(12, dtype=float).reshape(3, 4)
    height[1, 1] = np.nan
    small = shrunk(written(tmp_path / "a.tif", height), ["height"], 4)
    np.testing.assert_array_equal(small.bands["height"], height)


def seabed(height=None):
    """Return a seabed of 40 by 60 cells with a wall across it."""
    height = np.tile(np.linspace(-3, -2, 60), (40, 1)) if height is None else height
    relief = np.where(np.isnan(height), np.nan, 0.0)
    relief[18:21] += 0.3
    extent = (0.0, 30.0, 0.0, 20.0)
    bands = {"height": height, "sd": np.where(np.isnan(height), np.nan, 0.05)}
    light = np.where(np.isnan(height), np.nan, 181.0)
    return Seabed(
        Small(bands, extent),
        Small({"shade_around": light}, extent),
        Small({"local_relief": relief}, extent),
        vectors.empty(contract.columns("contours"), FRAME["crs"]),
    )


def test_a_wall_is_light_on_grey(tmp_path):
    """In the picture, in grey, the wall is lighter than the ground around it by half the greys."""
    draw_seabed(seabed(), ABOUT, tmp_path / "seabed.png")
    with Image.open(tmp_path / "seabed.png") as opened:
        grey = np.asarray(opened.convert("L"), dtype=float)
    column = grey[: grey.shape[0] // 2, grey.shape[1] // 3]
    ground = np.median(column[(column > 60) & (column < 200)])
    assert ground == pytest.approx(127, abs=5)
    assert (column > ground + 100).sum() > 30


def test_every_panel_has_a_key_with_its_unit(tmp_path, monkeypatch):
    """Local relief, height and sd each have a bar that says metres."""
    drawn = []
    monkeypatch.setattr(pictures, "save", lambda figure, paths: drawn.append(figure))
    draw_seabed(seabed(), ABOUT, tmp_path / "seabed.png")
    (figure,) = drawn
    assert isinstance(figure, Figure)
    bars = [axes.get_ylabel() for axes in figure.axes if axes.get_label() == "<colorbar>"]
    assert len(bars) == 3
    assert all(label.endswith("[m]") for label in bars)


@pytest.mark.parametrize("known", [True, False])
def test_pictures_are_the_same_bytes_each_time(tmp_path, known):
    """The same seabed gives the same file; one of which nothing is known can be drawn too."""
    height = None if known else np.full((40, 60), np.nan)
    for name in ("a.png", "b.png"):
        draw_seabed(seabed(height), ABOUT, tmp_path / name)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
