"""Soundings that no seabed can have made: lone ones, and layers one above another.

A height stands where enough of the points around it lie at its own height: a wall's top is borne
out by the rest of the top, a fish by nothing. Where points are sparse, a plane through what lies
around, little moved by single blunders, speaks as well. All looks no further than `REACH` cells,
so a tile with its margin says what the whole survey would.

Two layers over one piece of ground (a shoal, kelp, reverberation above or below the bed) bear
themselves out; they are told by cells that hold both, wall to wall: at a wall's edge such cells
form a line, in a layer they form an area. Which of them is the bed is decided for the whole layer
at once, by what lies around it (`wrackline.seabed.layers`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from wrackline.points import Words
from wrackline.rasters import TICK_M
from wrackline.seabed.cells import Area, Flags, Ints, Sorted, cell_of
from wrackline.uncertainty import ErrorModel

KEPT, LONE, LAYER = 0, 1, 2
"""Flags of a height."""

REACH = 8
"""Farthest that a height's surroundings are looked at, in cells."""
WINDOW = 2
"""Half-width of the window in which layers are told from edges, in cells."""
MARGIN = REACH + 2 * WINDOW
"""Cells around an area without which its edge would be judged otherwise."""

SDS = 5.0
"""Heights this many sds apart are not taken for the same surface."""
LEAST_M = 0.25
"""Nor are they told apart below this: stones and uneven tops (our choice, no source)."""
ENOUGH, PLENTY = 12, 48
"""Points around a height from which they are asked, and up to which more are called."""
SHARE = 0.15
"""Part of the points around that must lie at a height's own level."""
NEAREST, LEAST_NEAREST, MOST_NEAREST = 16, 5, 96
"""Cells from which the plane is laid, those without which it isn't, and those of a last ring."""
DENSE = 3
"""Where so many are found within this many cells, points are dense."""
SCALE_SDS, ROUGH_SDS = 4.0, 8.0
"""Distance from the plane that sparse points and rough ground allow, in sds of what lies around:
rough ground scatters with longer tails (our choice, no source)."""
LEAST_IN_CELL = 4
"""Points of a cell from which two layers in it are told."""
LAYERS_M = 0.4
"""Least height between two layers; walls a course high stay whole (our choice, no source)."""
AREA_SHARE = 0.5
"""Part of a window's cells that hold two layers, where it is an area and not an edge."""


@dataclass(frozen=True)
class Limits:
    """What parts heights of a survey, in ticks and cells.

    Attributes
    ----------
    apart : float
        Heights further apart are not of one surface [ticks].
    random, sloped : float
        Variance of one height on level ground [ticks²], and what it gains by the square of the
        slope in ticks a cell.
    standing : float
        Where points are sparse, one no higher than this above the rest may stand on a wall [ticks].
    """

    apart: float
    random: float
    sloped: float
    standing: float

    @property
    def layers(self) -> float:
        """Least height between two layers [ticks]."""
        return max(self.apart, LAYERS_M / TICK_M)


def limits_of(model: ErrorModel, cell_m: float, structure_max_m: float) -> Limits:
    """Return the limits for a survey's stated errors.

    Parameters
    ----------
    model : ErrorModel
    cell_m : float
        Cell size [m].
    structure_max_m : float
        Nothing of the site stands higher above the ground around it [m].
    """
    random = (model.random_vertical**2 + model.patchy_vertical**2) / TICK_M**2
    position = model.random_horizontal**2 / cell_m**2 + 1 / 12
    apart = max(SDS * random**0.5, LEAST_M / TICK_M)
    return Limits(apart, random, position, structure_max_m / TICK_M)


def lone_blunders(cells: Sorted, columns: int, limits: Limits) -> Flags:
    """Return a flag for each height: whether what lies around bears it out.

    Parameters
    ----------
    cells : Sorted
    columns : int
        Of the area.
    limits : Limits

    Returns
    -------
    array of int, shape (n,)
        0 kept, 1 lone.
    """
    flags = np.zeros(len(cells.heights), dtype=np.uint8)
    parts = (limits.apart, limits.random, limits.sloped, limits.standing)
    _judge(cells.starts, cells.heights, columns, parts, flags)
    return flags


@njit(cache=True, nogil=True)
def _judge(starts, heights, columns, limits, flags):  # type: ignore[no-untyped-def]
    cells = len(starts) - 1
    rows = cells // columns
    near = np.empty((MOST_NEAREST, 3))
    for at in range(cells):
        first, last = starts[at], starts[at + 1]
        if first == last or _quiet(starts, heights, at, rows, columns, limits[0]):
            continue
        number, reach = -1, 0
        for i in range(first, last):
            if _borne_out(starts, heights, i, at, rows, columns, limits[0]):
                continue
            if number < 0:
                number, reach = _nearest(starts, heights, at, rows, columns, near)
            if number < LEAST_NEAREST:
                continue
            if not _on_plane(near[:number], heights[i], limits, reach <= DENSE):
                flags[i] = 1


@njit(cache=True, nogil=True)
def _middle(starts, heights, at):  # type: ignore[no-untyped-def]
    """Return the median height of a cell that has points."""
    first, last = starts[at], starts[at + 1]
    return (float(heights[(first + last - 1) // 2]) + float(heights[(first + last) // 2])) / 2


@njit(cache=True, nogil=True)
def _quiet(starts, heights, at, rows, columns, apart):  # type: ignore[no-untyped-def]
    """Tell whether a cell's heights lie together, and with those of three neighbours."""
    first, last = starts[at], starts[at + 1]
    if heights[last - 1] - heights[first] > apart:
        return False
    mine, alike = _middle(starts, heights, at), 0
    row, column = at // columns, at % columns
    for r in range(max(row - 1, 0), min(row + 2, rows)):
        for c in range(max(column - 1, 0), min(column + 2, columns)):
            other = r * columns + c
            if other == at or starts[other] == starts[other + 1]:
                continue
            if abs(_middle(starts, heights, other) - mine) <= apart:
                alike += 1
    return alike >= 3


@njit(cache=True, nogil=True)
def _borne_out(starts, heights, i, at, rows, columns, apart):  # type: ignore[no-untyped-def]
    """Tell whether enough of the points around a height lie at its level."""
    row, column = at // columns, at % columns
    seen, alike = -1, -1  # the height itself is no witness
    for reach in range(REACH + 1):
        for r in range(max(row - reach, 0), min(row + reach + 1, rows)):
            inner = abs(r - row) < reach
            for c in range(column - reach, column + reach + 1, 2 * reach if inner else 1):
                if c < 0 or c >= columns:
                    continue
                other = r * columns + c
                seen += starts[other + 1] - starts[other]
                alike += _within(
                    heights,
                    starts[other],
                    starts[other + 1],
                    heights[i] - apart,
                    heights[i] + apart,
                )
        if seen >= ENOUGH and alike >= max(2.0, SHARE * seen):
            return True
        if seen >= PLENTY:
            return False
    return seen < ENOUGH and alike >= 2 and alike >= 0.5 * seen


@njit(cache=True, nogil=True)
def _within(heights, first, last, low, high):  # type: ignore[no-untyped-def]
    """Count sorted heights from low to high."""
    number = 0
    for i in range(first, last):
        if heights[i] > high:
            break
        if heights[i] >= low:
            number += 1
    return number


@njit(cache=True, nogil=True)
def _nearest(starts, heights, at, rows, columns, near):  # type: ignore[no-untyped-def]
    """Fill offsets and median heights of the nearest cells; return their number and their reach."""
    row, column, number = at // columns, at % columns, 0
    for reach in range(1, REACH + 1):
        for r in range(max(row - reach, 0), min(row + reach + 1, rows)):
            inner = abs(r - row) < reach
            for c in range(column - reach, column + reach + 1, 2 * reach if inner else 1):
                other = r * columns + c
                if c < 0 or c >= columns or starts[other] == starts[other + 1]:
                    continue
                near[number, 0], near[number, 1] = c - column, r - row
                near[number, 2] = _middle(starts, heights, other)
                number += 1
        if number >= NEAREST:
            return number, reach
    return number, REACH


@njit(cache=True, nogil=True)
def _on_plane(near, height, limits, dense):  # type: ignore[no-untyped-def]
    """Tell whether a height lies on the plane through its surroundings, or may stand on a wall.

    The scatter about the plane is allowed for where points are sparse, and where the ground is so
    rough that it exceeds `apart`; elsewhere ground that scatters (a wall's edge) bears out its own.
    """
    level, east, north, scale, leverage = _robust_plane(near, np.sqrt(limits[1]))
    allowed = SDS * np.sqrt((east**2 + north**2) * limits[2] + limits[1])
    if scale > limits[0]:
        allowed = max(allowed, ROUGH_SDS * scale)
    elif not dense:
        allowed = max(allowed, SCALE_SDS * scale)
    allowed = max(allowed * np.sqrt(1 + leverage), limits[0])
    if not dense and 0 < height - level <= limits[3]:
        return True
    return abs(height - level) <= allowed


@njit(cache=True, nogil=True)
def _robust_plane(near, least_scale):  # type: ignore[no-untyped-def]
    """Return a plane's height and slopes here, the scatter about it, and its leverage here.

    Weights of Huber, then of Tukey (k 1.345 and 4.685 of 1.4826 MAD): Huber and Ronchetti 2009,
    Robust Statistics, 7.8. A slope that nothing determines is level.
    """
    level, east, north, leverage = np.median(near[:, 2]), 0.0, 0.0, 0.0
    weight, scale = np.ones(len(near)), least_scale
    for turn in range(10):
        off = near[:, 2] - level - near[:, 0] * east - near[:, 1] * north
        scale = max(1.4826 * np.median(np.abs(off)), least_scale, 1.0)
        for i in range(len(near)):
            u = abs(off[i]) / scale
            if turn < 5:
                weight[i] = 1.0 if u <= 1.345 else 1.345 / u
            else:
                weight[i] = (1 - (u / 4.685) ** 2) ** 2 if u < 4.685 else 0.0
        level, east, north, leverage = _weighted_plane(near, weight)
    return level, east, north, scale, leverage


@njit(cache=True, nogil=True)
def _weighted_plane(near, weight):  # type: ignore[no-untyped-def]
    """Return height, slopes and leverage at (0, 0) of the plane by weighted least squares."""
    w, x, y = 1e-9, 0.0, 0.0
    xx, yy, xy = 1e-6, 1e-6, 0.0
    z, zx, zy = 0.0, 0.0, 0.0
    for i in range(len(near)):
        a, b, h, v = near[i, 0], near[i, 1], near[i, 2], weight[i]
        w, x, y, z = w + v, x + v * a, y + v * b, z + v * h
        xx, yy, xy = xx + v * a * a, yy + v * b * b, xy + v * a * b
        zx, zy = zx + v * h * a, zy + v * h * b
    first, second, third = xx * yy - xy * xy, x * yy - y * xy, x * xy - y * xx
    whole = w * first - x * second + y * third
    level = (z * first - x * (zx * yy - zy * xy) + y * (zx * xy - zy * xx)) / whole
    east = (w * (zx * yy - zy * xy) - z * second + y * (x * zy - y * zx)) / whole
    north = (w * (xx * zy - xy * zx) - x * (x * zy - y * zx) + z * third) / whole
    return level, east, north, first / whole


def layers(cells: Sorted, flags: Flags, columns: int, limits: Limits) -> Flags:
    """Flag the upper of two layers, and return where there are two.

    Parameters
    ----------
    cells : Sorted
    flags : array of int, shape (n,)
        Of the heights; those of upper layers are set to 2.
    columns : int
        Of the area.
    limits : Limits

    Returns
    -------
    array of int, shape (cells,)
        2 where a cell holds two layers, 1 where it holds one amid them, else 0.
    """
    number = len(cells.starts) - 1
    splits = np.zeros(number, dtype=np.int64)
    several, parted = _splits(cells.starts, cells.heights, flags, limits.layers, splits)
    double = np.asarray(several & parted, dtype=np.uint8)
    if not double.any():
        return np.zeros(number, dtype=np.uint8)
    amid = _amid(double.reshape(-1, columns), several.reshape(-1, columns)).ravel()
    two = amid & (parted > 0)
    _flag_upper(cells.starts, cells.heights, flags, splits, two)
    return np.asarray(amid.astype(np.uint8) + two.astype(np.uint8), dtype=np.uint8)


def _amid(double: Flags, several: Flags) -> npt.NDArray[np.bool_]:
    """Return cells of windows of which a good part of the fuller cells holds two layers."""
    with_two, fuller = _window_sums(double), _window_sums(several)
    core = (with_two >= AREA_SHARE * fuller) & (with_two >= 2 * WINDOW)
    return np.asarray(_window_sums(core.astype(np.uint8)) > 0)


def _window_sums(values: Flags) -> Ints:
    """Return sums over the window around each cell."""
    width = 2 * WINDOW + 1
    padded = np.pad(values, WINDOW).astype(np.int64)
    down = np.cumsum(np.pad(padded, ((1, 0), (0, 0))), axis=0)
    rows = down[width:] - down[:-width]
    across = np.cumsum(np.pad(rows, ((0, 0), (1, 0))), axis=1)
    return np.asarray(across[:, width:] - across[:, :-width])


@njit(cache=True, nogil=True)
def _splits(starts, heights, flags, apart, splits):  # type: ignore[no-untyped-def]
    """Return cells with several kept points, and those whose widest gap parts two layers."""
    cells = len(starts) - 1
    several, parted = np.zeros(cells, dtype=np.uint8), np.zeros(cells, dtype=np.uint8)
    for at in range(cells):
        first, last = starts[at], starts[at + 1]
        kept, below, widest = 0, np.int64(0), 0.0
        for i in range(first, last):
            if flags[i]:
                continue
            if kept and heights[i] - below > widest:
                widest, splits[at] = heights[i] - below, heights[i]
            below = heights[i]
            kept += 1
        several[at] = kept >= LEAST_IN_CELL
        parted[at] = widest > apart
    return several, parted


@njit(cache=True, nogil=True)
def _flag_upper(starts, heights, flags, splits, two):  # type: ignore[no-untyped-def]
    for at in range(len(starts) - 1):
        if two[at]:
            for i in range(starts[at], starts[at + 1]):
                if flags[i] == 0 and heights[i] >= splits[at]:
                    flags[i] = 2


@njit(cache=True, nogil=True)
def _set_aside(points, frame, cells, flags, out, at_out):  # type: ignore[no-untyped-def]
    """Take points that are flagged out of the sums of places; copy lone ones to `out`.

    Points of one cell and height have one flag. Returns how many of `out` are filled.
    """
    starts, heights, places = cells
    for i in range(len(points)):
        at = cell_of(points[i, 0], points[i, 1], frame)
        if at < 0:
            continue
        for k in range(starts[at], starts[at + 1]):
            if heights[k] > points[i, 2]:
                break
            if heights[k] == points[i, 2]:
                if flags[k]:
                    places[at, 0] -= points[i, 0]
                    places[at, 1] -= points[i, 1]
                if flags[k] == LONE:
                    out[at_out] = points[i]
                    at_out += 1
                break
    return at_out


def set_aside(
    runs: Iterable[Words], area: Area, cells: Sorted, flags: Flags, *, words: int
) -> Words:
    """Take flagged points out of the sums of places, and return the lone blunders among them.

    Parameters
    ----------
    runs : iterable of arrays of int, each of shape (n, words)
    area : Area
    cells : Sorted
        Its `places` are those of the kept points afterwards.
    flags : array of int, shape (n,)
    words : int
        Whole numbers a point.

    Returns
    -------
    array of int, shape (m, words)
        In order of place and height.
    """
    out = np.empty((int((flags == LONE).sum()), words), dtype=np.int32)
    if not flags.any():
        return out
    parts, end = (cells.starts, cells.heights, cells.places), 0
    for points in runs:
        end = _set_aside(points, area.frame, parts, flags, out, end)
    return np.asarray(out[np.lexsort(out.T[::-1])], dtype=np.int32)
