"""What is uncertain of the water's level reaches the heights: whole surveys, simulated."""

import datetime as dt

import numpy as np
import pytest
from made_tides import make_sea
from scipy.stats import binom

from wrackline.fit.depth_gauges import sea_water_density
from wrackline.fit.points import Frame, heights
from wrackline.fit.water import interpolation_sd, level_errors, mean_level
from wrackline.intake.water import WaterRecord
from wrackline.model import AppliedOffset, Columns, DepthGauge, Survey, Vertical
from wrackline.uncertainty import COVERAGE_95, propagate

FRAME = Frame("EPSG:32625", "datum", (324_400.0, 4_207_600.0), {})
NAME = "2031-echo"
COUNTS = pytest.mark.parametrize("count", [250, pytest.param(1000, marks=pytest.mark.slow)])
SOUNDING_M = 0.02
UP = np.array([[0.0, 0.0, 1.0]])


def survey(*, random_m=SOUNDING_M, **vertical):
    """Return a survey of depths below the water, with its own random sd and further keys."""
    meant = Vertical(meaning="depth_below_water", water_level="gauge.csv", **vertical)
    return Survey(
        name="echo",
        technique="echo sounder",
        holds="bed_points",
        file="echo.csv",
        crs="EPSG:32625",
        from_date=dt.date(2031, 6, 9),
        to_date=dt.date(2031, 6, 9),
        vertical=meant,
        columns=Columns(time="time"),
        random_horizontal_sd_m=0.0,
        random_vertical_sd_m=random_m,
    )


def held(one, record, hour, shown, truth):
    """Tell whether the stated 95 % interval of one sounding's height holds the truth."""
    found = heights(np.array([shown]), one, time=np.array([3600.0 * hour]), water=record)
    model = FRAME.errors_of(NAME, one, water=record, depth_m=abs(shown))
    xyz = np.array([[0.0, 0.0, found[0]]])
    sd = propagate(UP, xyz, np.zeros(1, dtype=int), [model]).sd
    return abs(found[0] - truth) <= COVERAGE_95 * sd


def as_stated(hits, count):
    """Tell whether 95 of 100 may hold: 93 to 97 of a thousand, as chance has it of fewer."""
    low, high = (930, 970) if count == 1000 else binom.ppf([0.001, 0.999], count, 0.95)
    print(f"{hits} of {count} intervals hold the truth")
    return low <= hits <= high


def gauge_of(rng, sea, every_min, *, days=1.0, noise_m=0.015):
    """Return the record of a gauge to the millimetre, with noise from reading to reading."""
    hours = np.arange(0, 24 * days + 1e-9, every_min / 60)
    level = sea.level(hours) + noise_m * rng.standard_normal(len(hours))
    return WaterRecord(3600 * hours, level.round(3))


def waters_of(sea, days):
    """Return the high and low waters of a sea's tide, as a table to the minute has them."""
    hours = np.arange(-12, 24 * days, 1 / 60)
    tide = sea.tide(hours)
    turns = np.flatnonzero(np.diff(np.sign(np.diff(tide))) != 0) + 1
    return hours[turns], tide[turns]


@COUNTS
@pytest.mark.parametrize("every_min", [1, 10, 60])
def test_intervals_hold_the_truth_whatever_the_spacing(every_min, count):
    """Tide, surge, noise of the gauge and clocks some minutes apart: 93 to 97 of 100 hold.

    Surveys of one sounding each; of a thousand the count's own sd is 0.7 of 100.
    """
    one, hits = survey(clocks_sd_s=120.0), 0
    for seed in range(count):
        rng = np.random.default_rng([every_min, seed])
        sea = make_sea(rng, rng.uniform(0.5, 3.0), days=1, surge_m=0.1)
        record = gauge_of(rng, sea, every_min)
        hour, bed = rng.uniform(2, 22), rng.uniform(-10, -1)
        shown = sea.level(hour) - bed + SOUNDING_M * rng.standard_normal()
        clock = hour + 120.0 / 3600 * rng.standard_normal()
        hits += held(one, record, clock, shown, bed)
    assert as_stated(hits, count)


@COUNTS
@pytest.mark.parametrize("holds", ["high_and_low", "mean_level"])
def test_intervals_hold_the_truth_by_high_and_low_waters(holds, count):
    """Predicted waters, a surge that the table doesn't know: 93 to 97 of 100 hold."""
    surge, hits = 0.12, 0
    one = survey(water_level_holds=holds, water_level_surge_sd_m=surge, clocks_sd_s=300.0)
    ranges = (0.1, 0.3) if holds == "mean_level" else (0.5, 3.0)
    for seed in range(count):
        rng = np.random.default_rng([len(holds), seed])
        sea = make_sea(rng, rng.uniform(*ranges), days=3, surge_m=surge)
        hours, level = waters_of(sea, 3)
        record = WaterRecord(3600 * hours, level.round(2), holds)
        hour, bed = rng.uniform(2, 60), rng.uniform(-10, -1)
        shown = sea.level(hour) - bed + SOUNDING_M * rng.standard_normal()
        hits += held(one, record, hour + 300.0 / 3600 * rng.standard_normal(), shown, bed)
    assert as_stated(hits, count)


@COUNTS
@pytest.mark.parametrize("measured", [True, False])
def test_intervals_hold_the_truth_by_a_divers_gauge(measured, count):
    """A density off by its sd, a display of 0.1 m and a staff read each 10 minutes."""
    told = {"display_step_m": 0.1, "least_sd_m": 0.02}
    if measured:
        told |= {"density_kg_m3": 1027.0, "density_sd_kg_m3": 4.0}
    else:
        told |= {"salinity": 36.0, "salinity_sd": 5.0, "temperature_c": 18.0}
        told |= {"temperature_sd_c": 3.0}
    one, hits = survey(depth_gauge=DepthGauge(**told), water_level_sd_m=0.02), 0
    for seed in range(count):
        rng = np.random.default_rng([7 + measured, seed])
        sea = make_sea(rng, rng.uniform(0.3, 2.0), days=1, surge_m=0.1)
        record = gauge_of(rng, sea, 10)
        off = rng.standard_normal(2)
        density = (
            1027.0 + 4.0 * off[0]
            if measured
            else sea_water_density(36.0 + 5.0 * off[0], 18.0 + 3.0 * off[1])
        )
        hour, bed = rng.uniform(2, 22), rng.uniform(-10, -3)
        depth = sea.level(hour) + 0.02 * rng.standard_normal() - bed
        reading = depth * density / 1020.0 + SOUNDING_M * rng.standard_normal()
        hits += held(one, record, hour, np.round(reading, 1), bed)
    assert as_stated(hits, count)


def test_all_causes_are_named_and_alike_for_the_survey():
    """Level, clocks and density each stand in the model as a height shift of the survey's own."""
    gauge = DepthGauge(
        density_kg_m3=1025.0, density_sd_kg_m3=1.0, display_step_m=0.1, least_sd_m=0.05
    )
    one = survey(depth_gauge=gauge, clocks_sd_s=60.0, water_level_sd_m=0.03)
    hours = np.arange(0, 24, 1 / 6)
    record = WaterRecord(3600 * hours, np.cos(2 * np.pi * hours / 12.42).round(3))
    model = FRAME.errors_of(NAME, one, water=record, depth_m=8.0)
    sizes = {part.name: part.sd for part in model.named}
    assert list(sizes) == [f"{NAME}:{x}" for x in ("water_level", "water_clock", "gauge_density")]
    assert all(part.kind == "height" for part in model.named)
    assert sizes[f"{NAME}:water_level"] == pytest.approx(0.03, abs=0.0005)
    # rms rate of a tide of amplitude 1 m over about two tides: 2 pi / 12.42 h / sqrt 2
    assert sizes[f"{NAME}:water_clock"] == pytest.approx(60 * 9.94e-5, rel=0.05)
    assert sizes[f"{NAME}:gauge_density"] == pytest.approx(8.0 * 1020 / 1025 / 1025, rel=1e-9)


def test_a_correction_may_take_the_place_of_the_levels_errors():
    """An applied offset that replaces water_level leaves the clocks' share."""
    offset = AppliedOffset(height_m=0.1, sd_m=0.02, replaces=["water_level"], why="decided")
    one = survey(clocks_sd_s=60.0).model_copy(update={"applied_offset": offset})
    record = WaterRecord(600.0 * np.arange(100), np.sin(np.arange(100) / 12).round(3))
    names = [part.name for part in FRAME.errors_of(NAME, one, water=record).named]
    assert names == [f"{NAME}:applied_offset", f"{NAME}:water_clock"]


def test_the_noise_of_readings_is_had_from_the_readings():
    """Noise of 2 cm over a tide of 2 m, each minute or each half hour: two thirds or 0.88 of it.

    By straight lines the mean of u^2 + (1 - u)^2 is left of the variance: 2 / 3, exactly.
    """
    rng = np.random.default_rng(5)
    for every_min, left in ((1, 2 / 3), (30, 0.88)):
        hours = np.arange(0, 480, every_min / 60)
        level = np.cos(2 * np.pi * hours / 12.42) + 0.02 * rng.standard_normal(len(hours))
        found = interpolation_sd(WaterRecord(3600 * hours, level), max_gap_min=60)
        assert found == pytest.approx(0.02 * np.sqrt(left), rel=0.1)


def test_a_gap_that_is_bridged_by_a_line_costs_its_bend():
    """Readings each 10 minutes with one of 60 missing: a tide of 4 m bends by up to 6 cm there."""
    hours = np.arange(0, 24, 1 / 6)
    kept = (hours < 5.01) | (hours > 5.99)
    record = WaterRecord(3600 * hours[kept], 2 * np.cos(2 * np.pi * hours[kept] / 12.42))
    whole = WaterRecord(3600 * hours, 2 * np.cos(2 * np.pi * hours / 12.42))
    apart = [interpolation_sd(one, max_gap_min=60) for one in (record, whole)]
    # one hour of 24, mean square D^2 / 120 with D^2 = (2 w^2)^2 / 2, w = 2 pi / 12.42
    assert np.sqrt(apart[0] ** 2 - apart[1] ** 2) == pytest.approx(
        2 * (2 * np.pi / 12.42) ** 2 / np.sqrt(2 * 120 * 24), rel=0.15
    )


def test_a_few_readings_are_bounded_by_a_tide_as_fast_as_they_are():
    """Two readings an hour apart that rise by 0.6 m: a half-daily tide would leave 2 cm."""
    record = WaterRecord(np.array([0.0, 3600.0]), np.array([0.013, 0.613]))
    assert interpolation_sd(record, max_gap_min=60) == pytest.approx(
        0.6 * 2 * np.pi / 12.4206 / np.sqrt(120), rel=0.01
    )


def test_the_mean_level_counts_each_half_tide_by_its_length():
    """By hand: 0 to 2 m in 2 h, back to 1 m in 6 h: (1 x 2 + 1.5 x 6) / 8."""
    record = WaterRecord(3600.0 * np.array([0, 2, 8]), np.array([0.0, 2, 1]), "mean_level")
    assert mean_level(record) == pytest.approx(1.375)
    found = heights(
        np.array([5.0]),
        survey(water_level_holds="mean_level", water_level_surge_sd_m=1.0),
        time=np.array([3600.0]),
        water=record,
    )
    np.testing.assert_allclose(found, [1.375 - 5.0])


def test_the_mean_level_s_sd_holds_surge_and_tide():
    """A cosine of range R varies by R / sqrt 8 about its mean."""
    record = WaterRecord(3600.0 * 6 * np.arange(20), np.arange(20) % 2 * 0.2, "mean_level")
    meant = survey(water_level_holds="mean_level", water_level_surge_sd_m=0.3).vertical
    (level,) = level_errors(NAME, meant, record)
    assert level.sd == pytest.approx(np.hypot(0.3, 0.2 / np.sqrt(8)))
