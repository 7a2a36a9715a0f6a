"""Simulated seas, all invented: tides of six constituents, surges, seiches, and gauges in them."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import lfilter

PERIODS_H = np.array([12.4206, 12.0, 12.6583, 23.9345, 25.8193, 6.2103])
"""M2, S2, N2, K1, O1, M4 (from memory)."""
GRID_H = 1 / 12
BEFORE_H = 24.0


@dataclass(frozen=True)
class Sea:
    """The level of an invented sea from a day before hour 0 on.

    `surge` has two time constants: it takes hours to rise and days to go.
    """

    amplitude: np.ndarray
    phase: np.ndarray
    surge: CubicSpline
    seiche_m: float
    seiche_h: float

    def tide(self, hours):
        """Return the astronomical part [m]."""
        turns = 2 * np.pi * np.asarray(hours)[..., None] / PERIODS_H + self.phase
        return np.cos(turns) @ self.amplitude

    def level(self, hours):
        """Return the level of the water above its mean [m]."""
        swing = np.cos(2 * np.pi * np.asarray(hours) / self.seiche_h + self.phase[0])
        return self.tide(hours) + self.surge(hours) + self.seiche_m * swing


def make_sea(rng, range_m, *, days, surge_m=0.0, seiche_m=0.0, daily=0.3, fourth=0.05):
    """Return a sea with a mean daily range, a surge's sd and a seiche's amplitude [m].

    `daily` and `fourth` are the sizes of daily tides and of M4 beside M2.
    """
    shares = np.array([1, 0.3, 0.2, 0.6 * daily, 0.4 * daily, fourth])
    phase = rng.uniform(0, 2 * np.pi, 6)
    sea = Sea(shares, phase, CubicSpline(*_surge(rng, days, surge_m)), 0.0, 1.0)
    hours = np.arange(0, 24 * max(int(days), 1), 0.2)
    mean_range = np.ptp(sea.tide(hours).reshape(-1, 120), axis=1).mean()
    return Sea(shares * range_m / mean_range, phase, sea.surge, seiche_m, rng.uniform(0.4, 1.5))


def _surge(rng, days, sd_m):
    """Return a grid of hours and a surge on it, of the sd that such surges have in the long run."""
    count = int((24 * days + 2 * BEFORE_H) / GRID_H)
    slow, fast = np.exp(-GRID_H / rng.uniform(10, 30)), np.exp(-GRID_H / rng.uniform(0.5, 2))
    answer = np.arange(6000)
    answer = (slow ** (answer + 1) - fast ** (answer + 1)) / (slow - fast)
    noise = rng.standard_normal(count + 4000)
    shaped = lfilter([1.0], [1.0, -(slow + fast), slow * fast], noise)[4000:]
    hours = GRID_H * np.arange(count) - BEFORE_H
    return hours, sd_m * shaped / np.sqrt((answer**2).sum())


def clock_record(seed, slip_h=0.0, *, least_m=0.5, most_m=4.0):
    """Return times [s] and levels [m] of a gauge over 5 to 14 days, its clock set in the middle.

    Readings 1 to 60 minutes apart, to the millimetre, with noise of 2 to 30 mm; every third record
    has a hole. A clock that is put back repeats readings, which were taken out.
    """
    rng = np.random.default_rng(seed)
    range_m = np.exp(rng.uniform(np.log(least_m), np.log(most_m)))
    days = rng.uniform(5, 14)
    sea = make_sea(
        rng,
        range_m,
        days=days,
        surge_m=rng.uniform(0.02, 0.10),
        seiche_m=rng.choice([0, 0.01, 0.03, 0.05]),
        daily=rng.uniform(0, 1),
        fourth=rng.uniform(0, 0.1),
    )
    hours = np.arange(0, 24 * days, rng.choice([1, 6, 10, 15, 30, 60]) / 60)
    level = sea.level(hours) + rng.choice([0.002, 0.01, 0.03]) * rng.standard_normal(len(hours))
    if rng.uniform() < 0.3:
        hole = rng.uniform(0, 24 * days)
        kept = (hours < hole) | (hours > hole + rng.choice([1, 2, 8]))
        hours, level = hours[kept], level[kept]
    set_at = hours >= rng.uniform(48, 24 * days - 48)
    shown = np.where(set_at, hours + slip_h, hours)
    kept = ~set_at | (shown > hours[~set_at][-1])
    return 3600 * shown[kept], level[kept].round(3)
