"""Plausible outlines: the closings of a linework chosen anew, time and again, their costs shaken.

Costs are penalties in the manner of negative log-likelihoods. Shaken by noise of Gumbel's
distribution, the cheapest of several is drawn with the chance that its likelihood gives it. All
that was weighed is noded once into small cells; in each outline, cells that no standing wall parts
are one space.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from wrackline import vectors
from wrackline.walls.candidates import Candidates, likely, once
from wrackline.walls.closings import ROUNDS, Closed, accompanied, places
from wrackline.walls.linework import Array, Ints, Linework, Pieces
from wrackline.walls.noding import noded_along
from wrackline.walls.planar import NODE_M, cells_beside, polygons_of
from wrackline.walls.stretches import lengths_and_ways

Bools = npt.NDArray[np.bool_]
Polygons = npt.NDArray[np.object_]

SPREAD = 0.3
"""Scale by which costs are shaken; set on simulated towns (tests/benchmarks), as the costs were."""

MARGIN = 6.0
"""Closings dearer than those made by more than this many scales hardly ever win."""

DOUBTFUL = "doubtful"
"""Origin of lines of which it is doubtful whether they are walls: half of the outlines have one."""

MISSING_STANDS = 0.95
"""Share of the outlines in which a face stands that was missing between wall and open ground; set
on simulated towns."""

NO_EDGES = np.zeros((0, 2, 2))

UNSHAKEN = 0.2
"""Share of the outlines in which closings are those that were chosen: they're the likeliest, and
without them rooms of low support proved better than it (simulated towns, tests/benchmarks)."""

OUTLINES = 100
SEED = 1
BESIDE_M = 0.02
ALIKE = 0.8
"""A space stands in an outline that has one of this intersection over union with it."""


@dataclass(frozen=True)
class Plausible:
    """Plausible outlines of a linework.

    Attributes
    ----------
    cells : array of Polygon, shape (c,)
        The smallest spaces that any of them has.
    space : array of int, shape (n, c)
        In each outline, the number of the space that each cell belongs to; -1 outside.
    """

    cells: Polygons
    space: Ints

    def support(self, spaces: Polygons) -> Array:
        """Return the share of outlines in which each space stands, shape (s,).

        Parameters
        ----------
        spaces : array of Polygon or MultiPolygon, shape (s,)
            Between the lines of the network, not between wall faces.
        """
        return self._share(spaces, together=False)

    def support_together(self, groups: Polygons) -> Array:
        """Return the share of outlines in which each group of spaces stands, however divided.

        Parameters
        ----------
        groups : array of Polygon or MultiPolygon, shape (s,)
            The ground of each group, its walls to their centres included.
        """
        return self._share(groups, together=True)

    def _share(self, spaces: Polygons, *, together: bool) -> Array:
        stands = np.zeros(len(spaces))
        if not len(self.cells) or not len(spaces):
            return stands
        size, own = shapely.area(self.cells), shapely.area(spaces)
        inner = shapely.STRtree(shapely.point_on_surface(self.cells))
        held_by, cell = inner.query(spaces, predicate="contains")
        for label in self.space + 1:
            whole = np.bincount(label, size)
            whole[0] = np.inf
            pair, at = np.unique(held_by * len(whole) + label[cell], return_inverse=True)
            common = np.bincount(at, size[cell])
            of, which = np.divmod(pair, len(whole))
            whole = whole[which]
            if together:
                inside = common > 0.5 * whole
                whole = np.bincount(of[inside], whole[inside], len(spaces))
                common = np.bincount(of[inside], common[inside], len(spaces))
                of = np.arange(len(spaces))
            alike = common >= ALIKE * (own[of] + whole - common)
            stands[np.unique(of[alike])] += 1
        return stands / len(self.space)

    def parted(self, lines: Polygons) -> Array:
        """Return the share of outlines in which each line has two spaces beside it, shape (n,).

        Parameters
        ----------
        lines : array of LineString, shape (n,)
            Straight closings.
        """
        ends = shapely.get_coordinates(lines).reshape(len(lines), -1, 2)[:, [0, -1]]
        _, along = lengths_and_ways(ends[:, 1] - ends[:, 0])
        aside = BESIDE_M * np.stack([-along[:, 1], along[:, 0]], axis=1)
        middle = ends.mean(axis=1)
        left, right = (self._spaces_at(middle + way) for way in (aside, -aside))
        return np.asarray((left != right).mean(axis=0))

    def _spaces_at(self, places: Array) -> Ints:
        """Return the space that holds each place, in each outline, shape (n, places)."""
        cell = np.full(len(places), len(self.cells))
        at, found = shapely.STRtree(self.cells).query(shapely.points(places), predicate="within")
        cell[at] = found
        outside = np.full((len(self.space), 1), -1)
        return np.concatenate([self.space, outside], axis=1)[:, cell]


@dataclass(frozen=True)
class Race:
    """Candidates, and what each takes from others once it is made.

    Attributes
    ----------
    found : Candidates
    ends : int
        Number of ends.
    meets, met : array of int
        A candidate, and an end that it leaves nothing to ask for.
    bars, barred : array of int
        A candidate, and another in the way of which it stands.
    """

    found: Candidates
    ends: int
    meets: Ints
    met: Ints
    bars: Ints
    barred: Ints

    def won(self, cost: Array) -> Bools:
        """Return which candidates are made at given costs, shape (c,): the cheapest come first."""
        one, other = self.found.one, np.where(self.found.other < 0, self.ends, self.found.other)
        made, left = np.zeros(len(cost), dtype=bool), cost <= ROUNDS[-1]
        free = np.ones(self.ends + 1, dtype=bool)
        while left.any():
            k = np.flatnonzero(left)
            best = np.full(self.ends + 1, np.inf)
            np.minimum.at(best, one[k], cost[k])
            np.minimum.at(best, other[k], cost[k])
            best[self.ends] = np.inf
            live = left[self.bars] & left[self.barred]
            first = np.full(len(cost), np.inf)
            np.minimum.at(first, self.barred[live], cost[self.bars[live]])
            least = np.minimum(np.minimum(best[one[k]], best[other[k]]), first[k])
            chosen = k[cost[k] <= least]
            made[chosen if len(chosen) else k[[np.argmin(cost[k])]]] = True
            free[one[made]] = free[other[made]] = False
            free[self.met[made[self.meets]]] = False
            free[self.ends] = True
            left &= ~made & free[one] & free[other]
            left[self.barred[made[self.bars]]] = False
        return made


def plausible(
    work: Linework,
    recorded: Pieces,
    closed: Closed,
    slip_m: float,
    *,
    missing: Array = NO_EDGES,
    spread: float = SPREAD,
    outlines: int = OUTLINES,
) -> Plausible:
    """Return plausible outlines of a linework.

    Parameters
    ----------
    work : Linework
    recorded : Pieces
        The recorded pieces that stand.
    closed : Closed
        Its closings, and what was weighed for them.
    slip_m : float
        Joining distance [m].
    missing : array, shape (e, 2, 2)
        Ends of the faces that were missing between wall and open ground [m].
    spread : float
        Scale of Gumbel's distribution by which costs are shaken.
    outlines : int
        How many to draw; of a hundred, a share has a standard error of 0.05 at most.
    """
    found = likely(once(closed.considered), closed.won, MARGIN * spread)
    corner = np.flatnonzero(found.gap_m[:, 1] > 0)
    owner = np.r_[np.arange(len(found.one)), corner]
    xy = work.xyz[:, :2]
    drawn = places(xy, np.concatenate([found.ties[:, 0], found.ties[corner, 1]]))
    race = _race(closed, found, drawn, owner, slip_m)
    given = np.concatenate([recorded.ends(work.xyz)[:, :, :2], closed.fixed])
    doubted = np.flatnonzero((work.lines["origin"] == DOUBTFUL).fillna(False).to_numpy(bool))
    by = np.searchsorted(doubted, recorded.line)
    in_doubt = np.isin(recorded.line, doubted)
    always = np.full(len(given), len(doubted))
    always[: len(recorded)][in_doubt] = by[in_doubt]
    first = len(doubted) + 1
    shut = first + len(found.one) + np.arange(len(missing))
    owners = np.r_[always, first + owner, shut]
    count = first + len(found.one) + len(missing)
    cells, beside, upheld = _cells(np.concatenate([given, drawn, missing]), owners, count)
    draw = np.random.default_rng(SEED)
    space = np.zeros((outlines, len(cells)), dtype=np.int64)
    for k in range(outlines):
        shaken = spread if k >= UNSHAKEN * outlines else 0.0
        made = race.won(found.cost - shaken * draw.gumbel(size=len(found.cost)))
        faces = (draw.random(len(missing)) < MISSING_STANDS) | (shaken == 0)
        stands = np.r_[draw.random(len(doubted)) < 0.5, True, made, faces].astype(float)
        space[k] = _spaces(beside[upheld @ stands == 0], len(cells))
    return Plausible(cells, space)


def _race(closed: Closed, found: Candidates, drawn: Array, owner: Ints, slip_m: float) -> Race:
    """Return the race of candidates; those that were all made don't stand in each other's way."""
    won = np.append(closed.won, np.inf)
    made = found.cost == won[found.one]
    made &= (found.other < 0) | (found.cost == won[found.other])
    met, by = accompanied(closed.ends, drawn, slip_m)
    by = owner[by]
    free = ~closed.met[met]
    rival_by, rival = _rivals(closed, found, slip_m)
    by, met = np.r_[by[free], rival_by], np.r_[met[free], rival]
    asks = ~(made[by] & np.isfinite(closed.won[met]))
    barred, bars = _in_the_way(closed, found, drawn, owner, slip_m)
    apart = ~(made[bars] & made[barred])
    return Race(found, len(closed.ends), by[asks], met[asks], bars[apart], barred[apart])


def _rivals(closed: Closed, found: Candidates, slip_m: float) -> tuple[Ints, Ints]:
    """Return which candidates, bridging more than a slip, leave the rival of an end nothing."""
    rivals = sparse.csr_matrix(
        (np.ones(len(closed.rivals)), closed.rivals.T), shape=(len(closed.ends),) * 2
    )
    wide = np.flatnonzero(found.gap_m.sum(axis=1) > slip_m)
    two = wide[found.other[wide] >= 0]
    by, end = np.r_[wide, two], np.r_[found.one[wide], found.other[two]]
    uses = sparse.csr_matrix(
        (np.ones(len(end)), (np.arange(len(end)), end)), shape=(len(end), len(closed.ends))
    )
    at = (uses @ rivals).tocoo()
    return by[at.row], at.col.astype(np.int64)


def _in_the_way(
    closed: Closed, found: Candidates, drawn: Array, owner: Ints, slip_m: float
) -> tuple[Ints, Ints]:
    """Return which candidates another crosses well between their ends: candidate, the other."""
    size, along = lengths_and_ways(drawn[:, 1] - drawn[:, 0])
    cut = np.minimum(slip_m, 0.3 * size)[:, None] * along
    inner = shapely.linestrings(np.stack([drawn[:, 0] + cut, drawn[:, 1] - cut], axis=1))
    one, by = shapely.STRtree(shapely.linestrings(drawn)).query(inner, predicate="intersects")
    one, by = owner[one], owner[by]
    stretch = np.append(closed.ends.stretch, -1)
    second = np.where(found.other < 0, -2, stretch[found.other])
    mine = np.stack([stretch[found.one], second], axis=-1)
    shared = (mine[one][:, :, None] == mine[by][:, None, :]).any(axis=(1, 2))
    chosen = (one != by) & ~shared
    return one[chosen], by[chosen]


def _cells(ends: Array, owner: Ints, count: int) -> tuple[Polygons, Ints, sparse.csr_matrix]:
    """Return the cells of pieces, the two beside each edge, and which owners uphold an edge.

    The number of cells stands for what lies outside.
    """
    edges, (edge, piece) = noded_along(ends, NODE_M)
    cells = polygons_of(edges)
    shape = (len(edges), count)
    upheld = sparse.csr_matrix((np.ones(len(edge)), (edge, owner[piece])), shape=shape)
    return cells, cells_beside(cells, edges), upheld


def _spaces(open_edges: Ints, cells: int) -> Ints:
    """Return which cells are one space when some edges are open, shape (c,); -1 outside."""
    links = (np.ones(len(open_edges)), (open_edges[:, 0], open_edges[:, 1]))
    graph = sparse.csr_matrix(links, shape=(cells + 1, cells + 1))
    _, label = connected_components(graph, directed=False)
    return np.where(label[:cells] == label[cells], -1, label[:cells])


def save(outlines: Sequence[Plausible], path: Path, crs: str) -> None:
    """Write the plausible outlines of every phase as GeoParquet: a row a cell, a column each."""
    count = max((len(part.space) for part in outlines), default=0)
    columns = {"phase": "whole", **{f"outline_{k}": "whole" for k in range(count)}}
    phase = [k for k, part in enumerate(outlines) for _ in part.cells]
    space = np.concatenate([part.space for part in outlines], axis=1)
    data = {"phase": phase, **{f"outline_{k}": row for k, row in enumerate(space)}}
    cells = [cell for part in outlines for cell in part.cells]
    vectors.write(gpd.GeoDataFrame(data, geometry=cells, crs=crs), columns, path)


def load(path: Path, phases: int) -> list[Plausible]:
    """Read the plausible outlines that `save` wrote, of so many phases."""
    table = vectors.read(path)
    phase = table["phase"].to_numpy(np.int64)
    space = table.drop(columns=["phase", "geometry"]).to_numpy(np.int64).T
    cells = table.geometry.to_numpy()
    return [Plausible(cells[phase == k], space[:, phase == k]) for k in range(phases)]
