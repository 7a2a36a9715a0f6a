"""One row a survey: what it was, how good it says it is, where it looked, what rests on it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd

from wrackline.model import Survey
from wrackline.seasons.looked import grounds_of, plant_share
from wrackline.survey_names import season_of
from wrackline.verdict import Verdict

USED_FOR = {
    "wall_lines": "wall plan, rooms, buildings",
    "features": "features, openings",
    "floor_points": "floor depths, deposit",
    "probes": "floor depths, deposit",
    "trench_outlines": "trenches, ground dug between seasons",
    "finds": "checked and placed; no figure rests on it yet",
    "picture": "checked and placed; no figure rests on it yet",
    "bed_points": "seabed model, seabed depths",
    "bed_grid": "seabed model, seabed depths",
}


def survey_table(
    surveys: Mapping[str, Survey],
    verdicts: Mapping[str, Verdict],
    grounds: gpd.GeoDataFrame,
    crs: str,
) -> gpd.GeoDataFrame:
    """Return one row a survey, with the ground that it looked at as its outline.

    Parameters
    ----------
    surveys : mapping of str to Survey
        Config by identifier.
    verdicts : mapping of str to Verdict
        What intake found, by identifier.
    grounds : GeoDataFrame
        Where they looked, `wrackline.seasons.looked.COLUMNS`.
    crs : str
        The site's CRS.
    """
    outlines = grounds_of(grounds)
    rows = [
        _row(name, surveys[name], verdicts[name], outlines[name], plant_share(grounds, name))
        for name in surveys
    ]
    for row in rows:
        row["null_because"] = _null_because(surveys[row["survey"]], row)
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=crs)


def _row(
    name: str, survey: Survey, verdict: Verdict, ground: tuple[Any, str], plants: float | None
) -> dict[str, Any]:
    return {
        "survey": name,
        "season": season_of(name),
        "technique": survey.technique,
        "holds": survey.holds,
        "from_date": str(survey.from_date),
        "to_date": str(survey.to_date),
        "file": survey.file,
        "sha256": verdict.sha256,
        "rows": verdict.rows,
        "used": verdict.used,
        "random_horizontal_sd_m": survey.random_horizontal_sd_m,
        "random_vertical_sd_m": survey.random_vertical_sd_m,
        "patchy_horizontal_sd_m": survey.patchy_horizontal_sd_m,
        "patchy_vertical_sd_m": survey.patchy_vertical_sd_m,
        "patchy_distance_m": survey.patchy_distance_m,
        "error_sources": ";".join(survey.error_sources),
        "resolution_m": survey.resolution_m,
        "visibility_m": survey.visibility_m,
        "pole_width_m": survey.pole_width_m,
        "ground_looked_at": ground[1],
        "plant_cover_share": plants,
        "used_for": USED_FOR[survey.holds],
        "null_because": "",
        "geometry": ground[0],
    }


def _null_because(survey: Survey, row: Mapping[str, Any]) -> str:
    """Return why fields of a survey's row are empty."""
    unstated = "the config doesn't state it"
    along_faces = survey.holds == "wall_lines" and survey.line_follows != "centre"
    why = {
        "resolution_m": unstated,
        "visibility_m": unstated,
        "plant_cover_share": unstated,
        "pole_width_m": unstated if along_faces else "no wall faces were traced",
    }
    return "; ".join(f"{name}: {text}" for name, text in why.items() if row[name] is None)
