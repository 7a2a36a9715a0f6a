"""Gathers a view's surveys: their fitted items in one table, their errors in one list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd

from wrackline import vectors
from wrackline.io import read_json
from wrackline.uncertainty import ErrorModel, model_from_dict
from wrackline.walls.linework import ITEM_COLUMNS, LINE_COLUMNS

NOT_BUILT = ("natural", "modern")
TRAITS = (
    *("line_follows", "traced_at", "evidence", "from_date", "to_date"),
    *("pole_width_m", "pole_width_sd_m"),
)


def gather_items(files: Sequence[str | Path], crs: str) -> gpd.GeoDataFrame:
    """Return the fitted items of several surveys as one table, `ITEM_COLUMNS`."""
    tables = [vectors.read(file) for file in files]
    tables = [table for table in tables if len(table)]
    if not tables:
        return vectors.empty(ITEM_COLUMNS, crs)
    together = pd.concat(tables, ignore_index=True)
    return gpd.GeoDataFrame(together, geometry="geometry", crs=crs)


def gather_floors(files: Sequence[str | Path], crs: str) -> gpd.GeoDataFrame:
    """Return the points at which a floor was met: a probe that met something else met none."""
    items = gather_items(files, crs)
    probed = items["evidence"].eq("probe").fillna(False)
    elsewhere = items["kind"].isin(("rock", "nothing"))
    return items[~(probed & elsewhere)].reset_index(drop=True)


def gather_lines(
    traits: Mapping[str, Mapping[str, str | float | None]], files: Sequence[str | Path], crs: str
) -> gpd.GeoDataFrame:
    """Return the wall lines of several surveys as one table, `LINE_COLUMNS`.

    Parameters
    ----------
    traits : mapping of str to mapping
        By survey, what its config says of its lines, see `TRAITS`.
    files : sequence of path
        Their fitted items.
    crs : str
        The site's CRS.
    """
    lines = gather_items(files, crs)
    for trait in TRAITS:
        lines[trait] = lines["survey"].map({name: t[trait] for name, t in traits.items()})
    lines["repeats"] = ""
    for column in ("phase_from", "phase_to", "stands_from", "stands_to"):
        lines[column] = None
    return vectors.conform(lines, LINE_COLUMNS)


def told_apart(
    lines: gpd.GeoDataFrame, no_walls: Sequence[str]
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Return the lines that are walls, and those that the surveyor says are none.

    Parameters
    ----------
    lines : GeoDataFrame
        With `kind` and `origin`.
    no_walls : sequence of str
        Kinds that are no walls, small and capital letters alike.
    """
    names = {name.casefold() for name in no_walls}
    other = lines["kind"].fillna("").str.strip().str.casefold().isin(names)
    other |= lines["origin"].isin(NOT_BUILT).fillna(False)
    other = other.to_numpy(bool)
    return lines[~other].reset_index(drop=True), lines[other].reset_index(drop=True)


def read_models(files: Sequence[str | Path]) -> list[ErrorModel]:
    """Return the error models of several surveys, in the order of their files."""
    return [model_from_dict(read_json(file)["model"]) for file in files]
