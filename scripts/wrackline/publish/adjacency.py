"""Which rooms share a wall, how long it is, and which openings lead through it or outside.

Two outlines share a wall where a stretch of one faces a stretch of the other, no further than a
wall may be thick, and what lies between is the body of one wall or crosses one wall's centre line.
An alley between two houses is neither. The length is the mean of the two facing sides.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline import contract
from wrackline.crs import grid_factors
from wrackline.numbers import joined

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FACING_COSINE = 0.9
"""Sides that face each other run alike within 26 degrees (no source)."""

SHORTEST_M = 0.1
"""Shorter stretches are what outlines miss each other by at corners (no source)."""

TOUCHING_M = 0.01
END_SHARE = 0.02
OUTSIDE = "outside"


@dataclass(frozen=True)
class Sides:
    """Straight sides of room outlines, each walked with its room on the left.

    Attributes
    ----------
    ends : array, shape (n, 2, 2)
        Start and stop [m].
    room : array of int, shape (n,)
        Row of the room that each bounds.
    """

    ends: Array
    room: Ints

    @property
    def step(self) -> Array:
        """From start to stop, shape (n, 2) [m]."""
        step: Array = self.ends[:, 1] - self.ends[:, 0]
        return step

    @property
    def length(self) -> Array:
        """Length of each, shape (n,) [m]."""
        length: Array = np.hypot(*self.step.T)
        return length


def sides_of(polygons: npt.NDArray[np.object_]) -> Sides:
    """Return the sides of outlines, holes included.

    Parameters
    ----------
    polygons : array of Polygon or MultiPolygon
    """
    parts, owner = shapely.get_parts(polygons, return_index=True)
    rings, part = shapely.get_rings(shapely.orient_polygons(parts), return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    within = ring[1:] == ring[:-1]
    ends = np.stack([xy[:-1], xy[1:]], axis=1)[within]
    room = owner[part[ring[:-1][within]]]
    real = np.hypot(*(ends[:, 1] - ends[:, 0]).T) > 0
    return Sides(ends[real], room[real].astype(np.int64))


@dataclass(frozen=True)
class Facing:
    """Stretches of sides that face a side of another room.

    Attributes
    ----------
    side, other : array of int, shape (m,)
        Rows of `Sides`.
    start, stop : array, shape (m,)
        Where along `side` the stretch begins and ends [m].
    link : array of LineString, shape (m,)
        From the middle of the stretch straight across to the other side.
    """

    side: Ints
    other: Ints
    start: Array
    stop: Array
    link: npt.NDArray[np.object_]


def facing(sides: Sides, reach_m: float) -> Facing:
    """Return the stretches of sides that face a side of another room across at most `reach_m`."""
    lines = shapely.linestrings(sides.ends)
    one, two = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=reach_m)
    step, length = sides.step, sides.length
    along = step / length[:, None]
    alike = -(along[one] * along[two]).sum(axis=1) >= FACING_COSINE
    pick = (sides.room[one] != sides.room[two]) & alike
    one, two = one[pick], two[pick]
    ahead, right = along[one], np.stack([along[one][:, 1], -along[one][:, 0]], axis=1)
    offset = sides.ends[two] - sides.ends[one, :1]
    place = (offset * ahead[:, None]).sum(axis=2)
    across = (offset * right[:, None]).sum(axis=2)
    start = np.maximum(place.min(axis=1), 0.0)
    stop = np.minimum(place.max(axis=1), length[one])
    middle = (start + stop) / 2
    run = place[:, 1] - place[:, 0]
    share = np.divide(middle - place[:, 0], run, out=np.full(len(run), 0.5), where=run != 0)
    gap = across[:, 0] + share * (across[:, 1] - across[:, 0])
    good = (stop > start) & (gap >= -TOUCHING_M) & (gap <= reach_m)
    foot = sides.ends[one, 0] + middle[:, None] * ahead
    link = shapely.linestrings(np.stack([foot, foot + gap[:, None] * right], axis=1)[good])
    return Facing(one[good], two[good], start[good], stop[good], link)


def through_one_wall(
    links: npt.NDArray[np.object_],
    bodies: npt.NDArray[np.object_],
    centres: npt.NDArray[np.object_],
) -> npt.NDArray[np.bool_]:
    """Tell which links lead through one wall: inside one body, or across one centre line."""
    within = np.zeros(len(links), dtype=bool)
    inner = shapely.transform(links, _shortened)
    if len(bodies):
        shapely.prepare(bodies)
        link, body = shapely.STRtree(bodies).query(inner)
        within[link[shapely.covers(bodies[body], inner[link])]] = True
    return within | (_spread(links, centres) < TOUCHING_M)


def _spread(
    links: npt.NDArray[np.object_], centres: npt.NDArray[np.object_]
) -> npt.NDArray[np.float64]:
    """Return how far apart the centre lines are that a link crosses; infinite for none [m]."""
    low, high = np.full(len(links), np.inf), np.full(len(links), -np.inf)
    if len(centres):
        link, line = shapely.STRtree(centres).query(links, predicate="dwithin", distance=TOUCHING_M)
        nearest = shapely.get_point(shapely.shortest_line(links[link], centres[line]), 0)
        place = shapely.line_locate_point(links[link], nearest)
        np.minimum.at(low, link, place)
        np.maximum.at(high, link, place)
    return np.where(high >= low, high - low, np.inf)


def _shortened(xy: Array) -> Array:
    """Return links of two points each with their very ends taken off."""
    ends = xy.reshape(-1, 2, 2)
    cut = END_SHARE * (ends[:, 1] - ends[:, 0])
    short: Array = np.stack([ends[:, 0] + cut, ends[:, 1] - cut], axis=1).reshape(-1, 2)
    return short


def shared_lengths(sides: Sides, found: Facing) -> dict[tuple[int, int], float]:
    """Return the length of wall that each pair of rooms shares, in the grid [m].

    On each side overlapping stretches count once; the two sides' lengths are averaged.
    """
    rooms = sides.room[found.side], sides.room[found.other]
    order = np.lexsort((found.start, found.side, rooms[1], rooms[0]))
    own, other = rooms[0][order], rooms[1][order]
    side, start, stop = found.side[order], found.start[order], found.stop[order]
    lengths: dict[tuple[int, int], float] = {}
    reached, last = 0.0, (-1, -1, -1)
    for k in range(len(order)):
        this = (int(own[k]), int(other[k]), int(side[k]))
        begin = max(float(start[k]), reached) if this == last else float(start[k])
        pair = (min(this[:2]), max(this[:2]))
        lengths[pair] = lengths.get(pair, 0.0) + max(float(stop[k]) - begin, 0.0) / 2
        reached, last = max(float(stop[k]), reached if this == last else 0.0), this
    return {pair: length for pair, length in sorted(lengths.items()) if length >= SHORTEST_M}


def adjacency_table(plan: Mapping[str, gpd.GeoDataFrame], thickest_m: float) -> pd.DataFrame:
    """Return one row a pair of neighbours, and one for each room that opens to the outside.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The plan's layers `rooms`, `wall_bodies`, `wall_lines` and `openings`.
    thickest_m : float
        Greatest thickness of a wall, from the config [m].

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["adjacency"]`, in the order of the rooms' numbers.
    """
    rooms, openings = plan["rooms"], plan["openings"]
    name = rooms["room"].to_numpy(object)
    lengths = {
        tuple(sorted((name[a], name[b]))): length
        for (a, b), length in _grid_lengths(plan, thickest_m).items()
    }
    scale = _scale(rooms)
    joins: dict[tuple[str, str], list[dict[str, Any]]] = {}
    known = set(name)
    for opening in openings.drop(columns="geometry").sort_values("opening").to_dict("records"):
        for pair in _pairs(opening["joins"], known):
            joins.setdefault(pair, []).append(opening)
    building = dict(zip(name, rooms["building"].to_numpy(object), strict=True))
    rows = [
        _row(pair, lengths.get(pair), scale, joins.get(pair, []), building)
        for pair in sorted({*lengths, *joins})
    ]
    return pd.DataFrame(rows, columns=list(contract.table_columns("adjacency")), dtype=object)


def _grid_lengths(
    plan: Mapping[str, gpd.GeoDataFrame], thickest_m: float
) -> dict[tuple[int, int], float]:
    rooms, bodies, walls = (plan[layer] for layer in ("rooms", "wall_bodies", "wall_lines"))
    if not len(rooms):
        return {}
    sides = sides_of(rooms.geometry.to_numpy())
    found = facing(sides, thickest_m)
    centre = (walls["line_follows"] == "centre").fillna(False).to_numpy(bool)
    lines = shapely.force_2d(walls.geometry.to_numpy()[centre])
    wall = through_one_wall(found.link, bodies.geometry.to_numpy(), lines)
    real = Facing(*(part[wall] for part in vars(found).values()))
    return shared_lengths(sides, real)


def _scale(rooms: gpd.GeoDataFrame) -> float:
    """Return the grid's scale in the middle of the rooms."""
    if not len(rooms):
        return 1.0
    middle = shapely.box(*rooms.total_bounds).centroid
    _, scale = grid_factors(str(rooms.crs), np.array([middle.x]), np.array([middle.y]))
    return float(scale[0])


def _pairs(joins: Any, rooms: set[str]) -> Iterator[tuple[str, str]]:
    """Yield the pairs that an opening joins, `outside` last; a space of no number is none."""
    parts = joins.split(";") if isinstance(joins, str) else []
    yield from combinations(sorted(part for part in parts if part in rooms), 2)
    if OUTSIDE in parts:
        yield from ((part, OUTSIDE) for part in sorted(parts) if part in rooms)


def _row(
    pair: tuple[str, str],
    length: float | None,
    scale: float,
    through: list[dict[str, Any]],
    building: dict[str, Any],
) -> dict[str, Any]:
    widest = max(through, key=lambda opening: opening["width_m"], default=None)
    why = []
    if length is None:
        outside = pair[1] == OUTSIDE
        why.append(
            "shared_wall_length_m: " + ("outer walls" if outside else "no stretch of wall found")
        )
    if widest is None:
        why.append("opening: none is on the plan")
    return {
        "room_a": pair[0],
        "room_b": pair[1],
        "building": joined(
            text for text in (building.get(room) for room in pair) if isinstance(text, str)
        ),
        "shared_wall_length_m": None if length is None else length / scale,
        "opening": ";".join(opening["opening"] for opening in through),
        "evidence": ";".join(opening["evidence"] for opening in through),
        "width_m": None if widest is None else widest["width_m"],
        "width_sd_m": None if widest is None else widest["width_sd_m"],
        "null_because": "; ".join(why),
    }
