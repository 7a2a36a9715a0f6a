"""The map of the seabed's total uncertainty: true classes and shares, readable in grey."""

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from PIL import Image

from wrackline.accuracy.standards import MATRIX
from wrackline.publish import uncertainty_map
from wrackline.publish.uncertainty_map import COLOURS, ENDS_M, draw_uncertainty, reduced
from wrackline.rasters import Band, Grid, RasterReader, write_raster

GRID = Grid((500_000.0, 4_700_000.0), 0.5, 0, 0, 30, 23)
ABOUT = {"site": "Somewhere", "vertical_datum": "msl", "surveyed": "2031", "caution": "No."}


@pytest.fixture
def surface(tmp_path):
    """Write a surface whose western third is unknown and whose eastern third is filled."""
    column = np.arange(30)[None] + np.zeros(GRID.shape)
    sd = np.where(column < 10, np.nan, np.where(column < 20, 0.04, 0.12))
    bands = [Band("sd", "m", sd), Band("filled", "1", np.where(column >= 20, 1.0, 0 * sd))]
    write_raster(tmp_path / "s.tif", bands, grid=GRID, crs="EPSG:32633", vertical_datum="msl")
    return tmp_path / "s.tif"


def test_classes_end_at_values_of_the_matrix():
    """Each end is a value of a in S-44's matrix, and there is a colour for each class."""
    assert set(ENDS_M) < set(MATRIX["Bc"])
    assert len(COLOURS) == len(ENDS_M) + 1


def test_each_class_is_darker_than_the_one_before():
    """Luma (ITU-R BT.601) falls by at least 7 % of the scale from class to class."""
    luma = [float(np.dot(to_rgb(colour), (0.299, 0.587, 0.114))) for colour in COLOURS]
    assert (np.diff(luma) < -0.07).all()


def test_shares_are_of_the_known_cells(surface):
    """1.96 · 0.04 m is in the second class, 1.96 · 0.12 m in the fifth; half the cells each."""
    with RasterReader(surface) as raster:
        dots, shares, filled = reduced(raster)
    np.testing.assert_allclose(shares, [0, 0.5, 0, 0, 0.5, 0, 0, 0, 0])
    assert filled == 0.5
    assert np.isnan(dots[:, :10]).all()
    np.testing.assert_allclose(dots[:, 10:], np.repeat([[1.96 * 0.04, 1.96 * 0.12]], 10, axis=1)
                               + np.zeros((23, 1)), rtol=1e-6)  # fmt: skip


@pytest.mark.parametrize("strip", [30, 90, 690])
def test_dots_are_root_mean_squares_whatever_the_strips(surface, monkeypatch, strip):
    """Dots of 4 by 4 cells, the last ones smaller, are those that numpy gives block by block."""
    monkeypatch.setattr(uncertainty_map, "WIDEST_DOTS", 8)
    strips = Grid.strips
    monkeypatch.setattr(Grid, "strips", lambda self: strips(self, strip))
    with RasterReader(surface) as raster:
        sd = raster.read(GRID, ("sd",))["sd"]
        dots, *_ = reduced(raster)
    assert dots.shape == (6, 8)
    for row in range(6):
        for column in range(8):
            block = sd[4 * row : 4 * row + 4, 4 * column : 4 * column + 4]
            known = block[np.isfinite(block)]
            expected = 1.96 * np.sqrt((known**2).mean()) if known.size else np.nan
            np.testing.assert_allclose(dots[row, column], expected)


def test_the_map_shows_its_classes_and_carries_no_date(surface, tmp_path):
    """Both classes' colours cover the picture in equal parts; equal input gives equal bytes."""
    for name in ("a.png", "b.png"):
        draw_uncertainty(surface, ABOUT, tmp_path / name)
    content = (tmp_path / "a.png").read_bytes()
    assert content == (tmp_path / "b.png").read_bytes()
    assert b"tIME" not in content
    dots = np.asarray(Image.open(tmp_path / "a.png").convert("RGB")).reshape(-1, 3)
    second, fifth = (
        int((dots == np.round(255 * np.array(to_rgb(COLOURS[k])))).all(axis=1).sum())
        for k in (1, 4)
    )
    assert second > 50_000
    np.testing.assert_allclose(second, fifth, rtol=0.05)
