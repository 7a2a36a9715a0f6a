"""Daily exports of one total station: days that stand whole inside later files, found by name."""

import os
from pathlib import Path

import pytest

from wrackline import vectors
from wrackline.accuracy.cross_check import CheckedSurvey, cross_check
from wrackline.intake.items import read_items
from wrackline.model import Columns, LocalGrid, SeaLevel, Site, Survey, Vertical
from wrackline.verdict import Source
from wrackline.walls.linework import ITEM_COLUMNS

ROOT = Path(__file__).parents[2]
SHARED = Path(os.environ.get("WRACKLINE_DATA", ROOT.parent / "shared" / "data"))
EXPORTS = SHARED / "total-station-exports"
SITE = Site(
    schema_version=1,
    name="a dig on its own grid",
    crs="EPSG:32625",
    vertical_datum="of the dig",
    origin=(324_000.0, 4_207_000.0),
    sea_levels=[SeaLevel(name="none near", height_m=95.0)],
    depths_below="none near",
)
GRID = LocalGrid(
    points=[
        {"point": "a", "local": (5000, 5000), "site": (324_400, 4_207_600)},
        {"point": "b", "local": (5100, 5000), "site": (324_500, 4_207_600)},
    ],
    control_sd_m=0.01,
)


def checked(day, folder):
    """Return one day as intake reads it, and the verdict on it."""
    name = f"2012-day_{day}"
    survey = Survey(
        name=f"day_{day}",
        technique="total station",
        holds="features",
        file=f"day-{day}.csv",
        local_grid=GRID,
        from_date="2012-06-01",
        to_date="2012-07-31",
        vertical=Vertical(meaning="height"),
        columns=Columns(easting="Easting", northing="Northing", vertical="Elevation"),
        random_horizontal_sd_m=0.01,
        random_vertical_sd_m=0.01,
    )
    source = Source(name, survey, EXPORTS)
    items, verdict = read_items(source, crs=SITE.crs, origin=SITE.origin)
    table = folder / f"{day}.parquet"
    vectors.write(items, ITEM_COLUMNS, table)
    return CheckedSurvey(name, survey, table, EXPORTS), verdict


def test_a_day_that_stands_in_a_later_file_is_named(tmp_path):
    """Every row of three exports is read; of two that share their rows the smaller is named."""
    if not EXPORTS.is_dir():
        pytest.skip(f"no exports in {EXPORTS}")
    days = [checked(day, tmp_path) for day in ("02", "03", "08")]
    for (one, verdict), rows in zip(days, (1618, 1899, 354), strict=True):
        assert (verdict.faults, verdict.suspicions) == ([], []), one.name
        assert (verdict.rows, verdict.used) == (rows, rows)
    found = cross_check([one for one, _ in days], SITE)["suspicions"]
    named = {(doubt["survey"], doubt["kind"]) for doubt in found}
    assert ("2012-day_02", "survey_inside_another") in named
    assert not any(survey == "2012-day_08" for survey, _ in named)
