"""Depths and uncertainties of a surface, counted piece by piece, and what S-44 says of them.

Medians come from counts by whole millimetres of depth and whole ticks of sd, so that pieces of any
size give the same figures and nothing but counts is held in memory.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import numpy.typing as npt

from wrackline.accuracy.standards import COVERAGE_S44, KEPT, MATRIX, ORDERS, tvu_max
from wrackline.rasters import TICK_M

Array = npt.NDArray[np.float64]

DEPTH_STEP_M = 0.001
RISING_A = np.array(MATRIX["Bc"][::-1], dtype=float)
STRICTEST_B = ORDERS["exclusive"][1]


class Steps:
    """Counts of values in steps of one size, and their median.

    Examples
    --------
    >>> steps = Steps(0.1)
    >>> steps.add(np.array([0.3, 0.1, 0.32]))
    >>> round(steps.median(), 6)
    0.3
    """

    def __init__(self, step: float) -> None:
        self._step = step
        self._counts: Counter[int] = Counter()

    def add(self, values: Array) -> None:
        """Count values."""
        at, counts = np.unique(np.rint(values / self._step).astype(np.int64), return_counts=True)
        for place, count in zip(at.tolist(), counts.tolist(), strict=True):
            self._counts[place] += count

    def median(self) -> float:
        """Return the median, the mean of both middle values of an even number; NaN of none."""
        places = sorted(self._counts)
        if not places:
            return float("nan")
        up_to = np.cumsum([self._counts[place] for place in places])
        middle = np.searchsorted(up_to, [(up_to[-1] - 1) // 2, up_to[-1] // 2], side="right")
        return float(np.mean([places[k] for k in middle]) * self._step)


class Tally:
    """Takes depths and sds of cells, and tells how they stand beside S-44."""

    def __init__(self) -> None:
        self.cells = 0
        self._depth, self._sd = Steps(DEPTH_STEP_M), Steps(TICK_M)
        self._least_a = np.zeros((len(MATRIX["Bd"]), len(RISING_A) + 1), dtype=np.int64)

    def add(self, depth: Array, sd: Array) -> None:
        """Take cells.

        Parameters
        ----------
        depth, sd : array, shape (n,)
            Depth and its total sd [m]; ground above the level counts as depth 0.
        """
        self.cells += len(depth)
        self._depth.add(depth)
        self._sd.add(sd)
        square = (COVERAGE_S44 * sd / (1 + 1e-9)) ** 2
        d = np.maximum(depth, 0.0)
        for row, b in enumerate(MATRIX["Bd"]):
            least = np.searchsorted(RISING_A**2, square - (b * d) ** 2)
            self._least_a[row] += np.bincount(least, minlength=len(RISING_A) + 1)

    def share(self, a_m: float, b: float) -> float:
        """Return the part of the cells whose 1.96 sd doesn't exceed √(a² + (b d)²).

        Parameters
        ----------
        a_m, b : float
            Of the matrix's rows Bc [m] and Bd.
        """
        row, column = MATRIX["Bd"].index(b), int(np.searchsorted(RISING_A, a_m))
        return float(self._least_a[row, : column + 1].sum() / max(self.cells, 1))

    def orders(self) -> list[dict[str, Any]]:
        """Return, by order, what S-44 allows and whether it is kept.

        Returns
        -------
        list of dict
            ``order``, ``tvu_max_m`` at the median depth, ``share``: part of the cells whose 1.96
            sd doesn't exceed the limit at their depth, ``kept``: whether 95 % of the cells do so.
        """
        middle = self._depth.median()
        shares = {order: self.share(a, b) for order, (a, b) in ORDERS.items()}
        return [
            {
                "order": order,
                "tvu_max_m": float(tvu_max(middle, order)),
                "share": share,
                "kept": share >= KEPT,
            }
            for order, share in shares.items()
        ]

    def finest(self) -> dict[str, Any]:
        """Return the finest cells of the specification matrix that the uncertainty meets.

        The smallest a that 95 % of the cells keep with the b of the exclusive order, then the
        smallest b that they keep with that a; None where even a = 100 m is exceeded.

        Returns
        -------
        dict
            ``matrix_a_m``, ``matrix_b``, ``matrix_cell`` (as "Bc12, Bd8").
        """
        met = [a for a in RISING_A if self.cells and self.share(a, STRICTEST_B) >= KEPT]
        if not met:
            return {"matrix_a_m": None, "matrix_b": None, "matrix_cell": None}
        a = float(met[0])
        b = min(b for b in MATRIX["Bd"] if self.share(a, b) >= KEPT)
        c, d = MATRIX["Bc"].index(a) + 1, MATRIX["Bd"].index(b) + 1
        return {"matrix_a_m": a, "matrix_b": b, "matrix_cell": f"Bc{c}, Bd{d}"}

    def figures(self) -> dict[str, Any]:
        """Return ``cells``, ``depth_m`` and ``sd_m`` (medians), ``u95_m``, ``s44``, `finest`."""
        sd = self._sd.median()
        return {
            "cells": self.cells,
            "depth_m": self._depth.median(),
            "sd_m": sd,
            "u95_m": COVERAGE_S44 * sd,
            "s44": self.orders(),
            **self.finest(),
        }
