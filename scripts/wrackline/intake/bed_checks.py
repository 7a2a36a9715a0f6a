"""What can be said of soundings as a whole, from what is kept while they stream by.

Sentinels and zeros in place of missing heights, signs, points far off the others, rows that stand
twice, and a sounder that hung. Memory is bounded: counts, extremes and samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from wrackline.errors import Fault
from wrackline.intake.readings import Array, Ints, Reading
from wrackline.model import UNITS_M
from wrackline.verdict import Problems, Source

Hashes = npt.NDArray[np.uint64]

CAP = 200_000
"""Rows that a sample keeps at most; beyond it, every other one is let go."""
SENTINELS = (-9999.0, 9999.0, -99999.0, 99999.0, -32768.0, -32767.0, 32767.0, -999.0, 999.0)
"""Numbers that stand for a missing height in common formats (common practice, no source)."""
EXTREMES = 25
"""Points kept at each of the four ends of a survey."""
FAR_IQR, FAR_POINT_M = 20.0, 500.0
"""A single point is far beyond this many extents of the middle half, and this distance."""
LEAST_REPEATED, REPEATED_SHARE = 5, 0.01
LEAST_BLOCK = 20
"""Rows that come again in the same order from which a block is said to stand twice."""
STUCK, STUCK_S, AROUND = 60, 30.0, 30
"""Equal depths at as many places in turn, their least time, and neighbours looked at."""
REVERSALS = 0.25
"""Share of neighbours at which the depth turns, from which a sounder is taken to be unsteady."""
LEAST_LEVELS = 5
"""Different depths that an unsteady sounder shows; fewer are the flicker of a coarse display."""
DEEP_M = 150.0
"""No drowned settlement is known to lie so deep (from memory): a wrong unit is likelier."""
DEEPEST_M = 9000.0
"""Vertical numbers beyond this are marks of a missing value, not seabed."""


@dataclass
class Sample:
    """Every k-th row, in order; k doubles when there are too many.

    Attributes
    ----------
    step : int
        k.
    seen : int
        Rows that went by.
    kept : array, shape (m, 3)
        x, y, v.
    """

    step: int = 1
    seen: int = 0
    kept: Array = field(default_factory=lambda: np.empty((0, 3)))

    def take(self, part: Reading) -> None:
        """Take a chunk into account."""
        first = -self.seen % self.step
        new = np.column_stack([a[first :: self.step] for a in (part.x, part.y, part.v)])
        self.kept = np.concatenate([self.kept, new])
        self.seen += len(part.x)
        while len(self.kept) > CAP:
            self.kept, self.step = self.kept[::2], 2 * self.step


@dataclass
class Marked:
    """How often one exact number stands for the vertical, and where first."""

    count: int = 0
    row: int = 0
    at: tuple[float, float] = (0.0, 0.0)

    def take(self, part: Reading, value: float) -> None:
        """Take a chunk into account."""
        places = np.flatnonzero(part.v == value)
        if len(places) and not self.count:
            first = int(places[0])
            self.row = int(part.row[first])
            self.at = (float(part.x[first]), float(part.y[first]))
        self.count += len(places)


@dataclass
class Ends:
    """The outermost points in each of the four directions: row, x, y."""

    kept: list[Array] = field(default_factory=lambda: [np.empty((0, 3)) for _ in range(4)])

    def take(self, part: Reading) -> None:
        """Take a chunk into account."""
        new = np.column_stack([part.row.astype(float), part.x, part.y])
        for k in range(4):
            key = _outward(new, k)
            if len(key) > EXTREMES:
                chosen = np.argpartition(-key, EXTREMES - 1)[:EXTREMES]
            else:
                chosen = np.arange(len(key))
            both = np.concatenate([self.kept[k], new[chosen]])
            order = np.lexsort([both[:, 0], -_outward(both, k)])
            self.kept[k] = both[order[:EXTREMES]]

    def beyond(self, low: Array, high: Array) -> Array | None:
        """Return the points outside a box, by row; None where there are too many to know all."""
        far = []
        for kept in self.kept:
            out = ((kept[:, 1:] < low) | (kept[:, 1:] > high)).any(axis=1)
            if len(kept) == EXTREMES and out.all():
                return None
            far.append(kept[out])
        return np.unique(np.concatenate(far), axis=0)

    def bounds_without(self, rows: Array) -> list[float]:
        """Return least x, least y, greatest x, greatest y of all points but some, by row."""
        left = [kept[~np.isin(kept[:, 0], rows)] for kept in self.kept]
        return [float(left[k][0, 1 + k % 2]) for k in range(4)]


def _outward(points: Array, k: int) -> Array:
    """Return how far points reach to the west, south, east or north (k from 0)."""
    return np.asarray(points[:, 1 + k % 2] * (-1.0 if k < 2 else 1.0))


@dataclass
class Repeats:
    """Rows equal to the one before, and a sample of rows by what is in them."""

    count: int = 0
    first: int = 0
    last: Array = field(default_factory=lambda: np.full(4, np.nan))
    mask: int = 0
    hashes: Hashes = field(default_factory=lambda: np.empty(0, dtype=np.uint64))
    rows: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))

    def take(self, part: Reading) -> None:
        """Take a chunk into account."""
        time = np.zeros(len(part.x)) if part.time is None else part.time
        every = np.column_stack([part.x, part.y, part.v, time])
        again = (every == np.concatenate([self.last[None], every[:-1]])).all(axis=1)
        if again.any() and not self.count:
            self.first = int(part.row[np.flatnonzero(again)[0]])
        self.count += int(again.sum())
        self.last = every[-1]
        hashed, rows = _hashed(every[~again]), part.row[~again]
        mine = (hashed & np.uint64(self.mask)) == 0
        self.hashes = np.concatenate([self.hashes, hashed[mine]])
        self.rows = np.concatenate([self.rows, rows[mine]])
        while len(self.hashes) > CAP:
            self.mask = 2 * self.mask + 1
            mine = (self.hashes & np.uint64(self.mask)) == 0
            self.hashes, self.rows = self.hashes[mine], self.rows[mine]

    def block(self) -> tuple[int, int, int] | None:
        """Return first and last row of a block that comes again, and by how many rows later."""
        order = np.lexsort([self.rows, self.hashes])
        hashes, rows = self.hashes[order], self.rows[order]
        same = hashes[1:] == hashes[:-1]
        later, early = (rows[1:] - rows[:-1])[same], rows[:-1][same]
        steps, counts = np.unique(later, return_counts=True)
        if not len(steps) or counts.max() < LEAST_BLOCK:
            return None
        step = int(steps[counts.argmax()])
        mine = early[later == step]
        return int(mine.min()), int(mine.max()), step


def _hashed(every: Array) -> Hashes:
    """Return one number for each row, alike for equal rows (multiply and shift, own choice)."""
    mixed = np.zeros(len(every), dtype=np.uint64)
    bits = np.ascontiguousarray(every + 0.0).view(np.uint64)
    for k in range(every.shape[1]):
        mixed = (mixed ^ bits[:, k]) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    return mixed


@dataclass
class Stuck:
    """Long runs of one depth at changing places, where the depth else goes up and down."""

    tail: Reading | None = None
    runs: dict[int, tuple[int, float, tuple[float, float]]] = field(default_factory=dict)

    def take(self, part: Reading) -> None:
        """Take a chunk into account, with what came before it."""
        whole = part if self.tail is None else _together(self.tail, part)
        if len(whole.v) > STUCK:
            self._look(whole, carried=self.tail is not None)
        self.tail = _last(whole, 8 * STUCK)

    def _look(self, part: Reading, *, carried: bool) -> None:
        starts = np.concatenate([[0], np.flatnonzero(np.diff(part.v) != 0) + 1])
        ends = np.concatenate([starts[1:], [len(part.v)]])
        for k in np.flatnonzero(ends - starts > STUCK):
            first, end = int(starts[k]), int(ends[k])
            if (carried and first == 0) or not _moving(part, first, end):
                continue
            sides = [part.v[max(0, first - AROUND) : first], part.v[end : end + AROUND]]
            sides = [side for side in sides if len(side) >= AROUND // 2]
            if sides and all(_unsteady(side) for side in sides):
                place = (float(part.x[first]), float(part.y[first]))
                self.runs[int(part.row[first])] = (end - first, float(part.v[first]), place)


def _moving(part: Reading, first: int, end: int) -> bool:
    """Tell whether the boat went on all through a run, for long enough."""
    steps = (np.diff(part.x[first:end]) != 0) | (np.diff(part.y[first:end]) != 0)
    long = part.time is None or part.time[end - 1] - part.time[first] > STUCK_S
    return bool(steps.sum() >= STUCK and long)


def _unsteady(values: Array) -> bool:
    """Tell whether depths go up and down by more than a step or two of the display."""
    return _turns(values) >= REVERSALS and len(np.unique(values)) >= LEAST_LEVELS


def _turns(values: Array) -> float:
    """Return at what share of its inner values a series turns from up to down or back.

    >>> _turns(np.array([1.0, 2, 1, 2, 2, 1])), _turns(np.array([1.0, 2, 3, 4, 5, 6]))
    (0.75, 0.0)
    """
    steps = np.sign(np.diff(values))
    steps = steps[steps != 0]
    return float((steps[1:] != steps[:-1]).sum() / max(len(values) - 2, 1))


def _together(one: Reading, other: Reading) -> Reading:
    time = None
    if one.time is not None and other.time is not None:
        time = np.concatenate([one.time, other.time])
    x, y, v = (np.concatenate([getattr(one, a), getattr(other, a)]) for a in "xyv")
    return Reading(x, y, v, np.concatenate([one.row, other.row]), 0, time)


def _last(part: Reading, count: int) -> Reading:
    time = None if part.time is None else part.time[-count:]
    kept = replace(part, x=part.x[-count:], y=part.y[-count:], v=part.v[-count:])
    return replace(kept, row=part.row[-count:], time=time, sd=None)


class BedChecks:
    """All checks of one survey; takes chunks with vertical numbers as the file has them.

    Parameters
    ----------
    source : Source
    metre : float
        Metres of one unit of x and y [m].
    in_order : bool
        Whether rows stand in the order of sounding, as in a table.
    single : bool
        Whether rows are single points, not cells of a grid.
    """

    def __init__(self, source: Source, *, metre: float, in_order: bool, single: bool) -> None:
        self._source, self._metre, self._single = source, metre, single
        self._sample, self._ends = Sample(), Ends()
        self._marked = {value: Marked() for value in (0.0, *SENTINELS)}
        self._negative = 0
        self._repeats = Repeats() if single else None
        self._stuck = Stuck() if in_order else None

    def take(self, part: Reading) -> None:
        """Take a chunk into account."""
        if not len(part.x):
            return
        self._sample.take(part)
        self._negative += int((part.v < 0).sum())
        lowest, highest = float(part.v.min()), float(part.v.max())
        for value, marked in self._marked.items():
            if lowest <= value <= highest:
                marked.take(part, value)
        if self._single:
            self._ends.take(part)
        for check in (self._repeats, self._stuck):
            if check is not None:
                check.take(part)

    def close(self, problems: Problems) -> list[float] | None:
        """Say what was found; return the bounds without single points far off, None if none is."""
        if not self._sample.seen:
            return None
        self._missing(problems)
        self._sense(problems)
        if self._repeats is not None:
            self._repeated(self._repeats, problems)
        if self._stuck is not None:
            for row, (count, value, at) in sorted(self._stuck.runs.items()):
                problems.add(_stuck_value(self._source, count, value, row, at))
        return self._far(problems) if self._single else None

    def _missing(self, problems: Problems) -> None:
        """Find numbers that stand for a missing height."""
        size = np.abs(self._sample.kept[:, 2])
        size = size[(size != 0) & ~np.isin(self._sample.kept[:, 2], SENTINELS)]
        large = float(np.quantile(size, 0.9)) if len(size) else 0.0
        for value in SENTINELS:
            marked = self._marked[value]
            beyond = abs(value) * UNITS_M[self._source.survey.vertical.unit] > DEEPEST_M
            if marked.count and (beyond or abs(value) > 10 * large):
                problems.add(_sentinel(self._source, value, marked))
        zeros = self._marked[0.0]
        if zeros.count > 3 and len(size) and self._apart(size, zeros.count):
            problems.add(_zero(self._source, zeros, float(size.min())))

    def _apart(self, size: Array, zeros: int) -> bool:
        """Tell whether nothing lies between exact zeros and the other numbers."""
        low = float(np.quantile(size, 0.01))
        values = np.unique(size)
        step = float(np.diff(values).min()) if len(values) > 1 else 0.0
        metres = UNITS_M[self._source.survey.vertical.unit]
        between = int((size < low / 2).sum()) * self._sample.step
        return low * metres >= 0.3 and low / 2 > 2 * step and between < 0.1 * zeros

    def _sense(self, problems: Problems) -> None:
        """Find depths of the wrong sign, and numbers that no seabed with ruins has."""
        vertical = self._source.survey.vertical
        seen = self._sample.seen - self._marked[0.0].count
        downward = vertical.meaning != "height"
        if downward and seen >= 10 and self._negative > 0.9 * seen:
            problems.add(_wrong_sign(self._source, self._negative, seen))
        values = self._sample.kept[:, 2]
        values = values[~np.isin(values, SENTINELS)]
        middle = float(np.median(values)) if len(values) else 0.0
        metres = middle * UNITS_M[vertical.unit] * (1.0 if downward else -1.0)
        if DEEP_M < metres < DEEPEST_M or (downward and DEEP_M < -metres < DEEPEST_M):
            problems.add(_depth_scale(self._source, middle))

    def _repeated(self, repeats: Repeats, problems: Problems) -> None:
        least = max(LEAST_REPEATED, REPEATED_SHARE * self._sample.seen)
        if repeats.count >= least:
            problems.add(_repeated_rows(self._source, repeats.count, repeats.first))
        block = repeats.block()
        if block is not None:
            problems.add(_block_twice(self._source, *block))

    def _far(self, problems: Problems) -> list[float] | None:
        """Name single points far off the others; return the bounds of the others."""
        xy = self._sample.kept[:, :2]
        low, high = np.quantile(xy, [0.25, 0.75], axis=0)
        reach = max(FAR_IQR * float((high - low).max()), FAR_POINT_M / self._metre)
        far = self._ends.beyond(low - reach, high + reach)
        if far is None or not 0 < len(far) <= max(3, 0.01 * self._sample.seen):
            return None
        centre = (low + high) / 2
        for row, x, y in far:
            away = float(np.hypot(x - centre[0], y - centre[1])) * self._metre
            problems.add(_far_point(self._source, away, int(row), (float(x), float(y))))
        return self._ends.bounds_without(far[:, 0])


def _sentinel(source: Source, value: float, marked: Marked) -> Fault:
    table = source.path.suffix.lower() not in (".las", ".laz", ".tif", ".tiff", ".bag", ".asc")
    return source.fault(
        "sentinel_height",
        f"{value:g} as a height or depth, in {marked.count} rows, far from all others",
        "heights and depths alone",
        "a mark of a missing value would be taken for seabed",
        f"list '{value:g}' in columns.no_value"
        if table
        else f"set {value:g} as nodata, or take those points out; in a table columns.no_value",
        row=marked.row,
        at=marked.at,
    )


def _zero(source: Source, marked: Marked, least: float) -> Fault:
    return source.fault(
        "zero_height",
        f"exactly 0 as a height or depth, in {marked.count} rows; no other is smaller than "
        f"{least:g}",
        "heights and depths alone; true zeros have neighbours near zero",
        "missing soundings would stand as peaks up to the datum",
        "list '0' in columns.no_value, or set the raster's nodata value",
        row=marked.row,
        at=marked.at,
    )


def _wrong_sign(source: Source, negative: int, seen: int) -> Fault:
    return source.suspicion(
        "wrong_sign",
        f"{negative} of {seen} numbers negative, as depths",
        f"depths counted down, as vertical.meaning '{source.survey.vertical.meaning}' says",
        "the seabed would stand above the water",
        "set vertical.meaning: height if the numbers count up",
    )


def _depth_scale(source: Source, middle: float) -> Fault:
    return source.suspicion(
        "depth_scale",
        f"numbers around {middle:g} {source.survey.vertical.unit} as depths",
        f"depths within {DEEP_M:g} m, in the unit that vertical.unit names",
        "every depth would be wrong by one factor",
        "set vertical.unit to the file's own unit: millimetre, centimetre, foot, fathom",
    )


def _repeated_rows(source: Source, count: int, row: int) -> Fault:
    return source.suspicion(
        "repeated_rows",
        f"{count} rows equal to the row before",
        "each sounding once",
        "soundings that stand several times make means look surer than they are",
        "export the file without the repeats",
        row=row,
    )


def _block_twice(source: Source, first: int, last: int, step: int) -> Fault:
    return source.suspicion(
        "repeated_rows",
        f"rows {first} to {last} once more as rows {first + step} to {last + step}",
        "each sounding once",
        "soundings that stand twice make means look surer than they are",
        "take one of the two blocks out",
        row=first + step,
    )


def _stuck_value(
    source: Source, count: int, value: float, row: int, at: tuple[float, float]
) -> Fault:
    return source.suspicion(
        "stuck_value",
        f"{value:g} for {count} soundings in turn at changing places, unsteady before and after",
        "depths that follow the seabed",
        "a sounder that hung would draw a flat seabed",
        "compare with neighbouring lines; take the run out, or accept it",
        row=row,
        at=at,
    )


def _far_point(source: Source, away: float, row: int, at: tuple[float, float]) -> Fault:
    return source.fault(
        "far_point",
        f"a point at {at[0]:.10g}, {at[1]:.10g}, {away / 1000:.1f} km from the middle of the "
        "survey, alone there",
        f"points within {FAR_IQR:g} extents of the survey's middle half, or {FAR_POINT_M:g} m",
        "the seabed would reach from there to the site",
        "mend its coordinates (a digit too many, a lost fix?), or take the row out",
        row=row,
        at=at,
    )
