"""Phases on drawings: what stood in the last of them, and the words that say so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd

UNPHASED = (
    "No phases of walls are given: all that was recorded is taken to have stood at one time, so a "
    "wall of another time may cut a room."
)


def as_last_stood(
    plan: Mapping[str, gpd.GeoDataFrame], phases: Sequence[str]
) -> dict[str, gpd.GeoDataFrame]:
    """Return a plan to be drawn: without rooms and closings of earlier phases.

    Walls recorded stay, whenever they stood: they were seen.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Layers of the contract.
    phases : sequence of str
        Names of the phases, the earliest first.
    """
    drawn = dict(plan)
    rooms, lines = plan["rooms"], plan["wall_lines"]
    gone = rooms["phase_to"].notna() & (rooms["phase_to"] != phases[-1])
    drawn["rooms"] = rooms[~gone]
    gone = lines["phase_to"].notna() & (lines["phase_to"] != phases[-1])
    drawn["wall_lines"] = lines[~(gone & (lines["evidence"] == "inferred"))]
    return drawn


def phase_words(phases: Sequence[str]) -> str:
    """Return which phase a drawing shows.

    >>> phase_words(["early", "late"])
    'Rooms as they stood in the last phase, late; those of earlier phases are in the tables.'
    """
    if len(phases) < 2:
        return UNPHASED
    return (
        f"Rooms as they stood in the last phase, {phases[-1]}; "
        "those of earlier phases are in the tables."
    )
