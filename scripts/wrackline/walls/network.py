"""The network of a view: recorded pieces and closings noded into edges, each with its origin.

Every edge keeps the piece it lies on, and through it the vertices that were surveyed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy import sparse

from wrackline import vectors
from wrackline.collection import collection_paused
from wrackline.model import WallSettings
from wrackline.uncertainty import ErrorModel
from wrackline.walls.closings import NODE_M, close_gaps
from wrackline.walls.coverage import Coverage, Tracing, cover
from wrackline.walls.linework import (
    LINE_COLUMNS,
    RECORDED,
    Linework,
    Pieces,
    join_pieces,
    linework,
)
from wrackline.walls.motion import edge_motion
from wrackline.walls.noding import noded
from wrackline.walls.repeats import merge_repeats, position_sd
from wrackline.walls.stretches import Stretches, stretches_of

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
    """

    work: Linework
    pieces: Pieces
    edges: Array
    piece: Ints
    fraction: Array

    @property
    def recorded(self) -> npt.NDArray[np.bool_]:
        """Whether each edge was recorded rather than inferred, shape (k,)."""
        return np.asarray(self.pieces.kind[self.piece] == RECORDED)

    @property
    def length(self) -> Array:
        """Length of each edge in the grid, shape (k,) [m]."""
        step = self.edges[:, 1] - self.edges[:, 0]
        return np.asarray(np.hypot(step[:, 0], step[:, 1]))

    def closings(self) -> Pieces:
        """Return the inferred pieces of which something stands."""
        stands = np.isin(np.arange(len(self.pieces)), self.piece)
        return self.pieces.pick(stands & (self.pieces.kind != RECORDED))

    def without(self, edges: npt.NDArray[np.bool_]) -> Network:
        """Return the network without some edges, and what of closings then leads nowhere."""
        kept = np.flatnonzero(~edges)
        kept = kept[~_dangling(self.edges[kept], ~self.recorded[kept])]
        return replace(
            self, edges=self.edges[kept], piece=self.piece[kept], fraction=self.fraction[kept]
        )

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


@collection_paused()
def build_network(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> Network:
    """Return the network of a view.

    Parameters
    ----------
    lines : GeoDataFrame
        `LINE_COLUMNS` of all the view's surveys, in the site's CRS.
    models : mapping of str to ErrorModel
        Errors by survey, to decide which lines repeat others.
    settings : WallSettings
        Joining distance and widest doorway [m].

    Returns
    -------
    Network
    """
    work, stretches, covered = _covered(merge_repeats(lines, models), models, settings)
    closed = close_gaps(work, stretches, covered, tracing_of(work.lines, models), settings)
    pieces = join_pieces([covered.pieces, closed])
    ends = pieces.ends(work.xyz)[:, :, :2]
    edges, piece = noded(ends, NODE_M)
    fraction = _fractions(edges, ends[piece])
    return Network(work, pieces, edges, piece, fraction).without(np.zeros(len(edges), dtype=bool))


def tracing_of(lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel]) -> Tracing:
    """Return how well lines are placed, from their surveys' errors."""
    named = lines["survey"]
    near = {name: model.random_horizontal for name, model in models.items()}
    whole = {name: position_sd(model) for name, model in models.items()}
    return Tracing(
        survey=np.asarray(pd.Categorical(named).codes, dtype=np.int64),
        random_m=named.map(near).to_numpy(float),
        whole_m=named.map(whole).to_numpy(float),
        face=(lines["line_follows"] != "centre").to_numpy(bool, na_value=True),
        thick_m=np.nan_to_num(pd.to_numeric(lines["thickness_m"]).to_numpy(float, na_value=0.0)),
    )


def _covered(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> tuple[Linework, Stretches, Coverage]:
    """Return the lines that stand somewhere; a line that repeats others whole is noted at them."""
    work = linework(lines)
    tracing = tracing_of(lines, models)
    stretches = stretches_of(work, tracing.random_m)
    covered = cover(work, stretches, tracing, settings.join_gap_m)
    gone = np.setdiff1d(np.arange(len(lines)), covered.pieces.line)
    if not len(gone):
        return work, stretches, covered
    noted: dict[int, set[str]] = {}
    named = lines["survey"].to_numpy(str)
    for row, other in covered.repeats[np.isin(covered.repeats[:, 0], gone)].tolist():
        noted.setdefault(other, set()).add(str(named[row]))
    repeats = lines["repeats"].to_numpy(object, copy=True)
    for row, names in noted.items():
        names.update(filter(None, str(repeats[row]).split(";")))
        repeats[row] = ";".join(sorted(names - {str(named[row])}))
    kept = lines.assign(repeats=repeats)
    kept = kept.drop(index=kept.index[gone]).reset_index(drop=True)
    return _covered(kept, models, settings)


def _dangling(edges: Array, inferred: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Tell which inferred edges lead nowhere: they end in the open, or at others that do."""
    whole = np.rint(edges.reshape(-1, 2) / NODE_M).astype(np.int64)
    order = np.lexsort(whole.T)
    node = np.empty(len(whole), dtype=np.int64)
    node[order] = np.cumsum((np.diff(whole[order], axis=0, prepend=whole[order[:1]]) != 0).any(1))
    ends = node.reshape(-1, 2)
    gone = np.zeros(len(edges), dtype=bool)
    while True:
        degree = np.bincount(ends[~gone].ravel(), minlength=int(ends.max(initial=-1)) + 1)
        loose = ~gone & inferred & (degree[ends] == 1).any(axis=1)
        if not loose.any():
            return gone
        gone |= loose


def node(ends: Array) -> Array:
    """Return the pieces cut at every crossing and touch.

    Parameters
    ----------
    ends : array, shape (m, 2, 2)
        Ends of straight pieces [m].

    Returns
    -------
    array, shape (k, 2, 2)
        Ends of edges on a grid of `NODE_M`, sorted, so that the order of input leaves no trace.

    Examples
    --------
    A cross has four edges:

    >>> len(node(np.array([[[0.0, 1], [2, 1]], [[1.0, 0], [1, 2]]])))
    4
    """
    return noded(ends, NODE_M)[0]


def _fractions(edges: Array, ends: Array) -> Array:
    """Return where both ends of edges lie on their pieces, shape (k, 2)."""
    step = ends[:, 1] - ends[:, 0]
    along = ((edges - ends[:, None, 0]) * step[:, None]).sum(axis=2)
    return np.asarray(along / (step**2).sum(axis=1)[:, None])


PIECE_COLUMNS = {
    **{f"{end}_vertex_{k}": "whole" for end in ("start", "stop") for k in "ij"},
    "start_share": "real",
    "stop_share": "real",
    "line": "whole",
    "kind": "text",
    "gap_m": "real",
}
EDGE_COLUMNS = {"piece": "whole", "start_fraction": "real", "stop_fraction": "real"}


def save(network: Network, folder: Path, crs: str) -> None:
    """Write a network as GeoParquet: `lines`, `pieces` and `edges` in a folder."""
    pieces = network.pieces
    ends = pieces.ends(network.work.xyz)[:, :, :2]
    vertices = pieces.vertices.reshape(-1, 4)
    named: dict[str, npt.NDArray[Any]] = {
        name: vertices[:, k] for k, name in enumerate(list(PIECE_COLUMNS)[:4])
    }
    named |= {"start_share": pieces.share[:, 0], "stop_share": pieces.share[:, 1]}
    named |= {"line": pieces.line, "kind": pieces.kind, "gap_m": pieces.gap_m}
    start, stop = network.fraction.T
    edges = {"piece": network.piece, "start_fraction": start, "stop_fraction": stop}
    lines = network.work.lines.set_crs(crs, allow_override=True)
    vectors.write(lines, LINE_COLUMNS, folder / "lines.parquet")
    for name, columns, data, xy in (
        ("pieces", PIECE_COLUMNS, named, ends),
        ("edges", EDGE_COLUMNS, edges, network.edges),
    ):
        table = gpd.GeoDataFrame(data, geometry=list(shapely.linestrings(xy)), crs=crs)
        vectors.write(table, columns, folder / f"{name}.parquet")


def load(folder: Path) -> Network:
    """Read a network that `save` wrote."""
    lines, pieces, edges = (
        vectors.read(folder / f"{name}.parquet") for name in ("lines", "pieces", "edges")
    )
    stored = Pieces(
        vertices=pieces[list(PIECE_COLUMNS)[:4]].to_numpy(np.int64).reshape(-1, 2, 2),
        share=pieces[["start_share", "stop_share"]].to_numpy(float),
        line=pieces["line"].to_numpy(np.int64),
        kind=pieces["kind"].to_numpy("<U9"),
        gap_m=pieces["gap_m"].to_numpy(float),
    )
    return Network(
        work=linework(lines),
        pieces=stored,
        edges=shapely.get_coordinates(edges.geometry.to_numpy()).reshape(-1, 2, 2),
        piece=edges["piece"].to_numpy(np.int64),
        fraction=edges[["start_fraction", "stop_fraction"]].to_numpy(float),
    )
