"""Floors that were met: the only source of a floor's depth.

Deposit hides a metre or more of what the builders walked on, so the seabed is never taken for a
floor. A floor's height is the mean of the points at which it was met in the room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from wrackline.rooms.view import View
from wrackline.uncertainty import Budget, ErrorModel, propagate
from wrackline.walls.linework import FLOOR_EVIDENCE

NONE_MET = "floor_depth_m: no floor was met in it"


@dataclass(frozen=True)
class MetFloors:
    """Floor points of all surveys.

    Attributes
    ----------
    points : GeoDataFrame
        `ITEM_COLUMNS`, geometry PointZ in the site's CRS, heights above the datum.
    models : sequence of ErrorModel
        Errors of the surveys in it.
    """

    points: gpd.GeoDataFrame
    models: Sequence[ErrorModel]

    def inside(self, polygon: shapely.Geometry) -> np.ndarray:
        """Return rows of the points in a polygon, best evidence only."""
        within = shapely.contains(polygon, self.points.geometry.to_numpy())
        rows = np.flatnonzero(within)
        rank = [_rank(text) for text in self.points["evidence"].iloc[rows]]
        return rows[np.array(rank, dtype=int) == min(rank)] if len(rows) else rows

    def mean(self, rows: np.ndarray) -> tuple[float, Budget]:
        """Return mean height and uncertainty of points [m]."""
        geometry = self.points.geometry.to_numpy()[rows]
        xyz = shapely.get_coordinates(geometry, include_z=True)
        names = [model.survey for model in self.models]
        survey = np.array([names.index(name) for name in self.points["survey"].iloc[rows]])
        gradient = np.zeros_like(xyz)
        gradient[:, 2] = 1 / len(rows)
        return float(xyz[:, 2].mean()), propagate(gradient, xyz, survey, self.models)

    def fields(self, view: View, polygon: shapely.Geometry) -> dict[str, Any]:
        """Return floor depth, its sd and evidence for a room, or why there is none."""
        names = ("floor_depth_m", "floor_depth_sd_m", "floor_evidence")
        rows = self.inside(polygon) if len(self.points) else np.array([], dtype=int)
        if not len(rows):
            return {**dict.fromkeys(names), "why": NONE_MET}
        depth, budget = view.depth_of(*self.mean(rows))
        evidence = self.points["evidence"].iloc[rows[0]]
        return dict(zip(names, (depth, budget.sd, evidence), strict=True)) | {"why": ""}


def _rank(evidence: object) -> int:
    text = evidence if isinstance(evidence, str) else ""
    return FLOOR_EVIDENCE.index(text) if text in FLOOR_EVIDENCE else len(FLOOR_EVIDENCE)
