"""Links of heights: how high a zero of height lies above the site's datum, and how well known.

The links from a zero to the datum come from `Site.links_from`. Their heights add up along the
path; a geoid grid N gives the ellipsoid's as -N, place by place: H = h - N.
"""

from __future__ import annotations

import importlib
from collections.abc import Collection, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from pyproj import CRS, Transformer

from wrackline.crs import transformer
from wrackline.errors import Fault, InputError
from wrackline.frames import horizontal, same_crs
from wrackline.model import ErrorSource, HeightLink
from wrackline.uncertainty import NamedError, components

Array = npt.NDArray[np.float64]


def zero_height(
    path: Sequence[HeightLink], easting: Array, northing: Array, *, crs: str, folder: Path
) -> Array:
    """Return the height of a zero above the site's datum.

    Parameters
    ----------
    path : sequence of HeightLink
        The links from the zero to the datum; none for the datum itself.
    easting, northing : array, shape (n,)
        Places in the site's CRS [m].
    crs : str
        The site's CRS.
    folder : Path
        The site's folder, against which geoid grids are read.

    Returns
    -------
    array, shape (n,)
        To be added to heights that count from the zero [m].

    Raises
    ------
    InputError
        When a geoid grid can't be read, or doesn't cover a place.

    Examples
    --------
    A harbour's zero 0.3 m above a levelling zero that lies 1.2 m below the datum:

    >>> path = [
    ...     HeightLink(zero="harbour", above="levelling", height_m=0.3, error_source="a"),
    ...     HeightLink(zero="levelling", height_m=-1.2, error_source="b"),
    ... ]
    >>> zero_height(path, np.zeros(1), np.zeros(1), crs="EPSG:32625", folder=Path())
    array([-0.9])
    """
    total = np.zeros(len(easting))
    for link in path:
        if link.height_m is not None:
            total += link.height_m
        elif link.geoid_grid is not None and len(easting):
            places = np.column_stack([easting, northing])
            total -= _geoid(link.geoid_grid, folder, places, crs)
    return total


def link_errors(
    path: Sequence[HeightLink],
    sources: dict[str, ErrorSource],
    origin: tuple[float, float],
    *,
    named: Collection[str] = (),
) -> list[NamedError]:
    """Return what a path of height links adds to a survey's errors.

    Each cause counts once, under its own name, so that it cancels against whatever else rests on
    it.

    Parameters
    ----------
    path : sequence of HeightLink
    sources : dict of str to ErrorSource
        The site's named error sources.
    origin : tuple of float
        The site's origin [m].
    named : collection of str
        Sources that the survey's config already accounts for.
    """
    names = dict.fromkeys(link.error_source for link in path)
    return [
        part
        for name in names
        if name not in named
        for part in components(name, sources[name], origin)
        if part.kind in ("height", "tilt")
    ]


def _geoid(file: str, folder: Path, places: Array, crs: str) -> Array:
    """Return a geoid grid's heights at places in the site's CRS, between cell centres bilinear."""
    rasterio = importlib.import_module("rasterio")  # few sites have a geoid's grid
    try:
        with rasterio.open(folder / file) as grid:
            if grid.crs is None:
                raise InputError(_no_crs(file))
            heights = _bilinear(grid, _in_grid(grid, places, crs, file))
    except rasterio.errors.RasterioError as slip:
        raise InputError(_unreadable(file, slip)) from None
    away = np.flatnonzero(~np.isfinite(heights))
    if len(away):
        raise InputError(_outside(file, places[away[0]], len(away)))
    return heights


def _in_grid(grid: Any, places: Array, crs: str, file: str) -> Array:
    """Return places in the grid's own CRS, longitudes turned into its range."""
    way, in_degrees = _way(crs, grid.crs.to_wkt(), file)
    if way is None:
        return places
    moved = np.column_stack(way.transform(places[:, 0], places[:, 1]))
    if in_degrees:
        moved[:, 0] = grid.bounds.left + np.mod(moved[:, 0] - grid.bounds.left, 360.0)
    return moved


@lru_cache(maxsize=8)
def _way(crs: str, grid: str, file: str) -> tuple[Transformer | None, bool]:
    """Return the way from the site's CRS to a grid's, None where they agree; whether in degrees."""
    own, site = horizontal(CRS.from_wkt(grid)), CRS.from_user_input(crs)
    if same_crs(own, site):
        return None, False
    return transformer(site, own, survey="", file=file), bool(own.is_geographic)


def _bilinear(grid: Any, xy: Array) -> Array:
    """Return the first band between cell centres; NaN outside its cells or beside an empty one."""
    to = ~grid.transform
    column = to.a * xy[:, 0] + to.b * xy[:, 1] + to.c
    row = to.d * xy[:, 0] + to.e * xy[:, 1] + to.f
    inside = (column >= 0) & (column <= grid.width) & (row >= 0) & (row <= grid.height)
    out = np.full(len(xy), np.nan)
    if not inside.any():
        return out
    # a place in the outer half of an outer cell takes that cell's value along this axis
    across = np.clip(column[inside] - 0.5, 0, grid.width - 1)
    down = np.clip(row[inside] - 0.5, 0, grid.height - 1)
    left, top = (np.floor(a).astype(int) for a in (across, down))
    right, under = np.minimum(left + 1, grid.width - 1), np.minimum(top + 1, grid.height - 1)
    first_row, first_column = int(top.min()), int(left.min())
    window = (first_row, int(under.max()) + 1), (first_column, int(right.max()) + 1)
    band = grid.read(1, window=window, masked=True)
    values = np.where(np.ma.getmaskarray(band), np.nan, band.data.astype(float))
    values = values * grid.scales[0] + grid.offsets[0]
    left, right = left - first_column, right - first_column
    top, under = top - first_row, under - first_row
    s, t = across - np.floor(across), down - np.floor(down)
    corners = (
        ((1 - s) * (1 - t), values[top, left]),
        (s * (1 - t), values[top, right]),
        ((1 - s) * t, values[under, left]),
        (s * t, values[under, right]),
    )
    out[inside] = sum(np.where(weight > 0, weight * value, 0.0) for weight, value in corners)
    return out


def _no_crs(file: str) -> Fault:
    return Fault(
        "geoid_grid_crs",
        "a raster without a CRS",
        "a raster in the site's CRS or in longitude and latitude, saying so",
        "heights above the ellipsoid could not be brought to the site's datum",
        "export the grid as GeoTIFF with its CRS",
        file,
    )


def _unreadable(file: str, slip: Exception) -> Fault:
    return Fault(
        "geoid_grid_unreadable",
        str(slip).splitlines()[0] if str(slip) else type(slip).__name__,
        "a raster that GDAL reads, where the height link's geoid_grid says",
        "heights above the ellipsoid could not be brought to the site's datum",
        "put the grid there, or mend geoid_grid in config/site.yaml",
        file,
    )


def _outside(file: str, place: Array, count: int) -> Fault:
    return Fault(
        "geoid_grid_outside",
        f"{count} places without a value of the grid, first {place[0]:.1f}, {place[1]:.1f}",
        "a geoid grid that covers every point of the survey",
        "those points would have no height above the site's datum",
        "get a grid that reaches further, or take stray points out of the survey",
        file,
        place=(round(float(place[0]), 3), round(float(place[1]), 3)),
    )
