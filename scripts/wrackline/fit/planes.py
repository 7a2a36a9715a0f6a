"""A plane through differences of two surveys: offset and tilt that walls and dug ground don't move.

Fitted by M-estimation: Huber's weights from the median on, then Tukey's, which leave out what lies
far off the plane altogether (Huber and Ronchetti 2009, Robust Statistics, 7.8; tuning constants of
95 % efficiency, 1.345 and 4.685, with the NMAD of the residuals as scale).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

HUBER, TUKEY = 1.345, 4.685
ROUNDS, STILL = 100, 1e-9
LEAST_SCALE_M = 1e-6


@dataclass(frozen=True)
class Plane:
    """A plane h = offset + east (x - x0) + north (y - y0) and how it answers to its points.

    Attributes
    ----------
    coefficients : array, shape (3,)
        Offset at the pivot [m], tilt towards east and north [m per m]; tilts are 0 where only the
        offset was fitted.
    pivot : tuple of float
        Where tilt and offset are estimated independently: the weighted middle of the points [m].
    influence : array, shape (3, n)
        Change of each coefficient per metre of each height.
    scatter : array, shape (3, 3)
        Covariance of the coefficients from the residuals alone.
    weights : array, shape (n,)
        From 0 (left out) to 1.
    """

    coefficients: Array
    pivot: tuple[float, float]
    influence: Array
    scatter: Array
    weights: Array


def nmad(values: Array) -> float:
    """Return the normalised median absolute deviation, a robust standard deviation.

    1.4826 times the median distance from the median: Höhle and Höhle 2009,
    doi:10.1016/j.isprsjprs.2009.02.003.

    >>> round(nmad(np.array([1.0, 2, 3, 4, 100])), 4)
    1.4826
    """
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def fit_plane(xy: Array, height: Array, *, tilted: bool = True) -> Plane:
    """Fit a plane, or an offset alone, that a minority of strays doesn't move.

    Parameters
    ----------
    xy : array, shape (n, 2)
        Easting and northing [m].
    height : array, shape (n,)
        Differences of height [m].
    tilted : bool
        Whether a tilt is fitted; it takes points that don't all lie along one line.

    Examples
    --------
    A level 0.1 m offset, and a wall of 2 m on one of ten cells:

    >>> xy = np.array([[x, y] for x in (0.0, 1, 2, 3, 4) for y in (0.0, 1)])
    >>> plane = fit_plane(xy, np.array([0.1] * 9 + [2.1]))
    >>> plane.coefficients.round(6) + 0.0
    array([0.1, 0. , 0. ])
    """
    middle = xy.mean(axis=0)
    centred = xy - middle
    design = np.column_stack([np.ones(len(xy)), centred]) if tilted else np.ones((len(xy), 1))
    start = np.zeros(design.shape[1])
    start[0] = np.median(height)
    huber = _settled(design, height, start, lambda t: np.minimum(1, HUBER / np.maximum(t, HUBER)))
    solved = _settled(design, height, huber, lambda t: np.clip(1 - (t / TUKEY) ** 2, 0, None) ** 2)
    away = height - design @ solved
    t = np.abs(away) / _scale(away)
    weights = np.clip(1 - (t / TUKEY) ** 2, 0, None) ** 2
    pivot = (weights[:, None] * centred).sum(axis=0) / weights.sum()
    if tilted:
        solved = solved.copy()
        solved[0] += solved[1:] @ pivot
        design = np.column_stack([np.ones(len(xy)), centred - pivot])
    return _finished(design, away, t, solved, pivot=middle + pivot)


def _finished(design: Array, away: Array, t: Array, solved: Array, *, pivot: Array) -> Plane:
    """Return the plane with its answer to the points and its covariance (sandwich form)."""
    u = np.minimum(t / TUKEY, 1.0)
    weights = (1 - u**2) ** 2
    steep = (1 - u**2) * (1 - 5 * u**2)  # derivative of weight times residual
    inverse = np.linalg.inv((design * weights[:, None]).T @ design)
    influence = inverse @ (design * weights[:, None]).T
    bread = np.linalg.inv((design * steep[:, None]).T @ design)
    pull = design * (weights * away)[:, None]
    scatter = bread @ (pull.T @ pull) @ bread
    size = len(solved)
    coefficients, covariance = np.zeros(3), np.zeros((3, 3))
    coefficients[:size], covariance[:size, :size] = solved, scatter
    whole = np.zeros((3, len(away)))
    whole[:size] = influence
    return Plane(coefficients, (float(pivot[0]), float(pivot[1])), whole, covariance, weights)


def _settled(design: Array, height: Array, start: Array, weigh: Callable[[Array], Array]) -> Array:
    """Return coefficients by reweighted least squares, from a start on until they are still."""
    solved: Array = start
    for _ in range(ROUNDS):
        away = height - design @ solved
        root = np.sqrt(weigh(np.abs(away) / _scale(away)))
        new = np.linalg.lstsq(design * root[:, None], height * root, rcond=None)[0]
        moved = np.abs(design @ (new - solved)).max()
        solved = np.asarray(new, dtype=float)
        if moved < STILL:
            break
    return solved


def _scale(away: Array) -> float:
    """Return the scale of residuals about 0."""
    return max(float(1.4826 * np.median(np.abs(away))), LEAST_SCALE_M)
