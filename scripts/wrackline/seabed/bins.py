"""A file of points binned into cells in memory, for comparisons on coarse cells."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wrackline.errors import Fault, InputError
from wrackline.points import CHUNK, points_info, raw_chunks
from wrackline.rasters import TICK_M, Grid, ticks
from wrackline.seabed.cells import Area, figures, own_squares, sum_cells

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MAX_CELLS = 50_000_000


@dataclass(frozen=True)
class Binned:
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
) -> Binned:
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
        When the rectangle around the points would have too many cells, or one of them too many
        points for exact sums.
    """
    info = points_info(path)
    grid = Grid.around(origin, cell_m, info.bounds)
    if grid.shape[0] * grid.shape[1] > MAX_CELLS:
        raise InputError(_too_large(path, grid))
    area, base = Area.of(grid, info.offset), int(ticks(info.heights[0])) - info.offset[2]
    sums, own = np.zeros((area.cells, 5), dtype=np.int64), np.zeros(area.cells, dtype=np.int64)
    for words in raw_chunks(path, chunk=chunk):
        sums += sum_cells([words], area, base=base)
        if info.with_sd:
            own += own_squares([words], area)
    check_sums(float(sums[:, 0].max(initial=0)), info.heights, str(path))
    found = figures(sums, sums[:, 3:], area, base=base + info.offset[2])
    own_sd = np.sqrt(own / np.maximum(sums[:, 0], 1)) * TICK_M
    count = sums[:, 0].reshape(grid.shape)
    return Binned(grid, count, found.height, found.spread, own_sd.reshape(grid.shape))


def check_sums(most: float, heights: tuple[float, float], file: str) -> None:
    """Refuse sums of squares that 64 bits can't hold exactly.

    Parameters
    ----------
    most : float
        Points in the fullest cell.
    heights : tuple of float
        Least and greatest height of the survey [m].
    file : str

    Raises
    ------
    InputError
    """
    range_m = heights[1] - heights[0]
    if most * (range_m / TICK_M + 1) ** 2 >= 2.0**62:
        raise InputError(
            Fault(
                "cell_too_full",
                f"{int(most)} points in one cell, over {range_m:.0f} m of height",
                "squares of heights that sum to less than 46,000 km² in a cell",
                "the spread within the cell would be wrong",
                "make seabed.cell_m smaller, or take stray heights out",
                file,
            )
        )


def _too_large(path: Path | str, grid: Grid) -> Fault:
    rows, columns = grid.shape
    return Fault(
        "grid_too_large",
        f"points over {columns} × {rows} cells of {grid.cell_m:g} m",
        f"at most {MAX_CELLS:,} cells in a survey's rectangle",
        "the comparison would not fit into memory",
        "make seabed.cell_m larger, or take stray points out of the file",
        str(path),
    )
