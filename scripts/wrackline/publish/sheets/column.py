"""What stands beside a sheet's map: norths, scale bar, legend, what it rests on, title block."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from wrackline.numbers import NUMBERED
from wrackline.publish.drawing_standards import points
from wrackline.publish.sheets.content import Content
from wrackline.publish.sheets.norths import Norths, say_norths
from wrackline.publish.sheets.paper import COLUMN_MM, DRAWN_MM, Layout
from wrackline.publish.sheets.pen import BOLD_WIDER, SPACING, Pen, width_mm, wrapped
from wrackline.publish.sheets.spots import Spot
from wrackline.publish.sheets.style import (
    FAINT_MM,
    LEVELS,
    LINE_MM,
    POINT_MM,
    THIN_MM,
    Letters,
    Style,
)
from wrackline.publish.sheets.things import Drawn
from wrackline.publish.tones import GREY, INK

LEAST_PT = 4.5
"""No letters on a sheet are smaller."""
ARROWS_MM = (22.0, 19.0)
"""Width and height of the north arrows."""


@dataclass(frozen=True)
class Named:
    """A sheet's name in its set.

    Attributes
    ----------
    number : str
        As printed, e.g. ``C4`` or a building's number.
    title : str
    page, pages : int
        Which page of how many.
    beside : mapping of str to str
        Sheets to the north, east, south and west, by those words.
    """

    number: str
    title: str
    page: int = 1
    pages: int = 1
    beside: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Shown:
    """What came onto a sheet, for its legend and lists.

    Attributes
    ----------
    things : sequence of Drawn
    spots : sequence of Spot
    keys : mapping of int to str
        Rooms by key number.
    unplaced : sequence of str
        Buildings without a place for their number.
    rooms_numbered : bool
    relief : (str, Style) or None
        Words and sample of the relief below.
    picture : str
        Survey of the picture below; empty where there is none.
    unnumbered : int
        Rooms wholly on the sheet that have no place for a number or a key.
    """

    things: Sequence[Drawn]
    spots: Sequence[Spot]
    keys: Mapping[int, str]
    unplaced: Sequence[str]
    rooms_numbered: bool
    relief: tuple[str, Style] | None = None
    picture: str = ""
    unnumbered: int = 0


def write_column(
    content: Content,
    layout: Layout,
    named: Named,
    shown: Shown,
    letters: Letters,
    *,
    cut: bool = False,
) -> Pen:
    """Return the columns of a sheet, written but not yet drawn.

    Parameters
    ----------
    content : Content
        What touches the sheet.
    layout : Layout
    named : Named
    shown : Shown
    letters : Letters
    cut : bool
        Whether lists end where the last column does, and say how much is left out.
    """
    block_mm = title_block_mm(content, layout, named, letters)
    _, _, _, tall = layout.column_mm
    pen = Pen(COLUMN_MM[layout.paper], tall - block_mm - 3.0, content.font)
    if cut:
        pen.last = layout.columns
    _norths(pen, content, letters)
    _scale_bar(pen, content, layout, letters)
    _promise(pen, content, layout, letters)
    _legend(pen, content, shown, letters)
    _basis(pen, content, shown, letters)
    _caution(pen, content, letters)
    _lists(pen, content, named, shown, letters)
    return pen


def _norths(pen: Pen, content: Content, letters: Letters) -> None:
    """Draw grid and true north, for a diver the compass's too, and say how far apart they are."""
    words, size = content.words, letters.note
    norths = content.norths
    if norths is None:
        lines = [words.say("north_roughly")]
    else:
        lines = say_norths(norths, words)[: None if content.for_diver else 1]
        lines.append(words.say("grid_named", crs=content.site.crs))
    if content.for_diver:
        lines.append(words.say("bearings_are_magnetic"))
    top = pen.room(ARROWS_MM[1])
    _arrows(pen, norths, top - ARROWS_MM[1] + 1.0, content)
    if content.for_diver:
        for line in lines:
            pen.text(line, size)
        return
    y = top - 3.0
    for line in lines:
        for part in wrapped(line, pen.wide - ARROWS_MM[0], size, pen.font):
            pen.write(ARROWS_MM[0], y, part, size)
            y -= size * POINT_MM * 1.25
        y -= 0.6


def _arrows(pen: Pen, norths: Norths | None, foot: float, content: Content) -> None:
    """Draw the arrows: a schema, each on its side; the angles are those that are written."""
    x, long = pen.x + 9.5, 12.5
    true, magnetic = arrow_turns(norths)
    for turn, head, width, key in (
        (0.0, "-|>", LINE_MM, "mark_grid"),
        (true, "->", THIN_MM, "mark_true"),
        (magnetic, "<|-|>", THIN_MM, "mark_magnetic"),
    ):
        if turn is None:
            continue
        across, up = np.sin(np.radians(turn)), np.cos(np.radians(turn))
        tip = (x + long * across, foot + long * up)
        style: dict[str, Any] = {"arrowstyle": head, "color": INK, "mutation_scale": 5}
        style |= {"lw": points(width), "shrinkA": 0, "shrinkB": 0}
        pen.drawn.append(_arrow((x, foot), tip, style))
        text = content.words.say(key)
        pen.write(
            tip[0] + 2.2 * across - pen.x, tip[1] + 1.4 * up, text, 5.0, ha="center", weight="bold"
        )


def arrow_turns(norths: Norths | None) -> tuple[float | None, float | None]:
    """Return how far true and magnetic north are drawn off grid north, clockwise [degrees].

    Each stands on its own side; where both are on one side, what lies further off is drawn further.

    >>> arrow_turns(Norths(None, 1.2, -7.7)), arrow_turns(Norths(None, 3.0, 1.0))
    ((16.0, -16.0), (32.0, 16.0))
    """
    if norths is None:
        return None, None
    spread, true, magnetic = 16.0, norths.true_deg, norths.magnetic_deg
    sides = [spread if (angle or 0.0) >= 0 else -spread for angle in (true, magnetic)]
    if magnetic is None:
        return sides[0], None
    if sides[0] == sides[1]:
        sides[int(abs(magnetic) >= abs(true))] *= 2
    return sides[0], sides[1]


def _arrow(foot: tuple[float, float], tip: tuple[float, float], style: dict[str, Any]) -> Any:
    return lambda axes: axes.annotate("", tip, foot, arrowprops=style)


def _scale_bar(pen: Pen, content: Content, layout: Layout, letters: Letters) -> None:
    """Draw a bar of a round length, and say that the sheet is to scale in the grid."""
    words, size = content.words, letters.note
    longest = (pen.wide - 10.0) / layout.metre_mm
    length = next(
        s
        for s in (10000, 5000, 2000, 1000, 500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5, 0.2)
        if s <= longest
    )
    wide = length * layout.metre_mm
    top = pen.room(8.0)
    x, y = pen.x, top - 7.0
    for k in range(4):
        face = INK if k % 2 == 0 else "white"
        pen.drawn.append(_bar(x + k * wide / 4, y, wide / 4, face))
    pen.write(0.0, y + 2.4, "0", size)
    text = f"{words.number(length, _digits(length))} {words.say('unit_m')}"
    pen.write(wide, y + 2.4, text, size, ha="center")
    half = words.number(length / 2, _digits(length / 2))
    pen.write(wide / 2, y + 2.4, half, size, ha="center")
    pen.text(words.say("true_scale"), size)
    if layout.refused:
        text = words.say("scale_refused", wanted=f"{layout.refused}", paper=layout.paper)
        pen.text(text, size, weight="bold")


def _digits(value: float) -> int:
    """Return the decimals that a round number needs, up to two."""
    return next((n for n in (0, 1) if round(value, n) == value), 2)


def sd_digits(sd_m: float) -> int:
    """Return the decimals of an sd in metres: two, and more where it is below a centimetre.

    >>> sd_digits(0.02), sd_digits(0.0042), sd_digits(0.0)
    (2, 3, 2)
    """
    return next((n for n in (2, 3, 4) if sd_m >= 10.0**-n), 2 if sd_m <= 0 else 5)


def _bar(x: float, y: float, wide: float, face: str) -> Any:
    style: dict[str, Any] = {"fc": face, "ec": INK, "lw": points(FAINT_MM)}
    return lambda axes: axes.fill([x, x + wide, x + wide, x], [y, y, y + 1.4, y + 1.4], **style)


def _promise(pen: Pen, content: Content, layout: Layout, letters: Letters) -> None:
    """Say what the scale promises, and which walls on the sheet aren't known as finely."""
    words = content.words
    drawn = layout.ground_m(DRAWN_MM)
    values = {"mm": words.number(DRAWN_MM, 1), "m": words.number(drawn, 3)}
    coarse = coarser_than(content, drawn)
    if not coarse:
        pen.text(words.say("promise_kept", **values), letters.note)
        return
    named = [
        f"{words.own(technique)} ({words.number(sd, sd_digits(sd))} {words.say('unit_m')})"
        for technique, sd in coarse
    ]
    text = words.say("promise_broken_by", walls="; ".join(named), **values)
    pen.text(text, letters.note, weight="bold")


def coarser_than(content: Content, drawn_m: float) -> list[tuple[str, float]]:
    """Return techniques of walls on a sheet whose position is less sure than a drawn line, with sd.

    Parameters
    ----------
    content : Content
        What touches the sheet.
    drawn_m : float
        What a drawn line shows [m].
    """
    rows = wall_surveys(content)
    worst: dict[str, float] = {}
    for _, row in rows.iterrows():
        sd = position_sd(row)
        if sd > drawn_m:
            worst[row["technique"]] = max(sd, worst.get(row["technique"], 0.0))
    return sorted(worst.items(), key=lambda item: -item[1])


def wall_surveys(content: Content) -> pd.DataFrame:
    """Return the rows of those surveys whose wall lines touch a sheet."""
    named = content.plan["wall_lines"]["surveys"].fillna("").str.split(";").explode()
    return content.surveys[content.surveys["survey"].isin(set(named))]


def position_sd(row: pd.Series) -> float:
    """Return how well a survey's positions are known against each other, one sd [m]."""
    parts = [row["random_horizontal_sd_m"], row["patchy_horizontal_sd_m"]]
    return float(np.sqrt(np.nansum(np.square(np.array(parts, dtype=float)))))


def _legend(pen: Pen, content: Content, shown: Shown, letters: Letters) -> None:
    words, size = content.words, letters.note
    pen.heading(words.say("legend"), letters.heading)
    for drawn in shown.things:
        if drawn.words:
            pen.legend(drawn.words, drawn.sample or drawn.style, size)
    for of, style in LEVELS.items():
        if any(spot.of == of for spot in shown.spots):
            pen.legend(words.say(f"spot_{of.replace(' ', '_')}"), style, size)
    if shown.relief:
        pen.legend(*shown.relief, size)
    if shown.picture:
        pen.legend(words.say("mosaic", survey=words.own(shown.picture)), None, size)
    if shown.rooms_numbered:
        pen.text(words.say("room_numbers"), size)
    if shown.unnumbered:
        pen.text(words.say("rooms_unnumbered", count=str(shown.unnumbered)), size)


def _levels_text(content: Content) -> str:
    """Return what levels on the sheet count from."""
    words = content.words
    if not content.shows_depths:
        if content.hides_place:
            return words.say("heights_above_site_datum")
        return words.say("heights_above", datum=words.own(content.site.vertical_datum))
    return words.say("depths_below", level=words.own(content.level.name))


def _basis(pen: Pen, content: Content, shown: Shown, letters: Letters) -> None:
    """Write datum, sea level, dates and techniques of the walls, and the phase drawn."""
    words, size = content.words, letters.note
    pen.heading(words.say("basis"), letters.heading)
    level = content.level
    if content.hides_place:
        pen.text(words.say("counted_from_origin"), size)
    pen.text(_levels_text(content), size)
    if not content.hides_place:
        if content.shows_depths:
            datum = words.own(content.site.vertical_datum)
            pen.text(words.say("vertical_datum", datum=datum), size)
        height, sd = words.number(level.height_m, 3), words.number(level.sd_m, 3)
        pen.text(words.say("depths", level=words.own(level.name), height=height, sd=sd), size)
    for text in _techniques(content):
        pen.text(text, size)
    if len(content.phases) > 1:
        pen.text(words.say("phase_last", phase=words.own(content.phases[-1])), size)
    elif not content.site.phases:
        pen.text(words.say("unphased"), size)
    pen.text(words.say("line_widths"), size)


def _techniques(content: Content) -> list[str]:
    """Return one line for each technique of the walls on a sheet: dates and how good it is."""
    words = content.words
    lines = []
    for technique, part in wall_surveys(content).groupby("technique", sort=False):
        first, last = words.date(part["from_date"].min()), words.date(part["to_date"].max())
        worst = max(position_sd(row) for _, row in part.iterrows())
        sd = words.number(worst, sd_digits(worst))
        named = words.own(str(technique))
        lines.append(words.say("walls_by", technique=named, first=first, last=last, sd=sd))
    return lines


def _lists(pen: Pen, content: Content, named: Named, shown: Shown, letters: Letters) -> None:
    """Write neighbours, keys, numbers of other plans, and numbers without a place."""
    words, size = content.words, letters.note
    if named.beside:
        pen.heading(words.say("neighbours"), letters.heading)
        pen.listed([f"{words.say(side)}: {other}" for side, other in named.beside.items()], size)
    if shown.unplaced:
        some = shown.unplaced if pen.last is None else [*shown.unplaced[:3], "…"]
        pen.text(words.say("no_place", numbers=", ".join(some)), size)
    left = 0
    for heading, texts in (
        ("rooms_by_key", [f"{key}  {number}" for key, number in sorted(shown.keys.items())]),
        ("other_numbers", other_numbers(content.plan)),
    ):
        if pen.is_full(letters.heading + 4 * size):
            left += len(texts)
        elif texts:
            pen.heading(words.say(heading), letters.heading)
            left += pen.listed(texts, size)
    if left:
        pen.text(words.say("more_left_out", count=str(left)), size, weight="bold")


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


def _caution(pen: Pen, content: Content, letters: Letters) -> None:
    words = content.words
    pen.heading(words.say("caution_heading"), letters.heading)
    pen.text(words.say("caution"), letters.note, weight="bold")
    if content.for_diver:
        pen.text(words.say("not_for_diving"), letters.note, weight="bold")


def title_fields(content: Content, layout: Layout, named: Named) -> list[list[tuple[str, str]]]:
    """Return the title block's fields, row by row: name and what stands in it.

    What nobody told stays empty, to be filled in by hand.
    """
    words, block = content.words, content.site.title_block
    date = words.date(block.date) if block.date else ""
    rows = [
        [("scale", f"1:{layout.scale}"), ("paper", layout.paper)],
        [
            ("sheet_number", named.number),
            ("page", words.say("page_of", number=str(named.page), count=str(named.pages))),
        ],
        [("revision", block.revision or content.season), ("date", date)],
        [(key, words.own(getattr(block, key) or "")) for key in ("drawn", "checked")],
    ]
    if content.hides_place:
        return [*rows, [("surveyed_short", _surveyed(content))]]
    rows.append([("surveyed_short", _surveyed(content)), ("permit", words.own(block.permit or ""))])
    return [*rows, [("credit", words.own(content.site.credit))]]


def _surveyed(content: Content) -> str:
    """Return first and last day of all surveys."""
    words, table = content.words, content.surveys
    if not len(table):
        return ""
    return f"{words.date(table['from_date'].min())} – {words.date(table['to_date'].max())}"


def _headings(
    content: Content, named: Named, wide: float, letters: Letters
) -> list[tuple[str, float, str]]:
    """Return the lines above the fields, each with its size and weight."""
    words = content.words
    site, title = words.own(content.site.name), named.title

    def _lines(text: str, size_pt: float) -> list[str]:
        return wrapped(text, wide - 3.0, size_pt, content.font)

    return [
        *((text, letters.site, "bold") for text in _lines(site, letters.site * BOLD_WIDER)),
        *((text, letters.title, "normal") for text in _lines(title, letters.title)),
    ]


def title_block_mm(content: Content, layout: Layout, named: Named, letters: Letters) -> float:
    """Return the height of the title block [mm]."""
    wide = layout.column_mm[2]
    heads = _headings(content, named, wide, letters)
    high = float(sum(size for _, size, _ in heads)) * POINT_MM * 1.3 + 2.0
    return high + sum(_field_rows(content, layout, named, letters)[1])


Cell = tuple[str, list[str], float]


def _field_rows(
    content: Content, layout: Layout, named: Named, letters: Letters
) -> tuple[list[list[Cell]], list[float]]:
    """Return the title block's fields, each with its lines and size, and the rows' heights [mm].

    A long value is set smaller, down to `LEAST_PT`, and then in several lines.
    """
    rows, heights = [], []
    for row in title_fields(content, layout, named):
        wide, cells = layout.column_mm[2] / len(row) - 2.0, []
        for key, value in row:
            size = 1.1 * letters.note
            fits = wide / max(width_mm(value, size, content.font), 0.1)
            size = max(size * min(1.0, fits), min(LEAST_PT, size))
            cells.append((key, wrapped(value, wide + 0.01, size, content.font), size))
        more = max((len(lines) - 1) * size * SPACING * POINT_MM for _, lines, size in cells)
        rows.append(cells)
        heights.append(1.15 * letters.note + more)
    return rows, heights


def draw_title_block(
    axes: Axes, content: Content, layout: Layout, named: Named, letters: Letters
) -> None:
    """Draw the title block at the foot of the columns.

    Parameters
    ----------
    axes : Axes
        One unit a millimetre, from the columns' lower left.
    content : Content
    layout : Layout
    named : Named
    letters : Letters
    """
    wide = layout.column_mm[2]
    high = title_block_mm(content, layout, named, letters)
    family = content.font
    frame: dict[str, Any] = {"color": INK, "lw": points(LINE_MM)}
    axes.plot([0, wide, wide, 0, 0], [0, 0, high, high, 0], **frame)
    y = high - 0.6
    for text, size, weight in _headings(content, named, wide, letters):
        y -= size * POINT_MM * 1.3
        axes.text(1.5, y + 0.8, text, fontsize=size, weight=weight, color=INK, family=family)
    rows, heights = _field_rows(content, layout, named, letters)
    for k, row in enumerate(rows):
        top, step = sum(heights[k:]), heights[k]
        axes.plot([0, wide], [top, top], color=INK, lw=points(FAINT_MM))
        for j, (key, lines, size) in enumerate(row):
            x = j * wide / len(row)
            if j:
                axes.plot([x, x], [top - step, top], color=INK, lw=points(FAINT_MM))
            name = content.words.say(key)
            axes.text(x + 1.0, top - 2.2, name, fontsize=LEAST_PT, color=GREY, family=family)
            for i, line in enumerate(lines[::-1]):
                y = top - step + 1.0 + i * size * SPACING * POINT_MM
                axes.text(x + 1.0, y, line, fontsize=size, color=INK, family=family)
