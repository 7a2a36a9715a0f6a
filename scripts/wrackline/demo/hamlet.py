"""Truth to geometry, exact: walls, rooms, doorways and the seabed, in the site's CRS.

Every building stands in the frame of its family: *across* (left to right) and *along* (near to
far), turned clockwise from grid north by the family's azimuth. Its walls are what lies between
its rooms, and one wall's thickness around them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from wrackline.demo.truth import Building, Doorway, Seabed, Truth
from wrackline.uncertainty import Array

HAIR = 1e-6  # [m]; beside it, what touches in truth touches in floating point too


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

    def _frame(self, building: Building) -> Frame:
        family = self.truth.families[building.family]
        start = self.ground.place(np.array([family.origin]))[0]
        turned = Frame(start[0], start[1], family.azimuth_grid_deg)
        corner = turned.place(np.array([building.at]))[0]
        return Frame(corner[0], corner[1], family.azimuth_grid_deg)

    def bed(self, xy: Array) -> Array:
        """Return the seabed's height at places in the site's CRS, shape (n,) [m]."""
        return bed_height(self.truth.seabed, xy - self.truth.south_west)

    def surface(self, xy: Array) -> Array:
        """Return the height of what a sounding meets: the seabed, or a wall's top, shape (n,)."""
        height = self.bed(xy)
        for house in self.houses.values():
            on_wall = shapely.contains_xy(house.walls, xy[:, 0], xy[:, 1])
            height = np.where(on_wall, np.maximum(height, house.truth.wall_top_m), height)
        return height

    def on_land(self, xy: Array) -> Array:
        """Return places with the seabed's height as third column, shape (n, 3)."""
        return np.column_stack([xy, self.bed(xy)])


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
            name: _polygon(self.frame.put(_inside(room.inside)))
            for name, room in self.truth.rooms.items()
        }

    @cached_property
    def centres(self) -> dict[str, Polygon]:
        """The rooms to the middle of their walls."""
        half = self.truth.wall_m / 2
        return {
            name: _polygon(self.frame.put(_inside(room.inside, half)))
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
        return [_polygon(self.frame.put(self.passage(door))) for door in self.truth.doorways]

    @cached_property
    def _outline(self) -> Polygon:
        wall = self.truth.wall_m + HAIR
        around = [_inside(room.inside, wall) for room in self.truth.rooms.values()]
        return _polygon(shapely.set_precision(shapely.union_all(around), 1e-4))

    def passage(self, door: Doorway) -> Polygon:
        """Return a doorway's passage in the building's frame."""
        left, near, right, far = _edges(self.truth.rooms[door.room].inside)
        wall, half = self.truth.wall_m, door.width_m / 2
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

    def face_runs(self) -> list[Run]:
        """Return the straight runs of all wall faces, outer and inner, without doorways."""
        outer = _sides(self._outline)
        inner = {name: _sides(_inside(room.inside)) for name, room in self.truth.rooms.items()}
        runs = self._cut(outer, f"{self.name} outer face")
        for name, sides in inner.items():
            runs += self._cut(sides, f"{self.name} {name} inner face")
        return runs

    def centre_runs(self) -> list[Run]:
        """Return the straight runs of all wall centre lines, without doorways."""
        half = self.truth.wall_m / 2
        outlines = [_inside(room.inside, half) for room in self.truth.rooms.values()]
        sides = [side for outline in outlines for side in _sides(outline)]
        return self._cut(_joined(sides), f"{self.name} wall centre")

    def _cut(self, sides: Iterable[LineString], what: str) -> list[Run]:
        """Return lines drawn in the frame, cut at the doorways and put into the site's CRS."""
        passages = [
            self.passage(door).buffer(1e-3, join_style="mitre") for door in self.truth.doorways
        ]
        runs = []
        for side in sides:
            left_over = shapely.difference(side, shapely.union_all(passages))
            for piece in shapely.get_parts(left_over):
                ends = [side.boundary.distance(shapely.Point(piece.coords[k])) for k in (0, -1)]
                line = LineString(self.frame.place(np.array(piece.coords)))
                runs.append(Run(line, (ends[0] < HAIR, ends[1] < HAIR), what))
        return runs


def bed_height(seabed: Seabed, east_north: Array) -> Array:
    """Return the seabed's height.

    Parameters
    ----------
    seabed : Seabed
        Its truth.
    east_north : array, shape (n, 2)
        Metres east and north of the south-west corner.

    Returns
    -------
    array, shape (n,)
        Height [m].
    """
    east, north = east_north.T
    height: Array = (
        seabed.south_west_m + seabed.rise_east_m_per_m * east + seabed.rise_north_m_per_m * north
    )
    for mound in seabed.mounds:
        squared = (east - mound.at[0]) ** 2 + (north - mound.at[1]) ** 2
        height = height + mound.height_m * np.exp(-squared / (2 * mound.radius_m**2))
    return height


def _edges(inside: Sequence[float]) -> tuple[float, float, float, float]:
    """Return left, near, right and far edge of a room's inside."""
    across, along, width, depth = inside
    return across, along, across + width, along + depth


def _inside(inside: Sequence[float], grown: float = 0.0) -> Polygon:
    """Return a room's rectangle in the building's frame, grown on all sides."""
    left, near, right, far = _edges(inside)
    return box(left - grown, near - grown, right + grown, far + grown)


def _polygon(shape: BaseGeometry) -> Polygon:
    """Return a shape that can only be one polygon as such."""
    if not isinstance(shape, Polygon) or shape.is_empty:
        raise ValueError(f"a building's rooms lie apart: {shape.geom_type}")
    return shape


def _sides(polygon: Polygon) -> list[LineString]:
    """Return the straight sides of an outline and its holes, corner to corner."""
    sides = []
    whole = shapely.normalize(polygon)  # a ring then starts at a corner, not within a side
    for ring in (whole.exterior, *whole.interiors):
        corners = np.array(shapely.simplify(ring, 1e-3).coords)
        sides += [LineString(pair) for pair in pairwise(corners)]
    return sides


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
