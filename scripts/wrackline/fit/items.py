"""Lines, features and floor points in the site's CRS and height datum, with their errors."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from wrackline.fit.similarity import fit_local_grid, local_grid_errors
from wrackline.frames import placing
from wrackline.heights import link_errors, zero_height
from wrackline.model import Site, Survey
from wrackline.uncertainty import ErrorModel, error_model, errors_from_dicts

POORLY_FITTING = 3.0
"""A local grid's residuals this many times the marks' sd deserve a look (no source)."""


def fit_items(
    items: gpd.GeoDataFrame, name: str, survey: Survey, site: Site, *, folder: Path = Path()
) -> gpd.GeoDataFrame:
    """Return items in the site's CRS, heights above the site's datum.

    Parameters
    ----------
    items : GeoDataFrame
        `ITEM_COLUMNS`, in the file's own numbers.
    name : str
        Identifier of the survey.
    survey, site : Survey, Site
        Their config.
    folder : Path
        The site's folder.

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
    links = [] if survey.vertical.meaning == "none" else site.links_from(survey.vertical.zero)

    def moved(xyz: np.ndarray) -> np.ndarray:
        east, north = place(xyz[:, 0], xyz[:, 1])
        zero = zero_height(links, east, north, crs=site.crs, folder=folder)
        return np.column_stack([east, north, heights(xyz[:, 2], survey, zero)])

    shapes = [_with_z(shape, moved) for shape in items.geometry]
    return items.set_geometry(gpd.GeoSeries(shapes, index=items.index, crs=site.crs))


def heights(vertical: np.ndarray, survey: Survey, linked: np.ndarray | float = 0.0) -> np.ndarray:
    """Return heights above the site's datum from a survey's vertical numbers [m].

    Parameters
    ----------
    vertical : array, shape (n,)
        Numbers in the sense that the config states; NaN where there is none.
    survey : Survey
    linked : array, shape (n,), or float
        Height above the site's datum of the zero that `vertical.zero` names [m].
    """
    meaning, zero = survey.vertical.meaning, survey.vertical.datum_height_m + linked
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


def errors_of(
    name: str, survey: Survey, site: Site, adjustment: Mapping[str, Any] | None = None
) -> tuple[ErrorModel, list[str]]:
    """Return a survey's errors, and notes for the record.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    survey, site : Survey, Site
        Their config; what the local grid and the height links rest on is included.
    adjustment : mapping, optional
        Of raw observations: intake's account of their adjustment, whose ``errors`` are included.
    """
    offset = survey.applied_offset
    extra = link_errors(
        [] if survey.vertical.meaning == "none" else site.links_from(survey.vertical.zero),
        site.error_sources,
        site.origin,
        named={*survey.resting_on, *(offset.replaces if offset else ())},
    )
    extra += errors_from_dicts((adjustment or {}).get("errors", []))
    if survey.local_grid is None:
        return error_model(name, survey, site, extra), []
    grid = survey.local_grid
    fit = fit_local_grid(grid)
    note = (
        f"local grid: {len(grid.points)} marks, scale {fit.scale:.6f}, "
        f"s0 {fit.s0:.3f} m, largest residual {np.abs(fit.residuals).max():.3f} m"
    )
    notes = [note]
    if fit.s0 > POORLY_FITTING * grid.control_sd_m:
        notes.append(f"residuals exceed {POORLY_FITTING:g} times the stated control_sd_m: check")
    return error_model(name, survey, site, [*local_grid_errors(name, grid), *extra]), notes
