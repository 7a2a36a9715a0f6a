"""GeoParquet between stages: one writer, which holds a table to its declared columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd

DTYPES = {"text": "string", "real": "float64", "whole": "Int64", "flag": "boolean"}


def empty(columns: Mapping[str, str], crs: str | None) -> gpd.GeoDataFrame:
    """Return a table of no rows with the declared columns and a geometry."""
    data = {name: pd.Series([], dtype=DTYPES[kind]) for name, kind in columns.items()}
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries([], crs=crs))


def conform(table: gpd.GeoDataFrame, columns: Mapping[str, str]) -> gpd.GeoDataFrame:
    """Return the table with exactly the declared columns, in order and of their types.

    Parameters
    ----------
    table : GeoDataFrame
    columns : mapping of str to {"text", "real", "whole", "flag"}
        Declared columns, the geometry left out.

    Raises
    ------
    KeyError
        When a declared column is missing or an undeclared one is there: a mistake of ours.
    """
    there = set(table.columns) - {"geometry"}
    if there != set(columns):
        missing, extra = sorted(set(columns) - there), sorted(there - set(columns))
        raise KeyError(f"columns missing: {missing}; not declared: {extra}")
    typed = {name: table[name].astype(DTYPES[kind]) for name, kind in columns.items()}
    return gpd.GeoDataFrame(typed, geometry=table.geometry, crs=table.crs)


def write(table: gpd.GeoDataFrame, columns: Mapping[str, str], path: Path | str) -> None:
    """Write a table as GeoParquet after holding it to its declared columns."""
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    conform(table, columns).reset_index(drop=True).to_parquet(path, index=False)


def read(path: Path | str) -> gpd.GeoDataFrame:
    """Read a GeoParquet table."""
    return gpd.read_parquet(path)


def read_layers(layers: Sequence[str], paths: Sequence[Path | str]) -> dict[str, gpd.GeoDataFrame]:
    """Read tables by the names of their layers; no paths, no layers."""
    return dict(zip(layers, map(read, paths), strict=True)) if len(paths) else {}
