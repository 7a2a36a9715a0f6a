"""Which survey of several is off, from all comparisons of pairs together.

Each pair of surveys gives a difference with its budget; a named cause that several pairs share is
one error. For each survey in turn the alternative "this one is off, by so much" is held against
"none is" (Baarda 1968, A testing procedure for use in geodetic networks; his w-test), and the one
that explains most is named. Levels of proof are shared out among the surveys (Bonferroni).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri

from wrackline.uncertainty import Budget

Array = npt.NDArray[np.float64]

FALSE_ALARM = 0.001
"""Chance that a check accuses any survey of a clean site, were errors quite as stated."""
POWER_SDS = 1.645
"""Sds beyond the critical value that an error must lie to be found 19 times in 20."""


@dataclass(frozen=True)
class Compared:
    """One figure of one pair of surveys, newer minus older.

    Attributes
    ----------
    newer, older : str
        Identifiers.
    numbers : tuple of float
        The figure: one number, or a pair towards east and north.
    budgets : tuple of Budget
        Of each number.
    count : int
        Cells or stretches of wall that it rests on.
    place : tuple of float
        Where the difference shows most [m].
    depth_m : float or None
        Depth there.
    extent_m : float
        Length of the shared ground [m].
    """

    newer: str
    older: str
    numbers: tuple[float, ...]
    budgets: tuple[Budget, ...]
    count: int
    place: tuple[float, float]
    depth_m: float | None = None
    extent_m: float = 0.0

    def figures(self, what: str) -> dict[str, Any]:
        """Return JSON-ready figures for the record."""
        return {
            "newer": self.newer,
            "older": self.older,
            "figure": what,
            "values": list(self.numbers),
            "sds": [budget.sd for budget in self.budgets],
            "count": self.count,
            "place": list(self.place),
        }


@dataclass(frozen=True)
class Suspect:
    """A survey that all comparisons together call off.

    Attributes
    ----------
    name : str
        Identifier.
    numbers : array, shape (m,)
        By how much: as surveyed minus as the others have it.
    sd : float
        Standard uncertainty of its length.
    others : tuple of str
        Surveys that it was held against.
    compared : Compared
        The comparison that shows it best.
    finds : float
        Least error that would have been found 19 times in 20.
    certain : bool
        False when only two surveys disagree, so that either may be off.
    """

    name: str
    numbers: Array
    sd: float
    others: tuple[str, ...]
    compared: Compared
    finds: float
    certain: bool

    @property
    def size(self) -> float:
        """Length of `numbers`."""
        return float(np.hypot.reduce(self.numbers))


def suspects(
    compared: Sequence[Compared], least: float, *, alarm: float = FALSE_ALARM
) -> list[Suspect]:
    """Return the surveys that are off, the clearest first.

    Parameters
    ----------
    compared : sequence of Compared
        One figure of all pairs.
    least : float
        Errors smaller than this are never named, in the figure's unit.
    alarm : float
        Chance that any clean survey is named.
    """
    left, out = list(compared), []
    while left:
        names = sorted({name for pair in left for name in (pair.newer, pair.older)})
        critical = float(chdtri(len(left[0].numbers), alarm / len(names)))
        tested = [_test(left, name, critical) for name in names]
        clear = [(t, s) for t, s in tested if t > critical and s.size > least]
        if not clear:
            break
        # equally clear: only two surveys are there, and the newer one is named
        best = max(clear, key=lambda item: (round(item[0], 6), item[1].name))[1]
        out.append(best)
        left = [pair for pair in left if best.name not in (pair.newer, pair.older)]
    return out


def covariance(compared: Sequence[Compared]) -> Array:
    """Return the covariance of all numbers, pair by pair; shared named causes count as one.

    Returns
    -------
    array, shape (n * m, n * m)
        Of n comparisons of m numbers each.
    """
    budgets = [budget for pair in compared for budget in pair.budgets]
    names = sorted({name for budget in budgets for name in budget.named})
    effects = np.array([[budget.named.get(name, 0.0) for name in names] for budget in budgets])
    own = np.diag([budget.random**2 + budget.patchy**2 + 1e-12 for budget in budgets])
    return np.asarray(effects.reshape(len(budgets), -1) @ effects.reshape(len(budgets), -1).T + own)


def _test(compared: Sequence[Compared], name: str, critical: float) -> tuple[float, Suspect]:
    """Return the test value of one survey being off, and by how much."""
    numbers = len(compared[0].numbers)
    sign = np.array([(p.newer == name) - (p.older == name) for p in compared], dtype=float)
    design = np.kron(sign[:, None], np.eye(numbers))
    weight = np.linalg.inv(covariance(compared))
    normal = design.T @ weight @ design
    y = np.array([value for pair in compared for value in pair.numbers])
    values = np.linalg.solve(normal, design.T @ weight @ y)
    test = float(values @ normal @ values)
    size = float(np.hypot.reduce(values))
    along = values / size if size > 0 else np.full(numbers, 1 / np.sqrt(numbers))
    sd = float(np.sqrt(along @ np.linalg.solve(normal, along)))
    mine = [pair for pair in compared if name in (pair.newer, pair.older)]
    others = tuple(sorted({p.older if p.newer == name else p.newer for p in mine}))
    best = max(mine, key=lambda p: np.hypot.reduce(p.numbers) / np.hypot.reduce(_sds(p)))
    finds = (np.sqrt(critical) + POWER_SDS) * sd
    certain = len(_connected(compared, name)) > 2
    return test, Suspect(name, values, sd, others, best, float(finds), certain)


def _connected(compared: Sequence[Compared], name: str) -> set[str]:
    """Return the surveys that comparisons tie to one, itself included."""
    known, before = {name}, 0
    while len(known) > before:
        before = len(known)
        for pair in compared:
            if {pair.newer, pair.older} & known:
                known |= {pair.newer, pair.older}
    return known


def _sds(pair: Compared) -> list[float]:
    return [budget.sd for budget in pair.budgets]


def robust_fit(design: Array, y: Array, rounds: int = 8) -> tuple[Array, Array, Array]:
    """Return coefficients of a robust straight fit, their gradients and the residuals.

    Parameters
    ----------
    design : array, shape (n, m)
    y : array, shape (n,)
    rounds : int
        Rounds of reweighting (Huber 1964, doi:10.1214/aoms/1177703732, with c = 1.345).

    Returns
    -------
    coefficients : array, shape (m,)
    gradient : array, shape (m, n)
        Change of each coefficient per unit of each `y`.
    residuals : array, shape (n,)

    Examples
    --------
    >>> x = np.arange(9.0)
    >>> y = 1 + 2 * x
    >>> y[8] = 900.0
    >>> fit = robust_fit(np.column_stack([np.ones(9), x]), y, rounds=40)
    >>> [round(value, 1) for value in fit[0].tolist()]
    [1.0, 2.0]
    """
    weight = np.ones(len(y))
    for _ in range(rounds):
        gradient = np.linalg.pinv(design * np.sqrt(weight)[:, None]) * np.sqrt(weight)
        found = gradient @ y
        residuals = y - design @ found
        scale = 1.4826 * float(np.median(np.abs(residuals))) + 1e-9
        weight = np.minimum(1.0, 1.345 * scale / np.maximum(np.abs(residuals), 1e-12))
    return found, np.asarray(gradient, dtype=float), residuals
