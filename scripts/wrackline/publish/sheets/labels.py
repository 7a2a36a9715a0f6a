"""Texts on a plan sheet: where they can stand without touching a line or each other.

A room's number stands in its room, level or along its long side, in one of several sizes; where
none fits, the room gets a small key number, and its own number stands in a list beside the plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from wrackline.publish.sheets.paper import Layout
from wrackline.publish.sheets.style import FONT, POINT_MM

CLEAR_MM = 0.3
CELL_MM = 8.0
"""Labels are looked for in squares of paper of this side: about as long as a label."""
BOLD_ROLES = ("building", "section", "tile")
"""What is drawn in bold letters."""
AWAY_MM = (0.8, 2.0, 4.0, 7.0)
Place = tuple[float, float, float]


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
        ``room``, ``key``, ``building``, ``spot``, ``contour``, ``trench``, ``section``, ``mark``.
    of : (float, float) or None
        The point that it is about, where it stands far enough off to need a leader.
    """

    text: str
    x: float
    y: float
    size_pt: float
    angle_deg: float
    box: shapely.Polygon
    role: str
    of: tuple[float, float] | None = None


@dataclass
class Placing:
    """Labels placed so far, and what they must not touch.

    Attributes
    ----------
    layout : Layout
    lines : array of Geometry
        Wall lines, outlines of wall bodies and features, marks.
    font : str
        Family of the letters.
    left : list of str
        Rooms wholly on the sheet that have neither their number nor a key.
    """

    layout: Layout
    lines: np.ndarray
    font: str = FONT
    labels: list[Label] = field(default_factory=list)
    taken: list[shapely.Polygon] = field(default_factory=list)
    left: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._tree = shapely.STRtree(self.lines)
        self._frame = shapely.box(*self.layout.ground)
        self._in_cell: dict[tuple[int, int], list[int]] = {}

    def size_mm(self, text: str, size_pt: float, role: str) -> tuple[float, float]:
        """Return width and height of a text on paper, as letters of its role are drawn [mm]."""
        return size_mm(text, size_pt, self.font, "bold" if role in BOLD_ROLES else "normal")

    def _may_hold(self, shape: shapely.Geometry, text: str, size_pt: float, role: str) -> bool:
        """Tell whether a shape is as long as a text at all."""
        west, south, east, north = shape.bounds
        long_mm = float(np.hypot(east - west, north - south)) * self.layout.metre_mm
        return long_mm >= float(np.hypot(*self.size_mm(text, size_pt, role)))

    def box(self, text: str, place: Place, size_pt: float, role: str) -> shapely.Polygon:
        """Return the ground that a text covers, with a little air around it."""
        x, y, angle_deg = place
        wide_mm, tall_mm = self.size_mm(text, size_pt, role)
        half = np.array([wide_mm / 2 + CLEAR_MM, tall_mm / 2 + CLEAR_MM]) / self.layout.metre_mm
        flat = shapely.box(x - half[0], y - half[1], x + half[0], y + half[1])
        return shapely.affinity.rotate(flat, angle_deg, origin=(x, y)) if angle_deg else flat

    def holds(self, shape: shapely.Geometry) -> bool:
        """Tell whether a shape lies wholly on the sheet."""
        return bool(self._frame.contains(shape))

    def is_free(self, box: shapely.Polygon) -> bool:
        """Tell whether a text's ground touches no line, no other text, and lies in the frame."""
        if not self._frame.contains(box) or len(self._tree.query(box, predicate="intersects")):
            return False
        return self.is_untaken(box)

    def is_untaken(self, box: shapely.Polygon) -> bool:
        """Tell whether no other text or mark covers some ground."""
        near = {k for cell in self._cells(box) for k in self._in_cell.get(cell, ())}
        return not any(box.intersects(self.taken[k]) for k in near)

    def is_whole(self, mark: shapely.Polygon) -> bool:
        """Tell whether the frame cuts nothing off a mark."""
        return bool(self._frame.contains(mark))

    def is_crossed(self, way: shapely.LineString) -> bool:
        """Tell whether a wall or another line lies across a way."""
        return len(self._tree.query(way, predicate="intersects")) > 0

    def is_parted(self, box: shapely.Polygon, shape: shapely.Geometry) -> bool:
        """Tell whether a line lies between a text's ground and its thing, whose edge is none."""
        way = shapely.shortest_line(box, shape)
        near = shapely.line_interpolate_point(way, 0.97, normalized=True)
        return self.is_crossed(shapely.LineString([way.coords[0], *near.coords]))

    def take(self, box: shapely.Polygon) -> None:
        """Keep some ground from all texts to come."""
        for cell in self._cells(box):
            self._in_cell.setdefault(cell, []).append(len(self.taken))
        self.taken.append(box)

    def _cells(self, box: shapely.Polygon) -> Iterator[tuple[int, int]]:
        """Yield the squares of paper that the edges of a box enclose, by column and row."""
        side = self.layout.ground_m(CELL_MM)
        x0, y0 = self.layout.ground[:2]
        west, south, east, north = box.bounds
        columns = range(int((west - x0) // side), int((east - x0) // side) + 1)
        rows = range(int((south - y0) // side), int((north - y0) // side) + 1)
        return ((i, j) for i in columns for j in rows)

    def put(
        self,
        text: str,
        places: Iterable[Place],
        size_pt: float,
        role: str,
        within: shapely.Geometry | None = None,
    ) -> Label | None:
        """Place a text at the first place (x, y, angle) where it touches nothing.

        With `within` it must also lie inside that shape. A text of nothing has no place.
        """
        if not text.strip() or (
            within is not None and not self._may_hold(within, text, size_pt, role)
        ):
            return None
        for place in places:
            box = self.box(text, place, size_pt, role)
            if (within is None or within.contains(box)) and self.is_free(box):
                label = Label(text, *place[:2], size_pt, place[2], box, role)
                self.labels.append(label)
                self.take(box)
                return label
        return None


@cache
def size_mm(
    text: str, size_pt: float, font: str = FONT, weight: str = "normal"
) -> tuple[float, float]:
    """Return width and height of a text on paper, the tallest of its lines' letters included [mm].

    Parameters
    ----------
    text : str
        One line, or several parted by line breaks.
    size_pt : float
    font, weight : str
        Family, and how heavy its letters are.
    """
    lines = text.split("\n")
    widths = [_line_mm(line, size_pt, font, weight)[0] for line in lines]
    if len(lines) == 1:
        return widths[0], _line_mm(text, size_pt, font, weight)[1]
    return max(widths), len(lines) * LINE_SPACING * size_pt * POINT_MM


LINE_SPACING = 1.2


def _line_mm(line: str, size_pt: float, font: str, weight: str) -> tuple[float, float]:
    wide, tall = _outline(line, font, weight)
    return wide * size_pt * POINT_MM, tall * size_pt * POINT_MM


@cache
def _outline(line: str, font: str, weight: str) -> tuple[float, float]:
    """Return width and height of a line's outlines, ends of their curves' arms included [sizes]."""
    if not line.strip():
        return 0.0, 0.0
    letters = FontProperties(family=font, weight=weight)
    vertices, _ = text_to_path.get_text_path(letters, line)
    if not len(vertices):
        return 0.0, 0.0
    wide, tall = np.ptp(vertices, axis=0) / text_to_path.FONT_SCALE
    return float(wide), float(tall)


def place_rooms(
    placing: Placing,
    rooms: gpd.GeoDataFrame,
    sizes: Sequence[float],
    key_sizes: Sequence[float],
    more: Sequence[str] = (),
) -> dict[int, str]:
    """Place every room's number, or a key number; return the keys with what they stand for.

    Rooms wholly on the sheet that have no place even for that are told by `Placing.left`.

    Parameters
    ----------
    placing : Placing
    rooms : GeoDataFrame
        The layer `rooms`.
    sizes, key_sizes : sequence of float
        Letter sizes to try [pt].
    more : sequence of str
        A second line for each room, set where there is room for it.
    """
    keys: dict[int, str] = {}
    order = np.argsort(-rooms.geometry.area.to_numpy(), kind="stable")
    for k in order.tolist():
        number, shape = rooms["room"].iloc[k], rooms.geometry.iloc[k]
        places = list(_inside(shape))
        texts = [f"{number}\n{more[k]}", number] if more else [number]
        tries = [(text, size) for text in texts for size in sizes]
        if any(placing.put(text, places, size, "room", shape) for text, size in tries):
            continue
        key = len(keys) + 1
        if any(placing.put(str(key), places, size, "key", shape) for size in key_sizes):
            keys[key] = number
        elif placing.holds(shape):
            placing.left.append(number)
    return keys


def _inside(shape: shapely.Geometry) -> Iterator[Place]:
    """Yield places within a room, the roomiest first, level and along its long side."""
    largest = max(shapely.get_parts(shape), key=lambda part: part.area)
    circle = shapely.maximum_inscribed_circle(largest, 0.05)
    middle = np.array(circle.coords[0])
    radius = circle.length
    corners = shapely.get_coordinates(shapely.oriented_envelope(largest))[:3]
    sides = np.diff(corners, axis=0)
    long = sides[int(np.argmax(np.hypot(*sides.T)))]
    angle = (float(np.degrees(np.arctan2(long[1], long[0]))) + 90.0) % 180.0 - 90.0
    steps = np.array([(0, 0), (0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1)])
    for share in (0.0, 0.3, 0.6):
        for step in steps if share else steps[:1]:
            x, y = (middle + share * radius * step).tolist()
            yield x, y, 0.0
            yield x, y, angle


def place_buildings(
    placing: Placing, buildings: gpd.GeoDataFrame, sizes: Sequence[float]
) -> list[str]:
    """Place buildings' numbers beside them and in no other; return those without a place."""
    left = []
    tree = shapely.STRtree(buildings.geometry.to_numpy())
    frame = shapely.box(*placing.layout.ground)
    for number, shape in zip(buildings["building"], buildings.geometry, strict=True):
        placed = any(_beside(placing, tree, number, shape, size) for size in sizes)
        if not placed and frame.contains(shape):
            left.append(number)
    return left


def _beside(
    placing: Placing, tree: shapely.STRtree, text: str, shape: shapely.Geometry, size: float
) -> bool:
    """Place a building's number at the nearest place that covers no building."""
    places = (
        place
        for place in _around(placing, text, shape.bounds, size, "building")
        if not len(tree.query(placing.box(text, place, size, "building"), predicate="intersects"))
    )
    return placing.put(text, places, size, "building") is not None


def _around(
    placing: Placing, text: str, bounds: tuple[float, float, float, float], size: float, role: str
) -> Iterator[Place]:
    """Yield places around a shape's bounds, the nearest first."""
    wide_mm, tall_mm = placing.size_mm(text, size, role)
    west, south, east, north = bounds
    middle = (west + east) / 2, (south + north) / 2
    for away_mm in AWAY_MM:
        across = placing.layout.ground_m(away_mm + wide_mm / 2)
        along = placing.layout.ground_m(away_mm + tall_mm / 2)
        for x in (middle[0], west, east):
            yield x, north + along, 0.0
            yield x, south - along, 0.0
        for y in (middle[1], south, north):
            yield east + across, y, 0.0
            yield west - across, y, 0.0


def place_names(
    placing: Placing, names: Sequence[tuple[str, shapely.Geometry]], size: float, role: str
) -> None:
    """Place names beside their shapes, where there is room.

    A feature's name stands on its side of the walls, or nowhere.

    Parameters
    ----------
    placing : Placing
    names : sequence of (text, shape)
    size : float
        Letter size [pt].
    role : str
    """
    for text, shape in names:
        places = _around(placing, text, shape.bounds, size, role)
        if role == "feature":
            places = (
                place
                for place in places
                if not placing.is_parted(placing.box(text, place, size, role), shape)
            )
        placing.put(text, places, size, role)


def place_ends(
    placing: Placing, sections: Sequence[tuple[str, shapely.LineString]], size: float
) -> None:
    """Place the letters of sections beyond both ends of their lines, A and A′."""
    for name, line in sections:
        if not name.strip():
            continue
        ends = shapely.get_coordinates(line)[:, :2]
        for text, end, inner in ((name, ends[0], ends[1]), (f"{name}′", ends[-1], ends[-2])):
            out = (end - inner) / max(float(np.hypot(*(end - inner))), 1e-9)
            half = max(placing.size_mm(text, size, "section")) / 2
            reach = [placing.layout.ground_m(away + half) for away in AWAY_MM]
            places = [(*(end + far * out).tolist(), 0.0) for far in reach]
            places += _around(placing, text, (*end, *end), size, "section")
            placing.put(text, places, size, "section")
