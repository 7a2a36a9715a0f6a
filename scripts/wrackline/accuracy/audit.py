"""What each survey of bed points is worth: against standards, against others, against itself.

An audit changes nothing. A correction reaches the record only through config, by a person.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import gammaincinv

from wrackline.accuracy.standards import feature_shown
from wrackline.accuracy.tally import Steps, Tally
from wrackline.model import SeaLevel
from wrackline.rasters import Grid, RasterReader
from wrackline.seabed.slopes import SLOPE_MARGIN, SlopeSums, plane_gradient
from wrackline.uncertainty import ErrorModel, model_from_dict

Array = npt.NDArray[np.float64]

LEAST_CELLS = 30
"""Cells with at least two points that a check of the stated random sd needs."""
COMPOSITE = "composite"
INNER = slice(SLOPE_MARGIN, -SLOPE_MARGIN), slice(SLOPE_MARGIN, -SLOPE_MARGIN)
RATIO_STEPS, LEAST_RATIO = 256, 1e-12
"""Ratios of spread are counted in so many steps a doubling."""
TOO_SMALL, TOO_LARGE = 1.5, 0.5
"""Ratios of observed to stated random sd from which a note is made."""


@dataclass(frozen=True)
class Audited:
    """A survey to audit: its surface and what the stage `fit` said of its errors.

    `resolution_m` is the least thing that it would have shown, None where that isn't stated.
    """

    name: str
    surface: Path
    errors: dict[str, Any]
    resolution_m: float | None = None


@dataclass(frozen=True)
class Composite:
    """The composite surface: its raster, and its surveys in the order of the source band."""

    surface: Path
    sources: Sequence[str]


def audit(
    surveys: list[Audited],
    overlaps: dict[str, Any],
    *,
    level: SeaLevel,
    composite: Composite | None = None,
) -> dict[str, Any]:
    """Return the audit of all surveys of bed points.

    Parameters
    ----------
    surveys : list of Audited
        It may be empty.
    overlaps : dict
        What `wrackline.fit.overlaps.compare_overlaps` returned.
    level : SeaLevel
        The level that depths count from.
    composite : Composite, optional

    Returns
    -------
    dict
        ``depths_below``; ``surveys``, see `audit_survey`; ``composite``, see `audit_composite`,
        None where there is none; ``overlaps``, with the cell of comparison and each pair;
        ``notes``, one line for whatever a person should look at.
    """
    audits = [audit_survey(survey, overlaps["pairs"], level) for survey in surveys]
    notes = [f"{one['survey']}: {note}" for one in audits for note in one["notes"]]
    for pair in overlaps["pairs"]:
        if pair["beyond_95"]:
            notes.append(
                f"{pair['newer']} lies {pair['median_m']:+.3f} m (median) from {pair['older']}, "
                f"more than their errors explain (1.96 sd is {1.96 * pair['sd_m']:.3f} m)"
            )
    shown = {survey.name: survey.resolution_m for survey in surveys}
    return {
        "depths_below": level.name,
        "surveys": audits,
        "composite": composite and audit_composite(composite, shown, level),
        "overlaps": overlaps,
        "notes": notes,
    }


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
        ``survey``, ``filled_cells``, those of `wrackline.accuracy.tally.Tally.figures` over the
        measured cells, those of `feature_shown`, ``compared_with``, ``random`` (see
        `check_random`), ``notes``.
    """
    tally, filled = Tally(), 0
    with RasterReader(survey.surface) as raster:
        for strip in raster.grid.strips():
            bands = raster.read(strip, ("height", "sd", "filled"))
            measured = bands["filled"] == 0
            filled += int((bands["filled"] == 1).sum())
            tally.add(level.height_m - bands["height"][measured], bands["sd"][measured])
        random = check_random(raster, model_from_dict(survey.errors["model"]))
        cell_m = raster.grid.cell_m
    compared = [pair for pair in pairs if survey.name in (pair["newer"], pair["older"])]
    return {
        "survey": survey.name,
        "filled_cells": filled,
        **tally.figures(),
        **feature_shown(survey.resolution_m, cell_m),
        "compared_with": [
            pair["older"] if pair["newer"] == survey.name else pair["newer"] for pair in compared
        ],
        "random": random,
        "notes": [*survey.errors["notes"], *([random["note"]] if random["note"] else [])],
    }


def audit_composite(
    composite: Composite, shown: Mapping[str, float | None], level: SeaLevel
) -> dict[str, Any]:
    """Return how the composite surface stands, its filled cells included.

    Parameters
    ----------
    composite : Composite
    shown : mapping of str to float or None
        Least thing that each survey would have shown [m].
    level : SeaLevel
        The level that depths count from.

    Returns
    -------
    dict
        As `audit_survey` returns it, without ``random`` and ``compared_with``. Its
        ``feature_m`` is that of the coarsest survey that it has cells of.
    """
    tally, filled, used = Tally(), 0, np.zeros(len(composite.sources), dtype=np.int64)
    with RasterReader(composite.surface) as raster:
        for strip in raster.grid.strips():
            bands = raster.read(strip, ("height", "sd", "filled", "source"))
            known = np.isfinite(bands["height"])
            filled += int((bands["filled"] == 1).sum())
            used += np.bincount(bands["source"][known].astype(np.int64), minlength=len(used))
            tally.add(level.height_m - bands["height"][known], bands["sd"][known])
        cell_m = raster.grid.cell_m
    sizes = {name: shown.get(name) for name, n in zip(composite.sources, used, strict=True) if n}
    unstated = [name for name, size in sizes.items() if size is None]
    coarsest = None if unstated else max((s for s in sizes.values() if s is not None), default=None)
    return {
        "survey": COMPOSITE,
        "filled_cells": filled,
        **tally.figures(),
        **feature_shown(coarsest, cell_m, unstated=", ".join(unstated)),
        "notes": [],
    }


def against_s44(depth: Array, sd: Array) -> list[dict[str, Any]]:
    """Return, by order, what S-44 allows and whether it is kept, see `Tally.orders`.

    Parameters
    ----------
    depth, sd : array, shape (n,)
        Depth and its total sd, cell by cell [m].
    """
    tally = Tally()
    tally.add(depth, sd)
    return tally.orders()


def check_random(raster: RasterReader, model: ErrorModel) -> dict[str, Any]:
    """Compare the spread within cells with the stated random error.

    Parameters
    ----------
    raster : RasterReader
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
    cells, stated, ratios = 0, True, Steps(1 / RATIO_STEPS)
    lone_slope = _lone_slope(raster)
    for strip in raster.grid.strips():
        several, expected, bands = _expected_squares(raster, strip, model, lone_slope)
        cells += int(several.sum())
        stated &= bool((expected > 0).all())
        if stated and several.any():
            freedom = bands["count"][several] - 1
            middle = 2 * gammaincinv(freedom / 2, 0.5) / freedom
            square = bands["spread"][several] ** 2 / expected / middle
            ratios.add(np.log2(np.maximum(square, LEAST_RATIO)) / 2)
    if cells < LEAST_CELLS:
        note = f"{cells} cells with two or more points: too few to check the random sd"
        return {"cells": cells, "ratio": None, "note": note}
    if not stated:
        return {"cells": cells, "ratio": None, "note": "no random sd is stated"}
    ratio = float(2 ** ratios.median())
    return {"cells": cells, "ratio": ratio, "note": _ratio_note(ratio)}


def _lone_slope(raster: RasterReader) -> float:
    """Return the root mean square slope of a surface, for cells that have no neighbours."""
    sums = SlopeSums()
    for strip in raster.grid.strips():
        height = raster.read(strip.grown(SLOPE_MARGIN), ("height",))["height"]
        gradient = plane_gradient(height, raster.grid.cell_m, lone_slope=np.nan)
        sums.add(*(part[INNER] for part in gradient))
    return sums.lone_slope()


def _expected_squares(
    raster: RasterReader, strip: Grid, model: ErrorModel, lone_slope: float
) -> tuple[npt.NDArray[np.bool_], Array, dict[str, Array]]:
    """Return which cells have several points, their expected σ² [m²], and the strip's bands."""
    wide = raster.read(strip.grown(SLOPE_MARGIN), ("height", "count", "spread", "filled"))
    east, north = plane_gradient(wide["height"], raster.grid.cell_m, lone_slope=lone_slope)
    bands = {name: values[INNER] for name, values in wide.items()}
    several = (bands["filled"] == 0) & (bands["count"] > 1)
    steep = (east**2 + north**2)[INNER][several]
    position = model.random_horizontal**2 + raster.grid.cell_m**2 / 12
    return several, model.random_vertical**2 + steep * position, bands


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
