"""What lies behind a plan: the part of a picture that a sheet shows, brought into the site's CRS.

A mosaic may be far larger than memory. So only the window that the sheet shows is read, no finer
than the sheet needs (GDAL then takes it from the picture's overviews), and its pixels are taken to
where they lie by the survey's own placing, which other stages use for its numbers too.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import rasterio
from rasterio.enums import ColorInterp, Resampling
from rasterio.errors import NotGeoreferencedWarning
from rasterio.windows import Window
from scipy.interpolate import RegularGridInterpolator

from wrackline.frames import Placing, placing_back
from wrackline.model import Survey

Array = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]

MOST_PX = 2000
KNOTS = 17
"""Places along each side at which the placing is asked; between them it is straight to far less
than a pixel over a sheet's ground."""
LOOK_PX = 500
STRETCH = (2.0, 98.0)
"""Of values that are no bytes these percentiles become black and white (common practice, no
source)."""


@dataclass(frozen=True)
class Backdrop:
    """A part of a picture, north up, in the site's CRS.

    Attributes
    ----------
    rgba : array of uint8, shape (rows, columns, 4)
        Red, green, blue and opacity, rows from north to south; 0 opacity where nothing is shown.
    extent : tuple of float
        West, east, south and north edge of the outer pixels [m].
    pixel_m : float
        Size of a pixel on the ground in the grid [m].
    """

    rgba: Bytes
    extent: tuple[float, float, float, float]
    pixel_m: float


def picture_of(
    name: str | None, files: Sequence[str], survey: Sequence[str], crs: str
) -> Callable[[tuple[float, float, float, float], int], Backdrop | None] | None:
    """Return the function that reads a survey's picture, or none where there is no picture.

    Parameters
    ----------
    name : str or None
        Identifier of the survey.
    files, survey : sequence of str
        Its raster, and its config as JSON; both empty where there is none.
    crs : str
        The site's CRS.
    """
    if name is None or not files:
        return None
    back = placing_back(name, Survey.model_validate_json(survey[0]), crs)
    return lambda bounds, most_px: picture_in(files[0], back, bounds, most_px)


def picture_in(
    path: Path | str,
    back: Placing,
    bounds: tuple[float, float, float, float],
    most_px: int = MOST_PX,
) -> Backdrop | None:
    """Return the part of a picture that lies in given bounds.

    Parameters
    ----------
    path : Path or str
        Any raster with its place: one band, or red, green and blue, or indexed colours, with or
        without opacity; bytes or other numbers.
    back : callable
        Takes places in the site's CRS to the picture's own, see `wrackline.frames.placing_back`.
    bounds : tuple of float
        West, south, east and north edge in the site's CRS [m].
    most_px : int
        Pixels of the longer side at most; fewer where the picture itself has no more.

    Returns
    -------
    Backdrop or None
        Every pixel shows what lies within a pixel of its middle. None where the picture has
        nothing in the bounds.
    """
    with warnings.catch_warnings():  # on a local grid a picture's place is its pixels
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with rasterio.open(path) as picture:
            column, row = _wanted(picture, back, bounds, most_px)
            window = _window(picture, column, row)
            if window is None:
                return None
            rgba = _taken(picture, window, column, row)
    if not rgba[..., 3].any():
        return None
    west, south, east, north = bounds
    return Backdrop(rgba, (west, east, south, north), (east - west) / rgba.shape[1])


def _wanted(
    picture: Any, back: Placing, bounds: tuple[float, float, float, float], most_px: int
) -> tuple[Array, Array]:
    """Return the picture's column and row at the middle of every pixel wanted, (rows, columns)."""
    west, south, east, north = bounds
    knots = np.linspace(0.0, 1.0, KNOTS)
    x, y = np.meshgrid(west + knots * (east - west), north - knots * (north - south))
    own = [np.reshape(values, x.shape) for values in back(x.ravel(), y.ravel())]
    t = ~picture.transform
    column, row = (a * own[0] + b * own[1] + c for a, b, c in ((t.a, t.b, t.c), (t.d, t.e, t.f)))
    steps = [np.hypot(np.diff(column, axis=a), np.diff(row, axis=a)).sum(axis=a) for a in (1, 0)]
    sides = np.array([east - west, north - south])
    finest = (sides / np.maximum([float(np.median(step)) for step in steps], 1.0)).min()
    pixel = max(float(finest), float(sides.max()) / most_px)
    count = [max(1, round(side / pixel)) for side in sides[::-1].tolist()]
    down_, across_ = np.meshgrid(*[(np.arange(n) + 0.5) / n for n in count], indexing="ij")
    at = np.stack([down_, across_], axis=-1)
    told = [RegularGridInterpolator((knots, knots), values)(at) for values in (column, row)]
    return np.asarray(told[0], dtype=float), np.asarray(told[1], dtype=float)


def _steps(column: Array, row: Array) -> tuple[float, float]:
    """Return how many columns and rows of the picture lie between pixels wanted, 1 or more."""
    across, down = (
        [float(np.median(step)) if step.size else 0.0 for step in steps]
        for steps in ([np.diff(k, axis=axis) for axis in (0, 1)] for k in (column, row))
    )
    return max(1.0, math.hypot(*across)), max(1.0, math.hypot(*down))


def _window(picture: Any, column: Array, row: Array) -> Window | None:
    """Return the least window of whole pixels that holds those wanted; None where none is there."""
    if not (np.isfinite(column).all() and np.isfinite(row).all()):  # beyond the picture's own CRS
        return None
    edges = []
    for values, step, end in zip(
        (column, row), _steps(column, row), (picture.width, picture.height), strict=True
    ):
        least, most = round(values.min() - step / 2, 6), round(values.max() + step / 2, 6)
        edges.append((max(0, int(np.floor(least))), min(end, int(np.ceil(most)))))
    (left, right), (top, bottom) = edges
    return Window(left, top, right - left, bottom - top) if left < right and top < bottom else None


def _taken(picture: Any, window: Window, column: Array, row: Array) -> Bytes:
    """Return colours and opacity at columns and rows of a picture, (rows, columns, 4)."""
    wide, high = _steps(column, row)
    shape = (max(1, round(window.height / high)), max(1, round(window.width / wide)))
    shown = _read(picture, window, shape)
    at_row = np.floor((row - window.row_off) * shape[0] / window.height).astype(np.int64)
    at_column = np.floor((column - window.col_off) * shape[1] / window.width).astype(np.int64)
    there = (at_row >= 0) & (at_row < shape[0]) & (at_column >= 0) & (at_column < shape[1])
    taken = np.zeros((*column.shape, 4), dtype=np.uint8)
    taken[there] = shown[at_row[there], at_column[there]]
    return taken


def _read(picture: Any, window: Window, shape: tuple[int, int]) -> Bytes:
    """Return a window as colours and opacity, no finer than asked for, shape (*shape, 4)."""
    indexed = ColorInterp.palette in picture.colorinterp
    how = {
        "window": window,
        "out_shape": shape,
        "resampling": Resampling.nearest if indexed else Resampling.average,
    }
    opaque = picture.dataset_mask(**{**how, "resampling": Resampling.nearest})
    bands = _colour_bands(picture)
    values = picture.read(bands, **{**how, "out_shape": (len(bands), *shape)})
    if indexed:
        return _looked_up(values[0], picture.colormap(bands[0]), opaque)
    whole = np.isfinite(values).all(axis=0) if values.dtype.kind == "f" else np.True_
    colours = _as_bytes(values, lambda: _range_of(picture, bands))
    rgba = np.empty((*shape, 4), dtype=np.uint8)
    rgba[..., :3] = np.moveaxis(colours, 0, -1)  # one grey becomes all three
    rgba[..., 3] = np.where(whole, opaque, 0)
    return rgba


def _colour_bands(picture: Any) -> list[int]:
    """Return the bands of red, green and blue, or the one of grey, counted from 1."""
    kinds = list(picture.colorinterp)
    named = [ColorInterp.red, ColorInterp.green, ColorInterp.blue]
    if all(kind in kinds for kind in named):
        return [kinds.index(kind) + 1 for kind in named]
    plain = [k + 1 for k, kind in enumerate(kinds) if kind is not ColorInterp.alpha]
    return plain[:3] if len(plain) >= 3 else plain[:1]


def _looked_up(
    values: npt.NDArray[Any], colours: dict[int, tuple[int, ...]], opaque: Bytes
) -> Bytes:
    """Return indexed colours as what their table says, transparent where it says nothing."""
    table = np.zeros((max(colours) + 2, 4), dtype=np.uint8)
    for number, colour in colours.items():
        table[number] = colour
    rgba = table[np.clip(values.astype(np.int64), 0, len(table) - 1)]
    rgba[..., 3] = np.minimum(rgba[..., 3], opaque)
    return np.asarray(rgba)


def _as_bytes(values: npt.NDArray[Any], range_of: Callable[[], tuple[float, float]]) -> Bytes:
    """Return values as bytes: bytes as they are, others stretched over the whole picture's range.

    The range is the whole picture's, so that two sheets of it are equally dark.
    """
    if values.dtype == np.uint8:
        return values
    low, high = range_of()
    share = (np.nan_to_num(values.astype(float), nan=low) - low) / max(high - low, 1e-12)
    return np.asarray(np.rint(255 * np.clip(share, 0.0, 1.0)), dtype=np.uint8)


def _range_of(picture: Any, bands: list[int]) -> tuple[float, float]:
    """Return what becomes black and white in a picture, told from a coarse look at the whole."""
    shrink = max(1.0, max(picture.width, picture.height) / LOOK_PX)
    shape = tuple(max(1, round(n / shrink)) for n in (picture.height, picture.width))
    values = picture.read(bands, out_shape=(len(bands), *shape)).astype(float)
    there = (picture.dataset_mask(out_shape=shape) > 0) & np.isfinite(values).all(axis=0)
    if not there.any():
        return 0.0, 1.0
    low, high = np.percentile(values[:, there], STRETCH)
    return float(low), float(high)
