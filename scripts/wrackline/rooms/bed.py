"""The seabed as rooms ask for it: polygons in, heights with their uncertainties out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd
import shapely

from wrackline.seabed.sample import Surface, covered_shares, read_surface, sample_surface

HALF_DIAGONAL = 0.7072
"""Half a cell's diagonal, in cells: a centre this far inside lies in a cell wholly inside."""


@dataclass(frozen=True)
class Bed:
    """A merged surface and its record, or neither on a site without soundings."""

    surface: Path | None = None
    record: Path | None = None

    @cached_property
    def _read(self) -> Surface | None:
        if self.surface is None or self.record is None:
            return None
        return read_surface(self.surface, self.record)

    def at(self, polygons: Sequence[shapely.Geometry]) -> pd.DataFrame:
        """Return the seabed in polygons, from cells whose centres lie in them.

        Parameters
        ----------
        polygons : sequence of Geometry, length n

        Returns
        -------
        DataFrame, n rows
            As `wrackline.seabed.sample.sample_bed` gives it; with no surface, 0 `cells` everywhere.
        """
        if self._read is None:
            return pd.DataFrame({"cells": [0] * len(polygons)})
        return sample_surface(polygons, self._read)

    def inside(self, polygons: Sequence[shapely.Geometry]) -> pd.DataFrame:
        """Return the seabed in polygons from cells wholly inside, where there are any.

        A sounding on a wall lifts the cells that the wall touches, so these are left out unless
        the polygon is too small to hold others. `covered_share` is that of the whole polygon.
        """
        if self._read is None:
            return self.at(polygons)
        rim = HALF_DIAGONAL * self._read.grid.cell_m
        core = shapely.buffer(list(polygons), -rim) if len(polygons) else []
        chosen = [p if shapely.is_empty(c) else c for p, c in zip(polygons, core, strict=True)]
        sampled = self.at(chosen)
        sampled["covered_share"] = covered_shares(polygons, self._read)
        return sampled


def bed_of(surface: Sequence[str], record: Sequence[str]) -> Bed:
    """Return the seabed of a rule's input lists, each of length 0 or 1."""
    return Bed(Path(surface[0]), Path(record[0])) if surface else Bed()
