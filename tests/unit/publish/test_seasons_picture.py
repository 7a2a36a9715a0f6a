"""Seasons side by side: their figures against independent sums, and bars against the table."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import CRS
from printed_page import by_gid, cut, drawn_texts, gids, touching
from report_site import ABOUT
from surface_file import write_surface

from wrackline.publish.text_pictures.season_table import SeasonFacts, season_table
from wrackline.publish.text_pictures.seasons import MOST_TECHNIQUES, draw_seasons
from wrackline.rasters import Grid

EVENTS = [
    {"what": "room", "event": "new"},
    {"what": "room", "event": "found again"},
    {"what": "room", "event": "split"},
    {"what": "room", "event": "lost"},
    {"what": "wall", "event": "gone"},
    {"what": "opening", "event": "new"},
]


def ground(season, shapes):
    """Return where the surveys of a season looked."""
    rows = [{"survey": name, "what": "ground", "how": "", "stated": True} for name in shapes]
    rows.append({"survey": f"{season}-walls0", "what": "plants", "how": "", "stated": True})
    plants = shapely.box(0, 0, 1000, 1000)
    return gpd.GeoDataFrame(pd.DataFrame(rows), geometry=[*shapes.values(), plants], crs=CRS)


def season_of(name, k, techniques, surface):
    """Return the k-th season: walls by some techniques beside each other, and soundings."""
    walls = [
        {"name": f"walls{t}", "technique": f"technique {t}", "holds": "wall_lines"}
        for t in range(techniques)
    ]
    bed = {"name": "bed", "technique": "sounder", "holds": "bed_points"}
    shapes = {
        f"{name}-walls{t}": shapely.box(50 * t, 0, 50 * t + 100, 100) for t in range(techniques)
    }
    shapes[f"{name}-bed"] = shapely.box(0, 0, 200 * (k + 1), 100)
    looked = ground(name, shapes)
    return SeasonFacts(name, [*walls, bed], looked, 10 * (k + 1), k + 1, EVENTS, surface)


def table_of(names, surface=None, techniques=2):
    """Return the comparison of seasons; each traced 100 m more by each of its techniques."""
    seasons = [season_of(name, k, techniques, surface) for k, name in enumerate(names)]
    rows = [
        {"survey": f"{name}-walls{t}", "season": name, "length_m": 10.0 * (k + 1)}
        for k, name in enumerate(names)
        for t in range(techniques)
        for _ in range(10)
    ]
    line = shapely.LineString([(0, 0), (1, 0)])
    return season_table(seasons, gpd.GeoDataFrame(rows, geometry=[line] * len(rows), crs=CRS))


@pytest.fixture(scope="module")
def bed(tmp_path_factory):
    """Write a surface of 1,000 cells whose sds are 1 to 1000 mm."""
    path = tmp_path_factory.mktemp("bed") / "bed.tif"
    grid = Grid.around((0.0, 0.0), 1.0, (0.0, 0.0, 39.5, 24.5))
    sd = np.arange(1, 1001).reshape(grid.shape) / 1000
    return write_surface(path, grid, height=-sd, sd=sd, filled=0 * sd)


def value(table, season, figure, part):
    """Return one figure of the comparison."""
    rows = table[
        (table["season"] == season) & (table["figure"] == figure) & (table["part"] == part)
    ]
    return rows["value"].iloc[0]


def test_figures_are_the_sums():
    """Lengths add up by technique, ground counts overlaps once, events go to what they are."""
    table = table_of(["2031", "2032"])
    assert value(table, "2032", "wall lines traced", "technique 1") == pytest.approx(200)
    assert value(table, "2031", "ground looked at", "walls") == pytest.approx(1.5, rel=1e-4)
    assert value(table, "2032", "ground looked at", "seabed") == pytest.approx(4.0, rel=1e-4)
    told = [value(table, "2031", "rooms", part) for part in ("new", "changed", "gone")]
    assert told == [2, 1, 0]
    assert value(table, "2031", "rooms", "lost, buried or overgrown") == 1
    assert value(table, "2031", "walls", "gone") == 1


def test_sds_are_quantiles_of_the_cells(bed):
    """Of sds of 1 to 1000 mm the middle is 500, and nine of ten lie between 50 and 950 mm."""
    table = table_of(["2031"], bed)
    row = table[table["figure"] == "sd of the seabed"].iloc[0]
    np.testing.assert_allclose(
        [row["low"], row["value"], row["high"]], [0.05, 0.5, 0.95], atol=1e-3
    )


def test_a_season_without_soundings_says_so():
    """Its sd of the seabed is null with a reason, and its panel says none."""
    table = table_of(["2031"])
    row = table[table["figure"] == "sd of the seabed"].iloc[0]
    assert row["value"] is None or np.isnan(row["value"])
    assert row["null_because"] == "value: no seabed was sounded up to this season"
    assert "none" in [text for text, _ in drawn_texts(draw_seasons(table, ABOUT))]


def test_bars_are_the_tables_values(bed):
    """Heights of bars are the table's values; what is gone or lost hangs below the line."""
    seasons = ["2031", "2032", "2033"]
    table = table_of(seasons, bed)
    made = draw_seasons(table, ABOUT)
    for season in seasons:
        for t in (0, 1):
            bar = by_gid(made, f"wall-lines-traced-technique-{t}-{season}")
            told = value(table, season, "wall lines traced", f"technique {t}")
            assert bar.get_height() == pytest.approx(told)
        assert by_gid(made, f"rooms-new-{season}").get_height() == 2
        lost = by_gid(made, f"rooms-lost,-buried-or-overgrown-{season}")
        assert (lost.get_y(), lost.get_height()) == (0, -1)
        on_plan = by_gid(made, f"on-the-plan-rooms-{season}").get_height()
        assert on_plan == value(table, season, "on the plan", "rooms")
    ground = by_gid(made, "ground-seabed").get_ydata()
    expected = [value(table, season, "ground looked at", "seabed") for season in seasons]
    np.testing.assert_allclose(ground, expected)
    assert by_gid(made, "sd-of-the-seabed-median").get_ydata().tolist() == pytest.approx([0.5] * 3)


@pytest.mark.parametrize("number", [1, 4, 12, 40])
def test_any_number_of_seasons_keeps_apart(bed, number):
    """From one season to forty no text touches another, none is cut."""
    seasons = [str(1990 + k) for k in range(number)]
    made = draw_seasons(table_of(seasons, bed), ABOUT)
    assert touching(made) == []
    assert cut(made) == []


def test_many_techniques_share_one_fill():
    """Of nine techniques the greatest keep their own, the others share one; nothing is lost."""
    table = table_of(["2031"], techniques=9)
    made = draw_seasons(table, ABOUT)
    bars = gids(made, "wall-lines-traced-")
    bars.pop("wall-lines-traced", None)
    assert len(bars) == MOST_TECHNIQUES
    assert sum(bar.get_height() for bar in bars.values()) == pytest.approx(900)
    assert "other techniques" in [text for text, _ in drawn_texts(made)]
