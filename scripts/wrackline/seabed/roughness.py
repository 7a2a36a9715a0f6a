"""How much a seabed varies with distance, read from a survey strip by strip.

Second differences d = z(−h) − 2 z(0) + z(h) of measured heights leave level and slope out. With
the generalised covariance K of the seabed (Matheron 1973, The intrinsic random functions; order 1)
their variance is 2 K(2h) − 8 K(h), and the random variances of the three heights, 1 : 4 : 1, on
top. Taken along sixteen directions and at distances that grow by a half, they give K as a sum with
coefficients of at least 0 of −h, exponential parts, h² log h (a thin plate) and h³.

The spread of d at each distance is Huber's proposal 2 (Huber and Ronchetti 2009, Robust
Statistics, 5.2): normal differences count whole, walls and stones as `OUTLYING` sds and no more.
Differences are counted in classes, noise is summed in whole units: where strips begin and end
leaves no trace.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.optimize import nnls
from scipy.stats import chi2, norm

from wrackline.rasters import TICK_M
from wrackline.uncertainty import spherical

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

DIRECTIONS = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (1, -2), (2, 1), (2, -1))
"""Rows and columns of a step; both ways along each."""
LEAST_LAG, MOST_LAG = 4, 200
"""Bounds of the greatest step looked at, in cells."""
LEAST_TRIPLES = 30
OUTLYING = 2.5
"""Second differences beyond so many sds count as if they were as many."""
NORMAL_MEAN = float(chi2.cdf(OUTLYING**2, 3) + 2 * OUTLYING**2 * norm.sf(OUTLYING))
"""Mean of min(u², OUTLYING²) over normal u of sd 1."""
MISFIT = 0.05
"""Share by which K may be wrong however many differences tell it."""
FITS = 6
"""Times that K is fitted, each with the weights that the last one gives."""
CLASSES = 32
"""Classes of differences within a doubling."""
OCTAVES = 40
NOISE_UNIT = TICK_M**2 / 16
"""Random variances are summed in whole units of this [m²]."""


@dataclass(frozen=True)
class Roughness:
    """Generalised covariance of a seabed: parts and their coefficients.

    Attributes
    ----------
    ranges : tuple of float
        Ranges of the exponential parts [cells].
    coefficients : tuple of float
        Of −h [m² per cell], of the exponential parts [m²], of h² log h and h³, all with h in
        cells; none below 0.
    noise_share : float
        Share of the stated random variance that differs from cell to cell, 0 to 1. Where the
        survey is smoother than its stated noise allows, the rest is alike in neighbouring cells.
    """

    ranges: tuple[float, ...]
    coefficients: tuple[float, ...]
    noise_share: float = 1.0

    def covariance(self, distance: Array) -> Array:
        """Return K at distances in cells [m²]; 0 at distance 0, so that all others are relative."""
        parts = _parts(np.asarray(distance, dtype=float), self.ranges)
        return np.asarray(parts @ np.array(self.coefficients), dtype=float)

    def second_difference(self, step: Array) -> Array:
        """Return the variance of z(−h) − 2 z(0) + z(h) at steps h in cells, without noise [m²]."""
        step = np.asarray(step, dtype=float)
        return np.asarray(2 * self.covariance(2 * step) - 8 * self.covariance(step), dtype=float)


def _parts(distance: Array, ranges: tuple[float, ...]) -> Array:
    """Return the parts of K at distances in cells, shape (*, n_parts)."""
    log = np.log(np.maximum(distance, 1e-12))
    exponential = [np.exp(-distance / reach) - 1 for reach in ranges]
    return np.stack([-distance, *exponential, distance**2 * log, distance**3], axis=-1)


class RoughnessSums:
    """Takes a survey's surface strip by strip, from north to south, and tells its roughness.

    Parameters
    ----------
    cell_m : float
        Cell size [m].
    reach_m : float
        Greatest step h looked at; at least 4 and at most 200 cells are [m].
    patchy_sd_m, patchy_distance_m : float
        Errors alike within patches, with spherical correlation: they are no roughness of the bed,
        and a cell's sd counts them beside it [m].

    Examples
    --------
    Wherever the strips are cut, the answer is the same:

    >>> z = np.random.default_rng(1).normal(size=(40, 40)).cumsum(axis=1)
    >>> whole, cut = RoughnessSums(1.0, 4.0), RoughnessSums(1.0, 4.0)
    >>> whole.add(z, 0 * z)
    >>> cut.add(z[:7], 0 * z[:7])
    >>> cut.add(z[7:], 0 * z[7:])
    >>> whole.model() == cut.model()
    True
    """

    def __init__(
        self,
        cell_m: float,
        reach_m: float,
        *,
        patchy_sd_m: float = 0.0,
        patchy_distance_m: float = 0.0,
    ) -> None:
        self._patchy = patchy_sd_m**2, patchy_distance_m / cell_m
        most = int(np.clip(np.ceil(reach_m / cell_m - 1e-9), LEAST_LAG, MOST_LAG))
        self._ranges = tuple(3.0**power for power in range(6) if 3.0**power <= 2 * most)
        self._steps = _steps(most)
        self._tail = 2 * most
        self._kept: tuple[Array, Array] | None = None
        self._classes = np.zeros((len(self._steps), CLASSES * OCTAVES), dtype=np.int64)
        self._noise = [0] * len(self._steps)

    def add(self, height: Array, random: Array) -> None:
        """Take the next strip to the south.

        Parameters
        ----------
        height, random : array, shape (n_rows, n_columns)
            Mean heights [m], NaN where nothing was measured, and their random variance [m²].
        """
        new = np.rint(height / TICK_M), np.rint(random / NOISE_UNIT)
        if self._kept is None:
            z, noise = new
        else:
            z, noise = (np.vstack(both) for both in zip(self._kept, new, strict=True))
        first = len(z) - len(height)
        for number, (row, column) in enumerate(self._steps):
            self._noise[number] += int(_count(z, noise, row, column, first, self._classes[number]))
        self._kept = z[-self._tail :].copy(), noise[-self._tail :].copy()

    def model(self) -> Roughness | None:
        """Return the roughness, None where fewer than 30 differences tell it."""
        triples = self._classes.sum(axis=1)
        if triples.sum() < LEAST_TRIPLES:
            return None
        told = triples > 0
        step = np.hypot(*np.array(self._steps, dtype=float).T)[told]
        spread = np.array([huber_square(one) for one in self._classes[told]]) * TICK_M**2
        noise = np.array([float(n) for n, one in zip(self._noise, told, strict=True) if one])
        noise *= NOISE_UNIT / triples[told]
        parts = 2 * _parts(2 * step, self._ranges) - 8 * _parts(step, self._ranges)
        share = _noise_share(spread, noise, triples[told])
        errors = share * noise + self._patchy_squares(step)
        chance = 2 * step / triples[told]
        return Roughness(self._ranges, _fitted(parts, spread, errors, chance), share)

    def _patchy_squares(self, step: Array) -> Array:
        """Return the variance of second differences that patchy errors make [m²]."""
        variance, reach = self._patchy
        if variance == 0 or reach == 0:
            return np.zeros(len(step))
        once, twice = spherical(step, reach), spherical(2 * step, reach)
        return np.asarray(variance * (6 - 8 * once + 2 * twice), dtype=float)


def _noise_share(spread: Array, noise: Array, triples: Ints) -> float:
    """Return the greatest share of the noise, up to 1, that the differences leave room for."""
    many = (triples >= LEAST_TRIPLES) & (noise > 0)
    room = spread[many] / noise[many] * (1 + 2 * np.sqrt(2 / triples[many]))
    return float(np.minimum(room, 1.0).min(initial=1.0))


def _fitted(parts: Array, spread: Array, noise: Array, chance: Array) -> tuple[float, ...]:
    """Return coefficients of at least 0 of the parts of K.

    A variance is about as uncertain as it is large, so each counts by what the last fit says that
    it should be: by what was found, the small ones would pull all others down.
    """
    scale, expected = parts.max(axis=0), np.full(len(parts), spread.mean() + TICK_M**2)
    for _ in range(FITS):
        doubt = np.sqrt(chance + MISFIT**2) * expected
        found, _ = nnls(parts / scale / doubt[:, None], (spread - noise) / doubt)
        expected = parts @ (found / scale) + noise + TICK_M**2
    return tuple(float(c) for c in found / scale)


def _steps(most: int) -> list[tuple[int, int]]:
    """Return steps (rows, columns) of up to `most` cells along all directions."""
    lags = [1, 2]
    while lags[-1] < most:
        lags.append(min(max(lags[-1] + 1, lags[-1] * 3 // 2), most))
    steps = [(row * lag, column * lag) for lag in lags for row, column in DIRECTIONS]
    return [(row, column) for row, column in steps if row**2 + column**2 <= most**2]


@njit(cache=True)
def _count(z, noise, row, column, first, classes):  # type: ignore[no-untyped-def]
    """Count second differences whose southern end lies in a row from `first` on; sum noise."""
    total = np.int64(0)
    side = abs(column)
    for bottom in range(max(first, 2 * row), z.shape[0]):
        for middle in range(side, z.shape[1] - side):
            d = z[bottom - 2 * row, middle - column] + z[bottom, middle + column]
            d = abs(d - 2 * z[bottom - row, middle])
            if np.isnan(d):
                continue
            octave, part = 0, 0
            if d > 0:
                share, octave = math.frexp(d)
                part = int((2 * share - 1) * CLASSES)
            classes[octave * CLASSES + part] += 1
            ends = noise[bottom - 2 * row, middle - column] + noise[bottom, middle + column]
            total += np.int64(ends + 4 * noise[bottom - row, middle])
    return total


def huber_square(classes: Ints) -> float:
    """Return the square of Huber's scale of differences that were counted in classes.

    Parameters
    ----------
    classes : array of int, shape (1280,)
        How many differences lie in each class: class 32 k + j holds those from
        2^(k − 1) (1 + j / 32) to the next.

    Returns
    -------
    float
        s² with mean(min(d² / s², 2.5²)) as of a normal distribution, in squares of the
        differences' unit.
    """
    square = _class_squares()
    there = classes > 0
    count, square = classes[there].astype(float), square[there]
    cut = OUTLYING**2
    wanted = NORMAL_MEAN * count.sum()
    found = float((count * square).sum() / count.sum())
    for _ in range(100):
        if found == 0:
            break
        change = float((count * np.minimum(square / found, cut)).sum()) / wanted
        found *= change
        if abs(change - 1) < 1e-9:
            break
    return found


@cache
def _class_squares() -> Array:
    """Return the mean square of differences spread evenly over each class."""
    octave, part = np.divmod(np.arange(CLASSES * OCTAVES + 1), CLASSES)
    edge = 2.0 ** (octave - 1.0) * (1 + part / CLASSES)
    square = np.array([(a * a + a * b + b * b) / 3 for a, b in pairwise(edge)])
    square[0] = 0.0  # whole ticks: nothing but 0 lies below a half
    return square
