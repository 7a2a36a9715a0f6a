"""What the report says of the composite seabed: how much was measured, by whom, how well."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageChops, ImageOps

from wrackline.io import read_json
from wrackline.rasters import read_raster

WIDEST_PX, RIM_PX = 1400, 16


def seabed_words(surface: Sequence[str | Path], record: Sequence[str | Path]) -> dict[str, Any]:
    """Return figures of the composite surface; none where there is no surface.

    Parameters
    ----------
    surface, record : sequence of path, length 0 or 1
        The surface's raster, and the record beside it.
    """
    if not surface:
        return {}
    grid, bands = read_raster(surface[0])
    told = read_json(record[0])
    known = np.isfinite(bands["height"])
    sd = bands["sd"][known]
    source = bands["source"][known].astype(int)
    names = list(told["sources"])
    counts = np.bincount(source, minlength=len(names))
    shares = [(name, float(counts[k] / max(known.sum(), 1))) for k, name in enumerate(names)]
    return {
        "cell_m": grid.cell_m,
        "fill_distance_m": told["fill_distance_m"],
        "cells": int(known.sum()),
        "measured": float((bands["count"][known] > 0).mean()),
        "sd_low": float(np.quantile(sd, 0.05)),
        "sd_high": float(np.quantile(sd, 0.95)),
        "sources": [(name, share) for name, share in shares if share > 0],
    }


def small_picture(paths: Sequence[str | Path]) -> bytes:
    """Return a PNG no wider than a page, its empty rim cut off; nothing where there is none."""
    if not paths:
        return b""
    with Image.open(paths[0]) as opened:
        picture = opened.convert("RGB")
    rim = ImageChops.invert(picture).getbbox()
    if rim:
        picture = ImageOps.expand(picture.crop(rim), RIM_PX, "white")
    picture.thumbnail((WIDEST_PX, WIDEST_PX))
    packed = io.BytesIO()
    picture.convert("P", palette=Image.Palette.ADAPTIVE, colors=128).save(
        packed, "PNG", optimize=True
    )
    return packed.getvalue()
