"""Rows of buildings and of features."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.config import season_of
from wrackline.numbers import BUILDING, FEATURE, place_numbers
from wrackline.rooms import figures
from wrackline.rooms.floors import Outline, footprint_of
from wrackline.rooms.kinds import COURT, ROOM
from wrackline.rooms.met_floors import MetFloors
from wrackline.rooms.rooms import Space, bed_fields, outlined
from wrackline.rooms.view import View, azimuth
from wrackline.uncertainty import ErrorModel, propagate

NO_SUPPORT = "support: outlines are not resampled yet"
NO_PHASES = "phase_from, phase_to: the team has not dated it"


@dataclass(frozen=True)
class Whole:
    """One building on its way to a row: its faces, its outer edges and the ground it covers."""

    members: np.ndarray
    edges: np.ndarray
    side: np.ndarray
    inner: shapely.Geometry
    footprint: Outline | None

    @property
    def outline(self) -> shapely.Geometry:
        """The ground that it covers, to wall centres where their thickness is unknown."""
        return self.inner if self.footprint is None else self.footprint.polygon


def wholes_of(view: View) -> list[Whole]:
    """Return every building, in the order of their indices."""
    return [_whole(view, number) for number in range(view.building.max(initial=-1) + 1)]


def _whole(view: View, number: int) -> Whole:
    members = np.flatnonzero(view.building == number)
    sides = view.faces.sides[members]
    edges = np.unique(sides.indices).astype(np.int64)
    side = np.asarray(sides[:, edges].sum(axis=0)).ravel().astype(float)
    outer = edges[side != 0]
    inner = shapely.union_all(view.faces.polygons[members])
    thickness, _ = view.thickness_of(outer)
    footprint = footprint_of(inner, view.network.edges[outer], side[side != 0], thickness)
    return Whole(members, edges, side, inner, footprint)


def floors_in(view: View, whole: Whole, spaces: list[Space]) -> shapely.Geometry:
    """Return the floors of a building, in which its seabed depth is read: walls left out."""
    mine = [space for space in spaces if space.face in whole.members]
    return shapely.union_all([space.shown(view) for space in mine])


def building_table(
    view: View, wholes: list[Whole], bed: pd.DataFrame, met: MetFloors
) -> gpd.GeoDataFrame:
    """Return one row a building.

    Parameters
    ----------
    view : View
    wholes : list of Whole
    bed : DataFrame
        Seabed in each building's floors, in the same order.
    met : MetFloors
    """
    rows = [_row(view, whole, bed.iloc[k], met) for k, whole in enumerate(wholes)]
    names = list(rows[0]) if rows else [*_EMPTY]
    table = gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=names), geometry="geometry", crs=view.site.crs
    )
    inside = shapely.get_coordinates(shapely.point_on_surface(table.geometry.to_numpy()))
    table["building"] = place_numbers(BUILDING, inside, view.site.origin)
    return table


_EMPTY = (
    *("room_count", "footprint_m2", "footprint_sd_m2", "axis_deg", "axis_sd_deg"),
    *("top_depth_m", "top_depth_sd_m", "bed_depth_m", "bed_depth_sd_m", "floor_depth_m"),
    *("floor_depth_sd_m", "support", "surveys", "first_season", "last_season"),
    *("null_because", "geometry"),
)


def _row(view: View, whole: Whole, bed: pd.Series, met: MetFloors) -> dict[str, Any]:
    edges, outline = whole.edges, whole.outline
    ends = view.network.edges[edges]
    convergence, scale = view.factors(outline)
    turn = figures.axis(ends, edges, 4)
    surveys = view.surveys_of(edges)
    size, size_sd, why_size = _footprint(view, whole)
    top, top_sd, why_top = top_depth(view, edges)
    depth, floor = bed_fields(view, bed), met.fields(view, outline)
    why = [why_size, why_top, depth["why"], floor["why"], NO_SUPPORT]
    return {
        "room_count": int((view.kind[whole.members] == ROOM).sum()),
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
        "support": None,
        "surveys": surveys,
        "first_season": max(map(season_of, surveys.split(";"))),
        "last_season": max(map(season_of, surveys.split(";"))),
        "null_because": "; ".join(filter(None, why)),
        "geometry": outline,
    }


def _footprint(view: View, whole: Whole) -> tuple[float | None, float | None, str]:
    """Return the area covered and its sd in the grid, and why it is missing."""
    if whole.footprint is None:
        return None, None, "footprint_m2: the thickness of its outer walls is unknown"
    outer = whole.edges[whole.side != 0]
    side = whole.side[whole.side != 0]
    figure = outlined(view, outer, side, whole.footprint)
    _, sd = view.thickness_of(outer)
    walls = view.thickness_budget(outer, whole.footprint.length_m / 2 * sd)
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
    top = (view.lines["traced_at"] == "top").to_numpy(bool)[view.edge_line[edges]]
    chosen = edges[top & view.network.recorded[edges]]
    return figures.mean_height(view.network.edges[chosen], view.network.heights()[chosen], chosen)


def feature_table(
    features: gpd.GeoDataFrame, models: list[ErrorModel], view: View, rooms: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Return features with the room that each lies in and the depth of its top.

    Parameters
    ----------
    features : GeoDataFrame
        `ITEM_COLUMNS`, any geometry with heights above the datum.
    models : list of ErrorModel
        Errors of the surveys in it.
    view : View
    rooms : GeoDataFrame
        Rooms with their numbers.
    """
    rows = [_feature_row(row, models, view, rooms) for _, row in features.iterrows()]
    names = [
        *("kind", "origin", "room", "top_depth_m", "top_depth_sd_m", "base_depth_m"),
        *("phase_from", "phase_to", "survey", "season", "line", "note", "null_because"),
        "geometry",
    ]
    table = gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=names), geometry="geometry", crs=view.site.crs
    )
    inside = shapely.get_coordinates(shapely.point_on_surface(table.geometry.to_numpy()))
    table["feature"] = place_numbers(FEATURE, inside, view.site.origin)
    return table


def _feature_row(
    row: pd.Series, models: list[ErrorModel], view: View, rooms: gpd.GeoDataFrame
) -> dict[str, Any]:
    xyz = shapely.get_coordinates(row.geometry, include_z=True)
    known = xyz[np.isfinite(xyz[:, 2])]
    depth, sd, why = None, None, "top_depth_m: no heights were taken on it"
    if len(known):
        gradient = np.zeros_like(known)
        gradient[:, 2] = 1 / len(known)
        index = [model.survey for model in models].index(row["survey"])
        budget = propagate(gradient, known, np.full(len(known), index), models)
        depth, total = view.depth_of(float(known[:, 2].mean()), budget)
        sd, why = total.sd, ""
    within = shapely.contains(rooms.geometry.to_numpy(), shapely.point_on_surface(row.geometry))
    inside = rooms["room"].to_numpy(object)[within & (rooms["kind"] != COURT).to_numpy(bool)]
    court = rooms["room"].to_numpy(object)[within]
    return {
        "kind": row["kind"],
        "origin": row["origin"],
        "room": next(iter([*inside, *court]), None),
        "top_depth_m": depth,
        "top_depth_sd_m": sd,
        "base_depth_m": None,
        "phase_from": None,
        "phase_to": None,
        "survey": row["survey"],
        "season": row["season"],
        "line": row["line"],
        "note": row["note"],
        "null_because": "; ".join(filter(None, [why, "base_depth_m: not recorded", NO_PHASES])),
        "geometry": row.geometry,
    }
