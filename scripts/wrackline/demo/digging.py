"""What trenches and rods bring: outlines of trenches, finds, probes through the deposit."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.demo.fieldwork import Fieldwork
from wrackline.demo.hamlet import House
from wrackline.uncertainty import Array

FINDS = ("sherd", "sherd", "sherd", "quern", "bone", "flint", "spindle whorl")
NOTHING_SHARE = 0.15
ROD_M = 0.05


def _rooms_with(work: Fieldwork, seen: str) -> list[tuple[House, str]]:
    return [
        (house, name)
        for house in work.hamlet.houses.values()
        if work.covers(house.footprint)
        for name, room in house.truth.rooms.items()
        if seen in room.floor_seen
    ]


def _any_room(work: Fieldwork, seen: str) -> list[tuple[House, str]]:
    """Return rooms in which a floor was met this way; on a small ground, any one room."""
    found = _rooms_with(work, seen)
    if found:
        return found
    house = next(iter(work.hamlet.houses.values()))
    return [(house, next(iter(house.rooms)))]


def trench_outlines(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return trenches of 1 by 2 m, square to their house, in rooms that were excavated."""
    shapes, notes = [], []
    for house, name in _any_room(work, "excavated"):
        outline = np.array(house.trench(name).exterior.coords)[:-1]
        corners = np.column_stack([outline, np.zeros(4)])
        shapes.append(shapely.Polygon(work.measure(corners)[:, :2].round(3)))
        notes.append(f"{house.name} {name}")
    lines = [f"TR{number:02d}" for number in range(1, len(shapes) + 1)]
    crs = work.hamlet.truth.crs
    return gpd.GeoDataFrame({"line": lines, "note": notes}, geometry=shapes, crs=crs)


def finds(work: Fieldwork) -> pd.DataFrame:
    """Return finds from the trenches: some metres of deposit, floor and above, by kind."""
    rows: list[Array] = []
    for house, name in _any_room(work, "excavated"):
        floor = house.truth.rooms[name].floor_m or 0.0
        x, y = house.rooms[name].centroid.coords[0]
        count = int(work.rng.integers(3, 9))
        spread = np.column_stack(
            [work.rng.uniform(-0.45, 0.45, (count, 2)), work.rng.uniform(0.0, 0.5, count)]
        )
        rows.append(work.measure(spread + np.array([x, y, floor])))
    table = pd.DataFrame(np.concatenate(rows).round(3), columns=["easting", "northing", "height"])
    table["line"] = [f"FN{number:03d}" for number in range(1, len(table) + 1)]
    table["kind"] = work.rng.choice(FINDS, len(table))
    return table


def probes(work: Fieldwork) -> pd.DataFrame:
    """Return rods pushed through the deposit: where, from what bed, how deep, and what was met."""
    places: list[Array] = []
    deposits: list[Array] = []
    met: list[str] = []
    for house, name in _any_room(work, "probe"):
        room = house.truth.rooms[name]
        count = room.floor_seen.get("probe", 3)
        across, along, wide, deep = room.inside
        low, high = (across + 0.6, along + 0.6), (across + wide - 0.6, along + deep - 0.6)
        bed = work.hamlet.on_land(house.frame.place(work.rng.uniform(low, high, (count, 2))))
        places.append(bed)
        deposits.append(bed[:, 2] - (room.floor_m or 0.0))
        missed = work.rng.random(count) < NOTHING_SHARE
        missed[0] = False
        met += ["nothing" if none else "floor" for none in missed]
    rod = np.concatenate(deposits) + work.rng.standard_normal(len(met)) * ROD_M
    measured = work.measure(np.concatenate(places))
    table = pd.DataFrame(measured.round(3), columns=["easting", "northing", "height"])
    return table.assign(
        line=[f"PR{number:03d}" for number in range(1, len(table) + 1)],
        met=met,
        thickness_m=np.maximum(rod, 0.05).round(2),
    )
