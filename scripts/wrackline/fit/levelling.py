"""Spirit levelling: heights by the height of the instrument, and what a run may be off by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

THIRD_ORDER_MM = 12.0
"""Largest misclosure of third-order levelling, times the root of the length in km (from memory)."""
SETUP_MM = 4.0
"""The same times the root of the number of setups, for sights of up to about 50 m (own choice)."""
SURE = 3.29
"""Standard deviations that chance exceeds once in a thousand."""


@dataclass(frozen=True)
class Run:
    """A run of levels from a known height.

    Attributes
    ----------
    height : array, shape (n,)
        Heights of its rows, before the misclosure is distributed [m].
    setup : array of int, shape (n,)
        Setups between the start and each row.
    broken : int or None
        Row, from 0, at which a sight is missing, so that nothing follows from there.
    """

    height: Array
    setup: Ints
    broken: int | None = None


def reduce_run(start_m: float, back: Array, intermediate: Array, fore: Array) -> Run:
    """Reduce a run of levels by the height of the instrument.

    Parameters
    ----------
    start_m : float
        Height of the first row's point [m].
    back, intermediate, fore : array, shape (n,)
        Staff readings, NaN where not taken; a turning point has fore and back sight in one row.

    Returns
    -------
    Run

    Examples
    --------
    >>> nan = np.nan
    >>> back, fore = np.array([1.5, nan, 0.8, nan]), np.array([nan, nan, 1.2, 1.9])
    >>> run = reduce_run(10.0, back, np.array([nan, 1.0, nan, nan]), fore)
    >>> run.height.tolist(), run.setup.tolist()
    ([10.0, 10.5, 10.3, 9.2], [0, 1, 1, 2])
    """
    turned = np.isfinite(fore)
    read = np.where(turned, fore, intermediate)
    gap = ~np.isfinite(read)
    gap[0] = not np.isfinite(back[0])
    gap[1:] |= turned[:-1] & ~np.isfinite(back[:-1])
    broken = int(np.argmax(gap)) if gap.any() else None
    gain = np.where(np.isfinite(back), back, 0.0) - np.where(turned, fore, 0.0)
    axis = start_m + np.concatenate([[0.0], np.cumsum(gain)[:-1]])
    height = np.where(np.arange(len(back)) == 0, start_m, axis - read)
    setup = np.concatenate([[0], 1 + np.cumsum(turned[:-1])]).astype(np.int64)
    return Run(height, setup, broken)


def page_check(back: Array, fore: Array, height: Array) -> float:
    """Return sum of back-sights less sum of fore-sights less the rise, 0 in a sound book [m]."""
    return float(np.nansum(back) - np.nansum(fore) - (height[-1] - height[0]))


def distributed(run: Run, misclosure_m: float) -> Array:
    """Return a run's heights with its misclosure taken off in equal parts a setup.

    >>> run = Run(np.array([10.0, 10.5, 9.98]), np.array([0, 1, 2]))
    >>> distributed(run, -0.02).round(3).tolist()
    [10.0, 10.51, 10.0]
    """
    return run.height - misclosure_m * run.setup / max(int(run.setup.max(initial=1)), 1)


def allowed_misclosure(setups: int, length_km: float, setup_sd_m: float, ends_sd_m: float) -> float:
    """Return the largest misclosure of a run that needs no explanation [m].

    The larger of the third-order limit and of what the survey's own sds let expect.

    Parameters
    ----------
    setups : int
    length_km : float
        NaN where unknown.
    setup_sd_m : float
        Standard uncertainty of one difference of height.
    ends_sd_m : float
        Standard uncertainty of the difference of the two known heights.

    Examples
    --------
    >>> round(allowed_misclosure(9, float("nan"), 0.0, 0.0), 4)
    0.012
    >>> round(allowed_misclosure(9, 0.25, 0.0, 0.0), 4)
    0.006
    """
    by_length = THIRD_ORDER_MM * np.sqrt(length_km)
    order = by_length if np.isfinite(length_km) else SETUP_MM * np.sqrt(setups)
    chance = SURE * np.sqrt(setups * setup_sd_m**2 + ends_sd_m**2)
    return float(max(order / 1000, chance))


def common_variance(run: Run, setup_sd_m: float, ends_sd_m: tuple[float, float | None]) -> Array:
    """Return the variance that levelling and known heights leave in the heights of a run [m²].

    Parameters
    ----------
    run : Run
    setup_sd_m : float
        Standard uncertainty of one difference of height.
    ends_sd_m : pair
        Standard uncertainties of the heights at the start and, of a closed run, at its end.

    Returns
    -------
    array, shape (n,)
    """
    first, last = ends_sd_m
    setups = max(int(run.setup.max(initial=1)), 1)
    if last is None:
        return first**2 + np.maximum(run.setup - 1, 0) * setup_sd_m**2
    share = run.setup / setups
    ends = ((1 - share) * first) ** 2 + (share * last) ** 2
    return np.asarray(ends + setups * share * (1 - share) * setup_sd_m**2, dtype=float)
