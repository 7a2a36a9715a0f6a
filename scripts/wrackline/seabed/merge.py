"""Surfaces of several surveys merged into that of a season, or of the whole site (composite).

The merged raster is made tile by tile, each with as much around it as its cells' figures need, so
that no figure depends on the tiles. How cells join is told in `wrackline.seabed.weights`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from wrackline.io import read_json, write_json
from wrackline.rasters import (
    BLOCK,
    TICK_M,
    Grid,
    RasterReader,
    RasterWriter,
    read_grid,
)
from wrackline.seabed.carried import (
    Layer,
    fading,
    ratio,
    read_layer,
    unseen_relief,
)
from wrackline.seabed.weights import Entry, Joining, Tally, combine, in_order
from wrackline.survey_names import season_of
from wrackline.uncertainty import ErrorModel, model_from_dict

Array = npt.NDArray[np.float64]

BANDS = {
    "height": "m",
    "sd": "m",
    "sd_random": "m",
    "count": "1",
    "source": "1",
    "filled": "1",
    "together": "1",
    "sd_rest": "m",
    "distance_m": "m",
    "surface": "1",
}
"""Bands of a merged surface and their units; after them comes a share a survey."""


def share_band(survey: str) -> str:
    """Return the name of the band that holds a survey's share of each cell."""
    return f"share:{survey}"


@dataclass(frozen=True)
class SurveySurface:
    """One survey's surface and errors: its identifier and the files that hold them."""

    name: str
    raster: Path
    errors: Path


@dataclass(frozen=True)
class Merging:
    """How surveys join.

    Attributes
    ----------
    fill_distance_m : float
        How far the surveys' gaps were filled [m].
    feather_m : float
        Distance over which a survey's weight fades towards the edge of its ground [m].
    change_sd_m_per_year : float or None
        See `wrackline.seabed.weights.combine`.
    cell_m : float or None
        The site's cell; that of the finest survey if left out [m].
    """

    fill_distance_m: float
    feather_m: float = 0.0
    change_sd_m_per_year: float | None = None
    cell_m: float | None = None


def merge_surfaces(
    surveys: Sequence[SurveySurface],
    out: Path | str,
    *,
    name: str,
    frame: dict[str, Any],
    how: Merging,
    tile: int = BLOCK,
) -> None:
    """Merge surveys' surfaces into one raster, and a JSON of the same name beside it.

    Parameters
    ----------
    surveys : sequence of SurveySurface
        At least one; the source band counts them from 0.
    out : Path or str
        Raster to write: `BANDS`, then a band `share_band` a survey, its weight where it has any.
    name : str
        Name of the surface.
    frame : dict
        ``crs``, ``vertical_datum`` and ``origin`` of the site.
    how : Merging
    tile : int
        Cells along the side of a tile.

    Raises
    ------
    InputError
        When a survey's cells are no whole multiple of the site's.
    """
    errors = [read_json(survey.errors) for survey in surveys]
    cell_m = how.cell_m or min(read_grid(survey.raster).cell_m for survey in surveys)
    with ExitStack() as opened:
        readers = [opened.enter_context(RasterReader(survey.raster)) for survey in surveys]
        grid = ground(readers, cell_m)
        sources = [
            Source(_entry(survey.name, number, record), reader, model_from_dict(record["model"]))
            for number, (survey, record, reader) in enumerate(
                zip(surveys, errors, readers, strict=True)
            )
        ]
        tally: Tally = {}
        bands = {**BANDS, **{share_band(survey.name): "1" for survey in surveys}}
        with RasterWriter(
            out,
            list(bands.items()),
            grid=grid,
            crs=frame["crs"],
            vertical_datum=frame["vertical_datum"],
            tags={"surface": name, "sources": ", ".join(survey.name for survey in surveys)},
        ) as writer:
            for part in grid.pieces(tile):
                merged = merge_piece(sources, part, how, tally)
                if merged is not None:
                    writer.write(part, [merged[band] for band in bands])
    account = {"surface": name, **_account(surveys, errors), **vars(how), "pairs": _pairs(tally)}
    write_json({**account, **frame, "cell_m": grid.cell_m}, Path(out).with_suffix(".json"))


@dataclass(frozen=True)
class Source:
    """A survey that is being merged: who, its opened raster, its errors."""

    entry: Entry
    reader: RasterReader
    model: ErrorModel


def merge_piece(
    sources: Sequence[Source], part: Grid, how: Merging, tally: Tally
) -> dict[str, Array] | None:
    """Return the merged bands of a piece of the site's cells, None where no survey has any.

    Parameters
    ----------
    sources : sequence of Source
    part : Grid
    how : Merging
    tally : dict
        Pairs of surveys are counted into it.

    Returns
    -------
    dict of str to array, shape `part.shape`
        `BANDS` and the shares.
    """
    layers = _layers(sources, part, how)
    by_entry = {source.entry: source for source in sources}
    cells = how.feather_m / part.cell_m
    joining = [
        Joining(entry, layers[entry], fading(by_entry[entry].reader, part, cells))
        for entry in in_order(layers)
    ]
    if not joining:
        return None
    bands, shares = combine(
        joining, feather_m=how.feather_m, change_sd=how.change_sd_m_per_year, tally=tally
    )
    nothing = np.full(part.shape, np.nan)
    bands |= {share_band(source.entry.name): nothing for source in sources}
    for joined, share in zip(joining, shares, strict=True):
        bands[share_band(joined.entry.name)] = np.where(share > 0, share, np.nan)
    return bands


def _layers(sources: Sequence[Source], part: Grid, how: Merging) -> dict[Entry, Layer]:
    """Return the surveys that have a height in a piece, with the relief that they can't show."""
    ratios = {source.entry: ratio(source.reader.grid, part.cell_m) for source in sources}
    several = min(ratios.values()) < max(ratios.values())
    around = part.grown(3 * max(ratios.values())) if several else part
    read = {
        source.entry: read_layer(
            source.reader, source.model, around, fill_distance_m=how.fill_distance_m
        )
        for source in sources
    }
    there = {entry: layer for entry, layer in read.items() if layer is not None}
    patches = {source.entry: source.model.patchy_distance for source in sources}
    ranked = [(ratios[entry], there[entry], patches[entry]) for entry in in_order(there)]
    relief = {
        k: unseen_relief(ranked, around, k) if several else np.zeros(around.shape)
        for k in sorted({k for k, *_ in ranked})
    }
    window = around.window(part)
    inner = {entry: layer.inner(window, relief[ratios[entry]]) for entry, layer in there.items()}
    return {entry: layer for entry, layer in inner.items() if layer.known.any()}


def ground(readers: Sequence[RasterReader], cell_m: float) -> Grid:
    """Return the least grid of the site's cells that holds all surveys.

    Parameters
    ----------
    readers : sequence of RasterReader
        At least one.
    cell_m : float
        The site's cell [m].
    """
    grids = [reader.grid for reader in readers]
    parts = []
    for own in grids:
        k = ratio(own, cell_m)
        parts.append(
            Grid(own.origin, cell_m, own.west * k, own.south * k, own.east * k, own.north * k)
        )
    whole = parts[0]
    for part in parts[1:]:
        whole = whole.union(part)
    return whole


def _entry(name: str, number: int, record: Mapping[str, Any]) -> Entry:
    first, last = (dt.date.fromisoformat(record[f"{end}_date"]) for end in ("from", "to"))
    return Entry(name, number, season_of(name), (first.toordinal() + last.toordinal()) / 2)


def _account(
    surveys: Sequence[SurveySurface], errors: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    return {
        "sources": [survey.name for survey in surveys],
        "models": [record["model"] for record in errors],
        "dates": [[record["from_date"], record["to_date"]] for record in errors],
        "own_sd": [record["own_sd"] for record in errors],
    }


def _pairs(tally: Tally) -> list[dict[str, Any]]:
    """Return how far surveys that measured the same cells agree, a pair a row."""
    return [
        {
            "newer": newer,
            "older": older,
            "cells": cells,
            "apart_95": apart,
            "mean_m": total * TICK_M / cells,
        }
        for (newer, older), (cells, apart, total) in sorted(tally.items())
    ]
