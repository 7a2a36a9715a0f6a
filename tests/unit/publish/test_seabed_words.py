"""What the report says of the composite: counted by hand, strip by strip."""

import numpy as np
import pytest

from wrackline.io import write_json
from wrackline.publish import seabed_words as words
from wrackline.rasters import Band, Grid, write_raster


@pytest.fixture
def composite(tmp_path):
    """Write a composite of 100 cells: 10 empty, 18 filled, two surveys 3 to 1 where both join."""
    grid = Grid((0.0, 0.0), 0.5, 0, 0, 10, 10)
    height = np.full(grid.shape, -3.0)
    height[0] = np.nan
    known = np.isfinite(height)
    sd = np.where(known, np.arange(100.0).reshape(10, 10) / 1000, np.nan)
    filled = np.where(known, (np.arange(100).reshape(10, 10) % 5 == 0) * 1.0, np.nan)
    one = np.full(grid.shape, np.nan)
    one[1:], other = 0.75, np.full(grid.shape, np.nan)
    other[1:] = 0.25
    bands = {"height": height, "sd": sd, "filled": filled, "share:a-a": one, "share:a-b": other}
    bands["share:a-c"] = np.full(grid.shape, np.nan)
    write_raster(
        tmp_path / "s.tif",
        [Band(name, "1", values) for name, values in bands.items()],
        grid=grid,
        crs="EPSG:32633",
        vertical_datum="msl",
    )
    pairs = [
        {"newer": "a-a", "older": "a-b", "cells": 200, "apart_95": 30, "mean_m": 0.04},
        {"newer": "a-a", "older": "a-c", "cells": 200, "apart_95": 9, "mean_m": 0.01},
    ]
    write_json(
        {"sources": ["a-a", "a-b", "a-c"], "fill_distance_m": 1.5, "pairs": pairs},
        tmp_path / "s.json",
    )
    return [tmp_path / "s.tif"], [tmp_path / "s.json"]


@pytest.mark.parametrize("piece", [1, 30, 1_000_000])
def test_figures_are_as_by_hand_whatever_the_strips(composite, monkeypatch, piece):
    """Shares by weight; pairs apart in more cells than chance leaves; sds from 0.010 to 0.099."""
    monkeypatch.setattr(words, "PIECE_CELLS", piece)
    said = words.seabed_words(*composite)
    assert (said["cells"], said["cell_m"], said["fill_distance_m"]) == (90, 0.5, 1.5)
    assert said["measured"] == pytest.approx(72 / 90)
    assert said["sources"] == [("a-a", 0.75), ("a-b", 0.25)]
    assert said["apart"] == [("a-a", "a-b", 200, 0.15, 0.04)]
    sds = np.arange(10, 100) / 1000
    assert said["sd_low"] == pytest.approx(np.quantile(sds, 0.05, method="inverted_cdf"))
    assert said["sd_high"] == pytest.approx(np.quantile(sds, 0.95, method="inverted_cdf"))


def test_no_surface_says_nothing():
    """A site without soundings has no words on its seabed."""
    assert words.seabed_words([], []) == {}
