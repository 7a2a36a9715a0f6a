"""A survey of many points to finished cells: time and memory beside merely decoding its file.

Run it alone (`python tests/benchmarks/survey_scale.py [millions of points] …`, 20 and 200 when left
out): it makes LAZ files in survey-line order over eight hectares, 5 cm cells, decodes them, spills
and grids them in two processes, each part in processes of its own whose peak memory is told.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from wrackline.points import Points, PointWriter, records
from wrackline.rasters import ticks
from wrackline.seabed.gridding import Settings, grid_share, grid_survey, spill_survey
from wrackline.seabed.tiles import work_of
from wrackline.uncertainty import ErrorModel

ORIGIN = (500_000.0, 4_700_000.0)
WIDTH_M, DEPTH_M, LINES, BEAMS = 400.0, 200.0, 10, 256
CELL_M, TILE_M, MEMORY_MB, CORES = 0.05, 64.0, 750.0, 2
CHUNK = 1_000_000
OVER_DECODING = (
    "to cells with count, mean, spread, sd, over decoding",
    "the same with blunders and middle, over decoding",
)
PER_MILLION = ("seconds a million points", "seconds a million points with blunders and middle")
PEAK = "peak memory [MB]"
PARTS = (("decode",), ("spill",), ("plain0", "plain1"), ("robust0", "robust1"), ("finish",))
"""What is measured, in turn; two names run beside each other."""


def make(path: Path, count: int) -> None:
    """Write a survey of so many points, line after line, there and back."""
    rng, each, swath = np.random.default_rng(1), count // LINES, DEPTH_M / LINES
    origin = ticks(ORIGIN)
    with PointWriter(path, crs="EPSG:32633", origin=ORIGIN) as writer:
        for line in range(LINES):
            for first in range(0, each, CHUNK):
                number = np.arange(first, min(first + CHUNK, each))
                along = number // BEAMS * BEAMS / each * WIDTH_M
                east = along if line % 2 == 0 else WIDTH_M - along
                north = (line + number % BEAMS / BEAMS) * swath
                east = np.clip(east + rng.normal(0, 0.02, len(number)), 0, WIDTH_M - 0.001)
                north = np.clip(north + rng.normal(0, 0.02, len(number)), 0, DEPTH_M - 0.001)
                height = -4 + 0.5 * np.sin(east / 15) + 0.3 * np.cos(north / 11)
                height += rng.normal(0, 0.03, len(number))
                place = ticks(np.round(east, 3)) + origin[0], ticks(np.round(north, 3)) + origin[1]
                writer.write(Points(*place, ticks(np.round(height, 3))))


def decode(path: Path, _: Path) -> int:
    """Decode the file and do nothing with it."""
    return sum(len(record) for record in records(path, chunk=2_000_000))


def spill(path: Path, folder: Path) -> None:
    """Decode the file and write its points by tile."""
    spill_survey(path, folder / "spill", ORIGIN, cell_m=CELL_M, tile_m=TILE_M)


def tiles(folder: Path, share: int, *, robust: bool) -> None:
    """Make the cells of one share of the tiles."""
    most = 1.5 if robust else None
    work = work_of(model(), cell_m=CELL_M, structure_max_m=most, memory_mb=MEMORY_MB)
    grid_share(folder / "spill", folder / f"{share}.tif", work=work, share=(share, CORES))


def finish(path: Path, folder: Path) -> None:
    """Turn the cells into the survey's surface, its raster included."""
    frame = {"crs": "EPSG:32633", "vertical_datum": "datum", "origin": ORIGIN}
    shares = [folder / f"{share}.tif" for share in range(CORES)]
    settings = Settings(CELL_M, 0.0, 1.5, TILE_M, MEMORY_MB)
    out = folder / "surface.tif"
    grid_survey(path, out, model=model(), frame=frame, settings=settings, shares=shares)


def model():
    """Return the errors that the survey states."""
    return ErrorModel("2033-large", 0.02, 0.03, 0.0, 0.02, 8.0)


def parts(name: str, path: Path, folder: Path) -> None:
    """Do one part and print its time and peak memory as JSON."""
    start = time.perf_counter()
    if name in ("plain0", "plain1", "robust0", "robust1"):
        tiles(folder, int(name[-1]), robust=name.startswith("robust"))
    else:
        {"decode": decode, "spill": spill, "finish": finish}[name](path, folder)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    print(json.dumps({"s": time.perf_counter() - start, "mb": peak}))


def measured(*names: str, path: Path, folder: Path) -> dict[str, float]:
    """Run parts beside each other; return the longest time and the sum of their peaks."""
    command = [sys.executable, __file__, "--part"]
    started = [
        subprocess.Popen([*command, name, path, folder], stdout=subprocess.PIPE, text=True)
        for name in names
    ]
    told = [json.loads(one.communicate()[0].splitlines()[-1]) for one in started]
    return {"s": max(one["s"] for one in told), "mb": sum(one["mb"] for one in told)}


def warm_up(folder: Path) -> None:
    """Have the loops compiled and kept before anything is measured."""
    path = folder / "small.laz"
    make(path, 200_000)
    for names in PARTS:
        measured(*names, path=path, folder=folder)


def figures(millions: int, folder: Path) -> dict[str, float]:
    """Measure one size, and return its figures."""
    path = folder / f"{millions}.laz"
    make(path, millions * 1_000_000)
    told = [measured(*names, path=path, folder=folder) for names in PARTS]
    decoding, spilling, plain, robust, finishing = told
    path.unlink()
    whole, judged = spilling["s"] + plain["s"], spilling["s"] + robust["s"]
    return {
        "decoding [s]": decoding["s"],
        "spilling over decoding": spilling["s"] / decoding["s"],
        OVER_DECODING[0]: whole / decoding["s"],
        OVER_DECODING[1]: judged / decoding["s"],
        "finishing and writing the surface [s]": finishing["s"],
        PEAK: max(one["mb"] for one in told),
        PER_MILLION[0]: whole / millions,
        PER_MILLION[1]: judged / millions,
    }


def main(sizes: list[int]) -> None:
    """Print the figures of each size."""
    with tempfile.TemporaryDirectory() as held:
        warm_up(Path(held))
        for millions in sizes:
            print(f"{millions} million points")
            for name, value in figures(millions, Path(held)).items():
                print(f"  {name}: {value:.3g}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--part"]:
        parts(sys.argv[2], Path(sys.argv[3]), Path(sys.argv[4]))
    else:
        main([int(size) for size in sys.argv[1:]] or [20, 200])
