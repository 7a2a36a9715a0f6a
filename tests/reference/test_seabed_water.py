"""Reduction of soundings against worked tide tables, by a record of the printed curve."""

import numpy as np
import pytest

from wrackline.fit.water import level_at
from wrackline.intake.water import WaterRecord

MINUTE = 60.0


def curve(start, end, low, high, *, every_min=6.0):
    """Return a gauge's record of a half tide: the cosine curve of the printed tables."""
    time = np.arange(start, end + every_min, every_min)
    level = low + (high - low) * (1 - np.cos(np.pi * (time - start) / (end - start))) / 2
    return WaterRecord(time * MINUTE, level)


TABLES = pytest.mark.parametrize(
    ("start", "end", "low", "high", "at", "expected"),
    [
        (3 * 60 + 27, 11 * 60 + 41, 2.2, 11.4, 7 * 60, 5.813),
        (11 * 60 + 11, 17 * 60 + 12, 0.95 * 10.0, 0.95 * 0.5, 14 * 60, 5.44),
    ],
    ids=["Canadian table method, 5.8 ft printed", "US piloting text, cosine 5.44 ft"],
)


@TABLES
def test_a_six_minute_record_gives_the_tables_level(start, end, low, high, at, expected):
    """Straight lines between six-minute readings miss the curve by less than 0.01 ft.

    Rising tide of 1 October 2003, 03:27 to 11:41, 2.2 to 11.4 ft: 5.8 ft at 07:00 by the Canadian
    table method. Falling tide of 19 April 2004, 11:11 to 17:12, 10.0 to 0.5 ft times the place's
    ratio of 0.95: cosine 5.44 ft at 14:00 (Advanced Piloting prints 5.0 ft by coarser twelfths).
    """
    record = curve(start, end, low, high)
    found = level_at(np.array([at * MINUTE]), record, max_gap_min=10)
    np.testing.assert_allclose(found, expected, atol=0.01)


@TABLES
def test_high_and_low_waters_give_the_tables_level(start, end, low, high, at, expected):
    """The two waters alone give the tables' level, by the curve that the tables print."""
    record = WaterRecord(MINUTE * np.array([start, end]), np.array([low, high]), "high_and_low")
    found = level_at(np.array([at * MINUTE]), record, max_gap_min=60)
    np.testing.assert_allclose(found, expected, atol=0.002)


def test_the_rule_of_twelfths_is_not_the_curve():
    """Twelfths 1, 2, 3, 3, 2, 1 miss it by 1.63 % of the range at whole hours, 2.56 % between.

    The rule is common practice; so no step uses it.
    """
    record = WaterRecord(3600.0 * np.array([0, 6]), np.array([0.0, 1]), "high_and_low")
    rule = np.cumsum([0, 1, 2, 3, 3, 2, 1]) / 12
    for hours, most in ((np.arange(7.0), 0.01634604), (np.linspace(0, 6, 60_001), 0.02555098)):
        off = np.interp(hours, np.arange(7), rule) - level_at(3600 * hours, record, max_gap_min=60)
        assert np.abs(off).max() == pytest.approx(most, abs=2e-8)
