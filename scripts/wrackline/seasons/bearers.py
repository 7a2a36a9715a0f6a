"""Which things of a season's plan bear numbers of before: those in print first, then those seen.

Rows of a plan are held against what one layer's things ever were (`Before`). What was put in print
with the season comes first, by the outline that was printed; then what is surely printed in a later
season; then, in one global assignment, what is on the plan of the season before; then what was
gone. A row that is left may still have the very place of a number that is in print later.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.numbers import place_numbers, place_of
from wrackline.seasons.events import PART
from wrackline.seasons.freezing import holders
from wrackline.seasons.kin import LEAST_ALIKE, Kin, assigned, kin_of

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


@dataclass(frozen=True)
class Before:
    """What of one layer was ever numbered, and what of it stands in print.

    Attributes
    ----------
    number, first, last, printed, kind : array of str, shape (n,)
        See `carry.THING_COLUMNS`.
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
    def gone(self) -> npt.NDArray[np.bool_]:
        """Whether it was on a plan, but not on that of the season before, shape (n,)."""
        return np.asarray(~self.present & ~self.ahead)

    @property
    def known(self) -> npt.NDArray[np.object_]:
        """Numbers that were on a plan so far."""
        return self.number[~self.ahead]

    @property
    def in_print(self) -> npt.NDArray[np.bool_]:
        """Whether its number stands in print, now or later, shape (n,)."""
        return np.array([anchor is not None for anchor in self.anchor], dtype=bool)


@dataclass(frozen=True)
class Bearers:
    """Which rows bear which numbers of before.

    Attributes
    ----------
    pairs : dict of int to int
        Row of the plan -> row of before whose number it bears.
    renumbered : dict of int to int
        Of these rows, those that bore a number of their own until now -> row of before of that.
    kin : Kin
        What rows and things of before have in common.
    anchors : Kin
        The same of the outlines that were put in print with this season.
    """

    pairs: dict[int, int]
    renumbered: dict[int, int]
    kin: Kin
    anchors: Kin


def bearers(
    table: gpd.GeoDataFrame, before: Before, letter: str, origin: tuple[float, float]
) -> Bearers:
    """Return which rows of a plan's layer bear numbers of before.

    Parameters
    ----------
    table : GeoDataFrame
        The layer.
    before : Before
        What of it was ever numbered.
    letter : str
        That its numbers begin with.
    origin : tuple of float
        The site's origin [m].
    """
    shapes = laid_out(table)
    kin = _kin(shapes, before)
    worth = kin.alike * _same_kind(table, before, kin)
    anchors = _anchors(shapes, before, before.due)
    pairs = _in_print(shapes, before, anchors)
    later = _anchors(shapes, before, before.in_print & ~before.due)
    pairs |= _surely_printed(later, kin, pairs, before)
    pairs |= _still_free(kin, worth, pairs, before.present, LEAST_ALIKE)
    pairs |= _grown(kin, pairs, before.present)
    pairs |= _still_free(kin, worth, pairs, before.gone, SURELY_ALIKE)
    given = [*before.known, *before.number[list(pairs.values())]]
    as_ever = from_places(table, pairs, letter, origin, given)
    pairs |= _as_ever(as_ever, shapes, before, kin, used(pairs, len(before)))
    pairs |= _still_free(kin, worth, pairs, before.ahead, LEAST_ALIKE)
    return Bearers(pairs, _renumbered(kin, pairs, before), kin, anchors)


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


def _in_print(shapes: npt.NDArray[np.object_], before: Before, anchors: Kin) -> dict[int, int]:
    """Return which rows bear the numbers that were put in print with this season."""
    points = np.array([shapely.get_dimensions(a) == 0 for a in before.anchor], dtype=bool)
    tied = np.flatnonzero(before.due & points)
    held = holders(before.anchor[tied], shapes)
    kin = anchors.where(anchors.alike >= SURELY_ALIKE)
    now = np.concatenate([kin.now, held.thing])
    old = np.concatenate([kin.before, tied[held.point]])
    return assigned(now, old, np.concatenate([kin.alike, held.worth]))


def _surely_printed(
    later: Kin, kin: Kin, pairs: Mapping[int, int], before: Before
) -> dict[int, int]:
    """Return which areas are surely those of numbers put in print in a later season.

    Whatever was carried on to them, unless that is in print too; of two halves of a room the one
    that is in print is told by it.
    """
    taken = used(pairs, len(before))
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


def _still_free(
    kin: Kin,
    worth: npt.NDArray[np.float64],
    pairs: Mapping[int, int],
    chosen: npt.NDArray[np.bool_],
    least: float,
) -> dict[int, int]:
    """Return which rows not yet paired are which of the chosen things not yet paired."""
    taken = used(pairs, len(chosen))
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
    taken = used(pairs, len(present))
    free = alone & ~np.isin(near.now, list(pairs)) & ~taken[near.before]
    return dict(zip(near.now[free].tolist(), near.before[free].tolist(), strict=True))


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


def _renumbered(kin: Kin, pairs: Mapping[int, int], before: Before) -> dict[int, int]:
    """Return which rows bore a number of their own until they took one that is in print."""
    taken = used(pairs, len(before))
    first = [row for row, old in pairs.items() if before.ahead[old]]
    free = np.isin(kin.now, first) & before.present[kin.before] & ~taken[kin.before]
    free &= kin.alike >= LEAST_ALIKE
    return assigned(kin.now[free], kin.before[free], kin.alike[free])


def _same_kind(table: gpd.GeoDataFrame, before: Before, kin: Kin) -> npt.NDArray[np.float64]:
    """Return what likeness is worth: half where features are of two kinds, doors join others."""
    if not len(kin.now) or not {"feature", "opening"} & set(table.columns):
        return np.ones(len(kin.now))
    now = np.array(kind_of(table), dtype=object)[kin.now]
    return np.where(now == before.kind[kin.before], 1.0, OTHER_KIND)


def laid_out(table: gpd.GeoDataFrame) -> npt.NDArray[np.object_]:
    """Return what things are held against each other by: flat outlines, openings by their middles.

    One doorway is measured on either face of its wall, and by a tape anywhere between.
    """
    shapes = shapely.force_2d(table.geometry.to_numpy())
    return np.asarray(shapely.centroid(shapes) if "opening" in table else shapes)


def kind_of(table: gpd.GeoDataFrame) -> list[str]:
    """Return what each thing is: its kind; of an opening what it joins, of a wall its evidence."""
    of_lines = "evidence" if "line_follows" in table else None
    field = next((name for name in ("kind", "joins", of_lines) if name in table), None)
    return [""] * len(table) if field is None else [str(text) for text in table[field].fillna("")]


def from_places(
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


def used(pairs: Mapping[int, int], count: int) -> npt.NDArray[np.bool_]:
    """Return which of before are paired with a thing of now, shape (count,)."""
    there = np.zeros(count, dtype=bool)
    there[list(pairs.values())] = True
    return there
