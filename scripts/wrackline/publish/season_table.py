"""What each season brought, in figures that can stand side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline import contract
from wrackline.crs import grid_factors
from wrackline.model import POINT_HOLDS
from wrackline.publish.seabed_words import sd_quantiles

SQUARE_M_PER_HA = 10_000.0
GROUNDS = ("walls", "seabed", "pictures", "other")
NEW, CHANGED, GONE, UNSEEN = "new", "changed", "gone", "lost, buried or overgrown"
KINDS_OF_EVENT = {
    **dict.fromkeys(("new", "found again"), NEW),
    "gone": GONE,
    **dict.fromkeys(("lost", "buried", "overgrown"), UNSEEN),
}
"""All other events are changes."""
COUNTED = {"room": "rooms", "wall": "walls"}
NO_BED = "value: no seabed was sounded up to this season"


def season_table(
    seasons: Sequence[str],
    layers: Mapping[str, gpd.GeoDataFrame],
    plans: Mapping[str, Mapping[str, int]],
    events: Mapping[str, Sequence[Mapping[str, Any]]],
    surfaces: Mapping[str, str | Path],
) -> pd.DataFrame:
    """Return what the comparison of seasons shows.

    Parameters
    ----------
    seasons : sequence of str
        In order.
    layers : mapping of str to GeoDataFrame
        The site's layers `surveys` and `tracings`.
    plans : mapping of str to mapping of str to int
        By season, how many `rooms` and `buildings` are on its plan.
    events : mapping of str to sequence of mapping
        Events of each season's plan and of what its surveys saw.
    surfaces : mapping of str to path
        The seabed as known after each season that has one.

    Returns
    -------
    DataFrame
        The fields of `contract.PICTURES["seasons"]`, season by season.
    """
    rows = []
    for season in seasons:
        told = [
            *_traced(layers["tracings"], layers["surveys"], season),
            *_looked_at(layers["surveys"], season),
            *_bed(surfaces.get(season)),
            *_on_plan(plans[season]),
            *_changes(events[season]),
        ]
        rows += [{"season": season, **row} for row in told]
    return pd.DataFrame(rows, columns=list(contract.picture_columns("seasons")), dtype=object)


def _traced(
    tracings: gpd.GeoDataFrame, surveys: gpd.GeoDataFrame, season: str
) -> Iterator[dict[str, Any]]:
    """Yield the length of the wall lines that a season traced, by technique."""
    technique = dict(zip(surveys["survey"], surveys["technique"], strict=True))
    mine = tracings[tracings["season"] == season]
    lengths = mine.groupby(mine["survey"].map(technique).astype(str), sort=True)["length_m"].sum()
    for name, length in lengths.items():
        yield {"figure": "wall lines traced", "part": name, "value": float(length), "unit": "m"}


def _looked_at(surveys: gpd.GeoDataFrame, season: str) -> Iterator[dict[str, Any]]:
    """Yield the ground that a season's surveys looked at, by what they looked for."""
    mine = surveys[(surveys["season"] == season) & ~surveys.geometry.is_empty]
    sought = mine["holds"].map(_sought)
    for name in GROUNDS:
        shapes = mine.geometry[sought == name].to_numpy()
        if len(shapes):
            yield {"figure": "ground looked at", "part": name, "value": _hectares(shapes, mine.crs),
                   "unit": "ha"}  # fmt: skip


def _sought(holds: str) -> str:
    """Return what a survey looked for.

    >>> _sought("bed_grid"), _sought("probes")
    ('seabed', 'other')
    """
    if holds in POINT_HOLDS:
        return "seabed"
    return {"wall_lines": "walls", "picture": "pictures"}.get(holds, "other")


def _hectares(shapes: np.ndarray, crs: Any) -> float:
    """Return the area of shapes on the ground, overlaps once [ha]."""
    valid = shapely.make_valid(shapes)
    whole = shapely.union_all(valid) if len(valid) > 1 else valid[0]  # a union of one takes as long
    middle = shapely.get_coordinates(shapely.centroid(whole))
    scale = float(grid_factors(str(crs), *middle.T)[1][0])
    return float(shapely.area(whole)) / scale**2 / SQUARE_M_PER_HA


def _bed(surface: str | Path | None) -> Iterator[dict[str, Any]]:
    """Yield how well the seabed is known after a season."""
    row: dict[str, Any] = {"figure": "sd of the seabed", "part": "cells", "unit": "m"}
    if surface is None:
        yield row | {"null_because": NO_BED}
        return
    low, median, high = sd_quantiles(surface, (0.05, 0.5, 0.95))
    yield row | {"value": median, "low": low, "high": high}


def _on_plan(plan: Mapping[str, int]) -> Iterator[dict[str, Any]]:
    for name in ("rooms", "buildings"):
        yield {"figure": "on the plan", "part": name, "value": plan[name], "unit": ""}


def _changes(events: Sequence[Mapping[str, Any]]) -> Iterator[dict[str, Any]]:
    """Yield how many rooms and walls were new, changed, gone, or no longer seen."""
    counts = Counter(
        (COUNTED[one["what"]], KINDS_OF_EVENT.get(one["event"], CHANGED))
        for one in events
        if one["what"] in COUNTED
    )
    for what in COUNTED.values():
        for kind in (NEW, CHANGED, GONE, UNSEEN):
            yield {"figure": what, "part": kind, "value": counts[what, kind], "unit": ""}
