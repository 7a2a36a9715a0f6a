"""Real tracks of a boat's receiver and sounder, as they came off the instrument, through intake."""

import datetime as dt
import os
import re
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from wrackline.accuracy.cross_check import CheckedSurvey, cross_check
from wrackline.intake.points import read_bed
from wrackline.model import Columns, SeaLevel, Site, Survey, Vertical
from wrackline.verdict import Source

ROOT = Path(__file__).parents[2]
SHARED = Path(os.environ.get("WRACKLINE_DATA", ROOT.parent / "shared" / "data"))
TRACKS = SHARED / "harbour-soundings" / "raw-tracks"
SITE = Site(
    schema_version=1,
    name="a harbour",
    crs="EPSG:32718",
    vertical_datum="none common",
    origin=(630_000.0, 5_890_000.0),
    sea_levels=[SeaLevel(name="as sounded", height_m=0.0)],
    depths_below="as sounded",
)
DAYS = ("2010_1_13", "2010_1_15", "2010_3_22", "2011_2_22", "2011_2_24", "2013_3_2", "2013_3_3")


def by_hand(path):
    """Return the rows with any number in them, by the standard library alone."""
    lines = path.read_bytes().decode("ascii").replace("\n", "").split("\r")
    rows = [line.split("\t") for line in lines]
    return [row for row in rows if any(cell.strip() not in ("", "NaN") for cell in row)]


@pytest.mark.parametrize("day", DAYS)
def test_a_real_track_is_read_as_it_came(tmp_path, day):
    """CR line ends, tabs, no header, time in six columns: every sounded row, missing depths named.

    Depths are missing as NaN or as nothing; some files end in rows without any number.
    """
    (path,) = [*TRACKS.glob(f"*_{day}.txt")] or [None]
    if path is None:
        pytest.skip(f"no track of {day} in {TRACKS}")
    date = dt.date(*map(int, day.split("_")))
    survey = Survey(
        name="track",
        technique="as delivered",
        holds="bed_points",
        file=path.name,
        crs="EPSG:4326",
        from_date=date,
        to_date=date,
        vertical=Vertical(meaning="depth_below_datum"),
        columns=Columns(
            header=False, separator="tab", easting=8, northing=7, vertical=10, time="1 2 3 4 5 6"
        ),
        random_horizontal_sd_m=3.0,
        random_vertical_sd_m=0.1,
    )
    rows = by_hand(path)
    sounded = [row for row in rows if row[9].strip() not in ("", "NaN")]
    verdict = read_bed(
        Source("track", survey, TRACKS), tmp_path / "t.parquet", crs="EPSG:32718",
        origin=(632_000.0, 5_896_000.0),
    )  # fmt: skip
    assert verdict.faults == []
    assert (verdict.rows, verdict.used) == (len(rows), len(sounded))
    assert [doubt.kind for doubt in verdict.suspicions] == ["empty_cell"]
    for doubt in verdict.suspicions:
        assert f"in {len(rows) - len(sounded)} rows" in doubt.found
    table = pq.read_table(tmp_path / "t.parquet").to_pandas()
    np.testing.assert_array_equal(table["x"], [float(row[7]) for row in sounded])
    np.testing.assert_array_equal(table["v"], [float(row[9]) for row in sounded])
    times = [dt.datetime(*(int(float(c)) for c in row[:6]), tzinfo=dt.UTC) for row in sounded]
    np.testing.assert_array_equal(table["time"], [time.timestamp() for time in times])


def checked(day, folder):
    """Return a track as intake read it."""
    (path,) = [*TRACKS.glob(f"*_{day}.txt")] or [None]
    if path is None:
        pytest.skip(f"no track of {day} in {TRACKS}")
    date = dt.date(*map(int, day.split("_")))
    survey = Survey(
        name=f"track_{day}",
        technique="as delivered",
        holds="bed_points",
        file=path.name,
        crs="EPSG:4326",
        from_date=date,
        to_date=date,
        vertical=Vertical(meaning="depth_below_datum"),
        columns=Columns(
            header=False, separator="tab", easting=8, northing=7, vertical=10, time="1 2 3 4 5 6"
        ),
        random_horizontal_sd_m=3.0,
        random_vertical_sd_m=0.2,
        patchy_vertical_sd_m=0.2,
        patchy_distance_m=50.0,
    )
    name, out = f"{day[:4]}-{survey.name}", folder / f"{day}.parquet"
    read_bed(Source(name, survey, TRACKS), out, crs=SITE.crs, origin=SITE.origin)
    return CheckedSurvey(name, survey, out, TRACKS)


def test_tracks_before_an_uplift_are_named_with_its_size(tmp_path):
    """Soundings of January 2010 lie below those of 2011, by what the earthquake lifted the bed.

    Wesson et al. 2015, Nature Geoscience 8, 481: 1.6 to 2.2 m where the model is best, 1.46 m as
    the mean of all soundings of January. No tide was taken off either side, hence the wide margin.
    """
    found = cross_check([checked(day, tmp_path) for day in DAYS], SITE)["suspicions"]
    offsets = {doubt["survey"]: doubt for doubt in found if doubt["kind"] == "survey_offset"}
    assert {"2010-track_2010_1_13", "2010-track_2010_1_15"} <= set(offsets)
    for name in ("2010-track_2010_1_13", "2010-track_2010_1_15"):
        size, direction = re.match(r"([\d.]+) m too (\w+)", offsets[name]["found"]).groups()
        assert direction == "low"
        assert float(size) == pytest.approx(1.6, abs=0.5)
    assert not any(doubt["kind"] in ("block_off", "clock_slip") for doubt in found)
