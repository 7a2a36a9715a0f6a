"""Wall lines, features and floor points: any OGR file, or a table of points, into one table.

The table (GeoParquet) has the columns of `ITEM_COLUMNS`; geometries are in the file's own numbers,
multi-part ones taken apart, polygons of wall lines turned into their rings. With a fault in the
verdict it is empty.
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from wrackline import vectors
from wrackline.config import season_of
from wrackline.errors import Fault
from wrackline.intake.places import check_declared_crs, check_place
from wrackline.intake.texts import encoding_of
from wrackline.verdict import Problems, Source, Verdict, file_there, make_verdict
from wrackline.walls.linework import ITEM_COLUMNS

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " "}
TABLES = (".csv", ".txt", ".tsv")
TEXTS = ("line", "kind", "origin", "evidence", "note")
NUMBERS = ("thickness_m", "thickness_sd_m")
MISSING = "the survey would be missing from the record"


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
    read = None
    if file_there(source, problems):
        table = source.path.suffix.lower() in TABLES
        read = _from_table(source, problems) if table else _from_ogr(source, problems)
    items = vectors.empty(ITEM_COLUMNS, None)
    if read is not None:
        checked = _checked(source, read, problems)
        if len(checked) and not problems.fatal:
            middle = np.asarray(shapely.total_bounds(checked.geometry.to_numpy()))
            check_place(source, middle, problems, crs=crs, origin=origin)
        items = items if problems.fatal else checked
    xyz = shapely.get_coordinates(items.geometry.to_numpy(), include_z=True)
    z = xyz[np.isfinite(xyz[:, 2]), 2]
    verdict = make_verdict(
        source,
        problems,
        rows=read.seen if read else 0,
        used=len(items),
        bounds=[float(v) for v in shapely.total_bounds(items.geometry.to_numpy())]
        if len(items)
        else None,
        vertical=[float(z.min()), float(z.max())] if len(z) else None,
    )
    return items, verdict


def _from_ogr(source: Source, problems: Problems) -> Read | None:
    """Return the features of an OGR file's layer, or None with a fault."""
    try:
        layers = [str(name) for name in pyogrio.list_layers(source.path)[:, 0]]
        layer = source.survey.layer
        if layer is not None and layer not in layers:
            problems.add(_no_layer(source, layer, layers))
            return None
        if layer is None and len(layers) > 1:
            problems.add(_which_layer(source, layers))
            return None
        table = pyogrio.read_dataframe(source.path, layer=layer)
    except (DataSourceError, DataLayerError, ValueError, OSError) as slip:
        problems.add(_unreadable(source, slip))
        return None
    if not isinstance(table, gpd.GeoDataFrame):
        problems.add(_no_geometry(source))
        return None
    check_declared_crs(source, table.crs, problems)
    table = table.set_axis([str(name).lower() for name in table.columns], axis=1)
    geometry = table.geometry.to_numpy()
    rows = np.arange(1, len(table) + 1)
    return Read(_as_items(source, pd.DataFrame(table), geometry, rows), len(table))


def _from_table(source: Source, problems: Problems) -> Read | None:
    """Return the points of a text table, or None with a fault."""
    encoding = encoding_of(source, problems)
    if encoding is None:
        return None
    columns = source.survey.columns
    with source.path.open(encoding=encoding, newline="") as stream:
        text = stream.read().replace("\r\n", "\n").replace("\r", "\n")
    cells = list(csv.reader(text.split("\n"), delimiter=SEPARATORS[columns.separator]))
    if not columns.header or not cells:
        problems.add(_no_header(source))
        return None
    names = [name.strip() for name in cells[0]]
    missing = [
        (role, str(getattr(columns, role)))
        for role in ("easting", "northing", "vertical")
        if str(getattr(columns, role)) not in names
    ]
    for role, name in missing:
        problems.add(_no_column(source, role, name, names))
    if missing:
        return None
    rows = [(k, row) for k, row in enumerate(cells[1:], start=2) if any(map(str.strip, row))]
    frame = pd.DataFrame(
        [dict(zip(names, [cell.strip() for cell in row], strict=False)) for _, row in rows],
        columns=names,
    ).fillna("")
    place = [
        _numbers(source, frame[str(getattr(columns, role))], [k for k, _ in rows], problems)
        for role in ("easting", "northing", "vertical")
    ]
    geometry = shapely.points(np.column_stack(place))
    if columns.line is not None and str(columns.line) in frame:
        frame["line"] = frame[str(columns.line)]
    return Read(_as_items(source, frame, geometry, np.array([k for k, _ in rows])), len(rows))


def _numbers(source: Source, texts: pd.Series, rows: list[int], problems: Problems) -> np.ndarray:
    """Return a column as numbers, every cell that is none named with its row."""
    columns = source.survey.columns
    plain = (
        texts.str.replace(columns.decimal, ".", regex=False) if columns.decimal != "." else texts
    )
    values = pd.to_numeric(plain, errors="coerce").to_numpy(float, copy=True)
    values[texts.isin(columns.no_value).to_numpy(bool)] = np.nan
    for k in np.flatnonzero(~np.isfinite(values)):
        problems.add(
            source.fault(
                "not_a_number",
                f"'{texts.iloc[k]}' in column '{texts.name}'",
                "a number, with the decimal mark that columns.decimal states",
                "the point would have no place or no height",
                "mend the cell, or take the row out of a copy of the file",
                row=rows[k],
            )
        )
    return values


def _as_items(
    source: Source, table: pd.DataFrame, geometry: np.ndarray, rows: np.ndarray
) -> gpd.GeoDataFrame:
    """Return a file's rows with the columns of `ITEM_COLUMNS`."""
    survey = source.survey
    data: dict[str, Any] = {"survey": source.name, "season": season_of(source.name), "row": rows}
    own = str(survey.columns.line).lower() if survey.columns.line is not None else "line"
    for name in TEXTS:
        column = own if name == "line" and own in table else name
        data[name] = _texts(table[column]) if column in table else [None] * len(table)
    for name in NUMBERS:
        data[name] = pd.to_numeric(table[name], errors="coerce") if name in table else np.nan
    frame = gpd.GeoDataFrame(data, geometry=list(geometry), index=range(len(table)))
    if survey.wall_thickness_m is not None:
        stated = frame["thickness_m"].isna()
        frame.loc[stated, "thickness_m"] = survey.wall_thickness_m
        frame.loc[stated, "thickness_sd_m"] = survey.wall_thickness_sd_m
    return frame


def _texts(column: pd.Series) -> list[str | None]:
    """Return a column as texts, whole numbers without a decimal point, blanks as missing."""
    texts = []
    for value in column:
        whole = isinstance(value, float) and value.is_integer()
        text = "" if pd.isna(value) else str(int(value) if whole else value).strip()
        texts.append(text or None)
    return texts


def _checked(source: Source, read: Read, problems: Problems) -> gpd.GeoDataFrame:
    """Return the items that can be used, each that can't named with its row."""
    items = read.items
    there = np.array([g is not None and not g.is_empty for g in items.geometry], dtype=bool)
    for row in items["row"][~there]:
        problems.add(_no_shape(source, int(row)))
    items = items[there].explode(ignore_index=True)
    if source.survey.holds == "wall_lines":
        items = _as_lines(items)
    wanted = {"wall_lines": ("LineString",), "floor_points": ("Point",)}.get(source.survey.holds)
    right = items.geom_type.isin(wanted) if wanted else pd.Series(True, index=items.index)
    for _, item in items[~right].iterrows():
        problems.add(_wrong_shape(source, item.geometry.geom_type, int(item["row"])))
    items = items[right].reset_index(drop=True)
    items = items.iloc[list(_sound(source, items, problems))].reset_index(drop=True)
    if not len(items) and not problems.fatal:
        problems.add(_no_rows(source, read.seen))
    _check_heights(source, items, problems)
    return items


def _as_lines(items: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return polygons as their rings, lines without points that repeat the one before."""
    shapes = []
    for shape in items.geometry:
        rings = shape.geom_type == "Polygon"
        parts = [shape.exterior, *shape.interiors] if rings else [shape]
        shapes.append(shapely.MultiLineString([_plain(part) for part in parts]) if rings else shape)
    items = items.set_geometry(gpd.GeoSeries(shapes, index=items.index)).explode(ignore_index=True)
    return items.set_geometry(
        gpd.GeoSeries([_plain(s) if s.geom_type == "LineString" else s for s in items.geometry])
    )


def _plain(line: shapely.Geometry) -> shapely.LineString:
    """Return a line without consecutive points at one place; the first of them stays."""
    xyz = shapely.get_coordinates(line, include_z=shapely.has_z(line))
    new = np.r_[True, np.any(np.diff(xyz[:, :2], axis=0) != 0, axis=1)]
    return shapely.LineString(xyz[new] if new.sum() > 1 else xyz[:2])


def _sound(source: Source, items: gpd.GeoDataFrame, problems: Problems) -> Iterator[int]:
    """Yield the places of items whose numbers can be used; name the others."""
    for k, shape in enumerate(items.geometry):
        row = int(items["row"].iloc[k])
        if not np.isfinite(shapely.get_coordinates(shape)).all():
            problems.add(_not_finite(source, row))
        elif shape.geom_type == "LineString" and shape.length == 0:
            problems.add(_zero_length(source, row))
        else:
            yield k


def _check_heights(source: Source, items: gpd.GeoDataFrame, problems: Problems) -> None:
    """Say where heights are promised and missing."""
    if source.survey.vertical.meaning == "none" or not len(items):
        return
    xyz, item = shapely.get_coordinates(
        items.geometry.to_numpy(), include_z=True, return_index=True
    )
    flat = np.unique(item[~np.isfinite(xyz[:, 2])])
    if len(flat):
        row = int(items["row"].iloc[flat[0]])
        problems.add(_flat(source, len(flat), len(items), row))


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
    return source.fault(
        "unreadable",
        f"{type(slip).__name__}: {str(slip).splitlines()[0] if str(slip) else 'no message'}",
        "a vector file that OGR reads (GeoPackage, GeoJSON, Shapefile, DXF), or a text table",
        MISSING,
        "open the file in another program; copy or export it anew if that fails too",
    )


def _no_geometry(source: Source) -> Fault:
    return source.fault(
        "no_geometry",
        "a layer without geometry",
        "lines, points or polygons",
        MISSING,
        "name the layer that holds the drawing",
    )


def _no_header(source: Source) -> Fault:
    return source.fault(
        "no_header",
        "a table read without column names",
        "a first row of column names, and columns.header: true",
        "attributes could not be told apart",
        "write the column names into the file's first row",
        row=1,
    )


def _no_column(source: Source, role: str, name: str, names: list[str]) -> Fault:
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.4)
    return source.fault(
        "column_missing",
        f"no column '{name}' for {role}",
        f"one of the file's columns: {', '.join(names[:12]) or 'none'}",
        f"the {role} of every row would be unknown",
        (f"did you mean '{near[0]}'? " if near else "") + f"write it under columns.{role}",
        row=1,
    )


def _no_shape(source: Source, row: int) -> Fault:
    return source.suspicion(
        "no_shape",
        "a feature without geometry",
        "a drawn line, point or polygon",
        "it is left out",
        "draw it, or delete the empty row",
        row=row,
    )


def _wrong_shape(source: Source, shape: str, row: int) -> Fault:
    holds = source.survey.holds
    return source.fault(
        "wrong_shape",
        f"a {shape}",
        "lines, or polygons whose outlines are walls" if holds == "wall_lines" else "points",
        f"it can't be read as one of the survey's {holds.replace('_', ' ')}",
        "mend `holds`, or keep the two kinds in two layers",
        row=row,
    )


def _not_finite(source: Source, row: int) -> Fault:
    return source.fault(
        "not_finite",
        "a coordinate that is no number",
        "finite eastings and northings",
        "the item would lie nowhere",
        "measure or draw it anew",
        row=row,
    )


def _zero_length(source: Source, row: int) -> Fault:
    return source.suspicion(
        "zero_length",
        "a line of no length",
        "two points apart",
        "it is left out",
        "a point recorded twice, or the second point missing: check the field book",
        row=row,
    )


def _no_rows(source: Source, seen: int) -> Fault:
    return source.fault(
        "no_rows",
        f"{seen} rows, none of which can be used",
        "at least one",
        MISSING,
        "check the file and `layer`",
    )


def _flat(source: Source, flat: int, count: int, row: int) -> Fault:
    return source.suspicion(
        "no_heights",
        f"{flat} of {count} items have points without a height, though heights are promised",
        "a height at every point, or vertical.meaning: none",
        "their depths stay empty",
        "export the file with heights (3-D lines), or say that it has none",
        row=row,
    )
