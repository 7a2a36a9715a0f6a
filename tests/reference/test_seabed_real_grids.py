"""Real bathymetry through intake, fit and gridding: counts and ranges as published or carried."""

import datetime as dt
import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rasterio
from affine import Affine
from matplotlib import cbook

from wrackline.fit.points import Frame, fit_points
from wrackline.intake.points import read_bed
from wrackline.model import Survey, Vertical
from wrackline.points import Points, PointWriter
from wrackline.rasters import read_raster, ticks
from wrackline.seabed.gridding import Settings, grid_survey
from wrackline.uncertainty import ErrorModel, model_from_dict
from wrackline.verdict import Source

ROOT = Path(__file__).parents[2]
SHARED = Path(os.environ.get("WRACKLINE_DATA", ROOT.parent / "shared" / "data"))
HARBOUR = SHARED / "harbour-soundings" / "soundings_all_epochs_utm18s.csv"
SONAR = SHARED / "sonar-grid" / "JD211_public_Release_1-4_UTM.bag"


def through(folder, file, *, crs, origin, cell_m):
    """Take a grid through all steps; return the verdict and the surface's bands."""
    survey = Survey(
        name="grid",
        technique="as delivered",
        holds="bed_grid",
        file=file,
        crs=crs,
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=Vertical(meaning="height"),
        random_horizontal_sd_m=0.0,
        random_vertical_sd_m=0.1,
    )
    source = Source("2031-grid", survey, folder)
    verdict = read_bed(source, folder / "points.parquet", crs=crs, origin=origin)
    assert verdict.faults == []
    frame = Frame(crs, "as delivered", origin, {})
    account = fit_points(
        folder / "points.parquet", folder / "points.laz", source=source, frame=frame
    )
    grid_survey(
        folder / "points.laz",
        folder / "surface.tif",
        model=model_from_dict(account["model"]),
        frame={"crs": crs, "vertical_datum": "as delivered", "origin": origin},
        settings=Settings(cell_m, 0.0, structure_max_m=None),
    )
    return verdict, read_raster(folder / "surface.tif")[1]


@pytest.mark.skipif(not SONAR.is_file(), reason=f"no sonar grid at {SONAR}")
def test_a_real_multibeam_grid_keeps_its_cells_and_depths(tmp_path):
    """1,157,306 valid cells of 2 m from −52.957 to −50.987 m (the data's own notes), one node each.

    Its uncertainty band, 0.270 to 0.664 m, is the least sd of each cell.
    """
    (tmp_path / "grid.bag").symlink_to(SONAR)
    verdict, bands = through(
        tmp_path,
        "grid.bag",
        crs="EPSG:32602",
        origin=(620_152.872885373, 7_243_548.911727688),
        cell_m=2.0,
    )
    height = bands["height"][np.isfinite(bands["height"])]
    assert (verdict.rows, verdict.used, height.size) == (1478 * 1707, 1_157_306, 1_157_306)
    np.testing.assert_allclose([height.min(), height.max()], [-52.957, -50.987], atol=5e-4)
    assert np.nanmax(bands["count"]) == 1
    np.testing.assert_allclose(
        [np.nanmin(bands["sd"]), np.nanmax(bands["sd"])], [0.270, 0.664], atol=5e-4
    )


def test_a_real_sea_floor_comes_through_cell_by_cell(tmp_path):
    """The 91 × 120 heights that matplotlib carries, −1437 to 2205 m, are all found again.

    Taken as cells of 200 m; heights are kept to 0.1 mm, as everywhere between stages.
    """
    with np.load(cbook.get_sample_data("topobathy.npz", asfileobj=False)) as data:
        height = data["topo"].astype("float32")
    with rasterio.open(
        tmp_path / "grid.tif",
        "w",
        driver="GTiff",
        height=height.shape[0],
        width=height.shape[1],
        count=1,
        dtype="float32",
        crs="EPSG:32633",
        transform=Affine(200.0, 0.0, 500_000.0, 0.0, -200.0, 4_700_000.0 + 91 * 200.0),
    ) as target:
        target.write(height, 1)
    verdict, bands = through(
        tmp_path, "grid.tif", crs="EPSG:32633", origin=(500_000.0, 4_700_000.0), cell_m=200.0
    )
    assert (height.shape, verdict.used) == ((91, 120), 91 * 120)
    np.testing.assert_allclose(bands["height"], height, atol=3e-4)
    assert (round(float(height.min())), round(float(height.max()))) == (-1437, 2205)


def harbour(folder, epoch):
    """Return one epoch of the harbour's soundings gridded: what was set aside, grid and heights."""
    table = pd.read_csv(HARBOUR)
    mine, origin = table[table["epoch"] == epoch], (632_000.0, 5_897_000.0)
    with PointWriter(folder / "points.laz", crs="EPSG:32718", origin=origin) as writer:
        writer.write(Points(ticks(mine["E"]), ticks(mine["N"]), ticks(-mine["depth_m"])))
    found = grid_survey(
        folder / "points.laz",
        folder / "surface.tif",
        model=ErrorModel("2010-boat", 3.0, 0.1),
        frame={"crs": "EPSG:32718", "vertical_datum": "as sounded", "origin": origin},
        settings=Settings(10.0, 20.0),
    )
    grid, bands = read_raster(folder / "surface.tif")
    return found, grid, bands["height"]


@pytest.mark.skipif(not HARBOUR.is_file(), reason=f"no harbour soundings at {HARBOUR}")
@pytest.mark.parametrize("later", ["2010-03", "2011-02", "2013-03"])
def test_a_real_harbour_s_bed_was_lifted_as_published(tmp_path, later):
    """Soundings before and after the earthquake of 27 February 2010: no sounding is set aside.

    Wesson et al. 2015 (Nature Geoscience 8, 481) give an uplift of about 1.8 m, 1.6 to 2.2; inside
    their polygon the mean difference of these soundings, whose levels were not reduced alike, is
    1.46 m, sd 0.24 (the data's notes): the median of our cells lies within two of those sds.
    """
    before, old, first = harbour(tmp_path, "2010-01")
    after, new, second = harbour(tmp_path, later)
    assert len(before.lone) + len(after.lone) <= 0.001 * (before.points + after.points)
    both = old.intersection(new)
    risen = second[new.window(both)] - first[old.window(both)]
    risen = risen[np.isfinite(risen)]
    assert len(risen) > 30
    np.testing.assert_allclose(np.median(risen), 1.46, atol=2 * 0.24)
