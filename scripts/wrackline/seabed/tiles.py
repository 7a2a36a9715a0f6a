"""Cells of a survey, tile by tile: how many points, mean and middle height, spread, set aside.

A tile is worked on alone, with the points of its margin; where it would need more memory than is
allowed it is worked on in quarters. Neither leaves a trace in the figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wrackline.points import Words
from wrackline.rasters import TICK_M, Grid, RasterWriter, ticks
from wrackline.seabed.bins import check_sums, figures_of
from wrackline.seabed.blunders import (
    LAYER,
    MARGIN,
    Limits,
    layers,
    limits_of,
    lone_blunders,
    set_aside,
)
from wrackline.seabed.cells import (
    Area,
    Flags,
    Ints,
    Sorted,
    kept_figures,
    own_squares,
    sort_cells,
    sum_cells,
)
from wrackline.seabed.slopes import SLOPE_MARGIN, plane_gradient
from wrackline.seabed.spill import Spill, TilePoints, Tiling
from wrackline.uncertainty import ErrorModel

Array = npt.NDArray[np.float64]

BANDS = (
    ("count", "1"),
    ("height", "m"),
    ("spread", "m"),
    ("middle", "m"),
    ("rejected", "1"),
    ("own_sd", "m"),
    ("upper_count", "1"),
    ("upper_height", "m"),
    ("upper_spread", "m"),
    ("amid", "1"),
)
"""Bands of a raster of tiles; the upper layer's, and whether a cell lies amid two layers."""

BYTES_A_CELL, BYTES_A_POINT = 120, 8
CENTRE_MARGIN = SLOPE_MARGIN
OVERHEAD_MB = 300
"""Memory of a step before it works on anything, roughly."""


@dataclass(frozen=True)
class Work:
    """How a survey's cells are made.

    Attributes
    ----------
    limits : Limits, or None
        What tells blunders; None rejects none and finds no middle.
    memory_mb : float
        What one process may use [MB].
    """

    limits: Limits | None
    memory_mb: float


def work_of(model: ErrorModel, *, cell_m: float, reject: bool, memory_mb: float) -> Work:
    """Return how the cells of a survey with these errors are made."""
    return Work(limits_of(model, cell_m) if reject else None, memory_mb)


def tiling_for(
    bounds: tuple[float, float, float, float],
    *,
    origin: tuple[float, float],
    cell_m: float,
    tile_m: float,
) -> Tiling:
    """Return the tiling of a survey's ground.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east, north [m].
    origin : tuple of float
        The site's origin [m].
    cell_m : float
        Cell size [m].
    tile_m : float
        Least edge of a tile [m]; no tile is smaller than its margins.
    """
    edge = max(int(np.ceil(tile_m / cell_m - 1e-9)), 4 * MARGIN)
    return Tiling(Grid.around(origin, cell_m, bounds), edge + edge % 2, MARGIN)


@dataclass(frozen=True)
class Cells:
    """A tile's or survey's points, cell by cell; arrays of shape (n_rows, n_columns).

    Attributes
    ----------
    grid : Grid
    bands : dict of str to array
        As `BANDS` names them; NaN where there is nothing to say.
    lone : array of int, shape (n, words)
        Points set aside as lone blunders.
    """

    grid: Grid
    bands: dict[str, Array]
    lone: Words


def cells_of_tile(points: TilePoints, tile: Grid, spill: Spill, work: Work) -> list[Cells]:
    """Return the cells of a tile, in one piece or in as many as the memory asks for.

    Parameters
    ----------
    points : TilePoints
    tile : Grid
    spill : Spill
        The survey.
    work : Work
    """
    pieces = [tile]
    while (
        _need_mb(pieces[0], len(points) / len(pieces)) > work.memory_mb
        and pieces[0].shape[0] % 2 == 0
    ):
        pieces = [quarter for piece in pieces for quarter in _quarters(piece)]
    return [_cells(points, piece, spill, work) for piece in pieces]


def _need_mb(piece: Grid, points: float) -> float:
    cells = (piece.shape[0] + 2 * MARGIN) * (piece.shape[1] + 2 * MARGIN)
    return OVERHEAD_MB + (BYTES_A_CELL * cells + BYTES_A_POINT * points) / 1e6


def _quarters(piece: Grid) -> list[Grid]:
    half_row, half_column = piece.shape[0] // 2, piece.shape[1] // 2
    middle, centre = piece.south + half_row, piece.west + half_column
    halves = replace(piece, south=middle), replace(piece, north=middle)
    return [
        quarter
        for half in halves
        for quarter in (replace(half, east=centre), replace(half, west=centre))
    ]


def _cells(points: TilePoints, piece: Grid, spill: Spill, work: Work) -> Cells:
    """Return the cells of one piece."""
    found = (
        _judged(points, piece, spill, work.limits) if work.limits else _plain(points, piece, spill)
    )
    most = float(np.nanmax(found.bands["count"], initial=0.0))
    check_sums(most, spill.heights, spill.source)
    return _with_own(found, points, spill)


def _plain(points: TilePoints, piece: Grid, spill: Spill) -> Cells:
    """Return the cells of one piece, every point taken as seabed."""
    base = int(ticks(spill.heights[0])) - spill.offset[2]
    wide = piece.grown(CENTRE_MARGIN)
    area = Area.of(wide, spill.offset)
    sums = sum_cells(points, area, base=base)
    bands = _figures(sums, spill, base)
    off = area.off_centre(sums[:, 0], sums[:, 3], sums[:, 4])
    bands["height"] = _at_centres(bands["height"], off, wide)
    none = np.zeros((0, spill.words), dtype=np.int32)
    return Cells(piece, _shaped(bands, piece, CENTRE_MARGIN), none)


def _judged(points: TilePoints, piece: Grid, spill: Spill, limits: Limits) -> Cells:
    """Return the cells of one piece, with blunders and upper layers set aside."""
    base = int(ticks(spill.heights[0])) - spill.offset[2]
    wide = piece.grown(MARGIN)
    area = Area.of(wide, spill.offset)
    cells = sort_cells(points, area)
    flags = lone_blunders(cells, area.columns, limits)
    amid = layers(cells, flags, area.columns, limits)
    lone = set_aside(points, area, cells, flags, words=points.words)
    sums, middle = kept_figures(cells, flags, base=base)
    bands = _figures(sums, spill, base)
    off = area.off_centre(sums[:, 0], cells.places[:, 0], cells.places[:, 1])
    bands["height"] = _at_centres(bands["height"], off, wide)
    bands["middle"] = (middle + spill.offset[2]) * TICK_M
    bands["rejected"] = sums[:, 3].astype(float)
    if amid.any():
        bands |= _upper(cells, flags, amid, spill, base)
    inner = Area.of(piece, spill.offset)
    return Cells(piece, _shaped(bands, piece, MARGIN), _own_lone(lone, inner))


def _at_centres(height: Array, off: tuple[Array, Array], wide: Grid) -> Array:
    """Return mean heights brought from the middle of the points to the centre of the cell.

    Along the slope of the plane through 5 × 5 cells; a cell without neighbours stays as it is.
    """
    shaped = height.reshape(wide.shape)
    slope = plane_gradient(shaped, wide.cell_m, lone_slope=0.0)
    east, north = (part.reshape(wide.shape) for part in off)
    return (shaped - slope[0] * east - slope[1] * north).ravel()


def _own_lone(lone: Words, inner: Area) -> Words:
    """Return the lone blunders of the piece itself, without its margin."""
    column = np.floor((lone[:, 0] - inner.west) / inner.size)
    row = -1 - np.floor((lone[:, 1] - inner.north) / inner.size)
    inside = (column >= 0) & (column < inner.columns) & (row >= 0) & (row < inner.rows)
    return np.asarray(lone[inside], dtype=np.int32)


def _figures(sums: Ints, spill: Spill, base: int) -> dict[str, Array]:
    """Return count, mean height and sample standard deviation from sums over cells."""
    height, spread = figures_of(sums, base + spill.offset[2])
    return {"count": sums[:, 0].astype(float), "height": height, "spread": spread}


def _upper(cells: Sorted, flags: Flags, amid: Flags, spill: Spill, base: int) -> dict[str, Array]:
    """Return the bands of upper layers; what they set aside isn't rejected yet."""
    others = np.where(flags == LAYER, np.uint8(0), np.uint8(1))
    sums, _ = kept_figures(cells, others, base=base)
    figures = _figures(sums, spill, base)
    return {
        "upper_count": np.where(sums[:, 0] > 0, figures["count"], np.nan),
        "upper_height": figures["height"],
        "upper_spread": figures["spread"],
        "amid": np.where(amid > 0, amid.astype(float), np.nan),
    }


def _shaped(bands: dict[str, Array], piece: Grid, margin: int) -> dict[str, Array]:
    """Return bands as rows and columns of the piece, those that are missing as NaN."""
    shape = (piece.shape[0] + 2 * margin, piece.shape[1] + 2 * margin)
    inside = slice(margin, shape[0] - margin), slice(margin, shape[1] - margin)
    return {
        name: bands[name].reshape(shape)[inside] if name in bands else np.full(piece.shape, np.nan)
        for name, _ in BANDS
    }


def _with_own(found: Cells, points: TilePoints, spill: Spill) -> Cells:
    """Return the cells with the root mean square of the file's own sd, where it has one."""
    if not spill.with_sd:
        return found
    squares = own_squares(points, Area.of(found.grid, spill.offset)).reshape(found.grid.shape)
    number = found.bands["count"] + np.nan_to_num(found.bands["rejected"])
    found.bands["own_sd"] = np.sqrt(squares / np.maximum(number, 1)) * TICK_M
    return found


def grid_tiles(
    spill: Spill, raster: Path | str, work: Work, *, share: tuple[int, int] = (0, 1)
) -> Words:
    """Write the cells of a share of a survey's tiles as a raster, and return its lone blunders.

    Parameters
    ----------
    spill : Spill
    raster : Path or str
        Plain GeoTIFF of the bands `BANDS` around the share's tiles.
    work : Work
    share : tuple of int
        Number of the share, from 0, and of how many.

    Returns
    -------
    array of int, shape (n, words)
        Points set aside, see `wrackline.points.raw_chunks`.
    """
    tiles = spill.tiles()
    mine = tiles_of_share(spill, *share)
    whole = _around([spill.tiling.tile(number) for number in mine], spill.tiling.grid)
    lone = [np.zeros((0, spill.words), dtype=np.int32)]
    with RasterWriter(raster, BANDS, grid=whole, overviews="none") as writer:
        for number in mine:
            for cells in cells_of_tile(tiles[number], spill.tiling.tile(number), spill, work):
                _write(writer, cells, whole)
                lone.append(cells.lone)
    found = np.concatenate(lone)
    return found[np.lexsort(found.T[::-1])]


def tiles_of_share(spill: Spill, share: int, shares: int) -> list[int]:
    """Return the tiles of one share: tiles in turn, about equally many points a share."""
    counts = {tile: len(points) for tile, points in spill.tiles().items()}
    before = np.cumsum([0, *counts.values()])[:-1]
    whole = max(sum(counts.values()), 1)
    return [
        tile for tile, at in zip(counts, before, strict=True) if int(at) * shares // whole == share
    ]


def _around(tiles: Sequence[Grid], grid: Grid) -> Grid:
    """Return the least grid around tiles, cut to the survey's."""
    if not tiles:
        return replace(grid, east=grid.west + 1, south=grid.north - 1)
    west, south = min(t.west for t in tiles), min(t.south for t in tiles)
    east, north = max(t.east for t in tiles), max(t.north for t in tiles)
    around = replace(grid, west=west, south=south, east=east, north=north).intersection(grid)
    return grid if around is None else around


def _write(writer: RasterWriter, cells: Cells, whole: Grid) -> None:
    """Write a piece, cut to the raster."""
    inside = cells.grid.intersection(whole)
    if inside is not None:
        rows, columns = cells.grid.window(inside)
        writer.write(inside, [cells.bands[name][rows, columns] for name, _ in BANDS])
