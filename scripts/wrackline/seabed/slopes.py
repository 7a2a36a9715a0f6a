"""Gradients of a surface with gaps, for carrying errors of position over into height.

A cell's gradient depends on cells up to `SLOPE_MARGIN` away, so strips with that margin give the
same figures as the whole.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

Array = npt.NDArray[np.float64]

SLOPE_MARGIN = 2
"""Cells to each side that a gradient is read from."""
RIDGE = 1e-9
LEAST_SPREAD = 0.1
"""Mean square distance from their middle that a cell and its neighbours need [cells²]."""
TELLING_SPREAD = 0.3
"""And so much along each axis to tell the slope along it: more than a line on two rows has."""
SQUARE_UNIT, STEEPEST = 1e-9, 30.0
"""Squares of slopes are summed in whole units of this; steeper than that counts as that steep."""


def plane_gradient(
    height: Array, cell_m: float, *, lone_slope: float | None = None
) -> tuple[Array, Array]:
    """Return the gradient of the plane fitted to each cell's 5 × 5 neighbourhood.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights, rows north to south, NaN where nothing is known [m].
    cell_m : float
        Cell size [m].
    lone_slope : float, optional
        Steepness given to a cell without neighbours, towards north-east; the root mean square of
        all others if left out. Give one for strips (see `SlopeSums`).

    Returns
    -------
    east, north : array, shape (n_rows, n_columns)
        Rise per metre towards east and towards north; NaN where the height is. Across a single
        line of cells the slope is taken as level.

    Examples
    --------
    >>> east, north = plane_gradient(np.array([[1.0, 2, 3], [1, np.nan, 3], [1, 2, 3]]), 2.0)
    >>> east.round(3)
    array([[0.5, 0.5, 0.5],
           [0.5, nan, 0.5],
           [0.5, 0.5, 0.5]])
    >>> bool(np.nanmax(abs(north)) < 1e-12)
    True
    >>> plane_gradient(np.array([[1.0, np.nan, np.nan, 2.0]]), 1.0, lone_slope=0.5)[0].round(2)
    array([[0.35,  nan,  nan, 0.35]])
    """
    east, north, _ = slopes_of(height, cell_m)
    lone = np.isfinite(height) & np.isnan(east)
    if lone.any():
        if lone_slope is None:
            lone_slope = float(np.sqrt(np.nan_to_num(_mean_square(east, north))))
        east[lone] = north[lone] = lone_slope / np.sqrt(2)
    return east, north


def _mean_square(east: Array, north: Array) -> float:
    known = np.isfinite(east)
    return float((east[known] ** 2 + north[known] ** 2).mean()) if known.any() else 0.0


class SlopeSums:
    """Takes gradients strip by strip and tells their root mean square.

    Examples
    --------
    >>> sums = SlopeSums()
    >>> sums.add(np.array([0.3, np.nan]), np.array([0.4, np.nan]))
    >>> sums.lone_slope()
    0.5
    """

    def __init__(self) -> None:
        self._count, self._square = 0, 0

    def add(self, east: Array, north: Array) -> None:
        """Take gradients; NaN where there is none (`plane_gradient` with a `lone_slope` of NaN)."""
        known = np.isfinite(east)
        square = np.minimum(east[known] ** 2 + north[known] ** 2, STEEPEST**2)
        self._count += int(known.sum())
        self._square += int(np.rint(square / SQUARE_UNIT).astype(np.int64).sum())

    def lone_slope(self) -> float:
        """Return the root mean square steepness so far, 0 without any."""
        return float(np.sqrt(self._square * SQUARE_UNIT / max(self._count, 1)))


def slopes_of(height: Array, cell_m: float) -> tuple[Array, Array, npt.NDArray[np.uint8]]:
    """Return gradients as `plane_gradient` does, and in how many directions nothing tells them.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        NaN where nothing is known [m].
    cell_m : float
        Cell size [m].

    Returns
    -------
    east, north : array, shape (n_rows, n_columns)
        Rise per metre; NaN in a cell without neighbours.
    missing : array of int, shape (n_rows, n_columns)
        0 to 2.

    Examples
    --------
    A line of soundings tells the slope along it alone, a lone one none:

    >>> line = np.full((5, 9), np.nan)
    >>> line[2, :4], line[2, 8] = 1.0, 1.0
    >>> slopes_of(line, 1.0)[2][2]
    array([1, 1, 1, 1, 0, 0, 0, 0, 2], dtype=uint8)
    """
    gradient, missing = _planes(np.ascontiguousarray(height, dtype=float))
    east, north = np.asarray(gradient) / cell_m
    return east, north, np.asarray(missing, dtype=np.uint8)


@njit(cache=True)
def _planes(height):  # type: ignore[no-untyped-def]
    """Return the rise per cell east and north, NaN if lone, and how many directions lack it."""
    rows, columns = height.shape
    out, missing = np.full((2, rows, columns), np.nan), np.zeros((rows, columns), dtype=np.uint8)
    for row in range(rows):
        inner = 2 <= row < rows - 2
        for column in range(columns):
            if np.isnan(height[row, column]):
                continue
            if inner and 2 <= column < columns - 2:
                east, north = _whole(height, row, column)
                if not np.isnan(east + north):
                    out[0, row, column], out[1, row, column] = east, north
                    continue
            east, north, missing[row, column] = _in_part(height, row, column)
            out[0, row, column], out[1, row, column] = east, north
    return out, missing


@njit(cache=True, inline="always")
def _whole(height, row, column):  # type: ignore[no-untyped-def]
    """Return the slopes where all 25 cells are known, NaN where they aren't."""
    east = north = 0.0
    for y in range(5):
        across = 0.0
        for x in range(5):
            value = height[row + y - 2, column + x - 2]
            across += value
            east += (x - 2.0) * value
        north += (2.0 - y) * across
    return east / 50.0, north / 50.0


@njit(cache=True)
def _in_part(height, row, column):  # type: ignore[no-untyped-def]
    """Return the slopes from those of the 25 cells that are known, and the directions lacking."""
    rows, columns = height.shape
    z0 = height[row, column]
    n = u = v = uu = vv = uv = z = zu = zv = 0.0
    for y in range(max(row - 2, 0), min(row + 3, rows)):
        for x in range(max(column - 2, 0), min(column + 3, columns)):
            rise = height[y, x] - z0
            if np.isnan(rise):
                continue
            right, up = float(x - column), float(row - y)
            n, u, v, z = n + 1.0, u + right, v + up, z + rise
            uu, vv, uv = uu + right * right, vv + up * up, uv + right * up
            zu, zv = zu + rise * right, zv + rise * up
    a, b, c = uu / n - (u / n) ** 2, vv / n - (v / n) ** 2, uv / n - u * v / n**2
    half, apart = (a + b) / 2, np.sqrt((a - b) ** 2 / 4 + c * c)
    missing = (half - apart < TELLING_SPREAD) + (half + apart < TELLING_SPREAD)
    if a + b < LEAST_SPREAD:
        return np.nan, np.nan, missing
    zu, zv = zu / n - z * u / n**2, zv / n - z * v / n**2
    a, b = a + RIDGE, b + RIDGE
    determinant = a * b - c * c
    return (zu * b - zv * c) / determinant, (zv * a - zu * c) / determinant, missing
