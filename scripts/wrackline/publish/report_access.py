"""What the report says of ways into and through buildings, in the words of people who dig them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from wrackline.publish.report_text import absent, counted, percent

Record = Mapping[str, Any]


def ways_through(rooms: Sequence[Record]) -> str:
    """Return what is known of a building's doors, and which rooms lie deepest in it.

    Parameters
    ----------
    rooms : sequence of mapping
        Rows of the table `access` of one building.

    Examples
    --------
    >>> row = {"openings_seen": 1, "openings_possible": 1, "outlines": 2, "room": "R1"}
    >>> known = {"steps_from_outside_low": 2, "steps_from_outside_high": 2, "null_because": ""}
    >>> ways_through([row | known])
    '1 door seen, 1 opening possible: 2 plausible outlines; deepest in: R1, 2 doors from outside'
    """
    if not rooms or absent(rooms[0]["outlines"]):
        return ""
    first = rooms[0]
    seen, possible = (int(first[f"openings_{what}"]) for what in ("seen", "possible"))
    words = f"{counted(seen, 'door')} seen, {counted(possible, 'opening')} possible"
    reached = [row for row in rooms if not absent(row["steps_from_outside_low"])]
    if not reached:
        why = str(first["null_because"]).removeprefix("all: ")
        return f"{words}; too little to tell how rooms were reached ({why})"
    words += f": {counted(int(first['outlines']), 'plausible outline')}"
    ends = "steps_from_outside_high", "steps_from_outside_low"
    most = max(tuple(int(row[end]) for end in ends) for row in reached)
    names = [row["room"] for row in reached if tuple(int(row[end]) for end in ends) == most]
    if len(names) == len(rooms) > 1:
        return f"{words}; all rooms lie {_doors(most[1], most[0])} from outside"
    return f"{words}; deepest in: {', '.join(names)}, {_doors(most[1], most[0])} from outside"


def way_in(row: Record) -> str:
    """Return how a room was reached and what it led on to; nothing where that can't be told.

    Parameters
    ----------
    row : mapping
        Row of the table `access`; may be empty.
    """
    if not row or absent(row["reached_share"]):
        return ""
    if not row["reached_share"] > 0:
        return "no known opening leads here from outside"
    steps = (int(row[f"steps_from_outside_{end}"]) for end in ("low", "high"))
    words = [f"{_doors(*steps)} from outside"]
    share = row["dead_end_share"]
    told = {0.0: "a way through", 1.0: "a dead end"}
    words.append(told.get(share, f"a dead end in {percent(share)} of the plausible outlines"))
    least, most = (int(row[f"rooms_behind_{end}"]) for end in ("low", "high"))
    if most:
        words.append(f"{_span(least, most)} {'room' if most == 1 else 'rooms'} only through it")
    if row["reached_share"] < 1:
        words.append(f"entered in {percent(row['reached_share'])} of the plausible outlines")
    return "; ".join(words)


def _doors(least: int, most: int) -> str:
    return f"{_span(least, most)} {'door' if most == 1 else 'doors'}"


def _span(least: int, most: int) -> str:
    """Return a range of counts.

    >>> _span(1, 3), _span(2, 2)
    ('1 to 3', '2')
    """
    return str(least) if least == most else f"{least} to {most}"
