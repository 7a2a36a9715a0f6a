"""Joining of wall ends: which gaps are closed, how, and at what cost.

Plain method, cheapest closing first, each free end used once. A free end is one that neither
touches nor crosses another line within the joining distance. It may be *extended* to the wall
that it faces, brought to a *corner* with another end, *jointed* to an end in line with it, or led
to the *foot* of the nearest wall where nothing else serves; a wider gap between ends in line, or
before a wall faced, is closed as a possible *doorway*. Recorded lines are never moved.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from wrackline.model import WallSettings
from wrackline.walls.linework import Linework, Pieces

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NODE_M = 0.001
"""Grid to which crossings are snapped; a tenth of the best survey's sd changes nothing."""

TOUCH_M = 0.002
SHORTEST_M = 1e-6
BACK_M = 1.0
"""Stretch at a line's end from which its direction is taken, so that noise turns it less."""

CORNER_SINE = 0.34
"""Lines that meet at more than 20 degrees make a corner, else they are in line."""

FACING = -0.25
"""Cosine between the ways that two ends look: a ring's gap, and no corner (no source)."""

OFF_LINE_M, TURN = 0.1, 0.4
"""Ends are in line when each looks past the other by less than this, or than 0.4 of the gap."""


@dataclass(frozen=True)
class Ends:
    """Free ends of lines.

    Attributes
    ----------
    vertex, back : array of int, shape (n,)
        The end's vertex, and the vertex from which its direction is taken.
    line : array of int, shape (n,)
        Row of its line.
    xy, direction : array, shape (n, 2)
        Position [m] and outward unit vector.
    reach : array, shape (n,)
        Distance from the back vertex to the end [m].
    """

    vertex: Ints
    back: Ints
    line: Ints
    xy: Array
    direction: Array
    reach: Array

    def pick(self, chosen: npt.NDArray[np.bool_]) -> Ends:
        """Return the chosen ends only."""
        return Ends(*(values[chosen] for values in vars(self).values()))


@dataclass(frozen=True)
class Candidate:
    """One closing that might be made: `pieces` as ((i, j, t), (i, j, t)) per piece.

    `ends` are the free ends that it uses up; `meets` are ends of the wall that it leads to, so
    near the place that they need not be led on to a further wall. `turns` marks a doorway beside
    a corner; `kinds` are those of its pieces where they differ.
    """

    cost: float
    kind: str
    ends: tuple[int, ...]
    pieces: tuple[tuple[tuple[int, int, float], tuple[int, int, float]], ...]
    gap_m: float
    meets: tuple[int, ...] = ()
    turns: bool = False
    kinds: tuple[str, ...] = ()


def close_gaps(work: Linework, recorded: Pieces, settings: WallSettings) -> Pieces:
    """Return the closings of a linework.

    Parameters
    ----------
    work : Linework
    recorded : Pieces
        Its recorded pieces.
    settings : WallSettings
        Joining distance and widest doorway [m].

    Returns
    -------
    Pieces
        Closings only; their kinds say how each was had.
    """
    gaps = GapFinder(work, recorded, settings)
    ends = gaps.free_ends()
    candidates = [*gaps.to_walls(ends), *gaps.to_ends(ends)]
    candidates.sort(key=lambda c: (round(c.cost, 6), -len(c.ends), c.kind, *_place(c, ends)))
    used: set[int] = set()
    met: set[int] = set()
    chosen = []
    for candidate in candidates:
        alone = len(candidate.ends) == 1 or candidate.turns
        needless = alone and not met.isdisjoint(candidate.ends)
        if used.isdisjoint(candidate.ends) and not needless:
            used.update(candidate.ends)
            met.update(candidate.meets)
            chosen.append(candidate)
    return _as_pieces(chosen)


def _place(candidate: Candidate, ends: Ends) -> tuple[float, ...]:
    """Return the positions of a candidate's ends, so that ties don't go by input order."""
    return tuple(sorted(float(x) for end in candidate.ends for x in ends.xy[end]))


def _as_pieces(chosen: list[Candidate]) -> Pieces:
    rows = [
        (kind, piece, c.gap_m)
        for c in chosen
        for piece, kind in zip(c.pieces, c.kinds or (c.kind,) * len(c.pieces), strict=True)
    ]
    return Pieces(
        vertices=np.array(
            [[(end[0], end[1]) for end in piece] for _, piece, _ in rows], dtype=np.int64
        ).reshape(-1, 2, 2),
        share=np.array([[end[2] for end in piece] for _, piece, _ in rows], float).reshape(-1, 2),
        line=np.full(len(rows), -1, dtype=np.int64),
        kind=np.array([kind for kind, _, _ in rows], dtype="<U9"),
        gap_m=np.array([gap for _, _, gap in rows], dtype=float),
    )


class GapFinder:
    """The recorded pieces, findable by place, and the candidates among them."""

    def __init__(self, work: Linework, recorded: Pieces, settings: WallSettings) -> None:
        self.work = work
        self.settings = settings
        self.start = recorded.vertices[:, 0, 0]
        self.stop = recorded.vertices[:, 1, 0]
        self.line = recorded.line
        xy = work.xyz[:, :2]
        self.segments = shapely.linestrings(np.stack([xy[self.start], xy[self.stop]], axis=1))
        self.tree = shapely.STRtree(self.segments)

    def all_ends(self) -> Ends:
        """Return both ends of every open line."""
        line, xy = self.work.line, self.work.xyz[:, :2]
        firsts = np.flatnonzero(np.r_[True, np.diff(line) != 0]) if len(line) else np.array([], int)
        lasts = np.r_[firsts[1:], len(line)] - 1 if len(line) else np.array([], int)
        rows = []
        for first, last in zip(firsts, lasts, strict=True):
            if np.hypot(*(xy[first] - xy[last])) > TOUCH_M:
                rows.append((last, _back(xy, last, first)))
                rows.append((first, _back(xy, first, last)))
        pairs = np.array(rows, dtype=np.int64).reshape(-1, 2)
        step = xy[pairs[:, 0]] - xy[pairs[:, 1]]
        reach = np.hypot(step[:, 0], step[:, 1])
        direction = step / reach[:, None]
        return Ends(pairs[:, 0], pairs[:, 1], line[pairs[:, 0]], xy[pairs[:, 0]], direction, reach)

    def free_ends(self) -> Ends:
        """Return the ends that neither touch nor cross another line within the join distance.

        An end that misses by less than the node grid is free too: its closing makes sure of it.
        """
        ends = self.all_ends()
        if not len(ends.vertex):
            return ends
        back = np.minimum(self.settings.join_gap_m, 0.5 * ends.reach)
        stubs = shapely.linestrings(
            np.stack([ends.xy, ends.xy - ends.direction * back[:, None]], axis=1)
        )
        end, segment = self.tree.query(stubs, predicate="intersects")
        other = self.line[segment] != ends.line[end]
        served = np.zeros(len(ends.vertex), dtype=bool)
        served[end[other]] = True
        return ends.pick(~served)

    def to_walls(self, ends: Ends) -> Iterator[Candidate]:
        """Yield extensions to a wall faced, doorways before one, and feet on the nearest."""
        gap = self.settings.join_gap_m
        reach = max(gap, self.settings.doorway_max_m)
        for end in range(len(ends.vertex)):
            hit = self._first_hit(ends, end, reach)
            if hit is not None:
                length, segment = hit
                yield self._extension(ends, end, length, segment)
            foot = self._nearest(ends, end, gap)
            if foot is not None:
                yield foot

    def _extension(self, ends: Ends, end: int, length: float, segment: int) -> Candidate:
        short = length <= self.settings.join_gap_m
        vertex, back = int(ends.vertex[end]), int(ends.back[end])
        beyond = 1.0 + length / float(ends.reach[end])
        piece = ((vertex, vertex, 0.0), (back, vertex, beyond))
        cost = length if short else length + self.settings.join_gap_m
        place = ends.xy[end] + length * ends.direction[end]
        meets = self._ends_near(ends, place, segment)
        kind = "extension" if short else "doorway"
        return Candidate(cost, kind, (end,), (piece,), length, meets)

    def _ends_near(self, ends: Ends, place: Array, segment: int) -> tuple[int, ...]:
        """Return the free ends of a segment's line within the join distance of a place."""
        away = np.hypot(*(ends.xy - place).T)
        near = (ends.line == self.line[segment]) & (away <= self.settings.join_gap_m)
        return tuple(int(end) for end in np.flatnonzero(near))

    def _first_hit(self, ends: Ends, end: int, reach: float) -> tuple[float, int] | None:
        """Return distance to, and index of, the first other line's piece that an end faces."""
        here, along = ends.xy[end], ends.direction[end]
        ray = shapely.LineString([here, here + reach * along])
        hits = self.tree.query(ray, predicate="intersects")
        hits = hits[self.line[hits] != ends.line[end]]
        if not len(hits):
            return None
        crossing = shapely.intersection(ray, self.segments[hits])
        point = shapely.Point(here)
        distance = shapely.distance(point, crossing)
        # rounding may leave no crossing of what only just meet
        distance = np.where(
            np.isnan(distance), shapely.distance(point, self.segments[hits]), distance
        )
        nearest = int(np.argmin(distance))
        return float(distance[nearest]), int(hits[nearest])

    def _nearest(self, ends: Ends, end: int, gap: float) -> Candidate | None:
        """Return the closing to the foot on the nearest other line within the gap, if any."""
        point = shapely.Point(ends.xy[end])
        near = self.tree.query(point, predicate="dwithin", distance=gap)
        near = near[self.line[near] != ends.line[end]]
        if not len(near):
            return None
        distance = shapely.distance(point, self.segments[near])
        nearest = int(np.argmin(distance))
        segment, length = int(near[nearest]), float(distance[nearest])
        whole = max(float(shapely.length(self.segments[segment])), SHORTEST_M)
        t = float(shapely.line_locate_point(self.segments[segment], point)) / whole
        vertex = int(ends.vertex[end])
        foot = (int(self.start[segment]), int(self.stop[segment]), t)
        piece = ((vertex, vertex, 0.0), foot)
        cost = length + 2 * gap + self.settings.doorway_max_m
        return Candidate(cost, "foot", (end,), (piece,), length)

    def to_ends(self, ends: Ends) -> Iterator[Candidate]:
        """Yield corners, joints and doorways between two free ends."""
        if len(ends.vertex) < 2:
            return
        reach = max(2 * self.settings.join_gap_m, self.settings.doorway_max_m)
        for p, q in sorted(cKDTree(ends.xy).query_pairs(reach)):
            if ends.line[p] == ends.line[q] and not self._own_ends_may_meet(ends, p, q):
                continue
            sine = float(_cross(ends.direction[p], ends.direction[q]))
            if ends.line[p] == ends.line[q] and _face_each_other(ends, p, q):
                found = self._ring(ends, p, q)
            elif abs(sine) > CORNER_SINE:
                found = self._corner(ends, p, q, sine)
            else:
                found = self._in_line(ends, p, q)
            if found is not None:
                yield found

    def _own_ends_may_meet(self, ends: Ends, p: int, q: int) -> bool:
        """Tell whether a line may be closed on itself: a gap small beside its length."""
        length = float(self.work.lines.geometry.iloc[ends.line[p]].length)
        return float(np.hypot(*(ends.xy[q] - ends.xy[p]))) < 0.25 * length

    def _ring(self, ends: Ends, p: int, q: int) -> Candidate | None:
        """Return the gap in a wall that runs round in one line, closed straight: it comes first."""
        length = float(np.hypot(*(ends.xy[q] - ends.xy[p])))
        wide = length > self.settings.join_gap_m
        if length > max(self.settings.doorway_max_m, self.settings.join_gap_m):
            return None
        vertices = int(ends.vertex[p]), int(ends.vertex[q])
        piece = ((vertices[0], vertices[0], 0.0), (vertices[1], vertices[1], 0.0))
        return Candidate(length / 2, "doorway" if wide else "joint", (p, q), (piece,), length)

    def _corner(self, ends: Ends, p: int, q: int, sine: float) -> Candidate | None:
        """Return the corner at which two ends meet when both are extended, if near enough.

        One of the two may be a doorway's width away, but a gap straight on is likelier.
        """
        between = ends.xy[q] - ends.xy[p]
        s = float(_cross(between, ends.direction[q])) / sine
        u = float(_cross(between, ends.direction[p])) / sine
        gap, far = self.settings.join_gap_m, self.settings.doorway_max_m
        if min(s, u) < -TOUCH_M or min(s, u) > gap or max(s, u) > max(gap, far):
            return None
        pieces = []
        for end, length in ((p, s), (q, u)):
            if length < SHORTEST_M:
                continue
            vertex, back = int(ends.vertex[end]), int(ends.back[end])
            beyond = 1.0 + length / float(ends.reach[end])
            pieces.append(((vertex, vertex, 0.0), (back, vertex, beyond)))
        whole = max(s, 0.0) + max(u, 0.0)
        if max(s, u) <= gap:
            return Candidate(max(s, u), "corner", (p, q), tuple(pieces), whole)
        kinds = tuple("doorway" if x > gap else "corner" for x in (s, u) if x >= SHORTEST_M)
        cost = max(s, u) + 2 * gap
        return Candidate(cost, "doorway", (p, q), tuple(pieces), whole, turns=True, kinds=kinds)

    def _in_line(self, ends: Ends, p: int, q: int) -> Candidate | None:
        """Return the joint or doorway between two ends that face each other in line."""
        between = ends.xy[q] - ends.xy[p]
        length = float(np.hypot(*between))
        facing = float(ends.direction[p] @ ends.direction[q]) < 0
        off = max(abs(float(_cross(between, ends.direction[end]))) for end in (p, q))
        ahead = float(between @ ends.direction[p]) > -self.settings.join_gap_m
        wide = length > self.settings.join_gap_m
        limit = self.settings.doorway_max_m if wide else self.settings.join_gap_m
        if not facing or not ahead or length > limit or off > max(OFF_LINE_M, TURN * length):
            return None
        vertices = int(ends.vertex[p]), int(ends.vertex[q])
        piece = ((vertices[0], vertices[0], 0.0), (vertices[1], vertices[1], 0.0))
        if self._crosses_a_wall(ends, p, q):
            return None
        kind = "doorway" if wide else "joint"
        cost = length + (self.settings.join_gap_m if wide else 0.0)
        return Candidate(cost, kind, (p, q), (piece,), length)

    def _crosses_a_wall(self, ends: Ends, p: int, q: int) -> bool:
        closing = shapely.LineString([ends.xy[p], ends.xy[q]])
        hits = self.tree.query(closing, predicate="crosses")
        return bool(len(hits))


def _face_each_other(ends: Ends, p: int, q: int) -> bool:
    """Tell whether two ends look towards each other, turned by less than 75 degrees."""
    return float(ends.direction[p] @ ends.direction[q]) < FACING


def _back(xy: Array, end: int, other: int) -> int:
    """Return the vertex, `BACK_M` or more back along the line, that gives an end's direction."""
    step = 1 if other > end else -1
    for vertex in range(end + step, other + step, step):
        if np.hypot(*(xy[vertex] - xy[end])) >= BACK_M:
            return vertex
    return other


def _cross(a: Array, b: Array) -> float:
    return float(a[0] * b[1] - a[1] * b[0])
