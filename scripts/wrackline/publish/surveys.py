"""One row a survey: what it was, how good it says it is, where it looked, what rests on it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio.features
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from shapely.errors import ShapelyError

from wrackline.errors import Fault, InputError
from wrackline.model import Survey
from wrackline.rasters import RasterReader
from wrackline.survey_names import season_of
from wrackline.verdict import Verdict

CORRIDOR_M = 1.0
USED_FOR = {
    "wall_lines": "wall plan, rooms, buildings",
    "features": "features, openings",
    "floor_points": "floor depths, deposit",
    "probes": "floor depths, deposit",
    "trench_outlines": "checked and placed; no figure rests on it yet",
    "finds": "checked and placed; no figure rests on it yet",
    "picture": "checked and placed; no figure rests on it yet",
    "bed_points": "seabed model, seabed depths",
    "bed_grid": "seabed model, seabed depths",
}


def survey_table(
    surveys: Mapping[str, Survey],
    verdicts: Mapping[str, Verdict],
    grounds: Mapping[str, Any],
    crs: str,
) -> gpd.GeoDataFrame:
    """Return one row a survey, with the ground that it looked at as its outline.

    Parameters
    ----------
    surveys : mapping of str to Survey
        Config by identifier.
    verdicts : mapping of str to Verdict
        What intake found, by identifier.
    grounds : mapping of str to (Geometry, str)
        Outline and how it was had, by identifier.
    crs : str
        The site's CRS.
    """
    rows = [_row(name, surveys[name], verdicts[name], *grounds[name]) for name in surveys]
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=crs)


def _row(name: str, survey: Survey, verdict: Verdict, outline: Any, how: str) -> dict[str, Any]:
    unstated = "the config doesn't state it"
    along_faces = survey.holds == "wall_lines" and survey.line_follows != "centre"
    why = {
        "resolution_m": unstated,
        "pole_width_m": unstated if along_faces else "no wall faces were traced",
    }
    empty = [f"{name}: {text}" for name, text in why.items() if getattr(survey, name) is None]
    return {
        "survey": name,
        "season": season_of(name),
        "technique": survey.technique,
        "holds": survey.holds,
        "from_date": str(survey.from_date),
        "to_date": str(survey.to_date),
        "file": survey.file,
        "sha256": verdict.sha256,
        "rows": verdict.rows,
        "used": verdict.used,
        "random_horizontal_sd_m": survey.random_horizontal_sd_m,
        "random_vertical_sd_m": survey.random_vertical_sd_m,
        "patchy_horizontal_sd_m": survey.patchy_horizontal_sd_m,
        "patchy_vertical_sd_m": survey.patchy_vertical_sd_m,
        "patchy_distance_m": survey.patchy_distance_m,
        "error_sources": ";".join(survey.error_sources),
        "resolution_m": survey.resolution_m,
        "pole_width_m": survey.pole_width_m,
        "ground_looked_at": how,
        "used_for": USED_FOR[survey.holds],
        "null_because": "; ".join(empty),
        "geometry": outline,
    }


def ground_of_items(items: gpd.GeoDataFrame) -> tuple[Any, str]:
    """Return a corridor along what was traced: the least that must have been looked at."""
    around = shapely.buffer(items.geometry.to_numpy(), CORRIDOR_M, quad_segs=4)
    return shapely.union_all(around), f"within {CORRIDOR_M:g} m of what it recorded"


def ground_of_picture(items: gpd.GeoDataFrame) -> tuple[Any, str]:
    """Return the ground that a mosaic shows: its footprint, no more."""
    return shapely.union_all(shapely.force_2d(items.geometry.to_numpy())), "what the picture shows"


def ground_of_surface(raster: Path | str) -> tuple[Any, str]:
    """Return the cells with a height, gaps that were filled included."""
    with RasterReader(raster) as reader:
        grid, parts = reader.grid, reader.grid.strips()
        valid = np.concatenate([np.isfinite(reader.read(p, ["height"])["height"]) for p in parts])
    shapes = rasterio.features.shapes(
        valid.astype(np.uint8), mask=valid, transform=grid.transform, connectivity=4
    )
    outline = shapely.union_all([shapely.geometry.shape(shape) for shape, _ in shapes])
    return outline, "cells of the seabed model with a height from it"


def ground_stated(path: Path | str, crs: str) -> tuple[Any, str]:
    """Return the ground that the team says was looked at.

    Raises
    ------
    InputError
        When the file holds no polygons.
    """
    try:
        table = pyogrio.read_dataframe(path)
    except (DataSourceError, DataLayerError, ValueError, ShapelyError) as slip:
        raise InputError(_no_ground(path, f"{type(slip).__name__}: {slip}")) from None
    shapes = table.geometry.to_numpy() if isinstance(table, gpd.GeoDataFrame) else np.array([])
    drawn = (shapely.get_dimensions(shapes) == 2) & ~shapely.is_empty(shapes)
    if not len(shapes) or not drawn.all():
        found = f"{len(shapes)} features, of which {int(drawn.sum())} are polygons"
        raise InputError(_no_ground(path, found))
    if table.crs is not None:
        table = table.to_crs(crs)
    whole = shapely.make_valid(table.geometry.to_numpy(), method="structure", keep_collapsed=False)
    return shapely.union_all(whole), "as stated by the team"


def _no_ground(path: Path | str, found: str) -> Fault:
    return Fault(
        kind="no_ground",
        found=found,
        allowed="polygons of the ground looked at, in the site's CRS or one that the file names",
        consequence="what a survey would have seen, and what it couldn't, would be unknown",
        remedy="draw the ground as polygons, mend looked_at, or leave looked_at out",
        file=str(path),
    )
