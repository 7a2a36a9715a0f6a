"""Which stretches of recorded lines stand in the network: each wall once, as best recorded.

Where two tracings run side by side no further apart than their errors explain, the better one
stays, and of the other only what goes on beyond it. Nothing is moved.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.walls.levels import Levels, heights_at, middle_of
from wrackline.walls.linework import RECORDED, WHOLE, Array, Ints, Linework, Pieces
from wrackline.walls.repeats import REPEAT_LIMIT_M, REPEAT_SDS
from wrackline.walls.stretches import Stretches, cross

LEAST_BESIDE_M = 0.3
"""A shorter common stretch is a crossing or a touch (no source)."""

ALONG = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
"""Where along a common stretch heights are held against each other."""

STEEPEST = 0.5
"""Tangent of the greatest angle between two tracings of one wall (no source)."""


@dataclass(frozen=True)
class Tracing:
    """How well the lines of a linework are placed.

    Attributes
    ----------
    survey : array of int, shape (lines,)
        Number of each line's survey.
    random_m, whole_m : array, shape (lines,)
        Sd from vertex to vertex, and of position in all, each axis [m].
    face : array of bool, shape (lines,)
        Whether the line follows a wall's face or edge.
    thick_m : array, shape (lines,)
        Thickness of its wall, 0 where unknown [m].
    off_m : array, shape (lines,)
        How far it lies off the face that it follows: half the pole's width [m].
    span : array of int, shape (lines, 2)
        First and last phase in which it stood; -1 where nothing is known.
    levels : Levels
        Where on the wall, and how well, heights were taken.
    """

    survey: Ints
    random_m: Array
    whole_m: Array
    face: npt.NDArray[np.bool_]
    thick_m: Array
    off_m: Array
    span: Ints
    levels: Levels

    def apart_m(self, one: Ints, other: Ints) -> Array:
        """Return how far apart two tracings of one wall may lie [m]; 0 where they can't be one.

        Of two whose phases differ, one can only give way if its own is not known.
        """
        same = self.survey[one] == self.survey[other]
        near = np.hypot(self.random_m[one], self.random_m[other])
        far = np.hypot(self.whole_m[one], self.whole_m[other])
        reach = np.minimum(REPEAT_SDS * np.where(same, near, far), REPEAT_LIMIT_M)
        reach = reach + abs(self.off_m[one] - self.off_m[other])
        may = (self.span[one, 0] < 0) | (self.span[one] == self.span[other]).all(axis=-1)
        return np.where((self.face[one] == self.face[other]) & may, reach, 0.0)


@dataclass(frozen=True)
class Coverage:
    """What stands, and what gave way to it.

    Attributes
    ----------
    pieces : Pieces
        Recorded pieces that stand, in the order of vertices.
    stretch : array of int, shape (m,)
        The straight stretch of each.
    repeats : array of int, shape (r, 2)
        Pairs of lines: one that gave way somewhere, and the one it gave way to.
    jamb : array of bool, shape (m,), optional
        Whether each runs across a wall's end, from the one face to the other.
    """

    pieces: Pieces
    stretch: Ints
    repeats: Ints
    jamb: npt.NDArray[np.bool_] | None = None

    def pick(self, chosen: npt.NDArray[np.bool_]) -> Coverage:
        """Return the same with the chosen pieces only."""
        return replace(self, pieces=self.pieces.pick(chosen), stretch=self.stretch[chosen])


def cover(work: Linework, stretches: Stretches, tracing: Tracing, least_m: float) -> Coverage:
    """Return the recorded pieces that stand.

    Parameters
    ----------
    work : Linework
    stretches : Stretches
    tracing : Tracing
    least_m : float
        Shorter leftovers of a repeat are dropped [m].
    """
    loser, winner, low, high = _beside(work, stretches, tracing)
    kept = _kept(len(stretches.first), stretches.length, (loser, low, high), least_m)
    pieces, stretch = _as_pieces(work, stretches, *kept)
    pairs = np.stack([stretches.line[loser], stretches.line[winner]], axis=-1)
    return Coverage(pieces, stretch, np.unique(pairs, axis=0))


def _rank(work: Linework, stretches: Stretches, tracing: Tracing) -> Ints:
    """Return the order in which stretches stay: best placed, longest, then by place."""
    middle = work.xyz[stretches.first, :2] + work.xyz[stretches.last, :2]
    keys = [middle[:, 1], middle[:, 0], -stretches.length.round(9), tracing.whole_m[stretches.line]]
    rank = np.empty(len(stretches.first), dtype=np.int64)
    rank[np.lexsort(keys)] = np.arange(len(rank))
    return rank


def _beside(
    work: Linework, stretches: Stretches, tracing: Tracing
) -> tuple[Ints, Ints, Array, Array]:
    """Return pairs of stretches that trace one wall: the loser, the winner, the loser's share."""
    a, b = work.xyz[stretches.first, :2], work.xyz[stretches.last, :2]
    widest = min(2 * REPEAT_SDS * float(tracing.whole_m.max(initial=0)), REPEAT_LIMIT_M)
    widest += float(tracing.off_m.max(initial=0))
    corners = np.minimum(a, b) - widest / 2, np.maximum(a, b) + widest / 2
    boxes = shapely.linestrings(np.stack(corners, axis=1))
    p, q = shapely.STRtree(boxes).query(boxes)
    rank, line = _rank(work, stretches, tracing), stretches.line
    chosen = (line[p] != line[q]) & (rank[p] > rank[q])
    p, q = p[chosen], q[chosen]
    reach = tracing.apart_m(line[p], line[q])
    along, start, stop = stretches.along[q], a[p] - a[q], b[p] - a[q]
    u0, u1 = (start * along).sum(axis=1), (stop * along).sum(axis=1)
    v0, v1 = cross(along, start), cross(along, stop)
    run = np.where(np.abs(u1 - u0) < 1e-9, 1e-9, u1 - u0)
    s0, s1 = np.clip(-u0 / run, 0, 1), np.clip((stretches.length[q] - u0) / run, 0, 1)
    low, high = np.minimum(s0, s1), np.maximum(s0, s1)
    off = np.maximum(np.abs(v0 + (v1 - v0) * low), np.abs(v0 + (v1 - v0) * high))
    common = (high - low) * stretches.length[p]
    least = np.minimum(np.maximum(2 * reach, LEAST_BESIDE_M), 0.8 * stretches.length[p])
    one = (off <= reach) & (common >= least) & (np.abs(v1 - v0) <= STEEPEST * np.abs(run))
    p, q, low, high, u0, run = (values[one] for values in (p, q, low, high, u0, run))
    share = low[:, None] + (high - low)[:, None] * ALONG
    above = _above(work, stretches, (p, q), share, u0[:, None] + run[:, None] * share)
    one = ~tracing.levels.two_walls(line[p], line[q], above)
    return p[one], q[one], low[one], high[one]


def _above(
    work: Linework, stretches: Stretches, pair: tuple[Ints, Ints], share: Array, along: Array
) -> Array:
    """Return how far stretches lie over others beside them, shape (n,), NaN if not known [m].

    `share` is where along the first, `along` how far along the second, shape (n, k) [m].
    """
    p, q = pair
    here = heights_at(work.xyz, stretches.first[p], share * stretches.length[p][:, None])
    along = np.clip(along, 0, stretches.length[q][:, None])
    there = heights_at(work.xyz, stretches.first[q], along)
    return middle_of(here - there)


def _kept(
    count: int, length: Array, gone: tuple[Ints, Array, Array], least_m: float
) -> tuple[Ints, Array, Array]:
    """Return what is left of stretches: the stretch, and from which share of it to which."""
    loser, low, high = gone
    whole = np.setdiff1d(np.arange(count), loser)
    order = np.lexsort([low, loser])
    left: list[tuple[int, float, float]] = []
    at, last = 0.0, -1
    for stretch, a, b in zip(
        loser[order].tolist(), low[order].tolist(), high[order].tolist(), strict=True
    ):
        if stretch != last:
            left.append((last, at, 1.0))
            at, last = 0.0, stretch
        left.append((stretch, at, a))
        at = max(at, b)
    left.append((last, at, 1.0))
    rest = np.array(left, dtype=float).reshape(-1, 3)
    rest = rest[(rest[:, 0] >= 0) & (rest[:, 2] > rest[:, 1])]
    of = rest[:, 0].astype(np.int64)
    long = (rest[:, 2] - rest[:, 1]) * length[of] >= least_m
    ones = np.ones(len(whole))
    return (
        np.r_[whole, of[long]],
        np.r_[0 * ones, rest[long, 1]],
        np.r_[ones, rest[long, 2]],
    )


def _as_pieces(
    work: Linework, stretches: Stretches, of: Ints, low: Array, high: Array
) -> tuple[Pieces, Ints]:
    """Return kept shares as pieces: cut anywhere where two vertices make them, else at vertices."""
    count = (stretches.last - stretches.first)[of]
    stretch = np.repeat(of, count)
    place = np.arange(len(stretch)) - np.repeat(np.cumsum(count) - count, count)
    vertex = stretches.first[stretch] + place
    low, high, single = (np.repeat(x, count) for x in (low, high, count == 1))
    middle = (work.xyz[vertex, :2] + work.xyz[vertex + 1, :2]) / 2
    from_first = middle - work.xyz[stretches.first[stretch], :2]
    share = (from_first * stretches.along[stretch]).sum(axis=1) / stretches.length[stretch]
    stands = single | ((low == 0) & (high == 1)) | ((share >= low) & (share <= high))
    t = np.stack([np.where(single, low, 0.0), np.where(single, high, 1.0)], axis=-1)
    order = np.lexsort([t[:, 0], vertex])
    order = order[stands[order]]
    vertex, t, stretch = vertex[order], t[order], stretch[order]
    return _tied(work, vertex, t), stretch


def _tied(work: Linework, vertex: Ints, t: Array) -> Pieces:
    """Return pieces from one vertex to the next, ends that are no vertex tied to both."""
    cut = (t != [0.0, 1.0])[..., None]
    ends = np.stack([np.stack([vertex, vertex], -1), np.stack([vertex + 1, vertex + 1], -1)], 1)
    both = np.stack([vertex, vertex + 1], -1)[:, None, :]
    return Pieces(
        vertices=np.where(cut, both, ends),
        share=np.where(cut[..., 0], t, 0.0),
        line=work.line[vertex],
        kind=np.full(len(vertex), RECORDED, dtype="<U9"),
        gap_m=np.zeros(len(vertex)),
        span=np.tile(WHOLE, (len(vertex), 1)),
    )
