"""Grids: any raster that GDAL reads; the first band holds heights or depths at cell centres.

A second band named uncertainty, as bathymetric grids (BAG) have it, is the file's own statement
of each node's standard uncertainty. It is a total whose causes are unknown, so it is never averaged
down: it becomes the least sd that a cell can have (see `wrackline.seabed.gridding`).
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import rasterio
from pyproj import CRS
from rasterio.errors import NotGeoreferencedWarning
from rasterio.windows import Window

from wrackline.intake.readings import Reading
from wrackline.verdict import Problems, Source

CELLS = 1_000_000


def read_grid_file(source: Source, problems: Problems, *, cells: int = CELLS) -> Iterator[Reading]:
    """Yield a survey's grid in strips of rows.

    Parameters
    ----------
    source : Source
    problems : Problems
    cells : int
        Cells a strip.
    """
    with _opened(source) as grid:
        if grid.transform.is_identity:
            problems.add(_not_placed(source))
            return
        sd_band = _uncertainty_band(grid)
        step = max(1, cells // grid.width)
        for top in range(0, grid.height, step):
            yield _strip(grid, top, min(step, grid.height - top), sd_band)


def _opened(source: Source) -> Any:
    with warnings.catch_warnings():  # a grid without place becomes a fault
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        return rasterio.open(source.path)


def _not_placed(source: Source) -> Any:
    return source.fault(
        "not_placed",
        "a raster without georeference",
        "a raster that says where it lies (GeoTIFF, BAG, ASCII grid with its header)",
        "the cells could not be placed",
        "export it with georeference, or put its world file beside it",
    )


def _uncertainty_band(grid: Any) -> int | None:
    names = [(name or "").lower() for name in grid.descriptions]
    return names.index("uncertainty") + 1 if "uncertainty" in names else None


def _strip(grid: Any, top: int, height: int, sd_band: int | None) -> Reading:
    """Return the cells with a value of some rows of a raster."""
    window = Window(0, top, grid.width, height)
    values = grid.read(1, window=window, masked=True)
    there = ~np.ma.getmaskarray(values) & np.isfinite(values.data)
    line, column = np.nonzero(there)
    at = grid.transform
    across, down = column + 0.5, line + top + 0.5
    sd = None if sd_band is None else _own_sd(grid, sd_band, window, there)
    return Reading(
        x=at.a * across + at.b * down + at.c,
        y=at.d * across + at.e * down + at.f,
        v=values.data[there].astype(float) * grid.scales[0] + grid.offsets[0],
        row=((line + top) * grid.width + column + 1).astype(np.int64),
        seen=values.size,
        sd=sd,
    )


def _own_sd(
    grid: Any, band: int, window: Window, there: npt.NDArray[np.bool_]
) -> npt.NDArray[np.float64]:
    """Return the file's uncertainty at the given cells; 0 where it states none."""
    values = grid.read(band, window=window, masked=True)
    stated = np.where(np.ma.getmaskarray(values), 0.0, values.data.astype(float))[there]
    return np.where(np.isfinite(stated) & (stated > 0), stated, 0.0)


def grid_crs(source: Source) -> CRS | None:
    """Return the CRS that the raster declares, None where it declares none."""
    with _opened(source) as grid:
        return None if grid.crs is None else CRS.from_wkt(grid.crs.to_wkt())


def grid_units(source: Source) -> set[str]:
    """Return the unit that the raster states for its heights, by its own word, if any."""
    with _opened(source) as grid:
        stated = (grid.units[0] or "").strip() if grid.units else ""
    return {stated} if stated and stated.lower() not in ("unknown", "none") else set()
