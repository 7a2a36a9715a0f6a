"""Whether two seasons agree on ground that is known to be stable: rock, a quay, a slab.

A plane is fitted to the differences there, later minus earlier, by least squares: an offset at the
middle, a tilt east and one north. Each is a weighted sum of differences, so `Sums` tells its sd by
cause, sources common to both seasons cancelled. Of several figures held against their sds at once,
one is taken for apart at 5 % divided by their number (Bonferroni). Nothing is corrected by it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from wrackline.fit.corrections import config_lines
from wrackline.rasters import Grid
from wrackline.seabed.change_areas import coverage_of
from wrackline.seabed.change_sums import Sum, Sums
from wrackline.seabed.differences import Difference
from wrackline.seabed.sample import Surface

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

LEAST_CELLS, LEAST_FOR_TILT = 4, 20
NARROW_CELLS = 2.0
"""Cells along one line, by so many cells of root mean square width, tell no tilt across it."""
APART_SHARE = 0.05
VERTICAL_ENDS = (":height", ":tilt", ":applied_offset", ":applied_tilt", ":applied_tilt_2")
FIGURES = (("offset", "m", 1.0), ("tilt_east", "mm_per_m", 1e3), ("tilt_north", "mm_per_m", 1e3))


@dataclass
class Registration:
    """Takes stable cells twice, first for where they lie, then for the plane through them.

    Parameters
    ----------
    window : Grid
        Holds all of them.
    """

    window: Grid
    _moments: Array = field(default_factory=lambda: np.zeros((3, 3)))
    _sums: list[Sums] = field(default_factory=list)
    _mean: Sums | None = None

    def look(self, part: Grid, stable: Flags) -> None:
        """Take the places of a piece's stable cells, before `add` takes their differences."""
        row, column = np.nonzero(stable)
        design = self._design(part, row, column)
        self._moments += design.T @ design

    def _design(self, part: Grid, row: Any, column: Any) -> Array:
        """Return 1, east and north of cells, in cells from the window's south-west corner."""
        east = part.west - self.window.west + column + 0.5
        north = part.north - self.window.south - row - 0.5
        return np.column_stack([np.ones(len(row)), east, north])

    @property
    def cells(self) -> int:
        """How many cells were looked at."""
        return int(self._moments[0, 0])

    @property
    def why_no_tilt(self) -> str | None:
        """Why no tilt is told, None where it is."""
        if self.cells < LEAST_FOR_TILT:
            return f"fewer than {LEAST_FOR_TILT} cells of stable ground"
        spread = self._moments[1:, 1:] / self.cells - np.outer(self._middle, self._middle)
        if np.linalg.eigvalsh(spread)[0] < NARROW_CELLS**2:
            return "the stable ground lies along one line"
        return None

    @property
    def _middle(self) -> Array:
        return np.asarray(self._moments[0, 1:] / max(self.cells, 1))

    def _influence(self) -> Array:
        """Return what a cell's 1, east and north weigh in each figure, shape (1 or 3, 3)."""
        to_middle = np.eye(3)
        to_middle[0, 1:] = -self._middle
        if self.why_no_tilt:
            return np.array([[1 / self.cells, 0.0, 0.0]])
        normal = to_middle.T @ self._moments @ to_middle
        influence = np.linalg.inv(normal) @ to_middle.T
        influence[1:] /= self.window.cell_m
        return np.asarray(influence)

    def add(self, found: Difference, stable: Flags) -> None:
        """Take the differences of a piece's stable cells."""
        if self.cells < LEAST_CELLS or not stable.any():
            return
        influence = self._influence()
        if not self._sums:
            self._sums = [Sums(self.window) for _ in influence]
        row, column = np.nonzero(stable)
        whole = (slice(0, stable.shape[0]), slice(0, stable.shape[1]))
        for sums, pull in zip(self._sums, influence, strict=True):
            weight = np.zeros(stable.shape)
            weight[row, column] = self._design(found.part, row, column) @ pull
            sums.add(found, stable, whole, weight)

    def figures(self, earlier: Surface, later: Surface) -> dict[str, Any]:
        """Return the plane, whether it is apart, and what to write to bring the later season on.

        Returns
        -------
        dict
            ``cells``; ``offset_m`` at the ``pivot``, ``tilt_east_mm_per_m``,
            ``tilt_north_mm_per_m``, each with ``…_sd_…``; ``apart``; ``correction``: by survey of
            the later season, lines of config; ``null_because``, ``tilt_null_because``.
        """
        found: dict[str, Any] = {"cells": self.cells, "null_because": None}
        if not self._sums:
            why = f"fewer than {LEAST_CELLS} cells of stable ground that both seasons have"
            return {**found, "null_because": why}
        totals = [sums.total() for sums in self._sums]
        east, north = self._middle * self.window.cell_m
        left, low = self.window.transform[2], self.window.transform[5]
        low -= self.window.shape[0] * self.window.cell_m
        found |= {"pivot": [left + east, low + north], "tilt_null_because": self.why_no_tilt}
        for (name, unit, factor), total in zip(FIGURES, totals, strict=False):
            found[f"{name}_{unit}"] = factor * total.value
            found[f"{name}_sd_{unit}"] = factor * total.sd
            found[f"{name}_fit_sd_{unit}"] = factor * _fit_sd(total)
        limit = coverage_of(1 - APART_SHARE / len(totals))
        found["apart"] = any(abs(one.value) > limit * one.sd for one in totals)
        found["tilt_correlation"] = 0.0
        return {**found, "correction": _lines(found, earlier, later) if found["apart"] else {}}


def _fit_sd(total: Sum) -> float:
    """Return the sd without named shifts of height and tilts, which a correction takes away."""
    named = total.budget.named
    left = sum(e**2 for name, e in named.items() if not name.endswith(VERTICAL_ENDS))
    return float(np.sqrt(total.budget.random**2 + total.budget.patchy**2 + left))


def _lines(plane: dict[str, Any], earlier: Surface, later: Surface) -> dict[str, str]:
    """Return lines of config that bring each later survey on to the earlier season's first one."""
    base = earlier.models[0]
    lines = {
        name: config_lines(model, base, plane, base.survey)
        for name, model in zip(later.sources, later.models, strict=True)
    }
    return {name: text for name, text in lines.items() if text is not None}
