"""Plans within the report, as SVG in metres: the whole site, and one building large enough to read.

Recorded lines are solid, inferred ones dashed, old plans dotted; a room leads to its card.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from wrackline.accuracy.markup import Markup, el, join
from wrackline.publish.passages import passages

STYLE = """
svg.plan { width: 100%; height: auto; background: #fff; border: 1px solid #8a8a8a; }
.plan .body { fill: #8a8378; stroke: none; }
.plan .passage { fill: #fff; stroke: none; }
.plan .stated { fill: #cfc8ba; stroke: #8a8378; stroke-width: 0.03; }
.plan .room { fill: #f6e4bf; stroke: none; } .plan .court { fill: #e9f0df; }
.plan .lane, .plan .unknown { fill: #ececec; }
.plan a:hover .room, .plan a:focus .room { fill: #e2b24f; }
.plan .recorded, .plan .inferred, .plan .old { fill: none; stroke: #1b1b1b; }
.plan .inferred { stroke: #9c2f00; } .plan .old { stroke: #4a6a86; }
.plan .feature { fill: none; stroke: #3c5a78; } .plan .dot { fill: #3c5a78; stroke: none; }
.plan text { font-family: sans-serif; fill: #1b1b1b; text-anchor: middle; }
.plan .halo { stroke: #fff; stroke-linejoin: round; paint-order: stroke; }
.plan .waterline { fill: none; stroke: #2a6f97; }
"""
DIGITS = 2
LONGEST_PX = 1000.0


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
                texts.append("M" + "L".join(f"{x:g} {y:g}" for x, y in xy) + closing)
        return "".join(texts)

    def places(self, xy: np.ndarray) -> np.ndarray:
        """Return places of the site as places on the plan, shape (n, 2) [m]."""
        return np.column_stack([xy[:, 0] - self.west, self.north - xy[:, 1]]).round(DIGITS)


def window(shapes: Any, margin_m: float) -> Drawing:
    """Return the window that shows all shapes with a margin around them."""
    shapes = np.asarray(shapes, dtype=object)
    bounds = shapely.total_bounds(shapes) if len(shapes) else np.array([0.0, 0.0, 1.0, 1.0])
    west, south, east, north = (bounds + np.array([-1, -1, 1, 1]) * margin_m).tolist()
    return Drawing(west, south, east, north)


def site_plan(plan: Mapping[str, gpd.GeoDataFrame], crs: str) -> Markup:
    """Return the whole site, its buildings numbered, each room a way to its card."""
    shapes = np.concatenate([table.geometry.to_numpy() for table in plan.values()])
    drawing = window(shapes, 3.0)
    labels = _labels(drawing, plan["buildings"], "building", 9 * drawing.pixel_m)
    words = f"plan of the site, {crs}, grid north up"
    return _svg(drawing, words, *_parts(drawing, plan), *labels, _scale_bar(drawing))


def building_plan(plan: Mapping[str, gpd.GeoDataFrame], building: str) -> Markup:
    """Return one building with what lies in and around it, its rooms numbered."""
    row = plan["buildings"].loc[plan["buildings"]["building"] == building].geometry
    drawing = window(row.to_numpy(), 1.5)
    frame = shapely.box(drawing.west, drawing.south, drawing.east, drawing.north)
    near = {name: table[table.intersects(frame)] for name, table in plan.items()}
    mine = near["rooms"][near["rooms"]["building"] == building]
    labels = _labels(drawing, mine, "room", 17 * drawing.pixel_m)
    words = f"plan of building {building}"
    return _svg(drawing, words, *_parts(drawing, near), *labels, _scale_bar(drawing))


def _svg(drawing: Drawing, title: str, *parts: Markup) -> Markup:
    size = f"0 0 {drawing.east - drawing.west:.2f} {drawing.north - drawing.south:.2f}"
    return el("svg", el("title", title), *parts, class_="plan", viewBox=size, role="img")


def _parts(drawing: Drawing, plan: Mapping[str, gpd.GeoDataFrame]) -> list[Markup]:
    """Return grounds, rooms, walls and features, in the order in which they are painted."""
    walls = plan["wall_lines"]
    thin, thick = 0.8 * drawing.pixel_m, 1.4 * drawing.pixel_m
    drawn = [_areas(drawing, plan["buildings"], "stated"), _areas(drawing, plan["wall_bodies"])]
    drawn.append(_areas(drawing, gpd.GeoDataFrame(geometry=passages(plan)), "passage"))
    drawn += [_room(drawing, row) for _, row in plan["rooms"].iterrows()]
    for evidence, name, dashes in (
        ("old plan", "old", f"{thin:.3f} {2 * thin:.3f}"),
        ("recorded", "recorded", None),
        ("inferred", "inferred", f"{3 * thick:.3f} {2 * thick:.3f}"),
    ):
        path = "".join(drawing.path(s) for s in walls.loc[walls["evidence"] == evidence].geometry)
        width = thick if evidence == "inferred" else thin
        if path:
            drawn.append(
                el(
                    "path",
                    d=path,
                    class_=name,
                    stroke_width=f"{width:.3f}",
                    stroke_dasharray=dashes,
                )
            )
    return [*drawn, *_features(drawing, plan["features"], thin)]


def _areas(drawing: Drawing, table: gpd.GeoDataFrame, name: str = "body") -> Markup:
    path = "".join(drawing.path(shape) for shape in table.geometry)
    return el("path", d=path, class_=name, fill_rule="evenodd")


def _room(drawing: Drawing, row: Any) -> Markup:
    kind = row["kind"] if row["kind"] in ("court", "lane", "unknown") else ""
    shape = el(
        "path",
        el("title", row["room"]),
        d=drawing.path(row.geometry),
        class_=f"room {kind}".strip(),
    )
    return el("a", shape, href=f"#{row['room']}")


def _features(drawing: Drawing, features: gpd.GeoDataFrame, width: float) -> list[Markup]:
    lines = [s for s in features.geometry if s.geom_type not in ("Point", "MultiPoint")]
    path = "".join(drawing.path(shape) for shape in lines)
    dots = [s for s in features.geometry if s.geom_type == "Point"]
    places = drawing.places(shapely.get_coordinates(dots).reshape(-1, 2))
    radius = f"{2.2 * drawing.pixel_m:.3f}"
    drawn = [el("circle", cx=f"{x:g}", cy=f"{y:g}", r=radius, class_="dot") for x, y in places]
    if path:
        drawn.append(el("path", d=path, class_="feature", stroke_width=f"{width:.3f}"))
    return drawn


def _labels(drawing: Drawing, table: gpd.GeoDataFrame, number: str, size_m: float) -> list[Markup]:
    """Return numbers, each in the middle of its thing."""
    inside = shapely.point_on_surface(table.geometry.to_numpy())
    places = drawing.places(shapely.get_coordinates(inside))
    style = {"font_size": f"{size_m:.2f}", "stroke_width": f"{size_m / 4:.2f}", "class_": "halo"}
    return [
        el("a", el("text", name, x=f"{x:g}", y=f"{y:g}", **style), href=f"#{name}")
        for name, (x, y) in zip(table[number], places, strict=True)
    ]


def _scale_bar(drawing: Drawing) -> Markup:
    """Return a bar of a round length, about a fifth of the plan's width, at its lower left."""
    wide, tall = drawing.east - drawing.west, drawing.north - drawing.south
    length = 10 ** float(np.floor(np.log10(wide / 5)))
    length *= max(k for k in (1, 2, 5) if k * length <= wide / 5)
    x, y, size = 0.02 * wide, tall - 0.02 * wide, 0.018 * wide
    bar = el(
        "path", d=f"M{x:.2f} {y:.2f}h{length:g}", class_="recorded", stroke_width=f"{size / 5:.2f}"
    )
    text = el(
        "text",
        f"{length:g} m",
        x=f"{x + length / 2:.2f}",
        y=f"{y - size / 2:.2f}",
        font_size=f"{size:.2f}",
        stroke_width=f"{size / 4:.2f}",
        class_="halo",
    )
    return join([bar, text])


def legend() -> Markup:
    """Return what lines and tones mean."""
    rows = [
        ("solid line", "wall line, recorded by a survey"),
        ("dashed line", "closing, inferred: nobody saw a wall there"),
        ("dotted line", "wall known from an old plan alone"),
        ("dark grey", "wall between two recorded faces"),
        ("light grey", "wall by its centre and a stated thickness"),
        ("sand", "room (a suggestion)"),
        ("pale green", "court (a suggestion)"),
        ("blue", "feature"),
    ]
    return el("dl", *(join([el("dt", k), el("dd", v)]) for k, v in rows), class_="key")
