"""A hut of two rooms, every figure of which can be checked by hand, through the whole workflow.

`sites.hut_site` draws it: rooms of 4 by 5 and 3 by 5 m, walls of 0.5 m with their tops at -2.0 m,
a flat seabed at -3.0 m, a floor met at -3.5 m, sea level at +0.1 m. In the grid of its site a
metre is 0.99998 m long.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from pyproj import Proj

from sites import CRS, ORIGIN
from wrackline.io import read_json


@pytest.fixture(scope="module")
def scale():
    """Return PROJ's scale and convergence of the grid at the hut."""
    proj = Proj(CRS)
    factors = proj.get_factors(*proj(ORIGIN[0] + 14, ORIGIN[1] + 12, inverse=True))
    return factors.meridional_scale, factors.meridian_convergence


def layer(hut, name):
    """Return a layer of the record, sorted by its numbers."""
    table = gpd.read_file(hut / "results" / "site.gpkg", layer=name)
    return table.sort_values(table.columns[0], ignore_index=True)


def test_rooms(hut, scale):
    """Floors of 20 and 15 m², 18 and 16 m around, half as much again: on the ground."""
    rooms = layer(hut, "rooms")
    assert list(rooms["room"]) == ["R012-012", "R016-012"]
    np.testing.assert_allclose(rooms["floor_area_m2"], np.array([20, 15]) / scale[0] ** 2)
    np.testing.assert_allclose(rooms["perimeter_m"], np.array([18, 16]) / scale[0])
    np.testing.assert_allclose(rooms["elongation"], [5 / 4, 5 / 3])
    assert list(rooms["recorded_share"]) == [1, 1]


def test_sd_of_a_floor(hut):
    """With corners of 0.02 m, a floor's area has an sd of 0.02 m times its diagonal.

    A corner that moves gains half the diagonal before it, so the four add up to the diagonal's
    square; the ring's first and last point, which share a corner, have one side each.
    """
    rooms = layer(hut, "rooms")
    expected = 0.02 * np.hypot([4.0, 3.0], 5.0)
    np.testing.assert_allclose(rooms["floor_area_sd_m2"], expected, rtol=1e-3)


def test_axes(hut, scale):
    """The rooms run north in the grid, so their axis from true north is the convergence."""
    rooms = layer(hut, "rooms")
    np.testing.assert_allclose(rooms["axis_deg"], scale[1] % 180, atol=1e-3)


def test_building(hut, scale):
    """The hut covers 8.5 by 6 m; its wall tops lie 2.1 m below the sea."""
    (building,) = layer(hut, "buildings").to_dict("records")
    assert building["room_count"] == 2
    np.testing.assert_allclose(building["footprint_m2"], 8.5 * 6 / scale[0] ** 2)
    np.testing.assert_allclose(building["top_depth_m"], 2.1)
    np.testing.assert_allclose(building["bed_depth_m"], 3.1)


def test_wall_thickness(hut, scale):
    """The walls between inner and outer faces are 0.5 m thick, the one between the rooms too."""
    (body,) = layer(hut, "wall_bodies").to_dict("records")
    np.testing.assert_allclose(body["thickness_m"], 0.5 / scale[0])


def test_depths_in_rooms(hut):
    """The seabed lies at 3.1 m in both rooms, the floor at 3.6 m where it was met, else nowhere."""
    rooms = layer(hut, "rooms")
    np.testing.assert_allclose(rooms[["bed_depth_m", "bed_depth_min_m", "bed_depth_max_m"]], 3.1)
    np.testing.assert_allclose(rooms["floor_depth_m"], [3.6, np.nan])
    # 0.02 m of the one point, 0.01 m of the sea level's height
    np.testing.assert_allclose(rooms["floor_depth_sd_m"], [np.hypot(0.02, 0.01), np.nan])
    assert rooms["floor_evidence"][0] == "excavated"


def test_deposit(hut):
    """Half a metre of deposit lies over the floor that was met."""
    (found,) = pd.read_csv(hut / "results" / "tables" / "deposit.csv").to_dict("records")
    assert found["room"] == "R012-012"
    np.testing.assert_allclose(found["deposit_m"], 0.5)
    assert 0.02 < found["deposit_sd_m"] < 0.03


def test_jar(hut):
    """The jar lies in the eastern room, its top 3.0 m deep."""
    (jar,) = layer(hut, "features").to_dict("records")
    assert (jar["kind"], jar["room"], jar["survey"]) == ("jar", "R016-012", "2031-things")
    np.testing.assert_allclose(jar["top_depth_m"], 3.0)


def test_seabed(hut):
    """Every sounded cell has the height that was sounded."""
    with rasterio.open(hut / "results" / "seabed" / "height.tif") as raster:
        height = raster.read(1, masked=True)
    np.testing.assert_allclose(height.compressed(), -3.0, atol=1e-6)
    assert height.count() >= 42 * 36


def test_the_second_season_renames_nothing(hut):
    """Walls and rooms keep their numbers in the season that brought only soundings and floors."""
    assert read_json(hut / "work" / "seasons" / "2032" / "events.json") == []
    plans = [hut / "results" / "seasons" / name / "plan.gpkg" for name in ("2031", "2032")]
    for layer, field in (("wall_lines", "wall"), ("rooms", "room"), ("features", "feature")):
        before, now = (set(gpd.read_file(path, layer=layer)[field]) for path in plans)
        assert before == now
        assert before


def test_a_season_knows_nothing_of_later_ones(hut):
    """As known after the first season, the rooms have no depth, and say why."""
    rooms = gpd.read_file(hut / "results" / "seasons" / "2031" / "plan.gpkg", layer="rooms")
    assert rooms[["bed_depth_m", "floor_depth_m"]].isna().to_numpy().all()
    assert rooms["null_because"].str.contains("bed_depth_m: no soundings").all()
