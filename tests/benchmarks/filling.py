"""Filling of gaps beside library interpolators, on ground that was measured but held out.

Blocks and lines are held out whole. Made surfaces tell truth for certain; the demo's surveys are
read from ``work/`` where it is built, real soundings from the folder WRACKLINE_DATA where that is;
what isn't there is named and left out. A held-out cell is itself known with its random sd only, so
that is added to the sd of a filled one. ``python tests/benchmarks/filling.py`` prints, for each
case and method, the RMSE, the median of absolute errors and how many held-out cells lie in the
95 % interval; the libraries tell no sd, so of them nothing.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import rasterio
from scipy.interpolate import CloughTocher2DInterpolator, LinearNDInterpolator, RBFInterpolator

from wrackline.points import read_points
from wrackline.rasters import TICK_M, Grid
from wrackline.seabed.fill import fill_gaps
from wrackline.seabed.roughness import RoughnessSums

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

ROOT = Path(__file__).resolve().parents[2]
DATA = Path(os.environ.get("WRACKLINE_DATA", ROOT.parent / "shared" / "data"))
WORK = Path(os.environ.get("WRACKLINE_WORK", ROOT / "work"))
MOST_TARGETS = 4000
CELL_M, NOISE_M = 0.5, 0.02


@dataclass(frozen=True)
class Case:
    """A surface with cells to hold out: heights and truth [m], random sd [m], cell, distance."""

    name: str
    height: Array
    random_sd: Array
    held_out: Mask
    truth: Array
    truth_sd: Array
    cell_m: float
    distance_m: float


def our_way(case: Case, height: Array, at: npt.NDArray[np.int64]) -> tuple[Array, Array]:
    """Return heights and sd at cells, as a survey's gaps are filled."""
    random = np.where(np.isfinite(height), case.random_sd**2, np.nan)
    sums = RoughnessSums(case.cell_m, 2 * case.distance_m)
    sums.add(height, random)
    filled = fill_gaps(
        height,
        random,
        np.zeros_like(height),
        cell_m=case.cell_m,
        distance_m=case.distance_m,
        rough=sums.model(),
    )
    return filled.height[tuple(at.T)], np.sqrt(filled.random[tuple(at.T)])


def library(make: Callable[[Array, Array], Callable[[Array], Array]]) -> Callable[..., object]:
    """Return a library's interpolator as a method; it tells no sd."""

    def method(case: Case, height: Array, at: npt.NDArray[np.int64]) -> tuple[Array, Array]:
        known = np.argwhere(np.isfinite(height))
        call = make(known.astype(float), height[tuple(known.T)])
        return np.asarray(call(at.astype(float)), dtype=float), np.full(len(at), np.nan)

    return method


METHODS: dict[str, Callable[..., object]] = {
    "kriging with drift (ours)": our_way,
    "linear triangles": library(LinearNDInterpolator),
    "Clough-Tocher": library(CloughTocher2DInterpolator),
    "thin plate, 32 nearest": library(
        lambda x, z: RBFInterpolator(x, z, neighbors=32, kernel="thin_plate_spline")
    ),
}


def compare(case: Case) -> Iterator[tuple[str, float, float, float, int]]:
    """Yield method, RMSE [m], median absolute error [m], coverage, and cells, for one case.

    All are scored on the cells that all of them fill.
    """
    height = np.where(case.held_out, np.nan, case.height)
    at = np.argwhere(case.held_out & np.isfinite(case.truth))
    at = at[:: max(1, len(at) // MOST_TARGETS)]
    found = {name: method(case, height, at) for name, method in METHODS.items()}
    both = np.all([np.isfinite(values) for values, _ in found.values()], axis=0)
    truth, truth_sd = (of[tuple(at.T)][both] for of in (case.truth, case.truth_sd))
    for name, (values, sd) in found.items():
        error = values[both] - truth
        inside = abs(error) <= 1.96 * np.hypot(sd[both], truth_sd)
        covered = float(inside.mean()) if np.isfinite(sd[both]).all() else float("nan")
        rms, middle = float(np.sqrt((error**2).mean())), float(np.median(abs(error)))
        yield name, rms, middle, covered, int(both.sum())


def blocks(shape: tuple[int, int], size: int, apart: int) -> Mask:
    """Return square blocks of cells, one in each square of `apart` cells."""
    row, column = np.indices(shape)
    return (row % apart < size) & (column % apart < size)


SURFACES: dict[str, Callable[[Array, Array], Array]] = {
    "dome": lambda x, y: 2.0 * np.exp(-((x - 30) ** 2 + (y - 30) ** 2) / 400),
    "ramp": lambda x, y: 0.08 * x - 0.03 * y,
    "ripples": lambda x, y: 0.04 * np.sin(2 * np.pi * (x + 0.4 * y) / 3.1),
    "wall across": lambda x, y: 0.5 * (abs(y - 0.3 * x - 20) < 0.4),
    "wall along": lambda x, _: 0.5 * (abs(x - 30.2) < 0.4),
}


def made_cases() -> Iterator[Case]:
    """Yield made surfaces: sounding lines 4 m apart, and a swath with blocks of 4 m missing."""
    rng = np.random.default_rng(20311)
    row, column = np.indices((120, 120))
    x, y = CELL_M * column, CELL_M * row
    for name, surface in SURFACES.items():
        truth = surface(x, y)
        measured = truth + rng.normal(0, NOISE_M, truth.shape)
        sd = np.full(truth.shape, NOISE_M)
        for kind, out in (("lines", column % 8 != 4), ("holes", blocks(truth.shape, 8, 16))):
            yield Case(f"{name}, {kind}", measured, sd, out, truth, 0 * sd, CELL_M, 2.5)


def binned(points: Path, sd_m: float) -> tuple[Array, Array]:
    """Return mean heights by cell of 0.5 m and their random sd [m]."""
    parts = list(read_points(points))
    names = ("easting", "northing", "height")
    e, n, h = (np.concatenate([getattr(part, name) for part in parts]) for name in names)
    bounds = (e.min() * TICK_M, n.min() * TICK_M, e.max() * TICK_M, n.max() * TICK_M)
    grid = Grid.around((0.0, 0.0), CELL_M, bounds)
    return means(grid.flat(e, n), h * TICK_M, grid.shape, sd_m)


def means(
    at: npt.NDArray[np.int64], z: Array, shape: tuple[int, int], sd_m: float
) -> tuple[Array, Array]:
    """Return mean heights by cell and their random sd [m]."""
    count = np.bincount(at, minlength=shape[0] * shape[1]).reshape(shape)
    total = np.bincount(at, z, minlength=count.size).reshape(shape)
    known = np.maximum(count, 1)
    return np.where(count > 0, total / known, np.nan), sd_m / np.sqrt(known)


def demo_cases() -> Iterator[Case]:
    """Yield the demo's sounding lines and swath, whole lines and whole blocks held out."""
    lines, swath = (WORK / "fit" / name / "points.laz" for name in ("2031-soundings", "2032-swath"))
    if not (lines.is_file() and swath.is_file()):
        sys.stdout.write(f"left out: the demo's surveys, no points under {WORK}\n")
        return
    height, sd = binned(lines, 0.06)
    row, column = np.indices(height.shape)
    every_third = (column // 8) % 3 == 1
    yield held("soundings, every third line", height, sd, every_third, 4.5)
    yield held("soundings, stretches of 10 m", height, sd, every_third & (row % 40 < 20), 4.5)
    height, sd = binned(swath, 0.045)
    yield held("swath, blocks of 4 m", height, sd, blocks(height.shape, 8, 24), 2.5)
    yield held("swath, lines of 3 m", height, sd, np.indices(height.shape)[1] % 20 < 6, 2.5)


def held(
    name: str, height: Array, sd: Array, out: Mask, distance_m: float, cell_m: float = CELL_M
) -> Case:
    """Return a case whose truth is what was measured in the held-out cells."""
    return Case(name, height, sd, out, height, sd, cell_m, distance_m)


def real_cases() -> Iterator[Case]:
    """Yield a real sonar grid and real harbour soundings, where they are at hand."""
    bag = DATA / "sonar-grid" / "JD211_public_Release_1-4_UTM.bag"
    table = DATA / "harbour-soundings" / "soundings_all_epochs_utm18s.csv"
    if not (bag.is_file() and table.is_file()):
        sys.stdout.write(f"left out: real soundings, none under {DATA}\n")
        return
    with rasterio.open(bag) as source:
        z = source.read(1, masked=True).filled(np.nan).astype(float)[300:900, 500:1100]
    z[abs(z) > 1e5] = np.nan
    sd = np.full(z.shape, 0.02)
    yield held("sonar grid, blocks of 16 m", z, sd, blocks(z.shape, 8, 24), 10.0, 2.0)
    yield held("sonar grid, lines of 12 m", z, sd, np.indices(z.shape)[1] % 20 < 6, 10.0, 2.0)
    all_of_them = pd.read_csv(table)
    for epoch in ("2011-02", "2013-03"):
        of = all_of_them[all_of_them["epoch"] == epoch]
        column, row = (((of[k] - of[k].min()) // 10).to_numpy(dtype=np.int64) for k in "EN")
        shape = int(row.max()) + 1, int(column.max()) + 1
        z, sd = means(row * shape[1] + column, -of["depth_m"].to_numpy(), shape, 0.1)
        yield held(f"harbour {epoch}, blocks of 80 m", z, sd, blocks(shape, 8, 24), 80.0, 10.0)


def main() -> None:
    """Print the table."""
    for cases in (made_cases(), demo_cases(), real_cases()):
        for case in cases:
            for name, rms, middle, covered, cells in compare(case):
                sys.stdout.write(
                    f"{case.name:32} {name:28} rmse {rms:.3f}  median {middle:.3f}"
                    f"  in 95 % {covered:.3f}  cells {cells}\n"
                )


if __name__ == "__main__":
    main()
