"""Numbers that stand in print: rows of `config/numbers.csv` as things with a place.

A number on a plan, a find bag or in print is frozen: it may be split, merged or retired, and is
never given to anything else. It is tied to the ground by its outline where that was kept, else by
one point in or on the thing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline.errors import Fault, InputError
from wrackline.model import GivenNumber
from wrackline.numbers import NUMBERED, place_of

LAYER_OF = {what: layer for layer, (what, _) in NUMBERED.items()}
"""What a person calls a thing -> its layer."""
WHAT_OF = {layer: what for what, layer in LAYER_OF.items()}

COLUMNS = {"layer": "text", "number": "text", "series": "text", "season": "text"}
SIMPLER_M = 0.02
"""Outlines are kept this exactly."""
ON_M = 0.5
"""A point this far beside a thing is still taken for it (no source)."""


@dataclass(frozen=True)
class Held:
    """Points and the things that hold them: pairs, and how much speaks for each."""

    point: npt.NDArray[np.int64]
    thing: npt.NDArray[np.int64]
    worth: npt.NDArray[np.float64]


def frozen_table(rows: Sequence[GivenNumber], crs: str | None) -> gpd.GeoDataFrame:
    """Return given numbers as things with a place.

    Parameters
    ----------
    rows : sequence of GivenNumber
        Rows of `config/numbers.csv`.
    crs : str or None
        The site's CRS.

    Returns
    -------
    GeoDataFrame
        `COLUMNS`; geometry the outline where it was kept, else a point.

    Raises
    ------
    InputError
        With every outline that can't be read.
    """
    faults: list[Fault] = []
    shapes = [_shape(row, faults) for row in rows]
    if faults:
        raise InputError(faults)
    data = {
        "layer": [LAYER_OF[row.what] for row in rows],
        "number": [row.number for row in rows],
        "series": [row.series for row in rows],
        "season": [row.season for row in rows],
    }
    table = gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=crs), crs=crs)
    return table.astype(dict.fromkeys(COLUMNS, "object"))


def _shape(row: GivenNumber, faults: list[Fault]) -> shapely.Geometry | None:
    if not row.outline:
        return shapely.Point(row.easting, row.northing)
    try:
        return shapely.make_valid(shapely.from_wkt(row.outline))
    except shapely.errors.GEOSException as slip:
        faults.append(
            Fault(
                kind="number_outline",
                found=f"the outline of {row.what} {row.number}: {slip}",
                allowed="well-known text, e.g. POLYGON ((0 0, 4 0, 4 3, 0 0)), or nothing",
                consequence="the number could not be tied to its outline",
                remedy="clear the cell, so that easting and northing tie it",
                file="config/numbers.csv",
            )
        )
        return None


def frozen_rows(plan: Mapping[str, gpd.GeoDataFrame], season: str) -> gpd.GeoDataFrame:
    """Return all numbers of a plan as frozen ones, those of inferred lines excepted.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        A season's numbered plan.
    season : str
        That season.

    Returns
    -------
    GeoDataFrame
        `COLUMNS` and the outline of each thing, flat and kept to 2 cm.
    """
    parts = []
    for layer, (field, _) in NUMBERED.items():
        table = plan[layer]
        if "closing" in table:
            table = table[table["evidence"] != "inferred"]
        flat = shapely.simplify(shapely.force_2d(table.geometry.to_numpy()), SIMPLER_M)
        data = {"layer": layer, "number": table[field].astype(str), "series": "", "season": season}
        part = gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(flat, table.index, crs=table.crs))
        parts.append(part.drop_duplicates("number"))
    together = pd.concat(parts, ignore_index=True)
    return gpd.GeoDataFrame(together, geometry="geometry", crs=parts[0].crs)


def as_rows(frozen: gpd.GeoDataFrame) -> list[dict[str, str]]:
    """Return frozen numbers as rows of `config/numbers.csv`, in the order of number and layer."""
    places = place_of(frozen.geometry.to_numpy())
    wkt = shapely.to_wkt(frozen.geometry.to_numpy(), rounding_precision=2)
    rows = [
        {
            "number": str(number),
            "what": WHAT_OF[layer],
            "easting": f"{place.x:.2f}",
            "northing": f"{place.y:.2f}",
            "season": str(season),
            "series": str(series),
            "outline": "" if text.startswith("POINT") else text,
            "note": "",
        }
        for number, layer, season, series, place, text in zip(
            *(frozen[name] for name in ("number", "layer", "season", "series")),
            places,
            wkt,
            strict=True,
        )
    ]
    return sorted(rows, key=lambda row: (row["what"], row["number"]))


def holders(points: npt.NDArray[np.object_], shapes: npt.NDArray[np.object_]) -> Held:
    """Return which points lie in or on which things.

    Parameters
    ----------
    points : array of Point, shape (m,)
    shapes : array of Geometry, shape (n,)

    Returns
    -------
    Held
        Of areas around a point the smallest is worth most; lines and points fall off with their
        distance, to 0 at `ON_M`.
    """
    if not len(points) or not len(shapes):
        none = np.zeros(0, dtype=np.int64)
        return Held(none, none, np.zeros(0))
    i, j = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=ON_M)
    away = shapely.distance(points[i], shapes[j])
    areal = shapely.get_dimensions(shapes[j]) == 2
    size = shapely.area(shapes[j])
    worth = np.where(areal & (away == 0), 1.0 + 1.0 / (1.0 + size), 1.0 - away / ON_M)
    some = worth > 0
    return Held(i[some], j[some], worth[some])


def assigned_once(held: Held) -> dict[int, int]:
    """Return for each point the thing that speaks most for holding it."""
    best: dict[int, int] = {}
    for k in np.lexsort([held.thing, -held.worth, held.point]).tolist():
        best.setdefault(int(held.point[k]), int(held.thing[k]))
    return best
