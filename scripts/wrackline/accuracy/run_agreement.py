"""Runs of sounding held against the rest of their survey and against other surveys.

The site is cut into windows. In each, every run (and every other survey) has a level, its slope
taken out by what points of one and the same run show; differences of levels, gathered over the
windows, tie the runs into a network. An hour, a day or a run of rows that is off shows as one
number in many differences, and a clock that is off as differences that follow the water's level.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from wrackline.accuracy.bed_cells import WINDOW_CELLS, BedCells, coarse_keys
from wrackline.fit.water import level_at

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LEAST_GROUP = 4
"""Cells of a run that a window must hold."""
LONGEST = 24
"""Runs that an accused stretch spans at most; longer ones are days, or the survey."""
HONEST_M = 0.02
"""Sd of a run's own level: swell, squat, the water's slope (common practice, no source)."""
ALARM = 0.0005
LEAST_SDS = 5.0
LEAST_M = 0.10
ROUGHEST_M = 0.2
MOST_ROWS = 400_000
MOST_NUMBERS = 4_000_000
DAY_LIKE = 0.9
"""A day that explains nearly as much as the best stretch is named in its place."""
DAY_S = 86_400.0


@dataclass(frozen=True)
class Ties:
    """Differences of level between runs of one survey, and between runs and other surveys.

    Attributes
    ----------
    bed : BedCells
        The survey.
    one, two : array of int, shape (n,)
        Runs; `two` is −1 − j for the j-th other survey.
    difference : array, shape (n,)
        Level of `one` minus that of `two`, median over windows [m].
    sd : array, shape (n,)
        Of it [m].
    windows : array of int, shape (n,)
    middles : DataFrame
        Run by run, ``x``, ``y``, ``h`` and ``t``: means over its cells.
    """

    bed: BedCells
    one: Ints
    two: Ints
    difference: Array
    sd: Array
    windows: Ints
    middles: pd.DataFrame


@dataclass(frozen=True)
class OffRuns:
    """A stretch of runs that is off, or a whole day.

    Attributes
    ----------
    first, last : int
        Runs.
    size, sd : float
        Height as surveyed minus as all else has it [m].
    test : float
        How clear it is, in sds.
    day : str
        The day, where it is a day of several; else empty.
    cells : int
    """

    first: int
    last: int
    size: float
    sd: float
    test: float
    day: str
    cells: int


def tie_runs(bed: BedCells, others: Sequence[BedCells], avoid: Ints) -> Ties | None:
    """Return the ties of a survey's runs; None where there are none.

    Parameters
    ----------
    bed : BedCells
    others : sequence of BedCells
        Surveys to hold it against.
    avoid : array of int
        Keys of cells at walls.
    """
    rows = [_smooth(bed, bed.runs, avoid)]
    for number, other in enumerate(others):
        mine = coarse_keys(bed.runs["key"].to_numpy(np.int64))
        near = other.cells[np.isin(coarse_keys(other.key), mine)].reset_index()
        rows.append(_smooth(other, near.assign(run=-1 - number), avoid))
    table = pd.concat(rows, ignore_index=True)
    table["window"] = _window(table, bed.cell_m)
    levels = _levels(table, bed.cell_m * WINDOW_CELLS)
    if levels is None:
        return None
    pairs = _pairs(levels)
    if not len(pairs):
        return None
    at = bed.runs.groupby("run")[["x", "y", "h", "t"]].mean()
    return _gather(bed, pairs, at, [bed, *others])


def _smooth(bed: BedCells, rows: pd.DataFrame, avoid: Ints) -> pd.DataFrame:
    """Return the rows at cells that are no wall, stone or scarp."""
    keys = bed.key
    rough = max(ROUGHEST_M, 3 * float(np.hypot(bed.model.random_vertical, 0.05)))
    fit = keys[bed.lie.rough < rough]
    good = rows[np.isin(rows["key"], fit) & ~np.isin(rows["key"], avoid)]
    step = max(1, -(-len(good) // MOST_ROWS))
    return good.iloc[::step][["key", "run", "x", "y", "h"]]


def _window(table: pd.DataFrame, cell_m: float) -> Ints:
    keys = table["key"].to_numpy(np.int64)
    return np.asarray(np.unique(coarse_keys(keys), return_inverse=True)[1], dtype=np.int64)


def _levels(table: pd.DataFrame, side: float) -> pd.DataFrame | None:
    """Return the level of each run in each window, at the window's middle.

    The slope of a window comes from points of equal run, so that a step from run to run is
    not taken for it.
    """
    count = table.groupby(["window", "run"])["h"].transform("size")
    table = table[count >= LEAST_GROUP]
    if not len(table):
        return None
    by = table.groupby(["window", "run"], sort=True)
    means = by[["x", "y", "h"]].mean()
    centred = table[["x", "y", "h"]] - by[["x", "y", "h"]].transform("mean")
    x, y, h = (centred[name] for name in ("x", "y", "h"))
    moments = pd.DataFrame({"xx": x * x, "xy": x * y, "yy": y * y, "xh": x * h, "yh": y * h})
    sums = moments.groupby(table["window"]).sum()
    ridge = 1e-3 * side**2
    a, b, c = sums["xx"] + ridge, sums["yy"] + ridge, sums["xy"]
    det = a * b - c**2
    slope = pd.DataFrame(
        {"e": (sums["xh"] * b - sums["yh"] * c) / det, "n": (sums["yh"] * a - sums["xh"] * c) / det}
    )
    levels = means.reset_index()
    at = slope.loc[levels["window"]].to_numpy()
    level = levels["h"] - at[:, 0] * levels["x"] - at[:, 1] * levels["y"]
    out: pd.DataFrame = levels.assign(level=level, cells=by.size().to_numpy())
    return out


def _pairs(levels: pd.DataFrame) -> pd.DataFrame:
    """Return differences of level in one window: of two runs, or of a run and another survey."""
    few = levels[["window", "run", "level", "cells"]]
    many = few.groupby("window")["run"].size()
    total = float((many.astype(float) ** 2).sum())
    if total > 2e6:
        few = few[few["window"] % int(np.ceil(total / 2e6)) == 0]
    both = few.merge(few, on="window", suffixes=("", "_2"))
    return both[(both["run"] >= 0) & (both["run"] > both["run_2"])]


def _gather(
    bed: BedCells, pairs: pd.DataFrame, at: pd.DataFrame, sides: Sequence[BedCells]
) -> Ties:
    """Return one difference for each two runs, with an sd from the scatter and the budget."""
    pairs = pairs.assign(d=pairs["level"] - pairs["level_2"])
    by = pairs.groupby(["run", "run_2"], sort=True)
    middle = by["d"].median()
    away = (pairs["d"] - by["d"].transform("median")).abs()
    all_away = 1.4826 * float(away[by["d"].transform("size") > 2].median() or 0.0)
    windows = np.asarray(by["d"].size(), dtype=np.int64)
    one = middle.index.get_level_values(0).to_numpy(np.int64)
    two = middle.index.get_level_values(1).to_numpy(np.int64)
    own = np.array([_patch_sd(side, bed) for side in sides])
    stated = np.hypot(own[0], own[np.where(two < 0, -two, 0)])
    scatter = np.maximum(stated, np.nan_to_num(all_away))
    sd = 1.2533 * scatter / np.sqrt(windows)
    return Ties(bed, one, two, middle.to_numpy(float), sd, windows, at)


def _patch_sd(side: BedCells, bed: BedCells) -> float:
    """Return the sd of a survey's level in one window [m]."""
    model = side.model
    patches = max(1.0, model.patchy_distance / (WINDOW_CELLS * bed.cell_m))
    random = model.random_vertical / np.sqrt(LEAST_GROUP)
    return float(np.hypot(model.patchy_vertical * patches, random))


def off_runs(ties: Ties) -> OffRuns | None:
    """Return the stretch of runs, or the day, that is clearest off; None where none is.

    Parameters
    ----------
    ties : Ties
    """
    y = _against(ties, np.zeros(len(ties.difference)))
    days = _days(ties)
    stretches = np.array([*_stretches(int(ties.middles.index.max()) + 1), *days], dtype=np.int64)
    if not len(stretches):
        return None
    critical = max(LEAST_SDS, float(-ndtri(ALARM / 2 / len(stretches))))
    step = max(1, MOST_NUMBERS // len(y))
    parts = [_tested(ties, y, stretches[k : k + step]) for k in range(0, len(stretches), step)]
    size, sd, test, windows = np.concatenate(parts, axis=1)
    test = np.where(np.abs(size) >= LEAST_M, test, 0.0)
    best = int(np.argmax(test))
    if test[best] < critical:
        return None
    whole = np.arange(len(stretches)) >= len(stretches) - len(days)
    if (whole & (test > DAY_LIKE * test[best])).any():
        best = int(np.argmax(np.where(whole, test, 0.0)))
    first, last = (int(run) for run in stretches[best])
    day = _day_of(ties, first) if whole[best] else ""
    figures = (float(size[best]), float(sd[best]), float(test[best]))
    return OffRuns(first, last, *figures, day, int(windows[best]))


def _stretches(runs: int) -> list[tuple[int, int]]:
    """Return first and last of every stretch that is no longer than half the runs."""
    return [
        (first, last)
        for first in range(runs)
        for last in range(first, min(first + LONGEST, first + runs // 2, runs))
    ]


def _tested(ties: Ties, y: Array, stretches: Ints) -> Array:
    """Return size and sd of each stretch's offset, its clearness in sds, and its windows."""
    first, last = stretches[:, [0]], stretches[:, [1]]
    inside = ((ties.one >= first) & (ties.one <= last)).astype(float)
    inside -= (ties.two >= first) & (ties.two <= last)
    weight = 1.0 / ties.sd**2
    sums = np.abs(inside) @ weight
    known = np.maximum(sums, 1e-300)
    size = inside @ (weight * y) / known
    model = ties.bed.model
    windows = np.maximum(1.0, (np.abs(inside) * ties.windows).max(axis=1))
    own = (model.patchy_vertical**2 + model.random_vertical**2) / windows + HONEST_M**2
    sd = np.sqrt(1.0 / known + own)
    # part of all misfit that the offset takes away: half a stretch explains less than the whole
    share = np.sqrt(size**2 * sums / max(float((weight * y**2).sum()), 1e-300))
    return np.stack([size, sd, np.abs(size) / sd * share, np.abs(inside) @ ties.windows])


def _against(ties: Ties, moved: Array) -> Array:
    """Return the differences, moved by so much, those to each other survey about their median."""
    y = ties.difference + moved
    for other in np.unique(ties.two[ties.two < 0]):
        mine = ties.two == other
        order = np.argsort(y[mine])
        half = np.cumsum(ties.windows[mine][order])
        middle = int(np.searchsorted(half, half[-1] / 2))
        y[mine] -= y[mine][order][middle]
    return np.asarray(y, dtype=float)


def _days(ties: Ties) -> list[tuple[int, int]]:
    """Return first and last run of each day of a survey of several days."""
    time = ties.bed.spans["first_s"].to_numpy(float)
    if not np.isfinite(time).all():
        return []
    day = np.floor(time / DAY_S)
    runs = [np.flatnonzero(day == one) for one in np.unique(day)]
    return [(int(run[0]), int(run[-1])) for run in runs] if len(runs) > 1 else []


def _day_of(ties: Ties, run: int) -> str:
    return str(np.datetime64(int(ties.bed.spans["first_s"].iloc[run] // DAY_S), "D"))


SHIFTS_H = np.arange(-28, 29) / 2.0
LEAST_RANGE_M = 0.3
BETTER = 4.0
"""Sum of squares, as read over with the clock set otherwise, from which a slip is named."""
LEAST_RUNS = 4


@dataclass(frozen=True)
class ClockSlip:
    """A clock that agrees much better when set otherwise.

    Attributes
    ----------
    hours : float
        To be added to the soundings' times.
    before, after : float
        Scatter of the runs' differences [m].
    """

    hours: float
    before: float
    after: float


def clock_slip(ties: Ties) -> ClockSlip | None:
    """Tell whether the soundings' clock, set otherwise by half hours, makes the runs agree.

    Parameters
    ----------
    ties : Ties
    """
    bed = ties.bed
    if bed.water is None or len(ties.middles) < LEAST_RUNS:
        return None
    time = ties.middles["t"].to_numpy(float)
    if np.ptp(_levels_at(bed, np.linspace(time.min() - DAY_S / 4, time.max() + DAY_S / 4, 200))) < (
        LEAST_RANGE_M
    ):
        return None
    now = _levels_at(bed, time)
    scatters = np.array([_scatter(ties, _levels_at(bed, time + 3600 * h) - now) for h in SHIFTS_H])
    if not np.isfinite(scatters).any():
        return None
    best = int(np.nanargmin(scatters))
    before, after = float(scatters[len(SHIFTS_H) // 2]), float(scatters[best])
    floor = float(np.sqrt(np.average(ties.sd**2, weights=1 / ties.sd**2)))
    if before**2 < BETTER * max(after, floor) ** 2 or before - after < 0.04:
        return None
    return ClockSlip(float(SHIFTS_H[best]), before, after)


def _levels_at(bed: BedCells, time: Array) -> Array:
    """Return the water's level at some times; beyond the record, what its ends say."""
    if bed.water is None:
        return np.zeros(len(time))
    inside = np.clip(time, bed.water.time[0], bed.water.time[-1])
    level = level_at(inside, bed.water, max_gap_min=1e9)
    outside = (time < bed.water.time[0]) | (time > bed.water.time[-1])
    return np.where(outside, np.nan, level)


def _scatter(ties: Ties, change: Array) -> float:
    """Return the weighted scatter of differences once each run is moved by so much [m]."""
    by_run = pd.Series(change, index=ties.middles.index).reindex(
        range(int(ties.middles.index.max()) + 1), fill_value=0.0
    )
    runs = by_run.to_numpy(float)
    moved = runs[ties.one] - np.where(ties.two >= 0, runs[np.maximum(ties.two, 0)], 0.0)
    if not np.isfinite(moved).all():
        return float("nan")
    y = _against(ties, np.asarray(moved, dtype=float))
    return float(np.sqrt(np.average(y**2, weights=1 / ties.sd**2)))
