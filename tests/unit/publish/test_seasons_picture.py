"""Seasons side by side: their figures against independent sums, and bars against the table."""

import numpy as np
import pytest
import shapely
from printed_page import by_gid, cut, drawn_texts, gids, touching
from report_site import ABOUT, layer, survey
from surface_file import write_surface

from wrackline.publish.season_table import season_table
from wrackline.publish.seasons_picture import MOST_TECHNIQUES, draw_seasons
from wrackline.rasters import Grid

EVENTS = [
    {"what": "room", "event": "new"},
    {"what": "room", "event": "found again"},
    {"what": "room", "event": "split"},
    {"what": "room", "event": "lost"},
    {"what": "wall", "event": "gone"},
    {"what": "opening", "event": "new"},
]


def layers(seasons, techniques=2):
    """Return surveys and tracings: each season 100 m more, by its techniques in turn."""
    told, ground, traced = [], [], []
    for k, season in enumerate(seasons):
        for t in range(techniques):
            name = f"{season}-walls{t}"
            told.append(survey(name, f"technique {t}", season=season))
            ground.append(shapely.box(50 * t, 0, 50 * t + 100, 100))
            traced += [{"survey": name, "season": season, "length_m": 10.0 * (k + 1)}] * 10
        told.append(survey(f"{season}-bed", "sounder", season=season, holds="bed_points"))
        ground.append(shapely.box(0, 0, 200 * (k + 1), 100))
    lines = [shapely.LineString([(0, 0), (1, 0)])] * len(traced)
    return {
        "surveys": layer("surveys", told, ground),
        "tracings": layer("tracings", traced, lines),
    }


def table_of(seasons, surfaces=None, **more):
    """Return the comparison of seasons."""
    plans = {s: {"rooms": 10 * (k + 1), "buildings": k + 1} for k, s in enumerate(seasons)}
    events = {season: EVENTS for season in seasons}
    return season_table(seasons, layers(seasons, **more), plans, events, surfaces or {})


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
    table = table_of(["2031"], {"2031": bed})
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
    table = table_of(seasons, dict.fromkeys(seasons, bed))
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
    made = draw_seasons(table_of(seasons, dict.fromkeys(seasons, bed)), ABOUT)
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
