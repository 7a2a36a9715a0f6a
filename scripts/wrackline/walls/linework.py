"""Recorded wall lines as arrays: vertices, and pieces whose ends are tied to them.

A piece is a straight stretch of wall, recorded or inferred. Each of its two ends is written as
`(1 - t) * vertex_i + t * vertex_j`, so that whatever moves the surveyed vertices moves the piece,
and every figure drawn from the network can be followed back to the points that were measured.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy import sparse

from wrackline.walls.moved import Moved

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

RECORDED, OLD_PLAN = "recorded", "old plan"
DOORWAY, LOST, DRAWN = "doorway", "lost", "drawn"
"""Kinds of closing that bridge more than a slip of the pole; the last by the team's hand."""

WHOLE = (0.0, 1.0)
"""Span of a piece that runs from tie to tie."""

ITEM_COLUMNS = {
    "survey": "text",
    "season": "text",
    "line": "text",
    "row": "whole",
    "kind": "text",
    "origin": "text",
    "evidence": "text",
    "thickness_m": "real",
    "thickness_sd_m": "real",
    "note": "text",
}
"""Columns of surveyed lines, features and floor points, as read and as fitted."""

FLOOR_EVIDENCE = ("excavated", "paving", "threshold", "probe")
"""How a floor was met, the best evidence first."""

LINE_COLUMNS = {
    **ITEM_COLUMNS,
    "line_follows": "text",
    "traced_at": "text",
    "pole_width_m": "real",
    "pole_width_sd_m": "real",
    "repeats": "text",
    "from_date": "text",
    "to_date": "text",
    "phase_from": "text",
    "phase_to": "text",
    "stands_from": "whole",
    "stands_to": "whole",
}
"""Columns of wall lines in a view: `repeats` lists surveys that traced the same wall again;
`phase_from`, `phase_to` are what the team says, `stands_from`, `stands_to` the first and last phase
by its number, empty where a wall stands in all."""


@dataclass(frozen=True)
class Linework:
    """Wall lines of a view.

    Attributes
    ----------
    lines : GeoDataFrame
        One row a line, `LINE_COLUMNS`, geometry LineStringZ (NaN where no height was taken).
    xyz : array, shape (n, 3)
        Vertices: easting, northing, height [m].
    line : array of int, shape (n,)
        Row of `lines` that each vertex belongs to; vertices of a line are consecutive.
    moved : Moved, optional
        What the vertices rest on, where other tracings of their walls helped to place them.
    """

    lines: gpd.GeoDataFrame
    xyz: Array
    line: Ints
    moved: Moved | None = None

    def survey_index(self, surveys: Sequence[str]) -> Ints:
        """Return, for each vertex, the place of its survey in a list of surveys."""
        codes = pd.Categorical(self.lines["survey"], categories=list(surveys)).codes
        return np.asarray(codes, dtype=np.int64)[self.line]


@dataclass(frozen=True)
class Pieces:
    """Straight stretches of wall, tied to vertices.

    Attributes
    ----------
    vertices : array of int, shape (m, 2, 2)
        For each piece and each of its ends the vertex pair (i, j).
    share : array, shape (m, 2)
        For each end t in `(1 - t) * vertex_i + t * vertex_j`; beyond 0 to 1 it extrapolates.
    line : array of int, shape (m,)
        Row of the line that a recorded piece belongs to; -1 for a closing.
    kind : array of str, shape (m,)
        ``recorded``, or the kind of closing: joint, corner, extension, foot, doorway,
        lost (a lost stretch), drawn (by the team's decision).
    gap_m : array, shape (m,)
        What the closing bridges, in all [m]; 0 for recorded pieces.
    span : array, shape (m, 2)
        From where to where on the way from tie to tie a piece runs: 0 to 1, but for what is drawn
        by hand with an end that is tied to no wall.
    """

    vertices: Ints
    share: Array
    line: Ints
    kind: npt.NDArray[np.str_]
    gap_m: Array
    span: Array

    def __len__(self) -> int:
        return len(self.line)

    def pick(self, chosen: npt.NDArray[np.generic]) -> Pieces:
        """Return the chosen pieces only."""
        return Pieces(*(values[chosen] for values in vars(self).values()))

    def ends(self, xyz: Array) -> Array:
        """Return positions of both ends, shape (m, 2, 3)."""
        t = self.share[..., None]
        tied = (1 - t) * xyz[self.vertices[..., 0]] + t * xyz[self.vertices[..., 1]]
        return tied if self._whole else self._spans() @ tied

    @property
    def _whole(self) -> bool:
        """Whether all pieces run from tie to tie."""
        return bool((self.span == WHOLE).all())

    def _spans(self) -> Array:
        """Return what takes ties to ends, shape (m, 2, 2)."""
        return np.stack([1 - self.span, self.span], axis=-1)

    def weights(self, count: int) -> sparse.csr_matrix:
        """Return the linear map from vertex displacements to those of the ends.

        Parameters
        ----------
        count : int
            Number of vertices.

        Returns
        -------
        sparse matrix, shape (2 m, count)
            Row 2 k + e belongs to end e of piece k.
        """
        rows = np.repeat(np.arange(2 * len(self)), 2)
        values = np.stack([1 - self.share, self.share], axis=-1)
        shape = (2 * len(self), count)
        tied = sparse.csr_matrix((values.ravel(), (rows, self.vertices.ravel())), shape=shape)
        if self._whole:
            return tied
        return sparse.csr_matrix(sparse.block_diag(list(self._spans()), format="csr") @ tied)


def linework(lines: gpd.GeoDataFrame) -> Linework:
    """Return lines as arrays.

    Parameters
    ----------
    lines : GeoDataFrame
        `LINE_COLUMNS`; geometry LineString or LineStringZ with at least two vertices.
    """
    geometry = lines.geometry.to_numpy()
    xyz, line = shapely.get_coordinates(geometry, include_z=True, return_index=True)
    return Linework(lines, np.asarray(xyz, dtype=float), np.asarray(line, dtype=np.int64))


def line_name(row: Mapping[Hashable, Any] | pd.Series) -> str:
    """Return how a surveyed line is cited: its survey and own number, or its row in the file."""
    own = row["line"]
    return f"{row['survey']}/{own if isinstance(own, str) and own else '#' + str(row['row'])}"


def recorded_pieces(work: Linework) -> Pieces:
    """Return every stretch between consecutive vertices of a line."""
    first = np.flatnonzero(np.diff(work.line) == 0)
    vertices = np.stack([np.stack([first, first], -1), np.stack([first + 1, first + 1], -1)], 1)
    return Pieces(
        vertices=vertices,
        share=np.zeros((len(first), 2)),
        line=work.line[first],
        kind=np.full(len(first), RECORDED, dtype="<U9"),
        gap_m=np.zeros(len(first)),
        span=np.tile(WHOLE, (len(first), 1)),
    )


def join_pieces(parts: Sequence[Pieces]) -> Pieces:
    """Return several sets of pieces as one."""
    return Pieces(
        vertices=np.concatenate([p.vertices for p in parts]),
        share=np.concatenate([p.share for p in parts]),
        line=np.concatenate([p.line for p in parts]),
        kind=np.concatenate([p.kind.astype("<U9") for p in parts]),
        gap_m=np.concatenate([p.gap_m for p in parts]),
        span=np.concatenate([p.span for p in parts]),
    )
