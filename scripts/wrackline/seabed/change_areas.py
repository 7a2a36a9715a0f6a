"""Where the bed changed: areas whose mean change errors alone would seldom make.

A cell is tested by the mean difference of the ground around it, over its sd: random errors of the
cells averaged, patchy and named ones as large as in one cell. Its p is two-sided. Of all cells
tested, those are taken whose p is at most the greatest p_(k) ≤ α k / m (Benjamini and Hochberg
1995, doi:10.1111/j.2517-6161.1995.tb02031.x): of the cells taken, a share α is false on average,
and where nothing changed, any is taken in a share α of cases at most. That bound holds for errors
that are alike in neighbours, and for those that all cells share, as these are (positive dependence:
Benjamini and Yekutieli 2001, doi:10.1214/aos/1013699998; proven for one-sided tests, and simulated
in the project's tests for these): a named error that lifts a whole season lifts all means alike,
and is in the sd of each. So a change of the whole site within the named errors is no area of
change.

Cells taken whose ground averaged touches are one area, if they are no fewer than the tested cells
that such ground holds there: so a sounded line is one, though some of its cells were missed. An
area then stands if errors alone would seldom make one of its size and mean anywhere: if its own p,
times how often it fits into the ground tested, is at most α. Else a hundred small false ones would
stand beside one large true one, and still be a small share of all cells taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, label, uniform_filter
from scipy.special import ndtr, ndtri

from wrackline.rasters import Grid
from wrackline.seabed.change_sums import local_random
from wrackline.seabed.differences import Difference

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

FALSE_SHARE = 0.05
"""Share of false cells among those taken, on average."""
STEP = 1e-3
MOST = 32.0
"""z are kept in whole steps, and none beyond this."""
AT_ONCE = 1_000_000
UNTESTED = np.iinfo(np.int16).min
CORNERS = np.ones((3, 3), dtype=int)


def window_cells(window_m: float, cell_m: float) -> int:
    """Return the odd number of cells along the side of the ground averaged.

    >>> window_cells(1.5, 0.5), window_cells(0.1, 0.5)
    (3, 1)
    """
    return 2 * int(round(max(window_m / cell_m, 1.0)) // 2) + 1


def local_scores(found: Difference, natural: Flags, window: int) -> Array:
    """Return z of the mean difference of the ground around each cell.

    Parameters
    ----------
    found : Difference
        Of a piece with a margin of half a window.
    natural : array of bool, shape `found.part.shape`
        Cells that count.
    window : int
        Cells along the side of the ground averaged, odd.

    Returns
    -------
    array, shape `found.part.shape`
        NaN where not `natural`.
    """
    weight = natural.astype(float)
    share = uniform_filter(weight, window, mode="constant")
    cells = np.rint(share * window**2)
    some = np.maximum(share, 1e-12)

    def around(values: Array) -> Array:
        return np.asarray(uniform_filter(np.where(natural, values, 0.0), window, mode="constant"))

    mean = around(found.height) / some
    common = around(found.patchy_variance + found.named_variance) / some
    random = sum(
        local_random(
            around(found.random[k]) * window**2, around(found.grouped[k]) * window**2, cells
        )
        for k in (0, 1)
    )
    variance = common + random / np.maximum(cells, 1) ** 2
    known = natural & (variance > 0)
    return np.where(known, mean / np.sqrt(np.where(known, variance, 1.0)), np.nan)


def in_steps(z: Array) -> npt.NDArray[np.int16]:
    """Return scores in whole steps of `STEP`, towards 0; `UNTESTED` where NaN."""
    clipped = np.trunc(np.clip(np.nan_to_num(z), -MOST, MOST) / STEP)
    return np.where(np.isnan(z), UNTESTED, clipped).astype(np.int16)


@dataclass(frozen=True)
class Threshold:
    """From what score on cells are taken: |z|, None if none is; of how many tested."""

    z: float | None
    tested: int
    taken: int


def threshold(scores: npt.NDArray[np.int16], share: float = FALSE_SHARE) -> Threshold:
    """Return the least |z| of which at most a share is false among the cells beyond it.

    Parameters
    ----------
    scores : array of int16
        As `in_steps` gives them.
    share : float
        α.

    Examples
    --------
    Ten cells, two of them far off: p of z = 3 is 0.0027, below 2 of 10 times 0.05:

    >>> z = np.array([0.1, -0.4, 0.9, 3.5, -1.2, 0.3, 0.0, -0.7, 1.1, 3.0])
    >>> threshold(in_steps(z))
    Threshold(z=3.0, tested=10, taken=2)
    """
    counts = np.zeros(int(MOST / STEP) + 1, dtype=np.int64)
    for rows in np.array_split(scores.ravel(), -(-scores.size // AT_ONCE)):
        tested = np.abs(rows[rows != UNTESTED].astype(np.int64))
        counts += np.bincount(tested, minlength=len(counts))
    number = int(counts.sum())
    beyond = np.cumsum(counts[::-1])[::-1]
    z = np.arange(len(counts)) * STEP
    p = 2 * ndtr(-z)
    passes = (counts > 0) & (p * max(number, 1) <= share * beyond)
    if not passes.any():
        return Threshold(None, number, 0)
    least = int(np.flatnonzero(passes)[0])
    return Threshold(round(float(z[least]), 3), number, int(beyond[least]))


def areas(scores: npt.NDArray[np.int16], found: Threshold, window: int) -> npt.NDArray[np.int32]:
    """Return areas of change numbered from 1, what came and what went apart; 0 elsewhere.

    Parameters
    ----------
    scores : array of int16, shape (n_rows, n_columns)
    found : Threshold
    window : int
        Cells along the side of the ground averaged, odd.

    Returns
    -------
    array of int32, shape (n_rows, n_columns)
        Those that came first, then those that went, each by their first cells, row by row from
        the north-west.
    """
    out = np.zeros(scores.shape, dtype=np.int32)
    if found.z is None:
        return out
    least = round(found.z / STEP)
    last = 0
    holds = uniform_filter((scores != UNTESTED).astype(np.float32), window, mode="constant")
    for taken in (scores >= least, (scores <= -least) & (scores != UNTESTED)):
        grown = binary_dilation(taken, CORNERS, window // 2) if window > 1 else taken
        numbered, count = label(grown, structure=CORNERS)
        mine = numbered[taken]
        del numbered
        cells = np.bincount(mine, minlength=count + 1)
        held = np.bincount(mine, holds[taken], minlength=count + 1) * window**2
        big = (cells > 0) & (cells**2 >= np.rint(held))
        out[taken] = np.where(big, np.cumsum(big) + last, 0).astype(np.int32)[mine]
        last += int(big.sum())
    return out


def stands(z: float, cells: int, tested: int, share: float = FALSE_SHARE) -> bool:
    """Tell whether errors alone would seldom make an area like this anywhere.

    Parameters
    ----------
    z : float
        Of its mean, over its sd.
    cells, tested : int
        Of the area, and of all ground tested.
    share : float
        α.

    Examples
    --------
    A tenth of the ground needs a p of 0.005, a thousandth 0.00005:

    >>> stands(3.0, 100, 1000), stands(3.0, 1, 1000)
    (True, False)
    """
    return two_sided_p(z) * max(tested, 1) / max(cells, 1) <= share


def two_sided_p(z: float) -> float:
    """Return the probability of a score as far from 0 by errors alone.

    >>> round(two_sided_p(-1.959964), 6)
    0.05
    """
    return float(2 * ndtr(-abs(z)))


def coverage_of(share: float) -> float:
    """Return the half-width of an interval in sds, 1.96 for a share of 0.95."""
    return float(ndtri(0.5 + share / 2))


def scored(part: Grid, whole: Grid, z: Array, into: npt.NDArray[Any]) -> None:
    """Put a piece's scores in their place in an array of the whole grid."""
    into[whole.window(part)] = in_steps(z)
