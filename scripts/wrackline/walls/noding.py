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
from wrackline.walls.stretches import cross, distinct, dot

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
    edges, owner, (former, later) = _edges(ends, grid_m)
    edge, piece = _along(edges, owner, ends, (later, former))
    return edges, piece[np.flatnonzero(np.diff(edge, prepend=-1))]


def noded_along(ends: Array, grid_m: float) -> tuple[Array, Pairs]:
    """Return the edges of pieces, as `noded` does, and every pair of an edge and a piece along it.

    Returns
    -------
    edges : array, shape (k, 2, 2)
    edge, piece : array of int, shape (n,)
        Sorted; a piece lies along an edge if all of that is within `TOUCH_M` of it. Every edge has
        one at least.
    """
    edges, owner, (one, other) = _edges(ends, grid_m)
    both = np.concatenate([one, other]), np.concatenate([other, one])
    return edges, _along(edges, owner, ends, both)


def _edges(ends: Array, grid_m: float) -> tuple[Array, Ints, Pairs]:
    """Return edges, a piece of each, and pairs of pieces near each other, the lower first."""
    if not len(ends):
        none = np.zeros(0, dtype=np.int64)
        return np.zeros((0, 2, 2)), none, (none, none)
    per_metre = round(1 / grid_m)
    pairs = _near(ends)
    piece, cell, share = _passed(ends, pairs, per_metre)
    order = np.lexsort([share, piece])
    piece, cell = piece[order], cell[order]
    moves = (cell[1:, 0] != cell[:-1, 0]) | (cell[1:, 1] != cell[:-1, 1])
    goes = np.flatnonzero((piece[1:] == piece[:-1]) & moves)
    whole, owner = _unique(np.stack([cell[goes], cell[goes + 1]], axis=1), piece[goes])
    edges = whole / per_metre
    return edges, owner, pairs


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
    size = np.maximum(dot(run, run), 1e-18)
    share = np.clip(dot(step, run) / size, 0.0, 1.0)
    return np.asarray(np.hypot(step[:, 0] - run[:, 0] * share, step[:, 1] - run[:, 1] * share))


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
    at_ends = [_same(crossing, cell) for cell in (start[c], stop[c], start[d], stop[d])]
    amid = ~np.logical_or.reduce(at_ends)
    c, d, crossing = c[amid], d[amid], crossing[amid]
    every = np.arange(len(ends))
    piece = np.concatenate([every, every, c, d])
    cell = np.concatenate([start, stop, crossing, crossing])
    hot, of = _joined(piece, np.concatenate([a, b]), np.concatenate([b, a]))
    hit = _meets(cell[hot], ends[of], per_metre)
    piece, cell = np.concatenate([piece, of[hit]]), np.concatenate([cell, cell[hot[hit]]])
    run = ends[piece, 1] - ends[piece, 0]
    size = np.maximum(dot(run, run), 1e-18)
    return piece, cell, dot(cell / per_metre - ends[piece, 0], run) / size


def _same(one: Ints, other: Ints) -> npt.NDArray[np.bool_]:
    """Tell which cells are the same."""
    return np.asarray((one[:, 0] == other[:, 0]) & (one[:, 1] == other[:, 1]))


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
    (x, y), (u, v) = (((ends[:, k] - centre) * per_metre).T for k in (0, 1))
    inside = (np.minimum(x, u) <= 0.5) & (np.maximum(x, u) >= -0.5)
    inside &= (np.minimum(y, v) <= 0.5) & (np.maximum(y, v) >= -0.5)
    right, up = u - x, v - y
    reach = 0.5 * (np.abs(right) + np.abs(up))
    return np.asarray(inside & (np.abs(right * y - up * x) <= reach))


def _unique(cells: Ints, piece: Ints) -> Pairs:
    """Return the edges between cells once each, sorted, and their first piece."""
    ((x, y), (u, v)) = cells.transpose(1, 2, 0)
    turned = (x > u) | ((x == u) & (y > v))
    cells[turned] = cells[turned, ::-1]
    order = np.lexsort([piece, *cells.reshape(-1, 4).T[::-1]])
    cells, piece = cells[order], piece[order]
    new = np.ones(len(cells), dtype=bool)
    new[1:] = ~(_same(cells[1:, 0], cells[:-1, 0]) & _same(cells[1:, 1], cells[:-1, 1]))
    return cells[new], piece[new]


def _along(edges: Array, owner: Ints, ends: Array, pairs: Pairs) -> Pairs:
    """Return pairs of an edge and a piece along it, sorted: its owner, and what is paired to it."""
    edge, other = _joined(owner, *pairs)
    for xy in (edges.mean(axis=1), edges[:, 0], edges[:, 1]):
        beside = _off(xy[edge], ends[other]) <= TOUCH_M
        edge, other = edge[beside], other[beside]
    key = np.sort(
        np.concatenate([np.arange(len(edges)) * len(ends) + owner, edge * len(ends) + other])
    )
    return key // len(ends), key % len(ends)
