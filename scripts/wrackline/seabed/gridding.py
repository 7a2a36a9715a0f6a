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
    Block,
    Read,
    Settled,
    cells_in_doubt,
    ground_around,
    put_settled,
    settle,
    trend_margin,
)
from wrackline.seabed.roughness import Roughness, RoughnessSums
from wrackline.seabed.slopes import SLOPE_MARGIN, SlopeSums, slopes_of
from wrackline.seabed.spill import open_spill, spill_points
from wrackline.seabed.surface_kinds import BED, CANOPY, STRUCTURE
from wrackline.seabed.tiles import BANDS as TILE_BANDS
from wrackline.seabed.tiles import Work, grid_tiles, tiling_for, work_of
from wrackline.seabed.variances import (
    common_of_cells,
    placing_variance,
    random_variance,
    tilts,
)
from wrackline.uncertainty import ErrorModel

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

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
    structure_max_m : float or None
        Nothing of the site stands higher above the ground around it, or lies deeper below; with
        None neither blunders nor layers are looked for [m].
    tile_m : float
        Least edge of a tile of points [m].
    memory_mb : float
        What a step may use [MB].
    """

    cell_m: float
    fill_distance_m: float
    structure_max_m: float | None = 1.5
    tile_m: float = 64.0
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
    most, memory_mb = settings.structure_max_m, settings.memory_mb
    work = work_of(model, cell_m=cell_m, structure_max_m=most, memory_mb=memory_mb)
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
    every = tuple(name for name, _ in TILE_BANDS)
    with ExitStack() as stack:
        readers = [stack.enter_context(RasterReader(share)) for share in shares]

        def read(part: Grid, names: Sequence[str] = every) -> dict[str, Array]:
            if len(readers) == 1:
                return readers[0].read(part, names)
            out = {name: np.full(part.shape, np.nan) for name in names}
            for reader in readers:
                inside = part.intersection(reader.grid)
                if inside is None:
                    continue
                into = part.window(inside)
                for name, values in reader.read(inside, names).items():
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
    settled, most = None, settings.structure_max_m
    if most is not None:
        doubtful = cells_in_doubt(read, grid, structure_max_m=most, edge=settings.edge)
        settled = settle(doubtful, grid, structure_max_m=most)
    surface = Surfacing(read, settled, grid, model, settings)
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


class Surfacing:
    """Turns a survey's cells into its surface, piece by piece.

    Parameters
    ----------
    read : callable
        Reads the bands of `wrackline.seabed.tiles.BANDS`.
    settled : Settled, or None
        What became of cells in doubt.
    grid : Grid
        Of the whole survey.
    model : ErrorModel
    settings : Settings
    """

    def __init__(
        self,
        read: Read,
        settled: Settled | None,
        grid: Grid,
        model: ErrorModel,
        settings: Settings,
    ) -> None:
        self._read, self._settled, self._grid = read, settled, grid
        self._model, self._settings = model, settings
        self._lone_slope = self._usual_slope()
        self._rough = self._roughness() if settings.fill_distance_m > 0 else None

    def _usual_slope(self) -> float:
        """Return the root mean square slope of all measured cells."""
        slopes = SlopeSums()
        for strip in self._grid.strips(self._settings.edge**2):
            bands = self._read(strip, ("slope_east", "slope_north"))
            slopes.add(bands["slope_east"], bands["slope_north"])
        return slopes.lone_slope()

    def _roughness(self) -> Roughness | None:
        """Return how much the bed varies between measured cells."""
        rough = RoughnessSums(
            self._settings.cell_m,
            2 * self._settings.fill_distance_m,
            patchy_sd_m=self._model.patchy_vertical,
            patchy_distance_m=self._model.patchy_distance,
        )
        for strip in self._grid.strips(self._settings.edge**2):
            bands = self._bed(strip.grown(SLOPE_MARGIN))
            inner = slice(SLOPE_MARGIN, -SLOPE_MARGIN), slice(SLOPE_MARGIN, -SLOPE_MARGIN)
            rough.add(bands["height"][inner], bands["random"][inner])
        return rough.model()

    def _bed(self, part: Grid) -> dict[str, Array]:
        """Return the settled cells of a piece: their figures, slopes and random variance.

        Slopes and variances two cells from its rim and further in are those of the whole survey.
        """
        bands = self._read(part)
        bands["canopy"] = np.full(part.shape, np.nan)
        for name in ("count", "rejected", "missing"):
            bands[name] = np.nan_to_num(bands[name])
        if self._settled is not None and put_settled(bands, self._settled, part):
            self._renew(bands, self._settled.near(part, SLOPE_MARGIN))
        random: Array = bands["sd_random"] ** 2
        random += placing_variance(bands["missing"], self._lone_slope, self._settings.cell_m)
        bands["random"] = random
        return bands

    def _renew(self, bands: dict[str, Array], near: Flags) -> None:
        """Find slopes and random sd anew where cells nearby were settled."""
        cell_m = self._settings.cell_m
        east, north, missing = slopes_of(bands["height"], cell_m)
        found: dict[str, npt.NDArray[Any]] = {"slope_east": east, "slope_north": north}
        found["missing"] = missing
        for name, values in found.items():
            bands[name][near] = values[near]
        known = near & (bands["count"] > 0)
        steep = np.nan_to_num(east[known]) ** 2 + np.nan_to_num(north[known]) ** 2
        random = random_variance(
            bands["count"][known], steep, self._model, cell_m, bands["spread"][known]
        )
        bands["sd_random"][near] = np.nan
        bands["sd_random"][known] = np.sqrt(random)

    def finished(self, piece: Grid) -> dict[str, Array]:
        """Return the bands `BANDS` of a piece."""
        margin, cell_m = _margin(self._settings), self._settings.cell_m
        wide = piece.grown(margin)
        bands = self._bed(wide)
        measured = bands["count"] > 0
        full = fill_gaps(
            bands["height"],
            bands["random"],
            np.nan_to_num(bands["own_sd"]) ** 2,
            cell_m=cell_m,
            distance_m=self._settings.fill_distance_m,
            rough=self._rough,
        )
        known = np.isfinite(full.height)
        common = common_of_cells(wide, full.height, self._slopes(full.height, bands), self._model)
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

    def _slopes(self, height: Array, bands: dict[str, Array]) -> tuple[Array, Array]:
        """Return the slopes of all cells: their own, or of what was filled."""
        east, north = bands["slope_east"], bands["slope_north"]
        if tilts(self._model) and self._rough is not None:
            anew = np.isfinite(height) & (~(bands["count"] > 0) | np.isnan(east))
            if anew.any():
                slope = slopes_of(height, self._settings.cell_m)
                east, north = np.where(anew, slope[0], east), np.where(anew, slope[1], north)
        lone = self._lone_slope / np.sqrt(2)
        return np.where(np.isnan(east), lone, east), np.where(np.isnan(north), lone, north)

    def _kinds(self, bands: dict[str, Array], known: Flags, wide: Grid) -> Array:
        """Return the band `surface`."""
        kind = np.where(known, float(BED), np.nan)
        kind[np.isfinite(bands["canopy"]) & ~(bands["count"] > 0)] = CANOPY
        if self._settings.structure_max_m is not None:
            stands = bands["height"] - ground_around(bands["height"], wide) > LEAST_M
            kind[stands] = STRUCTURE
        return kind


def _margin(settings: Settings) -> int:
    """Return how many cells around a piece its figures depend on."""
    filled = fill_margin(settings.cell_m, settings.fill_distance_m) + 2 * SLOPE_MARGIN
    if settings.structure_max_m is None:
        return filled
    return max(filled, trend_margin(settings.cell_m))
