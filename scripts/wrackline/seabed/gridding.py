"""One survey's bed points as a surface: mean height per cell, and how well it is known.

Cells are counted from the site's origin. Sums are whole ticks of 0.1 mm in 64-bit integers, so
no figure depends on the order of points or on the size of chunks.

The variance of a cell's mean height is

* random: (σ_v² + |g|² (σ_h² + c²/12)) / n, with slope g and cell size c: n soundings at places
  spread over the cell stand for its middle;
* patchy: σ_pv² + |g|² σ_ph², alike within the patch and therefore not shrunk by n;
* named: the square of what each source's displacement does to the height there, −g·(de, dn) + dh.

A file's own uncertainty (see `wrackline.intake.grids`) is a total without causes: the sd is never
less than the root mean square of it over the cell's points. First order: JCGM 100:2008, 5.1.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from wrackline.errors import Fault, InputError
from wrackline.points import CHUNK, points_info, read_points
from wrackline.rasters import TICK_M, Band, Grid, ticks, write_raster
from wrackline.seabed.fill import fill_gaps
from wrackline.seabed.roughness import RoughnessSums
from wrackline.seabed.slopes import plane_gradient
from wrackline.uncertainty import ErrorModel

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MAX_CELLS = 150_000_000


@dataclass(frozen=True)
class Cells:
    """A survey's points, cell by cell; arrays of shape (n_rows, n_columns).

    Attributes
    ----------
    grid : Grid
    count : array of int
        Number of points.
    height : array
        Mean height [m]; NaN without points.
    spread : array
        Sample standard deviation of the heights [m]; NaN below two points.
    own_sd : array
        Root mean square of the file's own standard uncertainty [m]; 0 where it states none.
    """

    grid: Grid
    count: Ints
    height: Array
    spread: Array
    own_sd: Array


def bin_points(
    path: Path | str, *, origin: tuple[float, float], cell_m: float, chunk: int = CHUNK
) -> Cells:
    """Bin a survey's points into cells counted from the site's origin.

    Parameters
    ----------
    path : Path or str
        LAZ file of the stage `fit`.
    origin : tuple of float
        The site's origin [m].
    cell_m : float
        Cell size [m].
    chunk : int
        Points a chunk.

    Raises
    ------
    InputError
        When the rectangle around the points would have too many cells.
    """
    info = points_info(path)
    grid = Grid.around(origin, cell_m, info.bounds)
    size = grid.shape[0] * grid.shape[1]
    if size > MAX_CELLS:
        raise InputError(_too_large(path, grid))
    base = int(ticks(info.heights[0]))
    count, total, square, own = (np.zeros(size, dtype=np.int64) for _ in range(4))
    for points in read_points(path, chunk=chunk):
        at = grid.flat(points.easting, points.northing)
        rise = points.height - base
        np.add.at(count, at, 1)
        np.add.at(total, at, rise)
        np.add.at(square, at, rise**2)
        if points.sd is not None:
            np.add.at(own, at, ticks(points.sd) ** 2)
    _check_sums(path, count, info.heights)
    return _finish(grid, base, count, total, square, own=own)


def _finish(grid: Grid, base: int, count: Ints, total: Ints, square: Ints, *, own: Ints) -> Cells:
    """Return means and spreads from sums over cells."""
    known = np.maximum(count, 1)
    height = np.where(count > 0, (base + total / known) * TICK_M, np.nan)
    variance = np.maximum(square / known - (total / known) ** 2, 0.0)
    spread = np.where(count > 1, np.sqrt(variance * known / np.maximum(count - 1, 1)), np.nan)
    own_sd = np.sqrt(own / known)
    shape = grid.shape
    return Cells(
        grid,
        count.reshape(shape),
        height.reshape(shape),
        (spread * TICK_M).reshape(shape),
        (own_sd * TICK_M).reshape(shape),
    )


def _check_sums(path: Path | str, count: Ints, heights: tuple[float, float]) -> None:
    """Refuse sums of squares that 64 bits can't hold exactly."""
    range_m = heights[1] - heights[0]
    if float(count.max()) * (range_m / TICK_M + 1) ** 2 >= 2.0**62:
        raise InputError(
            Fault(
                "cell_too_full",
                f"{int(count.max())} points in one cell, over {range_m:.0f} m of height",
                "squares of heights that sum to less than 46,000 km² in a cell",
                "the spread within the cell would be wrong",
                "make seabed.cell_m smaller, or take stray heights out",
                str(path),
            )
        )


def _too_large(path: Path | str, grid: Grid) -> Fault:
    rows, columns = grid.shape
    return Fault(
        "grid_too_large",
        f"points over {columns} × {rows} cells of {grid.cell_m:g} m",
        f"at most {MAX_CELLS:,} cells in a survey's rectangle",
        "the surface would not fit into memory",
        "make seabed.cell_m larger, or take stray points out of the file",
        str(path),
    )


def random_variance(count: Ints, steep: Array, model: ErrorModel, cell_m: float) -> Array:
    """Return the random variance of cells' mean heights.

    Parameters
    ----------
    count : array of int, shape (n,)
        Points in each cell, at least 1.
    steep : array, shape (n,)
        Square of the slope, metre per metre.
    model : ErrorModel
    cell_m : float
        Cell size [m].

    Returns
    -------
    array, shape (n,)
        In m².

    Examples
    --------
    Four soundings of 0.04 m on level ground give a mean known to 0.02 m:

    >>> model = ErrorModel("2031-level", 0.5, 0.04)
    >>> np.sqrt(random_variance(np.array([4]), np.array([0.0]), model, 1.0))
    array([0.02])
    """
    position = model.random_horizontal**2 + cell_m**2 / 12
    return np.asarray((model.random_vertical**2 + steep * position) / count, dtype=float)


def common_variance(xyz: Array, slope: Array, model: ErrorModel) -> Array:
    """Return the variance of cells' heights from patchy and named errors.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Easting, northing, height of the cells' centres [m].
    slope : array, shape (n, 2)
        Rise per metre towards east and north.
    model : ErrorModel

    Returns
    -------
    array, shape (n,)
        In m².
    """
    steep = (slope**2).sum(axis=1)
    variance = model.patchy_vertical**2 + steep * model.patchy_horizontal**2
    for part in model.named:
        moved = part.displacement(xyz)
        variance = variance + (moved[:, 2] - (slope * moved[:, :2]).sum(axis=1)) ** 2
    return np.asarray(variance, dtype=float)


def cell_places(grid: Grid, height: Array, where: npt.NDArray[np.bool_]) -> Array:
    """Return easting, northing, height, shape (n, 3), of the cells chosen by `where`."""
    easting, northing = grid.centres()
    row, column = np.nonzero(where)
    return np.column_stack([easting[column], northing[row], height[where]])


def survey_bands(cells: Cells, model: ErrorModel, *, fill_distance_m: float) -> list[Band]:
    """Return a survey's surface: measured cells, and filled ones up to a distance.

    Parameters
    ----------
    cells : Cells
    model : ErrorModel
    fill_distance_m : float
        Farthest that a filled cell lies from a measured one [m].

    Returns
    -------
    list of Band
        ``height`` (mean), ``sd`` (total), ``sd_random``, ``count``, ``spread``, ``filled`` (0, 1).
    """
    grid, shape = cells.grid, cells.grid.shape
    measured = cells.count > 0
    east, north = plane_gradient(cells.height, grid.cell_m)
    steep = east[measured] ** 2 + north[measured] ** 2
    random = np.full(shape, np.nan)
    random[measured] = random_variance(cells.count[measured], steep, model, grid.cell_m)
    sums = RoughnessSums(grid.cell_m, 2 * fill_distance_m)
    sums.add(cells.height, random)
    filled = fill_gaps(
        cells.height,
        random,
        cells.own_sd**2,
        cell_m=grid.cell_m,
        distance_m=fill_distance_m,
        rough=sums.model(),
    )
    height, random, own = filled.height, filled.random, filled.own
    known = np.isfinite(height)
    east, north = plane_gradient(height, grid.cell_m)
    slope = np.column_stack([east[known], north[known]])
    common = np.full(shape, np.nan)
    common[known] = common_variance(cell_places(grid, height, known), slope, model)
    sd = np.sqrt(random + np.maximum(common, own - np.where(measured, random, 0.0)))
    return [
        Band("height", "m", height),
        Band("sd", "m", sd),
        Band("sd_random", "m", np.sqrt(random)),
        Band("count", "1", np.where(known, cells.count, np.nan)),
        Band("spread", "m", cells.spread),
        Band("filled", "1", np.where(known, (~measured).astype(float), np.nan)),
    ]


def grid_survey(
    points: Path | str,
    out: Path | str,
    *,
    model: ErrorModel,
    frame: dict[str, Any],
    cell_m: float,
    fill_distance_m: float,
    chunk: int = CHUNK,
) -> None:
    """Write the surface of one survey as a raster.

    Parameters
    ----------
    points : Path or str
        LAZ file of the stage `fit`.
    out : Path or str
        GeoTIFF with the bands that `survey_bands` names.
    model : ErrorModel
    frame : dict
        ``crs``, ``vertical_datum`` and ``origin`` of the site.
    cell_m, fill_distance_m : float
        Settings of the seabed [m].
    chunk : int
        Points a chunk.
    """
    cells = bin_points(points, origin=frame["origin"], cell_m=cell_m, chunk=chunk)
    write_raster(
        out,
        survey_bands(cells, model, fill_distance_m=fill_distance_m),
        grid=cells.grid,
        crs=frame["crs"],
        vertical_datum=frame["vertical_datum"],
        tags={"survey": model.survey, "fill_distance_m": f"{fill_distance_m:g}"},
    )
