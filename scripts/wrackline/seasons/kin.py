"""What things of two plans have in common, and which is which: a global assignment.

Areas have ground in common, lines run beside each other, points lie at one place. What two things
have in common is told as the share of either; from the shares follow how alike they are (are they
one thing?) and how they are related (is one a part of the other?).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.optimize import linear_sum_assignment

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Shapes = npt.NDArray[np.object_]

LEAST_ALIKE = 0.3
"""Things less alike than this are two things (no source)."""
BESIDE_M = 0.3
"""Lines closer than this run along each other; points closer than this are one."""
FURTHER = 0.3
"""What a line at the end of reach is worth less than one in the same place (no source)."""


@dataclass(frozen=True)
class Kin:
    """Pairs of things that have something in common.

    Attributes
    ----------
    now, before : array of int, shape (n,)
        Places of the two things in their tables.
    share_now, share_before : array, shape (n,)
        What they have in common, as a share of either, 0-1.
    alike : array, shape (n,)
        How alike they are, 0-1: areas common ground over joint ground (intersection over union),
        lines the lesser share, the nearer of two first, points nearness.
    areal : array of bool, shape (n,)
        Whether they are areas.
    """

    now: Ints
    before: Ints
    share_now: Array
    share_before: Array
    alike: Array
    areal: npt.NDArray[np.bool_]

    def where(self, chosen: npt.NDArray[np.bool_]) -> Kin:
        """Return the chosen pairs."""
        return Kin(*(values[chosen] for values in vars(self).values()))


def kin_of(now: Shapes, before: Shapes, reach: Array | None = None) -> Kin:
    """Return what things of now and of before have in common.

    Parameters
    ----------
    now, before : array of Geometry, shape (n,) and (m,)
        Areas, lines or points; one of them is never another.
    reach : array, shape (m,), optional
        How far off lines and points of before may lie [m]; `BESIDE_M` where not given.

    Examples
    --------
    >>> kin = kin_of(np.array([shapely.box(0, 0, 4, 3)]), np.array([shapely.box(0, 0, 8, 3)]))
    >>> kin.share_now.tolist(), kin.share_before.tolist(), kin.alike.tolist()
    ([1.0], [0.5], [0.5])
    """
    within = np.full(len(before), BESIDE_M) if reach is None else np.asarray(reach, dtype=float)
    none = np.zeros(0)
    if not len(now) or not len(before):
        return Kin(none.astype(int), none.astype(int), none, none, none, none.astype(bool))
    i, j = shapely.STRtree(before).query(now, predicate="dwithin", distance=float(within.max()))
    share_now, share_before = _shares(now[i], before[j], within[j])
    common = (share_now > 0) & (share_before > 0)
    order = np.lexsort([j[common], i[common]])
    i, j = i[common][order], j[common][order]
    one, other = share_now[common][order], share_before[common][order]
    areal = shapely.get_dimensions(now[i]) == 2
    off = shapely.distance(_middle(now[i]), before[j]) / within[j]
    nearer = 1 - FURTHER * np.minimum(off, 1.0)
    alike = np.where(areal, 1 / (1 / one + 1 / other - 1), np.minimum(one, other) * nearer)
    return Kin(i, j, one, other, alike, areal)


def _middle(shapes: Shapes) -> Shapes:
    """Return the middle of lines, and what isn't a line as it is."""
    middle = shapes.copy()
    line = shapely.get_dimensions(shapes) == 1
    middle[line] = shapely.centroid(shapes[line])
    return middle


def _shares(one: Shapes, other: Shapes, reach: Array) -> tuple[Array, Array]:
    """Return what pairs have in common as shares of either; 0 where they can't be one thing."""
    share_one, share_other = np.zeros(len(one)), np.zeros(len(one))
    same = shapely.get_dimensions(one) == shapely.get_dimensions(other)
    areal = same & (shapely.area(one) > 0) & (shapely.area(other) > 0)
    linear = same & ~areal & (shapely.length(one) > 0) & (shapely.length(other) > 0)
    points = same & ~areal & ~linear
    ground = shapely.area(shapely.intersection(one[areal], other[areal]))
    share_one[areal] = ground / shapely.area(one[areal])
    share_other[areal] = ground / shapely.area(other[areal])
    share_one[linear] = _beside(one[linear], other[linear], reach[linear])
    share_other[linear] = _beside(other[linear], one[linear], reach[linear])
    apart = shapely.distance(one[points], other[points]) / reach[points]
    nearness = np.where(apart < 1, 1.0 - (1.0 - LEAST_ALIKE) * apart, 0.0)
    share_one[points] = share_other[points] = nearness
    return share_one, share_other


def _beside(line: Shapes, other: Shapes, reach: Array) -> Array:
    """Return the share of lines that runs beside others."""
    about = shapely.buffer(other, reach, quad_segs=16, cap_style="flat")
    return np.asarray(shapely.length(shapely.intersection(line, about)) / shapely.length(line))


def outlines_alike(now: Shapes, before: Shapes) -> Array:
    """Return how alike the outlines of pairs of areas are, laid upon each other by their centres.

    Parameters
    ----------
    now, before : array of Geometry, shape (n,)

    Returns
    -------
    array, shape (n,)
        Common over joint ground, 0-1; NaN for what are no two areas.

    Examples
    --------
    >>> shapes = np.array([shapely.box(0, 0, 4, 3), shapely.box(1, 1, 5, 4)])
    >>> outlines_alike(shapes[:1], shapes[1:]).tolist()
    [1.0]
    """
    alike = np.full(len(now), np.nan)
    areal = (shapely.area(now) > 0) & (shapely.area(before) > 0)
    one, other = now[areal], before[areal]
    step = shapely.get_coordinates(shapely.centroid(one)) - shapely.get_coordinates(
        shapely.centroid(other)
    )
    xy, part = shapely.get_coordinates(other, return_index=True)
    moved = shapely.set_coordinates(other.copy(), xy + step[part])
    common = shapely.area(shapely.intersection(one, moved))
    alike[areal] = common / (shapely.area(one) + shapely.area(other) - common)
    return alike


def assigned(now: Ints, before: Ints, worth: Array) -> dict[int, int]:
    """Return which thing of now is which of before: the pairing of greatest total worth.

    Parameters
    ----------
    now, before : array of int, shape (n,)
        Pairs that may be one thing.
    worth : array, shape (n,)
        How much speaks for each, above 0.

    Returns
    -------
    dict of int to int
        Each of now with at most one of before, and the other way round.

    Examples
    --------
    >>> assigned(np.array([0, 0, 1]), np.array([0, 1, 0]), np.array([0.9, 0.8, 0.7]))
    {0: 1, 1: 0}
    """
    pairs: dict[int, int] = {}
    for some in _components(now, before):
        rows, i = np.unique(now[some], return_inverse=True)
        cols, j = np.unique(before[some], return_inverse=True)
        table = np.zeros((len(rows), len(cols)))
        np.maximum.at(table, (i, j), worth[some])
        for row, col in zip(*linear_sum_assignment(-table), strict=True):
            if table[row, col] > 0:
                pairs[int(rows[row])] = int(cols[col])
    return dict(sorted(pairs.items()))


def _components(now: Ints, before: Ints) -> list[Ints]:
    """Return the pairs in sets that share nothing with each other."""
    if not len(now):
        return []
    count = int(now.max()) + 1
    size = count + int(before.max()) + 1
    ones = np.ones(len(now), dtype=np.int8)
    graph = sparse.coo_matrix((ones, (now, count + before)), shape=(size, size))
    _, label = sparse.csgraph.connected_components(graph, directed=False)
    order = np.argsort(label[now], kind="stable")
    cuts = np.flatnonzero(np.diff(label[now][order])) + 1
    return list(np.split(order, cuts))
