"""Rooms that were lost, buried, overgrown or uncovered, by what the seasons saw of their walls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

SEEN, BURIED, LOST, OVERGROWN = "seen", "buried", "lost", "overgrown"
LOOKED_FOR = (SEEN, BURIED, LOST, OVERGROWN)
"""Statuses of a wall that a season looked for and could have seen."""
UNCOVERED, SEEN_AGAIN = "uncovered", "seen again"
MOST = 0.5
"""A room is what at least this much of its recorded outline is (no source)."""


@dataclass(frozen=True)
class RoomStates:
    """State of each room that was ever looked for, and what changed with a season.

    Attributes
    ----------
    states : dict of str to str
        Room -> seen, buried, lost or overgrown, as last told.
    since : dict of str to str
        Room -> the season since which it is so.
    events : list of dict
        `events.EVENT_COLUMNS`: ``lost``, ``buried``, ``overgrown``, ``uncovered`` (buried or
        overgrown before), ``seen again`` (lost before).
    """

    states: dict[str, str]
    since: dict[str, str]
    events: list[dict[str, Any]]

    def as_record(self) -> dict[str, Any]:
        """Return it JSON-ready; `from_record` reads it back."""
        return {"states": self.states, "since": self.since, "events": self.events}


def from_record(record: Mapping[str, Any] | None) -> RoomStates:
    """Return what `RoomStates.as_record` wrote; of nothing, nothing known."""
    if record is None:
        return RoomStates({}, {}, [])
    return RoomStates(dict(record["states"]), dict(record["since"]), list(record["events"]))


def room_states(
    rooms: gpd.GeoDataFrame, outlines: pd.DataFrame, before: RoomStates, season: str
) -> RoomStates:
    """Return the state of each room after a season, and what changed.

    Parameters
    ----------
    rooms : GeoDataFrame
        The season's numbered rooms.
    outlines : DataFrame
        ``room``, ``status``, ``length_m``: how much of each room's recorded outline has which
        status as last known, see `outlines.outline_states` and `condition.last_known`.
    before : RoomStates
        After the season before.
    season : str

    Returns
    -------
    RoomStates
        A room of whose recorded outline less than half is known has no state.
    """
    lengths = outlines.pivot_table(
        index="room", columns="status", values="length_m", aggfunc="sum", fill_value=0.0
    )
    states, since = dict(before.states), dict(before.since)
    events = []
    for room in sorted(set(rooms["room"]) & set(lengths.index)):
        told = _state(lengths.loc[room])
        if told is None:
            continue
        was, state = before.states.get(room), told[0]
        states[room] = state
        since[room] = before.since[room] if state == was else season
        event = _event(was, state)
        if event:
            last = f", {was} since {before.since[room]}" if was else ""
            why = f"{told[1]:.0%} of its recorded outline {state}{last}; a suggestion"
            events.append(_row(season, event, room, told[1], why))
    return RoomStates(states, since, events)


def _state(lengths: pd.Series) -> tuple[str, float] | None:
    """Return what most of a room's outline is and its share; None where too little was sought."""
    whole = float(lengths.sum())
    shares = {status: float(lengths.get(status, 0.0)) / whole for status in LOOKED_FOR}
    if sum(shares.values()) < MOST:
        return None
    for status in (LOST, BURIED, OVERGROWN):
        if shares[status] >= MOST:
            return status, shares[status]
    return SEEN, shares[SEEN]


def _event(was: str | None, state: str) -> str:
    """Return what to call a change of state; nothing where there is none to tell."""
    if state == SEEN:
        return {BURIED: UNCOVERED, OVERGROWN: UNCOVERED, LOST: SEEN_AGAIN}.get(was or "", "")
    return state if state != was else ""


def _row(season: str, event: str, room: str, share: float, why: str) -> dict[str, Any]:
    return {
        "season": season,
        "what": "room",
        "event": event,
        "number": room,
        "parents": room,
        "children": room,
        "share": float(np.round(share, 4)),
        "why": why,
    }


def lost_rooms(events: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the rooms that a season suggests are lost."""
    return [str(event["number"]) for event in events if event["event"] == LOST]
