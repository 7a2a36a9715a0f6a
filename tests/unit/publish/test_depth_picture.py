"""Depths of buildings and sections across the site: what is told is what is drawn, to scale."""

import json

import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import site
from printed_page import by_gid, cut, gids, touching
from report_site import ABOUT, bare_plan, layer
from shapely.geometry import LineString
from surface_file import write_surface

from wrackline.model import Site
from wrackline.publish.text_pictures.depths import HEIGHTS, depth_table, draw_depths, wall_bases
from wrackline.publish.text_pictures.profile import EXAGGERATIONS, draw_profile, profile_table
from wrackline.publish.text_pictures.section_line import (
    SectionLine,
    crossings,
    floors_met,
    recorded_lines,
    sample_line,
    site_line,
)
from wrackline.publish.text_pictures.style import PAGE_MM
from wrackline.rasters import Grid

LEVELS = [
    {"name": "msl", "height_m": 0.5, "sd_m": 0.02},
    {"name": "high water", "height_m": 1.1, "sd_m": 0.05},
]


def two_levels():
    """Return a site of two named sea levels, depths from the first."""
    told = json.loads(site().model_dump_json())
    return Site.model_validate(told | {"sea_levels": LEVELS, "high_water": "high water"})


def houses(number=60, fall=0.05):
    """Return a plan of houses in rows, the bed falling to the east, walls with tops and bases."""
    buildings, walls, rooms, bodies = [], [], [], []
    for k in range(number):
        east, north = 20.0 * (k % 10), 25.0 * (k // 10)
        depth = 1.0 + fall * (east + 4)
        told = {"building": f"B{east:03.0f}-{north:03.0f}", "bed_depth_m": depth}
        told |= {"bed_depth_sd_m": 0.04, "top_depth_m": depth - 0.5, "top_depth_sd_m": 0.03}
        told |= {"floor_depth_m": depth + 0.7, "floor_depth_sd_m": 0.02} if k % 3 == 0 else {}
        buildings.append((told, shapely.box(east, north, east + 8, north + 6)))
        rooms.append(({"room": f"R{k:03}", "building": told["building"],
                       "floor_depth_m": told.get("floor_depth_m"), "floor_depth_sd_m": 0.02},
                      shapely.box(east + 0.5, north, east + 7.5, north + 6)))  # fmt: skip
        for x in (0.0, 0.5, 7.5, 8.0):
            line = LineString([(east + x, north, -depth), (east + x, north + 6, -depth)])
            wall = {"wall": f"W{k:03}-{x:g}", "evidence": "recorded", "length_m": 6.0}
            wall |= {"top_depth_m": depth - 0.5, "top_depth_sd_m": 0.03}
            walls.append((wall | {"base_depth_m": depth + 0.2, "base_depth_sd_m": 0.06}, line))
        for x in (0.0, 7.5):
            bodies.append(({"wall": "W"}, shapely.box(east + x, north, east + x + 0.5, north + 6)))
    rows = {"buildings": buildings, "wall_lines": walls, "rooms": rooms, "wall_bodies": bodies}
    return bare_plan(**{name: layer(name, *zip(*part, strict=True)) for name, part in rows.items()})


@pytest.fixture(scope="module")
def slope(tmp_path_factory):
    """Write a bed that falls by 5 cm a metre to the east, its middle third filled, with a hole."""
    path = tmp_path_factory.mktemp("bed") / "bed.tif"
    grid = Grid.around((0.0, 0.0), 0.5, (-30.0, -20.0, 240.0, 170.0))
    east, _ = np.broadcast_arrays(grid.centres()[0][None, :], np.zeros(grid.shape))
    height = 0.5 - (1.0 + 0.05 * east)
    height = np.where((east > 100) & (east < 110), np.nan, height)
    filled = np.where(np.isnan(height), np.nan, (east > 60) & (east < 120))
    sd = np.where(np.isnan(height), np.nan, 0.05)
    return write_surface(path, grid, height=height, sd=sd, filled=filled.astype(float))


def test_every_mark_is_a_row():
    """Marks of each of the four heights stand where the table has them, column by column."""
    table = depth_table(houses(), two_levels())
    made = draw_depths(table, ABOUT)
    for of in HEIGHTS:
        rows = table[(table["of"] == of) & table["depth_m"].notna()]
        marks = [line.get_xydata() for line in gids(made, of.replace(" ", "-") + "-").values()]
        drawn = np.concatenate(marks)
        np.testing.assert_allclose(
            drawn[np.argsort(drawn[:, 0])], rows[["place", "depth_m"]].astype(float), atol=1e-9
        )


def test_columns_go_from_shallow_to_deep():
    """The columns are in the order of the seabed's depth; what isn't measured has its reason."""
    table = depth_table(houses(), two_levels())
    bed = table[table["of"] == "seabed"].sort_values("place")
    assert bed["depth_m"].astype(float).is_monotonic_increasing
    assert bed["place"].tolist() == list(range(1, 61))
    lost = table[table["depth_m"].isna()]
    assert set(lost["of"]) == {"floor"}
    assert lost["null_because"].str.len().gt(0).all()


def test_levels_are_depths_below_the_sites_own():
    """High water 0.6 m above mean sea level stands at a depth of -0.6 m, and is drawn there."""
    table = depth_table(houses(4), two_levels())
    told = table[table["of"] == "sea level"].set_index("name")["depth_m"].astype(float)
    np.testing.assert_allclose([told["msl"], told["high water"]], [0, -0.6])
    made = draw_depths(table, ABOUT)
    assert by_gid(made, "sea-level-2").get_ydata()[0] == pytest.approx(-0.6)


def test_bases_are_means_by_length():
    """Two walls of 2 m and 6 m with bases at 1 m and 2 m: 1.75 m; sds as if all were shared."""
    walls = [({"wall": "A", "evidence": "recorded", "length_m": 2.0, "base_depth_m": 1.0,
               "base_depth_sd_m": 0.1}, LineString([(0, 0), (2, 0)])),
             ({"wall": "B", "evidence": "recorded", "length_m": 6.0, "base_depth_m": 2.0,
               "base_depth_sd_m": 0.2}, LineString([(0, 0), (0, 6)]))]  # fmt: skip
    ground = layer("buildings", [{"building": "B"}, {"building": "C"}],
                   [shapely.box(0, 0, 6, 6), shapely.box(20, 0, 26, 6)])  # fmt: skip
    found = wall_bases(layer("wall_lines", *zip(*walls, strict=True)), ground)
    np.testing.assert_allclose(found[0], [1.75, 0.175])
    assert np.isnan(found[1]).all()


def test_five_hundred_buildings_keep_apart():
    """Of 500 buildings as many numbers are written as have room."""
    made = draw_depths(depth_table(houses(500), two_levels()), ABOUT)
    assert touching(made) == []
    assert cut(made) == []
    assert made.figure.get_figheight() * 25.4 < 297


def test_the_sites_section_goes_down_the_slope():
    """On a bed that falls to the east the section runs east and crosses ten buildings."""
    plan = houses()
    line = site_line(plan)
    assert line.follows == "slope"
    assert line.end[0] > line.start[0]
    assert line.end[1] == pytest.approx(line.start[1], abs=1e-6)
    assert plan["buildings"].intersects(line.shape).sum() == 10


def test_a_level_site_is_cut_along_its_long_axis():
    """Without a slope the section follows the longer side of what stands there."""
    plan = houses(10, fall=0.0)
    line = site_line(plan)
    assert line.follows == "long axis"
    assert abs(line.end[1] - line.start[1]) < 0.01 * line.length_m
    assert site_line(bare_plan()) is None


def test_the_beds_cells_are_read_where_the_line_lies(slope):
    """Each sample is the cell that its place lies in: heights of the plane at cell centres."""
    line = SectionLine("", (0.2, 3.1), (200.2, 103.1), "slope")
    told = sample_line(line, slope)
    places = line.places(told["distance"])
    centre = (np.floor(places[:, 0] / 0.5) + 0.5) * 0.5
    expected = np.where((centre > 100) & (centre < 110), np.nan, 0.5 - (1.0 + 0.05 * centre))
    np.testing.assert_allclose(told["height"], expected, atol=1e-4)
    assert np.diff(told["distance"]).max() == pytest.approx(0.5)
    long = sample_line(SectionLine("", (-4000.0, 3.0), (4000.0, 3.0), "slope"), slope)
    assert len(long["distance"]) <= 1501
    assert np.isfinite(long["height"]).any()


def test_walls_are_met_where_geometry_says():
    """Tops lie in the wall's body from face to face; a wall without a body is a point."""
    plan = houses(2)
    told = {"wall": "X", "evidence": "recorded", "top_depth_m": 0.2, "top_depth_sd_m": 0.1}
    lone = layer("wall_lines", [told], [LineString([(13, 0), (13, 6)])])
    plan["wall_lines"] = pd.concat([plan["wall_lines"], lone], ignore_index=True)
    line = SectionLine("", (-5.0, 3.0), (35.0, 3.0), "slope")
    met = pd.DataFrame(crossings(line, plan))
    np.testing.assert_allclose(met["from_m"], [5, 12.5, 18, 25, 32.5], atol=1e-9)
    np.testing.assert_allclose(met["to_m"], [5.5, 13, 18, 25.5, 33], atol=1e-9)
    assert met["name"].tolist()[:3] == ["W000-0;W000-0.5", "W000-7.5;W000-8", "X"]
    np.testing.assert_allclose(met["depth_sd_m"], [0.03, 0.03, 0.1, 0.03, 0.03])
    floors = list(floors_met(line, plan["rooms"]))
    assert [(floor["name"], floor["from_m"], floor["to_m"]) for floor in floors] == [
        ("R000", 5.5, 12.5)
    ]


def test_a_section_is_drawn_to_its_stated_scale(slope):
    """Vertical over horizontal scale on paper is the exaggeration that the title states."""
    table = profile_table(houses(), two_levels(), [slope])
    made = draw_profile(table, ABOUT)
    (axes,) = [ax for ax in made.figure.axes if ax.get_xlabel()]
    page = made.figure.get_size_inches() * 25.4
    wide, high = axes.get_position().width * page[0], axes.get_position().height * page[1]
    along = wide / np.ptp(axes.get_xlim())
    up = high / np.ptp(axes.get_ylim())
    assert min(abs(up / along - times) for times in EXAGGERATIONS) < 1e-6
    assert f"exaggeration {round(up / along)} times" in made.description
    assert axes.get_ylim()[0] > axes.get_ylim()[1]


def test_what_is_drawn_of_a_section_is_its_table(slope):
    """Seabed, its filled part, tops, floors and levels stand where the table has them."""
    table = profile_table(houses(), two_levels(), [slope])
    made = draw_profile(table, ABOUT)
    bed = table[table["of"] == "seabed"]
    drawn = by_gid(made, "seabed-1").get_xydata()
    drawn = drawn[np.isfinite(drawn).all(axis=1)]
    np.testing.assert_allclose(drawn, bed[["from_m", "depth_m"]].astype(float), atol=1e-9)
    sure = by_gid(made, "sounded-1").get_xydata()
    assert np.isfinite(sure[:, 1]).sum() == (bed["evidence"] == "sounded").sum()
    assert 0 < (bed["evidence"] == "filled").sum() < len(bed)
    assert np.isnan(by_gid(made, "seabed-1").get_ydata()).any(), "the hole breaks the line"
    walls = table[table["of"] == "wall top"]
    assert len(walls) == 20
    tops = by_gid(made, "wall-tops-1").get_xydata()
    middle = (walls["from_m"] + walls["to_m"]).astype(float) / 2
    np.testing.assert_allclose(tops, np.column_stack([middle, walls["depth_m"].astype(float)]))
    for floor in table[table["of"] == "floor"].to_dict("records"):
        line = by_gid(made, f"floor-1-{floor['name']}")
        np.testing.assert_allclose(line.get_xdata(), [floor["from_m"], floor["to_m"]])
    assert touching(made) == []
    assert cut(made) == []


def test_the_band_is_95_percent(slope):
    """The seabed's band reaches 1.96 sd up and down."""
    made = draw_profile(profile_table(houses(), two_levels(), [slope]), ABOUT)
    vertices = np.concatenate([p.vertices for p in by_gid(made, "band-1").get_paths()])
    bed = by_gid(made, "seabed-1").get_xydata()
    x, depth = bed[5]
    at = vertices[np.isclose(vertices[:, 0], x)][:, 1]
    np.testing.assert_allclose([at.min(), at.max()], [depth - 0.098, depth + 0.098], atol=1e-6)


def test_recorded_section_lines_come_too(slope):
    """A section line of the team is a panel of its own under its name, the longest first."""
    plan = houses()
    rows = [{"kind": "section line", "line": name, "season": "2031"} for name in "AB"]
    shapes = [LineString([(0, 3), (30, 3)]), LineString([(0, 3), (60, 3)])]
    plan["features"] = layer("features", rows, shapes)
    assert [line.name for line in recorded_lines(plan["features"], 5)] == ["B", "A"]
    table = profile_table(plan, two_levels(), [slope])
    assert table.loc[table["of"] == "line", "name"].tolist() == ["", "B", "A"]
    made = draw_profile(table, ABOUT)
    assert "Section B" in made.description
    assert touching(made) == []
    assert made.width_mm == PAGE_MM


def test_a_line_starts_from_the_origin(slope):
    """Its start is told from the site's origin and its azimuth from true north."""
    table = profile_table(houses(), two_levels(), [slope])
    row = table[table["of"] == "line"].iloc[0]
    line = site_line(houses())
    np.testing.assert_allclose([row["east_of_origin_m"], row["north_of_origin_m"]], line.start)
    assert row["azimuth_deg"] == pytest.approx(90, abs=0.01)
