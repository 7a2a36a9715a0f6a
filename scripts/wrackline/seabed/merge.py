"""Surfaces of several surveys merged: each cell from one survey, named in the source band.

Measured cells come before filled ones, then the newer season, then the smaller sd, then the survey
listed first. Season surfaces and the composite follow the same rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from wrackline.config import season_of
from wrackline.io import read_json, write_json
from wrackline.rasters import Band, Grid, read_grid, read_raster, write_raster

Array = npt.NDArray[np.float64]

BANDS = ("height", "sd", "sd_random", "count", "source", "filled")


@dataclass(frozen=True)
class SurveySurface:
    """One survey's surface and errors: its identifier and the files that hold them."""

    name: str
    raster: Path
    errors: Path


def merge_surfaces(
    surveys: Sequence[SurveySurface],
    out: Path | str,
    *,
    name: str,
    frame: dict[str, Any],
    fill_distance_m: float,
) -> None:
    """Merge surveys' surfaces into one raster, and a JSON of the same name beside it.

    Parameters
    ----------
    surveys : sequence of SurveySurface
        At least one; the source band counts them from 0.
    out : Path or str
        Raster to write, bands ``height``, ``sd``, ``sd_random`` [m], ``count``, ``source`` and
        ``filled`` (0, 1).
    name : str
        Name of the surface.
    frame : dict
        ``crs``, ``vertical_datum`` and ``origin`` of the site.
    fill_distance_m : float
        How far the surveys' gaps were filled, for the record [m].
    """
    grid = reduce(Grid.union, [read_grid(survey.raster) for survey in surveys])
    bands = merged([(survey.name, *read_raster(survey.raster)) for survey in surveys], grid)
    units = {"count": "1", "source": "1", "filled": "1"}
    write_raster(
        out,
        [Band(band, units.get(band, "m"), bands[band]) for band in BANDS],
        grid=grid,
        crs=frame["crs"],
        vertical_datum=frame["vertical_datum"],
        tags={"surface": name, "sources": ", ".join(survey.name for survey in surveys)},
    )
    errors = [read_json(survey.errors) for survey in surveys]
    write_json(
        {
            "surface": name,
            "sources": [survey.name for survey in surveys],
            "models": [record["model"] for record in errors],
            "dates": [[record["from_date"], record["to_date"]] for record in errors],
            "own_sd": [record["own_sd"] for record in errors],
            "fill_distance_m": fill_distance_m,
            "cell_m": grid.cell_m,
            "origin": list(grid.origin),
            "crs": frame["crs"],
            "vertical_datum": frame["vertical_datum"],
        },
        Path(out).with_suffix(".json"),
    )


def merged(surfaces: Sequence[tuple[str, Grid, dict[str, Array]]], grid: Grid) -> dict[str, Array]:
    """Return the bands of the merged surface.

    Parameters
    ----------
    surfaces : sequence of (identifier, Grid, bands)
        Bands as `wrackline.seabed.gridding.survey_bands` makes them.
    grid : Grid
        Holds them all.

    Returns
    -------
    dict of str to array, shape (n_rows, n_columns)
    """
    out = {band: np.full(grid.shape, np.nan) for band in BANDS}
    season = np.full(grid.shape, -1.0)
    order = sorted({season_of(name) for name, _, _ in surfaces})
    for index, (name, part, bands) in enumerate(surfaces):
        window = grid.window(part)
        rank = float(order.index(season_of(name)))
        better = _better(bands, rank, {k: v[window] for k, v in out.items()}, season[window])
        for band in BANDS:
            new = np.full(part.shape, float(index)) if band == "source" else bands[band]
            out[band][window][better] = new[better]
        season[window][better] = rank
    return out


def _better(
    bands: dict[str, Array], rank: float, best: dict[str, Array], season: Array
) -> npt.NDArray[np.bool_]:
    """Tell in which cells a survey comes before the best so far."""
    there = np.isfinite(bands["height"])
    none = ~np.isfinite(best["height"])
    same_fill = bands["filled"] == best["filled"]
    measured_first = bands["filled"] < best["filled"]
    newer = rank > season
    surer = (rank == season) & (bands["sd"] < best["sd"])
    return np.asarray(there & (none | measured_first | (same_fill & (newer | surer))), dtype=bool)
