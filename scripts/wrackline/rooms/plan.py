"""The plan of a view: all its tables, from its network, the seabed and the floors met."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd

from wrackline.rooms.bed import Bed
from wrackline.rooms.building_rows import building_table, buildings_in, floors_in
from wrackline.rooms.features import feature_table
from wrackline.rooms.met_floors import MetFloors
from wrackline.rooms.openings import SIGNS
from wrackline.rooms.rooms import room_table, spaces_of
from wrackline.rooms.view import View
from wrackline.rooms.walls import openings, wall_bodies, wall_lines
from wrackline.uncertainty import ErrorModel


@dataclass(frozen=True)
class Items:
    """Surveyed items other than walls, with the errors of their surveys."""

    features: gpd.GeoDataFrame
    floors: gpd.GeoDataFrame
    models: list[ErrorModel]


def make_plan(view: View, items: Items, bed: Bed) -> dict[str, gpd.GeoDataFrame]:
    """Return the tables of a view, by layer.

    Parameters
    ----------
    view : View
        As `prepare` returns it.
    items : Items
        Features and floors of the view's surveys.
    bed : Bed
        The seabed, to be sampled.

    Returns
    -------
    dict of str to GeoDataFrame
        The layers of `PLAN_LAYERS`, with the fields of the contract.
    """
    met = MetFloors(items.floors, items.models)
    spaces = spaces_of(view)
    rooms = room_table(view, spaces, bed.inside([space.shown(view) for space in spaces]), met)
    standing = buildings_in(view)
    floors = [floors_in(view, building, spaces) for building in standing]
    buildings = building_table(view, standing, bed.inside(floors), met)
    rooms["building"] = [
        buildings["building"].iloc[k] if k >= 0 else None for k in rooms["building"]
    ]
    walls = wall_lines(view)
    doors = items.features.loc[items.features["kind"].isin(SIGNS)].geometry.to_numpy()
    by_face = pd.Series(rooms["room"].to_numpy(), index=rooms["face"].to_numpy())
    return {
        "wall_lines": walls,
        "wall_bodies": wall_bodies(view, walls),
        "openings": openings(view, by_face, doors),
        "rooms": rooms.drop(columns="face"),
        "buildings": buildings,
        "features": feature_table(items.features, items.models, view, rooms),
    }
