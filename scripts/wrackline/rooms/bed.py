"""The seabed as rooms ask for it: polygons in, heights with their uncertainties out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pandas as pd
import shapely

from wrackline.seabed.sample import sample_bed

Sampler = Callable[[Sequence[shapely.Geometry]], pd.DataFrame]
"""Polygons in; the seabed in each of them out, as `wrackline.seabed.sample` gives it."""


def no_seabed(polygons: Sequence[shapely.Geometry]) -> pd.DataFrame:
    """Return the answer of a site without soundings: no cell anywhere."""
    return pd.DataFrame({"cells": [0] * len(polygons)})


def sampler(surface: Sequence[str | Path], record: Sequence[str | Path]) -> Sampler:
    """Return what samples a merged surface, or nothing where a site has none.

    Parameters
    ----------
    surface, record : sequence of path, length 0 or 1
        The raster and its record.
    """
    if not surface:
        return no_seabed
    return lambda polygons: sample_bed(polygons, surface[0], record[0])
