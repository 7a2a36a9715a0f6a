"""Walls, surfaces and seasons made from code, for what is said of walls that were looked for.

A wall runs from west to east, 0.6 m thick, traced by both faces; the ground is where the test says.
"""

import geopandas as gpd
import numpy as np
import shapely
from drawn import CRS

from wrackline import vectors
from wrackline.rasters import Band, Grid, write_raster
from wrackline.seasons.looked import COLUMNS
from wrackline.seasons.sightings import Plan, Season, sight_walls
from wrackline.uncertainty import ErrorModel
from wrackline.walls.linework import ITEM_COLUMNS

TOP, BED, THICK = -4.4, -5.0, 0.6
POLE = ErrorModel("2031-walls", 0.02, 0.02)
PHOTO = ErrorModel("2033-photo", 0.01, 0.02)
AGAIN = ErrorModel("2033-again", 0.02, 0.02)
WALL = (2.0, 0.0, 14.0)
"""West end, northing of the southern face, east end of a wall [m]."""


def faces(walls=(WALL,), top=TOP, survey="2031-walls"):
    """Return the plan's wall lines: both faces of each wall."""
    lines, names = [], []
    for number, (west, south, east) in enumerate(walls):
        for face, north in (("S", south), ("N", south + THICK)):
            lines.append(shapely.LineString([(west, north, top), (east, north, top)]))
            names.append(f"W{number}{face}")
    table = {
        "wall": names,
        "evidence": "recorded",
        "line_follows": "face",
        "traced_at": "top",
        "length_m": shapely.length(lines),
        "lines": [f"{survey}/{name}" for name in names],
    }
    return gpd.GeoDataFrame(table, geometry=lines, crs=CRS)


def plan(walls=(WALL,), top=TOP, models=(POLE,), **columns):
    """Return a plan of such walls, their bodies between the faces."""
    bodies = [shapely.box(west, south, east, south + THICK) for west, south, east in walls]
    lines = faces(walls, top).assign(**columns)
    named = {model.survey: model for model in (*models, AGAIN)}
    return Plan(
        lines,
        gpd.GeoDataFrame(geometry=bodies, crs=CRS),
        np.full(len(lines), np.nan),
        named,
        1.0,
    )


def ground_height(walls=(WALL,), top=TOP, bed=BED):
    """Return what gives the height of the ground, the walls on it, at places of shape (n, 2)."""

    def height(xy):
        level = bed(xy) if callable(bed) else np.full(len(xy), float(bed))
        for west, south, east in walls:
            on = (xy[:, 0] >= west) & (xy[:, 0] <= east)
            on &= (xy[:, 1] >= south) & (xy[:, 1] <= south + THICK)
            level[on] = np.maximum(level[on], top)
        return level

    return height


def surface(path, height, *, bounds=(-1.0, -4.0, 17.0, 5.0), cell=0.25, noise=0.01, seed=1):
    """Write a survey's surface: each cell the mean of nine soundings of the ground."""
    grid = Grid.around((0.0, 0.0), cell, bounds)
    east, north = np.meshgrid(*grid.centres())
    total = np.zeros(grid.shape)
    for dx in (-1 / 3, 0.0, 1 / 3):
        for dy in (-1 / 3, 0.0, 1 / 3):
            xy = np.column_stack([east.ravel() + dx * cell, north.ravel() + dy * cell])
            total += height(xy).reshape(grid.shape)
    values = total / 9 + noise * np.random.default_rng(seed).standard_normal(grid.shape)
    ones, zeros = np.ones(grid.shape), np.zeros(grid.shape)
    bands = [
        Band("height", "m", values),
        Band("sd_random", "m", np.full(grid.shape, noise)),
        Band("count", "1", 9 * ones),
        Band("rejected", "1", zeros),
        Band("filled", "1", zeros),
        Band("surface", "1", ones),
    ]
    write_raster(path, bands, grid=grid, crs=CRS, vertical_datum="invented")
    return path


def traits(holds, **keys):
    """Return what the config says of a survey."""
    plain = {"technique": "any", "resolution_m": 0.05, "visibility_m": None, "old_plan": False}
    return {"holds": holds, **plain, **keys}


def ground_rows(rows):
    """Return grounds: rows of survey, what, shape, stated, share."""
    if not rows:
        return vectors.empty(COLUMNS, CRS)
    names = ["survey", "what", "geometry", "stated", "share"]
    table = {name: [row[k] for row in rows] for k, name in enumerate(names)}
    return gpd.GeoDataFrame({**table, "how": "any"}, geometry="geometry", crs=CRS)


def season(photo=None, *, traced=(), grounds=(), surveys=None, photo_keys=None):
    """Return a season: a surface, lines that were traced, and what its surveys state."""
    told = {"2033-photo": traits("bed_grid", **(photo_keys or {}))} if photo else {}
    told |= surveys or {}
    lines = vectors.empty(ITEM_COLUMNS, CRS)
    if traced:
        columns = {name: [None] * len(traced) for name in ITEM_COLUMNS}
        columns |= {
            "survey": ["2033-again"] * len(traced),
            "line": [f"A{number}" for number in range(len(traced))],
        }
        lines = gpd.GeoDataFrame(columns, geometry=list(traced), crs=CRS)
    surfaces = {"2033-photo": photo} if photo else {}
    models = {"2033-photo": PHOTO} if photo else {}
    return Season(told, ground_rows(grounds), lines, surfaces, models)


def seen(what_plan, what_season):
    """Return the sightings of a season."""
    return sight_walls(what_plan, what_season, "2033")


def metres(table):
    """Return the length of each status."""
    return table.groupby("status")["length_m"].sum().round(1).to_dict()
