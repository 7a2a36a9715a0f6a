"""Is a room of support 0.8 real in four of five cases? Counted on simulated towns.

The scale by which costs are shaken was set on the towns of `towns` (seeds below 100); counted are
rooms of `towns_other`, another hand's, on seeds from 1,000 on, with each damage of
`REGIMES`, by centre lines and by faces. Written to `RELIABILITY`, from which the report draws.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
from broken_walls import FIRST_SEED, LEAST_SD_M, MAKERS, REGIMES, make, spaces, table_of
from one_room_sites import SURVEY
from room_score import score

from wrackline.model import WallSettings
from wrackline.publish import report_support
from wrackline.uncertainty import ErrorModel
from wrackline.walls.joining import join_walls

Array = npt.NDArray[np.float64]

BINS = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0)
LEAST_COUNT = 100
COUNTED = tuple(name for name in REGIMES if name != "clean lines")
HOUSES, SEEDS = 100, 3


def one_town(maker: str, regime: str, drawn_as: str, seed: int) -> Array:
    """Return support of every room found, and whether it is real: shape (rooms, 2)."""
    damage = replace(REGIMES[regime], faces=drawn_as)
    town = make(maker, HOUSES, seed)
    drawn = MAKERS[maker][1](town, damage, seed)
    models = {SURVEY: ErrorModel(SURVEY, max(drawn.sd_m, LEAST_SD_M), 0.05)}
    joined = join_walls(table_of(drawn), models, WallSettings())
    found = spaces(joined.network)
    by_face = drawn_as == "face"
    match = score(town.floors if by_face else town.spaces, found, 1.0).match
    real = np.isin(np.arange(len(found)), match)
    return np.stack([joined.outlines[0].support(found), real], axis=1)


def counted(maker: str, seeds: int = SEEDS) -> Array:
    """Return support and truth of the rooms of all towns of a maker, shape (rooms, 2)."""
    parts = [
        one_town(maker, regime, drawn_as, FIRST_SEED + k)
        for drawn_as in ("centre", "face")
        for regime in COUNTED
        for k in range(seeds)
    ]
    return np.concatenate(parts)


def reliability(rooms: Array) -> pd.DataFrame:
    """Return, for bins of support, the number of rooms, their mean support and the real share."""
    at = np.digitize(rooms[:, 0], BINS[1:-1])
    rows = [
        {
            "support_from": BINS[k],
            "support_to": BINS[k + 1],
            "rooms": int((at == k).sum()),
            "mean_support": round(float(rooms[at == k, 0].mean()), 4),
            "real_share": round(float(rooms[at == k, 1].mean()), 4),
        }
        for k in range(len(BINS) - 1)
        if (at == k).any()
    ]
    return pd.DataFrame(rows)


def main(path: Path = report_support.RELIABILITY) -> None:
    """Count on both makers' towns; write what the other hand's say."""
    for maker in MAKERS:
        table = reliability(counted(maker))
        print(maker, table.to_string(index=False), sep="\n", flush=True)
    table.to_csv(path, index=False, lineterminator="\n")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
