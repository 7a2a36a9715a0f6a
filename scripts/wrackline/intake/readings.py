"""What every reader of bed points gives: chunks of numbers, in the file's own sense and order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Reading:
    """A chunk of a survey file.

    Attributes
    ----------
    x, y, v : array, shape (n,)
        Easting-like, northing-like and vertical numbers as the file has them.
    row : array of int, shape (n,)
        Row of a table (header is row 1), line of a text, point or cell number, from 1.
    seen : int
        Rows that the chunk was read from, those left out included.
    time : array, shape (n,), or None
        UTC, in seconds since 1970.
    sd : array, shape (n,), or None
        The file's own standard uncertainty [m].
    """

    x: Array
    y: Array
    v: Array
    row: Ints
    seen: int
    time: Array | None = None
    sd: Array | None = None
