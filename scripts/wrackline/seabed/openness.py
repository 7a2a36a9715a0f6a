"""Positive openness: the mean angle from the zenith down to the horizon, all round a cell.

Definition: Yokoyama, Shirasawa and Pike 2002 (Photogrammetric Engineering and Remote Sensing 68:
257-265): in each direction the zenith angle to the steepest sight line within a radius, mean over
the directions. Eight directions pass through cell centres, as there; between them profiles are
interpolated. Level or evenly sloping ground has 90°, a wall's top more, its foot less.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def rays(radius_m: float, cell_m: float, directions: int) -> tuple[Ints, Array, Array]:
    """Return what half of the directions pass through, the nearest first.

    A ray is looked at where it crosses the rows or columns of cell centres, whichever it runs
    across: between two cells, or on one.

    Parameters
    ----------
    radius_m, cell_m : float
        How far is looked, at least one cell; cell size [m].
    directions : int
        An even number, evenly spread from north; the other half are opposite to these.

    Returns
    -------
    steps : array of int, shape (directions / 2, n, 4)
        Rows and columns from the cell of the two cells on either side; 0 beyond a ray's end.
    share : array, shape (directions / 2, n)
        How far the ray lies from the first to the second, 0-1.
    distance : array, shape (directions / 2, n)
        From the cell's centre [m].

    Examples
    --------
    >>> steps, share, distance = rays(2.0, 1.0, 8)
    >>> steps[1].tolist(), distance[1].round(3).tolist()
    ([[-1, 1, -1, 1], [0, 0, 0, 0]], [1.414, 0.0])
    """
    far = max(radius_m / cell_m, 1.0) + 1e-9
    along = np.arange(1, int(far) + 1)
    turn = 2 * np.pi * np.arange(directions // 2) / directions
    towards = np.round(np.stack([-np.cos(turn), np.sin(turn)], axis=-1), 12)
    steps = np.zeros((len(turn), len(along), 4), dtype=np.int64)
    share, distance = np.zeros(steps.shape[:2]), np.zeros(steps.shape[:2])
    for ray, way in enumerate(towards):
        place = along[:, None] * way / np.abs(way).max()
        place = place[np.hypot(*place.T) <= far]
        place = np.round(place, 12)
        near, beyond = np.floor(place), np.ceil(place)
        steps[ray, : len(place)] = np.concatenate([near, beyond], axis=1)
        share[ray, : len(place)] = (place - near).max(axis=1)
        distance[ray, : len(place)] = np.hypot(*place.T) * cell_m
    return steps, share, distance


def openness(height: Array, cell_m: float, radius_m: float, directions: int) -> Array:
    """Return the positive openness of each cell.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights, rows north to south, NaN where nothing is known [m].
    cell_m, radius_m : float
        Cell size, and how far is looked [m].
    directions : int
        As `rays` takes them.

    Returns
    -------
    array, shape (n_rows, n_columns)
        Degrees, 0 to 180. Two opposite directions are looked along equally far: a cell counts only
        where the one across is known too, so that a slope keeps its 90° beside gaps and edges.
        NaN where the height is, and where fewer than half of the directions show anything.

    Examples
    --------
    >>> ramp = np.tile(np.arange(7.0), (7, 1))
    >>> openness(ramp, 1.0, 3.0, 8)[3, 2:5]
    array([90., 90., 90.])
    """
    looked = rays(radius_m, cell_m, directions)
    return np.asarray(np.degrees(_mean_zenith(height, *looked)))


@njit(cache=True)
def _mean_zenith(height: Array, steps: Ints, share: Array, distance: Array) -> Array:
    """Return the mean zenith angle of the horizon [radians]."""
    out = np.full(height.shape, np.nan)
    for row in range(height.shape[0]):
        for column in range(height.shape[1]):
            if np.isnan(height[row, column]):
                continue
            total, seen = 0.0, 0
            for ray in range(len(steps)):
                one, other = _steepest(height, (row, column), steps[ray], share[ray], distance[ray])
                if one > -np.inf:
                    seen += 1
                    total += np.pi - np.arctan(one) - np.arctan(other)
            if 2 * seen >= len(steps):
                out[row, column] = total / (2 * seen)
    return out


@njit(cache=True)
def _steepest(
    height: Array, at: tuple[int, int], steps: Ints, share: Array, distance: Array
) -> tuple[float, float]:
    """Return the steepest rise ahead and behind over places that are known on both sides."""
    (n_rows, n_columns), (row, column) = height.shape, at
    here = height[row, column]
    ahead = behind = -np.inf
    for k in range(len(steps)):
        if distance[k] == 0.0:
            break
        r0, c0, r1, c1 = steps[k]
        up, left = max(abs(r0), abs(r1)), max(abs(c0), abs(c1))
        if min(row - up, column - left) < 0 or row + up >= n_rows or column + left >= n_columns:
            break
        one = height[row + r0, column + c0]
        one += share[k] * (height[row + r1, column + c1] - one)
        other = height[row - r0, column - c0]
        other += share[k] * (height[row - r1, column - c1] - other)
        if np.isnan(one) or np.isnan(other):
            continue
        ahead = max(ahead, (one - here) / distance[k])
        behind = max(behind, (other - here) / distance[k])
    return ahead, behind
