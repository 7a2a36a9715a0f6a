"""Reduction of soundings: the water's level at the instant of each, and how well it is known."""

from __future__ import annotations

from collections.abc import Iterator
from math import comb

import numpy as np
import numpy.typing as npt
import scipy  # loads its parts where they are first used

from wrackline.intake.water import WaterRecord, known
from wrackline.model import Vertical
from wrackline.uncertainty import NamedError

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

COARSE_S = 15 * 60.0
"""Readings as far apart or further follow a bending tide: a cubic spline leads through them. Closer
ones differ by their noise more than by the tide's bends (trials on simulated tides)."""
EVEN = 2.0
"""Neighbouring gaps of one spline differ by no more than this factor; it would swing else."""
CUBIC_READINGS = 4
COSINE_SHARE = 0.03
"""Sd of the cosine curve between two waters, as a share of the range: what an M4 of a tenth of M2,
with unequal tides, does (trials)."""
LINEAR_NOISE, CUBIC_NOISE = 2 / 3, 0.88
"""Share of the readings' noise, as variance, that is left between them: by a straight line the mean
of u^2 + (1 - u)^2; by a cubic spline, from trials."""
TIDE_PER_S = 2 * np.pi / (12.4206 * 3600.0)
"""Angular speed of the half-daily tide."""
HIGHEST_ORDER = 6
FEWEST_FOR_NOISE = 8
LEAST_RATE_S = 1800.0
"""Rates of the level are taken over half an hour or more, so that noise is none."""


def level_at(time: Array, record: WaterRecord, *, max_gap_min: float) -> Array:
    """Return the water's level at given instants.

    Between close readings by straight lines; between even ones of 15 minutes and more by a cubic
    spline through four or more; between high and low waters by the cosine curve.

    Parameters
    ----------
    time : array, shape (n,)
        UTC, in seconds since 1970.
    record : WaterRecord
    max_gap_min : float
        Longest gap of the record that is interpolated across [minutes].

    Returns
    -------
    array, shape (n,)
        Level above the gauge's zero [m]; NaN outside the record and within longer gaps.

    Examples
    --------
    A level that rises by 0.6 m in an hour, then is silent for three:

    >>> record = WaterRecord(np.array([0.0, 3600, 14400]), np.array([1.0, 1.6, 1.0]))
    >>> level_at(np.array([-1.0, 0, 1200, 3600, 7200]), record, max_gap_min=60)
    array([nan, 1. , 1.2, 1.6, nan])

    Low water at noon and high water six hours later; a third of the way a quarter has risen:

    >>> waters = WaterRecord(np.array([0.0, 6 * 3600]), np.array([1.0, 3.0]), "high_and_low")
    >>> level_at(np.array([0.0, 7200, 10800, 14400]), waters, max_gap_min=60)
    array([1. , 1.5, 2. , 2.5])
    """
    time = np.asarray(time, dtype=float)
    there = known(time, record, max_gap_min=max_gap_min)
    if record.holds == "mean_level":
        return np.where(there, mean_level(record), np.nan)
    if record.holds == "high_and_low":
        return np.where(there, _cosine(time, record), np.nan)
    level = np.interp(time, record.time, record.level)
    for first, last in _coarse_runs(record.time, max_gap_min):
        part = slice(first, last + 1)
        inside = (time > record.time[first]) & (time < record.time[last])
        if inside.any():
            curve = scipy.interpolate.CubicSpline(record.time[part], record.level[part])
            level[inside] = curve(time[inside])
    return np.where(there, level, np.nan)


def mean_level(record: WaterRecord) -> float:
    """Return the mean level of high and low waters, each half tide by its length [m].

    >>> mean_level(WaterRecord(np.array([0.0, 1, 3]), np.array([0.0, 2, 1]), "mean_level"))
    1.3333333333333333
    """
    halves = (record.level[1:] + record.level[:-1]) / 2
    return float(np.average(halves, weights=np.diff(record.time)))


def _cosine(time: Array, record: WaterRecord) -> Array:
    """Return levels by the cosine curve from each high or low water to the next."""
    before = np.clip(np.searchsorted(record.time, time, "right") - 1, 0, len(record.time) - 2)
    start, low = record.time[before], record.level[before]
    share = (time - start) / (record.time[before + 1] - start)
    rise = record.level[before + 1] - low
    return np.asarray(low + rise * (1 - np.cos(np.pi * share)) / 2, dtype=float)


def _coarse_runs(time: Array, max_gap_min: float) -> Iterator[tuple[int, int]]:
    """Yield first and last reading of each stretch that a spline leads through."""
    gap = np.diff(time)
    coarse = (gap >= COARSE_S - 0.5) & (gap <= 60.0 * max_gap_min)
    uneven = np.maximum(gap[1:], gap[:-1]) > EVEN * np.minimum(gap[1:], gap[:-1])
    joined = coarse[1:] & coarse[:-1] & ~uneven
    starts = np.flatnonzero(coarse & ~np.concatenate([[False], joined]))
    ends = np.flatnonzero(coarse & ~np.concatenate([joined, [False]])) + 1
    long_enough = ends - starts + 1 >= CUBIC_READINGS
    yield from zip(starts[long_enough].tolist(), ends[long_enough].tolist(), strict=True)


def level_errors(name: str, meant: Vertical, record: WaterRecord) -> list[NamedError]:
    """Return what is uncertain of the level under a survey's soundings, as height shifts.

    Between two readings the error is alike, so over minutes to hours of sailing: over how much
    ground, nobody knows. So each is taken as alike for the whole survey, and never averaged down.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    meant : Vertical
        How its vertical numbers are meant.
    record : WaterRecord

    Examples
    --------
    Readings to the centimetre each minute, and a clock that may be off by half a minute:

    >>> minute = 60.0 * np.arange(600)
    >>> record = WaterRecord(minute, (0.5 * np.sin(minute / 7000)).round(2))
    >>> meant = Vertical(meaning="depth_below_water", water_level="tide.csv", clocks_sd_s=30.0)
    >>> [(one.name, round(one.sd, 4)) for one in level_errors("2031-echo", meant, record)]
    [('2031-echo:water_level', 0.0024), ('2031-echo:water_clock', 0.0014)]
    """
    sizes = {
        "water_level": float(np.hypot(_level_sd(meant, record), meant.water_level_sd_m)),
        "water_clock": meant.clocks_sd_s * rate_of(record),
    }
    return [NamedError(f"{name}:{part}", "height", sd) for part, sd in sizes.items() if sd > 0]


def _level_sd(meant: Vertical, record: WaterRecord) -> float:
    if record.holds == "levels":
        return interpolation_sd(record, max_gap_min=meant.water_level_max_gap_min)
    surge = meant.water_level_surge_sd_m or 0.0
    tide = _mean_square(np.diff(record.level), np.diff(record.time))
    if record.holds == "high_and_low":
        return float(np.hypot(surge, COSINE_SHARE * np.sqrt(tide)))
    off = (record.level[1:] + record.level[:-1]) / 2 - mean_level(record)
    return float(np.sqrt(surge**2 + tide / 8 + _mean_square(off, np.diff(record.time))))


def _mean_square(size: Array, weight: Array) -> float:
    return float(np.average(size**2, weights=weight))


def rate_of(record: WaterRecord) -> float:
    """Return the root mean square of the level's rate of change over the record [m/s].

    >>> record = WaterRecord(np.array([0.0, 1800, 3600]), np.array([0.0, 0.18, 0.36]))
    >>> round(rate_of(record), 9)
    0.0001
    """
    if record.holds == "mean_level":
        return 0.0
    gap = np.diff(record.time)
    if record.holds == "high_and_low":
        half = np.pi / (2 * np.sqrt(2)) * np.diff(record.level) / gap
        return float(np.sqrt(_mean_square(half, gap)))
    apart = int(np.ceil(LEAST_RATE_S / np.median(gap)))
    apart = min(max(apart, 1), len(gap))
    over = record.time[apart:] - record.time[:-apart]
    rate = (record.level[apart:] - record.level[:-apart]) / over
    return float(np.sqrt(np.mean(rate**2)))


def interpolation_sd(record: WaterRecord, *, max_gap_min: float) -> float:
    """Return the sd of levels between readings: their noise, their step, and the tide's bends.

    Noise is what differences of the readings of orders 2 to 6 have in common: of a smooth level
    they vanish with the order, of noise their mean square is the noise's times a binomial
    coefficient (Hall, Kay & Titterington 1990, Biometrika 77:521-528, from memory). Bends that
    straight lines cut off follow from second differences over as long a time as each gap. What is
    faster than the readings can tell is not in it.

    Parameters
    ----------
    record : WaterRecord
        Readings of the level.
    max_gap_min : float
        Longest gap that is interpolated across [minutes].
    """
    gap = np.diff(record.time)
    bridged = gap <= 60.0 * max_gap_min
    if not bridged.any():
        return 0.0
    noise = max(_noise_variance(record), _step_variance(record.level))
    by_cubic = np.zeros(len(gap), dtype=bool)
    for first, last in _coarse_runs(record.time, max_gap_min):
        by_cubic[first:last] = True
    bent = ~by_cubic | (len(record.time) < FEWEST_FOR_NOISE)
    variance = np.where(by_cubic, CUBIC_NOISE, LINEAR_NOISE) * noise
    stride = np.maximum(np.rint(gap / np.median(gap)), 1).astype(np.int64)
    for one in np.unique(stride[bridged & bent]):
        here = (stride == one) & bent
        variance[here] += _bend_variance(record, int(one), noise, float(gap[here].max()))
    return float(np.sqrt(np.average(variance[bridged], weights=gap[bridged])))


def _noise_variance(record: WaterRecord) -> float:
    """Return the variance of the readings' noise, 0 where fewer than four can't tell it."""
    usual = float(np.median(np.diff(record.time)))
    even = np.asarray(np.abs(np.diff(record.time) - usual) <= 0.25 * usual, dtype=bool)
    more = 1 + 6 / (1 + int(even.sum()))  # the least of several, or of few readings, is too small
    if len(record.time) < FEWEST_FOR_NOISE:
        bend = _mean_change(record.level, even, 2) - _tide_bend(record, usual) ** 2
        return more * (max(bend, 0.0) if np.isfinite(bend) else 0.0) / comb(4, 2)
    found = [
        _mean_change(record.level, even, order) / comb(2 * order, order)
        for order in range(2, HIGHEST_ORDER + 1)
        if len(even) > 2 * order
    ]
    return more * min(one for one in found if np.isfinite(one)) if np.isfinite(found).any() else 0.0


def _mean_change(level: Array, even: npt.NDArray[np.bool_], order: int) -> float:
    """Return the mean square of differences of an order over even gaps, NaN where few are even."""
    if len(even) < order:
        return float("nan")
    whole = np.asarray(np.lib.stride_tricks.sliding_window_view(even, order).all(axis=1))
    if whole.sum() < min(2 * order, len(whole)):
        return float("nan")
    return float(np.mean(np.diff(level, n=order)[whole] ** 2))


def _tide_bend(record: WaterRecord, gap: float) -> float:
    """Return the second difference over a gap of a tide as large and as fast as the record [m]."""
    rate = float(np.abs(np.diff(record.level) / np.diff(record.time)).max())
    amplitude = max(float(np.ptp(record.level)) / 2, rate / TIDE_PER_S)
    return amplitude * (TIDE_PER_S * gap) ** 2


def _step_variance(level: Array) -> float:
    """Return the variance of rounding to the readings' step, evenly spread over it (GUM 4.3.7)."""
    for step in (0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001):
        if np.abs(level / step - np.rint(level / step)).max() < 1e-6 / step:
            return step**2 / 12
    return 0.0


def _bend_variance(record: WaterRecord, stride: int, noise: float, gap: float) -> float:
    """Return the mean square of what straight lines cut off over a gap of so many readings.

    A parabola with the second difference D leaves D / 8 in the middle and D^2 / 120 in the mean
    square. Where there are too few readings to difference, it is that of a half-daily tide as
    large and as fast as the record.
    """
    time, level = record.time, record.level
    usual = stride * float(np.median(np.diff(time)))
    if len(time) > 2 * stride:
        across = time[2 * stride :] - time[: -2 * stride]
        middle = time[stride:-stride] - time[: -2 * stride]
        even = (np.abs(across - 2 * usual) < 0.2 * usual) & (np.abs(middle - usual) < 0.2 * usual)
        if even.sum() >= FEWEST_FOR_NOISE:
            bend = level[2 * stride :] - 2 * level[stride:-stride] + level[: -2 * stride]
            return max(float(np.mean(bend[even] ** 2)) - 6 * noise, 0.0) / 120
    return _tide_bend(record, gap) ** 2 / 120
