"""A surface calmed within its own uncertainty, so that contours follow the ground and not noise.

The surface is smoothed again and again and each time put back to within a share of each cell's
standard uncertainty of what was measured, so that it nowhere says more than that it can't know.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

Array = npt.NDArray[np.float64]

ROUNDS = 5
WIDTH_M = 0.4
LEAST_WIDTH_CELLS = 1.0
"""Standard deviation of a round's Gaussian, in metres and at least in cells."""
SHARE = 0.9
"""A calmed height stays within this share of its sd, so that a contour, straight within each cell,
keeps to one. Half of it left lines as rough as the soundings."""


def weights(cell_m: float) -> Array:
    """Return the Gaussian weights of a pass at 1, 2, … cells to either side.

    >>> w = weights(0.5)
    >>> len(w), round(float(2 * w.sum()), 2)
    (3, 0.6)
    """
    width = max(WIDTH_M / cell_m, LEAST_WIDTH_CELLS)
    away = np.arange(1, int(np.ceil(3 * width)) + 1)
    bell = np.exp(-0.5 * (away / width) ** 2)
    return np.asarray(bell / (1 + 2 * bell.sum()))


def margin(cell_m: float) -> int:
    """Return how many cells away a calmed height still depends on."""
    return ROUNDS * len(weights(cell_m))


def calmed(height: Array, sd: Array, cell_m: float) -> Array:
    """Return a surface calmed within its uncertainty.

    Parameters
    ----------
    height, sd : array, shape (n_rows, n_columns)
        Heights and their standard uncertainties, NaN where nothing is known; an unknown sd counts
        as none [m].
    cell_m : float
        Cell size [m].

    Returns
    -------
    array, shape (n_rows, n_columns)
        Within `SHARE` sd of the heights; NaN where they are. Even slopes stay as they are, beside
        gaps too: a cell's neighbours count in pairs across it.

    Examples
    --------
    A ripple of 1 cm goes where heights are known to 5 cm, and stays where they are exact:

    >>> ripple = np.resize([0.0, 0.01], (9, 9))
    >>> bool(np.ptp(calmed(ripple, np.full((9, 9), 0.05), 0.5)[3:6, 3:6]) < 1e-3)
    True
    >>> bool(np.all(calmed(ripple, np.zeros((9, 9)), 0.5) == ripple))
    True
    """
    play = np.where(np.isfinite(sd), sd, 0.0)
    play *= SHARE
    bell, calm = weights(cell_m), height
    for _ in range(ROUNDS):
        calm = _down(_across(calm, bell), bell, height, play)
    return np.asarray(calm)


@njit(cache=True)
def _across(height: Array, bell: Array) -> Array:
    """Return the heights smoothed along rows, by pairs of cells that are both known."""
    out = height.copy()
    for row in range(height.shape[0]):
        for column in range(height.shape[1]):
            here, change = height[row, column], 0.0
            if np.isnan(here):
                continue
            for k in range(min(len(bell), column, height.shape[1] - 1 - column)):
                pair = height[row, column - k - 1] + height[row, column + k + 1]
                if not np.isnan(pair):
                    change += bell[k] * (pair - 2 * here)
            out[row, column] = here + change
    return out


@njit(cache=True)
def _down(height: Array, bell: Array, measured: Array, play: Array) -> Array:
    """Return the heights smoothed along columns, then put back to within their play."""
    out = height.copy()
    for row in range(height.shape[0]):
        for column in range(height.shape[1]):
            here, change = height[row, column], 0.0
            if np.isnan(here):
                continue
            for k in range(min(len(bell), row, height.shape[0] - 1 - row)):
                pair = height[row - k - 1, column] + height[row + k + 1, column]
                if not np.isnan(pair):
                    change += bell[k] * (pair - 2 * here)
            least, most = measured[row, column] - play[row, column], play[row, column]
            out[row, column] = min(max(here + change, least), measured[row, column] + most)
    return out
