"""Noding: straight pieces cut at every crossing and touch, on a grid, each edge with its piece.

Snap rounding (Hobby 1999, "Practical segment intersection with finite precision output"): every
end and every crossing makes a cell of the grid hot, and a piece goes through the centre of each
hot cell that it meets. So no edge passes a node within half a cell, and edges meet at nodes alone.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.walls.ends import TOUCH_M
from wrackline.walls.linework import Array, Ints
from wrackline.walls.stretches import cross, distinct

NEAR_M = 2 * TOUCH_M
"""What lies further apart shares no edge: it allows for two roundings to a grid of 1 mm."""

CHUNK_M = 4.0
"""Long pieces are looked up part by part, so that those that run aslant find no crowd."""

Pairs = tuple[Ints, Ints]


def noded(ends: Array, grid_m: float) -> tuple[Array, Ints]:
    """Return the edges of pieces cut at every crossing and touch, and the first piece of each.

    Parameters
    ----------
    ends : array, shape (m, 2, 2)
        Ends of straight pieces [m].
    grid_m : float
        Side of a cell, 1 mm at most [m].

    Returns
    -------
    edges : array, shape (k, 2, 2)
        On the grid, sorted, so that the order of input leaves no trace [m].
    piece : array of int, shape (k,)
        The first piece that lies within `TOUCH_M` of the whole edge.

    Examples
    --------
    A cross has four edges, two of each piece:

    >>> noded(np.array([[[0.0, 1], [2, 1]], [[1.0, 0], [1, 2]]]), 0.001)[1].tolist()
    [0, 1, 1, 0]
    """
    if not len(ends):
        return np.zeros((0, 2, 2)), np.zeros(0, dtype=np.int64)
    per_metre = round(1 / grid_m)
    pairs = _near(ends)
    piece, cell, share = _passed(ends, pairs, per_metre)
    order = np.lexsort([share, piece])
    piece, cell = piece[order], cell[order]
    goes = np.flatnonzero((piece[1:] == piece[:-1]) & (cell[1:] != cell[:-1]).any(axis=1))
    whole, owner = _unique(np.stack([cell[goes], cell[goes + 1]], axis=1), piece[goes])
    edges = whole / per_metre
    return edges, _first_beside(edges, owner, ends, pairs)


def _near(ends: Array) -> Pairs:
    """Return pairs of pieces, the lower first, that come within `NEAR_M` of each other."""
    run = ends[:, 1] - ends[:, 0]
    count = np.ceil(np.hypot(run[:, 0], run[:, 1]) / CHUNK_M).astype(np.int64).clip(1)
    piece = np.repeat(np.arange(len(ends)), count)
    place = np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)
    step = run[piece] / count[piece, None]
    start = ends[piece, 0] + step * place[:, None]
    low, high = np.minimum(start, start + step), np.maximum(start, start + step)
    boxes = shapely.linestrings(np.stack([low - NEAR_M, high + NEAR_M], axis=1))
    a, b = piece[shapely.STRtree(boxes).query(boxes)]
    a, b = a[a < b], b[a < b]
    near = apart(ends[a], ends[b]) <= NEAR_M
    key = distinct(a[near] * len(ends) + b[near])
    return key // len(ends), key % len(ends)


def apart(one: Array, other: Array) -> Array:
    """Return how far apart straight pieces (p, 2, 2) are, 0 where they cross, shape (p,) [m]."""
    s, t = _shares(one, other)
    away = [_off(one[:, k], other) for k in (0, 1)] + [_off(other[:, k], one) for k in (0, 1)]
    crossing = (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1)
    return np.where(crossing, 0.0, np.minimum.reduce(away))


def _shares(one: Array, other: Array) -> tuple[Array, Array]:
    """Return where pieces cross, as shares of both; NaN where they are parallel."""
    run, way = one[:, 1] - one[:, 0], other[:, 1] - other[:, 0]
    step, turn = other[:, 0] - one[:, 0], cross(run, way)
    turn = np.where(turn == 0, np.nan, turn)
    return cross(step, way) / turn, cross(step, run) / turn


def _off(xy: Array, ends: Array) -> Array:
    """Return distances of places from pieces [m]."""
    run, step = ends[:, 1] - ends[:, 0], xy - ends[:, 0]
    size = np.maximum((run**2).sum(axis=1), 1e-18)
    share = np.clip((step * run).sum(axis=1) / size, 0.0, 1.0)
    rest = step - run * share[:, None]
    return np.asarray(np.hypot(rest[:, 0], rest[:, 1]))


def _cells(xy: Array, per_metre: int) -> Ints:
    return np.floor(xy * per_metre + 0.5).astype(np.int64)


def _passed(ends: Array, pairs: Pairs, per_metre: int) -> tuple[Ints, Ints, Array]:
    """Return the hot cells of each piece: piece, cell, and where along the piece it lies."""
    a, b = pairs
    start, stop = (_cells(ends[:, k], per_metre) for k in (0, 1))
    s, t = _shares(ends[a], ends[b])
    met = np.flatnonzero((s >= 0) & (s <= 1) & (t >= 0) & (t <= 1))
    c, d = a[met], b[met]
    crossing = _cells(ends[c, 0] + (ends[c, 1] - ends[c, 0]) * s[met, None], per_metre)
    at_ends = [(crossing == cell).all(axis=1) for cell in (start[c], stop[c], start[d], stop[d])]
    amid = ~np.logical_or.reduce(at_ends)
    c, d, crossing = c[amid], d[amid], crossing[amid]
    every = np.arange(len(ends))
    piece = np.concatenate([every, every, c, d])
    cell = np.concatenate([start, stop, crossing, crossing])
    hot, of = _joined(piece, np.concatenate([a, b]), np.concatenate([b, a]))
    hit = _meets(cell[hot], ends[of], per_metre)
    piece, cell = np.concatenate([piece, of[hit]]), np.concatenate([cell, cell[hot[hit]]])
    run = ends[piece, 1] - ends[piece, 0]
    size = np.maximum((run**2).sum(axis=1), 1e-18)
    return piece, cell, ((cell / per_metre - ends[piece, 0]) * run).sum(axis=1) / size


def _joined(key: Ints, one: Ints, other: Ints) -> Pairs:
    """Return places of `key` with, of each pair whose one has that key, the other."""
    order = np.argsort(key, kind="stable")
    low, high = (np.searchsorted(key[order], one, side) for side in ("left", "right"))
    count = high - low
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return order[np.repeat(low, count) + place], np.repeat(other, count)


def _meets(cell: Ints, ends: Array, per_metre: int) -> npt.NDArray[np.bool_]:
    """Tell which pieces meet the square of a cell."""
    centre = cell / per_metre
    start, stop = (ends[:, 0] - centre) * per_metre, (ends[:, 1] - centre) * per_metre
    inside = (np.minimum(start, stop) <= 0.5) & (np.maximum(start, stop) >= -0.5)
    run = stop - start
    reach = 0.5 * np.abs(run).sum(axis=1)
    return np.asarray(inside.all(axis=1) & (np.abs(cross(run, start)) <= reach))


def _unique(cells: Ints, piece: Ints) -> Pairs:
    """Return the edges between cells once each, sorted, and their first piece."""
    ((x, y), (u, v)) = cells.transpose(1, 2, 0)
    turned = (x > u) | ((x == u) & (y > v))
    cells[turned] = cells[turned, ::-1]
    order = np.lexsort([piece, *cells.reshape(-1, 4).T[::-1]])
    cells, piece = cells[order], piece[order]
    new = np.ones(len(cells), dtype=bool)
    new[1:] = (cells[1:] != cells[:-1]).any(axis=(1, 2))
    return cells[new], piece[new]


def _first_beside(edges: Array, owner: Ints, ends: Array, pairs: Pairs) -> Ints:
    """Return the first piece within `TOUCH_M` of each whole edge, which lies on its owner."""
    former, later = pairs
    edge, other = _joined(owner, later, former)
    for xy in (edges.mean(axis=1), edges[:, 0], edges[:, 1]):
        beside = _off(xy[edge], ends[other]) <= TOUCH_M
        edge, other = edge[beside], other[beside]
    first = owner.copy()
    np.minimum.at(first, edge, other)
    return first
