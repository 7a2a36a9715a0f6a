"""Networks of tapes, offsets, depths and compass bearings, adjusted in three dimensions.

A tape is a slope distance on the ground: its horizontal part is multiplied by the grid's scale, its
vertical part is not. Places that are known enter as observations of their coordinates. The start
is found by intersecting measures from points already placed, the best by absolute misfit, and
made better by robust least squares; blunders are then found one at a time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components, shortest_path

from wrackline.fit.adjust import Adjustment, Model, Rejected, Snooped, adjust, snoop
from wrackline.fit.similarity import fit_similarity
from wrackline.uncertainty import NamedError

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

DISTANCE, ALONG, RIGHT, HEIGHT, BEARING, EAST, NORTH = range(7)
"""Kinds of observation: slope distance, along and to the right of a base line, height up, grid
azimuth, easting and northing of a mark."""

IS_LENGTH, IS_OFFSET, IS_PLACE, IS_LINK = (
    np.isin(np.arange(NORTH + 1), kinds)
    for kinds in (
        (DISTANCE, ALONG, RIGHT),
        (ALONG, RIGHT),
        (HEIGHT, EAST, NORTH),
        (DISTANCE, ALONG, RIGHT, BEARING),
    )
)
"""By kind: whether it is a length, of an offset, a coordinate, a tie between points in plan."""
AXIS = np.array([0, 0, 0, 2, 0, 0, 1])
"""By kind of a coordinate: which one it is."""

MOST_LOCI = 5
"""Circles, and rays, whose meetings are tried for a first place."""
CAP = 30.0
"""Misfit in sds beyond which a measure counts no more against a first place."""
ALIKE = 9.0
"""Two places fit alike when their sums of squares differ by less than this (three sds)."""
FAR_OFF = 50.0
"""Misfit in sds beyond which a mirrored place isn't tried."""
LEAST_APART_M = 0.2
LOOSE_M = 1.0
"""A point that is known no better than this counts as not determined."""
FOOT_M = 0.3048
INSEPARABLE = 0.95
"""Correlation of residuals from which on two blunders look the same (no source)."""
STEPS, TRIES, FLIPS = 60, 16, 3
GOOD = 1.2
"""Mean misfit in sds, each counted up to `CAP`, at which no further start is tried."""


@dataclass(frozen=True)
class Network:
    """Observations between points, which are counted from 0.

    Attributes
    ----------
    kind, a, b, p : array of int, shape (m,)
        Kind; from and to (of a height or a mark: the point, twice); the point of an offset, -1 for
        other kinds.
    value, sd : array, shape (m,)
        Metres, of bearings radians clockwise from grid north.
    scale : float
        Grid length over ground length.
    count : int
        Points.
    """

    kind: Ints
    a: Ints
    b: Ints
    p: Ints
    value: Array
    sd: Array
    scale: float
    count: int

    def part(self, rows: Flags) -> Network:
        """Return a network of some of the observations."""
        names = ("kind", "a", "b", "p", "value", "sd")
        return replace(self, **{name: getattr(self, name)[rows] for name in names})

    def alone(self) -> tuple[Network, Ints]:
        """Return the network without points that it doesn't name, and those it does, in order."""
        named = np.unique(np.concatenate([self.a, self.b, self.p[self.p >= 0]]))
        place = np.searchsorted(named, [self.a, self.b, self.p])
        p = np.where(self.p < 0, -1, place[2])
        return replace(self, a=place[0], b=place[1], p=p, count=len(named)), named

    def touches(self, point: int) -> Flags:
        """Tell which observations have to do with a point."""
        mine: Flags = (self.a == point) | (self.b == point) | (self.p == point)
        return mine


@dataclass(frozen=True)
class Solution:
    """What was found of a network.

    Attributes
    ----------
    snooped : Snooped
        Unknowns are easting, northing and height of each point in turn.
    misfit : array, shape (m,)
        Observed minus computed, of all observations, those rejected too.
    tape_scale, tape_scale_sd : float
        Measured over true lengths, where control tells; NaN where it doesn't.
    turn, turn_sd : float
        What all bearings are too great by [radians], NaN where nothing tells.
    apart : list of Rejected
        Blunders that are left when scale and turn are free.
    alike : list of list of int
        For each observation rejected, others whose blunder would explain as much.
    mirrored : list of tuple
        Points that fit alike on the other side, with that side's easting and northing.
    """

    snooped: Snooped
    misfit: Array
    tape_scale: float
    tape_scale_sd: float
    turn: float
    turn_sd: float
    apart: list[Rejected]
    alike: list[list[int]]
    mirrored: list[tuple[int, float, float]]

    @property
    def xyz(self) -> Array:
        """Places, shape (n, 3)."""
        return self.snooped.adjustment.x.reshape(-1, 3)

    @property
    def sds(self) -> Array:
        """Standard uncertainties of the places, shape (n, 3)."""
        return np.sqrt(np.diag(self.snooped.adjustment.covariance)).reshape(-1, 3)


def predict(network: Network, x: Array, factor: float = 1.0) -> tuple[Array, Array]:
    """Return what a network's observations would be at given places, and their derivatives.

    Parameters
    ----------
    network : Network
    x : array, shape (3 n,)
        Easting, northing and height of each point in turn [m].
    factor : float
        Measured over true lengths.

    Returns
    -------
    predicted : array, shape (m,)
        Bearings within half a turn of what was observed.
    jacobian : array, shape (m, 3 n)

    Examples
    --------
    A tape of 5 m over a plan distance of 3 m and a step of 4 m, and the plan distance on its own:

    >>> at = [np.array([k]) for k in (DISTANCE, 0, 1, -1)]
    >>> tape = Network(*at, np.array([5.0]), np.array([0.02]), 1.0, 2)
    >>> predicted, jacobian = predict(tape, np.array([0.0, 0, 0, 3, 0, 4]))
    >>> predicted, jacobian
    (array([5.]), array([[-0.6,  0. , -0.8,  0.6,  0. ,  0.8]]))
    """
    xyz = x.reshape(-1, 3)
    predicted, jacobian = np.zeros(len(network.kind)), np.zeros((len(network.kind), x.size))
    for mine, part in (
        (network.kind == DISTANCE, _distances),
        (IS_OFFSET[network.kind], _offsets),
        (network.kind == BEARING, _bearings),
        (IS_PLACE[network.kind], _coordinates),
    ):
        rows = np.flatnonzero(mine)
        if len(rows):
            part(network, rows, xyz, predicted, jacobian)
    if factor != 1.0:
        lengths = IS_LENGTH[network.kind]
        predicted[lengths] *= factor
        jacobian[lengths] *= factor
    return predicted, jacobian


def _add(jacobian: Array, rows: Ints, points: Ints, axis: int, values: Array) -> None:
    jacobian[rows, 3 * points + axis] += values


def _distances(network: Network, rows: Ints, xyz: Array, predicted: Array, jacobian: Array) -> None:
    a, b, scale = network.a[rows], network.b[rows], network.scale
    step = (xyz[b] - xyz[a]) / [scale, scale, 1.0]
    length = np.maximum(np.linalg.norm(step, axis=1), 1e-6)
    predicted[rows] = length
    for axis, by in enumerate((scale, scale, 1.0)):
        slope = step[:, axis] / length / by
        _add(jacobian, rows, b, axis, slope)
        _add(jacobian, rows, a, axis, -slope)


def _offsets(network: Network, rows: Ints, xyz: Array, predicted: Array, jacobian: Array) -> None:
    a, b, p, scale = network.a[rows], network.b[rows], network.p[rows], network.scale
    base, arm = xyz[b, :2] - xyz[a, :2], xyz[p, :2] - xyz[a, :2]
    length = np.maximum(np.linalg.norm(base, axis=1), 1e-6)
    unit = base / length[:, None]
    right = np.column_stack([unit[:, 1], -unit[:, 0]])
    along, aside = (arm * unit).sum(axis=1), (arm * right).sum(axis=1)
    forward = network.kind[rows] == ALONG
    predicted[rows] = np.where(forward, along, aside) / scale
    own = np.where(forward[:, None], unit, right)
    turned = np.where(forward, aside, -along)[:, None] * right / length[:, None]
    for axis in (0, 1):
        _add(jacobian, rows, p, axis, own[:, axis] / scale)
        _add(jacobian, rows, b, axis, turned[:, axis] / scale)
        _add(jacobian, rows, a, axis, -(own[:, axis] + turned[:, axis]) / scale)


def _bearings(network: Network, rows: Ints, xyz: Array, predicted: Array, jacobian: Array) -> None:
    a, b = network.a[rows], network.b[rows]
    east, north = (xyz[b, :2] - xyz[a, :2]).T
    square = np.maximum(east**2 + north**2, 1e-12)
    off = network.value[rows] - np.arctan2(east, north)
    predicted[rows] = network.value[rows] - np.arctan2(np.sin(off), np.cos(off))
    for axis, slope in enumerate((north / square, -east / square)):
        _add(jacobian, rows, b, axis, slope)
        _add(jacobian, rows, a, axis, -slope)


def _coordinates(
    network: Network, rows: Ints, xyz: Array, predicted: Array, jacobian: Array
) -> None:
    axis = AXIS[network.kind[rows]]
    predicted[rows] = xyz[network.a[rows], axis]
    jacobian[rows, 3 * network.a[rows] + axis] = 1.0


def solve(network: Network) -> Solution:
    """Adjust a network, set its blunders aside, and look for what could be wrong as a whole.

    Parameters
    ----------
    network : Network
        Every point with at least one measure, two marks or more.

    Returns
    -------
    Solution
    """
    centre = _centre(network)
    near = _moved(network, -centre)
    x = robust_start(near)
    scale, turn, apart = _wholes(near, x)
    snooped = snoop(_model(near), x, near.value, near.sd)
    found = snooped.adjustment
    misfit = near.value - predict(near, found.x)[0]
    kept = np.ones(len(near.kind), dtype=bool)
    kept[[rejected.index for rejected in snooped.rejected]] = False
    mirrored = [
        (point, float(place[0] + centre[0]), float(place[1] + centre[1]))
        for point, place in _mirrored(near.part(kept), found)
    ]
    shift = np.tile([*centre, 0.0], near.count)
    placed = replace(snooped, adjustment=replace(found, x=found.x + shift))
    alike = _alike(near, found.x, ~kept)
    return Solution(
        placed, misfit, *scale, *turn, apart, [alike[r.index] for r in snooped.rejected], mirrored
    )


def in_feet(network: Network) -> float | None:
    """Return what lengths must be multiplied by to fit far better, a foot or its inverse, or None.

    Parameters
    ----------
    network : Network
        One whose adjustment found much wrong.
    """
    near = _moved(network, -_centre(network))
    lengths = IS_LENGTH[near.kind]
    costs = {}
    for factor in (1.0, FOOT_M, 1.0 / FOOT_M):
        value = np.where(lengths, near.value * factor, near.value)
        sd = np.where(lengths, near.sd * max(factor, 1.0), near.sd)
        trial = replace(near, value=value, sd=sd)
        costs[factor] = robust_cost(trial, robust_start(trial))
    best = min(costs, key=lambda factor: costs[factor])
    return best if best != 1.0 and costs[best] < costs[1.0] / 5 else None


def _centre(network: Network) -> Array:
    """Return the middle of the marks, from which numbers are counted to keep their digits."""
    return np.array([network.value[network.kind == kind].mean() for kind in (EAST, NORTH)])


def _moved(network: Network, by: Array) -> Network:
    value = network.value.copy()
    for kind, step in zip((EAST, NORTH), by, strict=True):
        value[network.kind == kind] += step
    return replace(network, value=value)


def _model(network: Network) -> Model:
    return lambda x: predict(network, x)


def _alike(network: Network, x: Array, rejected: Flags) -> dict[int, list[int]]:
    """Return, by observation rejected, those that can't be told from it as a blunder.

    Told by the correlation of their residuals, with all others that were rejected left out.
    """
    found = {}
    for index in np.flatnonzero(rejected):
        rows = np.flatnonzero(~rejected | (np.arange(len(rejected)) == index))
        scaled = predict(network, x)[1][rows] / network.sd[rows, None]
        spread = np.eye(len(rows)) - scaled @ np.linalg.pinv(scaled, rcond=1e-8)
        own = np.flatnonzero(rows == index)[0]
        size = np.sqrt(np.maximum(np.diag(spread), 1e-12))
        together = np.abs(spread[own]) / (size * size[own]) > INSEPARABLE
        together &= np.diag(spread) > 1e-6
        found[int(index)] = [int(k) for k in rows[together] if k != index]
    return found


def _wholes(
    network: Network, x: Array
) -> tuple[tuple[float, float], tuple[float, float], list[Rejected]]:
    """Return scale of the tapes and common error of the bearings, with sds, and what is left.

    They are NaN where nothing tells.
    """
    lengths, bearings = IS_LENGTH[network.kind], network.kind == BEARING

    def model(unknowns: Array) -> tuple[Array, Array]:
        predicted, jacobian = predict(network, unknowns[:-2], float(unknowns[-2]))
        by_scale = np.where(lengths, predicted / unknowns[-2], 0.0)
        turned = np.where(bearings, unknowns[-1], 0.0)
        return predicted + turned, np.column_stack([jacobian, by_scale, bearings.astype(float)])

    start = np.append(x, [1.0, 0.0])
    snooped = snoop(model, start, network.value, network.sd)
    found = snooped.adjustment
    sds = np.sqrt(np.diag(found.covariance)[-2:])
    known = [len(start) - 2 + k not in found.undetermined for k in (0, 1)]
    pairs = [
        (float(found.x[k - 2]), float(sds[k])) if known[k] else (float("nan"), float("nan"))
        for k in (0, 1)
    ]
    return pairs[0], pairs[1], snooped.rejected


def robust_cost(network: Network, x: Array) -> float:
    """Return the sum of misfits in sds, each counted up to `CAP`."""
    off = np.abs(network.value - predict(network, x)[0]) / network.sd
    return float(np.minimum(off, CAP).sum())


def robust_start(network: Network) -> Array:
    """Return places that most observations agree on, blunders among them or not.

    Parameters
    ----------
    network : Network

    Returns
    -------
    array, shape (3 n,)
    """
    best, least = np.empty(0), np.inf
    for seed in range(TRIES):
        chance = np.random.default_rng(seed)
        xyz = _spread_out(network, mirror=seed == 2) if seed in (1, 2) else np.empty((0, 3))
        if not len(xyz):
            xyz = _first_places(network, chance if seed else None)
        alone = np.flatnonzero(np.isnan(xyz[:, 0]))
        spread = chance.normal(size=(len(alone), 2))
        xyz[alone, :2] = spread * max(float(np.nanstd(xyz[:, :2])), 1.0)
        x = _turned_over(network, _improved(network, _robust(network, xyz.ravel())))
        cost = robust_cost(network, x)
        if cost < least:
            best, least = x, cost
        if least < GOOD * len(network.kind):
            break
    return best


def _robust(network: Network, start: Array) -> Array:
    """Return places of least sum of soft absolute misfits, near a start.

    Levenberg's damped steps on reweighted normal equations: for networks of a hundred points
    many times as fast as general solvers, and exact enough to begin from.
    """
    x, damping = start, 1e-3
    cost, slope, square = _soft(network, x)
    for _ in range(STEPS):
        size = np.diag(square)
        step = np.linalg.solve(square + np.diag(damping * size + 1e-9 * size.max()), slope)
        new_cost, new_slope, new_square = _soft(network, x + step)
        if new_cost < cost:
            gain = cost - new_cost
            x, cost, slope, square = x + step, new_cost, new_slope, new_square
            damping = max(damping / 5, 1e-9)
            if gain < 1e-5 * (cost + 1e-6):
                return x
        else:
            damping *= 5
            if damping > 1e6:
                return x
    return x


def _soft(network: Network, x: Array) -> tuple[float, Array, Array]:
    """Return the sum of soft absolute misfits, its downward slope, and its normal matrix."""
    predicted, jacobian = predict(network, x)
    off = (network.value - predicted) / network.sd
    root = np.sqrt(1.0 + off**2)
    scaled = jacobian / network.sd[:, None]
    weighted = scaled / root[:, None]
    return float((root - 1.0).sum()), weighted.T @ off, weighted.T @ scaled


def _improved(network: Network, x: Array) -> Array:
    """Return places with points that fit badly tried elsewhere, by their own measures."""
    for _ in range(3):
        xyz = x.reshape(-1, 3).copy()
        off = np.abs(network.value - predict(network, x)[0]) / network.sd
        moved = False
        for point in range(network.count):
            mine = network.touches(point)
            own = np.minimum(off[mine], CAP).sum()
            if own > 3.0 * mine.sum():
                place, cost = _best_place(network, point, xyz)
                if cost < 0.5 * own:
                    xyz[point, :2], moved = place, True
        if not moved:
            return x
        trial = _robust(network, xyz.ravel())
        if robust_cost(network, trial) >= robust_cost(network, x):
            return x
        x = trial
    return x


def _turned_over(network: Network, x: Array) -> Array:
    """Return places with sets of points on the other side of their neighbours, where that fits."""
    cost = robust_cost(network, x)
    starts = [_flipped(x, group, around) for group, around in _groups(network) if len(around) > 1]
    costs = [robust_cost(network, start) for start in starts]
    for k in np.argsort(costs, kind="stable")[:FLIPS]:
        if costs[k] < 1.5 * cost:
            trial = _robust(network, starts[k])
            trial_cost = robust_cost(network, trial)
            if trial_cost < cost:
                x, cost = trial, trial_cost
    return x


def _first_places(network: Network, chance: np.random.Generator | None) -> Array:
    """Return places found one by one from those that have one, NaN where none leads on.

    With `chance`, order and side of what fits nearly alike are left to it.
    """
    xyz = _known(network)
    while True:
        point = _next_point(network, xyz, chance)
        if point is None:
            return xyz
        place, _ = _best_place(network, point, xyz, chance)
        xyz[point, :2] = place


def _known(network: Network) -> Array:
    """Return what is observed of places; NaN elsewhere, but heights at the mean of those known."""
    xyz = np.full((network.count, 3), np.nan)
    for axis, kind in enumerate((EAST, NORTH, HEIGHT)):
        rows = network.kind == kind
        xyz[network.a[rows][::-1], axis] = network.value[rows][::-1]
    heights = xyz[:, 2]
    known = heights[np.isfinite(heights)]
    heights[np.isnan(heights)] = known.mean() if len(known) else 0.0
    return xyz


def _spread_out(network: Network, *, mirror: bool) -> Array:
    """Return places by classical scaling of the shortest ways between points, laid on the marks.

    Ways along tapes are longer than straight ones, but they unfold what step by step went wrong.
    Empty where tapes don't tie all points together, or there are but two marks in one place.
    """
    xyz = _known(network)
    tapes = network.part(network.kind == DISTANCE)
    step = xyz[tapes.b, 2] - xyz[tapes.a, 2]
    flat = np.sqrt(np.maximum(tapes.value**2 - step**2, 1e-6)) * network.scale
    marks = np.flatnonzero(np.isfinite(xyz[:, 0]))
    ways = np.full((network.count, network.count), np.inf)
    np.minimum.at(ways, (tapes.a, tapes.b), flat)
    between = xyz[marks, None, :2] - xyz[None, marks, :2]
    ways[np.ix_(marks, marks)] = np.linalg.norm(between, axis=2)
    ways = shortest_path(np.minimum(ways, ways.T), directed=False)
    if not np.isfinite(ways).all() or np.ptp(xyz[marks, :2], axis=0).max() == 0:
        return np.empty((0, 3))
    middle = np.eye(network.count) - 1.0 / network.count
    size, axes = np.linalg.eigh(-0.5 * middle @ ways**2 @ middle)
    plan = axes[:, -2:] * np.sqrt(np.maximum(size[-2:], 0.0)) * [1.0, -1.0 if mirror else 1.0]
    xyz[:, :2] = fit_similarity(plan[marks], xyz[marks, :2]).apply(plan)
    return xyz


def _next_point(network: Network, xyz: Array, chance: np.random.Generator | None) -> int | None:
    """Return the point with the most measures from points that have a place, two at least."""
    there = np.isfinite(xyz[:, 0])
    a, b, p = network.a, network.b, network.p
    votes = np.zeros(network.count)
    for kind in (DISTANCE, BEARING):
        for one, other in ((a, b), (b, a)):
            np.add.at(votes, one[(network.kind == kind) & there[other]], 1.0)
    based = IS_OFFSET[network.kind] & there[a] & there[b]
    np.add.at(votes, p[based], 1.0)
    votes[there] = 0.0
    if chance is not None:
        votes = np.where(votes >= 2, votes + chance.uniform(0.0, 2.0, len(votes)), 0.0)
    most = int(np.argmax(votes)) if len(votes) else 0
    return most if len(votes) and votes[most] >= 2 else None


def _best_place(
    network: Network, point: int, xyz: Array, chance: np.random.Generator | None = None
) -> tuple[Array, float]:
    """Return the place of a point that its measures from placed points like best, and its cost."""
    there = np.isfinite(xyz[:, 0])
    there[point] = True
    rows = network.touches(point) & there[network.a] & there[network.b]
    rows &= (network.p < 0) | there[network.p]
    mine, near = network.part(rows).alone()
    at = int(np.searchsorted(near, point))
    trial, best, least = xyz[near], np.zeros(2), np.inf
    for place in _candidates(mine, at, xyz[near]):
        trial[at, :2] = place
        off = np.abs(mine.value - predict(mine, trial.ravel())[0]) / mine.sd
        cost = float(np.minimum(off, CAP).sum())
        cost += 0.0 if chance is None else float(chance.uniform(0.0, CAP))
        if cost < least:
            best, least = place, cost
    return best, least


def _candidates(mine: Network, point: int, xyz: Array) -> Iterator[Array]:
    """Yield places where two measures of a point meet."""
    offsets: dict[tuple[int, int], dict[int, float]] = {}
    for k in np.flatnonzero(mine.p == point):
        ends = (int(mine.a[k]), int(mine.b[k]))
        offsets.setdefault(ends, {})[int(mine.kind[k])] = float(mine.value[k])
    for (a, b), sides in offsets.items():
        if ALONG in sides and RIGHT in sides:
            unit = _unit(xyz[b, :2] - xyz[a, :2])
            right = np.array([unit[1], -unit[0]])
            yield xyz[a, :2] + mine.scale * (sides[ALONG] * unit + sides[RIGHT] * right)
    circles, rays = _loci(mine, point, xyz)
    for (one, radius), (other, across) in combinations(circles[:MOST_LOCI], 2):
        yield from _circles_meet(one, radius, other, across)
    for start, way in rays:
        for middle, radius in circles[:MOST_LOCI]:
            yield from _ray_meets(start, way, middle, radius)
    for (start, way), (end, back) in combinations(rays[:MOST_LOCI], 2):
        turn = np.column_stack([way, -back])
        if abs(np.linalg.det(turn)) > 0.1:
            yield start + way * np.linalg.solve(turn, end - start)[0]


def _loci(
    mine: Network, point: int, xyz: Array
) -> tuple[list[tuple[Array, float]], list[tuple[Array, Array]]]:
    """Return circles (centre, radius) and rays (from, direction) on which a point lies."""
    circles, rays = [], []
    for k in np.flatnonzero(np.isin(mine.kind, (DISTANCE, BEARING))):
        forward = mine.b[k] == point
        other = int(mine.a[k] if forward else mine.b[k])
        if mine.kind[k] == DISTANCE:
            step = xyz[point, 2] - xyz[other, 2]
            flat = np.sqrt(max(mine.value[k] ** 2 - step**2, 1e-6)) * mine.scale
            circles.append((xyz[other, :2], float(flat)))
        else:
            way = np.array([np.sin(mine.value[k]), np.cos(mine.value[k])])
            rays.append((xyz[other, :2], way if forward else -way))
    return circles, rays


def _unit(step: Array) -> Array:
    return np.asarray(step / max(float(np.linalg.norm(step)), 1e-9), dtype=float)


def _circles_meet(one: Array, radius: float, other: Array, across: float) -> Iterator[Array]:
    """Yield where two circles meet, or where they come nearest."""
    apart = max(float(np.linalg.norm(other - one)), 1e-9)
    unit = _unit(other - one)
    along = (radius**2 - across**2 + apart**2) / (2 * apart)
    aside = np.sqrt(max(radius**2 - along**2, 0.0))
    along = float(np.clip(along, -radius, radius))
    for side in (aside, -aside):
        yield one + along * unit + side * np.array([unit[1], -unit[0]])


def _ray_meets(start: Array, way: Array, middle: Array, radius: float) -> Iterator[Array]:
    """Yield where a ray meets a circle, or comes nearest to it."""
    nearest = float((middle - start) @ way)
    aside = float(np.linalg.norm(middle - start - nearest * way))
    half = np.sqrt(max(radius**2 - aside**2, 0.0))
    for reach in (nearest + half, nearest - half):
        yield start + way * reach


def _mirrored(network: Network, found: Adjustment) -> Iterator[tuple[int, Array]]:
    """Yield points, with a place on the other side of their neighbours where they fit as well."""
    least = _squares(network, found.x)
    told: set[int] = set()
    for group, around in _groups(network):
        if told.intersection(group) or len(around) < 2:
            continue
        start = _flipped(found.x, group, around)
        inside = np.isin(network.a, group), np.isin(network.b, group), np.isin(network.p, group)
        mine = np.any(inside, axis=0)
        tied = mine & ~(inside[0] & inside[1]) & IS_LINK[network.kind]
        off = np.abs(network.value - predict(network, start)[0]) / network.sd
        if not tied.any() or np.median(off[tied]) > FAR_OFF:
            continue
        other = _fitted_alone(network.part(mine), start, group)
        if _squares(network, other) - least > ALIKE:
            continue
        sds = np.sqrt(np.diag(found.covariance)).reshape(-1, 3)
        for point in group:
            step = (other - found.x).reshape(-1, 3)[point, :2]
            if np.linalg.norm(step) > max(LEAST_APART_M, 4 * float(sds[point, :2].max())):
                told.add(point)
                yield point, other.reshape(-1, 3)[point, :2]


def _fitted_alone(mine: Network, start: Array, group: list[int]) -> Array:
    """Return places with those of a group adjusted, all others held fast."""
    free = np.repeat(np.array(group) * 3, 3) + np.tile([0, 1, 2], len(group))
    x = start.copy()

    def model(unknowns: Array) -> tuple[Array, Array]:
        x[free] = unknowns
        predicted, jacobian = predict(mine, x)
        return predicted, jacobian[:, free]

    x[free] = adjust(model, start[free], mine.value, mine.sd).x
    return x


def _squares(network: Network, x: Array) -> float:
    off = (network.value - predict(network, x)[0]) / network.sd
    return float(off @ off)


def _groups(network: Network) -> Iterator[tuple[list[int], list[int]]]:
    """Yield sets of points that hang together without marks, then single ones, with neighbours."""
    fixed = np.zeros(network.count, dtype=bool)
    fixed[network.a[network.kind == EAST]] = True
    links = _links(network)
    loose = links[~fixed[links].any(axis=1)]
    shape = (network.count, network.count)
    graph = coo_array((np.ones(len(loose)), (loose[:, 0], loose[:, 1])), shape=shape)
    _, label = connected_components(graph, directed=False)
    sets = [np.flatnonzero((label == k) & ~fixed).tolist() for k in np.unique(label[~fixed])]
    alone = [[int(k)] for k in np.flatnonzero(~fixed)]
    for group in [*(s for s in sets if len(s) > 1), *alone]:
        inside = np.isin(links, group)
        around = np.unique(links[inside.any(axis=1)][~inside[inside.any(axis=1)]])
        yield group, [int(k) for k in around]


def _links(network: Network) -> Ints:
    """Return pairs of points that an observation in plan ties together, shape (k, 2)."""
    plan = network.part(IS_LINK[network.kind])
    based = plan.p >= 0
    pairs = [
        np.column_stack([plan.a, plan.b]),
        np.column_stack([plan.a, plan.p])[based],
        np.column_stack([plan.b, plan.p])[based],
    ]
    return np.vstack(pairs).astype(np.int64)


def _flipped(x: Array, group: list[int], around: list[int]) -> Array:
    """Return places with those of a group mirrored at the line through its neighbours."""
    xyz = x.reshape(-1, 3).copy()
    centre = xyz[around, :2].mean(axis=0)
    _, _, axes = np.linalg.svd(xyz[around, :2] - centre)
    arm = xyz[group, :2] - centre
    xyz[group, :2] = centre + 2 * np.outer(arm @ axes[0], axes[0]) - arm
    return xyz.ravel()


def weak_points(network: Network) -> list[tuple[int, int, int]]:
    """Return points that can't be placed: point, measures missing in plan, and in height.

    Each point needs two measures in plan (an offset counts as two) from points that can be
    placed themselves, and a height, a mark's or a depth's, or a third distance in its stead.

    Parameters
    ----------
    network : Network

    Returns
    -------
    list of (int, int, int)

    Examples
    --------
    A point with one tape to a mark, and a height:

    >>> kind, a, b = np.array([[EAST, 0, 0], [NORTH, 0, 0], [HEIGHT, 0, 0], [DISTANCE, 0, 1],
    ...                        [HEIGHT, 1, 1]]).T
    >>> one = np.ones(5)
    >>> weak_points(Network(kind, a, b, np.full(5, -1), one, one, 1.0, 2))
    [(1, 1, 0)]
    """
    fixed, high = np.zeros(network.count, dtype=bool), np.zeros(network.count, dtype=bool)
    fixed[network.a[network.kind == EAST]] = True
    high[network.a[network.kind == HEIGHT]] = True
    weak = np.zeros(network.count, dtype=bool)
    missing: dict[int, tuple[int, int]] = {}
    while True:
        sound = ~weak[network.a] & ~weak[network.b] & ((network.p < 0) | ~weak[network.p])
        plan, spare = _strengths(network.part(sound))
        short = np.maximum(2 - plan, 0) * ~fixed
        needed = np.where(fixed, 1, 3)
        low = (~high & (spare < needed)).astype(int)
        new = ((short + low) > 0) & ~weak
        if not new.any():
            return [(point, *counts) for point, counts in sorted(missing.items())]
        for point in np.flatnonzero(new):
            missing[int(point)] = (int(short[point]), int(low[point]))
        weak |= new


def _strengths(network: Network) -> tuple[Ints, Ints]:
    """Return each point's measures in plan, and its distances."""
    plan, spare = (np.zeros(network.count, dtype=np.int64) for _ in range(2))
    tapes = network.kind == DISTANCE
    for ends in (network.a, network.b):
        np.add.at(spare, ends[tapes], 1)
        np.add.at(plan, ends[IS_LINK[network.kind]], 1)
    np.add.at(plan, network.p[network.p >= 0], 1)
    return plan, spare


def hanging(network: Network) -> Flags:
    """Tell which points no chain of measures in plan ties to a mark, shape (n,)."""
    links = _links(network)
    shape = (network.count, network.count)
    graph = coo_array((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=shape)
    _, label = connected_components(graph, directed=False)
    marks = network.a[network.kind == EAST]
    return ~np.isin(label, label[marks])


def loose_points(solution: Solution) -> list[tuple[int, bool, bool]]:
    """Return points that the adjustment left loose: point, and whether in plan and in height."""
    loose = np.zeros(solution.xyz.size, dtype=bool)
    loose[solution.snooped.adjustment.undetermined] = True
    loose = loose.reshape(-1, 3) | ~(solution.sds < LOOSE_M)
    return [
        (int(k), bool(loose[k, :2].any()), bool(loose[k, 2]))
        for k in np.flatnonzero(loose.any(axis=1))
    ]


def datum_errors(name: str, places: Array, sds: Array, height_sds: Array) -> list[NamedError]:
    """Return what the marks' own errors do to everything that hangs on them.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    places : array, shape (n, 2)
        Easting and northing of the marks, two at least [m].
    sds : array, shape (n,)
        Standard uncertainty of each mark's easting and northing [m].
    height_sds : array, shape (k,)
        That of the heights of those that have one [m].

    Returns
    -------
    list of NamedError
        Shifts, and a rotation about the marks' middle. Tapes bring their own scale.

    Examples
    --------
    Two marks 20 m apart, each good to 0.01 m:

    >>> marks = np.array([[0.0, 0.0], [20.0, 0.0]])
    >>> errors = datum_errors("2031-walls", marks, np.array([0.01, 0.01]), np.array([0.02]))
    >>> [(error.kind, round(error.sd, 5)) for error in errors]
    [('easting', 0.00707), ('northing', 0.00707), ('height', 0.02), ('rotation', 0.00071)]
    """
    centre = places.mean(axis=0)
    typical = float(np.sqrt((sds**2).mean()))
    spread = float(np.sqrt(((places - centre) ** 2).sum()))
    sizes = {"easting": typical / np.sqrt(len(sds)), "northing": typical / np.sqrt(len(sds))}
    if len(height_sds):
        sizes["height"] = float(np.sqrt((height_sds**2).mean() / len(height_sds)))
    if spread > 0:
        sizes["rotation"] = typical / spread
    pivot = (float(centre[0]), float(centre[1]))
    return [
        NamedError(f"{name}:tape_datum_{kind}", kind, float(sd), pivot)
        for kind, sd in sizes.items()
    ]
