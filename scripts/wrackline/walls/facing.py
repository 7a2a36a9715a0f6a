"""On which side of a traced face its wall lies: told by the wall's other face.

Two faces of one wall run side by side, no further apart than a wall is thick, with nothing between.
A face has its wall on one side alone, so of several faces that might be its other one the likeliest
is taken, over the whole linework. The jamb at a wall's end joins both faces and is neither. A face
whose other one is lost takes its side from a face that it meets at a corner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from wrackline.walls.ends import JAMB_MAX_M, JAMB_REACH_M, TOUCH_M
from wrackline.walls.linework import Array, Ints
from wrackline.walls.stretches import at_both, cross, lengths_and_ways, runs_of

Bools = npt.NDArray[np.bool_]

THINNEST_M = 0.25
"""Faces nearer to each other are tracings of one face, not of a wall (no source)."""

LEAST_BESIDE_M = 0.25
"""Faces that run side by side for less tell nothing (no source)."""

TURN_RAD, TURN_SDS, MOST_TURN_RAD = 0.08, 2.5, 0.5
"""Faces of one wall differ in direction by the first, and by so many sd of what their ends leave in
doubt; never by more than the third (no source)."""

BETWEEN = 0.12
"""What lies between two faces is looked for this share of their distance away from either."""

ALONG_SINE = 0.5
"""Sine below which a line between two faces runs along them; else it is a jamb, or abuts."""

HABIT = 0.4
"""Spread of the site's thicknesses, of their logarithm (no source)."""

ACROSS_SINE = 0.7
"""Sine from which a jamb runs across the faces of its wall (no source)."""

MEETS_M = 0.45
"""Faces whose ends lie this near each other may meet at a corner (no source)."""

SURE_M, ROUNDS = 0.6, 3
"""Shorter faces take no side from a corner; sides are handed on over so many corners."""

LEADS_ON = 0.8
"""Cosine from which a closing leads on the face at whose end it begins (no source)."""


@dataclass(frozen=True)
class Facing:
    """Pairs of faces that may be of one wall.

    Attributes
    ----------
    one, other : array of int, shape (p,)
    thick_m, beside_m : array, shape (p,)
        How far apart they are; for how long they run side by side [m].
    side_one, side_other : array of int, shape (p,)
        On which side of each the other lies: +1 left, -1 right.
    """

    one: Ints
    other: Ints
    thick_m: Array
    beside_m: Array
    side_one: Ints
    side_other: Ints

    def pick(self, chosen: npt.NDArray[np.generic]) -> Facing:
        """Return the chosen pairs only."""
        return Facing(*(values[chosen] for values in vars(self).values()))


@dataclass(frozen=True)
class Sided:
    """On which side of faces their walls lie.

    Attributes
    ----------
    side : array of int, shape (s,)
        +1 to the left of a face taken from its first end to its second, -1 to the right, 0 where
        nothing tells.
    jamb : array of bool, shape (s,)
        Whether it is no face, but runs across a wall's end from the one face to the other.
    usual_m : float
        The thickness that half of the walls, by their length, stay below; 0 where none is known.
    """

    side: Ints
    jamb: Bools
    usual_m: float


def body_sides(faces: Array, sd_m: Array, thickest_m: float) -> Sided:
    """Return on which side of straight faces their walls lie.

    Parameters
    ----------
    faces : array, shape (s, 2, 2)
        Ends of straight stretches of traced faces [m].
    sd_m : array, shape (s,)
        Random sd of their ends, each axis [m].
    thickest_m : float
        No wall is thicker [m].

    Returns
    -------
    Sided

    Examples
    --------
    A wall of 0.6 m that runs east; its faces were drawn in opposite directions:

    >>> wall = np.array([[[0.0, 0], [5, 0]], [[5.0, 0.6], [0, 0.6]]])
    >>> body_sides(wall, np.full(2, 0.05), 1.6).side
    array([1, 1])
    """
    if not len(faces):
        return Sided(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=bool), 0.0)
    order = _by_place(faces)
    sided = _sides(faces[order], sd_m[order], thickest_m)
    back = np.argsort(order)
    return Sided(sided.side[back], sided.jamb[back], sided.usual_m)


def _by_place(faces: Array) -> Ints:
    """Return an order of faces, the longest first, that no order or direction of input changes.

    The longer of two faces is looked along, so that which came first leaves no trace.
    """
    x, y = faces.mean(axis=1).round(6).T
    step = (faces[:, 1] - faces[:, 0]).round(6)
    return np.lexsort([step.prod(axis=1), y, x, -np.hypot(*step.T).round(6)])


def _sides(faces: Array, sd_m: Array, thickest_m: float) -> Sided:
    """Return the sides of faces in the order of `_by_place`."""
    pairs = _facing(faces, sd_m, thickest_m)
    chosen, _ = _agreed(pairs, len(faces))
    jamb = _jambs(faces, pairs.pick(chosen))
    pairs = pairs.pick(~jamb[pairs.one] & ~jamb[pairs.other])
    chosen, side = _agreed(pairs, len(faces))
    side = _handed_on(faces, side, jamb)
    return Sided(np.where(jamb, 0, side), jamb, _usual(pairs.pick(chosen)))


def _usual(pairs: Facing) -> float:
    """Return the thickness that half of the walls, by their length, stay below [m]."""
    if not len(pairs.one):
        return 0.0
    order = np.argsort(pairs.thick_m, kind="stable")
    half = np.searchsorted(np.cumsum(pairs.beside_m[order]), 0.5 * pairs.beside_m.sum())
    return float(pairs.thick_m[order[half]])


def _facing(faces: Array, sd_m: Array, thickest_m: float) -> Facing:
    """Return all pairs of faces that may be of one wall."""
    size, way = lengths_and_ways(faces[:, 1] - faces[:, 0])
    lines = shapely.linestrings(faces)
    tree = shapely.STRtree(lines)
    one, other = tree.query(lines, predicate="dwithin", distance=thickest_m)
    one, other = one[one < other], other[one < other]
    turn = TURN_SDS * np.sqrt(2) * sd_m / np.maximum(size, 0.1)
    most = np.minimum(TURN_RAD + np.hypot(turn[one], turn[other]), MOST_TURN_RAD)
    level = np.abs(cross(way[one], way[other])) < np.sin(most)
    one, other = one[level], other[level]
    low, high, off = _beside(faces, one, other)
    apart = off.mean(axis=1)
    fits = (high - low > LEAST_BESIDE_M) & (np.abs(apart) > THINNEST_M)
    fits &= (np.abs(apart) < thickest_m) & (np.sign(off[:, 0]) == np.sign(off[:, 1]))
    one, other, apart, low, high = (x[fits] for x in (one, other, apart, low, high))
    middle = faces[one, 0] + way[one] * ((low + high) / 2)[:, None]
    across = np.stack([-way[one, 1], way[one, 0]], axis=1) * apart[:, None]
    free = ~_parted(tree, way, one, other, np.stack([middle, middle + across], axis=1))
    one, other, apart, beside = one[free], other[free], apart[free], (high - low)[free]
    side = np.sign(apart).astype(np.int64)
    same = (way[one] * way[other]).sum(axis=1) > 0
    return Facing(one, other, np.abs(apart), beside, side, np.where(same, -side, side))


def _beside(faces: Array, one: Ints, other: Ints) -> tuple[Array, Array, Array]:
    """Return from where to where along the one the other runs, and its offsets there, (p, 2)."""
    size, way = lengths_and_ways(faces[one, 1] - faces[one, 0])
    step = faces[other] - faces[one, None, 0]
    along, aside = (step * way[:, None]).sum(axis=2), cross(way[:, None], step)
    low = np.maximum(along.min(axis=1), 0.0)
    high = np.minimum(along.max(axis=1), size)
    run = along[:, 1] - along[:, 0]
    run = np.where(np.abs(run) < 1e-9, 1e-9, run)
    share = np.clip((np.stack([low, high], axis=1) - along[:, :1]) / run[:, None], 0.0, 1.0)
    return low, high, aside[:, :1] + (aside[:, 1:] - aside[:, :1]) * share


def _parted(tree: shapely.STRtree, way: Array, one: Ints, other: Ints, across: Array) -> Bools:
    """Tell which pairs have another face between them, `across` leading from one to the other."""
    step = across[:, 1] - across[:, 0]
    inner = np.stack([across[:, 0] + BETWEEN * step, across[:, 1] - BETWEEN * step], axis=1)
    pair, face = tree.query(shapely.linestrings(inner), predicate="intersects")
    along = np.abs(cross(way[one[pair]], way[face])) < ALONG_SINE
    parted = np.zeros(len(one), dtype=bool)
    parted[pair[along & (face != one[pair]) & (face != other[pair])]] = True
    return parted


def _agreed(pairs: Facing, count: int) -> tuple[Bools, Ints]:
    """Return which pairs agree on one side for every face, the likeliest first; and the sides.

    A pair counts the more the longer it runs side by side, and the nearer its thickness is to what
    is usual on the site; half of what it would take from its faces' other sides is counted against
    it. So the outer faces of two houses across a slit, longer than the inner ones, make no wall.
    """
    side = [0] * count
    chosen = np.zeros(len(pairs.one), dtype=bool)
    if not len(chosen):
        return chosen, np.array(side, dtype=np.int64)
    odd = np.log(pairs.thick_m / _usual(pairs)) / HABIT
    weight = pairs.beside_m * np.exp(-0.5 * odd**2)
    weight = weight - 0.5 * _at_stake(pairs, weight, count)
    rank = np.lexsort([pairs.thick_m.round(6), -weight.round(6)]).tolist()
    one, other = pairs.one.tolist(), pairs.other.tolist()
    of_one, of_other = pairs.side_one.tolist(), pairs.side_other.tolist()
    for k in rank:
        if side[one[k]] in (0, of_one[k]) and side[other[k]] in (0, of_other[k]):
            side[one[k]], side[other[k]] = of_one[k], of_other[k]
            chosen[k] = True
    return chosen, np.array(side, dtype=np.int64)


def _at_stake(pairs: Facing, weight: Array, count: int) -> Array:
    """Return what the best pairs count that both faces of each would have on their other sides."""
    face = np.r_[pairs.one, pairs.other]
    left = np.r_[pairs.side_one, pairs.side_other] > 0
    best = np.zeros((count, 2))
    np.maximum.at(best, (face, left.astype(int)), np.r_[weight, weight])
    lost = best[face, (~left).astype(int)]
    return np.asarray(lost[: len(weight)] + lost[len(weight) :])


def _near_ends(faces: Array, within_m: float) -> tuple[Ints, Ints, Array]:
    """Return which ends lie near each other: end, end, distance; ends 2k and 2k + 1 are face k's.

    Both ways round, and none of one face.
    """
    tips = faces.reshape(-1, 2)
    near = cKDTree(tips).query_pairs(within_m, output_type="ndarray").reshape(-1, 2)
    near = near[near[:, 0] // 2 != near[:, 1] // 2]
    one, other = np.r_[near[:, 0], near[:, 1]], np.r_[near[:, 1], near[:, 0]]
    away = np.hypot(*(tips[one] - tips[other]).T)
    return one.astype(np.int64), other.astype(np.int64), away


def _jambs(faces: Array, pairs: Facing) -> Bools:
    """Tell which faces have both faces of one wall at their own two ends, going the same way."""
    size, way = lengths_and_ways(faces[:, 1] - faces[:, 0])
    end, tip, _ = _near_ends(faces, JAMB_REACH_M)
    jamb, arm = end // 2, tip // 2
    inward = way[arm] * np.where(tip % 2 == 0, 1.0, -1.0)[:, None]
    sine = cross(way[jamb], inward)
    fits = (size[jamb] <= JAMB_MAX_M) & (np.abs(sine) > ACROSS_SINE)
    key = (2 * jamb + (sine > 0))[fits]
    first, arm = (end % 2 == 0)[fits], arm[fits]
    one, other = at_both(key[first], key[~first])
    a, b = arm[first][one], arm[~first][other]
    of = key[first][one] // 2
    both = np.isin(_pair(a, b, len(faces)), _pair(pairs.one, pairs.other, len(faces)))
    both &= size[of] < 1.2 * (size[a] + size[b])
    found = np.zeros(len(faces), dtype=bool)
    found[of[both]] = True
    return found


def _pair(one: Ints, other: Ints, count: int) -> Ints:
    return np.minimum(one, other) * count + np.maximum(one, other)


def _handed_on(faces: Array, side: Ints, jamb: Bools) -> Ints:
    """Return sides, those of faces that have none taken from faces that they meet.

    Round an outline of walls, the wall stays on the same hand at every corner.
    """
    size, _ = lengths_and_ways(faces[:, 1] - faces[:, 0])
    end, tip, away = _near_ends(faces, MEETS_M)
    given, taken = end // 2, tip // 2
    turned = np.where(end % 2 == tip % 2, -1, 1)
    open_to = ~jamb[given] & ~jamb[taken] & (size[taken] > SURE_M)
    weight = np.minimum(size[given], 2.0) / (0.1 + away)
    side = side.copy()
    for _ in range(ROUNDS):
        able = open_to & (side[given] != 0) & (side[taken] == 0)
        votes = np.bincount(taken[able], (side[given] * turned * weight)[able], len(faces))
        if not votes.any():
            break
        side = np.where(side == 0, np.sign(votes.round(9)), side).astype(np.int64)
    return side


def sides_of_pieces(
    pieces: Array, stretch: Ints, face: Bools, sd_m: Array, thickest_m: float
) -> Sided:
    """Return on which side of recorded pieces their walls lie, pieces of one stretch as one.

    Parameters
    ----------
    pieces : array, shape (m, 2, 2)
        Ends of pieces, in the order of vertices [m].
    stretch : array of int, shape (m,)
        The straight stretch of each.
    face : array of bool, shape (m,)
        Whether it follows a wall's face; others have no side.
    sd_m : array, shape (m,)
        Random sd of its ends, each axis [m].
    thickest_m : float
        No wall is thicker [m].

    Returns
    -------
    Sided
        `side` of shape (m,).
    """
    if not len(pieces):
        return Sided(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=bool), 0.0)
    goes_on = np.zeros(len(pieces), dtype=bool)
    step = np.abs(pieces[1:, 0] - pieces[:-1, 1]).max(axis=1, initial=0)
    goes_on[1:] = (stretch[1:] == stretch[:-1]) & (step <= TOUCH_M)
    run = runs_of(goes_on)
    first, last = np.flatnonzero(~goes_on), np.flatnonzero(~np.append(goes_on[1:], False))
    whole = np.stack([pieces[first, 0], pieces[last, 1]], axis=1)
    of_face = np.flatnonzero(face[first])
    sided = body_sides(whole[of_face], sd_m[first][of_face], thickest_m)
    side = np.zeros(len(first), dtype=np.int64)
    side[of_face] = sided.side
    jamb = np.zeros(len(first), dtype=bool)
    jamb[of_face] = sided.jamb
    return Sided(side[run], jamb[run], sided.usual_m)


def sides_of_closings(closings: Array, pieces: Array, side: Ints) -> Ints:
    """Return on which side of closings the wall lies whose face they lead on, shape (c,).

    Parameters
    ----------
    closings, pieces : array, shape (c, 2, 2) and (m, 2, 2)
        Ends of closings, and of recorded pieces [m].
    side : array of int, shape (m,)
        On which side of each recorded piece its wall lies.
    """
    votes = np.zeros(len(closings))
    if not len(closings) or not len(pieces):
        return votes.astype(np.int64)
    ways = [lengths_and_ways(ends[:, 1] - ends[:, 0])[1] for ends in (closings, pieces)]
    tips = cKDTree(pieces.reshape(-1, 2))
    for k in (0, 1):
        at = cKDTree(closings[:, k])
        near = at.sparse_distance_matrix(tips, TOUCH_M, output_type="coo_matrix")
        closing, piece = near.row, near.col // 2
        cosine = (ways[0][closing] * ways[1][piece]).sum(axis=1)
        on = np.abs(cosine) > LEADS_ON
        np.add.at(votes, closing[on], np.sign(cosine[on]) * side[piece[on]])
    return np.sign(votes).astype(np.int64)
