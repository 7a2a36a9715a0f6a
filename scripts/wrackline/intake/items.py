"""Wall lines, features and floor points: any OGR file, or a table of points, into one table.

The table (GeoParquet) has the columns of `ITEM_COLUMNS`; geometries are in the file's own numbers,
multi-part ones taken apart, polygons of wall lines turned into their rings. With a fault in the
verdict it is empty.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, GeometryError
from pyproj.exceptions import ProjError
from shapely.errors import ShapelyError

from wrackline import vectors
from wrackline.config import season_of
from wrackline.errors import Fault
from wrackline.intake.item_checks import MISSING, check_items
from wrackline.intake.item_tables import as_number, read_point_table
from wrackline.intake.places import check_declared_crs, check_items_place
from wrackline.verdict import Problems, Source, Verdict, file_there, make_verdict
from wrackline.walls.linework import ITEM_COLUMNS

TABLES = (".csv", ".txt", ".tsv", ".xyz", ".dat", ".pts")
TEXTS = ("line", "kind", "origin", "evidence", "note")
NUMBERS = ("thickness_m", "thickness_sd_m")
THICKEST_M = 20.0
"""Thicknesses beyond this are slips or marks of a missing value."""

UNREADABLE = (DataSourceError, DataLayerError, ValueError, OSError, ShapelyError, ProjError)
"""What OGR, GEOS and PROJ raise on files that they can't make sense of."""


@dataclass(frozen=True)
class Read:
    """What a file held: items in its own numbers, and how many rows were seen."""

    items: gpd.GeoDataFrame
    seen: int


def read_items(
    source: Source, *, crs: str, origin: tuple[float, float]
) -> tuple[gpd.GeoDataFrame, Verdict]:
    """Read one survey of lines, features or floor points, and say what was found.

    Parameters
    ----------
    source : Source
    crs : str
        The site's CRS.
    origin : tuple of float
        The site's origin [m].

    Returns
    -------
    items : GeoDataFrame
        `ITEM_COLUMNS`; empty when there is a fault.
    verdict : Verdict
    """
    problems = Problems()
    read = _read(source, problems) if file_there(source, problems) else None
    items = vectors.empty(ITEM_COLUMNS, None)
    if read is not None:
        checked = check_items(source, read.items, read.seen, problems)
        if len(checked):
            check_items_place(source, checked, problems, crs=crs, origin=origin)
        items = items if problems.fatal else checked
    xyz = shapely.get_coordinates(items.geometry.to_numpy(), include_z=True)
    z = xyz[np.isfinite(xyz[:, 2]), 2]
    verdict = make_verdict(
        source,
        problems,
        rows=read.seen if read else 0,
        used=len(items),
        bounds=[float(v) for v in items.total_bounds] if len(items) else None,
        vertical=[float(z.min()), float(z.max())] if len(z) else None,
    )
    return items, verdict


def _read(source: Source, problems: Problems) -> Read | None:
    """Return what the file holds, or None with a fault."""
    table = source.path.suffix.lower() in TABLES
    try:
        with warnings.catch_warnings():  # of measures (M) and the like, which are not taken over
            warnings.simplefilter("ignore")
            return _from_table(source, problems) if table else _from_ogr(source, problems)
    except UNREADABLE as slip:
        problems.add(_unreadable(source, slip))
        return None


def _from_table(source: Source, problems: Problems) -> Read | None:
    """Return the points of a text table, or None with a fault."""
    table = read_point_table(source, problems)
    if table is None:
        return None
    points = shapely.points(table.xyz)
    return Read(_as_items(source, table.cells, points, table.row, problems), table.seen)


def _from_ogr(source: Source, problems: Problems) -> Read | None:
    """Return the features of an OGR file's layer, or None with a fault."""
    layer = _layer(source, problems)
    if layer is None:
        return None
    table = pyogrio.read_dataframe(source.path, layer=layer)
    if not isinstance(table, gpd.GeoDataFrame):
        problems.add(_no_geometry(source))
        return None
    check_declared_crs(source, table.crs, problems)
    geometry, rows = table.geometry.to_numpy(), np.arange(1, len(table) + 1)
    cells = pd.DataFrame(table.drop(columns=table.geometry.name))
    cells.columns = [str(name).lower() for name in cells.columns]
    return Read(_as_items(source, cells, geometry, rows, problems), len(table))


def _layer(source: Source, problems: Problems) -> str | None:
    """Return the layer to read, or None with a fault; tables without geometry don't count."""
    listed = [(str(name), kind) for name, kind in pyogrio.list_layers(source.path).tolist()]
    drawn = [name for name, kind in listed if kind is not None]
    layer = source.survey.layer
    if layer is not None and layer not in [name for name, _ in listed]:
        problems.add(_no_layer(source, layer, [name for name, _ in listed]))
        return None
    if layer is None and len(drawn) != 1:
        problems.add(_which_layer(source, drawn) if drawn else _no_geometry(source))
        return None
    return layer or drawn[0]


def _as_items(
    source: Source,
    cells: pd.DataFrame,
    geometry: npt.NDArray[np.object_],
    rows: npt.NDArray[np.int64],
    problems: Problems,
) -> gpd.GeoDataFrame:
    """Return a file's rows with the columns of `ITEM_COLUMNS`."""
    survey = source.survey
    data: dict[str, Any] = {"survey": source.name, "season": season_of(source.name), "row": rows}
    own = str(survey.columns.line).lower() if survey.columns.line is not None else "line"
    for name in TEXTS:
        column = own if name == "line" and own in cells else name
        data[name] = _texts(_column(source, cells, column, problems))
    for name in NUMBERS:
        texts = _texts(_column(source, cells, name, problems))
        data[name] = _measures(source, name, texts, rows, problems)
    frame = gpd.GeoDataFrame(data, geometry=list(geometry), index=range(len(cells)))
    if survey.wall_thickness_m is not None:
        frame["thickness_m"] = frame["thickness_m"].fillna(survey.wall_thickness_m)
    known = frame["thickness_m"].notna() & frame["thickness_sd_m"].isna()
    frame.loc[known, "thickness_sd_m"] = survey.wall_thickness_sd_m
    return frame


def _column(source: Source, cells: pd.DataFrame, name: str, problems: Problems) -> pd.Series:
    """Return a column, all missing where there is none; one that stands twice is a fault."""
    found = [k for k, column in enumerate(cells.columns) if column == name]
    if len(found) > 1:
        problems.add(_twice(source, name))
    if not found:
        return pd.Series([None] * len(cells), dtype=object)
    return cells.iloc[:, found[0]]


def _texts(column: pd.Series) -> list[str | None]:
    """Return a column as texts, whole numbers without a decimal point, blanks as missing."""
    texts = []
    for value in column:
        whole = isinstance(value, float) and value.is_integer()
        missing = pd.api.types.is_scalar(value) and pd.isna(value)
        text = "" if missing else str(int(value) if whole else value).strip()
        texts.append(text or None)
    return texts


def _measures(
    source: Source,
    name: str,
    texts: list[str | None],
    rows: npt.NDArray[np.int64],
    problems: Problems,
) -> list[float]:
    """Return texts as lengths, NaN where missing; of wall lines, what can't be one is named."""
    decimal = source.survey.columns.decimal if source.path.suffix.lower() in TABLES else "."
    least = 0.0 if name.endswith("sd_m") else np.nextafter(0.0, 1.0)
    values = []
    for text, row in zip(texts, rows, strict=True):
        value = float("nan") if text is None else as_number(text, decimal)
        right = least <= value <= THICKEST_M
        if text is not None and not right and source.survey.holds == "wall_lines":
            problems.add(_no_length(source, name, text, int(row)))
        values.append(value if right else float("nan"))
    return values


def _no_layer(source: Source, layer: str, layers: list[str]) -> Fault:
    return source.fault(
        "layer_missing",
        f"no layer '{layer}'",
        f"the file's layers: {', '.join(layers)}",
        MISSING,
        "mend `layer` in the season's config",
    )


def _which_layer(source: Source, layers: list[str]) -> Fault:
    return source.fault(
        "layer_unnamed",
        f"a file of {len(layers)} layers: {', '.join(layers)}",
        "one layer a survey, named where the file has several",
        "lines of one kind could be taken for another",
        "write `layer` in the season's config; several layers are several surveys",
    )


def _unreadable(source: Source, slip: Exception) -> Fault:
    mixed = isinstance(slip, GeometryError)
    return source.fault(
        "unreadable",
        f"{type(slip).__name__}: {str(slip).splitlines()[0] if str(slip) else 'no message'}",
        "a vector file that OGR reads (GeoPackage, GeoJSON, Shapefile, DXF), or a text table",
        MISSING,
        "save the layer anew as one of lines (LineStringZ), points or polygons"
        if mixed
        else "open the file in another program; copy or export it anew if that fails too",
    )


def _no_geometry(source: Source) -> Fault:
    return source.fault(
        "no_geometry",
        "a layer without geometry",
        "lines, points or polygons",
        MISSING,
        "name the layer that holds the drawing",
    )


def _twice(source: Source, name: str) -> Fault:
    return source.fault(
        "column_twice",
        f"two columns '{name}' (capitals don't count)",
        "each column once",
        "it would be left to chance which of the two is read",
        "rename or remove one of the two in a copy of the file",
        row=1,
    )


def _no_length(source: Source, name: str, text: str, row: int) -> Fault:
    return source.fault(
        "bad_thickness",
        f"'{text[:40]}' as {name}",
        f"metres, more than 0 and at most {THICKEST_M:g}, or nothing where it isn't known",
        "floors beside this wall would be too large or too small",
        "mend the value; take the unit out; leave it empty where it isn't known",
        row=row,
    )
