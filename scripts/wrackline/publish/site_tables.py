"""Tables of the whole site: sea levels, what bounds them, flooding, shared walls, ways through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import pandas as pd

from wrackline.model import Site
from wrackline.publish.access_table import access_table
from wrackline.publish.adjacency import adjacency_table
from wrackline.publish.levels import levels_table
from wrackline.publish.sea_level import sea_level_table
from wrackline.rooms.flooding import flooding_table
from wrackline.uncertainty import ErrorModel


def site_tables(
    plan: Mapping[str, gpd.GeoDataFrame],
    floors: gpd.GeoDataFrame,
    models: Sequence[ErrorModel],
    site: Site,
) -> dict[str, pd.DataFrame]:
    """Return the tables of the whole site, by the names that `wrackline.contract` has.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Layers of the plan.
    floors : GeoDataFrame
        Points at which floors were met.
    models : sequence of ErrorModel
        Errors of the surveys.
    site : Site
    """
    return {
        "levels": levels_table(site),
        "sea_level": sea_level_table(plan, floors, models, site),
        "flooding": flooding_table(plan, floors, models, site),
        "adjacency": adjacency_table(plan, site.walls.wall_max_thickness_m),
        "access": access_table(plan),
    }
