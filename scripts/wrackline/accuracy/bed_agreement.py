"""Surveys of the bed held against each other where they share cells: level, tilt, place, unit.

Only cells count that lie flat enough and clear of walls. The shift of position is found from how
height differences follow the slope (Nuth and Kääb 2011, doi:10.5194/tc-5-271-2011).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.spatial.distance import cdist

from wrackline.accuracy.agreement import Compared, robust_fit
from wrackline.accuracy.bed_cells import BedCells
from wrackline.uncertainty import Budget, ErrorModel, spherical

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

STEEPEST = 0.35
ROUGHEST_M = 0.12
"""Cells around which the bed departs further from a plane (sd) are walls, stones or scarps."""
MOST_CELLS = 600
"""Cells, evenly taken, over which the errors of a figure are summed."""
LEAST_CELLS = 12
TILT_CELLS = 60
UNSEEN_M = 0.01
"""Sd of a level that no config states: footprints, sound speed, the interpolated water level
(common practice, no source)."""


@dataclass(frozen=True)
class Shared:
    """Cells that two surveys share, those that are fit for comparison.

    Attributes
    ----------
    newer, older : BedCells
    xyz : array, shape (n, 3)
        Easting, northing, height by the older [m].
    slope : array, shape (n, 2)
        Rise per metre, of both together.
    difference : array, shape (n,)
        Height by the newer minus height by the older, both at the older's place [m].
    counts : array, shape (n, 2)
        Points of newer and older.
    """

    newer: BedCells
    older: BedCells
    xyz: Array
    slope: Array
    difference: Array
    counts: Array

    @property
    def step(self) -> int:
        """Every which cell the errors of figures are summed over."""
        return max(1, -(-len(self.xyz) // MOST_CELLS))

    @cached_property
    def alike(self) -> tuple[Array, Array]:
        """Correlation of patchy errors between those cells, of newer and older."""
        xy = self.xyz[:: self.step, :2]
        apart = cdist(xy, xy)
        reaches = [max(bed.model.patchy_distance, 1e-3) for bed in (self.newer, self.older)]
        return spherical(apart, reaches[0]), spherical(apart, reaches[1])


def share(newer: BedCells, older: BedCells, avoid: Ints) -> Shared | None:
    """Return the cells that two surveys share; None where there are too few.

    Parameters
    ----------
    newer, older : BedCells
    avoid : array of int, shape (m,)
        Keys of cells at walls.
    """
    keys = np.setdiff1d(np.intersect1d(newer.key, older.key), avoid)
    if len(keys) < LEAST_CELLS:
        return None
    keys = keys[:: max(1, len(keys) // 40_000)]
    lies = [bed.lie_at(keys) for bed in (newer, older)]
    slope = (lies[0].slope + lies[1].slope) / 2
    flat = np.hypot(slope[:, 0], slope[:, 1]) < STEEPEST
    for lie, bed in zip(lies, (newer, older), strict=True):
        flat &= lie.rough < max(ROUGHEST_M, 2.5 * _scatter(bed.model))
    if flat.sum() < LEAST_CELLS:
        return None
    keys, slope = keys[flat], slope[flat]
    one, two = newer.cells.loc[keys], older.cells.loc[keys]
    step = one[["x", "y"]].to_numpy(float) - two[["x", "y"]].to_numpy(float)
    difference = one["h"].to_numpy(float) - two["h"].to_numpy(float) - (slope * step).sum(axis=1)
    xyz = np.column_stack([two[["x", "y"]].to_numpy(float) + older.origin, two["h"]])
    counts = np.column_stack([one["n"], two["n"]])
    return Shared(newer, older, xyz, slope, difference, counts)


def _scatter(model: ErrorModel) -> float:
    return float(np.hypot(model.random_vertical, model.patchy_vertical))


def level(shared: Shared) -> Compared:
    """Return the median difference of height [m]."""
    d = shared.difference
    weight = np.full((1, len(d)), 1.0 / len(d))
    budget = _budgets(shared, weight, d - np.median(d))[0]
    budget = replace(budget, random=float(np.hypot(1.2533 * budget.random, UNSEEN_M)))
    return _compared(shared, (float(np.median(d)),), (budget,), d)


def tilt(shared: Shared) -> Compared | None:
    """Return the slope of the differences towards east and north [metre per metre]."""
    if len(shared.difference) < TILT_CELLS:
        return None
    design = np.column_stack([np.ones(len(shared.xyz)), _centred(shared)])
    found, gradient, left = robust_fit(design, shared.difference)
    budgets = _budgets(shared, gradient[1:], left)
    values = (float(found[1]), float(found[2]))
    return _compared(shared, values, tuple(budgets), design[:, 1:] @ found[1:])


def shift(shared: Shared) -> Compared | None:
    """Return the horizontal shift of the newer towards east and north [m].

    None where the ground has too little relief to show one of `POOREST_M` or less.
    """
    if len(shared.difference) < TILT_CELLS:
        return None
    design = np.column_stack([np.ones(len(shared.xyz)), _centred(shared), -shared.slope])
    if np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    found, gradient, left = robust_fit(design, shared.difference)
    budgets = _budgets(shared, gradient[3:], left)
    if max(budget.sd for budget in budgets) > POOREST_M:
        return None
    values = (float(found[3]), float(found[4]))
    return _compared(shared, values, tuple(budgets), -shared.slope @ found[3:])


POOREST_M = 0.5
"""Shifts from relief that are less well known than this aren't looked at (no source)."""


def _centred(shared: Shared) -> Array:
    return np.asarray(shared.xyz[:, :2] - shared.xyz[:, :2].mean(axis=0))


def _budgets(shared: Shared, gradients: Array, left: Array) -> list[Budget]:
    """Return budgets of figures from their gradients on the differences, shape (m, n).

    `left` are the residuals: errors from cell to cell are no less than their scatter.
    """
    sd = 1.4826 * float(np.median(np.abs(left)))
    stated = _random(shared)
    out = []
    for part, gradient in enumerate(gradients):
        some = gradient[:: shared.step]
        some = some * (np.abs(gradient).sum() / max(np.abs(some).sum(), 1e-300))
        sides = [
            _side(bed.model, some, shared, (side, part))
            for side, bed in enumerate((shared.newer, shared.older))
        ]
        both = sides[0].minus(sides[1])
        random = np.sqrt((gradient**2 * np.maximum(stated, np.maximum(sd**2, left**2))).sum())
        out.append(Budget(float(random), both.patchy, both.named))
    return out


def _side(model: ErrorModel, gradient: Array, shared: Shared, which: tuple[int, int]) -> Budget:
    """Return what patchy and named errors of one side do to a figure (`uncertainty.propagate`).

    The correlations are kept, since all figures of a pair rest on the same places. Half of the
    patchy variance is taken as common to all pairs of the survey, whose shared ground overlaps.
    """
    step = shared.step
    on_points = np.column_stack([-shared.slope[::step], np.ones(len(gradient))])
    on_points *= gradient[:, None]
    sizes = np.array([model.patchy_horizontal] * 2 + [model.patchy_vertical])
    scaled = on_points * sizes
    patchy = 0.0
    if sizes.any():
        patchy = float((scaled * (shared.alike[which[0]] @ scaled)).sum())
    xyz = shared.xyz[::step]
    half = float(np.sqrt(max(patchy, 0.0) / 2))
    named = {f"{model.survey}:patchy_{which[1]}": half}
    for part in model.named:
        effect = float((on_points * part.displacement(xyz)).sum())
        named[part.name] = named.get(part.name, 0.0) + effect
    return Budget(0.0, half, named)


def _random(shared: Shared) -> Array:
    """Return the random variance of each difference [m²]."""
    steep = (shared.slope**2).sum(axis=1)
    variance = np.zeros(len(steep))
    for side, bed in enumerate((shared.newer, shared.older)):
        model = bed.model
        one = model.random_vertical**2 + steep * model.random_horizontal**2
        variance += one / shared.counts[:, side]
    return variance


def _compared(
    shared: Shared, values: tuple[float, ...], budgets: tuple[Budget, ...], shows: Array
) -> Compared:
    at = int(np.argsort(np.abs(shows))[int(0.95 * (len(shows) - 1))])
    xy = shared.xyz[:, :2]
    extent = float(np.hypot.reduce(xy.max(axis=0) - xy.min(axis=0)))
    place = (round(float(xy[at, 0]), 2), round(float(xy[at, 1]), 2))
    return Compared(
        shared.newer.name,
        shared.older.name,
        values,
        budgets,
        len(shows),
        place,
        round(-float(shared.xyz[at, 2]), 2),
        extent,
    )


FACTORS = {
    "wrong_sign": -1.0,
    "feet_for_metres": 0.3048,
    "millimetres": 0.001,
    "centimetres": 0.01,
    "metres_for_feet": 1 / 0.3048,
    "fathoms": 1.8288,
    "metres_for_millimetres": 1000.0,
}
"""What a file's vertical numbers would have to be multiplied by, the likelier slips first."""
AGREES_M = 0.3
AGREES_SHARE = 0.25


@dataclass(frozen=True)
class Misread:
    """A survey whose heights agree with another's once its numbers are read otherwise.

    Attributes
    ----------
    name, other : str
    kind : str
        Key of `FACTORS`.
    before, after : float
        Median distance of heights, as read and read otherwise [m].
    count : int
        Shared cells.
    height : float
        Median height as read [m].
    place : tuple of float
    """

    name: str
    other: str
    kind: str
    before: float
    after: float
    count: int
    height: float
    place: tuple[float, float]


def misread(bed: BedCells, other: BedCells) -> Misread | None:
    """Tell whether a survey's vertical numbers agree with another's once read otherwise.

    Parameters
    ----------
    bed : BedCells
        Its numbers are tried.
    other : BedCells
        Believed.

    Returns
    -------
    Misread or None
        None where it agrees as it is, or nothing makes it agree, or too few cells are shared.
    """
    keys = np.intersect1d(bed.key, other.key)
    if len(keys) < LEAST_CELLS:
        return None
    mine, theirs = bed.cells.loc[keys], other.cells.loc[keys]
    zero, h = mine["zero"].to_numpy(float), mine["h"].to_numpy(float)
    there = theirs["h"].to_numpy(float)
    before = float(np.median(np.abs(h - there)))
    if before < AGREES_M:
        return None
    tried = {
        kind: float(np.median(np.abs(zero + factor * (h - zero) - there)))
        for kind, factor in FACTORS.items()
    }
    kind = min(tried, key=lambda name: tried[name])
    if tried[kind] > min(AGREES_M, AGREES_SHARE * before):
        return None
    place = bed.places()[np.searchsorted(bed.key, keys[len(keys) // 2])]
    where = (round(float(place[0]), 2), round(float(place[1]), 2))
    return Misread(
        bed.name, other.name, kind, before, tried[kind], len(keys), float(np.median(h)), where
    )
