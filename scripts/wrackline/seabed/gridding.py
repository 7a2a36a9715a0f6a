"""One survey's bed points as a surface: height per cell, how well it is known, what was set aside.

Points go by tile to cells (`wrackline.seabed.spill`, `.tiles`), blocks of two layers are settled
(`.layers`), gaps filled (`.fill`), and every cell's sd told by cause (`.variances`). All of it
looks at pieces of ground with a margin, so that memory is bounded and neither pieces, nor tiles,
nor the order of points leave a trace in the figures.

A file's own uncertainty (see `wrackline.intake.grids`) is a total without causes: the sd is never
less than the root mean square of it over the cell's points.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from wrackline.points import Words, points_info
from wrackline.rasters import BLOCK, TICK_M, Grid, RasterReader, RasterWriter
from wrackline.seabed.blunders import LEAST_M
from wrackline.seabed.fill import fill_gaps
from wrackline.seabed.fill import margin_cells as fill_margin
from wrackline.seabed.layers import (
    ALL,
    NOTHING,
    UPPER,
    Block,
    Read,
    Settled,
    cells_in_doubt,
    ground_around,
    margin_cells,
    settle,
)
from wrackline.seabed.roughness import Roughness, RoughnessSums
from wrackline.seabed.slopes import SLOPE_MARGIN, SlopeSums, plane_gradient, slopes_missing
from wrackline.seabed.spill import open_spill, spill_points
from wrackline.seabed.tiles import BANDS as TILE_BANDS
from wrackline.seabed.tiles import Work, grid_tiles, tiling_for, work_of
from wrackline.seabed.variances import (
    cell_places,
    common_variance,
    placing_variance,
    random_variance,
)
from wrackline.uncertainty import ErrorModel

Array = npt.NDArray[np.float64]

BANDS = (
    ("height", "m"),
    ("sd", "m"),
    ("sd_random", "m"),
    ("count", "1"),
    ("spread", "m"),
    ("middle", "m"),
    ("filled", "1"),
    ("distance_m", "m"),
    ("rejected", "1"),
    ("surface", "1"),
    ("canopy", "m"),
)
"""Bands of a survey's surface."""

BED, CANOPY, STRUCTURE = 1, 2, 3
"""Band `surface`: the bed; plants, a shoal or other things above a bed that wasn't seen there; what
stands above the ground around it."""

ARRAYS, WORKING_MB = 60, 350
"""Arrays of 8 bytes a cell that finishing a piece holds, and a step's memory besides [MB]."""


@dataclass(frozen=True)
class Settings:
    """How a survey becomes a surface.

    Attributes
    ----------
    cell_m : float
        Cell size of the survey's own surface [m].
    fill_distance_m : float
        Farthest that a filled cell lies from a measured one [m].
    reject_blunders : bool
        Whether blunders and layers are told.
    structure_max_m : float
        Nothing of the site stands higher above the ground around it, or lies deeper below [m].
    tile_m : float
        Least edge of a tile of points [m].
    memory_mb : float
        What a step may use [MB].
    """

    cell_m: float
    fill_distance_m: float
    reject_blunders: bool = True
    structure_max_m: float = 1.5
    tile_m: float = 128.0
    memory_mb: float = 750.0

    @property
    def edge(self) -> int:
        """Side of the pieces that are finished one by one, in cells."""
        margin = _margin(self)
        most = max(self.memory_mb - WORKING_MB, 100.0) * 1e6 / 8 / ARRAYS
        return max(BLOCK, int((np.sqrt(most) - 2 * margin) // BLOCK) * BLOCK)


@dataclass(frozen=True)
class SetAside:
    """What of a survey's points is not in its surface.

    Attributes
    ----------
    lone : array, shape (n, 3)
        Easting, northing, height of lone blunders [m].
    rows : array of int, shape (n,), or None
        Rows of the raw file that they stand in, where those are known.
    blocks : list of Block
    cell_m : float
        Cell size that the blocks count in [m].
    points : int
        Points of the survey.
    """

    lone: Array
    rows: npt.NDArray[np.int64] | None
    blocks: list[Block]
    cell_m: float
    points: int


def grid_survey(
    points: Path | str,
    out: Path | str,
    *,
    model: ErrorModel,
    frame: Mapping[str, Any],
    settings: Settings,
    shares: Sequence[Path | str] = (),
) -> SetAside:
    """Write the surface of one survey as a raster, and return what was set aside.

    Parameters
    ----------
    points : Path or str
        LAZ file of the stage `fit`.
    out : Path or str
        GeoTIFF with the bands `BANDS`.
    model : ErrorModel
    frame : mapping
        ``crs``, ``vertical_datum`` and ``origin`` of the site.
    settings : Settings
    shares : sequence of Path or str
        Rasters that `grid_share` wrote, each beside its lone blunders; made here if left out.

    Returns
    -------
    SetAside
    """
    info = points_info(points)
    with tempfile.TemporaryDirectory(dir=Path(out).parent) as folder:
        if not shares:
            shares = [_all_cells(points, Path(folder), model, frame["origin"], settings)]
        grid = Grid.around(frame["origin"], settings.cell_m, info.bounds)
        with reading(shares) as read:
            blocks = _finish(read, grid, out, model=model, frame=frame, settings=settings)
        lone = np.concatenate([np.load(Path(share).with_suffix(".npy")) for share in shares])
    lone = lone[np.lexsort(lone.T[::-1])]
    xyz = (lone[:, :3].astype(np.int64) + np.array(info.offset)) * TICK_M
    rows = lone[:, -1].astype(np.int64) if info.with_row else None
    return SetAside(xyz, rows, blocks, settings.cell_m, info.count)


def _all_cells(
    points: Path | str,
    folder: Path,
    model: ErrorModel,
    origin: tuple[float, float],
    settings: Settings,
) -> Path:
    """Write the cells of a whole survey into a folder, and return their raster."""
    cell_m, raster = settings.cell_m, folder / "cells.tif"
    spilled = spill_survey(points, folder, origin, cell_m=cell_m, tile_m=settings.tile_m)
    work = work_of(
        model, cell_m=cell_m, reject=settings.reject_blunders, memory_mb=settings.memory_mb
    )
    grid_share(spilled, raster, work=work)
    return raster


def spill_survey(
    points: Path | str,
    folder: Path | str,
    origin: tuple[float, float],
    *,
    cell_m: float,
    tile_m: float,
) -> Path:
    """Write a survey's points by tile into a folder, and return the folder.

    Parameters
    ----------
    points : Path or str
        LAZ file of the stage `fit`.
    folder : Path or str
    origin : tuple of float
        The site's origin [m].
    cell_m, tile_m : float
        Cell size, and least edge of a tile [m].
    """
    bounds = points_info(points).bounds
    tiling = tiling_for(bounds, origin=origin, cell_m=cell_m, tile_m=tile_m)
    return spill_points(points, folder, tiling=tiling).folder


def grid_share(
    spilled: Path | str,
    raster: Path | str,
    *,
    work: Work,
    share: tuple[int, int] = (0, 1),
) -> Words:
    """Write the cells of a share of a survey's tiles, and its lone blunders beside it.

    Parameters
    ----------
    spilled : Path or str
        Folder that `spill_survey` wrote.
    raster : Path or str
        Plain GeoTIFF, see `wrackline.seabed.tiles.grid_tiles`; the blunders go to a file of its
        name that ends in `.npy`.
    work : Work
    share : tuple of int
        Number of the share, from 0, and of how many.

    Returns
    -------
    array of int, shape (n, words)
        The lone blunders.
    """
    lone = grid_tiles(open_spill(spilled), raster, work, share=share)
    np.save(Path(raster).with_suffix(".npy"), lone)
    return lone


@contextmanager
def reading(shares: Sequence[Path | str]) -> Iterator[Read]:
    """Give a function that reads pieces out of the rasters of all shares as if they were one."""
    names = [name for name, _ in TILE_BANDS]
    with ExitStack() as stack:
        readers = [stack.enter_context(RasterReader(share)) for share in shares]

        def read(part: Grid) -> dict[str, Array]:
            out = {name: np.full(part.shape, np.nan) for name in names}
            for reader in readers:
                inside = part.intersection(reader.grid)
                if inside is None:
                    continue
                into = part.window(inside)
                for name, values in reader.read(inside).items():
                    there = np.isfinite(values)
                    out[name][into][there] = values[there]
            return out

        yield read


def _finish(
    read: Read,
    grid: Grid,
    out: Path | str,
    *,
    model: ErrorModel,
    frame: Mapping[str, Any],
    settings: Settings,
) -> list[Block]:
    """Write the surface from its cells, and return the blocks that were set aside."""
    settled = None
    if settings.reject_blunders:
        most = settings.structure_max_m
        settled = settle(cells_in_doubt(read, grid, structure_max_m=most, edge=settings.edge), grid)
    surface = Surfacing(Bed(read, settled), grid, model, settings)
    surface.survey()
    with RasterWriter(
        out,
        BANDS,
        grid=grid,
        crs=frame["crs"],
        vertical_datum=frame["vertical_datum"],
        tags={"survey": model.survey, "fill_distance_m": f"{settings.fill_distance_m:g}"},
    ) as writer:
        for piece in grid.pieces(settings.edge):
            bands = surface.finished(piece)
            writer.write(piece, [bands[name] for name, _ in BANDS])
    return settled.blocks if settled else []


class Bed:
    """Reads pieces of a survey's cells with what was settled: the bed's own figures.

    Parameters
    ----------
    read : callable
        Reads the bands of `wrackline.seabed.tiles.BANDS`.
    settled : Settled, or None
    """

    def __init__(self, read: Read, settled: Settled | None) -> None:
        self._read, self._settled = read, settled
        if settled is not None:
            self._down = -settled.cells["row"].astype(np.int64)

    def read(self, part: Grid) -> dict[str, Array]:
        """Return count, height, spread, middle, rejected, own_sd and canopy of a piece."""
        bands = self._read(part)
        bands["canopy"] = np.full(part.shape, np.nan)
        bands["count"] = np.nan_to_num(bands["count"])
        bands["rejected"] = np.nan_to_num(bands["rejected"])
        if self._settled is not None:
            first = int(np.searchsorted(self._down, 1 - part.north, side="left"))
            last = int(np.searchsorted(self._down, -part.south, side="right"))
            cells, bed = self._settled.cells[first:last], self._settled.bed[first:last]
            here = (cells["column"] >= part.west) & (cells["column"] < part.east)
            _apply(bands, cells[here], bed[here], part)
        return bands


def _apply(
    bands: dict[str, Array],
    cells: npt.NDArray[np.void],
    bed: npt.NDArray[np.uint8],
    part: Grid,
) -> None:
    """Put what was settled into the bands of a piece."""
    at = (
        part.north - 1 - cells["row"].astype(np.int64),
        cells["column"].astype(np.int64) - part.west,
    )
    layered = cells["alone"] == 0
    two = layered & (cells["amid"] == 2)
    upper_there = layered & np.isfinite(cells["upper"])
    bands["canopy"][_of(at, upper_there & (bed != UPPER) & (bed != ALL))] = cells["upper"][
        upper_there & (bed != UPPER) & (bed != ALL)
    ]
    above = two & (bed == UPPER)
    bands["rejected"][_of(at, above)] += (cells["n_lower"] - cells["n_upper"])[above]
    for name, source in (
        ("height", "upper_height"),
        ("count", "upper_count"),
        ("spread", "upper_spread"),
        ("middle", "upper_height"),
    ):
        bands[name][_of(at, above)] = bands[source][_of(at, above)]
    _join_layers(bands, _of(at, two & (bed == ALL)))
    nothing = _of(at, bed == NOTHING)
    bands["rejected"][nothing] += bands["count"][nothing]
    bands["count"][nothing] = 0.0
    for name in ("height", "spread", "middle"):
        bands[name][nothing] = np.nan


def _of(at: tuple[Any, Any], chosen: npt.NDArray[np.bool_]) -> tuple[Any, Any]:
    return at[0][chosen], at[1][chosen]


def _join_layers(bands: dict[str, Array], at: tuple[Any, Any]) -> None:
    """Put both layers of cells together again: a wall's edge that the cells don't resolve."""
    n, m = bands["count"][at], bands["upper_count"][at]
    low, high = bands["height"][at], bands["upper_height"][at]
    total = n + m
    mean = (n * low + m * high) / total
    squares = np.maximum(n - 1, 0) * np.nan_to_num(bands["spread"][at]) ** 2
    squares += np.maximum(m - 1, 0) * np.nan_to_num(bands["upper_spread"][at]) ** 2
    squares += n * (low - mean) ** 2 + m * (high - mean) ** 2
    bands["rejected"][at] -= m
    bands["count"][at], bands["height"][at], bands["middle"][at] = total, mean, mean
    bands["spread"][at] = np.sqrt(squares / np.maximum(total - 1, 1))


class Surfacing:
    """Turns settled cells into a survey's surface, piece by piece.

    Parameters
    ----------
    bed : Bed
    grid : Grid
        Of the whole survey.
    model : ErrorModel
    settings : Settings
    """

    def __init__(self, bed: Bed, grid: Grid, model: ErrorModel, settings: Settings) -> None:
        self._bed, self._grid, self._model, self._settings = bed, grid, model, settings
        self._lone_slope = 0.0
        self._rough: Roughness | None = None

    def survey(self) -> None:
        """Go through all cells for what holds of the whole survey: its slopes, its roughness."""
        cell_m, fill_m = self._settings.cell_m, self._settings.fill_distance_m
        slopes = SlopeSums()
        for _, _, gradient in self._strips(float("nan")):
            slopes.add(*gradient)
        self._lone_slope = slopes.lone_slope()
        if fill_m <= 0:
            return
        rough = RoughnessSums(cell_m, 2 * fill_m)
        for bands, random, _ in self._strips(self._lone_slope):
            rough.add(bands["height"], random)
        self._rough = rough.model()

    def _strips(
        self, lone_slope: float
    ) -> Iterator[tuple[dict[str, Array], Array, tuple[Array, Array]]]:
        """Yield settled cells, their random variance and gradient, in strips from the north."""
        inner = slice(SLOPE_MARGIN, -SLOPE_MARGIN), slice(SLOPE_MARGIN, -SLOPE_MARGIN)
        for strip in self._grid.strips(self._settings.edge**2):
            bands = self._bed.read(strip.grown(SLOPE_MARGIN))
            gradient = plane_gradient(bands["height"], self._settings.cell_m, lone_slope=lone_slope)
            random = self._random(bands, gradient)
            cut = {name: values[inner] for name, values in bands.items()}
            yield cut, random[inner], (gradient[0][inner], gradient[1][inner])

    def _random(self, bands: dict[str, Array], gradient: tuple[Array, Array]) -> Array:
        """Return the random variance of measured cells [m²], NaN elsewhere."""
        measured = bands["count"] > 0
        steep = gradient[0][measured] ** 2 + gradient[1][measured] ** 2
        random = np.full(measured.shape, np.nan)
        cell_m = self._settings.cell_m
        random[measured] = random_variance(
            bands["count"][measured], steep, self._model, cell_m, bands["spread"][measured]
        )
        missing = slopes_missing(bands["height"])[measured]
        random[measured] += placing_variance(missing, self._lone_slope, cell_m)
        return random

    def finished(self, piece: Grid) -> dict[str, Array]:
        """Return the bands `BANDS` of a piece."""
        margin, cell_m = _margin(self._settings), self._settings.cell_m
        wide = piece.grown(margin)
        bands = self._bed.read(wide)
        measured = bands["count"] > 0
        slope = plane_gradient(bands["height"], cell_m, lone_slope=self._lone_slope)
        random = self._random(bands, slope)
        own = np.nan_to_num(bands["own_sd"]) ** 2
        full = fill_gaps(
            bands["height"],
            random,
            own,
            cell_m=cell_m,
            distance_m=self._settings.fill_distance_m,
            rough=self._rough,
        )
        known = np.isfinite(full.height)
        common = self._common(full.height, known, wide)
        beyond = np.maximum(common, full.own - np.where(measured, full.random, 0.0))
        out = {
            **bands,
            "height": full.height,
            "sd": np.sqrt(full.random + beyond),
            "sd_random": np.sqrt(full.random),
            "count": np.where(known, bands["count"], np.nan),
            "filled": np.where(known, (~measured).astype(float), np.nan),
            "distance_m": full.distance_m,
            "rejected": np.where(known | (bands["rejected"] > 0), bands["rejected"], np.nan),
            "surface": self._kinds(bands, known, wide),
        }
        inner = slice(margin, -margin), slice(margin, -margin)
        return {name: out[name][inner] for name, _ in BANDS}

    def _common(self, height: Array, known: npt.NDArray[np.bool_], wide: Grid) -> Array:
        """Return the patchy and named variance of all known cells [m²]."""
        east, north = plane_gradient(height, self._settings.cell_m, lone_slope=self._lone_slope)
        slope = np.column_stack([east[known], north[known]])
        common = np.full(height.shape, np.nan)
        common[known] = common_variance(cell_places(wide, height, known), slope, self._model)
        return common

    def _kinds(self, bands: dict[str, Array], known: npt.NDArray[np.bool_], wide: Grid) -> Array:
        """Return the band `surface`."""
        kind = np.where(known, float(BED), np.nan)
        kind[np.isfinite(bands["canopy"]) & ~(bands["count"] > 0)] = CANOPY
        if self._settings.reject_blunders:
            stands = bands["height"] - ground_around(bands["height"], wide) > LEAST_M
            kind[stands] = STRUCTURE
        return kind


def _margin(settings: Settings) -> int:
    """Return how many cells around a piece its figures depend on."""
    filled = fill_margin(settings.cell_m, settings.fill_distance_m) + 2 * SLOPE_MARGIN
    return max(filled, margin_cells(settings.cell_m))
