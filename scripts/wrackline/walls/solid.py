"""What is wall and what is open, told by a minimum cut.

Lines, closings and what was weighed for closings part the ground into cells. A face with a side
speaks for wall on that side, for open ground on the other. Where neighbours are told differently
with no recorded face between, a face must be missing, which costs by its length. The cheapest
telling is a minimum cut (Ford and Fulkerson 1956); its edges are the missing faces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from wrackline.walls.linework import Array, Ints
from wrackline.walls.planar import cells_beside, polygons_of, sides_of, widths

Bools = npt.NDArray[np.bool_]

UNKNOWN, OPEN, WALL = 0, 1, 2
"""What lies beside an edge."""

CLOSING, IN_LINE, ELSE = 0.2, 0.4, 1.0
"""Cost of each metre of a face that nobody recorded: along a closing that was made, along a gap
between two ends in line that was weighed, along anything else. Set on simulated towns
(tests/benchmarks), where half or twice these figures changed F1 by 0.002 at most."""

LED_ON = 1.0
"""A metre of a closing that leads a face on tells as much as this length of the face [m]."""

NARROW, NARROW_M = 1.5, 0.05
"""A space with closings around it may be a doorway's depth, which is a part of the wall: it is no
wider than so many usual walls, and this [m]."""

NARROW_TELLS, LARGEST_M2 = 1.0, 12.0
"""Each metre of closing around such a space speaks for wall as so many metres of a face do; no
doorway's depth is larger than this area."""

JUNCTION = 1.2
"""Where walls meet at right angles, a circle fits that is 1.17 times as wide as they are."""

PER_METRE = 1000
MOST = 10**9
"""The cut reckons in whole numbers, a thousand a metre of face; the ground outside is open by this
much, which is for sure."""

WIDTH_TOLERANCE_M = 0.02


@dataclass(frozen=True)
class Lying:
    """What the edges of a linework lie on.

    Attributes
    ----------
    recorded, closing : array of bool, shape (k,)
        Whether each was recorded, or closed; others were weighed.
    side : array of int, shape (k,)
        On which side the wall lies whose face it is: +1 left, -1 right, 0 not known.
    in_line : array of bool, shape (k,)
        Whether it lies along a gap between two ends in line.
    """

    recorded: Bools
    closing: Bools
    side: Ints
    in_line: Bools


def told_apart(edges: Array, lying: Lying, usual_m: float, thickest_m: float) -> Ints:
    """Return what lies on both sides of edges, shape (k, 2): left, right.

    Parameters
    ----------
    edges : array, shape (k, 2, 2)
        Ends of noded edges [m].
    lying : Lying
    usual_m : float
        The site's usual thickness of walls [m].
    thickest_m : float
        No wall is thicker [m].

    Returns
    -------
    array of int, shape (k, 2)
        `OPEN`, `WALL`, or `UNKNOWN` where no face tells.
    """
    cells = polygons_of(edges)
    beside = cells_beside(cells, edges)
    size = np.hypot(*(edges[:, 1] - edges[:, 0]).T)
    tells = _evidence(beside, lying, size, len(cells))
    tells[:, 1] += _depths_of_doorways(cells, edges, lying, usual_m)
    tells[_too_wide(cells, tells, thickest_m), 1] = 0.0
    price = np.select([lying.closing, lying.in_line], [CLOSING, IN_LINE], default=ELSE) * size
    free = ~lying.recorded & (beside[:, 0] != beside[:, 1])
    return _cut(tells, beside[free], price[free])[beside]


def _evidence(beside: Ints, lying: Lying, size: Array, cells: int) -> Array:
    """Return what faces tell of cells, shape (cells + 1, 2): open, wall [m]."""
    tells = np.zeros((cells + 1, 2))
    known = np.flatnonzero(lying.side != 0)
    weight = (size * np.where(lying.recorded, 1.0, LED_ON))[known]
    left, right = beside[known].T
    walled = lying.side[known] > 0
    np.add.at(tells[:, 1], np.where(walled, left, right), weight)
    np.add.at(tells[:, 0], np.where(walled, right, left), weight)
    tells[cells] = MOST / PER_METRE, 0.0
    return tells


def _too_wide(cells: npt.NDArray[np.object_], tells: Array, thickest_m: float) -> Ints:
    """Return which cells would be wall but for the circle that they hold, wider than any wall."""
    wall = tells[: len(cells), 1] >= tells[: len(cells), 0]
    large = shapely.area(cells) > np.pi * (JUNCTION * thickest_m) ** 2 / 4
    asked = np.flatnonzero(wall & large)
    return asked[widths(cells[asked], WIDTH_TOLERANCE_M) > JUNCTION * thickest_m]


def _depths_of_doorways(
    cells: npt.NDArray[np.object_], edges: Array, lying: Lying, usual_m: float
) -> Array:
    """Return what closings tell of cells between them, as narrow as walls are, (cells + 1,) [m]."""
    firm = np.flatnonzero(lying.recorded | lying.closing)
    spaces = polygons_of(edges[firm])
    tells = np.zeros(len(cells) + 1)
    closing = lying.closing[firm]
    long = np.hypot(*(edges[firm, 1] - edges[firm, 0]).T) * closing
    around = np.asarray(abs(sides_of(spaces, edges[firm])) @ long).ravel()
    area = shapely.area(spaces)
    asked = np.flatnonzero((around > 0) & (area <= LARGEST_M2))
    narrow = asked[widths(spaces[asked], WIDTH_TOLERANCE_M) <= NARROW * usual_m + NARROW_M]
    inner = shapely.STRtree(shapely.point_on_surface(cells))
    space, cell = inner.query(spaces[narrow], predicate="contains")
    space = narrow[space]
    tells[cell] = NARROW_TELLS * around[space] * shapely.area(cells[cell]) / area[space]
    return tells


def _cut(tells: Array, links: Ints, price: Array) -> Ints:
    """Return what each cell is, the cheapest telling of all, shape (cells + 1,).

    What could be either at the same cost is `UNKNOWN`: neither open ground (the source) nor wall
    (the sink) reaches it but by edges that are used up.

    Parameters
    ----------
    tells : array, shape (c, 2)
        What speaks for open ground and for wall [m].
    links : array of int, shape (e, 2)
        Cells with no recorded face between.
    price : array, shape (e,)
        What a face between them would cost [m].
    """
    count = len(tells)
    cell, source, sink = np.arange(count), np.full(count, count), np.full(count, count + 1)
    at = np.r_[links[:, 0], links[:, 1], source, cell], np.r_[links[:, 1], links[:, 0], cell, sink]
    worth = np.minimum(np.r_[price, price, tells[:, 0], tells[:, 1]] * PER_METRE, MOST)
    graph = sparse.csr_array((np.rint(worth).astype(np.int32), at), shape=(count + 2,) * 2)
    left = graph - maximum_flow(graph, count, count + 1).flow
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    kind = np.full(count + 2, UNKNOWN)
    kind[breadth_first_order(left.T.tocsr(), count + 1, return_predecessors=False)] = WALL
    kind[breadth_first_order(left, count, return_predecessors=False)] = OPEN
    return kind[:count]
