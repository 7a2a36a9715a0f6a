"""What the report says of the composite seabed: how much was measured, by whom, how well."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops, ImageOps

from wrackline.io import read_json
from wrackline.rasters import TICK_M, RasterReader, ticks
from wrackline.seabed.merge import share_band

WIDEST_PX, RIM_PX = 1400, 16
PIECE_CELLS = 1_000_000
PARTS = 1_000_000
"""Shares are summed in whole parts of so many."""
MOST_TICKS = 1_000_000
"""Sds from 100 m on are counted as 100 m."""
MANY_APART = 0.1
"""Share of cells apart that is worth a word: twice what joint 95 % intervals leave to chance."""


def seabed_words(surface: Sequence[str | Path], record: Sequence[str | Path]) -> dict[str, Any]:
    """Return figures of the composite surface; none where there is no surface.

    Parameters
    ----------
    surface, record : sequence of path, length 0 or 1
        The surface's raster, and the record beside it.

    Returns
    -------
    dict
        ``cell_m``, ``fill_distance_m``; ``cells`` with a height, ``measured``, the share of them
        that was; ``sd_low``, ``sd_high`` that nine of ten cells lie between [m]; ``sources``, pairs
        of survey and its share by weight; ``apart``, pairs of surveys of which more than 10 % of
        the cells that both measured differ by more than their errors explain: newer, older, cells,
        share apart, mean difference [m].
    """
    if not surface:
        return {}
    told = read_json(record[0])
    names = list(told["sources"])
    with RasterReader(surface[0]) as reader:
        cell_m, sums = reader.grid.cell_m, _sums(reader, [share_band(name) for name in names])
    cells = max(sums.cells, 1)
    shares = [(name, int(n) / PARTS / cells) for name, n in zip(names, sums.shares, strict=True)]
    return {
        "cell_m": cell_m,
        "fill_distance_m": told["fill_distance_m"],
        "cells": sums.cells,
        "measured": sums.measured / cells,
        "sd_low": _quantile(sums.by_sd, 0.05),
        "sd_high": _quantile(sums.by_sd, 0.95),
        "sources": [(name, share) for name, share in shares if share > 0],
        "apart": [
            (pair["newer"], pair["older"], pair["cells"], share, pair["mean_m"])
            for pair in told["pairs"]
            if (share := pair["apart_95"] / pair["cells"]) > MANY_APART
        ],
    }


@dataclass(frozen=True)
class Sums:
    """Counts over a surface, in whole numbers, so that the strips it is read in don't matter."""

    cells: int
    measured: int
    shares: npt.NDArray[np.int64]
    by_sd: npt.NDArray[np.int64]


def _sums(reader: RasterReader, share_bands: Sequence[str]) -> Sums:
    """Return the cells with a height, those measured, shares in millionths, cells by sd."""
    cells = measured = 0
    shares = np.zeros(len(share_bands), dtype=np.int64)
    by_sd = np.zeros(MOST_TICKS + 1, dtype=np.int64)
    for part in reader.grid.strips(PIECE_CELLS):
        bands = reader.read(part, ["height", "sd", "filled"])
        known = np.isfinite(bands["height"])
        if not known.any():
            continue
        cells += int(known.sum())
        measured += int((bands["filled"][known] == 0).sum())
        sd = np.minimum(ticks(bands["sd"][known]), MOST_TICKS)
        by_sd += np.bincount(sd, minlength=MOST_TICKS + 1)
        for number, name in enumerate(share_bands):
            share = np.nan_to_num(reader.read(part, [name])[name])
            shares[number] += int(np.rint(share * PARTS).sum())
    return Sums(cells, measured, shares, by_sd)


def _quantile(by_sd: npt.NDArray[np.int64], share: float) -> float:
    """Return the sd that a share of the cells doesn't exceed, to 0.1 mm [m].

    >>> _quantile(np.array([0, 3, 1]), 0.9)
    0.0002
    """
    if not by_sd.any():
        return 0.0
    return float(np.searchsorted(np.cumsum(by_sd), share * by_sd.sum()) * TICK_M)


def sd_quantiles(surface: str | Path, shares: Sequence[float]) -> list[float]:
    """Return the sds that shares of a surface's cells don't exceed, to 0.1 mm [m].

    Parameters
    ----------
    surface : str or Path
        A merged surface.
    shares : sequence of float
        Each 0 to 1.
    """
    with RasterReader(surface) as reader:
        by_sd = _sums(reader, []).by_sd
    return [_quantile(by_sd, share) for share in shares]


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
