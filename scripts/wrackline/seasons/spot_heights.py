"""Spot heights: points of a plan at which a height was measured, with what it is a height of.

Wall tops, wall bases, floors and the seabed are four heights; no point is of two of them. A wall's
come from the vertices of its recorded lines as they were placed, a floor's from the points at which
it was met, the seabed's from cells of its model that hold soundings, clear of walls. What nobody
measured has none: no height is taken from between points, and none from a filled gap.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy import sparse

from wrackline import contract
from wrackline.model import Site
from wrackline.numbers import joined
from wrackline.rooms.bed import HALF_DIAGONAL
from wrackline.rooms.figures import Figure, Ground
from wrackline.rooms.met_floors import MetFloors
from wrackline.seabed.sample import Inside, Surface, cells_in, median_budget
from wrackline.seasons.spot_choice import (
    LATTICE_M,
    Array,
    lattice,
    poles,
    preferred_vertices,
    ranks,
)
from wrackline.survey_names import season_of
from wrackline.uncertainty import Budget, ErrorModel, level_budget
from wrackline.walls.linework import FLOOR_EVIDENCE, Linework

FLOOR, SEABED = "floor", "seabed"
OF = (FLOOR, "wall top", "wall base", SEABED)
"""What a height is of, in the order in which they are put on a sheet."""
CLEAR_M = 1.0
"""Open ground begins so far from whatever is built: stones lie at a wall's foot (no source)."""
ABOUT_M = 2.0
"""The seabed's heights are taken this near the place where one is wanted: so there is one between
lines of soundings 4 m apart."""


@dataclass(frozen=True)
class Spot:
    """A point with a height, what it is of, and its uncertainty.

    Attributes
    ----------
    of, thing, evidence : str
    xyz : array, shape (3,)
        Easting, northing, height above the datum [m].
    surveys : tuple of str
    budget : Budget
        Of the height [m].
    """

    of: str
    thing: str
    evidence: str
    xyz: Array
    surveys: tuple[str, ...]
    budget: Budget


@dataclass(frozen=True)
class Walls:
    """Recorded wall lines: their numbered rows, and what their vertices rest on.

    Attributes
    ----------
    lines : GeoDataFrame
        Rows of the contract's `wall_lines`, as many and in the order of the linework's.
    work : Linework
    models : sequence of ErrorModel
        Errors of every survey in it.
    """

    lines: gpd.GeoDataFrame
    work: Linework
    models: Sequence[ErrorModel]


def spot_heights(
    plan: Mapping[str, gpd.GeoDataFrame],
    walls: Walls,
    met: MetFloors,
    surface: Surface | None,
    site: Site,
) -> gpd.GeoDataFrame:
    """Return the spot heights of a plan, those to be put on a sheet first in front.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The numbered layers `rooms`, `buildings` and `wall_bodies`.
    walls : Walls
    met : MetFloors
        Points at which a floor was met.
    surface : Surface or None
        The seabed; None on a site without soundings.
    site : Site
        Its CRS, origin, and the sea level that depths count from.

    Returns
    -------
    GeoDataFrame
        Fields of the contract's layer `spot_heights`, geometry PointZ.
    """
    chosen = [
        *wall_spots(walls),
        *floor_spots(met, plan["rooms"]),
        *(bed_spots(plan, walls.lines, surface, site) if surface is not None else ()),
    ]
    chosen.sort(key=lambda pair: (pair[0], OF.index(pair[1].of)))
    rows = [_row(rank, spot, site) for rank, spot in chosen]
    names = [*contract.columns("spot_heights"), "geometry"]
    return gpd.GeoDataFrame(pd.DataFrame(rows, columns=names), geometry="geometry", crs=site.crs)


def _row(rank: int, spot: Spot, site: Site) -> dict[str, Any]:
    level = site.depth_level
    below = level_budget(level, site).minus(spot.budget)
    easting, northing, height = map(float, spot.xyz)
    return {
        "of": spot.of,
        "thing": spot.thing,
        "rank": rank,
        "height_m": height,
        "height_sd_m": spot.budget.sd,
        "depth_m": level.height_m - height,
        "depth_sd_m": below.sd,
        "easting_m": easting,
        "northing_m": northing,
        "evidence": spot.evidence,
        "survey": joined(spot.surveys),
        "season": max(map(season_of, spot.surveys)),
        "geometry": shapely.Point(easting, northing, height),
    }


def wall_spots(walls: Walls) -> Iterator[tuple[int, Spot]]:
    """Yield heights of wall tops and wall bases, each with its rank."""
    work = walls.work
    ground = Ground.under(work, _vertex_motion(len(work.xyz)), walls.models)
    traced_at = walls.lines["traced_at"].astype("string").to_numpy(object)[work.line]
    for place in ("top", "base"):
        mine = np.flatnonzero(traced_at == place)
        vertices = mine[preferred_vertices(work.xyz[mine], work.line[mine])]
        rank = ranks(work.xyz[vertices, :2])
        for k in np.flatnonzero(rank).tolist():
            yield int(rank[k]), _wall_spot(f"wall {place}", int(vertices[k]), walls, ground)


def _vertex_motion(count: int) -> sparse.csr_matrix:
    """Return the motion of vertices, each taken as an edge of no length, shape (6 n, 3 n)."""
    both_ends = np.vstack([np.eye(3), np.eye(3)])
    return sparse.csr_matrix(sparse.kron(sparse.eye_array(count), both_ends))


def _wall_spot(of: str, vertex: int, walls: Walls, ground: Ground) -> Spot:
    """Return a vertex's height; where tracings placed it together, it rests on them all."""
    up = np.array([[[0.0, 0.0, 1.0], [0.0, 0.0, 0.0]]])
    figure = Figure(float(walls.work.xyz[vertex, 2]), np.array([vertex]), up)
    sources, gradient = ground.on_vertices(figure)
    told = ground.survey[sources[np.abs(gradient[:, 2]) > 0]]
    line = walls.lines.iloc[int(walls.work.line[vertex])]
    return Spot(
        of=of,
        thing=str(line["wall"]),
        evidence=str(line["evidence"]),
        xyz=walls.work.xyz[vertex],
        surveys=tuple(ground.models[k].survey for k in np.unique(told).tolist()),
        budget=ground.budget(figure),
    )


def floor_spots(met: MetFloors, rooms: gpd.GeoDataFrame) -> Iterator[tuple[int, Spot]]:
    """Yield heights of floors where they were met, the best evidence first, each with its rank."""
    points = met.points
    if not len(points):
        return
    xyz = shapely.get_coordinates(points.geometry.to_numpy(), include_z=True)
    evidence = points["evidence"].astype("string").fillna("").to_numpy(object)
    worth = [FLOOR_EVIDENCE.index(e) if e in FLOOR_EVIDENCE else 9 for e in evidence]
    order = np.lexsort([xyz[:, 2], xyz[:, 1], xyz[:, 0], worth])
    order = order[np.isfinite(xyz[order, 2])]
    rank = ranks(xyz[order, :2])
    for k in np.flatnonzero(rank).tolist():
        row = int(order[k])
        within = shapely.contains(rooms.geometry.to_numpy(), points.geometry.iloc[row])
        room = next(iter(rooms["room"].to_numpy(object)[within]), "")
        _, budget = met.mean(np.array([row]))
        surveys = (str(points["survey"].iloc[row]),)
        yield int(rank[k]), Spot(FLOOR, room, evidence[row], xyz[row], surveys, budget)


def bed_spots(
    plan: Mapping[str, gpd.GeoDataFrame], lines: gpd.GeoDataFrame, surface: Surface, site: Site
) -> list[tuple[int, Spot]]:
    """Return heights of the seabed in rooms and on open ground, each with its rank.

    Ranks hang on where heights are wanted: the middle of rooms, the places of a lattice. So those
    of open ground are the same from season to season.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The numbered layers `rooms`, `buildings` and `wall_bodies`.
    lines : GeoDataFrame
        Recorded wall lines.
    surface : Surface
    site : Site
    """
    walls = shapely.STRtree(shapely.force_2d(lines.geometry.to_numpy()))
    wanted = [*_in_rooms(plan["rooms"], surface), *_on_open_ground(plan, lines, surface, site)]
    found = [
        (room, place, cell)
        for room, place, region, off_m in wanted
        if (cell := _cell_by(place, region, off_m, walls, surface)) is not None
    ]
    rank = ranks(np.array([place for _, place, _ in found]).reshape(-1, 2))
    return [
        (int(rank[k]), _bed_spot(room, cell, surface))
        for k, (room, _, cell) in enumerate(found)
        if rank[k]
    ]


Wanted = tuple[str, Array, shapely.Geometry, float]


def _in_rooms(rooms: gpd.GeoDataFrame, surface: Surface) -> list[Wanted]:
    """Return each room's inmost place and the ground about it clear of walls, large rooms first."""
    rim = HALF_DIAGONAL * surface.grid.cell_m
    shapes = rooms.geometry.to_numpy()
    middle = poles(shapes)
    about = shapely.buffer(shapely.points(middle), ABOUT_M)
    core = shapely.intersection(shapely.buffer(shapes, -rim), about)
    size = shapely.area(shapes).round(3)
    order = np.lexsort([middle[:, 1], middle[:, 0], -size]).tolist()
    names = rooms["room"].astype(str).to_list()
    return [(names[k], middle[k], core[k], rim) for k in order if not shapely.is_empty(core[k])]


def _on_open_ground(
    plan: Mapping[str, gpd.GeoDataFrame], lines: gpd.GeoDataFrame, surface: Surface, site: Site
) -> Iterator[Wanted]:
    """Yield places of a lattice, and the ground about each that is clear of all that is built."""
    easting, northing = surface.grid.centres()
    bounds = (easting.min(), northing.min(), easting.max(), northing.max())
    built = np.concatenate(
        [plan[name].geometry.to_numpy() for name in ("rooms", "buildings", "wall_bodies")]
        + [lines.geometry.to_numpy()]
    )
    tree = shapely.STRtree(shapely.force_2d(built))
    for place in lattice(site.origin, bounds, LATTICE_M):
        point = shapely.Point(place)
        near = np.sort(tree.query(point, predicate="dwithin", distance=ABOUT_M + CLEAR_M))
        about = point.buffer(ABOUT_M)
        if len(near):
            taken = shapely.union_all(shapely.buffer(built[near], CLEAR_M))
            about = shapely.difference(about, taken)
        if not about.is_empty:
            yield "", place, about, CLEAR_M


def _cell_by(
    place: Array, region: shapely.Geometry, off_m: float, walls: shapely.STRtree, surface: Surface
) -> Inside | None:
    """Return the cell with soundings in a region next to a place, so far off walls; None if none.

    Of cells equally near the northernmost, then the westernmost.
    """
    cells = cells_in(region, surface)
    easting, northing = surface.grid.centres()
    xy = np.column_stack([easting[cells.column], northing[cells.row]])
    sounded = cells.told["filled"] == 0
    sounded[walls.query(shapely.points(xy), predicate="dwithin", distance=off_m)[0]] = False
    there = np.flatnonzero(sounded)
    if not len(there):
        return None
    away = np.hypot(*(xy[there] - place).T).round(6)
    k = there[[np.argmin(away)]]
    told = {name: band[k] for name, band in cells.told.items()}
    return Inside(cells.row[k], cells.column[k], told)


def _bed_spot(room: str, cell: Inside, surface: Surface) -> Spot:
    easting, northing = surface.grid.centres()
    height = cell.told["height"][0]
    xyz = np.array([easting[cell.column[0]], northing[cell.row[0]], height])
    survey = surface.sources[int(cell.told["source"][0])]
    return Spot(SEABED, room, "seabed model", xyz, (survey,), median_budget(surface, cell))
