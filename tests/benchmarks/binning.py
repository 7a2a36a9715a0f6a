"""Cells' means of points in memory, beside numpy's bincount, scipy's binned statistic and GDAL.

Run it alone: `python tests/benchmarks/binning.py [millions of points]`, 20 when left out.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.stats import binned_statistic_2d

from wrackline.rasters import Grid
from wrackline.seabed.cells import Area, cell_of, sum_cells

COLUMNS, ROWS, CELL_M, CELL_TICKS = 8000, 4000, 0.05, 500
GDAL_POINTS = 100_000
"""GDAL's gridding looks around every cell, so it is given fewer points, and told by the point."""

LAYER = (
    '<OGRVRTDataSource><OGRVRTLayer name="points"><SrcDataSource>{}</SrcDataSource>'
    '<GeometryType>wkbPoint</GeometryType><GeometryField encoding="PointFromColumns" x="x" y="y"/>'
    "</OGRVRTLayer></OGRVRTDataSource>"
)
OVER_SCIPY = "ours over scipy's"

Words = npt.NDArray[np.int32]

AREA = Area.of(Grid((0.0, 0.0), CELL_M, 0, 0, COLUMNS, ROWS), (0, 0, 0))


def points_along_lines(count: int) -> Words:
    """Return points in survey-line order, in ticks of 0.1 mm."""
    rng, at = np.random.default_rng(1), np.arange(count)
    along = at / count * 10
    east = (along % 1) * COLUMNS * CELL_TICKS + rng.normal(0, 200, count)
    north = (np.floor(along) + at % 256 / 256) / 10 * ROWS * CELL_TICKS + rng.normal(0, 200, count)
    words = np.column_stack([east, north, rng.normal(-40_000, 300, count)])
    words[:, :2] = np.clip(words[:, :2], 0, [COLUMNS * CELL_TICKS - 1, ROWS * CELL_TICKS - 1])
    return words.astype(np.int32)


def ours(words: Words) -> None:
    """Bin in compiled loops, by the cells of gridding: the mean."""
    sums = np.zeros((AREA.cells, 2), dtype=np.int64)
    _add(words, AREA.frame, sums)
    _divide(sums, np.empty(AREA.cells))


@njit(cache=True)
def _add(words, frame, sums):  # type: ignore[no-untyped-def]
    for i in range(len(words)):
        at = cell_of(words[i, 0], words[i, 1], frame)
        sums[at, 0] += 1
        sums[at, 1] += words[i, 2]


@njit(cache=True)
def _divide(sums, mean):  # type: ignore[no-untyped-def]
    for at in range(len(sums)):
        mean[at] = sums[at, 1] / sums[at, 0] if sums[at, 0] else np.nan


def ours_in_full(words: Words) -> None:
    """Bin in compiled loops: number, sum, squares and places."""
    sum_cells([words], AREA, base=-50_000)


def with_bincount(words: Words) -> None:
    """Bin by numpy: number and sum."""
    at = words[:, 1] // CELL_TICKS * COLUMNS + words[:, 0] // CELL_TICKS
    count = np.bincount(at, minlength=COLUMNS * ROWS)
    total = np.bincount(at, weights=words[:, 2], minlength=COLUMNS * ROWS)
    np.divide(total, count, where=count > 0, out=np.zeros(COLUMNS * ROWS))


def with_scipy(words: Words) -> None:
    """Bin by scipy: the mean."""
    limits = [[0, COLUMNS * CELL_TICKS], [0, ROWS * CELL_TICKS]]
    binned_statistic_2d(
        words[:, 0], words[:, 1], words[:, 2], "mean", bins=[COLUMNS, ROWS], range=limits
    )


def with_gdal(words: Words) -> float | None:
    """Return millions of points a second of GDAL's average within a cell, None without it."""
    if shutil.which("gdal_grid") is None:
        return None
    some = words[:: len(words) // GDAL_POINTS] / 10_000
    with tempfile.TemporaryDirectory() as held:
        table, layer = Path(held) / "points.csv", Path(held) / "points.vrt"
        np.savetxt(table, some, fmt="%.4f", delimiter=",", header="x,y,z", comments="")
        layer.write_text(LAYER.format(table), encoding="utf-8")
        size = ["-outsize", str(COLUMNS // 10), str(ROWS // 10), "-l", "points", "-q"]
        how = ["-zfield", "z", "-a", f"average:radius1={CELL_M * 5}:radius2={CELL_M * 5}"]
        start = time.perf_counter()
        subprocess.run(["gdal_grid", *size, *how, layer, Path(held) / "o.tif"], check=True)
        return len(some) / 1e6 / (time.perf_counter() - start)


def pace(work: Callable[[Words], None], words: Words) -> float:
    """Return millions of points a second, the best of two runs."""
    seconds = []
    for _ in range(2):
        start = time.perf_counter()
        work(words)
        seconds.append(time.perf_counter() - start)
    return len(words) / 1e6 / min(seconds)


def figures(millions: int = 20) -> dict[str, float]:
    """Return the pace of each, and ours over scipy's."""
    words = points_along_lines(millions * 1_000_000)
    for work in (ours, ours_in_full):
        work(words[:1000])
    told = {
        "ours, mean [M points/s]": pace(ours, words),
        "ours, number, sum, squares and places [M points/s]": pace(ours_in_full, words),
        "numpy's bincount, number and mean [M points/s]": pace(with_bincount, words),
        "scipy's binned_statistic_2d, mean [M points/s]": pace(with_scipy, words),
    }
    first, *_, last = told.values()
    told[OVER_SCIPY] = first / last
    grid = with_gdal(words)
    return told if grid is None else {**told, "GDAL's gdal_grid, cells of 0.5 m [M points/s]": grid}


if __name__ == "__main__":
    for name, value in figures(*map(int, sys.argv[1:])).items():
        print(f"{name}: {value:.3g}")
