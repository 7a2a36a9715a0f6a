"""How well rooms were recovered: found polygons held against a town's truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

Polygons = npt.NDArray[np.object_]

ALIKE = 0.8
"""Intersection over union from which a found space is a true one."""


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
        Spaces nearer than this along a wall of half a metre or more share it [m].
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


def _pairs(spaces: Polygons, join_m: float) -> set[tuple[int, int]]:
    grown = shapely.make_valid(shapely.buffer(spaces, join_m / 2, quad_segs=2))
    a, b = shapely.STRtree(grown).query(grown, predicate="intersects")
    a, b = a[a < b], b[a < b]
    common = shapely.area(shapely.intersection(grown[a], grown[b]))
    joined = common > (0.5 + join_m) * join_m
    return set(zip(a[joined].tolist(), b[joined].tolist(), strict=True))


def _joins(truth: Polygons, found: Polygons, match: npt.NDArray[np.int64], join_m: float) -> float:
    wanted = _pairs(truth, join_m)
    had = _pairs(found, join_m)
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
