"""Simulated surveys of a known seabed, gridded in memory by the code that grids files."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wrackline.rasters import TICK_M, Grid, ticks
from wrackline.seabed.gridding import Settings, Surfacing
from wrackline.seabed.layers import cells_in_doubt, settle
from wrackline.seabed.spill import Spill
from wrackline.seabed.tiles import BANDS, cells_of_tile, tiling_for, work_of
from wrackline.uncertainty import ErrorModel, NamedError, spherical

ORIGIN = (500_000.0, 4_700_000.0)


class Held(list):
    """Runs of points in memory, as a tile's points on disk are gone through."""

    words = 3

    def __len__(self):
        return sum(len(run) for run in self.__iter__())


@dataclass(frozen=True)
class Gridded:
    """A simulated survey's surface, its cells before settling, lone blunders, and blocks."""

    grid: Grid
    bands: dict
    lone: np.ndarray
    blocks: list


def gridded(xyz, model, settings):
    """Return the surface of points given in metres from the origin."""
    words = ticks(xyz).astype(np.int32)
    bounds = (*(words[:, :2].min(axis=0) * TICK_M), *(words[:, :2].max(axis=0) * TICK_M))
    tiling = tiling_for(bounds, origin=(0.0, 0.0), cell_m=settings.cell_m, tile_m=1e4)
    heights = float(words[:, 2].min() * TICK_M), float(words[:, 2].max() * TICK_M)
    spill = Spill(Path(), tiling, (0, 0, 0), heights, len(xyz), False, False, "simulated")
    most = settings.structure_max_m
    work = work_of(model, cell_m=settings.cell_m, structure_max_m=most, memory_mb=1e9)
    (cells,) = cells_of_tile(Held([words]), tiling.grid, spill, work)
    read = reader(tiling.grid, cells.bands)
    settled = None
    if most is not None:
        doubtful = cells_in_doubt(read, tiling.grid, structure_max_m=most)
        settled = settle(doubtful, tiling.grid, structure_max_m=most)
    surface = Surfacing(read, settled, tiling.grid, model, settings)
    bands = surface.finished(tiling.grid)
    return Gridded(tiling.grid, bands, cells.lone, settled.blocks if settled else [])


def reader(grid, bands):
    """Return a function that reads pieces of bands in memory, NaN outside."""

    def read(part, names=tuple(name for name, _ in BANDS)):
        out = {name: np.full(part.shape, np.nan) for name in names}
        inside = part.intersection(grid)
        for name in out if inside is not None else ():
            out[name][part.window(inside)] = bands[name][grid.window(inside)]
        return out

    return read


def slope_and_bend(x, y):
    """Return a seabed that slopes by 0.25 with a gentle bend [m]."""
    return -4 + 0.2 * x - 0.15 * y + 0.002 * (x - 2.5) ** 2


@dataclass(frozen=True)
class Technique:
    """How a survey is laid out and how well it measures, in metres.

    Attributes
    ----------
    cell_m : float
    per_cell : float
        Points a cell.
    random, patchy : (horizontal, vertical)
    patchy_distance : float
    named : tuple of NamedError
    along_lines : bool
        Whether points lie along lines two cells apart, one of them through the middle cell.
    """

    cell_m: float
    per_cell: float
    random: tuple
    patchy: tuple
    patchy_distance: float
    named: tuple
    along_lines: bool = False

    def model(self, kind):
        """Return its error model: random, patchy, named errors alone, or all of them (mixed)."""
        shares = {"random": (1, 0, 0), "patchy": (0, 1, 0), "named": (0, 0, 1), "mixed": (1, 1, 1)}
        r, p, n = shares[kind]
        return ErrorModel(
            "2031-sim",
            self.random[0] * r,
            self.random[1] if r else 0.005,
            self.patchy[0] * p,
            self.patchy[1] * p,
            self.patchy_distance * p,
            self.named if n else (),
        )

    def places(self, rng, cells):
        """Return where points are taken, over so many cells a side, in metres."""
        side = cells * self.cell_m
        number = max(rng.poisson(self.per_cell * cells**2), 4)
        places = rng.uniform(0, side, (number, 2))
        if self.along_lines:
            line = np.floor(places[:, 1] / (2 * self.cell_m))
            places[:, 1] = (line * 2 + rng.uniform()) * self.cell_m
        return places


PIVOT = (0.0, 0.0)
TECHNIQUES = {
    "single beam": Technique(
        1.0, 1.5, (0.10, 0.05), (0.0, 0.04), 8.0, (NamedError("gauge", "height", 0.03),), True
    ),
    "multibeam": Technique(
        0.5,
        6.0,
        (0.06, 0.04),
        (0.05, 0.03),
        10.0,
        (NamedError("antenna", "height", 0.025), NamedError("mount", "easting", 0.1)),
    ),
    "photographs": Technique(
        0.1, 9.0, (0.01, 0.02), (0.02, 0.03), 6.0, (NamedError("model", "tilt", 0.02, PIVOT, 60.0),)
    ),
    "pole": Technique(
        1.0,
        2.0,
        (0.03, 0.03),
        (0.02, 0.02),
        6.0,
        (
            NamedError("mark", "height", 0.02),
            NamedError("mark", "northing", 0.015),
            NamedError("setup", "rotation", 0.02, PIVOT),
        ),
    ),
    "depth gauge": Technique(
        2.0, 3.0, (0.5, 0.08), (0.2, 0.05), 15.0, (NamedError("staff", "height", 0.015),)
    ),
}


def survey(technique, model, rng, *, cells=5, bed=slope_and_bend):
    """Return recorded points, shape (n, 3) [m], with one draw of all errors."""
    places = technique.places(rng, cells)
    xyz = np.column_stack([places, bed(*places.T)])
    error = rng.normal(size=xyz.shape) * [model.random_horizontal] * 1.0
    error[:, 2] = rng.normal(0, model.random_vertical, len(xyz))
    if model.patchy_distance:
        apart = np.linalg.norm(places[:, None] - places, axis=2)
        root = np.linalg.cholesky(spherical(apart, model.patchy_distance) + 1e-9 * np.eye(len(xyz)))
        sizes = [model.patchy_horizontal, model.patchy_horizontal, model.patchy_vertical]
        error += root @ rng.normal(size=xyz.shape) * sizes
    for part in model.named:
        error += rng.normal() * part.displacement(xyz)
    return xyz + error


def errors_in_sds(name, kind, trials, *, seed=31, cells=5):
    """Return the error of the middle cell over its sd, of so many independent surveys."""
    technique, rng = TECHNIQUES[name], np.random.default_rng(seed)
    model, settings = technique.model(kind), Settings(technique.cell_m, 0.0)
    middle, found = cells // 2, []
    while len(found) < trials:
        done = gridded(survey(technique, model, rng, cells=cells), model, settings)
        at = done.grid.north - 1 - middle, middle - done.grid.west
        inside = 0 <= at[0] < done.grid.shape[0] and 0 <= at[1] < done.grid.shape[1]
        if not inside or not done.bands["count"][at] > 0:
            continue
        truth = mean_in_cell(slope_and_bend, middle, technique.cell_m)
        found.append((done.bands["height"][at] - truth) / done.bands["sd"][at])
    return np.array(found)


def mean_in_cell(bed, cell, cell_m):
    """Return a seabed's mean over a cell on the diagonal."""
    offsets = (cell + (np.arange(9) + 0.5) / 9) * cell_m
    return float(bed(*np.meshgrid(offsets, offsets)).mean())


def town(x, y):
    """Return a sloping, gently rolling seabed with walls 0.6 m wide and 0.3 m high on it [m]."""
    bed = -4 + 0.05 * x + 0.3 * np.sin(x / 5) + 0.2 * np.cos(y / 4)
    return bed + 0.3 * on_wall(x, y)


def on_wall(x, y, more_m=0.0):
    """Tell whether places lie on a wall, or within a distance of one [m]."""
    half = 0.3 + more_m
    along = np.abs((x + 2.5) % 5 - 2.5) < half
    across = np.abs((y + 2.5) % 5 - 2.5) < half
    inside = (np.minimum(x, y) > 8 - more_m) & (np.maximum(x, y) < 22 + more_m)
    return (along | across) & inside


def passes(rng, per_m2, model, *, side=30.0, blocks=False, share=0.01, number=2):
    """Return points of so many passes over the town, with 1 % blunders of ±0.5 to 5 m.

    Blunders are single points, or the points of one pass within discs of 0.4 to 1.2 m radius, each
    disc off by one height.

    Returns
    -------
    xyz : array, shape (n, 3)
    blunder : array of int, shape (n,)
        0 for good points, else the number of the blunder's block, 1 where they are single.
    """
    points, kinds = [], []
    for turn in range(number):
        places = rng.uniform(0, side, (int(per_m2 / number * side**2), 2))
        height, kind = town(*places.T), np.zeros(len(places), dtype=int)
        if blocks:
            covered, block = 0.0, 100 * turn
            while covered < share * side**2:
                middle, radius = rng.uniform(2, side - 2, 2), rng.uniform(0.4, 1.2)
                hit = (np.hypot(*(places - middle).T) < radius) & (kind == 0)
                block += 1
                kind[hit], covered = block, covered + np.pi * radius**2
                height[hit] += rng.choice([-1, 1]) * rng.uniform(0.5, 5)
        else:
            kind[:] = rng.random(len(places)) < share
            sign = rng.choice([-1, 1], len(places))
            height += kind * sign * rng.uniform(0.5, 5, len(places))
        error = rng.normal(size=(len(places), 3))
        error *= [model.random_horizontal, model.random_horizontal, model.random_vertical]
        points.append(np.column_stack([places, height]) + error)
        kinds.append(kind)
    return np.concatenate(points), np.concatenate(kinds)


def town_rmse(done, *, near_walls=False):
    """Return the root mean square error of a surface of the town, by cells' means [m]."""
    cell = done.grid.cell_m
    east, north = np.meshgrid(*done.grid.centres())
    offsets = ((np.arange(5) + 0.5) / 5 - 0.5) * cell
    truth = np.mean([town(east + a, north + b) for a in offsets for b in offsets], axis=0)
    off = done.bands["height"] - truth
    if near_walls:
        off = off[on_wall(east, north, 0.4)]
    return float(np.sqrt(np.nanmean(off**2)))


def is_listed(done, xyz):
    """Tell which points are among the lone blunders."""
    listed = {tuple(point) for point in done.lone.tolist()}
    return np.array([tuple(point) in listed for point in ticks(xyz).tolist()])
