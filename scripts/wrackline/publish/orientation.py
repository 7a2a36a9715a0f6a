"""The directions of a site's walls: what their rose shows, as a table and in a sentence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline import contract
from wrackline.crs import grid_factors
from wrackline.publish.report_text import records
from wrackline.quantities import fixed, measured
from wrackline.rooms.families import LEAST_MEMBERS, MOST_FAMILIES, families, rose_rows

Array = npt.NDArray[np.float64]

STRAIGHT_M = 0.15
"""A line that leaves its chord by no more is one straight stretch: tracing errors (no source)."""

SHORTEST_M = 1.0
"""A stretch this short, its ends known to 3 cm, has its axis to 2.4 degrees; shorter ones are left
out (no source)."""

NO_SD = "axis_sd_deg, spread_deg: a class of the rose has none"
CAUTION = (
    "Straight stretches, weighed by length; right angles count as the same. Both faces of a wall "
    "count, and what is well preserved counts most. The ± is from the scatter within a family "
    "alone: an error of orientation that surveys share is not in it. A family is a direction, not "
    "a phase."
)


def stretches(walls: gpd.GeoDataFrame) -> tuple[Array, Array]:
    """Return axes and lengths of the straight stretches of recorded wall lines.

    Parameters
    ----------
    walls : GeoDataFrame
        The layer `wall_lines`.

    Returns
    -------
    axis_deg : array, shape (n,)
        Clockwise from true north, 0 to 180 [degrees].
    length_m : array, shape (n,)
        In the grid [m].
    """
    recorded = walls.geometry.to_numpy()[(walls["evidence"] == "recorded").to_numpy()]
    lines = shapely.simplify(shapely.force_2d(recorded), STRAIGHT_M)
    xy, line = shapely.get_coordinates(lines, return_index=True)
    within = line[1:] == line[:-1]
    step, middle = (xy[1:] - xy[:-1])[within], ((xy[1:] + xy[:-1]) / 2)[within]
    length = np.hypot(*step.T)
    long = length >= SHORTEST_M
    if not long.any():
        return np.zeros(0), np.zeros(0)
    turn, _ = grid_factors(str(walls.crs), *middle[long].T)
    return (np.degrees(np.arctan2(*step[long].T)) + turn) % 180, length[long]


def orientation_table(walls: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return what the rose of a site's walls shows.

    Parameters
    ----------
    walls : GeoDataFrame
        The layer `wall_lines`.

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["orientation"]`: classes, then families.
    """
    axis, length = stretches(walls)
    found = families(axis, length)
    shown = rose_rows(axis, found, weights=length)
    table = shown.rename(columns={"axes": "stretches", "share": "length_share"}).astype(object)
    beside: list[tuple[Any, Any, str]] = [(None, None, NO_SD)] * (len(shown) - len(found))
    beside += [(family.axis_sd_deg, family.spread_deg, "") for family in found]
    table[["axis_sd_deg", "spread_deg", "null_because"]] = pd.DataFrame(beside, dtype=object)
    return table[list(contract.table_columns("orientation"))]


def orientation_words(table: pd.DataFrame) -> str:
    """Return in a sentence or two which directions stand out.

    Parameters
    ----------
    table : DataFrame
        As `orientation_table` returns it.
    """
    classes = table["row"] == "class"
    number = int(table.loc[classes, "stretches"].sum())
    among = f"{number} straight stretches of recorded wall lines, {SHORTEST_M:g} m or longer"
    if number < LEAST_MEMBERS:
        return (
            f"Whether the walls share a direction can't be told: there are {among}, and "
            f"{LEAST_MEMBERS} are needed."
        )
    rows = records(table[~classes])
    basis = (
        f"Taken from {among}, by their length; of none to {MOST_FAMILIES} families that number "
        "stands which has the least BIC (Schwarz's criterion)."
    )
    if not rows:
        return f"No direction stands out among the walls. {basis}"
    what = "direction stands" if len(rows) == 1 else "directions stand"
    return f"{len(rows)} {what} out among the walls: {'; '.join(map(_family, rows))}. {basis}"


def _family(row: Mapping[str, Any]) -> str:
    axis = measured(float(row["axis_deg"]), float(row["axis_sd_deg"]), "deg")
    spread, share = fixed(row["spread_deg"], 1), fixed(100 * row["length_share"], 0)
    name = str(row["row"]).removeprefix("family ")
    return f"{name} {axis} (spread {spread}°, {share} % of the length)"
