"""The layers that stand beside the plan: lines on the seabed, and the surveys themselves."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd

from wrackline import contract, vectors
from wrackline.model import Survey
from wrackline.publish.surveys import survey_table
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


def together(layer: str, files: Sequence[str | Path], crs: str) -> gpd.GeoDataFrame:
    """Return a layer that every season has a part of, the seasons in the order of the files."""
    tables = [table for table in map(vectors.read, files) if len(table)]
    if not tables:
        return vectors.empty(contract.columns(layer), crs)
    return gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry", crs=crs)


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
    verdicts : sequence of path
        What intake found, in the same order.
    grounds : sequence of path
        Where the surveys of each season looked.
    crs : str
        The site's CRS.
    """
    config = {name: Survey.model_validate_json(text) for name, text in surveys}
    found = dict(zip(config, map(read_verdict, verdicts), strict=True))
    looked = pd.concat([vectors.read(path) for path in grounds], ignore_index=True)
    return survey_table(config, found, gpd.GeoDataFrame(looked, geometry="geometry", crs=crs), crs)
