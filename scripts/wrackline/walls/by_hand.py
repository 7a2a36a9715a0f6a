"""Lines that the team draws with an end in the open, at a closing or at each other.

Such a line is a part of the straight way between two recorded walls, before and behind it: it is
tied to both, and drawn from where to where along it the team says. So its errors are theirs. Where
the way crosses no two walls, it is tied to where it runs between two surveyed vertices.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from scipy.cluster.hierarchy import DisjointSet

from wrackline.model import Decision
from wrackline.walls.candidates import Walls, feet_at, foot_on
from wrackline.walls.linework import DRAWN, Array, Ints, Pieces
from wrackline.walls.stretches import cross

Bools = npt.NDArray[np.bool_]

REACH_M = 0.5
"""A decision is about what lies no further from its place than this (no source)."""

FAR_M = 50.0
"""Walls further along a line's way than this hold it no more (no source)."""

LEAST_SINE = 0.3
"""Walls that cross the way at less than 17 degrees fix no place along it."""

MOST_VERTICES = 40
"""Vertices around a line, the nearest, between which it may be tied."""

MOST_TIMES = 3.0
"""Beyond two walls a place may be as far as their errors grow to this many times (no source)."""

PER_METRE = 0.001
SHORTEST_M = 0.05


def drawn_by_hand(
    decisions: Sequence[Decision], recorded: Pieces, xy: Array, ends: Array
) -> Pieces:
    """Return what decisions draw that doesn't run from recorded wall to recorded wall.

    Ends that lie together are one. An end near a closing, or a line drawn by another decision, is
    on it; any other is free. What splits a room has no free end.

    Parameters
    ----------
    decisions : sequence of Decision
        Each with two places, none of them both at recorded walls.
    recorded : Pieces
        The recorded pieces that stand.
    xy : array, shape (n, 2)
        Vertices [m].
    ends : array, shape (w, 2, 2)
        Ends of recorded pieces, then of closings and of what else was drawn [m].

    Returns
    -------
    Pieces
        In the order of the decisions, without those that nothing holds.
    """
    places = drawn_places(decisions)
    places, held = _settled(places, ends[: len(recorded)], ends[len(recorded) :])
    splits = np.array([d.decision == "split" for d in decisions], dtype=bool)
    ways = places[held.all(axis=1) | ~splits]
    found = [_held_by(way, recorded, xy, ends[: len(recorded)]) for way in ways]
    made = [one for one in found if one is not None]
    ties = np.array([tie for tie, _ in made]).reshape(-1, 2, 3)
    span = np.array([part for _, part in made]).reshape(-1, 2)
    size = [np.hypot(*(way[1] - way[0])) for way, one in zip(ways, found, strict=True) if one]
    return Pieces(
        vertices=ties[..., :2].astype(np.int64),
        share=ties[..., 2],
        line=np.full(len(ties), -1, dtype=np.int64),
        kind=np.full(len(ties), DRAWN, dtype="<U9"),
        gap_m=np.array(size, dtype=float),
        span=span,
    )


def drawn_places(decisions: Sequence[Decision]) -> Array:
    """Return both places of decisions, shape (d, 2, 2) [m]."""
    return np.array([[d.place, d.to_place] for d in decisions], dtype=float).reshape(-1, 2, 2)


def _settled(places: Array, walls: Array, lines: Array) -> tuple[Array, Bools]:
    """Return where lines end (d, 2, 2), and which ends (d, 2) are at something."""
    known = np.zeros(places.shape[:2], dtype=bool)
    if not len(places):
        return places, known
    places, known = _moved(places, walls, known)
    places, shared = _together(places, known)
    for able in (shared, np.ones_like(shared)):
        moved, there = _moved(places, lines, known | ~able)
        places, known = moved, known | there
        whole = (known | shared).all(axis=1)
        lines = np.concatenate([lines, places[whole]])
    return places, known | shared


def _moved(places: Array, lines: Array, but: Bools) -> tuple[Array, Bools]:
    """Return places moved to the lines near them, and which were; some are left alone."""
    if not len(lines):
        return places, np.zeros_like(but)
    flat = places.reshape(-1, 2)
    away = shapely.distance(shapely.linestrings(lines), shapely.points(flat)[:, None])
    nearest = away.argmin(axis=1)
    near = (away.min(axis=1) <= REACH_M) & ~but.ravel()
    share, _ = foot_on(Walls(lines, np.zeros(len(lines), dtype=np.int64)), nearest, flat)
    start, stop = lines[nearest, 0], lines[nearest, 1]
    moved = np.where(near[:, None], start + share[:, None] * (stop - start), flat)
    return moved.reshape(places.shape), near.reshape(but.shape)


def _together(places: Array, known: Bools) -> tuple[Array, Bools]:
    """Return ends, of those of several lines that lie together the middle; and which do.

    Those that are known already are left alone.
    """
    flat, done = places.reshape(-1, 2), known.ravel()
    sets = DisjointSet(range(len(flat)))
    near = np.hypot(*np.moveaxis(flat[:, None] - flat, 2, 0)) <= REACH_M
    for one, other in np.argwhere(near & ~done & ~done[:, None]).tolist():
        if one // 2 != other // 2:
            sets.merge(one, other)
    spot, shared = flat.copy(), np.zeros(len(flat), dtype=bool)
    for group in sets.subsets():
        mine = sorted(group)
        spot[mine] = np.sort(flat[mine], axis=0).mean(axis=0) if len(mine) > 1 else flat[mine]
        shared[mine] = len(mine) > 1
    return spot.reshape(places.shape), shared.reshape(known.shape)


def _held_by(way: Array, recorded: Pieces, xy: Array, walls: Array) -> tuple[Array, Array] | None:
    """Return the ties (2, 3) that hold a line, and its span between them; None if nothing does."""
    size = float(np.hypot(*(way[1] - way[0])))
    if size < SHORTEST_M:
        return None
    wall, share, along = _crossed(way, walls)
    ties = feet_at(recorded, wall, share)
    held = _best(ties, along, size)
    if held is not None:
        return held
    pairs = _pairs(xy, np.unique(recorded.vertices), way)
    pair, share, beyond = _crossed(way, xy[pairs])
    return _best(np.r_[ties, np.c_[pairs[pair], share]], np.r_[along, beyond], size)


def _best(ties: Array, along: Array, size: float) -> tuple[Array, Array] | None:
    """Return the two ties that hold a line surest, and its span between them; None if none do."""
    one, other = np.nonzero(along - along[:, None] > SHORTEST_M)
    if not len(one):
        return None
    run = along[other] - along[one]
    span = (np.array([0.0, size]) - along[one, None]) / run[:, None]
    times = np.hypot(span, 1 - span).max(axis=1)
    best = int(np.argmin((np.maximum(times, 1.0) + PER_METRE * run).round(9)))
    pair = np.array([one[best], other[best]])
    return None if times[best] > MOST_TIMES else (ties[pair], span[best])


def _pairs(xy: Array, standing: Ints, way: Array) -> Ints:
    """Return pairs of the vertices around a line, shape (p, 2)."""
    away = shapely.distance(shapely.points(xy[standing]), shapely.LineString(way)).round(6)
    order = np.lexsort([xy[standing, 1], xy[standing, 0], away])
    near = standing[order[:MOST_VERTICES]]
    return near[np.column_stack(np.triu_indices(len(near), 1))]


def _crossed(way: Array, walls: Array) -> tuple[Ints, Array, Array]:
    """Return the walls that a line's way crosses, where on each, and how far along the way [m].

    In the order along the way.
    """
    step = way[1] - way[0]
    size = float(np.hypot(*step))
    run = walls[:, 1] - walls[:, 0]
    length = np.hypot(run[:, 0], run[:, 1])
    sine = cross(step[None], run)
    fixed = np.abs(sine) >= LEAST_SINE * np.maximum(size * length, 1e-9)
    safe = np.where(fixed, sine, 1.0)
    start = walls[:, 0] - way[0]
    along = cross(start, run) / safe * size
    share = cross(start, step[None]) / safe
    met = fixed & (np.abs(share - 0.5) <= 0.5 + 1e-9)
    met &= (along >= -FAR_M) & (along <= size + FAR_M)
    wall = np.flatnonzero(met)
    wall = wall[np.lexsort([share[wall].round(9), along[wall].round(6)])]
    return wall, np.clip(share[wall], 0.0, 1.0), along[wall]
