"""Numbers carried from season to season: what is seen again keeps its number.

The plan after a season is compared with all that was ever numbered, and with the numbers that stand
in print. Things are paired by a global assignment, paired things keep their number, and what is new
gets one from its place. A number once given is never given to anything else: what is no longer on
the plan is remembered with its last outline, and bears its number again when it comes back. It is a
pure function of the plans and of `config/numbers.csv`: no count is kept anywhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline import vectors
from wrackline.drawn_marks import is_mark
from wrackline.numbers import NUMBERED, joined, place_of, renumber
from wrackline.seasons.bearers import Before, bearers, from_places, kind_of, laid_out, used
from wrackline.seasons.events import EVENT_COLUMNS, Change, change_rows
from wrackline.seasons.freezing import assigned_once, holders
from wrackline.seasons.kin import BESIDE_M, outlines_alike

THING_COLUMNS = {
    "layer": "text",
    "number": "text",
    "first_season": "text",
    "last_season": "text",
    "on_plan": "flag",
    "printed": "text",
    "kind": "text",
    "reach_m": "real",
}
"""What is remembered of everything ever numbered; geometry its last outline, flat. `printed` is the
season in which its number was frozen, empty where it isn't yet, or not yet due."""

ORDER = ("rooms", "buildings", "wall_lines", "openings", "features")
"""Layers as they are numbered: openings are told by the rooms that they join."""
INFERRED = "inferred"
DOORWAY_M = 1.0
"""The middle of a doorway is found again this near: on either face, or off an old plan (no
source)."""
LOOSE_M = 0.6
"""A wall's centre and its faces run this near each other (common practice, no source)."""
OLD_PLAN_M = 1.0
"""A line of an old plan and what was measured since run this near each other (no source)."""


@dataclass(frozen=True)
class Carried:
    """A season's plan with lasting numbers, all that was ever numbered, and what changed.

    Attributes
    ----------
    plan : dict of str to GeoDataFrame
        The same rows with lasting numbers; `first_season` of what is carried on is the earlier one.
    things : GeoDataFrame
        `THING_COLUMNS`.
    events : DataFrame
        `EVENT_COLUMNS`, one row a change.
    """

    plan: dict[str, gpd.GeoDataFrame]
    things: gpd.GeoDataFrame
    events: pd.DataFrame

    def records(self) -> list[dict[str, Any]]:
        """Return the events as JSON-ready rows."""
        table = self.events.astype({"share": object})
        rows = table.where(table.notna(), None).to_dict("records")
        return [{str(name): value for name, value in row.items()} for row in rows]


def carry(
    plan: Mapping[str, gpd.GeoDataFrame],
    things: gpd.GeoDataFrame | None,
    frozen: gpd.GeoDataFrame,
    season: str,
    origin: tuple[float, float],
) -> Carried:
    """Return a season's plan with lasting numbers, and what changed.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The plan after the season, numbered by place.
    things : GeoDataFrame or None
        All that was numbered up to the season before; None for the first.
    frozen : GeoDataFrame
        Numbers in print, as `freezing.frozen_table` returns them.
    season : str
        The season.
    origin : tuple of float
        The site's origin [m].
    """
    crs = next(iter(plan.values())).crs
    known = vectors.empty(THING_COLUMNS, crs) if things is None else things
    numbered = {layer: table.copy() for layer, table in plan.items()}
    replaced: dict[str, dict[str, str]] = {}
    kept, events = [], []
    for layer in ORDER:
        field, letter = NUMBERED[layer]
        table = numbered[layer]
        if layer == "openings":
            table["joins"] = [renumber(text, replaced["room"]) for text in table["joins"]]
        own = frozen[(frozen["layer"] == layer) & (frozen["series"] == "")]
        before = _before(known[known["layer"] == layer], own, season)
        numbers, bearing, change = _number(table, before, letter, origin)
        replaced[field] = dict(zip(table[field], numbers, strict=True))
        table[field] = numbers
        _take_first_season(table, before, change)
        kept.append(_remembered(layer, table, before, bearing, change, season))
        drawn = dict(zip(kept[-1]["number"], kept[-1]["kind"], strict=True))
        events += [row for row in change_rows(season, field, change) if _to_be_told(row, drawn)]
    _follow(numbered, replaced)
    _name_others(numbered, frozen[(frozen["series"] != "") & (frozen["season"] <= season)])
    told = pd.DataFrame(events, columns=list(EVENT_COLUMNS))
    return Carried(numbered, pd.concat(kept, ignore_index=True), told)


def _before(known: gpd.GeoDataFrame, own: gpd.GeoDataFrame, season: str) -> Before:
    """Return what one layer's things may be: all known ones, then numbers in print not yet met."""
    shapes = own.geometry.to_numpy()
    if "openings" in set(own["layer"]):
        shapes = shapely.centroid(shapes)
    place = dict(zip(own["number"], shapes, strict=True))
    since = dict(zip(own["number"], own["season"], strict=True))
    reach_m = DOORWAY_M if "openings" in set(own["layer"]) else BESIDE_M
    met = set(known["number"])
    ahead = [number for number in own["number"] if number not in met]
    number = np.array([*known["number"], *ahead], dtype=object)
    printed = np.array([*known["printed"].fillna(""), *[""] * len(ahead)], dtype=object)
    due = np.array(
        [since.get(n, "~") <= season and not p for n, p in zip(number, printed, strict=True)]
    )
    none = [None] * len(ahead)
    return Before(
        number=number,
        first=np.array([*known["first_season"], *none], dtype=object),
        last=np.array([*known["last_season"], *none], dtype=object),
        printed=np.where(due, [since.get(n, "") for n in number], printed).astype(object),
        kind=np.array([*known["kind"].fillna(""), *[""] * len(ahead)], dtype=object),
        shape=np.array([*known.geometry, *[place[n] for n in ahead]], dtype=object),
        reach=np.array([*known["reach_m"], *[reach_m] * len(ahead)], dtype=float),
        present=np.array([*known["on_plan"].astype(bool), *[False] * len(ahead)], dtype=bool),
        due=due.astype(bool),
        anchor=np.array([place.get(n) for n in number], dtype=object),
    )


def _number(
    table: gpd.GeoDataFrame, before: Before, letter: str, origin: tuple[float, float]
) -> tuple[list[str], dict[int, int], Change]:
    """Return a number for each row, which row bears which old one, and what changed."""
    found = bearers(table, before, letter, origin)
    numbers = _numbers(table, before, found.pairs, letter, origin)
    was = found.pairs | found.renumbered
    change = Change(
        now=numbers,
        before=before.number,
        present=before.present,
        again=before.gone & used(found.pairs, len(before)),
        printed=before.printed,
        due=before.due,
        kin=found.kin,
        anchors=found.anchors,
        pairs=was,
        renumbered=frozenset(found.renumbered),
        kinds=_kinds_read_anew(table, before, was),
        outlines=_outlines(laid_out(table), before, was),
        divisible="feature" not in table,
    )
    return numbers, found.pairs, change


def _numbers(
    table: gpd.GeoDataFrame,
    before: Before,
    pairs: Mapping[int, int],
    letter: str,
    origin: tuple[float, float],
) -> list[str]:
    """Return a number for each row: the earlier one where paired, else one from its place."""
    named = from_places(table, pairs, letter, origin, before.number)
    named |= {row: str(before.number[old]) for row, old in pairs.items()}
    return [named[row] for row in range(len(table))]


def _to_be_told(event: Mapping[str, object], drawn: Mapping[str, str]) -> bool:
    """Tell whether an event is of more than inferred lines, which come and go with what is seen.

    Nor is it told that a mark of the drawing was drawn.
    """
    names = ";".join(str(event[name]) for name in ("number", "parents", "children")).split(";")
    kinds = [drawn.get(name) for name in names if name]
    return any(kind != INFERRED and not is_mark(kind) for kind in kinds)


def _kinds_read_anew(
    table: gpd.GeoDataFrame, before: Before, pairs: Mapping[int, int]
) -> dict[int, tuple[str, str]]:
    """Return rows whose kind is another than before, with both kinds."""
    if "kind" not in table:
        return {}
    now = table["kind"].fillna("").to_numpy(object)
    both = {row: (str(before.kind[old]), str(now[row])) for row, old in pairs.items()}
    return {row: (was, is_) for row, (was, is_) in both.items() if was and was != is_}


def _outlines(
    shapes: npt.NDArray[np.object_], before: Before, pairs: Mapping[int, int]
) -> dict[int, float]:
    """Return how alike the outlines of the areas that are carried on are, by row."""
    rows, olds = list(pairs), list(pairs.values())
    alike = outlines_alike(shapes[rows], before.shape[olds])
    return {row: float(a) for row, a in zip(rows, alike, strict=True) if np.isfinite(a)}


def _take_first_season(table: gpd.GeoDataFrame, before: Before, change: Change) -> None:
    """Let what is carried on keep the season in which it was first on the plan."""
    if "first_season" not in table:
        return
    column = table.columns.get_loc("first_season")
    for row, old in change.pairs.items():
        if before.first[old] is not None:
            table.iloc[row, column] = min(table.iloc[row, column], before.first[old])


def _remembered(
    layer: str,
    table: gpd.GeoDataFrame,
    before: Before,
    bearing: Mapping[int, int],
    change: Change,
    season: str,
) -> gpd.GeoDataFrame:
    """Return all that is numbered in a layer after this season, in the order of the numbers."""
    row_of = {old: row for row, old in bearing.items()}
    gone = [k for k in range(len(before)) if k not in row_of and (before.last[k] or before.due[k])]
    old_of = [bearing.get(row) for row in range(len(table))]
    was = [change.pairs.get(row) for row in range(len(table))]
    first = [season if k is None or before.first[k] is None else before.first[k] for k in was]
    data = {
        "layer": layer,
        "number": [*change.now, *before.number[gone]],
        "first_season": [*first, *[before.first[k] or season for k in gone]],
        "last_season": [*[season] * len(table), *[before.last[k] or season for k in gone]],
        "on_plan": [True] * len(table) + [False] * len(gone),
        "printed": [
            *["" if k is None else before.printed[k] for k in old_of],
            *before.printed[gone],
        ],
        "kind": [*kind_of(table), *before.kind[gone]],
        "reach_m": [*_reach(table), *before.reach[gone]],
    }
    flat = [*laid_out(table), *before.shape[gone]]
    things = gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(flat, crs=table.crs), crs=table.crs)
    return vectors.conform(things.sort_values("number", kind="stable"), THING_COLUMNS)


def _reach(table: gpd.GeoDataFrame) -> npt.NDArray[np.float64]:
    """Return how far off things may be drawn again and still be themselves [m]."""
    reach = np.full(len(table), DOORWAY_M if "opening" in table else BESIDE_M)
    if "line_follows" in table:
        reach[(table["line_follows"] == "centre").fillna(False).to_numpy(bool)] = LOOSE_M
        reach[(table["evidence"] == "old plan").fillna(False).to_numpy(bool)] = OLD_PLAN_M
    return reach


def _follow(
    numbered: dict[str, gpd.GeoDataFrame], replaced: Mapping[str, Mapping[str, str]]
) -> None:
    """Put the lasting numbers into every field that names another layer's."""
    rooms, features = numbered["rooms"], numbered["features"]
    rooms["building"] = rooms["building"].map(replaced["building"])
    features["room"] = features["room"].map(replaced["room"])
    bodies = numbered["wall_bodies"]
    bodies["wall"] = [renumber(text, dict(replaced["wall"])) for text in bodies["wall"]]


def _name_others(numbered: dict[str, gpd.GeoDataFrame], others: gpd.GeoDataFrame) -> None:
    """Write beside each thing the numbers that other series gave to what lies there."""
    for layer in NUMBERED:
        table = numbered[layer]
        mine = others[others["layer"] == layer].reset_index(drop=True)
        place = place_of(mine.geometry.to_numpy())
        held = holders(place, table.geometry.to_numpy())
        names: dict[int, list[str]] = {}
        for point, row in assigned_once(held).items():
            text = f"{mine['series'].iloc[point]}: {mine['number'].iloc[point]}"
            names.setdefault(row, []).append(text)
        table["other_numbers"] = [joined(names.get(row, ())) for row in range(len(table))]
