"""The team's decisions about closings: which are made or kept out, which are drawn by hand.

A decision is tied to a place, so that it lasts when lines are surveyed anew. What became of each is
reported; where a wall recorded since speaks against it, that is said. A line drawn by hand ends at
recorded walls; where none is near, at what else was drawn or closed there, or free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.model import Decision
from wrackline.walls.by_hand import REACH_M, drawn_places
from wrackline.walls.candidates import Candidates, Walls, feet_at, foot_on
from wrackline.walls.linework import DRAWN, RECORDED, Array, Ints, Pieces

Bools = npt.NDArray[np.bool_]

SLIP_M = 0.05
"""A closing is meant only by a place nearer than half of what it bridges, and this."""

FIRM = 20.0
"""By this much is a confirmed closing cheaper, and no other comes before it."""

UNTIED = {
    "draw": "it has no length, or no surveyed walls around it that it can be tied to",
    "split": f"one of its ends has no wall, closing or drawn line within {REACH_M:g} m",
}
"""Why a line was not drawn."""

FOLLOWED, OVERTAKEN, AGAINST, IDLE = "followed", "overtaken", "contradicted", "no effect"
ON_PLAN = ("confirm", "forbid", "draw", "split")
"""Decisions that the joining of walls follows; the others wait for the rooms."""


@dataclass(frozen=True)
class Outcome:
    """What became of a decision: one of `FOLLOWED`, `OVERTAKEN`, `AGAINST`, `IDLE`, and why."""

    outcome: str
    because: str


@dataclass(frozen=True)
class Decided:
    """Decisions as the joining of walls follows them.

    Attributes
    ----------
    decisions : tuple of Decision
    drawn : array, shape (d, 2, 3)
        Ties of the pieces drawn by hand from recorded wall to recorded wall.
    waiting : tuple of Decision
        Those that draw a piece with an end elsewhere, see `by_hand`.
    """

    decisions: tuple[Decision, ...]
    drawn: Array
    waiting: tuple[Decision, ...] = ()

    def places(self, kind: str) -> Array:
        """Return the places of the decisions of a kind, shape (n, 2) [m]."""
        found = [d.place for d in self.decisions if d.decision == kind]
        return np.array(found, dtype=float).reshape(-1, 2)

    def priced(self, found: Candidates, drawn: Array) -> Candidates:
        """Return candidates, those forbidden left out, those confirmed at a cost below all others.

        Parameters
        ----------
        found : Candidates
        drawn : array, shape (c, 2, 2, 2)
            Ends of both pieces of each [m].
        """
        cost = found.cost.copy()
        for place in self.places("confirm"):
            near, away = _about(place, drawn, found.gap_m)
            if len(near):
                cost[near[np.lexsort([cost[near], away.round(1)])[0]]] -= FIRM
        kept = np.ones(len(cost), dtype=bool)
        for place in self.places("forbid"):
            kept[_about(place, drawn, found.gap_m)[0]] = False
        return replace(found, cost=cost).pick(kept)

    def allowed(self, ends: Array, gap_m: Array) -> Bools:
        """Tell which pieces no decision keeps out, shape (n,); ends (n, 2, 2) [m]."""
        kept = np.ones(len(ends), dtype=bool)
        for place in self.places("forbid"):
            kept[_about(place, ends[:, None], gap_m[:, None])[0]] = False
        return kept


def _about(place: Array, drawn: Array, gap_m: Array) -> tuple[Ints, Array]:
    """Return which closings a place means, and how far it is from each [m]."""
    away = shapely.distance(shapely.linestrings(drawn), shapely.Point(place))
    away = np.where(gap_m > 0, away, np.inf).min(axis=1)
    reach = np.minimum(REACH_M, gap_m.sum(axis=1) / 2 + SLIP_M)
    near = np.flatnonzero(away <= reach)
    return near, away[near]


def decide(decisions: Sequence[Decision], recorded: Pieces, ends: Array) -> Decided:
    """Return decisions with the ties of what they draw.

    Parameters
    ----------
    decisions : sequence of Decision
    recorded : Pieces
        The recorded pieces that stand.
    ends : array, shape (m, 2, 2)
        Their ends [m].
    """
    drawing = [d for d in decisions if d.decision in ("draw", "split") and d.to_place is not None]
    if not len(ends) or not drawing:
        return Decided(tuple(decisions), np.zeros((0, 2, 3)))
    ties, on_wall = _feet(drawn_places(drawing), recorded, ends)
    both = np.asarray(on_wall.all(axis=1))
    waiting = tuple(drawing[k] for k in np.flatnonzero(~both).tolist())
    return Decided(tuple(decisions), ties[both], waiting)


def _feet(places: Array, recorded: Pieces, ends: Array) -> tuple[Array, Bools]:
    """Return the ties of places (d, 2, 2) to the recorded wall nearest to each; which are near."""
    flat = places.reshape(-1, 2)
    away = shapely.distance(shapely.linestrings(ends), shapely.points(flat)[:, None])
    nearest = away.argmin(axis=1)
    walls = Walls(ends, np.zeros(len(ends), dtype=np.int64))
    ties = feet_at(recorded, nearest, foot_on(walls, nearest, flat)[0])
    return ties.reshape(-1, 2, 3), (away.min(axis=1) <= REACH_M).reshape(-1, 2)


def outcomes(
    decisions: Sequence[Decision], pieces: Pieces, ends: Array, lines: gpd.GeoDataFrame
) -> list[Outcome | None]:
    """Return what became of each decision; None of those that wait for the rooms.

    Parameters
    ----------
    decisions : sequence of Decision
    pieces : Pieces
        Recorded pieces and closings as they stand.
    ends : array, shape (m, 2, 2)
        Their ends [m].
    lines : GeoDataFrame
        `LINE_COLUMNS` of the recorded lines.
    """
    shapes = shapely.linestrings(ends)
    recorded = pieces.kind == RECORDED
    found: list[Outcome | None] = []
    for d in decisions:
        if d.decision not in ON_PLAN:
            found.append(None)
        elif d.to_place is not None:
            found.append(_of_drawn(d, pieces, shapes, lines))
        else:
            near = shapely.distance(shapes, shapely.Point(d.place)) <= REACH_M
            found.append(
                _of_closing(d, pieces.line[near & recorded], (near & ~recorded).any(), lines)
            )
    return found


def _of_closing(decision: Decision, walls: Ints, closed: bool, lines: gpd.GeoDataFrame) -> Outcome:
    """Return what became of a closing confirmed or forbidden."""
    later = since(decision, walls, lines)
    if decision.decision == "forbid":
        if later:
            return Outcome(AGAINST, f"a wall was recorded there since: {later}")
        return Outcome(FOLLOWED, "no closing was made there")
    if closed:
        return Outcome(FOLLOWED, "the closing stands")
    if later:
        return Outcome(OVERTAKEN, f"a wall was recorded there since: {later}")
    return Outcome(IDLE, f"nothing to close within {REACH_M:g} m of the place")


def since(decision: Decision, rows: Ints, lines: gpd.GeoDataFrame) -> str:
    """Return the surveys of lines (rows of `lines`) recorded after the day of a decision."""
    named = lines.iloc[np.unique(rows)]
    later = named["from_date"].astype(str) > decision.date.isoformat()
    return ", ".join(sorted(set(named.loc[later, "survey"])))


def _of_drawn(
    decision: Decision, pieces: Pieces, shapes: npt.NDArray[np.object_], lines: gpd.GeoDataFrame
) -> Outcome:
    """Return what became of a line drawn by hand."""
    drawn = shapely.LineString([decision.place, decision.to_place])
    stands = shapes[pieces.kind == DRAWN]
    off = shapely.hausdorff_distance(stands, drawn) if len(stands) else np.array([np.inf])
    if off.min() > 2 * REACH_M:
        return Outcome(IDLE, UNTIED[decision.decision])
    recorded = pieces.kind == RECORDED
    along = shapely.length(shapely.intersection(shapes[recorded], drawn.buffer(REACH_M)))
    inner = drawn.segmentize(drawn.length / 4).coords[1:4]
    crossed = shapely.crosses(shapes[recorded], shapely.LineString(inner))
    rows = pieces.line[recorded]
    beside = since(decision, rows[along > 0.5 * drawn.length], lines)
    across = since(decision, rows[crossed], lines)
    if across:
        return Outcome(AGAINST, f"a wall recorded since runs across it: {across}")
    if beside:
        return Outcome(OVERTAKEN, f"a wall was recorded along it since: {beside}")
    mine = np.flatnonzero(pieces.kind == DRAWN)[int(off.argmin())]
    free = _free_ends(shapes[mine], np.delete(shapes, mine))
    return Outcome(FOLLOWED, "drawn, with a free end: it bounds no space" if free else "drawn")


def _free_ends(line: shapely.Geometry, others: npt.NDArray[np.object_]) -> bool:
    """Tell whether an end of a line touches no other."""
    ends = shapely.points(shapely.get_coordinates(line))
    return bool(
        (shapely.distance(ends[:, None], others).min(axis=1, initial=np.inf) > SLIP_M).any()
    )
