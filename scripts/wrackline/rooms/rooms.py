"""Rows of rooms: enclosed spaces with area, axis, depths, and how far each may be trusted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.rooms import figures
from wrackline.rooms.faces import elongations
from wrackline.rooms.floors import Outline
from wrackline.rooms.kinds import BODY, COURT, LANE, ROOM, UNKNOWN
from wrackline.rooms.layers import NO_SUPPORT, UNDATED, as_layer
from wrackline.rooms.met_floors import MetFloors
from wrackline.rooms.view import View, azimuth
from wrackline.survey_names import season_of
from wrackline.uncertainty import Budget

SPACES = (ROOM, COURT, LANE, UNKNOWN)


@dataclass(frozen=True)
class Space:
    """One enclosed space on its way to a row."""

    face: int
    edges: np.ndarray
    side: np.ndarray
    floor: Outline | None
    support: float | None

    def shown(self, view: View) -> shapely.Geometry:
        """Return the floor or, where it can't be told, the space between the lines as drawn."""
        return view.faces.polygons[self.face] if self.floor is None else self.floor.polygon


def spaces_of(view: View) -> list[Space]:
    """Return rooms, courts, lanes and small enclosed spaces with their floors."""
    faces = np.flatnonzero(np.isin(view.kind, SPACES))
    support = view.support(faces)
    return [_space(view, int(face), support[k]) for k, face in enumerate(faces)]


def _space(view: View, face: int, support: float) -> Space:
    edges, side = view.bounds_of(face)
    known = None if np.isnan(support) else float(support)
    return Space(face, edges, side, view.outline(face), known)


def room_table(
    view: View, spaces: list[Space], bed: pd.DataFrame, met: MetFloors
) -> gpd.GeoDataFrame:
    """Return one row a space.

    Parameters
    ----------
    view : View
    spaces : list of Space
    bed : DataFrame
        Seabed in each space, as `wrackline.seabed.sample` gives it, in the same order.
    met : MetFloors
        Floors met by trench, threshold, paving or probe.

    Returns
    -------
    GeoDataFrame
        Fields of the contract's layer `rooms`, and `face`; `building` holds the building's index.
    """
    rows = [_row(view, space, bed.iloc[k], met) for k, space in enumerate(spaces)]
    return as_layer("rooms", rows, view.site, extra=["face"])


def _row(view: View, space: Space, bed: pd.Series, met: MetFloors) -> dict[str, Any]:
    polygon = view.faces.polygons[space.face]
    shown = space.shown(view)
    length = view.network.length[space.edges]
    recorded = view.network.recorded[space.edges]
    surveys = view.surveys_of(space.edges)
    seasons = [season_of(name) for name in surveys.split(";")]
    size = _size_fields(view, space)
    depth = bed_fields(view, bed)
    floor = met.fields(view, polygon)
    why = [part.pop("why") for part in (size, depth, floor)]
    phases = view.phases_of(space.face, space.edges)
    why += ["" if space.support is not None else NO_SUPPORT, "" if any(phases) else UNDATED]
    return {
        "building": int(view.building[space.face]),
        "kind": str(view.kind[space.face]),
        **size,
        "elongation": float(elongations(np.array([shown]))[0]),
        **depth,
        **floor,
        "recorded_share": float(length[recorded].sum() / length.sum()),
        "support": space.support,
        "phase_from": phases[0],
        "phase_to": phases[1],
        "surveys": surveys,
        "lines": view.lines_of(space.edges),
        "first_season": max(seasons),
        "last_season": max(seasons),
        "null_because": "; ".join(filter(None, why)),
        "geometry": shown,
        "face": space.face,
    }


def _size_fields(view: View, space: Space) -> dict[str, Any]:
    """Return areas, perimeter and axis with their sd, and why an area is missing."""
    polygon = view.faces.polygons[space.face]
    convergence, scale = view.factors(polygon)
    ends = view.network.edges[space.edges]
    turn = long_axis(ends, space.edges)
    fields: dict[str, Any] = {
        "axis_deg": azimuth(turn.value, convergence, 180.0),
        "axis_sd_deg": float(np.degrees(view.ground.budget(turn).sd)),
        "floor_area_m2": None,
        "floor_area_sd_m2": None,
        "centre_area_m2": _centre_area(view, space),
        "perimeter_m": None,
        "why": "floor_area_m2, perimeter_m: wall thickness unknown, or no floor left between walls",
    }
    if space.floor is not None:
        fields["floor_area_m2"] = float(space.floor.polygon.area) / scale**2
        fields["floor_area_sd_m2"] = floor_budget(view, space).sd / scale**2
        fields["perimeter_m"] = float(space.floor.polygon.length) / scale
        fields["why"] = ""
    if fields["centre_area_m2"] is None:
        lack = "centre_area_m2: no wall body of known thickness around it"
        fields["why"] = "; ".join(filter(None, [fields["why"], lack]))
    else:
        fields["centre_area_m2"] /= scale**2
    return fields


def floor_figure(view: View, space: Space) -> figures.Figure:
    """Return the area of a floor in the grid, with its gradient on the lines around it."""
    if space.floor is None:
        raise ValueError("a space without a floor has no floor area")
    return outlined(view, space.edges, space.side, space.floor)


def outlined(view: View, edges: np.ndarray, side: np.ndarray, outline: Outline) -> figures.Figure:
    """Return the area within a moved outline, with its gradient on the edges beside it."""
    ends = view.network.edges[edges]
    figure = figures.area(ends, edges, side, outline.span, outline.jog)
    return figures.Figure(float(outline.polygon.area), figure.edges, figure.gradient)


def floor_budget(view: View, space: Space) -> Budget:
    """Return the uncertainty of a floor's area in the grid: lines, thickness of walls, poles."""
    figure = floor_figure(view, space)
    length = np.zeros(0) if space.floor is None else space.floor.length_m
    _, change = view.inward_of(space.edges, space.side)
    walls = view.inward_budget(space.edges, -length * change)
    return view.ground.budget(figure).plus(walls)


def long_axis(ends: np.ndarray, edges: np.ndarray) -> figures.Figure:
    """Return the right-angle symmetric axis, turned to the direction in which most wall runs."""
    square, line = figures.axis(ends, edges, 4), figures.axis(ends, edges, 2)
    off = (line.value - square.value + np.pi / 4) % np.pi
    turned = square.value + (np.pi / 2 if off > np.pi / 2 else 0.0)
    return figures.Figure(turned, square.edges, square.gradient)


def _centre_area(view: View, space: Space) -> float | None:
    """Return the area to wall centres in the grid, where thickness is known."""
    if space.floor is None or view.centre[view.edge_line[space.edges]].all():
        return float(view.faces.polygons[space.face].area)
    touching = view.neighbours[[space.face]].indices.tolist()
    outlines = [view.outline(face) for face in touching if view.kind[face] == BODY]
    bodies = [outline.polygon for outline in outlines if outline is not None]
    if not bodies:
        return None
    thickness = 2 * sum(b.area for b in bodies) / sum(b.length for b in bodies)
    return float(shapely.buffer(space.floor.polygon, thickness / 2, join_style="mitre").area)


def bed_fields(view: View, bed: pd.Series) -> dict[str, Any]:
    """Return the depth of the seabed in a space, or why there is none."""
    names = ("bed_depth_m", "bed_depth_min_m", "bed_depth_max_m", "bed_depth_sd_m", "bed_date")
    if not bed["cells"]:
        why = "bed_depth_m: no soundings in it or near enough"
        return {**dict.fromkeys(names), "bed_covered_share": 0.0, "why": why}
    middle, budget = view.depth_of(bed["bed_height_median"], bed["budget"])
    level = view.site.depth_level.height_m
    return {
        "bed_depth_m": middle,
        "bed_depth_min_m": level - bed["bed_height_max"],
        "bed_depth_max_m": level - bed["bed_height_min"],
        "bed_depth_sd_m": budget.sd,
        "bed_date": f"{bed['from_date']}/{bed['to_date']}",
        "bed_covered_share": float(bed["covered_share"]),
        "why": "",
    }
