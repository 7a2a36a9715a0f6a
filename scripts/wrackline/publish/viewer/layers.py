"""Layers that the plan viewer takes from the site's package, each as far as it is there."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio

MORE = {
    "contours": "contours",
    "waterlines": "waterlines",
    "trenches": "trenches",
    "spot_heights": "spots",
}
"""Layers of the package, and what the viewer calls them."""


def layers_there(package: Path | str) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of `MORE` that a package has, by the viewer's names.

    Parameters
    ----------
    package : path
    """
    there = set(pyogrio.list_layers(package)[:, 0])
    return {
        name: gpd.read_file(package, layer=layer) for layer, name in MORE.items() if layer in there
    }


def surveys_of(package: Path | str) -> pd.DataFrame:
    """Return the layer `surveys` of a package, without its outlines."""
    return pd.DataFrame(gpd.read_file(package, layer="surveys").drop(columns="geometry"))
