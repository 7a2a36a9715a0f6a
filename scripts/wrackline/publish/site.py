"""The layers that stand beside the plan: lines on the seabed, and the surveys themselves."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd

from wrackline import contract, vectors
from wrackline.model import Survey
from wrackline.publish.surveys import (
    ground_of_items,
    ground_of_picture,
    ground_of_surface,
    ground_stated,
    survey_table,
)
from wrackline.verdict import read_verdict


def bed_lines(layer: str, files: Sequence[str | Path], crs: str) -> gpd.GeoDataFrame:
    """Return contours or waterlines, or no row where the site has no seabed model.

    Parameters
    ----------
    layer : str
    files : sequence of path, length 0 or 1
    crs : str
    """
    return vectors.read(files[0]) if files else vectors.empty(contract.columns(layer), crs)


def survey_layer(
    surveys: Sequence[tuple[str, str]],
    verdicts: Sequence[str | Path],
    grounds: Sequence[str | Path],
    *,
    crs: str,
) -> gpd.GeoDataFrame:
    """Return the layer `surveys`.

    Parameters
    ----------
    surveys : sequence of (identifier, config as JSON)
    verdicts, grounds : sequence of path
        In the same order: what intake found; and the ground as stated by the team, the survey's
        surface or its items.
    crs : str
        The site's CRS.
    """
    config = {name: Survey.model_validate_json(text) for name, text in surveys}
    found = dict(zip(config, map(read_verdict, verdicts), strict=True))
    outlines = {
        name: _ground(config[name], path, crs) for name, path in zip(config, grounds, strict=True)
    }
    return survey_table(config, found, outlines, crs)


def _ground(survey: Survey, path: str | Path, crs: str) -> tuple[Any, str]:
    if survey.looked_at is not None:
        return ground_stated(path, crs)
    if Path(path).suffix == ".tif":
        return ground_of_surface(path)
    items = vectors.read(path)
    return ground_of_picture(items) if survey.holds == "picture" else ground_of_items(items)
