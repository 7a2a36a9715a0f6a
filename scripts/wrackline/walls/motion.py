"""How the ends of edges move when surveyed vertices do: the gradient behind every honest sd.

A vertex carries the piece that it ends. Where two pieces cross, their common node is the
intersection of both: pulled along its own length, a piece leaves it where it is; pushed aside, it
takes it along. So every edge keeps the sideways motion of its own piece, and slides along it to
where the other piece now is. Heights slide with it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import sparse

from wrackline.walls.linework import Pieces

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FOOT = "foot"
LEAST_SINE = 0.05
"""Pieces that cross at less than 3 degrees fix no place along each other, to first order."""


def end_motion(pieces: Pieces, xyz: Array) -> sparse.csr_matrix:
    """Return the motion of piece ends per motion of vertices.

    Parameters
    ----------
    pieces : Pieces
    xyz : array, shape (n, 3)
        Vertices [m].

    Returns
    -------
    sparse matrix, shape (6 m, 3 n)
        Row 6 k + 3 e + c: coordinate c (easting, northing, height) of end e of piece k.
    """
    motion = sparse.csr_matrix(sparse.kron(pieces.weights(len(xyz)), sparse.identity(3)))
    feet = np.flatnonzero((pieces.kind == FOOT) & (np.abs(pieces.share[:, 1] - 0.5) < 0.5))
    return motion if not len(feet) else _with_feet(motion, pieces, xyz, feet)


def _with_feet(
    motion: sparse.csr_matrix, pieces: Pieces, xyz: Array, feet: Ints
) -> sparse.csr_matrix:
    """Return the motion with each foot sliding along its wall as the end above it does.

    With u along the wall and n across it, foot = b + u (u . (v - b)); so along the wall it goes
    with the end v, and by its distance from the wall times the wall's turn.
    """
    slide = sparse.lil_matrix((motion.shape[0], motion.shape[1]))
    for piece in feet.tolist():
        end, (first, last) = pieces.vertices[piece, 0, 0], pieces.vertices[piece, 1]
        share = pieces.share[piece, 1]
        wall = xyz[last, :2] - xyz[first, :2]
        size = float(np.hypot(*wall))
        u, n = wall / size, np.array([-wall[1], wall[0]]) / size
        turn = float((xyz[end, :2] - xyz[first, :2]) @ n) / size * n
        for c in range(2):
            row = 6 * piece + 3 + c
            for vertex, part in (
                (end, u),
                (first, -(1 - share) * u - turn),
                (last, turn - share * u),
            ):
                for axis in range(2):
                    slide[row, 3 * vertex + axis] += u[c] * part[axis]
    return sparse.csr_matrix(motion + slide)


def edge_motion(
    edges: Array, piece: Ints, fraction: Array, *, pieces: Pieces, xyz: Array, node_m: float
) -> sparse.csr_matrix:
    """Return the motion of edge ends per motion of vertices.

    Parameters
    ----------
    edges : array, shape (k, 2, 2)
        Ends of noded edges [m].
    piece : array of int, shape (k,)
        The piece that each lies on.
    fraction : array, shape (k, 2)
        Where on it each end lies.
    pieces : Pieces
    xyz : array, shape (n, 3)
        Vertices [m].
    node_m : float
        Grid of the nodes [m].

    Returns
    -------
    sparse matrix, shape (6 k, 3 n)
        Row 6 k + 3 e + c: coordinate c of end e of edge k.
    """
    own = _along_pieces(piece, fraction, end_motion(pieces, xyz))
    along, slope = _directions(pieces, xyz)
    along, slope = np.repeat(along[piece], 2, axis=0), np.repeat(slope[piece], 2)
    first, other, sine = _partners(edges, along, node_m)
    aside = _dot(np.stack([-along[:, 1], along[:, 0]], axis=-1)) @ own
    fixed = np.abs(sine) >= LEAST_SINE
    safe = np.where(fixed, sine, 1.0)
    by_first = np.where(fixed, (along * along[other]).sum(axis=1) / safe, 0.0)
    by_other = np.where(fixed, (along * along[first]).sum(axis=1) / safe, 0.0)
    slide = (
        sparse.diags(by_first) @ aside[first]
        - sparse.diags(by_other) @ aside[other]
        - sparse.diags(fixed.astype(float)) @ _dot(along) @ own
    )
    run = _runs(edges, along)
    return sparse.csr_matrix(own + _spread(np.column_stack([run, slope])) @ slide)


def _along_pieces(piece: Ints, fraction: Array, ends: sparse.csr_matrix) -> sparse.csr_matrix:
    """Return the motion of places on pieces that keep their fraction, shape (6 k, 3 n)."""
    rows = np.repeat(np.arange(2 * len(piece)), 2)
    columns = np.repeat(np.stack([2 * piece, 2 * piece + 1], -1), 2, axis=0)
    values = np.stack([1 - fraction, fraction], axis=-1)
    shape = (2 * len(piece), ends.shape[0] // 3)
    share = sparse.csr_matrix((values.ravel(), (rows, columns.ravel())), shape=shape)
    return sparse.csr_matrix(sparse.kron(share, sparse.identity(3)) @ ends)


def _directions(pieces: Pieces, xyz: Array) -> tuple[Array, Array]:
    """Return unit vectors along pieces, shape (m, 2), and their rise per metre, 0 where unknown."""
    step = np.diff(pieces.ends(xyz), axis=1)[:, 0]
    size = np.hypot(step[:, 0], step[:, 1])[:, None]
    run = np.divide(step, size, out=np.zeros_like(step), where=size > 0)
    return run[:, :2], np.nan_to_num(run[:, 2])


def _runs(edges: Array, along: Array) -> Array:
    """Return unit vectors along edges, towards where their pieces run, shape (2 k, 2).

    An edge of a few millimetres lies askew on the node grid. Sliding along it, not along its
    piece, keeps the slide from looking like a turn.
    """
    step = np.repeat(edges[:, 1] - edges[:, 0], 2, axis=0)
    step = step / np.hypot(step[:, 0], step[:, 1])[:, None]
    return np.asarray(step * np.where((step * along).sum(axis=1) < 0, -1.0, 1.0)[:, None])


def _partners(edges: Array, along: Array, node_m: float) -> tuple[Ints, Ints, Array]:
    """Return, for each edge end, two ends at its node that cross best, and the sine between them.

    The first is the node's first end in the order of edges; ties go to the earlier end.
    """
    _, node = np.unique(
        np.rint(edges.reshape(-1, 2) / node_m).astype(np.int64), axis=0, return_inverse=True
    )
    node = node.ravel()
    order = np.argsort(node, kind="stable")
    start = np.flatnonzero(np.r_[True, np.diff(node[order]) != 0]) if len(node) else order
    first = order[start][node]
    sine = along[first, 0] * along[:, 1] - along[first, 1] * along[:, 0]
    best = np.lexsort([np.arange(len(node)), -np.abs(sine), node])
    other = best[start][node]
    return first, other, sine[other]


def _dot(vectors: Array) -> sparse.csr_matrix:
    """Return the matrix that takes motions (3 r rows) to their parts along vectors (r rows)."""
    count = len(vectors)
    rows = np.repeat(np.arange(count), 2)
    columns = np.stack([3 * np.arange(count), 3 * np.arange(count) + 1], axis=-1)
    return sparse.csr_matrix((vectors.ravel(), (rows, columns.ravel())), shape=(count, 3 * count))


def _spread(vectors: Array) -> sparse.csr_matrix:
    """Return the matrix that takes lengths (r rows) to motions along vectors (3 r rows)."""
    count = len(vectors)
    columns = np.repeat(np.arange(count), 3)
    return sparse.csr_matrix(
        (vectors.ravel(), (np.arange(3 * count), columns)), shape=(3 * count, count)
    )
