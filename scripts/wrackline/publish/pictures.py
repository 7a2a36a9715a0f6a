"""Pictures of the plan and of the seabed, in the grid, with what a reader needs to trust them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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

from wrackline.publish.phases import phase_words
from wrackline.rasters import Grid

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
NO_DATE = {"Date": None}
SEABED_PANELS = (
    ("height", "height above the datum [m]", "cividis"),
    ("sd", "standard uncertainty [m]", "magma"),
)


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
        _lines(axes, contours.geometry, color=CONTOUR, width=0.4, order=0.5)
    _areas(axes, plan["buildings"].geometry, STATED_WALL)
    _areas(axes, plan["wall_bodies"].geometry, WALL)
    rooms = plan["rooms"]
    for kind, fill in (("room", ROOM), ("court", COURT), ("lane", COURT), ("unknown", SMALL)):
        _areas(axes, rooms.loc[rooms["kind"] == kind].geometry, fill)
    walls = plan["wall_lines"]
    recorded = walls["evidence"] == "recorded"
    _lines(axes, walls.loc[recorded].geometry, color=INK, width=0.7)
    closings = walls.loc[~recorded].geometry
    _lines(axes, closings, color="white", width=2.2)
    _lines(axes, closings, color=INFERRED, width=1.0, dashes=DASHES)
    points = plan["features"].geometry.centroid
    axes.plot(
        points.x, points.y, linestyle="none", marker="D", markersize=2.2, color=FEATURE, zorder=4
    )
    if _readable(figure, axes, rooms):
        _label_rooms(axes, rooms)
    else:
        _label_buildings(axes, plan["buildings"])
    _key(figure, axes)
    _save(figure, paths)


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
    figure.text(0.07, 0.012, _footing(about), fontsize=6.5, va="bottom")
    _scale_bar(axes, east - west)
    return figure, axes


def _footing(about: Mapping[str, str]) -> str:
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


def _scale_bar(axes: Axes, span: float) -> None:
    """Draw a bar of a round length, about a sixth of the sheet."""
    length = 10 ** np.floor(np.log10(span / 5))
    length *= max(k for k in (1, 2, 5) if k * length <= span / 5)
    place = axes.transAxes
    share = length / span
    axes.plot([0.02, 0.02 + share], [0.03, 0.03], transform=place, color=INK, linewidth=2.5)
    beside: dict[str, Any] = {"xytext": (0, 4), "textcoords": "offset points", "fontsize": 8}
    axes.annotate(f"{length:g} m", (0.02, 0.03), xycoords=place, **beside)


def _lines(
    axes: Axes,
    shapes: gpd.GeoSeries,
    *,
    color: str,
    width: float,
    dashes: Any = "-",
    order: float = 2.0,
) -> None:
    parts = [shapely.get_coordinates(line) for line in shapes]
    style = {"colors": color, "linewidths": width, "linestyles": [dashes]}
    axes.add_collection(LineCollection(parts, zorder=order, **style))


def _areas(axes: Axes, shapes: gpd.GeoSeries, fill: Mapping[str, Any]) -> None:
    if len(shapes):
        shapes.plot(ax=axes, aspect=None, linewidth=0, **fill)


def _readable(figure: Figure, axes: Axes, rooms: gpd.GeoDataFrame) -> bool:
    """Tell whether most rooms are drawn wide enough for their number and area."""
    if not len(rooms):
        return True
    edges = rooms.geometry.bounds
    wide_in = (edges["maxx"] - edges["minx"]).median() / np.diff(axes.get_xlim())[0]
    return float(wide_in * axes.get_position().width * figure.get_figwidth()) > LABEL_IN


def _label_buildings(axes: Axes, buildings: gpd.GeoDataFrame) -> None:
    """Write a building's number above it, where the rooms are too small for theirs."""
    for _, row in buildings.iterrows():
        west, _, east, north = row.geometry.bounds
        place = ((west + east) / 2, north)
        style = {**CENTRED, "va": "bottom"}
        label = axes.text(*place, row["building"], fontsize=5.5, zorder=5, **style)
        label.set_path_effects([withStroke(linewidth=1.5, foreground="white")])


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


def draw_seabed(
    grid: Grid,
    bands: Mapping[str, np.ndarray],
    shade: np.ndarray,
    about: Mapping[str, str],
    path: Path,
) -> None:
    """Draw the seabed: heights over their hillshade, and beside them their uncertainty."""
    (west, east), (south, north) = _span(grid, 0), _span(grid, 1)
    tall = float(np.clip(5.6 * (north - south) / (east - west), 2.5, 12))
    figure = Figure(figsize=(14, tall + 1.9))
    for k, (name, title, colours) in enumerate(SEABED_PANELS):
        axes = figure.add_axes((0.06 + 0.49 * k, 1.35 / (tall + 1.9), 0.42, tall / (tall + 1.9)))
        extent = (west, east, south, north)
        axes.imshow(shade, cmap="gray", extent=extent, vmin=1, vmax=255)
        picture = axes.imshow(bands[name], cmap=colours, extent=extent, alpha=0.6)
        axes.ticklabel_format(useOffset=False, style="plain")
        axes.tick_params(labelsize=6)
        axes.set_title(f"{about['site']}: seabed, {title}", loc="left", fontsize=9)
        figure.colorbar(picture, ax=axes, shrink=0.8, pad=0.02)
    figure.text(0.06, 0.12 / (tall + 1.9), _footing(about), fontsize=6.5, va="bottom")
    _save(figure, [path])


def _span(grid: Grid, axis: int) -> tuple[float, float]:
    centres = grid.centres()[axis]
    return float(centres.min() - grid.cell_m / 2), float(centres.max() + grid.cell_m / 2)


def _save(figure: Figure, paths: list[Path]) -> None:
    for path in paths:
        path.parent.mkdir(parents=True, exist_ok=True)
        svg = path.suffix == ".svg"
        figure.savefig(path, dpi=160, metadata=NO_DATE if svg else {"Software": None})
