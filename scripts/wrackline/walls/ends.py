"""Ends of recorded lines: where each is, which way it looks, what it is tied to.

Beside the ends of lines there are *jamb ends*: where a face turns at a jamb, or one was drawn
across its end, the face may go on beyond a doorway, so it looks on as an end would.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from wrackline.walls.coverage import Coverage, Tracing
from wrackline.walls.linework import Array, Ints, Linework
from wrackline.walls.stretches import Stretches, cross, lengths_and_ways, runs_of

TOUCH_M = 0.002
JAMB_MAX_M = 1.7
"""No jamb is longer: a wall is hardly thicker (no source)."""

JAMB_REACH_M = 0.35
"""A jamb drawn as its own line ends this near the face that it belongs to (no source)."""

ACROSS = 0.85
"""Sine of the angle from which a stretch runs across another."""

LEAST_FACE_M = 0.12


@dataclass(frozen=True)
class Ends:
    """Ends of the recorded pieces that stand.

    Attributes
    ----------
    far, near : array of int, shape (n,)
        Vertices that the end is tied to: it lies at `far + share (near - far)`, looking on.
    share : array, shape (n,)
    xy, along : array, shape (n, 2)
        Position [m] and outward unit vector.
    reach : array, shape (n,)
        From vertex `far` to vertex `near` [m].
    line, stretch, run, piece : array of int, shape (n,)
        The line, straight stretch, unbroken run of pieces and piece that it ends.
    run_m : array, shape (n,)
        Length of that run [m].
    bend : array, shape (n,)
        Turn of the curve that it ends, 0 for a straight wall [rad].
    jamb : array of bool, shape (n,)
        Whether it is a jamb end.
    """

    far: Ints
    near: Ints
    share: Array
    xy: Array
    along: Array
    reach: Array
    line: Ints
    stretch: Ints
    run: Ints
    piece: Ints
    run_m: Array
    bend: Array
    jamb: npt.NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.far)

    def pick(self, chosen: Ints) -> Ends:
        """Return the chosen ends only."""
        return Ends(*(values[chosen] for values in vars(self).values()))

    def ties(self, ahead_m: Array) -> Array:
        """Return ties (vertex, vertex, share) of places ahead of the ends, shape (n, 3)."""
        return np.column_stack([self.far, self.near, self.share + ahead_m / self.reach])


def ends_of(work: Linework, stretches: Stretches, covered: Coverage, tracing: Tracing) -> Ends:
    """Return all ends, jamb ends last."""
    xy = work.xyz[:, :2]
    places = covered.pieces.ends(work.xyz)[:, :, :2]
    run = runs_of(_continues(covered, places))
    starts = np.flatnonzero(np.diff(run, prepend=-1)).astype(np.int64)
    stops = np.flatnonzero(np.diff(run, append=len(run) + 1)).astype(np.int64)
    steps = lengths_and_ways(places[:, 1] - places[:, 0])[0]
    size = np.bincount(run, steps).astype(float)
    around = lengths_and_ways(places[starts, 0] - places[stops, 1])[0] <= TOUCH_M
    made = [
        _at(xy, stretches, covered, piece[~around], run, size, side)
        for piece, side in ((starts, 0), (stops, 1))
    ]
    ends = _together(made)
    turned = _turns(xy, stretches, covered, run, tracing)
    copies = _at_jambs(ends, tracing)
    return _together([ends, turned, copies])


def _together(parts: list[Ends]) -> Ends:
    return Ends(*(np.concatenate(v) for v in zip(*(vars(p).values() for p in parts), strict=True)))


def _continues(covered: Coverage, places: Array) -> npt.NDArray[np.bool_]:
    """Tell whether each piece goes on from the one before."""
    line = covered.pieces.line
    goes = np.zeros(len(line), dtype=bool)
    step = places[1:, 0] - places[:-1, 1]
    goes[1:] = (line[1:] == line[:-1]) & (np.abs(step).max(axis=1, initial=0) == 0)
    return goes


def _at(
    xy: Array,
    stretches: Stretches,
    covered: Coverage,
    piece: Ints,
    run: Ints,
    size: Array,
    side: int,
) -> Ends:
    """Return the ends at one side (0 start, 1 stop) of pieces."""
    stretch = covered.stretch[piece]
    single = stretches.last[stretch] - stretches.first[stretch] == 1
    cut = covered.pieces.vertices[piece, side]
    vertex = np.where(cut[:, 0] == cut[:, 1], cut[:, 0], cut[:, side])
    share = covered.pieces.share[piece, side]
    trimmed = single & (cut[:, 0] != cut[:, 1])
    far = stretches.first[stretch] if side else stretches.last[stretch]
    share = np.where(trimmed, share if side else 1 - share, 1.0)
    reach, along = lengths_and_ways(xy[vertex] - xy[far])
    return Ends(
        far=far,
        near=vertex,
        share=share,
        xy=xy[far] + (xy[vertex] - xy[far]) * share[:, None],
        along=along,
        reach=reach,
        line=covered.pieces.line[piece],
        stretch=stretch,
        run=run[piece],
        piece=piece,
        run_m=size[run[piece]],
        bend=stretches.bend(stretch, -1 if side else 1),
        jamb=np.zeros(len(piece), dtype=bool),
    )


def _turns(xy: Array, stretches: Stretches, covered: Coverage, run: Ints, tracing: Tracing) -> Ends:
    """Return jamb ends where a face turns into a jamb within its line."""
    stands = np.bincount(covered.stretch, minlength=len(stretches.first))
    whole = stands == stretches.last - stretches.first
    before = np.flatnonzero(stretches.last[:-1] == stretches.first[1:])
    across = np.abs(cross(stretches.along[before], stretches.along[before + 1])) > ACROSS
    faces = tracing.face[stretches.line[before]]
    before = before[across & faces & whole[before] & whole[before + 1]]
    at = np.arange(len(covered.stretch))
    first, last = np.full(len(stands), -1), np.full(len(stands), -1)
    first[covered.stretch[::-1]], last[covered.stretch] = at[::-1], at
    stop = before[_is_jamb(stretches, before + 1, before)]
    start = before[_is_jamb(stretches, before, before + 1)] + 1
    made = []
    for stretch, piece, side in ((stop, last, 1), (start, first, 0)):
        size = np.zeros(int(run.max(initial=-1)) + 1)
        ends = _at(xy, stretches, covered, piece[stretch], run, size, side)
        values = vars(ends) | {"jamb": ~ends.jamb, "run_m": stretches.length[stretch]}
        made.append(Ends(**values))
    return _together(made)


def _is_jamb(stretches: Stretches, jamb: Ints, face: Ints) -> npt.NDArray[np.bool_]:
    short = stretches.length[jamb] <= JAMB_MAX_M
    return np.asarray(short & (stretches.length[face] > LEAST_FACE_M))


def _at_jambs(ends: Ends, tracing: Tracing) -> Ends:
    """Return jamb ends where a face ends at a jamb that was drawn as its own line."""
    face = np.flatnonzero(tracing.face[ends.line])
    short = face[ends.reach[face] <= JAMB_MAX_M]
    if not len(short):
        return ends.pick(short)
    near = cKDTree(ends.xy[face]).sparse_distance_matrix(
        cKDTree(ends.xy[short]), JAMB_REACH_M, output_type="coo_matrix"
    )
    one, other = face[near.row], short[near.col]
    sine = np.abs(cross(ends.along[one], ends.along[other]))
    chosen = (sine > ACROSS) & (ends.stretch[one] != ends.stretch[other])
    copies = ends.pick(np.unique(one[chosen]))
    return Ends(**(vars(copies) | {"jamb": np.ones(len(copies), dtype=bool)}))
