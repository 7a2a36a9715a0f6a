"""Least-squares adjustment of observations, and the search for blunders among them.

Weighted Gauss-Newton; blunders are found one at a time by their standardised residuals, as in
Baarda 1968, A testing procedure for use in geodetic networks (data snooping; from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

Array = npt.NDArray[np.float64]
Model = Callable[[Array], tuple[Array, Array]]
"""From unknowns, shape (n,), to predicted observations, shape (m,), and jacobian, shape (m, n)."""

ROUNDS = 100
STILL = 1e-9
"""Change of the scaled unknowns at which the rounds end."""
NO_CHECK = 1e-6
"""Share of redundancy below which a blunder in an observation can't show."""
RANK = 1e-10


@dataclass(frozen=True)
class Adjustment:
    """An adjusted set of observations.

    Attributes
    ----------
    x : array, shape (n,)
        Unknowns.
    covariance : array, shape (n, n)
        Their covariance, from the observations' stated sds.
    residuals : array, shape (m,)
        Observed minus computed, in the observations' own units.
    redundancy : array, shape (m,)
        Share of an observation's blunder that shows in its own residual, 0 to 1.
    standardised : array, shape (m,)
        Residuals in units of their own sd; 0 where a blunder can't show.
    s0 : float
        Reference standard deviation, 1 where the stated sds hold; NaN without redundancy.
    undetermined : list of int
        Unknowns that the observations don't fix.
    """

    x: Array
    covariance: Array
    residuals: Array
    redundancy: Array
    standardised: Array
    s0: float
    undetermined: list[int]


@dataclass(frozen=True)
class Rejected:
    """An observation that was found to be a blunder: its place, estimated size, and w-value."""

    index: int
    size: float
    standardised: float


@dataclass(frozen=True)
class Snooped:
    """An adjustment without the observations that were found to be blunders.

    Attributes
    ----------
    adjustment : Adjustment
        Of the observations kept; its arrays have one entry for every observation, NaN for those
        rejected.
    rejected : list of Rejected
        The largest first found first.
    """

    adjustment: Adjustment
    rejected: list[Rejected]


def adjust(model: Model, start: Array, observed: Array, sd: Array) -> Adjustment:
    """Adjust observations by weighted least squares.

    Parameters
    ----------
    model : callable
        See `Model`.
    start : array, shape (n,)
        Unknowns to begin from.
    observed, sd : array, shape (m,)
        Observations and their standard uncertainties, in the same units.

    Returns
    -------
    Adjustment

    Examples
    --------
    Three measures of one length, the last half as certain:

    >>> same = lambda x: (np.repeat(x, 3), np.ones((3, 1)))
    >>> lengths, sds = np.array([10.0, 10.2, 10.4]), np.array([0.1, 0.1, 0.2])
    >>> fit = adjust(same, np.array([9.0]), lengths, sds)
    >>> fit.x.round(4), fit.redundancy.round(4)
    (array([10.1333]), array([0.5556, 0.5556, 0.8889]))
    """
    x = np.asarray(start, dtype=float).copy()
    weight = 1.0 / np.asarray(sd, dtype=float)
    damping = 1.0
    predicted, jacobian = model(x)
    cost = _cost(observed, predicted, weight)
    for _ in range(ROUNDS):
        step, *_rest = np.linalg.lstsq(
            jacobian * weight[:, None], (observed - predicted) * weight, rcond=RANK
        )
        damping = 1.0
        while True:
            trial = x + damping * step
            new_predicted, new_jacobian = model(trial)
            new_cost = _cost(observed, new_predicted, weight)
            if new_cost <= cost * (1 + 1e-12) or damping < 1e-4:
                break
            damping /= 2
        x, predicted, jacobian, cost = trial, new_predicted, new_jacobian, new_cost
        if np.abs(damping * step).max(initial=0.0) < STILL * (1 + np.abs(x).max(initial=0.0)):
            break
    return _account(x, observed - predicted, jacobian, np.asarray(sd, dtype=float))


def _cost(observed: Array, predicted: Array, weight: Array) -> float:
    return float((((observed - predicted) * weight) ** 2).sum())


def _account(x: Array, residuals: Array, jacobian: Array, sd: Array) -> Adjustment:
    """Return what is known of unknowns and observations at the solution."""
    scaled = jacobian / sd[:, None]
    length = np.sqrt((scaled**2).sum(axis=0))
    length[length == 0] = 1.0
    few = scaled.shape[0] < scaled.shape[1]  # then the rows beyond the rank are wanted too
    _, singular, rows = np.linalg.svd(scaled / length, full_matrices=few)
    full = np.zeros(len(x))
    full[: len(singular)] = singular
    known = full > np.sqrt(RANK) * max(full.max(initial=0.0), 1e-300)
    inverse = np.where(known, 1.0 / np.where(known, full, 1.0), 0.0)
    root = (rows.T * inverse) / length[:, None]
    covariance = root @ root.T
    loose = np.flatnonzero((np.abs(rows[~known]) > 1e-3).any(axis=0)).tolist()
    leverage = ((scaled @ root) ** 2).sum(axis=1)
    redundancy = np.clip(1.0 - leverage, 0.0, 1.0)
    checked = redundancy > NO_CHECK
    spread = sd * np.sqrt(np.where(checked, redundancy, 1.0))
    standardised = np.where(checked, residuals / spread, 0.0)
    over = len(residuals) - int(known.sum())
    s0 = float(np.sqrt(((residuals / sd) ** 2).sum() / over)) if over > 0 else float("nan")
    return Adjustment(x, covariance, residuals, redundancy, standardised, s0, loose)


def critical_value(count: int, significance: float) -> float:
    """Return the size that the largest of `count` standardised residuals exceeds by chance.

    Parameters
    ----------
    count : int
        Observations that were looked at, at least 1.
    significance : float
        Probability of exceeding it in a set without blunders, for the set as a whole.

    Examples
    --------
    >>> round(critical_value(1, 0.05), 2), round(critical_value(50, 0.001), 2)
    (1.96, 4.26)
    """
    return float(-ndtri(significance / (2 * max(count, 1))))


def snoop(
    model: Model, start: Array, observed: Array, sd: Array, *, significance: float = 0.001
) -> Snooped:
    """Adjust observations and set aside blunders, the worst first, until none is left.

    Parameters
    ----------
    model, start, observed, sd
        See `adjust`.
    significance : float
        Probability of accusing any observation of a set without blunders.

    Returns
    -------
    Snooped
    """
    kept = np.ones(len(observed), dtype=bool)
    rejected: list[Rejected] = []
    x = np.asarray(start, dtype=float)
    while True:
        some = kept.copy()

        def part(unknowns: Array, rows: npt.NDArray[np.bool_] = some) -> tuple[Array, Array]:
            predicted, jacobian = model(unknowns)
            return predicted[rows], jacobian[rows]

        found = adjust(part, x, observed[some], sd[some])
        worst = int(np.argmax(np.abs(found.standardised), axis=0)) if some.any() else -1
        limit = critical_value(int(some.sum()), significance)
        if worst < 0 or abs(found.standardised[worst]) <= limit:
            return Snooped(_spread_out(found, some), rejected)
        at = int(np.flatnonzero(some)[worst])
        size = float(found.residuals[worst] / found.redundancy[worst])
        rejected.append(Rejected(at, size, float(found.standardised[worst])))
        kept[at] = False
        x = found.x


def _spread_out(found: Adjustment, kept: npt.NDArray[np.bool_]) -> Adjustment:
    """Return an adjustment with entries for the observations that were set aside, as NaN."""

    def wide(values: Array) -> Array:
        out = np.full(len(kept), np.nan)
        out[kept] = values
        return out

    return Adjustment(
        found.x,
        found.covariance,
        wide(found.residuals),
        wide(found.redundancy),
        wide(found.standardised),
        found.s0,
        found.undetermined,
    )
