"""An old plan: walls and depths in its own grid, its own unit, and far coarser."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.demo.fieldwork import Fieldwork
from wrackline.demo.made import PlanGrid
from wrackline.uncertainty import Array

MISSED_SHARE = 0.12
"""Walls that the plan lacks: overgrown, or not seen then."""


def plan_walls(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return centre lines of walls in the plan's grid, without heights; some walls are missing."""
    houses = [h for h in work.hamlet.houses.values() if work.covers(h.footprint)]
    houses = houses or work.houses("faces")
    runs = [run for house in houses for run in house.centre_runs()]
    seen = work.rng.random(len(runs)) >= MISSED_SHARE
    kept = [run for run, shown in zip(runs, seen, strict=True) if shown] or runs[:1]
    lines = work.traced(kept, [0.0] * len(kept))
    flat = shapely.force_2d(np.array(lines, dtype=object))
    drawn = shapely.transform(flat, lambda xy: in_plan(work, xy))
    columns = {
        "line": [f"P{number:03d}" for number in range(1, len(kept) + 1)],
        "note": [run.what for run in kept],
    }
    return gpd.GeoDataFrame(columns, geometry=drawn)


def plan_depths(work: Fieldwork) -> pd.DataFrame:
    """Return depths by lead line on a loose raster, in the plan's grid and unit."""
    west, south, east, north = work.edges
    step = work.made.apart_m
    x, y = np.meshgrid(np.arange(west, east, step), np.arange(south, north, step))
    places = np.column_stack([x.ravel(), y.ravel()])
    places += work.rng.uniform(-1, 1, places.shape) * step / 3
    xyz = work.hamlet.on_land(work.hamlet.ground.place(places))
    measured = work.measure(xyz[xyz[:, 2] < -0.5])
    plan = in_plan(work, measured[:, :2]).round(2)
    depth = -measured[:, 2] / _grid(work).unit_m
    return pd.DataFrame({"x": plan[:, 0], "y": plan[:, 1], "depth": depth.round(2)})


def in_plan(work: Fieldwork, xy: Array) -> Array:
    """Return places of the site's CRS in the plan's grid and unit, shape (n, 2)."""
    grid = _grid(work)
    zero = work.hamlet.ground.place(np.array([grid.zero]))[0]
    turn = np.radians(grid.azimuth_grid_deg)
    cosine, sine = np.cos(turn), np.sin(turn)
    placed: Array = (xy - zero) @ np.array([[cosine, sine], [-sine, cosine]]) / grid.unit_m
    return placed


def _grid(work: Fieldwork) -> PlanGrid:
    if work.made.plan_grid is None:
        raise ValueError("an old plan needs its grid")
    return work.made.plan_grid
