"""Straight stretches of recorded lines: what noise of drawing leaves of their corners.

A stretch runs from a vertex of a line to a later one, with nothing between them further from its
chord than the survey's noise explains. It gives an end its direction and a wall its repeats.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.walls.linework import Array, Ints, Linework

NOISE_SDS = 3.0
"""A vertex this many sd off a chord is a corner, not noise (0.3 % of honest vertices)."""

LEAST_OFF_M = 0.02
"""No corner is less of a corner than this (no source)."""

CURVE_DEG = 40.0
"""Stretches that turn by less into each other may be parts of one curve (no source)."""


@dataclass(frozen=True)
class Stretches:
    """Straight stretches, in the order of vertices.

    Attributes
    ----------
    first, last : array of int, shape (s,)
        Vertices at both ends; those of one line follow each other.
    line : array of int, shape (s,)
        Row of the line.
    length : array, shape (s,)
        Of the chord [m].
    along : array, shape (s, 2)
        Unit vector of the chord.
    """

    first: Ints
    last: Ints
    line: Ints
    length: Array
    along: Array

    def bend(self, stretch: Ints, step: int) -> Array:
        """Return the turn into the next (step 1) or former (-1) stretch of a curve [rad].

        It is 0 where the line ends, or turns a corner.
        """
        near = np.clip(stretch + step, 0, len(self.first) - 1)
        same = (self.line[near] == self.line[stretch]) & (near != stretch)
        turn = np.abs(angle_between(self.along[stretch], self.along[near]))
        return np.where(same & (turn <= np.radians(CURVE_DEG)), turn, 0.0)

    def placed(self, work: Linework) -> Stretches:
        """Return the same stretches of lines whose vertices have been placed anew."""
        length, along = lengths_and_ways(work.xyz[self.last, :2] - work.xyz[self.first, :2])
        return Stretches(self.first, self.last, self.line, length, along)


def angle_between(one: Array, other: Array) -> Array:
    """Return the angle from one unit vector to another, -pi to pi [rad]."""
    return np.asarray(np.arctan2(cross(one, other), (one * other).sum(axis=-1)))


def cross(a: Array, b: Array) -> Array:
    """Return the z component of the cross product of plane vectors."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def dot(a: Array, b: Array) -> Array:
    """Return the scalar product of plane vectors."""
    return np.asarray(a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1])


def distinct(keys: Ints) -> Ints:
    """Return keys once each, sorted; by sorting, which many keys make faster than `np.unique`."""
    keys = np.sort(keys)
    return keys[np.flatnonzero(np.diff(keys, prepend=keys[:1] - 1))]


def at_both(one: Ints, other: Ints) -> tuple[Ints, Ints]:
    """Return all pairs of places at which two lists hold the same number."""
    order = np.argsort(other, kind="stable")
    low = np.searchsorted(other[order], one, side="left")
    count = np.searchsorted(other[order], one, side="right") - low
    first = np.repeat(np.arange(len(one)), count)
    step = np.arange(len(first)) - np.repeat(np.cumsum(count) - count, count)
    return first, order[np.repeat(low, count) + step]


def lengths_and_ways(steps: Array) -> tuple[Array, Array]:
    """Return lengths, at least 1e-9, and unit vectors of steps."""
    size = np.maximum(np.hypot(steps[..., 0], steps[..., 1]), 1e-9)
    return size, steps / size[..., None]


def stretches_of(work: Linework, sd_m: Array) -> Stretches:
    """Return the straight stretches of all lines.

    Parameters
    ----------
    work : Linework
    sd_m : array, shape (lines,)
        Random sd of a vertex, each axis [m].

    Returns
    -------
    Stretches
        Corners are those that GEOS's Douglas-Peucker simplification keeps.
    """
    first, last = _ends_of_stretches(work, sd_m)
    length, along = lengths_and_ways(work.xyz[last, :2] - work.xyz[first, :2])
    return Stretches(first, last, work.line[first], length, along)


def _ends_of_stretches(work: Linework, sd_m: Array) -> tuple[Ints, Ints]:
    count = np.bincount(work.line, minlength=len(work.lines))
    start = np.r_[0, np.cumsum(count)[:-1]].astype(np.int64)
    short, long = np.flatnonzero(count == 2), np.flatnonzero(count > 2)
    firsts, lasts = [start[short]], [start[short] + 1]
    if len(long):
        inside = count[work.line] > 2
        number = np.flatnonzero(inside).astype(float)
        shapes = shapely.linestrings(
            np.column_stack([work.xyz[inside, :2], number]),
            indices=np.repeat(np.arange(len(long)), count[long]),
        )
        off = np.maximum(NOISE_SDS * sd_m[long], LEAST_OFF_M)
        plain = shapely.simplify(shapes, off, preserve_topology=False)
        xyz, of = shapely.get_coordinates(plain, include_z=True, return_index=True)
        kept, same = xyz[:, 2].astype(np.int64), np.diff(of) == 0
        firsts.append(kept[:-1][same])
        lasts.append(kept[1:][same])
    first, last = np.concatenate(firsts), np.concatenate(lasts)
    order = np.argsort(first, kind="stable")
    return first[order], last[order]


def runs_of(contiguous: npt.NDArray[np.bool_]) -> Ints:
    """Return the number of the run that each item of a sequence is in.

    Parameters
    ----------
    contiguous : array of bool, shape (n,)
        Whether each item continues the one before.
    """
    return np.cumsum(~contiguous) - 1 if len(contiguous) else np.zeros(0, dtype=np.int64)
