"""The site's condition on one sheet: what became of its walls, how much of them, and where.

The map shows what is last known of every wall, and rings what was lost or buried; beside it stand
the lengths of all seasons, and the buildings that want looking after. All signs differ by line,
width or hatch as well as by colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke

from wrackline.publish.picture_files import write_figure
from wrackline.publish.pictures import INK, scale_bar
from wrackline.quantities import fixed
from wrackline.seasons.condition import ALL, NONE

MAP_IN, SIDE_IN, FOOT_IN, HEAD_IN, KEY_IN = 9.2, 3.9, 0.75, 0.5, 0.35
"""Widths of the map and of what stands beside it, heights of the statement, heading and key."""
LETTERS, LISTED, WIDTH = 200, 16, 66
RING_M = 2.5
"""A ring goes so far round what was lost or buried."""

NOW, THEN = "seen", "seen before"
LINES: dict[str, dict[str, Any]] = {
    "nothing known": {"colors": "#a8a8a8", "linewidths": 0.7, "linestyles": [(0, (1, 2))]},
    THEN: {"colors": "#9a9a9a", "linewidths": 0.6},
    NOW: {"colors": INK, "linewidths": 1.1},
    "overgrown": {"colors": "#4f9a6b", "linewidths": 1.8, "linestyles": [(0, (1.6, 1.0))]},
    "buried": {"colors": "#b07d2b", "linewidths": 2.6, "linestyles": [(0, (0.6, 0.6))]},
    "lost": {"colors": "#b3131b", "linewidths": 3.0},
}
"""Signs of the map, drawn in this order."""
WORDS = {
    "nothing known": "nothing known",
    THEN: "seen when last looked for, not this season",
    NOW: "seen this season",
    "overgrown": "overgrown",
    "buried": "buried (ringed, dashes)",
    "lost": "lost (ringed)",
}
RINGS: dict[str, Any] = {"lost": "-", "buried": (0, (3, 2))}
BARS: dict[str, dict[str, Any]] = {
    "seen": {"facecolor": "#2b2b2b"},
    "lost": {"facecolor": "#e0474f", "hatch": "xxxx"},
    "buried": {"facecolor": "#e2c48a", "hatch": "...."},
    "overgrown": {"facecolor": "#9cc9a9", "hatch": "////"},
    "could_not_be_seen": {"facecolor": "#b9b9b9"},
    "not_looked_for": {"facecolor": "white"},
}
QUIET = ("stable", "first record", "not known")
"""Trends that nobody needs to look after at once begin with one of these."""


def draw_condition(
    walls: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame,
    table: pd.DataFrame,
    about: Mapping[str, str],
    paths: Sequence[Path | str],
) -> None:
    """Draw what became of the site's walls.

    Parameters
    ----------
    walls : GeoDataFrame
        The layer `wall_condition`.
    buildings : GeoDataFrame
        The layer `buildings`.
    table : DataFrame
        The table `condition`.
    about : mapping of str to str
        Statement beside the figures.
    paths : sequence of path
        Files to write, PNG or SVG.
    """
    figure, axes, side = _sheet(walls, buildings)
    _draw_walls(axes, walls)
    attention = _attention(table)
    _label(axes, buildings, attention)
    _key(figure)
    every = table[table["building"] == ALL].iloc[::-1]
    _bars(figure, every, side)
    _list(figure, attention, table, side)
    season = table["season"].iloc[0] if len(table) else "no season"
    title = f"{about['site']}: condition of the walls after {season}, as surveys suggest it"
    figure.text(0.05, 1 - 0.3 / figure.get_figheight(), f"{title} (grid north up)", fontsize=10)
    lines = [f"surveyed {about['surveyed']}, {about['crs']}", f"caution: {about['caution']}"]
    lines = [part for line in lines for part in textwrap.wrap(line, LETTERS)]
    figure.text(0.05, 0.1 / figure.get_figheight(), "\n".join(lines), fontsize=6.5, va="bottom")
    for path in paths:
        write_figure(figure, path, dpi=160)


def _sheet(
    walls: gpd.GeoDataFrame, buildings: gpd.GeoDataFrame
) -> tuple[Figure, Axes, tuple[float, float]]:
    """Return a figure, the axes of its map, and where what stands beside it begins and ends."""
    shapes = [*walls.geometry, *buildings.geometry] or [shapely.box(0, 0, 1, 1)]
    west, south, east, north = shapely.total_bounds(np.array(shapes)) + np.array([-3, -3, 3, 3])
    tall = float(np.clip(MAP_IN * (north - south) / (east - west), 4.5, 12))
    high = tall + FOOT_IN + KEY_IN + HEAD_IN + 0.3
    figure = Figure(figsize=(MAP_IN + SIDE_IN + 1.0, high))
    wide = figure.get_figwidth()
    bottom = (FOOT_IN + KEY_IN + 0.3) / high
    axes = figure.add_axes((0.65 / wide, bottom, MAP_IN / wide, tall / high))
    axes.set(xlim=(west, east), ylim=(south, north), aspect="equal")
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.tick_params(labelsize=6)
    scale_bar(axes, east - west)
    return figure, axes, (bottom, bottom + tall / high)


def _draw_walls(axes: Axes, walls: gpd.GeoDataFrame) -> None:
    """Draw every wall by what is last known of it, rings around what was lost or buried."""
    known = walls["last_known"].to_numpy(object)
    now = walls["this_season"].to_numpy(object) == known
    sign = np.where((known == NOW) & ~now, THEN, known)
    lines = walls.geometry.to_numpy()
    for order, (name, style) in enumerate(LINES.items()):
        parts = [shapely.get_coordinates(line) for line in lines[sign == name]]
        axes.add_collection(LineCollection(parts, zorder=2 + order / 10, **style))
    for name, dashes in RINGS.items():
        rings = shapely.union_all(shapely.buffer(lines[sign == name], RING_M, quad_segs=8))
        outlines = [shapely.get_coordinates(part.exterior) for part in shapely.get_parts(rings)]
        axes.add_collection(
            LineCollection(outlines, colors=INK, linewidths=0.8, linestyles=[dashes], zorder=4)
        )


def _attention(table: pd.DataFrame) -> pd.DataFrame:
    """Return the buildings of the newest season that something is happening to."""
    if not len(table):
        return table
    newest = table[(table["season"] == table["season"].iloc[0]) & (table["building"] != ALL)]
    quiet = newest["trend"].str.startswith(QUIET).to_numpy(bool)
    loud: pd.DataFrame = newest.iloc[np.flatnonzero(~quiet)]
    return loud


def _label(axes: Axes, buildings: gpd.GeoDataFrame, attention: pd.DataFrame) -> None:
    """Write the numbers of buildings that want looking after."""
    asked = set(attention["building"])
    for name, shape in zip(buildings["building"], buildings.geometry, strict=True):
        if name in asked:
            west, _, east, north = shape.bounds
            label = axes.text(
                (west + east) / 2, north + 0.8, name, fontsize=6, ha="center", zorder=5
            )
            label.set_path_effects([withStroke(linewidth=2.0, foreground="white")])


def _key(figure: Figure) -> None:
    """Write what the map's signs mean below it."""
    signs = [
        LineCollection([np.zeros((2, 2))], label=WORDS[name], **style)
        for name, style in reversed(LINES.items())
    ]
    place = (0.05, FOOT_IN / figure.get_figheight())
    figure.legend(
        handles=signs,
        loc="lower left",
        bbox_to_anchor=place,
        ncols=6,
        fontsize=7,
        frameon=False,
        handlelength=4,
    )


def _bars(figure: Figure, every: pd.DataFrame, side: tuple[float, float]) -> None:
    """Draw a bar a season: how much of the walls had which word."""
    wide, (low, high) = figure.get_figwidth(), side
    left, top = (MAP_IN + 1.35) / wide, high - low
    axes = figure.add_axes((left, low + 0.66 * top, (SIDE_IN - 0.55) / wide, 0.30 * top))
    place = np.arange(len(every))
    start = np.zeros(len(every))
    for name, style in BARS.items():
        metres = every[f"{name}_m"].to_numpy(float)
        axes.barh(place, metres, left=start, edgecolor=INK, linewidth=0.5, height=0.65, **style)
        start += metres
    axes.set_yticks(place, every["season"].astype(str).tolist(), fontsize=7)
    axes.set_xlabel("length of wall lines on the plan of that season [m]", fontsize=7)
    axes.tick_params(axis="x", labelsize=6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.invert_yaxis()
    signs = [
        Patch(label=name.replace("_", " "), edgecolor=INK, linewidth=0.5, **style)
        for name, style in BARS.items()
    ]
    axes.legend(
        handles=signs, loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3, fontsize=6.5,
        frameon=False,
    )  # fmt: skip


def _list(
    figure: Figure, attention: pd.DataFrame, table: pd.DataFrame, side: tuple[float, float]
) -> None:
    """Write the buildings that want looking after beside the map, the worst first."""
    wide, (low, high) = figure.get_figwidth(), side
    newest = table[table["season"] == table["season"].iloc[0]] if len(table) else table
    unknown = newest["trend"].str.startswith("not known").sum() if len(newest) else 0
    lines = [f"All walls: {_metres(row)}" for row in _every_row(newest)]
    lines += ["", "To look after first:" if len(attention) else "Nothing wants looking after."]
    for row in attention.head(LISTED).to_dict("records"):
        name = "walls of no building" if row["building"] == NONE else row["building"]
        lines.append(f"{name}: {row['trend']} ({_metres(row)})")
    if len(attention) > LISTED:
        lines.append(f"and {len(attention) - LISTED} more, see tables/condition.csv")
    if unknown:
        lines += ["", f"Not known this season: {unknown} buildings, see tables/condition.csv"]
    wrapped = [textwrap.wrap(line, WIDTH, subsequent_indent="    ") or [""] for line in lines]
    text = "\n".join(part for line in wrapped for part in line)
    left = (MAP_IN + 0.95) / wide
    figure.text(left, low + 0.56 * (high - low), text, fontsize=7, va="top")


def _every_row(newest: pd.DataFrame) -> list[dict[Any, Any]]:
    """Return the row of all walls, as a list of none or one."""
    return newest[newest["building"] == ALL].to_dict("records")


def _metres(row: Mapping[Any, Any]) -> str:
    """Return the lengths that a building's trend rests on."""
    names = {
        "newly_lost_m": "lost",
        "newly_buried_m": "buried",
        "newly_overgrown_m": "overgrown",
        "newly_uncovered_m": "come out again",
    }
    told = [f"{fixed(row[n], 1)} m {word}" for n, word in names.items() if row[n] > 0]
    return ", ".join(
        [*told, f"{fixed(row['compared_m'], 0)} of {fixed(row['walls_m'], 0)} m compared"]
    )
