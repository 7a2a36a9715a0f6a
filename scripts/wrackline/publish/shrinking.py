"""Rasters made small enough for a picture, read piece by piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wrackline.rasters import RasterReader

Array = npt.NDArray[np.float64]

PIECE_CELLS = 1_000_000


@dataclass(frozen=True)
class Small:
    """Bands made small, and the ground that they cover: west, east, south, north [m]."""

    bands: dict[str, Array]
    extent: tuple[float, float, float, float]


def shrunk(path: Path | str, names: Sequence[str], most: int) -> Small:
    """Return bands of a raster as means of square blocks of cells, NaN where none is known.

    Parameters
    ----------
    path : Path or str
    names : sequence of str
        Bands wanted.
    most : int
        Rows and columns that are left, at most.
    """
    with RasterReader(path) as reader:
        grid = reader.grid
        block = -(-max(grid.shape) // most)
        wide = -(-grid.shape[1] // block) * block
        tall = max(PIECE_CELLS // wide // block, 1) * block
        parts: list[dict[str, Array]] = []
        for north in range(grid.north, grid.south, -tall):
            rows = min(tall, -(-(north - grid.south) // block) * block)
            part = replace(grid, east=grid.west + wide, north=north, south=north - rows)
            read = reader.read(part, names)
            parts.append({name: _means(values, block) for name, values in read.items()})
    bands = {name: np.concatenate([part[name] for part in parts]) for name in names}
    left, top = grid.transform.c, grid.transform.f
    right, bottom = (n * block * grid.cell_m for n in reversed(bands[names[0]].shape))
    return Small(bands, (left, left + right, top - bottom, top))


def _means(values: Array, block: int) -> Array:
    """Return the means of the known cells of square blocks."""
    rows, columns = values.shape[0] // block, values.shape[1] // block
    cut = values.reshape(rows, block, columns, block)
    known = np.isfinite(cut).sum(axis=(1, 3))
    total = np.nansum(cut, axis=(1, 3))
    return np.where(known > 0, total / np.maximum(known, 1), np.nan)
