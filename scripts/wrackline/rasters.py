"""Rasters between stages and for people: cells counted from the site's origin, written as COG.

Arrays have shape (n_rows, n_columns) or (n_bands, n_rows, n_columns); rows run north to south,
columns west to east. Files are cloud-optimised GeoTIFF, float32, nodata −9999; equal input gives
equal bytes. In memory nodata is NaN.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import rasterio
import rasterio.shutil
from affine import Affine
from pyproj import CRS
from rasterio.windows import Window

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NODATA = -9999.0
TICK_M = 0.0001
"""Positions and heights are counted in whole ticks of 0.1 mm, so that sums are exact."""

BLOCK = 256
"""Rows and columns of a block in the file."""
STRIP_CELLS = 4_000_000

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

    def intersection(self, other: Grid) -> Grid | None:
        """Return the cells that both hold, None where they share none."""
        west, east = max(self.west, other.west), min(self.east, other.east)
        south, north = max(self.south, other.south), min(self.north, other.north)
        if west >= east or south >= north:
            return None
        return replace(self, west=west, south=south, east=east, north=north)

    def grown(self, cells: int) -> Grid:
        """Return the grid with a margin of so many cells on every side."""
        return replace(
            self,
            west=self.west - cells,
            south=self.south - cells,
            east=self.east + cells,
            north=self.north + cells,
        )

    def strips(self, most_cells: int = STRIP_CELLS) -> Iterator[Grid]:
        """Yield strips of rows from north to south, each of at most so many cells, or one row.

        >>> [part.shape for part in Grid((0.0, 0.0), 1.0, 0, 0, 4, 5).strips(8)]
        [(2, 4), (2, 4), (1, 4)]
        """
        step = max(1, most_cells // max(self.east - self.west, 1))
        step = step // BLOCK * BLOCK or step
        for top in range(self.north, self.south, -step):
            yield replace(self, south=max(top - step, self.south), north=top)

    def pieces(self, edge: int) -> Iterator[Grid]:
        """Yield squares of so many cells a side, row by row from the north-west, cut at the edge.

        >>> [part.shape for part in Grid((0.0, 0.0), 1.0, 0, 0, 3, 5).pieces(2)]
        [(2, 2), (2, 1), (2, 2), (2, 1), (1, 2), (1, 1)]
        """
        for top in range(self.north, self.south, -edge):
            for left in range(self.west, self.east, edge):
                yield replace(
                    self,
                    west=left,
                    south=max(top - edge, self.south),
                    east=min(left + edge, self.east),
                    north=top,
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


class RasterWriter:
    """Writes one cloud-optimised GeoTIFF piece by piece; use it as a context manager.

    The pieces go to a plain file beside the raster; nothing but a piece is held in memory. Cells
    that no piece covers are nodata.

    Parameters
    ----------
    path : Path or str
    bands : sequence of (name, unit)
    grid : Grid
    crs : str, optional
        The site's CRS.
    vertical_datum : str
        In words, as printed.
    tags : mapping of str to str, optional
        Further tags; a caution is always written.

    Attributes
    ----------
    overviews : {"real", "average", "none"}
        real: each cell of an overview is one real cell, so that counts, flags and sources stay
        what they are. average: for pictures and heights. none: the raster is left as the plain
        file that the pieces went to, uncompressed.
    """

    overviews: Literal["real", "average", "none"] = "real"
    nodata = NODATA

    def __init__(
        self,
        path: Path | str,
        bands: Sequence[tuple[str, str]],
        *,
        grid: Grid,
        crs: str | None = None,
        vertical_datum: str = "",
        tags: Mapping[str, str] | None = None,
    ) -> None:
        self._path, self._grid = Path(path), grid
        self._path.parent.mkdir(parents=True, exist_ok=True)
        self._plain = (
            self._path if self.overviews == "none" else self._path.with_suffix(".pieces.tif")
        )
        self._target = rasterio.open(
            self._plain, "w", **_plain_profile(grid, len(bands), crs, self.nodata)
        )
        for number, (name, unit) in enumerate(bands, start=1):
            self._target.set_band_description(number, name)
            self._target.set_band_unit(number, unit)
        self._target.update_tags(
            caution=CAUTION,
            vertical_datum=vertical_datum,
            origin_easting_m=repr(float(grid.origin[0])),
            origin_northing_m=repr(float(grid.origin[1])),
            cell_m=repr(float(grid.cell_m)),
            **dict(tags or {}),
        )

    def __enter__(self) -> RasterWriter:
        return self

    def write(self, part: Grid, values: Sequence[npt.NDArray[Any]]) -> None:
        """Write one piece of every band.

        Parameters
        ----------
        part : Grid
            Within the raster's grid.
        values : sequence of arrays, each of shape `part.shape`
            In the order of the bands; NaN for nodata.
        """
        rows, columns = self._grid.window(part)
        window = Window.from_slices(rows, columns)
        for number, band in enumerate(values, start=1):
            cells = np.asarray(band, dtype=np.float32)
            if self.nodata == NODATA:
                cells = np.where(np.isfinite(cells), cells, np.float32(NODATA))
            self._target.write(cells, number, window=window)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._target.close()
        if self._plain == self._path:
            return
        try:
            if kind is None:
                rasterio.shutil.copy(self._plain, self._path, **_cog_options(self.overviews))
        finally:
            self._plain.unlink(missing_ok=True)


class SmoothRasterWriter(RasterWriter):
    """Writes a raster whose overviews are averages: of pictures and heights."""

    overviews = "average"


class PlainRasterWriter(RasterWriter):
    """Writes a plain uncompressed GeoTIFF without overviews, for the next step to read."""

    overviews = "none"
    nodata = float("nan")


def _plain_profile(grid: Grid, bands: int, crs: str | None, nodata: float) -> dict[str, Any]:
    return {
        "driver": "GTiff",
        "height": grid.shape[0],
        "width": grid.shape[1],
        "count": bands,
        "dtype": "float32",
        "crs": crs and rasterio.CRS.from_wkt(CRS.from_user_input(crs).to_wkt()),
        "transform": grid.transform,
        "nodata": nodata,
        "tiled": True,
        "blockxsize": BLOCK,
        "blockysize": BLOCK,
        "interleave": "band",
        "sparse_ok": True,
        "bigtiff": "IF_SAFER",
    }


def _cog_options(overviews: str) -> dict[str, Any]:
    return {
        "driver": "COG",
        "compress": "DEFLATE",
        "predictor": "FLOATING_POINT",
        "blocksize": BLOCK,
        "num_threads": 2,
        "overview_resampling": "average" if overviews == "average" else "nearest",
    }


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
    """Write bands that are in memory as one cloud-optimised GeoTIFF, see `RasterWriter`.

    Parameters
    ----------
    path : Path or str
    bands : sequence of Band
        Each of shape `grid.shape`.
    grid : Grid
    crs, vertical_datum, tags
        As `RasterWriter` takes them.
    smooth : bool
        Whether overviews are averages, for pictures and heights.
    """
    kind = SmoothRasterWriter if smooth else RasterWriter
    with kind(
        path,
        [(band.name, band.unit) for band in bands],
        grid=grid,
        crs=crs,
        vertical_datum=vertical_datum,
        tags=tags,
    ) as writer:
        writer.write(grid, [band.values for band in bands])


class RasterReader:
    """Reads pieces of a raster that `RasterWriter` wrote; use it as a context manager.

    Attributes
    ----------
    grid : Grid
    names : tuple of str
        Of the bands, in the file's order.
    """

    def __init__(self, path: Path | str) -> None:
        self._source = rasterio.open(path)
        self.grid = _grid_of(self._source)
        self.names: tuple[str, ...] = tuple(self._source.descriptions)

    def __enter__(self) -> RasterReader:
        return self

    def __exit__(self, *_: object) -> None:
        self._source.close()

    def read(self, part: Grid, names: Sequence[str] | None = None) -> dict[str, Array]:
        """Return bands of a piece, NaN for nodata and outside the raster.

        Parameters
        ----------
        part : Grid
            Of the raster's origin and cell; it may reach beyond the raster.
        names : sequence of str, optional
            Bands wanted; all if left out.

        Returns
        -------
        dict of str to array, shape `part.shape`
        """
        wanted = self.names if names is None else tuple(names)
        inside = part.intersection(self.grid)
        if inside is None:
            return {name: np.full(part.shape, np.nan) for name in wanted}
        window = Window.from_slices(*self.grid.window(inside))
        bands = [self.names.index(name) + 1 for name in wanted]
        values = self._source.read(bands, window=window, out_dtype="float64")
        values[values == NODATA] = np.nan
        if inside != part:
            within, into = values, part.window(inside)
            values = np.full((len(wanted), *part.shape), np.nan)
            values[:, into[0], into[1]] = within
        return dict(zip(wanted, values, strict=True))


def read_raster(path: Path | str) -> tuple[Grid, dict[str, Array]]:
    """Read a raster that `write_raster` wrote.

    Returns
    -------
    grid : Grid
    bands : dict of str to array, shape (n_rows, n_columns)
        By name, in the file's order; NaN for nodata.
    """
    with RasterReader(path) as reader:
        return reader.grid, reader.read(reader.grid)


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
