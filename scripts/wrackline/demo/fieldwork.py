"""Geometry to surveyed: one table of measured points or lines for each survey of the demo.

Each function takes exact places from `wrackline.demo.hamlet`, in the pattern in which the
technique would take them, and has `wrackline.demo.survey.displace` add the errors once for the
whole survey.
"""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from wrackline.demo.hamlet import Hamlet, House, Run
from wrackline.demo.made import Made, Misfortune, Water
from wrackline.demo.survey import displace
from wrackline.demo.truth import Truth
from wrackline.uncertainty import Array, ErrorModel, NamedError

SPEED_M_PER_S = 1.0
TURN_S = 20.0


class Fieldwork:
    """One survey of the hamlet, about to be done.

    Parameters
    ----------
    hamlet : Hamlet
        The truth as geometry.
    name : str
        Name of the survey in the truth; its random numbers hang on it, so that surveys can be
        added and left out without a change to the others.
    """

    def __init__(self, hamlet: Hamlet, name: str) -> None:
        self.hamlet = hamlet
        self.made: Made = hamlet.truth.surveys[name]
        self.model = real_errors(hamlet.truth, name)
        self.rng = np.random.default_rng([hamlet.truth.seed, zlib.crc32(name.encode())])

    @property
    def edges(self) -> tuple[float, ...]:
        """West, south, east and north edge of what is surveyed [m from the corner]."""
        if self.made.area is not None:
            return self.made.area
        return self.hamlet.truth.part(self.made.part)

    @property
    def off_m(self) -> float:
        """How far off a face the axis of the pole is that is held against it [m]."""
        return self.made.pole_width_m / 2

    @property
    def moved(self) -> bool:
        """Whether it met the bed after sand had moved."""
        return self.made.bed == "moved"

    def houses(self, traced: str) -> list[House]:
        """Return the buildings that it surveys: those traced its way whose middle it covers.

        Of a ground so small that none is there, the building next to the middle of its part.
        """
        there = list(self.hamlet.houses.values())
        mine = there if self.made.again else [h for h in there if h.truth.traced == traced]
        inside = [house for house in mine if self.covers(house.footprint)]
        if inside or self.made.part is None or not there:
            return inside
        west, south, east, north = self.edges
        middle = self.hamlet.ground.put(shapely.Point((west + east) / 2, (south + north) / 2))
        return [min(there, key=lambda house: shapely.distance(house.footprint, middle))]

    def covers(self, shape: BaseGeometry) -> bool:
        """Tell whether the middle of a shape lies in what is surveyed."""
        west, south, east, north = self.edges
        x, y = np.array(shape.centroid.coords[0]) - self.hamlet.truth.south_west
        return bool(west <= x <= east and south <= y <= north)

    def everywhere(self) -> Fieldwork:
        """Return the same survey of the whole ground."""
        self.made = self.made.model_copy(update={"part": None})
        return self

    def measure(self, xyz: Array) -> Array:
        """Return true points as measured, shape (n, 3) [m]."""
        return displace(xyz, self.model, self.rng, {part.name: 1.0 for part in self.model.named})

    def traced(self, runs: list[Run], tops: list[float]) -> list[shapely.LineString]:
        """Return wall runs as traced: pole points from end to end, corners missed a little."""
        paths = [pole_points(self, run) for run in runs]
        count = [len(path) for path in paths]
        measured = self.measure(np.column_stack([np.concatenate(paths), np.repeat(tops, count)]))
        pieces = np.split(measured.round(3), np.cumsum(count)[:-1])
        return [shapely.LineString(piece) for piece in pieces]


def pole_points(work: Fieldwork, run: Run) -> Array:
    """Return where the pole stands along a run, its ends missing corners a little, (n, 2) [m]."""
    if len(run.line.coords) > 2:  # round a curve the pole goes from step to step
        return np.array(run.line.coords)
    (x0, y0), (x1, y1) = run.line.coords
    length = run.line.length
    miss = work.rng.uniform(-1, 1, 2) * work.made.ends_miss_m * np.array(run.corners)
    miss = np.clip(miss, -length / 4, length / 4)
    count = max(2, int(np.ceil(length / work.made.every_m)) + 1)
    along = np.linspace(miss[0], length + miss[1], count) / length
    points: Array = np.array([x0, y0]) + along[:, None] * np.array([x1 - x0, y1 - y0])
    return points


def real_errors(truth: Truth, name: str) -> ErrorModel:
    """Return the errors that a survey really suffers.

    Its named components have the real error in place of an sd, so a draw of 1 is what happened.

    Parameters
    ----------
    truth : Truth
        The checked truth.
    name : str
        Name of the survey.
    """
    sizes = truth.surveys[name].errors
    return ErrorModel(
        survey=name,
        random_horizontal=sizes.random_horizontal_m,
        random_vertical=sizes.random_vertical_m,
        patchy_horizontal=sizes.patchy_horizontal_m,
        patchy_vertical=sizes.patchy_vertical_m,
        patchy_distance=sizes.patchy_distance_m,
        named=tuple(
            part
            for source in sizes.named
            for part in _parts(source, truth.misfortunes[source], truth.south_west)
        ),
    )


def _parts(name: str, real: Misfortune, south_west: tuple[float, float]) -> list[NamedError]:
    """Return the components of a named source that are off at all."""
    size = {
        "easting": real.easting_m,
        "northing": real.northing_m,
        "height": real.height_m,
        "rotation": float(np.radians(real.rotation_deg)),
        "scale": real.scale_ppm * 1e-6,
        "tilt": real.tilt_mm_per_m * 1e-3,
    }
    pivot = (south_west[0] + real.pivot[0], south_west[1] + real.pivot[1])
    return [
        NamedError(f"{name}:{kind}", kind, off, pivot, real.tilt_azimuth_deg)
        for kind, off in size.items()
        if off
    ]


def wall_faces(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return traced faces of the walls of all buildings that are traced by faces."""
    return _walls(work, "faces", lambda house: house.face_runs(work.off_m))


def wall_centres(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return traced centre lines, with a taped thickness (columns thickness_m and its sd)."""
    table = _walls(work, "centres", House.centre_runs)
    houses = [name.split(" ", 1)[0] for name in table["note"]]
    true = np.array([work.hamlet.houses[name].truth.wall_m for name in houses])
    table["thickness_m"] = (true + 0.03 * work.rng.standard_normal(len(true))).round(2)
    table["thickness_sd_m"] = 0.03
    return table


def _walls(work: Fieldwork, traced: str, runs_of: Callable[[House], list[Run]]) -> gpd.GeoDataFrame:
    runs = [(run, h.truth.wall_top_m) for h in work.houses(traced) for run in runs_of(h)]
    if traced == "faces":
        runs += _free_wall_runs(work)
    if work.moved:
        runs = [(left, top) for run, top in runs for left in work.hamlet.left_of(run, top)]
    lines = work.traced([run for run, _ in runs], [top for _, top in runs]) if runs else []
    columns = {
        "line": [f"W{number:03d}" for number in range(1, len(runs) + 1)],
        "note": [run.what for run, _ in runs],
    }
    return gpd.GeoDataFrame(columns, geometry=lines, crs=work.hamlet.truth.crs)


def _free_wall_runs(work: Fieldwork) -> list[tuple[Run, float]]:
    truth = work.hamlet.truth.free_walls
    return [
        (run, truth[name].top_m)
        for name, runs in work.hamlet.free_wall_runs(work.off_m)
        if work.covers(work.hamlet.free_walls[name])
        for run in runs
    ]


def soundings(work: Fieldwork) -> pd.DataFrame:
    """Return depths below the water's surface along lines from south to north and back."""
    truth, made = work.hamlet.truth, work.made
    water, starts = truth.water, made.starts
    if water is None or starts is None:
        raise ValueError("soundings need the water, and when they start")
    xy, seconds = _boat_path(work)
    surface = true_surface(work, xy)
    ahead = dt.timedelta(hours=made.clock_ahead_of_utc_h)
    level = water_height(water, _hours_after(water.high_water, starts - ahead) + seconds / 3600)
    measured = work.measure(np.column_stack([xy, surface]))
    clock = pd.Timestamp(starts) + pd.to_timedelta(seconds.round(1), unit="s")
    table = pd.DataFrame(
        {
            "easting": measured[:, 0].round(2),
            "northing": measured[:, 1].round(2),
            "depth": _shown(work, level - measured[:, 2]),
            "time": clock.strftime("%Y-%m-%dT%H:%M:%S"),
        }
    )
    afloat = level - surface > 0.7  # the boat draws as much
    return table[afloat].reset_index(drop=True)


def _shown(work: Fieldwork, depth_m: Array) -> Array:
    """Return depths as the instrument displays them, shape (n,)."""
    shown = depth_m * work.made.shows_times
    step = work.made.display_step_m
    return np.round(np.round(shown / step) * step, 3) if step else shown.round(3)


def _boat_path(work: Fieldwork) -> tuple[Array, Array]:
    """Return the boat's true places, shape (n, 2) [m], and seconds since the start, (n,)."""
    west, south, east, north = work.edges
    along = np.arange(south, north + 1e-9, work.made.every_m)
    lines = np.arange(west, east + 1e-9, work.made.apart_m)
    paths = []
    for number, across in enumerate(lines):
        weave = 0.25 * np.sin(along / 7.0 + work.rng.uniform(0, 2 * np.pi))
        path = np.column_stack([across + weave, along])
        paths.append(path if number % 2 == 0 else path[::-1])
    run_s = (north - south) / SPEED_M_PER_S + TURN_S
    on_line = np.arange(len(along)) * work.made.every_m / SPEED_M_PER_S
    seconds = np.concatenate([number * run_s + on_line for number in range(len(lines))])
    return work.hamlet.ground.place(np.concatenate(paths)), seconds


def true_surface(work: Fieldwork, xy: Array) -> Array:
    """Return the true height that a sounding meets, plants included, shape (n,) [m]."""
    hamlet, moved = work.hamlet, work.moved
    if work.made.shows_walls:
        return hamlet.surface(xy, canopy=True, moved=moved)
    return hamlet.bed(xy, moved=moved)


def _hours_after(first: dt.datetime, then: dt.datetime) -> float:
    return (then - first).total_seconds() / 3600


def water_height(water: Water, hours_after_high_water: Array) -> Array:
    """Return the height of the water's surface, shape (n,) [m].

    >>> calm = Water(file="g.csv", mean_m=0.1, range_m=0.6, high_water="2031-06-12T06:00:00",
    ...              gauge_zero_m=-1.0, starts="2031-06-12T06:00:00", hours=1, period_h=12.0)
    >>> water_height(calm, np.array([0.0, 3.0, 6.0])).round(6)
    array([ 0.4,  0.1, -0.2])
    """
    phase = 2 * np.pi * hours_after_high_water / water.period_h
    height: Array = water.mean_m + water.range_m / 2 * np.cos(phase)
    return height


def gauge(water: Water) -> pd.DataFrame:
    """Return the gauge's record: time (UTC) and the water's height above the gauge's zero [m]."""
    minutes = np.arange(0, water.hours * 60 + 1e-9, water.every_min)
    hours = _hours_after(water.high_water, water.starts) + minutes / 60
    clock = pd.Timestamp(water.starts) + pd.to_timedelta(minutes, unit="min")
    level = water_height(water, hours) - water.gauge_zero_m
    return pd.DataFrame({"time": clock.strftime("%Y-%m-%dT%H:%M:%S"), "level_m": level.round(3)})


def swath(work: Fieldwork) -> Array:
    """Return a cloud of points over an area, shape (n, 3) [m]."""
    west, south, east, north = work.edges
    count = int((east - west) * (north - south) * work.made.per_m2)
    places = work.rng.uniform((west, south), (east, north), (count, 2))
    xy = work.hamlet.ground.place(places)
    return work.measure(np.column_stack([xy, true_surface(work, xy)]))


def bed_poles(work: Fieldwork) -> pd.DataFrame:
    """Return heights of the bed on a loose grid, as taken with a pole by wading."""
    west, south, east, north = work.edges
    rows, columns = np.mgrid[south : north : work.made.apart_m, west : east : work.made.every_m]
    places = np.column_stack([columns.ravel(), rows.ravel()])
    places += work.rng.uniform(-1, 1, places.shape) * work.made.every_m / 4
    xy = work.hamlet.ground.place(places)
    built = shapely.union_all(
        [*(h.walls for h in work.hamlet.houses.values()), *work.hamlet.free_walls.values()]
    )
    clear = ~shapely.contains_xy(built, xy[:, 0], xy[:, 1])
    return _heights(work.measure(work.hamlet.on_land(xy[clear], moved=work.moved)))


def floors(work: Fieldwork) -> pd.DataFrame:
    """Return points on floors, with the evidence that each is a floor."""
    places: list[Array] = []
    heights: list[float] = []
    evidence: list[str] = []
    notes: list[str] = []
    for house in work.hamlet.houses.values():
        if not work.covers(house.footprint):
            continue
        for name, room in house.truth.rooms.items():
            if room.floor_m is None:
                continue
            for kind, count in room.floor_seen.items():
                places.append(_floor_places(work, house, name, seen=kind, count=count))
                heights += [room.floor_m] * count
                evidence += [kind] * count
                notes += [f"{house.name} {name}"] * count
    if not places and work.made.part is not None:
        return floors(work.everywhere())
    xy = np.concatenate(places) if places else np.zeros((0, 2))
    table = _heights(work.measure(np.column_stack([xy, heights])))
    table["height"] = (table["height"] - work.made.heights_above_m).round(3)
    numbers = [f"F{number:03d}" for number in range(1, len(table) + 1)]
    return table.assign(line=numbers, evidence=evidence, note=notes)


def _floor_places(work: Fieldwork, house: House, name: str, *, seen: str, count: int) -> Array:
    """Return places on a room's floor: just inside its doorways, or anywhere in it, (n, 2)."""
    across, along, width, depth = house.truth.rooms[name].inside
    clear = 0.4 if not house.truth.rooms[name].round else 0.2 * min(width, depth)
    low, high = (across + clear, along + clear), (across + width - clear, along + depth - clear)
    places = work.rng.uniform(low, high, (count, 2))
    doors = [door for door in house.truth.doorways if door.room == name]
    if seen == "threshold" and doors:
        middle = np.array(house.passage(doors[0]).centroid.coords[0])
        places[:] = np.clip(middle, np.subtract(low, 0.25), np.add(high, 0.25))
    return house.frame.place(places)


def _heights(xyz: Array) -> pd.DataFrame:
    return pd.DataFrame(xyz.round(3), columns=["easting", "northing", "height"])


def features(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return features as drawn: points, lines and outlines, with kind and origin."""
    drawn = [*_thresholds(work), *_things(work)]
    if not drawn and work.made.part is not None:  # a ground too small to have one in this part
        return features(work.everywhere())
    count = [len(places) for places, *_ in drawn]
    measured = work.measure(
        np.concatenate([places for places, *_ in drawn]) if drawn else np.zeros((0, 3))
    )
    pieces = np.split(measured.round(3), np.cumsum(count)[:-1])
    shapes = [_shape(drawn[k][1], piece) for k, piece in enumerate(pieces[: len(drawn)])]
    columns = ["line", "kind", "origin", "note"]
    table = pd.DataFrame([row for *_, row in drawn], columns=columns)
    return gpd.GeoDataFrame(table, geometry=shapes, crs=work.hamlet.truth.crs)


def _shape(kind: str, places: Array) -> BaseGeometry:
    """Return a point, a line or an outline through places."""
    if kind == "point":
        return shapely.Point(places[0])
    return shapely.LineString(places) if kind == "line" else shapely.Polygon(places)


Drawn = tuple[Array, str, tuple[str, str, str, str]]


def _thresholds(work: Fieldwork) -> list[Drawn]:
    """Return the thresholds that still lie in their doorways."""
    drawn: list[Drawn] = []
    for house in work.hamlet.houses.values():
        if not work.covers(house.footprint):
            continue
        for door in house.truth.doorways:
            if door.threshold_m is not None:
                ends = np.array(house.sill(door).coords)
                xyz = np.column_stack([ends, [door.threshold_m] * 2])
                row = (f"T{len(drawn) + 1:02d}", "threshold", "built", f"{house.name} {door.room}")
                drawn.append((xyz, "line", row))
    return drawn


def _things(work: Fieldwork) -> list[Drawn]:
    """Return the features that the truth lists."""
    drawn: list[Drawn] = []
    hamlet = work.hamlet
    for name, thing in hamlet.truth.features.items():
        frame = hamlet.houses[thing.building].frame if thing.building else hamlet.ground
        xy = frame.place(np.array(thing.places))
        if work.covers(shapely.MultiPoint(xy)):
            xyz = np.column_stack([xy, [thing.top_m] * len(xy)])
            drawn.append((xyz, thing.shape, (name, thing.kind, thing.origin, thing.note)))
    return drawn
