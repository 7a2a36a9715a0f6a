"""What each survey of bed points is worth: against standards, against others, against itself.

An audit changes nothing. A correction reaches the record only through config, by a person.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import gammaincinv

from wrackline.accuracy.standards import COVERAGE_S44, ORDERS, tvu_max
from wrackline.model import SeaLevel
from wrackline.rasters import Grid, read_raster
from wrackline.seabed.slopes import plane_gradient
from wrackline.uncertainty import ErrorModel, model_from_dict

Array = npt.NDArray[np.float64]

LEAST_CELLS = 30
"""Cells with at least two points that a check of the stated random sd needs."""
TOO_SMALL, TOO_LARGE = 1.5, 0.5
"""Ratios of observed to stated random sd from which a note is made."""


@dataclass(frozen=True)
class Audited:
    """A survey to audit: its surface and what the stage `fit` said of its errors."""

    name: str
    surface: Path
    errors: dict[str, Any]


def audit(surveys: list[Audited], overlaps: dict[str, Any], *, level: SeaLevel) -> dict[str, Any]:
    """Return the audit of all surveys of bed points.

    Parameters
    ----------
    surveys : list of Audited
        It may be empty.
    overlaps : dict
        What `wrackline.fit.overlaps.compare_overlaps` returned.
    level : SeaLevel
        The level that depths count from.

    Returns
    -------
    dict
        ``depths_below``; ``surveys``, see `audit_survey`; ``overlaps``, with the cell of
        comparison and each pair; ``notes``, one line for whatever a person should look at.
    """
    audits = [audit_survey(survey, overlaps["pairs"], level) for survey in surveys]
    notes = [f"{one['survey']}: {note}" for one in audits for note in one["notes"]]
    for pair in overlaps["pairs"]:
        if pair["beyond_95"]:
            notes.append(
                f"{pair['newer']} lies {pair['median_m']:+.3f} m (median) from {pair['older']}, "
                f"more than their errors explain (1.96 sd is {1.96 * pair['sd_m']:.3f} m)"
            )
    return {"depths_below": level.name, "surveys": audits, "overlaps": overlaps, "notes": notes}


def audit_survey(survey: Audited, pairs: list[dict[str, Any]], level: SeaLevel) -> dict[str, Any]:
    """Return the audit of one survey.

    Parameters
    ----------
    survey : Audited
    pairs : list of dict
        All compared pairs.
    level : SeaLevel
        The level that depths count from.

    Returns
    -------
    dict
        ``survey``, ``cells`` (measured), ``filled_cells``, ``depth_m`` (median), ``sd_m``
        (median), ``u95_m``, ``s44`` (see `against_s44`), ``compared_with``, ``random``
        (see `check_random`), ``notes``.
    """
    grid, bands = read_raster(survey.surface)
    measured = bands["filled"] == 0
    depth, sd = level.height_m - bands["height"][measured], bands["sd"][measured]
    random = check_random(grid, bands, model_from_dict(survey.errors["model"]))
    compared = [pair for pair in pairs if survey.name in (pair["newer"], pair["older"])]
    return {
        "survey": survey.name,
        "cells": int(measured.sum()),
        "filled_cells": int((bands["filled"] == 1).sum()),
        "depth_m": float(np.median(depth)),
        "sd_m": float(np.median(sd)),
        "u95_m": COVERAGE_S44 * float(np.median(sd)),
        "s44": against_s44(depth, sd),
        "compared_with": [
            pair["older"] if pair["newer"] == survey.name else pair["newer"] for pair in compared
        ],
        "random": random,
        "notes": [*survey.errors["notes"], *([random["note"]] if random["note"] else [])],
    }


def against_s44(depth: Array, sd: Array) -> list[dict[str, Any]]:
    """Return, by order, what S-44 allows and whether it is kept.

    Parameters
    ----------
    depth, sd : array, shape (n,)
        Depth and its total sd, cell by cell [m].

    Returns
    -------
    list of dict
        ``order``, ``tvu_max_m`` at the median depth, ``share``: part of the cells whose 1.96 sd
        doesn't exceed the limit at their depth, ``kept``: whether 95 % of the cells do so.
    """
    table = []
    for order in ORDERS:
        share = float((sd * COVERAGE_S44 <= tvu_max(depth, order) * (1 + 1e-9)).mean())
        table.append(
            {
                "order": order,
                "tvu_max_m": float(tvu_max(np.median(depth), order)),
                "share": share,
                "kept": share >= 0.95,
            }
        )
    return table


def check_random(grid: Grid, bands: dict[str, Array], model: ErrorModel) -> dict[str, Any]:
    """Compare the spread within cells with the stated random error.

    Parameters
    ----------
    grid : Grid
    bands : dict of str to array
        Of one survey's surface.
    model : ErrorModel
        The errors stated for it.

    Returns
    -------
    dict
        ``cells`` with at least two points; ``ratio`` of observed to expected sd within a cell,
        slope included: the median over cells of s² / σ², each over the median of its own
        chi-square distribution, so that single walls and stones don't count; None with a
        ``note`` below 30 cells. A ratio from 1.5 or down to 0.5 gives a note as well.
    """
    several = (bands["filled"] == 0) & (bands["count"] > 1)
    cells = int(several.sum())
    if cells < LEAST_CELLS:
        note = f"{cells} cells with two or more points: too few to check the random sd"
        return {"cells": cells, "ratio": None, "note": note}
    east, north = plane_gradient(bands["height"], grid.cell_m)
    steep = (east**2 + north**2)[several]
    expected = model.random_vertical**2 + steep * (model.random_horizontal**2 + grid.cell_m**2 / 12)
    freedom = bands["count"][several] - 1
    middle = 2 * gammaincinv(freedom / 2, 0.5) / freedom
    if not expected.min() > 0:
        return {"cells": cells, "ratio": None, "note": "no random sd is stated"}
    ratio = float(np.sqrt(np.median(bands["spread"][several] ** 2 / expected / middle)))
    return {"cells": cells, "ratio": ratio, "note": _ratio_note(ratio)}


def _ratio_note(ratio: float) -> str:
    if ratio >= TOO_SMALL:
        return (
            f"soundings scatter {ratio:.1f} times as much as the stated random sd: it is too "
            "small, or the ground is rough within a cell"
        )
    if ratio <= TOO_LARGE:
        return (
            f"soundings scatter only {ratio:.1f} times the stated random sd: it is too large, "
            "or the file was smoothed"
        )
    return ""
