"""Numbers carried from season to season: what is seen again keeps its number.

The plan after a season is compared with the plan after the one before. Things are paired by a
global assignment (most overlap for areas, most common run for lines, least distance for points),
paired things keep the earlier number, and what is new gets a number from its place. A number once
given is never given again. It is a pure function of the plans: no count is kept anywhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy.optimize import linear_sum_assignment

from wrackline.numbers import NUMBERED, place_numbers, place_of, renumber

Array = npt.NDArray[np.float64]

LEAST_OVERLAP = 0.3
"""Areas that overlap by less (intersection over union) are two things."""
BESIDE_M = 0.3
"""Lines closer than this run along each other; points closer than this are one."""
OTHER_KIND = 0.5
"""What likeness is worth between things of two kinds: kinds are re-read, numbers stay."""


def carry(
    plan: Mapping[str, gpd.GeoDataFrame],
    before: Mapping[str, gpd.GeoDataFrame] | None,
    used: Mapping[str, Sequence[str]],
    origin: tuple[float, float],
) -> tuple[dict[str, gpd.GeoDataFrame], dict[str, Any]]:
    """Return a season's plan with lasting numbers, and what changed.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The plan after the season, numbered by place.
    before : mapping of str to GeoDataFrame, or None
        The numbered plan after the season before; None for the first.
    used : mapping of str to sequence of str
        Numbers that were given before, by layer.
    origin : tuple of float
        The site's origin [m].

    Returns
    -------
    plan : dict of str to GeoDataFrame
        The same rows with lasting numbers; `first_season` of what is carried on is the earlier one.
    changes : dict
        By layer: ``new``, ``lost``, ``kept`` (numbers) and ``used`` (all given so far).
    """
    numbered = {layer: table.copy() for layer, table in plan.items()}
    replaced: dict[str, dict[str, str]] = {}
    changes: dict[str, Any] = {}
    for layer, (field, letter) in NUMBERED.items():
        table = numbered[layer]
        earlier = None if before is None else before[layer]
        pairs = {} if earlier is None else _pairs(table, earlier)
        given = list(used.get(layer, ()))
        numbers = _numbers(table, earlier, pairs, given, field=field, letter=letter, origin=origin)
        replaced[field] = dict(zip(table[field], numbers, strict=True))
        table[field] = numbers
        if earlier is not None and "first_season" in table:
            for row, old in pairs.items():
                first = min(table["first_season"].iloc[row], earlier["first_season"].iloc[old])
                table.iloc[row, table.columns.get_loc("first_season")] = first
        was = set() if earlier is None else set(earlier[field])
        changes[layer] = {
            "new": sorted(set(numbers) - was),
            "lost": sorted(was - set(numbers)),
            "kept": sorted(set(numbers) & was),
            "used": sorted({*given, *numbers}),
        }
    _follow(numbered, replaced)
    return numbered, changes


def _pairs(table: gpd.GeoDataFrame, earlier: gpd.GeoDataFrame) -> dict[int, int]:
    """Return which row is which earlier one; features of one kind before those of two."""
    words = "kind" if "feature" in table else None
    said = [part[words].to_numpy(object) if words else None for part in (table, earlier)]
    return paired(table.geometry, earlier.geometry, said[0], said[1])


def _numbers(
    table: gpd.GeoDataFrame,
    earlier: gpd.GeoDataFrame | None,
    pairs: Mapping[int, int],
    given: Sequence[str],
    *,
    field: str,
    letter: str,
    origin: tuple[float, float],
) -> list[str]:
    """Return a number for each row: the earlier one where paired, else one from its place."""
    numbers: dict[int, str] = {}
    if earlier is not None:
        numbers = {row: str(earlier[field].iloc[old]) for row, old in pairs.items()}
    fresh = [row for row in range(len(table)) if row not in numbers]
    places = shapely.get_coordinates(place_of(table.geometry.to_numpy()[fresh]))
    new = place_numbers(letter, places, origin, taken=[*given, *numbers.values()])
    numbers |= dict(zip(fresh, new, strict=True))
    return [numbers[row] for row in range(len(table))]


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


def paired(
    now: gpd.GeoSeries,
    before: gpd.GeoSeries,
    kind_now: npt.NDArray[np.object_] | None = None,
    kind_before: npt.NDArray[np.object_] | None = None,
) -> dict[int, int]:
    """Return which thing of now is which of before, as places in the two series.

    Parameters
    ----------
    now, before : GeoSeries
        Areas, lines or points; one of them is never another.
    kind_now, kind_before : array of str, optional
        What things are; those of two kinds are half as alike.

    Returns
    -------
    dict of int to int
        The pairing of greatest total likeness; what resembles nothing is left out.

    Examples
    --------
    >>> now = gpd.GeoSeries([shapely.box(0, 0, 4, 3), shapely.box(9, 0, 12, 3)])
    >>> paired(now, gpd.GeoSeries([shapely.box(9.1, 0, 12, 3)]))
    {1: 0}
    """
    a, b = now.to_numpy(), before.to_numpy()
    if not len(a) or not len(b):
        return {}
    row, old = shapely.STRtree(b).query(a, predicate="dwithin", distance=BESIDE_M)
    likeness = _likeness(a[row], b[old])
    if kind_now is not None and kind_before is not None and len(row):
        same = np.array(
            [str(kind_now[i]) == str(kind_before[j]) for i, j in zip(row, old, strict=True)]
        )
        likeness = likeness * np.where(same, 1.0, OTHER_KIND)
    alike = likeness > 0
    table = np.zeros((len(a), len(b)))
    table[row[alike], old[alike]] = likeness[alike]
    chosen = zip(*linear_sum_assignment(-table), strict=True)
    return {int(i): int(j) for i, j in chosen if table[i, j] > 0}


def _likeness(one: npt.NDArray[np.object_], other: npt.NDArray[np.object_]) -> Array:
    """Return how alike pairs of geometries are, 0 to 1; 0 where they can't be one thing."""
    likeness = np.zeros(len(one))
    same = shapely.get_dimensions(one) == shapely.get_dimensions(other)
    areal = same & (shapely.area(one) > 0) & (shapely.area(other) > 0)
    linear = same & ~areal & (shapely.length(one) > 0) & (shapely.length(other) > 0)
    points = same & ~areal & ~linear
    likeness[areal] = _overlap(one[areal], other[areal])
    likeness[linear] = _beside(one[linear], other[linear])
    likeness[areal | linear] *= likeness[areal | linear] >= LEAST_OVERLAP
    apart = shapely.distance(one[points], other[points])
    likeness[points] = np.maximum(0.0, 1.0 - apart / BESIDE_M)
    return likeness


def _overlap(one: npt.NDArray[np.object_], other: npt.NDArray[np.object_]) -> Array:
    """Return intersection over union of areas."""
    common = shapely.area(shapely.intersection(one, other))
    return np.asarray(common / (shapely.area(one) + shapely.area(other) - common))


def _beside(one: npt.NDArray[np.object_], other: npt.NDArray[np.object_]) -> Array:
    """Return the lesser share of two lines that runs beside the other."""
    about_one, about_other = (
        shapely.buffer(line, BESIDE_M, quad_segs=16, cap_style="flat") for line in (one, other)
    )
    along = shapely.length(shapely.intersection(other, about_one)) / shapely.length(other)
    back = shapely.length(shapely.intersection(one, about_other)) / shapely.length(one)
    return np.asarray(np.minimum(along, back))
