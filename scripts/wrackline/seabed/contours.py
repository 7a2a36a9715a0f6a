"""Contours of a surface, fit for print: calmed within its uncertainty, without crumbs, labelled.

They are closed or end where the surface does, and no two cross. `cleared` states what is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString

from wrackline import contract
from wrackline.model import SeaLevel
from wrackline.rasters import Grid, RasterReader
from wrackline.seabed.calming import calmed, margin
from wrackline.seabed.tracing import trace

Array = npt.NDArray[np.float64]

CONTOURS = contract.columns("contours")

STRIP_CELLS = 400_000
ABOVE_M = 0.00105
"""Lines are drawn this far above their height, so that a flat area that lies at it, give or take a
millimetre of noise, is wholly below it. No whole tick of 0.1 mm lies there."""
LEAST_RING_M2, LEAST_LENGTH_M = 1.0, 1.0
"""Smaller rings, and shorter pieces between two edges of the surface, are left out."""
BEND_CELLS = 0.01
"""Vertices this close to the line between their neighbours are left out."""
LABEL_M = 4.0
"""A label stands where this length of a contour is straightest; shorter ones have none."""


def lines_at(
    surface: Path | str, heights: Array, *, most_cells: int = STRIP_CELLS
) -> list[list[LineString]]:
    """Return the lines of a calmed surface at each of several heights.

    Parameters
    ----------
    surface : Path or str
        Raster with the bands ``height`` and ``sd`` [m].
    heights : array, shape (k,)
        Rising [m].
    most_cells : int
        Of a strip; the lines don't hang on it.

    Returns
    -------
    list of list of LineString, length k
        With higher ground on the left. At each vertex the surface, between cell centres, differs
        from the height by no more than `calming.SHARE` of its sd and a millimetre, but for what
        leaving out vertices takes.
    """
    with RasterReader(surface) as reader:
        grid = reader.grid
        around = margin(grid.cell_m)

        def read(part: Grid) -> Array:
            wide = part.grown(around)
            bands = reader.read(wide, ["height", "sd"])
            return calmed(bands["height"], bands["sd"], part.cell_m)[wide.window(part)]

        traced, jump_m = trace(read, grid, heights + ABOVE_M, most_cells=most_cells)
    apart_m = float(np.diff(heights).min()) if len(heights) > 1 else np.inf
    bend_m = grid.cell_m * min(BEND_CELLS, 0.2 * apart_m / jump_m if jump_m else np.inf)
    return [cleared(one.lines, bend_m) for one in traced]


def cleared(places: Sequence[Array], bend_m: float) -> list[LineString]:
    """Return lines without crumbs and without vertices that say nothing.

    Parameters
    ----------
    places : sequence of array, shape (n, 2)
        Places along each line; the first repeated where it is closed [m].
    bend_m : float
        Vertices that bend a line by no more are left out [m].

    Returns
    -------
    list of LineString
        Of closed lines those around `LEAST_RING_M2` and more, of open ones those of
        `LEAST_LENGTH_M` and more.
    """
    kept = [
        LineString(line)
        for line in places
        if (
            _area(line) >= LEAST_RING_M2
            if np.array_equal(line[0], line[-1])
            else np.hypot(*np.diff(line, axis=0).T).sum() >= LEAST_LENGTH_M
        )
    ]
    return list(shapely.simplify(np.array(kept, dtype=object), bend_m)) if kept else []


def _area(ring: Array) -> float:
    """Return the area within a closed line."""
    x, y = (ring - ring[0]).T
    return float(abs(x[:-1] @ y[1:] - x[1:] @ y[:-1])) / 2


def contour_heights(least_m: float, most_m: float, step_m: float) -> Array:
    """Return the whole multiples of the step that lie within a range of heights.

    >>> contour_heights(-1.3, -0.4, 0.5)
    array([-1. , -0.5])
    """
    if not least_m <= most_m:
        return np.zeros(0)
    first, last = np.ceil(least_m / step_m - 1e-9), np.floor(most_m / step_m + 1e-9)
    return np.round(np.arange(first, last + 1) * step_m, 6) + 0.0


def index_every(step_m: float) -> int:
    """Return which contours are drawn bolder: every fifth, or fourth where that is rounder.

    >>> index_every(0.1), index_every(0.25), index_every(0.5), index_every(2.5)
    (5, 4, 5, 4)
    """
    digits = f"{step_m:.6e}".split("e")[0].rstrip("0")
    return 4 if digits == "2.5" else 5


def contours(
    surface: Path | str,
    *,
    step_m: float,
    level: SeaLevel,
    crs: str,
    zero_m: float = 0.0,
    most_cells: int = STRIP_CELLS,
) -> gpd.GeoDataFrame:
    """Return contours at whole multiples of a step above and below a height.

    Parameters
    ----------
    surface : Path or str
        Raster with the bands ``height`` and ``sd`` [m].
    step_m : float
        Step between contours [m].
    level : SeaLevel
        The level that depths count from.
    crs : str
        The site's CRS.
    zero_m : float
        The height that the steps count from: the datum, or a sea level for round depths [m].
    most_cells : int
        Of a strip.

    Returns
    -------
    GeoDataFrame
        LineStrings with the fields of the layer ``contours``.
    """
    least, most = height_range(surface, most_cells)
    steps = contour_heights(least - zero_m, most - zero_m, step_m)
    heights = np.round(steps + zero_m, 6) + 0.0
    drawn = lines_at(surface, heights, most_cells=most_cells)
    lines = [line for at in drawn for line in at]
    at = np.repeat(heights, [len(lines) for lines in drawn])
    index = np.rint((at - zero_m) / step_m).astype(int) % index_every(step_m) == 0
    place = np.array(
        [label_place(line) if bold else NO_LABEL for line, bold in zip(lines, index, strict=True)]
    ).reshape(-1, 3)
    return gpd.GeoDataFrame(
        {
            "height_m": at,
            "depth_m": np.round(level.height_m - at, 6) + 0.0,
            "index": index,
            "label_easting_m": place[:, 0],
            "label_northing_m": place[:, 1],
            "label_turn_deg": place[:, 2],
        },
        geometry=gpd.GeoSeries(lines, crs=crs),
    )


def height_range(surface: Path | str, most_cells: int = STRIP_CELLS) -> tuple[float, float]:
    """Return the least and the greatest height of a surface; NaN where nothing is known [m]."""
    least, most = np.inf, -np.inf
    with RasterReader(surface) as reader:
        for part in reader.grid.strips(most_cells):
            height = reader.read(part, ["height"])["height"]
            known = height[np.isfinite(height)]
            if known.size:
                least, most = min(least, float(known.min())), max(most, float(known.max()))
    return (least, most) if least <= most else (np.nan, np.nan)


NO_LABEL = (np.nan, np.nan, np.nan)


def label_place(line: LineString) -> tuple[float, float, float]:
    """Return where a label can stand on a line: the middle of its straightest stretch.

    Parameters
    ----------
    line : LineString

    Returns
    -------
    easting, northing : float
        NaN on a line shorter than `LABEL_M` [m].
    turn : float
        Clockwise turn of a level text along it, −90 to 90, so that it reads upright [degrees].

    Examples
    --------
    >>> label_place(LineString([(0, 0), (10, 0)]))
    (5.0, 0.0, 0.0)
    """
    length = float(line.length)
    if length < LABEL_M:
        return NO_LABEL
    count = int(length - LABEL_M) + 1
    starts = (length - LABEL_M) * (np.arange(count) + 0.5) / count
    ends = [
        shapely.get_coordinates(shapely.line_interpolate_point(line, starts + away))
        for away in (0.0, LABEL_M / 2, LABEL_M)
    ]
    step = ends[2] - ends[0]
    aside = np.hypot(*(ends[1] - (ends[0] + ends[2]) / 2).T)
    bent = np.round(LABEL_M - np.hypot(*step.T) + aside, 3)
    middle = np.abs(np.arange(count) - (count - 1) / 2)
    best = int(np.lexsort((middle, bent))[0])
    turn = -float(np.degrees(np.arctan2(step[best, 1], step[best, 0])))
    east, north = ends[1][best].tolist()
    return east, north, (turn + 90.0) % 180.0 - 90.0 + 0.0
