"""Ends of walls traced by both faces: two faces that stop at one jamb, and what lies across.

A doorway beside a corner has one jamb alone: its other side is the wall that it leads along. So a
wall's end looks across a doorway's width for a wall, both its faces together.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from wrackline.walls.candidates import (
    AHEAD_FAR_M,
    ASIDE_M,
    EXTENSION,
    Asked,
    Candidates,
    Walls,
    first_of,
    foot_on,
    foot_ties,
    hits,
    made_of_one,
    skew,
    ties_ahead,
)
from wrackline.walls.ends import ACROSS, JAMB_MAX_M, JAMB_REACH_M, Ends
from wrackline.walls.linework import Array, Ints, Linework, Pieces
from wrackline.walls.stretches import Stretches, at_both, cross, lengths_and_ways

SAME_WAY = 0.9
"""Cosine from which the two faces of a wall's end look the same way (no source)."""

BACK_M = 0.3
"""A face beside another is looked for this far behind an end (no source)."""

AT_JAMB_M = 0.4
"""A jamb itself lies no further ahead of the ends of its faces (no source)."""

PER_WIDTH = 1.0
"""Cost of a wall's end twice as wide as its longer face is seen, and of each time more."""

LEAST_TURN = 1e-6
"""No way is known better than this, perfect drawings included [rad]."""

ALONE = 1.0
"""Cost of leading on one face of a wall's end where the other face meets nothing."""


def stubs(work: Linework, stretches: Stretches, ends: Ends) -> Ints:
    """Return the ends of walls: pairs of face ends that stop at one jamb and look the same way.

    Parameters
    ----------
    work : Linework
    stretches : Stretches
    ends : Ends

    Returns
    -------
    array of int, shape (p, 2)
        Jamb ends, the smaller number first.
    """
    jamb = np.flatnonzero(ends.jamb)
    short = np.flatnonzero(stretches.length <= JAMB_MAX_M)
    if not len(jamb) or not len(short):
        return np.zeros((0, 2), dtype=np.int64)
    tips = np.concatenate([stretches.first[short], stretches.last[short]])
    near = cKDTree(ends.xy[jamb]).sparse_distance_matrix(
        cKDTree(work.xyz[tips, :2]), JAMB_REACH_M, output_type="coo_matrix"
    )
    end, side = jamb[near.row], near.col // len(short)
    of = short[near.col % len(short)]
    across = np.abs(cross(ends.along[end], stretches.along[of])) > ACROSS
    across &= ends.stretch[end] != of
    end, side, of = end[across], side[across], of[across]
    one, other = at_both(of[side == 0], of[side == 1])
    one, other = end[side == 0][one], end[side == 1][other]
    same = (ends.along[one] * ends.along[other]).sum(axis=1) > SAME_WAY
    pair = np.sort(np.stack([one, other], axis=1)[same & (one != other)], axis=1)
    pair = np.unique(pair, axis=0)
    return pair[~_at_both_ends(ends, pair)]


def _at_both_ends(ends: Ends, pair: Ints) -> npt.NDArray[np.bool_]:
    """Tell which pairs are faces with jambs at both ends: pillars and benches look nowhere."""
    faces = np.sort(ends.stretch[pair], axis=1)
    _, of, count = np.unique(faces, axis=0, return_inverse=True, return_counts=True)
    return np.asarray(count[of.ravel()] > 1)


def blocks(walls: Walls) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """Return the block of near pieces that each piece belongs to, and whether it is a small one.

    A block no longer than a jamb may be (a pillar, a pier) has no faces to be told from its jambs.

    Parameters
    ----------
    walls : Walls
        Recorded pieces alone.
    """
    if not len(walls.ends):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=bool)
    lines = shapely.linestrings(walls.ends)
    a, b = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=JAMB_REACH_M)
    size = (len(lines), len(lines))
    graph = sparse.csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=size)
    count, block = connected_components(graph, directed=False)
    of, xy = np.repeat(block, 2), walls.ends.reshape(-1, 2)
    low, high = np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
    np.minimum.at(low, of, xy)
    np.maximum.at(high, of, xy)
    off = xy - ((low + high) / 2)[of]
    radius = np.zeros(count)
    np.maximum.at(radius, of, np.hypot(off[:, 0], off[:, 1]))
    return block.astype(np.int64), np.asarray((2 * radius <= JAMB_MAX_M)[block])


def beside_another(
    walls: Walls, block: Ints, ends: Ends, face: npt.NDArray[np.bool_], thickest_m: float
) -> npt.NDArray[np.bool_]:
    """Tell which ends of faces have a face of another block beside them: a wall that goes on.

    The two long sides of a bench or a pillar are joined by its short ones, those of a wall that is
    broken off on both sides aren't.

    Parameters
    ----------
    walls : Walls
        Recorded pieces alone.
    block : array of int, shape (w,)
    ends : Ends
    face : array of bool, shape (n,)
        Whether each end's line follows a face.
    thickest_m : float
        Faces further apart are none of one wall [m].
    """
    found = np.zeros(len(ends), dtype=bool)
    own = np.flatnonzero(face & ~ends.jamb)
    back = np.minimum(BACK_M, 0.5 * ends.run_m[own])[:, None] * ends.along[own]
    aside = thickest_m * np.stack([-ends.along[own, 1], ends.along[own, 0]], axis=1)
    at = ends.xy[own] - back
    end, wall = walls.met(np.stack([at - aside, at + aside], axis=1))
    way = lengths_and_ways(walls.ends[wall, 1] - walls.ends[wall, 0])[1]
    level = np.abs((way * ends.along[own[end]]).sum(axis=1)) > SAME_WAY
    other = block[wall] != block[ends.piece[own[end]]]
    found[own[end[level & other]]] = True
    return found


def rivals(ends: Ends) -> Ints:
    """Return pairs of jamb ends at one corner that look across each other, shape (r, 2), both ways.

    Either wall may go on beyond the corner, never both: one of them has its jamb there.
    """
    jamb = np.flatnonzero(ends.jamb)
    if not len(jamb):
        return np.zeros((0, 2), dtype=np.int64)
    pair = cKDTree(ends.xy[jamb]).query_pairs(JAMB_REACH_M, output_type="ndarray")
    one, other = jamb[pair].reshape(-1, 2).T
    across = np.abs(cross(ends.along[one], ends.along[other])) > ACROSS
    one, other = one[across], other[across]
    return np.stack([np.r_[one, other], np.r_[other, one]], axis=1)


def across_doorways(asked: Asked, walls: Walls, recorded: Pieces) -> Candidates:
    """Return the ways on from the ends of walls to the first wall within a doorway's width.

    Parameters
    ----------
    asked : Asked
    walls : Walls
    recorded : Pieces
        Those of `walls` that were recorded.

    Returns
    -------
    Candidates
        Both faces of an end cost the mean of the two, so that they are led on together.
    """
    chosen = np.unique(asked.stubs[asked.active[asked.stubs] & ~asked.block[asked.stubs]])
    along, turn = _ways(asked)
    ends = replace(asked.ends, along=along).pick(chosen)
    none = np.zeros(len(ends))
    end, wall, ahead, sine = hits(walls, ends, none, none + asked.settings.doorway_max_m)
    beyond = ahead > AT_JAMB_M
    end, wall, ahead, sine = end[beyond], wall[beyond], ahead[beyond], sine[beyond]
    first = first_of(end, ahead)
    end, wall, ahead, sine = end[first], wall[first], ahead[first], sine[first]
    one, turn = chosen[end], turn[chosen[end]]
    cost = asked.carried(ahead) + skew(np.arccos(np.minimum(sine, 1.0)), turn)
    cost = cost + _stubby(asked)[one]
    cost = shared_costs(asked, one, cost + 0.5 * (ahead * turn / ASIDE_M) ** 2)
    ties = ties_ahead(asked.ends, one, ahead + AHEAD_FAR_M)
    on = np.flatnonzero(wall < len(recorded))
    place = asked.ends.xy[one] + along[one] * ahead[:, None]
    share, _ = foot_on(walls, wall[on], place[on])
    ties[on] = foot_ties(asked.ends, one[on], recorded, wall[on], share)
    return made_of_one(EXTENSION, one, cost, ties, ahead)


def _stubby(asked: Asked) -> Array:
    """Return the cost of wall's ends that are wider than their faces are seen, by end."""
    ends, (a, b) = asked.ends, asked.stubs.T
    step = ends.xy[b] - ends.xy[a]
    seen = np.maximum(ends.reach[a], ends.reach[b])
    over = np.maximum(np.hypot(step[:, 0], step[:, 1]) / seen - 1.0, 0.0)
    least = np.full(len(ends), np.inf)
    for end in (a, b):
        np.minimum.at(least, end, over)
    return PER_WIDTH * least


def _ways(asked: Asked) -> tuple[Array, Array]:
    """Return which way ends look, and its sd [rad], both faces of a wall's end looking as one."""
    ends, (a, b) = asked.ends, asked.stubs.T
    weight = 1 / np.maximum(asked.turn_sd, LEAST_TURN) ** 2
    along, total = ends.along * weight[:, None], weight.copy()
    for one, other in ((a, b), (b, a)):
        np.add.at(along, one, ends.along[other] * weight[other, None])
        np.add.at(total, one, weight[other])
    return lengths_and_ways(along)[1], 1 / np.sqrt(total)


def shared_costs(asked: Asked, one: Ints, cost: Array) -> Array:
    """Return costs, each the mean with the cheapest of the same wall's other face.

    Parameters
    ----------
    asked : Asked
    one : array of int, shape (c,)
        The ends that are led on.
    cost : array, shape (c,)
        What leading each on would cost by itself.
    """
    whole = np.full(len(asked.ends), np.inf)
    whole[one] = cost
    mate = np.full(len(asked.ends), np.inf)
    for a, b in (asked.stubs.T, asked.stubs.T[::-1]):
        np.minimum.at(mate, a, np.where(asked.led_on[b], 0.0, whole[b]))
    partner = mate[one]
    return np.where(np.isfinite(partner), 0.5 * (cost + partner), cost + ALONE)
