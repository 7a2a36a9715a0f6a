"""Depths building by building: wall tops, wall bases, seabed and floors, never one for another."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes

from wrackline import contract
from wrackline.model import Site
from wrackline.publish.drawing_standards import points
from wrackline.publish.levels import levels_table
from wrackline.publish.text_pictures.style import (
    FINE_MM,
    GREY,
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
)
from wrackline.publish.text_pictures.words import say
from wrackline.quantities import fixed

Array = npt.NDArray[np.float64]

INTERVAL = 1.96
HEIGHTS = ("wall top", "wall base", "seabed", "floor")
MARKS: dict[str, dict[str, Any]] = {
    "wall top": {"marker": "^", "markerfacecolor": "#56b4e9", "markersize": 3.2},
    "wall base": {"marker": "v", "markerfacecolor": "#f0e442", "markersize": 3.2},
    "seabed": {"marker": "o", "markerfacecolor": "white", "markersize": 2.8},
    "floor": {"marker": "s", "markerfacecolor": INK, "markersize": 2.6},
}
LEVELS: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (7, 2, 1.5, 2)))
NEAR_M = 0.3
"""A wall line belongs to the building whose ground it keeps within so much (no source)."""

STRIP_MM, NUMBERS_MM, LEFT_MM = 52.0, 13.0, 11.0
LEAST_RANGE_M = 1.0
PITCH_MM, MOST_STRIPS = 2.7, 4
"""Distance at which numbers of buildings can stand side by side; strips on one picture."""


def depth_table(plan: Mapping[str, gpd.GeoDataFrame], site: Site) -> pd.DataFrame:
    """Return what the picture of depths shows.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Layers of the plan; `buildings` and `wall_lines` are read.
    site : Site
        Its sea levels are read.

    Returns
    -------
    DataFrame
        The fields of `contract.PICTURES["depths"]`: the named sea levels, then of each building,
        the shallowest seabed first, what was measured, in the order of `HEIGHTS`; what was not has
        a row without a depth that says why.
    """
    rows = list(level_rows(site))
    bases = wall_bases(plan["wall_lines"], plan["buildings"])
    houses = pd.DataFrame(plan["buildings"].drop(columns="geometry")).assign(
        base_depth_m=bases[:, 0], base_depth_sd_m=bases[:, 1]
    )
    houses = houses.sort_values(["bed_depth_m", "top_depth_m", "building"], kind="stable")
    fields = dict(zip(HEIGHTS, ("top", "base", "bed", "floor"), strict=True))
    for place, house in enumerate(houses.to_dict("records"), start=1):
        for of, field in fields.items():
            depth, sd = (house[f"{field}_depth_{part}m"] for part in ("", "sd_"))
            known = pd.notna(depth)
            row = {"of": of, "name": house["building"], "place": place}
            row |= {"depth_m": depth, "depth_sd_m": sd} if known else {"null_because": NOT[of]}
            rows.append(row)
    return pd.DataFrame(rows, columns=list(contract.picture_columns("depths")), dtype=object)


NOT = {
    "wall top": "no height of a wall's top was taken",
    "wall base": "no base of a wall was reached",
    "seabed": "no seabed was sounded in it",
    "floor": "no floor was met in it",
}


def level_rows(site: Site) -> Iterator[dict[str, Any]]:
    """Yield the named sea levels as depths below the site's own."""
    own = site.depth_level.height_m
    for row in levels_table(site).to_dict("records"):
        yield {
            "of": "sea level",
            "name": row["sea_level"],
            "depth_m": own - row["height_m"],
            "depth_sd_m": row["height_sd_m"],
        }


def wall_bases(walls: gpd.GeoDataFrame, buildings: gpd.GeoDataFrame) -> Array:
    """Return the mean depth of each building's wall bases, weighed by length, and its sd.

    Parameters
    ----------
    walls, buildings : GeoDataFrame
        Layers of the plan.

    Returns
    -------
    array, shape (n, 2)
        Mean and sd, NaN where no base was reached. The sd is as if all errors were shared, the most
        that it can be (GUM 5.2.2, note 1) [m].
    """
    found = np.full((len(buildings), 2), np.nan)
    based = walls[walls["base_depth_m"].notna() & (walls["evidence"] == "recorded")]
    if not len(based) or not len(buildings):
        return found
    ground = buildings.geometry.buffer(NEAR_M)
    house, line = based.sindex.query(ground, predicate="contains")
    weight = based["length_m"].to_numpy(float)[line]
    total = np.bincount(house, weight, minlength=len(buildings))
    for column, name in enumerate(("base_depth_m", "base_depth_sd_m")):
        value = based[name].to_numpy(float)[line] * weight
        held = np.bincount(house, value, minlength=len(buildings))
        found[:, column] = np.divide(held, total, where=total > 0, out=found[:, column])
    return found


def draw_depths(table: pd.DataFrame, about: Mapping[str, str]) -> Page:
    """Draw the table of depths.

    Parameters
    ----------
    table : DataFrame
        As `depth_table` returns it.
    about : mapping of str to str
        Statement beside the figures.
    """
    measured = table[(table["of"] != "sea level") & table["depth_m"].notna()]
    places = int(table["place"].astype(float).max()) if table["place"].notna().any() else 0
    strips = _strips(places)
    heading = say("depth_heading", site=about["site"], number=str(places))
    notes = [say("depth_note"), *_missing(table, places)]
    notes += [statement_note(about, "vertical_datum", "depths", "surveyed", "credit")]
    notes += [say("not_for_navigation")]
    kinds = sorted(set(measured["of"]), key=HEIGHTS.index)
    signs = _signs(kinds, [str(name) for name in table.loc[table["of"] == "sea level", "name"]])
    wide = PAGE_MM - LEFT_MM - 2
    key_mm = len(key_rows(signs, wide)) * KEY_ROW_MM + 1
    body = len(strips) * (STRIP_MM + NUMBERS_MM) + key_mm
    with mpl.rc_context(SETTINGS):
        made = page(PAGE_MM, body, heading, notes, _description(measured, about, places))
        draw_key(made, signs, LEFT_MM, body, wide)
        for number, (first, last) in enumerate(strips):
            bottom = body - key_mm - (number + 1) * STRIP_MM - number * NUMBERS_MM
            axes = made.panel(LEFT_MM, bottom, wide, STRIP_MM)
            part = measured[measured["place"].astype(float).between(first, last)]
            _strip(axes, part, (first, last), _limits(table), table)
    return made


def _strips(places: int) -> list[tuple[int, int]]:
    """Return the first and last place of each strip; as many strips as numbers need room.

    >>> _strips(3), _strips(70)
    ([(1, 3)], [(1, 35), (36, 70)])
    """
    room = int((PAGE_MM - LEFT_MM - 4) / PITCH_MM)
    number = min(max(-(-places // room), 1), MOST_STRIPS)
    each = max(-(-places // number), 1)
    return [(k * each + 1, max(min((k + 1) * each, places), 1)) for k in range(number)]


def _limits(table: pd.DataFrame) -> tuple[float, float]:
    """Return the least and the greatest depth that must be on the picture [m]."""
    known = table[table["depth_m"].notna()]
    depth, sd = (known[name].astype(float).to_numpy() for name in ("depth_m", "depth_sd_m"))
    reach = INTERVAL * np.nan_to_num(sd)
    low, high = float((depth - reach).min()), float((depth + reach).max())
    air = max(0.04 * (high - low), (LEAST_RANGE_M - high + low) / 2)
    return low - air, high + air


def _strip(
    axes: Axes,
    part: pd.DataFrame,
    ends: tuple[int, int],
    limits: tuple[float, float],
    table: pd.DataFrame,
) -> None:
    """Draw the buildings of one strip, a column each, over the sea levels."""
    axes.set(xlim=(ends[0] - 0.7, ends[1] + 0.7), ylim=limits[::-1])
    axes.grid(axis="y")
    axes.set_ylabel(say("depth_axis"))
    _draw_levels(axes, table)
    for of, mine in part.groupby("of", sort=False):
        place, depth = (mine[name].astype(float).to_numpy() for name in ("place", "depth_m"))
        reach = INTERVAL * np.nan_to_num(mine["depth_sd_m"].astype(float).to_numpy())
        axes.vlines(place, depth - reach, depth + reach, color=INK, linewidth=points(LINE_MM))
        style: dict[str, Any] = {"markeredgecolor": INK, "markeredgewidth": points(FINE_MM)}
        style |= {"zorder": 4, "linestyle": "none"}
        (marks,) = axes.plot(place, depth, **style, **MARKS[str(of)])
        marks.set_gid(f"{str(of).replace(' ', '-')}-{ends[0]}")
    _numbers(axes, table, ends)


def _draw_levels(axes: Axes, table: pd.DataFrame) -> None:
    """Draw the named sea levels as lines, with their 95 % bands."""
    levels = table[table["of"] == "sea level"].to_dict("records")
    for number, level in enumerate(levels):
        depth, reach = float(level["depth_m"]), INTERVAL * float(level["depth_sd_m"])
        axes.axhspan(depth - reach, depth + reach, color=LIGHT, alpha=0.5, linewidth=0, zorder=0.5)
        style = {"color": GREY, "linestyle": LEVELS[number % len(LEVELS)]}
        line = axes.axhline(depth, linewidth=points(LINE_MM), zorder=1, **style)
        line.set_gid(f"sea-level-{number + 1}")


def _numbers(axes: Axes, table: pd.DataFrame, ends: tuple[int, int]) -> None:
    """Write the buildings' numbers below, as many as have room."""
    rows = table[table["place"].notna() & (table["of"] == HEIGHTS[0])]
    mine = rows[rows["place"].astype(float).between(*ends)]
    pitch = (PAGE_MM - LEFT_MM - 2) / (ends[1] - ends[0] + 1.4)
    every = max(int(np.ceil(line_mm(SMALL_PT) * 0.95 / pitch)), 1)
    shown = mine.iloc[::every]
    axes.set_xticks(shown["place"].astype(float), shown["name"], rotation=90, fontsize=SMALL_PT)
    axes.tick_params(axis="x", length=0)


def _signs(kinds: Sequence[str], levels: Sequence[str]) -> list[Sign]:
    """Return the key of marks and lines."""
    edge: dict[str, Any] = {"markeredgecolor": INK, "markeredgewidth": points(FINE_MM)}
    marks = [
        Sign(say(f"depth_{of.replace(' ', '_')}"), {"linestyle": "none", **edge, **MARKS[of]})
        for of in kinds
    ]
    line: dict[str, Any] = {"color": GREY, "linewidth": points(LINE_MM)}
    return marks + [
        Sign(name, {**line, "linestyle": LEVELS[number % len(LEVELS)]})
        for number, name in enumerate(levels)
    ]


def _missing(table: pd.DataFrame, places: int) -> list[str]:
    """Return notes on what isn't drawn since nobody measured it."""
    lost = table[table["depth_m"].isna()]
    told = [
        say(f"depth_no_{of.replace(' ', '_')}", number=str(number))
        for of in HEIGHTS
        if (number := int((lost["of"] == of).sum()))
    ]
    if not places:
        return [say("depth_nothing")]
    return [say("depth_not_drawn", list=", ".join(told))] if told else []


def _description(measured: pd.DataFrame, about: Mapping[str, str], places: int) -> str:
    ranges = []
    for of, mine in measured.groupby("of", sort=False):
        depth = mine["depth_m"].astype(float)
        ends = {"low": fixed(depth.min(), 2), "high": fixed(depth.max(), 2)}
        what = say(f"depth_{str(of).replace(' ', '_')}")
        ranges.append(say("depth_range", what=what, number=str(len(mine)), **ends))
    told = "; ".join(ranges) or say("depth_nothing")
    return say("depth_description", site=about["site"], number=str(places), ranges=told)
