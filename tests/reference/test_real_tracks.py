"""Real tracks of a boat's receiver and sounder, as they came off the instrument, through intake."""

import datetime as dt
import os
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from wrackline.intake.points import read_bed
from wrackline.model import Columns, Survey, Vertical
from wrackline.verdict import Source

ROOT = Path(__file__).parents[2]
SHARED = Path(os.environ.get("WRACKLINE_DATA", ROOT.parent / "shared" / "data"))
TRACKS = SHARED / "harbour-soundings" / "raw-tracks"
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
