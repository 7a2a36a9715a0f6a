"""Audits as tables: what is in the JSON between stages, one row a thing, units in the names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from wrackline.seasons.events import EVENT_COLUMNS

ACCURACY = (
    *("survey", "cells", "filled_cells", "depth_m", "sd_m", "u95_m"),
    *("matrix_a_m", "matrix_b", "matrix_cell"),
    *("feature_m", "feature_cell", "feature_null_because"),
)
OVERLAPS = (
    *("newer", "older", "cells", "mean_m", "median_m", "nmad_m", "sd_m", "sd_random_m"),
    *("sd_patchy_m", "sd_named_m", "beyond_95", "offset_m", "offset_sd_m"),
    *("tilt_east_mm_per_m", "tilt_east_sd_mm_per_m"),
    *("tilt_north_mm_per_m", "tilt_north_sd_mm_per_m", "tilt_null_because"),
    *("kept_share", "correction"),
)
ACCURACY_PAIRS = {"depth_m": "sd_m"}
OVERLAP_PAIRS = {
    "mean_m": "sd_m",
    "median_m": "sd_m",
}
"""Figures and the columns of their standard uncertainties, where the names don't say so."""

SUSPICIONS = (
    *("survey", "file", "row", "kind", "found", "allowed", "consequence", "remedy"),
    *("easting", "northing", "depth_m", "accepted"),
)


def accuracy_table(audit: Mapping[str, Any]) -> pd.DataFrame:
    """Return one row a survey: cells, median depth and sd, and what S-44 says of it.

    That is the finest cells of the specification matrix that it meets, the least thing that it
    could show, and the orders that it keeps. The composite surface comes last.

    The total vertical uncertainty says nothing of what a survey would have missed: even the
    strictest order passes one that can't show a wall of one course.
    """
    rows = []
    for one in audited(audit):
        row = {name: one[name] for name in ACCURACY}
        for order in one["s44"]:
            row[f"s44_{order['order']}_limit_m"] = order["tvu_max_m"]
            row[f"s44_{order['order']}_kept"] = order["kept"]
        rows.append({**row, "notes": "; ".join(one["notes"])})
    return pd.DataFrame(rows, columns=None if rows else [*ACCURACY, "notes"])


def audited(audit: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the audits of all surveys, and of the composite surface where there is one."""
    composite = audit.get("composite")
    return [*audit["surveys"], *([composite] if composite else [])]


def overlap_table(overlaps: Mapping[str, Any]) -> pd.DataFrame:
    """Return one row a pair of surveys: newer minus older, estimated and not applied."""
    return pd.DataFrame(overlaps["pairs"], columns=list(OVERLAPS))


def suspicion_table(report: Mapping[str, Any]) -> pd.DataFrame:
    """Return one row a suspicion that the run went on with, those that people accept included."""
    rows = []
    for accepted, part in ((False, "suspicions"), (True, "accepted")):
        for doubt in report[part]:
            easting, northing = doubt["place"] or (None, None)
            rows.append({**doubt, "easting": easting, "northing": northing, "accepted": accepted})
    return pd.DataFrame(rows, columns=list(SUSPICIONS))


DECISIONS = (
    *("decision", "easting", "northing", "to_easting", "to_northing"),
    *("who", "date", "why", "outcome", "because"),
)


def decision_table(team: Mapping[str, Any]) -> pd.DataFrame:
    """Return the team's decisions about the plan, and what became of each.

    Parameters
    ----------
    team : mapping
        Content of a view's `team.json`.
    """
    return pd.DataFrame(team["decisions"], columns=list(DECISIONS))


def change_table(seasons: Mapping[str, Sequence[Mapping[str, Any]]]) -> pd.DataFrame:
    """Return one row a change of the plan: the events of all seasons in order.

    Parameters
    ----------
    seasons : mapping of str to sequence of mapping
        Events of each season, `seasons.events.EVENT_COLUMNS`.
    """
    rows = [row for events in seasons.values() for row in events]
    return pd.DataFrame(rows, columns=list(EVENT_COLUMNS))
