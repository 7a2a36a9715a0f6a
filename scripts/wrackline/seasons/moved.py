"""Which figures moved from one season's plan to the next, held against their own uncertainty."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd

from wrackline import contract
from wrackline.numbers import NUMBERED

TURN_DEG = {"room": 90.0, "building": 90.0}
"""An area that is about square may have either side as its axis; lines come round at 180."""


def measured_fields(layer: str) -> list[tuple[str, str]]:
    """Return a layer's figures, each with the field of its standard uncertainty.

    Examples
    --------
    >>> measured_fields("openings")
    [('width_m', 'width_sd_m')]
    """
    names = list(contract.columns(layer))
    pairs = []
    for name in names:
        stem, _, unit = name.rpartition("_")
        if f"{stem}_sd_{unit}" in names:
            pairs.append((name, f"{stem}_sd_{unit}"))
    return pairs


def moved(
    before: Mapping[str, gpd.GeoDataFrame] | None, now: Mapping[str, gpd.GeoDataFrame]
) -> pd.DataFrame:
    """Return the figures of things on both plans that moved by more than they were known.

    Parameters
    ----------
    before, now : mapping of str to GeoDataFrame
        Two seasons' numbered plans; None where there is no earlier one.

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["figures_moved"]`, what moved most in its sds first. A figure
        moved where it differs by more than one sd of the figure before. Figures of two plans share
        surveys, so nothing is said of how likely that is by chance.
    """
    parts = [_layer(layer, before, now) for layer in NUMBERED] if before is not None else []
    columns = list(contract.table_columns("figures_moved"))
    if not parts:
        return pd.DataFrame(columns=columns)
    table = pd.concat(parts, ignore_index=True)
    by = ["times_sd", "what", "number", "figure"]
    table = table.sort_values(by, ascending=[False, True, True, True], kind="stable")
    return table[columns].reset_index(drop=True)


def _layer(
    layer: str, before: Mapping[str, gpd.GeoDataFrame], now: Mapping[str, gpd.GeoDataFrame]
) -> pd.DataFrame:
    field = NUMBERED[layer][0]
    both = pd.DataFrame(before[layer].drop(columns="geometry")).merge(
        pd.DataFrame(now[layer].drop(columns="geometry")), on=field, suffixes=("_before", "_now")
    )
    parts = [_figure(both, field, name, sd_name) for name, sd_name in measured_fields(layer)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


def _figure(both: pd.DataFrame, what: str, name: str, sd_name: str) -> pd.DataFrame:
    """Return the rows in which one figure moved by more than its sd before."""
    was, is_ = (both[f"{name}_{when}"].to_numpy(float) for when in ("before", "now"))
    sd, sd_now = (both[f"{sd_name}_{when}"].to_numpy(float) for when in ("before", "now"))
    by = is_ - was
    if name.startswith("axis"):
        turn = TURN_DEG.get(what, 180.0)
        by = (by + turn / 2) % turn - turn / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        times = np.abs(by) / sd
    row = np.flatnonzero(np.isfinite(times) & (times > 1))
    return pd.DataFrame(
        {
            "what": what,
            "number": both[what].to_numpy(object)[row],
            "figure": name,
            "before": was[row],
            "before_sd": sd[row],
            "now": is_[row],
            "now_sd": sd_now[row],
            "moved_by": by[row],
            "times_sd": times[row],
        }
    )


def compared(
    before: Mapping[str, gpd.GeoDataFrame] | None, now: Mapping[str, gpd.GeoDataFrame]
) -> tuple[int, int]:
    """Return how many figures stand on both plans, and how many are there for the first time."""
    if before is None:
        return 0, 0
    common = fresh = 0
    for layer, (field, _) in NUMBERED.items():
        was, is_ = (table[layer].set_index(field) for table in (before, now))
        same = is_.index.intersection(was.index)
        for name, _ in measured_fields(layer):
            there = is_.loc[same, name].notna()
            known = was.loc[same, name].notna()
            common += int((there & known).sum())
            fresh += int((there & ~known).sum())
    return common, fresh
