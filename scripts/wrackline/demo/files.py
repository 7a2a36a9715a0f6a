"""The demo's files, written so that equal content gives equal bytes."""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import warnings
import zipfile
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import openpyxl
import pandas as pd

from wrackline.environment import FIXED_DATE
from wrackline.uncertainty import Array

STAMP = re.compile(rb">[0-9-]{10}T[0-9:]{8}Z<")
DRIVERS = {".gpkg": "GPKG", ".fgb": "FlatGeobuf", ".geojson": "GeoJSON"}


def write_layers(layers: dict[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write a vector file anew, one layer after the other, with the fixed date in it.

    Its suffix says what it is: GeoPackage, FlatGeobuf or GeoJSON (one layer each), or DXF, in which
    each layer is a drawing layer.
    """
    if path.suffix == ".dxf":
        write_drawing(layers, path)
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    before = os.environ.get("OGR_CURRENT_DATE")
    os.environ["OGR_CURRENT_DATE"] = FIXED_DATE
    try:
        for name, table in layers.items():
            kind = "Unknown" if len(set(table.geom_type)) > 1 else None
            driver = DRIVERS[path.suffix]
            with warnings.catch_warnings():  # an old plan has no CRS, and is meant to have none
                warnings.filterwarnings("ignore", "'crs' was not provided")
                table.to_file(path, layer=name, driver=driver, engine="pyogrio", geometry_type=kind)
    finally:
        if before is None:
            del os.environ["OGR_CURRENT_DATE"]
        else:
            os.environ["OGR_CURRENT_DATE"] = before


def write_drawing(layers: dict[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write a DXF of lines, the drawing layers named as in `layers`; it declares no unit."""
    rows = ["0", "SECTION", "2", "ENTITIES"]
    for name, table in layers.items():
        for line in table.geometry:
            rows += ["0", "POLYLINE", "8", name, "66", "1", "70", "8"]
            for x, y, z in line.coords:
                rows += ["0", "VERTEX", "8", name, "10", f"{x:.3f}", "20", f"{y:.3f}"]
                rows += ["30", f"{z:.3f}", "70", "32"]
            rows += ["0", "SEQEND"]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join([*rows, "0", "ENDSEC", "0", "EOF"]) + "\n", encoding="ascii")


def write_table(table: pd.DataFrame, path: Path, decimal: str = ".") -> None:
    """Write a CSV or, by its suffix, a spreadsheet; decimal commas go with semicolons."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".xlsx":
        _write_sheet(table, path)
        return
    separator = ";" if decimal == "," else ","
    table.to_csv(path, index=False, lineterminator="\n", sep=separator, decimal=decimal)


def _write_sheet(table: pd.DataFrame, path: Path) -> None:
    """Write a spreadsheet whose bytes hang on its content alone."""
    book = openpyxl.Workbook()
    fixed = dt.datetime.fromisoformat(FIXED_DATE[:10])
    book.properties.created = book.properties.modified = fixed
    sheet = book.worksheets[0]
    sheet.append(list(table.columns))
    for row in table.itertuples(index=False):
        sheet.append([cell.item() if hasattr(cell, "item") else cell for cell in row])
    packed = io.BytesIO()
    book.save(packed)
    with zipfile.ZipFile(packed) as made, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name in sorted(made.namelist()):
            content = made.read(name)
            if name == "docProps/core.xml":
                content = STAMP.sub(f">{FIXED_DATE[:10]}T00:00:00Z<".encode(), content)
            out.writestr(zipfile.ZipInfo(name, fixed.timetuple()[:6]), content)


def write_cloud(xyz: Array, path: Path) -> None:
    """Write a point cloud as LAS or, by its suffix, LAZ, in whole millimetres.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Easting, northing, height [m].
    path : Path
        Ends in .las or .laz.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales = np.full(3, 0.001)
    header.offsets = np.floor(xyz.min(axis=0)) if len(xyz) else np.zeros(3)
    header.creation_date = dt.date.fromisoformat(FIXED_DATE[:10])
    header.generating_software = "demo"
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = xyz.T
    cloud.write(str(path))
