"""The wall between two rooms: where its body lies straight across from one to the other.

Where the team calls two rooms one, this much of the body becomes floor. It is cut off by pieces
drawn across the wall at its ends, each tied to the recorded faces on both sides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.rooms.faces import Faces
from wrackline.rooms.figures import unit
from wrackline.rooms.kinds import BODY, SLIVER, UNKNOWN
from wrackline.walls import solid
from wrackline.walls.candidates import feet_at
from wrackline.walls.linework import DRAWN, WHOLE, Array, Ints, Pieces, join_pieces
from wrackline.walls.network import Network
from wrackline.walls.planar import NODE_M

Bools = npt.NDArray[np.bool_]

LEAST_M = 0.5
"""Rooms that face each other along less than this share no wall (no source)."""

STRAIGHT_COSINE = 0.8
"""What leads across a wall turns from straight across it by 37 degrees at most."""

SQUARE_COSINE = 0.999
"""From between corners it stands square on the other face, so that it leads around no corner."""

STEP_M = 0.25
"""Ways across a wall are looked for at corners, and from place to place this far apart."""

CLEAR_M = 2 * NODE_M
SHORT_M = 0.02


@dataclass(frozen=True)
class Crossing:
    """A straight way across a wall's body, from the outline of one room to another's.

    Attributes
    ----------
    edges : tuple of int
        The edge that it sets out from, and the one it ends at.
    shares : tuple of float
        Where on them, 0 at the start and 1 at the stop.
    ends : array, shape (2, 2)
        Its ends, on nodes where it ends at one [m].
    ties : array, shape (2, 3)
        Of both ends: vertex, vertex, share.
    """

    edges: tuple[int, int]
    shares: tuple[float, float]
    ends: Array
    ties: Array


@dataclass(frozen=True)
class Between:
    """A stretch of wall between two rooms.

    Attributes
    ----------
    ground : Polygon
        Its body, from face to face.
    cuts : tuple of Crossing
        Where it is cut off: two, or none where the wall runs all around one of the rooms.
    """

    ground: shapely.Polygon
    cuts: tuple[Crossing, ...]


def walls_between(
    network: Network, faces: Faces, kind: npt.NDArray[np.str_], pair: tuple[int, int], most_m: float
) -> list[Between]:
    """Return the stretches of wall with a body that lie straight between two rooms.

    Parameters
    ----------
    network : Network
    faces : Faces
    kind : array of str, shape (f,)
    pair : tuple of int
        The two rooms, faces of one phase at least.
    most_m : float
        Greatest thickness of a wall [m].
    """
    together = faces.standing[pair[0]] & faces.standing[pair[1]]
    walls = np.isin(kind, (BODY, SLIVER, UNKNOWN)) & (faces.standing & together).any(axis=1)
    body = shapely.union_all(faces.polygons[walls & _near(faces, pair, most_m)])
    one, other = (_outline(network, faces, face) for face in pair)
    found = []
    for step_m in (np.inf, STEP_M):
        found += _across(network, one, other, step_m, most_m)
        found += [_turned(c) for c in _across(network, other, one, step_m, most_m)]
    bounding = (network.standing & together).any(axis=1) & bounding_in(faces)
    found = _uncrossed([c for c in found if _clear(c, body, network.edges[bounding])])
    rings = [list(shapely.get_rings(faces.polygons[face])) for face in pair]
    return [
        stretch
        for one in rings[0]
        for other in rings[1]
        for stretch in _stretches(one, other, found, body)
    ]


def bounding_in(faces: Faces) -> Bools:
    """Tell which edges bound a face, shape (k,): others end in the open, or in one wall's body."""
    return np.isin(np.arange(faces.sides.shape[1]), faces.sides.indices)


def _near(faces: Faces, pair: tuple[int, int], most_m: float) -> Bools:
    """Tell which faces lie as near to both rooms as a wall between them does."""
    away = [shapely.distance(faces.polygons, faces.polygons[face]) for face in pair]
    return np.asarray(np.maximum(*away) <= most_m)


@dataclass(frozen=True)
class _Outline:
    """The edges around a room: their numbers, ends (m, 2, 2) and outward normals (m, 2)."""

    edges: Ints
    ends: Array
    outward: Array


def _outline(network: Network, faces: Faces, face: int) -> _Outline:
    row = faces.sides[[face]].tocoo()
    order = np.argsort(row.col)
    edges, side = row.col[order].astype(np.int64), row.data[order]
    ends = network.edges[edges]
    step = unit(ends[:, 1] - ends[:, 0]) * side[:, None]
    return _Outline(edges, ends, np.stack([step[:, 1], -step[:, 0]], axis=-1))


def _across(
    network: Network, one: _Outline, other: _Outline, step_m: float, most_m: float
) -> list[Crossing]:
    """Return the shortest ways from one outline to another, straight across, the shortest first.

    They set out from its nodes, and from places between that are no further apart than a step.
    """
    every = shapely.segmentize(shapely.linestrings(one.ends), step_m)
    nodes = np.unique(shapely.get_coordinates(every), axis=0)
    a, run = other.ends[:, 0], other.ends[:, 1] - other.ends[:, 0]
    share = ((nodes[:, None] - a) * run).sum(axis=2) / np.maximum((run**2).sum(axis=1), 1e-18)
    foot = a + run * np.clip(share, 0, 1)[..., None]
    away = np.hypot(*np.moveaxis(foot - nodes[:, None], 2, 0))
    made = []
    for node, nearest in enumerate(away.argmin(axis=1).tolist()):
        if NODE_M < away[node, nearest] <= most_m:
            way = foot[node, nearest] - nodes[node]
            start = _end_at(network, one.edges, nodes[node], way)
            stop = _end_at(network, other.edges, foot[node, nearest], way)
            if start and stop:
                made.append(_crossing(start, stop))
    least = STRAIGHT_COSINE if step_m == np.inf else SQUARE_COSINE
    return sorted([c for c in made if _straight(c, one, other, least)], key=_length_m)


@dataclass(frozen=True)
class _End:
    """One end of a crossing."""

    edge: int
    share: float
    xy: Array
    tie: Array


def _end_at(network: Network, edges: Ints, place: Array, way: Array) -> _End | None:
    """Return a place on an outline as an end of a crossing; None if it can't be tied there.

    Of the edges at a corner, the one that runs most as the crossing does knows best where that
    lies, recorded ones before closings.
    """
    near = edges[_away(network.edges[edges], place) <= NODE_M]
    along = unit(np.diff(network.edges[near], axis=1)[:, 0]) @ way
    order = np.lexsort([near, -np.abs(along).round(6), ~network.recorded[near]])
    ends = (_on_edge(network, int(edge), place) for edge in near[order])
    return next((end for end in ends if end is not None), None)


def _on_edge(network: Network, edge: int, place: Array) -> _End | None:
    start, stop = network.edges[edge]
    size = float(np.hypot(*(stop - start)))
    share = float((place - start) @ (stop - start)) / size**2
    share = 0.0 if share * size < CLEAR_M else 1.0 if (1 - share) * size < CLEAR_M else share
    xy = np.array([start, stop])[int(share)] if share in (0.0, 1.0) else _on_grid(place)
    tie = _tie(network, edge, share)
    return None if tie is None else _End(edge, share, xy, tie)


def _on_grid(place: Array) -> Array:
    return np.asarray(np.rint(place / NODE_M) * NODE_M)


def _tie(network: Network, edge: int, share: float) -> Array | None:
    """Return the tie of a place on an edge; of closings their own ends alone can be tied to."""
    piece, (low, high) = int(network.piece[edge]), network.fraction[edge]
    along = np.array([low + share * (high - low)])
    if network.recorded[edge]:
        return np.asarray(feet_at(network.pieces, np.array([piece]), along)[0])
    if tuple(network.pieces.span[piece]) != WHOLE:
        return None
    end = round(float(along[0]))
    ends = network.pieces.ends(network.work.xyz)[piece, :, :2]
    if abs(float(along[0]) - end) * np.hypot(*(ends[1] - ends[0])) > NODE_M:
        return None
    return np.array([*network.pieces.vertices[piece, end], network.pieces.share[piece, end]])


def _away(ends: Array, place: Array) -> Array:
    return np.asarray(shapely.distance(shapely.linestrings(ends), shapely.Point(place)))


def _crossing(start: _End, stop: _End) -> Crossing:
    return Crossing(
        (start.edge, stop.edge),
        (start.share, stop.share),
        np.array([start.xy, stop.xy]),
        np.array([start.tie, stop.tie]),
    )


def _turned(crossing: Crossing) -> Crossing:
    """Return a crossing the other way."""
    one, other = crossing.edges
    low, high = crossing.shares
    return Crossing((other, one), (high, low), crossing.ends[::-1], crossing.ties[::-1])


def _straight(crossing: Crossing, one: _Outline, other: _Outline, least: float) -> bool:
    """Tell whether a crossing leads straight out of one outline and straight into another.

    `least` is the cosine of the angle by which it may turn from straight into the other.
    """
    way = crossing.ends[1] - crossing.ends[0]
    size = float(np.hypot(*way))
    start, stop = crossing.ends
    for outline, place, out, cosine in (
        (one, start, way, STRAIGHT_COSINE),
        (other, stop, -way, least),
    ):
        near = _away(outline.ends, place) <= NODE_M
        if not (outline.outward[near] @ out >= cosine * size).any():
            return False
    return size > NODE_M


def _length_m(crossing: Crossing) -> float:
    return float(np.hypot(*(crossing.ends[1] - crossing.ends[0])).round(6))


def _uncrossed(found: list[Crossing]) -> list[Crossing]:
    """Return crossings, but none that crosses a former one, or equals it."""
    kept: list[Crossing] = []
    lines: list[shapely.LineString] = []
    for crossing in found:
        line = shapely.LineString(crossing.ends)
        others = np.array(lines, dtype=object)
        if not (shapely.crosses(others, line) | shapely.equals(others, line)).any():
            kept.append(crossing)
            lines.append(line)
    return kept


def _clear(crossing: Crossing, body: shapely.Geometry, standing: Array) -> bool:
    """Tell whether a crossing runs through a wall's body alone, or along an edge that is there."""
    if _length_m(crossing) <= 2 * CLEAR_M:
        return False
    if _is_edge(crossing, standing):
        return True
    inner = _inner(crossing)
    met = shapely.intersects(shapely.linestrings(standing), inner)
    return bool(not met.any() and body.covers(inner))


def _inner(crossing: Crossing) -> shapely.LineString:
    """Return a crossing without its ends."""
    way = unit(np.diff(crossing.ends, axis=0))
    return shapely.LineString(crossing.ends + np.concatenate([CLEAR_M * way, -CLEAR_M * way]))


def _is_edge(crossing: Crossing, standing: Array) -> bool:
    """Tell whether an edge joins both ends of a crossing already."""
    off = np.abs(standing - crossing.ends).max(axis=(1, 2))
    back = np.abs(standing - crossing.ends[::-1]).max(axis=(1, 2))
    return bool((np.minimum(off, back) < NODE_M).any())


def _stretches(
    one: shapely.Geometry,
    other: shapely.Geometry,
    found: list[Crossing],
    body: shapely.Geometry,
) -> Iterator[Between]:
    """Yield the stretches of wall between two rings, each from its first crossing to its last."""
    starts, stops = shapely.points(np.array([c.ends for c in found]).reshape(-1, 2, 2)).T
    there = shapely.distance(starts, one) + shapely.distance(stops, other) <= 2 * NODE_M
    found = [c for c, here in zip(found, there, strict=True) if here]
    along = shapely.line_locate_point(one, starts[there])
    back = shapely.line_locate_point(other, stops[there])
    order = np.lexsort([-back, along])
    found, along, back = [found[k] for k in order], along[order], back[order]
    count, held = len(found), body.buffer(NODE_M)
    after = [(k, (k + 1) % count) for k in range(count if count > 1 else 0)]
    parts = [_ground(one, other, along[[k, n]], back[[n, k]]) for k, n in after]
    fits = [part is not None and (part.is_empty or held.covers(part)) for part in parts]
    for first, last in _runs(fits):
        if first == last:
            yield Between(_filled(parts), ())
        elif _facing(one, along[[first, last]]) and _facing(other, back[[last, first]]):
            ground = _ground(one, other, along[[first, last]], back[[last, first]])
            if ground is not None:
                yield Between(ground, (found[first], found[last]))


def _filled(parts: list[shapely.Polygon]) -> shapely.Polygon:
    """Return the ground all around a ring, closed over the slits of rounding between its parts."""
    return shapely.union_all([part.buffer(NODE_M, join_style="mitre") for part in parts])


def _facing(ring: shapely.Geometry, places: Array) -> bool:
    """Tell whether enough of a ring lies from one place along it on to another."""
    return _run_m(ring, places) >= LEAST_M


def _runs(fits: list[bool]) -> list[tuple[int, int]]:
    """Return where runs of true begin, and the place after their end, round and round.

    >>> _runs([True, False, False, True]), _runs([True, True]), _runs([False, True, False])
    ([(3, 1)], [(0, 0)], [(1, 2)])
    """
    if all(fits):
        return [(0, 0)] if fits else []
    count = len(fits)
    first = [k for k in range(count) if fits[k] and not fits[k - 1]]
    return [
        (k, next((k + s) % count for s in range(count) if not fits[(k + s) % count])) for k in first
    ]


def _ground(
    one: shapely.Geometry, other: shapely.Geometry, along: Array, back: Array
) -> shapely.Polygon | None:
    """Return what lies between parts of two rings that run past each other; None if nothing.

    Where the parts are a few millimetres long, next to nothing lies between.
    """
    path = np.concatenate([_path(one, *along), _path(other, *back)])
    if max(_run_m(one, along), _run_m(other, back)) < SHORT_M:
        return shapely.Polygon()
    ground = shapely.Polygon(path)
    return ground if ground.is_valid and not ground.exterior.is_ccw else None


def _run_m(ring: shapely.Geometry, places: Array) -> float:
    """Return how far it is along a ring from one place on to another [m]."""
    run = float(places[1] - places[0])
    return 0.0 if abs(run) <= NODE_M else run % float(ring.length)


def _path(ring: shapely.Geometry, start: float, stop: float) -> Array:
    """Return the vertices of a ring from one place along it on to another, ends included."""
    if abs(stop - start) <= NODE_M:
        return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(ring, start)))
    xy = shapely.get_coordinates(ring)
    run = np.r_[0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]
    after, before = run[:-1] > start, run[:-1] < stop
    order = np.flatnonzero(after & before)
    if stop < start:
        order = np.r_[np.flatnonzero(after), np.flatnonzero(before)]
    ends = shapely.get_coordinates(shapely.line_interpolate_point(ring, [start, stop]))
    return np.concatenate([ends[:1], xy[:-1][order], ends[1:]])


def cut_off(
    network: Network, cuts: list[Crossing], phases: list[Bools], bounding: Bools
) -> Network:
    """Return a network with pieces drawn across walls; its edges keep their places, some cut short.

    What ends in the open inside a wall, such as a face traced on beyond its corner, gives way.

    Parameters
    ----------
    network : Network
    cuts : list of Crossing
        They meet no edge but at their ends.
    phases : list of array of bool, shape (p,)
        In which phases each stands.
    bounding : array of bool, shape (k,)
        Which of its edges bound a face.
    """
    for cut, there in zip(cuts, phases, strict=True):
        if not _is_edge(cut, network.edges[(network.standing & there).any(axis=1)]):
            standing, count = network.standing.copy(), len(bounding)
            met = shapely.intersects(shapely.linestrings(network.edges[:count]), _inner(cut))
            standing[np.flatnonzero(met & ~bounding)] &= ~there
            network = replace(network, standing=standing)
            for place in cut.ends:
                network = _split(network, place)
            network = _with_piece(network, cut, there)
    return network


def _split(network: Network, place: Array) -> Network:
    """Return a network whose edges that hold a place are cut there, the second parts last."""
    start, stop = network.edges[:, 0], network.edges[:, 1]
    step, ends = stop - start, network.edges - place
    away = np.hypot(ends[..., 0], ends[..., 1]).min(axis=1)
    holds = np.flatnonzero((_away(network.edges, place) <= NODE_M) & (away > NODE_M))
    if not len(holds):
        return network
    share = ((place - start[holds]) * step[holds]).sum(axis=1) / (step[holds] ** 2).sum(axis=1)
    middle = network.fraction[holds, 0] + share * np.diff(network.fraction[holds], axis=1)[:, 0]
    edges, fraction = network.edges.copy(), network.fraction.copy()
    later, beyond = edges[holds], fraction[holds]
    edges[holds, 1], fraction[holds, 1] = place, middle
    later[:, 0], beyond[:, 0] = place, middle
    return replace(
        network,
        edges=np.concatenate([edges, later]),
        piece=np.r_[network.piece, network.piece[holds]],
        fraction=np.concatenate([fraction, beyond]),
        standing=np.concatenate([network.standing, network.standing[holds]]),
        lies=np.concatenate([network.lies, network.lies[holds]]),
    )


def _with_piece(network: Network, cut: Crossing, there: Bools) -> Network:
    """Return a network with one more piece, drawn, that is one edge."""
    piece = Pieces(
        vertices=cut.ties[None, :, :2].astype(np.int64),
        share=cut.ties[None, :, 2],
        line=np.array([-1]),
        kind=np.array([DRAWN], dtype="<U9"),
        gap_m=np.array([float(np.hypot(*(cut.ends[1] - cut.ends[0])))]),
        span=np.array([WHOLE]),
    )
    return replace(
        network,
        pieces=join_pieces([network.pieces, piece]),
        edges=np.concatenate([network.edges, cut.ends[None]]),
        piece=np.r_[network.piece, len(network.pieces)],
        fraction=np.concatenate([network.fraction, [[0.0, 1.0]]]),
        standing=np.concatenate([network.standing, there[None]]),
        lies=np.concatenate([network.lies, np.full((1, len(there), 2), solid.UNKNOWN)]),
    )


def inside(network: Network, wall: Between) -> Bools:
    """Tell which edges lie in the ground of a wall or on its faces, but its cuts, shape (k,)."""
    middle = shapely.points(network.edges.mean(axis=1))
    shapely.prepare(held := wall.ground.buffer(CLEAR_M))
    lies = np.asarray(shapely.covers(held, shapely.linestrings(network.edges)))
    for cut in wall.cuts:
        lies &= shapely.distance(middle, shapely.LineString(cut.ends)) > NODE_M
    return lies
