"""The water's level at the instant of each sounding."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
