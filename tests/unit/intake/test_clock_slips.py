"""Slips of a gauge's own clock are found, and clean records are left in peace."""

import numpy as np
import pytest
from made_tides import clock_record, make_sea

from wrackline.intake.clock_slips import clock_slip


def found(count, first_seed, slip_h, **sea):
    """Return the slips found in so many simulated records."""
    seeds = range(first_seed, first_seed + count)
    slips = [clock_slip(*clock_record(seed, slip_h, **sea)) for seed in seeds]
    return [slip for slip in slips if slip is not None]


@pytest.mark.parametrize("count", [15, pytest.param(200, marks=pytest.mark.slow)])
def test_clean_records_are_not_accused(count):
    """Tides of 0.5 to 4 m with surges, seiches, noise and holes give no slip."""
    assert found(count, 1000, 0.0) == []


@pytest.mark.parametrize("count", [15, pytest.param(200, marks=pytest.mark.slow)])
def test_small_tides_are_left_in_peace(count):
    """Where the tide ranges over 0.05 to 0.3 m, seiches and weather make no slip."""
    assert found(count, 3000, 0.0, least_m=0.05, most_m=0.3) == []


def test_seiches_of_an_enclosed_sea_are_no_slip():
    """A tide of 0.2 m under a seiche of 0.15 m and a surge of sd 0.2 m: nothing is said."""
    hours = np.arange(0, 240, 1 / 6)
    for seed in range(10):
        rng = np.random.default_rng(seed)
        sea = make_sea(rng, 0.2, days=10, surge_m=0.2, seiche_m=0.15)
        assert clock_slip(3600 * hours, sea.level(hours).round(3)) is None


@pytest.mark.parametrize("count", [12, pytest.param(200, marks=pytest.mark.slow)])
def test_an_hour_is_found_in_19_of_20_records(count):
    """Clocks put ahead or back by an hour, over tides of 0.5 to 4 m: 95 % are found.

    In 500 records each 98 % of those put ahead were found, 95 % of those put back. Of a hundred
    found one at most may be of another size.
    """
    ahead, back = found(count, 5000, 1.0), found(count, 7000, -1.0)
    print(f"found {len(ahead)} and {len(back)} of {count}")
    slips = [*ahead, *back]
    assert len(slips) >= 0.95 * 2 * count
    near = [slip for slip in slips if abs(abs(slip.hours) - 1.0) <= 0.5]
    assert len(near) >= 0.99 * len(slips)


@pytest.mark.parametrize("slip_h", [1.0, -1.0, 2.0, 0.5])
def test_size_and_row_of_a_slip_are_told(slip_h):
    """A plain tide of 2 m, read every ten minutes: the reading and the hours are right."""
    hours = np.arange(0, 240, 1 / 6)
    noise = 0.005 * np.random.default_rng(1).standard_normal(len(hours))
    level = np.cos(2 * np.pi * hours / 12.42) + noise
    later = hours >= 101.0
    shown = np.where(later, hours + slip_h, hours)
    kept = ~later | (shown > hours[~later][-1])
    slip = clock_slip(3600 * shown[kept], level[kept])
    assert slip is not None
    assert slip.hours == slip_h
    assert shown[kept][slip.reading] == pytest.approx(max(101.0, 101.0 + slip_h), abs=0.2)


@pytest.mark.parametrize("hours", [60, 87])
def test_a_short_record_tells_nothing(hours):
    """With less than 44 hours on either side no slip is told, however plain."""
    time = np.arange(0, hours, 1 / 6)
    shown = np.where(time < hours / 2, time, time + 1)
    assert clock_slip(3600 * shown, np.cos(2 * np.pi * time / 12.42)) is None


def test_readings_hours_apart_tell_nothing():
    """Three-hourly levels are too coarse to tell an hour by."""
    time = np.arange(0, 240, 3.0)
    shown = np.where(time < 120, time, time + 1)
    assert clock_slip(3600 * shown, np.cos(2 * np.pi * time / 12.42)) is None


@pytest.mark.slow
def test_long_records_are_not_accused_more_often():
    """Sixty days of clean readings, 12 times over: nothing is said."""
    hours = np.arange(0, 1440, 0.5)
    for seed in range(12):
        rng = np.random.default_rng([60, seed])
        sea = make_sea(rng, rng.uniform(0.5, 3), days=60, surge_m=0.1, seiche_m=0.02)
        level = sea.level(hours) + 0.01 * rng.standard_normal(len(hours))
        assert clock_slip(3600 * hours, level.round(3)) is None


def test_a_slip_in_a_long_record_is_found():
    """One hour in sixty days of a tide of 1.5 m, surge and noise included."""
    hours = np.arange(0, 1440, 0.5)
    rng = np.random.default_rng(2)
    sea = make_sea(rng, 1.5, days=60, surge_m=0.1)
    level = sea.level(hours) + 0.01 * rng.standard_normal(len(hours))
    shown = np.where(hours < 700, hours, hours + 1)
    slip = clock_slip(3600 * shown, level.round(3))
    assert slip is not None
    assert (slip.reading, slip.hours) == (1400, 1.0)
