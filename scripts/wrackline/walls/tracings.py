"""Every tracing of a view's walls: which wall it became part of, and whether it agrees with it.

A tracing's mean offset from its wall is held against the standard uncertainty of that offset, in
which what both rest on has cancelled. All walls of a view are tested at one level, by Benjamini and
Hochberg's procedure (1995, doi:10.1111/j.2517-6161.1995.tb02031.x): where nothing disagrees, 5 % of
views name a wall at all. What disagrees has no share in its wall's place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse, special

from wrackline.uncertainty import ErrorModel, propagate
from wrackline.walls.beside import ends_on_tracing
from wrackline.walls.linework import Array, Ints
from wrackline.walls.moved import Moved
from wrackline.walls.placing import Again

Bools = npt.NDArray[np.bool_]

LEVEL = 0.05
"""Share of views without any disagreement that name one all the same."""


@dataclass(frozen=True)
class Groups:
    """Mean offsets of tracings from walls, one row a tracing and a wall.

    Attributes
    ----------
    one, wall : array of int, shape (g,)
        Line of the tracing, and the one that stands.
    of : array of int, shape (pairs,)
        Row of each pair of stretches.
    share : array, shape (pairs,)
        Share of each pair in the mean: by length, of those whose offset is known.
    length_m : array, shape (g,)
        How far the tracing runs along the wall [m].
    off_m : array, shape (g,)
        Mean offset to the left of the wall, brought together; NaN if not known [m].
    by_tracing, by_wall : sparse matrix, shape (g, 3 (v + h)) and (g, 3 n)
        Its gradient on surveyed vertices and traits, and on the wall's vertices.
    """

    one: Ints
    wall: Ints
    of: Ints
    share: Array
    length_m: Array
    off_m: Array
    by_tracing: sparse.csr_matrix
    by_wall: sparse.csr_matrix


def groups_of(again: Again) -> Groups:
    """Return the mean offset of each tracing from each wall that it runs along."""
    pairs, stretches = again.pairs, again.every.stretches
    keys = np.stack([again.traced, again.wall], axis=-1)
    group, of = np.unique(keys, axis=0, return_inverse=True)
    of, count = of.ravel(), len(group)
    known = np.isfinite(pairs.expected_m)
    length = np.where(known, pairs.length_m, 0.0)
    whole = np.bincount(of, weights=length, minlength=count)
    share = length / np.where(whole > 0, whole, 1.0)[of]
    off = np.where(known, pairs.off_m.mean(axis=1) - pairs.expected_m, 0.0)
    mean = np.bincount(of, weights=share * off, minlength=count)
    along = stretches.along[pairs.wall]
    left = np.stack([-along[:, 1], along[:, 0]], axis=1)
    slope = np.diff(pairs.off_m, axis=1)[:, 0] / pairs.length_m
    across = (left - slope[:, None] * along) * share[:, None]
    at = ends_on_tracing(again.every, pairs).mean(axis=1) / stretches.length[pairs.stretch]
    there = pairs.run_m.mean(axis=1) / stretches.length[pairs.wall]
    sources = len(again.every.work.xyz) + len(again.traits.sd_m)
    by_tracing = _on_chords(stretches.first, stretches.last, pairs.stretch, at, across, of)
    by_wall = _on_chords(stretches.first, stretches.last, pairs.wall, there, -across, of)
    by_trait = [(of, 3 * trait, -part * share) for trait, part in again.expected_by()]
    return Groups(
        one=group[:, 0],
        wall=group[:, 1],
        of=of,
        share=share,
        length_m=np.bincount(of, weights=pairs.length_m, minlength=count).astype(float),
        off_m=np.where(whole > 0, mean, np.nan),
        by_tracing=_matrix([*by_tracing, *by_trait], (count, 3 * sources)),
        by_wall=_matrix(by_wall, (count, 3 * sources)),
    )


Part = tuple[Ints, Ints, Array]


def _on_chords(
    first: Ints, last: Ints, stretch: Ints, at: Array, across: Array, of: Ints
) -> list[Part]:
    """Return the parts of gradients on both ends of stretches: row, column, value."""
    return [
        (of, 3 * end[stretch] + axis, across[:, axis] * part)
        for axis in range(2)
        for end, part in ((first, 1 - at), (last, at))
    ]


def _matrix(parts: Sequence[Part], shape: tuple[int, int]) -> sparse.csr_matrix:
    rows, columns, values = (np.concatenate(x) for x in zip(*parts, strict=True))
    matrix = sparse.csr_matrix((values, (rows, columns)), shape=shape)
    matrix.eliminate_zeros()
    return matrix


@dataclass(frozen=True)
class Sources:
    """Everything that was measured of a view's walls, see `Moved`.

    Attributes
    ----------
    moved : Moved
        Of all vertices and traits, whether any place rests on them or not.
    models : sequence of ErrorModel
    index : array of int, shape (v + h,)
        Which of them each source has.
    """

    moved: Moved
    models: Sequence[ErrorModel]
    index: Ints

    def sds(self, gradient: sparse.csr_matrix) -> Array:
        """Return the sd of figures from their gradients on all sources, shape (rows,)."""
        found = np.zeros(gradient.shape[0])
        for row in range(len(found)):
            part = slice(*gradient.indptr[row : row + 2])
            if part.start == part.stop:
                continue
            column, value = gradient.indices[part], gradient.data[part]
            source, place = np.unique(column // 3, return_inverse=True)
            grad = np.zeros((len(source), 3))
            np.add.at(grad, (place, column % 3), value)
            xyz, index = self.moved.xyz[source], self.index[source]
            found[row] = propagate(grad, xyz, index, self.models).sd
        return found


def sources_of(again: Again) -> Sources:
    """Return all that was measured of a view's walls."""
    every, traits = again.every, again.traits
    vertices = len(every.work.xyz)
    moved = Moved(
        xyz=np.vstack([every.work.xyz, traits.xyz]),
        survey=np.r_[every.work.lines["survey"].to_numpy(str)[every.work.line], traits.survey],
        trait=np.r_[np.full(vertices, ""), traits.trait],
        sd_m=np.r_[np.zeros(vertices), traits.sd_m],
        share=sparse.csr_matrix((0, 0)),
    )
    models, index = moved.models(again.models)
    return Sources(moved, models, index)


def disagreeing(off_m: Array, sd_m: Array, level: float = LEVEL) -> Bools:
    """Tell which offsets are more than their sd explain, all at one level; NaN never.

    >>> disagreeing(np.array([0.1, 0.02, 0.04, np.nan]), np.full(4, 0.02)).tolist()
    [True, False, False, False]
    """
    known = np.isfinite(off_m)
    chance = special.erfc(np.abs(off_m[known]) / np.maximum(sd_m[known], 1e-9) / np.sqrt(2))
    order = np.argsort(chance, kind="stable")
    under = chance[order] <= level * np.arange(1, len(order) + 1) / max(len(order), 1)
    last = int(np.max(np.flatnonzero(under), initial=-1))
    found = np.zeros(len(off_m), dtype=bool)
    found[np.flatnonzero(known)[order[: last + 1]]] = True
    return found
