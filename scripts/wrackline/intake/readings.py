"""What readers give: chunks of bed points, or items, in the file's own sense and order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

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


@dataclass(frozen=True)
class Found:
    """What a file of items held, as its reader hands it on.

    Attributes
    ----------
    cells : DataFrame, n rows
        Attributes, named in lower case: texts, or the values that OGR gives.
    geometry : array of object, shape (n,)
        Shapely geometries, or None; in the file's own sense, lengths in metres.
    rows : array of int, shape (n,)
        Row of a table (header is row 1), or number of a feature from 1.
    seen : int
        Rows that the file holds, those left out included.
    adjustment : dict or None
        Of raw observations: JSON-ready account of their adjustment. ``errors`` lists what
        `wrackline.uncertainty.NamedError` takes; all else is for the record and for people.
    """

    cells: pd.DataFrame
    geometry: npt.NDArray[np.object_]
    rows: Ints
    seen: int
    adjustment: dict[str, Any] | None = None
