"""Offsets and tilts between surveys of the same ground: estimated always, applied only by config.

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

from wrackline.fit.corrections import config_lines
from wrackline.fit.planes import Plane, fit_plane, nmad
from wrackline.seabed.bins import Binned, bin_points
from wrackline.seabed.slopes import plane_gradient
from wrackline.seabed.variances import cell_places, common_variance, random_variance
from wrackline.uncertainty import (
    COVERAGE_95,
    VERTICAL,
    Budget,
    ErrorModel,
    model_from_dict,
    propagate,
)

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

COARSE = 2
"""Side of a cell of comparison, in cells of the seabed model."""
LEAST_CELL_M = 0.5
"""Least side of a cell of comparison: an offset needs no more cells, and memory has an end."""
MOST_CELLS = 2000
"""Cells, evenly taken, over which correlated errors are summed."""
LEAST_FOR_TILT = 12
"""Cells that a tilt takes."""
NARROW = 2.0
"""A tilt takes cells that lie this many cells off a line (rms)."""


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
    surveys: Sequence[Fitted],
    *,
    origin: tuple[float, float],
    cell_m: float,
    baseline: str | None = None,
) -> dict[str, Any]:
    """Compare every pair of surveys where they overlap.

    Parameters
    ----------
    surveys : sequence of Fitted
    origin : tuple of float
        The site's origin [m].
    cell_m : float
        Cell size of the seabed model [m]; cells of comparison are twice as wide, and at least
        `LEAST_CELL_M`.
    baseline : str, optional
        Survey that the others are held against.

    Returns
    -------
    dict
        ``cell_m`` of comparison; ``baseline``; ``pairs``, each with ``newer``, ``older``,
        ``cells``, ``mean_m``, ``median_m``, ``nmad_m`` of the differences newer − older, ``sd_m``
        of their mean with its parts ``sd_random_m`` (no less than the scatter of the differences
        shows), ``sd_patchy_m``, ``sd_named_m``, ``beyond_95``: whether the median, which single
        walls and stones don't move, differs from 0 by more than 1.96 of it, and what
        `plane_figures` says; ``apart``: pairs that share no cell.
    """
    coarse = max(COARSE * cell_m, LEAST_CELL_M)
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
        shared = _shared(sides[newer], sides[older])
        if shared is None:
            apart.append([newer, older])
        else:
            pairs.append({"newer": newer, "older": older, **_figures(*shared, baseline)})
    return {"cell_m": coarse, "baseline": baseline, "pairs": pairs, "apart": apart}


@dataclass(frozen=True)
class Side:
    """One side of a comparison: a survey's coarse cells and its errors."""

    cells: Binned
    model: ErrorModel


@dataclass(frozen=True)
class Half:
    """What one survey has in the cells that a pair shares, each array of one entry a cell."""

    model: ErrorModel
    cell_m: float
    xyz: Array
    slope: Array
    random: Array
    own: Array
    """Random variance, and what the file states beyond the model as an sd [m², m]."""


def _shared(newer: Side, older: Side) -> tuple[Half, Half] | None:
    """Return both sides of a pair in the cells that they share, None where there are none."""
    both = newer.cells.grid.intersection(older.cells.grid)
    if both is None:
        return None
    parts = [side.cells.grid.window(both) for side in (newer, older)]
    shared = (newer.cells.count[parts[0]] > 0) & (older.cells.count[parts[1]] > 0)
    if not shared.any():
        return None
    first, second = (
        _half(side, cell_places(both, side.cells.height[part], shared), part, shared)
        for side, part in zip((newer, older), parts, strict=True)
    )
    return first, second


def _half(side: Side, xyz: Array, part: tuple[slice, slice], shared: Flags) -> Half:
    cells, model = side.cells, side.model
    east, north = plane_gradient(cells.height, cells.grid.cell_m)
    slope = np.column_stack([east[part][shared], north[part][shared]])
    count = cells.count[part][shared]
    random = random_variance(count, (slope**2).sum(axis=1), model, cells.grid.cell_m)
    stated = cells.own_sd[part][shared] ** 2 - random - common_variance(xyz, slope, model)
    own = np.sqrt(np.maximum(stated, 0.0))
    return Half(model, cells.grid.cell_m, xyz, slope, random, own)


def _figures(newer: Half, older: Half, baseline: str | None) -> dict[str, Any]:
    """Return the figures of one pair."""
    difference = newer.xyz[:, 2] - older.xyz[:, 2]
    even = np.full(len(difference), 1 / len(difference))
    budget = _budget(newer, even).minus(_budget(older, even))
    scatter = float(difference.std() / np.sqrt(len(difference)))
    budget = replace(budget, random=max(budget.random, scatter))
    median = float(np.median(difference))
    plane = plane_figures(newer, older)
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
        **plane,
        "correction": config_lines(newer.model, older.model, plane, baseline),
    }


def _budget(half: Half, weight: Array, kinds: Sequence[str] | None = None) -> Budget:
    """Return the uncertainty of a weighted sum of one survey's heights.

    With `kinds`, only named errors of other kinds count.
    """
    model = half.model
    if kinds is not None:
        named_parts = tuple(part for part in model.named if part.kind not in kinds)
        model = replace(model, named=named_parts)
    step = max(1, -(-len(weight) // MOST_CELLS))
    some = slice(None, None, step)
    gradient = np.column_stack([-half.slope[some], np.ones(len(half.slope[some]))])
    gradient *= _thinned(weight, half.xyz, step)[:, None]
    common = propagate(gradient, half.xyz[some], np.zeros(len(gradient), dtype=np.int_), [model])
    random = float(np.sqrt((weight**2 * half.random).sum()))
    named, own = dict(common.named), float((weight * half.own).sum())
    if own > 0:
        named[f"{model.survey}:own_sd"] = own
    return Budget(random, common.patchy, named)


def _thinned(weight: Array, xyz: Array, step: int) -> Array:
    """Return the weights of every so-manieth cell, with the sum and the moments of them all."""
    some = weight[::step]
    if step == 1:
        return some
    design = np.column_stack([np.ones(len(xyz)), xyz[:, :2] - xyz[:, :2].mean(axis=0)])
    wanted, chosen = design.T @ weight, design[::step]
    missing = wanted - chosen.T @ (some * step)
    change = chosen @ np.linalg.lstsq(chosen.T @ chosen, missing, rcond=None)[0]
    return np.asarray(some * step + change)


def plane_figures(newer: Half, older: Half) -> dict[str, Any]:
    """Return the plane through a pair's differences, newer − older.

    Returns
    -------
    dict
        ``offset_m`` at the ``pivot``, ``tilt_east_mm_per_m``, ``tilt_north_mm_per_m``, each with
        its sd (``offset_sd_m``, ``tilt_east_sd_mm_per_m`` …) from both error models and no less
        than the residuals show; ``offset_fit_sd_m``, ``tilt_east_fit_sd_mm_per_m`` …: the same
        without named shifts of height and tilts, which is what a correction by this plane adds;
        ``tilt_correlation``; ``kept_share``: of the cells' weights; ``tilt_null_because``: why no
        tilt was fitted, None where one was. Tilts are None then.
    """
    xy, difference = newer.xyz[:, :2], newer.xyz[:, 2] - older.xyz[:, 2]
    why = _no_tilt(xy, newer.cell_m)
    plane = fit_plane(xy, difference, tilted=why is None)
    whole, fit = (
        [_plane_sd(newer, older, plane, number, kinds) for number in range(3)]
        for kinds in (None, VERTICAL)
    )
    found: dict[str, Any] = {
        "offset_m": float(plane.coefficients[0]),
        "offset_sd_m": whole[0],
        "offset_fit_sd_m": fit[0],
        "pivot": list(plane.pivot),
    }
    for number, towards in ((1, "east"), (2, "north")):
        values = (plane.coefficients[number], whole[number], fit[number])
        for key, value in zip(("", "_sd", "_fit_sd"), values, strict=True):
            found[f"tilt_{towards}{key}_mm_per_m"] = None if why else 1000 * float(value)
    return {
        **found,
        "tilt_correlation": None if why else _correlation(newer, older, plane),
        "kept_share": float(plane.weights.mean()),
        "tilt_null_because": why,
    }


def _no_tilt(xy: Array, cell_m: float) -> str | None:
    if len(xy) < LEAST_FOR_TILT:
        return f"fewer than {LEAST_FOR_TILT} cells in common"
    across = float(np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False)[-1]) / np.sqrt(len(xy))
    return "the cells in common lie along one line" if across < NARROW * cell_m else None


def _plane_sd(
    newer: Half, older: Half, plane: Plane, number: int, kinds: Sequence[str] | None
) -> float:
    """Return the sd of one coefficient of a plane."""
    weight = plane.influence[number]
    budget = _budget(newer, weight, kinds).minus(_budget(older, weight, kinds))
    scatter = float(np.sqrt(plane.scatter[number, number]))
    return replace(budget, random=max(budget.random, scatter)).sd


def _correlation(newer: Half, older: Half, plane: Plane) -> float:
    """Return the correlation of the two tilts' errors, named shifts and tilts left out.

    From the variances of the tilts and of their sum: cov = (var(a + b) - var a - var b) / 2.
    """
    sds = []
    for towards in (np.array([0, 1, 0]), np.array([0, 0, 1]), np.array([0, 1, 1])):
        weight = towards @ plane.influence
        budget = _budget(newer, weight, VERTICAL).minus(_budget(older, weight, VERTICAL))
        scatter = float(np.sqrt(towards @ plane.scatter @ towards))
        sds.append(replace(budget, random=max(budget.random, scatter)).sd)
    east, north, both = sds
    if east * north == 0:
        return 0.0
    return float(np.clip((both**2 - east**2 - north**2) / (2 * east * north), -0.999, 0.999))
