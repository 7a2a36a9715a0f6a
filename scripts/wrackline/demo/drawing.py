"""What is drawn off photographs: fallen stones, hachures down a slope, lines of sections.

None of it is in the truth file by itself: stones lie where walls have fallen, hachures run down the
sides of a rise, and sections were drawn through trenches. Random numbers of stones hang on no seed,
and nothing else of the truth hangs on them.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from wrackline.demo.fieldwork import Fieldwork
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.truth import Mound
from wrackline.uncertainty import Array

STONES, STROKES, SECTIONS = 14, 24, 3
"""Stones a fallen wall, strokes around a rise, sections in all."""
STONE_M = (0.1, 0.5)
"""Half a stone's width: least and most."""
APART_M = 0.05
NEAR_M = 100.0
LEAST_FALL_M = 0.05
FOOT = 1.9
"""Where a rise ends, in its radii."""
BEYOND_M = 0.5
"""How far a section's line runs on beyond its trench."""


class Drawn(NamedTuple):
    """One thing as drawn: its own name, what it is, of what origin, a note, and its exact shape.

    Attributes
    ----------
    line, kind, origin, note : str
    shape : LineString or Polygon
        In the site's CRS.
    above_m : float
        How far its points lie above the bed [m].
    """

    line: str
    kind: str
    origin: str
    note: str
    shape: BaseGeometry
    above_m: float


def drawn_things(hamlet: Hamlet) -> list[Drawn]:
    """Return all that can be drawn: stones, hachures, section lines."""
    return [*_stones(hamlet), *_hachures(hamlet), *_section_lines(hamlet)]


def details(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return what was drawn of the things whose middle the survey covers, with kind and origin."""
    mine = [one for one in drawn_things(work.hamlet) if work.covers(one.shape)]
    mine = mine or drawn_things(work.hamlet)  # a ground too small to have one in this part
    corners = [places_of(one, work.hamlet, moved=work.moved) for one in mine]
    measured = work.measure(np.concatenate(corners)) if mine else np.zeros((0, 3))
    pieces = np.split(measured.round(3), np.cumsum([len(xyz) for xyz in corners])[:-1])
    shapes = [
        shapely.Polygon(xyz) if one.shape.geom_type == "Polygon" else shapely.LineString(xyz)
        for one, xyz in zip(mine, pieces, strict=False)
    ]
    rows = [one._asdict() for one in mine]
    columns = {
        name: [row[name] or None for row in rows] for name in ("line", "kind", "origin", "note")
    }
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=work.hamlet.truth.crs)


def places_of(one: Drawn, hamlet: Hamlet, *, moved: bool) -> Array:
    """Return the corners of a thing with their true heights, an outline's first not twice [m]."""
    xy = shapely.get_coordinates(one.shape)
    if one.shape.geom_type == "Polygon":
        xy = xy[:-1]
    return np.asarray(hamlet.on_land(xy, moved=moved) + np.array([0.0, 0.0, one.above_m]))


def _stones(hamlet: Hamlet) -> Iterator[Drawn]:
    """Yield stones where walls have fallen, or else around a house, none upon another."""
    rng = np.random.default_rng(zlib.crc32(b"stones"))
    ground = list(shapely.get_parts(hamlet.lost_ground))
    if not ground:
        house = next(iter(hamlet.houses.values())).footprint
        ground = [shapely.difference(house.buffer(3.0), house.buffer(0.3))]
    lying: list[BaseGeometry] = []
    for place in ground:
        west, south, east, north = place.bounds
        for _ in range(STONES):
            middle = rng.uniform((west, south), (east, north))
            stone = shapely.Polygon(middle + _outline(rng))
            above = round(float(rng.uniform(0.05, 0.3)), 2)
            clear = all(stone.distance(other) > APART_M for other in lying)
            if place.contains(stone) and clear:
                lying.append(stone)
                note = "fallen from the wall beside it"
                yield Drawn(f"S{len(lying):02d}", "stone", "built", note, stone, above)


def _outline(rng: np.random.Generator) -> Array:
    """Return the corners of a rough stone around its middle, shape (6, 2) [m]."""
    least, most = STONE_M
    half = least * (most / least) ** rng.random()
    turn = 2 * np.pi * (np.arange(6) + rng.uniform(-0.25, 0.25, 6)) / 6 + rng.uniform(0, np.pi)
    radius = half * rng.uniform(0.75, 1.0, 6)
    return np.asarray(radius[:, None] * np.column_stack([np.cos(turn), np.sin(turn)]))


def _hachures(hamlet: Hamlet) -> Iterator[Drawn]:
    """Yield strokes down the sides of a rise, each from its top to its foot."""
    rise = _rise(hamlet)
    if rise is None:
        return
    turn = 2 * np.pi * np.arange(STROKES) / STROKES
    way = np.column_stack([np.sin(turn), np.cos(turn)])
    for number in range(STROKES):
        reach = np.array([0.6, 1.5 if number % 2 else FOOT])  # a short stroke after each long one
        ends = np.array(rise.at) + rise.radius_m * reach[:, None] * way[number]
        stroke = shapely.LineString(hamlet.ground.place(ends))
        top, foot = hamlet.bed(shapely.get_coordinates(stroke), moved=True)
        if foot < top - LEAST_FALL_M:
            yield Drawn(f"H{number + 1:02d}", "hachure", "", "side of a rise", stroke, 0.0)


def _rise(hamlet: Hamlet) -> Mound | None:
    """Return the highest rise near the middle that is clear of walls; None where there is none."""
    built = shapely.union_all([house.footprint for house in hamlet.houses.values()])
    place = hamlet.ground.put(shapely.Point(_middle(hamlet)))
    rises = [
        (-rise.height_m, float(middle.distance(place)), rise)
        for rise in hamlet.truth.seabed.mounds
        if rise.height_m > 0
        for middle in [hamlet.ground.put(shapely.Point(rise.at))]
        if middle.distance(built) > FOOT * rise.radius_m and middle.distance(place) < NEAR_M
    ]
    return min(rises, key=lambda one: one[:2])[2] if rises else None


def _section_lines(hamlet: Hamlet) -> Iterator[Drawn]:
    """Yield lines of sections, lengthwise through trenches and beyond, named A, B, C."""
    place = hamlet.ground.put(shapely.Point(_middle(hamlet)))
    trenches = [outline for outline, _ in hamlet.trenches]
    near = sorted(trenches, key=lambda outline: float(outline.centroid.distance(place)))
    for number, outline in enumerate(near[:SECTIONS]):
        corners = shapely.get_coordinates(outline)[:-1]
        sides = np.roll(corners, -1, axis=0) - corners
        along = sides[np.argmax(np.hypot(*sides.T))]
        reach = along / 2 + BEYOND_M * along / np.hypot(*along)
        centre = shapely.get_coordinates(outline.centroid)[0]
        section = shapely.LineString([centre - reach, centre + reach])
        note = "north-west side drawn at 1:20"
        yield Drawn("ABC"[number], "section line", "", note, section, 0.0)


def _middle(hamlet: Hamlet) -> tuple[float, float]:
    """Return the place about which things are drawn: the middle of the west, east and north [m]."""
    east, north = hamlet.truth.extent
    return 0.25 * east, 0.5 * north
