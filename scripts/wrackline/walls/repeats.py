"""The same wall traced by several surveys: the best tracing stays, the others become its sources.

Rule: a line of another survey that runs for most of its length beside a better known line, no
further off than their standard uncertainties together explain, is a repeat. Within one survey
nothing is merged, since the two faces of a wall are two lines.
"""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from wrackline.uncertainty import ErrorModel

REPEAT_SHARE = 0.8
REPEAT_SDS = 3.0
REPEAT_LIMIT_M = 0.25
"""Beyond this two lines are never one: thinner walls than twice this are rare (no source)."""


def position_sd(model: ErrorModel) -> float:
    """Return a survey's standard uncertainty of position per axis, shared shifts included [m]."""
    shifts = [part.sd for part in model.named if part.kind in ("easting", "northing")]
    named = max(shifts, default=0.0)
    return float(np.sqrt(model.random_horizontal**2 + model.patchy_horizontal**2 + named**2))


def merge_repeats(lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel]) -> gpd.GeoDataFrame:
    """Return the lines without repeats, the surveys that repeated them noted in `repeats`.

    Parameters
    ----------
    lines : GeoDataFrame
        `LINE_COLUMNS` of all surveys of a view.
    models : mapping of str to ErrorModel
        Errors by survey.

    Returns
    -------
    GeoDataFrame
        The kept lines in their former order.
    """
    sd = lines["survey"].map({name: position_sd(model) for name, model in models.items()})
    order = np.lexsort([np.arange(len(lines)), lines["survey"].to_numpy(str), sd.to_numpy()])
    kept: list[int] = []
    repeats: dict[int, set[str]] = {}
    by_survey = lines["survey"].to_numpy(str)
    for survey in dict.fromkeys(by_survey[order]):
        mine = np.flatnonzero(by_survey == survey)
        if kept:
            mine = _without_repeats(lines, mine, np.array(kept), sd.to_numpy(), repeats)
        kept.extend(int(row) for row in mine)
    rows = sorted(kept)
    merged = lines.iloc[rows].copy()
    merged["repeats"] = [";".join(sorted(repeats.get(row, ()))) for row in rows]
    return merged.reset_index(drop=True)


def _without_repeats(
    lines: gpd.GeoDataFrame,
    mine: np.ndarray,
    kept: np.ndarray,
    sd: np.ndarray,
    repeats: dict[int, set[str]],
) -> np.ndarray:
    """Return which of one survey's lines say something new; note the others at the line kept."""
    geometry = lines.geometry.to_numpy()
    tree = shapely.STRtree(geometry[kept])
    new = []
    for row in mine:
        near = kept[tree.query(geometry[row], predicate="dwithin", distance=REPEAT_LIMIT_M)]
        beside = [(_share_beside(geometry[row], geometry[k], sd[row], sd[k]), k) for k in near]
        best = max(beside, default=(0.0, -1))
        if best[0] >= REPEAT_SHARE:
            repeats.setdefault(int(best[1]), set()).add(str(lines["survey"].iloc[row]))
        elif sum(share for share, _ in beside) >= REPEAT_SHARE:
            for share, k in beside:
                if share > 0:
                    repeats.setdefault(int(k), set()).add(str(lines["survey"].iloc[row]))
        else:
            new.append(row)
    return np.array(new, dtype=int)


def _share_beside(line: shapely.Geometry, other: shapely.Geometry, sd: float, sd2: float) -> float:
    """Return the share of a line's length that runs within their joint uncertainty of another."""
    reach = min(REPEAT_SDS * float(np.hypot(sd, sd2)), REPEAT_LIMIT_M)
    if line.length == 0 or reach == 0:
        return float(line.equals(other))
    corridor = other.buffer(reach, cap_style="flat")
    along = line.intersection(corridor).length / line.length
    return float(along) if along > 0 and _runs_along(line, other, corridor) else 0.0


def _runs_along(
    line: shapely.Geometry, other: shapely.Geometry, corridor: shapely.Geometry
) -> bool:
    """Tell whether the common stretch is long beside the corridor's width, not a mere crossing."""
    width = corridor.area / max(other.length, 1e-9)
    return bool(line.intersection(corridor).length > 1.5 * width)
