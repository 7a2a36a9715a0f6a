"""Cells of a survey, tile by tile: how many points, mean and middle height, spread, set aside.

A tile is worked on alone, with the points of its margin; where it would need more memory than is
allowed it is worked on in quarters. Neither leaves a trace in the figures.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

import numpy as np
import numpy.typing as npt
from numba import njit

from wrackline.points import Words
from wrackline.rasters import TICK_M, Grid, PlainRasterWriter, RasterWriter, ticks
from wrackline.seabed.bins import check_sums
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
    Figures,
    Flags,
    Sorted,
    figures,
    inside,
    kept_figures,
    own_squares,
    sort_cells,
    sum_cells,
)
from wrackline.seabed.slopes import SLOPE_MARGIN, slopes_of
from wrackline.seabed.spill import Spill, TilePoints, Tiling
from wrackline.seabed.variances import variance_of_mean
from wrackline.uncertainty import ErrorModel

Array = npt.NDArray[np.float64]
Real = npt.NDArray[np.floating[Any]]

BANDS = (
    ("count", "1"),
    ("height", "m"),
    ("spread", "m"),
    ("middle", "m"),
    ("rejected", "1"),
    ("own_sd", "m"),
    ("sd_random", "m"),
    ("slope_east", "1"),
    ("slope_north", "1"),
    ("missing", "1"),
    ("upper_count", "1"),
    ("upper_height", "m"),
    ("upper_spread", "m"),
    ("amid", "1"),
)
"""Bands of a raster of tiles: with the slopes of its cells, the number of directions in which they
are missing, the upper layer's figures, and whether a cell lies amid two layers."""

BYTES_A_CELL, BYTES_A_POINT = 260, 8
STEEPEST = 0.7
"""Steeper than loose ground lies at rest (common practice, no source): a step, not a slope."""
OVERHEAD_MB = 250
"""Memory of a step before it works on anything, roughly."""


@dataclass(frozen=True)
class Work:
    """How a survey's cells are made.

    Attributes
    ----------
    model : ErrorModel
        The survey's errors.
    limits : Limits, or None
        What tells blunders; None rejects none and finds no middle.
    memory_mb : float
        What one process may use [MB].
    """

    model: ErrorModel
    limits: Limits | None
    memory_mb: float


def work_of(
    model: ErrorModel, *, cell_m: float, structure_max_m: float | None, memory_mb: float
) -> Work:
    """Return how the cells of a survey with these errors are made.

    Parameters
    ----------
    model : ErrorModel
    cell_m : float
        Cell size [m].
    structure_max_m : float or None
        Nothing of the site stands higher; with None no blunder is looked for [m].
    memory_mb : float
        What one process may use [MB].
    """
    limits = None if structure_max_m is None else limits_of(model, cell_m, structure_max_m)
    return Work(model, limits, memory_mb)


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
    bands: dict[str, Real]
    lone: Words


def cells_of_tile(points: TilePoints, tile: Grid, spill: Spill, work: Work) -> Iterator[Cells]:
    """Yield the cells of a tile, in one piece or in as many as the memory asks for.

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
    for piece in pieces:
        yield _cells(points, piece, spill, work)


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
    found = (_plain if work.limits is None else _judged)(points, piece, spill, work)
    most = float(np.nanmax(found.bands["count"], initial=0.0))
    check_sums(most, spill.heights, spill.source)
    return _with_own(found, points, spill)


def _plain(points: TilePoints, piece: Grid, spill: Spill, work: Work) -> Cells:
    """Return the cells of one piece, every point taken as seabed."""
    base = int(ticks(spill.heights[0])) - spill.offset[2]
    wide = piece.grown(SLOPE_MARGIN)
    area = Area.of(wide, spill.offset)
    sums = sum_cells(points, area, base=base)
    found = figures(sums, sums[:, 3:], area, base=base + spill.offset[2])
    bands = _surveyed(found, found.height, work.model, wide.cell_m)
    none = np.zeros((0, spill.words), dtype=np.int32)
    return Cells(piece, _cut(bands, SLOPE_MARGIN), none)


def _judged(points: TilePoints, piece: Grid, spill: Spill, work: Work) -> Cells:
    """Return the cells of one piece, with blunders and upper layers set aside."""
    wide = piece.grown(MARGIN)
    found, bands, lone = _sorted_out(points, wide, spill, cast(Limits, work.limits))
    sure = np.where(bands["amid"] > 0, np.nan, found.height) if "amid" in bands else found.height
    bands |= _surveyed(found, sure, work.model, wide.cell_m)
    own = inside(lone, Area.of(piece, spill.offset))
    return Cells(piece, _cut(bands, MARGIN), np.asarray(lone[own], dtype=np.int32))


def _sorted_out(
    points: TilePoints, wide: Grid, spill: Spill, limits: Limits
) -> tuple[Figures, dict[str, Real], Words]:
    """Return figures of what is kept, bands of what isn't, and the lone blunders."""
    base = int(ticks(spill.heights[0])) - spill.offset[2]
    area = Area.of(wide, spill.offset)
    cells = sort_cells(points, area)
    flags = lone_blunders(cells, area.columns, limits)
    amid = layers(cells, flags, area.columns, limits)
    lone = set_aside(points, area, cells, flags, words=points.words)
    sums, middle = kept_figures(cells, flags, base=base)
    middle_m = (middle + spill.offset[2]) * TICK_M
    bands: dict[str, Real] = {
        "middle": middle_m.reshape(wide.shape).astype(np.float32),
        "rejected": sums[:, 3].reshape(wide.shape).astype(np.float32),
    }
    if amid.any():
        bands |= _upper(cells, flags, amid, area, spill)
    return figures(sums, cells.places, area, base=base + spill.offset[2]), bands, lone


def _surveyed(found: Figures, sure: Array, model: ErrorModel, cell_m: float) -> dict[str, Real]:
    """Return the bands of measured cells, their heights brought to their centres.

    Heights go along the slope of the plane through 5 × 5 sure cells, no steeper than `STEEPEST`;
    those in doubt and those without neighbours stay.
    """
    east, north, missing = slopes_of(sure, cell_m)
    out = np.full((4, *sure.shape), np.nan, dtype=np.float32)
    errors = model.random_vertical**2, model.random_horizontal**2, cell_m**2 / 12
    parts = (found.count, found.height, found.spread, found.east, found.north)
    _bring_to_centres(parts, east, north, missing, errors, out)
    return {
        "count": found.count,
        "height": out[0],
        "spread": out[1],
        "sd_random": out[2],
        "slope_east": east,
        "slope_north": north,
        "missing": out[3],
    }


@njit(cache=True, nogil=True)
def _bring_to_centres(found, slope_east, slope_north, missing, errors, out):  # type: ignore[no-untyped-def]
    """Fill heights at centres, spreads, random sds, and how many slopes are missing."""
    count, height, spread, east, north = found
    for row in range(count.shape[0]):
        for column in range(count.shape[1]):
            number = count[row, column]
            if number == 0:
                continue
            rise, away = slope_east[row, column], slope_north[row, column]
            if np.isnan(rise):
                rise = away = 0.0
            steep = rise * rise + away * away
            move = rise * east[row, column] + away * north[row, column]
            if steep > STEEPEST**2:
                move *= STEEPEST / np.sqrt(steep)
            out[0, row, column] = height[row, column] - move
            out[1, row, column] = spread[row, column]
            variance = variance_of_mean(number, steep, spread[row, column], errors)
            out[2, row, column] = np.sqrt(variance)
            if missing[row, column]:
                out[3, row, column] = missing[row, column]


def _upper(cells: Sorted, flags: Flags, amid: Flags, area: Area, spill: Spill) -> dict[str, Real]:
    """Return the bands of upper layers; what they set aside isn't rejected yet."""
    base = int(ticks(spill.heights[0])) - spill.offset[2]
    others = np.where(flags == LAYER, np.uint8(0), np.uint8(1))
    sums, _ = kept_figures(cells, others, base=base)
    found = figures(sums, cells.places, area, base=base + spill.offset[2])
    return {
        "upper_count": np.where(found.count > 0, found.count, np.nan),
        "upper_height": found.height,
        "upper_spread": found.spread,
        "amid": np.where(amid > 0, amid.astype(float), np.nan).reshape(found.count.shape),
    }


def _cut(bands: dict[str, Real], margin: int) -> dict[str, Real]:
    """Return bands without their margin, those that are missing as NaN."""
    inner = slice(margin, -margin), slice(margin, -margin)
    shape = bands["count"][inner].shape
    return {
        name: bands[name][inner] if name in bands else np.full(shape, np.nan, dtype=np.float32)
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
    with PlainRasterWriter(raster, BANDS, grid=whole) as writer:
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
    part = cells.grid.intersection(whole)
    if part is not None:
        rows, columns = cells.grid.window(part)
        writer.write(part, [cells.bands[name][rows, columns] for name, _ in BANDS])
