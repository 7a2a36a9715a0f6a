"""Ground that the team knows not to change: polygons in a file of any CRS that it names."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj import CRS
from shapely.errors import ShapelyError

from wrackline.crs import transformer
from wrackline.errors import Fault, InputError

FARTHEST_M = 50_000.0


def read_stable(path: Path | str, crs: str, origin: Sequence[float]) -> list[Any]:
    """Return the polygons of ground that is known to be stable, in the site's CRS.

    Parameters
    ----------
    path : Path or str
    crs : str
        The site's CRS.
    origin : sequence of float
        Easting and northing of the site's origin [m].

    Raises
    ------
    InputError
        With one fault for each feature that can't be used, or one for the file.
    """
    table = _read(path)
    if table.crs is None:
        raise InputError(_fault(path, "a file that names no CRS", "a file that names its CRS"))
    rows = enumerate(table.geometry.to_numpy(), start=1)
    faults = [_fault(path, *wrong, row=row) for row, shape in rows if (wrong := _wrong(shape))]
    if faults:
        raise InputError(faults)
    shapes = _in_site(table, crs, str(path))
    away = shapely.distance(shapes, shapely.Point(*origin))
    if (away > FARTHEST_M).any():
        far = f"a polygon {away.max() / 1000:.0f} km from the site's origin"
        raise InputError(_fault(path, far, "polygons on the site"))
    return shapes


def _read(path: Path | str) -> gpd.GeoDataFrame:
    try:
        table = pyogrio.read_dataframe(path)
    except (DataSourceError, DataLayerError, ValueError, ShapelyError) as slip:
        found = f"{type(slip).__name__}: {slip}"
        raise InputError(_fault(path, found, "a file of polygons that OGR reads")) from None
    if not isinstance(table, gpd.GeoDataFrame) or not len(table):
        raise InputError(_fault(path, "no features", "at least one polygon"))
    return table


def _wrong(shape: Any) -> tuple[str, str] | None:
    """Return what is found and what is allowed where a feature can't be used."""
    if shape is None or shapely.is_empty(shape):
        return "a feature without a shape", "polygons"
    if shapely.get_dimensions(shape) != 2:
        return f"a {shape.geom_type}", "polygons"
    if not shapely.is_valid(shape):
        return f"a polygon that is none: {shapely.is_valid_reason(shape)}", "polygons"
    return None


def _in_site(table: gpd.GeoDataFrame, crs: str, file: str) -> list[Any]:
    """Return a table's shapes in the site's CRS, heights left out."""
    shapes = shapely.force_2d(table.geometry.to_numpy())
    source, target = CRS.from_user_input(table.crs), CRS.from_user_input(crs)
    if not source.equals(target, ignore_axis_order=True):
        change = transformer(source, target, survey="", file=file)
        shapes = shapely.transform(shapes, change.transform, interleaved=False)
    return list(shapes)


def stable_faults(
    stated: str | None, path: Path | str | None, crs: str, origin: Sequence[float]
) -> list[Fault]:
    """Return what is wrong with the file of stable ground that the config names.

    Parameters
    ----------
    stated : str or None
        The file as the config has it; None where none is stated.
    path : Path or str or None
        Where it is; None where it isn't there.
    crs, origin
        As `read_stable` takes them.
    """
    if stated is None:
        return []
    if path is None:
        return [_fault(stated, "no such file", "a file of polygons, where the config says")]
    try:
        read_stable(path, crs, origin)
    except InputError as error:
        return error.faults
    return []


def _fault(path: Path | str, found: str, allowed: str, row: int | None = None) -> Fault:
    return Fault(
        kind="stable_ground",
        found=found,
        allowed=allowed,
        consequence="whether two seasons agree on stable ground could not be told",
        remedy="draw the ground as polygons, mend seabed.stable_ground in site.yaml, or leave it "
        "out",
        file=str(path),
        row=row,
    )
