"""Openings: closed gaps of a doorway's width, and what they join.

A doorway through a wall traced as two faces leaves a gap in each of them; the two closings that
border the same wall body opposite each other are one opening. It is `seen` where a threshold or a
jamb was recorded in it, else `possible`: robbing makes the same gap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from wrackline.rooms.faces import Faces
from wrackline.rooms.kinds import BODY, SLIVER
from wrackline.walls.linework import DOORWAY
from wrackline.walls.network import Network

Ints = npt.NDArray[np.int64]

SIGNS = ("threshold", "jamb")
"""Kinds of features by which an opening is seen."""

SIGN_REACH_M = 0.5
PARALLEL_COSINE = 0.8
"""Gaps in the two faces of a wall run alike within 37 degrees; round a corner they don't."""

FILLED_M = 0.3
"""A wall of a later phase this near the middle of a doorway fills it (no source)."""

OUTSIDE = -1


@dataclass(frozen=True)
class Opening:
    """One opening.

    Attributes
    ----------
    pieces : tuple of int
        The closings that make it, one a wall face.
    edges : array of int
        Edges of the first of them.
    joins : tuple of int
        Faces that it joins, `OUTSIDE` for open ground.
    line : LineString
        The first closing.
    ground : Geometry
        What lies between all of them.
    """

    pieces: tuple[int, ...]
    edges: Ints
    joins: tuple[int, ...]
    line: shapely.LineString
    ground: shapely.Geometry


def openings_of(
    network: Network, faces: Faces, kind: npt.NDArray[np.str_], reach_m: float
) -> list[Opening]:
    """Return the openings of a network: doorways' closings of which half or more stands.

    Parameters
    ----------
    network : Network
    faces : Faces
    kind : array of str, shape (f,)
        As `kinds_of` tells them.
    reach_m : float
        Greatest distance between the two faces' gaps of one opening [m].
    """
    standing = np.bincount(network.piece, network.length, len(network.pieces))
    whole = standing >= 0.5 * network.pieces.gap_m
    pieces = np.flatnonzero(whole & (network.pieces.kind == DOORWAY))
    pieces = pieces[~_blocked(network, pieces)]
    if not len(pieces):
        return []
    ends = network.pieces.ends(network.work.xyz)[pieces][:, :, :2]
    lines = shapely.linestrings(ends)
    beside = [_beside(network, faces, int(piece)) for piece in pieces]
    group = _grouped(lines, beside, kind, reach_m)
    found = []
    for number in range(group.max() + 1):
        mine = np.flatnonzero(group == number)
        joins = sorted({face for k in mine for face in beside[k] if not _is_wall(face, kind)})
        edges = np.flatnonzero(network.piece == pieces[mine[0]])
        members = tuple(int(pieces[k]) for k in mine)
        ground = shapely.convex_hull(shapely.union_all(lines[mine]))
        found.append(Opening(members, edges, tuple(joins), lines[mine[0]], ground))
    return found


def _blocked(network: Network, pieces: Ints) -> npt.NDArray[np.bool_]:
    """Tell which closings a wall recorded of a later phase fills."""
    last = network.standing[:, -1]
    at = np.zeros(len(network.pieces), dtype=bool)
    at[network.piece[last]] = True
    walls = shapely.linestrings(network.edges[last & network.recorded])
    middle = shapely.points(network.pieces.ends(network.work.xyz)[pieces][:, :, :2].mean(axis=1))
    filled = np.zeros(len(pieces), dtype=bool)
    filled[shapely.STRtree(walls).query(middle, predicate="dwithin", distance=FILLED_M)[0]] = True
    return filled & ~at[pieces]


def _is_wall(face: int, kind: npt.NDArray[np.str_]) -> bool:
    return face != OUTSIDE and kind[face] in (BODY, SLIVER)


def _beside(network: Network, faces: Faces, piece: int) -> set[int]:
    """Return the faces on both sides of a closing, `OUTSIDE` where there is none.

    Of several phases, the last in which the closing stands counts.
    """
    edges = np.flatnonzero(network.piece == piece)
    phase = int(np.flatnonzero(network.standing[edges].any(axis=0))[-1])
    sides = faces.sides[:, edges].tocoo()
    there = faces.standing[sides.row, phase]
    beside = {int(face) for face in sides.row[there]}
    both = np.bincount(sides.col[there], minlength=len(edges)) >= 2
    return beside if both.all() else beside | {OUTSIDE}


def _grouped(
    lines: npt.NDArray[np.object_],
    beside: list[set[int]],
    kind: npt.NDArray[np.str_],
    reach_m: float,
) -> Ints:
    """Return a number for each closing, equal for those opposite each other through a wall."""
    first, second = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=reach_m)
    linked = [
        (a, b)
        for a, b in zip(first, second, strict=True)
        if a < b
        and any(_is_wall(face, kind) for face in beside[a] & beside[b])
        and _opposite(lines[a], lines[b])
    ]
    rows = np.array(linked, dtype=int).reshape(-1, 2)
    links = sparse.csr_matrix(
        (np.ones(len(rows)), (rows[:, 0], rows[:, 1])), shape=(len(lines), len(lines))
    )
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _opposite(one: shapely.LineString, other: shapely.LineString) -> bool:
    """Tell whether two gaps face each other: nearly parallel, their middles abreast."""
    (a, b), (c, d) = (shapely.get_coordinates(line)[[0, -1]] for line in (one, other))
    along, beside = b - a, d - c
    sizes = np.hypot(*along), np.hypot(*beside)
    if abs(along @ beside) < PARALLEL_COSINE * sizes[0] * sizes[1]:
        return False
    shift = abs((c + d - a - b) @ along) / (2 * sizes[0])
    return bool(shift < 0.5 * max(sizes))


def seen(opening: Opening, doors: npt.NDArray[np.object_]) -> bool:
    """Tell whether a threshold or jamb was recorded at an opening."""
    if not len(doors):
        return False
    return bool((shapely.distance(opening.ground, doors) <= SIGN_REACH_M).any())
