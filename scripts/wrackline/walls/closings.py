"""Closing of broken walls: candidates of all ends, chosen over the whole linework.

The surest are taken first, round by round; what was closed stands as a wall for the next round, so
that a wall led on ends at a doorway closed before it. Recorded lines are never moved, and an end
is used once. A wall that meets nothing at either end is not carried across open ground: it may be
a bench or a pillar.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from wrackline.model import WallSettings
from wrackline.walls.candidates import (
    CORNER,
    FOOT,
    IN_LINE,
    LEAST_REACH_M,
    OVER_SHARE,
    PER_METRE,
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
    pairs,
    together,
)
from wrackline.walls.coverage import Coverage, Tracing
from wrackline.walls.ends import TOUCH_M, Ends, ends_of
from wrackline.walls.linework import DOORWAY, LOST, Array, Ints, Linework, Pieces
from wrackline.walls.noding import apart
from wrackline.walls.stretches import Stretches, cross, lengths_and_ways

NODE_M = 0.001
"""Grid to which crossings are snapped; a tenth of the best survey's sd changes nothing."""

ROUNDS = (1.0, 2.2, 3.5, 6.0)
"""Greatest cost of a closing in each round; dearer ones are not made."""

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
) -> Pieces:
    """Return the closings of a linework.

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

    Returns
    -------
    Pieces
        Closings only; their kinds say how each was had.
    """
    xy = work.xyz[:, :2]
    recorded = covered.pieces
    walls = Walls(recorded.ends(work.xyz)[:, :, :2], covered.stretch)
    asked = _asked(ends_of(work, stretches, covered, tracing), walls, tracing, settings)
    made = Closings([], [], [])
    links: list[Ints] = []
    held = _held(asked, walls)
    pool, first = _pool(asked, walls, recorded), ahead_of(asked, walls)
    for limit in ROUNDS:
        found = _candidates(asked, pool, first, limit)
        found = found.pick(_cost(found, asked, held, links) <= limit)
        found = found.pick(~blocked(asked, walls, found))
        chosen = _taken(found, asked)
        if not len(chosen.one):
            continue
        links.append(np.stack([chosen.one, chosen.other], axis=1)[chosen.other >= 0])
        new = _add(made, chosen, settings)
        walls = walls.with_closings(places(xy, new))
        asked = replace(asked, active=_still_active(asked, chosen, places(xy, new)))
        first = ahead_of(asked, walls, first)
    _tie(made, asked, walls, recorded)
    return _as_pieces(made, xy, walls, len(recorded))


def _asked(ends: Ends, walls: Walls, tracing: Tracing, settings: WallSettings) -> Asked:
    sd = tracing.random_m[ends.line]
    turn = np.sqrt(2) * sd / np.maximum(ends.reach, LEAST_REACH_M) + BEND_SHARE * ends.bend
    back = np.minimum(OVER_SHARE * settings.join_gap_m, 0.5 * ends.run_m)
    met = ends.jamb.copy()
    met[hits(walls, ends, back, np.zeros(len(ends)))[0]] = True
    slip = np.minimum(settings.join_gap_m, 0.5 * ends.run_m)
    passed = met.copy()
    free = np.flatnonzero(~met)
    passed[free[hits(walls, ends.pick(free), slip[free], np.zeros(len(free)))[0]]] = True
    active = np.ones(len(ends), dtype=bool)
    return Asked(
        ends,
        active,
        met,
        passed,
        sd,
        turn,
        tracing.face[ends.line],
        tracing.thick_m[ends.line],
        settings,
    )


def _reach(asked: Asked, limit: float) -> float:
    """Return how far ends look in a round [m]."""
    far = min(asked.longest(), asked.settings.doorway_max_m + limit / PER_METRE)
    return far + asked.settings.join_gap_m


def _pool(asked: Asked, walls: Walls, recorded: Pieces) -> Candidates:
    """Return the candidates that no closing changes, but may block; none dearer than any round."""
    near = pairs(asked, _reach(asked, ROUNDS[-1]))
    made = [feet(asked, walls, recorded), in_line(asked, near), corners(asked, near)]
    return together([some.pick(some.cost <= ROUNDS[-1]) for some in made])


def _candidates(asked: Asked, pool: Candidates, first: Ahead, limit: float) -> Candidates:
    """Return the candidates of a round, those that cross walls included."""
    able = asked.active[pool.one] & (asked.active[pool.other] | (pool.other < 0))
    able &= (pool.from_m <= _reach(asked, limit)) & (pool.cost <= limit)
    return together([extensions(asked, first), pool.pick(able)])


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
    """Return costs, walls that stand loose never carried on beyond the joining distance."""
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
    return np.asarray(found.cost + LOOSE * far)


def _taken(found: Candidates, asked: Asked) -> Candidates:
    """Return the candidates that are made, the cheapest first, each end used once."""
    xy = asked.ends.xy.round(6)
    x, y = xy[found.one].T
    order = np.lexsort([y, x, found.kind, found.cost.round(9)])
    free = asked.active.tolist()
    ones, others = found.one.tolist(), found.other.tolist()
    chosen = []
    for k in order.tolist():
        one, other = ones[k], others[k]
        if free[one] and (other < 0 or free[other]):
            free[one] = False
            if other >= 0:
                free[other] = False
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


def _still_active(asked: Asked, chosen: Candidates, new: Array) -> npt.NDArray[np.bool_]:
    """Tell which ends may still be used: not taken, nor met or accompanied by new closings."""
    active = asked.active.copy()
    active[chosen.one] = False
    active[chosen.other[chosen.other >= 0]] = False
    free = np.flatnonzero(active & ~asked.met)
    ends = asked.ends.pick(free)
    slip = asked.settings.join_gap_m
    back = np.minimum(OVER_SHARE * slip, 0.5 * ends.run_m)[:, None] * ends.along
    tree = shapely.STRtree(shapely.linestrings(new))
    stubs = shapely.linestrings(np.stack([ends.xy, ends.xy - back], axis=1))
    active[free[tree.query(stubs, predicate="intersects")[0]]] = False
    end, wall = tree.query(
        shapely.points(ends.xy), predicate="dwithin", distance=BESIDE_SHARE * slip
    )
    along = lengths_and_ways(new[wall, 1] - new[wall, 0])[1]
    beside = np.abs(cross(ends.along[end], along)) < ALONG_SINE
    active[free[end[beside]]] = False
    return active


def _tie(made: Closings, asked: Asked, walls: Walls, recorded: Pieces) -> None:
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
    made.add(ties, away[first], np.full(len(first), "foot", dtype="<U9"))


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
