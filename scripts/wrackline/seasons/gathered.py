"""Gathers what the sightings of a season are made from: its plan so far, and its surveys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np

from wrackline import vectors
from wrackline.model import WallSettings
from wrackline.seasons.bits import Array
from wrackline.seasons.sightings import Plan, Season
from wrackline.walls.gather import gather_items, read_models, told_apart
from wrackline.walls.linework import line_name

INFERRED = "inferred"


def gather_plan(
    files: Sequence[Path | str], lines: Path | str, errors: Sequence[Path | str], max_m: float
) -> Plan:
    """Return the walls of a season's numbered plan, closings left out.

    Parameters
    ----------
    files : sequence of path, length 2
        Its wall lines and wall bodies.
    lines : Path or str
        The lines that the stage `walls` kept, with what thickness was stated.
    errors : sequence of path
        Errors of all surveys of walls so far.
    max_m : float
        Two faces further apart are faces of two walls [m].
    """
    walls, bodies = map(vectors.read, files)
    walls = walls[walls["evidence"] != INFERRED].reset_index(drop=True)
    models = {model.survey: model for model in read_models(errors)}
    return Plan(walls, bodies, stated_thickness(walls, vectors.read(lines)), models, max_m)


def stated_thickness(walls: gpd.GeoDataFrame, lines: gpd.GeoDataFrame) -> Array:
    """Return the thickness that was stated for walls; NaN where none was [m]."""
    named = [line_name(row) for _, row in lines.iterrows()]
    stated = dict(zip(named, lines["thickness_m"].to_numpy(float, na_value=np.nan), strict=True))
    found = [
        [stated[name] for name in str(names).split(";") if np.isfinite(stated.get(name, np.nan))]
        for names in walls["lines"]
    ]
    return np.array([np.mean(part) if part else np.nan for part in found], dtype=float)


def gather_season(
    traits: Mapping[str, Mapping[str, Any]],
    ground: Path | str,
    items: Sequence[Path | str],
    bed: tuple[Sequence[Path | str], Sequence[Path | str]],
    walls: tuple[WallSettings, str],
) -> Season:
    """Return what a season's surveys bring for the walls.

    Parameters
    ----------
    traits : mapping of str to mapping
        As `wrackline.sources.sight_traits` gives them.
    ground : Path or str
        Where its surveys looked.
    items : sequence of path
        Fitted items of its surveys of walls.
    bed : tuple of sequences of path
        Surfaces and errors of its surveys of the bed.
    walls : tuple of (WallSettings, CRS)
        What the config says of walls, and the site's CRS.
    """
    settings, crs = walls
    lines, _ = told_apart(gather_items(items, crs), settings.no_walls)
    models = {model.survey: model for model in read_models(bed[1])}
    surfaces = dict(zip(models, bed[0], strict=True))
    return Season(traits, vectors.read(ground), lines, surfaces, models)
