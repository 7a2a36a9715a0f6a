"""Sketches of surveys in the site's CRS: what a picture needs of each, thinned on the way."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow.parquet as pq
import shapely

from wrackline import vectors
from wrackline.errors import WracklineError
from wrackline.fit.points import heights
from wrackline.frames import Placing, placing
from wrackline.heights import zero_height
from wrackline.intake.water import read_water
from wrackline.model import POINT_HOLDS, Site, Survey
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]

MOST_DOTS = 1500
MOST_SOUNDINGS = 20_000
MOST_VERTICES = 3000
CHUNK = 500_000


def _nothing(columns: int) -> Array:
    return np.empty((0, columns))


@dataclass(frozen=True)
class Sketch:
    """A survey, as much of it as a picture needs, in the site's CRS.

    Attributes
    ----------
    name : str
        Identifier of the survey.
    dots : array, shape (n, 2)
        Easting and northing of points, at most `MOST_DOTS` [m].
    paths : list of array, shape (k, 2)
        Lines and outlines, at most `MOST_VERTICES` vertices in all [m].
    soundings : array, shape (m, 3)
        Easting, northing and height above the datum of the bed, where known [m].
    """

    name: str
    dots: Array = field(default_factory=lambda: _nothing(2))
    paths: list[Array] = field(default_factory=list)
    soundings: Array = field(default_factory=lambda: _nothing(3))

    @property
    def places(self) -> Array:
        """Dots and vertices together, shape (n, 2) [m]."""
        return np.vstack([self.dots, *self.paths])


def sketch_survey(name: str, survey: Survey, table: Path | str, site: Site) -> Sketch:
    """Return the sketch of a survey from the table that intake wrote.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    survey, site : Survey, Site
        Their config.
    table : Path or str
        `points.parquet` or `items.parquet`, in the file's own numbers.

    Returns
    -------
    Sketch
        Empty when the table is, or when the survey can't be placed (intake says so).
    """
    try:
        place = placing(name, survey, site.crs)
    except WracklineError:
        return Sketch(name)
    if survey.holds in POINT_HOLDS:
        return _sketch_bed(Source(name, survey), table, place, site)
    return _sketch_items(name, table, place)


def _sketch_bed(source: Source, table: Path | str, place: Placing, site: Site) -> Sketch:
    thinner = Thinner(MOST_SOUNDINGS)
    with pq.ParquetFile(table) as stored:
        names = ["x", "y", "v"] + [n for n in ("time",) if n in stored.schema_arrow.names]
        for batch in stored.iter_batches(batch_size=CHUNK, columns=names):
            columns = [batch.column(n).to_numpy(zero_copy_only=False) for n in names]
            thinner.take(np.column_stack(columns))
    kept = thinner.kept
    if not len(kept):
        return Sketch(source.name)
    xy = np.column_stack(place(kept[:, 0], kept[:, 1]))
    xyz = np.column_stack([xy, _heights(source, site, kept, xy)])
    xyz = xyz[np.isfinite(xy).all(axis=1)]
    return Sketch(source.name, thin(xyz[:, :2], MOST_DOTS), [], xyz[np.isfinite(xyz[:, 2])])


def _heights(source: Source, site: Site, kept: Array, xy: Array) -> Array:
    """Return heights above the datum, NaN where the config or the water's record gives none."""
    meant = source.survey.vertical
    time = kept[:, 3] if kept.shape[1] > 3 else None
    try:
        water = (
            read_water(source, Problems(), doubts=False) if meant.water_level is not None else None
        )
        links = site.links_from(meant.zero)
        zero = zero_height(links, xy[:, 0], xy[:, 1], crs=site.crs, folder=source.folder)
        return heights(
            kept[:, 2],
            source.survey,
            time=time,
            water=water,
            zero=zero,
            place=(xy[:, 0], xy[:, 1]),
        )
    except (WracklineError, ValueError):  # other checks say so
        return np.full(len(kept), np.nan)


def _sketch_items(name: str, table: Path | str, place: Placing) -> Sketch:
    shapes = shapely.get_parts(shapely.force_2d(vectors.read(table).geometry.to_numpy()))
    if not len(shapes):
        return Sketch(name)
    moved = shapely.transform(shapes, lambda xy: np.column_stack(place(xy[:, 0], xy[:, 1])))
    moved = moved[np.isfinite(shapely.bounds(moved)).all(axis=1)]
    kind = shapely.get_dimensions(moved)
    rings = shapely.get_parts(shapely.boundary(moved[kind == 2]))
    lines = np.concatenate([moved[kind == 1], rings])
    dots = shapely.get_coordinates(moved[kind == 0])
    return Sketch(name, thin(dots, MOST_DOTS), _thin_paths(lines))


def _thin_paths(lines: npt.NDArray[np.object_]) -> list[Array]:
    """Return lines as arrays, simplified, and in the end picked, to `MOST_VERTICES` vertices."""
    if not len(lines):
        return []
    west, south, east, north = shapely.total_bounds(lines)
    tolerance = max(east - west, north - south) / 2000
    while shapely.get_num_coordinates(lines).sum() > MOST_VERTICES:
        lines = shapely.simplify(lines, tolerance, preserve_topology=False)
        lines = lines[~shapely.is_empty(lines)]
        if shapely.get_num_coordinates(lines).sum() <= 3 * len(lines):
            lines = lines[:: -(-3 * len(lines) // MOST_VERTICES)]
        tolerance *= 2
    return [shapely.get_coordinates(line) for line in lines]


class Thinner:
    """Keeps the first point of each square cell; the cells grow until few enough are kept.

    Parameters
    ----------
    most : int
        Points to keep at most; of many spread out, at least a third as many are kept.
    """

    def __init__(self, most: int) -> None:
        self.kept: Array = _nothing(3)
        self._most = most
        self._cell = 0.0

    def take(self, rows: Array) -> None:
        """Take in points, shape (n, k): x, y and what goes with them."""
        rows = rows[np.isfinite(rows[:, :2]).all(axis=1)]
        if not len(rows):
            return
        if not self._cell:
            # not from the whole extent, which one stray point would make too large
            some = rows[:: max(1, len(rows) // 5000), :2]
            middle = np.ptp(np.quantile(some, [0.25, 0.75], axis=0), axis=0).max()
            self._cell = max(float(middle) / self._most**0.5 / 8, 1e-9)
        rows = _first_in_cells(rows, self._cell)
        rows = np.vstack([self.kept, rows]) if len(self.kept) else rows
        while len(rows := _first_in_cells(rows, self._cell)) > self._most:
            self._cell *= 2**0.5
        self.kept = rows


def thin(rows: Array, most: int) -> Array:
    """Return points, shape (n, k), thinned evenly over the ground to at most `most`.

    >>> thin(np.zeros((9, 2)), 5).shape
    (1, 2)
    """
    thinner = Thinner(most)
    thinner.take(rows)
    return thinner.kept if len(thinner.kept) else rows[:0]


def _first_in_cells(rows: Array, cell: float) -> Array:
    key = np.floor(rows[:, :2] / cell)
    return rows[~pd.MultiIndex.from_arrays([key[:, 0], key[:, 1]]).duplicated()]
