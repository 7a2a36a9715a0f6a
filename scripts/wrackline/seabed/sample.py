"""The seabed within polygons: median, least and greatest height, with an uncertainty by cause.

Cells count whose centre lies in the polygon. The median m of cell heights z_i answers to errors as
the root of Σ sign(z_i + e_i − m) = 0 does: with independent normal errors of sd s_i its variance is

    Σ p_i (1 − p_i) / (Σ f_i)²,  p_i = Φ((z_i − m) / s_i),  f_i = φ((z_i − m) / s_i) / s_i

(sandwich form of an M-estimate: Huber and Ronchetti 2009, Robust Statistics, 3.2; on a level bed it
is the familiar π/2 · s²/n). As the heights at hand already hold their errors, their distances from
the median are first shrunk by the share of the observed variance that the errors explain. What
moves many cells together moves the median by the mean of it, weighted by f_i.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy.special import ndtr
from shapely.geometry import Polygon

from wrackline.io import read_json
from wrackline.rasters import Grid, read_raster
from wrackline.seabed.slopes import plane_gradient
from wrackline.seabed.variances import common_variance
from wrackline.uncertainty import Budget, ErrorModel, model_from_dict, propagate

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_CELLS = 300
"""Cells, evenly taken, over which correlated errors of a polygon are summed."""

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


@dataclass(frozen=True)
class Surface:
    """A merged surface in memory.

    Attributes
    ----------
    grid : Grid
    bands : dict of str to array, shape (n_rows, n_columns)
        As `wrackline.seabed.merge` writes them.
    slope : array, shape (n_rows, n_columns, 2)
        Rise per metre towards east and north.
    sources : list of str
        Surveys, in the order of the source band.
    models : sequence of ErrorModel
        Their errors.
    dates : list of [from, to]
        Their dates, ISO 8601.
    own_sd : list of bool
        Whether their files state an uncertainty of their own.
    fill_distance_m : float
        Farthest that a filled cell lies from a measured one [m].
    """

    grid: Grid
    bands: dict[str, Array]
    slope: Array
    sources: list[str]
    models: Sequence[ErrorModel]
    dates: list[list[str]]
    own_sd: list[bool]
    fill_distance_m: float


def read_surface(
    raster: Path | str, record: Path | str, models: Sequence[ErrorModel] | None = None
) -> Surface:
    """Read a merged surface.

    Parameters
    ----------
    raster, record : Path or str
        The raster and the JSON that `wrackline.seabed.merge` wrote.
    models : sequence of ErrorModel, optional
        Errors in the order of the record's sources, in place of those that the record holds.
    """
    grid, bands = read_raster(raster)
    content = read_json(record)
    slope = np.stack(plane_gradient(bands["height"], grid.cell_m), axis=-1)
    errors = [model_from_dict(m) for m in content["models"]] if models is None else models
    return Surface(
        grid,
        bands,
        slope,
        content["sources"],
        errors,
        content["dates"],
        content["own_sd"],
        content["fill_distance_m"],
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
        surveys that the cells came from; ``budget``, the `Budget` of the median [m]. Null, with
        0 cells and no surveys, where no cell lies in the polygon.
    """
    return sample_surface(polygons, read_surface(surface_tif, surface_json, models))


def sample_surface(polygons: Sequence[Polygon], surface: Surface) -> pd.DataFrame:
    """Return what a surface that was read is within polygons, see `sample_bed`."""
    index = polygons.index if isinstance(polygons, pd.Series) else pd.RangeIndex(len(polygons))
    rows = [_sample(polygon, surface) for polygon in polygons]
    return pd.DataFrame(rows, index=index, columns=list(COLUMNS))


def covered_shares(polygons: Sequence[Polygon], surface: Surface) -> list[float]:
    """Return the area of the cells in each polygon over the polygon's, at most 1."""
    cells = [len(_cells_in(polygon, surface)[0]) for polygon in polygons]
    return [_covered(k, p, surface) for k, p in zip(cells, polygons, strict=True)]


def _covered(cells: int, polygon: Polygon, surface: Surface) -> float:
    return float(min(cells * surface.grid.cell_m**2 / polygon.area, 1.0)) if cells else 0.0


def _sample(polygon: Polygon, surface: Surface) -> dict[str, Any]:
    row, column = _cells_in(polygon, surface)
    if len(row) == 0:
        return _nothing()
    height = surface.bands["height"][row, column]
    filled = surface.bands["filled"][row, column] > 0
    source = surface.bands["source"][row, column].astype(np.int64)
    used = [int(number) for number in np.unique(source)]
    return {
        "bed_height_median": float(np.median(height)),
        "bed_height_min": float(height.min()),
        "bed_height_max": float(height.max()),
        "cells": len(row),
        "filled_share": float(filled.mean()),
        "covered_share": _covered(len(row), polygon, surface),
        "surveys": [surface.sources[number] for number in used],
        "from_date": min(surface.dates[number][0] for number in used),
        "to_date": max(surface.dates[number][1] for number in used),
        "budget": median_budget(surface, row, column),
    }


def _nothing() -> dict[str, Any]:
    nothing: dict[str, Any] = dict.fromkeys(COLUMNS)
    number = float("nan")
    heights = dict.fromkeys(COLUMNS[:3], number)
    return {**nothing, **heights, "cells": 0, "filled_share": number, "covered_share": 0.0,
            "surveys": []}  # fmt: skip


def _cells_in(polygon: Polygon, surface: Surface) -> tuple[Ints, Ints]:
    """Return rows and columns of the cells with a height whose centre lies in the polygon."""
    none = np.zeros(0, dtype=np.int64)
    if polygon.is_empty:
        return none, none
    around = Grid.around(surface.grid.origin, surface.grid.cell_m, polygon.bounds)
    (rows, columns), shape = surface.grid.window(around), surface.grid.shape
    top, bottom = max(rows.start, 0), min(rows.stop, shape[0])
    left, right = max(columns.start, 0), min(columns.stop, shape[1])
    if top >= bottom or left >= right:
        return none, none
    easting, northing = surface.grid.centres()
    x, y = np.meshgrid(easting[left:right], northing[top:bottom])
    inside = shapely.contains_xy(polygon, x, y)
    inside &= np.isfinite(surface.bands["height"][top:bottom, left:right])
    row, column = np.nonzero(inside)
    return row + top, column + left


def median_budget(surface: Surface, row: Ints, column: Ints) -> Budget:
    """Return the uncertainty of the median height of some cells.

    Parameters
    ----------
    surface : Surface
    row, column : array of int, shape (n,)
        The cells, each with a height.

    Returns
    -------
    Budget
        In metres. Named components keep their signs; what a survey's own file states beyond its
        error model stands as ``<survey>:own_sd``.
    """
    height = surface.bands["height"][row, column]
    s = surface.bands["sd_random"][row, column]
    s = np.maximum(s, 1e-6)
    together = _together(surface, row, column)
    if len(row) <= 2:  # the median is the mean
        weight = np.full(len(row), 1 / len(row))
        random = float(np.sqrt((s**2 * together).sum()) / len(row))
    else:
        density, tail = _at_median(height, s)
        weight = density / density.sum()
        random = float(np.sqrt((tail * together).sum()) / density.sum())
    budget = _common(surface, row, column, weight)
    return Budget(random, budget.patchy, budget.named)


def _at_median(height: Array, s: Array) -> tuple[Array, Array]:
    """Return f_i and p_i (1 − p_i) of the module's formula."""
    away = height - np.median(height)
    observed = float((away**2).mean())
    kept = 0.0 if observed == 0 else np.sqrt(max(0.0, 1 - float((s**2).mean()) / observed))
    t = kept * away / s
    below = ndtr(t)
    return np.exp(-(t**2) / 2) / np.sqrt(2 * np.pi) / s, below * (1 - below)


def _together(surface: Surface, row: Ints, column: Ints) -> Array:
    """Return how many cells share one cell's random error: 1 if measured, more if filled.

    Filled cells share the measured cells that they lie between. Their errors are taken as alike
    over twice the fill distance a, with the spherical correlation, whose integral over the plane
    is π a² / 5 (see `wrackline.uncertainty`).
    """
    filled = surface.bands["filled"][row, column] > 0
    reach = 2 * surface.fill_distance_m / surface.grid.cell_m
    alike = min(1 + np.pi * reach**2 / 5, max(float(filled.sum()), 1.0))
    return np.where(filled, alike, 1.0)


def _common(surface: Surface, row: Ints, column: Ints, weight: Array) -> Budget:
    """Return the patchy and named parts for a weighted mean of cells."""
    step = max(1, -(-len(row) // MOST_CELLS))
    row, column = row[::step], column[::step]
    weight = weight[::step] / weight[::step].sum()
    easting, northing = surface.grid.centres()
    xyz = np.column_stack([easting[column], northing[row], surface.bands["height"][row, column]])
    slope = surface.slope[row, column]
    source = surface.bands["source"][row, column].astype(np.int64)
    gradient = weight[:, None] * np.column_stack([-slope, np.ones(len(row))])
    budget = propagate(gradient, xyz, source, surface.models)
    named = dict(budget.named)
    if not any(surface.own_sd):
        return budget
    variance = surface.bands["sd"][row, column] ** 2
    variance -= surface.bands["sd_random"][row, column] ** 2
    for number in [n for n in np.unique(source) if surface.own_sd[n]]:
        mine, model = source == number, surface.models[number]
        beyond = variance[mine] - common_variance(xyz[mine], slope[mine], model)
        beyond[beyond < 1e-3 * variance[mine]] = 0.0
        if beyond.any():
            effect = float((weight[mine] * np.sqrt(beyond)).sum())
            named[f"{model.survey}:own_sd"] = effect
    return Budget(budget.random, budget.patchy, named)
