"""Soundings that were set aside, as a table: none is lost in silence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow.parquet as pq

from wrackline.io import read_json
from wrackline.numbers import place_numbers
from wrackline.rasters import Grid, RasterReader, ticks

Array = npt.NDArray[np.float64]

MOST_LISTED = 2000
"""Lone soundings of a survey that are listed one by one; the rest are counted."""
COLUMNS = (
    *("survey", "number", "what", "easting", "northing", "height_m", "off_m"),
    *("points", "area_m2", "in_surface", "file", "row"),
)
LONE, REST = "lone sounding", "lone soundings beyond those listed"
BLOCKS = {
    (2, "above"): "layer above the bed",
    (2, "below"): "layer below the bed",
    (1, "above"): "patch above all around it",
    (1, "below"): "patch below all around it",
}


@dataclass(frozen=True)
class Gridded:
    """A survey of bed points and what gridding left of it: its name, file, and three products."""

    name: str
    file: str
    surface: Path
    rejected: Path
    account: Path


def set_aside_table(surveys: Sequence[Gridded], origin: tuple[float, float]) -> pd.DataFrame:
    """Return one row a block and one a lone sounding, survey by survey.

    Parameters
    ----------
    surveys : sequence of Gridded
    origin : tuple of float
        The site's origin [m].

    Returns
    -------
    DataFrame
        ``number`` names a block by its place; ``height_m`` above the site's datum; ``off_m`` from
        the bed there, up; ``in_surface``: whether it stands in the surface all the same; ``row`` of
        the raw file, where that is a table. `MOST_LISTED` lone soundings of a survey are listed.
    """
    parts = [part for survey in surveys for part in (_blocks(survey, origin), _lone(survey))]
    rows = [row for part in parts for row in part]
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype({"row": "Int64", "points": "int64"})


def _blocks(survey: Gridded, origin: tuple[float, float]) -> list[dict[str, Any]]:
    """Return the rows of a survey's blocks."""
    told = read_json(survey.account)
    cell_m, blocks = told["cell_m"], told["blocks"]
    places = np.array([[block["column"], block["row"]] for block in blocks]).reshape(-1, 2)
    places = places * cell_m + np.array(origin)
    return [
        {
            "survey": survey.name,
            "number": number,
            "what": BLOCKS[block["layers"], block["kind"]],
            "easting": round(float(place[0]), 3),
            "northing": round(float(place[1]), 3),
            "off_m": round(block["offset_m"], 3),
            "points": block["points"],
            "area_m2": round(block["cells"] * cell_m**2, 3),
            "in_surface": block["kept"],
            "file": survey.file,
        }
        for number, place, block in zip(
            place_numbers("D", places, origin), places, blocks, strict=True
        )
    ]


def _lone(survey: Gridded) -> list[dict[str, Any]]:
    """Return the rows of a survey's lone soundings, and one that counts those not listed."""
    table = pq.read_table(survey.rejected).to_pandas()
    listed = table.head(MOST_LISTED)
    bed = heights_at(survey.surface, listed[["easting", "northing"]].to_numpy(dtype=float))
    rows = [
        {
            "survey": survey.name,
            "what": LONE,
            "easting": round(point.easting, 3),
            "northing": round(point.northing, 3),
            "height_m": round(point.height, 3),
            "off_m": round(point.height - below, 3),
            "points": 1,
            "in_surface": False,
            "file": survey.file,
            "row": None if pd.isna(point.row) else int(point.row),
        }
        for point, below in zip(listed.itertuples(), bed, strict=True)
    ]
    if len(table) > len(listed):
        rest = {"survey": survey.name, "what": REST, "points": len(table) - len(listed)}
        rows.append({**rest, "in_surface": False, "file": survey.file})
    return rows


def heights_at(raster: Path | str, places: Array) -> Array:
    """Return a surface's heights at places, NaN where it has none [m].

    Parameters
    ----------
    raster : Path or str
        With the band ``height``.
    places : array, shape (n, 2)
        Eastings and northings [m].
    """
    found = np.full(len(places), np.nan)
    with RasterReader(raster) as reader:
        for k, (east, north) in enumerate(ticks(places)):
            grid = reader.grid
            column = int(grid.cells(np.array([east]), 0)[0])
            row = int(grid.cells(np.array([north]), 1)[0])
            cell = Grid(grid.origin, grid.cell_m, column, row, column + 1, row + 1)
            found[k] = reader.read(cell, ["height"])["height"][0, 0]
    return found
