"""Simulated seasons of a corner of the demo, and what is told of the seabed's change.

Does the interval of net change hold the truth, and does nothing that changed stay nothing? The
demo's own surveys of two seasons over a corner of its town, with walls, ripples and plants: points
are taken anew in every run, with errors drawn from the stated models, named ones once a run;
gridded, filled, merged and compared by the workflow's own code. Walls of the plan are the true
ones. Half of the runs have the demo's moved sand and open trenches, half have none. Run it:
``python tests/benchmarks/seabed_change.py 1000``.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import yaml
from shapely.affinity import translate

from wrackline.config import load_site
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.survey import displace, draw_named
from wrackline.demo.town import settled
from wrackline.rasters import RasterReader
from wrackline.seabed.gridding import Settings
from wrackline.seabed.merge import Merging, Source, ground, merge_piece
from wrackline.seabed.sample import Surface
from wrackline.seabed.weights import Entry
from wrackline.seasons.seabed_change import FILLED, MEASURED, Change, Outlines, measure_change
from wrackline.uncertainty import ErrorModel, error_model

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "unit" / "seabed"))

from merged_coverage import Memory  # noqa: E402
from sims import gridded  # noqa: E402

Array = npt.NDArray[np.float64]

CORNER = (80.0, 95.0, 122.0, 131.0)
"""West, south, east and north edge, within the demo's ground [m]."""
PAIRS = {"swath, photographs": ("swath", "photo"), "sounding lines, swath": ("soundings", "swath")}
SEASONS = {"soundings": "2031-soundings", "swath": "2032-swath", "photo": "2033-photo"}
CELL_M, FILL_M, WINDOW_M = 0.5, 2.5, 1.5
FINE = np.linspace(-1 / 3, 1 / 3, 3) * CELL_M
COVERAGE_95 = 1.96


@dataclass(frozen=True)
class Ended:
    """One run: true and measured net volume, came and went, their sds [m³], areas of change."""

    true: float
    net: float
    sd: float
    fill: tuple[float, float]
    cut: tuple[float, float]
    gross_sd: float
    areas: int
    false_areas: int


@cache
def demo() -> tuple[Hamlet, dict[str, ErrorModel]]:
    """Return the demo's truth, and the stated errors of its surveys, places from the corner's."""
    config = load_site(ROOT)
    text = (ROOT / "config" / "demo.yaml").read_text(encoding="utf-8")
    hamlet = Hamlet(settled(yaml.safe_load(text)))
    east, north = np.array(hamlet.truth.south_west) + CORNER[:2]
    models = {}
    for name, long in SEASONS.items():
        stated = error_model(long, config.surveys[long], config.site)
        here = [
            replace(part, pivot=(part.pivot[0] - east, part.pivot[1] - north))
            for part in stated.named
        ]
        models[name] = replace(stated, named=tuple(here))
    return hamlet, models


def places(survey: str, rng: np.random.Generator) -> Array:
    """Return where a survey meets the bed of the corner, from its south-west, shape (n, 2) [m]."""
    west, south, east, north = CORNER
    wide, high = east - west, north - south
    if survey == "swath":
        return np.asarray(rng.uniform((0, 0), (wide, high), (int(9 * wide * high), 2)))
    if survey == "photo":
        x, y = np.meshgrid(np.arange(0.125, wide, 0.25), np.arange(0.125, high, 0.25))
        return np.column_stack([x.ravel(), y.ravel()])
    lines, along = np.arange(rng.uniform(0, 4), wide, 4.0), np.arange(0, high, 0.6)
    x, y = np.meshgrid(lines, along)
    return np.column_stack([(x + 0.25 * np.sin(y / 7.0)).ravel(), y.ravel()])


def surface(survey: str, moved: bool, draws: dict[str, float], rng: np.random.Generator) -> Surface:
    """Return one season's surface of the corner, with one draw of all errors."""
    hamlet, models = demo()
    corner = np.array(hamlet.truth.south_west) + CORNER[:2]
    xy = corner + places(survey, rng)
    true = hamlet.surface(xy, canopy=True, moved=moved)
    if survey == "photo":
        clear = hamlet.canopy(xy) <= 0.12
        xy, true = xy[clear], true[clear]
    seen = displace(np.column_stack([xy - corner, true]), models[survey], rng, draws)
    cleaned = 1.5 if survey != "photo" else None
    done = gridded(seen, models[survey], Settings(CELL_M, FILL_M, cleaned))
    source = Source(Entry(SEASONS[survey], 0, SEASONS[survey][:4], 0.0),
                    Memory(done.grid, done.bands), models[survey])  # fmt: skip
    grid = ground([source.reader], CELL_M)
    bands = merge_piece([source], grid, Merging(FILL_M, 2.0, None, CELL_M), {})
    assert bands is not None
    read = Memory(grid, bands).read
    return Surface(grid, read, [SEASONS[survey]], [models[survey]], [["2031-01-01"] * 2])


def outlines(dug: bool) -> Outlines:
    """Return the true walls, and the trenches, from the corner's south-west."""
    hamlet, _ = demo()
    corner = np.array(hamlet.truth.south_west) + CORNER[:2]

    def put(shape: Any) -> Any:
        return translate(shape, -corner[0], -corner[1])

    walls = [put(house.walls) for house in hamlet.houses.values()]
    walls += [put(wall) for wall in hamlet.free_walls.values()]
    trenches = {str(k): put(outline) for k, (outline, _) in enumerate(hamlet.trenches)}
    return Outlines({}, {}, walls, trenches if dug else {}, None)


def run(pair: str, moved: bool, seed: int, folder: Path) -> Ended:
    """Return what one pair of simulated seasons told."""
    hamlet, models = demo()
    rng = np.random.default_rng([seed, int(moved), list(PAIRS).index(pair)])
    early, late = PAIRS[pair]
    draws = draw_named([models[early], models[late]], rng)
    old, new = surface(early, False, draws, rng), surface(late, moved, draws, rng)
    change = Change(old, new, outlines(moved), "EPSG:32625", WINDOW_M)
    about = {"earlier": early, "later": late, "vertical_datum": "simulated"}
    found = measure_change(change, folder / "change.tif", about)
    with RasterReader(folder / "change.tif") as reader:
        grid, bands = reader.grid, reader.read(reader.grid)
    rise = _true_rise(grid, np.array(hamlet.truth.south_west) + CORNER[:2]) if moved else 0.0
    rise = np.broadcast_to(rise, grid.shape)
    natural, cell = np.isin(bands["ground"], (MEASURED, FILLED)), change.cell_m2
    true = rise[natural]
    touched = [np.abs(rise[bands["area"] == k]).max() for k in range(1, len(found["areas"]) + 1)]
    site, gross = found["site"], found["gross"]
    return Ended(
        float(true.sum() * cell),
        site["volume_m3"],
        site["volume_sd_m3"],
        (float(np.maximum(true, 0).sum() * cell), gross["came_m3"]),
        (float(np.maximum(-true, 0).sum() * cell), gross["went_m3"]),
        gross["gross_sd_m3"],
        len(found["areas"]),
        int((np.array(touched) < 0.02).sum()),
    )


def _true_rise(grid: Any, corner: Array) -> Array:
    """Return the mean true change of each cell [m]."""
    hamlet, _ = demo()
    x, y = np.meshgrid(*grid.centres())
    around = [
        corner + np.column_stack([(x + a).ravel(), (y + b).ravel()]) for a in FINE for b in FINE
    ]
    rises = [hamlet.bed(xy, moved=True) - hamlet.bed(xy) for xy in around]
    return np.asarray(np.mean(rises, axis=0).reshape(grid.shape))


def runs(pair: str, moved: bool, seeds: range) -> Iterator[Ended]:
    """Yield so many runs."""
    with tempfile.TemporaryDirectory() as folder:
        for seed in seeds:
            yield run(pair, moved, seed, Path(folder))


def tell(pair: str, moved: bool, seeds: range) -> str:
    """Return a line of what so many runs showed."""
    ended = list(runs(pair, moved, seeds))
    held = np.mean([abs(one.net - one.true) <= COVERAGE_95 * one.sd for one in ended])
    gross = [
        np.mean([abs(seen - true) <= COVERAGE_95 * one.gross_sd for one in ended
                 for true, seen in [getattr(one, which)]])
        for which in ("fill", "cut")
    ]  # fmt: skip
    some = np.mean([one.areas > 0 for one in ended])
    false = sum(one.false_areas for one in ended) / max(sum(one.areas for one in ended), 1)
    z = [(one.net - one.true) / one.sd for one in ended]
    return (
        f"{pair}, {'sand moved' if moved else 'nothing changed'}: {len(ended)} runs; net held "
        f"{held:.3f} (z {np.mean(z):+.2f}, sd {np.std(z):.2f}); came {gross[0]:.3f}, went "
        f"{gross[1]:.3f}; any area {some:.3f}; areas false {false:.3f}"
    )


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    for one_pair in PAIRS:
        for with_change in (False, True):
            print(tell(one_pair, with_change, range(first, first + number)), flush=True)
