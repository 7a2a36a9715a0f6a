"""The demo's files, written so that equal content gives equal bytes."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd

from wrackline.environment import FIXED_DATE
from wrackline.uncertainty import Array


def write_layers(layers: dict[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write a GeoPackage anew, one layer after the other, with the fixed date in it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    before = os.environ.get("OGR_CURRENT_DATE")
    os.environ["OGR_CURRENT_DATE"] = FIXED_DATE
    try:
        for name, table in layers.items():
            kind = "Unknown" if len(set(table.geom_type)) > 1 else None
            table.to_file(path, layer=name, driver="GPKG", engine="pyogrio", geometry_type=kind)
    finally:
        if before is None:
            del os.environ["OGR_CURRENT_DATE"]
        else:
            os.environ["OGR_CURRENT_DATE"] = before


def write_table(table: pd.DataFrame, path: Path) -> None:
    """Write a CSV."""
    path.parent.mkdir(parents=True, exist_ok=True)
    table.to_csv(path, index=False, lineterminator="\n")


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
