"""Faces that were missing: of all that was weighed, the edges that part wall from open ground.

Closings are chosen end by end; what is wall and what is open is told over the whole linework
afterwards (`solid`), and a weighed closing stands where it lies between the two, chosen or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wrackline.model import WallSettings
from wrackline.walls import solid
from wrackline.walls.closings import Closed, weighed
from wrackline.walls.coverage import Coverage, Tracing
from wrackline.walls.facing import Sided, sides_of_closings, sides_of_pieces
from wrackline.walls.linework import Array, Ints, Linework, Pieces, join_pieces

Bools = npt.NDArray[np.bool_]

NONE = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Phase:
    """The walls of one phase, their gaps closed.

    Attributes
    ----------
    closed : Closed
    side, side_closing : array of int, shape (r,) and (c,)
        On which side of each of its recorded pieces, and of each closing, the wall lies whose face
        it is.
    usual_m : float
        The usual thickness of its walls, 0 where no two faces were traced [m].
    weighed : Pieces
        What was weighed for closings and not made; none where no two faces were traced.
    in_line : array of bool
        Which of `weighed` lie in the gap between two ends.
    """

    closed: Closed
    side: Ints
    side_closing: Ints
    usual_m: float
    weighed: Pieces
    in_line: Bools


def phase_of(
    work: Linework,
    recorded: Pieces,
    sided: Sided,
    closed: Closed,
    settings: WallSettings,
    margin: float,
) -> Phase:
    """Return a phase whose gaps were closed, with what was weighed for them.

    Parameters
    ----------
    work : Linework
    recorded : Pieces
        The recorded pieces that stand in the phase.
    sided : Sided
        On which side of them the walls lie.
    closed : Closed
    settings : WallSettings
    margin : float
        See `closings.weighed`.
    """
    if not sided.side.any():
        return Phase(
            closed=closed,
            side=sided.side,
            side_closing=np.zeros(len(closed.pieces), dtype=np.int64),
            usual_m=sided.usual_m,
            weighed=closed.pieces.pick(NONE),
            in_line=np.zeros(0, dtype=bool),
        )
    ends = recorded.ends(work.xyz)[:, :, :2]
    closings = closed.pieces.ends(work.xyz)[:, :, :2]
    others, in_line = weighed(closed, work.xyz[:, :2], settings, margin)
    return Phase(
        closed=closed,
        side=sided.side,
        side_closing=sides_of_closings(closings, ends, sided.side),
        usual_m=sided.usual_m,
        weighed=others,
        in_line=in_line,
    )


def sides_in(work: Linework, part: Coverage, tracing: Tracing, thickest_m: float) -> Sided:
    """Return on which side of the recorded pieces of a phase their walls lie."""
    face, random = tracing.face[part.pieces.line], tracing.random_m[part.pieces.line]
    ends = part.pieces.ends(work.xyz)[:, :, :2]
    return sides_of_pieces(ends, part.stretch, face, random, thickest_m)


@dataclass(frozen=True)
class Laid:
    """All pieces of all phases in a row: recorded, closings by phase, what was weighed by phase.

    Attributes
    ----------
    pieces : Pieces
    firm : int
        How many were recorded or closed; the rest was weighed.
    stands : array of bool, shape (m, p)
        In which phases recorded pieces stand.
    number : array of int, shape (p,)
        Which of the phases that differ each is.
    phase : array of int, shape (n,)
        Which of the phases that differ each piece was closed or weighed in; -1 for recorded ones.
    phases : sequence of Phase
        Those that differ.
    """

    pieces: Pieces
    firm: int
    stands: Bools
    number: Ints
    phase: Ints
    phases: Sequence[Phase]

    @property
    def recorded(self) -> int:
        """How many pieces were recorded."""
        return len(self.stands)

    def first(self, number: int) -> int:
        """Return the first phase of those that are alike."""
        return int(np.argmax(self.number == number))

    def there(self) -> Bools:
        """Return in which phases each piece is, shape (n, p)."""
        there = self.phase[:, None] == self.number
        there[: self.recorded] = self.stands
        return np.asarray(there)

    def sides(self, number: int) -> Ints:
        """Return on which side of each piece the wall lies in a phase, shape (n,)."""
        phase = self.phases[number]
        side = np.zeros(len(self.pieces), dtype=np.int64)
        side[: self.recorded][self.stands[:, self.first(number)]] = phase.side
        side[: self.firm][self.phase[: self.firm] == number] = phase.side_closing
        return side

    def in_line(self, number: int) -> Bools:
        """Return which pieces were weighed in a phase for a gap between two ends, shape (n,)."""
        lies = np.zeros(len(self.pieces), dtype=bool)
        lies[self.firm :][self.phase[self.firm :] == number] = self.phases[number].in_line
        return lies


def lay(recorded: Pieces, phases: Sequence[Phase], stands: Bools, number: Ints) -> Laid:
    """Return all pieces of phases in a row, see `Laid`."""
    parts = [recorded, *(p.closed.pieces for p in phases), *(p.weighed for p in phases)]
    of = [-1, *range(len(phases)), *range(len(phases))]
    return Laid(
        pieces=join_pieces(parts),
        firm=sum(len(part) for part in parts[: len(phases) + 1]),
        stands=stands,
        number=number,
        phase=np.repeat(of, [len(part) for part in parts]),
        phases=phases,
    )


def tell(
    laid: Laid, edges: Array, own: Ints, beside: tuple[Ints, Bools], number: int, thickest_m: float
) -> tuple[Ints, Bools]:
    """Return what lies left and right of a phase's edges, and which of them stand.

    Parameters
    ----------
    laid : Laid
    edges : array, shape (k, 2, 2)
        Ends of the edges of the phase [m].
    own : array of int, shape (k,)
        The first piece of the phase that each lies on.
    beside : pair of array, shape (k,)
        See `by_pieces`.
    number : int
        Of the phase, among those that differ.
    thickest_m : float
        No wall is thicker [m].

    Returns
    -------
    lies : array of int, shape (k, 2)
    stands : array of bool, shape (k,)
    """
    firm = own < laid.firm
    side, in_line = beside
    closing = firm & (own >= laid.recorded)
    lying = solid.Lying(own < laid.recorded, closing, side, in_line)
    lies = solid.told_apart(edges, lying, laid.phases[number].usual_m, thickest_m)
    return lies, firm | (lies[:, 0] != lies[:, 1])


def by_pieces(
    laid: Laid, ends: Array, edges: Array, along: tuple[Ints, Ints], number: int
) -> tuple[Ints, Bools]:
    """Return what all pieces of a phase along each edge say of it, recorded ones before closings.

    Parameters
    ----------
    laid : Laid
    ends : array, shape (n, 2, 2)
        Ends of its pieces [m].
    edges : array, shape (k, 2, 2)
        Ends of all edges [m].
    along : pair of array of int
        Every pair of an edge and a piece along it, see `noding.noded_along`.
    number : int
        Of the phase, among those that differ.

    Returns
    -------
    side : array of int, shape (k,)
        On which side of each edge the wall lies; 0 where nothing tells, or as much for either.
    in_line : array of bool, shape (k,)
        Whether it lies along a gap between two ends that was weighed.
    """
    edge, piece = along
    step, run = edges[edge, 1] - edges[edge, 0], ends[piece, 1] - ends[piece, 0]
    side = np.where((step * run).sum(axis=1) > 0, 1, -1) * laid.sides(number)[piece]
    recorded = piece < laid.recorded
    first, then = (np.bincount(edge, side * of, len(edges)) for of in (recorded, ~recorded))
    in_line = np.zeros(len(edges), dtype=bool)
    np.logical_or.at(in_line, edge, laid.in_line(number)[piece])
    return np.sign(np.where(first != 0, first, then)).astype(np.int64), in_line


def first_pieces(along: tuple[Ints, Ints], there: Bools) -> Ints:
    """Return the first piece of those in a phase that each edge lies on, shape (k,).

    The number of pieces where there is none.

    Parameters
    ----------
    along : pair of array of int
        Every pair of an edge and a piece along it, see `noding.noded_along`.
    there : array of bool, shape (n,)
        Which pieces are in the phase.
    """
    edge, piece = along
    inside = there[piece]
    first = np.full(int(edge.max(initial=-1)) + 1, len(there), dtype=np.int64)
    np.minimum.at(first, edge[inside], piece[inside])
    return first
