"""Justified access graphs of the buildings whose doors are best known, side by side.

The outside is a circle with a cross, as in Hillier and Hanson 1984, The Social Logic of Space,
section 3.2 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Circle, PathPatch, Rectangle
from matplotlib.path import Path as Outline

from wrackline import contract
from wrackline.publish.access_table import LEAST_KNOWN
from wrackline.publish.drawing_standards import points
from wrackline.publish.text_pictures.style import (
    FINE_MM,
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
    text_mm,
)
from wrackline.publish.text_pictures.words import say
from wrackline.quantities import fixed
from wrackline.rooms.doors import doors_known, spaces_joined
from wrackline.rooms.justified import justified

LEAST_ROOMS, MOST_DRAWN = 3, 12
RADIUS_MM, PITCH_MM, LEVEL_MM, OUTSIDE_MM = 3.4, 7.5, 10.5, 2.0
ARC_MM = 5.2
"""Height of a line between spaces of one level that don't stand side by side."""
TITLE_MM, GAP_MM, HIGHEST_MM = 6.5, 3.5, 215.0
OUTSIDE = "outside"
CROSSED = Outline.make_compound_path(
    Outline.unit_circle(), Outline([(-1, 0), (1, 0)]), Outline([(0, -1), (0, 1)])
)
"""The outside's sign in the key."""
SEEN: dict[str, Any] = {"color": INK, "linewidth": points(LINE_MM * 1.4), "linestyle": "-"}
POSSIBLE: dict[str, Any] = {
    "color": INK,
    "linewidth": points(LINE_MM),
    "linestyle": (0, (3, 2)),
}


def access_graphs(rooms: gpd.GeoDataFrame, openings: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return the justified access graphs of all buildings with doors enough known.

    Parameters
    ----------
    rooms, openings : GeoDataFrame
        Layers of the plan.

    Returns
    -------
    DataFrame
        The fields of `contract.PICTURES["access"]`: the buildings whose doors are best known
        first; of each its spaces, then its ways from space to space. A building of `LEAST_ROOMS`
        rooms or more of whose doors too few were seen has one row that says so.
    """
    ways = pd.DataFrame(openings.drop(columns="geometry"))
    owner = dict(zip(rooms["room"], rooms["building"], strict=True))
    leads = [{owner.get(part) for part in str(joins).split(";")} for joins in ways["joins"]]
    found, poor = [], []
    for name, mine in rooms.groupby("building", sort=True):
        if len(mine) < LEAST_ROOMS:
            continue
        doors = ways[np.array([name in owners for owners in leads], dtype=bool)]
        share = doors_known(doors, list(mine["room"]))
        if share < LEAST_KNOWN:
            poor.append(_left_out(str(name), share))
        else:
            found.append((-share, -len(mine), str(name), list(_graph(str(name), mine, doors))))
    rows = []
    for place, (share, _, name, part) in enumerate(sorted(found), start=1):
        common = {"building": name, "place": place, "doors_known_share": -share}
        rows += [common | row for row in part]
    columns = list(contract.picture_columns("access"))
    table = pd.DataFrame(rows + poor, columns=columns, dtype=object)
    table["drawn"] = table["place"].isin(_drawn(table))
    return table


def _left_out(building: str, share: float) -> dict[str, Any]:
    why = f"all: {share:.0%} of the doors known, {LEAST_KNOWN:.0%} needed"
    return {
        "building": building,
        "row": "left out",
        "doors_known_share": share,
        "null_because": why,
    }


def _graph(building: str, rooms: pd.DataFrame, doors: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield the spaces and the ways of one building."""
    names = sorted(rooms["room"])
    kinds = dict(zip(rooms["room"], rooms["kind"], strict=True))
    ways: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for number, pairs, evidence in spaces_joined(doors, names):
        for one, other in pairs:
            ways.setdefault((min(one, other), max(one, other)), []).append((number, evidence))
    places = justified(list(ways), names)
    for space, at in places.items():
        row = {"row": "space", "space": space, "kind": kinds.get(space, OUTSIDE)}
        why = (
            {} if at.step is not None else {"null_because": "steps_from_outside: no way leads here"}
        )
        yield {**row, "steps_from_outside": at.step, "level": at.row, "across": at.across, **why}
    for (one, other), met in sorted(ways.items()):
        evidence = "seen" if any(told == "seen" for _, told in met) else "possible"
        numbers = ";".join(number for number, _ in met)
        told = {"evidence": evidence, "openings": numbers}
        yield {"row": "way", "space": one, "to_space": other, **told}


@dataclass(frozen=True)
class _Cell:
    """A graph on the page: which, how wide and high it is, and where its lower left lies [mm]."""

    place: int
    wide: float
    high: float
    left: float = 0.0
    below: float = 0.0


def _cells(table: pd.DataFrame) -> list[list[_Cell]]:
    """Return the graphs that are drawn, in rows as wide as the page; `below` is the row's depth."""
    rows: list[list[_Cell]] = []
    left = depth = 0.0
    spaces = table[table["row"] == "space"]
    for place, mine in spaces.groupby(spaces["place"].astype(int), sort=True):
        if place > MOST_DRAWN:
            break
        wide = max(float(mine["across"].astype(float).max()) * 2 + 1, 1) * PITCH_MM
        wide = max(wide, *(text_mm(line, SMALL_PT) + 1 for line in _heading(table, int(place))))
        high = TITLE_MM + int(mine["level"].max()) * LEVEL_MM + 2 * RADIUS_MM + 1
        if not rows or left + wide > PAGE_MM - 2:
            depth += max(cell.high for cell in rows[-1]) + GAP_MM if rows else 0.0
            if depth + high > HIGHEST_MM and rows:
                break
            rows.append([])
            left = 0.0
        rows[-1].append(_Cell(int(place), wide, high, left, depth))
        left += wide + GAP_MM
    return rows


def _drawn(table: pd.DataFrame) -> list[int]:
    return [cell.place for row in _cells(table) for cell in row]


def _heading(table: pd.DataFrame, place: int) -> tuple[str, str]:
    """Return what stands above a graph: the building, and how much of its doors was seen."""
    mine = table[table["place"] == place]
    share = float(mine["doors_known_share"].iloc[0])
    ways = mine[mine["row"] == "way"]
    seen = int((ways["evidence"] == "seen").sum())
    words = say("access_known", seen=str(seen), possible=str(len(ways) - seen))
    return f"{mine['building'].iloc[0]} ({fixed(100 * share, 0)} %)", words


def draw_access(table: pd.DataFrame, about: Mapping[str, str]) -> Page:
    """Draw the graphs of the buildings whose doors are best known.

    Parameters
    ----------
    table : DataFrame
        As `access_graphs` returns it.
    about : mapping of str to str
        Statement beside the figures.
    """
    rows = _cells(table)
    every = int(table["place"].nunique())
    drawn = sum(map(len, rows))
    heading = say("access_heading_none", site=about["site"])
    if drawn:
        heading = say("access_heading", site=about["site"], number=str(drawn), all=str(every))
    poor = int((table["row"] == "left out").sum())
    least = {"rooms": str(LEAST_ROOMS), "share": fixed(100 * LEAST_KNOWN, 0)}
    notes = [say("access_note"), say("access_left_out", number=str(poor), **least)]
    notes.append(statement_note(about, "surveyed", "credit"))
    high = max((c.below + c.high for row in rows for c in row), default=8.0)
    signs = _signs(table)
    key_mm = len(key_rows(signs, PAGE_MM - 4)) * KEY_ROW_MM + 2 if rows else 0.0
    with mpl.rc_context(SETTINGS):
        made = page(PAGE_MM, high + key_mm, heading, notes, _description(table, about, drawn))
        if not rows:
            made.write(say("access_nothing", **least), 1.0, 2.0)
            return made
        draw_key(made, signs, 1.0, high + key_mm, PAGE_MM - 4)
        axes = made.panel(1.0, 0.0, PAGE_MM - 2, high)
        axes.set(xlim=(0, PAGE_MM - 2), ylim=(0, high))
        axes.axis("off")
        for cell in (cell for row in rows for cell in row):
            _draw_graph(axes, table[table["place"] == cell.place], cell, high - cell.below)
    return made


def _draw_graph(axes: Axes, mine: pd.DataFrame, cell: _Cell, top: float) -> None:
    """Draw one building's graph under its heading."""
    for number, line in enumerate(_heading(mine, cell.place)):
        place = (cell.left, top - number * line_mm(SMALL_PT))
        axes.text(
            *place, line, va="top", fontsize=SMALL_PT, weight="bold" if not number else "normal"
        )
    floor = top - cell.high + RADIUS_MM + 0.5
    spaces = mine[mine["row"] == "space"].to_dict("records")
    at = {
        row["space"]: (
            cell.left + cell.wide / 2 + float(row["across"]) * PITCH_MM,
            floor + int(row["level"]) * LEVEL_MM,
        )
        for row in spaces
    }
    for way in mine[mine["row"] == "way"].to_dict("records"):
        _draw_way(axes, at[way["space"]], at[way["to_space"]], way)
    for row in spaces:
        _draw_space(axes, at[row["space"]], row)


def _draw_way(
    axes: Axes, one: tuple[float, float], other: tuple[float, float], way: Mapping[Any, Any]
) -> None:
    """Draw a way: straight, or an arc over the spaces between two of one level."""
    codes = [Outline.MOVETO, Outline.LINETO]
    corners = [one, other]
    if one[1] == other[1] and abs(one[0] - other[0]) > 1.5 * PITCH_MM:
        peak = ((one[0] + other[0]) / 2, one[1] + 2 * ARC_MM)
        codes, corners = [Outline.MOVETO, Outline.CURVE3, Outline.CURVE3], [one, peak, other]
    style = SEEN if way["evidence"] == "seen" else POSSIBLE
    line = PathPatch(Outline(corners, codes), fill=False, zorder=2, **style)
    line.set_gid(f"way-{way['building']}-{way['space']}-{way['to_space']}")
    axes.add_patch(line)


def _draw_space(axes: Axes, place: tuple[float, float], row: Mapping[Any, Any]) -> None:
    """Draw a space with its number, the outside as a circle with a cross."""
    x, y = place
    style: dict[str, Any] = {"edgecolor": INK, "linewidth": points(FINE_MM * 1.4), "zorder": 3}
    if row["space"] == OUTSIDE:
        shape: Any = Circle(place, OUTSIDE_MM, facecolor="white", **style)
        for ends in (((x - OUTSIDE_MM, x + OUTSIDE_MM), (y, y)), ((x, x), (y - 2, y + 2))):
            axes.plot(*ends, color=INK, linewidth=points(FINE_MM * 1.4), zorder=4)
    elif row["kind"] == "court":
        corner = (x - RADIUS_MM, y - RADIUS_MM)
        shape = Rectangle(corner, 2 * RADIUS_MM, 2 * RADIUS_MM, facecolor=LIGHT, **style)
    else:
        shape = Circle(place, RADIUS_MM, facecolor="white", **style)
    if pd.isna(row["steps_from_outside"]):
        shape.set_linestyle((0, (1.5, 1.5)))
    shape.set_gid(f"space-{row['building']}-{row['space']}")
    axes.add_patch(shape)
    if row["space"] != OUTSIDE:
        words = str(row["space"]).removeprefix("R").replace("-", "\n", 1)
        centred: dict[str, Any] = {"ha": "center", "va": "center", "linespacing": 0.95}
        axes.text(x, y, words, fontsize=SMALL_PT, zorder=5, **centred)


def _signs(table: pd.DataFrame) -> list[Sign]:
    """Return the key of what is drawn."""
    drawn = table[table["drawn"].astype(bool)]
    edge: dict[str, Any] = {"markeredgecolor": INK, "markeredgewidth": points(FINE_MM)}
    edge |= {"linestyle": "none", "markersize": 6}
    cross = {**edge, "marker": CROSSED, "markerfacecolor": "white"}
    signs = [
        Sign(say("access_outside"), cross),
        Sign(say("access_room"), {**edge, "marker": "o", "markerfacecolor": "white"}),
    ]
    if (drawn["kind"] == "court").any():
        signs.append(Sign(say("access_court"), {**edge, "marker": "s", "markerfacecolor": LIGHT}))
    for evidence, style in (("seen", SEEN), ("possible", POSSIBLE)):
        if (drawn["evidence"] == evidence).any():
            signs.append(Sign(say(f"access_{evidence}"), style))
    return signs


def _description(table: pd.DataFrame, about: Mapping[str, str], drawn: int) -> str:
    told = []
    for place in range(1, drawn + 1):
        mine = table[(table["place"] == place) & (table["row"] == "space")]
        steps = mine["steps_from_outside"].dropna().astype(int)
        words = {"building": str(mine["building"].iloc[0]), "rooms": str(len(mine) - 1)}
        told.append(say("access_told", deepest=str(steps.max()), **words))
    return say("access_description", site=about["site"], told=" ".join(told))
