"""A total station's day as read, and its setups as fitted: what reading and checking share."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.fit.stations import Setup

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Day:
    """A day's rows, in order: texts and numbers as read, angles averaged over faces [radians].

    `setup` counts station rows so far, so that 0 is what comes before the first.
    """

    kind: npt.NDArray[np.str_]
    point: list[str]
    day: list[dt.date | None]
    number: dict[str, Array]
    row: Ints
    circle: Array
    zenith: Array
    slope: Array
    setup: Ints
    text: pd.DataFrame

    def rows_of(self, setup: int, kind: str) -> Ints:
        """Return the places, from 0, of one setup's rows of a kind."""
        return np.flatnonzero((self.setup == setup) & (self.kind == kind)).astype(np.int64)


@dataclass(frozen=True)
class Fitted:
    """A setup of the day: the places, from 0, of its rows, its marks and its fit.

    `own_axis` is the axis height by the occupied mark, `axis_sd` that of each back-sight's.
    """

    station: int
    backs: Ints
    marks: list[str]
    place: Array
    fit: Setup
    scale: float
    axis_sd: Array
    own_axis: float
