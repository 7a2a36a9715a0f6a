"""Interpretations followed from season to season: tied by number or place, and never dropped.

A reading is tied in the season in which it was made, and goes on with the plan: by its place where
it has one, else by its number, and where that is gone to what came of the thing. No row is ever
dropped: what is tied to nothing says so. Several readings of one thing stand side by side; the last
of each reader counts, and where they differ all stay. What a reading was made of is remembered, so
that a thing that changed since is listed for review.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline import contract, vectors
from wrackline.errors import Fault
from wrackline.model import Interpretation
from wrackline.numbers import NUMBERED
from wrackline.registers import INTERPRETATIONS, nearest
from wrackline.seasons.freezing import LAYER_OF, assigned_once, holders
from wrackline.seasons.kin import outlines_alike

STANDS, DISPUTED, SUPERSEDED, NOTHING = "stands", "disputed", "superseded", "nothing there"
NO_NUMBER = "not a number of the record"

MADE = {"row": "whole", "made_number": "text", "tied_by": "text"}
"""What is remembered beside the fields of the contract; geometry: what it was made of, flat."""


@dataclass(frozen=True)
class Record:
    """A season's numbered plan, and what came of the numbers up to it.

    Attributes
    ----------
    season : str
    plan : mapping of str to GeoDataFrame
        Numbered plan, by layer.
    things : GeoDataFrame
        All that was ever numbered, `carry.THING_COLUMNS`.
    events : sequence of mapping
        Events of this season, `events.EVENT_COLUMNS`.
    """

    season: str
    plan: Mapping[str, gpd.GeoDataFrame]
    things: gpd.GeoDataFrame
    events: Sequence[Mapping[str, object]]


def reading_columns() -> dict[str, str]:
    """Return the columns of followed readings: those of the contract, and `MADE`."""
    return contract.table_columns("interpretations") | MADE


def follow(
    before: gpd.GeoDataFrame | None,
    rows: Sequence[tuple[int, Interpretation]],
    record: Record,
    review_change_share: float,
) -> gpd.GeoDataFrame:
    """Return all readings up to a season with the thing that each is about on its plan.

    Parameters
    ----------
    before : GeoDataFrame or None
        Readings followed up to the season before; None for the first.
    rows : sequence of (int, Interpretation)
        Readings made in this season, each with its place in the register.
    record : Record
    review_change_share : float
        Share of its outline by which a thing may change before its readings are to be looked at.

    Returns
    -------
    GeoDataFrame
        `reading_columns`, in the order of the register.
    """
    crs = record.plan["rooms"].crs
    older = [] if before is None else before.to_dict("records")
    followed = [_carried(told, record) for told in older]
    followed += [_made(row, reading, record) for row, reading in rows]
    columns = reading_columns()
    if not followed:
        return vectors.empty(columns, crs)
    table = gpd.GeoDataFrame(followed, geometry="geometry", crs=crs)
    table = table.sort_values("row", kind="stable").reset_index(drop=True)
    table["status"] = _statuses(table)
    table["review"] = _reviews(table, record, review_change_share)
    return vectors.conform(table, columns)


def _made(row: int, reading: Interpretation, record: Record) -> dict[str, object]:
    """Return a reading tied on the plan of the season in which it was made."""
    told: dict[str, object] = reading.model_dump(exclude={"number", "when"})
    told |= {"row": row, "when": reading.when.isoformat(), "made_in": record.season}
    told |= {"given": reading.number, "number": None, "status": "", "review": ""}
    told |= {"tied_by": "number" if reading.number else "place", "geometry": None}
    return _tied(told, record)


def _carried(told: dict[str, object], record: Record) -> dict[str, object]:
    """Return a reading of an earlier season tied on the plan of this one."""
    return _tied(dict(told), record)


def _tied(told: dict[str, object], record: Record) -> dict[str, object]:
    layer = LAYER_OF[str(told["what"])]
    table, field = record.plan[layer], NUMBERED[layer][0]
    if told["tied_by"] == "place":
        number, note = _by_place(told, table, field)
    else:
        number, note = _by_number(told, table, field, record)
    if not isinstance(told["geometry"], shapely.Geometry) and number is not None:
        shape = table.geometry.to_numpy()[(table[field] == number).to_numpy(bool)][0]
        told |= {"geometry": shapely.force_2d(shape), "made_number": number}
    return told | {"number": number, "note": note, "made_number": told.get("made_number")}


def _by_place(
    told: Mapping[str, object], table: gpd.GeoDataFrame, field: str
) -> tuple[str | None, str]:
    place = shapely.Point(told["easting"], told["northing"])
    held = holders(np.array([place], dtype=object), table.geometry.to_numpy())
    if len(held.thing):
        row = assigned_once(held)[0]
        off = float(shapely.distance(table.geometry.iloc[row], place))
        beside = f", {off:.2f} m beside it" if off > 0 else ""
        return str(table[field].iloc[row]), f"tied by its place{beside}"
    if not len(table):
        return None, f"no {told['what']} is on the plan"
    away = shapely.distance(table.geometry.to_numpy(), place)
    near = int(np.argmin(away))
    return None, (
        f"nothing lies there; the nearest is {table[field].iloc[near]}, {away[near]:.1f} m away"
    )


def _by_number(
    told: Mapping[str, object], table: gpd.GeoDataFrame, field: str, record: Record
) -> tuple[str | None, str]:
    """Return the thing of a number, or what came of it."""
    given = str(told["given"])
    there = set(table[field])
    if given in there:
        return given, "tied by its number"
    named = [
        str(number)
        for number, others in zip(table[field], table["other_numbers"], strict=True)
        if given in _others(others)
    ]
    if len(named) == 1:
        return named[0], f"tied by {given}, another's number for it"
    last = told.get("number")
    at = last if isinstance(last, str) else given
    if at in there:
        return at, f"tied by its number, {given} before"
    heirs = [str(event["children"]).split(";") for event in record.events if _passes_on(event, at)]
    heir = next((number for numbers in heirs for number in numbers if number in there), None)
    if heir is not None:
        return heir, f"tied by its number, {given} before"
    layer = LAYER_OF[str(told["what"])]
    known = record.things.loc[record.things["layer"] == layer, "number"]
    if given in set(known):
        return None, f"{given} is no longer on the plan"
    return None, f"{given} is {NO_NUMBER}"


def _others(text: object) -> set[str]:
    """Return others' numbers of a thing, with and without their series."""
    names = {part.strip() for part in str(text or "").split(";") if part.strip()}
    return names | {name.split(": ", 1)[1] for name in names if ": " in name}


def _passes_on(event: Mapping[str, object], number: str) -> bool:
    """Tell whether an event says what came of a number."""
    return event["event"] in ("merged", "redrawn", "split", "renumbered") and (
        number in str(event["parents"]).split(";")
    )


def _statuses(table: pd.DataFrame) -> list[str]:
    """Return what became of each reading; equal days keep the order of the rows."""
    statuses = [NOTHING if pd.isna(number) else STANDS for number in table["number"]]
    placed = table[table["number"].notna()].reset_index(drop=True)
    at = np.flatnonzero(table["number"].notna())
    for _, mine in placed.groupby(["what", "number"], sort=True):
        ordered = mine.sort_values("when", kind="stable")
        last = ordered.drop_duplicates("who", keep="last")
        disputed = len(set(last["reading"].str.casefold())) > 1
        for k in mine.index:
            current = k in last.index
            statuses[at[k]] = (DISPUTED if disputed else STANDS) if current else SUPERSEDED
    return statuses


def _reviews(table: gpd.GeoDataFrame, record: Record, review_change_share: float) -> list[str]:
    """Return why each reading should be looked at again; empty where nothing calls for it."""
    return [_review(told, record, review_change_share) for told in table.to_dict("records")]


def _review(told: Mapping[str, object], record: Record, review_change_share: float) -> str:
    number, made = told["number"], told["made_number"]
    if not isinstance(made, str):
        return "" if isinstance(number, str) else "tied to nothing on the plan"
    if not isinstance(number, str):
        return f"{made}, of which it was made, is no longer on the plan"
    layer = LAYER_OF[str(told["what"])]
    table = record.plan[layer]
    now = table.geometry.to_numpy()[(table[NUMBERED[layer][0]] == number).to_numpy(bool)]
    was = np.array([told["geometry"]], dtype=object)
    alike = float(outlines_alike(shapely.force_2d(now), was)[0])
    changed = f"outline only {alike:.0%} alike" if alike < 1 - review_change_share else ""
    renamed = f"made of {made}, now {number}" if made != number else ""
    return "; ".join(part for part in (renamed, changed) if part)


def unknown_numbers(table: gpd.GeoDataFrame, things: gpd.GeoDataFrame) -> list[Fault]:
    """Return a fault for each reading whose number nothing ever had, the nearest one named.

    Parameters
    ----------
    table : GeoDataFrame
        Readings followed to the last season.
    things : GeoDataFrame
        All that was ever numbered.
    """
    never = table["note"].str.endswith(NO_NUMBER) & table["number"].isna()
    faults = []
    for told in table[never].to_dict("records"):
        known = things.loc[things["layer"] == LAYER_OF[told["what"]], "number"]
        near = nearest(str(told["given"]), [str(number) for number in known])
        faults.append(
            Fault(
                kind="unknown_number",
                found=f"the {told['what']} {told['given']}, read as '{told['reading']}'",
                allowed=f"the number of a {told['what']} that is or was on a plan, or another's "
                "number for one by config/numbers.csv",
                consequence="the reading would be tied to nothing",
                remedy=(f"did you mean '{near}'? Else " if near else "")
                + "give easting and northing instead: a place lasts when numbers change",
                file=str(INTERPRETATIONS),
                row=int(told["row"]) + 2,
            )
        )
    return faults


def current_readings(table: pd.DataFrame) -> dict[tuple[str, str], tuple[str, str]]:
    """Return what each thing is read as now, by what it is and its number: words, and status."""
    said: dict[tuple[str, str], tuple[str, str]] = {}
    counted = table[table["status"].isin((STANDS, DISPUTED))]
    for (what, number), mine in counted.groupby(["what", "number"], sort=True):
        words = [
            f"{told['reading']} ({told['certainty']}, {told['who']} {str(told['when'])[:4]})"
            for told in mine.to_dict("records")
        ]
        said[str(what), str(number)] = ("; ".join(words), str(mine["status"].iloc[0]))
    return said


def with_readings(
    plan: Mapping[str, gpd.GeoDataFrame], readings: pd.DataFrame
) -> dict[str, gpd.GeoDataFrame]:
    """Return a plan whose things say what they are read as.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        A season's numbered plan.
    readings : DataFrame
        Interpretations followed to that season.
    """
    said = current_readings(readings)
    told = {layer: table.copy() for layer, table in plan.items()}
    for layer, (what, _) in NUMBERED.items():
        words = [said.get((what, str(number)), ("", "")) for number in told[layer][what]]
        told[layer]["reading"] = [text for text, _ in words]
        told[layer]["reading_status"] = [status for _, status in words]
    return told
