"""Blunders among simulated soundings: how many are found, how many good points are lost.

Run it alone: `python tests/benchmarks/blunders.py [towns]`, 5 when left out. Single blunders and
blocks of one of two passes, 1 % of each, off by 0.5 to 5 m; RMSE beside that of the same data
without them, over all cells and beside walls 0.3 m high.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit" / "seabed"))
import sims

from wrackline.seabed.gridding import Settings
from wrackline.uncertainty import ErrorModel

CASES = {
    "multibeam, 200 points a m², cells of 0.2 m": (ErrorModel("s", 0.06, 0.04), 200, 0.2),
    "photographs, 1,200 points a m², cells of 0.07 m": (ErrorModel("p", 0.02, 0.03), 1200, 0.07),
}
FIRST_SEED = 1000


def single(name: str, seed: int) -> tuple[float, float, float, float]:
    """Return shares found and lost, and RMSE over that of clean data, everywhere and at walls."""
    model, per_m2, cell_m = CASES[name]
    xyz, kind = sims.passes(np.random.default_rng(seed), per_m2, model, side=24.0)
    how = Settings(cell_m, 0.0)
    done, clean = sims.gridded(xyz, model, how), sims.gridded(xyz[kind == 0], model, how)
    listed = sims.is_listed(done, xyz)
    walls = [sims.town_rmse(one, near_walls=True) for one in (done, clean)]
    ratio = sims.town_rmse(done) / sims.town_rmse(clean)
    return listed[kind > 0].mean(), listed[kind == 0].mean(), ratio, walls[0] / walls[1]


def blocks(seed: int) -> tuple[int, int, float]:
    """Return how many blocks there were, how many are named, and RMSE over that of clean data."""
    model, per_m2, cell_m = CASES["multibeam, 200 points a m², cells of 0.2 m"]
    xyz, block = sims.passes(np.random.default_rng(seed), per_m2, model, blocks=True)
    how = Settings(cell_m, 0.0)
    done, clean = sims.gridded(xyz, model, how), sims.gridded(xyz[block == 0], model, how)
    named = np.array([[one.column, one.row] for one in done.blocks]) * cell_m
    true = [xyz[block == number, :2].mean(axis=0) for number in np.unique(block[block > 0])]
    met = sum(np.linalg.norm(named - middle, axis=1).min() < 1.2 for middle in true)
    return len(true), int(met), sims.town_rmse(done) / sims.town_rmse(clean)


def figures(towns: int = 5) -> Iterator[tuple[str, float]]:
    """Yield each figure with its name."""
    seeds = range(FIRST_SEED, FIRST_SEED + towns)
    for name in CASES:
        told = np.array([single(name, seed) for seed in seeds])
        yield f"{name}: blunders found", told[:, 0].mean()
        yield f"{name}: good points lost", told[:, 1].mean()
        yield f"{name}: RMSE over clean, largest", told[:, 2].max()
        yield f"{name}: RMSE over clean at walls, largest", told[:, 3].max()
    held = np.array([blocks(seed) for seed in range(FIRST_SEED, FIRST_SEED + 2 * towns)])
    yield "blocks named", held[:, 1].sum() / held[:, 0].sum()
    yield "blocks: RMSE over clean, median", float(np.median(held[:, 2]))
    yield "blocks: towns within 5 % of clean", float((held[:, 2] <= 1.05).mean())


if __name__ == "__main__":
    for name, value in figures(*map(int, sys.argv[1:])):
        print(f"{name}: {value:.5g}")
