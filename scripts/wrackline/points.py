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
Words = npt.NDArray[np.int32]

CHUNK = 1_000_000
REACH_M = 200_000.0
"""Greatest distance from the site's origin that a point file holds (32-bit counts of ticks)."""

WANTED = (
    laspy.DecompressionSelection.XY_RETURNS_CHANNEL
    | laspy.DecompressionSelection.Z
    | laspy.DecompressionSelection.ALL_EXTRA_BYTES
)
"""Parts of a LAZ file that are decoded."""


@dataclass(frozen=True)
class Points:
    """A chunk of bed points.

    Attributes
    ----------
    easting, northing, height : array of int, shape (n,)
        In ticks of 0.1 mm, absolute in the site's CRS and above the site's datum.
    sd : array, shape (n,), or None
        The file's own standard uncertainty of each height [m], where it has one.
    row : array of int, shape (n,), or None
        Row or number of each point in the raw file, where that is kept.
    """

    easting: Ints
    northing: Ints
    height: Ints
    sd: Array | None = None
    row: Ints | None = None

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
    with_sd, with_row : bool
        Whether to write the extra dimensions `sd_m` and `row`.
    """

    def __init__(
        self,
        path: Path | str,
        *,
        crs: str,
        origin: tuple[float, float],
        with_sd: bool = False,
        with_row: bool = False,
    ) -> None:
        Path(path).parent.mkdir(parents=True, exist_ok=True)
        self._header = _header(crs, origin, with_sd=with_sd, with_row=with_row)
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
        self._forget_extremes()
        self._writer.close()

    def _forget_extremes(self) -> None:
        """Clear what the header says of the extra dimensions' extremes: it hangs on the chunks."""
        for block in self._writer.header.vlrs.get("ExtraBytesVlr"):
            for extra in block.extra_bytes_structs:
                for part in (extra._min, extra._max):
                    for word in part:
                        word[:] = [0] * len(word)
                extra.options &= ~(extra.MIN_BIT_MASK | extra.MAX_BIT_MASK)

    def write(self, points: Points) -> None:
        """Append a chunk."""
        record = laspy.ScaleAwarePointRecord.zeros(len(points), header=self._header)
        offset = ticks(self._header.offsets)
        record.X = points.easting - offset[0]
        record.Y = points.northing - offset[1]
        record.Z = points.height - offset[2]
        if points.sd is not None:
            record["sd_m"] = points.sd.astype(np.float32)
        if points.row is not None:
            record["row"] = points.row.astype(np.uint32)
        self._writer.write_points(record)
        self.count += len(points)


def _header(crs: str, origin: tuple[float, float], *, with_sd: bool, with_row: bool) -> Any:
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales = np.full(3, TICK_M)
    header.offsets = np.array([np.floor(origin[0]), np.floor(origin[1]), 0.0])
    header.creation_date = dt.date(2000, 1, 1)
    header.generating_software = "wrackline"
    header.system_identifier = "wrackline"
    if with_sd:
        header.add_extra_dim(laspy.ExtraBytesParams("sd_m", "float32", "standard uncertainty [m]"))
    if with_row:
        header.add_extra_dim(laspy.ExtraBytesParams("row", "uint32", "row in the raw file"))
    header.add_crs(CRS.from_user_input(crs))
    return header


def records(path: Path | str, *, chunk: int = CHUNK) -> Iterator[Any]:
    """Yield a file's points as laspy decodes them, in chunks, with what `words_of` needs."""
    with laspy.open(path, decompression_selection=WANTED) as source:
        yield from source.chunk_iterator(chunk)


def words_of(record: Any) -> Words:
    """Return a chunk's points as they stand in the file.

    Parameters
    ----------
    record : laspy record
        As `records` yields it.

    Returns
    -------
    array of int, shape (n, words)
        Easting, northing and height in ticks of 0.1 mm from `PointsInfo.offset`; then the file's
        own sd in ticks, and the row, where the file has them.
    """
    extra = set(record.point_format.extra_dimension_names)
    if not extra:  # the three whole numbers that every point begins with, as a view
        points = record.array
        return np.ndarray((len(points), 3), "<i4", points, strides=(points.dtype.itemsize, 4))
    columns = [record.X, record.Y, record.Z]
    if "sd_m" in extra:
        columns.append(ticks(record["sd_m"]))
    if "row" in extra:
        columns.append(np.asarray(record["row"]))
    words = np.empty((len(record), len(columns)), dtype=np.int32)
    for number, column in enumerate(columns):
        words[:, number] = column
    return words


def raw_chunks(path: Path | str, *, chunk: int = CHUNK) -> Iterator[Words]:
    """Yield the points of a file that `PointWriter` wrote, as `words_of` has them, in chunks.

    Parameters
    ----------
    path : Path or str
    chunk : int
        Points a chunk.
    """
    yield from (np.ascontiguousarray(words_of(record)) for record in records(path, chunk=chunk))


def read_points(path: Path | str, *, chunk: int = CHUNK) -> Iterator[Points]:
    """Yield the points of a file that `PointWriter` wrote, in chunks.

    Parameters
    ----------
    path : Path or str
    chunk : int
        Points a chunk.
    """
    info = points_info(path)
    for words in raw_chunks(path, chunk=chunk):
        easting, northing, height = (
            words[:, axis].astype(np.int64) + info.offset[axis] for axis in range(3)
        )
        sd = np.asarray(words[:, 3] * TICK_M, dtype=float) if info.with_sd else None
        row = words[:, -1].astype(np.int64) if info.with_row else None
        yield Points(easting, northing, height, sd, row)


@dataclass(frozen=True)
class PointsInfo:
    """Header of a point file.

    Attributes
    ----------
    count : int
        Number of points.
    bounds : tuple of float
        West, south, east, north [m].
    heights : tuple of float
        Least and greatest [m].
    offset : tuple of int
        What the file's whole numbers count from [ticks].
    with_sd, with_row : bool
        Whether points have the file's own sd, and the row that they came from.
    """

    count: int
    bounds: tuple[float, float, float, float]
    heights: tuple[float, float]
    offset: tuple[int, int, int]
    with_sd: bool
    with_row: bool


def points_info(path: Path | str) -> PointsInfo:
    """Read the header of a file that `PointWriter` wrote."""
    with laspy.open(path) as source:
        header = source.header
        low, high, offset = header.mins, header.maxs, ticks(header.offsets)
        extra = set(header.point_format.extra_dimension_names)
        return PointsInfo(
            count=int(header.point_count),
            bounds=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
            heights=(float(low[2]), float(high[2])),
            offset=(int(offset[0]), int(offset[1]), int(offset[2])),
            with_sd="sd_m" in extra,
            with_row="row" in extra,
        )
