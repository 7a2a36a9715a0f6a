"""Rows of features: what they are, the room in which each lies, the depth of its top."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.drawn_marks import is_mark
from wrackline.rooms.kinds import COURT
from wrackline.rooms.layers import NO_PHASES, as_layer
from wrackline.rooms.view import View
from wrackline.uncertainty import ErrorModel, propagate


def feature_table(
    features: gpd.GeoDataFrame, models: list[ErrorModel], view: View, rooms: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Return features with the room that each lies in and the depth of its top.

    Parameters
    ----------
    features : GeoDataFrame
        `ITEM_COLUMNS`, any geometry with heights above the datum.
    models : list of ErrorModel
        Errors of the surveys in it.
    view : View
    rooms : GeoDataFrame
        Rooms with their numbers.
    """
    rows = [_feature_row(row, models, view, rooms) for _, row in features.iterrows()]
    return as_layer("features", rows, view.site)


def _feature_row(
    row: pd.Series, models: list[ErrorModel], view: View, rooms: gpd.GeoDataFrame
) -> dict[str, Any]:
    xyz = shapely.get_coordinates(row.geometry, include_z=True)
    known = xyz[np.isfinite(xyz[:, 2])]
    depth, sd, why = None, None, "top_depth_m: no heights were taken on it"
    mark = is_mark(row["kind"])
    if mark:
        why = "room, top_depth_m: a mark of the drawing, which lies nowhere and has no height"
    elif len(known):
        gradient = np.zeros_like(known)
        gradient[:, 2] = 1 / len(known)
        index = [model.survey for model in models].index(row["survey"])
        budget = propagate(gradient, known, np.full(len(known), index), models)
        depth, total = view.depth_of(float(known[:, 2].mean()), budget)
        sd, why = total.sd, ""
    within = shapely.contains(rooms.geometry.to_numpy(), shapely.point_on_surface(row.geometry))
    within &= not mark
    inside = rooms["room"].to_numpy(object)[within & (rooms["kind"] != COURT).to_numpy(bool)]
    court = rooms["room"].to_numpy(object)[within]
    return {
        "kind": row["kind"],
        "origin": row["origin"],
        "room": next(iter([*inside, *court]), None),
        "top_depth_m": depth,
        "top_depth_sd_m": sd,
        "base_depth_m": None,
        "phase_from": None,
        "phase_to": None,
        "survey": row["survey"],
        "season": row["season"],
        "line": row["line"],
        "note": row["note"],
        "null_because": "; ".join(filter(None, [why, "base_depth_m: not recorded", NO_PHASES])),
        "geometry": row.geometry,
    }


def buildings_of_features(plan: Mapping[str, gpd.GeoDataFrame]) -> list[str | None]:
    """Return the building of each feature: its room's, else the one on whose ground it lies.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The layers `rooms`, `buildings` and `features`, numbered.
    """
    rooms, buildings, features = (plan[layer] for layer in ("rooms", "buildings", "features"))
    of_room = dict(zip(rooms["room"], rooms["building"], strict=True))
    found = [_text(of_room.get(_text(room))) for room in features["room"]]
    if len(buildings) and len(features):
        points = shapely.point_on_surface(features.geometry.to_numpy())
        ground = shapely.STRtree(buildings.geometry.to_numpy())
        for row, building in sorted(ground.query(points, predicate="within").T.tolist()):
            found[row] = found[row] or _text(buildings["building"].iloc[building])
    return found


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None
