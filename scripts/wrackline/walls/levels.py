"""Whether heights let two tracings be of one wall: a later wall on an earlier stump is two.

Tops of one wall agree within their errors and what tops are uneven by or lose between seasons; its
feet alike. A top lies no more above a foot, or the seabed beside the wall, than walls stand. A
tracing without heights says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt

from wrackline.model import WallSettings
from wrackline.uncertainty import ErrorModel
from wrackline.walls.linework import Array, Ints

LEVEL_SDS = 3.0
"""Heights that differ by more of their joint sd differ indeed (0.3 % of honest ones)."""

BASE, BED, TOP = 0, 1, 2
PARTS = {"base": BASE, "bed": BED, "top": TOP}


def height_sd(model: ErrorModel) -> float:
    """Return a survey's standard uncertainty of height, shared shifts included [m].

    >>> from wrackline.uncertainty import NamedError
    >>> named = (NamedError("gauge", "height", 0.12),)
    >>> round(height_sd(ErrorModel("walls", 0.0, 0.03, patchy_vertical=0.04, named=named)), 9)
    0.13
    """
    shifts = sum(part.sd**2 for part in model.named if part.kind == "height")
    return float(np.sqrt(model.random_vertical**2 + model.patchy_vertical**2 + shifts))


@dataclass(frozen=True)
class Levels:
    """At what part of the wall lines were traced, and how far heights of one wall differ.

    Attributes
    ----------
    part : array of int, shape (lines,)
        `BASE`, `BED` or `TOP`; a line of which nothing is said was traced at the top.
    sd_m : array, shape (lines,)
        Standard uncertainty of height [m].
    alike_m, standing_m : float
        By how much tops (or feet) of one wall differ at most, and a top and a foot [m].
    """

    part: Ints
    sd_m: Array
    alike_m: float
    standing_m: float

    def two_walls(self, one: Ints, other: Ints, above_m: Array) -> npt.NDArray[np.bool_]:
        """Tell which pairs of tracings are two walls, as their heights say.

        Parameters
        ----------
        one, other : array of int, shape (n,)
            Lines.
        above_m : array, shape (n,)
            Height of the one over the other, NaN where not known [m].
        """
        up, down = self.part[one], self.part[other]
        bed = (up == BED) & (down == BED)
        errors = LEVEL_SDS * np.hypot(self.sd_m[one], self.sd_m[other])
        most = np.where((up > down) | bed, self.standing_m, self.alike_m) + errors
        least = np.where((down > up) | bed, self.standing_m, self.alike_m) + errors
        return np.asarray((above_m > most) | (-above_m > least))


def levels_of(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> Levels:
    """Return the levels of lines.

    Parameters
    ----------
    lines : GeoDataFrame
        With `survey` and `traced_at`.
    models : mapping of str to ErrorModel
        Errors by survey.
    settings : WallSettings
    """
    sd = lines["survey"].map({name: height_sd(model) for name, model in models.items()})
    part = lines["traced_at"].map(PARTS).fillna(TOP)
    return Levels(
        part=part.to_numpy(np.int64),
        sd_m=sd.to_numpy(float),
        alike_m=settings.tops_differ_max_m,
        standing_m=settings.wall_standing_max_m,
    )


def heights_at(xyz: Array, vertex: Ints, beyond_m: Array) -> Array:
    """Return heights of lines some way beyond vertices, shape (n, k); NaN where none was taken [m].

    Parameters
    ----------
    xyz : array, shape (v, 3)
        Vertices, those of a line one after another [m].
    vertex : array of int, shape (n,)
    beyond_m : array, shape (n, k)
        Way along the vertex's line, no further than its end [m].

    Examples
    --------
    >>> wall = np.array([[0.0, 0.0, -3.0], [4.0, 0.0, -2.0], [4.0, 2.0, np.nan]])
    >>> heights_at(wall, np.array([0]), np.array([[1.0, 3.0, 5.0]])).tolist()
    [[-2.75, -2.25, nan]]
    """
    if not len(xyz):
        return np.full(beyond_m.shape, np.nan)
    step = np.diff(xyz[:, :2], axis=0, prepend=xyz[:1, :2])
    run_m = np.cumsum(np.hypot(step[:, 0], step[:, 1]))
    return np.interp(run_m[vertex][:, None] + beyond_m, run_m, xyz[:, 2])


def middle_of(above_m: Array) -> Array:
    """Return the median of each row, NaN left out; NaN where nothing is known.

    >>> middle_of(np.array([[0.1, np.nan, 0.3], [np.nan, np.nan, np.nan]])).tolist()
    [0.2, nan]
    """
    middle = np.full(len(above_m), np.nan)
    known = np.isfinite(above_m).any(axis=1)
    middle[known] = np.nanmedian(above_m[known], axis=1)
    return middle
