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


@pytest.mark.parametrize(
    ("start", "end", "low", "high", "at", "expected"),
    [
        (3 * 60 + 27, 11 * 60 + 41, 2.2, 11.4, 7 * 60, 5.813),
        (11 * 60 + 11, 17 * 60 + 12, 0.95 * 10.0, 0.95 * 0.5, 14 * 60, 5.44),
    ],
    ids=["Canadian table method, 5.8 ft printed", "US piloting text, cosine 5.44 ft"],
)
def test_a_six_minute_record_gives_the_tables_level(start, end, low, high, at, expected):
    """Straight lines between six-minute readings miss the curve by less than 0.01 ft.

    Rising tide of 1 October 2003, 03:27 to 11:41, 2.2 to 11.4 ft: 5.8 ft at 07:00 by the Canadian
    table method. Falling tide of 19 April 2004, 11:11 to 17:12, 10.0 to 0.5 ft times the place's
    ratio of 0.95: cosine 5.44 ft at 14:00 (Advanced Piloting prints 5.0 ft by coarser twelfths).
    """
    record = curve(start, end, low, high)
    found = level_at(np.array([at * MINUTE]), record, max_gap_min=10)
    np.testing.assert_allclose(found, expected, atol=0.01)
