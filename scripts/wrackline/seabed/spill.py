"""A survey's points sorted by tile on disk, so that each tile can be worked on alone.

A file of points is decoded once, chunk by chunk; what of a chunk lies in one tile goes to disk as
one run. Tiles are squares of cells counted from the site's origin. A point near a tile's edge goes
to the neighbours too, as part of their margin, so that a tile's result needs no other tile.

On disk: `points.bin`, whole numbers of 32 bits, `words` a point as `wrackline.points.raw_chunks`
has them; `runs.npy`, tile, first point and number of points of each run; `spill.json`, the rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np
import numpy.typing as npt
from numba import njit

from wrackline.errors import Fault, InputError
from wrackline.io import read_json, write_json
from wrackline.points import Words, points_info, records, words_of
from wrackline.rasters import TICK_M, Grid, ticks

Ints = npt.NDArray[np.int64]

CHUNK = 2_000_000
MOST_TILES = 20_000_000


@dataclass(frozen=True)
class Tiling:
    """How a survey's ground is cut into tiles, which count from the north-west, row by row.

    Attributes
    ----------
    grid : Grid
        Cells around all points.
    edge : int
        Cells along a tile's edge.
    margin : int
        Cells around a tile whose points it has too.

    Examples
    --------
    >>> tiling = Tiling(Grid((0.0, 0.0), 0.5, -1, 0, 9, 6), edge=8, margin=2)
    >>> tiling.shape, tiling.tile(2)
    ((1, 3), Grid(origin=(0.0, 0.0), cell_m=0.5, west=8, south=0, east=16, north=8))
    """

    grid: Grid
    edge: int
    margin: int

    @property
    def corner(self) -> tuple[int, int]:
        """Column and row of the tile in the north-west, in tiles from the site's origin."""
        return self.grid.west // self.edge, (self.grid.north - 1) // self.edge

    @property
    def shape(self) -> tuple[int, int]:
        """Number of rows and of columns of tiles."""
        west, north = self.corner
        return north - self.grid.south // self.edge + 1, (
            self.grid.east - 1
        ) // self.edge - west + 1

    def tile(self, number: int) -> Grid:
        """Return the cells of a tile."""
        row, column = divmod(number, self.shape[1])
        west = (self.corner[0] + column) * self.edge
        south = (self.corner[1] - row) * self.edge
        grid = self.grid
        return Grid(grid.origin, grid.cell_m, west, south, west + self.edge, south + self.edge)


@dataclass(frozen=True)
class Spill:
    """A survey's points on disk, by tile.

    Attributes
    ----------
    folder : Path
    tiling : Tiling
    offset : tuple of int
        What eastings, northings and heights count from [ticks].
    heights : tuple of float
        Least and greatest height [m].
    count : int
        Points, each counted once.
    with_sd, with_row : bool
        Whether a point has the file's own sd, and the row that it came from.
    source : str
        The file that the points came from.
    """

    folder: Path
    tiling: Tiling
    offset: tuple[int, int, int]
    heights: tuple[float, float]
    count: int
    with_sd: bool
    with_row: bool
    source: str

    @property
    def words(self) -> int:
        """Whole numbers a point."""
        return 3 + self.with_sd + self.with_row

    def tiles(self) -> dict[int, TilePoints]:
        """Return the points of each tile that has any, by the tile's number."""
        found: dict[int, list[tuple[int, int]]] = {}
        for tile, first, count in np.load(self.folder / "runs.npy").tolist():
            found.setdefault(tile, []).append((first, count))
        path = self.folder / "points.bin"
        return {tile: TilePoints(path, self.words, tuple(found[tile])) for tile in sorted(found)}


@dataclass(frozen=True)
class TilePoints:
    """One tile's points on disk, read run by run whenever they are gone through.

    Attributes
    ----------
    path : Path
    words : int
        Whole numbers a point.
    runs : tuple of (first point, number of points)
    """

    path: Path
    words: int
    runs: tuple[tuple[int, int], ...]

    def __len__(self) -> int:
        return sum(count for _, count in self.runs)

    def __iter__(self) -> Iterator[Words]:
        """Yield the runs, each of shape (n, words)."""
        with self.path.open("rb") as stream:
            for first, count in self.runs:
                stream.seek(first * self.words * 4)
                run = np.fromfile(stream, dtype="<i4", count=count * self.words)
                yield run.reshape(-1, self.words)


def spill_points(path: Path | str, folder: Path | str, *, tiling: Tiling) -> Spill:
    """Decode a file of points once and write its points by tile.

    Parameters
    ----------
    path : Path or str
        LAZ file of the stage `fit`.
    folder : Path or str
        Where to write; made if need be.
    tiling : Tiling
        Its grid must hold the file's points.

    Raises
    ------
    InputError
        When the points lie over more tiles than can be counted.
    """
    folder, info = Path(folder), points_info(path)
    folder.mkdir(parents=True, exist_ok=True)
    if tiling.shape[0] * tiling.shape[1] > MOST_TILES:
        raise InputError(_too_wide(path, tiling))
    spill = Spill(
        folder,
        tiling,
        info.offset,
        info.heights,
        info.count,
        info.with_sd,
        info.with_row,
        str(path),
    )
    with (folder / "points.bin").open("wb") as stream, ThreadPoolExecutor(1) as beside:
        runs, pending = Runs(stream, spill), None
        for record in records(path, chunk=CHUNK):
            if pending is not None:
                pending.result()
            pending = beside.submit(runs.append, record)  # the next one is decoded meanwhile
        if pending is not None:
            pending.result()
    np.save(folder / "runs.npy", np.array(runs.table, dtype=np.int64).reshape(-1, 3))
    write_json({**asdict(spill), "folder": ""}, folder / "spill.json")
    return spill


def open_spill(folder: Path | str) -> Spill:
    """Return the spill that `spill_points` wrote into a folder."""
    told = read_json(Path(folder) / "spill.json")
    tiling, grid = told["tiling"], told["tiling"]["grid"]
    whole = Grid(**{**grid, "origin": tuple(grid["origin"])})
    return Spill(
        Path(folder),
        Tiling(whole, tiling["edge"], tiling["margin"]),
        tuple(told["offset"]),
        tuple(told["heights"]),
        told["count"],
        told["with_sd"],
        told["with_row"],
        told["source"],
    )


class Runs:
    """Writes points by tile to a stream and keeps which tile they belong to."""

    def __init__(self, stream: IO[bytes], spill: Spill) -> None:
        self._stream, self._spill, self._at = stream, spill, 0
        self.table: list[tuple[int, int, int]] = []

    def append(self, record: Any) -> None:
        """Write one chunk of decoded points, in the order of tiles."""
        points, counts = by_tile(words_of(record), self._spill)
        for tile in np.flatnonzero(counts).tolist():
            self.table.append((tile, self._at, int(counts[tile])))
            self._at += int(counts[tile])
        self._stream.write(points.data)


def by_tile(chunk: Words, spill: Spill) -> tuple[Words, Ints]:
    """Return a chunk's points in the order of tiles, margins included, and how many a tile has.

    Parameters
    ----------
    chunk : array of int, shape (n, words)
    spill : Spill

    Returns
    -------
    points : array of int, shape (m, words)
    counts : array of int, shape (n_tiles,)
    """
    tiling = spill.tiling
    size = round(tiling.grid.cell_m / TICK_M, 6)
    origin = ticks(tiling.grid.origin) - np.array(spill.offset[:2])
    counts = np.zeros(tiling.shape[0] * tiling.shape[1], dtype=np.int64)
    edge, margin = tiling.edge * size, tiling.margin * size + 1.0
    corner, shape = tiling.corner, tiling.shape
    near = margin / edge  # a tick wider than the margin, which forgives all rounding
    frame = (float(origin[0]), float(origin[1]), 1.0 / edge, near, *corner, *shape)
    lone = np.empty(len(chunk), dtype=np.int32)
    _count(chunk, frame, counts, lone)
    out = np.empty((int(counts.sum()), chunk.shape[1]), dtype=np.int32)
    _place(chunk, frame, lone, np.cumsum(counts) - counts, out)
    return out, counts


@njit(cache=True, nogil=True)
def _tiles_of(place, near, first, number):  # type: ignore[no-untyped-def]
    """Return first and last tile along one axis whose cells or margin hold a place, in tiles."""
    at = np.floor(place)
    beyond, index = place - at, int(at) - first
    low = index - 1 if beyond <= near else index
    high = index + 1 if beyond >= 1.0 - near else index
    return max(low, 0), min(high, number - 1)


@njit(cache=True, nogil=True)
def _reach(east, north, frame):  # type: ignore[no-untyped-def]
    """Return first and last column and row, from the south, of the tiles that want a place."""
    near, west, top, rows, columns = frame[3:]
    left, right = _tiles_of((east - frame[0]) * frame[2], near, west, columns)
    low, high = _tiles_of((north - frame[1]) * frame[2], near, top - rows + 1, rows)
    return left, right, low, high


@njit(cache=True, nogil=True)
def _count(points, frame, counts, lone):  # type: ignore[no-untyped-def]
    """Count the points of each tile; fill the tile of points that one tile alone wants, else −1."""
    rows, columns = frame[6], frame[7]
    for i in range(len(points)):
        left, right, low, high = _reach(points[i, 0], points[i, 1], frame)
        if left == right and low == high:
            tile = (rows - 1 - low) * columns + left
            counts[tile] += 1
            lone[i] = tile
            continue
        lone[i] = -1
        for row in range(low, high + 1):
            for column in range(left, right + 1):
                counts[(rows - 1 - row) * columns + column] += 1


@njit(cache=True, nogil=True)
def _place(points, frame, lone, at, out):  # type: ignore[no-untyped-def]
    """Copy each point to where its tiles' points stand."""
    rows, columns = frame[6], frame[7]
    for i in range(len(points)):
        if lone[i] >= 0:
            _copy(points, i, out, at, lone[i])
            continue
        left, right, low, high = _reach(points[i, 0], points[i, 1], frame)
        for row in range(low, high + 1):
            for column in range(left, right + 1):
                _copy(points, i, out, at, (rows - 1 - row) * columns + column)


@njit(cache=True, nogil=True, inline="always")
def _copy(points, i, out, at, tile):  # type: ignore[no-untyped-def]
    """Copy one point to the next place of a tile."""
    to = at[tile]
    for word in range(points.shape[1]):
        out[to, word] = points[i, word]
    at[tile] = to + 1


def _too_wide(path: Path | str, tiling: Tiling) -> Fault:
    rows, columns = tiling.shape
    return Fault(
        "ground_too_wide",
        f"points over {columns} × {rows} tiles of {tiling.edge * tiling.grid.cell_m:g} m",
        f"at most {MOST_TILES:,} tiles around a survey's points",
        "the seabed could not be worked on in tiles",
        "take stray points out of the file, or make seabed.cell_m or seabed.tile_m larger",
        str(path),
    )
