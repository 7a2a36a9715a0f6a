"""Surveys that come as field books: a total station's day, coded points, tapes, a level book."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise, zip_longest
from typing import Any

import numpy as np
import pandas as pd
import shapely

from wrackline.crs import grid_factors
from wrackline.demo.fieldwork import Fieldwork, pole_points
from wrackline.demo.hamlet import House, Run
from wrackline.uncertainty import Array

EARTH_M, REFRACTION = 6_371_000.0, 0.13
ANGLE_SD_DEG = 5 / 3600
INSTRUMENT_M, MARK_POLE_M = 1.52, 2.0
STATION_M = (9.0, -6.0)
"""The free station stands so far east and north of the first mark, where the view is open."""

TAPE_SD_M, TAPE_DEPTH_SD_M, COMPASS_SD_DEG = 0.02, 0.03, 1.5
LEVEL_SD_M = 0.003
BESIDE_M = 2.0
STAFF_LONGEST_M = 4.6


def place_of(work: Fieldwork, mark: str) -> Array:
    """Return where a mark truly is: easting, northing, height [m]."""
    there = work.hamlet.truth.marks[mark]
    return np.append(work.hamlet.ground.place(np.array([there.at]))[0], there.height_m)


def station_day(work: Fieldwork) -> pd.DataFrame:
    """Return a free station's day: back-sights to marks, wall faces shot by shot, a check at last.

    The pole's random errors move the prism; the instrument adds its own to both angles.
    """
    marks = {name: place_of(work, name) for name in work.made.marks}
    first = next(iter(marks.values()))
    instrument = first + np.array([*STATION_M, 0.4])
    rows: list[dict[str, Any]] = [
        {"kind": "station", "point": "S1", "instrument_height_m": f"{INSTRUMENT_M:.3f}"}
    ]
    zero = float(work.rng.uniform(0, 360))
    station = Station(work, instrument + np.array([0.0, 0.0, INSTRUMENT_M]), zero)
    rows += [station.sight("back_sight", name, at, MARK_POLE_M) for name, at in marks.items()]
    number = 0
    for line, path in _wall_paths(work):
        pole = float(np.clip(np.ceil(1.0 - path[0, 2]), 2.0, 9.0))
        for place in path:
            number += 1
            row = station.sight("shot", str(number), place, pole)
            rows.append(row | {"line": line, "code": "wall"})
    name, at = next(iter(marks.items()))
    rows.append(station.sight("back_sight", name, at, MARK_POLE_M))
    table = pd.DataFrame(rows).fillna("")
    if work.made.starts is not None:
        clock = pd.Timestamp(work.made.starts) + pd.to_timedelta(40 * table.index, unit="s")
        table["time"] = clock.strftime("%Y-%m-%dT%H:%M:%S")
    return table


class Station:
    """A total station at work.

    Parameters
    ----------
    work : Fieldwork
    at : array, shape (3,)
        Where its axes meet [m].
    zero_deg : float
        Grid azimuth at which its circle reads nought [degrees].
    """

    def __init__(self, work: Fieldwork, at: Array, zero_deg: float) -> None:
        self.work, self.at, self.zero = work, at, zero_deg
        east, north = np.array([at[0]]), np.array([at[1]])
        self.scale = float(grid_factors(work.hamlet.truth.crs, east, north)[1][0])

    def sight(self, kind: str, point: str, place: Array, pole_m: float) -> dict[str, Any]:
        """Return the row of one sight to a pole of that height held on a place."""
        rng, sizes = self.work.rng, self.work.made.errors
        spread = [sizes.random_horizontal_m] * 2 + [sizes.random_vertical_m]
        held = place + rng.standard_normal(3) * spread
        east, north, up = held - self.at + [0, 0, pole_m]
        level = float(np.hypot(east, north)) / self.scale
        straight = up - (1 - REFRACTION) * level**2 / (2 * EARTH_M)
        turn, tilt = rng.standard_normal(2) * ANGLE_SD_DEG
        circle = float(np.degrees(np.arctan2(east, north))) - self.zero + turn
        zenith = float(np.degrees(np.arctan2(level, straight))) + tilt
        return {
            "kind": kind,
            "point": point,
            "target_height_m": f"{pole_m:.3f}",
            "circle_deg": f"{circle % 360:.5f}",
            "zenith_deg": f"{zenith:.5f}",
            "slope_m": f"{np.hypot(level, straight):.3f}",
        }


def faces(work: Fieldwork) -> list[tuple[Run, float]]:
    """Return the faces that a survey traces, with the height of each one's wall top [m].

    Of the buildings, and of the walls that stand alone in its part.
    """
    off = work.off_m
    runs = [(run, h.truth.wall_top_m) for h in work.houses("faces") for run in h.face_runs(off)]
    alone = work.hamlet.truth.free_walls
    return runs + [
        (run, alone[name].top_m)
        for name, sides in work.hamlet.free_wall_runs(off)
        if work.covers(work.hamlet.free_walls[name])
        for run in sides
    ]


def _wall_paths(work: Fieldwork) -> Iterator[tuple[str, Array]]:
    """Yield the wall faces surveyed, each as the places where the pole stood."""
    for number, (run, top) in enumerate(faces(work), start=1):
        xy = pole_points(work, run)
        yield f"F{number:03d}", np.column_stack([xy, np.full(len(xy), top)])


def coded_points(work: Fieldwork) -> pd.DataFrame:
    """Return a pole's points as numbered and coded on the way: wall faces, and the bed beside them.

    Two strings are kept open at once, so their points stand mixed in the file.
    """
    paths = list(_wall_paths(work))
    rows: list[tuple[str, int | str, str]] = []
    places: list[Array] = []
    for (line, path), (other, beside) in zip_longest(
        paths[::2], paths[1::2], fillvalue=("", np.zeros((0, 3)))
    ):
        spot = path[:1, :2] + work.rng.uniform(-BESIDE_M, BESIDE_M, (1, 2))
        rows.append(("", "", "bed"))
        places.append(work.hamlet.on_land(spot)[0])
        for number, pair in enumerate(zip_longest(path, beside), start=1):
            there = [(name, at) for name, at in zip((line, other), pair, strict=True)]
            rows += [(name, number, "wall") for name, at in there if at is not None]
            places += [at for _, at in there if at is not None]
    measured = work.measure(np.array(places)) - [0.0, 0.0, work.made.heights_above_m]
    table = pd.DataFrame(measured.round(3), columns=["easting", "northing", "height"])
    table.insert(0, "point", np.arange(1, len(table) + 1))
    return table.assign(
        **dict(zip(("line", "sequence", "code"), zip(*rows, strict=True), strict=True))
    )


def tape_book(work: Fieldwork) -> pd.DataFrame:
    """Return a book of tapes from marks to the outer corners of one building, and their depths.

    Where the compass's declination is told, the first mark's bearings to the corners are read too.
    """
    house = _nearest_house(work)
    ring = shapely.simplify(house.footprint, 0.05).exterior
    corners = np.array(ring.coords)[:-1]
    top = house.truth.wall_top_m
    places = {name: place_of(work, name) for name in work.made.marks}
    names = [f"C{k + 1}" for k in range(len(corners))]
    places |= {name: np.append(xy, top) for name, xy in zip(names, corners, strict=True)}
    pairs = [(mark, name) for mark in work.made.marks for name in names]
    pairs += list(pairwise([*names, names[0]]))
    middle = np.array(house.footprint.centroid.coords[0])
    east, north = middle[:1], middle[1:]
    scale = float(grid_factors(work.hamlet.truth.crs, east, north)[1][0])
    rows = [_taped(work, one, other, places, scale) for one, other in pairs]
    for name in names:
        level = -places[name][2]
        read = level + work.rng.standard_normal() * TAPE_DEPTH_SD_M
        rows.append({"measure": "depth", "from": name, "value_m": f"{read:.2f}"})
    if work.made.declination_deg is not None:
        rows += [_bearing(work, work.made.marks[0], name, places) for name in names]
    line = f"{house.name} outer face"
    rows += [
        {"measure": "line", "from": a, "to": b, "line": line}
        for a, b in pairwise([*names, names[0]])
    ]
    return pd.DataFrame(rows).fillna("")


def _taped(
    work: Fieldwork, one: str, other: str, places: dict[str, Array], scale: float
) -> dict[str, Any]:
    step = (places[other] - places[one]) / [scale, scale, 1.0]
    length = float(np.linalg.norm(step)) + work.rng.standard_normal() * TAPE_SD_M
    return {"measure": "distance", "from": one, "to": other, "value_m": f"{length:.3f}"}


def _bearing(work: Fieldwork, one: str, other: str, places: dict[str, Array]) -> dict[str, Any]:
    """Return a bearing read from a hand-held compass, in whole degrees from magnetic north."""
    east, north = (places[other] - places[one])[:2]
    here = places[one]
    convergence = float(grid_factors(work.hamlet.truth.crs, here[:1], here[1:2])[0][0])
    true = float(np.degrees(np.arctan2(east, north))) + convergence
    off = work.rng.standard_normal() * COMPASS_SD_DEG - (work.made.declination_deg or 0.0)
    return {"measure": "bearing", "from": one, "to": other, "value_m": f"{(true + off) % 360:.0f}"}


def _nearest_house(work: Fieldwork) -> House:
    """Return the building next to the middle of the marks, of those without curves."""
    marks = np.array([place_of(work, name)[:2] for name in work.made.marks])
    middle = shapely.Point(marks.mean(axis=0))
    straight = [
        house
        for house in work.hamlet.houses.values()
        if not any(room.apse or room.round for room in house.truth.rooms.values())
    ]
    return min(straight, key=lambda house: shapely.distance(house.footprint, middle))


def level_book(work: Fieldwork) -> pd.DataFrame:
    """Return a level book from mark to mark: points on floors near the shore, staff in hand."""
    start, end = (place_of(work, name) for name in work.made.marks)
    sight = start[2] + INSTRUMENT_M
    points = _shallow_floors(work, sight - STAFF_LONGEST_M)
    rows = [_level("back_sight_m", work.made.marks[0], sight - start[2], work)]
    for number, (xy, height, note) in enumerate(points, start=1):
        row = _level("intermediate_sight_m", f"L{number:02d}", sight - height, work)
        east, north = xy + work.rng.standard_normal(2) * work.made.errors.random_horizontal_m
        rows.append(row | {"easting": f"{east:.2f}", "northing": f"{north:.2f}"} | note)
    turn = sight - 1.3
    onward = _level("back_sight_m", "TP1", 1.41, work)
    rows.append(_level("fore_sight_m", "TP1", sight - turn, work) | onward)
    rows.append(_level("fore_sight_m", work.made.marks[1], turn + 1.41 - end[2], work))
    return pd.DataFrame(rows).fillna("")


def _level(column: str, point: str, reading: float, work: Fieldwork) -> dict[str, Any]:
    read = reading + work.rng.standard_normal() * LEVEL_SD_M
    return {"point": point, column: f"{read:.3f}"}


def _shallow_floors(work: Fieldwork, least_m: float) -> list[tuple[Array, float, dict[str, str]]]:
    """Return points on floors that a staff reaches: place, height, and what was met.

    Where all lie deeper, as on a small ground, a longer staff stands on the highest.
    """
    seen = [
        (house, name, room.floor_m, next(iter(room.floor_seen)))
        for house in work.hamlet.houses.values()
        for name, room in house.truth.rooms.items()
        if room.floor_m is not None and room.floor_seen
    ]
    least_m = min(least_m, max((level for _, _, level, _ in seen), default=least_m))
    points = []
    for house, name, level, evidence in seen:
        if level < least_m:
            continue
        note = {"evidence": evidence, "note": f"{house.name} {name}"}
        for _ in range(3):
            spot = house.rooms[name].centroid.coords[0] + work.rng.uniform(-0.6, 0.6, 2)
            points.append((spot, level, note))
    return points
