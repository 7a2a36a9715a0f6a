"""The team's decisions about spaces: which are one, and which are open ground.

Where a wall recorded since speaks against a decision, that is said.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.model import Decision, Point
from wrackline.rooms.faces import Faces
from wrackline.rooms.kinds import BODY, OPEN, SLIVER
from wrackline.walls.decided import AGAINST, FOLLOWED, IDLE, Outcome, since
from wrackline.walls.network import Network

Bools = npt.NDArray[np.bool_]
Kinds = npt.NDArray[np.str_]


def merged(
    decisions: Sequence[Decision], network: Network, faces: Faces, kind: Kinds
) -> tuple[Bools, dict[int, Outcome]]:
    """Return the edges that part spaces which the team calls one.

    Parameters
    ----------
    decisions : sequence of Decision
    network : Network
    faces : Faces
    kind : array of str, shape (f,)

    Returns
    -------
    edges : array of bool, shape (k, p)
        Which edges go, in which phase.
    outcomes : dict of int to Outcome
        What became of each merger, by its place among the decisions.
    """
    gone = np.zeros_like(network.standing)
    became = {}
    for at, decision in enumerate(decisions):
        if decision.decision == "merge" and decision.to_place is not None:
            shared = _shared(decision.place, decision.to_place, faces, kind)
            gone |= shared
            became[at] = _of_merger(decision, np.flatnonzero(shared.any(axis=1)), network)
    return gone, became


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


def _of_merger(decision: Decision, edges: npt.NDArray[np.int64], network: Network) -> Outcome:
    if not len(edges):
        return Outcome(IDLE, "the places don't lie in two spaces that share an outline")
    walls = network.pieces.line[network.piece[edges[network.recorded[edges]]]]
    later = since(decision, walls, network.work.lines)
    if later:
        return Outcome(AGAINST, f"a wall was recorded between them since: {later}")
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
