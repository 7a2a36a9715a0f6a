"""The pictures for a publication's text that follow from the plan: their tables, and who draws."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd

from wrackline.model import Site
from wrackline.publish.text_pictures.access import access_graphs, draw_access
from wrackline.publish.text_pictures.areas import area_table, draw_areas
from wrackline.publish.text_pictures.depths import depth_table, draw_depths
from wrackline.publish.text_pictures.profile import draw_profile, profile_table
from wrackline.publish.text_pictures.style import Page

DRAWN: Mapping[str, Callable[[pd.DataFrame, Mapping[str, str]], Page]] = {
    "areas": draw_areas,
    "depths": draw_depths,
    "profile": draw_profile,
    "access": draw_access,
}
"""Each is drawn from its table and the statement alone."""


def picture_tables(
    plan: Mapping[str, gpd.GeoDataFrame], site: Site, surface: Sequence[str | Path]
) -> dict[str, pd.DataFrame]:
    """Return what each picture shows, by its name.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Layers of the plan.
    site : Site
        Its origin, CRS and sea levels are read.
    surface : sequence of path, length 0 or 1
        The composite surface.
    """
    return {
        "areas": area_table(plan["rooms"], plan["buildings"]),
        "depths": depth_table(plan, site),
        "profile": profile_table(plan, site, surface),
        "access": access_graphs(plan["rooms"], plan["openings"]),
    }
