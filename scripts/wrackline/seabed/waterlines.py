"""Where named sea levels meet today's seabed, which is no ancient shore, and how surely.

A level and the surface that it is held against may rest on the same gauge: what they share cancels
in the sd between them. Over the slope of the ground that sd is a distance, how far off the line
may lie; on ground so flat that it would reach beyond where the slope was taken, none is given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
import shapely.ops
from shapely.geometry import LineString

from wrackline import contract
from wrackline.model import SeaLevel
from wrackline.rasters import Grid, RasterReader
from wrackline.seabed.contours import STRIP_CELLS, lines_at
from wrackline.uncertainty import Budget, ErrorModel

Array = npt.NDArray[np.float64]

WATERLINES = contract.columns("waterlines")

STRETCH_M = 10.0
"""Lines are cut into equal stretches of at most this length, as slope and surface change."""
REACH_M = 5.0
LEAST_CELLS = 3
"""The slope is that of a plane through the cells within this distance, or this many cells."""
FLAT = "may_lie_off_m: the ground is too flat there to say how far off the line may lie"


@dataclass(frozen=True)
class Place:
    """The surface at one place: its sd [m], the survey behind it, its slope [m/m]."""

    sd_m: float
    source: int
    slope: float


def waterlines(
    surface: Path | str,
    models: Sequence[ErrorModel],
    *,
    levels: Sequence[tuple[SeaLevel, Budget]],
    crs: str,
    most_cells: int = STRIP_CELLS,
) -> gpd.GeoDataFrame:
    """Return where each named sea level meets today's seabed, in stretches.

    Parameters
    ----------
    surface : Path or str
        Raster with the bands ``height``, ``sd`` [m] and ``source``.
    models : sequence of ErrorModel
        Errors of the surveys that the source band counts.
    levels : sequence of (SeaLevel, Budget)
        With the uncertainty of each one's height [m].
    crs : str
        The site's CRS.
    most_cells : int
        Of a strip.

    Returns
    -------
    GeoDataFrame
        LineStrings with the fields of the layer ``waterlines``; a level that lies wholly above or
        below the surface has none.
    """
    heights = np.unique([level.height_m for level, _ in levels])
    drawn = dict(
        zip(heights.tolist(), lines_at(surface, heights, most_cells=most_cells), strict=True)
    )
    rows = []
    with RasterReader(surface) as reader:
        for level, budget in levels:
            for line in drawn[level.height_m]:
                for stretch in stretches(line):
                    at = place_of(reader, stretch.interpolate(0.5, normalized=True))
                    rows.append(_row(stretch, level, budget, at, models))
    table = {name: [row[name] for row in rows] for name in WATERLINES}
    lines = gpd.GeoSeries([row["geometry"] for row in rows], crs=crs)
    return gpd.GeoDataFrame(table, geometry=lines)


def stretches(line: LineString) -> list[LineString]:
    """Return a line cut into equal stretches of at most `STRETCH_M`.

    >>> [round(part.length, 2) for part in stretches(LineString([(0, 0), (25, 0)]))]
    [8.33, 8.33, 8.33]
    """
    count = max(1, int(np.ceil(line.length / STRETCH_M)))
    ends = line.length * np.arange(count + 1) / count
    return [shapely.ops.substring(line, start, stop) for start, stop in pairwise(ends)]


def place_of(reader: RasterReader, point: shapely.Point) -> Place:
    """Return the surface around a place.

    Parameters
    ----------
    reader : RasterReader
        Of a surface with the bands ``height``, ``sd`` and ``source``.
    point : Point

    Returns
    -------
    Place
        Of the nearest known cell; its slope is that of the plane through the cells within
        `REACH_M`, NaN where they lie in one line.
    """
    grid = reader.grid
    reach = max(REACH_M, LEAST_CELLS * grid.cell_m)
    east, north = point.x, point.y
    part = Grid.around(
        grid.origin, grid.cell_m, (east - reach, north - reach, east + reach, north + reach)
    )
    bands = reader.read(part, ["height", "sd", "source"])
    eastings, northings = part.centres()
    x, y = np.meshgrid(eastings - east, northings - north)
    known = np.isfinite(bands["height"]) & (np.hypot(x, y) <= reach)
    x, y = x[known], y[known]
    nearest = int(np.argmin(np.hypot(x, y)))
    design = np.column_stack([np.ones_like(x), x, y])
    plane, _, rank, _ = np.linalg.lstsq(design, bands["height"][known], rcond=None)
    slope = float(np.hypot(plane[1], plane[2])) if rank == 3 else np.nan
    return Place(float(bands["sd"][known][nearest]), int(bands["source"][known][nearest]), slope)


def height_sd(level: Budget, model: ErrorModel, sd_m: float) -> float:
    """Return the sd of a level's height above a surface, what both rest on cancelled.

    Parameters
    ----------
    level : Budget
        Of the level's height.
    model : ErrorModel
        Of the survey behind the surface.
    sd_m : float
        Of the surface's height, all causes together [m].

    Examples
    --------
    A gauge's zero of 3 cm that both rest on is no error between them:

    >>> from wrackline.uncertainty import NamedError
    >>> gauge = NamedError("gauge:height", "height", 0.03)
    >>> round(height_sd(Budget(named={"gauge:height": 0.03}), ErrorModel("a", 0, 0), 0.05), 4)
    0.0583
    >>> sounded = ErrorModel("a", 0, 0.04, named=(gauge,))
    >>> round(height_sd(Budget(named={"gauge:height": 0.03}), sounded, 0.05), 4)
    0.04
    """
    shared = sum(
        part.sd * level.named.get(part.name, 0.0) for part in model.named if part.kind == "height"
    )
    return float(np.sqrt(max(sd_m**2 + level.sd**2 - 2 * shared, 0.0)))


def _row(
    line: LineString, level: SeaLevel, budget: Budget, at: Place, models: Sequence[ErrorModel]
) -> dict[str, Any]:
    sd = height_sd(budget, models[at.source], at.sd_m)
    flat = not sd < REACH_M * at.slope
    return {
        "sea_level": level.name,
        "height_m": level.height_m,
        "height_sd_m": sd,
        "slope_deg": float(np.degrees(np.arctan(at.slope))),
        "may_lie_off_m": np.nan if flat else sd / at.slope,
        "null_because": FLAT if flat else "",
        "geometry": line,
    }
