"""How often a season's word on a wall is true, over walls with errors of every kind.

Each run draws the errors of the recorded tops (random, patchy, a benchmark) and of the surface
(random, patchy, an antenna's height, its place) from the models that the judging is told of, on
rippled ground with stones; walls stand, are gone, or lie under sand. Seeds are fixed. The bars are
those of the task: of walls that stand at most 1 % of the length is said to be lost, of walls that
are gone 95 % or more is, and so for burial.
"""

import numpy as np
import pandas as pd
import pytest
import shapely
from sighted import THICK, faces, plan, season, seen, surface

from wrackline.demo.survey import displace, draw_named
from wrackline.uncertainty import ErrorModel, NamedError

MARK = NamedError("benchmark:height", "height", 0.02)
POLE = ErrorModel("2031-walls", 0.03, 0.03, 0.02, 0.02, 6.0, (MARK,))
PHOTO = ErrorModel(
    "2033-photo", 0.02, 0.015, 0.0, 0.025, 30.0, (NamedError("antenna:height", "height", 0.02),)
)
ROWS, COLUMNS, LONG, APART = 6, 4, 9.0, 6.5
WALLS = [
    (2.0 + 13 * k, APART * row, 2.0 + 13 * k + LONG) for row in range(ROWS) for k in range(COLUMNS)
]
BOUNDS = (-2.0, -4.0, 13.0 * COLUMNS + 2, APART * ROWS)
BED = -5.0


def rippled(xy, rng, sand=0.0):
    """Return a bed with waves of 4 cm at a chance direction, and sand over it [m]."""
    turn, phase = rng.uniform(0, np.pi, 2)
    along = xy[:, 0] * np.cos(turn) + xy[:, 1] * np.sin(turn)
    return BED + sand + 0.02 * np.sin(2 * np.pi * along / 3.1 + phase)


def run(tmp_path, seed, *, high, stands, sand=0.0, cell=0.25):
    """Return the metres of each status in one run of 24 walls of 9 m, both faces."""
    rng = np.random.default_rng([20311126, seed])
    draws = draw_named([POLE, PHOTO], rng)
    top = BED + high
    lines = faces(WALLS, top)
    ends = np.array([line.coords for line in lines.geometry]).reshape(-1, 3)
    moved = displace(ends, POLE, rng, draws).reshape(-1, 2, 3)
    what = plan(WALLS, top, models=(POLE,))
    object.__setattr__(what, "walls", lines.set_geometry(shapely.linestrings(moved)))
    standing = WALLS if stands else []
    patch = rng.normal(0, PHOTO.patchy_vertical)
    shift = np.sum([draws[part.name] * part.sd for part in PHOTO.named]) + patch

    def height(xy):
        level = rippled(xy, np.random.default_rng([7, seed]), sand)
        for west, south, east in standing:
            on = (xy[:, 0] >= west) & (xy[:, 0] <= east)
            on &= (xy[:, 1] >= south) & (xy[:, 1] <= south + THICK)
            level[on] = np.maximum(level[on], top)
        return level + shift

    path = surface(
        tmp_path / f"{seed}.tif", height, bounds=BOUNDS, cell=cell, noise=0.015, seed=seed
    )
    parts = season(path)
    object.__setattr__(parts, "models", {"2033-photo": PHOTO})
    table = seen(what, parts)
    return table.groupby("status")["length_m"].sum()


def shares(tmp_path, seeds, **how):
    """Return the share of each status over several runs."""
    runs = pd.DataFrame([run(tmp_path, seed, **how) for seed in seeds]).sum()
    return {"lost": 0.0, "buried": 0.0, "seen": 0.0, **(runs / runs.sum()).to_dict()}


@pytest.mark.parametrize("high", [0.12, 0.3, 0.8])
@pytest.mark.parametrize("cell", [0.25, 0.5])
def test_of_walls_that_stand_hardly_any_is_said_to_be_lost(tmp_path, high, cell):
    """Walls of one course to some: at most 1 % of their length is lost by what is said of them."""
    found = shares(tmp_path, range(4), high=high, stands=True, cell=cell)
    assert found["lost"] <= 0.01
    assert found["buried"] <= 0.01
    if high >= 0.3:
        assert found["seen"] >= 0.95


@pytest.mark.parametrize("cell", [0.25, 0.5])
def test_walls_that_are_gone_are_said_to_be_lost(tmp_path, cell):
    """Of walls of 0.4 m and more that are gone, 95 % of the length or more is named."""
    for high in (0.4, 0.8):
        assert shares(tmp_path, range(4), high=high, stands=False, cell=cell)["lost"] >= 0.95


def test_walls_under_sand_are_said_to_be_buried(tmp_path):
    """Under 0.2 m of sand, 95 % of the length or more is named, and none is lost."""
    found = shares(tmp_path, range(6), high=0.3, stands=True, sand=0.5)
    assert found["buried"] >= 0.95
    assert found["lost"] == 0.0
