"""Closings chosen all at once by an integer programme, measured beside those chosen in rounds.

A second design, no part of the product: of all closings weighed, the set of greatest gain, each end
used once at most and none in another's way, solved to the optimum in each group of closings that
compete. A closing gains what it may cost at most, less what it costs.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from unittest import mock

import numpy as np
import numpy.typing as npt
import shapely
from broken_walls import FIRST_SEED, MAKERS, joined, make, spaces
from room_score import score
from scipy import optimize, sparse
from scipy.sparse.csgraph import connected_components
from town_model import Damage, Surveyed

from wrackline.walls import closings, plausible
from wrackline.walls.candidates import AHEAD_M, CORNER, EXTENSION, Asked, Candidates, together
from wrackline.walls.closings import MOST, Closed, Closings, _State, places
from wrackline.walls.linework import Ints

Array = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

HOUSES, SEEDS = {"centre": 100, "face": 15}, 2
"""Fewer by faces, whose ends compete by the thousand: a hundred houses take minutes each."""

TIP_M = 0.02
"""An extension ends at what its last stretch meets, from this far before the wall it faces."""

REGIMES = {
    "doorways": Damage(),
    "10 % lost": Damage(lost=0.1),
    "25 % lost": Damage(lost=0.25),
}


@dataclass(frozen=True)
class Programme:
    """An integer programme in variables of 0 or 1: most gain with `rows @ x <= bound`."""

    gain: Array
    rows: sparse.csr_matrix
    bound: Array

    def solved(self) -> Bools:
        """Return the best set, shape (c,), each group of variables that share a row by itself."""
        best = self.gain > 0
        used = abs(self.rows)
        _, group = connected_components(used.T @ used, directed=False)
        order = np.argsort(group, kind="stable")
        members = np.split(order, np.flatnonzero(np.diff(group[order])) + 1)
        of_row = group[self.rows.indices[self.rows.indptr[:-1]]]
        by_group = np.argsort(of_row, kind="stable")
        edges = np.searchsorted(of_row[by_group], np.arange(len(members) + 1))
        for number, own in enumerate(members):
            rows = by_group[edges[number] : edges[number + 1]]
            if len(rows):
                best[own] = _optimum(self.gain[own], self.rows[rows][:, own], self.bound[rows])
        return best


def _optimum(gain: Array, rows: sparse.csr_matrix, bound: Array) -> Bools:
    found = optimize.milp(
        -gain,
        integrality=np.ones(len(gain)),
        bounds=optimize.Bounds(0, 1),
        constraints=optimize.LinearConstraint(rows, -np.inf, bound),
        options={"mip_rel_gap": 0.0},
    )
    if not found.success:
        raise RuntimeError(found.message)
    return np.asarray(found.x > 0.5)


class AtOnce(_State):
    """Closings asked of recorded walls alone, and chosen all at once."""

    worth = MOST
    """What a closing may cost to be worth it."""

    by_end = False
    """Whether it is worth that for each end that it uses."""

    asked_once = False

    def go_on(self, limit: float, beyond: float) -> None:
        """Choose in the first round, among all that may be made in any."""
        if not self.asked_once:
            self.asked_once = True
            with mock.patch.object(closings, "_taken", self.choose):
                super().go_on(MOST, 0.0)

    def choose(self, found: Candidates, asked: Asked) -> Candidates:
        """Return the best set of candidates."""
        found = _sorted(found, asked)
        corner = np.flatnonzero(found.kind == CORNER)
        owner = np.r_[np.arange(len(found.one)), corner]
        drawn = places(self.xy, np.concatenate([found.ties[:, 0], found.ties[corner, 1]]))
        race = plausible._race(self._open(), found, drawn, owner, asked.settings.join_gap_m)
        times = 1 + (found.other >= 0) * self.by_end
        rows, bound = _rows(race, self._needs(found, drawn, owner))
        return found.pick(Programme(times * self.worth - found.cost, rows, bound).solved())

    def _open(self) -> Closed:
        """Return what the race of candidates asks of a linework in which nothing is closed."""
        asked, none = self.asked, np.zeros((0, 2, 3))
        won = np.full(len(asked.ends), np.inf)
        pieces, pool = self.recorded, self.pool
        return Closed(pieces, asked.ends, asked.met, asked.rivals, won, pool, none)

    def _needs(self, found: Candidates, drawn: Array, owner: Ints) -> sparse.csr_matrix:
        """Return, for extensions that end at no standing wall, those at which they end."""
        on = np.flatnonzero(found.kind == EXTENSION)
        way = drawn[on, 1] - drawn[on, 0]
        way /= np.hypot(way[:, 0], way[:, 1])[:, None]
        near = drawn[on, 0] + way * np.maximum(found.gap_m[on, :1] - TIP_M, 0.0)
        far = drawn[on, 0] + way * (found.gap_m[on, :1] + AHEAD_M)
        tips = np.stack([near, far], axis=1)
        tip, wall = self.walls.met(tips)
        stretch = self.asked.ends.stretch[found.one[on]]
        held = np.zeros(len(on), dtype=bool)
        held[tip[self.walls.stretch[wall] != stretch[tip]]] = True
        tree = shapely.STRtree(shapely.linestrings(drawn))
        tip, by = tree.query(shapely.linestrings(tips), predicate="intersects")
        other = ~held[tip] & (owner[by] != on[tip])
        pair = np.unique(np.stack([on[tip[other]], owner[by[other]]], axis=1), axis=0)
        count = len(found.one)
        upheld = sparse.csr_matrix((np.ones(len(pair)), pair.T), shape=(count, count))
        bare = on[~held]
        itself = sparse.csr_matrix((np.ones(len(bare)), (bare, bare)), shape=(count, count))
        return (itself - upheld)[bare]


class Known(AtOnce):
    """All that the rounds ever weighed, chosen from all at once."""

    known: Candidates | None = None

    def begin(self, beside: Bools) -> None:
        """Keep the state that rounds begin with."""
        super().begin(beside)
        lists = (list(values) for values in vars(self.made).values())
        self.fresh = self.walls, self.asked, Closings(*lists), self.first

    def go_on(self, limit: float, beyond: float) -> None:
        """Go on as the product does, and weigh dear closings too."""
        _State.go_on(self, limit, MOST)

    def end(self) -> Closed:
        """Begin anew with all that was weighed."""
        pool = plausible._once(together(self.considered))
        self.known = pool.pick(pool.cost <= MOST)
        self.walls, self.asked, self.made, self.first = self.fresh
        AtOnce.go_on(self, MOST, 0.0)
        return super().end()

    def _weighed(self, dearest: float) -> Candidates:
        return super()._weighed(dearest) if self.known is None else self.known


def _sorted(found: Candidates, asked: Asked) -> Candidates:
    """Return candidates in an order that input leaves no trace in."""
    xy = np.append(asked.ends.xy.round(6), [[np.inf, np.inf]], axis=0)
    (x, y), (u, v) = xy[found.one].T, xy[found.other].T
    return found.pick(np.lexsort([v, u, y, x, found.kind, found.cost.round(9)]))


def _rows(race: plausible.Race, needs: sparse.csr_matrix) -> tuple[sparse.csr_matrix, Array]:
    """Return the rows of the programme: ends used once, what excludes what, what needs what.

    As in rounds, what costs no more excludes what stands in its way, or asks at an end that it
    leaves nothing to ask for; what was closed before such an end was met stays.
    """
    found, count = race.found, len(race.found.one)
    two = np.flatnonzero(found.other >= 0)
    end, uses = np.r_[found.one, found.other[two]], np.r_[np.arange(count), two]
    once = sparse.csr_matrix((np.ones(len(end)), (end, uses)), shape=(race.ends, count))
    meets = np.unique(np.stack([race.meets, race.met], axis=1), axis=0)
    at = once[meets[:, 1]].tocoo()
    by = meets[at.row, 0]
    asks = (by != at.col) & (found.cost[by] <= found.cost[at.col])
    row = np.r_[at.row[asks], np.arange(len(meets))]
    col = np.r_[at.col[asks], meets[:, 0]]
    asked = sparse.csr_matrix((np.ones(len(row)), (row, col)), shape=(len(meets), count))
    first, then = race.bars, race.barred
    chosen = (first != then) & (found.cost[first] <= found.cost[then])
    pair = np.sort(np.stack([first, then], axis=1)[chosen].astype(np.int64), axis=1)
    pair = np.unique(pair, axis=0)
    row = np.repeat(np.arange(len(pair)), 2)
    apart = sparse.csr_matrix((np.ones(len(row)), (row, pair.ravel())), shape=(len(pair), count))
    most_one = sparse.vstack([once, asked, apart], format="csr")
    most_one = most_one[np.flatnonzero(most_one.getnnz(axis=1) > 1)]
    bound = np.r_[np.ones(most_one.shape[0]), np.zeros(needs.shape[0])]
    return sparse.vstack([most_one, needs], format="csr"), bound


class WorthLess(AtOnce):
    """The same with the worth that did best in a few trials on small towns of both makers."""

    worth = 3.5


class WorthByEnd(AtOnce):
    """The same, a closing that uses two ends being worth twice as much."""

    by_end = True


DESIGNS: dict[str, type[AtOnce] | None] = {
    "rounds": None,
    "at once": AtOnce,
    "at once, of all that rounds weighed": Known,
    "at once, worth 3.5": WorthLess,
    "at once, worth 6 an end": WorthByEnd,
}


def rooms_by(design: str, drawn: Surveyed) -> tuple[npt.NDArray[np.object_], float]:
    """Return the spaces that a design finds, and the processor time of the joining [s]."""
    chosen = DESIGNS[design]
    how = mock.patch.object(closings, "_State", chosen) if chosen else nullcontext()
    start = time.process_time()
    with how:
        network = joined(drawn)
    return spaces(network), time.process_time() - start


def one_town(maker: str, damage: Damage, houses: int, seed: int) -> Array:
    """Return F1, precision and time [s] of every design on one town, shape (designs, 3)."""
    town = make(maker, houses, seed)
    drawn = MAKERS[maker][1](town, damage, seed)
    truth, reach = (town.floors, 1.0) if damage.faces == "face" else (town.spaces, 0.1)
    rows = []
    for design in DESIGNS:
        found, taken_s = rooms_by(design, drawn)
        got = score(truth, found, reach)
        rows.append((got.f1, got.precision, taken_s))
    return np.array(rows)


def trials(makers: Sequence[str], seeds: int = SEEDS) -> Iterator[tuple[str, Array]]:
    """Yield the means over towns of every maker, way of drawing and damage."""
    for maker in makers:
        for faces, houses in HOUSES.items():
            for name, damage in REGIMES.items():
                regime = replace(damage, faces=faces)
                got = [one_town(maker, regime, houses, FIRST_SEED + k) for k in range(seeds)]
                yield f"{maker}, {faces}, {name}", np.mean(got, axis=0)


def main(makers: Sequence[str]) -> None:
    """Print F1, precision and time of every design, a row a kind of town."""
    print(f"| towns | {' | '.join(DESIGNS)} |\n|{'---|' * (len(DESIGNS) + 1)}")
    for name, means in trials(makers or list(MAKERS)):
        cells = (f"{f1:.3f}, {precision:.3f}, {time_s:.1f} s" for f1, precision, time_s in means)
        print(f"| {name} | {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
