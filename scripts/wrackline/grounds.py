"""Where a survey looked, and where plants grew: as the team states it, or as the data show it.

Never a hull: cells that were measured, a mosaic's footprint, a corridor along the lines that were
swum, polygons that the team drew; failing all that a corridor along what was recorded, in which the
absence of anything more means nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pyogrio
import rasterio
import rasterio.features
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj.exceptions import CRSError, ProjError
from rasterio.errors import RasterioError
from scipy.ndimage import binary_closing, generate_binary_structure
from shapely.errors import ShapelyError

from wrackline.errors import Fault, InputError
from wrackline.intake.pictures import footprint
from wrackline.rasters import RasterReader

CORRIDOR_M = 1.0
"""Half the width of the ground along what was recorded, where nothing was stated (no source)."""
RECORDED = f"within {CORRIDOR_M:g} m of what it recorded"
STATED, MEASURED = "as stated by the team", "cells that it measured, gaps of a cell closed"

UNREADABLE = (
    DataSourceError,
    DataLayerError,
    ValueError,
    OSError,
    ShapelyError,
    ProjError,
    CRSError,
)
RASTERS = (".tif", ".tiff", ".img", ".bag", ".png", ".jpg", ".jpeg")

AREAS = "polygons of the ground looked at, in the site's CRS or one that the file names"
LINES = "lines that were swum, in the site's CRS or one that the file names"
PLANTS = "polygons where plants grow, with a column share of 0 to 1 or none"


def ground_of_items(items: gpd.GeoDataFrame) -> tuple[Any, str]:
    """Return a corridor along what was recorded: the least that must have been looked at."""
    around = shapely.buffer(items.geometry.to_numpy(), CORRIDOR_M, quad_segs=4)
    return shapely.union_all(around), RECORDED


def ground_of_picture(items: gpd.GeoDataFrame) -> tuple[Any, str]:
    """Return the ground that a mosaic shows: its footprint, no more."""
    return shapely.union_all(shapely.force_2d(items.geometry.to_numpy())), "what the picture shows"


def ground_of_surface(raster: Path | str) -> tuple[Any, str]:
    """Return the cells of a survey's surface that were measured, with gaps of a cell closed.

    Wider gaps, which the surface fills, were not looked at.
    """
    with RasterReader(raster) as reader:
        grid, parts = reader.grid, reader.grid.strips()
        there = np.concatenate([_measured(reader.read(p, ["height", "filled"])) for p in parts])
    closed = binary_closing(np.pad(there, 1), generate_binary_structure(2, 1))[1:-1, 1:-1]
    return _outline(closed, grid.transform), MEASURED


def _measured(bands: dict[str, npt.NDArray[np.float64]]) -> npt.NDArray[np.bool_]:
    return np.asarray(np.isfinite(bands["height"]) & (bands["filled"] != 1))


def _outline(there: npt.NDArray[np.bool_], transform: Any) -> Any:
    """Return the outline of cells that are true, parts that meet at a corner apart."""
    shapes = rasterio.features.shapes(
        there.astype(np.uint8), mask=there, transform=transform, connectivity=4
    )
    parts = np.array([shapely.geometry.shape(shape) for shape, _ in shapes], dtype=object)
    whole = shapely.multipolygons(shapely.get_parts(parts)) if len(parts) else shapely.Polygon()
    return whole if whole.is_valid else shapely.union_all(parts)


def ground_stated(path: Path | str, crs: str | None) -> tuple[Any, str]:
    """Return the ground that the team says was looked at: polygons, or a raster's cells.

    Parameters
    ----------
    path : Path or str
        A polygon file, or a raster of which the cells with a value count.
    crs : str or None
        The site's CRS; None leaves the file's own.

    Raises
    ------
    InputError
        When the file can't be read, or holds no polygons.
    """
    if Path(path).suffix.lower() in RASTERS:
        return _raster_ground(path, crs), f"cells of {Path(path).name} with a value"
    table = _drawn(path, crs, dimension=2, fault=no_ground)
    return shapely.union_all(_whole(table.geometry.to_numpy())), STATED


def _raster_ground(path: Path | str, crs: str | None) -> Any:
    try:
        with rasterio.open(path) as raster:
            ground = footprint(raster)
            own = None if raster.crs is None else raster.crs.to_wkt()
    except (RasterioError, *UNREADABLE) as slip:
        raise InputError(no_ground(path, f"{type(slip).__name__}: {slip}")) from None
    if ground.is_empty:
        raise InputError(no_ground(path, "a raster without a cell that has a value"))
    if own is None or crs is None:
        return ground
    return gpd.GeoSeries([ground], crs=own).to_crs(crs).iloc[0]


def swim_corridor(path: Path | str, reach_m: float, crs: str | None) -> tuple[Any, str]:
    """Return the ground along lines that were swum.

    Parameters
    ----------
    path : Path or str
        A line file.
    reach_m : float
        How far to either side was looked [m].
    crs : str or None
        The site's CRS; None leaves the file's own.

    Raises
    ------
    InputError
        When the file can't be read, or holds no lines.
    """
    table = _drawn(path, crs, dimension=1, fault=no_swim)
    around = shapely.buffer(table.geometry.to_numpy(), reach_m, quad_segs=8)
    return shapely.union_all(around), f"within {reach_m:g} m of the lines swum"


def plants_stated(path: Path | str, crs: str | None) -> gpd.GeoDataFrame:
    """Return where plants grow: polygons with the share of the ground that they cover.

    Parameters
    ----------
    path : Path or str
        A polygon file, with a column ``share``; without it plants cover all of each polygon.
    crs : str or None
        The site's CRS; None leaves the file's own.

    Returns
    -------
    GeoDataFrame
        ``share`` (0 to 1) and polygons.

    Raises
    ------
    InputError
        When the file can't be read, holds no polygons, or a share that is none.
    """
    table = _drawn(path, crs, dimension=2, fault=no_plants)
    share = table["share"].to_numpy() if "share" in table else np.ones(len(table))
    try:
        share = share.astype(float)
    except (TypeError, ValueError):
        raise InputError(no_plants(path, "shares that are no numbers")) from None
    wrong = np.flatnonzero(~((share >= 0) & (share <= 1)))
    if len(wrong):
        found = f"share {share[wrong[0]]:g}, and {len(wrong) - 1} more such"
        raise InputError(no_plants(path, found, row=int(wrong[0]) + 1))
    return gpd.GeoDataFrame({"share": share}, geometry=_whole(table.geometry.to_numpy()), crs=crs)


def _drawn(
    path: Path | str, crs: str | None, *, dimension: int, fault: Callable[..., Fault]
) -> gpd.GeoDataFrame:
    """Return a file's features, all of one dimension, in the site's CRS."""
    try:
        table = pyogrio.read_dataframe(path)
        if isinstance(table, gpd.GeoDataFrame) and table.crs is not None and crs is not None:
            table = table.to_crs(crs)
    except UNREADABLE as slip:
        raise InputError(fault(path, f"{type(slip).__name__}: {slip}")) from None
    shapes = table.geometry.to_numpy() if isinstance(table, gpd.GeoDataFrame) else np.array([])
    drawn = (shapely.get_dimensions(shapes) == dimension) & ~shapely.is_empty(shapes)
    if not len(shapes) or not drawn.all():
        kind = "polygons" if dimension == 2 else "lines"
        found = f"{len(shapes)} features, of which {int(drawn.sum())} are {kind}"
        raise InputError(fault(path, found))
    return table


def _whole(shapes: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Return polygons with those that cross themselves mended."""
    return np.asarray(
        shapely.make_valid(shapely.force_2d(shapes), method="structure", keep_collapsed=False)
    )


def no_ground(path: Path | str, found: str) -> Fault:
    """Return the fault of a file that states no ground looked at."""
    return Fault(
        kind="no_ground",
        found=found,
        allowed=AREAS,
        consequence="what a survey would have seen, and what it couldn't, would be unknown",
        remedy="draw the ground as polygons, mend looked_at, or leave looked_at out",
        file=str(path),
    )


def no_swim(path: Path | str, found: str) -> Fault:
    """Return the fault of a file that states no lines that were swum."""
    return Fault(
        kind="no_swim_lines",
        found=found,
        allowed=LINES,
        consequence="where a diver looked in vain could not be told from where nobody was",
        remedy="draw the way that was swum as lines, mend swim_lines, or leave it out",
        file=str(path),
    )


def no_plants(path: Path | str, found: str, row: int | None = None) -> Fault:
    """Return the fault of a file that states no plants."""
    return Fault(
        kind="no_plant_cover",
        found=found,
        allowed=PLANTS,
        consequence="a wall under plants could be taken for one that is gone",
        remedy="draw where plants grow as polygons, mend plant_cover, or give one share for all",
        file=str(path),
        row=row,
    )


def read_stated(
    looked_at: Path | str | None, swim: tuple[Path | str, float] | None, crs: str | None
) -> tuple[Any, str] | None:
    """Return the ground that the team states, or None where it states none.

    Parameters
    ----------
    looked_at : Path, str or None
    swim : tuple of (path, reach in metres), or None
    crs : str or None
    """
    parts: Sequence[tuple[Any, str]] = [
        *([] if looked_at is None else [ground_stated(looked_at, crs)]),
        *([] if swim is None else [swim_corridor(*swim, crs)]),
    ]
    if not parts:
        return None
    return shapely.union_all([ground for ground, _ in parts]), "; ".join(how for _, how in parts)
