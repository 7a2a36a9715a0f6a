"""Seeded sites of one room each, surveyed with errors drawn from the stated model.

Each site has a room of random size, turn and proportions, walls traced along faces or centres
with two to six points each, ends that miss the corners, doorways in some walls, and an error
model with random, patchy and named parts of random sizes. What the library then says of floor
area and wall-top depth is held against the truth, in units of the sd that it states itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from wrackline import vectors
from wrackline.crs import grid_factors
from wrackline.demo.survey import displace, draw_named
from wrackline.model import Site, Survey
from wrackline.rooms.bed import Bed
from wrackline.rooms.plan import Items, make_plan
from wrackline.rooms.view import prepare
from wrackline.uncertainty import error_model, level_budget
from wrackline.walls.joining import build_network
from wrackline.walls.linework import ITEM_COLUMNS, LINE_COLUMNS

CRS = "EPSG:32633"
ORIGIN = (431000.0, 4300000.0)
SURVEY = "2031-walls"


@dataclass(frozen=True)
class Case:
    """One site: what is true of it and what the library says."""

    area_error: float
    area_sd: float
    depth_error: float
    depth_sd: float
    axis_error: float
    axis_sd: float


def simulate(count: int, seed: int) -> list[Case]:
    """Return `count` sites, each from its own child of one seed."""
    children = np.random.SeedSequence(seed).spawn(count)
    return [one_site(np.random.default_rng(child)) for child in children]


def scores(cases: list[Case]) -> dict[str, np.ndarray]:
    """Return error over stated sd of every site, by figure."""
    return {
        figure: np.array(
            [getattr(case, f"{figure}_error") / getattr(case, f"{figure}_sd") for case in cases]
        )
        for figure in ("area", "depth", "axis")
    }


def share_within(z: np.ndarray) -> float:
    """Return the share of scores within 1.96, which should be 95 %."""
    return float((np.abs(z) <= 1.96).mean())


def rms(z: np.ndarray) -> float:
    """Return the root mean square of scores, which should be 1."""
    return float(np.sqrt((z**2).mean()))


def one_site(rng: np.random.Generator) -> Case:
    """Make, survey and measure one site."""
    site, survey = site_and_survey(rng)
    model = error_model(SURVEY, survey, site)
    draws = draw_named([model], rng)
    corners = true_corners(rng)
    follows = survey.line_follows
    stated = survey.wall_thickness_m or 0.0
    thickness = stated + survey.wall_thickness_sd_m * float(rng.standard_normal())
    heights = rng.uniform(-3, -1) + np.cumsum(rng.normal(0, 0.1, 4))
    lines = traced(corners, heights, model, rng, draws)
    table = line_table(lines, follows, stated, survey.wall_thickness_sd_m)
    network = build_network(table, {SURVEY: model}, site.walls)
    empty = vectors.empty(ITEM_COLUMNS, CRS)
    plan = make_plan(prepare(network, [model], site), Items(empty, empty, []), Bed())
    if len(plan["rooms"]) != 1 or len(plan["buildings"]) != 1:
        raise ValueError(f"{len(plan['rooms'])} rooms found where there is one")
    polygon = shapely.Polygon(corners)
    if follows == "centre":
        polygon = polygon.buffer(-thickness / 2, join_style="mitre")
    convergence, scale = grid_factors(CRS, *(np.array([v]) for v in polygon.centroid.coords[0]))
    room, building = plan["rooms"].iloc[0], plan["buildings"].iloc[0]
    level = true_level(site, draws, rng)
    depth = level - true_mean(corners, heights)
    turn = true_axis(corners, float(convergence[0]))
    off_axis = (building["axis_deg"] - turn + 45.0) % 90.0 - 45.0
    return Case(
        room["floor_area_m2"] - polygon.area / float(scale[0]) ** 2,
        room["floor_area_sd_m2"],
        building["top_depth_m"] - depth,
        building["top_depth_sd_m"],
        off_axis,
        building["axis_sd_deg"],
    )


def site_and_survey(rng: np.random.Generator) -> tuple[Site, Survey]:
    """Return config of a site with named sources of every kind, and of its one survey."""
    sources = {
        "benchmark_a": {
            "kind": "shift",
            "easting_sd_m": 0.03,
            "northing_sd_m": 0.03,
            "height_sd_m": rng.uniform(0.005, 0.05),
        },
        "setup_1": {"kind": "rotation", "rotation_sd_deg": rng.uniform(0.05, 0.5)},
        "tape": {"kind": "scale", "scale_sd_ppm": rng.uniform(100, 3000)},
        "trestle": {
            "kind": "tilt",
            "tilt_sd_mm_per_m": rng.uniform(0.1, 1.0),
            "tilt_azimuth_deg": rng.uniform(0, 359),
            "pivot": ORIGIN,
        },
    }
    rests_on = [name for name in sources if rng.random() < 0.7]
    level = {
        "name": "msl",
        "height_m": 0.12,
        "sd_m": rng.uniform(0, 0.03),
        "error_sources": ["benchmark_a"] if rng.random() < 0.5 else [],
    }
    site = Site.model_validate(
        {
            "schema_version": 1,
            "name": "one room",
            "crs": CRS,
            "vertical_datum": "invented",
            "origin": ORIGIN,
            "sea_levels": [level],
            "depths_below": "msl",
            "error_sources": sources,
        }
    )
    centre = rng.random() < 0.4
    patchy = rng.random() < 0.6
    survey = Survey.model_validate(
        {
            "name": "walls",
            "technique": "total station",
            "holds": "wall_lines",
            "file": "w.gpkg",
            "crs": CRS,
            "from_date": "2031-06-01",
            "to_date": "2031-06-02",
            "vertical": {"meaning": "height"},
            "random_horizontal_sd_m": rng.uniform(0.005, 0.05),
            "random_vertical_sd_m": rng.uniform(0.005, 0.05),
            "patchy_horizontal_sd_m": rng.uniform(0.005, 0.04) if patchy else 0.0,
            "patchy_vertical_sd_m": rng.uniform(0.005, 0.04) if patchy else 0.0,
            "patchy_distance_m": rng.uniform(2, 40) if patchy else 0.0,
            "error_sources": rests_on,
            "line_follows": "centre" if centre else "face",
            "wall_thickness_m": 0.6 if centre else None,
            "wall_thickness_sd_m": rng.uniform(0, 0.06) if centre else 0.0,
        }
    )
    return site, survey


def true_corners(rng: np.random.Generator) -> np.ndarray:
    """Return four corners of a room, anticlockwise, shape (4, 2)."""
    length, width = rng.uniform(4, 10), rng.uniform(3, 7)
    box = np.array([[0, 0], [length, 0], [length, width], [0, width]], dtype=float)
    box += rng.normal(0, 0.25, box.shape)
    turn = rng.uniform(0, 2 * np.pi)
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return box @ spin + np.array(ORIGIN) + rng.uniform(10, 60, 2)


def traced(corners, heights, model, rng, draws) -> list[np.ndarray]:
    """Return the walls as measured, some in two parts with a doorway between."""
    exact = []
    for k in range(4):
        ends = np.stack(
            [np.r_[corners[k], heights[k]], np.r_[corners[(k + 1) % 4], heights[(k + 1) % 4]]]
        )
        size = float(np.hypot(*(ends[1, :2] - ends[0, :2])))
        start, stop = rng.uniform(-0.15, 0.15, 2) / size
        points = int(rng.integers(2, 7))
        share = np.linspace(start, 1 + stop, points)
        if rng.random() < 0.25 and points >= 4:
            door = (0.5 - 0.45 / size, 0.5 + 0.45 / size)
            parts = [
                np.r_[share[share < door[0] - 0.1], door[0]],
                np.r_[door[1], share[share > door[1] + 0.1]],
            ]
        else:
            parts = [share]
        exact += [ends[0] + s[:, None] * (ends[1] - ends[0]) for s in parts]
    moved = displace(np.concatenate(exact), model, rng, draws)
    return np.split(moved, np.cumsum([len(part) for part in exact])[:-1])


def line_table(lines, follows, thickness, thickness_sd) -> gpd.GeoDataFrame:
    """Return traced walls as the stage `walls` takes them."""
    data = {name: [None] * len(lines) for name in LINE_COLUMNS}
    data |= {
        "survey": SURVEY,
        "season": "2031",
        "row": range(1, len(lines) + 1),
        "line_follows": follows,
        "traced_at": "top",
        "repeats": "",
        "thickness_m": thickness or np.nan,
        "thickness_sd_m": thickness_sd,
    }
    shapes = [shapely.LineString(line) for line in lines]
    return gpd.GeoDataFrame(data, geometry=shapes, crs=CRS)


def true_level(site: Site, draws: dict[str, float], rng: np.random.Generator) -> float:
    """Return where the named sea level truly lies, moved with the sources that it rests on."""
    level = site.depth_level
    named = level_budget(level, site).named
    return level.height_m - sum(
        effect * draws.get(name, float(rng.standard_normal())) for name, effect in named.items()
    )


def true_mean(corners: np.ndarray, heights: np.ndarray) -> float:
    """Return the mean height along the walls, weighted by length."""
    size = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    middle = (heights + np.roll(heights, -1)) / 2
    return float((size * middle).sum() / size.sum())


def true_axis(corners: np.ndarray, convergence: float) -> float:
    """Return the right-angle symmetric axis of the true walls, from true north, 0-90."""
    step = np.roll(corners, -1, axis=0) - corners
    size, angle = np.hypot(*step.T), np.arctan2(step[:, 1], step[:, 0])
    mean = np.angle((size * np.exp(4j * angle)).sum()) / 4
    return float((90.0 - np.degrees(mean) + convergence) % 90.0)
