"""A harbour sounded before and after an earthquake lifted its bed, through the whole command.

Wesson et al. 2015, Nature Geoscience 8, 481 (data: US Geological Survey, public domain): the bed
rose by about 1.8 m (1.6 to 2.2 m) on 27 February 2010. The soundings are not all reduced to one
level: no tide was taken off, so each campaign's level is a named source of its own, of 0.3 m (a
tide of 1 m from low to high water; common practice, no source).
"""

import csv
import os
from collections import defaultdict
from pathlib import Path

import pandas as pd
import pytest

from sites import build, survey, write_site
from wrackline.io import read_json

ROOT = Path(__file__).parents[2]
SHARED = Path(os.environ.get("WRACKLINE_DATA", ROOT.parent / "shared" / "data"))
SOUNDINGS = SHARED / "harbour-soundings" / "soundings_all_epochs_utm18s.csv"
SEASONS = {"2010": "2010-01", "2011": "2011-02", "2013": "2013-03"}
PUBLISHED_M = (1.6, 2.2)
LEVEL_SD_M = 0.3

pytestmark = pytest.mark.slow


def write_harbour(folder):
    """Write a site of three campaigns of soundings."""
    rows = defaultdict(list)
    with SOUNDINGS.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            rows[row["epoch"]].append((row["E"], row["N"], row["depth_m"]))
    (folder / "data").mkdir(parents=True)
    seasons, sources = {}, {}
    for season, epoch in SEASONS.items():
        table = pd.DataFrame(rows[epoch], columns=["easting", "northing", "depth"])
        table.to_csv(folder / "data" / f"{season}.csv", index=False)
        sources[f"level_{season}"] = {
            "kind": "shift", "height_sd_m": LEVEL_SD_M, "about": "tide not taken off"
        }  # fmt: skip
        seasons[season] = [
            survey(
                "soundings",
                f"data/{season}.csv",
                "bed_points",
                meaning="depth_below_datum",
                crs="EPSG:32718",
                from_date=f"{epoch}-10",
                to_date=f"{epoch}-20",
                columns={"vertical": "depth"},
                random_horizontal_sd_m=5.0,
                random_vertical_sd_m=0.15,
                patchy_vertical_sd_m=0.15,
                patchy_distance_m=300.0,
                error_sources=[f"level_{season}"],
            )
        ]
    return write_site(
        folder,
        seasons,
        crs="EPSG:32718",
        name="A harbour",
        origin=[630000.0, 5890000.0],
        sea_levels=[{"name": "as sounded", "height_m": 0.0, "sd_m": 0.0}],
        depths_below="as sounded",
        error_sources=sources,
        seabed={"cell_m": 20.0, "fill_distance_m": 60.0, "change_window_m": 60.0,
                "reject_blunders": False, "contour_step_m": 5.0},
    )  # fmt: skip


@pytest.fixture(scope="module")
def harbour(tmp_path_factory):
    """Build the harbour's record."""
    if not SOUNDINGS.is_file():
        pytest.skip(f"no soundings at {SOUNDINGS}")
    folder = write_harbour(tmp_path_factory.mktemp("harbour"))
    ended = build(folder, within_s=580)
    assert ended.code == 0, ended.text
    return folder


def figures(harbour, earlier, later):
    return read_json(harbour / "work" / "seasons" / "change" / f"{earlier}-{later}.json")


@pytest.mark.parametrize("later", ["2011", "2013"])
def test_the_bed_rose_by_what_was_published(harbour, later):
    """The mean rise is well above 0, and its interval meets the published one."""
    site = figures(harbour, "2010", later)["site"]
    low, high = (site["mean_m"] + k * 1.96 * site["mean_sd_m"] for k in (-1, 1))
    assert 0.3 < low < PUBLISHED_M[1]
    assert high > PUBLISHED_M[0]


def test_the_mean_rise_is_that_of_the_soundings_themselves(harbour):
    """All of January's soundings against the later model: 1.46 m as tried by hand, sd 0.24 m."""
    assert figures(harbour, "2010", "2011")["site"]["mean_m"] == pytest.approx(1.46, abs=0.24)


def test_what_rose_is_shown_as_areas_and_nothing_sank(harbour):
    """Areas of change since 2010 all came; between 2011 and 2013 there is none."""
    table = pd.read_csv(
        harbour / "results" / "tables" / "seabed_change.csv", dtype={"earlier": str}
    )
    areas = table[table["scope"] == "area of change"]
    rose = areas[areas["earlier"] == "2010"]
    assert len(rose) > 0
    assert set(rose["note"]) == {"ground has come"}
    assert set(areas["earlier"]) == {"2010"}
    assert (harbour / "results" / "seasons" / "2011" / "seabed_change_since_2010.png").is_file()


def test_what_went_is_nothing_beside_what_came(harbour):
    """Freed of noise, next to nothing of the bed sank when it was lifted."""
    gross = figures(harbour, "2010", "2011")["gross"]
    assert gross["went_m3"] < 0.01 * gross["came_m3"]
