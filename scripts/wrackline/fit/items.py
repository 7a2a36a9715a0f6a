"""Lines, features and floor points in the site's CRS and height datum, with their errors."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from wrackline.fit.similarity import fit_local_grid, local_grid_errors
from wrackline.frames import placing
from wrackline.model import Site, Survey
from wrackline.uncertainty import ErrorModel, error_model

POORLY_FITTING = 3.0
"""A local grid's residuals this many times the marks' sd deserve a look (no source)."""


def fit_items(items: gpd.GeoDataFrame, name: str, survey: Survey, site: Site) -> gpd.GeoDataFrame:
    """Return items in the site's CRS, heights above the site's datum.

    Parameters
    ----------
    items : GeoDataFrame
        `ITEM_COLUMNS`, in the file's own numbers.
    name : str
        Identifier of the survey.
    survey, site : Survey, Site
        Their config.

    Returns
    -------
    GeoDataFrame
        The same rows; points without a height keep NaN.

    Raises
    ------
    ConfigError, InputError
        When the survey can't be placed.
    """
    place = placing(name, survey, site.crs)

    def moved(xyz: np.ndarray) -> np.ndarray:
        east, north = place(xyz[:, 0], xyz[:, 1])
        return np.column_stack([east, north, heights(xyz[:, 2], survey)])

    shapes = [_with_z(shape, moved) for shape in items.geometry]
    return items.set_geometry(gpd.GeoSeries(shapes, index=items.index, crs=site.crs))


def heights(vertical: np.ndarray, survey: Survey) -> np.ndarray:
    """Return heights above the site's datum from a survey's vertical numbers [m].

    Parameters
    ----------
    vertical : array, shape (n,)
        Numbers in the sense that the config states; NaN where there is none.
    survey : Survey
    """
    meaning, zero = survey.vertical.meaning, survey.vertical.datum_height_m
    if meaning == "none":
        return np.full(len(vertical), np.nan)
    up = zero + vertical if meaning == "height" else zero - vertical
    offset = survey.applied_offset
    return up + (offset.height_m if offset else 0.0)


def _with_z(shape: shapely.Geometry, moved: Any) -> shapely.Geometry:
    """Return a geometry with its coordinates moved and a third one, NaN where unknown."""
    if shape.geom_type == "Point":
        xyz = shapely.get_coordinates(shape, include_z=True)
        return shapely.points(moved(xyz)[0])
    if shape.geom_type == "LineString":
        return shapely.linestrings(moved(shapely.get_coordinates(shape, include_z=True)))
    rings = [shape.exterior, *shape.interiors]
    # without its last point: where heights are NaN a ring isn't seen to be closed, and grows one
    xyz = [moved(shapely.get_coordinates(ring, include_z=True)[:-1]) for ring in rings]
    return shapely.Polygon(xyz[0], xyz[1:])


def errors_of(name: str, survey: Survey, site: Site) -> tuple[ErrorModel, list[str]]:
    """Return a survey's errors, those of its local grid included, and notes for the record."""
    if survey.local_grid is None:
        return error_model(name, survey, site), []
    grid = survey.local_grid
    fit = fit_local_grid(grid)
    note = (
        f"local grid: {len(grid.points)} marks, scale {fit.scale:.6f}, "
        f"s0 {fit.s0:.3f} m, largest residual {np.abs(fit.residuals).max():.3f} m"
    )
    notes = [note]
    if fit.s0 > POORLY_FITTING * grid.control_sd_m:
        notes.append(f"residuals exceed {POORLY_FITTING:g} times the stated control_sd_m: check")
    return error_model(name, survey, site, local_grid_errors(name, grid)), notes
