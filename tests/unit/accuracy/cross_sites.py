"""Seeded sites of several surveys, with errors drawn from the stated model, and slips to plant.

An invented bay of 100 by 80 m with ten huts. Season 2031: walls traced on both faces, soundings
with a water-level record on two days, a swath over the middle, points by pole. Season 2032: six of
the huts traced again on a local grid of eight marks, a swath over another part, and floors. Seeds
differ in the lie of the bed, the sizes of all stated errors, and every drawn error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline import vectors
from wrackline.accuracy.cross_check import CheckedSurvey, cross_check
from wrackline.demo.survey import displace, draw_named
from wrackline.fit.items import errors_of
from wrackline.model import Site, Survey
from wrackline.walls.linework import ITEM_COLUMNS

CRS = "EPSG:32625"
ORIGIN = np.array([324400.0, 4207600.0])
EAST_M, NORTH_M = 100.0, 80.0
START = pd.Timestamp("2031-06-12T06:00:00Z").timestamp()
DAY_S, PERIOD_S = 86400.0, 12.42 * 3600
MARKS = np.array(
    [[2, 2], [50, 1], [98, 3], [99, 40], [97, 78], [52, 79], [3, 77], [1, 41]], dtype=float
)
MARK_SD_M = 0.02


@dataclass(frozen=True)
class Made:
    """A made site: config, and for each survey its file's own numbers.

    Attributes
    ----------
    site : Site
    surveys : dict of str to Survey
    beds : dict of str to DataFrame
        Columns x, y, v, row and, where there are times, time.
    items : dict of str to list
        Geometries with heights, in the file's own numbers.
    water : DataFrame
        The gauge's record.
    """

    site: Site
    surveys: dict[str, Survey]
    beds: dict[str, pd.DataFrame]
    items: dict[str, list[Any]]
    water: pd.DataFrame

    def with_survey(self, name: str, **changes: Any) -> Made:
        """Return the site with keys of one survey changed."""
        changed = self.surveys[name].model_copy(update=changes)
        return replace(self, surveys={**self.surveys, name: changed})

    def with_bed(self, name: str, **columns: Any) -> Made:
        """Return the site with columns of one survey's table changed."""
        return replace(self, beds={**self.beds, name: self.beds[name].assign(**columns)})

    def with_items(self, name: str, change: Any) -> Made:
        """Return the site with coordinates, shape (n, 3), of one survey's items changed."""
        moved = [shapely.transform(one, change, include_z=True) for one in self.items[name]]
        return replace(self, items={**self.items, name: moved})


def _site(rng: np.random.Generator) -> Site:
    sources = {
        "benchmark": {
            "kind": "shift",
            "easting_sd_m": 0.015,
            "northing_sd_m": 0.015,
            "height_sd_m": float(rng.uniform(0.008, 0.015)),
        },
        "setup": {"kind": "rotation", "rotation_sd_deg": 0.01, "pivot": list(ORIGIN + 40)},
        "gauge_zero": {"kind": "shift", "height_sd_m": float(rng.uniform(0.01, 0.02))},
        "antenna": {"kind": "shift", "height_sd_m": float(rng.uniform(0.01, 0.02))},
        "antenna_2": {"kind": "shift", "height_sd_m": float(rng.uniform(0.01, 0.02))},
    }
    return Site(
        schema_version=1,
        name="Ebbrune (invented)",
        crs=CRS,
        vertical_datum="levelling datum (invented)",
        origin=tuple(ORIGIN),
        sea_levels=[{"name": "mean sea level", "height_m": 0.12}],
        depths_below="mean sea level",
        error_sources=sources,
    )


def _survey(name: str, holds: str, technique: str, **keys: Any) -> Survey:
    sizes = {"random_horizontal_sd_m": 0.03, "random_vertical_sd_m": 0.03}
    days = {"from_date": "2031-06-12", "to_date": "2031-06-13"}
    told = {"name": name, "holds": holds, "technique": technique, "file": f"{name}.csv", "crs": CRS}
    return Survey.model_validate(
        {**told, **days, "vertical": {"meaning": "height"}, **sizes, **keys}
    )


def _surveys(rng: np.random.Generator) -> dict[str, Survey]:
    def size(low: float, high: float) -> float:
        return round(float(rng.uniform(low, high)), 3)

    later = {"from_date": "2032-06-10", "to_date": "2032-06-14"}
    pole = {"error_sources": ["benchmark", "setup"]}
    grid = {"points": [], "control_sd_m": MARK_SD_M}
    grid["points"] = [{"point": f"M{k}", "local": (k, k * k), "site": (k, k)} for k in range(8)]
    soundings = _survey(
        "soundings", "bed_points", "single-beam echo sounder",
        vertical={
            "meaning": "depth_below_water",
            "water_level": "gauge.csv",
            "water_level_zero_m": -1.85,
        },
        columns={"vertical": "depth", "time": "time"},
        random_horizontal_sd_m=0.10, random_vertical_sd_m=size(0.03, 0.05),
        patchy_vertical_sd_m=size(0.02, 0.04), patchy_distance_m=8.0,
        error_sources=["gauge_zero"],
    )  # fmt: skip
    swath = {
        "random_vertical_sd_m": size(0.03, 0.05),
        "patchy_vertical_sd_m": size(0.02, 0.03),
        "patchy_distance_m": 10.0,
    }
    walls = {"patchy_horizontal_sd_m": 0.02, "patchy_vertical_sd_m": 0.02, "patchy_distance_m": 6.0}
    walls["pole_width_m"] = 0.0  # the huts' faces are drawn as measured
    station = "total station, divers holding the pole"
    again = {**later, **walls, "crs": None, "local_grid": grid, "error_sources": ["benchmark"]}
    multi = "multibeam echo sounder"
    return {
        "2031-soundings": soundings,
        "2031-swath": _survey("swath", "bed_points", multi, error_sources=["antenna"], **swath),
        "2031-pole": _survey("pole", "bed_points", "total station, pole", **pole),
        "2031-walls": _survey("walls", "wall_lines", station, **pole, **walls),
        "2032-swath": _survey(
            "swath", "bed_points", multi, error_sources=["antenna_2"], **later, **swath
        ),
        "2032-walls": _survey("walls", "wall_lines", station, **again),
        "2032-floors": _survey("floors", "floor_points", station, **later, **pole),
    }


def _bed(rng: np.random.Generator) -> Any:
    """Return the seabed's height as a function of places from the origin, shape (n, 2)."""
    at = rng.uniform([0, 0], [EAST_M, NORTH_M], (14, 2))
    rise, reach = rng.uniform(-0.7, 0.9, 14), rng.uniform(3.0, 7.0, 14)

    def height(xy: np.ndarray) -> np.ndarray:
        squares = ((xy[:, None, :] - at) ** 2).sum(axis=2)
        mounds = (rise * np.exp(-squares / (2 * reach**2))).sum(axis=1)
        return np.asarray(-5.5 + 0.045 * xy[:, 1] + 0.01 * xy[:, 0] + mounds)

    return height


@dataclass(frozen=True)
class Hut:
    """A hut: outline of its outer faces, and of its inner."""

    outer: np.ndarray
    inner: np.ndarray
    middle: np.ndarray


def _huts(rng: np.random.Generator) -> list[Hut]:
    huts = []
    for east in (12, 31, 50, 69, 88):
        for north in (20, 55):
            turn = rng.uniform(0, np.pi / 2)
            axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
            middle = np.array([east, north]) + rng.uniform(-3, 3, 2)
            half = rng.uniform(2.0, 3.5, 2)
            corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]], dtype=float)
            rings = [(corners * (half + grow)) @ axes + middle for grow in (0.6, 0.0)]
            huts.append(Hut(rings[0], rings[1], middle))
    return huts


def _surface(bed: Any, huts: list[Hut], xy: np.ndarray) -> np.ndarray:
    """Return what a sounding meets: the bed, or the top of a wall 0.8 m above it."""
    height = bed(xy)
    for hut in huts:
        near = np.flatnonzero(np.abs(xy - hut.middle).max(axis=1) < 7)
        wall = shapely.Polygon(hut.outer, [hut.inner])
        on = near[shapely.contains_xy(wall, xy[near, 0], xy[near, 1])]
        height[on] = np.maximum(height[on], _top(bed, hut))
    return height


def _top(bed: Any, hut: Hut) -> float:
    return float(bed(hut.outer).max()) + 0.8


def _boat_path() -> tuple[np.ndarray, np.ndarray]:
    """Return places and times: lines west to east on the first day, south to north on the next."""
    parts, times, clock = [], [], START
    for day, (length, width, apart) in enumerate(((EAST_M, NORTH_M, 2.0), (NORTH_M, EAST_M, 4.0))):
        clock = START + day * DAY_S
        along = np.arange(0.35, length, 0.7)
        for number, across in enumerate(np.arange(1.0, width, apart)):
            run = along if number % 2 == 0 else along[::-1]
            xy = np.column_stack([run, np.full(len(run), across)])
            parts.append(xy if day == 0 else xy[:, ::-1])
            times.append(clock + 2.0 * np.arange(len(run)))
            clock = float(times[-1][-1]) + 60.0
    return np.vstack(parts), np.concatenate(times)


def tide(time: np.ndarray) -> np.ndarray:
    """Return the height of the water's surface above the datum [m]."""
    return np.asarray(0.12 + 0.55 * np.sin(2 * np.pi * (time - START) / PERIOD_S + 0.7))


def _water() -> pd.DataFrame:
    time = np.arange(START - 2 * DAY_S, START + 4 * DAY_S, 600.0)
    stamps = pd.to_datetime(time, unit="s").strftime("%Y-%m-%dT%H:%M:%S")
    return pd.DataFrame({"time": stamps, "level_m": (tide(time) + 1.85).round(4)})


@lru_cache(maxsize=16)
def make(seed: int) -> Made:
    """Return a clean site: every error is drawn from what its config states."""
    rng = np.random.default_rng([seed, 20310612])
    site, surveys = _site(rng), _surveys(rng)
    bed, huts = _bed(rng), _huts(rng)
    surveys["2032-walls"], to_local = _local_grid(surveys["2032-walls"], rng)
    models = {name: errors_of(name, survey, site)[0] for name, survey in surveys.items()}
    for name in surveys:  # the marks' errors are in the marks already
        own = tuple(part for part in models[name].named if "local_grid" not in part.name)
        models[name] = replace(models[name], named=own)
    draws = draw_named(models.values(), rng)

    def measured(name: str, xy: np.ndarray, height: np.ndarray) -> np.ndarray:
        return displace(np.column_stack([xy + ORIGIN, height]), models[name], rng, draws)

    beds = {}
    path, time = _boat_path()
    xyz = measured("2031-soundings", path, _surface(bed, huts, path))
    beds["2031-soundings"] = _table(xyz[:, :2], tide(time) - xyz[:, 2], time=time)
    areas = {"2031-swath": (20, 15, 80, 60), "2032-swath": (40, 5, 95, 45)}
    for name, (west, south, east, north) in areas.items():
        count = 5 * (east - west) * (north - south)
        xy = rng.uniform([west, south], [east, north], (count, 2))
        xyz = measured(name, xy, _surface(bed, huts, xy))
        beds[name] = _table(xyz[:, :2], xyz[:, 2])
    xy = rng.uniform([0, 30], [EAST_M, NORTH_M], (900, 2))
    xyz = measured("2031-pole", xy, _surface(bed, huts, xy))
    beds["2031-pole"] = _table(xyz[:, :2], xyz[:, 2])
    items = {"2031-walls": _traced(huts, bed, measured, "2031-walls")}
    again = _traced(huts[:6], bed, measured, "2032-walls")
    items["2032-walls"] = [shapely.transform(one, to_local, include_z=True) for one in again]
    floors = np.vstack([hut.middle + rng.uniform(-1, 1, (2, 2)) for hut in huts])
    xyz = measured("2032-floors", floors, bed(floors) - 0.5)
    items["2032-floors"] = list(shapely.points(xyz))
    return Made(site, surveys, beds, items, _water())


def _local_grid(survey: Survey, rng: np.random.Generator) -> tuple[Survey, Any]:
    """Return the survey on a grid of its own, and what takes places to that grid."""
    turn, start = rng.uniform(-0.5, 0.5), np.array([1000.0, 5000.0])
    axes = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])

    def to_local(xyz: np.ndarray) -> np.ndarray:
        xy = (xyz[:, :2] - ORIGIN) @ axes + start
        return np.column_stack([xy, xyz[:, 2]])

    local = to_local(np.column_stack([MARKS + ORIGIN, np.zeros(8)]))[:, :2]
    known = MARKS + ORIGIN + MARK_SD_M * rng.standard_normal(MARKS.shape)
    points = [
        {"point": f"M{k}", "local": tuple(local[k]), "site": tuple(known[k])} for k in range(8)
    ]
    grid = {"points": points, "control_sd_m": MARK_SD_M}
    told = {**survey.model_dump(), "crs": None, "local_grid": grid}
    return Survey.model_validate(told), to_local


def _table(xy: np.ndarray, v: np.ndarray, time: np.ndarray | None = None) -> pd.DataFrame:
    table = pd.DataFrame({"x": xy[:, 0], "y": xy[:, 1], "v": v.round(3)})
    table = table.round({"x": 2, "y": 2}).assign(row=np.arange(len(v)) + 2)
    return table if time is None else table.assign(time=time)


def _traced(huts: list[Hut], bed: Any, measured: Any, name: str) -> list[Any]:
    """Return a survey's lines: both faces of each hut, a point every metre and at corners."""
    rings, sizes = [], []
    for hut in huts:
        for ring in (hut.outer, hut.inner):
            line = shapely.segmentize(shapely.LineString(ring), 1.0)
            xy = shapely.get_coordinates(line)
            rings.append(np.column_stack([xy, np.full(len(xy), _top(bed, hut))]))
            sizes.append(len(xy))
    every = np.vstack(rings)
    xyz = measured(name, every[:, :2], every[:, 2])
    ends = np.cumsum(sizes)
    return [
        shapely.linestrings(xyz[end - size : end]) for end, size in zip(ends, sizes, strict=True)
    ]


def check(made: Made, folder: Path) -> dict[str, Any]:
    """Write a site's tables as intake does, and return what the checks say of it."""
    return cross_check(write(made, folder), made.site)


def write(made: Made, folder: Path) -> list[CheckedSurvey]:
    """Write a site's tables as intake does."""
    folder.mkdir(parents=True, exist_ok=True)
    made.water.to_csv(folder / "gauge.csv", index=False)
    out = []
    for name, table in made.beds.items():
        table.to_parquet(folder / f"{name}.parquet", index=False)
        out.append(CheckedSurvey(name, made.surveys[name], folder / f"{name}.parquet", folder))
    for name, shapes in made.items.items():
        _items(name, shapes).to_parquet(folder / f"{name}.parquet", index=False)
        out.append(CheckedSurvey(name, made.surveys[name], folder / f"{name}.parquet", folder))
    return out


def _items(name: str, shapes: list[Any]) -> gpd.GeoDataFrame:
    data: Mapping[str, Any] = {column: [None] * len(shapes) for column in ITEM_COLUMNS}
    told = {"survey": name, "season": name[:4], "row": np.arange(len(shapes)) + 1}
    evidence = {"evidence": "excavated"} if "floors" in name else {}
    frame = gpd.GeoDataFrame({**data, **told, **evidence}, geometry=shapes)
    return vectors.conform(frame, ITEM_COLUMNS)


def accused(result: dict[str, Any]) -> list[str]:
    """Return "survey kind" of every suspicion."""
    return [f"{fault['survey']} {fault['kind']}" for fault in result["suspicions"]]
