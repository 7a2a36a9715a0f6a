"""Rows of wall lines, wall bodies and openings."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.numbers import joined
from wrackline.rooms import figures
from wrackline.rooms.figures import Figure, Ground
from wrackline.rooms.kinds import BODY, OPEN
from wrackline.rooms.layers import NO_PHASES, NO_SUPPORT, UNDATED, as_layer
from wrackline.rooms.openings import OUTSIDE, openings_of, seen
from wrackline.rooms.rooms import outlined
from wrackline.rooms.view import View, azimuth
from wrackline.survey_names import season_of
from wrackline.uncertainty import Budget
from wrackline.walls.linework import (
    OLD_PLAN,
    RECORDED,
    Pieces,
    join_pieces,
    recorded_pieces,
)
from wrackline.walls.motion import end_motion
from wrackline.walls.planar import NODE_M

COMPACT = 1 / 3
"""(length - thickness) / (length + thickness) of a strip twice as long as thick."""


def wall_lines(view: View) -> gpd.GeoDataFrame:
    """Return recorded lines, then closings, with length, axis and depths.

    Parameters
    ----------
    view : View

    Returns
    -------
    GeoDataFrame
        Fields of the contract's layer `wall_lines`.
    """
    work = view.network.work
    traced = recorded_pieces(work)
    pieces = join_pieces([traced, view.network.closings()])
    ground = Ground.under(work, end_motion(pieces, work.xyz), view.models)
    ends = pieces.ends(work.xyz)
    rows = _recorded_rows(view, ground, ends, pieces)
    inferred = np.flatnonzero((pieces.kind != RECORDED) & (pieces.gap_m >= NODE_M))
    support = _closing_support(view, ends[inferred])
    rows += _closing_rows(view, pieces, ends, inferred)
    stands = view.network.closings_standing()[inferred - len(traced)]
    for k, row in enumerate(rows[len(work.lines) :]):
        row.update(_closing_phases(view.network.phases, stands[k]))
        row["support"] = None if np.isnan(support[k]) else float(support[k])
        lacks = [NO_PHASES] * (row["phase_from"] is None) + [NO_SUPPORT] * bool(
            np.isnan(support[k])
        )
        row["null_because"] = "; ".join([row["null_because"], *lacks])
    return as_layer("wall_lines", rows, view.site)


def _recorded_rows(
    view: View, ground: Ground, ends: np.ndarray, pieces: Pieces
) -> list[dict[str, Any]]:
    work = view.network.work
    mine = np.flatnonzero(pieces.line >= 0)
    order = mine[np.argsort(pieces.line[mine], kind="stable")]
    parts = np.split(order, np.searchsorted(pieces.line[order], np.arange(1, len(work.lines))))
    whole = shapely.multilinestrings(
        shapely.linestrings(ends[order][:, :, :2]), indices=pieces.line[order]
    )
    factors = view.factors_of(whole) if len(whole) else []
    shapes = shapely.linestrings(work.xyz, indices=work.line)
    lines = work.lines.drop(columns="geometry").to_dict("records")
    rows = []
    for row, line in enumerate(lines):
        fields = _figures(ground, ends, parts[row], factors[row])
        told = _recorded_row(view, ground, line, fields)
        rows.append(told | {"lines": view.line_names[row], "geometry": shapes[row]})
    return rows


def _figures(
    ground: Ground, ends: np.ndarray, parts: np.ndarray, factors: tuple[float, float]
) -> dict[str, Any]:
    """Return length, axis and mean height of a line's pieces, as fields and as figures."""
    xy, z = ends[parts][:, :, :2], ends[parts][:, :, 2]
    convergence, scale = factors
    turn = figures.axis(xy, parts, 2)
    return {
        "length_m": figures.length(xy, parts).value / scale,
        "axis_deg": azimuth(turn.value, convergence, 180.0),
        "axis_sd_deg": float(np.degrees(ground.budget(turn).sd)),
        "height": figures.mean_height(xy, z, parts),
    }


def _recorded_row(
    view: View, ground: Ground, line: dict[Hashable, Any], fields: dict[str, Any]
) -> dict[str, Any]:
    """Return a recorded line's row from its traits and figures, without name and geometry."""
    height: Figure | None = fields.pop("height")
    why = ["support: recorded, so no choice was made"]
    why += [] if any(_phases(line).values()) else [NO_PHASES]
    for place in ("top", "base"):
        depth, sd = None, None
        if line["traced_at"] == place and height is not None:
            value, budget = view.depth_of(height.value, ground.budget(height))
            depth, sd = value, budget.sd
        elif line["traced_at"] == place:
            why.append(f"{place}_depth_m: the survey took no heights along it")
        else:
            why.append(f"{place}_depth_m: traced at the {line['traced_at']}")
        fields |= {f"{place}_depth_m": depth, f"{place}_depth_sd_m": sd}
    surveys = [line["survey"], *filter(None, str(line["repeats"]).split(";"))]
    return {
        **fields,
        "evidence": OLD_PLAN if str(line["evidence"]) == OLD_PLAN else RECORDED,
        "closing": None,
        "gap_m": None,
        "support": None,
        "line_follows": line["line_follows"],
        "traced_at": line["traced_at"],
        **_phases(line),
        "surveys": joined(surveys),
        "first_season": min(map(season_of, surveys)),
        "last_season": max(map(season_of, surveys)),
        "null_because": "; ".join(why),
    }


def _phases(line: dict[Hashable, Any]) -> dict[str, str | None]:
    """Return what the team says of a line's phases."""
    told = {name: line[name] for name in ("phase_from", "phase_to")}
    return {name: None if pd.isna(phase) else str(phase) for name, phase in told.items()}


def _closing_phases(phases: Sequence[str], stands: np.ndarray) -> dict[str, str | None]:
    """Return the first and last phase in which a closing stands; None where in every one."""
    there = np.flatnonzero(stands)
    every = len(there) in (0, len(phases))
    return {
        "phase_from": None if every else phases[there[0]],
        "phase_to": None if every else phases[there[-1]],
    }


def _closing_support(view: View, ends: np.ndarray) -> np.ndarray:
    """Return the share of outlines in which closings part two spaces; of phases, the best.

    NaN where no outlines were drawn.
    """
    lines = shapely.linestrings(ends[:, :, :2])
    shares = [outlines.parted(lines) for outlines in view.outlines if len(lines)]
    return np.max(shares, axis=0) if shares else np.full(len(lines), np.nan)


def _closing_rows(
    view: View, pieces: Pieces, ends: np.ndarray, inferred: np.ndarray
) -> list[dict[str, Any]]:
    flat = ends[inferred].copy()
    flat[:, :, 2] = np.nan
    shapes = shapely.linestrings(flat)
    factors = view.factors_of(shapes) if len(shapes) else []
    return [
        _closing_row(view, pieces, piece, flat[k, :, :2], factors[k]) | {"geometry": shapes[k]}
        for k, piece in enumerate(inferred.tolist())
    ]


def _closing_row(
    view: View, pieces: Pieces, piece: int, xy: np.ndarray, factors: tuple[float, float]
) -> dict[str, Any]:
    """Return a closing's row, without its geometry."""
    rows = np.unique(view.network.work.line[pieces.vertices[piece]])
    surveys = view.line_surveys[rows]
    convergence, scale = factors
    turn = figures.axis(xy[None], np.array([piece]), 2)
    seasons = [season_of(name) for name in surveys]
    why = "inferred, so nothing was measured on it: axis_sd_deg, top_depth_m, base_depth_m"
    return {
        "length_m": float(np.hypot(*(xy[1] - xy[0]))) / scale,
        "axis_deg": azimuth(turn.value, convergence, 180.0),
        "axis_sd_deg": None,
        **dict.fromkeys(("top_depth_m", "top_depth_sd_m", "base_depth_m", "base_depth_sd_m")),
        "evidence": "inferred",
        "closing": str(pieces.kind[piece]),
        "gap_m": float(pieces.gap_m[piece]),
        "support": None,
        "line_follows": view.lines["line_follows"].iloc[rows[0]],
        "traced_at": None,
        "surveys": joined(surveys),
        "lines": joined(view.line_names[rows]),
        "first_season": max(seasons),
        "last_season": max(seasons),
        "null_because": why,
    }


def wall_bodies(view: View, walls: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return wall bodies with their mean thickness: twice the area over the outline's length.

    Parameters
    ----------
    view : View
    walls : GeoDataFrame
        Wall lines with their numbers, recorded lines first and in the view's order.
    """
    rows = [_body_row(view, walls, int(face)) for face in np.flatnonzero(view.kind == BODY)]
    return as_layer("wall_bodies", rows, view.site)


def thickness_figure(view: View, face: int) -> Figure | None:
    """Return the mean thickness t of a wall body in the grid, from area A and outline P.

    A body of right-angled walls around h spaces has A = t P / 2 + (h - 1) t^2: moved in from
    outside and out from every space by half of t, outlines meet at the walls' centres, and each
    gains or loses 4 (t / 2)^2 at its corners. With one space this is twice the area over the
    outline; each wall between two spaces adds a junction at either end. A body around no space
    and less than twice as long as thick, such as a pillar, has no thickness: None. Nor has one
    that is thinner than the pole by which its faces were traced.

    How the outline's length changes as lines turn about poles held against them is left out of the
    gradient: a ten-thousandth of it.
    """
    edges, side = view.bounds_of(face)
    body = view.outline(face)
    if body is None:
        return None
    area, along = (
        outlined(view, edges, side, body),
        figures.length(view.network.edges[edges], edges),
    )
    outline = replace(along, value=float(body.polygon.length))
    more, half = len(view.faces.polygons[face].interiors) - 1, outline.value / 2
    root = half**2 + 4 * more * area.value
    if root < (COMPACT * half) ** 2:
        return None
    thickness = 2 * area.value / (half + np.sqrt(root))
    slope = half + 2 * more * thickness
    parts = figures.combine([area, outline], [1 / slope, -thickness / 2 / slope])
    return Figure(float(thickness), parts.edges, parts.gradient)


def thickness_budget(view: View, face: int, figure: Figure) -> Budget:
    """Return the uncertainty of a body's thickness in the grid: lines, and widths of poles."""
    edges, side = view.bounds_of(face)
    _, change = view.inward_of(edges, side)
    length = view.network.length[edges]
    poles = view.inward_budget(edges, -2 * length / length.sum() * change)
    return view.ground.budget(figure).plus(poles)


def _body_row(view: View, walls: gpd.GeoDataFrame, face: int) -> dict[str, Any]:
    edges, _ = view.bounds_of(face)
    body, figure = view.outline(face), thickness_figure(view, face)
    thickness, sd, why = None, None, "thickness_m: hardly longer than thick, so it has none"
    if body is None:
        why = "thickness_m: thinner than the pole by which its faces were traced"
    polygon = view.faces.polygons[face] if body is None else body.polygon
    _, scale = view.factors(polygon)
    if figure is not None:
        thickness, why = figure.value / scale, ""
        sd = thickness_budget(view, face, figure).sd / scale
    length = view.network.length[edges]
    share = float(length[view.network.recorded[edges]].sum() / length.sum())
    first, last = view.phases_of(face, edges)
    undated = UNDATED if first is None and last is None else ""
    return {
        "wall": joined(walls["wall"].iloc[np.unique(view.edge_line[edges])]),
        "thickness_m": thickness,
        "thickness_sd_m": sd,
        "evidence": RECORDED if share > 0.95 else "inferred",
        "phase_from": first,
        "phase_to": last,
        "surveys": view.surveys_of(edges),
        "null_because": "; ".join(filter(None, [why, undated])),
        "geometry": polygon,
    }


def openings(view: View, rooms: pd.Series, doors: np.ndarray) -> gpd.GeoDataFrame:
    """Return openings with their width and what they join; a gap that joins nothing is none.

    Parameters
    ----------
    view : View
    rooms : Series
        Room number by face.
    doors : array of Geometry
        Thresholds and jambs recorded as such.
    """
    reach = view.site.walls.wall_max_thickness_m
    rows = []
    for opening in openings_of(view.network, view.faces, view.kind, reach):
        ends = view.network.edges[opening.edges]
        width = figures.length(ends, opening.edges)
        _, scale = view.factors(opening.line)
        open_ground = {OUTSIDE, *np.flatnonzero(view.kind == OPEN).tolist()}
        names = [
            "outside" if face in open_ground else rooms.get(face, "") for face in opening.joins
        ]
        if not any(names):
            continue
        surveys = view.surveys_of(opening.edges)
        rows.append(
            {
                "width_m": width.value / scale,
                "width_sd_m": view.ground.budget(width).sd / scale,
                "joins": joined(filter(None, names)),
                "evidence": "seen" if seen(opening, doors) else "possible",
                "surveys": surveys,
                "first_season": max(map(season_of, surveys.split(";"))),
                "last_season": max(map(season_of, surveys.split(";"))),
                "null_because": "",
                "geometry": opening.line,
            }
        )
    return as_layer("openings", rows, view.site)
