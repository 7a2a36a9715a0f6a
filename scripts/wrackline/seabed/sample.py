"""The seabed within polygons: median, least and greatest height, with an uncertainty by cause.

Cells count whose centre lies in the polygon. The median m of cell heights z_i answers to errors as
the root of Σ sign(z_i + e_i − m) = 0 does: with independent normal errors of sd s_i its variance is

    Σ p_i (1 − p_i) / (Σ f_i)²,  p_i = Φ((z_i − m) / s_i),  f_i = φ((z_i − m) / s_i) / s_i

(sandwich form of an M-estimate: Huber and Ronchetti 2009, Robust Statistics, 3.2; on a level bed it
is the familiar π/2 · s²/n). As the heights at hand already hold their errors, their distances from
the median are first shrunk by the share of the observed variance that the errors explain. What
moves many cells together moves the median by the mean of it, weighted by f_i. Where a cell comes
from several surveys, each moves it by its share.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy.special import ndtr
from shapely.geometry import Polygon

from wrackline.io import read_json
from wrackline.rasters import BLOCK, Grid, RasterReader
from wrackline.seabed.merge import share_band
from wrackline.seabed.slopes import SLOPE_MARGIN, plane_gradient
from wrackline.uncertainty import Budget, ErrorModel, model_from_dict, propagate

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_CELLS = 300
"""Cells, evenly taken, over which correlated errors of a polygon are summed."""
TILE = 4 * BLOCK
LEAST_SD = 1e-6
TOLD = ("height", "sd_random", "together", "filled", "source")

COLUMNS = (
    "bed_height_median",
    "bed_height_min",
    "bed_height_max",
    "cells",
    "filled_share",
    "covered_share",
    "surveys",
    "from_date",
    "to_date",
    "budget",
)


class Pieces(Protocol):
    """Gives bands of a piece of a raster, NaN outside it, as `RasterReader.read` does."""

    def __call__(self, part: Grid, names: Sequence[str]) -> Mapping[str, Array]:
        """Return bands by name, each of shape `part.shape`."""
        ...


@dataclass(frozen=True)
class Surface:
    """A merged surface, of which only the pieces asked for are read.

    Attributes
    ----------
    grid : Grid
    read : Pieces
        Gives its bands, as `wrackline.seabed.merge` writes them.
    sources : list of str
        Surveys, in the order of the source band.
    models : sequence of ErrorModel
        Their errors.
    dates : list of [from, to]
        Their dates, ISO 8601.
    """

    grid: Grid
    read: Pieces
    sources: list[str]
    models: Sequence[ErrorModel]
    dates: list[list[str]]


@dataclass(frozen=True)
class Inside:
    """Cells of a surface, each with a height, in rows from north to south.

    Attributes
    ----------
    row, column : array of int, shape (n,)
    told : dict of str to array, shape (n,)
        The bands `TOLD`.
    """

    row: Ints
    column: Ints
    told: dict[str, Array]


def read_surface(
    raster: Path | str, record: Path | str, models: Sequence[ErrorModel] | None = None
) -> Surface:
    """Return a merged surface whose pieces are read from its file when they are asked for.

    Parameters
    ----------
    raster, record : Path or str
        The raster and the JSON that `wrackline.seabed.merge` wrote.
    models : sequence of ErrorModel, optional
        Errors in the order of the record's sources, in place of those that the record holds.
    """
    content, reader = read_json(record), RasterReader(raster)
    return Surface(
        reader.grid,
        reader.read,
        content["sources"],
        [model_from_dict(m) for m in content["models"]] if models is None else models,
        content["dates"],
    )


def sample_bed(
    polygons: Sequence[Polygon],
    surface_tif: Path | str,
    surface_json: Path | str,
    models: Sequence[ErrorModel] | None = None,
) -> pd.DataFrame:
    """Return what the seabed is within polygons.

    Parameters
    ----------
    polygons : sequence of Polygon, length n
        In the site's CRS.
    surface_tif, surface_json : Path or str
        A merged surface and its record.
    models : sequence of ErrorModel, optional
        Errors of the record's sources, in its order; those that it holds if left out.

    Returns
    -------
    DataFrame, n rows, indexed as the polygons are
        ``bed_height_median``, ``bed_height_min``, ``bed_height_max`` [m]; ``cells``, those with a
        height; ``filled_share`` of them; ``covered_share``, their area over the polygon's (at
        most 1); ``surveys`` (list of identifiers), ``from_date``, ``to_date`` (ISO 8601) of the
        surveys that count most in some cell; ``budget``, the `Budget` of the median [m]. Null,
        with 0 cells and no surveys, where no cell lies in the polygon.
    """
    return sample_surface(polygons, read_surface(surface_tif, surface_json, models))


def sample_surface(polygons: Sequence[Polygon], surface: Surface) -> pd.DataFrame:
    """Return what an opened surface is within polygons, see `sample_bed`."""
    index = polygons.index if isinstance(polygons, pd.Series) else pd.RangeIndex(len(polygons))
    rows = [_sample(polygon, surface) for polygon in polygons]
    return pd.DataFrame(rows, index=index, columns=list(COLUMNS))


def covered_shares(polygons: Sequence[Polygon], surface: Surface) -> list[float]:
    """Return the area of the cells in each polygon over the polygon's, at most 1."""
    cells = [len(cells_in(polygon, surface, ("height",)).row) for polygon in polygons]
    return [_covered(k, p, surface) for k, p in zip(cells, polygons, strict=True)]


def _covered(cells: int, polygon: Polygon, surface: Surface) -> float:
    return float(min(cells * surface.grid.cell_m**2 / polygon.area, 1.0)) if cells else 0.0


def _sample(polygon: Polygon, surface: Surface) -> dict[str, Any]:
    cells = cells_in(polygon, surface)
    if len(cells.row) == 0:
        return _nothing()
    height = cells.told["height"]
    used = [int(number) for number in np.unique(cells.told["source"])]
    return {
        "bed_height_median": float(np.median(height)),
        "bed_height_min": float(height.min()),
        "bed_height_max": float(height.max()),
        "cells": len(height),
        "filled_share": float((cells.told["filled"] > 0).mean()),
        "covered_share": _covered(len(height), polygon, surface),
        "surveys": [surface.sources[number] for number in used],
        "from_date": min(surface.dates[number][0] for number in used),
        "to_date": max(surface.dates[number][1] for number in used),
        "budget": median_budget(surface, cells),
    }


def _nothing() -> dict[str, Any]:
    nothing: dict[str, Any] = dict.fromkeys(COLUMNS)
    number = float("nan")
    heights = dict.fromkeys(COLUMNS[:3], number)
    return {**nothing, **heights, "cells": 0, "filled_share": number, "covered_share": 0.0,
            "surveys": []}  # fmt: skip


def cells_in(polygon: Polygon, surface: Surface, names: Sequence[str] = TOLD) -> Inside:
    """Return the cells with a height whose centre lies in a polygon.

    Parameters
    ----------
    polygon : Polygon
    surface : Surface
    names : sequence of str
        Bands wanted, ``height`` among them.
    """
    found: list[Inside] = []
    for part in _windows(polygon, surface.grid):
        x, y = np.meshgrid(*part.centres())
        inside = shapely.contains_xy(polygon, x, y)
        if not inside.any():
            continue
        bands = surface.read(part, names)
        row, column = np.nonzero(inside & np.isfinite(bands["height"]))
        rows, columns = surface.grid.window(part)
        told = {name: bands[name][row, column] for name in names}
        found.append(Inside(row + rows.start, column + columns.start, told))
    if not found:
        none = np.zeros(0, dtype=np.int64)
        return Inside(none, none, {name: np.zeros(0) for name in names})
    row = np.concatenate([part.row for part in found])
    column = np.concatenate([part.column for part in found])
    order = np.lexsort((column, row))
    told = {name: np.concatenate([part.told[name] for part in found])[order] for name in names}
    return Inside(row[order], column[order], told)


def _windows(polygon: Polygon, grid: Grid) -> Iterator[Grid]:
    """Yield tiles of a grid that may hold cells of a polygon."""
    if polygon.is_empty:
        return
    inside = Grid.around(grid.origin, grid.cell_m, polygon.bounds).intersection(grid)
    if inside is not None:
        yield from inside.pieces(TILE)


def median_budget(surface: Surface, cells: Inside) -> Budget:
    """Return the uncertainty of the median height of some cells.

    Parameters
    ----------
    surface : Surface
    cells : Inside
        At least one.

    Returns
    -------
    Budget
        In metres. Named components keep their signs; what the cells' sds hold beyond the surveys'
        error models (a file's own uncertainty, what surveys differ by, the bed's change) is taken
        as alike in all cells and stands as ``<survey>:own_sd``, of the survey that counts most.
    """
    height, number = cells.told["height"], len(cells.row)
    s = np.maximum(cells.told["sd_random"], LEAST_SD)
    if number <= 2:  # the median is the mean
        alone = float((s**2).sum()) / number**2
    else:
        density, tail = _at_median(height, s)
        alone = float(tail.sum()) / float(density.sum()) ** 2
    some = _some(surface, cells)
    common = _common(surface, some)
    return Budget(float(np.sqrt(alone + _alike(surface, some))), common.patchy, common.named)


def _at_median(height: Array, s: Array) -> tuple[Array, Array]:
    """Return f_i and p_i (1 − p_i) of the module's formula."""
    away = height - np.median(height)
    observed = float((away**2).mean())
    kept = 0.0 if observed == 0 else np.sqrt(max(0.0, 1 - float((s**2).mean()) / observed))
    t = kept * away / s
    below = ndtr(t)
    return np.exp(-(t**2) / 2) / np.sqrt(2 * np.pi) / s, below * (1 - below)


@dataclass(frozen=True)
class Some:
    """At most `MOST_CELLS` cells, evenly taken: what correlated errors are summed over.

    Attributes
    ----------
    xyz : array, shape (n, 3)
    slope : array, shape (n, 2)
        Rise per metre towards east and north.
    weight : array, shape (n,)
        f_i, so that it sums to 1.
    told : dict of str to array, shape (n,)
        Bands of the cells.
    source : int
        The survey that counts most in most of the polygon's cells.
    """

    xyz: Array
    slope: Array
    weight: Array
    told: dict[str, Array]
    source: int


def _some(surface: Surface, cells: Inside) -> Some:
    """Return evenly taken cells, weighted by how much each moves the median.

    A cell is no point: its slope spreads its height over |g|² c² / 12, over which its weight is
    smoothed, so that on a steep bed more than the one or two cells next to the median count.
    """
    every = slice(None, None, max(1, -(-len(cells.row) // MOST_CELLS)))
    row, column = cells.row[every], cells.column[every]
    told = {name: band[every] for name, band in cells.told.items()}
    told |= _details(surface, row, column)
    easting, northing = surface.grid.centres()
    slope = np.column_stack([told["east"], told["north"]])
    steep = (slope**2).sum(axis=1) * surface.grid.cell_m**2 / 12
    weight = np.ones(len(row))
    if len(cells.row) > 2:
        wide = np.sqrt(np.maximum(told["sd_random"], LEAST_SD) ** 2 + steep)
        away = told["height"] - np.median(cells.told["height"])
        weight = np.exp(-((away / wide) ** 2) / 2) / wide
    return Some(
        np.column_stack([easting[column], northing[row], told["height"]]),
        slope,
        weight / weight.sum(),
        told,
        int(np.bincount(cells.told["source"].astype(np.int64)).argmax()),
    )


def _alike(surface: Surface, some: Some) -> float:
    """Return what random errors that cells share add to the variance of their median.

    Cells of one coarse cell, and filled ones between the same soundings, share theirs. As nothing
    says where such groups of cells begin, two cells are of one with the probability that a square
    of as many cells, laid anywhere, holds both if it holds one: (1 − |x| / L) (1 − |y| / L). What
    is the same for both moves the median by π / 2 as much as its variance moves a mean.
    """
    wide = np.sqrt(np.maximum(some.told["together"], 1.0)) * surface.grid.cell_m
    if not (some.told["together"] > 1).any():
        return 0.0
    joint = np.sqrt(wide[:, None] * wide)
    same = np.ones(joint.shape)
    for axis in (0, 1):
        away = np.abs(some.xyz[:, None, axis] - some.xyz[:, axis])
        same *= np.maximum(1 - away / joint, 0.0)
    np.fill_diagonal(same, 0.0)
    pull = some.weight * some.told["sd_random"]
    return float(pull @ same @ pull) * (np.pi / 2 if len(pull) > 2 else 1.0)


def _common(surface: Surface, some: Some) -> Budget:
    """Return the patchy and named parts of the median, by each survey's share of the cells."""
    gradient = some.weight[:, None] * np.column_stack([-some.slope, np.ones(len(some.weight))])
    share = np.nan_to_num([some.told[share_band(name)] for name in surface.sources])
    survey, cell = np.nonzero(share > 0)
    budget = propagate(
        gradient[cell] * share[survey, cell][:, None], some.xyz[cell], survey, surface.models
    )
    named = dict(budget.named)
    beyond = float((some.weight * some.told["sd_rest"]).sum())
    if beyond > 0:
        named[f"{surface.sources[some.source]}:own_sd"] = beyond
    return Budget(budget.random, budget.patchy, named)


def _details(surface: Surface, row: Ints, column: Ints) -> dict[str, Array]:
    """Return slopes, shares and what is beyond the models at a few cells."""
    names = ["height", "sd_rest", *(share_band(name) for name in surface.sources)]
    out = {name: np.zeros(len(row)) for name in [*names, "east", "north"]}
    grid = surface.grid
    across = column // TILE
    for key in np.unique(np.stack([row // TILE, across], axis=1), axis=0):
        mine = np.flatnonzero((row // TILE == key[0]) & (across == key[1]))
        part = Grid(
            grid.origin,
            grid.cell_m,
            grid.west + int(column[mine].min()),
            grid.north - 1 - int(row[mine].max()),
            grid.west + int(column[mine].max()) + 1,
            grid.north - int(row[mine].min()),
        ).grown(SLOPE_MARGIN)
        bands = dict(surface.read(part, names))
        slope = plane_gradient(bands["height"], grid.cell_m, lone_slope=0.0)
        bands["east"], bands["north"] = slope
        top, left = grid.north - part.north, part.west - grid.west
        for name, band in bands.items():
            out[name][mine] = band[row[mine] - top, column[mine] - left]
    return out
