"""The plan before and after a season, and what changed: three maps of one extent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wrackline.publish.pictures import INK, areas, footing, lines, save, scale_bar

CHANGES = "what changed"
KEPT: dict[str, Any] = {"facecolor": "#ece8df"}
NEW: dict[str, Any] = {"facecolor": "#6f8fa8"}
PARTED: dict[str, Any] = {"facecolor": "#f1d9a0", "hatch": "\\\\\\\\", "edgecolor": "#7a6a3a"}
JOINED: dict[str, Any] = {"facecolor": "#dfe9d3", "hatch": "||||", "edgecolor": "#55703f"}
DRAWN: dict[str, Any] = {"facecolor": "#f3ece4", "hatch": "....", "edgecolor": "#6b5f52"}
COVERED: dict[str, Any] = {"facecolor": "#fbf3dd", "hatch": "oo", "edgecolor": "#a08a4a"}
GREEN: dict[str, Any] = {"facecolor": "#dcead8", "hatch": "++", "edgecolor": "#3f6b3a"}
RUINED: dict[str, Any] = {"facecolor": "#e7b9a5", "hatch": "////", "edgecolor": "#8c2d04"}
LEFT: dict[str, Any] = {"facecolor": "none", "hatch": "xxxx", "edgecolor": "#8c2d04"}
SIGNS = {
    "new": (NEW, "new"),
    "found again": (NEW, None),
    "split": (PARTED, "split"),
    "merged": (JOINED, "merged"),
    "reshaped": (DRAWN, "another outline"),
    "redrawn": (DRAWN, None),
    "buried": (COVERED, "buried (suggested)"),
    "overgrown": (GREEN, "overgrown (suggested)"),
    "lost": (RUINED, "lost (suggested)"),
}
"""Events of rooms: fill, and words of the key."""
WIDE_IN, FOOT_IN, HEAD_IN, GAP_IN = 13.0, 1.35, 0.5, 0.35
Plan = Mapping[str, gpd.GeoDataFrame]


def draw_changes(
    before: Plan | None,
    now: Plan,
    events: Sequence[Mapping[str, Any]],
    about: Mapping[str, str],
    paths: Sequence[Path],
) -> None:
    """Draw a season's plan beside that of the season before, and what changed between them.

    Fills differ by tone and hatch as well as by colour, so that they stand in grey.

    Parameters
    ----------
    before, now : mapping of str to GeoDataFrame
        Two seasons' numbered plans; no earlier one for the first season.
    events : sequence of mapping
        The season's events.
    about : mapping of str to str
        Statement beside the figures, with `season` and `season_before`.
    paths : sequence of Path
        Files to write, e.g. PNG and SVG.
    """
    west, south, east, north = _extent(now if before is None else before, now)
    width = (WIDE_IN - 4 * GAP_IN) / 3
    height = float(np.clip(width * (north - south) / (east - west), 1.5, 9.0))
    tall = height + FOOT_IN + HEAD_IN
    figure = Figure(figsize=(WIDE_IN, tall))
    panels = []
    for k in range(3):
        left = (GAP_IN + k * (width + GAP_IN)) / WIDE_IN
        axes = figure.add_axes((left, FOOT_IN / tall, width / WIDE_IN, height / tall))
        axes.set(xlim=(west, east), ylim=(south, north), aspect="equal", xticks=[], yticks=[])
        panels.append(axes)
    titles = (about["season_before"] or "nothing yet", about["season"], CHANGES)
    for axes, title in zip(panels, titles, strict=True):
        axes.set_title(f"{title} (grid north up)", loc="left", fontsize=9)
    if before is not None:
        _plan(panels[0], before)
    _plan(panels[1], now)
    _difference(panels[2], before, now, events)
    for axes in panels:
        axes.set(xlabel="", ylabel="")
    scale_bar(panels[0], east - west)
    _key(figure, panels[2], tall)
    figure.text(GAP_IN / WIDE_IN, 0.06 / tall, footing(about), fontsize=6, va="bottom")
    save(figure, list(paths))


def _extent(one: Plan, other: Plan) -> np.ndarray:
    shapes = [t.geometry.to_numpy() for plan in (one, other) for t in plan.values() if len(t)]
    bounds = shapely.total_bounds(np.concatenate(shapes)) if shapes else np.array([0, 0, 1, 1.0])
    return np.asarray(bounds + np.array([-3.0, -3.0, 3.0, 3.0]))


def _plan(axes: Axes, plan: Plan) -> None:
    areas(axes, plan["rooms"].geometry, KEPT)
    walls = plan["wall_lines"]
    lines(axes, walls.loc[walls["evidence"] != "inferred"].geometry, color=INK, width=0.4)


def _difference(
    axes: Axes, before: Plan | None, now: Plan, events: Sequence[Mapping[str, Any]]
) -> None:
    areas(axes, now["rooms"].geometry, KEPT)
    for event, (fill, _) in SIGNS.items():
        numbers = _numbers(events, "room", event)
        areas(axes, _of(now["rooms"], "room", numbers), fill)
    recorded = now["wall_lines"]["evidence"] != "inferred"
    walls = now["wall_lines"][recorded]
    lines(axes, walls.geometry, color="#a9a49a", width=0.35)
    fresh = _of(walls, "wall", _numbers(events, "wall", "new"))
    lines(axes, fresh, color=INK, width=0.8)
    if before is not None:
        gone = _numbers(events, "room", "gone")
        areas(axes, _of(before["rooms"], "room", gone), LEFT)
        was = before["wall_lines"]
        was = was[was["evidence"] != "inferred"]
        lost = _of(was, "wall", _numbers(events, "wall", "gone"))
        lines(axes, lost, color="#8c2d04", width=0.9, dashes=(0, (2, 1.2)))


def _numbers(events: Sequence[Mapping[str, Any]], what: str, event: str) -> set[str]:
    """Return the things on the plan now that an event is about; of what is gone its own number."""
    found: set[str] = set()
    for row in events:
        if row["what"] == what and row["event"] == event:
            found |= set(str(row["children"] or row["number"]).split(";"))
    return found


def _of(table: gpd.GeoDataFrame, field: str, numbers: set[str]) -> gpd.GeoSeries:
    return table.loc[table[field].isin(sorted(numbers)).to_numpy(bool)].geometry


def _key(figure: Figure, axes: Axes, tall: float) -> None:
    """Write what signs mean into a strip below the maps."""
    axes.plot([], [], color=INK, linewidth=0.8, label="wall line, new")
    axes.plot([], [], color="#a9a49a", linewidth=0.6, label="wall line, as before")
    axes.plot([], [], color="#8c2d04", linewidth=0.9, linestyle=(0, (2, 1.2)), label="wall, gone")
    axes.fill([], [], linewidth=0, label="room, as before", **KEPT)
    for fill, label in SIGNS.values():
        if label:
            axes.fill([], [], linewidth=0, label=f"room, {label}", **fill)
    axes.fill([], [], linewidth=0, label="room, gone", **LEFT)
    place = (GAP_IN / WIDE_IN, (FOOT_IN - 0.05) / tall)
    figure.legend(loc="upper left", bbox_to_anchor=place, ncols=6, fontsize=6.5, frameon=False)
