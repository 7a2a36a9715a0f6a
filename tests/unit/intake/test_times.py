"""Times of soundings: several columns, other orders of the date, and clocks that are wrong."""

import datetime as dt

import numpy as np
import pytest

from wrackline.intake.tables import read_table
from wrackline.intake.texts import seconds_of_parts
from wrackline.model import Columns, Survey, Vertical
from wrackline.verdict import Problems, Source


def utc(*parts):
    """Return UTC seconds of a date and time, by the standard library."""
    return dt.datetime(*parts, tzinfo=dt.UTC).timestamp()


def read(folder, lines, *, day=dt.date(2012, 7, 2), offset_h=0.0, **columns):
    """Return times and findings of a table."""
    survey = Survey(
        name="echo",
        technique="echo sounder",
        holds="bed_points",
        file="echo.txt",
        crs="EPSG:32625",
        from_date=day,
        to_date=day,
        vertical=Vertical(meaning="depth_below_datum", time_utc_offset_h=offset_h),
        columns=Columns(**columns),
        random_horizontal_sd_m=0.1,
        random_vertical_sd_m=0.1,
    )
    (folder / "echo.txt").write_text("\n".join(lines) + "\n")
    problems = Problems()
    parts = list(read_table(Source("2012-echo", survey, folder), problems, lines=3))
    times = [float(t) for part in parts for t in part.time]
    return times, problems.listed()


NUMBERED = {"header": False, "easting": 8, "northing": 7, "vertical": 9, "separator": "tab"}


def test_a_time_may_be_spread_over_six_numbered_columns(tmp_path):
    """Year to second in columns 1 to 6 of a file without header, by the boat's clock."""
    lines = ["2012\t7\t2\t13\t5\t7.5\t4207600\t324400\t3.2"]
    times, faults = read(tmp_path, lines, time="1 2 3 4 5 6", offset_h=2.0, **NUMBERED)
    assert times == [utc(2012, 7, 2, 11, 5, 7) + 0.5]
    assert faults == []


@pytest.mark.parametrize(
    ("head", "cells", "time"),
    [
        ("y,month,day,hour,min,second", "2012,7,2,13,5,7", "y month day hour min second"),
        ("date,clock", "2012-07-02,13:05:07", "date clock"),
        ("day and time", "2012-07-02T13:05:07", "day and time"),
    ],
)  # fmt: skip
def test_a_time_may_be_spread_over_named_columns(tmp_path, head, cells, time):
    """Six columns, a date and a time of day, or one whose name has blanks."""
    lines = ["easting,northing,depth," + head, "1,2,3," + cells]
    times, faults = read(tmp_path, lines, vertical="depth", time=time)
    assert times == [utc(2012, 7, 2, 13, 5, 7)]
    assert faults == []


def test_a_part_of_the_time_that_is_missing_is_named(tmp_path):
    """A column of the six that the file doesn't have is a fault with its name."""
    lines = ["easting,northing,depth,year,month", "1,2,3,2012,7"]
    _, faults = read(tmp_path, lines, vertical="depth", time="year month day")
    assert [f.kind for f in faults] == ["column_missing"]
    assert "'day'" in faults[0].found


@pytest.mark.parametrize(
    "parts",
    [(2013, 2, 29), (2012, 13, 1), (2012, 0, 1), (12, 7, 2), (2012, 7, 2.5), (2012, 7, 2, 24),
     (2012, 7, 2, 5, 60), (2012, 7, np.nan)],
)  # fmt: skip
def test_parts_that_are_no_time_are_none(parts):
    """Days that are not in the calendar, hours beyond 23 and years of two digits are refused."""
    assert np.isnan(seconds_of_parts([np.array([float(p)]) for p in parts])).all()


def test_parts_agree_with_the_calendar_of_the_standard_library():
    """Every 1000th hour of a century, leap years included."""
    moments = [dt.datetime(1970, 1, 1) + dt.timedelta(hours=1000 * k) for k in range(877)]
    parts = [
        np.array([getattr(m, name) for m in moments], dtype=float)
        for name in ("year", "month", "day", "hour")
    ]
    np.testing.assert_array_equal(seconds_of_parts(parts), np.arange(877) * 3.6e6)


def dated(*dates):
    return ["easting,northing,depth,time", *(f"1,{k},3,{date}" for k, date in enumerate(dates))]


@pytest.mark.parametrize(
    ("dates", "words"),
    [
        (["2/07/2012 10:00", "13/06/2012 10:00"], "day first"),
        (["07/2/2012 10:00", "06/13/2012 10:00"], "month first"),
        (["2/07/2012 10:00", "3/07/2012 10:00"], "day first puts it into the survey's days"),
        (["05/06/2012 10:00", "06/07/2012 10:00"], "either day first or month first"),
        (["13/06/2012 10:00", "06/13/2012 10:00"], "in no one order"),
        (["2.7.2012 10:00", "13.6.12 10:00"], "day first"),
    ],
)
def test_a_date_that_is_not_year_first_is_named_with_how_it_can_be_read(tmp_path, dates, words):
    """A number above 12 decides, in whichever chunk; else the survey's days may, else nothing."""
    _, faults = read(tmp_path, dated(*dates[:1] * 5, *dates), vertical="depth", time="time")
    assert [(f.kind, f.severity, f.row) for f in faults] == [("date_order", "fault", 2)]
    assert words in faults[0].found


def test_times_that_go_back_are_shown(tmp_path):
    """A clock set back by an hour is one suspicion, with the row."""
    stamps = [f"2012-07-02T{hour}:00" for hour in ("10", "11", "12", "11", "12")]
    times, faults = read(tmp_path, dated(*stamps), vertical="depth", time="time")
    assert len(times) == 5
    assert [(f.kind, f.severity, f.row) for f in faults] == [("time_backwards", "suspicion", 5)]


def test_a_day_beside_the_survey_is_forgiven_and_more_is_shown(tmp_path):
    """The day before is within a clock's zone; two days after is another day."""
    stamps = ["2012-07-01T10:00", "2012-07-03T23:00", "2012-07-04T10:00"]
    _, faults = read(tmp_path, dated(*stamps), vertical="depth", time="time")
    assert [(f.kind, f.severity, f.row) for f in faults] == [("date_outside", "suspicion", 4)]


def test_no_time_at_all_is_named_with_its_row(tmp_path):
    """A word for a time is a fault of its own beside good times."""
    _, faults = read(tmp_path, dated("2012-07-02T10:00", "noon"), vertical="depth", time="time")
    assert [(f.kind, f.row) for f in faults] == [("no_time", 3)]


def test_missing_depths_are_counted_and_shown(tmp_path):
    """Depths of NaN, which sounders write where they lose the bed, are one suspicion a column."""
    head = "easting,northing,depth,time"
    rows = ["1,2,NaN,2012-07-02T10:00"] * 5 + ["1,2,3,2012-07-02T10:00"] * 25
    times, faults = read(tmp_path, [head, *rows], vertical="depth", time="time")
    assert len(times) == 25
    assert [f.kind for f in faults] == ["empty_cell"]
    assert "in 5 rows" in faults[0].found
