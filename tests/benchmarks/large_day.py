"""A large day as raw files, two million soundings and five thousand wall points. All invented."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sites import CRS, ORIGIN, survey, write_shapes, write_site

SOUNDINGS, WALLS, SIDE_M = 2_000_000, 1000, 300.0
START = np.datetime64("2031-06-09T06:00:00")


def bed_height(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Return the height of the seabed, metres from the origin [m]."""
    return np.asarray(-3 - 0.01 * east - 0.3 * np.sin(east / 20) * np.cos(north / 25))


def level(seconds: np.ndarray) -> np.ndarray:
    """Return what the gauge reads, its zero 1 m below the datum [m]."""
    return np.asarray(1.05 + 0.2 * np.sin(2 * np.pi * seconds / 44_700))


def write_soundings(folder: Path, rng: np.random.Generator) -> None:
    """Write soundings of eight hours along lines, in order of time, and the gauge's record."""
    k = np.arange(SOUNDINGS)
    seconds = k * 0.015
    along = (k * 0.04) % (2 * SIDE_M)
    east = np.where(along < SIDE_M, along, 2 * SIDE_M - along)
    north = np.minimum(k / SOUNDINGS * SIDE_M, SIDE_M) + rng.uniform(-1.5, 1.5, SOUNDINGS)
    water = level(seconds + 6 * 3600) - 1.0
    depth = water - bed_height(east, north) + rng.normal(0, 0.05, SOUNDINGS)
    times = START + (seconds * 1000).astype("timedelta64[ms]")
    table = {"easting": east + ORIGIN[0], "northing": north + ORIGIN[1], "depth": depth}
    frame = pd.DataFrame(table).round(2)
    frame["time"] = times
    frame.to_csv(folder / "bed.csv", index=False, date_format="%Y-%m-%dT%H:%M:%S")
    record = np.arange(145) * 600
    gauge = {"time": START - np.timedelta64(6, "h") + record.astype("timedelta64[s]")}
    pd.DataFrame({**gauge, "level_m": level(record).round(3)}).to_csv(
        folder / "gauge.csv", index=False, date_format="%Y-%m-%dT%H:%M:%S"
    )


def write_walls(folder: Path, rng: np.random.Generator) -> None:
    """Write lines of five points each, half a metre above the bed."""
    lines = []
    for _ in range(WALLS):
        at, turn = rng.uniform(20, SIDE_M - 20, 2), rng.uniform(0, np.pi)
        step = np.linspace(0, 8, 5)
        east, north = at[0] + step * np.cos(turn), at[1] + step * np.sin(turn)
        height = bed_height(east, north) + 0.5 + rng.normal(0, 0.03, 5)
        lines.append(
            shapely.LineString(np.column_stack([east + ORIGIN[0], north + ORIGIN[1], height]))
        )
    write_shapes(lines, folder / "walls.gpkg", CRS)


def large_day(site: Path) -> Path:
    """Write the site; return the file of soundings."""
    data = site / "data"
    data.mkdir(parents=True)
    rng = np.random.default_rng(20311)
    write_soundings(data, rng)
    write_walls(data, rng)
    vertical = {
        "meaning": "depth_below_water",
        "water_level": "data/gauge.csv",
        "water_level_zero_m": -1.0,
    }
    columns = {"vertical": "depth", "time": "time"}
    noise = {"random_vertical_sd_m": 0.05}
    bed = survey("bed", "data/bed.csv", "bed_points", vertical=vertical, columns=columns, **noise)
    write_site(site, {"2031": [bed, survey("walls", "data/walls.gpkg", "wall_lines")]})
    return data / "bed.csv"
