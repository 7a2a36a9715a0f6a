"""The water's level at the instant of each sounding."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_tides import make_sea
from scipy.interpolate import CubicSpline

from wrackline.fit.water import level_at
from wrackline.intake.water import WaterRecord

HOUR = 3600.0
RECORD = WaterRecord(np.array([0.0, HOUR, 4 * HOUR]), np.array([1.0, 1.6, 1.0]))


@pytest.mark.parametrize(
    ("time", "level"),
    [
        (0.0, 1.0),
        (HOUR / 3, 1.2),
        (HOUR, 1.6),
        (4 * HOUR, 1.0),
        (-0.001, np.nan),
        (4 * HOUR + 0.001, np.nan),
        (2 * HOUR, np.nan),
    ],
    ids=["first", "between", "on it", "last", "before", "after", "in a long gap"],
)
def test_levels_lie_on_the_line_between_records_and_nowhere_else(time, level):
    """Straight lines between records; nothing outside them or within a gap over the limit."""
    found = level_at(np.array([time]), RECORD, max_gap_min=60.0)
    np.testing.assert_allclose(found, [level])


def test_the_limit_of_a_gap_is_inclusive():
    """A gap of exactly the longest allowed length is interpolated across."""
    inside = np.array([2.5 * HOUR])
    np.testing.assert_allclose(level_at(inside, RECORD, max_gap_min=180.0), [1.3])
    assert np.isnan(level_at(inside, RECORD, max_gap_min=179.9)).all()


@settings(max_examples=50, derandomize=True, database=None, deadline=None)
@given(st.lists(st.floats(-10, HOUR * 5), min_size=1, max_size=20), st.floats(-1e9, 1e9))
def test_a_shift_of_both_clocks_changes_nothing(times, shift):
    """Soundings and record moved by the same whole time give the same levels."""
    at, shift = np.round(times), float(np.round(shift))
    moved = WaterRecord(RECORD.time + shift, RECORD.level)
    np.testing.assert_allclose(
        level_at(at + shift, moved, max_gap_min=60), level_at(at, RECORD, max_gap_min=60), atol=1e-6
    )


def missed(every_min, *, noise_m=0.0, range_m=2.0):
    """Return rms errors of levels, and of straight lines and splines, over simulated seas [m]."""
    found = []
    for seed in range(8):
        rng = np.random.default_rng([every_min, seed])
        sea = make_sea(rng, range_m, days=3, surge_m=0.1)
        hours = np.arange(0, 72 + 1e-9, every_min / 60)
        level = sea.level(hours) + noise_m * rng.standard_normal(len(hours))
        at = rng.uniform(6, 66, 1000)
        record = WaterRecord(HOUR * hours, level)
        ways = (
            level_at(HOUR * at, record, max_gap_min=180),
            np.interp(at, hours, level),
            CubicSpline(hours, level)(at),
        )
        found.append([np.mean((way - sea.level(at)) ** 2) for way in ways])
    return np.sqrt(np.mean(found, axis=0))


@pytest.mark.parametrize(("every_min", "share"), [(30, 0.6), (60, 0.4), (120, 0.3), (180, 0.4)])
def test_coarse_readings_are_led_through_by_a_curve(every_min, share):
    """Half-hourly to three-hourly readings: errors are that share of straight lines' at most."""
    ours, lines, _ = missed(every_min)
    assert ours < share * lines


@pytest.mark.parametrize("every_min", [1, 6, 10])
def test_noise_of_close_readings_is_not_made_greater(every_min):
    """Noise of 2 cm comes out as by straight lines, sqrt(2 / 3) of it: less than by splines."""
    ours, lines, curve = missed(every_min, noise_m=0.02)
    assert ours == pytest.approx(lines, rel=1e-9)
    assert ours == pytest.approx(0.02 * np.sqrt(2 / 3), rel=0.05)
    assert ours < 0.95 * curve


def test_even_hourly_readings_are_those_of_a_spline():
    """Between evenly spaced coarse readings the level is that of scipy's spline."""
    hours = np.arange(12.0)
    level = np.cos(hours / 2)
    at = np.linspace(0.1, 10.9, 50)
    found = level_at(HOUR * at, WaterRecord(HOUR * hours, level), max_gap_min=60)
    np.testing.assert_allclose(found, CubicSpline(hours, level)(at), atol=1e-12)


def test_two_close_readings_don_t_swing_the_curve():
    """A reading 3 minutes on, 3 cm higher, is overshot by 2 mm; one spline swings by 9 cm."""
    hours = np.array([0, 1, 2, 3, 3.05, 4, 5, 6, 7.0])
    level = np.where(hours == 3.05, 1.03, 1.0)
    at = HOUR * np.linspace(0, 7, 300)
    found = level_at(at, WaterRecord(HOUR * hours, level), max_gap_min=60)
    assert found.min() >= 1.0 - 0.002
    assert found.max() <= 1.03 + 0.002
    assert np.ptp(CubicSpline(HOUR * hours, level)(at)) > 0.12


def test_a_curve_ends_at_a_gap():
    """What lies beyond a gap that isn't bridged has no say in the levels before it."""
    hours = np.array([0, 1, 2, 3, 4, 9, 10, 11, 12, 13.0])
    level = np.cos(hours / 2)
    at = HOUR * np.linspace(0, 4, 41)
    whole = level_at(at, WaterRecord(HOUR * hours, level), max_gap_min=60)
    alone = level_at(at, WaterRecord(HOUR * hours[:5], level[:5]), max_gap_min=60)
    np.testing.assert_array_equal(whole, alone)
    assert np.isnan(
        level_at(np.array([6 * HOUR]), WaterRecord(HOUR * hours, level), max_gap_min=60)
    )


@settings(max_examples=40, derandomize=True, database=None, deadline=None)
@given(
    st.lists(st.floats(60, 20_000), min_size=1, max_size=12), st.integers(0, 1000), st.floats(-9, 9)
)
def test_levels_pass_through_their_readings_and_move_with_them(gaps, seed, lift):
    """However readings are spaced, at each the level is its own; lifted, all lift alike."""
    time = np.cumsum([0.0, *gaps])
    level = np.random.default_rng(seed).normal(size=len(time))
    record = WaterRecord(time, level)
    np.testing.assert_allclose(level_at(time, record, max_gap_min=120), level, atol=1e-9)
    at = np.linspace(0, time[-1], 50)
    lifted = level_at(at, WaterRecord(time, level + lift), max_gap_min=120)
    np.testing.assert_allclose(lifted, level_at(at, record, max_gap_min=120) + lift, atol=1e-8)


def test_a_water_that_is_missing_is_a_gap():
    """Between waters 17 hours apart nothing is known; the next half tide is."""
    record = WaterRecord(HOUR * np.array([0, 17, 23]), np.array([2.0, 0.4, 1.8]), "high_and_low")
    found = level_at(HOUR * np.array([8, 20]), record, max_gap_min=60)
    np.testing.assert_allclose(found, [np.nan, 1.1])
