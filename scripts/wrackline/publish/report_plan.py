"""Plans as SVG in metres: what plans of the site and of one building share, and the site's.

Recorded lines are solid, inferred ones dashed, old plans dotted; a room leads to its card.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.accuracy.markup import Markup, el, join
from wrackline.crs import grid_factors
from wrackline.publish.passages import passages
from wrackline.quantities import fixed

Array = npt.NDArray[np.float64]

STYLE = """
svg.plan { display: block; width: 100%; height: auto; background: #fff; border: 1px solid #8a8a8a; }
.plan .body { fill: #8a8378; stroke: none; }
.plan .passage { fill: #fff; stroke: none; }
.plan .stated { fill: #cfc8ba; stroke: #8a8378; stroke-width: 0.03; }
.plan .room { fill: #f6e4bf; stroke: none; } .plan .court { fill: #e9f0df; }
.plan .lane, .plan .unknown { fill: #ececec; }
.plan a:hover .room, .plan a:focus .room { fill: #e2b24f; }
.plan a:focus { outline: none; } .plan a:focus .room { stroke: #1b1b1b; stroke-width: 0.25; }
.plan .recorded, .plan .inferred, .plan .old { fill: none; stroke: #1b1b1b; }
.plan .inferred { stroke: #9c2f00; } .plan .old { stroke: #4a6a86; }
.plan .feature { fill: none; stroke: #3c5a78; } .plan .dot { fill: #3c5a78; stroke: none; }
.plan .grid { fill: none; stroke: #8a8a8a; }
.plan text { font-family: sans-serif; fill: #1b1b1b; text-anchor: middle; }
.plan a text { text-decoration: underline; }
.plan .start { text-anchor: start; } .plan .end { text-anchor: end; }
.plan .halo { stroke: #fff; stroke-linejoin: round; paint-order: stroke; }
.plan .over { pointer-events: none; }
.plan .seen circle { fill: #1b1b1b; stroke: #fff; } .plan .seen text { fill: #fff; }
.plan .possible circle { fill: #fff; stroke: #1b1b1b; }
.plan .north { fill: #1b1b1b; stroke: none; } .plan .clear { fill: #fff; stroke: none; }
"""
DIGITS = 2
LONGEST_PX = 1000.0
SMALL_M = 40.0
LETTER_EM = 0.56
"""Mean width of a figure or capital, in letter sizes, as of common sans-serif faces."""

SITE_LETTER_PX, GRID_LETTER_PX = 10.0, 9.0


@dataclass(frozen=True)
class Stroke:
    """How wall lines of one evidence are drawn, or closings of some kinds."""

    name: str
    evidence: str
    width_px: float
    dashes_px: tuple[float, ...] = ()
    closings: tuple[str, ...] = ()

    def look(self, pixel_m: float) -> dict[str, Any]:
        """Return the attributes of a path, a pixel being so long."""
        dashes = " ".join(f"{dash * pixel_m:.3f}" for dash in self.dashes_px)
        width = f"{self.width_px * pixel_m:.3f}"
        return {"class_": self.name, "stroke_width": width, "stroke_dasharray": dashes or None}


SITE_STROKES = (
    Stroke("old", "old plan", 0.8, (0.8, 1.6)),
    Stroke("recorded", "recorded", 0.8),
    Stroke("inferred", "inferred", 1.4, (4.2, 2.8)),
)


@dataclass(frozen=True)
class Drawing:
    """A plan's window onto the site.

    Attributes
    ----------
    west, south, east, north : float
        Edges [m].
    """

    west: float
    south: float
    east: float
    north: float

    @property
    def pixel_m(self) -> float:
        """Metres of ground that a pixel shows at full width [m]."""
        return max(self.east - self.west, 1.0) / LONGEST_PX

    def no_taller_than(self, share: float) -> Drawing:
        """Return the window, widened where its height is more than a share of its width."""
        lacking = (self.north - self.south) / share - (self.east - self.west)
        side = max(lacking, 0.0) / 2
        return replace(self, west=self.west - side, east=self.east + side)

    def path(self, shape: shapely.Geometry) -> str:
        """Return a line or an outline as an SVG path."""
        texts = []
        for part in shapely.get_parts(shape):
            if part.is_empty:  # a browser stops reading a path there
                continue
            rings = [part] if part.geom_type == "LineString" else [part.exterior, *part.interiors]
            for ring in rings:
                xy = self.places(shapely.get_coordinates(ring))
                closing = "Z" if part.geom_type == "Polygon" else ""
                texts.append("M" + "L".join(f"{x:g} {y:g}" for x, y in xy.tolist()) + closing)
        return "".join(texts)

    def places(self, xy: Array) -> Array:
        """Return places of the site as places on the plan, shape (n, 2) [m]."""
        return np.column_stack([xy[:, 0] - self.west, self.north - xy[:, 1]]).round(DIGITS)


def window(shapes: Any, margin_m: float) -> Drawing:
    """Return the window that shows all shapes with a margin around them."""
    shapes = np.asarray(shapes, dtype=object)
    bounds = shapely.total_bounds(shapes) if len(shapes) else np.array([0.0, 0.0, 1.0, 1.0])
    west, south, east, north = (bounds + np.array([-1, -1, 1, 1]) * margin_m).tolist()
    return Drawing(west, south, east, north)


def site_window(plan: Mapping[str, gpd.GeoDataFrame], margin_share: float = 0.06) -> Drawing:
    """Return the window that shows all that is on the plan, with a share of its width around."""
    shapes = np.concatenate([one.geometry.to_numpy() for one in plan.values()])
    tight = window(shapes, 0.0)
    wide = max(tight.east - tight.west, tight.north - tight.south, 20.0)
    return window(shapes, margin_share * wide)


def site_plan(plan: Mapping[str, gpd.GeoDataFrame], crs: str) -> Markup:
    """Return the whole site, its buildings numbered, each room a way to its card."""
    drawing = site_window(plan)
    words = f"Plan of the site in {crs}, grid north up"
    parts = [
        _grid(drawing),
        *parts_of(drawing, plan, SITE_STROKES),
        *_numbers_beside(drawing, plan["buildings"], plan["wall_lines"].geometry),
    ]
    return svg_of(drawing, words, *parts, scale_bar(drawing), _north(drawing))


def convergence(drawing: Drawing, crs: str) -> float:
    """Return how far grid north lies east of true north in the plan's middle [degrees]."""
    middle = [
        np.array([(a + b) / 2])
        for a, b in ((drawing.west, drawing.east), (drawing.south, drawing.north))
    ]
    return float(grid_factors(crs, *middle)[0][0])


def true_north(drawing: Drawing, crs: str) -> str:
    """Return how far true north is from the plan's upright, in words."""
    turn = convergence(drawing, crs)
    return f"true north lies {fixed(abs(turn), 2)}° {'west' if turn > 0 else 'east'} of grid north"


def svg_of(drawing: Drawing, title: str, *parts: Markup) -> Markup:
    """Return a plan's parts as a picture of its window."""
    size = f"0 0 {drawing.east - drawing.west:.2f} {drawing.north - drawing.south:.2f}"
    given = {"class_": "plan", "viewBox": size, "role": "group", "aria_label": title}
    return el("svg", *parts, **given)


def parts_of(
    drawing: Drawing, plan: Mapping[str, gpd.GeoDataFrame], strokes: Sequence[Stroke]
) -> list[Markup]:
    """Return grounds, rooms, walls and features, in the order in which they are painted."""
    drawn = [_areas(drawing, plan["buildings"], "stated"), _areas(drawing, plan["wall_bodies"])]
    drawn.append(_areas(drawing, gpd.GeoDataFrame(geometry=passages(plan)), "passage"))
    rooms = plan["rooms"]
    columns = (rooms["room"], rooms["kind"], rooms.geometry)
    drawn += [_room(drawing, *room) for room in zip(*columns, strict=True)]
    drawn += _lines(drawing, plan["wall_lines"], strokes)
    thin = strokes[0].width_px * drawing.pixel_m
    return [*drawn, *_features(drawing, plan["features"], thin)]


def _lines(drawing: Drawing, walls: gpd.GeoDataFrame, strokes: Sequence[Stroke]) -> list[Markup]:
    """Return wall lines, a path for each stroke."""
    drawn = []
    for stroke in strokes:
        mine = walls["evidence"] == stroke.evidence
        if stroke.closings:
            mine &= walls["closing"].isin(stroke.closings)
        path = "".join(map(drawing.path, walls.geometry.to_numpy()[mine.to_numpy()]))
        drawn += [el("path", d=path, **stroke.look(drawing.pixel_m))] if path else []
    return drawn


def _areas(drawing: Drawing, table: gpd.GeoDataFrame, name: str = "body") -> Markup:
    path = "".join(map(drawing.path, table.geometry))
    return el("path", d=path, class_=name, fill_rule="evenodd")


def _room(drawing: Drawing, room: str, kind: str, outline: shapely.Geometry) -> Markup:
    tone = kind if kind in ("court", "lane", "unknown") else ""
    title = el("title", f"{room}, {kind}")
    shape = el("path", title, d=drawing.path(outline), class_=f"room {tone}".strip())
    return el("a", shape, href=f"#{room}", aria_label=room)


def _features(drawing: Drawing, features: gpd.GeoDataFrame, width: float) -> list[Markup]:
    lines = [s for s in features.geometry if s.geom_type not in ("Point", "MultiPoint")]
    path = "".join(map(drawing.path, lines))
    dots = [s for s in features.geometry if s.geom_type in ("Point", "MultiPoint")]
    places = drawing.places(shapely.get_coordinates(dots).reshape(-1, 2))
    radius = f"{2.2 * drawing.pixel_m:.3f}"
    drawn = [el("circle", cx=f"{x:g}", cy=f"{y:g}", r=radius, class_="dot") for x, y in places]
    if path:
        drawn.append(el("path", d=path, class_="feature", stroke_width=f"{width:.3f}"))
    return drawn


def text_at(words: str, x: float, y: float, size_m: float, class_: str = "halo") -> Markup:
    """Return a text whose middle, or whose start, stands at a place of the plan."""
    place = {"x": f"{x:.2f}", "y": f"{y + 0.36 * size_m:.2f}", "font_size": f"{size_m:.2f}"}
    return el("text", words, class_=class_, stroke_width=f"{size_m / 4:.2f}", **place)


def _clear(drawing: Drawing) -> shapely.Geometry:
    """Return the ground that grid, scale bar and north arrow leave free."""
    pixel = drawing.pixel_m
    west, east = drawing.west + 70 * pixel, drawing.east - 8 * pixel
    south, north = drawing.south + 8 * pixel, drawing.north - 24 * pixel
    bar = shapely.box(west, south, drawing.west + 260 * pixel, south + 45 * pixel)
    arrow = shapely.box(east - 50 * pixel, north - 70 * pixel, east, north)
    return shapely.box(west, south, east, north) - bar - arrow


def _numbers_beside(
    drawing: Drawing, buildings: gpd.GeoDataFrame, lines: Iterable[shapely.Geometry]
) -> list[Markup]:
    """Return buildings' numbers, each a way to it, clear of buildings, lines and each other."""
    size = SITE_LETTER_PX * drawing.pixel_m
    tree = shapely.STRtree([*buildings.geometry, *lines])
    frame = _clear(drawing)
    placed: list[shapely.Geometry] = []
    drawn = []
    for number, shape in zip(buildings["building"], buildings.geometry, strict=True):
        half = LETTER_EM * len(number) * size / 2, 0.6 * size
        boxes = [
            shapely.box(x - half[0], y - half[1], x + half[0], y + half[1])
            for x, y in _around(shape, *half)
        ]
        free = [
            box
            for box in boxes
            if frame.contains(box)
            and not len(tree.query(box, predicate="intersects"))
            and not shapely.intersects(placed, box).any()
        ]
        box = free[0] if free else boxes[-1]
        placed.append(box)
        ((x, y),) = drawing.places(shapely.get_coordinates(box.centroid)).tolist()
        drawn.append(el("a", text_at(number, x, y, size), href=f"#{number}"))
    return drawn


def _around(shape: shapely.Geometry, half_x: float, half_y: float) -> Iterator[tuple[float, float]]:
    """Return places for a text's middle around a building, nearest first, its own middle last."""
    west, south, east, north = shape.bounds
    middle_x, middle_y = (west + east) / 2, (south + north) / 2
    for away in (1.0, 2.0, 3.0):
        across, along = half_x + away * half_y / 2, away * half_y + half_y / 2
        for x in (middle_x, west, east):
            yield x, south - along
            yield x, north + along
        for y in (middle_y, south, north):
            yield east + across, y
            yield west - across, y
    yield middle_x, middle_y


def _round_step(span_m: float, parts: int) -> float:
    """Return the greatest of 1, 2, 5, 10, … m of which that many go into a span.

    >>> _round_step(110.0, 5), _round_step(330.0, 5)
    (20.0, 50.0)
    """
    step = 10 ** float(np.floor(np.log10(span_m / parts)))
    return step * max(k for k in (1, 2, 5) if k * step <= span_m / parts)


def _grid(drawing: Drawing) -> Markup:
    """Return ticks of the grid along the frame, with their eastings and northings [m]."""
    wide, tall = drawing.east - drawing.west, drawing.north - drawing.south
    step, pixel = max(_round_step(wide, 5), 1.0), drawing.pixel_m
    long, size = 8 * pixel, GRID_LETTER_PX * pixel
    ticks, texts = [], []
    for east in np.arange(np.ceil(drawing.west / step), drawing.east // step + 1) * step:
        x = east - drawing.west
        ticks.append(f"M{x:.2f} 0v{long:.2f}M{x:.2f} {tall:.2f}v{-long:.2f}")
        if size * 3 < x < wide - size * 3:
            texts.append(text_at(f"{east:.0f} E", x, 1.9 * long, size))
    for north in np.arange(np.ceil(drawing.south / step), drawing.north // step + 1) * step:
        y = drawing.north - north
        ticks.append(f"M0 {y:.2f}h{long:.2f}M{wide:.2f} {y:.2f}h{-long:.2f}")
        if size * 3 < y < tall - size * 5:
            texts.append(text_at(f"{north:.0f} N", 1.4 * long, y, size, "halo start"))
    line = el("path", d="".join(ticks), class_="grid", stroke_width=f"{pixel:.3f}")
    return join([line, *texts])


def _north(drawing: Drawing) -> Markup:
    """Return an arrow to grid north, at the upper right."""
    pixel = drawing.pixel_m
    x, y = drawing.east - drawing.west - 26 * pixel, 62 * pixel
    d = f"M{x:.2f} {y:.2f}v{-34 * pixel:.2f}M{x - 6 * pixel:.2f} {y - 22 * pixel:.2f}"
    d += f"l{6 * pixel:.2f} {-12 * pixel:.2f}l{6 * pixel:.2f} {12 * pixel:.2f}"
    arrow = el("path", d=d, class_="recorded", stroke_width=f"{2 * pixel:.3f}")
    return join([arrow, text_at("grid N", x, y + 10 * pixel, 12 * pixel)])


def scale_bar(drawing: Drawing) -> Markup:
    """Return a bar of a round length, about a fifth of the plan's width, at its lower left."""
    wide, tall = drawing.east - drawing.west, drawing.north - drawing.south
    length = _round_step(wide, 5)
    x, y, size = 0.02 * wide, tall - 0.02 * wide, (0.024 if wide < SMALL_M else 0.014) * wide
    d, width = f"M{x:.2f} {y:.2f}h{length:g}", f"{size / 6:.2f}"
    under = el("path", d=d, class_="halo", stroke_width=f"{size / 2:.2f}")
    bar = el("path", d=d, class_="recorded", stroke_width=width)
    return join([under, bar, text_at(f"{length:g} m", x + length / 2, y - size * 0.7, size)])


def legend() -> Markup:
    """Return what lines and tones mean, each with a sample."""
    line = "M1 6h28"
    rows = [
        (el("path", d=line, class_="recorded", stroke_width=2), "wall line, recorded by a survey"),
        (
            el("path", d=line, class_="inferred", stroke_width=2, stroke_dasharray="6 4"),
            "closing, inferred: nobody saw a wall there",
        ),
        (
            el("path", d=line, class_="old", stroke_width=2, stroke_dasharray="2 4"),
            "wall known from an old plan alone",
        ),
        (swatch("body"), "wall between two faces"),
        (swatch("stated"), "wall by its centre and a stated thickness"),
        (swatch("room"), "room, by its size and shape (a suggestion)"),
        (swatch("room court"), "court (a suggestion)"),
        (swatch("room lane"), "lane, or a space too small for a room"),
        (el("path", d="M4 2h16v8h-16Z", class_="feature", stroke_width=1.5), "feature"),
    ]
    items = (
        el("li", el("svg", sample, class_="plan", viewBox="0 0 30 12", aria_hidden="true"), words)
        for sample, words in rows
    )
    return el("ul", *items, class_="key")


def swatch(name: str) -> Markup:
    """Return a sample of a tone for a key."""
    return el("path", d="M1 1h28v10h-28Z", class_=name)
