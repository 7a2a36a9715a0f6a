"""The seabed's change as people get it: a table, a layer, a map."""

import sys
from pathlib import Path

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "seabed"))

from changed import ORIGIN, level, surface

from wrackline import contract, vectors
from wrackline.publish.change_map import CAME, WENT, Dots, draw_change, outer, reduced, tones
from wrackline.publish.change_table import change_areas, change_table
from wrackline.publish.rasters import publish_change
from wrackline.rasters import RasterReader
from wrackline.seasons.seabed_change import Change, Outlines, measure_change, seasons_of

CRS = "EPSG:32633"
ABOUT = {
    "site": "Somewhere",
    "crs": CRS,
    "vertical_datum": "levelling datum",
    "depths": "below mean sea level",
    "uncertainties": "sd is one standard uncertainty",
    "credit": "invented",
    "caution": "Not for navigation and not for dive planning.",
}
ROOM = shapely.box(ORIGIN[0] + 5, ORIGIN[1] + 5, ORIGIN[0] + 15, ORIGIN[1] + 15)


@pytest.fixture
def pair(tmp_path):
    """Return figures, areas and the raster of two seasons: a heap came, a hollow went."""
    new = np.zeros((40, 60))
    new[10:16, 10:18], new[25:32, 40:50] = 0.5, -0.3
    earlier = surface(np.zeros((40, 60)), level("2031-a", 0.02))
    later = surface(new, level("2032-b", 0.02))
    outlines = Outlines({"R1": ROOM}, {}, [], {"2032-t/T1": shapely.box(0, 0, 1, 1)})
    about = seasons_of("2031", earlier, "2032", later)
    raster = tmp_path / "change.tif"
    change = Change(earlier, later, outlines, CRS, 3.0)
    found = measure_change(change, raster, {**about, "vertical_datum": "levelling datum"})
    areas = found.pop("areas").assign(earlier="2031", later="2032")
    path = tmp_path / "areas.parquet"
    vectors.write(areas, contract.columns("seabed_change_areas"), path)
    return {**about, **found}, path, raster


def test_the_table_has_a_row_for_each_region(pair):
    """Site, stable and dug ground always; areas, rooms and trenches that were compared."""
    figures, path, _ = pair
    table = change_table([figures], change_areas([path], CRS))
    assert list(table.columns) == list(contract.table_columns("seabed_change"))
    assert table["scope"].tolist() == [
        "site", "stable ground", "dug by the team", "area of change", "area of change", "room"
    ]  # fmt: skip
    site = table.iloc[0]
    assert site["came_m3"] - site["went_m3"] == pytest.approx(site["volume_m3"])
    assert table.iloc[1]["note"].startswith("no ground is stated as stable")
    assert set(table["note"].iloc[3:5]) == {"ground has come", "ground has gone"}
    assert table["p"].iloc[3:5].max() < 1e-6


def test_a_site_of_one_season_has_an_empty_layer_and_table():
    """No pair, no rows, but all fields."""
    areas = change_areas([], CRS)
    assert len(areas) == 0
    assert list(change_table([], areas).columns) == list(contract.table_columns("seabed_change"))


def test_the_raster_says_what_it_is(pair, tmp_path):
    """Seasons, dates, surveys, datum and caution are in its tags, the bands as they were."""
    figures, _, raster = pair
    publish_change(raster, figures, ABOUT, tmp_path / "out.tif")
    with RasterReader(tmp_path / "out.tif") as out, RasterReader(raster) as own:
        tags = out._source.tags()
        assert out.names == own.names
        np.testing.assert_array_equal(out.read(own.grid)["sd"], own.read(own.grid)["sd"])
    assert "2031: 2031-06-01 to 2031-06-02 (2031-a)" in tags["surveyed"]
    assert tags["vertical_datum"] == "levelling datum"
    assert "navigation" in tags["caution"]


def test_the_map_is_drawn_and_the_same_twice(pair, tmp_path):
    """A PNG with figures and caution, equal bytes for equal input."""
    figures, path, raster = pair
    rooms = gpd.GeoDataFrame({"room": ["R1"]}, geometry=[ROOM], crs=CRS)
    plan = {"areas": vectors.read(path), "rooms": rooms}
    for name in ("one.png", "two.png"):
        draw_change(raster, figures, plan, ABOUT, tmp_path / name)
    first, second = ((tmp_path / name).read_bytes() for name in ("one.png", "two.png"))
    assert first == second
    assert first[:8] == b"\x89PNG\r\n\x1a\n"


def test_dots_keep_signs_and_leave_noise_white(pair):
    """Means of the cells; within the level of detection 0."""
    with RasterReader(pair[2]) as reader:
        dots = reduced(reader)
    assert dots.difference[12, 12] == pytest.approx(0.5)
    assert dots.difference[28, 45] == pytest.approx(-0.3)
    assert dots.difference[0, 0] == 0.0
    colours = tones(dots)
    assert colours[0, 0].tolist() == [255, 255, 255, 255]
    assert colours[12, 12].tolist()[:3] == [int(CAME[3][k : k + 2], 16) for k in (1, 3, 5)]
    unknown = Dots(np.full((2, 2), np.nan), *[np.zeros((2, 2), bool)] * 2, (0, 2, 0, 2))
    assert (tones(unknown)[..., 3] == 0).all()


@pytest.mark.parametrize("colours", [CAME, WENT])
def test_tones_darken_with_the_size_of_the_change(colours):
    """In grey (Rec. 601 luma) each class is darker than the one before, by a tenth at least."""
    rgb = np.array([mpl.colors.to_rgb(colour) for colour in colours])
    assert (np.diff(rgb @ [0.299, 0.587, 0.114]) < -0.1).all()


def test_outlines_have_no_pinholes():
    """Holes smaller than the ground averaged are not drawn, larger ones are."""
    holed = shapely.box(0, 0, 20, 20) - shapely.box(2, 2, 3, 3) - shapely.box(8, 8, 14, 14)
    (drawn,) = outer(gpd.GeoSeries([holed]), 9.0)
    assert [len(ring.coords) for ring in drawn.interiors] == [5]
    assert drawn.area == pytest.approx(400 - 36)
