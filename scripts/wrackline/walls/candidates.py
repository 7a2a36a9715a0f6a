"""Candidate closings: what might lie in the gaps of a linework, and what each would cost.

A cost is a penalty in the manner of a negative log-likelihood: half of chi-squared for what the
survey's noise must explain, and a share for the length of wall that must have been a slip of the
pole, a doorway or a lost stretch. Its figures were set on simulated towns (tests/benchmarks).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.model import WallSettings
from wrackline.walls.ends import TOUCH_M, Ends
from wrackline.walls.linework import Array, Ints, Pieces
from wrackline.walls.stretches import cross, distinct, lengths_and_ways

EXTENSION, FOOT, IN_LINE, CORNER = range(4)

ON_SLIP, ON_DOORWAY, PER_METRE = 0.5, 2.0, 0.7
"""Cost of carrying one end on: by a slip, a doorway's width, each metre beyond that."""

LONG_M, PER_METRE_LONG = 8.0, 0.1
"""A longer stretch is closed only where the config allows it; then each metre beyond costs this."""

PAIR_SLIP, PAIR_DOORWAY = -0.7, 0.0
"""Cost of a gap between two ends in line, less than of one: two that agree are rarely chance."""

SKEW_FREE_DEG, PER_DEGREE = 10.0, 0.05
"""Walls meet at right angles within ten degrees; each degree more costs this."""

ASIDE_M = 0.3
"""An end whose direction may miss by this much counts as half a chi-squared more."""

TAKEN, TAKEN_NEAR = 2.0, 0.3
"""Cost of an end that meets a wall already, and of one across a slip or a jamb."""

AT_FOOT = 2.5
BEHIND_COSINE = -0.7
"""An end looks away from a wall whose foot lies so squarely behind it: its other end is nearer."""

BEHIND_M = 0.15
"""An end drawn this much too long counts as half a chi-squared more."""

SHORT_TIMES, PER_TIME = 3.0, 0.5
"""A lost stretch longer than three times the faces that look across it costs more (a jamb does)."""

RING, RING_TIMES, RING_FACING = 1.0, 4.0, -0.25
"""A gap in a wall that runs round in one line costs less; the line is four times as long."""

WORST_CHI = 12.0
"""Two ends further from one straight wall than this, per degree of freedom, are not in line."""

FACING, WITHIN_SDS = -0.7, 2.5
"""Cosine below which two ends look at each other; short walls may turn by this many sd more."""

CORNER_SINE = 0.34
"""Walls that meet at more than 20 degrees make a corner, else they are in line."""

EXTRA_M = 0.02
"""What walls themselves are out of line, each metre of turn included (no source)."""

BESIDE_REACH_M = 1.6
"""A partner lies this near the line ahead of an end: as far as its own way to a corner may be."""

BATCH = 30_000
"""So many ends are looked after at a time: more take memory and no less time."""

LEAST_REACH_M = 0.1
"""Shorter stretches give no less certain a direction."""

SEEN_M = 3.0
"""A face seen for longer than this looks across no further for it (no source)."""

CORNER_SLACK_M = 0.1
OVER_SHARE = 0.64
"""Share of the joining distance by which a line may be drawn past the wall it meets."""

AHEAD_M, AHEAD_FAR_M = 0.25, 0.05
"""Closings are drawn on by this to look for what they just miss; the rest is cut off again."""


@dataclass(frozen=True)
class Walls:
    """What stands in the way of closings: recorded pieces, then closings.

    Attributes
    ----------
    ends : array, shape (w, 2, 2)
        Ends of straight pieces [m].
    stretch : array of int, shape (w,)
        The straight stretch of each; -1 for closings.
    former : Walls, optional
        The same without the closings that were made last.
    """

    ends: Array
    stretch: Ints
    former: Walls | None = None

    @cached_property
    def trees(self) -> list[tuple[int, shapely.STRtree]]:
        """The pieces, findable by place: the first of each batch, and the batch."""
        first = 0 if self.former is None else len(self.former.ends)
        before = [] if self.former is None else self.former.trees
        return [*before, (first, shapely.STRtree(shapely.linestrings(self.ends[first:])))]

    def met(self, ways: Array, predicate: str | None = "intersects") -> tuple[Ints, Ints]:
        """Return which straight ways (n, 2, 2) meet walls, or their boxes do: way, wall."""
        lines = shapely.linestrings(ways)
        found = [(first, *tree.query(lines, predicate)) for first, tree in self.trees]
        wall = np.concatenate([first + near for first, _, near in found])
        return np.concatenate([way for _, way, _ in found]), wall

    def near(self, xy: Array, within_m: float) -> tuple[Ints, Ints]:
        """Return which places (n, 2) have walls as near as this: place, wall."""
        place, wall = self.met(np.stack([xy - within_m, xy + within_m], axis=1), None)
        near = foot_on(self, wall, xy[place])[1] <= within_m
        return place[near], wall[near]

    def recorded(self) -> Walls:
        """Return the walls without closings."""
        return self if self.former is None else self.former.recorded()

    def latest(self) -> Walls:
        """Return the closings made last, alone."""
        first, tree = self.trees[-1]
        last = Walls(self.ends[first:], self.stretch[first:])
        last.__dict__["trees"] = [(0, tree)]
        return last

    def with_closings(self, ends: Array) -> Walls:
        """Return the same with closings."""
        none = np.full(len(ends), -1, dtype=np.int64)
        return Walls(np.concatenate([self.ends, ends]), np.r_[self.stretch, none], self)


@dataclass(frozen=True)
class Candidates:
    """Closings that might be made.

    Attributes
    ----------
    kind : array of int, shape (c,)
        `EXTENSION`, `FOOT`, `IN_LINE` or `CORNER`.
    one, other : array of int, shape (c,)
        The ends that it uses; -1 where it uses one.
    cost : array, shape (c,)
    ties : array, shape (c, 2, 2, 3)
        Of each of two pieces and its two ends (vertex, vertex, share); a corner has two pieces.
    gap_m : array, shape (c, 2)
        What each piece bridges; the second 0 where there is one [m].
    from_m : array, shape (c,)
        The least reach of an asking end that finds the other; 0 where one end is used [m].
    """

    kind: Ints
    one: Ints
    other: Ints
    cost: Array
    ties: Array
    gap_m: Array
    from_m: Array

    def pick(self, chosen: npt.NDArray[np.generic]) -> Candidates:
        """Return the chosen candidates only."""
        return Candidates(*(values[chosen] for values in vars(self).values()))


def together(parts: list[Candidates]) -> Candidates:
    """Return several sets of candidates as one."""
    return Candidates(
        *(np.concatenate(v) for v in zip(*(vars(p).values() for p in parts), strict=True))
    )


def once(found: Candidates) -> Candidates:
    """Return candidates each once, at its least cost, in the order of their ends."""
    gap = found.gap_m.round(3)
    order = np.lexsort([found.cost, gap[:, 1], gap[:, 0], found.other, found.one, found.kind])
    key = np.column_stack([found.kind, found.one, found.other, gap])[order]
    new = np.ones(len(key), dtype=bool)
    new[1:] = (np.diff(key, axis=0) != 0).any(axis=1)
    return found.pick(order[new])


def likely(found: Candidates, won: Array, margin: float) -> Candidates:
    """Return candidates that aren't much dearer than what either of their ends was given."""
    won = np.append(won, np.inf)
    return found.pick(found.cost <= np.minimum(won[found.one], won[found.other]) + margin)


@dataclass(frozen=True)
class Asked:
    """Which ends ask for a closing, and how well each is known.

    Attributes
    ----------
    ends : Ends
    active, met : array of bool, shape (n,)
        Whether an end may still be used; whether it meets a wall already.
    passed : array of bool, shape (n,)
        Whether it meets one or runs on past one, by no more than the joining distance.
    sd_m, turn_sd : array, shape (n,)
        Random sd of the end, each axis [m], and of its direction [rad].
    face : array of bool, shape (n,)
        Whether its line follows a face.
    thick_m : array, shape (n,)
        Thickness of its wall, 0 where unknown [m].
    stubs : array of int, shape (p, 2)
        Pairs of ends that are the two faces of one wall's end.
    block : array of bool, shape (n,)
        Whether an end belongs to a lone block, which has no faces to be told from its jambs.
    still : array of bool, shape (n,)
        Whether an end belongs to a drawn jamb, which leads on across no more than a slip.
    led_on : array of bool, shape (n,)
        Whether an end has been led on across more than a slip.
    rivals : array of int, shape (r, 2)
        Pairs of ends at one corner of which one alone may look on, both ways.
    settings : WallSettings
    """

    ends: Ends
    active: npt.NDArray[np.bool_]
    met: npt.NDArray[np.bool_]
    passed: npt.NDArray[np.bool_]
    sd_m: Array
    turn_sd: Array
    face: npt.NDArray[np.bool_]
    thick_m: Array
    stubs: Ints
    block: npt.NDArray[np.bool_]
    still: npt.NDArray[np.bool_]
    led_on: npt.NDArray[np.bool_]
    rivals: Ints
    settings: WallSettings

    def carried(self, length_m: Array) -> Array:
        """Return the cost of carrying one end on."""
        slip, door = self.settings.join_gap_m, self.settings.doorway_max_m
        wide = ON_DOORWAY + by_the_metre(length_m, door)
        return np.where(length_m <= slip, ON_SLIP, wide)

    def between(self, length_m: Array) -> Array:
        """Return the cost of a gap between two ends in line."""
        slip, door = self.settings.join_gap_m, self.settings.doorway_max_m
        wide = PAIR_DOORWAY + by_the_metre(length_m, door)
        return np.where(length_m <= slip, PAIR_SLIP, wide)

    def longest(self) -> float:
        """Return the widest gap that may be closed at all [m]."""
        s = self.settings
        return max(s.join_gap_m, s.doorway_max_m, s.lost_stretch_max_m)


def by_the_metre(length_m: Array, doorway_m: float) -> Array:
    """Return the cost of what a gap is longer than a doorway."""
    beyond = np.maximum(np.minimum(length_m, LONG_M) - doorway_m, 0)
    return np.asarray(PER_METRE * beyond + PER_METRE_LONG * np.maximum(length_m - LONG_M, 0))


def hits(
    walls: Walls, ends: Ends, back_m: Array, reach_m: Array
) -> tuple[Ints, Ints, Array, Array]:
    """Return where ends that look on cross walls: end, wall, distance ahead [m], sine.

    The piece that an end belongs to is left out, with the rest of its straight stretch.
    """
    start = ends.xy - ends.along * back_m[:, None]
    stop = ends.xy + ends.along * reach_m[:, None]
    end, wall = walls.met(np.stack([start, stop], axis=1))
    other = walls.stretch[wall] != ends.stretch[end]
    end, wall = end[other], wall[other]
    size, run = lengths_and_ways(walls.ends[wall, 1] - walls.ends[wall, 0])
    start = walls.ends[wall, 0] - ends.xy[end]
    sine = cross(ends.along[end], run)
    level = np.abs(sine) < 1e-9
    ahead = cross(start, run) / np.where(level, 1.0, sine)
    stop = start + run * size[:, None]
    along = ends.along[end]
    beside = np.minimum((start * along).sum(axis=1), (stop * along).sum(axis=1))
    return end, wall, np.where(level, beside, ahead), np.abs(sine)


def first_of(key: Ints, order_by: Array) -> Ints:
    """Return, for each key, the place of its least value."""
    order = np.lexsort([order_by, key])
    return order[np.flatnonzero(np.diff(key[order], prepend=-1))]


@dataclass(frozen=True)
class Ahead:
    """The first wall that each end faces.

    Attributes
    ----------
    gap_m, sine : array, shape (n,)
        How far ahead it is, infinite for none [m], and the sine of the angle to it.
    """

    gap_m: Array
    sine: Array


def ahead_of(asked: Asked, walls: Walls, before: Ahead | None = None) -> Ahead:
    """Return the first walls ahead of active ends; where known before, newer closings are added."""
    count = len(asked.ends)
    chosen = np.flatnonzero(asked.active & ~asked.passed & ~asked.ends.jamb)
    ends = asked.ends.pick(chosen)
    looked = walls if before is None else walls.latest()
    reach = np.full(len(ends), asked.longest())
    end, _, ahead, sine = hits(looked, ends, np.zeros(len(ends)), reach)
    first = first_of(end, ahead)
    at, ahead, sine = chosen[end[first]], ahead[first], sine[first]
    old = before or Ahead(np.full(count, np.inf), np.zeros(count))
    nearer = ahead < old.gap_m[at]
    new = Ahead(old.gap_m.copy(), old.sine.copy())
    new.gap_m[at[nearer]], new.sine[at[nearer]] = ahead[nearer], sine[nearer]
    return new


def extensions(asked: Asked, first: Ahead) -> Candidates:
    """Return the ways on to the first wall that each end faces."""
    able = asked.active & ~asked.passed & ~asked.ends.jamb
    one = np.flatnonzero(able & np.isfinite(first.gap_m))
    ahead, sine = np.maximum(first.gap_m[one], 0.0), first.sine[one]
    turn = asked.turn_sd[one]
    cost = asked.carried(ahead) + skew(np.arccos(np.minimum(sine, 1.0)), turn)
    cost = cost + 0.5 * (ahead * turn / ASIDE_M) ** 2
    slip = asked.settings.join_gap_m
    ties = ties_ahead(asked.ends, one, ahead + np.where(ahead <= slip, AHEAD_M, AHEAD_FAR_M))
    return made_of_one(EXTENSION, one, cost, ties, ahead)


def skew(angle: Array, turn_sd: Array) -> Array:
    """Return the cost of a meeting this far from a right angle [rad]."""
    over = np.degrees(angle) - SKEW_FREE_DEG - np.degrees(turn_sd)
    return np.asarray(PER_DEGREE * np.maximum(over, 0.0))


def ties_ahead(ends: Ends, chosen: Ints, ahead_m: Array) -> Array:
    """Return the ties of a piece from each end to a place ahead, shape (c, 2, 3)."""
    picked = ends.pick(chosen)
    return np.stack([picked.ties(np.zeros(len(chosen))), picked.ties(ahead_m)], axis=1)


def made_of_one(kind: int, one: Ints, cost: Array, ties: Array, gap_m: Array) -> Candidates:
    """Return candidates of one end and one piece."""
    count = len(one)
    return Candidates(
        kind=np.full(count, kind),
        one=one,
        other=np.full(count, -1),
        cost=cost,
        ties=np.stack([ties, np.zeros_like(ties)], axis=1),
        gap_m=np.stack([gap_m, np.zeros(count)], axis=1),
        from_m=np.zeros(count),
    )


def feet(asked: Asked, walls: Walls, recorded: Pieces) -> Candidates:
    """Return the ways to the nearest recorded wall within the joining distance."""
    one = np.flatnonzero(asked.active & ~asked.passed)
    standing = walls.recorded()
    end, wall = standing.near(asked.ends.xy[one], asked.settings.join_gap_m)
    other = standing.stretch[wall] != asked.ends.stretch[one[end]]
    end, wall = end[other], wall[other]
    share, away = foot_on(standing, wall, asked.ends.xy[one[end]])
    start, stop = standing.ends[wall, 0], standing.ends[wall, 1]
    step = start + (stop - start) * share[:, None] - asked.ends.xy[one[end]]
    toward = (step * asked.ends.along[one[end]]).sum(axis=1) > BEHIND_COSINE * away - TOUCH_M
    end, wall, share, away = end[toward], wall[toward], share[toward], away[toward]
    first = first_of(end, away)
    one, wall, share, away = one[end[first]], wall[first], share[first], away[first]
    ties = foot_ties(asked.ends, one, recorded, wall, share)
    return made_of_one(FOOT, one, AT_FOOT + away, ties, away)


def foot_on(walls: Walls, wall: Ints, xy: Array) -> tuple[Array, Array]:
    """Return where on walls the feet of places lie, 0 to 1, and how far away [m]."""
    start, run = walls.ends[wall, 0], walls.ends[wall, 1] - walls.ends[wall, 0]
    size = np.maximum((run**2).sum(axis=1), 1e-18)
    share = np.clip(((xy - start) * run).sum(axis=1) / size, 0.0, 1.0)
    step = start + run * share[:, None] - xy
    return share, np.hypot(step[:, 0], step[:, 1])


def foot_ties(ends: Ends, one: Ints, recorded: Pieces, wall: Ints, share: Array) -> Array:
    """Return the ties of pieces from ends to feet on recorded pieces, shape (c, 2, 3)."""
    feet = feet_at(recorded, wall, share)
    return np.stack([ends.pick(one).ties(np.zeros(len(one))), feet], axis=1)


def feet_at(recorded: Pieces, wall: Ints, share: Array) -> Array:
    """Return the ties of places on recorded pieces, 0 to 1 along each, shape (c, 3)."""
    vertices = recorded.vertices[wall]
    cut = vertices[:, :, 0] != vertices[:, :, 1]
    low = np.where(cut[:, 0], recorded.share[wall, 0], 0.0)
    high = np.where(cut[:, 1], recorded.share[wall, 1], 1.0)
    return np.column_stack([vertices[:, 0, 0], vertices[:, 1, 1], low + share * (high - low)])


@dataclass(frozen=True)
class Pairs:
    """Pairs of ends, and how they look at each other.

    Attributes
    ----------
    one, other : array of int, shape (p,)
    step : array, shape (p, 2)
        From one to the other [m].
    gap_m, cosine, sine : array, shape (p,)
        Its length [m], and of the angle from one's way to the other's.
    taken : array, shape (p,)
        How many of the two meet a wall already.
    from_m : array, shape (p,)
        The least reach of an asking end that finds the other [m].
    """

    one: Ints
    other: Ints
    step: Array
    gap_m: Array
    cosine: Array
    sine: Array
    taken: Array
    from_m: Array


def pairs(asked: Asked, reach_m: float) -> Pairs:
    """Return pairs of ends, one at least asking: near each other, or one ahead of the other."""
    ends = asked.ends
    able = np.flatnonzero(asked.active)
    tree = shapely.STRtree(shapely.points(ends.xy[able]))
    source = np.flatnonzero(asked.active & (~asked.met | ends.jamb))
    keys = [np.zeros(0, dtype=np.int64)]
    for first in range(0, len(source), BATCH):
        a, b = _in_sight(asked, tree, source[first : first + BATCH], reach_m)
        b = able[b]
        found = _found_from(asked, a, ends.xy[b] - ends.xy[a]) <= reach_m
        keys.append((np.minimum(a, b) * len(ends) + np.maximum(a, b))[found])
    one, other = np.divmod(distinct(np.concatenate(keys)), max(len(ends), 1))
    alone = asked.met[one] & asked.met[other] & ~(ends.jamb[one] & ends.jamb[other])
    itself = (ends.stretch[one] == ends.stretch[other]) & (ends.bend[one] == 0)
    one, other = one[~alone & ~itself], other[~alone & ~itself]
    step = ends.xy[other] - ends.xy[one]
    return Pairs(
        one=one,
        other=other,
        step=step,
        gap_m=np.hypot(step[:, 0], step[:, 1]),
        cosine=(ends.along[one] * ends.along[other]).sum(axis=1),
        sine=cross(ends.along[one], ends.along[other]),
        taken=asked.met[one].astype(float) + asked.met[other],
        from_m=np.minimum(_found_from(asked, one, step), _found_from(asked, other, -step)),
    )


def _in_sight(
    asked: Asked, tree: shapely.STRtree, source: Ints, reach_m: float
) -> tuple[Ints, Ints]:
    """Return what lies in the boxes around the lines ahead of ends: end, place in the tree."""
    xy, along, slip = asked.ends.xy[source], asked.ends.along[source], asked.settings.join_gap_m
    widest = max(2 * slip, BESIDE_REACH_M)
    start, stop = xy - along * 2 * slip, xy + along * reach_m
    box = np.minimum(start, stop) - widest, np.maximum(start, stop) + widest
    a, b = tree.query(shapely.linestrings(np.stack(box, axis=1)))
    return source[a], b


def _found_from(asked: Asked, one: Ints, step: Array) -> Array:
    """Return how far ends must look to find what is a step away; infinite where they never do."""
    along, behind = asked.ends.along[one], 2 * asked.settings.join_gap_m
    widest = max(behind, BESIDE_REACH_M)
    ahead, aside = (along * step).sum(axis=1), cross(along, step)
    chord = np.sqrt(np.maximum(widest**2 - aside**2, 0.0))
    asks = ~asked.met[one] | asked.ends.jamb[one]
    found = asks & (np.abs(aside) <= widest) & (ahead >= -behind - chord)
    return np.where(found, np.maximum(ahead - chord, 0.0), np.inf)


def in_line(asked: Asked, near: Pairs) -> Candidates:
    """Return the gaps between two ends that look at each other in line."""
    ends, one, other, gap = asked.ends, near.one, near.other, near.gap_m
    slip, door = asked.settings.join_gap_m, asked.settings.doorway_max_m
    turn = np.arccos(np.clip(-near.cosine, -1.0, 1.0))
    both = np.hypot(asked.turn_sd[one], asked.turn_sd[other])
    ring = (ends.run[one] == ends.run[other]) & (ends.run_m[one] > RING_TIMES * gap)
    faces = (near.cosine < FACING) | ((near.cosine < 0) & (turn < WITHIN_SDS * both))
    faces |= ring & (near.cosine < RING_FACING)
    ahead = (near.step * ends.along[one]).sum(axis=1)
    back = -(near.step * ends.along[other]).sum(axis=1)
    chi = np.where(ring, 0.0, _chi_in_line(asked, near, turn))
    fits = faces & (np.minimum(ahead, back) > -slip) & (chi < WORST_CHI)
    fits &= gap <= np.where(ends.jamb[one] & ends.jamb[other], door, asked.longest())
    fits &= ~(ends.jamb[one] & ends.jamb[other] & asked.block[one] & asked.block[other])
    k = np.flatnonzero(fits)
    seen = np.minimum(np.minimum(ends.reach[one[k]], ends.reach[other[k]]), SEEN_M)
    jambs = np.where(asked.met[one[k]], ends.jamb[one[k]], True)
    jambs &= np.where(asked.met[other[k]], ends.jamb[other[k]], True) & (gap[k] <= door + slip)
    taken = np.where((gap[k] <= slip) | jambs, TAKEN_NEAR, TAKEN) * near.taken[k]
    wide = (gap[k] > door) & (asked.face[one[k]] | asked.face[other[k]])
    long = np.where(wide, PER_TIME * np.maximum(gap[k] / seen - SHORT_TIMES, 0.0), 0.0)
    cost = asked.between(gap[k]) + 0.5 * chi[k] + taken + long - RING * ring[k]
    ties = _from_the_thinner(asked, one[k], other[k])
    made = made_of_one(IN_LINE, one[k], cost, ties, gap[k])
    return Candidates(**(vars(made) | {"other": other[k], "from_m": near.from_m[k]}))


def _from_the_thinner(asked: Asked, one: Ints, other: Ints) -> Array:
    """Return the ties of pieces between two ends: what is inferred is as thick as the thinner."""
    swap = asked.thick_m[one] > asked.thick_m[other]
    none = np.zeros(len(one))
    first, second = np.where(swap, other, one), np.where(swap, one, other)
    ends = asked.ends
    return np.stack([ends.pick(first).ties(none), ends.pick(second).ties(none)], axis=1)


def _chi_in_line(asked: Asked, near: Pairs, turn: Array) -> Array:
    """Return chi-squared per degree of freedom (two) of two ends being of one straight wall.

    The better known of both gives the line; counted are the other's place off it and its turn.
    """
    ends, one, other = asked.ends, near.one, near.other
    better = asked.turn_sd[one] <= asked.turn_sd[other]
    guide = np.where(better, asked.turn_sd[one], asked.turn_sd[other])
    by_one, by_other = cross(ends.along[one], near.step), cross(ends.along[other], -near.step)
    off = np.where(better, by_one, by_other)
    alike = np.isclose(asked.turn_sd[one], asked.turn_sd[other], rtol=1e-9)
    off = np.where(alike, np.hypot(by_one, by_other) / np.sqrt(2), off)
    spread = asked.sd_m[one] ** 2 + asked.sd_m[other] ** 2 + (near.gap_m * guide) ** 2
    turns = asked.turn_sd[one] ** 2 + asked.turn_sd[other] ** 2 + EXTRA_M**2
    return np.asarray(0.5 * (off**2 / (spread + EXTRA_M**2) + turn**2 / turns))


def corners(asked: Asked, near: Pairs) -> Candidates:
    """Return the corners at which two ends meet when both are carried on."""
    ends = asked.ends
    able = (np.abs(near.sine) > CORNER_SINE) & (near.taken < 2)
    one, other, step = near.one[able], near.other[able], near.step[able]
    sine, cosine = near.sine[able], near.cosine[able]
    s, u = cross(step, ends.along[other]) / sine, cross(step, ends.along[one]) / sine
    over = OVER_SHARE * asked.settings.join_gap_m
    fits = (s > -np.minimum(over, 0.5 * ends.run_m[one])) & (np.maximum(s, u) < asked.longest())
    fits &= u > -np.minimum(over, 0.5 * ends.run_m[other])
    one, other, s, u, cosine = one[fits], other[fits], s[fits], u[fits], cosine[fits]
    sp, up = np.maximum(s, 0.0), np.maximum(u, 0.0)
    turns = asked.turn_sd[one], asked.turn_sd[other]
    aside = (sp * turns[0] / ASIDE_M) ** 2 + (up * turns[1] / ASIDE_M) ** 2
    turned = 2 * skew(np.arcsin(np.minimum(np.abs(cosine), 1.0)), turns[0] + turns[1])
    cost = 0.5 * (asked.carried(sp) + asked.carried(up) + turned + 0.5 * aside)
    cost = cost + TAKEN * near.taken[able][fits]
    cost = cost + 0.5 * (np.minimum(s, 0) ** 2 + np.minimum(u, 0) ** 2) / BEHIND_M**2
    return Candidates(
        kind=np.full(len(one), CORNER),
        one=one,
        other=other,
        cost=cost,
        ties=np.stack(
            [ties_ahead(ends, one, s + AHEAD_M), ties_ahead(ends, other, u + AHEAD_M)], axis=1
        ),
        gap_m=np.stack([sp, up], axis=1),
        from_m=near.from_m[able][fits],
    )


def blocked(asked: Asked, walls: Walls, made: Candidates) -> npt.NDArray[np.bool_]:
    """Tell which candidates between two ends would cross a wall."""
    ends, no = asked.ends, np.zeros(len(made.one), dtype=bool)
    for kind, slack in ((IN_LINE, asked.settings.join_gap_m), (CORNER, CORNER_SLACK_M)):
        chosen = np.flatnonzero(made.kind == kind)
        one, other = made.one[chosen], made.other[chosen]
        place = ends.xy[other]
        if kind == CORNER:
            along = ends.along[other]
            sine = cross(ends.along[one], along)
            s = cross(place - ends.xy[one], along) / sine
            place = ends.xy[one] + ends.along[one] * s[:, None]
        for end in (one, other)[: 1 + (kind == CORNER)]:
            way = np.stack([ends.xy[end], place], axis=1)
            no[chosen] |= crosses(walls, way, ends.stretch[one], ends.stretch[other], slack)
    return no


def crosses(
    walls: Walls, ways: Array, one: Ints, other: Ints, slack_m: float
) -> npt.NDArray[np.bool_]:
    """Tell which ways cross a wall, other than those of two stretches, well between their ends."""
    size, along = lengths_and_ways(ways[:, 1] - ways[:, 0])
    cut = np.minimum(slack_m, 0.3 * size)[:, None] * along
    way, wall = walls.met(np.stack([ways[:, 0] + cut, ways[:, 1] - cut], axis=1))
    hit = (walls.stretch[wall] != one[way]) & (walls.stretch[wall] != other[way])
    blocked = np.zeros(len(ways), dtype=bool)
    blocked[way[hit]] = True
    return blocked
