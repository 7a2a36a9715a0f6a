"""The right answers: every figure of the truth that the record will be held against.

Areas and lengths are on the ground: those of the shape taken back to the ellipsoid and measured
there as geodesic polygons (Karney 2013, doi:10.1007/s00190-012-0578-z, as PROJ carries it). That
is another way than the workflow's own, which divides by the grid's scale factor.
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Geod, Transformer
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from wrackline.demo.drawing import drawn_things
from wrackline.demo.hamlet import Hamlet, House
from wrackline.uncertainty import Array

SAMPLE_M = 0.1

ABOUT = {
    "crs": "the site's CRS: all outlines (keys ending in _wkt) are in it",
    "sea_level_m": "true height of the level that depths count from; every *_depth_m is below it",
    "seed, hectares": "what the site was laid out from",
    "buildings": "by name",
    "buildings.traced": "faces, centres or no: how its walls were traced",
    "buildings.phase": "early or late",
    "buildings.footprint_m2, footprint_grid_m2": "to the outer faces, on the ground, in the grid",
    "buildings.centre": "easting and northing of the footprint's centre of area [m]",
    "buildings.axis_square_deg": "true azimuth that its walls are square to, 0 to 90",
    "buildings.bed, rooms.bed": "depth of the seabed within: median, least, greatest; of the moved "
    "bed where sand moved",
    "seabed_moved": "sand that came (or went) before the surveys of the moved bed: by mound, "
    "place, height in the middle, radius at which 61 % is left, volume 2 pi h r2 on open ground",
    "walls_lost": "round ground on which walls were gone before the surveys of the moved bed, with "
    "the volume of what stood above that bed",
    "buildings.doorways": "with the rooms on both sides (between), one of them may be outside; "
    "one that is blocked was walled up: solid wall, its faces traced past it",
    "buildings.neighbours": "pairs of rooms with a wall between them",
    "buildings.joined": "pairs of rooms, or room and outside, with an open doorway between them",
    "rooms.floor_area_m2, floor_area_grid_m2": "between the wall faces, on the ground, in the grid",
    "rooms.centre_area_m2": "to the middle of the walls, on the ground",
    "rooms.perimeter_m": "of the floor, on the ground",
    "rooms.axis_deg": "true azimuth of the longer side, 0 to 180; null where round. Where "
    "elongation is near 1 it may as well be the other side's",
    "rooms.elongation": "longer side by shorter, an apse counted in",
    "rooms.household": "whose it is, where houses share a party wall",
    "rooms.overgrown_share": "share of the floor's ground with plants over it",
    "rooms.overlies": "walls of free_walls that run below it",
    "rooms.floor_height_m, floor_depth_m": "its true floor, below the deposit",
    "rooms.floor_seen": "how many points of the floor were met, and how",
    "free_walls": "walls that stand alone: enclosures, and stumps of earlier houses",
    "features": "with the building and room they lie in, null in the open",
    "details": "stones of fallen walls, hachures from top to foot, lines of sections by their name",
}
"""What the keys of the right answers mean."""


class Ground:
    """Measures shapes of the site's CRS on the ellipsoid.

    Parameters
    ----------
    crs : str
        The site's CRS.
    """

    def __init__(self, crs: str) -> None:
        projected = CRS.from_user_input(crs)
        self._back = Transformer.from_crs(projected, projected.geodetic_crs, always_xy=True)
        ellipsoid = projected.ellipsoid
        if ellipsoid is None:
            raise ValueError(f"{crs} has no ellipsoid")
        self._ellipsoid = Geod(a=ellipsoid.semi_major_metre, rf=ellipsoid.inverse_flattening)

    def _lon_lat(self, shape: BaseGeometry) -> BaseGeometry:
        return shapely.transform(shape, lambda xy: np.column_stack(self._back.transform(*xy.T)))

    def area(self, shape: BaseGeometry) -> float:
        """Return the area on the ground [m²]."""
        return abs(float(self._ellipsoid.geometry_area_perimeter(self._lon_lat(shape))[0]))

    def length(self, shape: BaseGeometry) -> float:
        """Return the length, or the perimeter, on the ground [m]."""
        return float(self._ellipsoid.geometry_length(self._lon_lat(shape)))

    def azimuth(self, line: LineString) -> float:
        """Return the true azimuth from a line's start to its end, 0 to 360 [degrees]."""
        (lon0, lat0), (lon1, lat1) = self._lon_lat(line).coords
        return float(self._ellipsoid.inv(lon0, lat0, lon1, lat1)[0]) % 360


def answers(hamlet: Hamlet) -> dict[str, Any]:
    """Return the right answers as JSON-ready values.

    Parameters
    ----------
    hamlet : Hamlet
        The truth as geometry.

    Returns
    -------
    dict
        ``buildings``: by name, with ``rooms`` by name and ``doorways``; ``free_walls``;
        ``features``; ``details``; ``sea_level_m``; ``seed`` and ``hectares``. ``about`` says what
        each key means. Areas in m² on the ground (``..._grid_m2``: in the grid), depths below the
        true sea level, axes in degrees from true north, outlines as WKT in the site's CRS.
    """
    ground = Ground(hamlet.truth.crs)
    level = hamlet.truth.sea_level_m
    return {
        "about": ABOUT,
        "crs": hamlet.truth.crs,
        "sea_level_m": level,
        "seed": hamlet.truth.seed,
        "hectares": round(float(np.prod(hamlet.truth.extent)) / 1e4, 4),
        "seabed_moved": _moved(hamlet),
        "walls_lost": _lost(hamlet),
        "buildings": {name: _building(hamlet, h, ground) for name, h in hamlet.houses.items()},
        "free_walls": {
            name: {
                **wall.model_dump(include={"kind", "thickness_m", "phase", "traced"}),
                "top_depth_m": round(level - wall.top_m, 4),
                "outline_wkt": shapely.to_wkt(hamlet.free_walls[name], rounding_precision=4),
            }
            for name, wall in hamlet.truth.free_walls.items()
        },
        "features": {
            name: {
                **thing.model_dump(include={"kind", "origin", "building", "room"}),
                "top_depth_m": round(level - thing.top_m, 4),
                "geometry_wkt": shapely.to_wkt(hamlet.shape(thing), rounding_precision=4),
            }
            for name, thing in hamlet.truth.features.items()
        },
        "details": {
            one.line: {
                "kind": one.kind,
                "geometry_wkt": shapely.to_wkt(one.shape, rounding_precision=4),
            }
            for one in drawn_things(hamlet)
        },
    }


def _moved(hamlet: Hamlet) -> list[dict[str, Any]]:
    """Return the sand that came and went: rounded bells, with the volume under each."""
    later = hamlet.truth.seabed.moved
    return [
        {
            "at": [x + corner for x, corner in zip(one.at, hamlet.truth.south_west, strict=True)],
            "height_m": one.height_m,
            "radius_m": one.radius_m,
            "volume_m3": round(2 * np.pi * one.height_m * one.radius_m**2, 3),
        }
        for one in (later.mounds if later else [])
    ]


def _lost(hamlet: Hamlet) -> list[dict[str, Any]]:
    """Return where walls are gone, and the volume of them that stood above the later bed."""
    lost = []
    for hole in shapely.get_parts(hamlet.lost_ground):
        gone = [(shapely.intersection(body, hole), top) for body, top in hamlet.wall_tops]
        parts = [(part, top) for shape, top in gone for part in shapely.get_parts(shape)]
        volume = sum(_stood(hamlet, p, top) for p, top in parts if p.area > 0)
        outline = shapely.to_wkt(hole, rounding_precision=3)
        lost.append({"ground_wkt": outline, "volume_m3": round(volume, 3)})
    return lost


def _stood(hamlet: Hamlet, body: Polygon, top_m: float) -> float:
    """Return the volume of a piece of wall above the later bed [m³]."""
    height = top_m - hamlet.bed(_places_within(body), moved=True)
    return float(body.area * np.maximum(height, 0.0).mean())


def _building(hamlet: Hamlet, house: House, ground: Ground) -> dict[str, Any]:
    truth = house.truth
    along = LineString(house.frame.place(np.array([[0.0, 0.0], [0.0, 10.0]])))
    return {
        "traced": truth.traced,
        "phase": truth.phase,
        "footprint_wkt": shapely.to_wkt(house.footprint, rounding_precision=4),
        "footprint_m2": round(ground.area(house.footprint), 4),
        "footprint_grid_m2": round(house.footprint.area, 4),
        "centre": np.round(house.footprint.centroid.coords[0], 3).tolist(),
        "axis_square_deg": round(ground.azimuth(along) % 90, 5),
        "wall_thickness_m": truth.wall_m,
        "wall_top_height_m": truth.wall_top_m,
        "wall_top_depth_m": round(hamlet.truth.sea_level_m - truth.wall_top_m, 4),
        "bed": _bed(hamlet, house.footprint),
        "rooms": {name: _room(hamlet, house, name, ground=ground) for name in house.rooms},
        "doorways": [
            {
                "room": door.room,
                "between": [door.room, house.beyond(door)],
                "width_m": door.width_m,
                "sill_wkt": shapely.to_wkt(house.sill(door), rounding_precision=4),
                "threshold_height_m": door.threshold_m,
                "blocked": door.blocked,
            }
            for door in truth.doorways
        ],
        "neighbours": _neighbours(house),
        "joined": [[door.room, house.beyond(door)] for door in house.open_doorways],
    }


def _neighbours(house: House) -> list[list[str]]:
    """Return pairs of rooms with a wall of more than half a metre between them."""
    names = list(house.rooms)
    reach = house.truth.wall_m * 1.02
    grown = [house.rooms[name].buffer(reach, join_style="mitre") for name in names]
    pairs = []
    for k, name in enumerate(names):
        for j in range(k + 1, len(names)):
            shared = grown[k].intersection(house.rooms[names[j]].exterior)
            if shared.length > 0.5:
                pairs.append([name, names[j]])
    return pairs


def _room(hamlet: Hamlet, house: House, name: str, *, ground: Ground) -> dict[str, Any]:
    inside, truth = house.rooms[name], house.truth.rooms[name]
    _, _, wide, deep = truth.inside
    across, along = wide, deep
    if truth.apse is not None:
        across, along = (
            (wide, deep + wide / 2) if truth.apse in ("near", "far") else (wide + deep / 2, deep)
        )
    ends = [[0.0, 0.0], [10.0, 0.0] if across > along else [0.0, 10.0]]
    axis = ground.azimuth(LineString(house.frame.place(np.array(ends))))
    return {
        "kind": truth.kind,
        "floor_wkt": shapely.to_wkt(inside, rounding_precision=4),
        "floor_area_m2": round(ground.area(inside), 4),
        "floor_area_grid_m2": round(inside.area, 4),
        "centre_area_m2": round(ground.area(house.centres[name]), 4),
        "perimeter_m": round(ground.length(inside.exterior), 4),
        "axis_deg": None if truth.round else round(axis % 180, 5),
        "axis_square_deg": None if truth.round else round(axis % 90, 5),
        "elongation": round(max(across, along) / min(across, along), 4),
        "round": truth.round,
        "apse": truth.apse,
        "household": truth.household,
        "overgrown_share": _overgrown_share(hamlet, inside),
        "overlies": [
            wall for wall, body in hamlet.free_walls.items() if shapely.intersects(body, inside)
        ],
        "bed": _bed(hamlet, inside),
        "floor_height_m": truth.floor_m,
        "floor_depth_m": _depth(hamlet, truth.floor_m),
        "floor_seen": truth.floor_seen,
    }


def _overgrown_share(hamlet: Hamlet, shape: Polygon) -> float:
    """Return the share of an outline's ground over which plants grow."""
    return round(float((hamlet.canopy(_places_within(shape), moved=True) > 0).mean()), 3)


def _depth(hamlet: Hamlet, height: float | None) -> float | None:
    return None if height is None else round(hamlet.truth.sea_level_m - height, 4)


def _bed(hamlet: Hamlet, shape: Polygon) -> dict[str, float]:
    """Return the seabed's median, least and greatest depth within an outline [m]."""
    depth = hamlet.truth.sea_level_m - hamlet.bed(_places_within(shape), moved=True)
    return {
        "depth_m": round(float(np.median(depth)), 4),
        "depth_min_m": round(float(depth.min()), 4),
        "depth_max_m": round(float(depth.max()), 4),
    }


def _places_within(shape: Polygon) -> Array:
    """Return places on a fine grid within an outline, its corners too, shape (n, 2) [m]."""
    west, south, east, north = shape.bounds
    x, y = np.meshgrid(np.arange(west, east, SAMPLE_M), np.arange(south, north, SAMPLE_M))
    within = shapely.contains_xy(shape, x, y)
    return np.vstack([np.column_stack([x[within], y[within]]), np.array(shape.exterior.coords)])


def layers(hamlet: Hamlet) -> dict[str, gpd.GeoDataFrame]:
    """Return the truth as map layers.

    Buildings, rooms, wall_bodies, doorways; and, where there are some, free_walls and features.
    """
    rows: dict[str, list[dict[str, Any]]] = {}
    for name, house in hamlet.houses.items():
        top = house.truth.wall_top_m
        row = {"building": name, "phase": house.truth.phase, "geometry": house.footprint}
        rows.setdefault("buildings", []).append(row)
        body = {"building": name, "wall_top_height_m": top, "geometry": house.walls}
        rows.setdefault("wall_bodies", []).append(body)
        for room, inside in house.rooms.items():
            said = house.truth.rooms[room].model_dump(include={"kind", "household", "floor_m"})
            row = {"building": name, "room": room, **said, "geometry": inside}
            rows.setdefault("rooms", []).append(row)
        for door in house.truth.doorways:
            row = {"building": name, **door.model_dump(include={"width_m", "blocked"})}
            row["geometry"] = house.sill(door)
            rows.setdefault("doorways", []).append(row)
    for name, wall in hamlet.truth.free_walls.items():
        row = {"wall": name, **wall.model_dump(include={"kind", "phase", "top_m"})}
        rows.setdefault("free_walls", []).append({**row, "geometry": hamlet.free_walls[name]})
    for name, thing in hamlet.truth.features.items():
        row = {"feature": name, **thing.model_dump(include={"kind", "origin", "top_m"})}
        rows.setdefault("features", []).append({**row, "geometry": hamlet.shape(thing)})
    crs = hamlet.truth.crs
    return {name: gpd.GeoDataFrame(content, crs=crs) for name, content in rows.items()}
