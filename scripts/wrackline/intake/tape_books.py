"""The rows of a tape book, and the network that they make: what its reader and its words share."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.fit import tapes as fit
from wrackline.model import ControlValue
from wrackline.verdict import Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MEASURES = ("distance", "offset", "depth", "bearing", "line")
LINE_HOLDS = ("wall_lines", "trench_outlines")
ATTRIBUTES = ("kind", "origin", "evidence", "note", "thickness_m", "thickness_sd_m")
LEAST_SD_M = 0.001
BEARING_SD_DEG = 2.0
"""A hand-held compass under water (common practice, no source)."""
SURE = 4.0
"""Standard uncertainties beyond which a disagreement is no chance (common practice, no source)."""
STRETCHED, OTHER_UNIT = 0.005, 0.05
"""Tapes off by more than these shares are stretched, or in another unit."""
WHOLE_M = 0.05
POOR_S0, POOR_SHARE, POOR_COUNT = 3.0, 0.2, 3
"""A network is poor beyond this reference sd, or this share and count of blunders."""
PLAIN = {
    fit.DISTANCE: "distance",
    fit.ALONG: "offset",
    fit.RIGHT: "offset",
    fit.HEIGHT: "depth",
    fit.BEARING: "bearing",
}
AXES = {fit.EAST: "easting", fit.NORTH: "northing", fit.HEIGHT: "height"}


@dataclass(frozen=True)
class Book:
    """The rows of a tape book; points are counted from 0 in order of first sight, -1 for none.

    Values, sds and places along a base line are in metres, bearings and their sds in degrees.
    """

    points: list[str]
    first: Ints
    measure: list[str]
    a: Ints
    b: Ints
    p: Ints
    line: list[str]
    value: Array
    sd: Array
    along: Array
    day: list[dt.date]
    row: Ints
    cells: pd.DataFrame

    def rows_of(self, measure: str) -> Ints:
        """Return the places of all rows of one measure."""
        return np.flatnonzero(np.array(self.measure, dtype=object) == measure)


@dataclass(frozen=True)
class Work:
    """A network, with what its numbers came from.

    `origin` is each observation's row of the book, -1 for a mark's; `marks` the values of marks by
    point; `turn_deg` the declination of each bearing row [degrees].
    """

    network: fit.Network
    origin: Ints
    marks: dict[int, ControlValue]
    turn_deg: Array


def upward(source: Source) -> float:
    """Return 1 where the file's vertical numbers count up, -1 where they count down."""
    return 1.0 if source.survey.vertical.meaning == "height" else -1.0


Row = tuple[int, int, int, int, float, float, int]
