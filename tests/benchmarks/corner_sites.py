"""Seeded corners of the demo: what the record says of one house, against the truth, in its own sd.

Each corner is one house of the demo's town, on a bed with a gentle slope, mounds and ripples; its
walls are traced along faces (or centres, with a taped thickness), its seabed sounded along lines or
by a swath that meets the walls too. Errors are drawn from the stated model, in one of four
regimes; figures go through the library as the workflow does it. One room a corner enters each
count, so that the corners are independent. Truths are geodesic where the library's are from the
grid.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
import yaml

from wrackline import vectors
from wrackline.demo.facts import answers
from wrackline.demo.fieldwork import Fieldwork, pole_points
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.survey import displace, draw_named
from wrackline.demo.town import settled
from wrackline.io import write_json
from wrackline.model import Site, Survey
from wrackline.points import Points, PointWriter, ticks
from wrackline.rooms.bed import Bed
from wrackline.rooms.plan import Items, make_plan
from wrackline.rooms.view import prepare
from wrackline.seabed.gridding import Settings, grid_survey
from wrackline.seabed.merge import Merging, SurveySurface, merge_surfaces
from wrackline.uncertainty import ErrorModel, error_model, level_budget
from wrackline.walls.joining import build_network
from wrackline.walls.linework import ITEM_COLUMNS, LINE_COLUMNS

ROOT = Path(__file__).resolve().parents[2]
REGIMES = ("random", "patchy", "named", "mixed")
FIGURES = ("area", "thickness", "axis", "top", "bed")
WALLS, BED = "2031-walls", "2031-bed"
CENTRE_SHARE, SWATH_SHARE = 0.15, 0.5
CELL_M, FILL_M = 0.5, 1.5
COVERAGE = 1.96

SURVEYS: dict[str, dict[str, Any]] = {
    "walls": {
        "makes": "wall_faces",
        "file": "walls.gpkg",
        "every_m": 2.5,
        "ends_miss_m": 0.15,
        "errors": {"random_horizontal_m": 0.0, "random_vertical_m": 0.0},
    }
}
SIZES = {  # horizontal and vertical, random and patchy
    "random": (0.03, 0.03, 0.0, 0.0),
    "patchy": (0.005, 0.005, 0.03, 0.03),
    "named": (0.005, 0.005, 0.0, 0.0),
    "mixed": (0.02, 0.02, 0.02, 0.02),
}
SOURCES = {
    "benchmark": {
        "kind": "shift",
        "easting_sd_m": 0.03,
        "northing_sd_m": 0.03,
        "height_sd_m": 0.04,
    },
    "setup": {"kind": "rotation", "rotation_sd_deg": 0.3},
    "tape": {"kind": "scale", "scale_sd_ppm": 2000},
    "trestle": {"kind": "tilt", "tilt_sd_mm_per_m": 0.8, "tilt_azimuth_deg": 70},
    "gauge_zero": {"kind": "shift", "height_sd_m": 0.03},
}


@dataclass(frozen=True)
class Corner:
    """Errors of one corner over the sds that the record states, by figure."""

    scores: dict[str, float]


def truth_of(seed: int) -> dict[str, Any]:
    """Return the truth file of a corner: the demo's, small, built on, and gently sloping."""
    content = yaml.safe_load((ROOT / "config" / "demo.yaml").read_text(encoding="utf-8"))
    seabed = {
        "south_west_m": -4.6,
        "rise_north_m_per_m": 0.03,
        "ripples": {"height_m": 0.03, "length_m": 3.1, "azimuth_grid_deg": 20.0},
    }
    town = {**content["town"], "built_share": 1.0, "second_share": 0.0}
    changed = {"seed": seed, "hectares": 0.5, "seabed": seabed, "town": town, "surveys": SURVEYS}
    return {**content, **changed}


def hamlet_of(rng: np.random.Generator) -> Hamlet:
    """Return a corner that has a house, whatever number of seeds it takes."""
    while True:
        hamlet = Hamlet(settled(truth_of(int(rng.integers(2**31)))))
        if hamlet.houses:
            return hamlet


def site_and_surveys(
    regime: str, hamlet: Hamlet, follows: str, rng: np.random.Generator
) -> tuple[Site, dict[str, Survey]]:
    """Return the config of a corner: its site, and its surveys of walls and of the bed."""
    named = regime in ("named", "mixed")
    horizontal, vertical, patchy_h, patchy_v = SIZES[regime]
    level = {"name": "msl", "height_m": 0.12, "sd_m": 0.0 if not named else 0.02}
    level["error_sources"] = ["gauge_zero"] if named else []
    pivot = [hamlet.truth.south_west[0] + 20.0, hamlet.truth.south_west[1] + 60.0]
    sources = {
        name: {**part, **({} if part["kind"] == "shift" else {"pivot": pivot})}
        for name, part in SOURCES.items()
    }
    site = Site.model_validate(
        {
            "schema_version": 1,
            "name": "a corner",
            "crs": hamlet.truth.crs,
            "vertical_datum": "invented",
            "origin": hamlet.truth.south_west,
            "sea_levels": [level],
            "depths_below": "msl",
            "error_sources": sources,
            "seabed": {"cell_m": CELL_M, "fill_distance_m": FILL_M},
        }
    )
    common = {
        "technique": "any",
        "file": "any",
        "crs": hamlet.truth.crs,
        "from_date": "2031-06-01",
        "to_date": "2031-06-02",
        "vertical": {"meaning": "height"},
    }
    reach = float(rng.uniform(4, 12)) if patchy_h else 0.0
    walls = {
        "name": "walls",
        "holds": "wall_lines",
        "random_horizontal_sd_m": horizontal,
        "random_vertical_sd_m": vertical,
        "patchy_horizontal_sd_m": patchy_h,
        "patchy_vertical_sd_m": patchy_v,
        "patchy_distance_m": reach,
        "error_sources": ["benchmark", "setup", "tape", "trestle"] if named else [],
        "line_follows": follows,
        "wall_thickness_m": 0.6 if follows == "centre" else None,
        "wall_thickness_sd_m": 0.03 if follows == "centre" else 0.0,
    }
    bed = {
        "name": "bed",
        "holds": "bed_points",
        "random_horizontal_sd_m": 2 * horizontal,
        "random_vertical_sd_m": 1.5 * vertical,
        "patchy_vertical_sd_m": patchy_v,
        "patchy_distance_m": reach,
        "error_sources": ["gauge_zero", "trestle"] if named else [],
    }
    parts = {WALLS: walls, BED: bed}
    return site, {name: Survey.model_validate(common | part) for name, part in parts.items()}


def one_corner(seed: np.random.SeedSequence, regime: str) -> Corner:
    """Make, survey and measure one corner; return its scores."""
    rng = np.random.default_rng(seed)
    while True:
        hamlet = hamlet_of(rng)
        name = sorted(hamlet.houses)[int(rng.integers(len(hamlet.houses)))]
        house = hamlet.houses[name]
        if not any(shapely.intersects(w, house.footprint) for w in hamlet.free_walls.values()):
            break
    curved = any(room.apse or room.round for room in house.truth.rooms.values())
    follows = "centre" if rng.random() < CENTRE_SHARE and not curved else "face"
    site, surveys = site_and_surveys(regime, hamlet, follows, rng)
    models = {key: error_model(key, survey, site) for key, survey in surveys.items()}
    draws = draw_named(models.values(), rng)
    lines = walls_table(hamlet, name, follows, models[WALLS], draws, rng)
    network = build_network(lines, {WALLS: models[WALLS]}, site.walls)
    empty = vectors.empty(ITEM_COLUMNS, site.crs)
    with tempfile.TemporaryDirectory() as folder:
        bed = bed_of(hamlet, name, site, models[BED], draws, rng, Path(folder))
        plan = make_plan(prepare(network, [models[WALLS]], site), Items(empty, empty, []), bed)
    return scored(plan, hamlet, name, true_level(site, draws, rng), rng)


def walls_table(
    hamlet: Hamlet,
    name: str,
    follows: str,
    model: ErrorModel,
    draws: dict[str, float],
    rng: np.random.Generator,
) -> gpd.GeoDataFrame:
    """Return a house's walls as measured, in the form that the stage `walls` takes."""
    house = hamlet.houses[name]
    work = Fieldwork(hamlet, "walls")
    work.rng = rng
    runs = house.centre_runs() if follows == "centre" else house.face_runs()
    paths = [pole_points(work, run) for run in runs]
    count = [len(path) for path in paths]
    exact = np.column_stack([np.concatenate(paths), np.full(sum(count), house.truth.wall_top_m)])
    pieces = np.split(displace(exact, model, rng, draws), np.cumsum(count)[:-1])
    taped = house.truth.wall_m + 0.03 * float(rng.standard_normal())
    data = {column: [None] * len(pieces) for column in LINE_COLUMNS}
    data |= {
        "survey": WALLS,
        "season": "2031",
        "row": range(1, len(pieces) + 1),
        "line_follows": follows,
        "traced_at": "top",
        "evidence": "recorded",
        "repeats": "",
        "thickness_m": taped if follows == "centre" else np.nan,
        "thickness_sd_m": 0.03 if follows == "centre" else np.nan,
    }
    shapes = [shapely.LineString(piece) for piece in pieces]
    return vectors.conform(
        gpd.GeoDataFrame(data, geometry=shapes, crs=hamlet.truth.crs), LINE_COLUMNS
    )


def bed_of(
    hamlet: Hamlet,
    name: str,
    site: Site,
    model: ErrorModel,
    draws: dict[str, float],
    rng: np.random.Generator,
    folder: Path,
) -> Bed:
    """Return the seabed around a house as sounded along lines or by a swath, gridded and merged."""
    west, south, east, north = hamlet.houses[name].footprint.buffer(3.0).bounds
    if rng.random() < SWATH_SHARE:
        size = int((east - west) * (north - south) * rng.uniform(6, 25))
        places = rng.uniform((west, south), (east, north), (size, 2))
    else:
        x, y = np.meshgrid(
            np.arange(west, east, rng.uniform(1.0, 2.0)), np.arange(south, north, 0.5)
        )
        places = np.column_stack([x.ravel(), y.ravel()]) + rng.normal(0, 0.1, (x.size, 2))
    exact = np.column_stack([places, hamlet.surface(places)])
    measured = displace(exact, model, rng, draws)
    points, raster, errors = folder / "p.laz", folder / "s.tif", folder / "e.json"
    with PointWriter(points, crs=site.crs, origin=site.origin) as out:
        out.write(Points(*(ticks(column) for column in measured.T)))
    frame = {"crs": site.crs, "vertical_datum": "invented", "origin": site.origin}
    how = Settings(CELL_M, FILL_M)
    grid_survey(points, raster, model=model, frame=frame, settings=how)
    dates = {"from_date": "2031-06-01", "to_date": "2031-06-02", "own_sd": False}
    write_json({"model": model.as_dict(), **dates}, errors)
    surface = folder / "upto.tif"
    merge_surfaces(
        [SurveySurface(BED, raster, errors)],
        surface,
        name="upto",
        frame=frame,
        how=Merging(FILL_M),
    )
    return Bed(surface, surface.with_suffix(".json"))


def true_level(site: Site, draws: dict[str, float], rng: np.random.Generator) -> float:
    """Return where the named sea level truly lies, moved with the sources that it rests on."""
    level = site.depth_level
    named = level_budget(level, site).named
    return level.height_m - sum(
        effect * draws.get(name, float(rng.standard_normal())) for name, effect in named.items()
    )


def scored(
    plan: dict[str, gpd.GeoDataFrame],
    hamlet: Hamlet,
    name: str,
    level_m: float,
    rng: np.random.Generator,
) -> Corner:
    """Return errors over stated sds of one room of a house, of its walls and its thickness."""
    true = answers(hamlet)["buildings"][name]
    rooms = plan["rooms"]
    scores: dict[str, float] = {}
    chosen = sorted(true["rooms"])[int(rng.integers(len(true["rooms"])))]
    room = true["rooms"][chosen]
    row = _matching(rooms, room["floor_wkt"])
    if row is not None:
        scores["area"] = (row["floor_area_m2"] - room["floor_area_m2"]) / row["floor_area_sd_m2"]
        depth = level_m - (hamlet.truth.sea_level_m - room["bed"]["depth_m"])
        scores["bed"] = (row["bed_depth_m"] - depth) / row["bed_depth_sd_m"]
        if room["axis_square_deg"] is not None:
            off = (row["axis_deg"] - room["axis_square_deg"] + 45) % 90 - 45
            scores["axis"] = off / row["axis_sd_deg"]
    building = _matching(plan["buildings"], true["footprint_wkt"])
    if building is not None:
        depth = level_m - true["wall_top_height_m"]
        scores["top"] = (building["top_depth_m"] - depth) / building["top_depth_sd_m"]
    bodies = plan["wall_bodies"]
    if len(bodies):
        body = bodies.iloc[int(np.argmax(bodies.area.to_numpy()))]
        off_m = body["thickness_m"] - true["wall_thickness_m"]
        scores["thickness"] = off_m / body["thickness_sd_m"]
    return Corner({key: float(value) for key, value in scores.items()})


def _matching(table: gpd.GeoDataFrame, wkt: str) -> Any:
    """Return the row that lies where an outline does, None where none does."""
    outline, shapes = shapely.from_wkt(wkt), table.geometry.to_numpy()
    if not len(shapes):
        return None
    share = shapely.area(shapely.intersection(outline, shapes)) / shapely.area(
        shapely.union(outline, shapes)
    )
    return table.iloc[int(share.argmax())] if share.max() > 0.5 else None


def simulate(count: int, seed: int, regime: str, processes: int = 2) -> list[Corner]:
    """Return `count` corners, each from its own child of one seed, whatever the processes."""
    children = np.random.SeedSequence([seed, REGIMES.index(regime)]).spawn(count)
    if processes == 1:
        return [one_corner(child, regime) for child in children]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        return list(pool.map(one_corner, children, [regime] * count, chunksize=20))


def scores_of(corners: Iterable[Corner], figure: str) -> np.ndarray:
    """Return the scores of a figure, of the corners that have one."""
    found = [corner.scores[figure] for corner in corners if figure in corner.scores]
    return np.array([score for score in found if np.isfinite(score)])
