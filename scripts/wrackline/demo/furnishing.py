"""What the town's houses have inside: floors, thresholds, hearths, graves, jars and the like."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from wrackline.demo.truth import Building, Room, Thing

FLOOR_STEP_M = 0.25
EVIDENCE = ("excavated", "probe", "paving")
POINTS = {"excavated": (4, 9), "probe": (3, 6), "paving": (3, 6)}
THRESHOLD_SHARE = 0.3
OUTLINES = {"hearth": (1.0, 0.8), "bench": (1.8, 0.5), "grave": (1.7, 0.6), "cistern": (1.6, 1.9)}
IN_COURTS = {"cistern": 0.6, "paving": 0.6, "grave": 0.4}
IN_ROOMS = {"hearth": 0.16, "jar": 0.16, "bench": 0.1, "grave": 0.05, "drain": 0.06}
"""Share of courts, and of rooms, that have one."""

LIFT_M = {"jar": 0.35, "bench": 0.4, "hearth": 0.08, "grave": 0.1, "cistern": 0.15}
"""How far a feature's top stands above the floor [m]; 0.03 m where not named."""

CLEAR_M = 0.1
"""Between two features of one room, at least [m]."""

NOTES = {
    "hearth": "ring of burnt stones",
    "bench": "one course, against the wall",
    "grave": "cist of upright slabs, no lid",
    "cistern": "plastered, its mouth open",
    "jar": "storage jar, rim broken",
    "paving": "flat slabs, some lost",
    "drain": "covered channel",
}


def furnish(
    building: Building, floor_m: float, rng: np.random.Generator, seen_share: float
) -> Building:
    """Return a building whose rooms have floors, some of them met, and thresholds.

    Parameters
    ----------
    building : Building
    floor_m : float
        Height of its lowest floor [m].
    rng : numpy.random.Generator
    seen_share : float
        Share of rooms in which a floor was met.
    """
    rooms = {
        name: _floored(room, floor_m, rng, seen_share) for name, room in building.rooms.items()
    }
    doors = []
    for door in building.doorways:
        level = rooms[door.room].floor_m
        there = rng.random() < THRESHOLD_SHARE and not door.blocked
        step = round(float(rng.uniform(0.04, 0.12)), 2)
        sill = None if level is None or not there else round(level + step, 2)
        doors.append(door.model_copy(update={"threshold_m": sill}))
        if sill is not None:
            rooms[door.room] = _met_at_threshold(rooms[door.room])
    return building.model_copy(update={"rooms": rooms, "doorways": doors})


def _floored(room: Room, floor_m: float, rng: np.random.Generator, seen_share: float) -> Room:
    level = round(floor_m + float(rng.uniform(0, FLOOR_STEP_M)), 2)
    seen: dict[str, int] = {}
    if rng.random() < seen_share:
        how = str(rng.choice(EVIDENCE))
        seen[how] = int(rng.integers(*POINTS[how]))
    return room.model_copy(update={"floor_m": level, "floor_seen": seen})


def _met_at_threshold(room: Room) -> Room:
    return room.model_copy(update={"floor_seen": {**room.floor_seen, "threshold": 1}})


def outdoor(name: str, building: Building, rng: np.random.Generator) -> dict[str, Thing]:
    """Return the features of a building's rooms and courts, by name, none on top of another.

    Parameters
    ----------
    name : str
        The building's name; features are named after it.
    building : Building
    rng : numpy.random.Generator
    """
    found: dict[str, Thing] = {}
    for number, (room_name, room) in enumerate(building.rooms.items(), start=1):
        taken: list[BaseGeometry] = []
        for k, kind in enumerate(_kinds(room, rng)):
            thing = _thing(kind, (name, room_name, room), rng)
            if thing is None:
                continue
            ground = shapely.MultiPoint(thing.places).convex_hull
            if all(ground.distance(other) > CLEAR_M for other in taken):
                taken.append(ground)
                found[f"{name}_{number}{'abcd'[k]}"] = thing
    return found


def _kinds(room: Room, rng: np.random.Generator) -> list[str]:
    """Return what a room has: courts more than rooms, most rooms nothing that was seen."""
    if room.kind == "court":
        return [kind for kind, share in IN_COURTS.items() if rng.random() < share]
    return [kind for kind, share in IN_ROOMS.items() if rng.random() < share][:2]


def _places(kind: str, room: Room, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Return a feature's points within a room, clear of its walls; none where it doesn't fit."""
    x, y, wide, deep = room.inside
    clear = 0.35 + (0.2 * min(wide, deep) if room.round else 0.0)
    if kind == "jar":
        spot = (x + clear + 0.1, y + deep - clear - 0.1)
        return [(round(spot[0], 2), round(spot[1], 2))]
    if kind == "drain":
        return [
            (round(x + wide / 2, 2), round(y + clear, 2)),
            (round(x + wide / 2, 2), round(y + deep - clear, 2)),
        ]
    size = (wide * 0.35, deep * 0.3) if kind == "paving" else OUTLINES[kind]
    free = np.array([wide, deep]) - 2 * clear - size
    if (free < 0.05).any():
        return []
    third = free[0] if kind != "paving" else free[0] * 0.2
    corner = np.array([x, y]) + clear + rng.uniform(0, 1, 2) * [third, free[1]]
    steps = [(0, 0), (size[0], 0), size, (0, size[1])]
    return [(round(float(corner[0] + dx), 2), round(float(corner[1] + dy), 2)) for dx, dy in steps]


def _thing(kind: str, where: tuple[str, str, Room], rng: np.random.Generator) -> Thing | None:
    """Return a feature of a building's room; none where it doesn't fit."""
    building, name, room = where
    places = _places(kind, room, rng)
    if not places:
        return None
    level = room.floor_m if room.floor_m is not None else 0.0
    content: dict[str, Any] = {
        "kind": kind,
        "building": building,
        "room": name,
        "shape": {"jar": "point", "drain": "line"}.get(kind, "outline"),
        "places": places,
        "top_m": round(level + LIFT_M.get(kind, 0.03) + float(rng.uniform(0, 0.05)), 2),
        "note": NOTES[kind],
    }
    return Thing.model_validate(content)
