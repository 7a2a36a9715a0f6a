"""Contours and waterlines of a surface; they end where the surface does."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import numpy.typing as npt
from contourpy import LineType, contour_generator
from shapely.geometry import LineString

from wrackline.model import SeaLevel
from wrackline.rasters import Grid

Array = npt.NDArray[np.float64]

CONTOURS = {"height_m": "real", "depth_m": "real"}
WATERLINES = {"sea_level": "text", "height_m": "real"}


class Contourer:
    """Draws lines of equal height on one surface.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights at cell centres, rows north to south, NaN where nothing is known [m].
    grid : Grid
        Where the cells lie.
    """

    def __init__(self, height: Array, grid: Grid) -> None:
        easting, northing = grid.centres()
        self._origin = np.array(grid.origin)
        self._drawn = min(height.shape) >= 2
        if self._drawn:
            self._generator = contour_generator(
                easting - grid.origin[0],
                northing - grid.origin[1],
                np.ma.masked_invalid(height),
                name="serial",
                corner_mask=False,
                line_type=LineType.Separate,
            )

    def lines(self, height_m: float) -> list[LineString]:
        """Return the lines at one height, ordered by their south-west corner.

        No line crosses a cell whose four neighbouring centres are not all known.
        """
        if not self._drawn:
            return []
        drawn = [np.asarray(line, dtype=float) for line in self._generator.lines(height_m)]
        found = [
            LineString(line + self._origin) for line in drawn if np.ptp(line, axis=0).max() > 0
        ]
        return sorted(found, key=lambda line: (line.bounds, line.coords[0]))


def contour_heights(height: Array, step_m: float) -> Array:
    """Return the whole multiples of the step that lie within the surface's range.

    >>> contour_heights(np.array([[-1.3, np.nan], [-0.4, -0.9]]), 0.5)
    array([-1. , -0.5])
    """
    known = height[np.isfinite(height)]
    if known.size == 0:
        return np.zeros(0)
    first, last = np.ceil(known.min() / step_m), np.floor(known.max() / step_m)
    return np.round(np.arange(first, last + 1) * step_m, 6) + 0.0


def contours(
    height: Array, grid: Grid, *, step_m: float, level: SeaLevel, crs: str
) -> gpd.GeoDataFrame:
    """Return contours at whole multiples of a step of height.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights [m].
    grid : Grid
    step_m : float
        Step between contours [m].
    level : SeaLevel
        The level that depths count from.
    crs : str
        The site's CRS.

    Returns
    -------
    GeoDataFrame
        LineStrings with ``height_m`` above the site's datum and ``depth_m`` below the level.
    """
    drawer = Contourer(height, grid)
    drawn = [
        (float(at), line) for at in contour_heights(height, step_m) for line in drawer.lines(at)
    ]
    at = np.array([at for at, _ in drawn], dtype=float)
    depth = np.round(level.height_m - at, 6) + 0.0
    return gpd.GeoDataFrame(
        {"height_m": at, "depth_m": depth},
        geometry=gpd.GeoSeries([line for _, line in drawn], crs=crs),
    )


def waterlines(
    height: Array, grid: Grid, *, levels: Sequence[SeaLevel], crs: str
) -> gpd.GeoDataFrame:
    """Return where each named sea level meets today's seabed, which is no ancient shore.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights [m].
    grid : Grid
    levels : sequence of SeaLevel
    crs : str
        The site's CRS.

    Returns
    -------
    GeoDataFrame
        LineStrings with ``sea_level`` (its name) and ``height_m``; a level that lies wholly above
        or below the surface has none.
    """
    drawer = Contourer(height, grid)
    drawn = [(level, line) for level in levels for line in drawer.lines(level.height_m)]
    return gpd.GeoDataFrame(
        {
            "sea_level": [level.name for level, _ in drawn],
            "height_m": np.array([level.height_m for level, _ in drawn], dtype=float),
        },
        geometry=gpd.GeoSeries([line for _, line in drawn], crs=crs),
    )
