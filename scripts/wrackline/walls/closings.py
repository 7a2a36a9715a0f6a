"""Closing of broken walls: candidates of all ends, chosen over the whole linework.

The surest are taken first, round by round; what was closed stands as a wall for the next round, so
that a wall led on ends at a doorway closed before it. Recorded lines are never moved, and an end
is used once. A wall that meets nothing at either end is not carried across open ground: it may be
a bench or a pillar.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from wrackline.model import Decision, WallSettings
from wrackline.walls.by_hand import drawn_by_hand
from wrackline.walls.candidates import (
    CORNER,
    FOOT,
    IN_LINE,
    LEAST_REACH_M,
    LONG_M,
    OVER_SHARE,
    PER_METRE,
    PER_METRE_LONG,
    Ahead,
    Asked,
    Candidates,
    Walls,
    ahead_of,
    blocked,
    corners,
    extensions,
    feet,
    first_of,
    foot_on,
    foot_ties,
    hits,
    in_line,
    likely,
    once,
    pairs,
    together,
)
from wrackline.walls.coverage import Coverage, Tracing
from wrackline.walls.decided import Decided, decide
from wrackline.walls.ends import TOUCH_M, Ends, ends_of
from wrackline.walls.linework import (
    DOORWAY,
    DRAWN,
    LOST,
    WHOLE,
    Array,
    Ints,
    Linework,
    Pieces,
    join_pieces,
)
from wrackline.walls.noding import apart
from wrackline.walls.stretches import Stretches, cross, lengths_and_ways
from wrackline.walls.stubs import across_doorways, beside_another, blocks, rivals, stubs

ROUNDS = (1.0, 2.2, 3.5, 6.0)
"""Greatest cost of a closing in each round; dearer ones are not made."""

MOST = ROUNDS[-1]

LOOSE = 9.0
"""Cost of carrying on far what meets a wall at neither end: never."""

BESIDE_SHARE = 0.44
"""An end this share of the joining distance beside a closing, along it, asks no more."""

ALONG_SINE = 0.6
"""An end runs along a closing when they turn by less than 37 degrees."""

CROSSING_SINE = 0.1
TIE_SHARE_FACE = 0.7
"""Faces of one wall lie near each other, so loose ends of faces are tied less far."""

BEND_SHARE = 0.7
"""An end of a curve looks on this share of its last turn less surely (no source)."""

ON_A_SLIP = ("extension", "foot", "joint", "corner")
"""What closings within the joining distance are called, by the kind of candidate."""

SHORTEST_M = 1e-6
NO_ENDS = np.zeros(0, dtype=np.int64)

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Closed:
    """What became of a linework's gaps.

    Attributes
    ----------
    pieces : Pieces
        Closings only; their kinds say how each was had.
    ends : Ends
        The ends that asked for one.
    met : array of bool, shape (n,)
        Whether an end met a wall from the first.
    rivals : array of int, shape (r, 2)
        An end that, led on across more than a slip, leaves another nothing to ask for; that other.
    won : array, shape (n,)
        Cost of the closing that an end was given; infinite where it was given none.
    considered : Candidates
        Every closing that was cheap enough to be made, whether it was or not.
    fixed : array, shape (t, 2, 2)
        Ends of the pieces that were added without a choice [m].
    """

    pieces: Pieces
    ends: Ends
    met: npt.NDArray[np.bool_]
    rivals: Ints
    won: Array
    considered: Candidates
    fixed: Array


@dataclass
class Closings:
    """Closings made so far, a batch a step: ties (k, 2, 3), gap [m] and kind of pieces."""

    ties: list[Array]
    gap_m: list[Array]
    kind: list[npt.NDArray[np.str_]]

    def add(self, ties: Array, gap_m: Array, kind: npt.NDArray[np.str_]) -> None:
        """Add pieces."""
        self.ties.append(ties)
        self.gap_m.append(gap_m)
        self.kind.append(kind)


def places(xy: Array, ties: Array) -> Array:
    """Return the positions that ties (..., 3) of vertex, vertex and share stand for [m]."""
    one, other = ties[..., 0].astype(np.int64), ties[..., 1].astype(np.int64)
    return np.asarray(xy[one] + (xy[other] - xy[one]) * ties[..., 2:3])


def close_gaps(
    work: Linework,
    stretches: Stretches,
    covered: Coverage,
    tracing: Tracing,
    settings: WallSettings,
    decisions: Sequence[Decision] = (),
    beyond: float = 0.0,
) -> Closed:
    """Return the closings of a linework, and what was weighed for them.

    Parameters
    ----------
    work : Linework
    stretches : Stretches
        Its straight stretches.
    covered : Coverage
        The recorded pieces that stand.
    tracing : Tracing
        How well its lines are placed.
    settings : WallSettings
        Joining distance, widest doorway, longest lost stretch [m].
    decisions : sequence of Decision
        What the team decided about closings.
    beyond : float
        By how much dearer closings than those of a round are weighed beside them.

    Returns
    -------
    Closed
    """
    recorded = covered.pieces
    standing = recorded.ends(work.xyz)[:, :, :2]
    walls = Walls(standing, covered.stretch)
    ends = ends_of(work, stretches, covered, tracing)
    pairs_of_faces, (block, small) = stubs(work, stretches, ends), blocks(walls)
    asked = _asked(ends, pairs_of_faces, small[ends.piece], walls, tracing, settings)
    if covered.jamb is not None:
        asked = replace(asked, still=covered.jamb[ends.piece])
    beside = beside_another(walls, block, ends, asked.face, settings.wall_max_thickness_m)
    state = _State(work.xyz[:, :2], recorded, walls, asked, decide(decisions, recorded, standing))
    state.begin(beside)
    for limit in ROUNDS:
        state.go_on(limit, beyond)
    return state.end()


class _State:
    """Closings while they are made, round by round."""

    def __init__(
        self, xy: Array, recorded: Pieces, walls: Walls, asked: Asked, decided: Decided
    ) -> None:
        self.xy, self.recorded, self.decided = xy, recorded, decided
        self.walls, self.asked = walls, asked
        self.made = Closings([], [], [])
        self.links: list[Ints] = []
        self.considered: list[Candidates] = []
        self.won = np.full(len(asked.ends), np.inf)

    def begin(self, beside: npt.NDArray[np.bool_]) -> None:
        """Draw what the team draws, and look for what no closing changes."""
        if len(self.decided.drawn):
            drawn = places(self.xy, self.decided.drawn)
            size = lengths_and_ways(drawn[:, 1] - drawn[:, 0])[0]
            self.made.add(self.decided.drawn, size, _named(DRAWN, drawn))
            self._build(drawn, NO_ENDS)
        self.held = _held(self.asked, self.walls) | beside
        self.pool = _pool(self.asked, self.walls, self.recorded)
        self.first = ahead_of(self.asked, self.walls)

    def go_on(self, limit: float, beyond: float) -> None:
        """Make the closings that cost no more than a limit, and weigh somewhat dearer ones."""
        found = self._weighed(limit + beyond)
        self.considered.append(found)
        chosen = _taken(found.pick(found.cost <= limit), self.asked)
        if not len(chosen.one):
            return
        two = chosen.other >= 0
        used = np.r_[chosen.one, chosen.other[two]]
        self.won[used] = np.r_[chosen.cost, chosen.cost[two]]
        self.links.append(np.stack([chosen.one, chosen.other], axis=1)[two])
        new = _add(self.made, chosen, self.asked.settings)
        self.asked = replace(self.asked, led_on=_led_on(self.asked, chosen))
        self._build(places(self.xy, new), used)
        self.first = ahead_of(self.asked, self.walls, self.first)

    def _weighed(self, dearest: float) -> Candidates:
        """Return the candidates that cost no more than this, and cross no wall."""
        asked, walls = self.asked, self.walls
        found = _candidates(asked, walls, self.recorded, self.pool, self.first, dearest)
        found = replace(found, cost=_cost(found, asked, self.held, self.links))
        if self.decided.decisions:
            found = self.decided.priced(found, places(self.xy, found.ties))
        found = found.pick(found.cost <= dearest)
        return found.pick(~blocked(asked, walls, found))

    def _build(self, new: Array, used: Ints) -> None:
        """Let new closings (k, 2, 2) stand as walls; ends that they use or meet ask no more."""
        self.walls = self.walls.with_closings(new)
        self.asked = replace(self.asked, active=_still_active(self.asked, used, new))

    def end(self) -> Closed:
        """Return what was made, with feet for ends beside walls that nothing joins to them."""
        last = drawn_by_hand(self.decided.waiting, self.recorded, self.xy, self.walls.ends)
        if len(last):
            self._build(last.ends(self.xy), NO_ENDS)
        _tie(self.made, self.asked, self.walls, self.recorded, self.decided)
        made = _as_pieces(self.made, self.xy, self.walls, len(self.recorded))
        fixed = places(self.xy, np.concatenate([self.decided.drawn, self.made.ties[-1]]))
        return Closed(
            pieces=join_pieces([made, last]),
            ends=self.asked.ends,
            met=self.asked.met,
            rivals=self.asked.rivals,
            won=self.won,
            considered=together(self.considered),
            fixed=np.concatenate([fixed, last.ends(self.xy)]),
        )


def _named(kind: str, like: Array) -> npt.NDArray[np.str_]:
    return np.full(len(like), kind, dtype="<U9")


def _asked(
    ends: Ends,
    pairs_of_faces: Ints,
    lone: npt.NDArray[np.bool_],
    walls: Walls,
    tracing: Tracing,
    settings: WallSettings,
) -> Asked:
    sd = tracing.random_m[ends.line]
    turn = np.sqrt(2) * sd / np.maximum(ends.reach, LEAST_REACH_M) + BEND_SHARE * ends.bend
    back = np.minimum(OVER_SHARE * settings.join_gap_m, 0.5 * ends.run_m)
    met = ends.jamb.copy()
    met[hits(walls, ends, back, np.zeros(len(ends)))[0]] = True
    slip = np.minimum(settings.join_gap_m, 0.5 * ends.run_m)
    passed = met.copy()
    free = np.flatnonzero(~met)
    passed[free[hits(walls, ends.pick(free), slip[free], np.zeros(len(free)))[0]]] = True
    return Asked(
        ends=ends,
        active=np.ones(len(ends), dtype=bool),
        met=met,
        passed=passed,
        sd_m=sd,
        turn_sd=turn,
        face=tracing.face[ends.line],
        thick_m=tracing.thick_m[ends.line],
        stubs=pairs_of_faces,
        block=lone,
        still=np.zeros(len(ends), dtype=bool),
        led_on=np.zeros(len(ends), dtype=bool),
        rivals=rivals(ends),
        settings=settings,
    )


def _reach(asked: Asked, limit: float) -> float:
    """Return how far ends look in a round [m]."""
    far = asked.settings.doorway_max_m + limit / PER_METRE
    if far > LONG_M:
        far = LONG_M + (far - LONG_M) * PER_METRE / PER_METRE_LONG
    return min(asked.longest(), far) + asked.settings.join_gap_m


def _pool(asked: Asked, walls: Walls, recorded: Pieces) -> Candidates:
    """Return the candidates that no closing changes, but may block; none dearer than any round."""
    near = pairs(asked, _reach(asked, ROUNDS[-1]))
    made = [feet(asked, walls, recorded), in_line(asked, near), corners(asked, near)]
    return together([some.pick(some.cost <= MOST) for some in made])


def _candidates(
    asked: Asked, walls: Walls, recorded: Pieces, pool: Candidates, first: Ahead, limit: float
) -> Candidates:
    """Return the candidates of a round, those that cross walls included."""
    able = asked.active[pool.one] & (asked.active[pool.other] | (pool.other < 0))
    able &= (pool.from_m <= _reach(asked, limit)) & (pool.cost <= limit)
    across = across_doorways(asked, walls, recorded)
    return together([extensions(asked, first), across, pool.pick(able)])


def _held(asked: Asked, walls: Walls) -> npt.NDArray[np.bool_]:
    """Tell which ends meet a wall, or miss it by no more than the joining distance."""
    ends, slip = asked.ends, asked.settings.join_gap_m
    held = asked.met.copy()
    free = np.flatnonzero(~held)
    end, wall = walls.near(ends.xy[free], slip)
    end = free[end]
    held[end[walls.stretch[wall] != ends.stretch[end]]] = True
    return held


def _cost(found: Candidates, asked: Asked, held: npt.NDArray[np.bool_], links: list[Ints]) -> Array:
    """Return costs; walls that stand loose, and jambs, are never carried on beyond a slip."""
    run = asked.ends.run
    count = int(run.max(initial=-1)) + 1
    joined = run[np.concatenate([*links, np.zeros((0, 2), dtype=np.int64)])]
    graph = sparse.csr_matrix(
        (np.ones(len(joined)), (joined[:, 0], joined[:, 1])), shape=(count, count)
    )
    _, group = connected_components(graph, directed=False)
    firm = np.zeros(count, dtype=bool)
    np.logical_or.at(firm, group[run], held)
    loose = ~firm[group[run]]
    slip = asked.settings.join_gap_m
    far = loose[found.one] & (found.gap_m[:, 0] > slip) & (found.kind != IN_LINE)
    far |= (found.kind == CORNER) & loose[found.other] & (found.gap_m[:, 1] > slip)
    still = asked.still[found.one] | (asked.still[found.other] & (found.other >= 0))
    far |= still & (found.gap_m.sum(axis=1) > slip)
    return np.asarray(found.cost + LOOSE * far)


def _taken(found: Candidates, asked: Asked) -> Candidates:
    """Return the candidates that are made, the cheapest first, each end used once."""
    second = np.where(found.other < 0, found.one, found.other)
    x, y = (asked.ends.xy[found.one] + asked.ends.xy[second]).round(6).T
    far = found.gap_m.max(axis=1).round(6)
    order = np.lexsort([far, y, x, found.kind, found.cost.round(9)])
    free = asked.active.tolist()
    beside: dict[int, list[int]] = {}
    for end, rival in asked.rivals.tolist():
        beside.setdefault(end, []).append(rival)
    ones, others = found.one.tolist(), found.other.tolist()
    wide = (found.gap_m.sum(axis=1) > asked.settings.join_gap_m).tolist()
    chosen = []
    for k in order.tolist():
        one, other = ones[k], others[k]
        if free[one] and (other < 0 or free[other]):
            free[one] = False
            if other >= 0:
                free[other] = False
            for end in (one, other) if wide[k] else ():
                for rival in beside.get(end, ()):
                    free[rival] = False
            chosen.append(k)
    return found.pick(np.array(chosen, dtype=np.int64))


def _add(made: Closings, chosen: Candidates, settings: WallSettings) -> Array:
    """Add what was chosen to the closings made; return the ties of its pieces, shape (k, 2, 3)."""
    gap = chosen.gap_m
    whole = gap.sum(axis=1)
    for k in range(2):
        has = (chosen.kind == CORNER) | (k == 0)
        kind = _kinds(chosen.kind[has], gap[has, k], settings)
        made.add(chosen.ties[has, k], whole[has], kind)
    return np.concatenate(made.ties[-2:])


def _kinds(kind: Ints, gap_m: Array, settings: WallSettings) -> npt.NDArray[np.str_]:
    slip = np.array(ON_A_SLIP)[kind]
    wide = np.where(gap_m <= settings.doorway_max_m, DOORWAY, LOST)
    return np.where((gap_m <= settings.join_gap_m) | (kind == FOOT), slip, wide).astype("<U9")


def _led_on(asked: Asked, chosen: Candidates) -> npt.NDArray[np.bool_]:
    """Tell which ends have been led on across more than a slip."""
    led_on = asked.led_on.copy()
    wide = chosen.gap_m.sum(axis=1) > asked.settings.join_gap_m
    led_on[chosen.one[wide]] = True
    led_on[chosen.other[wide & (chosen.other >= 0)]] = True
    return led_on


def _still_active(asked: Asked, used: Ints, new: Array) -> npt.NDArray[np.bool_]:
    """Tell which ends may still be used: not used, nor met or accompanied by new closings."""
    active = asked.active.copy()
    active[used] = False
    active[asked.rivals[asked.led_on[asked.rivals[:, 0]], 1]] = False
    free = np.flatnonzero(active & ~asked.met)
    active[free[accompanied(asked.ends.pick(free), new, asked.settings.join_gap_m)[0]]] = False
    return active


def accompanied(ends: Ends, new: Array, slip_m: float) -> tuple[Ints, Ints]:
    """Return which ends are met or accompanied by which new closings: end, closing."""
    back = np.minimum(OVER_SHARE * slip_m, 0.5 * ends.run_m)[:, None] * ends.along
    tree = shapely.STRtree(shapely.linestrings(new))
    stubs = shapely.linestrings(np.stack([ends.xy, ends.xy - back], axis=1))
    met, by = tree.query(stubs, predicate="intersects")
    end, wall = tree.query(
        shapely.points(ends.xy), predicate="dwithin", distance=BESIDE_SHARE * slip_m
    )
    along = lengths_and_ways(new[wall, 1] - new[wall, 0])[1]
    beside = np.abs(cross(ends.along[end], along)) < ALONG_SINE
    step = new[wall] - ends.xy[end, None]
    beside &= (step * ends.along[end, None]).sum(axis=2).max(axis=1) > TOUCH_M
    return np.r_[met, end[beside]], np.r_[by, wall[beside]]


def _tie(made: Closings, asked: Asked, walls: Walls, recorded: Pieces, decided: Decided) -> None:
    """Add feet from ends to recorded walls beside them that nothing joins to them nearby."""
    ends, slip = asked.ends, asked.settings.join_gap_m
    own = np.flatnonzero(~ends.jamb & ~(asked.met & asked.face))
    end, wall = walls.recorded().near(ends.xy[own], slip)
    end = own[end]
    piece = ends.piece[end]
    share, away = foot_on(walls, wall, ends.xy[end])
    reach = np.where(asked.face[end], TIE_SHARE_FACE, 1.0) * slip
    chosen = (piece != wall) & (away > TOUCH_M) & (away <= reach)
    end, wall, piece, share, away = (x[chosen] for x in (end, wall, piece, share, away))
    alone = ~_joined_nearby(walls, piece, wall)
    end, wall, share, away = end[alone], wall[alone], share[alone], away[alone]
    first = first_of(end, away)
    ties = foot_ties(ends, end[first], recorded, wall[first], share[first])
    start, run = walls.ends[wall[first], 0], np.diff(walls.ends[wall[first]], axis=1)[:, 0]
    feet = start + run * share[first][:, None]
    kept = decided.allowed(np.stack([ends.xy[end[first]], feet], axis=1), away[first])
    made.add(ties[kept], away[first][kept], _named("foot", ties[kept]))


def _joined_nearby(walls: Walls, one: Ints, other: Ints) -> npt.NDArray[np.bool_]:
    """Tell which pairs of pieces touch, or are joined by way of one or two others."""
    asked = np.union1d(one, other)
    a, b = _touching(walls, asked)
    c, d = _touching(walls, np.setdiff1d(b, asked))
    size = (len(walls.ends), len(walls.ends))
    at = np.concatenate([a, c]), np.concatenate([b, d])
    touch = sparse.csr_matrix((np.ones(len(at[0]), dtype=np.int32), at), shape=size)
    steps = touch[one] @ touch
    ways = np.asarray(steps.multiply(touch[other]).sum(axis=1)).ravel()
    return ways > 0


def _touching(walls: Walls, chosen: Ints) -> tuple[Ints, Ints]:
    """Return the walls that touch chosen ones: chosen wall, wall."""
    ends = walls.ends[chosen]
    box = ends.min(axis=1) - TOUCH_M, ends.max(axis=1) + TOUCH_M
    a, b = walls.met(np.stack(box, axis=1), None)
    near = apart(ends[a], walls.ends[b]) <= TOUCH_M
    return chosen[a[near]], b[near]


def _as_pieces(made: Closings, xy: Array, walls: Walls, recorded: int) -> Pieces:
    """Return closings as pieces, cut off where they were drawn on for nothing."""
    empty = np.zeros((0, 2, 3))
    ties = np.concatenate([empty, *made.ties])
    gap = np.concatenate([np.zeros(0), *made.gap_m])
    kind = np.concatenate([np.zeros(0, dtype="<U9"), *made.kind])
    ties = _cut_off(ties, xy, walls, recorded)
    return _tied(ties, xy, kind, gap)


def weighed(
    closed: Closed, xy: Array, settings: WallSettings, margin: float
) -> tuple[Pieces, Flags]:
    """Return what was weighed and not made, and which of it lies in the gap between two ends.

    Slips are left out, as whether one is closed parts no wall from open ground; so are those of
    ends whose rivals were led on.

    Parameters
    ----------
    closed : Closed
    xy : array, shape (n, 2)
        Vertices [m].
    settings : WallSettings
        Joining distance, widest doorway [m].
    margin : float
        What is dearer by more than what either of its ends was given is left out.
    """
    found = likely(once(closed.considered), closed.won, margin)
    won = np.append(closed.won, np.inf)
    made = found.cost == won[found.one]
    made &= (found.other < 0) | (found.cost == won[found.other])
    used = found.pick(made & (found.gap_m.sum(axis=1) > settings.join_gap_m))
    leads = np.isin(closed.rivals[:, 0], np.r_[used.one, used.other])
    silent = np.append(np.isin(np.arange(len(closed.ends)), closed.rivals[leads, 1]), False)
    found = found.pick(~made & ~silent[found.one] & ~silent[found.other])
    corner = np.flatnonzero(found.kind == CORNER)
    of = np.r_[np.arange(len(found.kind)), corner]
    part = np.r_[np.zeros(len(found.kind), dtype=np.int64), np.ones(len(corner), dtype=np.int64)]
    kind = _kinds(found.kind[of], found.gap_m[of, part], settings)
    ties, gap = found.ties[of, part], found.gap_m[of].sum(axis=1)
    size = lengths_and_ways(np.diff(places(xy, ties), axis=1)[:, 0])[0]
    wide = size > settings.join_gap_m
    return _tied(ties[wide], xy, kind[wide], gap[wide]), (found.kind[of] == IN_LINE)[wide]


def _tied(ties: Array, xy: Array, kind: npt.NDArray[np.str_], gap: Array) -> Pieces:
    """Return ties as pieces, those without a length left out."""
    long = lengths_and_ways(np.diff(places(xy, ties), axis=1)[:, 0])[0] > SHORTEST_M
    ties = ties[long]
    at_near, at_far = ties[:, :, 2] == 1.0, ties[:, :, 2] == 0.0
    ties[at_near, 0] = ties[at_near, 1]
    ties[at_far, 1] = ties[at_far, 0]
    ties[at_near, 2] = 0.0
    return Pieces(
        vertices=ties[:, :, :2].astype(np.int64),
        share=ties[:, :, 2],
        line=np.full(len(ties), -1, dtype=np.int64),
        kind=kind[long].astype("<U9"),
        gap_m=gap[long],
        span=np.tile(WHOLE, (len(ties), 1)),
    )


def _cut_off(ties: Array, xy: Array, walls: Walls, recorded: int) -> Array:
    """Return ties, pieces that carry an end on led to the last wall they meet, no further."""
    on = np.flatnonzero((ties[:, 0, 0] == ties[:, 1, 0]) & (ties[:, 0, 1] == ties[:, 1, 1]))
    ends = places(xy, ties[on])
    size, along = lengths_and_ways(ends[:, 1] - ends[:, 0])
    piece, wall = walls.met(ends)
    other = wall != recorded + on[piece]
    piece, wall = piece[other], wall[other]
    start = walls.ends[wall, 0] - ends[piece, 0]
    run = lengths_and_ways(walls.ends[wall, 1] - walls.ends[wall, 0])[1]
    sine = cross(along[piece], run)
    crossing = np.abs(sine) > CROSSING_SINE
    ahead = np.where(crossing, cross(start, run) / np.where(crossing, sine, 1.0), 0.0)
    last = np.zeros(len(on))
    np.maximum.at(last, piece, np.clip(ahead, 0.0, size[piece]))
    met = last > TOUCH_M
    share = np.where(met, last / size, 1.0)
    cut = ties.copy()
    cut[on, 1, 2] = ties[on, 0, 2] + (ties[on, 1, 2] - ties[on, 0, 2]) * share
    return cut
