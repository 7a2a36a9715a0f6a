"""Charts of 1804, 1835 and 1886: pixels into the grid, brazas and fathoms into metres."""

import os
from pathlib import Path

import numpy as np
import pytest
from scipy.io import loadmat

from sites import survey, write_rows, write_site
from wrackline.config import load_site
from wrackline.fit.similarity import fit_local_grid
from wrackline.intake.points import read_bed
from wrackline.model import UNITS_M
from wrackline.verdict import Source

ROOT = Path(__file__).parents[2]
SHARED = Path(os.environ.get("WRACKLINE_DATA", ROOT.parent / "shared" / "data"))
CHARTS = SHARED / "harbour-soundings" / "charts"
UTM = "EPSG:32718"


def chart(year):
    """Return a chart's soundings in pixels and its own unit, and their places as published."""
    if not CHARTS.is_dir():
        pytest.skip(f"no charts in {CHARTS}")
    raw = loadmat(CHARTS / "HistoricalData.mat")
    placed = loadmat(CHARTS / "HistoricalData_georeferenced.mat")
    return raw[f"xyz{year}"], placed[f"xy{year}utm"], placed[f"z{year}m"].ravel()


@pytest.mark.parametrize(
    ("year", "unit", "per_m"), [(1804, "braza", 1e-3), (1835, "fathom", 3e-3), (1886, "metre", 0)]
)
def test_a_chart_is_read_in_pixels_and_the_units_of_its_day(tmp_path, year, unit, per_m):
    """Every eighth sounding as a mark places the others; depths come out in metres.

    Soundings of Wesson et al. 2015, Nature Geoscience 8, 481 (US Geological Survey, public domain);
    the published metres are rounded factors of 1.6719 and 1.828 m.
    """
    pixels, utm, metres = chart(year)
    marks = [
        {"point": f"s{k}", "local": pixels[k, :2].tolist(), "site": utm[k].tolist()}
        for k in range(0, len(pixels), 8)
    ]
    rows = {"x": pixels[:, 0], "y": pixels[:, 1], "depth": pixels[:, 2]}
    write_rows(tmp_path / "chart.csv", **rows)
    write_site(
        tmp_path,
        {
            "1900": [
                survey(
                    "chart",
                    "chart.csv",
                    "bed_points",
                    crs=None,
                    local_grid={"method": "affine", "points": marks, "control_sd_m": 5.0},
                    columns={"easting": "x", "northing": "y", "vertical": "depth"},
                    vertical={"meaning": "depth_below_datum", "unit": unit},
                )
            ]
        },
        crs=UTM,
        origin=[632000, 5896000],
    )
    config = load_site(tmp_path)
    chosen = config.surveys["1900-chart"]
    out = tmp_path / "points.parquet"
    verdict = read_bed(
        Source("1900-chart", chosen, tmp_path), out, crs=UTM, origin=config.site.origin
    )
    assert verdict.faults == []
    assert verdict.used == len(pixels)
    assert verdict.vertical == pytest.approx([metres.min(), metres.max()], rel=per_m or 1e-12)
    places = fit_local_grid(chosen.local_grid).apply(pixels[:, :2])
    assert np.abs(places - utm).max() < 1.0
    assert UNITS_M[unit] * pixels[0, 2] == pytest.approx(metres[0], rel=per_m or 1e-12)
