"""The gauge's record: spikes, a float that hung, units, separators, and gaps under soundings."""

import datetime as dt

import numpy as np
import pytest
from made_tides import clock_record, make_sea

from wrackline.errors import InputError
from wrackline.intake.points import read_bed
from wrackline.intake.water import read_water, record_of
from wrackline.model import Columns, Survey, Vertical
from wrackline.verdict import Problems, Source

STEP_MIN = 10


def tide(days=3.0, *, amplitude=0.8, mean=2.0, step_min=STEP_MIN):
    """Return minutes and levels of a half-daily tide of 12.42 hours."""
    minute = np.arange(0, days * 1440, step_min)
    return minute, np.round(mean + amplitude * np.cos(2 * np.pi * minute / 745.2), 3)


def source(folder, *, max_gap_min=60.0, **vertical):
    survey = Survey(
        name="echo",
        technique="echo sounder",
        holds="bed_points",
        file="echo.csv",
        crs="EPSG:32625",
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 3),
        vertical=Vertical(
            meaning="depth_below_water",
            water_level="gauge.csv",
            water_level_max_gap_min=max_gap_min,
            **vertical,
        ),
        columns=Columns(vertical="depth", time="time"),
        random_horizontal_sd_m=0.1,
        random_vertical_sd_m=0.1,
    )
    return Source("2031-echo", survey, folder)


def stamps(minute):
    return [str(np.datetime64("2031-06-01T00:00") + np.timedelta64(int(m), "m")) for m in minute]


def read(folder, minute, level, *, head="time,level_m", row="{},{}", **vertical):
    """Return the record and the findings."""
    lines = [row.format(at, value) for at, value in zip(stamps(minute), level, strict=True)]
    (folder / "gauge.csv").write_text("\n".join([head, *lines]) + "\n")
    problems = Problems()
    return read_water(source(folder, **vertical), problems), problems.listed()


@pytest.mark.parametrize("amplitude", [0.05, 0.8, 6.0])
@pytest.mark.parametrize("step_min", [6, 10, 60])
def test_an_honest_tide_is_not_accused(tmp_path, amplitude, step_min):
    """Small or large tides, every six minutes or every hour, give no finding."""
    record, findings = read(tmp_path, *tide(amplitude=amplitude, step_min=step_min))
    assert findings == []
    assert len(record.level) == 3 * 1440 / step_min


def test_a_lake_that_stands_still_is_not_accused(tmp_path):
    """Where levels change by a centimetre in a day, equal levels are no float that hung."""
    minute = np.arange(0, 5 * 1440, 60)
    record, findings = read(tmp_path, minute, np.round(372.4 + minute / 1440 * 0.01, 2))
    assert findings == []
    assert record is not None


@pytest.mark.parametrize("readings", [1, 2])
def test_a_spike_is_named_and_not_taken_out(tmp_path, readings):
    """One or two readings 0.6 m off are suspicions with their rows; the record keeps them."""
    minute, level = tide()
    level[100 : 100 + readings] += 0.6
    record, findings = read(tmp_path, minute, level)
    assert [(f.kind, f.severity, f.row) for f in findings] == [
        ("water_spike", "suspicion", 102 + k) for k in range(readings)
    ]
    np.testing.assert_array_equal(record.level, level)


def test_a_float_that_hung_is_named(tmp_path):
    """Thirteen hours of one level in a tide are a suspicion, eleven are not."""
    for hours, expected in ((13, ["water_stuck"]), (11, [])):
        minute, level = tide()
        level[100 : 101 + hours * 6] = level[100]
        _, findings = read(tmp_path, minute, level)
        assert [f.kind for f in findings if f.kind != "water_spike"] == expected


@pytest.mark.parametrize("factor", [100, 1000])
def test_levels_in_centimetres_or_millimetres_are_refused(tmp_path, factor):
    """A tide of 1.6 m that reads 160 or 1600 in a day is no metre."""
    minute, level = tide()
    record, findings = read(tmp_path, minute, np.round(level * factor))
    assert record is None
    assert [(f.kind, f.severity) for f in findings] == [("water_unit", "fault")]


@pytest.mark.parametrize(
    ("head", "row", "kind"),
    [
        ("time;level_m", "{};{}", "wrong_separator"),
        ("time\tlevel_m", "{}\t{}", "wrong_separator"),
        ("time,level_m", "{},2,5", "decimal_comma"),
        ("time,stage", "{},{}", "water_columns"),
    ],
)
def test_another_layout_is_one_clear_fault(tmp_path, head, row, kind):
    """Semicolons, tabs, decimal commas and other names each have a name."""
    record, findings = read(tmp_path, *tide(), head=head, row=row)
    assert record is None
    assert [(f.kind, f.file) for f in findings] == [(kind, "gauge.csv")]


def test_columns_in_another_case_or_order_are_known(tmp_path):
    """Level_M before Time is the same record."""
    minute, level = tide()
    lines = [f"{value},x,{at}" for at, value in zip(stamps(minute), level, strict=True)]
    (tmp_path / "gauge.csv").write_text("\n".join(["Level_M,note,Time", *lines]) + "\n")
    problems = Problems()
    record = read_water(source(tmp_path), problems)
    assert problems.listed() == []
    np.testing.assert_array_equal(record.level, level)


def test_soundings_in_a_gap_are_counted(tmp_path):
    """Of ten soundings every ten minutes, the five well inside a gap of 70 are told."""
    minute, level = tide()
    kept = ~((minute > 600) & (minute < 670))
    read(tmp_path, minute[kept], level[kept])
    rows = [
        f"{324400 + k},4207600,3.{k},{at}" for k, at in enumerate(stamps(np.arange(620, 720, 10)))
    ]
    (tmp_path / "echo.csv").write_text("\n".join(["easting,northing,depth,time", *rows]) + "\n")
    place = {"crs": "EPSG:32625", "origin": (324_400.0, 4_207_600.0)}
    verdict = read_bed(source(tmp_path), tmp_path / "a.parquet", **place)
    assert [(f.kind, f.row) for f in verdict.suspicions] == [("water_gap", 2)]
    assert verdict.suspicions[0].found.startswith("5 soundings")
    wide = read_bed(source(tmp_path, max_gap_min=70.0), tmp_path / "b.parquet", **place)
    assert wide.suspicions == []


@pytest.mark.parametrize("cell", ["", "NaN", "n/a"])
def test_a_missing_level_is_a_gap(tmp_path, cell):
    """Rows without a level are left out; rows after them keep their numbers."""
    minute, level = tide()
    level[150] += 0.9
    texts = [cell if k in (20, 21) else str(value) for k, value in enumerate(level)]
    record, findings = read(tmp_path, minute, texts)
    assert len(record.level) == len(level) - 2
    assert [(f.kind, f.row) for f in findings] == [("water_spike", 152)]


@pytest.mark.parametrize("mark", [-9999.0, 999.9])
def test_a_mark_of_a_missing_level_is_no_level(tmp_path, mark):
    """A sentinel in the record stops the run: interpolated, it would bend depths by kilometres."""
    minute, level = tide()
    level[150] = mark
    record, findings = read(tmp_path, minute, level)
    assert record is None
    assert [(f.kind, f.severity, f.row) for f in findings] == [("water_no_level", "fault", 152)]


@pytest.mark.parametrize("amplitude", [0.1, 0.8, 2.5])
@pytest.mark.parametrize("step_min", [1, 10, 30, 60])
def test_a_spike_is_named_at_every_spacing(tmp_path, amplitude, step_min):
    """One reading 0.6 m off is told, each minute or each hour, in tides of 0.2 to 5 m."""
    minute, level = tide(amplitude=amplitude, step_min=step_min)
    rng = np.random.default_rng(step_min)
    level = np.round(level + 0.01 * rng.standard_normal(len(level)), 3)
    level[40] += 0.6
    _, findings = read(tmp_path, minute, level)
    assert [(f.kind, f.row) for f in findings] == [("water_spike", 42)]


@pytest.mark.parametrize("step_min", [1, 5, 10, 30, 60])
def test_noise_seiches_and_surges_are_no_spikes(tmp_path, step_min):
    """Gauges with noise of 2 cm in a sea with seiches of 5 cm give no finding."""
    for seed in range(6):
        rng = np.random.default_rng([step_min, seed])
        sea = make_sea(rng, rng.uniform(0.2, 4), days=4, surge_m=0.1, seiche_m=0.05)
        minute = np.arange(0, 4 * 1440, step_min)
        level = sea.level(minute / 60) + 0.02 * rng.standard_normal(len(minute))
        assert read(tmp_path, minute, level.round(3))[1] == []


def test_a_clock_that_was_set_is_told_with_its_row(tmp_path):
    """A clock an hour ahead from the fourth day on is a suspicion; the record is kept."""
    minute, level = tide(days=8)
    later = minute >= 4 * 1440
    record, findings = read(tmp_path, np.where(later, minute + 60, minute), level)
    (slip,) = findings
    row = 2 + int(np.flatnonzero(later)[0])
    assert (slip.kind, slip.severity, slip.row) == ("water_clock_slip", "suspicion", row)
    assert slip.found.startswith("tides that come 1 h later")
    assert len(record.level) == len(level)


def test_a_record_taken_for_reduction_is_not_searched_again(tmp_path):
    """What intake has said of a record isn't worked out again by the fit."""
    time, level = clock_record(5003, 1.0)
    minute = np.round(time / 60).astype(int)
    found = read(tmp_path, minute, level)[1]
    assert "water_clock_slip" in [f.kind for f in found]
    problems = Problems()
    read_water(source(tmp_path), problems, doubts=False)
    assert problems.listed() == []


@pytest.mark.parametrize("hours", [1.0, 0.5])
def test_an_hour_written_twice_says_why(tmp_path, hours):
    """Where times step back by an hour, the fault speaks of summer time."""
    minute, level = tide()
    shown = np.where(minute >= 1440, minute - 60 * hours, minute)
    record, findings = read(tmp_path, shown, level)
    assert record is None
    assert [f.kind for f in findings] == ["water_order"]
    assert f"put back by {hours:g} h" in findings[0].remedy


def test_times_out_of_order_for_another_reason_are_no_summer_time(tmp_path):
    """Two rows that changed places keep the plain advice."""
    minute, level = tide()
    minute[[50, 51]] = minute[[51, 50]]
    assert "put back" not in read(tmp_path, minute, level)[1][0].remedy


TURNS = np.array([0, 372, 745, 1118, 1490])
WATERS = {"water_level_holds": "high_and_low", "water_level_surge_sd_m": 0.1}


def test_high_and_low_waters_are_read(tmp_path):
    """Five waters in turn, six hours apart, are a record and no gap."""
    record, findings = read(tmp_path, TURNS, [2.0, 0.5, 2.1, 0.4, 2.0], **WATERS)
    assert findings == []
    assert record.holds == "high_and_low"


@pytest.mark.parametrize(
    ("minute", "level", "row"),
    [
        (TURNS, [2.0, 0.5, 2.1, 2.4, 0.3], 4),
        (TURNS, [2.0, 0.5, 0.5, 2.0, 0.3], 3),
        (TURNS // 10, [2.0, 0.5, 2.1, 0.4, 2.0], None),
    ],
    ids=["a low water is missing", "a water twice", "readings each half hour"],
)
def test_waters_that_are_not_in_turn_are_refused(tmp_path, minute, level, row):
    """A curve over a missing water would be wrong by the whole range."""
    record, findings = read(tmp_path, minute, level, **WATERS)
    assert record is None
    assert [(f.kind, f.severity, f.row) for f in findings] == [("water_no_turn", "fault", row)]


def test_a_tide_that_weather_drowns_is_refused_with_the_way_out(tmp_path):
    """0.2 m of tide beside a surge of sd 0.1 m: less than 2.8 times it; the mean level may do."""
    level = [1.1, 0.9, 1.1, 0.9, 1.1]
    record, findings = read(tmp_path, TURNS, level, **WATERS)
    (fault,) = findings
    assert record is None
    assert (fault.kind, fault.severity) == ("water_small_tide", "fault")
    assert "0.20 m" in fault.found
    assert "sd 0.1 m" in fault.found
    assert "0.28 m" in fault.allowed
    assert "mean_level" in fault.remedy
    with pytest.raises(InputError, match="water_small_tide"):
        record_of(source(tmp_path, **WATERS))
    meant = WATERS | {"water_level_holds": "mean_level"}
    assert read(tmp_path, TURNS, level, **meant)[1] == []


def test_the_limit_of_a_small_tide_is_inclusive(tmp_path):
    """A range of just 2 sqrt 2 times the surge's sd is taken, a millimetre less isn't."""
    for range_m, kinds in ((0.283, []), (0.282, ["water_small_tide"])):
        level = 1 + np.arange(5) % 2 * range_m
        assert [f.kind for f in read(tmp_path, TURNS, level.round(3), **WATERS)[1]] == kinds
