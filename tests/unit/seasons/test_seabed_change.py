"""Change of the seabed between two seasons on surfaces whose change is known exactly."""

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "seabed"))

from changed import ORIGIN, grid_of, level, surface

from wrackline.rasters import read_raster
from wrackline.seasons import seabed_change
from wrackline.seasons.seabed_change import (
    BANDS,
    DUG,
    FILLED,
    MEASURED,
    WALL,
    Change,
    Outlines,
    measure_change,
    outlines_of,
)

CRS = "EPSG:32633"
ABOUT = {"earlier": "2031", "later": "2032", "vertical_datum": "levelling datum"}
ROWS, COLUMNS = 60, 80


def box(west, south, east, north):
    """Return a rectangle, metres from the origin."""
    return shapely.box(ORIGIN[0] + west, ORIGIN[1] + south, ORIGIN[0] + east, ORIGIN[1] + north)


def places():
    """Return east and north of the cells' centres, metres from the origin."""
    north, east = np.mgrid[ROWS - 1 : -1 : -1, 0:COLUMNS] + 0.5
    return east, north


def measured(tmp_path, old, new, outlines=None, **bands):
    """Return figures and bands of the change from one array of heights to another."""
    later = surface(new, level("2032-b", 0.02), **bands)
    earlier = surface(old, level("2031-a", 0.02))
    change = Change(earlier, later, outlines or Outlines(), CRS, 3.0)
    found = measure_change(change, tmp_path / "change.tif", ABOUT)
    return found, read_raster(tmp_path / "change.tif")[1], change.cell_m2


def test_a_tilted_plane_has_the_volume_of_its_wedges(tmp_path):
    """A plane from −0.4 m to +0.4 m: nothing net, two wedges of A · 0.1 m, came and went."""
    east, _ = places()
    found, bands, cell = measured(tmp_path, np.zeros((ROWS, COLUMNS)), 0.4 * (east / 40 - 1))
    ground = ROWS * COLUMNS * cell
    assert found["site"]["volume_m3"] == pytest.approx(0.0, abs=1e-3)
    assert found["site"]["area_m2"] == pytest.approx(ground)
    assert found["gross"]["came_m3"] == pytest.approx(0.1 * ground, rel=0.02)
    assert found["gross"]["went_m3"] == pytest.approx(0.1 * ground, rel=0.02)
    assert list(bands) == list(BANDS)
    assert len(found["areas"]) == 2


def test_a_dome_that_wandered_has_come_and_gone(tmp_path):
    """A dome of 2 π h r² moved by 40 m: nothing net, and its volume in either area."""
    east, north = places()
    volume = 2 * np.pi * 0.8 * 5**2

    def dome(x):
        return 0.8 * np.exp(-((east - x) ** 2 + (north - 30) ** 2) / 50)

    found, _, cell = measured(tmp_path, dome(20), dome(60))
    assert found["site"]["volume_m3"] == pytest.approx(0.0, abs=0.05)
    assert found["gross"]["came_m3"] == pytest.approx(volume * cell, rel=0.12)
    areas = found["areas"].set_index("change")
    for words, sign in (("ground has come", 1), ("ground has gone", -1)):
        row = areas.loc[words]
        assert row["volume_m3"] == pytest.approx(sign * volume * cell, rel=0.05)
        assert row["p"] < 1e-12


def test_the_random_sd_of_a_volume_is_the_roots_sum(tmp_path):
    """√n L² √(σ₁² + σ₂²) (Anderson 2019, doi:10.1002/esp.4551, eq. 11), and the mean's / n."""
    found, _, cell = measured(tmp_path, np.zeros((ROWS, COLUMNS)), np.zeros((ROWS, COLUMNS)))
    site, cells = found["site"], ROWS * COLUMNS
    assert site["volume_sd_m3"] == pytest.approx(np.sqrt(cells) * cell * 0.02 * np.sqrt(2))
    assert site["mean_sd_m"] == pytest.approx(0.02 * np.sqrt(2 / cells))
    assert list(site["causes_m3"]) == ["random"]


def test_dug_ground_is_set_apart_and_walls_are_left_out(tmp_path):
    """A trench of 4 by 6 m, 1 m deep, and a wall that lost its top are in no sum of the site."""
    new = np.zeros((ROWS, COLUMNS))
    new[20:26, 10:14] = -1.0
    new[10, 40:60] = -0.7
    outlines = Outlines(
        walls=[box(40.2, 49.2, 59.8, 49.8)], dug={"2032-t/T1": box(10, ROWS - 26, 14, ROWS - 20)}
    )
    found, bands, cell = measured(tmp_path, np.zeros((ROWS, COLUMNS)), new, outlines)
    assert found["site"]["volume_m3"] == 0.0
    assert found["dug"]["volume_m3"] == pytest.approx(-24 * cell)
    assert [(row["name"], round(row["volume_m3"], 6)) for row in found["trenches"]] == [
        ("2032-t/T1", round(-24 * cell, 6))
    ]
    assert (bands["ground"][20:26, 10:14] == DUG).all()
    assert (bands["ground"][10, 40:60] == WALL).all()
    assert len(found["areas"]) == 0
    assert found["grounds_m2"]["dug by the team"] == pytest.approx(found["dug"]["area_m2"])


def test_rooms_and_buildings_have_their_own_figures(tmp_path):
    """A room that silted by 0.3 m, one that didn't; cells wholly inside alone."""
    new = np.zeros((ROWS, COLUMNS))
    new[30:40, 20:30] = 0.3
    rooms = {"R1": box(20, 20, 30, 30), "R2": box(31, 20, 41, 30), "R3": box(500, 0, 510, 10)}
    outlines = Outlines(rooms, {"B1": box(19, 19, 42, 31)})
    found, _, cell = measured(tmp_path, np.zeros((ROWS, COLUMNS)), new, outlines)
    first, second, far = found["rooms"]
    assert (first["name"], first["mean_m"]) == ("R1", pytest.approx(0.3))
    assert (first["cells"], first["compared_share"]) == (64, pytest.approx(0.64))
    assert second["mean_m"] == 0.0
    assert (far["cells"], far["mean_m"]) == (0, None)
    (building,) = found["buildings"]
    assert building["volume_m3"] == pytest.approx(30 * cell)


def test_filled_ground_counts_in_the_volume_and_in_no_area(tmp_path):
    """A gap filled a metre too high: in the sum with its sd, but no area of change."""
    new, filled = np.zeros((ROWS, COLUMNS)), np.zeros((ROWS, COLUMNS))
    new[10:20, 10:20], filled[10:20, 10:20] = 1.0, 1.0
    found, bands, cell = measured(tmp_path, np.zeros((ROWS, COLUMNS)), new, filled=filled)
    assert found["site"]["volume_m3"] == pytest.approx(100 * cell)
    assert found["site"]["filled_share"] == pytest.approx(100 / (ROWS * COLUMNS))
    assert len(found["areas"]) == 0
    assert set(np.unique(bands["ground"])) == {MEASURED, FILLED}


def test_strips_leave_no_trace(tmp_path, monkeypatch):
    """Whole or in strips: the same areas, and figures to rounding."""
    rng = np.random.default_rng(5)
    new = rng.normal(0, 0.02, (ROWS, COLUMNS))
    new[20:30, 30:50] += 0.3
    whole, bands, _ = measured(tmp_path, np.zeros((ROWS, COLUMNS)), new)
    monkeypatch.setattr(seabed_change, "STRIP_CELLS", 7 * COLUMNS)
    strips, again, _ = measured(tmp_path, np.zeros((ROWS, COLUMNS)), new)
    np.testing.assert_array_equal(bands["area"], again["area"])
    assert strips["site"]["volume_m3"] == pytest.approx(whole["site"]["volume_m3"])
    assert strips["gross"] == pytest.approx(whole["gross"])


def test_seasons_apart_say_so(tmp_path):
    """No ground in common: null with its reason, never 0."""
    earlier = surface(np.zeros((5, 5)), level("2031-a", 0.02))
    grid = grid_of(5, 5)
    far = type(grid)(grid.origin, 1.0, 100, 0, 105, 5)
    later = surface(np.zeros((5, 5)), level("2032-b", 0.02), grid=far)
    found = measure_change(Change(earlier, later, Outlines(), CRS, 3.0), tmp_path / "c.tif", ABOUT)
    assert found["null_because"] == "the two seasons have no ground in common"
    assert found["site"]["volume_m3"] is None
    assert found["gross"]["came_m3"] is None
    assert len(found["areas"]) == 0


def test_what_of_a_building_is_no_room_is_wall():
    """Walls traced by their centre have no body, and are left out all the same."""
    plan = {
        "rooms": gpd.GeoDataFrame({"room": ["R1"]}, geometry=[box(1, 1, 4, 4)], crs=CRS),
        "buildings": gpd.GeoDataFrame({"building": ["B1"]}, geometry=[box(0, 0, 5, 5)], crs=CRS),
        "wall_bodies": gpd.GeoDataFrame({"wall": []}, geometry=[], crs=CRS),
    }
    trenches = gpd.GeoDataFrame(
        {"survey": ["2032-t"] * 2, "line": ["T1", None]},
        geometry=[box(2, 2, 3, 3), shapely.LineString(box(6, 6, 8, 8).exterior.coords)],
        crs=CRS,
    )
    found = outlines_of(plan, [trenches], None)
    assert sum(shape.area for shape in found.walls) == pytest.approx(25 - 9)
    assert {name: shape.area for name, shape in found.dug.items()} == {
        "2032-t/T1": 1.0,
        "2032-t/#2": 4.0,
    }
