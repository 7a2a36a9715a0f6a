"""What a season saw of the outlines of rooms: how much of each stands, is buried, or is lost."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.seasons.judging import STATUSES
from wrackline.seasons.standing import straight_walls

STEP_M = 0.25
REACH_M, ALIKE_DEG = 0.7, 25.0
"""A wall line lies no further off the outline that runs along it: half a wall, where it follows the
wall's middle, and some slack (no source)."""


def outline_states(rooms: gpd.GeoDataFrame, sightings: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return how much of each room's outline has which status in a season.

    Parameters
    ----------
    rooms : GeoDataFrame
        The contract's `rooms`, of any season.
    sightings : GeoDataFrame
        The contract's `sightings` of one season.

    Returns
    -------
    DataFrame
        ``room``, ``status``, ``length_m`` (in the grid): rooms in their order, statuses in that of
        `wrackline.seasons.judging.STATUSES`. What runs along no recorded wall is in no row, so the
        rows of a room add up to what of its outline was recorded.

    Examples
    --------
    >>> room = gpd.GeoDataFrame({"room": ["R1"]}, geometry=[shapely.box(0, 0, 4, 3)])
    >>> walls = [shapely.LineString([(0, 0), (4, 0)]), shapely.LineString([(4, 0), (4, 3)])]
    >>> seen = gpd.GeoDataFrame({"status": ["seen", "lost"]}, geometry=walls)
    >>> outline_states(room, seen)
      room status  length_m
    0   R1   lost       3.0
    1   R1   seen       4.0
    """
    rings = shapely.boundary(shapely.force_2d(rooms.geometry.to_numpy()))
    pieces = straight_walls(shapely.get_parts(rings))
    part_room = np.repeat(np.arange(len(rooms)), shapely.get_num_geometries(rings))
    length = shapely.length(pieces.stretches)
    count = np.maximum(1, np.rint(length / STEP_M)).astype(np.int64)
    piece = np.repeat(np.arange(len(length)), count)
    number = np.arange(len(piece)) - (np.cumsum(count) - count)[piece]
    middle = shapely.line_interpolate_point(
        pieces.stretches[piece], (number + 0.5) / count[piece], normalized=True
    )
    row = _wall_at(middle, pieces.way[piece], sightings)
    told = pd.DataFrame(
        {
            "room": part_room[pieces.wall[piece]],
            "status": _codes(row, sightings),
            "length_m": length[piece] / count[piece],
        }
    )
    summed = told[told["status"] >= 0].groupby(["room", "status"], as_index=False).sum()
    return pd.DataFrame(
        {
            "room": rooms["room"].to_numpy(object)[summed["room"]],
            "status": [STATUSES[code] for code in summed["status"]],
            "length_m": summed["length_m"].to_numpy(float),
        }
    )


def _codes(row: np.ndarray, sightings: gpd.GeoDataFrame) -> np.ndarray:
    codes = np.array([STATUSES.index(text) for text in sightings["status"]] or [0])
    return np.where(row >= 0, codes[np.maximum(row, 0)], -1)


def _wall_at(points: np.ndarray, way: np.ndarray, sightings: gpd.GeoDataFrame) -> np.ndarray:
    """Return the row of the wall that runs along the outline at points, -1 where none does."""
    found = np.full(len(points), -1)
    walls = straight_walls(shapely.force_2d(sightings.geometry.to_numpy()))
    if not len(walls.stretches):
        return found
    at, stretch = shapely.STRtree(walls.stretches).query(
        points, predicate="dwithin", distance=REACH_M
    )
    cosine = np.abs((way[at] * walls.way[stretch]).sum(axis=1))
    alike = cosine >= np.cos(np.radians(ALIKE_DEG))
    at, stretch = at[alike], stretch[alike]
    away = shapely.distance(points[at], walls.stretches[stretch])
    order = np.lexsort([walls.wall[stretch], away, at])
    first, one = np.unique(at[order], return_index=True)
    found[first] = walls.wall[stretch][order][one]
    return found
