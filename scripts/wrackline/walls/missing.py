"""Faces that were missing: of all that was weighed, the edges that part wall from open ground.

Closings are chosen end by end; what is wall and what is open is told over the whole linework
afterwards (`solid`), and a weighed closing stands where it lies between the two, chosen or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wrackline.model import Decision, WallSettings
from wrackline.walls import solid
from wrackline.walls.closings import Closed, close_gaps, weighed
from wrackline.walls.coverage import Coverage, Tracing
from wrackline.walls.facing import sides_of_closings, sides_of_pieces
from wrackline.walls.linework import Array, Ints, Linework, Pieces, join_pieces
from wrackline.walls.planar import lying_on
from wrackline.walls.stretches import Stretches

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Phase:
    """The walls of one phase, their gaps closed.

    Attributes
    ----------
    first : int
        The first phase that is like it.
    recorded : array of int, shape (r,)
        Which of all recorded pieces stand in it.
    closed : Closed
    side, side_closing : array of int, shape (r,) and (c,)
        On which side of each recorded piece, and of each closing, the wall lies whose face it is.
    usual_m : float
        The usual thickness of its walls, 0 where no two faces were traced [m].
    weighed : Pieces
        What was weighed for closings, made or not; none where no two faces were traced.
    in_line : array of bool
        Which of `weighed` lie in the gap between two ends.
    """

    first: int
    recorded: Ints
    closed: Closed
    side: Ints
    side_closing: Ints
    usual_m: float
    weighed: Pieces
    in_line: Bools


def close_phase(
    work: Linework,
    stretches: Stretches,
    covered: Coverage,
    phase: int,
    stands: Bools,
    tracing: Tracing,
    settings: WallSettings,
    decisions: Sequence[Decision],
    beyond: float,
) -> Phase:
    """Return the walls of a phase, closed; see `close_gaps`.

    Parameters
    ----------
    phase : int
    stands : array of bool, shape (m, p)
        In which phases the recorded pieces of `covered` stand.
    beyond : float
        By how much dearer closings are weighed where walls were traced by their faces.
    """
    there = stands[:, phase]
    part = covered.pick(there)
    face, random = tracing.face[part.pieces.line], tracing.random_m[part.pieces.line]
    ends = part.pieces.ends(work.xyz)[:, :, :2]
    sided = sides_of_pieces(ends, part.stretch, face, random, settings.wall_max_thickness_m)
    closed = close_gaps(work, stretches, part, tracing, settings, decisions, beyond=beyond)
    closings = closed.pieces.ends(work.xyz)[:, :, :2]
    others, in_line = weighed(closed, work.xyz[:, :2], settings, beyond)
    if not sided.side.any():
        none = np.zeros(len(others), dtype=bool)
        others, in_line = others.pick(none), in_line[none]
    return Phase(
        first=phase,
        recorded=np.flatnonzero(there),
        closed=closed,
        side=sided.side,
        side_closing=sides_of_closings(closings, ends, sided.side),
        usual_m=sided.usual_m,
        weighed=others,
        in_line=in_line,
    )


@dataclass(frozen=True)
class Laid:
    """All pieces of all phases in a row: recorded, closings by phase, what was weighed by phase.

    Attributes
    ----------
    pieces : Pieces
    firm : int
        How many were recorded or closed; the rest was weighed.
    recorded : int
        How many were recorded.
    phase : array of int, shape (n,)
        The phase (of those that differ) of each; -1 for recorded pieces.
    phases : sequence of Phase
        Those that differ.
    """

    pieces: Pieces
    firm: int
    recorded: int
    phase: Ints
    phases: Sequence[Phase]

    def sides(self, number: int) -> Ints:
        """Return on which side of each piece the wall lies in a phase, shape (n,)."""
        phase = self.phases[number]
        side = np.zeros(len(self.pieces), dtype=np.int64)
        side[phase.recorded] = phase.side
        side[: self.firm][self.phase[: self.firm] == number] = phase.side_closing
        return side

    def in_line(self, number: int) -> Bools:
        """Return which pieces were weighed in a phase for a gap between two ends, shape (n,)."""
        lies = np.zeros(len(self.pieces), dtype=bool)
        lies[self.firm :][self.phase[self.firm :] == number] = self.phases[number].in_line
        return lies


def lay(recorded: Pieces, phases: Sequence[Phase]) -> Laid:
    """Return all pieces of phases in a row."""
    parts = [recorded, *(p.closed.pieces for p in phases), *(p.weighed for p in phases)]
    number = [-1, *range(len(phases)), *range(len(phases))]
    return Laid(
        pieces=join_pieces(parts),
        firm=sum(len(part) for part in parts[: len(phases) + 1]),
        recorded=len(recorded),
        phase=np.repeat(number, [len(part) for part in parts]),
        phases=phases,
    )


def tell(laid: Laid, ends: Array, edges: Array, own: Ints, number: int) -> tuple[Ints, Bools]:
    """Return what lies left and right of a phase's edges, and which of them stand.

    Parameters
    ----------
    laid : Laid
    ends : array, shape (n, 2, 2)
        Ends of its pieces [m].
    edges : array, shape (k, 2, 2)
        Ends of the edges of the phase [m].
    own : array of int, shape (k,)
        The first piece of the phase that each lies on.
    number : int
        Of the phase, among those that differ.

    Returns
    -------
    lies : array of int, shape (k, 2)
    stands : array of bool, shape (k,)
    """
    along = ((edges[:, 1] - edges[:, 0]) * (ends[own, 1] - ends[own, 0])).sum(axis=1)
    firm = own < laid.firm
    lying = solid.Lying(
        recorded=own < laid.recorded,
        closing=firm & (own >= laid.recorded),
        side=np.where(along > 0, 1, -1) * laid.sides(number)[own],
        in_line=laid.in_line(number)[own],
    )
    lies = solid.told_apart(edges, lying, laid.phases[number].usual_m)
    return lies, firm | (lies[:, 0] != lies[:, 1])


def first_pieces(edges: Array, ends: Array, there: Bools) -> Ints:
    """Return the first piece of those in a phase that each edge lies on, shape (k,).

    The number of pieces where there is none.

    Parameters
    ----------
    edges, ends : array, shape (k, 2, 2) and (n, 2, 2)
        Ends of edges and pieces [m].
    there : array of bool, shape (n,)
        Which pieces are in the phase.
    """
    edge, piece = lying_on(edges, ends)
    inside = there[piece]
    first = np.full(len(edges), len(ends), dtype=np.int64)
    np.minimum.at(first, edge[inside], piece[inside])
    return first
