"""What each season brought, in figures that can stand side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
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
from wrackline.publish.tracings import ground_lengths
from wrackline.seasons.looked import GROUND

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


@dataclass(frozen=True)
class SeasonFacts:
    """What is known of one season.

    Attributes
    ----------
    name : str
    surveys : sequence of mapping
        Its surveys: `name`, `technique` and `holds` of each.
    ground : GeoDataFrame
        Where they looked, `wrackline.seasons.looked.COLUMNS`.
    rooms, buildings : int
        How many are on the plan as known after it.
    events : sequence of mapping
        What became of things on that plan, and what its surveys saw of them.
    surface : path or None
        The seabed as known after it.
    """

    name: str
    surveys: Sequence[Mapping[str, str]]
    ground: gpd.GeoDataFrame
    rooms: int
    buildings: int
    events: Sequence[Mapping[str, Any]]
    surface: str | Path | None = None

    def told(self, survey: str) -> Mapping[str, str]:
        """Return what a survey is, by its identifier."""
        return next(one for one in self.surveys if f"{self.name}-{one['name']}" == survey)


def season_table(seasons: Sequence[SeasonFacts], tracings: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return what the comparison of seasons shows.

    Parameters
    ----------
    seasons : sequence of SeasonFacts
        In order.
    tracings : GeoDataFrame
        Surveyed wall lines of all seasons, `wrackline.walls.accounts.TRACING_COLUMNS`.

    Returns
    -------
    DataFrame
        The fields of `contract.PICTURES["seasons"]`, season by season.
    """
    lengths = pd.Series(ground_lengths(tracings)).groupby(tracings["survey"].to_numpy(str)).sum()
    traced = {str(survey): float(length) for survey, length in lengths.items()}
    rows = []
    for season in seasons:
        told = [
            *_traced(season, traced),
            *_looked_at(season),
            *_bed(season.surface),
            *_on_plan(season),
            *_changes(season.events),
        ]
        rows += [{"season": season.name, **row} for row in told]
    return pd.DataFrame(rows, columns=list(contract.picture_columns("seasons")), dtype=object)


def _traced(season: SeasonFacts, lengths: Mapping[str, float]) -> Iterator[dict[str, Any]]:
    """Yield the length of the wall lines that a season traced, by technique."""
    total: dict[str, float] = {}
    for survey in season.surveys:
        length = float(lengths.get(f"{season.name}-{survey['name']}", 0.0))
        total[survey["technique"]] = total.get(survey["technique"], 0.0) + length
    for name in sorted(name for name, length in total.items() if length > 0):
        yield {"figure": "wall lines traced", "part": name, "value": total[name], "unit": "m"}


def _looked_at(season: SeasonFacts) -> Iterator[dict[str, Any]]:
    """Yield the ground that a season's surveys looked at, by what they looked for."""
    mine = season.ground[(season.ground["what"] == GROUND) & ~season.ground.geometry.is_empty]
    sought = np.array([_sought(season.told(survey)["holds"]) for survey in mine["survey"]])
    for name in GROUNDS:
        shapes = mine.geometry.to_numpy()[sought == name]
        if len(shapes):
            row = {"figure": "ground looked at", "part": name, "unit": "ha"}
            yield {**row, "value": _hectares(shapes, mine.crs)}


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


def _on_plan(season: SeasonFacts) -> Iterator[dict[str, Any]]:
    for name, number in (("rooms", season.rooms), ("buildings", season.buildings)):
        yield {"figure": "on the plan", "part": name, "value": number, "unit": ""}


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
