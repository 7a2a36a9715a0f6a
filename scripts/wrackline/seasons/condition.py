"""Condition over time: what all seasons together say of the walls, building by building.

The walls of the plan as now known are taken at places half a metre apart. At each, every season has
its word (`wrackline.seasons.sightings`); where a season has none, the last one's stands. What was
seen and is lost, what was bare and is buried, and what came out again, is told by comparing a
season's word with the last one before it, at the same place, never by comparing totals of seasons
that looked at different ground.
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
from shapely.ops import substring

from wrackline import contract, vectors
from wrackline.seasons.bits import BIT_M, Array, Flags, Ints
from wrackline.seasons.judging import (
    BURIED,
    LOST,
    OVERGROWN,
    SEEN,
    STATUSES,
    UNSOUGHT,
)
from wrackline.seasons.standing import straight_walls
from wrackline.uncertainty import COVERAGE_95

NO_WORD = -1
"""At a place where a season's plan had no wall yet."""
KNOWN = (LOST, BURIED, OVERGROWN, SEEN)
"""Words that say what became of a wall; the others say that nobody knows."""

SAME_M, SAME_DEG, OTHER_M = 0.6, 25.0, 0.3
"""A wall of an earlier plan lies no further off than this and runs alike; one of another number
counts as so much further off (no source)."""
BESIDE_M = 0.3
"""Walls so far outside a building's outline are still its own: outlines run along faces."""

ALL, NONE = "all", "no building"
TREND_M, TREND_SHARE, LOSS_SHARE = 2.0, 0.05, 0.01
"""A change of fewer metres, or of a lesser share of what was compared, makes no trend (no source);
of what is said to be lost up to a hundredth may be wrong."""
KNOWN_SHARE = 0.25
"""Of a building's walls so much must be known, or compared, for a word on it (no source)."""


@dataclass(frozen=True)
class Places:
    """Places half a metre apart along the walls as now known, in order along them.

    Attributes
    ----------
    row : array of int, shape (n,)
        The last season's stretch that each is of.
    along : array, shape (n, 2)
        From where to where along it [m].
    length_m : array, shape (n,)
        Length on the ground that each stands for [m].
    wall, building : array of str, shape (n,)
    word : array of int, shape (n, k)
        What each season says.
    figures : dict of str to array, shape (n, k)
        Figures of the season's stretch there, NaN where it has none [m].
    """

    row: Ints
    along: Array
    length_m: Array
    wall: npt.NDArray[np.object_]
    building: npt.NDArray[np.object_]
    word: Ints
    figures: dict[str, Array]


FIGURES = ("exposure_m", "exposure_sd_m", "loss_m", "loss_sd_m")


def places_of(sightings: Mapping[str, gpd.GeoDataFrame], buildings: gpd.GeoDataFrame) -> Places:
    """Return what every season says of places along the walls as now known.

    Parameters
    ----------
    sightings : mapping of str to GeoDataFrame
        The contract's `sightings`, by season, in order.
    buildings : GeoDataFrame
        The contract's `buildings`, as now known.
    """
    last = list(sightings.values())[-1]
    lines = last.geometry.to_numpy()
    length = shapely.length(lines)
    count = np.maximum(1, np.rint(length / BIT_M)).astype(np.int64)
    row = np.repeat(np.arange(len(last)), count)
    first = np.cumsum(count) - count
    size = length[row] / count[row]
    start = (np.arange(len(row)) - first[row]) * size
    middle = shapely.line_interpolate_point(lines[row], start + size / 2)
    xy = shapely.get_coordinates(middle)
    ends = shapely.get_coordinates(shapely.line_interpolate_point(lines[row], start))
    wall = last["wall"].to_numpy(object)[row]
    at = [_stretch_at(xy, xy - ends, wall, part) for part in sightings.values()]
    tables = list(sightings.values())
    return Places(
        row,
        np.column_stack([start, start + size]),
        last["length_m"].to_numpy(float)[row] / count[row],
        wall,
        _building_at(middle, buildings),
        np.column_stack([_words_at(k, part) for k, part in zip(at, tables, strict=True)]),
        {
            name: np.column_stack(
                [_values_at(k, part[name]) for k, part in zip(at, tables, strict=True)]
            )
            for name in FIGURES
        },
    )


def _stretch_at(
    xy: Array, way: Array, wall: npt.NDArray[np.object_], table: gpd.GeoDataFrame
) -> Ints:
    """Return the row of a season's stretch at places, -1 where there is none."""
    found = np.full(len(xy), -1)
    walls = straight_walls(table.geometry.to_numpy())
    if not len(walls.stretches):
        return found
    points = shapely.points(xy)
    place, piece = shapely.STRtree(walls.stretches).query(
        points, predicate="dwithin", distance=SAME_M
    )
    unit = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    alike = np.abs((unit[place] * walls.way[piece]).sum(axis=1)) >= np.cos(np.radians(SAME_DEG))
    place, piece = place[alike], piece[alike]
    row = walls.wall[piece]
    other = table["wall"].to_numpy(object)[row] != wall[place]
    away = shapely.distance(points[place], walls.stretches[piece]) + OTHER_M * other
    order = np.lexsort([row, away, place])
    nearest, at = np.unique(place[order], return_index=True)
    found[nearest] = row[order][at]
    return found


def _words_at(row: Ints, table: gpd.GeoDataFrame) -> Ints:
    codes = np.array([STATUSES.index(text) for text in table["status"]] or [0], dtype=np.int64)
    return np.where(row >= 0, codes[np.maximum(row, 0)], NO_WORD)


def _values_at(row: Ints, column: pd.Series) -> Array:
    values = np.append(column.to_numpy(float, na_value=np.nan), np.nan)
    return np.asarray(values[row])


def _building_at(
    points: npt.NDArray[np.object_], buildings: gpd.GeoDataFrame
) -> npt.NDArray[np.object_]:
    """Return the building that places are of, the nearest within reach."""
    found = np.full(len(points), NONE, dtype=object)
    shapes = buildings.geometry.to_numpy()
    if not len(shapes):
        return found
    place, which = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=BESIDE_M)
    away = shapely.distance(points[place], shapes[which])
    names = buildings["building"].to_numpy(object)[which]
    order = np.lexsort([names.astype(str), away, place])
    first, at = np.unique(place[order], return_index=True)
    found[first] = names[order][at]
    return found


def last_words(word: Ints) -> tuple[Ints, Ints]:
    """Return the last word known up to each season, and the season's place that it is from.

    Parameters
    ----------
    word : array of int, shape (n, k)

    Returns
    -------
    last, since : array of int, shape (n, k)
        `NO_WORD` and -1 where nothing is known yet.

    Examples
    --------
    Seen, not looked for, lost:

    >>> last, since = last_words(np.array([[SEEN, UNSOUGHT, LOST]]))
    >>> [STATUSES[code] for code in last[0]], since[0].tolist()
    (['seen', 'seen', 'lost'], [0, 0, 2])
    """
    last, since = np.full(word.shape, NO_WORD), np.full(word.shape, -1)
    for k in range(word.shape[1]):
        known = np.isin(word[:, k], KNOWN)
        before = (last[:, k - 1], since[:, k - 1]) if k else (last[:, 0], since[:, 0])
        last[:, k] = np.where(known, word[:, k], before[0])
        since[:, k] = np.where(known, k, before[1])
    return last, since


def condition_table(places: Places, seasons: Sequence[str]) -> pd.DataFrame:
    """Return one row a building and season: what was looked for, seen, buried, lost, and since.

    Parameters
    ----------
    places : Places
    seasons : sequence of str
        In order.

    Returns
    -------
    DataFrame
        Fields of `contract.TABLES["condition"]`: the newest season first, in it all walls first,
        then the buildings that lost most.
    """
    last, since = last_words(places.word)
    rows = []
    for name in [ALL, *sorted(set(places.building.tolist()))]:
        mine = np.full(len(places.row), True) if name == ALL else places.building == name
        for k in range(len(seasons)):
            if (places.word[mine, k] != NO_WORD).any():
                rows.append(_row(name, mine, places, (last, since), k=k, seasons=seasons))
    table = pd.DataFrame(rows, columns=list(contract.table_columns("condition")))
    order = np.lexsort(
        [
            table["building"].to_numpy(str),
            -table["newly_buried_m"].to_numpy(float),
            -table["lost_so_far_m"].to_numpy(float),
            -table["newly_lost_m"].to_numpy(float),
            (table["building"] != ALL).to_numpy(),
            np.array([-list(seasons).index(season) for season in table["season"]], dtype=int),
        ]
    )
    return table.iloc[order].reset_index(drop=True)


def _row(
    name: str,
    mine: Flags,
    places: Places,
    known: tuple[Ints, Ints],
    *,
    k: int,
    seasons: Sequence[str],
) -> dict[str, Any]:
    """Return a building's row of one season."""
    word, metres = places.word[mine, k], places.length_m[mine]
    now, before = known[0][mine, k], _before(known[0][mine], k)
    said = np.isin(word, KNOWN)

    def length(chosen: Flags) -> float:
        return float(metres[chosen].sum())

    covered = (BURIED, OVERGROWN)
    lengths = {
        "walls_m": length(word != NO_WORD),
        "looked_for_m": length(word > UNSOUGHT),
        **{f"{STATUSES[code].replace(' ', '_')}_m": length(word == code) for code in range(6)},
        "compared_m": length(said & (before != NO_WORD)),
        "newly_lost_m": length((word == LOST) & (before != LOST) & (before != NO_WORD)),
        "newly_buried_m": length((word == BURIED) & (before == SEEN)),
        "newly_overgrown_m": length((word == OVERGROWN) & (before == SEEN)),
        "newly_uncovered_m": length((word == SEEN) & np.isin(before, covered)),
        "found_again_m": length((word == SEEN) & (before == LOST)),
        "lost_so_far_m": length(now == LOST),
    }
    figures, why = _means(mine, places, k)
    last_seen = _last_season(places.word[mine], metres, k, (SEEN,), 0.5)
    known_in = _last_season(places.word[mine], metres, k, KNOWN, KNOWN_SHARE)
    trend = _trend(lengths, figures, known_in, k, seasons)
    return {
        "building": name,
        "season": seasons[k],
        "trend": trend,
        "evidence": _evidence(lengths, figures),
        **lengths,
        **figures,
        "last_seen": None if last_seen is None else seasons[last_seen],
        "null_because": "; ".join(
            [*why, *["last_seen: never half of its walls in one season"] * (last_seen is None)]
        ),
    }


def _before(last: Ints, k: int) -> Ints:
    return last[:, k - 1] if k else np.full(len(last), NO_WORD)


def _means(mine: Flags, places: Places, k: int) -> tuple[dict[str, Any], list[str]]:
    """Return mean exposure and loss of height, weighted by length; sds as if all erred alike."""
    figures: dict[str, Any] = {}
    why = []
    for name, codes in (("exposure", (SEEN,)), ("loss", (SEEN,))):
        value, sd = (places.figures[f"{name}{part}_m"][mine, k] for part in ("", "_sd"))
        told = np.isfinite(value) & np.isfinite(sd) & np.isin(places.word[mine, k], codes)
        weight = places.length_m[mine][told]
        figures[f"mean_{name}_m"] = figures[f"mean_{name}_sd_m"] = None
        if told.any():
            figures[f"mean_{name}_m"] = float(np.average(value[told], weights=weight))
            figures[f"mean_{name}_sd_m"] = float(np.average(sd[told], weights=weight))
        else:
            why.append(f"mean_{name}_m: no surface shows its walls this season")
    return figures, why


def _last_season(
    word: Ints, metres: Array, k: int, codes: Sequence[int], share: float
) -> int | None:
    """Return the last season up to one in which such a share of the walls had one of some words."""
    for season in range(k, -1, -1):
        there = word[:, season] != NO_WORD
        told = metres[np.isin(word[:, season], codes)].sum()
        if told > 0 and told >= share * metres[there].sum():
            return season
    return None


def _trend(
    lengths: Mapping[str, float],
    figures: Mapping[str, Any],
    known_in: int | None,
    k: int,
    seasons: Sequence[str],
) -> str:
    """Return what becomes of a building, in a few words: a suggestion."""
    compared = lengths["compared_m"]
    least = max(TREND_M, TREND_SHARE * compared)
    found = [
        *["losing walls"] * (lengths["newly_lost_m"] >= max(TREND_M, LOSS_SHARE * compared)),
        *["being buried"] * (lengths["newly_buried_m"] >= least),
        *["being overgrown"] * (lengths["newly_overgrown_m"] >= least),
        *["being uncovered"] * (lengths["newly_uncovered_m"] >= least),
    ]
    loss, sd = figures["mean_loss_m"], figures["mean_loss_sd_m"]
    if loss is not None and loss > COVERAGE_95 * sd:
        found.append("walls lower than recorded")
    if found:
        return "; ".join(found)
    if known_in is None:
        return "not known"
    if known_in < k:
        return f"not known since {seasons[known_in]}"
    return "stable" if compared >= KNOWN_SHARE * lengths["walls_m"] else "first record"


def _evidence(lengths: Mapping[str, float], figures: Mapping[str, Any]) -> str:
    """Return what a trend rests on."""
    told = {
        "newly_lost_m": "newly lost",
        "newly_buried_m": "newly buried",
        "newly_overgrown_m": "newly overgrown",
        "newly_uncovered_m": "come out again",
        "found_again_m": "seen again that were said to be lost",
    }
    parts = [f"{lengths[name]:.1f} m {text}" for name, text in told.items() if lengths[name] > 0]
    compared = f"{lengths['compared_m']:.1f} of {lengths['walls_m']:.1f} m compared with before"
    if figures["mean_loss_m"] is not None:
        loss, sd = figures["mean_loss_m"], figures["mean_loss_sd_m"]
        parts.append(f"tops {loss:+.2f} m (sd {sd:.2f} m) short of their recorded heights")
    return "; ".join([*parts, compared])


def wall_condition(
    places: Places, last: gpd.GeoDataFrame, seasons: Sequence[str]
) -> gpd.GeoDataFrame:
    """Return the walls as now known, cut where what is last known of them changes.

    Parameters
    ----------
    places : Places
    last : GeoDataFrame
        The last season's `sightings`.
    seasons : sequence of str

    Returns
    -------
    GeoDataFrame
        Fields of the contract's layer `wall_condition`.
    """
    known, since = (part[:, -1] for part in last_words(places.word))
    seen = _last_seen(places.word)
    key = pd.MultiIndex.from_arrays([places.row, known, since, seen, places.building])
    code = pd.factorize(key)[0]
    edges = np.flatnonzero(np.diff(code) != 0) + 1
    runs = [run for run in np.split(np.arange(len(code)), edges) if len(run)]
    lines = last.geometry.to_numpy()
    rows = [
        {
            "wall": str(places.wall[run[0]]),
            "building": None if places.building[run[0]] == NONE else places.building[run[0]],
            "last_known": "nothing known" if known[run[0]] < 0 else STATUSES[known[run[0]]],
            "known_in": None if since[run[0]] < 0 else seasons[since[run[0]]],
            "last_seen": None if seen[run[0]] < 0 else seasons[seen[run[0]]],
            "this_season": STATUSES[places.word[run[0], -1]],
            "length_m": float(places.length_m[run].sum()),
            "geometry": substring(
                lines[places.row[run[0]]], places.along[run[0], 0], places.along[run[-1], 1]
            ),
        }
        for run in runs
    ]
    if not rows:
        return vectors.empty(contract.columns("wall_condition"), last.crs)
    return gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs=last.crs)


def last_known(
    sightings: Mapping[str, gpd.GeoDataFrame], buildings: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Return the walls of the last season's plan, each stretch with the last word on it.

    Parameters
    ----------
    sightings : mapping of str to GeoDataFrame
        The contract's `sightings`, by season, in order.
    buildings : GeoDataFrame
        The contract's `buildings` of the last of them.

    Returns
    -------
    GeoDataFrame
        ``status`` and the stretch; not looked for where no season could tell.
    """
    seasons = list(sightings)
    walls = wall_condition(places_of(sightings, buildings), sightings[seasons[-1]], seasons)
    status = walls["last_known"].where(walls["last_known"].isin(STATUSES), STATUSES[UNSOUGHT])
    return gpd.GeoDataFrame({"status": status}, geometry=walls.geometry, crs=walls.crs)


def _last_seen(word: Ints) -> Ints:
    """Return the last season in which each place was seen, -1 where never."""
    seen = word == SEEN
    last = word.shape[1] - 1 - seen[:, ::-1].argmax(axis=1)
    return np.where(seen.any(axis=1), last, -1)
