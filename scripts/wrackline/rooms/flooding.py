"""How likely each named sea level stands above a building's floor as it lies today.

A floor is one that was met, or the sill of a threshold: never the seabed, which may lie a metre of
deposit above it. Level and floor are held against each other with what both rest on taken out. The
level is that of still water, without waves and surge; that a floor lies below it says nothing of
why, be it a sea that rose, ground that sank or a building that slid.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.special import ndtr

from wrackline import contract
from wrackline.model import Site
from wrackline.rooms.features import buildings_of_features
from wrackline.rooms.met_floors import MetFloors
from wrackline.uncertainty import Budget, ErrorModel, level_budget, propagate

THRESHOLD = "threshold"
NO_FLOOR = "probability: no floor and no threshold was measured in it"
NOT_BUILT = ("natural", "modern", "doubtful")


@dataclass(frozen=True)
class Floor:
    """A floor or threshold that was measured: what and where it is, its height [m] and surveys."""

    name: str
    building: str
    room: str | None
    height_m: float
    budget: Budget
    surveys: str


def probability_above(above_m: float, sd_m: float) -> float:
    """Return the probability that a level lies above a floor.

    Parameters
    ----------
    above_m, sd_m : float
        Level less floor, and its standard uncertainty [m].

    Examples
    --------
    A floor 0.1 m below a level, known to 0.1 m: one sd (standard normal distribution).

    >>> round(probability_above(0.1, 0.1), 4), probability_above(-0.1, 0.0)
    (0.8413, 0.0)
    """
    if sd_m > 0:
        return float(ndtr(above_m / sd_m))
    return 0.5 + 0.5 * float(np.sign(above_m))


def floors_measured(
    plan: Mapping[str, gpd.GeoDataFrame], met: MetFloors, models: Sequence[ErrorModel]
) -> list[Floor]:
    """Return every floor met in a room of a building, and every threshold with a height.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The layers `rooms`, `buildings` and `features`, numbered.
    met : MetFloors
        Points at which a floor was met.
    models : sequence of ErrorModel
        Errors of the surveys of features.
    """
    return [*_floors_of_rooms(plan["rooms"], met), *_thresholds(plan, models)]


def _floors_of_rooms(rooms: gpd.GeoDataFrame, met: MetFloors) -> list[Floor]:
    floors = []
    for _, room in rooms.sort_values("room").iterrows():
        points = met.inside(room.geometry) if len(met.points) else np.zeros(0, dtype=int)
        if not len(points) or not isinstance(room["building"], str):
            continue
        height, budget = met.mean(points)
        evidence, surveys = (met.points[name].iloc[points] for name in ("evidence", "survey"))
        name = f"floor of {room['room']}, {evidence.iloc[0] or 'met'}"
        shown = ";".join(sorted(set(surveys)))
        floors.append(Floor(name, room["building"], room["room"], height, budget, shown))
    return floors


def _thresholds(plan: Mapping[str, gpd.GeoDataFrame], models: Sequence[ErrorModel]) -> list[Floor]:
    names, floors = [model.survey for model in models], []
    placed = plan["features"].assign(building=buildings_of_features(plan)).sort_values("feature")
    for row in placed.to_dict("records"):
        xyz = shapely.get_coordinates(row["geometry"], include_z=True)
        known = xyz[np.isfinite(xyz[:, 2])]
        sill = str(row["kind"]).casefold() == THRESHOLD and row["origin"] not in NOT_BUILT
        if not sill or row["building"] is None or not len(known):
            continue
        gradient = np.zeros_like(known)
        gradient[:, 2] = 1 / len(known)
        survey = np.full(len(known), names.index(row["survey"]))
        budget = propagate(gradient, known, survey, models)
        height = float(known[:, 2].mean())
        name = f"{THRESHOLD} {row['feature']}"
        floors.append(Floor(name, row["building"], None, height, budget, row["survey"]))
    return floors


def flooding_table(
    plan: Mapping[str, gpd.GeoDataFrame],
    points: gpd.GeoDataFrame,
    models: Sequence[ErrorModel],
    site: Site,
) -> pd.DataFrame:
    """Return how likely each sea level stands above each building's lowest floor, and each room's.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The layers `rooms`, `buildings` and `features`, numbered.
    points : GeoDataFrame
        `ITEM_COLUMNS`, PointZ: points at which a floor was met.
    models : sequence of ErrorModel
        Errors of the surveys of features and floors.
    site : Site
        Its sea levels and what they rest on.

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["flooding"]`: for each building and level one row, then one
        for each of its rooms in which a floor was met. A building's row is about the lowest floor
        or threshold measured in it, so that any of them is flooded at least as likely.
    """
    floors = floors_measured(plan, MetFloors(points, models), models)
    rows = []
    for building in sorted(plan["buildings"]["building"]):
        mine = [floor for floor in floors if floor.building == building]
        lowest = min(mine, key=lambda floor: (floor.height_m, floor.name), default=None)
        for level in site.sea_levels:
            named = {
                "building": building,
                "sea_level": level.name,
                "sea_level_m": level.height_m,
                "sea_level_sd_m": level_budget(level, site).sd,
                "floors_measured": len(mine),
            }
            budget = level_budget(level, site)
            rows.append(named | _against(lowest, level.height_m, budget))
            rows += [
                named | {"room": floor.room} | _against(floor, level.height_m, budget)
                for floor in mine
                if floor.room is not None
            ]
    columns = list(contract.table_columns("flooding"))
    return pd.DataFrame(rows, columns=columns, dtype=object)


def _against(floor: Floor | None, height_m: float, budget: Budget) -> dict[str, Any]:
    """Return a level held against one floor, or why there is none."""
    if floor is None:
        return {"surveys": "", "null_because": NO_FLOOR}
    above, sd = height_m - floor.height_m, budget.minus(floor.budget).sd
    return {
        "probability": probability_above(above, sd),
        "rests_on": floor.name,
        "floor_height_m": floor.height_m,
        "floor_height_sd_m": floor.budget.sd,
        "level_above_floor_m": above,
        "level_above_floor_sd_m": sd,
        "surveys": floor.surveys,
        "null_because": "",
    }


def flooding_words(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return what the table says, a sentence a sea level, and what it doesn't.

    Parameters
    ----------
    rows : sequence of mapping
        The table's rows.
    """
    whole = [row for row in rows if not isinstance(row["room"], str)]
    told = [row for row in whole if pd.notna(row["probability"])]
    words = []
    for level in dict.fromkeys(row["sea_level"] for row in told):
        mine = [float(row["probability"]) for row in told if row["sea_level"] == level]
        sure, never = sum(p > 0.975 for p in mine), sum(p < 0.025 for p in mine)
        words.append(
            f"{level}: of the {len(mine)} building{'s' if len(mine) > 1 else ''} in which a floor "
            f"or a threshold was measured, the lowest one lies below the sea in {sure} and above "
            f"it in {never}, each with 39 chances in 40 or more; in {len(mine) - sure - never} "
            "it can't be told."
        )
    buildings = {row["building"] for row in whole}
    left = len(buildings) - len({row["building"] for row in told})
    if not told:
        return ["No floor and no threshold was measured: whether the sea covers any isn't known."]
    rest = f" In {left} more buildings none was measured." if left else ""
    words.append(
        "That is still water, without waves and surge, against floors as they lie today. A floor "
        "below the sea says nothing of why: the sea may have risen, the ground sunk." + rest
    )
    return words
