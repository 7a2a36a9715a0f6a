"""Old numbers and new: what became of every number ever given, by the record and by others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline import contract
from wrackline.model import GivenNumber
from wrackline.numbers import NUMBERED, joined
from wrackline.seasons.freezing import WHAT_OF

PASSES_ON = ("split", "merged", "redrawn", "renumbered")
STANDS, NOWHERE, GONE = "stands", "nothing there", "gone"


def concordance(
    things: gpd.GeoDataFrame,
    events: Sequence[Mapping[str, Any]],
    given: Sequence[GivenNumber],
    plan: Mapping[str, gpd.GeoDataFrame],
) -> pd.DataFrame:
    """Return every number ever given and what bears it, or came of it, on the plan as now known.

    Parameters
    ----------
    things : GeoDataFrame
        All that was ever numbered, `carry.THING_COLUMNS`.
    events : sequence of mapping
        Events of all seasons in order, `events.EVENT_COLUMNS`.
    given : sequence of GivenNumber
        Numbers in print.
    plan : mapping of str to GeoDataFrame
        The numbered plan as now known.

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["concordance"]`: numbers of other series first, then the
        record's own, each in the order of their things and numbers.
    """
    heirs = _heirs(events)
    others = _others(plan)
    rows = [_theirs(row, others) for row in given if row.series]
    here = {WHAT_OF[layer]: set(plan[layer][NUMBERED[layer][0]]) for layer in NUMBERED}
    for thing in things.sort_values(["layer", "number"], kind="stable").to_dict("records"):
        what = WHAT_OF[str(thing["layer"])]
        rows.append(_own(thing, what, heirs, here[what]))
    return pd.DataFrame(rows, columns=list(contract.table_columns("concordance")))


def _others(plan: Mapping[str, gpd.GeoDataFrame]) -> dict[tuple[str, str], list[str]]:
    """Return which things lie at others' numbers, by what they are and series: number."""
    found: dict[tuple[str, str], list[str]] = {}
    for layer, (field, _) in NUMBERED.items():
        for number, names in zip(plan[layer][field], plan[layer]["other_numbers"], strict=True):
            for name in filter(None, str(names or "").split(";")):
                found.setdefault((WHAT_OF[layer], name), []).append(str(number))
    return found


def _theirs(row: GivenNumber, others: Mapping[tuple[str, str], list[str]]) -> dict[str, Any]:
    now = others.get((row.what, f"{row.series}: {row.number}"), [])
    return {
        "what": row.what,
        "series": row.series,
        "number": row.number,
        "printed": row.season,
        "first_season": None,
        "last_season": None,
        "now": joined(now),
        "state": STANDS if now else NOWHERE,
        "note": row.note,
    }


def _heirs(events: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str], tuple[str, list[str]]]:
    """Return what last came of each number that passed on: the event, and its heirs."""
    heirs: dict[tuple[str, str], tuple[str, list[str]]] = {}
    for event in events:
        if event["event"] not in PASSES_ON:
            continue
        children = str(event["children"]).split(";")
        for parent in str(event["parents"]).split(";"):
            heirs[str(event["what"]), parent] = (str(event["event"]), children)
    return heirs


def _own(
    thing: Mapping[str, Any],
    what: str,
    heirs: Mapping[tuple[str, str], tuple[str, list[str]]],
    here: set[str],
) -> dict[str, Any]:
    number = str(thing["number"])
    state, now = (STANDS, [number]) if number in here else _what_became(what, number, heirs, here)
    return {
        "what": what,
        "series": "",
        "number": number,
        "printed": thing["printed"] or None,
        "first_season": thing["first_season"],
        "last_season": thing["last_season"],
        "now": joined(now),
        "state": state,
        "note": "",
    }


def _what_became(
    what: str,
    number: str,
    heirs: Mapping[tuple[str, str], tuple[str, list[str]]],
    here: set[str],
) -> tuple[str, list[str]]:
    """Return how a number left the plan, and which things on it came of its thing."""
    state, found, seen, ask = GONE, set(), {number}, [number]
    while ask:
        event, children = heirs.get((what, ask.pop()), (GONE, []))
        state = event if state == GONE else state
        for child in children:
            if child in here:
                found.add(child)
            elif child not in seen:
                ask.append(child)
            seen.add(child)
    return state, sorted(found)
