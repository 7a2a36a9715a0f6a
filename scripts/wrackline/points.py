"""Bed points between stages: LAZ in whole ticks of 0.1 mm, read and written in chunks.

Coordinates in memory are whole numbers of ticks (int64): sums over them are exact, so that no
result depends on the order of points or on the size of chunks. Equal input gives equal bytes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

import laspy
import numpy as np
import numpy.typing as npt
from pyproj import CRS

from wrackline.rasters import TICK_M, ticks

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CHUNK = 1_000_000
REACH_M = 200_000.0
"""Greatest distance from the site's origin that a point file holds (32-bit counts of ticks)."""


@dataclass(frozen=True)
class Points:
    """A chunk of bed points.

    Attributes
    ----------
    easting, northing, height : array of int, shape (n,)
        In ticks of 0.1 mm, absolute in the site's CRS and above the site's datum.
    sd : array, shape (n,), or None
        The file's own standard uncertainty of each height [m], where it has one.
    """

    easting: Ints
    northing: Ints
    height: Ints
    sd: Array | None = None

    def __len__(self) -> int:
        return len(self.easting)


class PointWriter:
    """Writes one LAZ file chunk by chunk; use it as a context manager.

    Parameters
    ----------
    path : Path or str
    crs : str
        The site's CRS.
    origin : tuple of float
        The site's origin; the file's offset is its whole metres [m].
    with_sd : bool
        Whether to write the extra dimension `sd_m`.
    """

    def __init__(
        self, path: Path | str, *, crs: str, origin: tuple[float, float], with_sd: bool = False
    ) -> None:
        Path(path).parent.mkdir(parents=True, exist_ok=True)
        self._header = _header(crs, origin, with_sd)
        self._writer = laspy.open(
            path, mode="w", header=self._header, laz_backend=laspy.LazBackend.Lazrs
        )
        self.count = 0

    def __enter__(self) -> PointWriter:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._writer.close()

    def write(self, points: Points) -> None:
        """Append a chunk."""
        record = laspy.ScaleAwarePointRecord.zeros(len(points), header=self._header)
        offset = ticks(self._header.offsets)
        record.X = points.easting - offset[0]
        record.Y = points.northing - offset[1]
        record.Z = points.height - offset[2]
        if points.sd is not None:
            record["sd_m"] = points.sd.astype(np.float32)
        self._writer.write_points(record)
        self.count += len(points)


def _header(crs: str, origin: tuple[float, float], with_sd: bool) -> Any:
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales = np.full(3, TICK_M)
    header.offsets = np.array([np.floor(origin[0]), np.floor(origin[1]), 0.0])
    header.creation_date = dt.date(2000, 1, 1)
    header.generating_software = "wrackline"
    header.system_identifier = "wrackline"
    if with_sd:
        header.add_extra_dim(laspy.ExtraBytesParams("sd_m", "float32", "standard uncertainty [m]"))
    header.add_crs(CRS.from_user_input(crs))
    return header


def read_points(path: Path | str, *, chunk: int = CHUNK) -> Iterator[Points]:
    """Yield the points of a file that `PointWriter` wrote, in chunks.

    Parameters
    ----------
    path : Path or str
    chunk : int
        Points a chunk.
    """
    with laspy.open(path) as source:
        offset = ticks(source.header.offsets)
        with_sd = "sd_m" in source.header.point_format.extra_dimension_names
        for record in source.chunk_iterator(chunk):
            easting, northing, height = (
                np.asarray(values, dtype=np.int64) + offset[axis]
                for axis, values in enumerate((record.X, record.Y, record.Z))
            )
            sd = np.asarray(record["sd_m"], dtype=float) if with_sd else None
            yield Points(easting, northing, height, sd)


@dataclass(frozen=True)
class PointsInfo:
    """Header of a point file: number of points, bounds and heights [m], own sd or not."""

    count: int
    bounds: tuple[float, float, float, float]
    heights: tuple[float, float]
    with_sd: bool


def points_info(path: Path | str) -> PointsInfo:
    """Read the header of a file that `PointWriter` wrote."""
    with laspy.open(path) as source:
        header = source.header
        low, high = header.mins, header.maxs
        return PointsInfo(
            count=int(header.point_count),
            bounds=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
            heights=(float(low[2]), float(high[2])),
            with_sd="sd_m" in header.point_format.extra_dimension_names,
        )
