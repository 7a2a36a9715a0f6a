"""Numbers carried from season to season: what is seen again keeps its number.

The plan after a season is compared with all that was ever numbered, and with the numbers that stand
in print. Things are paired by a global assignment, paired things keep their number, and what is new
gets one from its place. A number once given is never given to anything else: what is no longer on
the plan is remembered with its last outline, and bears its number again when it comes back. It is a
pure function of the plans and of `config/numbers.csv`: no count is kept anywhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline import vectors
from wrackline.numbers import NUMBERED, joined, place_numbers, place_of, renumber
from wrackline.seasons.events import EVENT_COLUMNS, PART, Change, change_rows
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

ORDER = ("rooms", "buildings", "wall_lines", "openings", "features")
"""Layers as they are numbered: openings are told by the rooms that they join."""
INFERRED = "inferred"
OTHER_KIND = 0.5
"""What likeness is worth between things of two kinds: kinds are re-read, numbers stay."""
SURELY_ALIKE = 0.5
"""Likeness from which on a number in print, or one that was gone, is taken up (no source)."""
VERY_ALIKE = 0.8
"""Likeness from which on an area is that in print, whatever it was before (no source)."""
SAME_PLACE_M = 1.0
"""A line numbered from the square metre of a number in print lies this near it (no source)."""
PARTLY_ALIKE = 0.1
"""Likeness from which on what grew out of one thing alone is still that thing (no source)."""
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
        numbers, bearers, change = _number(table, before, letter, origin)
        replaced[field] = dict(zip(table[field], numbers, strict=True))
        table[field] = numbers
        _take_first_season(table, before, change)
        kept.append(_remembered(layer, table, before, bearers, change, season))
        drawn = dict(zip(kept[-1]["number"], kept[-1]["kind"], strict=True))
        events += [row for row in change_rows(season, field, change) if _to_be_told(row, drawn)]
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

    @property
    def ahead(self) -> npt.NDArray[np.bool_]:
        """Whether its number is in print and was on no plan so far, shape (n,)."""
        return np.array([last is None for last in self.last], dtype=bool)

    @property
    def known(self) -> npt.NDArray[np.object_]:
        """Numbers that were on a plan so far."""
        return self.number[~self.ahead]

    @property
    def in_print(self) -> npt.NDArray[np.bool_]:
        """Whether its number stands in print, now or later, shape (n,)."""
        return np.array([anchor is not None for anchor in self.anchor], dtype=bool)


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
    shapes = _laid_out(table, shapely.force_2d(table.geometry.to_numpy()))
    kin = _kin(shapes, before)
    worth = kin.alike * _same_kind(table, before, kin)
    anchors = _anchors(shapes, before, before.due)
    pairs = _in_print(shapes, before, anchors)
    later = _anchors(shapes, before, before.in_print & ~before.due)
    pairs |= _surely_printed(later, kin, pairs, before)
    pairs |= _still_free(kin, worth, pairs, before.present, LEAST_ALIKE)
    pairs |= _grown(kin, pairs, before.present)
    gone = ~before.present & ~before.ahead
    pairs |= _still_free(kin, worth, pairs, gone, SURELY_ALIKE)
    taken = [*before.known, *before.number[list(pairs.values())]]
    as_ever = _from_places(table, pairs, letter, origin, taken)
    pairs |= _as_ever(as_ever, shapes, before, kin, before_used(pairs, len(before)))
    pairs |= _still_free(kin, worth, pairs, before.ahead, LEAST_ALIKE)
    numbers = _numbers(table, before, pairs, letter, origin)
    renumbered = _renumbered(kin, pairs, before)
    was = pairs | renumbered
    return (
        numbers,
        pairs,
        Change(
            now=numbers,
            before=before.number,
            present=before.present,
            again=gone & before_used(pairs, len(before)),
            printed=before.printed,
            due=before.due,
            kin=kin,
            anchors=anchors,
            pairs=was,
            renumbered=frozenset(renumbered),
            kinds=_kinds_read_anew(table, before, was),
            outlines=_outlines(shapes, before, was),
            divisible="feature" not in table,
        ),
    )


def _numbers(
    table: gpd.GeoDataFrame,
    before: Before,
    pairs: Mapping[int, int],
    letter: str,
    origin: tuple[float, float],
) -> list[str]:
    """Return a number for each row: the earlier one where paired, else one from its place."""
    named = _from_places(table, pairs, letter, origin, before.number)
    named |= {row: str(before.number[old]) for row, old in pairs.items()}
    return [named[row] for row in range(len(table))]


def _from_places(
    table: gpd.GeoDataFrame,
    pairs: Mapping[int, int],
    letter: str,
    origin: tuple[float, float],
    taken: Iterable[str],
) -> dict[int, str]:
    """Return numbers from their places for the rows that aren't paired, whatever their order."""
    fresh = [row for row in range(len(table)) if row not in pairs]
    shapes = shapely.force_2d(table.geometry.to_numpy()[fresh])
    places = shapely.get_coordinates(place_of(shapes))
    order = np.lexsort(places.T)
    new = place_numbers(letter, places[order], origin, taken=taken)
    return {fresh[k]: number for k, number in zip(order, new, strict=True)}


def _as_ever(
    numbers: Mapping[int, str],
    shapes: npt.NDArray[np.object_],
    before: Before,
    kin: Kin,
    taken: npt.NDArray[np.bool_],
) -> dict[int, int]:
    """Return which new rows would have got a number that is in print later, had it not been put.

    So putting numbers in print changes nothing of the seasons before. An area must be a part of
    what is in print, or hold a part of it; a line or a point must lie near.
    """
    free = np.flatnonzero(before.ahead & ~taken)
    of = {str(before.number[k]): int(k) for k in free}
    found = {row: of[number] for row, number in numbers.items() if number in of}
    rows, olds = list(found), list(found.values())
    share = np.maximum(kin.share_now, kin.share_before)
    related = set(zip(kin.now[share >= PART], kin.before[share >= PART], strict=True))
    areal = shapely.get_dimensions(shapes[rows]) == 2
    near = ~areal & (shapely.distance(shapes[rows], before.shape[olds]) <= SAME_PLACE_M)
    parts = [pair in related for pair in found.items()]
    return {row: found[row] for row, a, b in zip(rows, near, parts, strict=True) if a or b}


def _surely_printed(
    later: Kin, kin: Kin, pairs: Mapping[int, int], before: Before
) -> dict[int, int]:
    """Return which areas are surely those of numbers put in print in a later season.

    Whatever was carried on to them, unless that is in print too; of two halves of a room the one
    that is in print is told by it.
    """
    taken = before_used(pairs, len(before))
    free = later.areal & ~taken[later.before] & ~np.isin(later.now, list(pairs))
    free &= (before.printed == "")[later.before]
    free &= later.alike >= np.where(before.ahead[later.before], SURELY_ALIKE, VERY_ALIKE)
    near = kin.where(before.in_print[kin.before] & before.present[kin.before])
    near = near.where(near.alike >= LEAST_ALIKE)
    claims = set(zip(near.now.tolist(), near.before.tolist(), strict=True))
    others = {row for row, _ in claims}
    mine = [
        row not in others or (row, old) in claims
        for row, old in zip(later.now.tolist(), later.before.tolist(), strict=True)
    ]
    free &= np.array(mine, dtype=bool)
    return assigned(later.now[free], later.before[free], later.alike[free])


def _laid_out(table: gpd.GeoDataFrame, shapes: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Return what things are held against each other by: openings by their middles.

    One doorway is measured on either face of its wall, and by a tape anywhere between.
    """
    if "opening" not in table:
        return shapes
    return np.asarray(shapely.centroid(shapes))


def _kin(shapes: npt.NDArray[np.object_], before: Before) -> Kin:
    """Return what rows have in common with all known things, and with numbers tied by a point."""
    kin = kin_of(shapes, before.shape, before.reach)
    tied = np.flatnonzero(before.ahead & (shapely.get_dimensions(before.shape) == 0))
    held = holders(before.shape[tied], shapes)
    areal = shapely.get_dimensions(shapes[held.thing]) == 2
    nothing = np.zeros(int(areal.sum()))
    return Kin(
        np.concatenate([kin.now, held.thing[areal]]),
        np.concatenate([kin.before, tied[held.point[areal]]]),
        np.concatenate([kin.share_now, nothing]),
        np.concatenate([kin.share_before, nothing]),
        np.concatenate([kin.alike, nothing + SURELY_ALIKE]),
        np.concatenate([kin.areal, nothing > 0]),
    )


def _anchors(shapes: npt.NDArray[np.object_], before: Before, chosen: npt.NDArray[np.bool_]) -> Kin:
    """Return what rows have in common with chosen numbers in print, where these were put."""
    rows = np.flatnonzero(chosen)
    kin = kin_of(shapes, before.anchor[rows], before.reach[rows])
    return replace(kin, before=rows[kin.before])


def _renumbered(kin: Kin, pairs: Mapping[int, int], before: Before) -> dict[int, int]:
    """Return which rows bore a number of their own until they took one that is in print."""
    taken = before_used(pairs, len(before))
    first = [row for row, old in pairs.items() if before.ahead[old]]
    free = np.isin(kin.now, first) & before.present[kin.before] & ~taken[kin.before]
    free &= kin.alike >= LEAST_ALIKE
    return assigned(kin.now[free], kin.before[free], kin.alike[free])


def before_used(pairs: Mapping[int, int], count: int) -> npt.NDArray[np.bool_]:
    """Return which of before are paired with a thing of now, shape (count,)."""
    used = np.zeros(count, dtype=bool)
    used[list(pairs.values())] = True
    return used


def _in_print(shapes: npt.NDArray[np.object_], before: Before, anchors: Kin) -> dict[int, int]:
    """Return which rows bear the numbers that were put in print with this season."""
    points = np.array([shapely.get_dimensions(a) == 0 for a in before.anchor], dtype=bool)
    tied = np.flatnonzero(before.due & points)
    held = holders(before.anchor[tied], shapes)
    kin = anchors.where(anchors.alike >= SURELY_ALIKE)
    now = np.concatenate([kin.now, held.thing])
    old = np.concatenate([kin.before, tied[held.point]])
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
    """Return what likeness is worth: half where features are of two kinds, doors join others."""
    if not len(kin.now) or not {"feature", "opening"} & set(table.columns):
        return np.ones(len(kin.now))
    now = np.array(_kind(table), dtype=object)[kin.now]
    return np.where(now == before.kind[kin.before], 1.0, OTHER_KIND)


def _to_be_told(event: Mapping[str, object], drawn: Mapping[str, str]) -> bool:
    """Tell whether an event is of more than inferred lines, which come and go with what is seen."""
    names = ";".join(str(event[name]) for name in ("number", "parents", "children")).split(";")
    return any(drawn.get(name) != INFERRED for name in names if name)


def _kind(table: gpd.GeoDataFrame) -> list[str]:
    """Return what each thing is: its kind; of an opening what it joins, of a wall its evidence."""
    of_lines = "evidence" if "line_follows" in table else None
    field = next((name for name in ("kind", "joins", of_lines) if name in table), None)
    return [""] * len(table) if field is None else [str(text) for text in table[field].fillna("")]


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
    bearers: Mapping[int, int],
    change: Change,
    season: str,
) -> gpd.GeoDataFrame:
    """Return all that is numbered in a layer after this season, in the order of the numbers."""
    row_of = {old: row for row, old in bearers.items()}
    gone = [k for k in range(len(before)) if k not in row_of and (before.last[k] or before.due[k])]
    old_of = [bearers.get(row) for row in range(len(table))]
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
        "kind": [*_kind(table), *before.kind[gone]],
        "reach_m": [*_reach(table), *before.reach[gone]],
    }
    shapes = _laid_out(table, shapely.force_2d(table.geometry.to_numpy()))
    flat = [*shapes, *before.shape[gone]]
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
