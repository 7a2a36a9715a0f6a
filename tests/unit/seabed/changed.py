"""Surfaces of two seasons in memory, as merging writes them, for tests of change."""

import numpy as np

from wrackline.rasters import Grid
from wrackline.seabed.sample import Surface
from wrackline.uncertainty import ErrorModel

ORIGIN = (500_000.0, 4_700_000.0)


def grid_of(rows, columns, cell_m=1.0):
    """Return a grid of so many rows and columns, from the origin on."""
    return Grid(ORIGIN, cell_m, 0, 0, columns, rows)


def surface(height, model=None, *, cell_m=1.0, grid=None, **bands):
    """Return one survey's surface of a season: heights, its error model, bands to be changed."""
    height = np.asarray(height, dtype=float)
    model = model or ErrorModel("2031-level", 0.0, 0.0)
    grid = grid or grid_of(*height.shape, cell_m)
    known = np.isfinite(height)
    held = {
        "height": height,
        "sd_random": np.full(height.shape, model.random_vertical),
        "together": np.ones(height.shape),
        "sd_rest": np.zeros(height.shape),
        "source": np.zeros(height.shape),
        "filled": np.zeros(height.shape),
        "surface": np.ones(height.shape),
        f"share:{model.survey}": np.ones(height.shape),
    } | {
        name: np.broadcast_to(np.asarray(value, float), height.shape)
        for name, value in bands.items()
    }
    held = {name: np.where(known, band, np.nan) for name, band in held.items()}

    def read(part, names):
        out = {name: np.full(part.shape, np.nan) for name in names}
        inside = part.intersection(grid)
        for name in names if inside is not None else ():
            out[name][part.window(inside)] = held[name][grid.window(inside)]
        return out

    year = model.survey[:4]
    return Surface(grid, read, [model.survey], [model], [[f"{year}-06-01", f"{year}-06-02"]])


def level(name, random=0.0, **more):
    """Return an error model with random heights, and other errors as named."""
    return ErrorModel(name, 0.0, random, **more)
