"""Numbers carried from season to season: what is seen again keeps its number.

The plan after a season is compared with all that was ever numbered, and with the numbers that stand
in print. Things are paired by a global assignment, paired things keep their number, and what is new
gets one from its place. A number once given is never given to anything else: what is no longer on
the plan is remembered with its last outline, and bears its number again when it comes back. It is a
pure function of the plans and of `config/numbers.csv`: no count is kept anywhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline import vectors
from wrackline.numbers import NUMBERED, joined, place_numbers, place_of, renumber
from wrackline.seasons.events import EVENT_COLUMNS, Change, change_rows
from wrackline.seasons.freezing import assigned_once, holders
from wrackline.seasons.kin import (
    BESIDE_M,
    LEAST_ALIKE,
    Kin,
    assigned,
    kin_of,
    outlines_alike,
)

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

OTHER_KIND = 0.5
"""What likeness is worth between things of two kinds: kinds are re-read, numbers stay."""
SURELY_ALIKE = 0.5
"""Likeness from which on a number in print, or one that was gone, is taken up (no source)."""
PARTLY_ALIKE = 0.1
"""Likeness from which on what grew out of one thing alone is still that thing (no source)."""
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
    for layer, (field, letter) in NUMBERED.items():
        own = frozen[(frozen["layer"] == layer) & (frozen["series"] == "")]
        before = _before(known[known["layer"] == layer], own, season)
        table = numbered[layer]
        numbers, change = _number(table, before, letter, origin)
        replaced[field] = dict(zip(table[field], numbers, strict=True))
        table[field] = numbers
        _take_first_season(table, before, change)
        kept.append(_remembered(layer, table, numbers, before, change, season))
        events += change_rows(season, field, change)
    _follow(numbered, replaced)
    _name_others(numbered, frozen[(frozen["series"] != "") & (frozen["season"] <= season)])
    told = pd.DataFrame(events, columns=list(EVENT_COLUMNS))
    return Carried(numbered, pd.concat(kept, ignore_index=True), told)


@dataclass(frozen=True)
class Before:
    """What of one layer was ever numbered, and what of it stands in print.

    Attributes
    ----------
    number, first, last, printed, kind : array of str, shape (n,)
        See `THING_COLUMNS`.
    shape : array of Geometry, shape (n,)
        The last outline.
    reach : array, shape (n,)
        How far off it may be drawn again, for lines and points [m].
    present : array of bool, shape (n,)
        Whether it is on the plan of the season before.
    due : array of bool, shape (n,)
        Whether its number is one that was put in print with this season.
    anchor : array of Geometry, shape (n,)
        Where a number in print lies; None for others.
    """

    number: npt.NDArray[np.object_]
    first: npt.NDArray[np.object_]
    last: npt.NDArray[np.object_]
    printed: npt.NDArray[np.object_]
    kind: npt.NDArray[np.object_]
    shape: npt.NDArray[np.object_]
    reach: npt.NDArray[np.float64]
    present: npt.NDArray[np.bool_]
    due: npt.NDArray[np.bool_]
    anchor: npt.NDArray[np.object_]

    def __len__(self) -> int:
        return len(self.number)


def _before(known: gpd.GeoDataFrame, own: gpd.GeoDataFrame, season: str) -> Before:
    """Return what one layer's things may be: all known ones, then numbers in print not yet met."""
    place = dict(zip(own["number"], own.geometry, strict=True))
    since = dict(zip(own["number"], own["season"], strict=True))
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
        reach=np.array([*known["reach_m"], *[BESIDE_M] * len(ahead)], dtype=float),
        present=np.array([*known["on_plan"].astype(bool), *[False] * len(ahead)], dtype=bool),
        due=due.astype(bool),
        anchor=np.array([place.get(n) for n in number], dtype=object),
    )


def _number(
    table: gpd.GeoDataFrame, before: Before, letter: str, origin: tuple[float, float]
) -> tuple[list[str], Change]:
    """Return a number for each row, and how the rows are related to what was there before."""
    shapes = shapely.force_2d(table.geometry.to_numpy())
    kin = kin_of(shapes, before.shape, before.reach)
    pairs = _in_print(shapes, before)
    worth = kin.alike * _same_kind(table, before, kin)
    ahead = ~before.present & (before.last == None)  # noqa: E711
    again = ~before.present & ~ahead
    pairs |= _still_free(kin, worth, pairs, before.present, LEAST_ALIKE)
    pairs |= _grown(kin, pairs, before.present)
    for chosen in (ahead, again):
        pairs |= _still_free(kin, worth, pairs, chosen, SURELY_ALIKE)
    fresh = [row for row in range(len(table)) if row not in pairs]
    places = shapely.get_coordinates(place_of(shapes[fresh]))
    order = np.lexsort(places.T)
    new = place_numbers(letter, places[order], origin, taken=before.number)
    named = {fresh[k]: number for k, number in zip(order, new, strict=True)}
    named |= {row: str(before.number[old]) for row, old in pairs.items()}
    numbers = [named[row] for row in range(len(table))]
    return numbers, Change(
        now=numbers,
        before=before.number,
        present=before.present | (before.due & ahead),
        again=again & before_used(pairs, len(before)),
        printed=before.printed,
        kin=kin,
        pairs=pairs,
        kinds=_kinds_read_anew(table, before, pairs),
        outlines=_outlines(shapes, before, pairs),
        divisible="feature" not in table,
    )


def before_used(pairs: Mapping[int, int], count: int) -> npt.NDArray[np.bool_]:
    """Return which of before are paired with a thing of now, shape (count,)."""
    used = np.zeros(count, dtype=bool)
    used[list(pairs.values())] = True
    return used


def _in_print(shapes: npt.NDArray[np.object_], before: Before) -> dict[int, int]:
    """Return which rows bear the numbers that were put in print with this season."""
    due = np.flatnonzero(before.due)
    anchor = before.anchor[due]
    point = shapely.get_dimensions(anchor) == 0
    kin = kin_of(shapes, anchor, before.reach[due])
    kin = kin.where(kin.alike >= SURELY_ALIKE)
    held = holders(anchor[point], shapes)
    now = np.concatenate([kin.now, held.thing])
    old = np.concatenate([due[kin.before], due[np.flatnonzero(point)[held.point]]])
    return assigned(now, old, np.concatenate([kin.alike, held.worth]))


def _still_free(
    kin: Kin,
    worth: npt.NDArray[np.float64],
    pairs: Mapping[int, int],
    chosen: npt.NDArray[np.bool_],
    least: float,
) -> dict[int, int]:
    """Return which rows not yet paired are which of the chosen things not yet paired."""
    taken = before_used(pairs, len(chosen))
    free = ~np.isin(kin.now, list(pairs)) & chosen[kin.before] & ~taken[kin.before]
    free &= kin.alike >= least
    return assigned(kin.now[free], kin.before[free], worth[free])


def _grown(kin: Kin, pairs: Mapping[int, int], present: npt.NDArray[np.bool_]) -> dict[int, int]:
    """Return which areas not yet paired are a part of one thing alone, or have one part alone."""
    chosen = present[kin.before] & kin.areal & (kin.alike >= PARTLY_ALIKE)
    chosen &= np.maximum(kin.share_now, kin.share_before) >= SURELY_ALIKE
    near = kin.where(chosen)
    alone = (np.bincount(near.now, minlength=1)[near.now] == 1) & (
        np.bincount(near.before, minlength=1)[near.before] == 1
    )
    used = before_used(pairs, len(present))
    free = alone & ~np.isin(near.now, list(pairs)) & ~used[near.before]
    return dict(zip(near.now[free].tolist(), near.before[free].tolist(), strict=True))


def _same_kind(table: gpd.GeoDataFrame, before: Before, kin: Kin) -> npt.NDArray[np.float64]:
    """Return what likeness is worth: features of two kinds are half as alike."""
    if "feature" not in table or not len(kin.now):
        return np.ones(len(kin.now))
    now = table["kind"].fillna("").to_numpy(object)[kin.now]
    return np.where(now == before.kind[kin.before], 1.0, OTHER_KIND)


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
    numbers: Sequence[str],
    before: Before,
    change: Change,
    season: str,
) -> gpd.GeoDataFrame:
    """Return all that is numbered in a layer after this season, in the order of the numbers."""
    row_of = {old: row for row, old in change.pairs.items()}
    gone = [k for k in range(len(before)) if k not in row_of and (before.last[k] or before.due[k])]
    old_of = [change.pairs.get(row) for row in range(len(table))]
    first = [season if k is None or before.first[k] is None else before.first[k] for k in old_of]
    kind = table["kind"].fillna("") if "kind" in table else [""] * len(table)
    data = {
        "layer": layer,
        "number": [*numbers, *before.number[gone]],
        "first_season": [*first, *[before.first[k] or season for k in gone]],
        "last_season": [*[season] * len(table), *[before.last[k] or season for k in gone]],
        "on_plan": [True] * len(table) + [False] * len(gone),
        "printed": [
            *["" if k is None else before.printed[k] for k in old_of],
            *before.printed[gone],
        ],
        "kind": [*kind, *before.kind[gone]],
        "reach_m": [*_reach(table), *before.reach[gone]],
    }
    flat = [*shapely.force_2d(table.geometry.to_numpy()), *before.shape[gone]]
    things = gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(flat, crs=table.crs), crs=table.crs)
    return vectors.conform(things.sort_values("number", kind="stable"), THING_COLUMNS)


def _reach(table: gpd.GeoDataFrame) -> npt.NDArray[np.float64]:
    """Return how far off things may be drawn again and still be themselves [m]."""
    reach = np.full(len(table), BESIDE_M)
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
    openings, bodies = numbered["openings"], numbered["wall_bodies"]
    openings["joins"] = [renumber(text, dict(replaced["room"])) for text in openings["joins"]]
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
