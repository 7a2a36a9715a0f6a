"""The seabed as rooms ask for it: polygons in, heights with their uncertainties out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import shapely

from wrackline.seabed.floor_bed import sample_floors
from wrackline.seabed.sample import read_surface, sample_bed


@dataclass(frozen=True)
class Bed:
    """A merged surface and its record, or neither on a site without soundings."""

    surface: Path | None = None
    record: Path | None = None

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
        if self.surface is None or self.record is None:
            return pd.DataFrame({"cells": [0] * len(polygons)})
        return sample_bed(polygons, self.surface, self.record)

    def inside(self, polygons: Sequence[shapely.Geometry]) -> pd.DataFrame:
        """Return the seabed on floors, told from cells that no wall touches.

        Parameters and returns are those of `at`; see `wrackline.seabed.floor_bed`.
        """
        if self.surface is None or self.record is None:
            return self.at(polygons)
        return sample_floors(polygons, read_surface(self.surface, self.record))


def bed_of(surface: Sequence[str], record: Sequence[str]) -> Bed:
    """Return the seabed of a rule's input lists, each of length 0 or 1."""
    return Bed(Path(surface[0]), Path(record[0])) if surface else Bed()
