"""The team's decisions about spaces: which are one, and which are open ground.

Two spaces are one without the edges between them; where a wall's body lies between, without what
of it lies straight across. Where a wall recorded since speaks against a decision, that is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.model import Decision, Point
from wrackline.rooms.between import Between, bounding_in, cut_off, inside, walls_between
from wrackline.rooms.faces import Faces
from wrackline.rooms.kinds import BODY, OPEN, SLIVER
from wrackline.walls.decided import AGAINST, FOLLOWED, IDLE, Outcome, since
from wrackline.walls.network import Network

Bools = npt.NDArray[np.bool_]
Kinds = npt.NDArray[np.str_]


def merged(
    decisions: Sequence[Decision], network: Network, faces: Faces, kind: Kinds, most_m: float
) -> tuple[Network, dict[int, Outcome]]:
    """Return a network without what parts spaces that the team calls one.

    Parameters
    ----------
    decisions : sequence of Decision
    network : Network
    faces : Faces
    kind : array of str, shape (f,)
    most_m : float
        Greatest thickness of a wall between two such spaces [m].

    Returns
    -------
    network : Network
        The same one where no decision changes it.
    outcomes : dict of int to Outcome
        What became of each merger, by its place among the decisions.
    """
    partings = {
        at: _parting(d.place, d.to_place, network, faces, kind, most_m)
        for at, d in enumerate(decisions)
        if d.decision == "merge" and d.to_place is not None
    }
    if not partings:
        return network, {}
    walls = [wall for parting in partings.values() for wall in parting.walls]
    cuts = [(cut, there) for wall, there in walls for cut in wall.cuts]
    phases = [there for _, there in cuts]
    cut = cut_off(network, [cut for cut, _ in cuts], phases, bounding_in(faces))
    gone = np.zeros_like(cut.standing)
    became = {}
    for at, parting in partings.items():
        mine = np.zeros_like(gone)
        mine[: len(parting.edges)] = parting.edges
        for wall, there in parting.walls:
            mine |= inside(cut, wall)[:, None] & there
        gone |= mine
        edges = np.flatnonzero((mine & cut.standing).any(axis=1))
        became[at] = _of_merger(decisions[at], edges, cut, with_body=bool(parting.walls))
    return (cut.without(gone) if gone.any() else network), became


@dataclass(frozen=True)
class Parting:
    """What parts two spaces.

    Attributes
    ----------
    edges : array of bool, shape (k, p)
        Edges that both share, by phase.
    walls : list of tuple
        Stretches of wall between them, each with the phases (p,) in which it stands.
    """

    edges: Bools
    walls: list[tuple[Between, Bools]]


def _parting(
    one: Point, other: Point, network: Network, faces: Faces, kind: Kinds, most_m: float
) -> Parting:
    """Return what parts the spaces that hold two places."""
    walls = []
    for a in _holding(one, faces, kind):
        for b in _holding(other, faces, kind):
            there = faces.standing[a] & faces.standing[b]
            if a != b and there.any():
                found = walls_between(network, faces, kind, (a, b), most_m)
                walls += [(wall, there) for wall in found]
    return Parting(_shared(one, other, faces, kind), walls)


def _shared(one: Point, other: Point, faces: Faces, kind: Kinds) -> Bools:
    """Return the edges between the spaces that hold two places, shape (k, p)."""
    sides = abs(faces.sides)
    shared = np.zeros((sides.shape[1], faces.standing.shape[1]), dtype=bool)
    here, there = _holding(one, faces, kind), _holding(other, faces, kind)
    for a in here:
        for b in there:
            both = np.intersect1d(sides[[a]].indices, sides[[b]].indices)
            if a != b:
                shared[both] |= faces.standing[a] & faces.standing[b]
    return shared


def _holding(place: Point, faces: Faces, kind: Kinds) -> list[int]:
    """Return the spaces, walls left out, that hold a place: one in each phase at most."""
    if not len(faces.polygons):
        return []
    holds = shapely.contains_xy(faces.polygons, *place) & ~np.isin(kind, (BODY, SLIVER))
    return [int(face) for face in np.flatnonzero(holds)]


def _of_merger(
    decision: Decision, edges: npt.NDArray[np.int64], network: Network, *, with_body: bool
) -> Outcome:
    if not len(edges):
        return Outcome(IDLE, "the places don't lie in two spaces with one wall between them")
    walls = network.pieces.line[network.piece[edges[network.recorded[edges]]]]
    later = since(decision, walls, network.work.lines)
    if later:
        return Outcome(AGAINST, f"a wall was recorded between them since: {later}")
    if with_body:
        return Outcome(FOLLOWED, "the two are one; the wall between them counts as floor")
    if len(walls):
        return Outcome(FOLLOWED, "the two are one; a recorded wall between them is passed over")
    return Outcome(FOLLOWED, "the two are one")


def opened(
    decisions: Sequence[Decision], faces: Faces, kind: Kinds
) -> tuple[Kinds, dict[int, Outcome]]:
    """Return the kinds of faces, those that the team calls open ground told so.

    Parameters
    ----------
    decisions : sequence of Decision
    faces : Faces
    kind : array of str, shape (f,)
    """
    kind = kind.copy()
    became = {}
    for at, decision in enumerate(decisions):
        if decision.decision == "open_ground":
            held = _holding(decision.place, faces, kind)
            kind[held] = OPEN
            why = "the space is no room" if held else "no space encloses the place"
            became[at] = Outcome(FOLLOWED if held else IDLE, why)
    return kind, became
