"""Several surveys of one piece of ground made into one height a cell, each by its weight.

A weight is the inverse of a survey's *total* variance in the cell (random, patchy and named errors
together), never its count of points: what moves all points of a survey together is the same for a
thousand of them. It is at least 0, and falls to 0 towards the edge of the survey's ground and, with
the distance from what was measured, across its filled gaps (`faded_shares`).

The variance of the weighted mean follows the weights used: random and patchy errors of different
surveys are independent, Σ w² v; a named component that several rest on is one error, (Σ w e)².
With a source common to all the best linear weights would leave it out of the variances; weights
that keep it in cost at most √(1 + (n − 1) / 4n) in sd, 6 % for two surveys and 12 % for any number
(own variances 0 and n times the common one are the worst case). In return no weight needs a matrix,
none is negative, and the mean lies between the surveys.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from wrackline.rasters import ticks
from wrackline.seabed.carried import Layer
from wrackline.uncertainty import COVERAGE_95

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

DAYS_A_YEAR = 365.25
COVERAGE_99 = 2.5758293035489004
"""Half-width of a 99 % interval in standard uncertainties (normal)."""
LEAST_VARIANCE = 1e-12

Tally = dict[tuple[str, str], list[int]]
"""By (newer, older): cells that both measured, those apart, the sum of differences in ticks."""


@dataclass(frozen=True)
class Entry:
    """A survey as it enters a merged surface.

    Attributes
    ----------
    name : str
        Identifier.
    number : int
        Its value in the band `source`.
    season : str
        Later seasons sort after earlier ones.
    day : float
        Middle of its dates, in days.
    """

    name: str
    number: int
    season: str
    day: float


@dataclass(frozen=True)
class Joining:
    """A survey on one piece: who, its layer, and how far its weight has faded (0 to 1)."""

    entry: Entry
    layer: Layer
    fade: Array

    @property
    def bed(self) -> Flags:
        """Where it has a height of the bed, measured or filled."""
        return self.layer.known & ~self.layer.plants

    @property
    def measured(self) -> Flags:
        """Where it measured the bed."""
        return self.bed & ~self.layer.filled


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """Return surveys from the newest season to the oldest, by name within one.

    All sums run in this order, so that no figure depends on how the config lists the surveys.
    """
    named = sorted(entries, key=lambda entry: entry.name)
    return sorted(named, key=lambda entry: entry.season, reverse=True)


def combine(
    parts: Sequence[Joining], *, feather_m: float, change_sd: float | None, tally: Tally
) -> tuple[dict[str, Array], list[Array]]:
    """Return one surface of several surveys.

    Parameters
    ----------
    parts : sequence of Joining, length n
        In the order of `in_order`.
    feather_m : float
        Distance over which weights fade across filled gaps [m].
    change_sd : float or None
        How much the bed changes, as an sd a year [m]; None where nobody knows: then an older
        season counts only as far as newer ones don't reach, or fade.
    tally : dict
        Pairs of surveys are counted into it.

    Returns
    -------
    bands : dict of str to array
        ``height``, ``sd``, ``sd_random``, ``count``, ``source``, ``filled``, ``together``,
        ``sd_rest``, ``distance_m``, ``surface``; NaN where no survey has a height.
    shares : list of array, length n
        Weights that sum to 1.
    """
    excess = _differences(parts, change_sd, tally)
    newest = _newest_day(parts)
    variance = []
    for part, shown in zip(parts, excess, strict=True):
        years = (newest - part.entry.day) / DAYS_A_YEAR
        changed = shown + ((change_sd or 0.0) * years) ** 2
        variance.append((part.layer.random + part.layer.common + changed, changed))
    totals = [np.maximum(np.nan_to_num(total), LEAST_VARIANCE) for total, _ in variance]
    shares = _weights(parts, totals, feather_m=feather_m, by_season=change_sd is None)
    return _mean(parts, shares, [changed for _, changed in variance]), shares


def _newest_day(parts: Sequence[Joining]) -> Array:
    """Return the day of the newest survey of the bed in each cell."""
    newest = np.full(parts[0].fade.shape, -np.inf)
    for part in parts:
        newest = np.where(part.bed, np.maximum(newest, part.entry.day), newest)
    return np.where(np.isfinite(newest), newest, 0.0)


def _differences(parts: Sequence[Joining], change_sd: float | None, tally: Tally) -> list[Array]:
    """Return, by survey, the variance that differences from other surveys show; count the pairs.

    What a pair differs by beyond its joint 99 % interval is error of the older, of both if they
    are of one season; pairs count as apart from 95 % on. Where nobody knows how the bed changes,
    an older season's whole difference from a newer one is.
    """
    excess = [np.zeros(part.fade.shape) for part in parts]
    for i, j in combinations(range(len(parts)), 2):
        newer, older = parts[i], parts[j]
        if (newer.entry.day, newer.entry.name) < (older.entry.day, older.entry.name):
            newer, older = older, newer
        both = newer.measured & older.measured
        if not both.any():
            continue
        away = np.where(both, newer.layer.height - older.layer.height, 0.0)
        years = (newer.entry.day - older.entry.day) / DAYS_A_YEAR
        joint = _joint(newer.layer, older.layer) + ((change_sd or 0.0) * years) ** 2
        joint = np.where(both, joint, 0.0)
        so_far = tally.setdefault((newer.entry.name, older.entry.name), [0, 0, 0])
        so_far[0] += int(both.sum())
        so_far[1] += int((away**2 > COVERAGE_95**2 * joint)[both].sum())
        so_far[2] += int(ticks(away[both]).sum())
        one_season = parts[i].entry.season == parts[j].entry.season
        unknown = change_sd is None and not one_season
        shown = away**2 if unknown else np.maximum(away**2 - COVERAGE_99**2 * joint, 0.0)
        excess[j] = np.maximum(excess[j], shown)
        if one_season:
            excess[i] = np.maximum(excess[i], shown)
    return excess


def _joint(one: Layer, other: Layer) -> Array:
    """Return the variance of the difference of two surveys; what both rest on cancels."""
    total = one.random + other.random + one.patchy + other.patchy + one.rest + other.rest
    nothing = np.zeros(one.height.shape)
    for name in sorted({*one.named, *other.named}):
        effect = one.named.get(name, nothing) - other.named.get(name, nothing)
        total = total + effect**2
    return np.asarray(total)


def _weights(
    parts: Sequence[Joining], totals: list[Array], *, feather_m: float, by_season: bool
) -> list[Array]:
    """Return weights that sum to 1: measured bed first, then filled, then the canopy of plants."""
    ranks: list[Callable[[Joining], Array]] = [
        lambda part: part.fade * _closeness(part, feather_m),
        lambda part: part.fade * part.bed,
        lambda part: part.layer.known.astype(float),
    ]
    shares = np.zeros((len(parts), *parts[0].fade.shape))
    lacking = np.ones(parts[0].fade.shape, dtype=bool)
    for rank in ranks:
        counts = [rank(part) for part in parts]
        if by_season:
            counts = _newer_first(parts, counts)
        shares = np.where(lacking, faded_shares(np.array(counts), np.array(totals)), shares)
        lacking = shares.sum(axis=0) == 0
        if not lacking.any():
            break
    return list(shares)


def faded_shares(fade: Array, variance: Array) -> Array:
    """Return weights by inverse variance, of which none is more than its survey's fade.

    The mean over all levels t from 0 to the greatest fade of the inverse variance weights of those
    surveys whose fade is at least t: so even a survey far better than the others fades in evenly.

    Parameters
    ----------
    fade : array, shape (n, ...)
        From 0 to 1.
    variance : array, shape (n, ...)
        Above 0 [m²].

    Returns
    -------
    array, shape (n, ...)
        Sums to 1 over the surveys, and is 0 where no fade is above 0.

    Examples
    --------
    A survey a hundred times surer, a tenth of the way in:

    >>> faded_shares(np.array([1.0, 0.1]), np.array([1.0, 0.01])).round(3)
    array([0.901, 0.099])
    """
    order = np.argsort(-fade, axis=0, kind="stable")
    level = np.take_along_axis(fade, order, axis=0)
    weight = np.take_along_axis(1 / variance, order, axis=0)
    width = level - np.concatenate([level[1:], np.zeros((1, *level.shape[1:]))])
    from_here = np.cumsum((width / np.cumsum(weight, axis=0))[::-1], axis=0)[::-1]
    shares = np.empty_like(fade)
    share = weight * from_here / np.where(level[0] > 0, level[0], 1.0)
    np.put_along_axis(shares, order, share, axis=0)
    return shares


def _closeness(part: Joining, feather_m: float) -> Array:
    """Return 1 where the bed was measured, less with the distance across filled cells."""
    if feather_m <= 0:
        return part.measured.astype(float)
    near = np.clip(1 - np.nan_to_num(part.layer.distance_m, nan=np.inf) / feather_m, 0.0, 1.0)
    return np.where(part.layer.filled, near, 1.0) * part.bed


def _newer_first(parts: Sequence[Joining], counts: list[Array]) -> list[Array]:
    """Return counts lowered by as much as surveys of newer seasons cover each cell."""
    left, out = np.ones(parts[0].fade.shape), []
    covered, season = np.zeros(left.shape), parts[0].entry.season
    for part, count in zip(parts, counts, strict=True):
        if part.entry.season != season:
            left, covered, season = left * (1 - covered), np.zeros(left.shape), part.entry.season
        out.append(count * left)
        covered = np.maximum(covered, count)
    return out


def _mean(parts: Sequence[Joining], shares: list[Array], shown: list[Array]) -> dict[str, Array]:
    """Return the bands of the weighted mean."""
    shape = parts[0].fade.shape
    known = np.zeros(shape, dtype=bool)
    sums = {name: np.zeros(shape) for name in ("height", "random", "alike", "patchy", "rest")}
    named: dict[str, Array] = {}
    for part, share, change in zip(parts, shares, shown, strict=True):
        known |= part.layer.known
        layer, square = part.layer, share**2
        random = square * np.nan_to_num(layer.random)
        sums["height"] += share * np.nan_to_num(layer.height)
        sums["random"] += random
        sums["alike"] += np.maximum(random, 1e-12 * square) * np.nan_to_num(layer.alike)
        sums["patchy"] += square * np.nan_to_num(layer.patchy)
        sums["rest"] += square * (np.nan_to_num(layer.rest) + change)
        for name in sorted(layer.named):
            effect = share * np.nan_to_num(layer.named[name])
            named[name] = named.get(name, 0.0) + effect
    floor = sum(
        np.maximum(s**2 * np.nan_to_num(p.layer.random), 1e-12 * s**2)
        for p, s in zip(parts, shares, strict=True)
    )
    total = sums["random"] + sums["patchy"] + sums["rest"]
    for name in sorted(named):
        total = total + named[name] ** 2
    bands = {
        "height": sums["height"],
        "sd": np.sqrt(total),
        "sd_random": np.sqrt(sums["random"]),
        **_told(parts, shares),
        "together": sums["alike"] / np.where(floor > 0, floor, 1.0),
        "sd_rest": np.sqrt(sums["rest"]),
    }
    return {name: np.where(known, band, np.nan) for name, band in bands.items()}


def _told(parts: Sequence[Joining], shares: list[Array]) -> dict[str, Array]:
    """Return what the cells came from: the survey of most weight, points, gaps, canopy."""
    shape = parts[0].fade.shape
    best, source, surface = np.zeros(shape), np.full(shape, np.nan), np.full(shape, np.nan)
    count, filled, distance = np.zeros(shape), np.ones(shape), np.full(shape, np.inf)
    for part, share in zip(parts, shares, strict=True):
        layer, joins, more = part.layer, share > 0, share > best
        measured = joins & ~layer.filled
        source[more], surface[more] = part.entry.number, layer.surface[more]
        best = np.where(more, share, best)
        count[measured] += layer.count[measured]
        filled[measured] = 0.0
        distance[measured] = 0.0
        far = np.nan_to_num(layer.distance_m, nan=np.inf)
        distance[joins] = np.minimum(distance, far)[joins]
    return {
        "count": count,
        "source": source,
        "filled": filled,
        "distance_m": np.where(np.isfinite(distance), distance, np.nan),
        "surface": surface,
    }
