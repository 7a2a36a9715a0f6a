"""Deposit left over floors: the seabed's height less the floor's, where a floor was met.

A thickness is stated only at the points where both were measured. Error sources that the seabed
and the floor both rest on cancel.
"""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.rooms.bed import Bed
from wrackline.uncertainty import ErrorModel, propagate

COLUMNS = (
    *("easting", "northing", "floor_height_m", "bed_height_m", "deposit_m", "deposit_sd_m"),
    *("evidence", "survey", "line", "room", "null_because"),
)


def deposit_at(
    floors: gpd.GeoDataFrame,
    models: Sequence[ErrorModel],
    bed: Bed,
    cell_m: float,
    rooms: gpd.GeoDataFrame,
) -> pd.DataFrame:
    """Return the thickness of deposit at every point where a floor was met.

    Parameters
    ----------
    floors : GeoDataFrame
        `ITEM_COLUMNS`, PointZ in the site's CRS, heights above the datum.
    models : sequence of ErrorModel
        Errors of the surveys in it.
    bed : Bed
        The seabed, to be sampled.
    cell_m : float
        Cell size of the seabed model [m].
    rooms : GeoDataFrame
        Rooms with their numbers.

    Returns
    -------
    DataFrame
        `COLUMNS`; thickness in metres, null where the seabed has no height there.
    """
    points = floors.geometry.to_numpy()
    around = list(shapely.buffer(points, 0.75 * cell_m)) if len(points) else []
    sampled = bed.at(around)
    rows = [_row(floors.iloc[k], models, sampled.iloc[k], rooms) for k in range(len(floors))]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _row(
    floor: pd.Series, models: Sequence[ErrorModel], bed: pd.Series, rooms: gpd.GeoDataFrame
) -> dict[str, object]:
    xyz = shapely.get_coordinates(floor.geometry, include_z=True)
    within = shapely.contains(rooms.geometry.to_numpy(), floor.geometry)
    row: dict[str, object] = {
        "easting": xyz[0, 0],
        "northing": xyz[0, 1],
        "floor_height_m": xyz[0, 2],
        **dict.fromkeys(("bed_height_m", "deposit_m", "deposit_sd_m")),
        **{name: floor[name] for name in ("evidence", "survey", "line")},
        "room": next(iter(rooms["room"].to_numpy(object)[within]), None),
        "null_because": "no seabed height at this point",
    }
    if bed["cells"]:
        index = [model.survey for model in models].index(floor["survey"])
        budget = propagate(np.array([[0.0, 0.0, 1.0]]), xyz, np.array([index]), models)
        row["bed_height_m"] = bed["bed_height_median"]
        row["deposit_m"] = bed["bed_height_median"] - xyz[0, 2]
        row["deposit_sd_m"] = bed["budget"].minus(budget).sd
        row["null_because"] = ""
    return row
