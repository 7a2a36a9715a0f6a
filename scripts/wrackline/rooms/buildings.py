"""Buildings: rooms that share walls.

Rule: rooms and wall bodies that share an edge belong together; a court joins the building that
holds most of its outline, a lane joins none. A building needs a room.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from wrackline.rooms.faces import Faces
from wrackline.rooms.kinds import BODY, COURT, ROOM, SLIVER, UNKNOWN

Ints = npt.NDArray[np.int64]

COURT_SHARE = 0.8


def buildings_of(faces: Faces, kind: npt.NDArray[np.str_], length: npt.NDArray[np.float64]) -> Ints:
    """Return the building of each face.

    Parameters
    ----------
    faces : Faces
    kind : array of str, shape (f,)
        As `kinds_of` tells them.
    length : array, shape (k,)
        Length of each edge [m].

    Returns
    -------
    array of int, shape (f,)
        Numbers from 0 in the order of the faces; -1 for what belongs to no building.
    """
    joins = np.isin(kind, [ROOM, BODY, UNKNOWN, SLIVER])
    shared = faces.neighbours().tocoo()
    keep = joins[shared.row] & joins[shared.col]
    links = sparse.csr_matrix(
        (np.ones(int(keep.sum())), (shared.row[keep], shared.col[keep])), shape=shared.shape
    )
    _, label = connected_components(links, directed=False)
    group = np.where(joins, label, -1).astype(np.int64)
    group = _with_courts(faces, kind, length, group)
    with_room = np.unique(group[(kind == ROOM) & (group >= 0)])
    group[~np.isin(group, with_room)] = -1
    order = {old: new for new, old in enumerate(dict.fromkeys(group[group >= 0].tolist()))}
    return np.array([order.get(int(g), -1) for g in group], dtype=np.int64)


def _with_courts(
    faces: Faces, kind: npt.NDArray[np.str_], length: npt.NDArray[np.float64], group: Ints
) -> Ints:
    """Return the groups with each court given to the building that holds most of its outline."""
    touches = abs(faces.sides)
    joined = group.copy()
    for court in np.flatnonzero(kind == COURT).tolist():
        edges = touches[[court]].indices
        weight = length[edges]
        held: dict[int, float] = {}
        for face in np.unique(touches[:, edges].tocoo().row):
            if group[face] >= 0:
                common = np.intersect1d(edges, touches[[face]].indices)
                held[int(group[face])] = held.get(int(group[face]), 0.0) + length[common].sum()
        best = max(held, key=lambda g: (held[g], -g), default=-1)
        if best >= 0 and held[best] >= COURT_SHARE * weight.sum():
            joined[court] = best
    return joined
