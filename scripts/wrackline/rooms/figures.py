"""Figures of the network, each a pure function: edges in, value and gradient out.

A figure's gradient is given on edge ends; `on_vertices` carries it to the surveyed vertices, and
`wrackline.uncertainty.propagate` turns it into a standard uncertainty. All figures here are in
the grid; scale and convergence are taken out where the tables are made.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from wrackline.uncertainty import Budget, ErrorModel, propagate
from wrackline.walls.linework import Linework

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Figure:
    """A value with its gradient on edge ends.

    Attributes
    ----------
    value : float
    edges : array of int, shape (m,)
        Edges that it depends on.
    gradient : array, shape (m, 2, 3)
        Change per metre of displacement of each edge's two ends in easting, northing, height.
    """

    value: float
    edges: Ints
    gradient: Array


@dataclass(frozen=True)
class Ground:
    """What carries gradients on edge ends to uncertainties.

    Attributes
    ----------
    motion : sparse matrix, shape (6 k, 3 n)
        Motion of edge ends per motion of vertices (`Network.motion`), and of what else placed them.
    xyz : array, shape (n, 3)
        Vertices, and further sources of their places [m].
    survey : array of int, shape (n,)
        Index into `models`.
    models : sequence of ErrorModel
    """

    motion: sparse.csr_matrix
    xyz: Array
    survey: Ints
    models: Sequence[ErrorModel]

    @classmethod
    def under(
        cls, work: Linework, motion: sparse.csr_matrix, models: Sequence[ErrorModel]
    ) -> Ground:
        """Return what carries gradients to all that a linework was measured by.

        Parameters
        ----------
        work : Linework
        motion : sparse matrix, shape (6 k, 3 n)
            Motion of edge ends per motion of its vertices.
        models : sequence of ErrorModel
            Errors of every survey in it.
        """
        survey = work.survey_index([model.survey for model in models])
        moved = work.moved
        if moved is None:
            return cls(motion, work.xyz, survey, models)
        every, further = moved.models(models)
        whole = sparse.csr_matrix(motion @ moved.share)
        return cls(whole, np.vstack([work.xyz, moved.xyz]), np.r_[survey, further], every)

    def on_vertices(self, figure: Figure) -> tuple[Ints, Array]:
        """Return the vertices that a figure depends on, and its gradient there, shape (v, 3)."""
        rows = (6 * figure.edges[:, None] + np.arange(6)).ravel()
        start = self.motion.indptr[rows]
        count = self.motion.indptr[rows + 1] - start
        row = np.repeat(np.arange(len(rows)), count)
        entry = np.arange(len(row)) + np.repeat(start - np.cumsum(count) + count, count)
        columns, at = np.unique(self.motion.indices[entry], return_inverse=True)
        sums = np.bincount(at, weights=self.motion.data[entry] * figure.gradient.ravel()[row])
        vertices, row = np.unique(columns // 3, return_inverse=True)
        gradient = np.zeros((len(vertices), 3))
        gradient[row, columns % 3] = sums
        return vertices.astype(np.int64), gradient

    def budget(self, figure: Figure) -> Budget:
        """Return the uncertainty of a figure."""
        vertices, gradient = self.on_vertices(figure)
        return propagate(gradient, self.xyz[vertices], self.survey[vertices], self.models)


def area(
    ends: Array,
    edges: Ints,
    side: Array,
    span: Array | None = None,
    jog: Array | None = None,
) -> Figure:
    """Return the area that edges enclose.

    Parameters
    ----------
    ends : array, shape (m, 2, 2)
        Start and stop of each bounding edge [m].
    edges : array of int, shape (m,)
        Their numbers.
    side : array, shape (m,)
        +1 where the space lies to the left of the edge from start to stop, -1 to its right.
    span : array, shape (m, 2), optional
        Part of each edge that bounds the space, as fractions of it, where a floor ends before
        the wall's centre line does; the value is then left to the caller.
    jog : array, shape (m, 2), optional
        Area gained per metre by which each end of an edge moves on along it [m].

    Returns
    -------
    Figure
        Area [m²]; its gradient is the boundary's outward normal times the length that moves.

    Examples
    --------
    >>> corner = np.array([[0.0, 0], [2, 0], [2, 2], [0, 2], [0, 0]])
    >>> square = np.stack([corner[:-1], corner[1:]], axis=1)
    >>> area(square, np.arange(4), np.ones(4)).value
    4.0
    """
    step = (ends[:, 1] - ends[:, 0]) * side[:, None]
    normal = np.stack([step[:, 1], -step[:, 0]], axis=-1)
    start, stop = (np.zeros(len(ends)), np.ones(len(ends))) if span is None else span.T
    second = (stop**2 - start**2) / 2
    gradient = np.zeros((len(ends), 2, 3))
    gradient[:, 0, :2] = normal * ((stop - start) - second)[:, None]
    gradient[:, 1, :2] = normal * second[:, None]
    if jog is not None:
        gradient[:, :, :2] += jog[..., None] * unit(ends[:, 1] - ends[:, 0])[:, None]
    origin = ends[0, 0] if len(ends) else np.zeros(2)
    a, b = ends[:, 0] - origin, ends[:, 1] - origin
    value = 0.5 * float((side * (a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1])).sum())
    return Figure(value, edges, gradient)


def unit(step: Array) -> Array:
    """Return unit vectors along steps, shape (n, 2); no direction, zeros, for no step at all."""
    size = np.hypot(step[:, 0], step[:, 1])[:, None]
    return np.asarray(np.divide(step, size, out=np.zeros_like(step), where=size > 0))


def axial_mean(angle: Array, weight: Array, symmetry: int) -> tuple[float, float]:
    """Return the weighted mean of axes, and the length of the mean vector.

    Parameters
    ----------
    angle : array, shape (n,)
        Angles [radians].
    weight : array, shape (n,)
    symmetry : int
        2 for axes, 4 where right angles count as the same.

    Returns
    -------
    mean : float
        In [0, 2 pi / symmetry) [radians].
    length : float
        0 to 1.

    Notes
    -----
    Angles are multiplied by the symmetry, averaged as vectors and divided again: Zar,
    Biostatistical Analysis, 26.7; Fisher 1993, Statistical Analysis of Circular Data, 2.3.
    """
    vector = (weight * np.exp(1j * symmetry * angle)).sum() / weight.sum()
    return float(np.angle(vector) % (2 * np.pi) / symmetry), float(abs(vector))


def axis(ends: Array, edges: Ints, symmetry: int) -> Figure:
    """Return the length-weighted axis of edges, anticlockwise from grid east.

    Parameters
    ----------
    ends : array, shape (m, 2, 2)
        Start and stop of each edge [m].
    edges : array of int, shape (m,)
        Their numbers.
    symmetry : int
        2 for axes, 4 where right angles count as the same.

    Returns
    -------
    Figure
        Axis [radians]. With T the sum of length times phase, a turn of an edge counts by its
        length along T, a lengthening by its phase across T.
    """
    step = ends[:, 1] - ends[:, 0]
    length = np.hypot(step[:, 0], step[:, 1])
    angle = np.arctan2(step[:, 1], step[:, 0])
    mean, _ = axial_mean(angle, length, symmetry)
    phase = np.exp(1j * symmetry * angle)
    total = (length * phase).sum()
    part = np.conj(total) * phase / max(abs(total) ** 2, np.finfo(float).tiny)
    along = unit(step)
    across = np.stack([-along[:, 1], along[:, 0]], axis=-1)
    gradient = np.zeros((len(ends), 2, 3))
    gradient[:, 1, :2] = across * part.real[:, None] + along * (part.imag / symmetry)[:, None]
    gradient[:, 0, :2] = -gradient[:, 1, :2]
    return Figure(mean, edges, gradient)


def mean_height(ends: Array, height: Array, edges: Ints) -> Figure | None:
    """Return the length-weighted mean height along edges.

    Parameters
    ----------
    ends : array, shape (m, 2, 2)
        Start and stop of each edge [m].
    height : array, shape (m, 2)
        Heights there, NaN where none was taken [m].
    edges : array of int, shape (m,)
        Their numbers.

    Returns
    -------
    Figure or None
        Mean height [m]; None where no edge has heights.
    """
    known = np.isfinite(height).all(axis=1)
    if not known.any():
        return None
    step = ends[known, 1] - ends[known, 0]
    size, middle = np.hypot(step[:, 0], step[:, 1]), height[known].mean(axis=1)
    share = size / size.sum()
    value = float((share * middle).sum())
    gradient = np.zeros((int(known.sum()), 2, 3))
    gradient[:, :, 2] = share[:, None] / 2
    gradient[:, 1, :2] = unit(step) * ((middle - value) / size.sum())[:, None]
    gradient[:, 0, :2] = -gradient[:, 1, :2]
    return Figure(value, edges[known], gradient)


def length(ends: Array, edges: Ints) -> Figure:
    """Return the summed length of edges in the grid [m]."""
    step = ends[:, 1] - ends[:, 0]
    size = np.hypot(step[:, 0], step[:, 1])
    gradient = np.zeros((len(ends), 2, 3))
    gradient[:, 1, :2] = unit(step)
    gradient[:, 0, :2] = -gradient[:, 1, :2]
    return Figure(float(size.sum()), edges, gradient)


def combine(figures: Sequence[Figure], factors: Sequence[float]) -> Figure:
    """Return the sum of figures times factors."""
    return Figure(
        float(sum(f.value * k for f, k in zip(figures, factors, strict=True))),
        np.concatenate([f.edges for f in figures]),
        np.concatenate([f.gradient * k for f, k in zip(figures, factors, strict=True)]),
    )
