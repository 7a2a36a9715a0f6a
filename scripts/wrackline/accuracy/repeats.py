"""Two files that hold the same points, whole or in part."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

INSIDE = 0.9
LEAST_POINTS = 8
STEP_M = 0.001
MOST_POINTS = 4_000_000
LATTICE = 8.0
"""Points that share an easting, on average, from which places are nodes of a grid."""


class Repeat(NamedTuple):
    """A survey whose points stand in another: `share` of them; `whole` when that's both ways."""

    inner: str
    outer: str
    share: float
    whole: bool
    points: int


def point_codes(easting: Array, northing: Array, height: Array, keep: int = 1) -> Ints:
    """Return one whole number for each place to the millimetre; equal for equal places.

    Parameters
    ----------
    easting, northing, height : array, shape (n,)
        In metres; heights of 0 where they are not to count.
    keep : int
        Of numbers that are spread evenly, one in `keep` is kept: the same ones in every file.

    Returns
    -------
    array of int
        Sorted, each once.

    Examples
    --------
    >>> one = point_codes(np.array([5.0, 5.0]), np.array([7.0, 7.0]), np.array([1.0, 1.0002]))
    >>> len(one)
    1
    """
    parts = [
        np.rint(np.nan_to_num(a) / STEP_M).astype(np.int64) for a in (easting, northing, height)
    ]
    code = np.zeros(len(easting), dtype=np.uint64)
    with np.errstate(over="ignore"):
        for part in parts:  # multiply and shift (splitmix64, Steele et al. 2014)
            code = (code ^ part.astype(np.uint64)) * np.uint64(0x9E3779B97F4A7C15)
            code ^= code >> np.uint64(31)
            code *= np.uint64(0xBF58476D1CE4E5B9)
            code ^= code >> np.uint64(29)
    kept = code[code % np.uint64(keep) == 0]
    return np.unique(kept).view(np.int64)


def is_lattice(easting: Array) -> bool:
    """Tell whether places look like nodes of a grid, which other surveys may use as well."""
    rounded = np.rint(np.asarray(easting) / STEP_M).astype(np.int64)
    return len(rounded) > LATTICE * len(np.unique(rounded))


def repeats(codes: Mapping[str, Ints]) -> list[Repeat]:
    """Return the surveys that hold the same points as another of like content.

    Parameters
    ----------
    codes : mapping of str to array
        `point_codes` by survey.

    Examples
    --------
    >>> numbers = np.arange(20)
    >>> repeats({"a": numbers, "b": numbers[5:]})
    [Repeat(inner='b', outer='a', share=1.0, whole=False, points=15)]
    """
    found = []
    for one, other in combinations(sorted(codes), 2):
        a, b = codes[one], codes[other]
        if min(len(a), len(b)) < LEAST_POINTS:
            continue
        common = len(np.intersect1d(a, b, assume_unique=True))
        inner, outer = (one, other) if len(a) < len(b) else (other, one)
        share, back = common / min(len(a), len(b)), common / max(len(a), len(b))
        if share >= INSIDE:
            found.append(Repeat(inner, outer, share, back >= INSIDE, common))
    return found
