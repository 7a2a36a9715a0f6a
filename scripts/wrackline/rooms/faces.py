"""Faces of a network: its enclosed spaces, and which edges bound them on which side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse

from wrackline.walls.network import Network
from wrackline.walls.planar import polygons_of, sides_of

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Faces:
    """Enclosed spaces of a network.

    Attributes
    ----------
    polygons : array of Polygon, shape (f,)
        Oriented: outer rings anticlockwise, holes clockwise; the space lies to the left.
    sides : sparse matrix, shape (f, k)
        +1 where a face lies to the left of an edge taken from start to stop, -1 to its right.
    standing : array of bool, shape (f, p)
        Whether each face is one in each phase; those of one phase don't overlap.
    """

    polygons: npt.NDArray[np.object_]
    sides: sparse.csr_matrix
    standing: npt.NDArray[np.bool_]

    def neighbours(self) -> sparse.csr_matrix:
        """Return how many edges each pair of faces of one phase shares, shape (f, f).

        The diagonal is empty.
        """
        touches = abs(self.sides)
        shared = (touches @ touches.T).tocoo()
        together = (self.standing[shared.row] & self.standing[shared.col]).any(axis=1)
        kept = together & (shared.row != shared.col)
        pairs = (shared.data[kept], (shared.row[kept], shared.col[kept]))
        return sparse.csr_matrix(pairs, shape=shared.shape)


def faces_of(network: Network) -> Faces:
    """Return the faces of a network, phase by phase, each once, sorted by place.

    Parameters
    ----------
    network : Network

    Returns
    -------
    Faces
        The unbounded space outside is no face. An edge with the same face on both sides (it ends
        in the open) bounds nothing and stands in no row.
    """
    found: dict[bytes, int] = {}
    polygons: list[shapely.Polygon] = []
    rows: list[tuple[Ints, Array]] = []
    standing: list[npt.NDArray[np.bool_]] = []
    for phase in range(len(network.phases)):
        there = np.flatnonzero(network.standing[:, phase])
        spaces = polygons_of(network.edges[there])
        sides = sides_of(spaces, network.edges[there])
        for k, space in enumerate(spaces):
            mine = slice(sides.indptr[k], sides.indptr[k + 1])
            edges, side = there[sides.indices[mine]], sides.data[mine]
            at = found.setdefault(_key(edges, side), len(polygons))
            if at == len(polygons):
                polygons.append(space)
                rows.append((edges, side))
                standing.append(np.zeros(len(network.phases), dtype=bool))
            standing[at][phase] = True
    return Faces(
        np.array(polygons, dtype=object),
        _stacked(rows, len(network.edges)),
        np.array(standing, dtype=bool).reshape(len(polygons), len(network.phases)),
    )


def _key(edges: Ints, side: Array) -> bytes:
    """Return what tells a face from others: the edges around it, each with its side."""
    return np.sort((edges + 1) * side.astype(np.int64)).tobytes()


def _stacked(rows: list[tuple[Ints, Array]], count: int) -> sparse.csr_matrix:
    """Return rows of edges and sides as one matrix, shape (rows, count)."""
    row = np.repeat(np.arange(len(rows)), [len(edges) for edges, _ in rows]).astype(np.int64)
    none = [np.zeros(0, dtype=np.int64)]
    edge = np.concatenate([edges for edges, _ in rows] + none)
    side = np.concatenate([sides for _, sides in rows] + none)
    return sparse.csr_matrix((side, (row, edge)), shape=(len(rows), count))


def elongations(polygons: npt.NDArray[np.object_]) -> Array:
    """Return length over width of each polygon's smallest enclosing rectangle, 1 or more."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(polygons)).reshape(-1, 5, 2)
    sides = np.hypot(*np.moveaxis(np.diff(corners[:, :3], axis=1), 2, 0))
    return np.asarray(sides.max(axis=1) / sides.min(axis=1))
