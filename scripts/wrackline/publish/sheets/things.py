"""What is drawn on a sheet, thing by thing: shapes, how they look, and what the legend says.

Only what touches the sheet is listed, so the legend explains that and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.publish.cutting import less
from wrackline.publish.passages import passages
from wrackline.publish.sheets.content import Content
from wrackline.publish.sheets.paper import Layout
from wrackline.publish.sheets.style import (
    BOLD_MM,
    FAINT_MM,
    FRAME_MM,
    LINE_MM,
    THIN_MM,
    WEDGE,
    Style,
    luminance,
    tone,
)
from wrackline.publish.tones import BED, BODY, GREY, INK, LIGHT, RED, SEA

INDEX_STEP_M = 1.0
LINE_STEPS_M = {1000: 1.0, 200: 0.5, 0: 0.0}
"""Contours on sheets from 1 : so many on: every metre, every half, all of the layer."""
BEND_MM = 0.05
"""Smaller bends of contours are left out: half the width of their line."""
SHORTEST_MM = 8.0
"""Shorter pieces of contours and waterlines are left out."""
NATURAL, MODERN = "natural", "modern"
ORIGINS = ("built", NATURAL, MODERN, "doubtful")
MARKS = {"hearth": "^", "jar": "o", "cistern": "s", "grave": "P", "well": "D"}
"""Symbols of common features that are points; all others are drawn as they lie."""
STONE, HACHURE, SECTION = "stone", "hachure", "section line"
SPANS = ("xxxx", "////", "++++", "||||", "oooo")
"""Hatches of walls that stood one phase more than their first, two more, and so on."""
HACHURE_MM = 0.8
"""Width of a hachure's head."""
DARK = 0.2
"""Letters can't be read on ground darker than this: their contrast to it is less than 4.5 : 1
(WCAG 2.1, success criterion 1.4.3)."""
LEAST_WALL_M = 0.05
"""Ground narrower than twice this between rooms and wall bodies is no wall."""
NO_LINES = np.array([], dtype=object)


@dataclass(frozen=True)
class Drawn:
    """One entry of the legend and what it stands for on the sheet.

    Attributes
    ----------
    words : str
        As the legend says it; nothing: the legend is silent.
    style : Style
    shapes : array of Geometry
    order : float
        What has more lies above.
    broken : bool
        Whether labels interrupt it: contours, waterlines and hatched ground.
    sample : Style or None
        How the legend shows it, where that is another way.
    """

    words: str
    style: Style
    shapes: np.ndarray
    order: float
    broken: bool = False
    sample: Style | None = None


def things_on(content: Content, layout: Layout) -> list[Drawn]:
    """Return all that is drawn on a sheet but texts and spot heights, in the legend's order.

    Over a picture rooms and wall bodies are left unfilled: the stones are seen in it.

    Parameters
    ----------
    content : Content
        What touches the sheet.
    layout : Layout
    """
    ground = [] if content.picture is not None else [_rooms(content), _bodies(content)]
    parts = (
        _bed(content, layout),
        *ground,
        _walls(content),
        _openings(content),
        _trenches(content),
        _features(content, layout),
        _marks(content),
    )
    frame = shapely.box(*layout.ground)
    inside = (_inside(drawn, frame) for part in parts for drawn in part)
    return [drawn for drawn in inside if len(drawn.shapes)]


def _inside(drawn: Drawn, frame: shapely.Polygon) -> Drawn:
    """Leave out what lies beyond a sheet's edge, so that the legend doesn't speak of it."""
    return replace(drawn, shapes=drawn.shapes[shapely.intersects(drawn.shapes, frame)])


def multiples(values: pd.Series, step: float) -> np.ndarray:
    """Tell which values are multiples of a step; all, where the step is 0."""
    if not step:
        return np.ones(len(values), dtype=bool)
    share = values.to_numpy(float) / step
    return np.asarray(np.abs(share - np.round(share)) < 1e-6)


def levels_of(content: Content, contours: gpd.GeoDataFrame) -> pd.Series:
    """Return what contours are on a sheet: heights, or depths below its sea level [m]."""
    heights: pd.Series = contours["height_m"]
    return content.sea_level_m - heights if content.shows_depths else heights


def _bed(content: Content, layout: Layout) -> Iterator[Drawn]:
    """Contours, whole metres bolder, and waterlines, each level with its own dashes."""
    words, least = content.words, layout.ground_m(SHORTEST_MM)
    if content.contours is not None and len(content.contours):
        step = next(step for scale, step in LINE_STEPS_M.items() if layout.scale >= scale)
        kept = content.contours[multiples(levels_of(content, content.contours), step)]
        kept = kept[kept.length > least]
        index = multiples(levels_of(content, kept), INDEX_STEP_M)
        key = "contour_depth" if content.shows_depths else "contour"
        lines = shapely.simplify(kept.geometry.to_numpy(), layout.ground_m(BEND_MM))
        yield Drawn(words.say(key), Style(BED, THIN_MM), lines[index], 0.5, broken=True)
        yield Drawn(
            "" if index.any() else words.say(key),
            Style(BED, FAINT_MM),
            lines[~index],
            0.5,
            broken=True,
        )
    if content.waterlines is not None:
        for k, (level, part) in enumerate(content.waterlines.groupby("sea_level", sort=True)):
            style = Style(SEA, LINE_MM, (8, *(1.5, 1.5) * k, 1.5))
            whole = shapely.get_parts(shapely.line_merge(shapely.union_all(part.geometry)))
            text = words.say("waterline", level=words.own(str(level)))
            long = whole[shapely.length(whole) > least]
            yield Drawn(text, style, long, 0.6, broken=True)


def _rooms(content: Content) -> Iterator[Drawn]:
    rooms, words = content.plan["rooms"], content.words
    hatched = rooms.geometry[rooms["kind"].isin(["court", "lane"])].to_numpy()
    yield Drawn("", Style(face="white"), hatched, 1.1)
    for kind, key, style in (
        ("room", "room", Style(face="white")),
        ("court", "court", Style(GREY, 0, face="white", hatch="....")),
        ("lane", "lane", Style(GREY, 0, face="white", hatch="//")),
        ("unknown", "room_unknown", Style(face=LIGHT)),
    ):
        shapes = rooms.geometry[rooms["kind"] == kind].to_numpy()
        yield Drawn(words.say(key), style, shapes, 1.12, broken=bool(style.hatch))


def _bodies(content: Content) -> Iterator[Drawn]:
    """Wall bodies by phase, the passages through them, and walls of a stated thickness."""
    bodies, words = content.plan["wall_bodies"], content.words
    stated = Style(GREY, 0, face="white", hatch="\\\\\\\\\\\\")
    yield Drawn(words.say("wall_stated"), stated, _stated_walls(content), 1.0, broken=True)
    if not content.site.phases:
        shapes = bodies.geometry.to_numpy()
        yield Drawn(words.say("wall_body"), Style(face=BODY), shapes, 1.2)
    else:
        yield from _bodies_by_phase(content)
    yield Drawn("", Style(face="white"), passages(content.plan).to_numpy(), 1.3)


def _stated_walls(content: Content) -> np.ndarray:
    """Return the ground of buildings that is neither room nor wall between two faces."""
    houses = content.plan["buildings"].geometry.to_numpy()
    other = [content.plan[name].geometry.to_numpy() for name in ("rooms", "wall_bodies")]
    rest = shapely.get_parts(less(houses, np.concatenate(other)))
    wide_enough = shapely.area(shapely.buffer(rest, -LEAST_WALL_M)) > 0
    return np.asarray(rest[wide_enough])


def _bodies_by_phase(content: Content) -> Iterator[Drawn]:
    bodies, words = content.plan["wall_bodies"], content.words
    names = list(content.site.phases)
    first, last = bodies["phase_from"].fillna(""), bodies["phase_to"].fillna("")
    shapes = bodies.geometry.to_numpy()
    undated = ((first == "") & (last == "")).to_numpy()
    yield Drawn(words.say("wall_no_phase"), Style(face="#d4d4d4"), shapes[undated], 1.2)
    for start, stop in sorted(
        {pair for pair in zip(first[~undated], last[~undated], strict=True)},
        key=lambda pair: ([names.index(one) if one in names else -1 for one in pair], pair),
    ):
        mine = ((first == start) & (last == stop)).to_numpy()
        yield Drawn(*_phase(content, start, stop), shapes[mine], 1.2)


def _phase(content: Content, start: str, stop: str) -> tuple[str, Style]:
    """Return words and tone of walls of one phase; of several, the earliest's tone, hatched.

    The hatch tells how many phases they stood.
    """
    names, words = list(content.site.phases), content.words
    one = start or stop
    grey = tone(names.index(one), len(names)) if one in names else BODY
    if start == stop or not (start and stop):
        return words.say("wall_phase", phase=words.own(one)), Style(face=grey)
    text = words.say("wall_phases", first=words.own(start), last=words.own(stop))
    known = start in names and stop in names
    more = names.index(stop) - names.index(start) if known else 1
    hatch = SPANS[min(max(more, 1), len(SPANS)) - 1]
    return text, Style("white", 0, face=grey, hatch=hatch)


def _walls(content: Content) -> Iterator[Drawn]:
    walls, words = content.plan["wall_lines"], content.words
    for evidence, key, style in (
        ("old plan", "wall_old_plan", Style(SEA, THIN_MM, (1, 1.5))),
        ("recorded", "wall_recorded", Style(INK, THIN_MM)),
        ("inferred", "wall_inferred", Style(RED, LINE_MM, (3, 2))),
    ):
        lines = walls.geometry[walls["evidence"] == evidence].to_numpy()
        yield Drawn(words.say(key), style, lines, 3.0)


def _openings(content: Content) -> Iterator[Drawn]:
    """Doorways along their opening: seen ones by a line, possible ones by dots."""
    openings, words = content.plan["openings"], content.words
    for evidence, key, style in (
        ("seen", "doorway_seen", Style(INK, FAINT_MM)),
        ("possible", "doorway_possible", Style(INK, THIN_MM, (1, 2.5))),
    ):
        lines = openings.geometry[openings["evidence"] == evidence].to_numpy()
        yield Drawn(words.say(key), style, lines, 2.0)


def _trenches(content: Content) -> Iterator[Drawn]:
    if content.trenches is not None and len(content.trenches):
        style = Style(INK, BOLD_MM, (6, 1.5, 1, 1.5))
        edges = shapely.boundary(content.trenches.geometry.to_numpy())
        yield Drawn(content.words.say("trench"), style, edges, 3.5)


def _features(content: Content, layout: Layout) -> Iterator[Drawn]:
    """Features: outlines and lines as they lie; stones, hachures, section lines, symbols."""
    features, words = content.plan["features"], content.words
    kind = features["kind"].fillna("")
    yield from _surveyors(features, kind, content, layout)
    rest = features[~kind.isin([STONE, HACHURE, SECTION])]
    point = shapely.get_dimensions(rest.geometry.to_numpy()) == 0
    told = rest["origin"].fillna("").where(rest["origin"].isin(ORIGINS), "other")
    for origin, style in (
        ("built", Style(INK, FAINT_MM)),
        (NATURAL, Style(GREY, LINE_MM, (4, 1, 1, 1))),
        (MODERN, Style(GREY, LINE_MM, (1, 1))),
        ("doubtful", Style(GREY, THIN_MM, (2, 2))),
        ("other", Style(GREY, FAINT_MM)),
    ):
        mine = (told == origin).to_numpy(bool) & ~point
        outlines = edges_of(rest.geometry[mine].to_numpy())
        yield Drawn(words.say(f"feature_{origin}"), style, outlines, 4.0)
    yield from _symbols(rest[point], content)


def _surveyors(
    features: gpd.GeoDataFrame, kind: pd.Series, content: Content, layout: Layout
) -> Iterator[Drawn]:
    """Stones, hachures and section lines."""
    words = content.words
    stones = shapely.get_parts(shapely.get_parts(features.geometry[kind == STONE].to_numpy()))
    text, sample = words.say("stone"), Style(INK, FAINT_MM, marker="h", size_mm=2.0)
    for dimension, style in (
        (2, Style(INK, FAINT_MM, face="white")),
        (1, Style(INK, FAINT_MM)),
        (0, Style(INK, FAINT_MM, marker="h", size_mm=0.8)),
    ):
        mine = stones[shapely.get_dimensions(stones) == dimension]
        yield Drawn(text, style, mine, 3.8, sample=sample)
        text = "" if len(mine) else text
    strokes = features.geometry[kind == HACHURE].to_numpy()
    heads = [
        stroke if stroke.area else wedge(stroke, layout.ground_m(HACHURE_MM)) for stroke in strokes
    ]
    sample = Style(INK, FAINT_MM, marker=WEDGE, size_mm=3.0, fill="full")
    shapes = np.array(heads, dtype=object)
    yield Drawn(words.say("slope"), Style(face=INK), shapes, 2.5, sample=sample)
    sections = features.geometry[kind == SECTION].to_numpy()
    style = Style(INK, LINE_MM, (12, 2, 2, 2))
    yield Drawn(words.say("section"), style, sections, 4.5)


def _symbols(points: gpd.GeoDataFrame, content: Content) -> Iterator[Drawn]:
    """Symbols of common kinds, and a dot for other features that are points."""
    words = content.words
    for kind, marker in MARKS.items():
        shapes = points.geometry[points["kind"] == kind].to_numpy()
        style = Style(INK, THIN_MM, marker=marker, size_mm=0.8)
        yield Drawn(words.own(kind), style, shapes, 4.2)
    others = points.geometry[~points["kind"].isin(list(MARKS))].to_numpy()
    dot = Style(INK, 0.07, marker=".", size_mm=0.7, fill="full")
    yield Drawn(words.say("feature_other"), dot, others, 4.2)


def _marks(content: Content) -> Iterator[Drawn]:
    if content.marks is not None and not content.hides_place:
        style = Style(INK, THIN_MM, marker="^", size_mm=1.8)
        shapes = content.marks.geometry.to_numpy()
        yield Drawn(content.words.say("control_mark"), style, shapes, 4.4)


def edges_of(shapes: np.ndarray) -> np.ndarray:
    """Return outlines of areas, and lines as they are; collections are taken apart."""
    parts = shapely.get_parts(shapely.get_parts(shapes))
    return np.asarray(np.where(shapely.get_dimensions(parts) == 2, shapely.boundary(parts), parts))


def wedge(stroke: shapely.LineString, head_m: float) -> shapely.Polygon:
    """Return a hachure: wide at the first end of a line, the top, and a point at the foot."""
    (x0, y0), (x1, y1) = shapely.get_coordinates(stroke)[[0, -1], :2]
    long = max(float(np.hypot(x1 - x0, y1 - y0)), 1e-9)
    side = np.array([-(y1 - y0), x1 - x0]) / long * head_m / 2
    top = np.array([x0, y0])
    return shapely.Polygon([top + side, (x1, y1), top - side])


def obstacles(things: Sequence[Drawn], layout: Layout) -> np.ndarray:
    """Return what no label may touch: edges of walls, features, trenches, and drawn marks.

    Ground too dark for letters, that of the earliest phases and of hachures, is kept whole.

    Parameters
    ----------
    things : sequence of Drawn
    layout : Layout
    """
    firm = [_firm(one, layout) for one in things if one.order >= 2.0 or 1.15 < one.order < 1.25]
    return np.concatenate(firm) if firm else NO_LINES


def _firm(one: Drawn, layout: Layout) -> np.ndarray:
    """Return what of a thing no label may touch."""
    if one.style.marker is not None:
        spots = shapely.centroid(shapely.get_parts(one.shapes))
        half = layout.ground_m(one.style.size_mm + one.style.width_mm) / 2
        return np.asarray(shapely.buffer(spots, half, cap_style="square"))
    if one.style.face and luminance(one.style.face) < DARK:
        return one.shapes
    return edges_of(one.shapes)


def interrupted(things: Sequence[Drawn], boxes: np.ndarray) -> list[Drawn]:
    """Return things with their contours and waterlines cut where labels stand."""
    if not len(boxes):
        return list(things)
    return [replace(one, shapes=less(one.shapes, boxes)) if one.broken else one for one in things]


def frame_style() -> dict[str, Any]:
    """Return width and colour of the map's frame [mm]."""
    return {"color": INK, "width_mm": FRAME_MM}
