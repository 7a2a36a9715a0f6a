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
    gradient = _planes(np.ascontiguousarray(height, dtype=float))
    east, north = np.asarray(gradient) / cell_m
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


@njit(cache=True)
def _planes(height):  # type: ignore[no-untyped-def]
    """Return the rise per cell towards east and north, shape (2, rows, columns); NaN if lone."""
    rows, columns = height.shape
    out = np.full((2, rows, columns), np.nan)
    for row in range(rows):
        for column in range(columns):
            z0 = height[row, column]
            if np.isnan(z0):
                continue
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
            a, b, uv = uu / n - (u / n) ** 2, vv / n - (v / n) ** 2, uv / n - u * v / n**2
            if a + b < LEAST_SPREAD:
                continue
            zu, zv = zu / n - z * u / n**2, zv / n - z * v / n**2
            a, b = a + RIDGE, b + RIDGE
            determinant = a * b - uv * uv
            out[0, row, column] = (zu * b - zv * uv) / determinant
            out[1, row, column] = (zv * a - zu * uv) / determinant
    return out


@njit(cache=True)
def _missing(known):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Count the axes along which a cell's neighbours within two cells don't spread."""
    rows, columns = known.shape
    out = np.zeros((rows, columns), dtype=np.uint8)
    for row in range(rows):
        for column in range(columns):
            if not known[row, column]:
                continue
            n = u = v = uu = vv = uv = 0.0
            for y in range(max(row - 2, 0), min(row + 3, rows)):
                for x in range(max(column - 2, 0), min(column + 3, columns)):
                    if known[y, x]:
                        right, up = float(x - column), float(row - y)
                        n, u, v = n + 1.0, u + right, v + up
                        uu, vv, uv = uu + right * right, vv + up * up, uv + right * up
            a, b, c = uu / n - (u / n) ** 2, vv / n - (v / n) ** 2, uv / n - u * v / n**2
            half, apart = (a + b) / 2, np.sqrt((a - b) ** 2 / 4 + c * c)
            out[row, column] = (half - apart < LEAST_SPREAD) + (half + apart < LEAST_SPREAD)
    return out


def slopes_missing(height: Array) -> npt.NDArray[np.uint8]:
    """Return in how many directions a cell's neighbours don't tell its slope: 0, 1 or 2.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        NaN where nothing is known.

    Examples
    --------
    A line of soundings tells the slope along it alone, a lone one none:

    >>> line = np.full((5, 9), np.nan)
    >>> line[2, :4], line[2, 8] = 1.0, 1.0
    >>> slopes_missing(line)[2]
    array([1, 1, 1, 1, 0, 0, 0, 0, 2], dtype=uint8)
    """
    return np.asarray(_missing(np.isfinite(height)), dtype=np.uint8)
