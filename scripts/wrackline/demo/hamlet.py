"""Truth to geometry, exact: walls, rooms, doorways and the seabed, in the site's CRS.

Every building stands in the frame of its family: *across* (left to right) and *along* (near to
far), turned clockwise from grid north by the family's azimuth. Its walls are what lies between
its rooms, and one wall's thickness around them; an apse or a round room has a wall that follows it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
import shapely.ops
from shapely import LineString, Polygon
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from wrackline.demo.truth import Building, Doorway, Mound, Patch, Room, Seabed, Thing, Truth
from wrackline.uncertainty import Array

LEAST_RUN_M = 0.3
"""Shorter ends of walls are not traced."""
HAIR = 1e-6  # [m]; beside it, what touches in truth touches in floating point too
QUARTER_STEPS = 8
"""Straight steps in a quarter of a circle: curved walls are polygons in truth."""

CURVE_DEG, STRAIGHT_M = 25.0, 1.2
"""A ring goes on round its curve where it turns by less, and its steps are shorter."""


class Run(NamedTuple):
    """One straight stretch of a wall face or centre line, without its doorways.

    Attributes
    ----------
    line : LineString
        In the site's CRS.
    corners : tuple of bool
        Whether it starts and ends at a corner (else at a doorway's jamb).
    what : str
        In words, e.g. ``b03 outer face``.
    """

    line: LineString
    corners: tuple[bool, bool]
    what: str


@dataclass(frozen=True)
class Frame:
    """A frame of axes in the site's CRS.

    Attributes
    ----------
    easting, northing : float
        Where it starts [m].
    azimuth_grid_deg : float
        Grid azimuth of *along* [degrees].
    """

    easting: float
    northing: float
    azimuth_grid_deg: float = 0.0

    def place(self, across_along: Array) -> Array:
        """Return easting and northing of places in the frame, shape (n, 2) [m].

        >>> Frame(100.0, 200.0, 90.0).place(np.array([[0.0, 5.0]])).round(6)
        array([[105., 200.]])
        """
        turn = np.radians(self.azimuth_grid_deg)
        sine, cosine = np.sin(turn), np.cos(turn)
        turned = across_along @ np.array([[cosine, -sine], [sine, cosine]])
        placed: Array = turned + np.array([self.easting, self.northing])
        return placed

    def put(self, shape: BaseGeometry) -> BaseGeometry:
        """Return a shape drawn in the frame as it lies in the site's CRS."""
        return shapely.transform(shape, self.place)


class Hamlet:
    """The truth as geometry.

    Parameters
    ----------
    truth : Truth
        The checked truth.

    Attributes
    ----------
    ground : Frame
        The hamlet's own axes: metres east and north of the south-west corner.
    houses : dict of str to House
    """

    def __init__(self, truth: Truth) -> None:
        self.truth = truth
        self.ground = Frame(*truth.south_west)
        self.houses = {
            name: House(name, building, self._frame(building))
            for name, building in truth.buildings.items()
        }
        self.free_walls = {
            name: self.ground.put(LineString(wall.places)).buffer(
                wall.thickness_m / 2, cap_style="flat", join_style="mitre"
            )
            for name, wall in truth.free_walls.items()
        }

    def _frame(self, building: Building) -> Frame:
        family = self.truth.families[building.family]
        start = self.ground.place(np.array([family.origin]))[0]
        turned = Frame(start[0], start[1], family.azimuth_grid_deg)
        corner = turned.place(np.array([building.at]))[0]
        return Frame(corner[0], corner[1], family.azimuth_grid_deg)

    def bed(self, xy: Array, *, moved: bool = False) -> Array:
        """Return the seabed's height at places in the site's CRS, shape (n,) [m].

        With `moved` it is what the bed became later, see `wrackline.demo.truth.Moved`.
        """
        east_north = xy - self.truth.south_west
        height = bed_height(self.truth.seabed, east_north, self.truth.extent[1])
        later = self.truth.seabed.moved
        if moved and later is not None:
            add_mounds(height, later.mounds, east_north)
            for outline, floor in self.trenches if later.trenches_open else []:
                near = _in_box(xy, outline.bounds)
                dug = near[shapely.contains_xy(outline, xy[near, 0], xy[near, 1])]
                height[dug] = np.minimum(height[dug], floor)
        return height

    @cached_property
    def trenches(self) -> list[tuple[Polygon, float]]:
        """Outlines of trenches in rooms that were excavated, and the floors that they reach."""
        return [
            (house.trench(name), room.floor_m)
            for house in self.houses.values()
            for name, room in house.truth.rooms.items()
            if "excavated" in room.floor_seen and room.floor_m is not None
        ]

    def plants(self, *, moved: bool = False) -> list[Patch]:
        """Return the patches of plants, with `moved` those that have grown up since as well."""
        later = self.truth.seabed.moved
        return [*self.truth.seabed.plants, *(later.plants if moved and later else [])]

    def canopy(self, xy: Array, *, moved: bool = False) -> Array:
        """Return the height of plants above the seabed, 0 where none grow, shape (n,) [m]."""
        east_north = xy - self.truth.south_west
        height = np.zeros(len(xy))
        for patch in self.plants(moved=moved):
            near, share = _within(patch, east_north)
            height[near] = np.maximum(height[near], patch.height_m * np.sqrt(1.0 - share))
        return height

    def surface(self, xy: Array, *, canopy: bool = False, moved: bool = False) -> Array:
        """Return the height of what a sounding meets: the seabed or a wall's top, shape (n,).

        With `canopy` it meets plants where they grow over the seabed, with `moved` the later bed.
        """
        height = self.bed(xy, moved=moved)
        if canopy:
            height += self.canopy(xy, moved=moved)
        gone = self.lost_ground if moved else Polygon()
        for body, top in self.wall_tops:
            near = _in_box(xy, body.bounds)
            on_wall = near[shapely.contains_xy(body, xy[near, 0], xy[near, 1])]
            on_wall = on_wall[~shapely.contains_xy(gone, xy[on_wall, 0], xy[on_wall, 1])]
            height[on_wall] = np.maximum(height[on_wall], top)
        return height

    @property
    def wall_tops(self) -> list[tuple[BaseGeometry, float]]:
        """Bodies of all walls as they first stood, and the heights of their tops [m]."""
        tops = [(house.walls, house.truth.wall_top_m) for house in self.houses.values()]
        free = self.truth.free_walls.items()
        return [*tops, *((self.free_walls[name], wall.top_m) for name, wall in free)]

    @cached_property
    def lost_ground(self) -> BaseGeometry:
        """Ground on which no wall stands any longer, once the bed has moved."""
        later = self.truth.seabed.moved
        holes = [] if later is None else later.walls_lost
        rounds = [shapely.Point(hole.at).buffer(hole.radius_m, quad_segs=32) for hole in holes]
        return self.ground.put(shapely.union_all(rounds))

    def left_of(self, run: Run, top_m: float) -> list[Run]:
        """Return what of a run can still be traced once the bed has moved.

        What is lost, buried or overgrown can't; told every 5 cm along it.
        """
        length = run.line.length
        edges = np.linspace(0.0, length, max(2, int(length / 0.05)) + 1)
        middle = shapely.line_interpolate_point(run.line, (edges[1:] + edges[:-1]) / 2)
        xy = shapely.get_coordinates(middle)
        there = ~shapely.contains_xy(self.lost_ground, xy[:, 0], xy[:, 1])
        there &= self.bed(xy, moved=True) + self.canopy(xy, moved=True) < top_m
        if there.all():
            return [run]
        turns = np.flatnonzero(np.diff(np.r_[False, there, False].astype(int)))
        return [
            Run(
                shapely.ops.substring(run.line, edges[first], edges[last]),
                (run.corners[0] and first == 0, run.corners[1] and last == len(there)),
                run.what,
            )
            for first, last in turns.reshape(-1, 2).tolist()
            if edges[last] - edges[first] > LEAST_RUN_M
        ]

    def free_wall_runs(self, off_m: float = 0.0) -> list[tuple[str, list[Run]]]:
        """Return the faces and ends of walls that stand alone and were traced, by their names.

        Or the lines so far off them on which the axis of a pole goes that is held against them.
        """
        return [
            (name, [_run(s, f"{name} face") for s in _sides(_grown(self.free_walls[name], off_m))])
            for name, wall in self.truth.free_walls.items()
            if wall.traced == "faces"
        ]

    def shape(self, thing: Thing) -> BaseGeometry:
        """Return a feature as a point, line or outline in the site's CRS."""
        frame = self.ground if thing.building is None else self.houses[thing.building].frame
        places = frame.place(np.array(thing.places))
        if thing.shape == "point":
            return shapely.Point(places[0])
        return LineString(places) if thing.shape == "line" else Polygon(places)

    def on_land(self, xy: Array, *, moved: bool = False) -> Array:
        """Return places with the seabed's height as third column, shape (n, 3)."""
        return np.column_stack([xy, self.bed(xy, moved=moved)])


@dataclass(frozen=True)
class House:
    """One building's geometry.

    Attributes
    ----------
    name : str
    truth : Building
    frame : Frame
    """

    name: str
    truth: Building
    frame: Frame

    @cached_property
    def rooms(self) -> dict[str, Polygon]:
        """Insides of the rooms, to the wall faces."""
        return {
            name: _polygon(self.frame.put(_floor(room))) for name, room in self.truth.rooms.items()
        }

    def trench(self, room: str) -> Polygon:
        """Return the trench of 1 by 2 m in a room's middle, square to the house."""
        x, y = self.rooms[room].centroid.coords[0]
        turned = shapely.affinity.rotate(
            shapely.box(x - 0.5, y - 1.0, x + 0.5, y + 1.0), -self.frame.azimuth_grid_deg
        )
        return _polygon(turned)

    @cached_property
    def centres(self) -> dict[str, Polygon]:
        """The rooms to the middle of their walls."""
        half = self.truth.wall_m / 2
        return {
            name: _polygon(self.frame.put(_floor(room, half)))
            for name, room in self.truth.rooms.items()
        }

    @cached_property
    def footprint(self) -> Polygon:
        """All that the building covers, to its outer faces."""
        return _polygon(self.frame.put(self._outline))

    @cached_property
    def walls(self) -> BaseGeometry:
        """What stands: the footprint without rooms and doorways."""
        open_ground = shapely.union_all([*self.rooms.values(), *self.doorways])
        return shapely.difference(self.footprint, open_ground)

    @cached_property
    def doorways(self) -> list[Polygon]:
        """Passages through the walls, face to face."""
        return [_polygon(self.frame.put(self.passage(door))) for door in self.open_doorways]

    @property
    def open_doorways(self) -> list[Doorway]:
        """Doorways that were not walled up."""
        return [door for door in self.truth.doorways if not door.blocked]

    @cached_property
    def _outline(self) -> Polygon:
        wall = self.truth.wall_m + HAIR
        around = [_floor(room, wall) for room in self.truth.rooms.values()]
        return _polygon(shapely.set_precision(shapely.union_all(around), 1e-4))

    def passage(self, door: Doorway) -> Polygon:
        """Return a doorway's passage in the building's frame."""
        room = self.truth.rooms[door.room]
        left, near, right, far = _edges(room.inside)
        wall, half = self.truth.wall_m, door.width_m / 2
        if room.round:  # through the curve: as far in and out as it bends away
            return self._round_passage(door, (left, near, right, far))
        if door.side in ("near", "far"):
            low, high = left + door.at_m - half, left + door.at_m + half
            return box(
                low,
                *((near - wall, high, near) if door.side == "near" else (far, high, far + wall)),
            )
        low, high = near + door.at_m - half, near + door.at_m + half
        return box(
            *((left - wall, low, left) if door.side == "left" else (right, low, right + wall)), high
        )

    def _round_passage(self, door: Doorway, edges: tuple[float, float, float, float]) -> Polygon:
        left, near, right, far = edges
        middle, wall = ((left + right) / 2, (near + far) / 2), self.truth.wall_m
        half, radius = door.width_m / 2, _radius(self.truth.rooms[door.room])
        reach = 1.02 * (radius + wall)  # its corners stand out a little
        inner = 0.98 * float(np.sqrt(radius**2 - half**2))  # its straight steps cut in a little
        spans = {
            "near": (middle[0] - half, middle[1] - reach, middle[0] + half, middle[1] - inner),
            "far": (middle[0] - half, middle[1] + inner, middle[0] + half, middle[1] + reach),
            "left": (middle[0] - reach, middle[1] - half, middle[0] - inner, middle[1] + half),
            "right": (middle[0] + inner, middle[1] - half, middle[0] + reach, middle[1] + half),
        }
        return box(*spans[door.side])

    def _led_on(self, door: Doorway, more_m: float) -> Polygon:
        """Return a doorway's passage led on beyond both faces, and a hair all round."""
        left, near, right, far = self.passage(door).buffer(1e-3, join_style="mitre").bounds
        if door.side in ("near", "far"):
            return box(left, near - more_m, right, far + more_m)
        return box(left - more_m, near, right + more_m, far)

    def beyond(self, door: Doorway) -> str:
        """Return the room on the other side of a doorway, or ``outside``."""
        through = self.passage(door).buffer(self.truth.wall_m / 10)
        for name, room in self.truth.rooms.items():
            if name != door.room and _floor(room).intersects(through):
                return name
        return "outside"

    def sill(self, door: Doorway) -> LineString:
        """Return the line across a doorway, in the middle of its wall, in the site's CRS."""
        left, near, right, far = self.passage(door).bounds
        middle = ((left + right) / 2, (near + far) / 2)
        ends = (
            [(left, middle[1]), (right, middle[1])]
            if door.side in ("near", "far")
            else [(middle[0], near), (middle[0], far)]
        )
        return LineString(self.frame.place(np.array(ends)))

    def face_runs(self, off_m: float = 0.0) -> list[Run]:
        """Return the straight runs of all wall faces, outer and inner, without doorways.

        Or the lines so far off them on which the axis of a pole goes that is held against them.
        """
        outer = _sides(_grown(self._outline, off_m))
        inner = {name: _sides(_floor(room, -off_m)) for name, room in self.truth.rooms.items()}
        runs = self._cut(outer, f"{self.name} outer face", off_m)
        for name, sides in inner.items():
            runs += self._cut(sides, f"{self.name} {name} inner face", off_m)
        return runs

    def centre_runs(self) -> list[Run]:
        """Return the straight runs of all wall centre lines, without doorways."""
        half = self.truth.wall_m / 2
        outlines = [_floor(room, half) for room in self.truth.rooms.values()]
        sides = [side for outline in outlines for side in _sides(outline)]
        straight = [side for side in sides if len(side.coords) == 2]
        curved = [side for side in sides if len(side.coords) > 2]
        return self._cut([*_joined(straight), *curved], f"{self.name} wall centre")

    def _cut(self, sides: Iterable[LineString], what: str, off_m: float = 0.0) -> list[Run]:
        """Return lines drawn in the frame, cut at the doorways and put into the site's CRS.

        Doorways are cut as far as `off_m` beyond their walls' faces.
        """
        passages = [self._led_on(door, off_m) for door in self.open_doorways]
        runs = []
        for side in sides:
            left_over = shapely.difference(side, shapely.union_all(passages))
            if side.is_closed and left_over.geom_type == "MultiLineString":
                left_over = shapely.line_merge(left_over)  # cut open where its ring starts too
            for piece in shapely.get_parts(left_over):
                ends = [side.boundary.distance(shapely.Point(piece.coords[k])) for k in (0, -1)]
                line = LineString(self.frame.place(np.array(piece.coords)))
                runs.append(Run(line, (ends[0] < HAIR, ends[1] < HAIR), what))
        return runs


def _run(side: LineString, what: str) -> Run:
    return Run(side, (True, True), what)


def bed_height(seabed: Seabed, east_north: Array, extent_north_m: float = 1.0) -> Array:
    """Return the seabed's height.

    Parameters
    ----------
    seabed : Seabed
        Its truth.
    east_north : array, shape (n, 2)
        Metres east and north of the south-west corner.
    extent_north_m : float
        Size of the ground from south to north, for a profile in shares of it [m].

    Returns
    -------
    array, shape (n,)
        Height [m].
    """
    east, north = east_north.T
    height: Array = (
        seabed.south_west_m + seabed.rise_east_m_per_m * east + seabed.rise_north_m_per_m * north
    )
    if seabed.profile:
        share, level = np.array(seabed.profile).T
        height = height + np.interp(north / extent_north_m, share, level)
    if seabed.foreshore is not None:
        fall = np.clip(1.0 - north / seabed.foreshore.width_m, 0.0, None)
        height = height - seabed.foreshore.drop_m * fall
    add_mounds(height, seabed.mounds, east_north)
    if seabed.ripples is not None:
        turn = np.radians(seabed.ripples.azimuth_grid_deg)
        along = (east * np.sin(turn) + north * np.cos(turn)) / seabed.ripples.length_m
        height = height + seabed.ripples.height_m / 2 * np.sin(2 * np.pi * along)
    for patch in seabed.outcrops:
        near, share = _within(patch, east_north)
        rough = np.sin(2.1 * east[near]) * np.cos(1.7 * north[near])
        rough += np.sin(0.9 * (east[near] + 1.3 * north[near])) + 1.0
        height[near] += patch.height_m / 2 * rough * (1.0 - share) ** 2
    return height


def add_mounds(height: Array, mounds: Iterable[Mound], east_north: Array) -> None:
    """Add rises and hollows to heights at places, in place, arrays of shapes (n,) and (n, 2)."""
    east, north = east_north.T
    for mound in mounds:
        reach = 5 * mound.radius_m
        x, y = mound.at
        near = _in_box(east_north, (x - reach, y - reach, x + reach, y + reach))
        squared = (east[near] - x) ** 2 + (north[near] - y) ** 2
        height[near] += mound.height_m * np.exp(-squared / (2 * mound.radius_m**2))


def _within(patch: Patch, east_north: Array) -> tuple[npt.NDArray[np.int64], Array]:
    """Return which places lie in a round patch, and the square of their share of its radius."""
    x, y = patch.at
    r = patch.radius_m
    near = _in_box(east_north, (x - r, y - r, x + r, y + r))
    share = ((east_north[near, 0] - x) ** 2 + (east_north[near, 1] - y) ** 2) / r**2
    return near[share < 1.0], share[share < 1.0]


def _in_box(xy: Array, bounds: Sequence[float]) -> npt.NDArray[np.int64]:
    """Return which places lie within west, south, east and north edges."""
    west, south, east, north = bounds
    x, y = xy[:, 0], xy[:, 1]
    return np.flatnonzero((x >= west) & (x <= east) & (y >= south) & (y <= north))


def _edges(inside: Sequence[float]) -> tuple[float, float, float, float]:
    """Return left, near, right and far edge of a room's inside."""
    across, along, width, depth = inside
    return across, along, across + width, along + depth


def _inside(inside: Sequence[float], grown: float = 0.0) -> Polygon:
    """Return a room's rectangle in the building's frame, grown on all sides."""
    left, near, right, far = _edges(inside)
    return box(left - grown, near - grown, right + grown, far + grown)


def _floor(room: Room, grown: float = 0.0) -> Polygon:
    """Return a room's inside in the building's frame, with apse or round, grown on all sides."""
    if room.apse is None and not room.round:
        return _inside(room.inside, grown)
    left, near, right, far = _edges(room.inside)
    middle = {
        None: ((left + right) / 2, (near + far) / 2),
        "near": ((left + right) / 2, near),
        "far": ((left + right) / 2, far),
        "left": (left, (near + far) / 2),
        "right": (right, (near + far) / 2),
    }[room.apse]
    disc = shapely.Point(middle).buffer(_radius(room), quad_segs=QUARTER_STEPS)
    floor = disc if room.round else shapely.union(_inside(room.inside), disc)
    return _polygon(floor.buffer(grown, join_style="mitre") if grown else floor)


def _grown(shape: Polygon, by_m: float) -> Polygon:
    """Return a shape grown on all sides, as it is where by nothing."""
    return _polygon(shape.buffer(by_m, join_style="mitre")) if by_m else shape


def _radius(room: Room) -> float:
    """Return the radius of a round room, or of the disc at a room's apse [m]."""
    _, _, width, depth = room.inside
    if room.round:
        return min(width, depth) / 2
    return (width if room.apse in ("near", "far") else depth) / 2


def _polygon(shape: BaseGeometry) -> Polygon:
    """Return a shape that can only be one polygon as such."""
    if not isinstance(shape, Polygon) or shape.is_empty:
        raise ValueError(f"a building's rooms lie apart: {shape.geom_type}")
    return shape


def _sides(polygon: Polygon) -> list[LineString]:
    """Return the sides of an outline and its holes, corner to corner, a curve as one side."""
    sides = []
    whole = shapely.normalize(polygon)  # a ring then starts at a corner, not within a side
    for ring in (whole.exterior, *whole.interiors):
        corners = np.array(shapely.simplify(ring, 1e-3).coords)
        sides += [LineString(corners[first : last + 1]) for first, last in _stretches(corners)]
    return sides


def _stretches(corners: Array) -> list[tuple[int, int]]:
    """Return first and last vertex of a ring's sides: straight ones, and curves of short steps.

    >>> _stretches(np.array([[0.0, 0], [4, 0], [4, 3], [0, 3], [0, 0]]))
    [(0, 1), (1, 2), (2, 3), (3, 4)]
    """
    step = np.diff(corners, axis=0)
    long = np.hypot(*step.T) > STRAIGHT_M
    way = np.degrees(np.arctan2(step[:, 1], step[:, 0]))
    turn = np.abs((np.diff(way) + 180.0) % 360.0 - 180.0)
    breaks = np.flatnonzero((turn > CURVE_DEG) | long[1:] | long[:-1]) + 1
    ends = [0, *breaks.tolist(), len(step)]
    return list(pairwise(ends))


def _joined(sides: Iterable[LineString]) -> list[LineString]:
    """Return axis-parallel sides with those in one line and touching made one."""
    stretches: dict[tuple[int, float], list[tuple[float, float]]] = {}
    for side in sides:
        (x0, y0), (x1, y1) = side.coords
        upright = int(abs(x1 - x0) < HAIR)
        key = (upright, round(x0 if upright else y0, 4))
        ends = sorted((y0, y1) if upright else (x0, x1))
        stretches.setdefault(key, []).append((ends[0], ends[1]))
    joined = []
    for (upright, at), pieces in sorted(stretches.items()):
        for low, high in _merged(pieces):
            joined.append(
                LineString([(at, low), (at, high)] if upright else [(low, at), (high, at)])
            )
    return joined


def _merged(pieces: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return stretches of a line with those that touch or overlap made one.

    >>> _merged([(4.0, 6.0), (0.0, 2.0), (2.0, 3.0)])
    [(0.0, 3.0), (4.0, 6.0)]
    """
    merged: list[tuple[float, float]] = []
    for low, high in sorted(pieces):
        if merged and low <= merged[-1][1] + 1e-3:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    return merged
