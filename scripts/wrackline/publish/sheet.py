"""The plan sheet: the whole site to scale on one page, vectors over the relief of the seabed.

Scale and frame are exact in the grid: a metre is `Layout.metre_mm` on paper, in PDF and SVG alike.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import pandas as pd
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PatchCollection
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from wrackline.crs import grid_factors
from wrackline.numbers import NUMBERED
from wrackline.publish.passages import passages
from wrackline.publish.phases import phase_words
from wrackline.publish.sheet_labels import (
    FONT,
    POINT_MM,
    Label,
    Placing,
    place_buildings,
    place_rooms,
    place_spots,
)
from wrackline.publish.sheet_paper import DRAWN_MM, MARGIN_MM, Layout, lay_out
from wrackline.publish.shrinking import Small
from wrackline.quantities import fixed

INK, GREY, LIGHT, SEA, RED = "#111111", "#6f6f6f", "#e9e6df", "#4a6a86", "#8c2a00"
BODY, STATED = "#8c8c8c", "#d2d2d2"
SETTINGS: Any = {
    "font.family": FONT,
    "pdf.fonttype": 42,
    "pdf.compression": 6,
    "svg.fonttype": "path",
    "svg.hashsalt": "wrackline",
    "hatch.linewidth": 0.3,
}
INDEX_STEP_M, LINE_STEP_M = 1.0, 0.5
CONTOUR_PT = 4.5
BEND_MM = 0.05
"""Smaller bends of contours are left out: half the width of their line."""
LABELLED_MM = 40.0
"""Index contours as long on the sheet have their height written on them."""
RELIEF_LIGHT = 3.0
"""The seabed's relief takes this part of the greys, as one in so many, and leaves ink its own."""

NATURAL, MODERN = "natural", "modern"
MARKS = {"hearth": "^", "jar": "o", "cistern": "s", "grave": "P", "well": "D"}
"""Symbols of common features; all others are drawn as they lie."""


@dataclass(frozen=True)
class Content:
    """What is drawn.

    Attributes
    ----------
    plan : mapping of str to GeoDataFrame
        The numbered plan.
    contours, waterlines : GeoDataFrame or None
    surveys : DataFrame
        The layer `surveys`.
    about : mapping of str to str
        Statement beside the figures.
    crs : str
    season : str
        The last season, the sheet's revision.
    phases : sequence of str
        Names of the phases in which walls were joined.
    relief : Small or None
        The seabed's ``local_relief``, drawn lightly under all else.
    """

    plan: Mapping[str, gpd.GeoDataFrame]
    contours: gpd.GeoDataFrame | None
    waterlines: gpd.GeoDataFrame | None
    surveys: pd.DataFrame
    about: Mapping[str, str]
    crs: str
    season: str
    phases: Sequence[str] = ("",)
    relief: Small | None = None

    @property
    def bounds(self) -> tuple[float, ...]:
        """Edges of what must be on the sheet, with a metre of air [m]."""
        shapes = [t.geometry.to_numpy() for t in self.plan.values() if len(t)]
        if not shapes:
            return (0.0, 0.0, 10.0, 10.0)
        edges = shapely.total_bounds(np.concatenate(shapes)) + np.array([-1, -1, 1, 1])
        return tuple(edges.tolist())


def draw_sheet(content: Content, paper: str, scale: int | None, paths: Sequence[Path]) -> Layout:
    """Draw the sheet of the whole site.

    Parameters
    ----------
    content : Content
    paper : str
        One of `PAPERS`.
    scale : int or None
        Scale wanted; none: the largest that fits.
    paths : sequence of Path
        Files to write, by their suffix PDF or SVG.

    Returns
    -------
    Layout
        As drawn.
    """
    layout = lay_out(content.bounds, paper, scale)
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=(layout.page_mm[0] / 25.4, layout.page_mm[1] / 25.4))
        placing, keys, unplaced = _placed(content, layout)
        axes = _map(figure, layout)
        shown = _ground(axes, content, layout)
        _write_labels(axes, placing.labels)
        _grid(axes, layout)
        _column(figure, content, layout, [*shown, *_label_words(placing)], keys, unplaced)
        for path in paths:
            _save(figure, path)
    return layout


def labels_of(content: Content, paper: str, scale: int | None) -> tuple[Layout, list[Label]]:
    """Return the labels that a sheet would have, for a look at what they touch."""
    layout = lay_out(content.bounds, paper, scale)
    return layout, _placed(content, layout)[0].labels


def _placed(content: Content, layout: Layout) -> tuple[Placing, dict[int, str], list[str]]:
    """Return all labels, what key numbers stand for, and buildings without a place."""
    placing = Placing(layout, _obstacles(content))
    keys = place_rooms(placing, content.plan["rooms"])
    unplaced = place_buildings(placing, content.plan["buildings"])
    place_spots(placing, _spots(content))
    _place_depths(placing, content)
    return placing, keys, unplaced


def _obstacles(content: Content) -> np.ndarray:
    """Return what no label may touch: wall lines, outlines of wall bodies, features."""
    tables = (content.plan[name] for name in ("wall_lines", "wall_bodies", "features"))
    return np.concatenate([table.geometry.to_numpy() for table in tables])


def _spots(content: Content) -> list[tuple[str, shapely.LineString]]:
    """Return the depth of each building's longest recorded wall, in its outline's order."""
    walls = content.plan["wall_lines"]
    walls = walls[walls["top_depth_m"].notna()]
    spots = []
    for _, row in content.plan["buildings"].iterrows():
        mine = walls[walls.intersects(row.geometry.buffer(0.1))]
        if len(mine):
            best = mine.loc[mine["length_m"].idxmax()]
            text = f"▽ {fixed(best['top_depth_m'], 2)}"
            spots.append((text, best.geometry))
    return spots


def _map(figure: Figure, layout: Layout) -> Axes:
    """Return axes whose frame lies on the paper exactly as the layout says."""
    left, bottom, wide, tall = layout.map_mm
    page = layout.page_mm
    place = (left / page[0], bottom / page[1], wide / page[0], tall / page[1])
    axes = figure.add_axes(place)
    west, south, east, north = layout.ground
    axes.set(xlim=(west, east), ylim=(south, north))
    axes.set_axisbelow(False)
    for spine in axes.spines.values():
        spine.set_linewidth(0.35 / POINT_MM)
    axes.tick_params(labelsize=5, length=0, pad=2)
    return axes


def _mm(width_mm: float) -> float:
    """Return a line width in points."""
    return width_mm / POINT_MM


def _ground(axes: Axes, content: Content, layout: Layout) -> list[tuple[str, dict[str, Any]]]:
    """Draw all but texts; return what the legend must explain."""
    shown: list[tuple[str, dict[str, Any]]] = []
    shown += _relief(axes, content, layout)
    shown += _bed(axes, content, layout)
    plan = content.plan
    fills: tuple[tuple[str, gpd.GeoSeries, dict[str, Any]], ...] = (
        ("wall by its centre and stated thickness", plan["buildings"].geometry, {"fc": STATED}),
        ("wall between two recorded faces", plan["wall_bodies"].geometry, {"fc": BODY}),
        ("room (suggested)", _of_kind(plan, "room"), {"fc": "white"}),
        (
            "court (suggested)",
            _of_kind(plan, "court"),
            {"fc": "white", "hatch": "....", "ec": GREY},
        ),
        ("lane (suggested)", _of_kind(plan, "lane"), {"fc": "white", "hatch": "//", "ec": GREY}),
        ("small enclosed space", _of_kind(plan, "unknown"), {"fc": LIGHT}),
    )
    for label, shapes, style in fills:
        if len(shapes):
            _fill(axes, shapes, {"lw": 0, "ec": "none", **style})
            shown.append((label, {"fc": style["fc"], "hatch": style.get("hatch")}))
    _fill(axes, passages(plan), {"lw": 0, "ec": "none", "fc": "white"})
    walls = plan["wall_lines"]
    for evidence, label, style in (
        (
            "old plan",
            "wall line, from an old plan alone",
            {"color": SEA, "lw": 0.2, "ls": (0, (1, 1.5))},
        ),
        ("recorded", "wall line, recorded", {"color": INK, "lw": 0.2, "ls": "-"}),
        ("inferred", "closing, inferred", {"color": RED, "lw": 0.25, "ls": (0, (3, 2))}),
    ):
        lines = walls.loc[walls["evidence"] == evidence].geometry
        if len(lines):
            _lines(axes, lines, style)
            shown.append((label, style))
    return [*shown, *_features(axes, plan["features"])]


def _of_kind(plan: Mapping[str, gpd.GeoDataFrame], kind: str) -> gpd.GeoSeries:
    rooms = plan["rooms"]
    return rooms.loc[rooms["kind"] == kind].geometry


def _relief(axes: Axes, content: Content, layout: Layout) -> list[tuple[str, dict[str, Any]]]:
    """Draw the seabed's local relief in light greys, what stands above the ground around darker."""
    if content.relief is None:
        return []
    values = content.relief.bands["local_relief"]
    known = np.abs(values[np.isfinite(values)])
    most = max(float(np.quantile(known, 0.99)), 0.05) if known.size else 0.05
    greys: dict[str, Any] = {"cmap": "Greys", "vmin": -most / 4, "vmax": RELIEF_LIGHT * most}
    axes.imshow(
        values,
        extent=content.relief.extent,
        aspect="auto",
        zorder=0.1,
        **greys,
        interpolation="none",
    )
    west, south, east, north = layout.ground
    axes.set(xlim=(west, east), ylim=(south, north))
    tone = mpl.colormaps["Greys"]((1 + 0.25) / (RELIEF_LIGHT + 0.25))
    words = f"seabed {fixed(most, 2)} m and more above the ground around it"
    return [(words, {"fc": mpl.colors.to_hex(tone), "hatch": None})]


def _bed(axes: Axes, content: Content, layout: Layout) -> list[tuple[str, dict[str, Any]]]:
    """Draw contours, every second half metre labelled, and waterlines."""
    shown: list[tuple[str, dict[str, Any]]] = []
    frame = shapely.box(*layout.ground)
    least = layout.ground_m(8.0)
    if content.contours is not None and len(content.contours):
        kept = content.contours[_multiple(content.contours["height_m"], LINE_STEP_M)]
        kept = kept[(kept.length > least) & kept.intersects(frame)]
        index = _multiple(kept["height_m"], INDEX_STEP_M)
        for part, width in ((kept[~index], 0.1), (kept[index], 0.18)):
            fine = part.geometry.simplify(layout.ground_m(BEND_MM))
            _lines(axes, fine, {"color": "#8fa5b5", "lw": width, "ls": "-"}, order=0.5)
        if len(kept):
            style = {"color": "#8fa5b5", "lw": 0.18, "ls": "-"}
            shown.append(("contour of the seabed, height in metres", style))
    if content.waterlines is not None:
        for k, (name, part) in enumerate(content.waterlines.groupby("sea_level", sort=True)):
            style = {"color": SEA, "lw": 0.25, "ls": (0, (8, *[1.5, 1.5] * k, 1.5))}
            whole = gpd.GeoSeries(shapely.get_parts(shapely.line_merge(part.union_all())))
            near = whole[(whole.length > least) & whole.intersects(frame)]
            if len(near):
                _lines(axes, near, style, order=0.6)
                shown.append((f"{name}, on today's seabed", style))
    return shown


def _multiple(values: pd.Series, step: float) -> np.ndarray:
    share = values.to_numpy(float) / step
    return np.asarray(np.abs(share - np.round(share)) < 1e-6)


def _place_depths(placing: Placing, content: Content) -> None:
    """Place an index contour's height on it, where the contour is long enough and lies free."""
    if content.contours is None or not len(content.contours):
        return
    frame = shapely.box(*placing.layout.ground)
    fills = (content.plan[name].geometry.to_numpy() for name in ("buildings", "rooms"))
    open_ground = shapely.difference(frame, shapely.union_all(np.concatenate(list(fills))))
    index = content.contours[_multiple(content.contours["height_m"], INDEX_STEP_M)]
    index = index.assign(long_m=index.length)
    index = index[index["long_m"] > placing.layout.ground_m(LABELLED_MM)]
    index = index.sort_values("long_m", ascending=False, kind="stable")
    shapely.prepare(open_ground)
    for row in index.to_dict("records"):
        inside = shapely.get_parts(shapely.intersection(row["geometry"], open_ground))
        lines = [line for line in inside if line.geom_type == "LineString"]
        line = max(lines, key=lambda one: one.length, default=None)
        if line is not None and line.length > placing.layout.ground_m(LABELLED_MM):
            text = fixed(float(row["height_m"]), 0).replace("-", "−")
            places = [*_straightest(row), *_along(line)]
            placing.put(text, places, CONTOUR_PT, "contour", open_ground)


def _straightest(row: Mapping[str, Any]) -> list[tuple[float, float, float]]:
    """Return where the layer says that a contour's height can stand, if anywhere."""
    place = row["label_easting_m"], row["label_northing_m"], -row["label_turn_deg"]
    return [place] if np.isfinite(place).all() else []


def _along(line: shapely.LineString) -> list[tuple[float, float, float]]:
    """Return places along a line, each turned as the line runs there."""
    places = []
    for share in (0.12, 0.3, 0.5, 0.7, 0.88):
        ends = shapely.line_interpolate_point(line, [share - 0.01, share + 0.01], normalized=True)
        (x0, y0), (x1, y1) = shapely.get_coordinates(ends)
        turn = (float(np.degrees(np.arctan2(y1 - y0, x1 - x0))) + 90) % 180 - 90
        places.append(((x0 + x1) / 2, (y0 + y1) / 2, turn))
    return places


def _features(axes: Axes, features: gpd.GeoDataFrame) -> list[tuple[str, dict[str, Any]]]:
    """Draw features: outlines and lines as they lie, common kinds with a symbol too."""
    shown: list[tuple[str, dict[str, Any]]] = []
    shapes = features.geometry
    point = shapes.geom_type == "Point"
    for origin, style in (
        ("built", {"color": INK, "lw": 0.13, "ls": "-"}),
        (NATURAL, {"color": GREY, "lw": 0.3, "ls": (0, (4, 1, 1, 1))}),
        (MODERN, {"color": GREY, "lw": 0.3, "ls": (0, (1, 1))}),
        ("doubtful", {"color": GREY, "lw": 0.2, "ls": (0, (2, 2))}),
    ):
        mine = shapes[(features["origin"] == origin).to_numpy(bool, na_value=False) & ~point]
        if len(mine):
            _lines(axes, mine.boundary.where(mine.geom_type == "Polygon", mine), style, order=4)
            shown.append((f"feature, {origin}", style))
    return [*shown, *_symbols(axes, features, point.to_numpy(bool))]


def _symbols(
    axes: Axes, features: gpd.GeoDataFrame, point: np.ndarray
) -> list[tuple[str, dict[str, Any]]]:
    """Draw symbols of common kinds, and a dot for other features that are points."""
    shown: list[tuple[str, dict[str, Any]]] = []
    other: dict[str, Any] = {"marker": ".", "ms": 2.0, "mec": INK, "mfc": INK, "mew": 0.2}
    common: dict[str, Any] = {"ms": 2.2, "mec": INK, "mfc": "white", "mew": 0.35}
    known = features["kind"].isin(list(MARKS)).to_numpy(bool)
    drawn = [(kind, features["kind"] == kind, {"marker": m, **common}) for kind, m in MARKS.items()]
    for label, mine, style in [*drawn, ("feature of another kind", point & ~known, other)]:
        if np.any(mine):
            spots = shapely.centroid(features.geometry[mine].to_numpy())
            axes.plot(*shapely.get_coordinates(spots).T, ls="none", zorder=4.2, **style)
            shown.append((label, style))
    return shown


def _fill(axes: Axes, shapes: gpd.GeoSeries, style: Mapping[str, Any]) -> None:
    patches = []
    for part in shapely.get_parts(shapes.to_numpy()):
        rings = [part.exterior, *part.interiors]
        paths = [Outline(np.asarray(ring.coords)[:, :2], closed=True) for ring in rings]
        patches.append(PathPatch(Outline.make_compound_path(*paths)))
    axes.add_collection(PatchCollection(patches, zorder=1.0, **style))


def _lines(axes: Axes, shapes: gpd.GeoSeries, style: Mapping[str, Any], order: float = 3.0) -> None:
    parts = [shapely.get_coordinates(line) for line in shapely.get_parts(shapes.to_numpy())]
    axes.add_collection(
        LineCollection(
            parts,
            colors=style["color"],
            linewidths=_mm(style["lw"]),
            linestyles=[style["ls"]],
            zorder=order,
            capstyle="butt",
        )
    )


def _write_labels(axes: Axes, labels: Sequence[Label]) -> None:
    styles: dict[str, dict[str, Any]] = {
        "building": {"weight": "bold"},
        "key": {"style": "italic"},
        "spot": {"color": SEA},
        "contour": {"color": SEA, "bbox": {"fc": "white", "ec": "none", "pad": 0.2}},
    }
    for label in labels:
        axes.text(
            label.x,
            label.y,
            label.text,
            fontsize=label.size_pt,
            rotation=label.angle_deg,
            rotation_mode="anchor",
            ha="center",
            va="center_baseline",
            zorder=5,
            **{"color": INK, **styles.get(label.role, {})},
        )


def _label_words(placing: Placing) -> list[tuple[str, dict[str, Any]]]:
    roles = {label.role for label in placing.labels}
    words: list[tuple[str, dict[str, Any]]] = []
    if "spot" in roles:
        words.append(("▽ 3.42  depth of a wall's top, in metres", {}))
    if "room" in roles:
        words.append(("R051-038  room: metres east and north of the origin", {}))
    return words


def _grid(axes: Axes, layout: Layout) -> None:
    """Draw crosses of the grid and its coordinates along the frame."""
    west, south, east, north = layout.ground
    step = next(s for s in (5, 10, 20, 25, 50, 100, 200, 500, 1000) if s * layout.metre_mm >= 40)
    x = np.arange(np.ceil(west / step) * step, east, step)
    y = np.arange(np.ceil(south / step) * step, north, step)
    arm = layout.ground_m(1.5)
    across = [[(a - arm, b), (a + arm, b)] for a in x for b in y]
    along = [[(a, b - arm), (a, b + arm)] for a in x for b in y]
    axes.add_collection(
        LineCollection(across + along, colors=GREY, linewidths=_mm(0.13), zorder=0.8, gid="grid")
    )
    axes.set_xticks(x, [f"{v:.0f}" for v in x])
    axes.set_yticks(y, [f"{v:.0f}" for v in y], rotation=90, va="center")
    axes.tick_params(top=False, right=False)


def _column(
    figure: Figure,
    content: Content,
    layout: Layout,
    shown: Sequence[tuple[str, dict[str, Any]]],
    keys: Mapping[int, str],
    unplaced: Sequence[str],
) -> None:
    """Write title, north arrows, scale bar, legend, notes and keys into the column."""
    left, bottom, wide, tall = layout.map_mm
    page = layout.page_mm
    x = left + wide + 4.0
    across = page[0] - x - MARGIN_MM
    axes = figure.add_axes((x / page[0], bottom / page[1], across / page[0], tall / page[1]))
    axes.set(xlim=(0, across), ylim=(0, tall))
    axes.axis("off")
    pen = Pen(axes, across, tall)
    about = content.about
    pen.text(about["site"], 11, weight="bold")
    pen.text("Wall plan of the whole site", 9)
    pen.text(
        f"1:{layout.scale} on {layout.paper} · sheet 1 of 1 · as known after {content.season}", 6
    )
    pen.gap(2)
    _north(pen, content, layout)
    _scale_bar(pen, layout)
    pen.heading("Legend")
    for label, style in shown:
        pen.legend(label, style)
    pen.heading("What it rests on")
    for line in (*_basis(content, layout), phase_words(content.phases)):
        pen.text(line, 5.2)
    if unplaced:
        pen.text(f"No place for the numbers of {', '.join(unplaced)}.", 5.2)
    if keys:
        pen.heading("Rooms by key number")
        pen.columns([f"{key}  {number}" for key, number in sorted(keys.items())])
    others = other_numbers(content.plan)
    if others:
        pen.heading("Numbers of other plans")
        pen.columns(others)
    pen.heading("Caution")
    pen.text(about["caution"], 5.2, weight="bold")


def other_numbers(plan: Mapping[str, gpd.GeoDataFrame]) -> list[str]:
    """Return the numbers that others gave to rooms and buildings, each with the record's own.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The numbered plan.
    """
    said = [
        f"{name} = {number}"
        for layer in ("buildings", "rooms")
        for number, names in zip(
            plan[layer][NUMBERED[layer][0]], plan[layer]["other_numbers"].fillna(""), strict=True
        )
        for name in filter(None, str(names).split(";"))
    ]
    return sorted(said)


@dataclass
class Pen:
    """Writes one thing under the other into the column; all sizes in mm.

    Attributes
    ----------
    axes : Axes
        One unit a millimetre.
    wide : float
        Width of the column [mm].
    y : float
        Where the next thing goes [mm].
    """

    axes: Axes
    wide: float
    y: float

    def gap(self, size_mm: float) -> None:
        """Leave room."""
        self.y -= size_mm

    def text(self, text: str, size_pt: float, **style: Any) -> None:
        """Write text, wrapped to the column."""
        letters = max(int(self.wide / (size_pt * POINT_MM * 0.56)), 8)
        for line in textwrap.wrap(text, letters) or [""]:
            self.y -= size_pt * POINT_MM * 1.25
            self.axes.text(0, self.y, line, fontsize=size_pt, color=INK, va="baseline", **style)
        self.gap(0.6)

    def heading(self, text: str) -> None:
        """Write a heading under a line."""
        self.gap(2.0)
        self.axes.plot([0, self.wide], [self.y, self.y], color=INK, lw=_mm(0.25))
        self.text(text, 7, weight="bold")

    def legend(self, label: str, style: Mapping[str, Any]) -> None:
        """Write one entry: a sample of its style, and its words."""
        high = 3.2
        middle = self.y - high / 2
        if "fc" in style:
            self.axes.fill(
                [0, 9, 9, 0],
                [middle - 1.1, middle - 1.1, middle + 1.1, middle + 1.1],
                fc=style["fc"],
                hatch=style["hatch"],
                ec=GREY,
                lw=_mm(0.13),
            )
        elif "marker" in style:
            self.axes.plot([4.5], [middle], ls="none", **style)
        elif style:
            self.axes.plot(
                [0, 9],
                [middle, middle],
                color=style["color"],
                lw=_mm(style["lw"]),
                ls=style["ls"],
                dash_capstyle="butt",
            )
        indent = 11.0 if style else 0.0
        self.axes.text(indent, middle, label, fontsize=5.6, color=INK, va="center_baseline")
        self.y -= high

    def columns(self, texts: Sequence[str], size_pt: float = 4.6) -> None:
        """Write short texts in as many columns as fit."""
        step = size_pt * POINT_MM * 1.3
        longest = max(map(len, texts)) * size_pt * POINT_MM * 0.62
        count = max(int(self.wide // max(26, longest)), 1)
        rows = -(-len(texts) // count)
        for k, text in enumerate(texts):
            x, y = (k // rows) * self.wide / count, self.y - step * (k % rows + 1)
            self.axes.text(x, y, text, fontsize=size_pt, color=INK, va="baseline")
        self.y -= step * rows + 0.6


def _north(pen: Pen, content: Content, layout: Layout) -> None:
    """Draw grid north and true north, and say how far they are apart."""
    west, south, east, north = layout.ground
    middle = np.array([(west + east) / 2]), np.array([(south + north) / 2])
    turn = float(grid_factors(content.crs, *middle)[0][0])
    x, y, long = 12.0, pen.y - 16.0, 11.0
    side = np.radians(max(min(turn, 20.0), -20.0))
    arrow = {"arrowstyle": "-|>", "lw": _mm(0.25), "color": INK, "mutation_scale": 6}
    plain = {"arrowstyle": "->", "lw": _mm(0.18), "color": GREY, "mutation_scale": 5}
    pen.axes.annotate("", (x, y + long), (x, y), arrowprops=arrow)
    tip = (x - 1.35 * long * np.sin(side), y + 1.35 * long * np.cos(side))
    pen.axes.annotate("", tip, (x, y), arrowprops=plain)
    which = "west" if turn > 0 else "east"
    words = [
        "black: grid north",
        f"grey: true north, {fixed(abs(turn), 2)}° {which} of it",
        f"grid: {content.crs}",
    ]
    for k, text in enumerate(words):
        pen.axes.text(20, y + long - 2.5 - 3.0 * k, text, fontsize=5.6, color=INK)
    pen.y = y - 2.0


def _scale_bar(pen: Pen, layout: Layout) -> None:
    """Draw a bar of a round length, and say that the sheet is to scale in the grid."""
    longest = (pen.wide - 8.0) / layout.metre_mm
    length = next(s for s in (1000, 500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5, 0.2) if s <= longest)
    size = length * layout.metre_mm
    y = pen.y - 5.0
    for k in range(4):
        edges = [k * size / 4, (k + 1) * size / 4]
        pen.axes.fill_between(
            edges, y, y + 1.4, fc=INK if k % 2 == 0 else "white", ec=INK, lw=_mm(0.13)
        )
    for share in (0, 1):
        text = f"{length * share:g}" + (" m" if share else "")
        pen.axes.text(size * share, y + 2.0, text, fontsize=5.6, ha="center" if share else "left")
    pen.y = y - 1.0
    pen.text("To scale in the grid; lengths in the tables are on the ground.", 5.2)
    if layout.note:
        pen.text(layout.note, 5.2)


def _basis(content: Content, layout: Layout) -> list[str]:
    """Return datum, dates, techniques and what the scale promises."""
    about = content.about
    drawn = layout.ground_m(DRAWN_MM)
    walls = content.surveys[content.surveys["holds"] == "wall_lines"]
    techniques = [
        f"{row['survey']}: {row['technique']}, {row['from_date']} to {row['to_date']}, "
        f"sd {_position(row)}"
        for _, row in walls.iterrows()
    ]
    worst = max((_sd(row) for _, row in walls.iterrows()), default=0.0)
    promise = f"{DRAWN_MM:g} mm on this sheet are {fixed(drawn, 3)} m on the ground"
    promise += (
        f": finer than the least sure of its walls, sd {fixed(worst, 2)} m."
        if worst > drawn
        else "; all walls on it are known better than that."
    )
    return [
        f"Vertical datum: {about['vertical_datum']}. Depths {about['depths']}.",
        f"Surveyed {about['surveyed']}.",
        *(f"Walls: {text}." for text in techniques),
        promise,
        f"Credit: {about['credit']}",
    ]


def _sd(row: pd.Series) -> float:
    parts = [row["random_horizontal_sd_m"], row["patchy_horizontal_sd_m"]]
    return float(np.sqrt(np.nansum(np.square(np.array(parts, dtype=float)))))


def _position(row: pd.Series) -> str:
    return f"{fixed(_sd(row), 2)} m"


def _save(figure: Figure, path: Path) -> None:
    """Write a file whose bytes hang on its content alone."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".pdf":
        none = dict.fromkeys(("CreationDate", "ModDate", "Producer", "Creator"))
        figure.savefig(path, metadata=none)
    else:
        figure.savefig(path, metadata={"Date": None, "Creator": None})
