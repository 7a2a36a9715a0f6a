"""Sections across the site, to scale: the seabed with its 95 % band, walls, floors, sea levels."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.markers import CARETDOWN

from wrackline import contract
from wrackline.crs import grid_factors
from wrackline.model import Site
from wrackline.publish.drawing_standards import points
from wrackline.publish.text_pictures.depths import INTERVAL, LEVELS, level_rows
from wrackline.publish.text_pictures.section_line import (
    SectionLine,
    crossings,
    floors_met,
    recorded_lines,
    sample_line,
    site_line,
)
from wrackline.publish.text_pictures.style import (
    BOLD_MM,
    GREY,
    HAIR_MM,
    INK,
    KEY_ROW_MM,
    LIGHT,
    LINE_MM,
    PAGE_MM,
    SETTINGS,
    SMALL_PT,
    Page,
    Sign,
    draw_key,
    key_rows,
    line_mm,
    page,
    statement_note,
    wrapped,
)
from wrackline.publish.text_pictures.words import say
from wrackline.quantities import fixed

Array = npt.NDArray[np.float64]

MOST_RECORDED = 3
LEFT_MM, WIDE_MM, HIGH_MM, AXIS_MM = 11.0, 166.0, 58.0, 8.5
EXAGGERATIONS = (1, 2, 5, 10, 20, 50, 100)
BESIDE_M = 1.0
"""A wall is drawn from the lower bed so far on its two sides; over it the bed is its own top."""
WALL: dict[str, Any] = {"facecolor": "#56b4e9", "edgecolor": INK}
BAND: dict[str, Any] = {"facecolor": "#c8c8c8", "linewidth": 0}


def profile_table(
    plan: Mapping[str, gpd.GeoDataFrame], site: Site, surface: Sequence[str | Path]
) -> pd.DataFrame:
    """Return what the picture of sections shows.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Layers of the plan.
    site : Site
        Its origin, CRS and sea levels are read.
    surface : sequence of path, length 0 or 1
        The composite surface.

    Returns
    -------
    DataFrame
        The fields of `contract.PICTURES["profile"]`: for each section the line, then sea levels,
        seabed, wall tops and floors along it.
    """
    own = site_line(plan)
    lines = [own] if own else []
    lines += recorded_lines(plan["features"], MOST_RECORDED)
    rows = [
        {"section": number, **row}
        for number, line in enumerate(lines, start=1)
        for row in _section(line, plan, site, surface)
    ]
    return pd.DataFrame(rows, columns=list(contract.picture_columns("profile")), dtype=object)


def _section(
    line: SectionLine,
    plan: Mapping[str, gpd.GeoDataFrame],
    site: Site,
    surface: Sequence[str | Path],
) -> Iterator[dict[str, Any]]:
    """Yield the rows of one section."""
    yield _line_row(line, site)
    for level in level_rows(site):
        yield {**level, "from_m": 0.0, "to_m": line.length_m}
    for path in surface[:1]:
        yield from _bed_rows(sample_line(line, path), site.depth_level.height_m)
    for wall in crossings(line, plan):
        yield {"of": "wall top", **wall}
    for floor in floors_met(line, plan["rooms"]):
        yield {"of": "floor", **floor}


def _line_row(line: SectionLine, site: Site) -> dict[str, Any]:
    """Return where a section lies, from the site's origin."""
    east, north = np.subtract(line.end, line.start)
    turn, _ = grid_factors(site.crs, *np.array([line.start]).T)
    azimuth = float((np.degrees(np.arctan2(east, north)) + turn[0]) % 360)
    return {
        "of": "line",
        "name": line.name,
        "follows": line.follows,
        "from_m": 0.0,
        "to_m": line.length_m,
        "east_of_origin_m": line.start[0] - site.origin[0],
        "north_of_origin_m": line.start[1] - site.origin[1],
        "azimuth_deg": azimuth,
        "null_because": "depth_m: the line itself",
    }


def _bed_rows(told: Mapping[str, Array], level_m: float) -> Iterator[dict[str, Any]]:
    """Yield the seabed's depth at each point that has one."""
    for k in np.flatnonzero(np.isfinite(told["height"])):
        at = float(told["distance"][k])
        row = {"of": "seabed", "from_m": at, "to_m": at, "depth_m": level_m - told["height"][k]}
        filled = "filled" if told["filled"][k] > 0 else "sounded"
        yield {**row, "depth_sd_m": told["sd"][k], "evidence": filled}


def draw_profile(table: pd.DataFrame, about: Mapping[str, str]) -> Page:
    """Draw the table of sections.

    Parameters
    ----------
    table : DataFrame
        As `profile_table` returns it.
    about : mapping of str to str
        Statement beside the figures.
    """
    parts = [part for _, part in table.groupby("section", sort=True)]
    heading = say("profile_heading", site=about["site"])
    notes = [say("profile_note"), *_missing(table)]
    notes += [statement_note(about, "vertical_datum", "depths", "surveyed", "credit")]
    notes += [say("not_for_navigation")]
    scales = [_scale(part) for part in parts]
    titles = [wrapped(_title(part), WIDE_MM, SMALL_PT) for part in parts]
    heights = [
        len(title) * line_mm(SMALL_PT) + 1 + scale[2] + AXIS_MM
        for title, scale in zip(titles, scales, strict=True)
    ]
    signs = _signs(table)
    key_mm = len(key_rows(signs, WIDE_MM)) * KEY_ROW_MM + 1
    body = key_mm + sum(heights) if parts else 8.0
    with mpl.rc_context(SETTINGS):
        made = page(PAGE_MM, body, heading, notes, _description(parts, about))
        if not parts:
            made.write(say("profile_nothing"), 1.0, 2.0)
            return made
        draw_key(made, signs, LEFT_MM, body, WIDE_MM)
        top = body - key_mm
        for part, scale, title, high in zip(parts, scales, titles, heights, strict=True):
            made.write("\n".join(title), LEFT_MM, top - 0.3, va="top")
            _draw_section(made, part, scale, top - high + AXIS_MM)
            top -= high
    return made


def _scale(part: pd.DataFrame) -> tuple[float, int, float, float]:
    """Return mm a metre along, exaggeration, panel height [mm] and least depth [m] of a section."""
    known = part[part["depth_m"].notna()]
    depth, sd = (known[name].astype(float).to_numpy() for name in ("depth_m", "depth_sd_m"))
    reach = INTERVAL * np.nan_to_num(sd)
    low, high = float((depth - reach).min()), float((depth + reach).max())
    air = max(0.06 * (high - low), 0.1)
    tall = high - low + 2 * air
    length = float(part.loc[part["of"] == "line", "to_m"].iloc[0])
    along = min(WIDE_MM / length, HIGH_MM / tall)
    times = max(k for k in EXAGGERATIONS if k == 1 or k * along * tall <= HIGH_MM)
    return along, times, along * times * tall, low - air


def _title(part: pd.DataFrame) -> str:
    """Return where a section lies and how it is drawn, in words."""
    line = part[part["of"] == "line"].iloc[0]
    named = line["follows"] == "recorded"
    what = say("profile_recorded", name=line["name"]) if named else say(FOLLOWS[line["follows"]])
    east, north = float(line["east_of_origin_m"]), float(line["north_of_origin_m"])
    return say(
        "profile_title",
        what=what,
        east=fixed(abs(east), 0),
        east_word=say("east" if east >= 0 else "west"),
        north=fixed(abs(north), 0),
        north_word=say("north" if north >= 0 else "south"),
        azimuth=fixed(line["azimuth_deg"], 0),
        times=str(_scale(part)[1]),
    )


FOLLOWS = {"slope": "profile_slope", "long axis": "profile_axis"}


def _draw_section(
    made: Page, part: pd.DataFrame, scale: tuple[float, int, float, float], bottom: float
) -> None:
    """Draw one section, true to its scale."""
    along, times, high, least = scale
    length = float(part.loc[part["of"] == "line", "to_m"].iloc[0])
    axes = made.panel(LEFT_MM, bottom, along * length, high)
    axes.set(xlim=(0, length), ylim=(least + high / (along * times), least))
    axes.set(xlabel=say("profile_along"), ylabel=say("depth_axis"))
    axes.grid(axis="y")
    number = int(part["section"].iloc[0])
    _draw_levels(axes, part[part["of"] == "sea level"], number)
    _draw_bed(axes, part[part["of"] == "seabed"], number)
    _draw_walls(axes, part, number)
    _draw_floors(axes, part[part["of"] == "floor"], number)


def _draw_levels(axes: Axes, levels: pd.DataFrame, section: int) -> None:
    for number, level in enumerate(levels.to_dict("records")):
        depth, reach = float(level["depth_m"]), INTERVAL * float(level["depth_sd_m"])
        axes.axhspan(depth - reach, depth + reach, color=LIGHT, alpha=0.5, linewidth=0, zorder=0.5)
        style = {"color": GREY, "linestyle": LEVELS[number % len(LEVELS)], "zorder": 1}
        line = axes.axhline(depth, linewidth=points(LINE_MM), **style)
        line.set_gid(f"sea-level-{section}-{number + 1}")


def _draw_bed(axes: Axes, bed: pd.DataFrame, section: int) -> None:
    """Draw the seabed with its band, broken where there is none; lighter where it was filled."""
    if not len(bed):
        return
    at, depth, sd = (bed[n].astype(float).to_numpy() for n in ("from_m", "depth_m", "depth_sd_m"))
    step = float(np.diff(at).min()) if len(at) > 1 else 1.0
    breaks = np.flatnonzero(np.diff(at) > 1.5 * step) + 1
    at, depth, sd = (np.insert(values, breaks, np.nan) for values in (at, depth, sd))
    filled = np.insert((bed["evidence"] == "filled").to_numpy(), breaks, False)
    reach = INTERVAL * sd
    axes.fill_between(at, depth - reach, depth + reach, zorder=2, **BAND).set_gid(f"band-{section}")
    (line,) = axes.plot(at, depth, color=INK, linewidth=points(HAIR_MM), zorder=3)
    line.set_gid(f"seabed-{section}")
    sure = np.where(filled, np.nan, depth)
    (bold,) = axes.plot(at, sure, color=INK, linewidth=points(LINE_MM * 1.4), zorder=3)
    bold.set_gid(f"sounded-{section}")


def _draw_walls(axes: Axes, part: pd.DataFrame, section: int) -> None:
    """Draw walls from the lower bed beside them to their tops, with the tops' 95 % intervals."""
    walls, bed = part[part["of"] == "wall top"], part[part["of"] == "seabed"]
    if not len(walls):
        return
    low, high, top, sd = (
        walls[name].astype(float).to_numpy() for name in ("from_m", "to_m", "depth_m", "depth_sd_m")
    )
    foot = top
    if len(bed):
        at, depth = (bed[name].astype(float).to_numpy() for name in ("from_m", "depth_m"))
        foot = np.maximum(
            *(np.interp(place, at, depth) for place in (low - BESIDE_M, high + BESIDE_M))
        )
    bars = axes.bar(
        low, top - foot, high - low, bottom=foot, align="edge", linewidth=points(HAIR_MM),
        zorder=2.5, **WALL,
    )  # fmt: skip
    for bar, name in zip(bars, walls["name"], strict=True):
        bar.set_gid(f"wall-{section}-{str(name).split(';')[0]}")
    middle, reach = (low + high) / 2, INTERVAL * np.nan_to_num(sd)
    axes.vlines(middle, top - reach, top + reach, color=INK, linewidth=points(HAIR_MM), zorder=4)
    edge: dict[str, Any] = {"markeredgecolor": INK, "markeredgewidth": points(HAIR_MM)}
    shape: dict[str, Any] = {"marker": CARETDOWN, "markersize": 3.5, "markerfacecolor": "white"}
    (marks,) = axes.plot(middle, top, linestyle="none", zorder=4, **edge, **shape)
    marks.set_gid(f"wall-tops-{section}")


def _draw_floors(axes: Axes, floors: pd.DataFrame, section: int) -> None:
    """Draw the floors that were met, across their rooms, with their 95 % bands."""
    for floor in floors.to_dict("records"):
        ends = [float(floor["from_m"]), float(floor["to_m"])]
        depth, reach = float(floor["depth_m"]), INTERVAL * float(floor["depth_sd_m"])
        axes.fill_between(ends, depth - reach, depth + reach, zorder=2, **BAND)
        (line,) = axes.plot(ends, [depth] * 2, color="#d55e00", linewidth=points(BOLD_MM), zorder=3)
        line.set_gid(f"floor-{section}-{floor['name']}")


def _signs(table: pd.DataFrame) -> list[Sign]:
    """Return the key of what is drawn."""
    there = set(table["of"])
    filled = bool((table["evidence"] == "filled").any())
    ink: dict[str, Any] = {"color": INK}
    signs = [
        ("seabed", Sign(say("profile_bed"), {**ink, "linewidth": points(LINE_MM * 1.4)})),
        ("wall top", Sign(say("profile_wall"), fill={**WALL, "linewidth": points(HAIR_MM)})),
        ("floor", Sign(say("profile_floor"), {"color": "#d55e00", "linewidth": points(BOLD_MM)})),
    ]
    shown = [sign for of, sign in signs if of in there]
    if filled:
        shown.insert(1, Sign(say("profile_filled"), {**ink, "linewidth": points(HAIR_MM)}))
    line: dict[str, Any] = {"color": GREY, "linewidth": points(LINE_MM)}
    names = dict.fromkeys(table.loc[table["of"] == "sea level", "name"])
    return shown + [
        Sign(str(name), {**line, "linestyle": LEVELS[number % len(LEVELS)]})
        for number, name in enumerate(names)
    ]


def _missing(table: pd.DataFrame) -> list[str]:
    """Return notes on what isn't drawn since nobody measured it."""
    there = set(table["of"])
    if not there:
        return []
    keys = {"seabed": "profile_no_bed", "wall top": "profile_no_wall", "floor": "profile_no_floor"}
    told = [say(key) for of, key in keys.items() if of not in there]
    return [" ".join(told)] if told else []


def _description(parts: Sequence[pd.DataFrame], about: Mapping[str, str]) -> str:
    told = []
    for part in parts:
        bed = part.loc[part["of"] == "seabed", "depth_m"].astype(float)
        words = say("profile_no_bed")
        if len(bed):
            ends = {"low": fixed(bed.min(), 2), "high": fixed(bed.max(), 2)}
            walls = str(int((part["of"] == "wall top").sum()))
            words = say("profile_told", walls=walls, **ends)
        told.append(f"{_title(part)} {words}")
    return say("profile_description", site=about["site"], told=" ".join(told))
