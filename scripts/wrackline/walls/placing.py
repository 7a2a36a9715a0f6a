"""Where a wall that was traced several times lies: the weighted mean of its tracings.

Every vertex of a standing line is moved across its stretch to the weighted mean of where the
tracings pass it, the weights inverse total variances across the line, without what is common to all
of them. Ends keep their place along the wall; a corner is moved by both of its stretches. Every
placed vertex is then a sum over surveyed vertices of several lines, which `Moved` keeps.

Heights of tops are averaged within the newest season that took any there, and that season stands
alone: a wall loses stones between seasons, and what agrees may have changed all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from wrackline.uncertainty import ErrorModel, NamedError
from wrackline.walls.beside import Beside, Every
from wrackline.walls.linework import Array, Ints
from wrackline.walls.moved import Traits
from wrackline.walls.repeats import REPEAT_SDS
from wrackline.walls.stretches import CURVE_DEG, Stretches, cross, dot

Bools = npt.NDArray[np.bool_]

WINDOW_M = 0.3
"""Where a tracing's vertices lie closer, its place is read between some at least this far apart."""

LEAVES_M = 0.01
"""A curve is followed beyond a tracing's end as far as its chord leaves it by this (no source)."""

SLIP_M = 0.3
"""Heights count no further beyond a tracing's end (no source)."""

LEAST_SD_M = 1e-5
"""No tracing is weighted as if better than this."""


@dataclass(frozen=True)
class Ties:
    """What tracings say of vertices: one row a vertex, a stretch that it is on, and a tracing.

    Attributes
    ----------
    pair : array of int, shape (n,)
        Place in the pairs of `Beside`.
    vertex, slot : array of int, shape (n,)
        Vertex of the standing line; its number together with the stretch that it is on.
    before, after : array of int, shape (n,)
        Vertices of the tracing between which its place is read.
    share : array, shape (n,)
        Where between them: 0 to 1, or beyond.
    beyond_m : array, shape (n,)
        How far beyond the tracing's stretch [m].
    across : array, shape (n, 2)
        Change of the offset per metre by which the tracing's place moves.
    off_m : array, shape (n,)
        How far the tracing, brought together, lies to the left of the vertex; NaN if not known [m].
    """

    pair: Ints
    vertex: Ints
    slot: Ints
    before: Ints
    after: Ints
    share: Array
    beyond_m: Array
    across: Array
    off_m: Array

    def pick(self, chosen: Bools | Ints) -> Ties:
        """Return the same with the chosen rows only."""
        return Ties(*(values[chosen] for values in vars(self).values()))


@dataclass(frozen=True)
class Slots:
    """Vertices of standing lines with each stretch that they are on.

    Attributes
    ----------
    vertex, stretch : array of int, shape (s,)
    start : array of int, shape (stretches,)
        First slot of each stretch.
    way : array, shape (s, 2)
        How a vertex moves per metre by which its stretch is moved to the left.
    alone : array of bool, shape (s,)
        Whether the vertex turns no corner, so that its stretches share what it is moved by.
    """

    vertex: Ints
    stretch: Ints
    start: Ints
    way: Array
    alone: Bools


def ties_of(every: Every, pairs: Beside, slots: Slots) -> Ties:
    """Return what tracings say of the vertices of the stretches that they run along."""
    stretches, xy = every.stretches, every.work.xyz[:, :2]
    count = (stretches.last - stretches.first + 1)[pairs.wall]
    pair = np.repeat(np.arange(len(pairs.wall)), count)
    place = np.arange(len(pair)) - np.repeat(np.cumsum(count) - count, count)
    p, q = pairs.stretch[pair], pairs.wall[pair]
    slot = slots.start[q] + place
    vertex = slots.vertex[slot]
    along = stretches.along[q]
    left = np.stack([-along[:, 1], along[:, 0]], axis=1)
    turn = dot(along, stretches.along[p])
    at = dot(along, xy[vertex] - xy[stretches.first[p]]) / turn
    before, after = _window(stretches, xy, p, at)
    start, step = xy[before] - xy[vertex], xy[after] - xy[before]
    run = dot(along, step)
    run = np.where(np.abs(run) < 1e-6, np.nan, run)
    share = -dot(along, start) / run
    slope = dot(left, step) / run
    off = dot(left, start) + share * dot(left, step) - pairs.expected_m[pair]
    beyond = np.maximum(np.maximum(-at, at - stretches.length[p]), 0.0)
    ties = Ties(
        pair=pair,
        vertex=vertex,
        slot=slot,
        before=before,
        after=after,
        share=share,
        beyond_m=beyond,
        across=left - slope[:, None] * along,
        off_m=off,
    )
    return ties.pick(np.isfinite(share) & (beyond <= _reaching(stretches, p)))


def _window(stretches: Stretches, xy: Array, stretch: Ints, at: Array) -> tuple[Ints, Ints]:
    """Return the vertices of stretches between which a place some way along is read.

    Beyond a stretch these are its ends.
    """
    first, last = stretches.first, stretches.last
    count = last - first + 1
    begin = np.cumsum(count) - count
    of = np.repeat(np.arange(len(first)), count)
    vertex = first[of] + np.arange(len(of)) - begin[of]
    along = dot(stretches.along[of], xy[vertex] - xy[first[of]])
    band = 2 * float(stretches.length.max(initial=0.0)) + 4 * WINDOW_M
    keys = np.maximum.accumulate(np.clip(along, 0.0, stretches.length[of]) + band * of)
    start, stop = begin[stretch], begin[stretch] + count[stretch] - 1
    low = np.searchsorted(keys, at + band * stretch, side="right") - 1
    low = np.clip(low, start, stop - 1)
    high = np.clip(np.searchsorted(keys, keys[low] + WINDOW_M), low + 1, stop)
    back = np.searchsorted(keys, keys[high] - WINDOW_M, side="right") - 1
    low = np.where(keys[high] - keys[low] < WINDOW_M, np.clip(back, start, low), low)
    beyond = (at < 0) | (at > stretches.length[stretch])
    return vertex[np.where(beyond, start, low)], vertex[np.where(beyond, stop, high)]


def _reaching(stretches: Stretches, stretch: Ints) -> Array:
    """Return how far beyond a tracing's stretch it still tells where its wall lies [m].

    As far as it is long; where it is part of a curve, as far as that leaves it by a little: the
    chord of an arc turns from the arc's end by half of what it turns from the next chord.
    """
    bend = np.maximum(stretches.bend(stretch, -1), stretches.bend(stretch, 1))
    return np.minimum(2 * LEAVES_M / np.maximum(bend, 1e-9), stretches.length[stretch])


def slots_of(every: Every) -> Slots:
    """Return the slots of all standing lines, and how each moves its vertex."""
    stretches, xy = every.stretches, every.work.xyz[:, :2]
    mine = stretches.line < every.standing
    count = np.where(mine, stretches.last - stretches.first + 1, 0)
    start = np.cumsum(count) - count
    stretch = np.repeat(np.arange(len(count)), count)
    vertex = stretches.first[stretch] + np.arange(len(stretch)) - start[stretch]
    closes = _closes(every, xy)
    vertex = np.where(closes[vertex] >= 0, closes[vertex], vertex)
    along = stretches.along[stretch]
    left = np.stack([-along[:, 1], along[:, 0]], axis=1)
    order = np.argsort(vertex, kind="stable")
    two = np.flatnonzero(np.diff(vertex[order]) == 0)
    other = np.full(len(vertex), -1)
    other[order[two]], other[order[two + 1]] = order[two + 1], order[two]
    sine, cosine = cross(along, along[other]), dot(along, along[other])
    corner = (other >= 0) & (np.abs(np.arctan2(sine, cosine)) > np.radians(CURVE_DEG))
    corner &= np.abs(sine) > np.sin(np.radians(CURVE_DEG))
    safe = np.where(corner, sine, 1.0)
    slide = along[other] / safe[:, None]
    mean = left + np.where(((other >= 0) & ~corner)[:, None], left[other], 0.0)
    size = np.hypot(mean[:, 0], mean[:, 1])
    mean = np.where(size[:, None] > 1e-6, mean / np.maximum(size, 1e-6)[:, None], left)
    return Slots(vertex, stretch, start, np.where(corner[:, None], slide, mean), ~corner)


def _closes(every: Every, xy: Array) -> Ints:
    """Return, for the last vertex of each closed line, its first; -1 for all others."""
    line = every.work.line
    first = np.flatnonzero(np.diff(line, prepend=-1))
    last = np.r_[first[1:] - 1, len(line) - 1] if len(line) else first
    ring = (xy[first] == xy[last]).all(axis=1)
    closes = np.full(len(line), -1)
    closes[last[ring]] = first[ring]
    return closes


@dataclass(frozen=True)
class Again:
    """Walls that were traced again: everything that their places are worked out from.

    Attributes
    ----------
    every : Every
    pairs : Beside
        Where tracings run along standing stretches.
    side : array of int, shape (stretches,)
        On which side of each stretch of a face its wall lies: +1 left, -1 right, 0 not known.
    models : sequence of ErrorModel
        Errors of the surveys, in the order of `Tracing.survey`.
    traits : Traits
    """

    every: Every
    pairs: Beside
    side: Ints
    models: Sequence[ErrorModel]
    traits: Traits

    @property
    def traced(self) -> Ints:
        """Line of each pair's tracing."""
        return self.every.stretches.line[self.pairs.stretch]

    @property
    def wall(self) -> Ints:
        """Line of each pair's wall."""
        return self.every.stretches.line[self.pairs.wall]

    @property
    def reach_m(self) -> Array:
        """How far apart errors explain each pair to lie [m]."""
        whole = self.every.tracing.whole_m
        return np.asarray(REPEAT_SDS * np.hypot(whole[self.traced], whole[self.wall]))

    def expected_by(self) -> list[tuple[Ints, Array]]:
        """Return the traits that each pair's `expected_m` rests on: the source, and its effect."""
        tracing, one, wall = self.every.tracing, self.traced, self.wall
        first = len(self.every.work.xyz)
        both = tracing.face[one] & tracing.face[wall]
        unlike = tracing.face[one] != tracing.face[wall]
        centre, face = np.where(tracing.face[one], [wall, one], [one, wall])
        way = np.where(unlike, np.sign(self.pairs.off_m.mean(axis=1)), 0.0)
        beside = np.where(both, self.side[self.pairs.wall], 0.0)
        return [
            (first + self.traits.thickness[centre], way),
            (first + self.traits.pole[np.where(unlike, face, wall)], way + beside),
            (first + self.traits.pole[one], -beside),
        ]


@dataclass(frozen=True)
class Placed:
    """Where the vertices of standing lines lie, and what they rest on.

    Attributes
    ----------
    xyz : array, shape (n, 3)
        Placed vertices [m].
    share : sparse matrix, shape (3 n, 3 (v + h))
        Their motion per motion of all surveyed vertices, then of all traits.
    weight : array, shape (pairs,)
        Mean share of each pair's tracing in the place of the stretch that it runs along.
    """

    xyz: Array
    share: sparse.csr_matrix
    weight: Array

    def shift(self, every: Every) -> Array:
        """Return by how much vertices were moved, shape (3 n,); 0 where heights are not known."""
        return np.nan_to_num(self.xyz - every.work.xyz[: len(self.xyz)]).ravel()


def placed(again: Again, agrees: Bools) -> Placed:
    """Return the placed vertices of standing lines.

    Parameters
    ----------
    again : Again
    agrees : array of bool, shape (pairs,)
        Whether the tracing agrees with the wall; those that don't have no share in its place.
    """
    if not len(again.pairs.wall):
        return _as_traced(again)
    slots = slots_of(again.every)
    ties = ties_of(again.every, again.pairs, slots)
    ties = ties.pick((agrees & ~again.every.old[again.traced])[ties.pair])
    near = np.abs(ties.off_m) <= again.reach_m[ties.pair]
    plane = _once(again, ties.pick(near))
    share = _plane_shares(again, plane, slots)
    level = _levels(again, ties)
    height = _height_shares(again, level)
    entries = [*_across(again, plane, slots, share), *_upright(again, level, height)]
    lead = _leads(again.every, np.r_[plane.vertex, level.vertex])
    return Placed(
        xyz=_moved(again, (plane, slots, share), (level, height))[lead],
        share=_matrix(again, entries)[(3 * lead[:, None] + np.arange(3)).ravel()],
        weight=_mean_by(plane.pair, share, len(again.traced)),
    )


def _as_traced(again: Again) -> Placed:
    """Return every vertex where its own survey has it."""
    return Placed(again.every.work.xyz[: _count(again.every)], _matrix(again, []), np.zeros(0))


def _mean_by(group: Ints, values: Array, count: int) -> Array:
    """Return the mean of values by group, 0 where there are none."""
    sums, sizes = (np.bincount(group, weights=w, minlength=count) for w in (values, None))
    return np.asarray(sums / np.maximum(sizes, 1))


def _once(again: Again, ties: Ties) -> Ties:
    """Return ties with each survey's tracing of a face once: the one that reaches least beyond."""
    survey = again.every.tracing.survey[again.traced[ties.pair]]
    face = np.sign(np.nan_to_num(again.pairs.expected_m[ties.pair])).astype(np.int64)
    middle = np.abs(ties.share - 0.5)
    place = again.every.work.xyz[ties.before]
    keys = [place[:, 1], place[:, 0], middle, ties.beyond_m, face, survey, ties.slot]
    order = np.lexsort(keys)
    same = [
        np.diff(key[order], prepend=key[order][:1] - 1) == 0 for key in (face, survey, ties.slot)
    ]
    return ties.pick(order[~np.logical_and.reduce(same)])


def shares(
    group: Ints, survey: Ints, random: Array, xyz: Array, way: Array, models: Sequence[ErrorModel]
) -> Array:
    """Return the shares of measurements in their groups' weighted means, shape (n,).

    Weights are inverse total variances along a direction, without what is common to a group.

    Parameters
    ----------
    group : array of int, shape (n,)
    survey : array of int, shape (n,)
        Index into `models`.
    random : array, shape (n,)
        Factor on the variance of what is random from point to point.
    xyz : array, shape (n, 3)
        Places [m].
    way : array, shape (n, 3)
        Unit vectors along which is measured.
    models : sequence of ErrorModel

    Examples
    --------
    Two surveys of 0.03 and 0.06 m at random, on one benchmark that is known to 0.5 m:

    >>> from wrackline.uncertainty import NamedError
    >>> mark = (NamedError("mark", "easting", 0.5),)
    >>> models = [ErrorModel(str(sd), sd, sd, named=mark) for sd in (0.03, 0.06)]
    >>> east = np.tile([1.0, 0, 0], (2, 1))
    >>> shares(np.zeros(2, int), np.arange(2), np.ones(2), east, east, models).round(6).tolist()
    [0.8, 0.2]
    """
    variance = np.zeros(len(group))
    size = np.bincount(group)
    up, order = way[:, 2] != 0, np.argsort(survey, kind="stable")
    bounds = np.searchsorted(survey[order], np.arange(len(models) + 1))
    rows = [order[slice(*bounds[k : k + 2])] for k in range(len(models))]
    holding: dict[str, list[tuple[Ints, NamedError]]] = {}
    for model, mine in zip(models, rows, strict=True):
        own = np.where(up[mine], model.random_vertical, model.random_horizontal)
        patchy = np.where(up[mine], model.patchy_vertical, model.patchy_horizontal)
        variance[mine] = random[mine] * own**2 + patchy**2
        for part in model.named:
            holding.setdefault(part.name, []).append((mine, part))
    for parts in holding.values():
        there = np.concatenate([mine for mine, _ in parts])
        places, ways = np.nan_to_num(xyz[there]), way[there]
        cut = np.cumsum([len(mine) for mine, _ in parts])[:-1]
        moved = [
            part.displacement(p) for (_, part), p in zip(parts, np.split(places, cut), strict=True)
        ]
        effect = (np.concatenate(moved) * ways).sum(axis=1)
        common = np.bincount(group[there], minlength=len(size))[group[there]] == size[group[there]]
        variance[there] += np.where(common, 0.0, effect**2)
    weight = 1 / np.maximum(variance, LEAST_SD_M**2)
    return np.asarray(weight / np.bincount(group, weights=weight)[group])


def _plane_shares(again: Again, ties: Ties, slots: Slots) -> Array:
    """Return each tie's share in where its stretch lies at its vertex."""
    every, survey = again.every, again.every.tracing.survey
    slot, at = np.unique(ties.slot, return_inverse=True)
    vertex = slots.vertex[slot]
    along = every.stretches.along[slots.stretch[slot]]
    left = np.column_stack([-along[:, 1], along[:, 0], np.zeros(len(slot))])
    random = (1 - ties.share) ** 2 + ties.share**2
    found = shares(
        np.r_[np.arange(len(slot)), at],
        np.r_[survey[every.work.line[vertex]], survey[again.traced[ties.pair]]],
        np.r_[np.ones(len(slot)), random],
        every.work.xyz[np.r_[vertex, vertex[at]]],
        np.vstack([left, left[at]]),
        again.models,
    )
    return found[len(slot) :]


def _ways(ties: Ties, slots: Slots, share: Array) -> Array:
    """Return how each tie's vertex moves per metre of the tie's offset, shape (n, 2)."""
    slot = np.unique(ties.slot)
    count = np.bincount(slots.vertex[slot], minlength=int(slots.vertex.max(initial=0)) + 1)
    several = np.where(slots.alone[ties.slot], count[ties.vertex], 1)
    return np.asarray(slots.way[ties.slot] * (share / several)[:, None])


Entry = tuple[Ints, int, Ints, int, Array]
"""Change of some vertices' coordinate by motion of some sources' coordinate."""


def _across(again: Again, ties: Ties, slots: Slots, share: Array) -> list[Entry]:
    """Return what moves vertices across their stretches."""
    way, across = _ways(ties, slots, share), ties.across
    causes = again.expected_by()
    entries: list[Entry] = []
    for axis in range(2):
        for of in range(2):
            each = way[:, axis] * across[:, of]
            entries.append((ties.vertex, axis, ties.after, of, each * ties.share))
            entries.append((ties.vertex, axis, ties.before, of, each * (1 - ties.share)))
            entries.append((ties.vertex, axis, ties.vertex, of, -each))
        for trait, part in causes:
            known = part[ties.pair] != 0
            values = -way[known, axis] * part[ties.pair[known]]
            entries.append((ties.vertex[known], axis, trait[ties.pair[known]], 0, values))
    return entries


def _levels(again: Again, ties: Ties) -> Ties:
    """Return what tells the heights of vertices: each survey once, of the newest season alone."""
    every = again.every
    z, part = every.work.xyz[:, 2], every.tracing.levels.part
    survey = every.tracing.survey[again.traced[ties.pair]]
    known = np.isfinite(z[ties.before]) & np.isfinite(z[ties.after]) & (ties.beyond_m <= SLIP_M)
    known &= (part[again.traced] == part[again.wall])[ties.pair]
    ties, survey = ties.pick(known), survey[known]
    order = np.lexsort(
        [z[ties.before], np.abs(ties.share - 0.5), ties.beyond_m, survey, ties.vertex]
    )
    one = np.column_stack([ties.vertex, survey])[order]
    first = np.any(np.diff(one, axis=0, prepend=one[:1] - 1) != 0, axis=1)
    ties = ties.pick(order[first])
    season = _seasons(every)
    own = np.where(np.isfinite(z), season[every.work.line], -1)
    newest = own.copy()
    np.maximum.at(newest, ties.vertex, season[again.traced[ties.pair]])
    return ties.pick(season[again.traced[ties.pair]] == newest[ties.vertex])


def _seasons(every: Every) -> Ints:
    """Return the place of each line's season among all, the earliest first."""
    return np.unique(every.work.lines["season"].to_numpy(str), return_inverse=True)[1]


def _height_shares(again: Again, ties: Ties) -> Array:
    """Return each tie's share in the height of its vertex; the vertex's own has the rest."""
    every, survey = again.every, again.every.tracing.survey
    vertex, at = np.unique(ties.vertex, return_inverse=True)
    season, line = _seasons(every), every.work.line[vertex]
    newest = np.full(len(vertex), -1)
    np.maximum.at(newest, at, season[again.traced[ties.pair]])
    counts = np.isfinite(every.work.xyz[vertex, 2]) & (season[line] == newest)
    own = np.flatnonzero(counts)
    share = np.clip(ties.share, 0.0, 1.0)
    found = shares(
        np.r_[own, at],
        np.r_[survey[line[own]], survey[again.traced[ties.pair]]],
        np.r_[np.ones(len(own)), (1 - share) ** 2 + share**2],
        every.work.xyz[np.r_[vertex[own], ties.vertex]],
        np.tile([0.0, 0.0, 1.0], (len(own) + len(at), 1)),
        again.models,
    )
    return found[len(own) :]


def _upright(again: Again, ties: Ties, share: Array) -> list[Entry]:
    """Return what moves the heights of vertices.

    A tracing's height slides along it as the vertex goes on, or the tracing is pulled along.
    """
    xyz, at = again.every.work.xyz, np.clip(ties.share, 0.0, 1.0)
    step = xyz[ties.after] - xyz[ties.before]
    size = np.hypot(step[:, 0], step[:, 1])
    entries: list[Entry] = [
        (ties.vertex, 2, ties.vertex, 2, -share),
        (ties.vertex, 2, ties.after, 2, share * at),
        (ties.vertex, 2, ties.before, 2, share * (1 - at)),
    ]
    for of in range(2):
        slide = share * step[:, 2] / size * step[:, of] / size
        entries.append((ties.vertex, 2, ties.vertex, of, slide))
        entries.append((ties.vertex, 2, ties.after, of, -slide * at))
        entries.append((ties.vertex, 2, ties.before, of, -slide * (1 - at)))
    return entries


def _moved(again: Again, plane: tuple[Ties, Slots, Array], upright: tuple[Ties, Array]) -> Array:
    """Return the placed vertices [m]."""
    every = again.every
    ties, slots, share = plane
    xyz = every.work.xyz.copy()
    np.add.at(xyz[:, :2], ties.vertex, _ways(ties, slots, share) * ties.off_m[:, None])
    ties, share = upright
    at = np.clip(ties.share, 0.0, 1.0)
    z = every.work.xyz[:, 2]
    total = np.bincount(ties.vertex, weights=share, minlength=len(xyz))
    there = np.where(total > 1 - 1e-9, 0.0, (1 - total) * z)
    np.add.at(there, ties.vertex, share * ((1 - at) * z[ties.before] + at * z[ties.after]))
    xyz[:, 2] = np.where(total > 0, there, z)
    return np.asarray(xyz[: _count(every)])


def _leads(every: Every, moved: Ints) -> Ints:
    """Return the vertex that each of the standing lines' takes its place from: mostly itself.

    The last of a closed line that is moved takes it from the first.
    """
    lead = np.arange(_count(every))
    closes = _closes(every, every.work.xyz[:, :2])[: len(lead)]
    last = np.flatnonzero(np.isin(closes, moved) & (closes >= 0))
    lead[last] = closes[last]
    return lead


def _count(every: Every) -> int:
    """Return the number of vertices of standing lines."""
    return int(np.searchsorted(every.work.line, every.standing))


def _matrix(again: Again, entries: Sequence[Entry]) -> sparse.csr_matrix:
    """Return the motion of placed vertices from its entries, see `Placed.share`."""
    count, sources = _count(again.every), len(again.every.work.xyz) + len(again.traits.sd_m)
    shape, none = (3 * count, 3 * sources), np.zeros(0, dtype=np.int64)
    rows = np.concatenate([none, *(3 * row + axis for row, axis, *_ in entries)])
    columns = np.concatenate([none, *(3 * column + of for _, _, column, of, _ in entries)])
    values = np.concatenate([none.astype(float), *(entry[4] for entry in entries)])
    shift = sparse.csr_matrix((values, (rows, columns)), shape=shape)
    return sparse.csr_matrix(shift + sparse.eye(*shape, format="csr"))
