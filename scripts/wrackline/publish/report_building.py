"""A picture of one building for review: what was recorded, what is inferred, where it opens.

Closings differ in their dashes by kind. An opening is a numbered disc: black where it was seen,
white with a broken rim where it is merely possible.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from wrackline.accuracy.markup import Markup, el
from wrackline.publish.passages import PASSAGE_M
from wrackline.publish.report_plan import (
    Drawing,
    Stroke,
    convergence,
    parts_of,
    scale_bar,
    svg_of,
    swatch,
    text_at,
    window,
)
from wrackline.publish.report_text import absent, percent, records
from wrackline.quantities import fixed

STROKES = (
    Stroke("old", "old plan", 2.0, (2.0, 4.0)),
    Stroke("recorded", "recorded", 2.0),
    Stroke("inferred on", "inferred", 2.6, (9.0, 5.0), ("joint", "corner", "extension", "foot")),
    Stroke("inferred across", "inferred", 2.6, (3.0, 4.0), ("doorway",)),
    Stroke("inferred lost", "inferred", 2.6, (16.0, 5.0, 3.0, 5.0), ("lost",)),
)
TALLEST = 0.68
"""Height of a picture over its width, at most, so that all take up alike much page."""

MARGIN_M = 1.5
LETTER_PX, LEAST_LETTER_PX, SMALLER = 30.0, 13.0, 0.68
"""Letters of a room's number; below the least, its share and support stand in the table alone."""

DISC_PX = 12.0
FITS = 2.4
"""Half the diagonal of a label of three lines, the first of eight letters, in letter sizes."""


def building_plan(plan: Mapping[str, gpd.GeoDataFrame], building: str) -> Markup:
    """Return one building with what lies in and around it, as SVG in metres, grid north up.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The numbered plan.
    building : str
        Its number. Rooms have their number, the share of their outline that was recorded, and
        their support where it is known.
    """
    row = plan["buildings"].loc[plan["buildings"]["building"] == building].geometry
    drawing = window(row.to_numpy(), MARGIN_M).no_taller_than(TALLEST)
    frame = shapely.box(drawing.west, drawing.south, drawing.east, drawing.north)
    near = {name: table.iloc[table.sindex.query(frame)] for name, table in plan.items()}
    near = {name: table.sort_index() for name, table in near.items()}
    mine = near["rooms"][near["rooms"]["building"] == building]
    words = f"Plan of building {building}, grid north up"
    parts = [
        *parts_of(drawing, near, STROKES),
        *(part for room in records(mine) for part in _label(drawing, room)),
        *_discs(drawing, openings_of(plan, building), near["wall_bodies"]),
        scale_bar(drawing),
        _true_north(drawing, convergence(drawing, str(plan["buildings"].crs))),
    ]
    return svg_of(drawing, words, *parts)


def openings_of(plan: Mapping[str, gpd.GeoDataFrame], building: str) -> gpd.GeoDataFrame:
    """Return the openings of a building's rooms, in the order in which pictures number them."""
    rooms = plan["rooms"]
    mine = set(rooms.loc[rooms["building"] == building, "room"])
    openings = plan["openings"]
    leads = [not mine.isdisjoint(str(joins).split(";")) for joins in openings["joins"]]
    return openings[np.array(leads, dtype=bool)].sort_values("opening", kind="stable")


def _discs(drawing: Drawing, openings: gpd.GeoDataFrame, bodies: gpd.GeoDataFrame) -> list[Markup]:
    """Return a numbered disc on each opening, in the middle of its wall."""
    bands = shapely.buffer(openings.geometry.to_numpy(), PASSAGE_M, cap_style="flat")
    within = shapely.intersection(bands, shapely.union_all(bodies.geometry.to_numpy()))
    ground = np.where(shapely.is_empty(within), openings.geometry.to_numpy(), within)
    places = drawing.places(shapely.get_coordinates(shapely.centroid(ground)).reshape(-1, 2))
    pixel, drawn = drawing.pixel_m, []
    rows = zip(openings["opening"], openings["evidence"], places.tolist(), strict=True)
    for key, (opening, evidence, (x, y)) in enumerate(rows, start=1):
        sure = evidence == "seen"
        rim = None if sure else f"{4 * pixel:.3f} {2.5 * pixel:.3f}"
        look = {"stroke_width": f"{1.8 * pixel:.3f}", "stroke_dasharray": rim}
        disc = el("circle", cx=f"{x:g}", cy=f"{y:g}", r=f"{DISC_PX * pixel:.3f}", **look)
        number = text_at(str(key), x, y, 1.25 * DISC_PX * pixel, "over")
        title = el("title", f"{opening}, {evidence}")
        drawn.append(el("g", title, disc, number, class_="seen" if sure else "possible"))
    return drawn


def _label(drawing: Drawing, room: Mapping[str, Any]) -> list[Markup]:
    """Return a room's number, and below it what it rests on where there is room for that."""
    circle = shapely.maximum_inscribed_circle(room["geometry"], tolerance=0.05)
    number = room["room"]
    size = min(LETTER_PX * drawing.pixel_m, circle.length / FITS)
    below = [] if absent(room["recorded_share"]) else [f"{percent(room['recorded_share'])} rec."]
    below += [] if absent(room["support"]) else [f"support {fixed(room['support'], 2)}"]
    below = below if size >= LEAST_LETTER_PX * drawing.pixel_m else []
    x, y = drawing.places(shapely.get_coordinates(circle))[0].tolist()
    small = SMALLER * size
    top = y - 0.6 * small * len(below)
    lines = [text_at(number, x, top, size, "halo over")]
    for k, words in enumerate(below):
        down = top + 0.62 * size + (1.2 * k + 0.6) * small
        lines.append(text_at(words, x, down, small, "halo over"))
    return lines


def _true_north(drawing: Drawing, turn_deg: float) -> Markup:
    """Return an arrow to true north at the upper right: anticlockwise of the grid's by its turn."""
    pixel = drawing.pixel_m
    x, y = drawing.east - drawing.west - 40 * pixel, 46 * pixel
    clear = f"M{x - 36 * pixel:.2f} {y - 36 * pixel:.2f}h{72 * pixel:.2f}v{86 * pixel:.2f}"
    clear += f"h{-72 * pixel:.2f}Z"
    arrow = f"M{x:.2f} {y - 30 * pixel:.2f}l{9 * pixel:.2f} {52 * pixel:.2f}"
    arrow += f"l{-9 * pixel:.2f} {-11 * pixel:.2f}l{-9 * pixel:.2f} {11 * pixel:.2f}Z"
    turned = f"rotate({-turn_deg:.3f} {x:.2f} {y:.2f})"
    shape = el("path", d=arrow, class_="north", transform=turned)
    ground = el("path", d=clear, class_="clear")
    return el("g", ground, shape, text_at("true N", x, y + 36 * pixel, 18 * pixel))


def building_key() -> Markup:
    """Return what the lines and discs of a building's picture mean, each with a sample."""
    words = {
        "old": "wall known from an old plan alone",
        "recorded": "wall line, recorded by a survey",
        "inferred on": "inferred: an end carried on to its neighbour",
        "inferred across": "inferred: closed across a doorway's width",
        "inferred lost": "inferred: a lost stretch of wall",
    }
    samples = [
        (el("path", d="M1 6h34", **stroke.look(0.9)), words[stroke.name]) for stroke in STROKES
    ]
    for name, rim, what in (
        ("seen", None, "opening, seen: a threshold or jamb was recorded"),
        ("possible", "3 2", "opening, possible: a door, or a gap made by robbing"),
    ):
        disc = el("circle", cx=18, cy=6, r=5, stroke_width=1.2, stroke_dasharray=rim)
        samples.append((el("g", disc, class_=name), what))
    samples += [
        (swatch("body"), "wall between two faces"),
        (swatch("stated"), "wall by its centre and a stated thickness"),
    ]
    items = (
        el("li", el("svg", sample, class_="plan", viewBox="0 0 36 12", aria_hidden="true"), text)
        for sample, text in samples
    )
    return el("ul", *items, class_="key")
