"""How each room was reached, as ranges over the plausible outlines of its building."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from wrackline import contract
from wrackline.rooms.access import access_ranges
from wrackline.rooms.doors import doors_known, plausible_doors

LEAST_KNOWN = 0.25
"""A quarter of a building's doors must have been seen. On the demo the ranges of such buildings
hold the true steps and control of 99 in 100 rooms, those of buildings without any seen of 90."""

STEPS = ("mean_depth", "mean_steps")
"""What the library calls mean depth would read as metres of water beside the site's depths."""


def access_table(
    plan: Mapping[str, gpd.GeoDataFrame], *, least_known: float = LEAST_KNOWN
) -> pd.DataFrame:
    """Return one row a room: by how many doors it was reached, what it led on to.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The plan's layers `rooms` and `openings`.
    least_known : float
        Share of a building's doors that must have been seen for figures to be given, 0 to 1.

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["access"]`, in the order of the rooms' numbers. A room of no
        building has no figures.
    """
    rows = [row for part in _buildings(plan, least_known) for row in part]
    rows.sort(key=lambda row: str(row["room"]))
    table = pd.DataFrame(rows, columns=list(contract.table_columns("access")), dtype=object)
    return table.astype(object).where(table.notna(), None)


def _buildings(
    plan: Mapping[str, gpd.GeoDataFrame], least_known: float
) -> Iterator[list[dict[str, Any]]]:
    """Yield the rows of each building's rooms, and of the rooms of none."""
    rooms, openings = plan["rooms"], pd.DataFrame(plan["openings"].drop(columns="geometry"))
    lone = rooms.loc[rooms["building"].isna(), "room"]
    why = "all: it belongs to no building"
    yield [{"room": room, "building": None, "null_because": why} for room in lone]
    owner = dict(zip(rooms["room"], rooms["building"], strict=True))
    leads = [{owner.get(part) for part in str(joins).split(";")} for joins in openings["joins"]]
    for building, mine in rooms.groupby("building", sort=True)["room"]:
        doors = openings[np.array([building in owners for owners in leads], dtype=bool)]
        yield _rows(str(building), sorted(mine), doors, least_known)


def _rows(
    building: str, rooms: list[str], openings: pd.DataFrame, least_known: float
) -> list[dict[str, Any]]:
    outlines, known = plausible_doors(openings, rooms), doors_known(openings, rooms)
    ranges = access_ranges(outlines, rooms, doors_known=known, least_known=least_known)
    ranges = ranges.rename(columns=lambda name: name.replace(*STEPS))
    seen = int((openings["evidence"] == "seen").sum())
    common = {
        "building": building,
        "openings_seen": seen,
        "openings_possible": len(openings) - seen,
        "outlines": len(outlines),
        "doors_known_share": known,
    }
    ranges["null_because"] = [why.replace(*STEPS) for why in ranges["null_because"]]
    return [common | {str(k): v for k, v in row.items()} for row in ranges.to_dict("records")]
