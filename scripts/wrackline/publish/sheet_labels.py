"""Numbers on a plan sheet: where they can stand without touching a line or each other.

A room's number stands in its room, level or along its long side, in one of two sizes; where none
fits, the room gets a small key number, and its own number stands in a list beside the plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from wrackline.publish.sheet_paper import Layout

POINT_MM = 25.4 / 72
FONT = "DejaVu Sans"
ROOM_SIZES_PT, KEY_SIZES_PT, BUILDING_PT, SPOT_PT = (5.0, 4.2), (4.2, 3.4), 6.5, 4.6
CLEAR_MM = 0.3
AWAY_MM = (0.8, 2.0, 4.0, 7.0)


@dataclass(frozen=True)
class Label:
    """One text on the plan.

    Attributes
    ----------
    text : str
    x, y : float
        Middle of the text in the grid [m].
    size_pt, angle_deg : float
        Letter size; turn anticlockwise.
    box : Polygon
        The ground that it covers.
    role : str
        ``room``, ``key``, ``building`` or ``spot``.
    """

    text: str
    x: float
    y: float
    size_pt: float
    angle_deg: float
    box: shapely.Polygon
    role: str


@dataclass
class Placing:
    """Labels placed so far, and what they must not touch.

    Attributes
    ----------
    layout : Layout
    lines : array of Geometry
        Wall lines and outlines of features.
    """

    layout: Layout
    lines: np.ndarray
    labels: list[Label] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._tree = shapely.STRtree(self.lines)
        self._frame = shapely.box(*self.layout.ground)
        self._edges: list[tuple[float, float, float, float]] = []

    def box(
        self, text: str, x: float, y: float, size_pt: float, angle_deg: float
    ) -> shapely.Polygon:
        """Return the ground that a text covers, with a little air around it."""
        wide_mm, tall_mm = _size_mm(text, size_pt)
        half = np.array([wide_mm / 2 + CLEAR_MM, tall_mm / 2 + CLEAR_MM]) / self.layout.metre_mm
        flat = shapely.box(x - half[0], y - half[1], x + half[0], y + half[1])
        return shapely.affinity.rotate(flat, angle_deg, origin=(x, y)) if angle_deg else flat

    def is_free(self, box: shapely.Polygon) -> bool:
        """Tell whether a text's ground touches no line, no other text, and lies in the frame."""
        if not self._frame.contains(box) or len(self._tree.query(box, predicate="intersects")):
            return False
        if not self.labels:
            return True
        west, south, east, north = box.bounds
        edges = np.array(self._edges)
        apart = (edges[:, 0] > east) | (edges[:, 2] < west)
        apart |= (edges[:, 1] > north) | (edges[:, 3] < south)
        near = np.flatnonzero(~apart)
        return not any(box.intersects(self.labels[k].box) for k in near)

    def put(
        self,
        text: str,
        places: Iterable[tuple[float, float, float]],
        size_pt: float,
        role: str,
        within: shapely.Geometry | None = None,
    ) -> bool:
        """Place a text at the first place (x, y, angle) where it touches nothing.

        With `within` it must also lie inside that shape.
        """
        for x, y, angle in places:
            box = self.box(text, x, y, size_pt, angle)
            if (within is None or within.contains(box)) and self.is_free(box):
                self.labels.append(Label(text, x, y, size_pt, angle, box, role))
                self._edges.append(box.bounds)
                return True
        return False


@cache
def _size_mm(text: str, size_pt: float) -> tuple[float, float]:
    """Return width and height of a text on paper [mm]."""
    box = TextPath((0, 0), text, size=size_pt, prop=FontProperties(family=FONT)).get_extents()
    return float(box.width) * POINT_MM, float(box.height) * POINT_MM


def place_rooms(placing: Placing, rooms: gpd.GeoDataFrame) -> dict[int, str]:
    """Place every room's number, or a key number; return the keys with what they stand for.

    Parameters
    ----------
    placing : Placing
    rooms : GeoDataFrame
        The layer `rooms`.
    """
    keys: dict[int, str] = {}
    order = np.argsort(-rooms.geometry.area.to_numpy(), kind="stable")
    for k in order.tolist():
        number, shape = rooms["room"].iloc[k], rooms.geometry.iloc[k]
        places = list(_inside(shape))
        if any(placing.put(number, places, size, "room", shape) for size in ROOM_SIZES_PT):
            continue
        key = len(keys) + 1
        keys[key] = number
        if not any(placing.put(str(key), places, size, "key", shape) for size in KEY_SIZES_PT):
            keys.pop(key)
            keys[key] = f"{number} (no room for its key)"
    return keys


def _inside(shape: shapely.Geometry) -> list[tuple[float, float, float]]:
    """Return places within a room, the roomiest first, level and along its long side."""
    largest = max(shapely.get_parts(shape), key=lambda part: part.area)
    circle = shapely.maximum_inscribed_circle(largest, 0.05)
    middle = np.array(circle.coords[0])
    radius = circle.length
    corners = shapely.get_coordinates(shapely.oriented_envelope(largest))[:3]
    sides = np.diff(corners, axis=0)
    long = sides[int(np.argmax(np.hypot(*sides.T)))]
    angle = (float(np.degrees(np.arctan2(long[1], long[0]))) + 90.0) % 180.0 - 90.0
    steps = np.array([(0, 0), (0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1)])
    places = []
    for share in (0.0, 0.3, 0.6):
        for step in steps if share else steps[:1]:
            x, y = (middle + share * radius * step).tolist()
            places += [(x, y, 0.0), (x, y, angle)]
    return places


def place_buildings(placing: Placing, buildings: gpd.GeoDataFrame) -> list[str]:
    """Place buildings' numbers beside them; return those for which there was no place."""
    left = []
    for _, row in buildings.iterrows():
        places = _around(placing, row["building"], row.geometry)
        if not placing.put(row["building"], places, BUILDING_PT, "building"):
            left.append(row["building"])
    return left


def _around(
    placing: Placing, text: str, shape: shapely.Geometry
) -> list[tuple[float, float, float]]:
    """Return places around a building, the nearest first."""
    wide_mm, tall_mm = _size_mm(text, BUILDING_PT)
    west, south, east, north = shape.bounds
    middle = (west + east) / 2, (south + north) / 2
    places = []
    for away_mm in AWAY_MM:
        across = placing.layout.ground_m(away_mm + wide_mm / 2)
        along = placing.layout.ground_m(away_mm + tall_mm / 2)
        for x in (middle[0], west, east):
            places += [(x, north + along, 0.0), (x, south - along, 0.0)]
        for y in (middle[1], south, north):
            places += [(east + across, y, 0.0), (west - across, y, 0.0)]
    return places


def place_spots(placing: Placing, spots: Sequence[tuple[str, shapely.LineString]]) -> list[Label]:
    """Place depths of wall tops beside their wall, where there is room; return those placed.

    Parameters
    ----------
    placing : Placing
    spots : sequence of (text, line)
        What is to be written, and the wall line that it is the depth of.
    """
    before = len(placing.labels)
    for text, line in spots:
        wide_mm, tall_mm = _size_mm(text, SPOT_PT)
        start, stop = shapely.get_coordinates(line)[[0, -1], :2]
        step = stop - start
        normal = np.array([-step[1], step[0]]) / max(float(np.hypot(*step)), 1e-9)
        places = []
        for away_mm in AWAY_MM[:3]:
            reach = placing.layout.ground_m(away_mm + np.hypot(wide_mm, tall_mm) / 2)
            for share in (0.5, 0.3, 0.7):
                for side in (1, -1):
                    x, y = (start + share * step + side * reach * normal).tolist()
                    places.append((x, y, 0.0))
        placing.put(text, places, SPOT_PT, "spot")
    return placing.labels[before:]
