"""GeoPackages: the plan with its contract's fields, which describe themselves where they are read.

Each field has a title and its meaning, each layer a sentence; the tables ``about``, ``fields`` and
``units`` say the rest wherever the file is opened. All of it by the standard, OGC 12-128: the
field's words stand where its extension ``gpkg_schema`` has them.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyarrow as pa
import pyogrio
import shapely

from wrackline import contract, vectors
from wrackline.publish.tables import field_list

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
TABLES = {
    "about": "What goes with every figure: units, datum, sea level, dates, caution.",
    "fields": "Every field of the layers here: type, unit and meaning.",
    "units": "The units that end the fields' names.",
}
"""Tables without places, beside the layers."""

OPTIONS = {"VERSION": "1.3", "ADD_GPKG_OGR_CONTENTS": "NO"}
"""Of 1.4 older programs warn; and GDAL's own count of rows is no table of the standard."""

FIELD_TITLE, FIELD_MEANING = b"GDAL:OGR:alternative_name", b"GDAL:OGR:comment"


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
        layer = layer.set_geometry(_as_declared(layer.geometry, GEOMETRY[name]))
        pyogrio.write_arrow(
            _with_words(layer, name),
            path,
            layer=name,
            driver="GPKG",
            append=Path(path).exists(),
            dataset_options=OPTIONS,
            geometry_type=GEOMETRY[name],
            crs=crs,
            layer_options={"DESCRIPTION": describe(name, about), "GEOMETRY_NAME": "geom"},
            layer_metadata=dict(about),  # a data set's own would make GDAL write a file beside it
        )
    _write_tables(layers, path, about)


def describe(name: str, about: Mapping[str, str]) -> str:
    """Return a layer's description: what it holds, what its depths count from, the caution."""
    return (
        f"{contract.ABOUT[name]} Depths are {about['depths']}; datum: {about['vertical_datum']}. "
        f"{about['caution'].split('. ')[0].removesuffix('.')}. More in the tables about and fields."
    )


def title(field: contract.Field) -> str:
    """Return a field's name in words, its unit as people write it.

    >>> title(contract.Field("floor_area_sd_m2", "real", "m2", ""))
    'floor area sd (m²)'
    """
    words = field.name.removesuffix(f"_{field.unit}").replace("_", " ")
    return f"{words} ({contract.UNITS[field.unit][1]})" if field.unit else words


def _with_words(layer: gpd.GeoDataFrame, name: str) -> pa.Table:
    """Return a layer as GDAL takes it, with each field's title and meaning."""
    table = pa.table(layer.to_arrow(index=False, geometry_encoding="WKB"))
    words = {
        field.name: {FIELD_TITLE: title(field), FIELD_MEANING: field.meaning}
        for field in contract.LAYERS[name]
    }
    fields = [one.with_metadata(words.get(one.name, one.metadata)) for one in table.schema]
    return table.cast(pa.schema(fields))


def _write_tables(
    layers: Mapping[str, gpd.GeoDataFrame], path: Path | str, about: Mapping[str, str]
) -> None:
    """Write the tables that explain the layers."""
    fields = field_list()
    units = [(unit, *words) for unit, words in contract.UNITS.items()]
    tables = {
        "about": pd.DataFrame(about.items(), columns=["topic", "text"]),
        "fields": fields[fields["layer"].isin(list(layers))],
        "units": pd.DataFrame(units, columns=["unit", "name", "sign", "ucum"]),
    }
    for name, table in tables.items():
        options = {"DESCRIPTION": TABLES[name]}
        pyogrio.write_dataframe(
            table, path, layer=name, driver="GPKG", append=True, layer_options=options
        )


def _as_declared(shapes: gpd.GeoSeries, kind: str) -> gpd.GeoSeries:
    """Return shapes as their layer declares them: in parts, or with a height, NaN if unknown."""
    drawn = shapes.to_numpy()
    if kind == "MultiPolygon":
        drawn = [_multi(shape) for shape in drawn]
    elif kind == "LineString Z":
        places, of = shapely.get_coordinates(drawn, include_z=True, return_index=True)
        drawn = shapely.linestrings(places, indices=of)
    return gpd.GeoSeries(drawn, index=shapes.index, crs=shapes.crs)


def _multi(shape: shapely.Geometry | None) -> shapely.Geometry | None:
    """Return an area as one of several parts, or of none where it is empty."""
    if shape is None or shape.geom_type == "MultiPolygon":
        return shape
    return shapely.MultiPolygon([] if shape.is_empty else [shape])
