"""Plan sheets, drawn: true to scale in the grid, as PDF with its fonts and as SVG.

A metre is `Layout.metre_mm` on paper, in both alike. A sheet is first planned (what is on it, where
its texts stand, what its columns say), then drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.collections import LineCollection, PatchCollection
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.text import Text

from wrackline.errors import Fault, InputError
from wrackline.publish.drawing_standards import INCH_MM, points
from wrackline.publish.picture_files import UNSAID, write_figure
from wrackline.publish.sheets.below import Under, backdrop_of
from wrackline.publish.sheets.column import Named, Shown, draw_title_block, write_column
from wrackline.publish.sheets.content import Content, prepared
from wrackline.publish.sheets.labels import (
    BOLD_ROLES,
    LINE_SPACING,
    Label,
    Place,
    Placing,
    place_buildings,
    place_ends,
    place_names,
    place_rooms,
    size_mm,
)
from wrackline.publish.sheets.paper import Bounds, Layout
from wrackline.publish.sheets.pen import Pen, marker_style
from wrackline.publish.sheets.sets import Sheet, sheets_of
from wrackline.publish.sheets.spots import Spot, place_contours, place_spots
from wrackline.publish.sheets.style import (
    DESK,
    DIVER,
    FAINT_MM,
    FRAME_MM,
    LEVELS,
    LINE_MM,
    SETTINGS,
    Letters,
)
from wrackline.publish.sheets.things import (
    HACHURE,
    SECTION,
    STONE,
    Drawn,
    interrupted,
    obstacles,
    things_on,
)
from wrackline.publish.tones import GREY, INK, SEA

MOST_COLUMNS = 4
GRID_STEPS_M = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000, 10000)
LINES = ("LineString", "MultiLineString")
GRID_MM = 40.0
"""Lines of the grid are at least so far apart on paper."""


@dataclass(frozen=True)
class Planned:
    """A sheet that is ready to be drawn."""

    sheet: Sheet
    content: Content
    things: Sequence[Drawn]
    labels: Sequence[Label]
    spots: Sequence[Spot]
    unplaced: Sequence[str]
    backdrop: Under | None
    pen: Pen
    named: Named
    letters: Letters


def draw_set(content: Content, name: str, pdf: Path, folder: Path) -> list[Planned]:
    """Draw all sheets of a set: one PDF of all pages, and one SVG a sheet.

    Parameters
    ----------
    content : Content
    name : str
        Of the set.
    pdf : Path
    folder : Path
        For the SVGs.

    Returns
    -------
    list of Planned
        What was drawn, for the register.
    """
    planned = plan_set(content, name)
    pdf.parent.mkdir(parents=True, exist_ok=True)
    with mpl.rc_context(SETTINGS), PdfPages(pdf, metadata=dict(UNSAID[".pdf"])) as pages:
        for one in planned:
            figure = draw_sheet(one)
            pages.savefig(figure)
            write_figure(figure, folder / f"{one.sheet.number}.svg")
    return planned


def plan_set(content: Content, name: str) -> list[Planned]:
    """Return the sheets of a set, planned with as many columns of text as the fullest needs.

    Sheets of one building or trench have each its own number of columns.

    Parameters
    ----------
    content : Content
    name : str
        Of the set.
    """
    content = prepared(content)
    sheets = sheets_of(content, name)
    for columns in range(1, MOST_COLUMNS + 1):
        planned = [_plan(content, sheet, k + 1, len(sheets)) for k, sheet in enumerate(sheets)]
        full = [k for k, one in enumerate(planned) if one.pen.columns > one.sheet.layout.columns]
        if not full or columns == MOST_COLUMNS:
            break
        wider = sheets_of(content, name, columns + 1)
        if content.settings.shows in ("buildings", "trenches"):
            sheets = [wider[k] if k in full else sheet for k, sheet in enumerate(sheets)]
        else:
            sheets = wider
    return planned


def _plan(whole: Content, sheet: Sheet, page: int, pages: int) -> Planned:
    """Plan one sheet."""
    layout = sheet.layout
    content = whole.near(layout.ground)
    letters = DIVER if content.for_diver else DESK
    things = things_on(content, layout)
    placing = Placing(layout, obstacles(things, layout), content.font)
    keys = _place_numbers(placing, content, sheet, letters)
    unplaced = [] if sheet.shows == "index" else _place_beside(placing, content, letters)
    spots = [] if sheet.shows == "index" else place_spots(placing, content, letters.spot)
    place_contours(placing, content, letters.contour)
    if sheet.shows in ("building", "trench"):
        place_names(placing, _named_features(content), letters.thing[-1], "feature")
    backdrop = backdrop_of(content, layout)
    numbered = any(label.role in ("room", "key") for label in placing.labels)
    shown = Shown(things, spots, keys, unplaced, numbered, *_below(backdrop), len(placing.left))
    named = _named(whole, sheet, page, pages)
    pen = write_column(content, layout, named, shown, letters)
    if pen.columns > layout.columns:
        letters = letters.smaller
        pen = write_column(content, layout, named, shown, letters)
    if pen.columns > layout.columns == MOST_COLUMNS:
        pen = write_column(content, layout, named, shown, letters, cut=True)
    if pen.columns > layout.columns == MOST_COLUMNS:
        raise InputError(_too_full(layout, named))
    boxes = np.array([label.box for label in placing.labels], dtype=object)
    cut = interrupted(things, boxes)
    return Planned(
        sheet, content, cut, placing.labels, spots, unplaced, backdrop, pen, named, letters
    )


def _too_full(layout: Layout, named: Named) -> Fault:
    return Fault(
        kind="sheet_too_full",
        found=f"sheet {named.number}: legend, notes, caution and title block don't fit "
        f"{layout.paper}",
        allowed=f"what {MOST_COLUMNS} columns beside the map can hold",
        consequence="the sheet would lack what has to stand on it",
        remedy="take larger paper, or write shorter names, permit and credit",
        file="config/site.yaml",
    )


def _below(backdrop: Under | None) -> tuple[Any, str]:
    return (None, "") if backdrop is None else (backdrop.sample, backdrop.survey)


def _place_numbers(
    placing: Placing, content: Content, sheet: Sheet, letters: Letters
) -> dict[int, str]:
    """Place tiles' numbers on an index, rooms' elsewhere; return rooms by key number."""
    if sheet.shows == "index":
        for number, ground in sheet.tiles:
            middle = ((ground[0] + ground[2]) / 2, (ground[1] + ground[3]) / 2)
            placing.put(number, _around_middle(placing, middle), letters.site, "tile")
        return {}
    rooms = content.plan["rooms"]
    more = _areas(content) if sheet.shows in ("building", "trench") else []
    return place_rooms(placing, rooms, letters.room, letters.key, more)


def _around_middle(placing: Placing, middle: tuple[float, float]) -> Iterator[Place]:
    """Yield places from a point outwards."""
    for ring in range(8):
        for i in range(-ring, ring + 1):
            for j in range(-ring, ring + 1):
                if max(abs(i), abs(j)) == ring:
                    away = placing.layout.ground_m(4.0)
                    yield middle[0] + i * away, middle[1] + j * away, 0.0


def _areas(content: Content) -> list[str]:
    """Return each room's floor area as printed below its number."""
    rooms = content.plan["rooms"]
    figures = zip(rooms["floor_area_m2"], rooms["floor_area_sd_m2"], strict=True)
    return [content.words.figure(area, sd, "m2") for area, sd in figures]


def _place_beside(placing: Placing, content: Content, letters: Letters) -> list[str]:
    """Place what stands beside its thing; return buildings without a place for their number."""
    unplaced = place_buildings(placing, content.plan["buildings"], letters.building)
    own, features = content.words.own, content.plan["features"]
    lines = features[(features["kind"] == SECTION) & features.geom_type.isin(LINES)]
    named = [(own(str(n)), s) for n, s in zip(_names(lines), lines.geometry, strict=True)]
    place_ends(placing, named, letters.building[0])
    if content.trenches is not None and len(content.trenches):
        table = content.trenches
        names = [(own(str(n)), s) for n, s in zip(table["trench"], table.geometry, strict=True)]
        place_names(placing, names, letters.thing[0], "trench")
    if content.marks is not None and not content.hides_place:
        table = content.marks
        names = [(str(n), s) for n, s in zip(table["mark"], table.geometry, strict=True)]
        place_names(placing, names, letters.thing[-1], "mark")
    return unplaced


def _named_features(content: Content) -> list[tuple[str, shapely.Geometry]]:
    """Return kind and number of each feature but stones and marks of the drawing."""
    table = content.plan["features"]
    table = table[~table["kind"].isin([STONE, HACHURE, SECTION]) & table["feature"].notna()]
    own = content.words.own
    kinds = table["kind"].fillna("").map(lambda kind: own(str(kind)))
    names = [
        f"{kind} {number}".strip() for kind, number in zip(kinds, table["feature"], strict=True)
    ]
    return list(zip(names, table.geometry, strict=True))


def _names(sections: Any) -> list[str]:
    """Return the names of section lines, as their survey has them."""
    return [str(line).rpartition("/")[2] for line in sections["line"].fillna("")]


def _named(content: Content, sheet: Sheet, page: int, pages: int) -> Named:
    """Return a sheet's name and title."""
    say, own = content.words.say, content.words.own
    title = {
        "site": lambda: say("title_site"),
        "index": lambda: say("title_index"),
        "tile": lambda: say("title_tile", number=sheet.number),
        "building": lambda: say("title_building", building=sheet.subject),
        "trench": lambda: say("title_trench", trench=own(sheet.subject)),
    }[sheet.shows]()
    if content.settings.title:
        wanted = own(content.settings.title)
        title = wanted if sheet.shows == "site" else f"{wanted}: {title}"
    return Named(own(sheet.subject) or sheet.number, title, page, pages, sheet.beside)


def draw_sheet(planned: Planned) -> Figure:
    """Return the drawing of a planned sheet; its settings must hold while it is saved.

    Parameters
    ----------
    planned : Planned
    """
    layout = planned.sheet.layout
    page = layout.page_mm
    figure = Figure(figsize=(page[0] / INCH_MM, page[1] / INCH_MM))
    axes = _map(figure, layout)
    if planned.backdrop is not None:
        planned.backdrop.draw(axes)
    for drawn in planned.things:
        _draw(axes, drawn)
    for tile in planned.sheet.tiles:
        _tile(axes, tile[1])
    _spots(axes, planned.spots)
    _write_labels(axes, planned)
    _grid(axes, planned)
    west, south, east, north = layout.ground
    axes.set(xlim=(west, east), ylim=(south, north))
    _columns(figure, planned)
    return figure


def _map(figure: Figure, layout: Layout) -> Axes:
    """Return axes whose frame lies on the paper exactly as the layout says."""
    left, bottom, wide, tall = layout.map_mm
    page = layout.page_mm
    axes = figure.add_axes((left / page[0], bottom / page[1], wide / page[0], tall / page[1]))
    west, south, east, north = layout.ground
    axes.set(xlim=(west, east), ylim=(south, north))
    axes.set_axisbelow(False)
    for spine in axes.spines.values():
        spine.set_linewidth(points(FRAME_MM))
        spine.set_zorder(9)
    return axes


def _draw(axes: Axes, drawn: Drawn) -> None:
    """Draw one kind of thing."""
    style = drawn.style
    if style.marker is not None:
        spots = shapely.get_coordinates(shapely.centroid(shapely.get_parts(drawn.shapes)))
        axes.plot(*spots.T, ls="none", zorder=drawn.order, **marker_style(style))
        return
    parts = shapely.get_parts(drawn.shapes)
    if style.face:
        _fill(axes, parts, drawn)
        return
    lines = [shapely.get_coordinates(line) for line in parts if not line.is_empty]
    pen = {"colors": style.color, "linewidths": points(style.width_mm), "linestyles": [style.line]}
    axes.add_collection(
        LineCollection(lines, zorder=drawn.order, capstyle="butt", **pen), autolim=False
    )


def _fill(axes: Axes, parts: np.ndarray, drawn: Drawn) -> None:
    style, patches = drawn.style, []
    for part in parts[shapely.get_dimensions(parts) == 2]:
        rings = [part.exterior, *part.interiors]
        paths = [Outline(np.asarray(ring.coords)[:, :2], closed=True) for ring in rings]
        patches.append(PathPatch(Outline.make_compound_path(*paths)))
    edge = style.color or "none"
    width = 0.0 if style.hatch or not style.color else points(style.width_mm)
    look: dict[str, Any] = {"fc": style.face, "hatch": style.hatch or None, "ec": edge, "lw": width}
    axes.add_collection(PatchCollection(patches, zorder=drawn.order, **look), autolim=False)


def _tile(axes: Axes, ground: Bounds) -> None:
    """Draw the outline of a tile on the index."""
    west, south, east, north = ground
    corners = [west, east, east, west, west], [south, south, north, north, south]
    axes.plot(*corners, color=SEA, lw=points(LINE_MM), zorder=6)


def _spots(axes: Axes, spots: Sequence[Spot]) -> None:
    for of, style in LEVELS.items():
        mine = np.array([(spot.x, spot.y) for spot in spots if spot.of == of])
        if len(mine):
            axes.plot(*mine.T, ls="none", zorder=4.6, **marker_style(style))


ROLES: dict[str, dict[str, Any]] = {
    **{role: {"weight": "bold"} for role in BOLD_ROLES},
    "tile": {"weight": "bold", "color": SEA},
    "trench": {"style": "italic"},
    "key": {"style": "italic"},
    "feature": {"color": GREY},
    "contour": {"color": SEA},
}


def _write_labels(axes: Axes, planned: Planned) -> None:
    family = planned.content.font
    for label in planned.labels:
        axes.text(
            label.x,
            label.y,
            label.text,
            fontsize=label.size_pt,
            rotation=label.angle_deg,
            rotation_mode="anchor",
            ha="center",
            va="center_baseline" if "\n" not in label.text else "center",
            linespacing=LINE_SPACING,
            zorder=5,
            family=family,
            clip_on=True,
            **{"color": INK, **ROLES.get(label.role, {})},
        )
        if label.of is not None:
            ends = shapely.get_coordinates(
                shapely.shortest_line(label.box, shapely.Point(label.of))
            )
            axes.plot(*ends.T, color=INK, lw=points(FAINT_MM), zorder=4.5)


def _grid(axes: Axes, planned: Planned) -> None:
    """Draw crosses of the grid, and its coordinates along the frame."""
    layout, content = planned.sheet.layout, planned.content
    step = next(s for s in GRID_STEPS_M if s * layout.metre_mm >= GRID_MM)
    zero = content.site.origin if content.hides_place else (0.0, 0.0)
    west, south, east, north = layout.ground
    x = _multiples_between(west, east, step, zero[0])
    y = _multiples_between(south, north, step, zero[1])
    arm = layout.ground_m(1.5)
    crosses = _clear_crosses(x, y, arm, planned.labels)
    arms = [((a - arm, b), (a + arm, b)) for a, b in crosses]
    arms += [((a, b - arm), (a, b + arm)) for a, b in crosses]
    axes.add_collection(
        LineCollection(arms, colors=GREY, linewidths=points(FAINT_MM), zorder=1.6), autolim=False
    )
    size, family = planned.letters.grid, content.font
    say, number = content.words.say, content.words.number
    texts = [say("grid_easting", metres=number(v - zero[0], 0)) for v in x]
    axes.set_xticks(x, texts, fontsize=size, family=family)
    texts = [say("grid_northing", metres=number(v - zero[1], 0)) for v in y]
    axes.set_yticks(y, texts, fontsize=size, family=family, rotation=90, va="center")
    axes.tick_params(length=points(1.0), width=points(FAINT_MM), pad=1.5, top=True, right=True)
    _keep_beside_frame(axes.get_xticklabels(), x, (west, east), layout)
    _keep_beside_frame(axes.get_yticklabels(), y, (south, north), layout)


def _clear_crosses(
    x: np.ndarray, y: np.ndarray, arm: float, labels: Sequence[Label]
) -> list[tuple[float, float]]:
    """Return the grid's crosses on which no text stands."""
    places = np.array([(a, b) for a in x for b in y]).reshape(-1, 2)
    grounds = shapely.box(*(places - arm).T, *(places + arm).T)
    boxes = np.array([label.box for label in labels], dtype=object)
    covered = np.unique(shapely.STRtree(boxes).query(grounds, predicate="intersects")[0])
    return [tuple(place) for place in np.delete(places, covered, axis=0).tolist()]


def _keep_beside_frame(
    labels: Sequence[Text], values: np.ndarray, ends: tuple[float, float], layout: Layout
) -> None:
    """Let coordinates near a corner end at their tick, so that none runs past the frame."""
    for label, value in zip(labels, values, strict=True):
        wide_mm, _ = size_mm(label.get_text(), label.get_fontsize(), label.get_fontfamily()[0])
        half = layout.ground_m(wide_mm / 2)
        low, high = value - ends[0] < half, ends[1] - value < half
        if low or high:
            upright = bool(label.get_rotation())
            side = ("bottom" if low else "top") if upright else ("left" if low else "right")
            label.set(**{"va" if upright else "ha": side})


def _multiples_between(low: float, high: float, step: float, zero: float) -> np.ndarray:
    first, last = np.ceil((low - zero) / step), np.floor((high - zero) / step)
    return zero + step * np.arange(first, last + 1)


def _columns(figure: Figure, planned: Planned) -> None:
    """Draw the columns of text, and the title block below them."""
    layout = planned.sheet.layout
    left, bottom, wide, tall = layout.column_mm
    page = layout.page_mm
    low = tall - planned.pen.tall
    for foot, high in ((low, planned.pen.tall), (0.0, low)):
        place = (left / page[0], (bottom + foot) / page[1], wide / page[0], high / page[1])
        axes = figure.add_axes(place)
        axes.set(xlim=(0, wide), ylim=(0, high))
        axes.axis("off")
        if foot:
            for draw in planned.pen.drawn:
                draw(axes)
        else:
            draw_title_block(axes, planned.content, layout, planned.named, planned.letters)
        axes.set(xlim=(0, wide), ylim=(0, high))
