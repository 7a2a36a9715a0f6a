"""Gradients of a surface with gaps, for carrying errors of position over into height."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import correlate1d

Array = npt.NDArray[np.float64]

STEEPNESS = np.arange(-2.0, 3.0)
RIDGE = 1e-9


def plane_gradient(height: Array, cell_m: float) -> tuple[Array, Array]:
    """Return the gradient of the plane fitted to each cell's 5 × 5 neighbourhood.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights, rows north to south, NaN where nothing is known [m].
    cell_m : float
        Cell size [m].

    Returns
    -------
    east, north : array, shape (n_rows, n_columns)
        Rise per metre towards east and towards north; NaN where the height is. Across a single
        line of cells the slope is taken as level; a cell without neighbours gets the root mean
        square slope of all others, towards north-east.

    Examples
    --------
    >>> east, north = plane_gradient(np.array([[1.0, 2, 3], [1, np.nan, 3], [1, 2, 3]]), 2.0)
    >>> east.round(3)
    array([[0.5, 0.5, 0.5],
           [0.5, nan, 0.5],
           [0.5, 0.5, 0.5]])
    >>> bool(np.nanmax(abs(north)) < 1e-12)
    True
    """
    there = np.isfinite(height)
    if not there.any():
        return height.copy(), height.copy()
    mask = there.astype(float)
    z = np.where(there, height - height[there].mean(), 0.0)
    n = np.maximum(_moment(mask, 0, 0), 1.0)
    u, v = _moment(mask, 1, 0) / n, _moment(mask, 0, 1) / n
    uu, vv = _moment(mask, 2, 0) / n - u**2, _moment(mask, 0, 2) / n - v**2
    uv, mean = _moment(mask, 1, 1) / n - u * v, _moment(z, 0, 0) / n
    zu, zv = _moment(z, 1, 0) / n - mean * u, _moment(z, 0, 1) / n - mean * v
    a, b = uu + RIDGE, vv + RIDGE
    determinant = a * b - uv**2
    east = (zu * b - zv * uv) / determinant / cell_m
    north = (zv * a - zu * uv) / determinant / cell_m
    return _settle(east, north, there, lone=there & (uu + vv < 0.1))


def _moment(values: Array, power_east: int, power_north: int) -> Array:
    """Return sums of values times powers of the offsets over the 5 × 5 window."""
    across = correlate1d(values, STEEPNESS**power_east, axis=1, mode="constant")
    return np.asarray(
        correlate1d(across, (-STEEPNESS) ** power_north, axis=0, mode="constant"), dtype=float
    )


def _settle(
    east: Array, north: Array, there: npt.NDArray[np.bool_], *, lone: npt.NDArray[np.bool_]
) -> tuple[Array, Array]:
    """Give cells without neighbours the slope of the others, and gaps none."""
    known = there & ~lone
    square = (east[known] ** 2 + north[known] ** 2).mean() if known.any() else 0.0
    for part in (east, north):
        part[lone] = np.sqrt(square / 2)
        part[~there] = np.nan
    return east, north
