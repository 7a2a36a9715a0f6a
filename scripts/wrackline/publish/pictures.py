"""Pictures of the plan and of the seabed, in the grid, with what a reader needs to trust them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from wrackline.drawn_marks import are_marks
from wrackline.publish.drawing_standards import INCH_MM
from wrackline.publish.phases import phase_words
from wrackline.publish.picture_files import write_figure
from wrackline.publish.shrinking import Small
from wrackline.publish.text_pictures.style import line_mm, text_mm
from wrackline.quantities import fixed

mpl.rcParams.update(
    {
        "svg.hashsalt": "wrackline",
        "svg.fonttype": "path",
        "font.family": "DejaVu Sans",
        "font.size": 8,
    }
)

INK, INFERRED, CONTOUR, FEATURE = "#1b1b1b", "#9c2f00", "#9bb3c4", "#3c5a78"
CENTRED: dict[str, Any] = {"ha": "center", "va": "center"}
DASHES = (0, (2, 1.4))
WALL: dict[str, Any] = {"facecolor": "#8a8378"}
STATED_WALL: dict[str, Any] = {"facecolor": "#e3ded4", "hatch": "//////", "edgecolor": "#8a8378"}
ROOM: dict[str, Any] = {"facecolor": "#f4d9a6"}
COURT: dict[str, Any] = {"facecolor": "#f3f6ec", "hatch": "..", "edgecolor": "#b4c3a3"}
SMALL: dict[str, Any] = {"facecolor": "#e9e4da"}
"""Fills differ by tone or hatch as well as by colour, so that they stand in grey."""
LABEL_IN = 0.4
"""Width of a room on the picture from which its number and area can be read [inches]."""

FOOT_IN, KEY_IN, AXIS_IN, HEAD_IN = 1.0, 0.45, 0.4, 0.5
"""Height of the statement, the key, the grid's figures and the heading around a plan [inches]."""

CAUTION_WIDTH = 110
NUMBER_PT = 5.5
PLAN_PX = 4000
"""Bends of contours below one in so many of a plan's width are left out of its picture."""
SEABED_PX = 1800
"""Rows and columns of the seabed's picture, at most; finer cells are averaged."""
SHOWN_SHARE = 0.99
"""Share of the cells whose local relief, and whose sd, lie within the key."""


def draw_plan(
    plan: Mapping[str, gpd.GeoDataFrame],
    contours: gpd.GeoDataFrame | None,
    about: Mapping[str, str],
    phases: Sequence[str],
    paths: list[Path],
) -> None:
    """Draw walls as recorded and as inferred, rooms with numbers and areas, seabed contours.

    The key stands below the drawing, so that it covers nothing.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Numbered plan.
    contours : GeoDataFrame or None
        Contours of the seabed, where there is one.
    about : mapping of str to str
        Statement beside the figures.
    phases : sequence of str
        Names of the phases, the earliest first; the plan is of the last.
    paths : list of Path
        Files to write, e.g. PNG and SVG.
    """
    last = f"in its last phase, {phases[-1]}, " if len(phases) > 1 else ""
    figure, axes = _sheet(plan, {**about, "phases": phase_words(phases), "last": last})
    if contours is not None and len(contours):
        fine = np.diff(axes.get_xlim())[0] / PLAN_PX
        lines(axes, contours.geometry.simplify(fine), color=CONTOUR, width=0.4, order=0.5)
    areas(axes, plan["buildings"].geometry, STATED_WALL)
    areas(axes, plan["wall_bodies"].geometry, WALL)
    rooms = plan["rooms"]
    for kind, fill in (("room", ROOM), ("court", COURT), ("lane", COURT), ("unknown", SMALL)):
        areas(axes, rooms.loc[rooms["kind"] == kind].geometry, fill)
    walls = plan["wall_lines"]
    recorded = walls["evidence"] == "recorded"
    lines(axes, walls.loc[recorded].geometry, color=INK, width=0.7)
    closings = walls.loc[~recorded].geometry
    lines(axes, closings, color="white", width=2.2)
    lines(axes, closings, color=INFERRED, width=1.0, dashes=DASHES)
    points = plan["features"].geometry[~are_marks(plan["features"]["kind"])].centroid
    axes.plot(
        points.x, points.y, linestyle="none", marker="D", markersize=2.2, color=FEATURE, zorder=4
    )
    if _readable(figure, axes, rooms):
        _label_rooms(axes, rooms)
    else:
        _label_buildings(figure, axes, plan["buildings"])
    _key(figure, axes)
    save(figure, paths)


def _sheet(plan: Mapping[str, gpd.GeoDataFrame], about: Mapping[str, str]) -> tuple[Figure, Axes]:
    """Return a figure that holds the plan's extent with equal scales, a grid and a heading."""
    shapes = [t.geometry.to_numpy() for t in plan.values() if len(t)]
    bounds = shapely.total_bounds(np.concatenate(shapes)) if shapes else np.array([0, 0, 1, 1])
    west, south, east, north = bounds + np.array([-3, -3, 3, 3])
    wide = max(east - west, 1.0) / max(north - south, 1.0)
    height = float(np.clip(11 / wide, 2.5, 14))
    below = FOOT_IN + KEY_IN + AXIS_IN
    tall = below + height + HEAD_IN
    figure = Figure(figsize=(12, tall))
    axes = figure.add_axes((0.07, below / tall, 0.91, height / tall))
    axes.set(xlim=(west, east), ylim=(south, north), aspect="equal")
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.tick_params(labelsize=7)
    axes.grid(color="#d7d7d7", linewidth=0.3)
    axes.set_axisbelow(True)
    axes.set_title(
        f"{about['site']}: wall plan, {about['last']}{about['crs']}, grid north up", loc="left"
    )
    figure.text(0.07, 0.012, footing(about), fontsize=6.5, va="bottom")
    scale_bar(axes, east - west)
    return figure, axes


def footing(about: Mapping[str, str]) -> str:
    """Return the statement below a picture, a topic a line."""
    topics = ("phases", "vertical_datum", "depths", "surveyed", "credit", "caution")
    lines = [f"{t.replace('_', ' ')}: {about[t]}" for t in topics if t in about]
    return "\n".join(_wrapped(line) for line in lines)


def _wrapped(line: str, width: int = 2 * CAUTION_WIDTH) -> str:
    words, lines = line.split(), [""]
    for word in words:
        if len(lines[-1]) + len(word) > width:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return "\n".join(lines)


def scale_bar(axes: Axes, span: float) -> None:
    """Draw a bar of a round length, about a sixth of the sheet."""
    length = 10 ** np.floor(np.log10(span / 5))
    length *= max(k for k in (1, 2, 5) if k * length <= span / 5)
    place = axes.transAxes
    share = length / span
    axes.plot([0.02, 0.02 + share], [0.03, 0.03], transform=place, color=INK, linewidth=2.5)
    beside: dict[str, Any] = {"xytext": (0, 4), "textcoords": "offset points", "fontsize": 8}
    axes.annotate(f"{length:g} m", (0.02, 0.03), xycoords=place, **beside)


def lines(
    axes: Axes,
    shapes: gpd.GeoSeries,
    *,
    color: str,
    width: float,
    dashes: Any = "-",
    order: float = 2.0,
) -> None:
    """Draw lines of one colour and width."""
    parts = [shapely.get_coordinates(line) for line in shapes]
    style = {"colors": color, "linewidths": width, "linestyles": [dashes]}
    axes.add_collection(LineCollection(parts, zorder=order, **style))


def areas(axes: Axes, shapes: gpd.GeoSeries, fill: Mapping[str, Any]) -> None:
    """Fill areas, without their outlines."""
    if len(shapes):
        shapes.plot(ax=axes, aspect=None, linewidth=0, **fill)


def _readable(figure: Figure, axes: Axes, rooms: gpd.GeoDataFrame) -> bool:
    """Tell whether most rooms are drawn wide enough for their number and area."""
    if not len(rooms):
        return True
    edges = rooms.geometry.bounds
    wide_in = (edges["maxx"] - edges["minx"]).median() / np.diff(axes.get_xlim())[0]
    return float(wide_in * axes.get_position().width * figure.get_figwidth()) > LABEL_IN


def _label_buildings(figure: Figure, axes: Axes, buildings: gpd.GeoDataFrame) -> None:
    """Write a building's number beside it, where the rooms are too small for theirs.

    It stands above the building, or where that would touch another building or number, below it,
    to its right or to its left.
    """
    axes.apply_aspect()
    wide_mm = axes.get_position().width * figure.get_figwidth() * INCH_MM
    metre = float(np.diff(axes.get_xlim())[0]) / wide_mm
    taken = [shapely.box(*shape.bounds) for shape in buildings.geometry]
    for number, ground in zip(buildings["building"], list(taken), strict=True):
        half = np.array([text_mm(number, NUMBER_PT), line_mm(NUMBER_PT)]) / 2 * metre
        places = _beside(ground.bounds, half)
        boxes = [shapely.box(*(place - half), *(place + half)) for place in places]
        others = [box for box in taken if box is not ground]
        touched = [sum(box.intersection(other).area for other in others) for box in boxes]
        best = int(np.argmin(np.round(touched, 6)))
        taken.append(boxes[best])
        x, y = places[best].tolist()
        label = axes.text(x, y, number, fontsize=NUMBER_PT, zorder=5, **CENTRED)
        label.set_path_effects([withStroke(linewidth=1.5, foreground="white")])


def _beside(bounds: Sequence[float], half: np.ndarray) -> np.ndarray:
    """Return the middles of a text above, below, right and left of a box, shape (4, 2)."""
    west, south, east, north = bounds
    x, y = (west + east) / 2, (south + north) / 2
    wide, tall = half
    return np.array([[x, north + tall], [x, south - tall], [east + wide, y], [west - wide, y]])


def _label_rooms(axes: Axes, rooms: gpd.GeoDataFrame) -> None:
    """Write its number and area into each room."""
    for _, room in rooms.iterrows():
        place = shapely.point_on_surface(room.geometry)
        area = room["floor_area_m2"]
        size = "area unknown" if np.isnan(area) else f"{area:.1f} m²"
        label = axes.text(place.x, place.y, f"{room['room']}\n{size}", fontsize=5, **CENTRED)
        label.set_path_effects([withStroke(linewidth=1.5, foreground="white")])


def _key(figure: Figure, axes: Axes) -> None:
    """Write what signs mean into a strip below the drawing."""
    axes.plot([], [], color=INK, linewidth=0.7, label="wall, recorded")
    axes.plot([], [], color=INFERRED, linewidth=1.0, linestyle=DASHES, label="closing, inferred")
    axes.plot([], [], color=FEATURE, linestyle="none", marker="D", markersize=2.2, label="feature")
    for fill, label in (
        (WALL, "wall between faces recorded"),
        (STATED_WALL, "wall by its centre and stated thickness"),
        (ROOM, "room (suggested)"),
        (COURT, "court or lane (suggested)"),
    ):
        axes.fill([], [], linewidth=0, label=label, **fill)
    axes.plot([], [], color=CONTOUR, linewidth=0.4, label="contour of the seabed")
    place = (0.07, FOOT_IN / figure.get_figheight())
    figure.legend(loc="lower left", bbox_to_anchor=place, ncols=4, fontsize=7, frameon=False)


@dataclass(frozen=True)
class Seabed:
    """What is drawn of the seabed, all of one extent.

    Attributes
    ----------
    height, shade, relief : Small
        The composite's ``height`` and ``sd``, its ``shade_around`` and its ``local_relief``.
    contours : GeoDataFrame
        The layer `contours`.
    """

    height: Small
    shade: Small
    relief: Small
    contours: gpd.GeoDataFrame


def draw_seabed(seabed: Seabed, about: Mapping[str, str], path: Path) -> None:
    """Draw the seabed: local relief, which shows walls; below it heights, and their uncertainty.

    Greys and colours grow evenly from dark to light, so that they can be told apart without
    colour. Each panel has its key.
    """
    west, east, south, north = seabed.height.extent
    wide = 14.0
    share = float(np.clip((north - south) / (east - west), 0.2, 1.6))
    tops = (11.0 * share, 5.2 * share)
    tall = sum(tops) + FOOT_IN + 1.4
    figure = Figure(figsize=(wide, tall))

    def panel(left_in: float, bottom_in: float, width_in: float, height_in: float) -> Axes:
        place = (left_in / wide, bottom_in / tall, width_in / wide, height_in / tall)
        return figure.add_axes(place)

    low, high = FOOT_IN + 0.4, FOOT_IN + tops[1] + 1.0
    _relief(panel(0.9, high, 11.9, tops[0]), seabed, about)
    _heights(panel(0.9, low, 5.6, tops[1]), seabed)
    _uncertainty(panel(7.6, low, 5.6, tops[1]), seabed)
    figure.text(0.9 / wide, 0.12 / tall, footing(about), fontsize=6.5, va="bottom")
    save(figure, [path])


def _raster(axes: Axes, values: np.ndarray, seabed: Seabed, **style: Any) -> Any:
    """Draw one raster with the grid's figures around it."""
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.tick_params(labelsize=6)
    picture = axes.imshow(values, extent=seabed.height.extent, interpolation="nearest", **style)
    axes.set_anchor("NW")
    return picture


def _keyed(axes: Axes, picture: Any, title: str, unit: str) -> None:
    axes.set_title(title, loc="left", fontsize=9)
    bar = axes.figure.colorbar(picture, ax=axes, shrink=0.7, pad=0.015, aspect=30)
    bar.set_label(unit, fontsize=7)
    bar.ax.tick_params(labelsize=6)


def _relief(axes: Axes, seabed: Seabed, about: Mapping[str, str]) -> None:
    values = seabed.relief.bands["local_relief"]
    known = np.abs(values[np.isfinite(values)])
    most = float(np.quantile(known, SHOWN_SHARE)) if known.size else 0.0
    most = max(np.ceil(most / 0.05) * 0.05, 0.05)
    picture = _raster(axes, values, seabed, cmap="gray", vmin=-most, vmax=most)
    title = f"{about['site']}: seabed, local relief (what stands above the ground around is light)"
    _keyed(axes, picture, title, "height above the trend of the ground around [m]")
    west, east = axes.get_xlim()
    scale_bar(axes, east - west)


def _heights(axes: Axes, seabed: Seabed) -> None:
    _raster(axes, seabed.shade.bands["shade_around"], seabed, cmap="gray", vmin=1, vmax=255)
    picture = _raster(axes, seabed.height.bands["height"], seabed, cmap="cividis", alpha=0.6)
    bold = seabed.contours[seabed.contours["index"].astype(bool)]
    lines(axes, bold.geometry, color=INK, width=0.5)
    extent = seabed.height.extent
    axes.set(xlim=extent[:2], ylim=extent[2:])
    _label_contours(axes, bold)
    _keyed(axes, picture, "height, with contours", "height above the datum [m]")


def _label_contours(axes: Axes, lines: gpd.GeoDataFrame) -> None:
    """Write the height of each index contour on the longest of its lines."""
    told = lines[lines["label_easting_m"].notna()]
    for height, part in told.groupby("height_m", sort=True):
        row = part.loc[part.length.idxmax()]
        axes.text(
            row["label_easting_m"],
            row["label_northing_m"],
            fixed(float(height), 2).rstrip("0").rstrip(".").replace("-", "−"),
            rotation=-row["label_turn_deg"],
            rotation_mode="anchor",
            fontsize=5,
            bbox={"fc": "white", "ec": "none", "pad": 0.3},
            **CENTRED,
        )


def _uncertainty(axes: Axes, seabed: Seabed) -> None:
    values = seabed.height.bands["sd"]
    known = values[np.isfinite(values)]
    most = float(np.quantile(known, SHOWN_SHARE)) if known.size else None
    picture = _raster(axes, values, seabed, cmap="magma_r", vmax=most)
    _keyed(axes, picture, "standard uncertainty of the height", "sd [m]")


def save(figure: Figure, paths: list[Path]) -> None:
    """Write a figure as PNG or SVG, equal bytes for equal figures."""
    for path in paths:
        write_figure(figure, path, dpi=160)
