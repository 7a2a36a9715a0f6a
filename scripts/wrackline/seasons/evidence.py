"""Bits with one word made stretches of wall, each with its figures and its evidence in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.ops import substring

from wrackline import contract, vectors
from wrackline.numbers import joined
from wrackline.quantities import measured
from wrackline.seasons import judging
from wrackline.seasons.bits import Array, Bits, Ints
from wrackline.seasons.judging import BURIED, LOST, OVERGROWN, SEEN, STATUSES, UNSOUGHT, Heights
from wrackline.seasons.standing import WINDOW_M

if TYPE_CHECKING:
    from wrackline.seasons.sightings import Told

WHY = {
    judging.COARSE: "{survey} shows nothing smaller than {least:g} m",
    judging.UNSTATED: "{survey} doesn't state the least thing that it would have shown",
    judging.NO_TOP: "no height of the wall's top was recorded, so heights tell no loss from burial",
    judging.FEW: "{survey} measured too few cells over and beside it",
    judging.ASIDE: "{survey} shows no wall, but soundings over it were set aside",
    judging.EVEN: "its recorded top and the bed lie within their sd of each other",
    judging.UNCLEAR: "the surface of {survey} doesn't decide",
    judging.SHORT: "{survey} decides over too short a stretch to say more",
    judging.DIM: "{survey} didn't trace it, but states no visibility of a metre or more",
    judging.PLANTS_UNSTATED: "{survey} didn't trace it, but doesn't state its plants",
    judging.PLANTS_THERE: "{survey} didn't trace it, but plants grow there",
    judging.NO_BED: "{survey} looked and didn't trace it; with no height of its top and of this "
    "season's bed, loss can't be told from burial",
    judging.NEAR_LINE: "{survey} looked and traced another line so near that it may be this wall",
    judging.NO_REASON: "{survey} looked there",
}
"""Why a wall that was looked for could not be seen."""


def stretch_rows(
    walls: gpd.GeoDataFrame, bits: Bits, told: Told, heights: Sequence[Heights], season: str
) -> gpd.GeoDataFrame:
    """Return one row a stretch of wall of one status and one witness.

    Parameters
    ----------
    walls : GeoDataFrame
        The contract's `wall_lines` that the bits are of.
    bits : Bits
    told : Told
        What the season says of them.
    heights : sequence of Heights
        What its surfaces say of them.
    season : str

    Returns
    -------
    GeoDataFrame
        Fields of the contract's layer `sightings`.
    """
    key = pd.MultiIndex.from_arrays([bits.wall, told.status, told.witness, told.reason])
    code = pd.factorize(key)[0]
    edges = np.flatnonzero(np.diff(code) != 0) + 1
    runs = [run for run in np.split(np.arange(len(bits)), edges) if len(run)]
    lines = shapely.force_2d(walls.geometry.to_numpy())
    scale = walls["length_m"].to_numpy(float) / np.maximum(shapely.length(lines), 1e-9)
    numbers = walls["wall"].to_numpy(object)
    rows = []
    for run in runs:
        wall = bits.wall[run[0]]
        start, end = bits.along[run[0], 0], bits.along[run[-1], 1]
        rows.append(
            {
                "wall": str(numbers[wall]),
                "season": season,
                "status": STATUSES[told.status[run[0]]],
                "length_m": float((end - start) * scale[wall]),
                **_told_of(run, bits, told, heights),
                "geometry": substring(lines[wall], start, end),
            }
        )
    if not rows:
        return vectors.empty(contract.columns("sightings"), walls.crs)
    return gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs=walls.crs)


def _told_of(run: Ints, bits: Bits, told: Told, heights: Sequence[Heights]) -> dict[str, Any]:
    """Return figures and evidence of a stretch."""
    status, witness = int(told.status[run[0]]), str(told.witness[run[0]])
    reading = _reading(run, witness, heights)
    figures, why = _figures(run, bits, status, reading)
    lines = sorted({str(name) for name in told.traced_by[run] if name})
    words = _words(run, told, reading, lines)
    surveys = [witness, *(name.split("/")[0] for name in lines)]
    if reading is not None and any(figures[name] is not None for name in FIGURES):
        surveys.append(reading.survey)
    return {
        **figures,
        "surveys": joined(filter(None, surveys)),
        "evidence": "; ".join(words),
        "null_because": why,
    }


FIGURES = ("exposure_m", "cover_m", "loss_m")


def _reading(run: Ints, witness: str, heights: Sequence[Heights]) -> Heights | None:
    """Return the surface that tells most of a stretch: the witness's own, else the surest."""
    useful = [h for h in heights if np.isfinite(h.standing.bed[run]).any()]
    own = [h for h in useful if h.survey == witness]
    if own or not useful:
        return own[0] if own else None
    return min(useful, key=lambda h: float(np.nanmean(h.standing.exposure_sd[run])))


def _figures(
    run: Ints, bits: Bits, status: int, reading: Heights | None
) -> tuple[dict[str, Any], str]:
    """Return exposure, cover and loss of a stretch with their sds, and why some are empty."""
    figures: dict[str, Any] = {}
    for name in FIGURES:
        figures |= {name: None, f"{name.removesuffix('_m')}_sd_m": None}
    if reading is None:
        return figures, "exposure_m, cover_m, loss_m: no heights of the bed there this season"
    length = float(bits.length[run].sum())
    standing, why = reading.standing, []
    if status in (SEEN, LOST):
        _put(figures, "exposure_m", standing.exposure[run], standing.exposure_sd[run], 0.0, length)
        own = np.hypot(standing.bed_sd[run], standing.exposure_sd[run])
        _put(figures, "loss_m", reading.missing[run], own, reading.common_sd[run], length)
        why.append("cover_m: not buried")
    elif status == BURIED:
        cover, common = -reading.proud[run], reading.common_sd[run]
        _put(figures, "cover_m", cover, standing.bed_sd[run], common, length)
        why.append("exposure_m, loss_m: buried")
    else:
        why.append(f"exposure_m, cover_m, loss_m: {STATUSES[status]}")
    if status in (SEEN, LOST) and figures["loss_m"] is None:
        why.append("loss_m: no height of the wall's top was recorded")
    return figures, "; ".join(why)


def _put(
    figures: dict[str, Any],
    name: str,
    values: Array,
    own: Array,
    common: Array | float,
    length: float,
) -> None:
    """Put a stretch's mean into its figures: `own` errors shrink along it, `common` ones don't."""
    known = np.isfinite(values) & np.isfinite(own)
    if not known.any():
        return
    shared = np.broadcast_to(common, values.shape)[known]
    shrunk = (own[known] ** 2).mean() / max(1.0, length / WINDOW_M)
    figures[name] = float(values[known].mean())
    sd = float(np.sqrt(shrunk + (shared**2).mean()))
    figures[f"{name.removesuffix('_m')}_sd_m"] = sd


def _words(run: Ints, told: Told, reading: Heights | None, lines: list[str]) -> list[str]:
    """Return the evidence on a stretch, in words and figures."""
    status, reason = int(told.status[run[0]]), int(told.reason[run[0]])
    witness = str(told.witness[run[0]])
    if status == SEEN:
        return _seen_words(run, reading, lines)
    if status == OVERGROWN:
        return [f"plants over {100 * np.nanmax(told.plants[run]):.0f} % of the ground there"]
    if status == UNSOUGHT:
        return ["no survey of the season looked for it there"]
    if status in (LOST, BURIED) and reading is not None:
        return _gone_words(run, status, witness, reading)
    least = np.nan if reading is None else reading.resolution_m
    return [WHY[reason].format(survey=witness, least=least)]


def _seen_words(run: Ints, reading: Heights | None, lines: list[str]) -> list[str]:
    words = [f"traced: {', '.join(lines[:3])}{' and more' if len(lines) > 3 else ''}"] * bool(lines)
    if reading is not None and np.isfinite(reading.standing.exposure[run]).any():
        e, sd = (
            float(np.nanmean(part[run]))
            for part in (reading.standing.exposure, reading.standing.exposure_sd)
        )
        words.append(f"stands {measured(e, sd, 'm')} above the bed beside it in {reading.survey}")
    return words


def _gone_words(run: Ints, status: int, witness: str, reading: Heights) -> list[str]:
    proud, sd = float(np.nanmean(reading.proud[run])), float(np.nanmean(reading.proud_sd[run]))
    if status == BURIED:
        above = measured(-proud, sd, "m")
        return [f"the bed in {reading.survey} lies {above} above the wall's recorded top"]
    words = [f"{measured(proud, sd, 'm')} of it would stand above the bed in {reading.survey}"]
    e = reading.standing.exposure[run]
    if np.isfinite(e).any():
        shown = measured(
            float(np.nanmean(e)), float(np.nanmean(reading.standing.exposure_sd[run])), "m"
        )
        words.append(f"the surface shows {shown}")
    if witness != reading.survey:
        words.append(f"{witness} looked there and didn't trace it")
    return [*words, "suggested: lost"]
