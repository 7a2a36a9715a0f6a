"""Rasters of the demo: heights from photographs, and a mosaic of the ground."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin

from wrackline.demo.fieldwork import Fieldwork
from wrackline.uncertainty import Array

NODATA = -9999.0
BLIND_M = 0.12
"""Where plants stand higher, a photo model has no surface (no source)."""


def _cells(work: Fieldwork) -> tuple[Array, tuple[int, int], tuple[float, float]]:
    """Return cell centres from north-west on, the raster's rows and columns, its corner [m]."""
    west, south, east, north = work.edges
    cell = work.made.every_m
    columns, rows = max(int((east - west) / cell), 4), max(int((north - south) / cell), 4)
    x = west + (np.arange(columns) + 0.5) * cell
    y = north - (np.arange(rows) + 0.5) * cell
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    corner = work.hamlet.ground.place(np.array([[west, north]]))[0]
    return work.hamlet.ground.place(places), (rows, columns), (float(corner[0]), float(corner[1]))


def photo_heights(work: Fieldwork, path: Path) -> None:
    """Write heights of what photographs show, as a GeoTIFF with a bowl-like patchy error."""
    xy, shape, corner = _cells(work)
    surface = work.hamlet.surface(xy, canopy=True, moved=work.moved)
    measured = work.measure(np.column_stack([xy, surface]))[:, 2]
    hidden = work.hamlet.canopy(xy, moved=work.moved) > BLIND_M
    afloat = surface > -0.4  # too shallow to swim over with a camera
    heights = np.where(hidden | afloat, NODATA, measured).reshape(shape)
    if (heights == NODATA).all():
        heights = measured.reshape(shape)
    _write(work, path, heights[None].astype("float32"), corner, NODATA)


def mosaic(work: Fieldwork, path: Path) -> None:
    """Write a grey picture of the ground as light from the north-west shows it."""
    xy, shape, corner = _cells(work)
    heights = work.hamlet.surface(xy, canopy=True, moved=work.moved).reshape(shape)
    south, east = np.gradient(heights, work.made.every_m)
    light = 0.55 + 0.35 * (south - east) / np.sqrt(1 + south**2 + east**2)
    noise = 0.03 * work.rng.standard_normal(shape)
    grey = np.clip(255 * (light + noise), 1, 255).astype("uint8")
    _write(work, path, grey[None], corner, 0)


def _write(
    work: Fieldwork, path: Path, bands: Array, corner: tuple[float, float], nodata: float
) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    cell = work.made.every_m
    profile = {
        "driver": "GTiff",
        "count": len(bands),
        "height": bands.shape[1],
        "width": bands.shape[2],
        "dtype": bands.dtype,
        "crs": work.hamlet.truth.crs,
        "transform": from_origin(*corner, cell, cell),
        "nodata": nodata,
        "compress": "deflate",
    }
    with rasterio.open(path, "w", **profile) as out:
        out.write(bands)
