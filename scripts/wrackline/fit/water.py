"""Reduction of soundings: the water's level at the instant of each."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from wrackline.intake.water import WaterRecord, known

Array = npt.NDArray[np.float64]


def level_at(time: Array, record: WaterRecord, *, max_gap_min: float) -> Array:
    """Return the water's level at given instants, between the record's by straight lines.

    Parameters
    ----------
    time : array, shape (n,)
        UTC, in seconds since 1970.
    record : WaterRecord
    max_gap_min : float
        Longest gap of the record that is interpolated across [minutes].

    Returns
    -------
    array, shape (n,)
        Level above the gauge's zero [m]; NaN outside the record and within longer gaps.

    Examples
    --------
    A level that rises by 0.6 m in an hour, then is silent for three:

    >>> record = WaterRecord(np.array([0.0, 3600, 14400]), np.array([1.0, 1.6, 1.0]))
    >>> level_at(np.array([-1.0, 0, 1200, 3600, 7200]), record, max_gap_min=60)
    array([nan, 1. , 1.2, 1.6, nan])
    """
    time = np.asarray(time, dtype=float)
    there = known(time, record, max_gap_min=max_gap_min)
    return np.where(there, np.interp(time, record.time, record.level), np.nan)
