"""Compiled loops of the filling: neighbours in eight sectors, and kriging from them.

Untyped, as numba compiles them for the types that they are given.
"""
# mypy: ignore-errors

from __future__ import annotations

import numpy as np
from numba import njit

SECTORS = 8
EACH = 2
"""Neighbours taken from a sector."""
MOST = SECTORS * EACH
ROUNDS = 8
"""Rounds in which the plane through the middle of the neighbours is found."""
OUTLYING = 2.5
"""A neighbour further off that plane than so many sds counts as that much less sure."""
LEAST = 1e-8
"""Variance that every height has at least: whole ticks of 0.1 mm [m²]."""
TINY = 1e-30
NEVER = 2**40
WEST, EAST = 0, 1


@njit(cache=True)
def krige_cells(z, random, own, cells, table, reach, noise_share):
    """Return height, variance and least variance of cells to be filled, NaN where they can't be.

    Parameters
    ----------
    z, random, own : array, shape (n_rows, n_columns)
        NaN in `z` where nothing was measured.
    cells : array of int, shape (n, 2)
        Rows and columns to fill.
    table : array, shape (4 reach² + 1,)
        Generalised covariance by the square of the distance in cells.
    reach : int
        Farthest neighbour [cells].
    noise_share : float
        Share of `random` that differs from cell to cell; the rest is alike in neighbours.
    """
    near = _nearest_in_row(z)
    out = np.full((len(cells), 3), np.nan)
    at = np.empty((MOST, 2), dtype=np.int64)
    for i in range(len(cells)):
        row, column = cells[i]
        n = _neighbours(near, row, column, reach, at)
        if not _surrounded(at, n):
            continue
        heights, stated, owns = np.empty(n), np.empty(n), np.empty(n)
        for j in range(n):
            y, x = row + at[j, 0], column + at[j, 1]
            heights[j], stated[j], owns[j] = z[y, x], random[y, x], own[y, x]
        noise = noise_share * stated + LEAST
        _doubt_outliers(at, n, heights, noise, table)
        weights, variance = _krige(at, n, noise, table)
        middle = heights.min()
        out[i, 0] = middle + (weights * (heights - middle)).sum()
        share = np.abs(weights) / np.abs(weights).sum()
        out[i, 1] = max(variance, 0.0) + (1 - noise_share) * (share * stated).sum()
        out[i, 2] = (share * owns).sum()
    return out


@njit(cache=True)
def _nearest_in_row(z):
    """Return, for each cell, the column of the next measured cell to the west and to the east.

    The cell itself counts; −1 and the number of columns stand for none. Shape (2, rows, columns).
    """
    rows, columns = z.shape
    near = np.empty((2, rows, columns), dtype=np.int32)
    for row in range(rows):
        last = -1
        for column in range(columns):
            if not np.isnan(z[row, column]):
                last = column
            near[WEST, row, column] = last
        last = columns
        for column in range(columns - 1, -1, -1):
            if not np.isnan(z[row, column]):
                last = column
            near[EAST, row, column] = last
    return near


@njit(cache=True)
def _neighbours(near, row, column, reach, at):
    """Write the offsets of the nearest measured cells of each sector into `at`; return how many.

    Rows are looked at from the cell outwards until no nearer cell can come. Sector k holds the
    directions from 45° k to 45° (k + 1), anticlockwise from east.
    """
    best = np.full((SECTORS, EACH), reach * reach + 1, dtype=np.int64)
    found = np.zeros((SECTORS, EACH, 2), dtype=np.int64)
    for away in range(reach + 1):
        if away * away >= _farthest(best):
            break
        wide = int(np.sqrt(reach * reach - away * away))
        for quarter in range(4 if away else 2):
            down = -away if quarter < 2 else away
            if row + down < 0 or row + down >= near.shape[1]:
                continue
            columns = near[EAST if quarter in (0, 3) else WEST, row + down]
            step = 1 if quarter in (0, 3) else -1
            least = 1 if away == 0 or quarter % 2 == 0 else 0
            off = _next(columns, column, step, least)
            if off > wide:
                continue
            square, flat = away * away + off * off, 2 * quarter + quarter % 2
            worst = best[flat, EACH - 1]
            if off < away + least:
                worst = max(worst, best[flat + 1 - 2 * (quarter % 2), EACH - 1])
            if away == 0 or square < worst:
                _look(columns, (column, down, step), (quarter, off, wide), best, found)
    return _gathered(best, found, reach, at)


@njit(cache=True)
def _gathered(best, found, reach, at):
    """Write what was found, sector by sector, into `at`; return how many."""
    n = 0
    for sector in range(SECTORS):
        for place in range(EACH):
            if best[sector, place] <= reach * reach:
                at[n, 0], at[n, 1] = found[sector, place, 0], found[sector, place, 1]
                n += 1
    return n


@njit(cache=True)
def _farthest(best):
    """Return the greatest square of a distance in a table."""
    most = 0
    for sector in range(SECTORS):
        for place in range(EACH):
            most = max(most, best[sector, place])
    return most


@njit(cache=True)
def _look(columns, place, span, best, found):
    """Offer the first measured cells of a row in one quarter: north-east, -west, south-west, -east.

    A quarter is two sectors, which meet where a cell lies as far off as its row: there it belongs
    to the second one.
    """
    column, down, step = place
    quarter, off, wide = span
    away = abs(down)
    edge = away if quarter % 2 == 0 else away - 1
    for _ in range(2 * EACH + 2):
        if off > wide:
            return
        steep = off <= edge
        sector = 2 * quarter + (1 - quarter % 2 if steep else quarter % 2)
        if away == 0:
            sector = 2 * quarter + (2 if quarter else 0)
        if _offer(down, step * off, sector, best, found):
            off += 1
        elif steep:
            off = edge + 1
        else:
            return
        off = _next(columns, column, step, off)


@njit(cache=True)
def _next(columns, column, step, off):
    """Return how far off the next measured cell of a row is, from `off` on."""
    x = column + step * off
    if x < 0 or x >= len(columns):
        return NEVER
    x = columns[x]
    return NEVER if x < 0 or x >= len(columns) else step * (x - column)


@njit(cache=True)
def _offer(down, right, sector, best, found):
    """Put a cell among the nearest of its sector, and tell whether it is one of them.

    Of two as far off the first one stays.
    """
    square = down * down + right * right
    for place in range(EACH):
        if square < best[sector, place]:
            for later in range(EACH - 1, place, -1):
                best[sector, later] = best[sector, later - 1]
                found[sector, later] = found[sector, later - 1]
            best[sector, place] = square
            found[sector, place, 0], found[sector, place, 1] = down, right
            return True
    return False


@njit(cache=True)
def _surrounded(at, n):
    """Tell whether the cell lies among its neighbours: none is followed by over 180° of nothing.

    Nor may all of them lie on one line.
    """
    spread = False
    for i in range(n):
        followed = False
        for j in range(n):
            cross = at[i, 0] * at[j, 1] - at[i, 1] * at[j, 0]
            dot = at[i, 0] * at[j, 0] + at[i, 1] * at[j, 1]
            followed |= cross > 0 or (cross == 0 and dot < 0)
            spread |= cross != 0
        if not followed:
            return False
    return spread


@njit(cache=True)
def _doubt_outliers(at, n, heights, noise, table):
    """Add to the variance of neighbours that stand off the plane through the middle of them."""
    square = 0
    for j in range(n):
        square += at[j, 0] ** 2 + at[j, 1] ** 2
    square = max(square // n, 1)
    bends = (2 * table[min(4 * square, len(table) - 1)] - 8 * table[square]) / 4
    limit = OUTLYING**2 * (noise + max(bends, 0.0))
    off = heights - _middle_plane(at, n, heights, limit)
    for j in range(n):
        noise[j] += max(off[j] ** 2 - limit[j], 0.0)


@njit(cache=True)
def _middle_plane(at, n, heights, limit):
    """Return the heights of the plane with the least sum of absolute misfits over sds."""
    weight, plane = 1 / limit, np.zeros(n)
    base = heights.min()
    for turn in range(ROUNDS):
        normal, right, sure = np.zeros((3, 3)), np.zeros(3), True
        for j in range(n):
            part = (1.0, float(at[j, 1]), float(at[j, 0]))
            for a in range(3):
                right[a] += weight[j] * part[a] * (heights[j] - base)
                for b in range(3):
                    normal[a, b] += weight[j] * part[a] * part[b]
        _solve(normal, right)
        for j in range(n):
            plane[j] = base + right[0] + right[1] * at[j, 1] + right[2] * at[j, 0]
            off = abs(heights[j] - plane[j]) / np.sqrt(limit[j])
            weight[j] = 1 / limit[j] / max(off, 0.05)
            sure = sure and off <= 1.0
        if turn == 0 and sure:
            break
    return plane


@njit(cache=True)
def _krige(at, n, noise, table):
    """Return the weights of universal kriging with a linear drift, and its variance."""
    scale = noise.max()
    for j in range(n):
        scale = max(scale, abs(table[at[j, 0] ** 2 + at[j, 1] ** 2]))
    far = 1.0
    for j in range(n):
        far = max(far, float(abs(at[j, 0])), float(abs(at[j, 1])))
    matrix, right = np.zeros((n + 3, n + 3)), np.zeros(n + 3)
    for i in range(n):
        for j in range(i + 1, n):
            apart = (at[i, 0] - at[j, 0]) ** 2 + (at[i, 1] - at[j, 1]) ** 2
            matrix[i, j] = matrix[j, i] = table[apart] / scale
        matrix[i, i] = noise[i] / scale
        matrix[i, n] = matrix[n, i] = 1.0
        matrix[i, n + 1] = matrix[n + 1, i] = at[i, 1] / far
        matrix[i, n + 2] = matrix[n + 2, i] = at[i, 0] / far
        right[i] = table[at[i, 0] ** 2 + at[i, 1] ** 2] / scale
    right[n] = 1.0
    wanted = right.copy()
    _solve(matrix, right)
    return right[:n].copy(), -(right * wanted).sum() * scale


@njit(cache=True)
def _solve(matrix, right):
    """Solve a small linear system in place: Gauss, with row pivots."""
    size = len(right)
    for k in range(size):
        _pivot(matrix, right, k)
        for i in range(k + 1, size):
            factor = matrix[i, k] / matrix[k, k]
            if factor != 0.0:
                for j in range(k + 1, size):
                    matrix[i, j] -= factor * matrix[k, j]
                right[i] -= factor * right[k]
    for k in range(size - 1, -1, -1):
        for j in range(k + 1, size):
            right[k] -= matrix[k, j] * right[j]
        right[k] /= matrix[k, k]


@njit(cache=True)
def _pivot(matrix, right, k):
    """Bring the row with the largest element of column k, from row k on, up to row k."""
    size, best = len(right), k
    for i in range(k + 1, size):
        if abs(matrix[i, k]) > abs(matrix[best, k]):
            best = i
    if best != k:
        for j in range(k, size):
            matrix[k, j], matrix[best, j] = matrix[best, j], matrix[k, j]
        right[k], right[best] = right[best], right[k]
    if abs(matrix[k, k]) < TINY:
        matrix[k, k] = TINY
