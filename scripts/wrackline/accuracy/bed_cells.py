"""Bed points as intake wrote them, placed and summed by coarse cells and by runs of sounding.

Read in chunks; what stays in memory is one row for each cell and run. Heights stay linear in the
file's own numbers, so that other signs, units and clocks can be tried on the sums alone.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow.parquet as pq

from wrackline.fit.points import heights, with_water_errors
from wrackline.frames import placing
from wrackline.heights import zero_height
from wrackline.intake.water import WaterRecord, record_of
from wrackline.model import POINT_HOLDS, Site, Survey
from wrackline.uncertainty import ErrorModel
from wrackline.verdict import Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

CHUNK = 250_000
RUN_S = 900
"""Length of a run of soundings [s]; where no time is known there are `RUNS` runs of rows."""
RUNS = 50
MOST_RUNS = 400
APART_SDS = 3.0
"""Sds of position that a cell of comparison is wide, at least (no source)."""
COARSE = 2
LEAST_CELL_M = 1.0
HALF = 1 << 20
WINDOW_CELLS = 8
"""Side of a window in which runs are held against each other, in cells."""
MOST_ROWS = 400_000
"""Cells of runs that are kept, about; beyond it, those of evenly chosen windows."""
PRIME = 1009
SUMS = ["n", "x", "y", "h", "hh", "zero", "t"]


@dataclass(frozen=True)
class Lie:
    """How a surface lies at some cells: rise per metre, shape (n, 2), and roughness, shape (n,)."""

    slope: Array
    rough: Array


@dataclass(frozen=True)
class BedCells:
    """A survey of the bed, cell by cell and run by run.

    Attributes
    ----------
    name : str
        Identifier.
    survey : Survey
    model : ErrorModel
    cell_m : float
        Side of a cell; cells count from the site's origin [m].
    origin : tuple of float
        The site's origin [m].
    cells : DataFrame
        Index `key`, sorted: ``n`` points, mean ``x``, ``y`` (from the origin), ``h`` and
        ``zero`` (the height of the file's zero) [m], ``spread`` (sd of heights) [m].
    runs : DataFrame
        One row a cell and run, of all windows or of some: ``key``, ``run`` (from 0 in order of
        time or rows), ``n``, ``x``, ``y``, ``h``, ``zero``, ``t`` (UTC) likewise.
    spans : DataFrame
        By run: ``first_row``, ``last_row``, ``first_s``, ``last_s`` (NaN without time).
    negative : float
        Share of the file's vertical numbers below 0.
    water : WaterRecord or None
    """

    name: str
    survey: Survey
    model: ErrorModel
    cell_m: float
    origin: tuple[float, float]
    cells: pd.DataFrame
    runs: pd.DataFrame
    spans: pd.DataFrame
    negative: float
    water: WaterRecord | None = None

    @cached_property
    def key(self) -> Ints:
        """Sorted keys of the cells."""
        return self.cells.index.to_numpy(np.int64)

    @cached_property
    def lie(self) -> Lie:
        """How the surface lies at each cell."""
        return _lie(self)

    def lie_at(self, keys: Ints) -> Lie:
        """Return how the surface lies at some of the survey's cells."""
        at = np.searchsorted(self.key, keys)
        return Lie(self.lie.slope[at], self.lie.rough[at])

    def places(self) -> Array:
        """Return mean easting and northing of each cell's points, shape (n, 2) [m]."""
        return np.asarray(self.cells[["x", "y"]].to_numpy(float) + np.array(self.origin))


def cell_side(site: Site, surveys: Iterable[Survey] = ()) -> float:
    """Return the side of a cell of comparison [m].

    Surveys placed by a hand-held receiver, metres apart along their tracks, seldom meet in a cell
    of the seabed's; so a cell is no smaller than what most of the surveys can tell apart.
    """
    sds = [one.random_horizontal_sd_m for one in surveys if one.holds in POINT_HOLDS]
    apart = APART_SDS * statistics.median(sds) if sds else 0.0
    return max(LEAST_CELL_M, COARSE * site.seabed.cell_m, apart)


def cell_keys(xy: Array, cell_m: float) -> Ints:
    """Return one whole number for the cell of each place, shape (n,).

    Parameters
    ----------
    xy : array, shape (n, 2)
        East and north of the site's origin [m].
    cell_m : float
        Side of a cell [m].
    """
    cell = np.clip(np.floor(xy / cell_m), -HALF, HALF - 1).astype(np.int64) + HALF
    return np.asarray((cell[:, 0] << 21) | cell[:, 1], dtype=np.int64)


def coarse_keys(key: Ints) -> Ints:
    """Return one whole number for the window, `WINDOW_CELLS` cells wide, of each cell."""
    east, north = key >> 21, key & ((1 << 21) - 1)
    return np.asarray((east // WINDOW_CELLS << 21) | (north // WINDOW_CELLS), dtype=np.int64)


def read_bed_cells(
    source: Source, table: Path, site: Site, model: ErrorModel, *, side_m: float = 0.0
) -> BedCells | None:
    """Read a survey's points, as intake wrote them, into cells.

    Parameters
    ----------
    source : Source
    table : Path
        `points.parquet` of the stage intake.
    site : Site
    model : ErrorModel
        Errors of the survey.
    side_m : float
        Side of a cell; `cell_side` of the site alone when 0 [m].

    Returns
    -------
    BedCells or None
        None where no point has a height.

    Raises
    ------
    ConfigError, InputError
        When it can't be placed.
    """
    side = side_m or cell_side(site)
    water = record_of(source)
    placed = _Placed(source, site, water)
    cells, runs, spans, keep = [], [], [], 0
    for frame in placed.read(table):
        if len(frame):
            spans.append(_spans(frame))
            part = _summed(frame, side)
            keep = keep or max(1, round(len(part) * placed.total / len(frame) / MOST_ROWS))
            cells.append(part.groupby("key", sort=False)[SUMS].sum())
            runs.append(part[coarse_keys(part["key"].to_numpy()) % PRIME % keep == 0])
    if not cells:
        return None
    joined = pd.concat(spans).groupby(level=0).agg(JOINED)
    names = _few_runs(joined)
    summed = pd.concat(runs)
    summed["run"] = names.loc[summed["run"].to_numpy()].to_numpy()
    return BedCells(
        name=source.name,
        survey=source.survey,
        model=with_water_errors(model, source.survey, water=water, depth_m=placed.depth_m),
        cell_m=side,
        origin=site.origin,
        cells=_means(pd.concat(cells).groupby(level=0, sort=True)[SUMS].sum()),
        runs=_means(summed.groupby(["key", "run"], sort=True)[SUMS].sum()).reset_index(),
        spans=joined.groupby(names.to_numpy()).agg(JOINED),
        negative=placed.negative / max(placed.rows, 1),
        water=water,
    )


JOINED = {"first_row": "min", "last_row": "max", "first_s": "min", "last_s": "max"}


class _Placed:
    """Reads a table in chunks and places it, counting rows and negative numbers."""

    def __init__(self, source: Source, site: Site, water: WaterRecord | None) -> None:
        self.survey, self.origin, self.water = source.survey, site.origin, water
        self.links, self.crs = site.links_from(source.survey.vertical.zero), site.crs
        self.folder = source.folder
        self.place = placing(source.name, source.survey, site.crs)
        self.rows = self.negative = self.total = 0
        self.squares = 0.0

    @property
    def depth_m(self) -> float:
        """Root mean square of the vertical numbers read [m]."""
        return float(np.sqrt(self.squares / max(self.rows, 1)))

    def read(self, table: Path) -> Iterator[pd.DataFrame]:
        """Yield the points that have a place and a height, with the number of their run."""
        with pq.ParquetFile(table) as stored:
            self.total = stored.metadata.num_rows
            for batch in stored.iter_batches(batch_size=CHUNK):
                names = batch.schema.names
                got = {name: batch.column(name).to_numpy(zero_copy_only=False) for name in names}
                frame = self._frame(got)
                frame["run"] = _run_of(frame, self.rows, self.total)
                self.negative += int((got["v"] < 0).sum())
                self.squares += float(np.square(got["v"]).sum())
                self.rows += len(frame)
                yield frame[np.isfinite(frame[["x", "y", "h"]].to_numpy()).all(axis=1)]

    def _frame(self, got: dict[str, npt.NDArray[Any]]) -> pd.DataFrame:
        """Return points from the site's origin, with heights and the height of the file's zero."""
        v, time = np.asarray(got["v"], dtype=float), got.get("time")
        east, north = self.place(got["x"], got["y"])
        linked = zero_height(self.links, east, north, crs=self.crs, folder=self.folder)
        h, zero = (
            heights(
                shown,
                self.survey,
                time=time,
                water=self.water,
                zero=linked,
                place=(east, north),
            )
            for shown in (v, np.zeros_like(v))
        )
        clock = np.full(len(v), np.nan) if time is None else time
        x, y = east - self.origin[0], north - self.origin[1]
        columns = {"n": 1.0, "x": x, "y": y, "h": h, "hh": h**2, "zero": zero, "t": clock}
        return pd.DataFrame({**columns, "row": got["row"]})


def _run_of(frame: pd.DataFrame, start: int, total: int) -> Ints:
    """Return the number of the run of each point: of time, or of rows."""
    time = frame["t"].to_numpy(float)
    if np.isfinite(time).any():
        return np.asarray(np.floor(np.nan_to_num(time) / RUN_S), dtype=np.int64)
    at = start + np.arange(len(frame), dtype=np.int64)
    return np.asarray(at * RUNS // max(total, 1), dtype=np.int64)


def _spans(frame: pd.DataFrame) -> pd.DataFrame:
    by = frame.groupby("run", sort=True)
    row, time = by["row"], by["t"]
    return pd.DataFrame(
        {
            "first_row": row.min(), "last_row": row.max(),
            "first_s": time.min(), "last_s": time.max(),
        }
    )  # fmt: skip


def _summed(frame: pd.DataFrame, side: float) -> pd.DataFrame:
    """Return sums by cell and run of one chunk."""
    keys = cell_keys(frame[["x", "y"]].to_numpy(float), side)
    return (
        frame.assign(key=keys, t=frame["t"].fillna(0.0))
        .groupby(["key", "run"], sort=False)[SUMS]
        .sum()
        .reset_index()
    )


def _few_runs(spans: pd.DataFrame) -> pd.Series:
    """Return a running number of each run, neighbours joined where there are very many."""
    step = -(-len(spans) // MOST_RUNS)
    return pd.Series(np.arange(len(spans)) // step, index=spans.index)


def _means(sums: pd.DataFrame) -> pd.DataFrame:
    out = sums[["x", "y", "h", "zero", "t"]].div(sums["n"], axis=0)
    variance = (sums["hh"] / sums["n"] - out["h"] ** 2).clip(lower=0.0)
    return out.assign(n=sums["n"], spread=np.sqrt(variance))


def _lie(bed: BedCells) -> Lie:
    """Fit a plane to the 5 × 5 cells around each; level where too few are sounded."""
    keys = bed.key
    x, y, h = (bed.cells[name].to_numpy(float) for name in ("x", "y", "h"))
    moments = np.zeros((10, len(keys)))
    for east in range(-2, 3):
        for north in range(-2, 3):
            near = keys + (east << 21) + north
            at = np.minimum(np.searchsorted(bed.key, near), len(bed.key) - 1)
            there = (bed.key[at] == near).astype(float)
            u, v, w = x[at] - x, y[at] - y, h[at] - h
            powers = (np.ones_like(u), u, v, w, u * u, u * v, v * v, u * w, v * w, w * w)
            moments += there * np.array(powers)
    n, u, v, w, uu, uv, vv, uw, vw, ww = moments / np.maximum(moments[0], 1.0)
    n = moments[0]
    uu, uv, vv = uu - u * u, uv - u * v, vv - v * v
    uw, vw, ww = uw - u * w, vw - v * w, ww - w * w
    ridge = 0.02 * bed.cell_m**2
    a, b = uu + ridge, vv + ridge
    det = a * b - uv**2
    slope = np.column_stack([(uw * b - vw * uv) / det, (vw * a - uw * uv) / det])
    slope[n < 4] = 0.0
    left = ww - slope[:, 0] * uw - slope[:, 1] * vw
    return Lie(slope, np.sqrt(np.maximum(left, 0.0)))
