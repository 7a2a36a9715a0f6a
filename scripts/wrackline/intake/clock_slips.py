"""Slips of a gauge's own clock: readings from some instant on that are whole or half hours off.

A tide goes on as it was, whatever the clock says. So the shape of tides is fitted to the days
before and after an instant, once with the clock as it is and once with the later readings moved.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

PERIODS_H = (12.4206, 12.0, 23.9345, 25.8193, 6.2103)
"""M2, S2, K1, O1 and M4 [hours] (from memory)."""
SHIFTS_H = (-2.0, -1.5, -1.0, -0.5, 0.5, 1.0, 1.5, 2.0)
"""Slips looked for: summer time, and clocks set to a neighbour's time."""
BIN_H, DRIFT_H = 2.0, 36.0
"""Levels are averaged over two hours; what is slower than 36 hours is taken for weather."""
LEAST_H, MOST_H = 44.0, 60.0
"""Hours of record used on either side: fewer can't part a slip from weather."""
LEAST_RANGE_M = 0.4
"""The shapes of smaller tides are too much bent by weather to tell a slip."""
CLEAR_GAIN, MARKED_GAIN = 30.0, 15.0
"""Gains from which a slip is believed, anywhere and at a gap of the record: of 1,000 simulated
clean records with tides of 0.5 m and more four reached them; of clocks set by an hour 96 in 100 do
(tests)."""
GAIN_BY_LENGTH, USUAL_H = 10.0, 240.0
"""A record so many times as long as ten days has as many more chances to look like a slip: its
gain must be higher by this times the logarithm."""
MOST_MARKS = 5
"""Only so few gaps are looked at more closely: among many, one fits by chance."""
SLOWEST_H, LONGEST_GAP_H = 1.05, 24.0
"""Readings further apart, or silence for longer, tell nothing."""
LEAST_SHARE = 0.8
"""Share of the changes from bin to bin that must be known."""
BRIDGED_H = 2.5
"""Levels on both sides of a longer gap don't bear on each other."""


@dataclass(frozen=True)
class ClockSlip:
    """A slip of the record's clock.

    Attributes
    ----------
    reading : int
        First reading after it.
    hours : float
        By how much the clock is ahead from there on, against before [h].
    gain : float
        Drop of the squared misfit, in units of what is left of it a degree of freedom.
    """

    reading: int
    hours: float
    gain: float


def clock_slip(time: Array, level: Array) -> ClockSlip | None:
    """Return the clearest slip of a record's clock, None where none is clear.

    Parameters
    ----------
    time : array, shape (n,)
        Seconds, increasing.
    level : array, shape (n,)
        Levels [m].

    Examples
    --------
    Six days of a half-daily tide, read each hour; the clock is set ahead in the middle:

    >>> time = 3600.0 * np.arange(144)
    >>> tide = np.cos(2 * np.pi * time / 44_714)
    >>> clock_slip(time, tide) is None
    True
    >>> found = clock_slip(np.where(time < 72 * 3600, time, time + 3600), tide)
    >>> found.reading, found.hours
    (72, 1.0)
    """
    if len(time) < LEAST_H:
        return None
    hours = np.asarray((time - time[0]) / 3600.0, dtype=float)
    spacing = float(np.median(np.diff(hours)))
    if spacing > SLOWEST_H or hours[-1] < 2 * LEAST_H:
        return None
    sums = np.concatenate([[0.0], np.cumsum(level - level.mean())])
    if _tide_range(hours, sums, spacing) < LEAST_RANGE_M:
        return None
    gaps = np.flatnonzero(np.diff(hours) > 1.5 * spacing + 0.2) + 1
    clear_gain = CLEAR_GAIN + GAIN_BY_LENGTH * max(0.0, float(np.log(hours[-1] / USUAL_H)))
    least = MARKED_GAIN if len(gaps) <= MOST_MARKS else clear_gain
    at_gaps = _best(hours, sums, gaps, spacing)
    every_hour = np.searchsorted(hours, np.arange(LEAST_H, hours[-1] - LEAST_H, 1.0))
    found = _best(hours, sums, every_hour, spacing)
    if found is not None:
        near = hours[found.reading] + np.arange(-1.0, 1.01, 1 / 6)
        closer = np.clip(np.searchsorted(hours, near), 1, len(hours) - 1)
        found = _best(hours, sums, closer, spacing)
    clear = [(at_gaps, least), (found, clear_gain)]
    believed = [slip for slip, needed in clear if slip is not None and slip.gain >= needed]
    if len({slip.hours for slip in believed}) == 1:
        return believed[0]  # of one size: where the gap is
    return max(believed, key=lambda slip: slip.gain, default=None)


def _tide_range(hours: Array, sums: Array, spacing: float) -> float:
    """Return the mean range of what is faster than a day and slower than two hours [m]."""
    level = _means(hours, sums, np.arange(0.0, hours[-1], BIN_H), spacing)
    level = level[np.isfinite(level)]
    half = round(12.0 / BIN_H)
    day = np.concatenate([[0.5], np.ones(2 * half - 1), [0.5]]) / (2 * half)
    if len(level) < len(day):
        return 0.0
    fast = level[half:-half] - np.convolve(level, day, mode="valid")
    return float(2 * np.sqrt(2) * fast.std())


def _best(hours: Array, sums: Array, readings: Ints, spacing: float) -> ClockSlip | None:
    """Return the slip of most gain at any of some readings."""
    tried = [_tried(hours, sums, int(at), spacing) for at in np.unique(readings)]
    return max((one for one in tried if one is not None), key=lambda one: one.gain, default=None)


def _tried(hours: Array, sums: Array, at: int, spacing: float) -> ClockSlip | None:
    """Return the best slip at one reading, None where too little of the record is beside it."""
    before, after = hours[at - 1] + spacing / 2, hours[at] - spacing / 2
    gap = float(after - before)
    earlier = min(int(before / BIN_H), int(MOST_H / BIN_H))
    later = min(int((hours[-1] + spacing / 2 - after) / BIN_H), int(MOST_H / BIN_H))
    if min(earlier, later) * BIN_H < LEAST_H or gap > LONGEST_GAP_H:
        return None
    edges = (before - BIN_H * np.arange(earlier, -1, -1), after + BIN_H * np.arange(later + 1))
    level = np.concatenate([_means(hours, sums, one, spacing) for one in edges])
    rate = np.diff(level)
    used = np.isfinite(rate)
    used[earlier - 1] &= gap <= BRIDGED_H
    if used.mean() < LEAST_SHARE:
        return None
    kept = used.tobytes()
    shapes = [_shapes(earlier, later, round(gap - shift, 2), kept) for shift in (0.0, *SHIFTS_H)]
    left = [_misfit(rate[used], shape) for shape in shapes]
    best = 1 + int(np.argmin(left[1:]))
    free = int(used.sum()) - shapes[best].shape[1]
    gain = (left[0] - left[best]) / max(left[best] / max(free, 1), 1e-12)
    return ClockSlip(at, SHIFTS_H[best - 1], gain)


def _means(hours: Array, sums: Array, edges: Array, spacing: float) -> Array:
    """Return mean levels between edges, NaN where a quarter of the readings or more is missing."""
    ends = np.searchsorted(hours, edges)
    count = np.diff(ends)
    return np.where(
        count > 0.75 * BIN_H / spacing, np.diff(sums[ends]) / np.maximum(count, 1), np.nan
    )


def _misfit(rate: Array, shapes: Array) -> float:
    """Return the sum of squares that tides and weather leave of the levels' changes."""
    return float(rate @ rate - ((rate @ shapes) ** 2).sum())


@lru_cache(maxsize=1024)
def _shapes(earlier: int, later: int, gap: float, kept: bytes) -> Array:
    """Return an orthonormal basis of changes from bin to bin of tides and slow weather."""
    middle = BIN_H * (np.arange(-earlier, later) + 0.5)
    middle[earlier:] += gap
    span = (earlier + later) * BIN_H
    waves = [turn(2 * np.pi * middle / p) for p in PERIODS_H for turn in (np.cos, np.sin)]
    slow = range(1, int(2 * span / DRIFT_H) + 1)
    drift = [np.cos(np.pi * k * (middle + earlier * BIN_H) / span) for k in slow]
    changes = np.diff(np.array([*waves, *drift]).T, axis=0)[np.frombuffer(kept, dtype=bool)]
    left, size, _ = np.linalg.svd(changes, full_matrices=False)
    return np.asarray(left[:, size > 1e-6 * size[0]], dtype=float)
