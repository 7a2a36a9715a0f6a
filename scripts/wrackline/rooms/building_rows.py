"""Rows of buildings: the ground that they cover, and how deep they stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.rooms import figures
from wrackline.rooms.floors import Outline, outline_of
from wrackline.rooms.kinds import ROOM
from wrackline.rooms.layers import NO_SUPPORT, as_layer
from wrackline.rooms.met_floors import MetFloors
from wrackline.rooms.rooms import Space, bed_fields, outlined
from wrackline.rooms.view import View, azimuth
from wrackline.survey_names import season_of


@dataclass(frozen=True)
class Building:
    """One building on its way to a row: its faces, its outer edges and the ground it covers."""

    members: np.ndarray
    edges: np.ndarray
    side: np.ndarray
    inner: shapely.Geometry
    footprint: Outline | None
    support: float | None

    @property
    def outline(self) -> shapely.Geometry:
        """The ground that it covers, to wall centres where their thickness is unknown."""
        return self.inner if self.footprint is None else self.footprint.polygon


def buildings_in(view: View) -> list[Building]:
    """Return every building, in the order of their indices."""
    count = view.building.max(initial=-1) + 1
    members = [np.flatnonzero(view.building == number) for number in range(count)]
    support = view.support_together(members)
    return [_building(view, *each) for each in zip(members, support.tolist(), strict=True)]


def _building(view: View, members: np.ndarray, support: float) -> Building:
    sides = view.faces.sides[members]
    edges = np.unique(sides.indices).astype(np.int64)
    side = np.asarray(sides[:, edges].sum(axis=0)).ravel().astype(float)
    outer = edges[side != 0]
    inner = shapely.union_all(view.faces.polygons[members])
    out = side[side != 0]
    inward, _ = view.inward_of(outer, out, outer=True)
    footprint = outline_of(inner, view.network.edges[outer], out, inward)
    known = None if np.isnan(support) else support
    return Building(members, edges, side, inner, footprint, known)


def floors_in(view: View, building: Building, spaces: list[Space]) -> shapely.Geometry:
    """Return the floors of a building, in which its seabed depth is read: walls left out."""
    mine = [space for space in spaces if space.face in building.members]
    return shapely.union_all([space.shown(view) for space in mine])


def building_table(
    view: View, buildings: list[Building], bed: pd.DataFrame, met: MetFloors
) -> gpd.GeoDataFrame:
    """Return one row a building.

    Parameters
    ----------
    view : View
    buildings : list of Building
    bed : DataFrame
        Seabed in each building's floors, in the same order.
    met : MetFloors
    """
    rows = [_row(view, building, bed.iloc[k], met) for k, building in enumerate(buildings)]
    return as_layer("buildings", rows, view.site)


def _row(view: View, building: Building, bed: pd.Series, met: MetFloors) -> dict[str, Any]:
    edges, outline = building.edges, building.outline
    ends = view.network.edges[edges]
    convergence, scale = view.factors(outline)
    turn = figures.axis(ends, edges, 4)
    surveys = view.surveys_of(edges)
    size, size_sd, why_size = _footprint(view, building)
    top, top_sd, why_top = top_depth(view, edges)
    depth, floor = bed_fields(view, bed), met.fields(view, outline)
    why = [why_size, why_top, depth["why"], floor["why"]]
    why += [] if building.support is not None else [NO_SUPPORT]
    return {
        "room_count": int((view.kind[building.members] == ROOM).sum()),
        "footprint_m2": None if size is None else size / scale**2,
        "footprint_sd_m2": None if size_sd is None else size_sd / scale**2,
        "axis_deg": azimuth(turn.value, convergence, 90.0),
        "axis_sd_deg": float(np.degrees(view.ground.budget(turn).sd)),
        "top_depth_m": top,
        "top_depth_sd_m": top_sd,
        "bed_depth_m": depth["bed_depth_m"],
        "bed_depth_sd_m": depth["bed_depth_sd_m"],
        "floor_depth_m": floor["floor_depth_m"],
        "floor_depth_sd_m": floor["floor_depth_sd_m"],
        "support": building.support,
        "surveys": surveys,
        "first_season": max(map(season_of, surveys.split(";"))),
        "last_season": max(map(season_of, surveys.split(";"))),
        "null_because": "; ".join(filter(None, why)),
        "geometry": outline,
    }


def _footprint(view: View, building: Building) -> tuple[float | None, float | None, str]:
    """Return the area covered and its sd in the grid, and why it is missing."""
    if building.footprint is None:
        return None, None, "footprint_m2: the thickness of its outer walls is unknown"
    outer = building.edges[building.side != 0]
    side = building.side[building.side != 0]
    figure = outlined(view, outer, side, building.footprint)
    _, change = view.inward_of(outer, side, outer=True)
    walls = view.inward_budget(outer, -building.footprint.length_m * change)
    return figure.value, view.ground.budget(figure).plus(walls).sd, ""


def top_depth(view: View, edges: np.ndarray) -> tuple[float | None, float | None, str]:
    """Return mean depth of wall tops along recorded edges, its sd, and why it is missing."""
    figure = top_figure(view, edges)
    if figure is None:
        return None, None, "top_depth_m: no heights were taken along its wall tops"
    depth, budget = view.depth(figure)
    return depth, budget.sd, ""


def top_figure(view: View, edges: np.ndarray) -> figures.Figure | None:
    """Return the mean height of wall tops along recorded edges, None where none was taken."""
    top = view.at_top[view.edge_line[edges]]
    chosen = edges[top & view.network.recorded[edges]]
    return figures.mean_height(view.network.edges[chosen], view.heights[chosen], chosen)
