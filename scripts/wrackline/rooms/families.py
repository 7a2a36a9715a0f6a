"""Families of walls' directions over a site, and the classes of the rose that shows them.

A site whose buildings are right-angled has few directions, modulo 90 degrees. They are taken for
a mixture of von Mises distributions of the axis times `fold`, over a background of any direction.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.special import ive

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_FAMILIES = 4
LEAST_MEMBERS = 3
"""A family needs so many axes: fewer may agree by chance."""

FEW = 55
"""Fewer axes count as so many in the penalty of BIC, which is too mild for them: 2 log L gains
more than 12 = 3 log 55 from one family in 3 to 5 % of sets of 3 to 100 axes without direction."""

LEAST_SPREAD_DEG = 0.5
"""Walls of one family scatter by at least so much about its axis (common practice, no source);
a tighter fit would follow axes that are equal by rounding."""

TRIAL, ROUNDS, CLOSE = 25, 500, 1e-6
"""Each start gets some rounds of EM, the best of them many; both end when log L gains less."""

START_KAPPA = (4.0, 40.0)
"""A new family is tried as a wide and as a narrow one: spread of 7 and of 2 degrees for fold 4."""


@dataclass(frozen=True)
class Family:
    """Axes that share a direction.

    Attributes
    ----------
    axis_deg : float
        Mean axis, in the sense of the data, 0 to 360 / fold [degrees].
    axis_sd_deg : float
        Standard uncertainty of the mean axis [degrees].
    spread_deg : float
        Circular standard deviation of the family's axes about it [degrees].
    share : float
        Share of the weight that belongs to the family, 0 to 1.
    kappa : float
        Concentration of the axis times fold.
    members : tuple of int
        Indices of the axes for which the family is likelier than any other and the background.
    """

    axis_deg: float
    axis_sd_deg: float
    spread_deg: float
    share: float
    kappa: float
    members: tuple[int, ...]


@dataclass(frozen=True)
class _Mixture:
    """Means [radians], concentrations and shares, shape (j,), with the log likelihood they give."""

    mean: Array
    kappa: Array
    share: Array
    fit: float


def mean_length(kappa: npt.ArrayLike) -> Array:
    """Return the length of the mean vector of a von Mises distribution, I1(kappa) / I0(kappa).

    Examples
    --------
    >>> mean_length([0.0, 2.0]).round(3).tolist()
    [0.0, 0.698]
    """
    of = np.asarray(kappa, dtype=np.float64)
    return np.asarray(ive(1, of), dtype=np.float64) / np.asarray(ive(0, of), dtype=np.float64)


def kappa_of(length: npt.ArrayLike) -> Array:
    """Return the maximum likelihood concentration for the length of a mean vector.

    Parameters
    ----------
    length : array_like
        0 to below 1.

    Notes
    -----
    Inverse of `mean_length`: the approximation of Fisher 1993, eq. 4.40, improved by Newton steps.

    Examples
    --------
    >>> kappa_of([0.0, 0.698]).round(2).tolist()
    [0.0, 2.0]
    """
    r = np.asarray(length, dtype=float)
    low = 2 * r + r**3 + 5 * r**5 / 6
    high = 1 / (r**3 - 4 * r**2 + 3 * r + 1e-300)
    middle = -0.4 + 1.39 * r + 0.43 / (1 - r)
    kappa = np.maximum(np.where(r < 0.53, low, np.where(r < 0.85, middle, high)), 1e-12)
    for _ in range(8):
        a = mean_length(kappa)
        kappa = np.maximum(kappa - (a - r) / (1 - a**2 - a / kappa), kappa / 2)
    return np.asarray(kappa)


def families(
    axes_deg: npt.ArrayLike, weights: npt.ArrayLike | None = None, *, fold: int = 4
) -> list[Family]:
    """Return the families of directions among axes.

    Parameters
    ----------
    axes_deg : array_like, shape (n,)
        Axes, in any sense and from any zero [degrees].
    weights : array_like, shape (n,), optional
        Positive, e.g. lengths or 1 / sd²; all the same when left out.
    fold : int
        4 where right angles count as the same, 2 for axes.

    Returns
    -------
    list of Family
        By share, the greatest first; empty where no direction stands out or there are fewer than
        `LEAST_MEMBERS` axes.

    Raises
    ------
    ValueError
        When an axis isn't finite, a weight isn't positive, their numbers differ, or fold isn't
        1 or more.

    Notes
    -----
    Fitted by EM (Banerjee et al. 2005, J. Machine Learning Research 6) from the best of some starts
    that depend on the data alone. Of 0 to 4 families that number is taken which has the least
    BIC = -2 log L + 3 j log n (Schwarz 1978): three parameters a family; n below `FEW` counts as
    `FEW`. Weights are scaled to sum to n, here Kish's effective number (sum w)² / sum w², so that
    a few heavy axes don't pass for many. Families that share a peak are one. The standard
    uncertainty of a mean axis is 1 / sqrt(n R kappa) / fold, R the length of the mean vector
    (Fisher 1993, eq. 4.42, from memory).

    Examples
    --------
    >>> walls = [19.0, 20.0, 21.0, 20.5, 19.5, 110.0, 109.0, 111.0]
    >>> [(round(f.axis_deg), f.members) for f in families(walls)]
    [(20, (0, 1, 2, 3, 4, 5, 6, 7))]
    """
    axis, weight = _checked(axes_deg, weights, fold)
    if len(axis) < LEAST_MEMBERS:
        return []
    order = np.lexsort((weight, axis))
    angle, part = np.radians(fold * axis[order]), weight[order]
    part *= part.sum() / (part**2).sum()
    best = _Mixture(np.zeros(0), np.zeros(0), np.zeros(0), -part.sum() * math.log(2 * math.pi))
    least, previous = -2 * best.fit, best
    for j in range(1, MOST_FAMILIES + 1):
        tried = [_em(angle, part, start, fold, TRIAL) for start in _starts(angle, part, previous)]
        previous = _em(angle, part, max(tried, key=lambda mix: mix.fit), fold, ROUNDS)
        bic = -2 * previous.fit + 3 * j * math.log(max(part.sum(), FEW))
        if bic < least and _filled(angle, previous):
            least, best = bic, previous
    return _families(best, angle, part, order, fold)


def _checked(axes: npt.ArrayLike, weights: npt.ArrayLike | None, fold: int) -> tuple[Array, Array]:
    """Return axes modulo 360 / fold, and their weights."""
    if fold < 1:
        raise ValueError(f"fold is {fold}; it must be 1 or more, e.g. 4 for right angles")
    axis = np.asarray(axes, dtype=float)
    weight = np.ones(axis.shape) if weights is None else np.asarray(weights, dtype=float)
    if axis.ndim != 1 or axis.shape != weight.shape:
        raise ValueError(
            f"axes of shape {axis.shape} with weights of shape {weight.shape}; each axis needs "
            "one weight, or none could be told from another: give lists of one length"
        )
    bad = ~(np.isfinite(axis) & np.isfinite(weight) & (weight > 0))
    if bad.any():
        raise ValueError(
            f"{bad.sum()} axes that aren't numbers or whose weight isn't positive, the first at "
            f"{int(np.argmax(bad))}; they would spoil every family: leave them out"
        )
    return axis % (360 / fold), weight


def _log_density(angle: Array, mix: _Mixture) -> Array:
    """Return log share times density of each family and, last, the background, shape (n, j + 1)."""
    cosine = np.cos(angle[:, None] - mix.mean)
    family = mix.kappa * (cosine - 1) - np.log(2 * np.pi * ive(0, mix.kappa))
    ground = max(1 - mix.share.sum(), 1e-12) / (2 * np.pi)
    logs = np.log(np.maximum(mix.share, 1e-12)) + family
    return np.column_stack([logs, np.full(len(angle), math.log(ground))])


def _belongs(angle: Array, mix: _Mixture) -> tuple[Array, Array]:
    """Return the chance of each axis to belong to each part, and log density of each axis."""
    logs = _log_density(angle, mix)
    top = logs.max(axis=1, keepdims=True)
    parts = np.exp(logs - top)
    total = parts.sum(axis=1, keepdims=True)
    return parts / total, (top + np.log(total))[:, 0]


def _em(angle: Array, weight: Array, mix: _Mixture, fold: int, rounds: int) -> _Mixture:
    """Return the mixture that EM comes to from a start within so many rounds."""
    tightest = math.exp(-(math.radians(fold * LEAST_SPREAD_DEG) ** 2) / 2)
    fit = -math.inf
    turn = np.exp(1j * angle)
    for _ in range(rounds):
        belongs, logs = _belongs(angle, mix)
        now = float(weight @ logs)
        if now - fit < CLOSE:
            break
        fit = now
        part = weight[:, None] * belongs[:, :-1]
        held = np.maximum(part.sum(axis=0), 1e-12)
        vector = turn @ part
        kappa = kappa_of(np.minimum(np.abs(vector) / held, tightest))
        mix = _Mixture(np.angle(vector), kappa, held / weight.sum(), fit)
    return _Mixture(mix.mean, mix.kappa, mix.share, float(weight @ _belongs(angle, mix)[1]))


def _starts(angle: Array, weight: Array, mix: _Mixture) -> Iterator[_Mixture]:
    """Yield starts with one family more: where the background is densest, and each one split."""
    ground = weight * _belongs(angle, mix)[0][:, -1]
    for kappa in START_KAPPA:
        density = np.array([ground @ np.exp(kappa * (np.cos(angle - a) - 1)) for a in angle])
        share = np.append(mix.share * 0.8, 0.8 * max(1 - mix.share.sum(), 0.1))
        mean = np.append(mix.mean, angle[np.argmax(density)])
        yield _Mixture(mean, np.append(mix.kappa, kappa), share, -math.inf)
    for k in range(len(mix.mean)):
        apart = 1 / math.sqrt(max(mix.kappa[k], 1.0))
        mean, kappas, share = (np.append(a, a[k]) for a in (mix.mean, mix.kappa, mix.share))
        mean[[k, -1]] += np.array([-apart, apart])
        kappas[[k, -1]] *= 2
        share[[k, -1]] /= 2
        yield _Mixture(mean, kappas, share, -math.inf)


def _filled(angle: Array, mix: _Mixture) -> bool:
    """Tell whether every family has members enough."""
    part = np.argmax(_log_density(angle, mix), axis=1)
    return bool((np.bincount(part, minlength=len(mix.mean) + 1)[:-1] >= LEAST_MEMBERS).all())


def _one_peak_each(mix: _Mixture) -> tuple[_Mixture, Ints]:
    """Return a mixture whose families share no peak, and the new place of each family.

    Long walls scatter less than short ones, so that one direction may take a narrow and a wide
    family. Two normal distributions no further apart than twice the smaller spread have one peak,
    whatever their shares (Behboodian 1970, Technometrics 12, from memory).
    """
    spread = np.sqrt(-2 * np.log(mean_length(mix.kappa)))
    away = np.abs(np.angle(np.exp(1j * (mix.mean[:, None] - mix.mean))))
    shared = away <= 2 * np.minimum(spread[:, None], spread)
    number, place = connected_components(sparse.csr_matrix(shared), directed=False)
    vector = mix.share * mean_length(mix.kappa) * np.exp(1j * mix.mean)
    whole = np.array([vector[place == k].sum() for k in range(number)])
    share = np.bincount(place, mix.share).astype(np.float64)
    alone = np.array([mix.kappa[place == k][0] for k in range(number)])
    several = np.bincount(place) > 1
    kappa = np.where(several, kappa_of(np.abs(whole) / share), alone)
    return _Mixture(np.angle(whole), kappa, share, mix.fit), place.astype(np.int64)


def _families(mix: _Mixture, angle: Array, weight: Array, order: Ints, fold: int) -> list[Family]:
    """Return the families of a mixture, the greatest first."""
    if not len(mix.mean):
        return []
    part = np.argmax(_log_density(angle, mix), axis=1)
    mix, place = _one_peak_each(mix)
    part = np.append(place, len(mix.mean))[part]
    length = mean_length(mix.kappa)
    sd = 1 / np.sqrt(mix.share * weight.sum() * length * mix.kappa)
    spread = np.sqrt(-2 * np.log(length))
    found = [
        Family(
            axis_deg=float(np.degrees(mix.mean[k]) % 360 / fold % (360 / fold)),
            axis_sd_deg=float(np.degrees(sd[k]) / fold),
            spread_deg=float(np.degrees(spread[k]) / fold),
            share=float(mix.share[k]),
            kappa=float(mix.kappa[k]),
            members=tuple(sorted(order[part == k].tolist())),
        )
        for k in range(len(mix.mean))
    ]
    return sorted(found, key=lambda family: (-family.share, family.axis_deg))


def rose_rows(
    axes_deg: npt.ArrayLike,
    found: Sequence[Family],
    *,
    weights: npt.ArrayLike | None = None,
    bin_deg: float = 10.0,
) -> pd.DataFrame:
    """Return what a rose shows.

    Parameters
    ----------
    axes_deg : array_like, shape (n,)
        Axes, modulo 180 [degrees].
    found : sequence of Family
        Families to mark.
    weights : array_like, shape (n,), optional
    bin_deg : float
        Width of a class, a part of 180 [degrees].

    Returns
    -------
    DataFrame
        `row`: `class`, or `family A` and so on in the order given; `from_deg` (within), `to_deg`
        (beyond), for a family its axis less and plus its spread; `axis_deg`; `axes`, their
        number; `share` of the weight.

    Raises
    ------
    ValueError
        When 180 isn't a multiple of the width; and as `families`.

    Examples
    --------
    >>> rose_rows([10, 100, 190], [], bin_deg=90)["axes"].tolist()
    [2, 1]
    """
    axis, weight = _checked(axes_deg, weights, 2)
    number = round(180 / bin_deg) if bin_deg > 0 else 0
    if number < 1 or abs(number * bin_deg - 180) > 1e-9:
        raise ValueError(f"classes of {bin_deg} degrees; 180 must be a multiple, e.g. 5, 10 or 15")
    at = (axis / bin_deg).astype(int) % number
    start = np.arange(number) * float(bin_deg)
    bins = pd.DataFrame(
        {
            "row": "class",
            "from_deg": start,
            "to_deg": start + bin_deg,
            "axis_deg": start + bin_deg / 2,
            "axes": np.bincount(at, minlength=number),
            "share": _sums(at, weight, number) / max(math.fsum(weight), 1e-300),
        }
    )
    marks = [_row(k, family) for k, family in enumerate(found)]
    return pd.concat([bins, pd.DataFrame(marks)], ignore_index=True) if marks else bins


def _row(k: int, family: Family) -> dict[str, Any]:
    return {
        "row": f"family {chr(ord('A') + k)}",
        "from_deg": family.axis_deg - family.spread_deg,
        "to_deg": family.axis_deg + family.spread_deg,
        "axis_deg": family.axis_deg,
        "axes": len(family.members),
        "share": family.share,
    }


def _sums(at: Ints, weight: Array, number: int) -> Array:
    """Return the weight of each class, the same for any order of the axes."""
    return np.array([math.fsum(weight[at == k]) for k in range(number)])
