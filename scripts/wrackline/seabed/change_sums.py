"""Sums of differences over many cells, with their uncertainty by cause.

A sum Σ w d over cells answers to errors as follows (JCGM 100:2008, 5.2; for volumes of change
Anderson 2019, doi:10.1002/esp.4551, eqs 11 to 19); the cost is in line with the cells:

* random: Σ w² σ² t, where t cells share one error (a coarse survey's cell, a gap filled from the
  same soundings). Over a region little wider than such a group, fewer cells are alike than t: for
  squares, of s cells a side and √t = L, the factor is (1 − L / 3s)²; a region narrower than a group
  has w² σ² n² (1 − s / 3L)²;
* patchy: ΣΣ w_i w_j σ_i σ_j ρ(d_ij) with the spherical correlation ρ, summed over blocks of an
  eighth of its reach, and no more than a 24th of the region's side. Pairs within two blocks have
  the mean correlation of all their cells, so only what w σ varies by within a block is lost;
* named: Σ w e, with e the signed effect of one standard uncertainty: never averaged.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from numba import njit

from wrackline.rasters import Grid
from wrackline.seabed.differences import Difference
from wrackline.uncertainty import Budget, spherical

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

BLOCKS_A_REACH, BLOCKS_A_SIDE = 8, 24


@dataclass(frozen=True)
class Sum:
    """A weighted sum of differences: its value, its budget, and of how many cells."""

    value: float
    budget: Budget
    cells: int
    filled: int

    @property
    def sd(self) -> float:
        """Standard uncertainty of the value."""
        return self.budget.sd


@dataclass
class _Field:
    """Patchy effects of one cause summed by block, over a region's window."""

    reach: float
    block: int
    sums: Array


@dataclass
class Sums:
    """Takes a region's cells piece by piece, and tells their sum with its uncertainty.

    Parameters
    ----------
    window : Grid
        Holds all of the region's cells.
    """

    window: Grid
    value: float = 0.0
    cells: int = 0
    filled: int = 0
    _random: Array = field(default_factory=lambda: np.zeros((2, 2)))
    _named: dict[str, float] = field(default_factory=dict)
    _patchy: dict[str, _Field] = field(default_factory=dict)

    def add(
        self, found: Difference, mask: Flags, at: tuple[slice, slice], weight: Array | None = None
    ) -> None:
        """Take cells of a piece.

        Parameters
        ----------
        found : Difference
        mask : array of bool
            Which cells of `at` are the region's.
        at : (slice, slice)
            Rows and columns of the piece that hold them.
        weight : array, optional
            Weights of these cells, shape of `mask`; all 1 if left out.
        """
        if not mask.any():
            return
        w = mask.astype(float) if weight is None else np.where(mask, weight, 0.0)
        self.value += float((w * np.where(mask, found.height[at], 0.0)).sum())
        self.cells += int(mask.sum())
        self.filled += int((mask & found.filled[at]).sum())
        for season in (0, 1):
            for kind, variance in enumerate((found.random[season], found.grouped[season])):
                self._random[season, kind] += float((w**2 * variance[at]).sum())
        for name, effect in found.named.items():
            self._named[name] = self._named.get(name, 0.0) + float((w * effect[at]).sum())
        rows, columns = np.nonzero(mask)
        for name, part in found.patchy.items():
            sums = self._field(name, part.reach)
            pulls = (w * part.size[at])[rows, columns]
            north = self.window.north - found.part.north + rows + at[0].start
            east = found.part.west - self.window.west + columns + at[1].start
            np.add.at(sums.sums, (north // sums.block, east // sums.block), pulls)

    def _field(self, name: str, reach: float) -> _Field:
        if name not in self._patchy:
            most = max(self.window.shape) // BLOCKS_A_SIDE
            block = max(1, min(int(reach / BLOCKS_A_REACH / self.window.cell_m), most))
            shape = tuple(-(-size // block) for size in self.window.shape)
            self._patchy[name] = _Field(reach, block, np.zeros(shape))
        return self._patchy[name]

    def total(self, factor: float = 1.0) -> Sum:
        """Return the sum times a factor.

        Parameters
        ----------
        factor : float
            The ground area of a cell gives a volume; one over the number of cells a mean.
        """
        random = sum(_grouped(float(one), float(many), self.cells) for one, many in self._random)
        cell = self.window.cell_m
        patchy = sum(
            correlated_sum(one.sums, block_correlation(one.reach, cell, one.block))
            for one in (self._patchy[name] for name in sorted(self._patchy))
        )
        named = {name: self._named[name] for name in sorted(self._named)}
        budget = Budget(float(np.sqrt(random)), float(np.sqrt(max(patchy, 0.0))), named)
        return Sum(factor * self.value, budget.times(factor), self.cells, self.filled)


def _grouped(alone: float, grouped: float, cells: int) -> float:
    """Return the variance of a sum of cells whose random errors come in groups.

    Parameters
    ----------
    alone, grouped : float
        Σ w² σ² and Σ w² σ² t.
    cells : int

    Examples
    --------
    A group far smaller than the region, and one far larger, of which all cells are alike:

    >>> _grouped(1.0, 4.0, 10**12), _grouped(1.0, 1e12, 100)
    (3.9999946666684445, 99.99933333444444)
    """
    if alone <= 0:
        return 0.0
    group, side = np.sqrt(grouped / alone), np.sqrt(cells)
    if group <= 1:
        return alone
    if group <= side:
        return float(max(alone, grouped * (1 - group / (3 * side)) ** 2))
    return float(alone * cells * (1 - side / (3 * group)) ** 2)


def local_random(alone: Array, grouped: Array, cells: Array) -> Array:
    """Return what `_grouped` does, for many regions at once; 0 where there are no cells."""
    alone = np.maximum(alone, 0.0)  # running sums leave hairs below 0
    grouped = np.maximum(grouped, alone)
    group = np.sqrt(grouped / np.where(alone > 0, alone, 1.0))
    side = np.sqrt(np.maximum(cells, 1))
    wide = np.maximum(alone, grouped * (1 - group / (3 * side)) ** 2)
    narrow = alone * cells * (1 - side / (3 * np.maximum(group, 1.0))) ** 2
    return np.asarray(np.where(group <= 1, alone, np.where(group <= side, wide, narrow)))


def block_correlation(reach: float, cell_m: float, block: int) -> Array:
    """Return the mean correlation of the cells of two blocks, by how many blocks apart.

    Parameters
    ----------
    reach : float
        Of the spherical correlation [m].
    cell_m : float
    block : int
        Cells along a block's side.

    Returns
    -------
    array, shape (n, n)
        By blocks apart north and east, from 0; beyond it is 0.

    Examples
    --------
    >>> block_correlation(4.0, 1.0, 1)[0].round(4)
    array([1.    , 0.6328, 0.3125, 0.0859, 0.    ])
    """
    most = int(np.ceil(reach / (block * cell_m))) + (block > 1)
    steps = np.arange(-(block - 1), block)
    share = (block - np.abs(steps)) / block**2
    apart = np.arange(most + 1)[:, None] * block + steps
    east, north = apart[None, :, None, :], apart[:, None, :, None]
    mean = spherical(cell_m * np.hypot(east, north), reach)
    return np.asarray(np.einsum("ijkl,k,l->ij", mean, share, share))


def correlated_sum(pulls: Array, correlation: Array) -> float:
    """Return ΣΣ p_i p_j ρ(i − j) over all cells of an array.

    Parameters
    ----------
    pulls : array, shape (n_rows, n_columns)
    correlation : array, shape (n, n)
        By rows and columns apart, both ways alike.

    Examples
    --------
    Two of size 1 that are half correlated: 1 + 1 + 2 · 0.5:

    >>> correlated_sum(np.array([[1.0, 1.0]]), np.array([[1.0, 0.5], [0.5, 0.0]]))
    3.0
    """
    return float(_correlated_sum(np.ascontiguousarray(pulls), np.ascontiguousarray(correlation)))


@njit(cache=True, nogil=True)
def _correlated_sum(pulls, correlation):  # type: ignore[no-untyped-def]
    rows, columns = pulls.shape
    reach = len(correlation)
    total = 0.0
    for row in range(rows):
        for column in range(columns):
            own = pulls[row, column]
            if own == 0.0:
                continue
            around = 0.5 * own * correlation[0, 0]
            for east in range(1, min(reach, columns - column)):
                around += correlation[0, east] * pulls[row, column + east]
            for south in range(1, min(reach, rows - row)):
                for other in range(max(0, column - reach + 1), min(columns, column + reach)):
                    away = abs(other - column)
                    around += correlation[south, away] * pulls[row + south, other]
            total += 2.0 * own * around
    return total
