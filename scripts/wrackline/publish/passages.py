"""Where wall bodies gape: the ground of openings, which plans leave open."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import shapely

from wrackline.publish.cutting import common

PASSAGE_M = 0.9
"""How far an opening is followed through a wall: thicker ones are rare (no source)."""


def passages(plan: Mapping[str, gpd.GeoDataFrame]) -> gpd.GeoSeries:
    """Return the ground of openings through wall bodies.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Layers of a plan; `openings` and `wall_bodies` are read.
    """
    bands = shapely.buffer(plan["openings"].geometry.to_numpy(), PASSAGE_M, cap_style="flat")
    cut = shapely.get_parts(common(bands, plan["wall_bodies"].geometry.to_numpy()))
    return gpd.GeoSeries(cut[shapely.get_dimensions(cut) == 2])
