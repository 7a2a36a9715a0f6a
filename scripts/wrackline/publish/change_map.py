"""A map of the seabed's change between two seasons, that reads in grey.

Ground that came is in warm tones, plain; ground that went in cold ones, hatched; both darken with
the size of the change. What is within the level of detection of one cell is left white: it may be
noise. The raster is read in strips, and averaged into the map's own dots.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from wrackline.publish.picture_files import write_figure
from wrackline.quantities import measured
from wrackline.rasters import Grid, RasterReader
from wrackline.seasons.seabed_change import DUG, FILLED, MEASURED, WALL

Array = npt.NDArray[np.float64]

ENDS_M = (0.05, 0.1, 0.2, 0.4, 0.8)
"""Where classes of change begin."""
CAME = ("#fdf0d5", "#f7cf8a", "#e59f3d", "#b86614", "#6f3600")
WENT = ("#e3eef7", "#b5d3ea", "#74abd6", "#3576b0", "#12406f")
INK, AREA, UNKNOWN, WALL_TONE = "#1b1b1b", "#000000", "#dedad2", "#8f8a80"
HATCH = "////"
WIDEST_DOTS = 1400
WIDE_IN, KEY_IN, FOOT_IN, HEAD_IN = 9.0, 2.4, 1.35, 0.5
LINE_LETTERS = 150
TOPICS = ("vertical_datum", "caution")
COVERS = (
    "The sds cover the stated random, patchy and named errors of both seasons' surveys; what both "
    "rest on cancels. They do not cover errors that nobody stated, walls that are on no plan, or "
    "plants that a survey took for the bed."
)


@dataclass(frozen=True)
class Dots:
    """What is drawn, as dots: arrays of shape (n_rows, n_columns).

    Attributes
    ----------
    difference : array
        Mean change of the bed, dug ground included; 0 where it is within the level of detection
        of one cell, NaN where nothing was compared [m].
    wall, dug : array of bool
        Most cells that have a height in both seasons are walls, or dug.
    extent : tuple of float
        West, east, south and north edge [m].
    """

    difference: Array
    wall: npt.NDArray[np.bool_]
    dug: npt.NDArray[np.bool_]
    extent: tuple[float, float, float, float]


def draw_change(
    raster: Path | str,
    figures: Mapping[str, Any],
    plan: Mapping[str, gpd.GeoDataFrame],
    about: Mapping[str, str],
    path: Path | str,
) -> None:
    """Draw the change of the seabed between two seasons as a PNG.

    Parameters
    ----------
    raster : Path or str
        With the bands of `wrackline.seasons.seabed_change.BANDS`.
    figures : mapping
        The pair's figures.
    plan : mapping of str to GeoDataFrame
        ``areas``: areas of change; ``rooms`` of the later season.
    about : mapping of str to str
        The statement beside all products.
    path : Path or str
        PNG to write.
    """
    with RasterReader(raster) as reader:
        dots = reduced(reader)
    west, east, south, north = dots.extent
    tall = float(np.clip(WIDE_IN * (north - south) / (east - west), 2.0, 11.0))
    figure = Figure(figsize=(WIDE_IN + KEY_IN, tall + FOOT_IN + HEAD_IN))
    wide_in, tall_in = figure.get_size_inches()
    axes = figure.add_axes(
        (0.7 / wide_in, FOOT_IN / tall_in, (WIDE_IN - 0.9) / wide_in, tall / tall_in)
    )
    _map(axes, dots)
    _lines(axes, plan["rooms"].geometry.to_numpy(), INK, 0.35)
    areas = outer(plan["areas"].geometry, figures["detection"]["window_m"] ** 2)
    _lines(axes, areas, "white", 2.6)
    _lines(axes, areas, AREA, 1.3)
    axes.set(xlim=dots.extent[:2], ylim=dots.extent[2:], aspect="equal")
    title = f"{about['site']}: seabed of {figures['later']} less that of {figures['earlier']}"
    axes.set_title(f"{title}, grid north up", loc="left", fontsize=10)
    _scale_bar(axes, east - west)
    _key(figure, tall)
    figure.text(0.06, 0.02, _foot(figures, about), fontsize=6.5, va="bottom")
    write_figure(figure, path, dpi=150)


def reduced(reader: RasterReader) -> Dots:
    """Return the raster of change averaged into dots."""
    grid = reader.grid
    step = max(1, -(-max(grid.shape) // WIDEST_DOTS))
    shape = tuple(-(-size // step) for size in grid.shape)
    sums = {name: np.zeros(shape) for name in ("bed", "lod", "cells", "wall", "dug")}
    starts = np.arange(0, grid.shape[1], step)
    for strip in grid.strips(1_000_000):
        bands = reader.read(strip, ("difference", "lod_95", "ground"))
        ground = bands["ground"]
        bed = np.isin(ground, (MEASURED, FILLED, DUG))
        values = {
            "bed": np.where(bed, bands["difference"], 0.0),
            "lod": np.where(bed, bands["lod_95"], 0.0),
            "cells": bed,
            "wall": ground == WALL,
            "dug": ground == DUG,
        }
        rows = (grid.north - strip.north + np.arange(strip.shape[0])) // step
        for name, one in values.items():
            np.add.at(sums[name], rows, np.add.reduceat(one.astype(float), starts, axis=1))
    known = sums["cells"] > 0
    mean = np.where(known, sums["bed"] / np.maximum(sums["cells"], 1), np.nan)
    mean = np.where(np.abs(sums["bed"]) < sums["lod"], 0.0, mean)
    mean[~known] = np.nan
    wall = sums["wall"] > sums["cells"]
    return Dots(
        np.where(wall, np.nan, mean), wall, sums["dug"] * 2 > sums["cells"], _box(grid, step)
    )


def _box(grid: Grid, step: int) -> tuple[float, float, float, float]:
    """Return the edges of whole dots over a grid: west, east, south, north [m]."""
    left, top = grid.transform[2], grid.transform[5]
    high, wide = (-(-size // step) * step * grid.cell_m for size in grid.shape)
    return left, left + wide, top - high, top


def _map(axes: Axes, dots: Dots) -> None:
    """Draw tones of change, the hatch of what went, walls, dug ground and what wasn't compared."""
    axes.set_facecolor(UNKNOWN)
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.tick_params(labelsize=6)
    rows, columns = dots.difference.shape
    west, east, south, north = dots.extent
    x = west + (np.arange(columns) + 0.5) * (east - west) / columns
    y = north - (np.arange(rows) + 0.5) * (north - south) / rows
    axes.imshow(tones(dots), extent=dots.extent, interpolation="nearest", zorder=1)
    for chosen, hatch in (
        (np.nan_to_num(-dots.difference) > ENDS_M[0], HATCH),
        (dots.dug, "xxxxx"),
    ):
        if chosen.any() and min(chosen.shape) > 1:
            axes.contourf(
                x, y, chosen.astype(float), levels=[0.5, 1.5], colors="none", hatches=[hatch],
                zorder=2,
            )  # fmt: skip
    for collection in axes.collections:
        collection.set(edgecolor="#33475a", linewidth=0.0)


def tones(dots: Dots) -> npt.NDArray[np.uint8]:
    """Return the map's dots as red, green, blue and opacity, shape (n_rows, n_columns, 4)."""
    out = np.zeros((*dots.difference.shape, 4), dtype=np.uint8)
    known = np.isfinite(dots.difference)
    out[known] = (255, 255, 255, 255)
    size = np.nan_to_num(dots.difference)
    for sign, colours in ((1.0, CAME), (-1.0, WENT)):
        for end, colour in zip(ENDS_M, colours, strict=True):
            out[known & (sign * size >= end)] = _rgba(colour)
    out[dots.wall] = _rgba(WALL_TONE)
    return out


def _rgba(colour: str) -> tuple[int, int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16), 255


def outer(shapes: gpd.GeoSeries, least_m2: float) -> npt.NDArray[Any]:
    """Return outlines with holes and parts smaller than an area left out."""
    found = []
    for shape in shapes:
        parts = [part for part in shapely.get_parts(shape) if part.area >= least_m2]
        filled = [
            shapely.Polygon(
                part.exterior,
                [ring for ring in part.interiors if shapely.Polygon(ring).area >= least_m2],
            )
            for part in parts or shapely.get_parts(shape)
        ]
        found.append(shapely.union_all(filled))
    return np.array(found, dtype=object)


def _lines(axes: Axes, shapes: npt.NDArray[Any], colour: str, width: float) -> None:
    edges = shapely.boundary(shapes)
    parts = shapely.get_parts(edges) if len(edges) else []
    lines = [shapely.get_coordinates(part) for part in parts]
    axes.add_collection(LineCollection(lines, colors=colour, linewidths=width, zorder=3))


def _scale_bar(axes: Axes, span: float) -> None:
    """Draw a bar of a round length, about a sixth of the map."""
    length = 10 ** np.floor(np.log10(span / 5))
    length *= max(k for k in (1, 2, 5) if k * length <= span / 5)
    share, place = length / span, axes.transAxes
    bar: dict[str, Any] = {"transform": place, "zorder": 5}
    axes.plot([0.02, 0.02 + share], [0.03, 0.03], color="white", linewidth=4.5, **bar)
    axes.plot([0.02, 0.02 + share], [0.03, 0.03], color=INK, linewidth=2.5, **bar)
    axes.annotate(f"{length:g} m", (0.02, 0.03), xycoords=place, xytext=(0, 4),
                  textcoords="offset points", fontsize=8, zorder=5)  # fmt: skip


def _key(figure: Figure, tall: float) -> None:
    """Write beside the map what tones, hatches and lines mean."""
    style: dict[str, Any] = {"edgecolor": "#555555", "linewidth": 0.4}
    signs: list[Any] = []
    words = [f"{low:g} to {high:g}" for low, high in pairwise(ENDS_M)]
    words.append(f"over {ENDS_M[-1]:g}")
    for colour, text in reversed(list(zip(CAME, words, strict=True))):
        signs.append(Patch(facecolor=colour, label=f"came, {text} m", **style))
    signs.append(
        Patch(facecolor="white", label="within one cell's level\nof detection (95 %)", **style)
    )
    for colour, text in zip(WENT, words, strict=True):
        sign = {**style, "edgecolor": "#33475a", "hatch": HATCH}
        signs.append(Patch(facecolor=colour, label=f"went, {text} m", **sign))
    signs += [
        Line2D([], [], color=AREA, linewidth=1.3, label="area of change: more than\nerrors make"),
        Patch(facecolor="white", hatch="xxxxx", label="dug by the team", **style),
        Patch(facecolor=WALL_TONE, label="wall, left out", **style),
        Line2D([], [], color=INK, linewidth=0.35, label="room"),
        Patch(facecolor=UNKNOWN, label="not compared", **style),
    ]
    top = (FOOT_IN + tall) / figure.get_figheight()
    figure.legend(
        handles=signs,
        loc="upper left",
        bbox_to_anchor=(WIDE_IN / figure.get_figwidth(), top),
        fontsize=7.5,
        frameon=False,
        handleheight=1.2,
    )


def _foot(figures: Mapping[str, Any], about: Mapping[str, str]) -> str:
    """Return the figures of the site and what their sds cover, in lines."""
    site, gross, areas = figures["site"], figures["gross"], figures["detection"]
    dates = figures["dates"]
    seasons = f"{dates['earlier'][0]} to {dates['earlier'][1]}, and {dates['later'][0]} to "
    lines = [f"surveyed {seasons}{dates['later'][1]}"]
    if figures["null_because"]:
        lines.append(figures["null_because"])
    else:
        net = measured(site["volume_m3"], site["volume_sd_m3"], "m3")
        mean = measured(site["mean_m"], site["mean_sd_m"], "m")
        lines.append(
            f"net change over {site['area_m2']:.0f} m²: {net} (mean {mean}); came "
            f"{measured(gross['came_m3'], gross['gross_sd_m3'], 'm3')}, went "
            f"{measured(gross['went_m3'], gross['gross_sd_m3'], 'm3')}, noise's share taken out; "
            f"± is one sd. Areas of change are told by means over {areas['window_m']:g} m square."
        )
        lines.append(COVERS)
    lines += [f"{topic.replace('_', ' ')}: {about[topic]}" for topic in TOPICS]
    return "\n".join(part for line in lines for part in textwrap.wrap(line, LINE_LETTERS))
