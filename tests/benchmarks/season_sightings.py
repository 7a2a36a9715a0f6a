"""Which rooms the library suggests are lost, for the simulated sequences: by what seasons saw."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from season_surveys import CRS, Traced

from wrackline.model import WallSettings
from wrackline.seasons.bits import cut_walls
from wrackline.seasons.condition import last_known
from wrackline.seasons.evidence import stretch_rows
from wrackline.seasons.gathered import INFERRED, stated_thickness
from wrackline.seasons.judging import Heights
from wrackline.seasons.looked import COLUMNS, GROUND, PLANTS
from wrackline.seasons.outlines import outline_states
from wrackline.seasons.room_states import LOST, from_record, room_states
from wrackline.seasons.sightings import Plan, Season, settled, tell
from wrackline.seasons.standing import Standing

PROUD_M, PROUD_SD_M = 0.5, 0.05


def lost(surveys: Sequence[Traced], told: Any) -> set[str]:
    """Return the numbers of the rooms of a season's plan whose walls are lost by then.

    Parameters
    ----------
    surveys : sequence of Traced
        All surveys up to that season, in order.
    told : object
        Its numbered plan is `plan`.
    """
    walls = told.plan["wall_lines"]
    walls = walls[walls["evidence"] != INFERRED].reset_index(drop=True)
    lines = pd.concat([survey.lines for survey in surveys], ignore_index=True)
    plan = Plan(
        walls,
        told.plan["wall_bodies"],
        stated_thickness(walls, gpd.GeoDataFrame(lines, geometry="geometry", crs=CRS)),
        {survey.model.survey: survey.model for survey in surveys},
        WallSettings().wall_max_thickness_m,
    )
    seen = {
        name: _sightings(plan, _season(list(mine)), name)
        for name, mine in groupby(surveys, key=lambda survey: survey.season)
    }
    rooms = told.plan["rooms"]
    outlines = outline_states(rooms, last_known(seen, told.plan["buildings"]))
    states = room_states(rooms, outlines, from_record(None), told.season)
    return {room for room, state in states.states.items() if state == LOST}


def _sightings(plan: Plan, season: Season, name: str) -> gpd.GeoDataFrame:
    """Return what a season saw, beside walls that stand half a metre above a bed that is known.

    The sequences have no seabed: without one, a wall that isn't traced may as well be buried.
    """
    bits = cut_walls(plan.walls, plan.bodies, plan.thickness, plan.max_thickness_m)
    unread = np.full(len(bits), np.nan)
    no = np.zeros(len(bits), dtype=np.int64)
    standing = Standing(unread, unread, unread, unread, unread, no.astype(bool), no)
    proud, sd = np.full(len(bits), PROUD_M), np.full(len(bits), PROUD_SD_M)
    bed = [Heights("bed", 0.05, standing, proud, sd, sd)]
    told = settled(tell(bits, plan, season, bed), bits)
    return stretch_rows(plan.walls, bits, told, bed, name)


def _season(surveys: Sequence[Traced]) -> Season:
    """Return what one season's surveys bring: lines, and the ground that they looked over."""
    traits = {
        survey.model.survey: {
            "holds": "wall_lines",
            "old_plan": survey.old,
            "visibility_m": 5.0,
            "resolution_m": 0.05,
        }
        for survey in surveys
    }
    rows = [
        dict.fromkeys(COLUMNS)
        | {"survey": s.model.survey, "what": what, "stated": True, "share": 0.0}
        | {"geometry": s.looked_at}
        for s in surveys
        for what in (GROUND, PLANTS)
    ]
    lines = pd.concat([survey.lines for survey in surveys], ignore_index=True)
    return Season(
        traits,
        gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS),
        gpd.GeoDataFrame(lines, geometry="geometry", crs=CRS),
        {},
        {},
    )
