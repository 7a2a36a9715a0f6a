"""How much ground came and how much went, freed of what noise alone would show.

The sum of all rises of a noisy difference is too large, and so is that of all falls: where nothing
changed, half of the noise counts as rises, and half as falls. Leaving out what lies below a level
of detection removes true change with the noise (Anderson 2019, doi:10.1002/esp.4551). Here the
distribution of true change over the cells is sought that, with the stated noise, makes the
differences seen most likely: a mixture of 0 and of even distributions between 0 and ±b, many b, so
that it has one peak, at 0 (Stephens 2017, doi:10.1093/biostatistics/kxw041, with half-uniform parts
and without his penalty), by expectation and maximisation. Of each cell's true change, given that
and what was seen, the expected size is had; its mean T and the net mean V give what came, (T + V) /
2, and what went, (T − V) / 2, which differ by the net change itself.

Change far below the noise can't be told from it: of noise alone about a sixth is left, and as much
is added to true change. What all cells share is no noise from cell to cell: it moves either by no
more than it moves the net.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

Array = npt.NDArray[np.float64]

STEP_M = 0.005
LEAST_SD_M, WIDER, SIZES = 0.005, 1.2, 40
"""Noise is sorted into classes, each so many times as large as the one before."""
FARTHEST_M = 20.0
LEAST_REACH_M, FARTHER = 0.01, 2**0.5
ROUNDS = 1000
PRACTICALLY_NONE = 1e-12


@dataclass
class Turnover:
    """Takes differences and their noise, and tells what came and what went.

    Examples
    --------
    Two thousand cells of which half rose by 0.3 m and half fell as much, with noise of 0.1 m; then
    noise alone, of which little is left:

    >>> rng = np.random.default_rng(1)
    >>> for true in (np.repeat([-0.3, 0.3], 1000), np.zeros(2000)):
    ...     seen = Turnover()
    ...     seen.add(true + rng.normal(0, 0.1, 2000), np.full(2000, 0.1))
    ...     print(round(seen.mean_size(), 2), round(seen.raw_size(), 2))
    0.28 0.3
    0.01 0.08
    """

    _counts: dict[tuple[int, int], int] = field(default_factory=dict)
    _squares: dict[int, float] = field(default_factory=dict)

    def add(self, difference: Array, noise: Array) -> None:
        """Take cells.

        Parameters
        ----------
        difference : array, shape (n,)
            [m].
        noise : array, shape (n,)
            Standard uncertainty of what differs from cell to cell [m].
        """
        place = np.rint(np.clip(difference, -FARTHEST_M, FARTHEST_M) / STEP_M).astype(np.int64)
        size = np.rint(np.log(np.maximum(noise, LEAST_SD_M) / LEAST_SD_M) / np.log(WIDER))
        size = np.minimum(size.astype(np.int64), SIZES)
        for one in np.unique(size).tolist():
            square = float((noise[size == one] ** 2).sum())
            self._squares[one] = self._squares.get(one, 0.0) + square
        pairs, counts = np.unique(np.stack([size, place], axis=1), axis=0, return_counts=True)
        for (one, at), count in zip(pairs.tolist(), counts.tolist(), strict=True):
            self._counts[one, at] = self._counts.get((one, at), 0) + count

    def _table(self) -> tuple[Array, Array, Array]:
        """Return differences, their noise and how many cells have them."""
        keys = np.array(sorted(self._counts), dtype=float).reshape(-1, 2)
        counts = np.array([self._counts[key] for key in sorted(self._counts)], dtype=float)
        cells: dict[int, int] = {}
        for (size, _), count in self._counts.items():
            cells[size] = cells.get(size, 0) + count
        noise = [(self._squares[int(size)] / cells[int(size)]) ** 0.5 for size in keys[:, 0]]
        return keys[:, 1] * STEP_M, np.maximum(noise, LEAST_SD_M), counts

    def raw_size(self) -> float:
        """Return the mean size of the differences as they are, noise included [m]."""
        difference, _, counts = self._table()
        return float((np.abs(difference) * counts).sum() / max(counts.sum(), 1.0))

    def mean_size(self) -> float:
        """Return the mean size of true change [m]."""
        difference, noise, counts = self._table()
        if not len(counts):
            return 0.0
        likely, size = _parts(difference, noise)
        weight = np.full(likely.shape[1], 1 / likely.shape[1])
        for _ in range(ROUNDS):
            weight = weight * (likely.T @ (counts / (likely @ weight))) / counts.sum()
        expected = ((likely * size) @ weight) / (likely @ weight)
        return float((expected * counts).sum() / counts.sum())


def _parts(difference: Array, noise: Array) -> tuple[Array, Array]:
    """Return how likely each part of the mixture makes each difference, and the size expected."""
    farthest = max(float(np.abs(difference).max()), LEAST_REACH_M)
    number = int(np.ceil(np.log(farthest / LEAST_REACH_M) / np.log(FARTHER))) + 1
    likely = [_density(difference / noise) / noise]
    sizes = [np.zeros(len(difference))]
    for reach in LEAST_REACH_M * FARTHER ** np.arange(number + 1):
        for way in (1.0, -1.0):
            one, size = _evenly(way * difference, noise, float(reach))
            likely.append(one)
            sizes.append(size)
    return np.stack(likely, axis=1), np.stack(sizes, axis=1)


def _evenly(seen: Array, noise: Array, reach: float) -> tuple[Array, Array]:
    """Return density of what is seen, and expected truth, of truths even between 0 and `reach`."""
    low, high = -seen / noise, (reach - seen) / noise
    share = np.where(low > 0, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
    there = np.maximum(share, PRACTICALLY_NONE)
    mean = seen + noise * (_density(low) - _density(high)) / there
    mean = np.where(share > PRACTICALLY_NONE, np.clip(mean, 0.0, reach), np.clip(seen, 0.0, reach))
    return share / reach, mean


def _density(z: Array) -> Array:
    return np.asarray(np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi))
