"""Local relief: how far a surface stands above its own trend, so that walls show on any slope.

The trend is the mean of the cells whose centres lie within a radius: the plain difference model of
trend removal (Kokalj and Hesse 2017, Airborne Laser Scanning Raster Data Visualization; not the
purged form of Hesse 2010). Where the disc is cut by a gap or the surface's edge, the plane fitted
to what is known in it takes the mean's place, which is the same where the disc is whole; so a
slope has no relief beside a gap. Sums are of whole micrometres, hence exact.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

PER_M = 1_000_000
LEAST_CELLS = 2
LEAST_KNOWN = 0.25
"""Share of the disc that must be known, else there is no trend."""


def reach(radius_m: float, cell_m: float) -> int:
    """Return how many cells to each side the trend reaches; at least two.

    >>> reach(2.0, 0.05), reach(0.5, 0.5)
    (40, 2)
    """
    return max(LEAST_CELLS, int(np.floor(radius_m / cell_m + 1e-9)))


def local_relief(height: Array, cell_m: float, radius_m: float) -> Array:
    """Return the height of each cell above the trend around it.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights, NaN where nothing is known [m].
    cell_m : float
        Cell size [m].
    radius_m : float
        Radius of the disc that the trend is taken over [m].

    Returns
    -------
    array, shape (n_rows, n_columns)
        Positive above the trend [m]; NaN where the height is, and where less than a quarter of the
        disc is known.

    Examples
    --------
    A plane has none, not even at its edge; a lone stone of 0.13 m stands 0.12 m above the mean of
    its disc of 13 cells.

    >>> plane = np.add.outer(np.arange(7.0), np.arange(7.0))
    >>> float(abs(np.nan_to_num(local_relief(plane, 1.0, 2.0))).max() < 1e-6)
    1.0
    >>> plane[:] = 0.0
    >>> plane[3, 3] = 0.13
    >>> round(float(local_relief(plane, 1.0, 2.0)[3, 3]), 6)
    0.12
    """
    cells = reach(radius_m, cell_m)
    across = np.arange(-cells, cells + 1)
    within = max(radius_m / cell_m, LEAST_CELLS) + 1e-9
    half = np.floor(np.sqrt(within**2 - across**2)).astype(np.int64)
    known = np.isfinite(height)
    micro = np.rint(np.where(known, height, 0.0) * PER_M).astype(np.int64)
    column = np.arange(height.shape[1], dtype=np.int64)
    parts = (known.astype(np.int64), known * column, known * column**2, micro, micro * column)
    sums = np.zeros((len(parts), height.shape[0], height.shape[1] + 1), dtype=np.int64)
    for one, part in zip(sums, parts, strict=True):
        np.cumsum(part, axis=1, out=one[:, 1:])
    return np.asarray(_above_trend(known, micro, sums, half) / PER_M)


@njit(cache=True)
def _above_trend(known: npt.NDArray[np.bool_], micro: Ints, sums: Ints, half: Ints) -> Array:
    """Return each cell less its trend, in micrometres, from sums along the rows."""
    n_rows, n_columns = known.shape
    cells = len(half) // 2
    full = (2 * half + 1).sum()
    out = np.full(known.shape, np.nan)
    for row in range(n_rows):
        for column in range(n_columns):
            if not known[row, column]:
                continue
            n = x = y = xx = xy = yy = z = xz = yz = 0
            for dy in range(-min(cells, row), min(cells, n_rows - 1 - row) + 1):
                at, wide = row + dy, half[dy + cells]
                left, right = max(column - wide, 0), min(column + wide + 1, n_columns)
                k = sums[0, at, right] - sums[0, at, left]
                kx = sums[1, at, right] - sums[1, at, left]
                kxx = sums[2, at, right] - sums[2, at, left]
                kz = sums[3, at, right] - sums[3, at, left] - k * micro[row, column]
                kxz = sums[4, at, right] - sums[4, at, left] - kx * micro[row, column]
                n, y, yy, z, yz = n + k, y + k * dy, yy + k * dy * dy, z + kz, yz + kz * dy
                kxx += k * column * column - 2 * column * kx
                kx -= k * column
                kxz -= kz * column
                x, xx, xy, xz = x + kx, xx + kxx, xy + kx * dy, xz + kxz
            if n == full:
                out[row, column] = -z / n
            elif n >= LEAST_KNOWN * full:
                out[row, column] = -_plane_at_zero(n, (x, y), (xx, xy, yy), (z, xz, yz))
    return out


@njit(cache=True)
def _plane_at_zero(
    n: int, first: tuple[int, int], second: tuple[int, int, int], with_z: tuple[int, int, int]
) -> float:
    """Return the height at the origin of the plane through points, from their sums."""
    mx, my, mz = first[0] / n, first[1] / n, with_z[0] / n
    xx, xy, yy = second[0] / n - mx * mx, second[1] / n - mx * my, second[2] / n - my * my
    xz, yz = with_z[1] / n - mx * mz, with_z[2] / n - my * mz
    det = xx * yy - xy * xy
    if det <= 0.0:
        return np.nan
    return mz - mx * (xz * yy - yz * xy) / det - my * (yz * xx - xz * xy) / det
