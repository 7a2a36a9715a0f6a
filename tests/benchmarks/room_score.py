"""How well rooms were recovered: found polygons held against a town's truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

Polygons = npt.NDArray[np.object_]
Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

ALIKE = 0.8
"""Intersection over union from which a found space is a true one."""

WALL_M = 0.5
"""Spaces that face each other along less than this share no wall."""

STEP_M, OFF_M = 0.1, 0.001
"""Looks across a wall are no further apart along it, and start this far off the outline."""


@dataclass(frozen=True)
class Score:
    """One town's score.

    Attributes
    ----------
    f1, precision, recall : float
        Of spaces at IoU >= `ALIKE`.
    split, merged : float
        Shares of true spaces found in parts, or as one with a neighbour.
    joins_f1 : float
        F1 of which spaces share a wall, spaces told by their match.
    bias : float
        Median of found over true area, less one, of matched spaces.
    edge_m : float
        95th percentile of distances from found outlines to true ones, matched spaces [m].
    match : array of int, shape (truth,)
        The found space of each true one, -1 for none.
    """

    f1: float
    precision: float
    recall: float
    split: float
    merged: float
    joins_f1: float
    bias: float
    edge_m: float
    match: npt.NDArray[np.int64]


def score(truth: Polygons, found: Polygons, join_m: float) -> Score:
    """Return the score of found spaces.

    Parameters
    ----------
    truth, found : array of Polygon
    join_m : float
        Spaces that face each other no further apart share a wall, see `pairs` [m].
    """
    t, f = shapely.STRtree(found).query(truth, predicate="intersects")
    common = shapely.area(shapely.intersection(truth[t], found[f]))
    size_t, size_f = shapely.area(truth), shapely.area(found)
    iou = common / (size_t[t] + size_f[f] - common)
    good = iou >= ALIKE
    match = np.full(len(truth), -1, dtype=np.int64)
    match[t[good]] = f[good]
    hits = int((match >= 0).sum())
    inside = common / size_f[f] > 0.8
    parts = np.bincount(t[inside & (common / size_t[t] > 0.15)], minlength=len(truth))
    held = common / size_t[t] > 0.8
    shared = np.bincount(f[held], minlength=len(found))
    merged = np.zeros(len(truth), dtype=bool)
    merged[t[held]] = shared[f[held]] > 1
    lost = match < 0
    ratio = size_f[match[~lost]] / size_t[~lost] - 1
    return Score(
        f1=2 * hits / max(len(truth) + len(found), 1),
        precision=hits / max(len(found), 1),
        recall=hits / max(len(truth), 1),
        split=float(np.mean((parts > 1) & lost)),
        merged=float(np.mean(merged & lost)),
        joins_f1=_joins(truth, found, match, join_m),
        bias=float(np.median(ratio)) if hits else np.nan,
        edge_m=_edges(truth[~lost], found[match[~lost]]),
        match=match,
    )


def _edges(truth: Polygons, found: Polygons) -> float:
    if not len(truth):
        return np.nan
    points = shapely.segmentize(shapely.boundary(found), 0.25)
    xy, of = shapely.get_coordinates(points, return_index=True)
    far = shapely.distance(shapely.points(xy), shapely.boundary(truth)[of])
    return float(np.quantile(far, 0.95))


def pairs(spaces: Polygons, reach_m: float) -> set[tuple[int, int]]:
    """Return which spaces share a wall, each pair by their places, the lesser first.

    Two share one where `WALL_M` or more of the outline of either has the other straight across:
    along the outward normal, within the reach, with nothing between.

    Parameters
    ----------
    spaces : array of Polygon, shape (n,)
    reach_m : float
        Thickest wall looked across [m].
    """
    start, stop, along_m, of = _looks(spaces, reach_m)
    ray, seen = shapely.STRtree(spaces).query(
        shapely.linestrings(np.stack([start, stop], axis=1)), predicate="intersects"
    )
    far_m = shapely.distance(shapely.points(start[ray]), spaces[seen])
    order = np.lexsort([seen, far_m, ray])
    ray, seen = ray[order], seen[order]
    first = np.flatnonzero(np.diff(ray, prepend=-1))
    ray, seen = ray[first], seen[first]
    across, place = np.unique(np.stack([of[ray], seen], axis=-1), axis=0, return_inverse=True)
    shared_m = np.bincount(place.ravel(), along_m[ray], minlength=len(across))
    chosen = (shared_m >= WALL_M - 1e-9) & (across[:, 0] != across[:, 1])
    return {(min(a, b), max(a, b)) for a, b in across[chosen].tolist()}


def _looks(spaces: Polygons, reach_m: float) -> tuple[Array, Array, Array, Ints]:
    """Return where looks from outlines start and stop, what of them each stands for, whose it is.

    Edges are looked from at the middles of even steps of `STEP_M` at most.
    """
    rings, owner = shapely.get_rings(shapely.orient_polygons(spaces), return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    edge = np.flatnonzero(np.diff(ring) == 0)
    step = xy[edge + 1] - xy[edge]
    length_m = np.hypot(step[:, 0], step[:, 1])
    edge, step, length_m = edge[length_m > 0], step[length_m > 0], length_m[length_m > 0]
    count = np.ceil(length_m / STEP_M).astype(np.int64)
    k = np.repeat(np.arange(len(edge)), count)
    share = (np.arange(len(k)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[k]
    outward = np.stack([step[:, 1], -step[:, 0]], axis=-1) / length_m[:, None]
    at, away = xy[edge[k]] + share[:, None] * step[k], outward[k]
    start, stop = at + OFF_M * away, at + reach_m * away
    return start, stop, (length_m / count)[k], owner[ring[edge[k]]]


def _joins(truth: Polygons, found: Polygons, match: npt.NDArray[np.int64], join_m: float) -> float:
    wanted = pairs(truth, join_m)
    had = pairs(found, join_m)
    as_found = {
        (min(match[a], match[b]), max(match[a], match[b]))
        for a, b in wanted
        if match[a] >= 0 and match[b] >= 0
    }
    return 2 * len(as_found & had) / max(len(wanted) + len(had), 1)


def common_way(lines: Polygons, grid_m: float) -> Polygons:
    """Return what snapping to a grid, noding and polygonising makes of lines."""
    noded = shapely.union_all(lines, grid_size=grid_m)
    return np.asarray(shapely.get_parts(shapely.polygonize(shapely.get_parts(noded))))
