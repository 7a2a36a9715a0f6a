"""Points of one area binned into cells, in compiled loops over whole numbers.

Heights are whole ticks of 0.1 mm, so sums are exact: no figure depends on the order of points.
Arrays of cells are flat, rows north to south; a point outside the area is passed over.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from wrackline.points import Words
from wrackline.rasters import TICK_M, Grid, ticks

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int32]
Flags = npt.NDArray[np.uint8]

FEW = 32
"""Heights of a cell up to which they are sorted by insertion."""


@dataclass(frozen=True)
class Area:
    """Cells to bin points into, as compiled loops take them.

    Attributes
    ----------
    origin : tuple of int
        The site's origin, in ticks, counted as the points are.
    size : float
        Cell size in ticks.
    west, north : int
        The area's first column, and the row after its last, in cells from the site's origin.
    rows, columns : int
    """

    origin: tuple[int, int]
    size: float
    west: int
    north: int
    rows: int
    columns: int

    @classmethod
    def of(cls, grid: Grid, offset: tuple[int, ...]) -> Area:
        """Return the area of a grid, for points that count from `offset` in ticks."""
        east, north = (ticks(grid.origin) - np.array(offset[:2])).tolist()
        size = round(grid.cell_m / TICK_M, 6)
        return cls((east, north), size, grid.west, grid.north, *grid.shape)

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.rows * self.columns

    @property
    def frame(self) -> tuple[float, float, float, float, int, int, int, int]:
        """Everything as a tuple of numbers, with the inverse of a cell of whole ticks, else 0."""
        east, north = float(self.origin[0]), float(self.origin[1])
        inverse = 1.0 / self.size if self.size == np.floor(self.size) else 0.0
        return east, north, self.size, inverse, self.west, self.north, self.rows, self.columns


@njit(cache=True, nogil=True, inline="always")
def _cells_along(place, size, inverse):  # type: ignore[no-untyped-def]
    """Return the whole number of cells that a place lies beyond the origin, rounded down.

    Whole ticks over a cell of whole ticks by a product, put right by what it leaves: exact, and
    quicker than the quotient.
    """
    if inverse == 0.0:
        return int(np.floor(place / size))
    number = np.floor(place * inverse)
    left = place - number * size
    if left < 0.0:
        number -= 1.0
    elif left >= size:
        number += 1.0
    return int(number)


@njit(cache=True, nogil=True, inline="always")
def cell_of(east, north, frame):  # type: ignore[no-untyped-def]
    """Return the flat index of the cell that holds a place, −1 outside the area."""
    column = _cells_along(east - frame[0], frame[2], frame[3]) - frame[4]
    row = frame[5] - 1 - _cells_along(north - frame[1], frame[2], frame[3])
    if row < 0 or row >= frame[6] or column < 0 or column >= frame[7]:
        return -1
    return row * frame[7] + column


@njit(cache=True, nogil=True)
def _add(points, frame, base, sums):  # type: ignore[no-untyped-def]
    """Add points to sums of shape (cells, 5), see `sum_cells`."""
    for i in range(len(points)):
        at = cell_of(points[i, 0], points[i, 1], frame)
        if at >= 0:
            rise = np.int64(points[i, 2]) - base
            sums[at, 0] += 1
            sums[at, 1] += rise
            sums[at, 2] += rise * rise
            sums[at, 3] += points[i, 0]
            sums[at, 4] += points[i, 1]


@njit(cache=True, nogil=True)
def _inside(points, frame, out):  # type: ignore[no-untyped-def]
    for i in range(len(points)):
        out[i] = cell_of(points[i, 0], points[i, 1], frame) >= 0


def inside(points: Words, area: Area) -> npt.NDArray[np.bool_]:
    """Tell which points, of shape (n, words), lie in an area."""
    out = np.zeros(len(points), dtype=bool)
    _inside(points, area.frame, out)
    return out


@njit(cache=True, nogil=True)
def _add_own(points, frame, own):  # type: ignore[no-untyped-def]
    """Add squares of the points' own sd."""
    for i in range(len(points)):
        at = cell_of(points[i, 0], points[i, 1], frame)
        if at >= 0:
            own[at] += np.int64(points[i, 3]) ** 2


def sum_cells(runs: Iterable[Words], area: Area, *, base: int) -> Ints:
    """Return sums over the points of each cell.

    Parameters
    ----------
    runs : iterable of arrays of int, each of shape (n, words)
        Points, see `wrackline.points.raw_chunks`.
    area : Area
    base : int
        Height that rises count from [ticks].

    Returns
    -------
    array of int, shape (cells, 5)
        Number of points, sum of their rises above the base, of the squares, and of their
        eastings and northings [ticks, ticks²].
    """
    sums = np.zeros((area.cells, 5), dtype=np.int64)
    for points in runs:
        _add(points, area.frame, base, sums)
    return sums


def own_squares(runs: Iterable[Words], area: Area) -> Ints:
    """Return sums of the squares of the points' own sd [ticks²], by cell."""
    own = np.zeros(area.cells, dtype=np.int64)
    for points in runs:
        _add_own(points, area.frame, own)
    return own


@njit(cache=True, nogil=True)
def _tally(points, frame, ends):  # type: ignore[no-untyped-def]
    for i in range(len(points)):
        at = cell_of(points[i, 0], points[i, 1], frame)
        if at >= 0:
            ends[at + 1] += 1


@njit(cache=True, nogil=True)
def _put(points, frame, at_next, heights, places):  # type: ignore[no-untyped-def]
    for i in range(len(points)):
        at = cell_of(points[i, 0], points[i, 1], frame)
        if at >= 0:
            heights[at_next[at]] = points[i, 2]
            at_next[at] += 1
            places[at, 0] += points[i, 0]
            places[at, 1] += points[i, 1]


@njit(cache=True, nogil=True)
def _sort(starts, heights):  # type: ignore[no-untyped-def]
    """Sort the heights of every cell."""
    for at in range(len(starts) - 1):
        first, last = starts[at], starts[at + 1]
        if last - first > FEW:
            heights[first:last].sort()
            continue
        for i in range(first + 1, last):
            value, j = heights[i], i
            while j > first and heights[j - 1] > value:
                heights[j] = heights[j - 1]
                j -= 1
            heights[j] = value


@dataclass(frozen=True)
class Sorted:
    """The heights of an area's points by cell, in order of height within each cell.

    Attributes
    ----------
    starts : array of int, shape (cells + 1,)
        Where each cell's heights begin.
    heights : array of int, shape (n,)
        In ticks, counted as the points are.
    places : array of int, shape (cells, 2)
        Sums of the points' eastings and northings [ticks].
    """

    starts: Ints
    heights: Small
    places: Ints


def sort_cells(runs: Iterable[Words], area: Area) -> Sorted:
    """Return the heights of points by cell.

    Parameters
    ----------
    runs : iterable of arrays of int, each of shape (n, words)
        Gone through twice.
    area : Area
    """
    starts = np.zeros(area.cells + 1, dtype=np.int64)
    for points in runs:
        _tally(points, area.frame, starts)
    np.cumsum(starts, out=starts)
    heights = np.empty(int(starts[-1]), dtype=np.int32)
    following, places = starts[:-1].copy(), np.zeros((area.cells, 2), dtype=np.int64)
    for points in runs:
        _put(points, area.frame, following, heights, places)
    _sort(starts, heights)
    return Sorted(starts, heights, places)


@njit(cache=True, nogil=True)
def _kept_figures(starts, heights, flags, base, ints, middle):  # type: ignore[no-untyped-def]
    """Fill number, sum, square sum of kept heights, number of others; and the kept median."""
    for at in range(len(starts) - 1):
        first, last = starts[at], starts[at + 1]
        kept = 0
        for i in range(first, last):
            if flags[i] == 0:
                rise = np.int64(heights[i]) - base
                ints[at, 1] += rise
                ints[at, 2] += rise * rise
                kept += 1
        ints[at, 0] = kept
        ints[at, 3] = last - first - kept
        if kept > 0:
            middle[at] = _nth_kept(heights, flags, first, kept)


@njit(cache=True, nogil=True)
def _nth_kept(heights, flags, first, kept):  # type: ignore[no-untyped-def]
    """Return the median of the kept among a cell's sorted heights."""
    low, high, seen, i = (kept - 1) // 2, kept // 2, 0, first
    total = 0.0
    while seen <= high:
        if flags[i] == 0:
            if seen == low:
                total += heights[i]
            if seen == high:
                total += heights[i]
            seen += 1
        i += 1
    return total / 2


def kept_figures(cells: Sorted, flags: Flags, *, base: int) -> tuple[Ints, Array]:
    """Return sums and medians over the points that are kept.

    Parameters
    ----------
    cells : Sorted
    flags : array of int, shape (n,)
        0 for each height that is kept.
    base : int
        Height that rises count from [ticks].

    Returns
    -------
    sums : array of int, shape (cells, 4)
        Number kept, sum of their rises, of the squares, and number set aside.
    middle : array, shape (cells,)
        Median of the kept [ticks]; NaN where there is none.
    """
    number = len(cells.starts) - 1
    sums = np.zeros((number, 4), dtype=np.int64)
    middle = np.full(number, np.nan)
    _kept_figures(cells.starts, cells.heights, flags, base, sums, middle)
    return sums, middle


@njit(cache=True, nogil=True)
def _figures(sums, places, frame, base, out):  # type: ignore[no-untyped-def]
    """Fill mean height, spread, and the points' middle east and north of the centre [ticks]."""
    columns = frame[7]
    for at in range(len(sums)):
        number = sums[at, 0]
        if number == 0:
            continue
        rise = sums[at, 1] / number
        out[0, at] = rise + base
        if number > 1:
            squares = max(sums[at, 2] - rise * sums[at, 1], 0.0)
            out[1, at] = np.sqrt(squares / (number - 1))
        east = frame[0] + (frame[4] + at % columns + 0.5) * frame[2]
        north = frame[1] + (frame[5] - 0.5 - at // columns) * frame[2]
        for axis, centre in ((0, east), (1, north)):
            whole = np.int64(np.floor(centre))
            out[2 + axis, at] = (places[at, axis] - number * whole) / number - (centre - whole)


@dataclass(frozen=True)
class Figures:
    """Figures of cells, arrays of shape (n_rows, n_columns); NaN in cells without points.

    Attributes
    ----------
    count : array
    height : array
        Mean [m].
    spread : array
        Sample standard deviation [m]; NaN below two points.
    east, north : array
        From the cell's centre to the middle of its points [m].
    """

    count: npt.NDArray[np.float32]
    height: Array
    spread: Array
    east: Array
    north: Array


def figures(sums: Ints, places: Ints, area: Area, *, base: int) -> Figures:
    """Return the figures of an area's cells from sums over their points.

    Parameters
    ----------
    sums : array of int, shape (cells, 3 or more)
        Number of points, sum of their rises above the base, sum of the squares [ticks, ticks²].
    places : array of int, shape (cells, 2)
        Sums of their eastings and northings [ticks].
    area : Area
        A cell's figures are the same whatever the area around it.
    base : int
        Height above the site's datum that rises count from [ticks].
    """
    out = np.full((4, area.cells), np.nan)
    _figures(sums, places, area.frame, float(base), out)
    out *= TICK_M
    shaped = out.reshape(4, area.rows, area.columns)
    count = sums[:, 0].reshape(area.rows, area.columns).astype(np.float32)
    return Figures(count, *shaped)
