"""Rasters between stages and for people: cells counted from the site's origin, written as COG.

Arrays have shape (n_rows, n_columns) or (n_bands, n_rows, n_columns); rows run north to south,
columns west to east. Files are cloud-optimised GeoTIFF, float32, nodata −9999; equal input gives
equal bytes. In memory nodata is NaN.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import rasterio
from affine import Affine
from pyproj import CRS

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NODATA = -9999.0
TICK_M = 0.0001
"""Positions and heights are counted in whole ticks of 0.1 mm, so that sums are exact."""

CAUTION = "Not for navigation, anchoring or dive planning."


def ticks(values: npt.ArrayLike) -> Ints:
    """Return metres as whole ticks of 0.1 mm, rounded half to even.

    >>> ticks([1.0, -0.00026])
    array([10000,    -3])
    """
    return np.rint(np.asarray(values, dtype=float) / TICK_M).astype(np.int64)


@dataclass(frozen=True)
class Grid:
    """A rectangle of square cells that are counted from the site's origin.

    Cell (column, row) = (floor((easting − e0) / cell), floor((northing − n0) / cell)), so the
    same place falls into the same cell whatever the rectangle.

    Attributes
    ----------
    origin : tuple of float
        Easting and northing of the site's origin [m].
    cell_m : float
        Cell size [m].
    west, south, east, north : int
        Bounds in cells from the origin; `east` and `north` are excluded.

    Examples
    --------
    >>> grid = Grid.around((100.0, 200.0), 0.5, (100.2, 200.0, 101.0, 200.6))
    >>> grid.shape, grid.transform[2], grid.transform[5]
    ((2, 3), 100.0, 201.0)
    """

    origin: tuple[float, float]
    cell_m: float
    west: int
    south: int
    east: int
    north: int

    @classmethod
    def around(
        cls, origin: tuple[float, float], cell_m: float, bounds: tuple[float, float, float, float]
    ) -> Grid:
        """Return the least grid that holds the bounds xmin, ymin, xmax, ymax, in metres."""
        lone = cls(origin, cell_m, 0, 0, 0, 0)
        corners = ticks(np.reshape(bounds, (2, 2)))
        (west, east), (south, north) = (lone.cells(corners[:, axis], axis) for axis in (0, 1))
        return cls(origin, cell_m, int(west), int(south), int(east) + 1, int(north) + 1)

    def cells(self, place: Ints, axis: int) -> Ints:
        """Return cell numbers from the origin of coordinates in ticks, along one axis.

        Parameters
        ----------
        place : array of int, shape (n,)
            Eastings (axis 0) or northings (axis 1) in ticks of 0.1 mm.
        axis : {0, 1}

        Notes
        -----
        Whole ticks over whole ticks, as IEEE doubles: exact at the edges of cells.
        """
        size = round(self.cell_m / TICK_M, 6)
        return np.floor((place - ticks(self.origin[axis])) / size).astype(np.int64)

    @property
    def shape(self) -> tuple[int, int]:
        """Number of rows and of columns."""
        return self.north - self.south, self.east - self.west

    @property
    def transform(self) -> Affine:
        """Affine transform from (column, row) of the raster to easting, northing."""
        left = self.origin[0] + self.west * self.cell_m
        top = self.origin[1] + self.north * self.cell_m
        return Affine(self.cell_m, 0.0, left, 0.0, -self.cell_m, top)

    def centres(self) -> tuple[Array, Array]:
        """Return eastings of the columns' centres and northings of the rows' centres [m]."""
        columns = np.arange(self.west, self.east, dtype=np.float64) + 0.5
        rows = np.arange(self.north - 1, self.south - 1, -1, dtype=np.float64) + 0.5
        return self.origin[0] + columns * self.cell_m, self.origin[1] + rows * self.cell_m

    def flat(self, easting: Ints, northing: Ints) -> Ints:
        """Return index into the raveled raster of places in ticks; −1 outside the grid."""
        column = self.cells(easting, 0) - self.west
        row = self.north - 1 - self.cells(northing, 1)
        inside = (column >= 0) & (column < self.shape[1]) & (row >= 0) & (row < self.shape[0])
        return np.where(inside, row * self.shape[1] + column, -1)

    def union(self, other: Grid) -> Grid:
        """Return the least grid that holds both, of the same origin and cell."""
        return replace(
            self,
            west=min(self.west, other.west),
            south=min(self.south, other.south),
            east=max(self.east, other.east),
            north=max(self.north, other.north),
        )

    def window(self, inner: Grid) -> tuple[slice, slice]:
        """Return the slices (rows, columns) of this grid's raster that `inner` covers."""
        top, left = self.north - inner.north, inner.west - self.west
        return slice(top, top + inner.shape[0]), slice(left, left + inner.shape[1])


@dataclass(frozen=True)
class Band:
    """One band of a raster: its name, its unit and its values (rows, columns), NaN for nodata."""

    name: str
    unit: str
    values: npt.NDArray[Any]


def write_raster(
    path: Path | str,
    bands: Sequence[Band],
    *,
    grid: Grid,
    crs: str,
    vertical_datum: str,
    tags: Mapping[str, str] | None = None,
    smooth: bool = False,
) -> None:
    """Write bands as one cloud-optimised GeoTIFF.

    Parameters
    ----------
    path : Path or str
    bands : sequence of Band
        Each of shape `grid.shape`.
    grid : Grid
    crs : str
        The site's CRS.
    vertical_datum : str
        In words, as printed.
    tags : mapping of str to str, optional
        Further tags; a caution is always written.
    smooth : bool
        Overviews by averages (for one band of pictures or heights); otherwise each cell of an
        overview is one real cell, so that counts, flags and sources stay what they are.
    """
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    profile = {
        "driver": "COG",
        "height": grid.shape[0],
        "width": grid.shape[1],
        "count": len(bands),
        "dtype": "float32",
        "crs": rasterio.CRS.from_wkt(CRS.from_user_input(crs).to_wkt()),
        "transform": grid.transform,
        "nodata": NODATA,
        "compress": "DEFLATE",
        "predictor": 3,
        "blocksize": 256,
        "num_threads": 2,
        "overview_resampling": "average" if smooth else "nearest",
    }
    with rasterio.open(path, "w", **profile) as target:
        for number, band in enumerate(bands, start=1):
            values = np.asarray(band.values, dtype=np.float32)
            target.write(np.where(np.isfinite(values), values, np.float32(NODATA)), number)
            target.set_band_description(number, band.name)
            target.set_band_unit(number, band.unit)
        target.update_tags(
            caution=CAUTION,
            vertical_datum=vertical_datum,
            origin_easting_m=repr(float(grid.origin[0])),
            origin_northing_m=repr(float(grid.origin[1])),
            cell_m=repr(float(grid.cell_m)),
            **dict(tags or {}),
        )


def read_raster(path: Path | str) -> tuple[Grid, dict[str, Array]]:
    """Read a raster that `write_raster` wrote.

    Returns
    -------
    grid : Grid
    bands : dict of str to array, shape (n_rows, n_columns)
        By name, in the file's order; NaN for nodata.
    """
    with rasterio.open(path) as source:
        grid = _grid_of(source)
        values = source.read(out_dtype="float64")
        names = source.descriptions
    values[values == NODATA] = np.nan
    return grid, dict(zip(names, values, strict=True))


def read_grid(path: Path | str) -> Grid:
    """Read only the grid of a raster that `write_raster` wrote."""
    with rasterio.open(path) as source:
        return _grid_of(source)


def _grid_of(source: Any) -> Grid:
    tags = source.tags()
    origin = (float(tags["origin_easting_m"]), float(tags["origin_northing_m"]))
    cell = float(tags["cell_m"])
    west = round((source.transform.c - origin[0]) / cell)
    north = round((source.transform.f - origin[1]) / cell)
    return Grid(origin, cell, west, north - source.height, west + source.width, north)
