"""GeoPackages: the plan with its contract's fields, described layer by layer."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pyogrio
import shapely

from wrackline import contract, vectors

GEOMETRY = {
    "wall_lines": "LineString Z",
    "wall_bodies": "MultiPolygon",
    "openings": "LineString",
    "rooms": "MultiPolygon",
    "buildings": "MultiPolygon",
    "features": "Unknown",
    "spot_heights": "Point Z",
    "trenches": "MultiPolygon",
    "contours": "LineString",
    "seabed_change_areas": "MultiPolygon",
    "waterlines": "LineString",
    "sightings": "LineString",
    "wall_condition": "LineString",
    "surveys": "MultiPolygon",
    "tracings": "LineString Z",
}


def write_package(
    layers: Mapping[str, gpd.GeoDataFrame], path: Path | str, *, crs: str, about: Mapping[str, str]
) -> None:
    """Write layers as one GeoPackage.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By name, with the fields of the contract.
    path : Path or str
        Written anew.
    crs : str
        The site's CRS.
    about : mapping of str to str
        Statement that goes with every layer: datum, sea level, dates, caution.
    """
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    Path(path).unlink(missing_ok=True)
    for name, table in layers.items():
        layer = vectors.conform(table, contract.columns(name)).set_crs(crs, allow_override=True)
        if GEOMETRY[name] == "MultiPolygon":
            layer = layer.set_geometry(_as_multi(layer.geometry))
        pyogrio.write_dataframe(
            layer,
            path,
            layer=name,
            driver="GPKG",
            append=Path(path).exists(),
            geometry_type=GEOMETRY[name],
            layer_options={"DESCRIPTION": _description(name, about), "GEOMETRY_NAME": "geom"},
            layer_metadata=dict(about),  # a data set's own would make GDAL write a file beside it
        )


def _as_multi(shapes: gpd.GeoSeries) -> gpd.GeoSeries:
    return gpd.GeoSeries([_multi(shape) for shape in shapes], index=shapes.index, crs=shapes.crs)


def _multi(shape: shapely.Geometry | None) -> shapely.Geometry | None:
    """Return an area as one of several parts, or of none where it is empty."""
    if shape is None or shape.geom_type == "MultiPolygon":
        return shape
    return shapely.MultiPolygon([] if shape.is_empty else [shape])


def _description(name: str, about: Mapping[str, str]) -> str:
    fields = "; ".join(
        f"{f.name}{f' [{f.unit}]' if f.unit else ''}: {f.meaning}" for f in contract.LAYERS[name]
    )
    return (
        f"{about['depths']}. Datum: {about['vertical_datum']}. {about['caution']} Fields: {fields}"
    )
