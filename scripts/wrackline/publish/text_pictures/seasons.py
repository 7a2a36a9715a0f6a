"""Seasons side by side: what each traced, looked at, found and changed, in small panels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import LogLocator, MaxNLocator

from wrackline.publish.drawing_standards import points
from wrackline.publish.text_pictures.season_table import CHANGED, GONE, GROUNDS, NEW, UNSEEN
from wrackline.publish.text_pictures.style import (
    BOLD_MM,
    FILLS,
    FINE_MM,
    HAIR_MM,
    INK,
    KEY_ROW_MM,
    PAGE_MM,
    SETTINGS,
    SMALL_PT,
    TEXT_PT,
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

WIDE_MM, HIGH_MM, LEFT_MM, BETWEEN_MM = 47.0, 32.0, 11.0, 12.0
HEAD_MM, TURNED_MM = 13.0, 14.0
MOST_TECHNIQUES = 6
EDGE: dict[str, Any] = {"edgecolor": INK, "linewidth": points(HAIR_MM)}
EVENTS = {NEW: FILLS[0], CHANGED: FILLS[3], GONE: FILLS[4], UNSEEN: FILLS[1]}
COUNTS = {"rooms": FILLS[2], "buildings": FILLS[7]}
SOUGHT: dict[str, dict[str, Any]] = {
    "walls": {"marker": "^", "markerfacecolor": "#56b4e9", "markersize": 4},
    "seabed": {"marker": "o", "markerfacecolor": "white", "markersize": 4},
    "pictures": {"marker": "s", "markerfacecolor": INK, "markersize": 3.2},
    "other": {"marker": "D", "markerfacecolor": "#e69f00", "markersize": 3},
}
MARK: dict[str, Any] = {"markeredgecolor": INK, "markeredgewidth": points(FINE_MM)}
PANELS = (
    "wall lines traced",
    "ground looked at",
    "sd of the seabed",
    "on the plan",
    "rooms",
    "walls",
)


def draw_seasons(table: pd.DataFrame, about: Mapping[str, str]) -> Page:
    """Draw the comparison of seasons.

    Parameters
    ----------
    table : DataFrame
        As `wrackline.publish.text_pictures.season_table.season_table` returns it.
    about : mapping of str to str
        Statement beside the figures.
    """
    seasons = list(dict.fromkeys(table["season"].astype(str)))
    fills = _techniques(table)
    signs = [Sign(name, fill={**EDGE, **fill}) for name, fill in fills.items()]
    key_mm = (
        (len(key_rows(signs, PAGE_MM - 4)) * KEY_ROW_MM + line_mm(SMALL_PT) + 1) if signs else 0
    )
    low_mm = TURNED_MM if _turned(seasons) else 5.0
    row_mm = HEAD_MM + HIGH_MM + low_mm
    several = {"number": str(len(seasons))} if len(seasons) != 1 else {}
    heading = say(
        "season_heading" if several else "season_heading_one", site=about["site"], **several
    )
    notes = [say("season_note"), statement_note(about, "vertical_datum", "surveyed", "credit")]
    with mpl.rc_context(SETTINGS):
        made = page(PAGE_MM, 2 * row_mm + key_mm, heading, notes, _description(table, about))
        for number, figure in enumerate(PANELS):
            left = LEFT_MM + (number % 3) * (WIDE_MM + BETWEEN_MM)
            bottom = key_mm + low_mm + (1 - number // 3) * row_mm
            axes = made.panel(left, bottom, WIDE_MM, HIGH_MM)
            axes.set_gid(figure.replace(" ", "-"))
            mine = table[(table["figure"] == figure) & table["value"].notna()]
            _panel(axes, figure, mine, seasons, fills)
            _seasons(axes, seasons)
            title = f"{'abcdef'[number]}  {say(TITLES[figure])}"
            made.write(title, left - 9, bottom + HIGH_MM + 9.2, fontsize=TEXT_PT)
            draw_key(made, _signs(figure, mine), left - 6, bottom + HIGH_MM + 9, WIDE_MM + 8)
        if signs:
            made.write(say("season_techniques"), 2.0, key_mm - line_mm(SMALL_PT))
            draw_key(made, signs, 2.0, key_mm - line_mm(SMALL_PT) - 0.5, PAGE_MM - 4)
    return made


TITLES = {
    "wall lines traced": "season_traced",
    "ground looked at": "season_ground",
    "sd of the seabed": "season_bed",
    "on the plan": "season_plan",
    "rooms": "season_rooms",
    "walls": "season_walls",
}


def _turned(seasons: Sequence[str]) -> bool:
    """Tell whether the seasons' names must be turned to stand side by side."""
    widest = max((text_mm(name, SMALL_PT) for name in seasons), default=0.0)
    return widest + 1.5 > WIDE_MM / max(len(seasons), 1)


def _techniques(table: pd.DataFrame) -> dict[str, Mapping[str, Any]]:
    """Return the fill of each technique of tracing; the least used share one."""
    mine = table[table["figure"] == "wall lines traced"]
    total = mine.groupby(mine["part"].astype(str))["value"].sum().astype(float)
    names = sorted(total.index, key=lambda name: (-total[name], name))
    if len(names) > MOST_TECHNIQUES:
        names = [*names[: MOST_TECHNIQUES - 1], say("season_others")]
    return dict(zip(names, FILLS, strict=False))


def _panel(
    axes: Axes,
    figure: str,
    mine: pd.DataFrame,
    seasons: Sequence[str],
    fills: Mapping[str, Mapping[str, Any]],
) -> None:
    """Draw one figure of all seasons."""
    if not len(mine) or not (mine["value"].astype(float) != 0).any():
        axes.set(yticks=[], ylim=(0, 1))
        place: dict[str, Any] = {"ha": "center", "transform": axes.transAxes}
        axes.text(0.5, 0.45, say("season_none"), fontsize=SMALL_PT, **place)
        return
    if figure == "wall lines traced":
        others = say("season_others")
        part = mine["part"].where(mine["part"].isin(list(fills)), others)
        _stack(axes, mine.assign(part=part), seasons, fills)
    elif figure == "ground looked at":
        _dots(axes, mine, seasons)
    elif figure == "sd of the seabed":
        _ranges(axes, mine, seasons)
    elif figure == "on the plan":
        _side_by_side(axes, mine, seasons)
    else:
        _stack(axes, mine, seasons, EVENTS, down=(GONE, UNSEEN))
        axes.axhline(0, color=INK, linewidth=points(FINE_MM))
    if figure != "ground looked at":
        whole = figure in ("on the plan", "rooms", "walls")
        axes.yaxis.set_major_locator(MaxNLocator(5, integer=whole))


def _values(mine: pd.DataFrame, part: str, seasons: Sequence[str], column: str = "value") -> Any:
    """Return the values of one part in the order of the seasons, 0 where there is none."""
    rows = mine[mine["part"] == part]
    by = rows.groupby(rows["season"].astype(str))[column].sum().astype(float)
    return by.reindex(list(seasons)).fillna(0.0).to_numpy()


def _stack(
    axes: Axes,
    mine: pd.DataFrame,
    seasons: Sequence[str],
    fills: Mapping[str, Mapping[str, Any]],
    down: Sequence[str] = (),
) -> None:
    """Draw parts on each other, some of them downwards."""
    up = np.zeros(len(seasons))
    under = np.zeros(len(seasons))
    for name, fill in fills.items():
        value = _values(mine, name, seasons)
        below = name in down
        bars = axes.bar(
            range(len(seasons)),
            -value if below else value,
            0.7,
            bottom=under if below else up,
            **EDGE,
            **fill,
        )
        for bar, season in zip(bars, seasons, strict=True):
            bar.set_gid(f"{axes.get_gid()}-{name}-{season}".replace(" ", "-"))
        under, up = (under - value, up) if below else (under, up + value)
    if down:
        axes.yaxis.set_major_formatter(lambda value, _: fixed(abs(value), 0))


def _dots(axes: Axes, mine: pd.DataFrame, seasons: Sequence[str]) -> None:
    """Draw the ground looked at, side by side, on a scale of powers of ten."""
    axes.set_yscale("log")
    axes.grid(axis="y")
    for number, name in enumerate(GROUNDS):
        value = _values(mine, name, seasons)
        at = np.arange(len(seasons)) + (number - 1.5) * 0.18
        shown = value > 0
        style = {"linestyle": "none", **MARK, **SOUGHT[name]}
        (marks,) = axes.plot(at[shown], value[shown], **style)
        marks.set_gid(f"ground-{name}")
    low, high = (float(getattr(mine["value"].astype(float), end)()) for end in ("min", "max"))
    axes.set_ylim(10 ** np.floor(np.log10(low / 1.2)), 10 ** np.ceil(np.log10(high * 1.2)))
    axes.yaxis.set_major_locator(LogLocator(10))
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.minorticks_off()


def _ranges(axes: Axes, mine: pd.DataFrame, seasons: Sequence[str]) -> None:
    """Draw the middle sd of the seabed's cells, and what nine of ten of them lie between."""
    at = [list(seasons).index(str(season)) for season in mine["season"]]
    low, middle, high = (mine[name].astype(float).to_numpy() for name in ("low", "value", "high"))
    axes.vlines(at, low, high, color=INK, linewidth=points(BOLD_MM))
    style: dict[str, Any] = {"linestyle": "none", **MARK, "marker": "o", "markersize": 4.5}
    (marks,) = axes.plot(at, middle, markerfacecolor="white", **style)
    marks.set_gid("sd-of-the-seabed-median")
    axes.set_ylim(0, 1.08 * float(high.max()))


def _side_by_side(axes: Axes, mine: pd.DataFrame, seasons: Sequence[str]) -> None:
    for number, (name, fill) in enumerate(COUNTS.items()):
        at = np.arange(len(seasons)) - 0.4 + 0.4 * number
        bars = axes.bar(at, _values(mine, name, seasons), 0.38, align="edge", **EDGE, **fill)
        for bar, season in zip(bars, seasons, strict=True):
            bar.set_gid(f"on-the-plan-{name}-{season}")


def _seasons(axes: Axes, seasons: Sequence[str]) -> None:
    """Name the seasons below a panel, as many as have room."""
    turned = _turned(seasons)
    pitch = WIDE_MM / max(len(seasons), 1)
    every = max(int(np.ceil(line_mm(SMALL_PT) / pitch)), 1) if turned else 1
    shown = range(0, len(seasons), every)
    axes.set(xlim=(-0.6, max(len(seasons), 1) - 0.4))
    axes.set_xticks(list(shown), [seasons[k] for k in shown], rotation=90 if turned else 0)
    axes.tick_params(axis="x", length=0)


def _signs(figure: str, mine: pd.DataFrame) -> list[Sign]:
    """Return the key of one panel; that of techniques stands below all."""
    there = set(mine.loc[mine["value"].astype(float) != 0, "part"])
    if figure == "ground looked at":
        style = {"linestyle": "none", **MARK}
        return [
            Sign(say(f"season_looked_{n}"), {**style, **SOUGHT[n]}) for n in GROUNDS if n in there
        ]
    if figure == "on the plan":
        return [
            Sign(say(f"season_n_{n}"), fill={**EDGE, **f}) for n, f in COUNTS.items() if n in there
        ]
    if figure in ("rooms", "walls"):
        return [
            Sign(say(f"season_is_{n.split(',')[0]}"), fill={**EDGE, **f})
            for n, f in EVENTS.items()
            if n in there
        ]
    if figure == "sd of the seabed" and there:
        line = {"color": INK, "linewidth": points(BOLD_MM), **MARK, "marker": "o"}
        return [Sign(say("season_range"), {**line, "markerfacecolor": "white", "markersize": 4.5})]
    return []


def _description(table: pd.DataFrame, about: Mapping[str, str]) -> str:
    told = []
    for season, mine in table.groupby(table["season"].astype(str), sort=False):
        value = mine.set_index(["figure", "part"])["value"]
        traced = float(mine.loc[mine["figure"] == "wall lines traced", "value"].astype(float).sum())
        words = {name: str(value["on the plan", name]) for name in COUNTS}
        told.append(say("season_told", season=str(season), traced=fixed(traced, 0), **words))
    return say("season_description", site=about["site"], told=" ".join(told))
