"""The network of a view: recorded pieces and closings noded into edges, each with its origin.

Every edge keeps the piece that it lies on, and through it the vertices that were surveyed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse

from wrackline import vectors
from wrackline.walls import moved
from wrackline.walls.linework import (
    DRAWN,
    LINE_COLUMNS,
    RECORDED,
    Linework,
    Pieces,
    linework,
)
from wrackline.walls.motion import edge_motion
from wrackline.walls.phases import name_phases
from wrackline.walls.planar import NODE_M, dangling

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Network:
    """A view's walls as a planar set of edges.

    Attributes
    ----------
    work : Linework
        Recorded lines.
    pieces : Pieces
        Recorded pieces and closings.
    edges : array, shape (k, 2, 2)
        Ends of each noded edge: easting, northing [m].
    piece : array of int, shape (k,)
        The piece that each edge lies on; recorded before inferred where several do.
    fraction : array, shape (k, 2)
        Where each end of an edge lies on its piece, 0 at the first end and 1 at the second.
    standing : array of bool, shape (k, p)
        Whether each edge stands in each phase; in every phase, those that stand are planar.
    phases : tuple of str, length p
        Name of each phase, the earliest first; one without a name where none are known.
    lies : array of int, shape (k, p, 2)
        What lies to the left and right of each edge in each phase: `solid.OPEN`, `solid.WALL`, or
        `solid.UNKNOWN` where no traced face tells.
    """

    work: Linework
    pieces: Pieces
    edges: Array
    piece: Ints
    fraction: Array
    standing: npt.NDArray[np.bool_]
    phases: tuple[str, ...]
    lies: Ints

    @cached_property
    def recorded(self) -> npt.NDArray[np.bool_]:
        """Whether each edge was recorded rather than inferred, shape (k,)."""
        return np.asarray(self.pieces.kind[self.piece] == RECORDED)

    @property
    def drawn(self) -> npt.NDArray[np.bool_]:
        """Whether each edge was drawn by the team's hand, shape (k,)."""
        return np.asarray(self.pieces.kind[self.piece] == DRAWN)

    @cached_property
    def length(self) -> Array:
        """Length of each edge in the grid, shape (k,) [m]."""
        step = self.edges[:, 1] - self.edges[:, 0]
        return np.asarray(np.hypot(step[:, 0], step[:, 1]))

    def closings(self) -> Pieces:
        """Return the inferred pieces of which something stands."""
        return self.pieces.pick(self._inferred())

    def closings_standing(self) -> npt.NDArray[np.bool_]:
        """Return in which phases each of `closings` stands, shape (closings, p)."""
        standing = np.zeros((len(self.pieces), len(self.phases)), dtype=bool)
        np.logical_or.at(standing, self.piece, self.standing)
        return standing[self._inferred()]

    def _inferred(self) -> npt.NDArray[np.bool_]:
        stands = np.isin(np.arange(len(self.pieces)), self.piece)
        return np.asarray(stands & (self.pieces.kind != RECORDED))

    def without(self, edges: npt.NDArray[np.bool_]) -> Network:
        """Return the network without some edges, and what of closings then leads nowhere.

        Parameters
        ----------
        edges : array of bool, shape (k, p)
            Which edges go in which phase.
        """
        standing = self.standing & ~edges
        for phase in range(len(self.phases)):
            there = np.flatnonzero(standing[:, phase])
            loose = dangling(self.edges[there], ~(self.recorded | self.drawn)[there])
            standing[there[loose], phase] = False
        kept = np.flatnonzero(standing.any(axis=1))
        return replace(
            self,
            edges=self.edges[kept],
            piece=self.piece[kept],
            fraction=self.fraction[kept],
            standing=standing[kept],
            lies=self.lies[kept],
        )

    def pruned(self, kept: int) -> Network:
        """Return the network without pieces that no edge lies on, the first `kept` excepted."""
        used = np.arange(len(self.pieces)) < kept
        used[self.piece] = True
        number = np.cumsum(used) - 1
        return replace(self, pieces=self.pieces.pick(used), piece=number[self.piece])

    def motion(self) -> sparse.csr_matrix:
        """Return the motion of edge ends per motion of vertices, shape (6 k, 3 n)."""
        return edge_motion(
            self.edges,
            self.piece,
            self.fraction,
            pieces=self.pieces,
            xyz=self.work.xyz,
            node_m=NODE_M,
        )

    def heights(self) -> Array:
        """Return heights at both ends of every edge, shape (k, 2), NaN where none was taken [m]."""
        ends = self.pieces.ends(self.work.xyz)[self.piece, :, 2]
        return np.asarray(ends[:, :1] + self.fraction * (ends[:, 1:] - ends[:, :1]))


PIECE_COLUMNS = {
    **{f"{end}_vertex_{k}": "whole" for end in ("start", "stop") for k in "ij"},
    "start_share": "real",
    "stop_share": "real",
    "start_span": "real",
    "stop_span": "real",
    "line": "whole",
    "kind": "text",
    "gap_m": "real",
}
EDGE_COLUMNS = {
    "piece": "whole",
    "start_fraction": "real",
    "stop_fraction": "real",
    "standing": "text",
    "lies": "text",
}


def save(network: Network, folder: Path, crs: str) -> None:
    """Write a network as Parquet in a folder: `lines`, `pieces`, `edges`, `sources`, `shares`."""
    pieces = network.pieces
    ends = pieces.ends(network.work.xyz)[:, :, :2]
    vertices = pieces.vertices.reshape(-1, 4)
    named: dict[str, npt.NDArray[Any]] = {
        name: vertices[:, k] for k, name in enumerate(list(PIECE_COLUMNS)[:4])
    }
    named |= {"start_share": pieces.share[:, 0], "stop_share": pieces.share[:, 1]}
    named |= {"start_span": pieces.span[:, 0], "stop_span": pieces.span[:, 1]}
    named |= {"line": pieces.line, "kind": pieces.kind, "gap_m": pieces.gap_m}
    start, stop = network.fraction.T
    edges = {"piece": network.piece, "start_fraction": start, "stop_fraction": stop}
    edges["standing"] = ["".join("01"[k] for k in row) for row in network.standing.astype(int)]
    edges["lies"] = ["".join("012"[k] for k in row) for row in _flat(network.lies)]
    lines = network.work.lines.set_crs(crs, allow_override=True)
    vectors.write(lines, LINE_COLUMNS, folder / "lines.parquet")
    moved.save(network.work.moved, folder, crs)
    for name, columns, data, xy in (
        ("pieces", PIECE_COLUMNS, named, ends),
        ("edges", EDGE_COLUMNS, edges, network.edges),
    ):
        table = gpd.GeoDataFrame(data, geometry=list(shapely.linestrings(xy)), crs=crs)
        vectors.write(table, columns, folder / f"{name}.parquet")


def _flat(lies: Ints) -> list[list[int]]:
    rows: list[list[int]] = lies.reshape(len(lies), 2 * lies.shape[1]).tolist()
    return rows


def load_lines(folder: Path) -> Linework:
    """Read the recorded lines of a network that `save` wrote, with what their vertices rest on."""
    work = linework(vectors.read(folder / "lines.parquet"))
    return replace(work, moved=moved.load(folder, len(work.xyz)))


def load(folder: Path, order: Sequence[str] = ()) -> Network:
    """Read a network that `save` wrote, with the names of the site's phases."""
    pieces, edges = (vectors.read(folder / f"{name}.parquet") for name in ("pieces", "edges"))
    stored = Pieces(
        vertices=pieces[list(PIECE_COLUMNS)[:4]].to_numpy(np.int64).reshape(-1, 2, 2),
        share=pieces[["start_share", "stop_share"]].to_numpy(float),
        line=pieces["line"].to_numpy(np.int64),
        kind=pieces["kind"].to_numpy("<U9"),
        gap_m=pieces["gap_m"].to_numpy(float),
        span=pieces[["start_span", "stop_span"]].to_numpy(float),
    )
    stands = [[mark == "1" for mark in row] for row in edges["standing"]]
    standing = np.array(stands, dtype=bool).reshape(
        len(edges), max(len(order), len(stands[0]) if stands else 1)
    )
    marks = "".join(edges["lies"])
    lies = np.array([int(mark) for mark in marks], dtype=np.int64)
    return Network(
        standing=standing,
        lies=lies.reshape(*standing.shape, 2),
        phases=name_phases(order, standing.shape[1]),
        work=load_lines(folder),
        pieces=stored,
        edges=shapely.get_coordinates(edges.geometry.to_numpy()).reshape(-1, 2, 2),
        piece=edges["piece"].to_numpy(np.int64),
        fraction=edges[["start_fraction", "stop_fraction"]].to_numpy(float),
    )
