"""Where surveys trace one wall again: straight stretches that run along walls that stand.

A tracing of a wall is a stretch of another survey's line, not standing there itself, that lies no
further from the standing stretch than one wall allows, runs its way, and isn't told apart by phases
or heights. Faces and centre lines, and lines that a pole held off their face, are first brought
together by half the wall and half the pole.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline.walls.coverage import ALONG, STEEPEST, Coverage, Tracing
from wrackline.walls.levels import heights_at, middle_of
from wrackline.walls.linework import OLD_PLAN, Array, Ints, Linework
from wrackline.walls.repeats import REPEAT_LIMIT_M, REPEAT_SDS, USUAL_HALF_WALL_M
from wrackline.walls.stretches import Stretches, at_both, cross, dot

Bools = npt.NDArray[np.bool_]

LEAST_ALONG_M = 0.3
"""A shorter common run is a crossing or a touch (no source)."""

LEAST_POLE_M = 0.001
"""Lines that poles held off their faces by less than this apart are alike."""


@dataclass(frozen=True)
class Every:
    """All surveyed lines of a view: those that stand first, then the others.

    Attributes
    ----------
    work : Linework
    stretches : Stretches
    tracing : Tracing
    standing : int
        How many lines, from the first on, stand.
    """

    work: Linework
    stretches: Stretches
    tracing: Tracing
    standing: int

    @property
    def old(self) -> Bools:
        """Whether each line comes from an old plan, shape (lines,)."""
        return np.asarray((self.work.lines["evidence"] == OLD_PLAN).to_numpy(bool, na_value=False))

    @property
    def thickness_sd_m(self) -> Array:
        """Sd of each line's wall's thickness, NaN where the thickness isn't stated [m]."""
        thick, sd = (
            pd.to_numeric(self.work.lines[name]).to_numpy(float, na_value=np.nan)
            for name in ("thickness_m", "thickness_sd_m")
        )
        return np.where(np.isnan(thick), np.nan, np.nan_to_num(sd))


def every_line(standing: gpd.GeoDataFrame, lines: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the lines that stand, then all surveyed ones that don't, or stand in part.

    Parameters
    ----------
    standing, lines : GeoDataFrame
        `LINE_COLUMNS`; what stands may be cut from lines.
    """
    there = pd.MultiIndex.from_frame(standing[["survey", "row"]])
    length = pd.Series(shapely.length(standing.geometry.to_numpy()), index=there)
    length = length[~there.duplicated(keep=False)]
    whole = pd.MultiIndex.from_frame(lines[["survey", "row"]])
    same = np.isclose(length.reindex(whole), shapely.length(lines.geometry.to_numpy()))
    return pd.concat([standing, lines[~same]], ignore_index=True)


@dataclass(frozen=True)
class Beside:
    """Pairs of a stretch of a tracing and the standing stretch that it runs along.

    Attributes
    ----------
    stretch, wall : array of int, shape (n,)
        Stretch of the tracing, and the one that stands.
    run_m : array, shape (n, 2)
        From where to where along the standing stretch the two run together [m].
    off_m : array, shape (n, 2)
        How far the tracing lies to the left of the standing stretch at both ends of the run [m].
    expected_m : array, shape (n,)
        How far it would lie there without any errors: half a wall or a pole; NaN where it would
        lie somewhere else, but nothing tells on which side or how thick the wall is [m].
    """

    stretch: Ints
    wall: Ints
    run_m: Array
    off_m: Array
    expected_m: Array

    def pick(self, chosen: Bools | Ints) -> Beside:
        """Return the same with the chosen pairs only."""
        return Beside(*(values[chosen] for values in vars(self).values()))

    @property
    def length_m(self) -> Array:
        """Length of each common run, shape (n,) [m]."""
        return np.asarray(self.run_m[:, 1] - self.run_m[:, 0])


def beside(every: Every, covered: Coverage, side: Ints) -> Beside:
    """Return where tracings run along walls that stand.

    Parameters
    ----------
    every : Every
    covered : Coverage
        What stands of the first lines.
    side : array of int, shape (stretches,)
        On which side of each stretch of a face its wall lies: +1 left, -1 right, 0 not known.
    """
    pairs = _near(every)
    pairs = replace(pairs, expected_m=_expected(every, pairs, side))
    pairs = pairs.pick(_of_one_wall(every, pairs))
    stands = _StandsAt(every, covered)
    ends = ends_on_tracing(every, pairs).mean(axis=1)
    middle = pairs.run_m.mean(axis=1)
    here = stands(pairs.wall, middle) & ~stands(pairs.stretch, ends)
    pairs = pairs.pick(here)
    return pairs.pick(np.lexsort([pairs.run_m[:, 0], pairs.wall, pairs.stretch]))


def _widest(every: Every) -> float:
    """Return how far apart two tracings of one wall may lie at most [m]."""
    tracing = every.tracing
    near = 2 * REPEAT_SDS * float(tracing.whole_m.max(initial=0.0))
    limit = near if every.old.any() else REPEAT_LIMIT_M
    half = np.nan_to_num(tracing.thick_m).max(initial=2 * USUAL_HALF_WALL_M) / 2
    return float(limit + half + tracing.off_m.max(initial=0.0))


def _near(every: Every) -> Beside:
    """Return stretches of two surveys that run alongside, near enough to be looked at."""
    stretches, xy = every.stretches, every.work.xyz[:, :2]
    a, b = xy[stretches.first], xy[stretches.last]
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    walls = np.flatnonzero(stretches.line < every.standing)
    tree = shapely.STRtree(lines[walls])
    p, q = tree.query(lines, predicate="dwithin", distance=_widest(every))
    q = walls[q]
    survey = every.tracing.survey[stretches.line]
    level = np.abs(cross(stretches.along[p], stretches.along[q]))
    chosen = (survey[p] != survey[q]) & (level <= np.sin(np.arctan(STEEPEST)))
    p, q = p[chosen], q[chosen]
    along, left = stretches.along[q], _left(stretches.along[q])
    u = np.stack([dot(along, a[p] - a[q]), dot(along, b[p] - a[q])], axis=1)
    v = np.stack([dot(left, a[p] - a[q]), dot(left, b[p] - a[q])], axis=1)
    low = np.maximum(u.min(axis=1), 0.0)
    high = np.minimum(u.max(axis=1), stretches.length[q])
    slope = (v[:, 1] - v[:, 0]) / np.where(u[:, 1] == u[:, 0], 1.0, u[:, 1] - u[:, 0])
    run = np.stack([low, high], axis=1)
    off = v[:, :1] + slope[:, None] * (run - u[:, :1])
    least = np.minimum(LEAST_ALONG_M, 0.5 * np.minimum(stretches.length[p], stretches.length[q]))
    long = high - low > least
    return Beside(p, q, run, off, np.zeros(len(p))).pick(long)


def _left(along: Array) -> Array:
    """Return unit vectors to the left of others."""
    return np.stack([-along[..., 1], along[..., 0]], axis=-1)


def _expected(every: Every, pairs: Beside, side: Ints) -> Array:
    """Return where tracings would lie without errors, see `Beside.expected_m`."""
    tracing, line = every.tracing, every.stretches.line
    one, wall = line[pairs.stretch], line[pairs.wall]
    off, thick = tracing.off_m, np.where(np.isnan(every.thickness_sd_m), np.nan, tracing.thick_m)
    both = tracing.face[one] & tracing.face[wall]
    alike = ~tracing.face[one] & ~tracing.face[wall]
    pole = side[pairs.wall] * (off[wall] - off[one])
    unlike = np.abs(off[wall] - off[one]) > LEAST_POLE_M
    by_pole = np.where(unlike & (side[pairs.wall] == 0), np.nan, np.where(unlike, pole, 0.0))
    half = np.where(tracing.face[one], thick[wall], thick[one]) / 2
    half = half + np.where(tracing.face[one], off[one], off[wall])
    by_half = np.sign(pairs.off_m.mean(axis=1)) * half
    return np.asarray(np.select([alike, both], [0.0, by_pole], by_half))


def _of_one_wall(every: Every, pairs: Beside) -> Bools:
    """Tell which pairs may trace one wall, by their distance, phases and heights."""
    tracing, line = every.tracing, every.stretches.line
    one, wall = line[pairs.stretch], line[pairs.wall]
    old = every.old[one] | every.old[wall]
    joint = REPEAT_SDS * np.hypot(tracing.whole_m[one], tracing.whole_m[wall])
    reach = np.where(old, np.maximum(joint, REPEAT_LIMIT_M), REPEAT_LIMIT_M)
    free = np.where(tracing.face[one] == tracing.face[wall], 0.0, USUAL_HALF_WALL_M)
    free = free + np.abs(tracing.off_m[one] - tracing.off_m[wall])
    reach = reach + np.where(np.isnan(pairs.expected_m), free, 0.0)
    away = np.abs(pairs.off_m - np.nan_to_num(pairs.expected_m)[:, None])
    phased = (tracing.span[one, 0] >= 0) & (tracing.span[one] != tracing.span[wall]).any(axis=1)
    near = (away <= reach[:, None]).any(axis=1) & ~phased
    return np.asarray(near & ~tracing.levels.two_walls(one, wall, _above(every, pairs)))


def _above(every: Every, pairs: Beside) -> Array:
    """Return how far tracings lie over the walls along their runs, NaN if not known [m]."""
    stretches, xyz = every.stretches, every.work.xyz
    ends = ends_on_tracing(every, pairs)
    there = ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * ALONG
    here = pairs.run_m[:, :1] + pairs.length_m[:, None] * ALONG
    one = heights_at(xyz, stretches.first[pairs.stretch], there)
    wall = heights_at(xyz, stretches.first[pairs.wall], here)
    return middle_of(one - wall)


def ends_on_tracing(every: Every, pairs: Beside) -> Array:
    """Return how far along the tracing's stretch both ends of each run lie, shape (n, 2) [m]."""
    stretches, xy = every.stretches, every.work.xyz[:, :2]
    p, q = pairs.stretch, pairs.wall
    start = dot(stretches.along[q], xy[stretches.first[p]] - xy[stretches.first[q]])
    turn = dot(stretches.along[q], stretches.along[p])
    along = (pairs.run_m - start[:, None]) / turn[:, None]
    return np.asarray(np.clip(along, 0.0, stretches.length[p][:, None]))


class _StandsAt:
    """Tells whether something stands some way along stretches."""

    def __init__(self, every: Every, covered: Coverage) -> None:
        stretches, xyz = every.stretches, every.work.xyz
        first = xyz[stretches.first[covered.stretch], :2]
        ends = covered.pieces.ends(xyz)[:, :, :2] - first[:, None]
        along = dot(stretches.along[covered.stretch][:, None], ends)
        self.stretch, self.along = covered.stretch, np.sort(along, axis=1)

    def __call__(self, stretch: Ints, along: Array) -> Bools:
        """Tell where, shape (n,)."""
        k, piece = at_both(stretch, self.stretch)
        low, high = self.along[piece].T
        found = np.zeros(len(stretch), dtype=bool)
        found[k[(low <= along[k]) & (along[k] <= high)]] = True
        return found
