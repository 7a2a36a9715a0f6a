"""Offsets between surveys that cover the same ground: estimated always, applied only by config.

Both surveys are binned into the same coarse cells; the figures are of the differences of cell
means, newer minus older. A cause of error that both rest on cancels in them
(`wrackline.uncertainty.Budget`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from wrackline.rasters import Grid
from wrackline.seabed.bins import Binned, bin_points
from wrackline.seabed.slopes import plane_gradient
from wrackline.seabed.variances import cell_places, common_variance, random_variance
from wrackline.uncertainty import COVERAGE_95, Budget, ErrorModel, model_from_dict, propagate

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

COARSE = 2
"""Side of a cell of comparison, in cells of the seabed model."""
MOST_CELLS = 2000
"""Cells, evenly taken, over which correlated errors are summed."""


@dataclass(frozen=True)
class Fitted:
    """A fitted survey of bed points.

    Attributes
    ----------
    name : str
        Identifier.
    points : Path
        LAZ file of the stage `fit`.
    errors : dict
        What `wrackline.fit.points.fit_points` returned.
    """

    name: str
    points: Path
    errors: dict[str, Any]

    @property
    def age(self) -> tuple[str, str]:
        """Sorts surveys from older to newer."""
        return str(self.errors["from_date"]), self.name


def compare_overlaps(
    surveys: Sequence[Fitted], *, origin: tuple[float, float], cell_m: float
) -> dict[str, Any]:
    """Compare every pair of surveys where they overlap.

    Parameters
    ----------
    surveys : sequence of Fitted
    origin : tuple of float
        The site's origin [m].
    cell_m : float
        Cell size of the seabed model [m]; cells of comparison are twice as wide.

    Returns
    -------
    dict
        ``cell_m`` of comparison; ``pairs``, each with ``newer``, ``older``, ``cells``, ``mean_m``,
        ``median_m``, ``nmad_m`` of the differences newer − older, ``sd_m`` of their mean with its
        parts ``sd_random_m`` (no less than the scatter of the differences shows), ``sd_patchy_m``,
        ``sd_named_m``, and ``beyond_95``: whether the median, which single walls and stones don't
        move, differs from 0 by more than 1.96 of it; ``apart``: pairs that share no cell.
    """
    coarse = COARSE * cell_m
    ordered = sorted(surveys, key=lambda survey: survey.age)
    sides = {
        survey.name: Side(
            bin_points(survey.points, origin=origin, cell_m=coarse),
            model_from_dict(survey.errors["model"]),
        )
        for survey in ordered
    }
    pairs, apart = [], []
    for older, newer in combinations([survey.name for survey in ordered], 2):
        found = _compare(sides[newer], sides[older])
        if found is None:
            apart.append([newer, older])
        else:
            pairs.append({"newer": newer, "older": older, **found})
    return {"cell_m": coarse, "pairs": pairs, "apart": apart}


@dataclass(frozen=True)
class Side:
    """One side of a comparison: a survey's coarse cells and its errors."""

    cells: Binned
    model: ErrorModel


def _compare(newer: Side, older: Side) -> dict[str, Any] | None:
    """Return the figures of one pair, None where they share no cell."""
    both = _overlap(newer.cells.grid, older.cells.grid)
    if both is None:
        return None
    new_part, old_part = newer.cells.grid.window(both), older.cells.grid.window(both)
    shared = (newer.cells.count[new_part] > 0) & (older.cells.count[old_part] > 0)
    if not shared.any():
        return None
    difference = newer.cells.height[new_part][shared] - older.cells.height[old_part][shared]
    budget = _mean_budget(newer, both, shared).minus(_mean_budget(older, both, shared))
    scatter = float(difference.std() / np.sqrt(len(difference)))
    budget = replace(budget, random=max(budget.random, scatter))
    median = float(np.median(difference))
    return {
        "cells": len(difference),
        "mean_m": float(difference.mean()),
        "median_m": median,
        "nmad_m": nmad(difference),
        "sd_m": budget.sd,
        "sd_random_m": budget.random,
        "sd_patchy_m": budget.patchy,
        "sd_named_m": Budget(named=budget.named).sd,
        "beyond_95": abs(median) > COVERAGE_95 * budget.sd,
    }


def _overlap(one: Grid, other: Grid) -> Grid | None:
    west, east = max(one.west, other.west), min(one.east, other.east)
    south, north = max(one.south, other.south), min(one.north, other.north)
    if west >= east or south >= north:
        return None
    return Grid(one.origin, one.cell_m, west, south, east, north)


def nmad(values: Array) -> float:
    """Return the normalised median absolute deviation, a robust standard deviation.

    1.4826 times the median distance from the median: Höhle and Höhle 2009,
    doi:10.1016/j.isprsjprs.2009.02.003.

    >>> round(nmad(np.array([1.0, 2, 3, 4, 100])), 4)
    1.4826
    """
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def _mean_budget(side: Side, both: Grid, shared: Flags) -> Budget:
    """Return the uncertainty of the mean height of one survey over the shared cells."""
    cells, model = side.cells, side.model
    part, number = cells.grid.window(both), int(shared.sum())
    east, north = plane_gradient(cells.height, cells.grid.cell_m)
    slope = np.column_stack([east[part][shared], north[part][shared]])
    count = cells.count[part][shared]
    random = random_variance(count, (slope**2).sum(axis=1), model, cells.grid.cell_m)
    xyz = cell_places(both, cells.height[part], shared)
    step = max(1, -(-number // MOST_CELLS))
    some, tilt = xyz[::step], slope[::step]
    gradient = np.column_stack([-tilt, np.ones(len(tilt))]) / len(tilt)
    common = propagate(gradient, some, np.zeros(len(some), dtype=np.int_), [model])
    own = cells.own_sd[part][shared] ** 2
    beyond = np.sqrt(np.maximum(own - random - common_variance(xyz, slope, model), 0.0)).mean()
    named = dict(common.named)
    if beyond > 0:
        named[f"{model.survey}:own_sd"] = float(beyond)
    return Budget(float(np.sqrt(random.sum()) / number), common.patchy, named)
