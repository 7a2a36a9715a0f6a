"""Interpretations tied to the plan as now known: by number, or by a place in or on the thing.

No row is ever dropped: what is tied to nothing says so, with the nearest thing. Several readings of
one thing stand side by side; the last of each reader counts, and where they differ all stay.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline import contract
from wrackline.model import Interpretation
from wrackline.numbers import NUMBERED

LAYER_OF = {
    "room": "rooms",
    "building": "buildings",
    "wall": "wall_lines",
    "opening": "openings",
    "feature": "features",
}
BESIDE_M = 0.5
"""A place this far beside a thing is still taken for it (no source)."""

STANDS, DISPUTED, SUPERSEDED, NOTHING = "stands", "disputed", "superseded", "nothing there"


def tie(rows: Sequence[Interpretation], plan: Mapping[str, gpd.GeoDataFrame]) -> pd.DataFrame:
    """Return the interpretations with the thing that each is now about.

    Parameters
    ----------
    rows : sequence of Interpretation
    plan : mapping of str to GeoDataFrame
        The numbered plan.

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["interpretations"]`, in the order of the rows.
    """
    tied = [_tied(row, plan) for row in rows]
    names = contract.table_columns("interpretations")
    table = pd.DataFrame(tied, columns=list(names))
    table["status"] = _statuses(table)
    return table


def _tied(row: Interpretation, plan: Mapping[str, gpd.GeoDataFrame]) -> dict[str, object]:
    layer = LAYER_OF[row.what]
    field = NUMBERED[layer][0]
    number, note = (
        _by_number(row, plan[layer][field]) if row.number else _by_place(row, plan[layer])
    )
    told = row.model_dump(exclude={"number", "when"})
    return {**told, "number": number, "when": row.when.isoformat(), "note": note}


def _by_number(row: Interpretation, numbers: pd.Series) -> tuple[str | None, str]:
    if row.number in set(numbers):
        return row.number, "tied by its number"
    near = difflib.get_close_matches(row.number, list(numbers), n=1, cutoff=0.5)
    nearest = f"; the nearest number is {near[0]}" if near else ""
    return None, f"{row.number} is not on the plan{nearest}"


def _by_place(row: Interpretation, table: gpd.GeoDataFrame) -> tuple[str | None, str]:
    if not len(table) or row.easting is None or row.northing is None:
        return None, f"no {row.what} is on the plan"
    place = shapely.Point(row.easting, row.northing)
    away = shapely.distance(table.geometry.to_numpy(), place)
    size = shapely.area(table.geometry.to_numpy())
    best = int(np.lexsort([size, away])[0])  # of things that hold the place, the smallest
    number, off = str(table[NUMBERED[LAYER_OF[row.what]][0]].iloc[best]), float(away[best])
    if off == 0:
        return number, "tied by its place"
    if off <= BESIDE_M:
        return number, f"tied by its place, {off:.2f} m beside it"
    return None, f"nothing lies there; the nearest is {number}, {off:.1f} m away"


def _statuses(table: pd.DataFrame) -> list[str]:
    """Return what became of each reading; equal days keep the order of the rows."""
    statuses = [NOTHING if pd.isna(number) else STANDS for number in table["number"]]
    placed = table[table["number"].notna()].reset_index(names="row")
    for _, mine in placed.groupby(["what", "number"], sort=True):
        ordered = mine.sort_values("when", kind="stable")
        last = ordered.drop_duplicates("who", keep="last")
        disputed = len(set(last["reading"].str.casefold())) > 1
        for row in mine["row"]:
            current = row in set(last["row"])
            statuses[row] = (DISPUTED if disputed else STANDS) if current else SUPERSEDED
    return statuses
