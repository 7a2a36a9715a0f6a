"""Where each survey of a season looked, how far one could see, and where plants grew."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from wrackline import vectors
from wrackline.grounds import (
    ground_of_items,
    ground_of_picture,
    ground_of_surface,
    plants_stated,
    read_stated,
)

COLUMNS = {"survey": "text", "what": "text", "how": "text", "stated": "flag", "share": "real"}
"""`what` is ``ground`` (one row a survey: where it looked, `how` that was had, whether the team
`stated` it) or ``plants`` (where they grow, with the `share` of the ground that they cover)."""
GROUND, PLANTS = "ground", "plants"


def season_grounds(traits: Mapping[str, Mapping[str, Any]], crs: str) -> gpd.GeoDataFrame:
    """Return the grounds of a season's surveys.

    Parameters
    ----------
    traits : mapping of str to mapping
        By survey what `wrackline.sources.ground_traits` gives.
    crs : str
        The site's CRS.

    Returns
    -------
    GeoDataFrame
        `COLUMNS`, in the order of the surveys.

    Raises
    ------
    InputError
        When a file that states a ground can't be used.
    """
    rows: list[dict[str, Any]] = []
    for survey, told in traits.items():
        (ground, how), stated = _ground(told, crs)
        rows.append(_row(survey, GROUND, ground, how=how, stated=stated))
        rows += [
            _row(survey, PLANTS, shape, share=share, stated=True)
            for shape, share in _plants(told, ground, crs)
        ]
    if not rows:
        return vectors.empty(COLUMNS, crs)
    return gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs=crs)


def _row(survey: str, what: str, shape: Any, **more: Any) -> dict[str, Any]:
    return {"survey": survey, "what": what, "how": None, "share": None, "geometry": shape, **more}


def _ground(told: Mapping[str, Any], crs: str) -> tuple[tuple[Any, str], bool]:
    """Return the ground, how it was had, and whether the team stated it."""
    swim = None
    if told["swim_lines"] is not None:
        seen = told["visibility_m"] or told["swim_reach_m"]
        swim = (told["swim_lines"], min(told["swim_reach_m"], seen))
    stated = read_stated(told["looked_at"], swim, crs)
    if stated is not None:
        return stated, True
    if Path(told["data"]).suffix == ".tif":
        return ground_of_surface(told["data"]), False
    items = vectors.read(told["data"])
    picture = told["holds"] == "picture"
    return (ground_of_picture(items) if picture else ground_of_items(items)), False


def _plants(told: Mapping[str, Any], ground: Any, crs: str) -> list[tuple[Any, float]]:
    """Return where plants grow and their shares; none where nothing was stated."""
    cover = told["plant_cover"]
    if cover is None:
        return []
    if not isinstance(cover, str):
        return [(ground, float(cover))]
    plants = plants_stated(cover, crs)
    return list(zip(plants.geometry, plants["share"].astype(float), strict=True))


def grounds_of(table: gpd.GeoDataFrame) -> dict[str, tuple[Any, str]]:
    """Return outline and how it was had, by survey."""
    mine = table[table["what"] == GROUND]
    return {
        str(survey): (shape, str(how))
        for survey, shape, how in zip(mine["survey"], mine.geometry, mine["how"], strict=True)
    }


def plant_share(table: gpd.GeoDataFrame, survey: str) -> float | None:
    """Return the share of a survey's ground that plants cover; None where it isn't stated.

    Where patches overlap the greatest share counts.
    """
    mine = table[table["survey"] == survey]
    ground = shapely.union_all(mine.geometry[mine["what"] == GROUND].to_numpy())
    plants = mine[mine["what"] == PLANTS].sort_values("share", ascending=False)
    if not len(plants):
        return None
    covered, taken = 0.0, shapely.Polygon()
    for share, shape in zip(plants["share"], plants.geometry, strict=True):
        new = shapely.difference(shapely.intersection(shape, ground), taken)
        covered += float(share) * shapely.area(new)
        taken = shapely.union(taken, shape)
    there = shapely.area(ground)
    return float(covered / there) if there > 0 else None
