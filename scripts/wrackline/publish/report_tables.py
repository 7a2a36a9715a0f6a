"""The report's tables of things: buildings, rooms, neighbours, sea level, floors, readings."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import groupby
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline.accuracy.markup import Markup, el, join, table
from wrackline.publish.report_text import (
    absent,
    counted,
    percent,
    q,
    reasons,
    shown,
    spaced,
    to,
)
from wrackline.quantities import MISSING, fixed, measured
from wrackline.rooms.flooding import flooding_words

Rows = Sequence[Mapping[str, Any]]
NOWHERE = "in no room"


def room_table(rooms: gpd.GeoDataFrame) -> Markup:
    """Return all rooms as one table, a row each."""
    head = ["room", "building", "kind", "floor area", "long axis", "seabed", "floor", "recorded"]
    fields = ("floor_area_m2", "axis_deg", "bed_depth_m", "floor_depth_m")
    body = [
        [
            el("a", row["room"], href=f"#{row['room']}"),
            MISSING if absent(row["building"]) else row["building"],
            row["kind"],
            *(q(shown(row, name)) for name in fields),
            percent(row["recorded_share"]),
        ]
        for row in rooms.drop(columns="geometry").to_dict("records")
    ]
    caption = "Rooms, courts and lanes; seabed and floor are depths, positive down"
    return table(head, body, caption=caption)


def building_table(buildings: gpd.GeoDataFrame) -> Markup:
    """Return all buildings as one table, a row each."""
    head = ["building", "rooms", "footprint", "axis", "wall tops", "seabed", "floors met"]
    fields = ("footprint_m2", "axis_deg", "top_depth_m", "bed_depth_m", "floor_depth_m")
    body = [
        [
            el("a", row["building"], href=f"#{row['building']}"),
            int(row["room_count"]),
            *(q(shown(row, name)) for name in fields),
        ]
        for row in buildings.drop(columns="geometry").to_dict("records")
    ]
    caption = "Buildings; wall tops, seabed and floors are depths, positive down"
    return table(head, body, caption=caption)


def neighbours(adjacency: pd.DataFrame, rooms: Sequence[str]) -> Markup:
    """Return how rooms hang together, in counts.

    Parameters
    ----------
    adjacency : DataFrame
        The table `adjacency`, numbers and texts.
    rooms : sequence of str
        Numbers of all rooms on the plan.
    """
    outside = adjacency["room_b"] == "outside"
    inner, outer = adjacency[~outside], adjacency[outside]
    joined = inner[inner["opening"].notna()]
    seen = joined["evidence"].fillna("").astype(str).str.contains("seen")
    led = {*joined["room_a"], *joined["room_b"], *outer.loc[outer["opening"].notna(), "room_a"]}
    body = [
        ["pairs of spaces that share a wall", int(inner["shared_wall_length_m"].notna().sum())],
        ["pairs joined by an opening with a threshold (seen)", int(seen.sum())],
        ["pairs joined by possible openings alone", int((~seen).sum())],
        ["ways from a space to outside", int(outer["opening"].notna().sum())],
        ["spaces with no opening on the plan", len(set(rooms) - led)],
    ]
    caption = "How spaces hang together; each card names its neighbours"
    return table(["what", "how many"], body, caption=caption)


def sea_table(rows: Rows, known: Collection[str]) -> list[Markup]:
    """Return what structures say of the sea level, a row each, and why cells are empty.

    Parameters
    ----------
    rows : sequence of mapping
        The points of `summary.json`.
    known : collection of str
        Numbers that a link can lead to.
    """
    if not rows:
        return [el("p", "No floor and no feature that could bear on the sea level was met.")]
    used = [row for row in rows if row["indication"] != "none"]
    head = ["structure", "part measured", "height", "above high water", "it says", "age"]
    body = [
        [
            _structure(row, known),
            row["part_measured"],
            q(shown(row, "height_m")),
            q(shown(row, "clearance_above_high_water_m")),
            q(row["statement"]),
            q(_age(row)),
        ]
        for row in used
    ]
    words = (
        "A floor, a threshold, a hearth or a grave was kept dry, so the sea of its time stood "
        "at or below it: a limit, never a level. An index point gives a level only through the "
        "height at which such a part stood in use, as the site's config states it. Heights are "
        "above the datum; sea levels count from the level that depths count from."
    )
    why = sorted({reasons(row["null_because"]) for row in used} - {""})
    parts = [el("p", words), table(head, body)] if used else []
    parts += [el("p", f"Empty cells: {'; or '.join(why)}.")] if used and why else []
    left = [str(row["null_because"]) for row in rows if row["indication"] == "none"]
    if left:
        grounds = (f"{len(list(part))} because {why}" for why, part in groupby(sorted(left)))
        count = counted(len(left), "more structure")
        parts.append(el("p", f"Not used: {count}, {'; '.join(grounds)}."))
    return parts


def chance(probability: float) -> str:
    """Return a probability as printed, never as a certainty.

    >>> chance(0.9999), chance(0.3041), chance(0.002)
    ('over 99 %', '30 %', 'under 1 %')
    """
    if not 0.005 <= probability < 0.995:
        return "over 99 %" if probability > 0.5 else "under 1 %"
    return f"{100 * probability:.0f} %"


def _structure(row: Mapping[str, Any], known: Collection[str]) -> object:
    """Return a point's structure: a floor by its room, a feature by kind, number and room."""
    if row["what"] == "floor":
        return to(row["structure"], known)
    name = f"{row['what']} {row['structure']}"
    return name if absent(row["room"]) else join([f"{name} in ", to(row["room"], known)])


def _age(row: Mapping[str, Any]) -> str:
    if absent(row["age_from"]) or absent(row["age_to"]):
        return MISSING
    return f"{row['age_from']} to {row['age_to']}"


def flooding_table(rows: Rows, known: Collection[str]) -> list[Markup]:
    """Return how likely each named sea level covers the lowest floor of each building.

    Parameters
    ----------
    rows : sequence of mapping
        The table `flooding`, as `summary.json` has it.
    known : collection of str
        Numbers that a link can lead to.
    """
    words = [el("p", text) for text in flooding_words(rows)]
    told = [row for row in rows if absent(row["room"]) and not absent(row["probability"])]
    if not told:
        return words
    head = ["building", "sea level", "lowest floor measured", "level above it", "probability"]
    body = [
        [
            to(row["building"], known),
            row["sea_level"],
            row["rests_on"],
            q(shown(row, "level_above_floor_m")),
            q(chance(row["probability"])),
        ]
        for row in told
    ]
    caption = "How likely each sea level lies above the lowest floor or threshold measured"
    return [*words, table(head, body, caption=caption)]


def deposit_table(deposit: pd.DataFrame, known: Collection[str]) -> list[Markup]:
    """Return where floors were met and what lies over them, a row for each room.

    Parameters
    ----------
    deposit : DataFrame
        The table `deposit`.
    known : collection of str
        Numbers that a link can lead to.
    """
    if not len(deposit):
        return [el("p", "No floor was met: how much deposit is left is not known.")]
    rows = deposit.assign(room=deposit["room"].where(deposit["room"].notna(), NOWHERE))
    body = [
        [
            to(room, known),
            len(part),
            spaced(";".join(sorted(set(part["evidence"].astype(str))))),
            spaced(";".join(sorted(set(part["survey"].astype(str))))),
            *_thickness(part),
        ]
        for room, part in rows.groupby("room", sort=True)
    ]
    words = (
        "Deposit is the seabed less the floor, at each point where both are known. The sd beside "
        "the mean is that of the least sure point, since points share errors."
    )
    head = ["room", "points", "met by", "survey", "with deposit", "mean deposit", "least to most"]
    parts = [el("p", words), table(head, body)]
    left = deposit["null_because"].dropna()
    grounds = sorted(left.astype(str).value_counts().items())
    if grounds:
        counts = "; ".join(f"{n}: {why}" for why, n in grounds)
        parts.append(el("p", f"Points without a deposit, {counts}."))
    return parts


def _thickness(part: pd.DataFrame) -> list[object]:
    """Return points with a deposit, their mean, least and most."""
    deposit = pd.to_numeric(part["deposit_m"], errors="coerce").dropna()
    if not len(deposit):
        return [0, MISSING, MISSING]
    sd = float(pd.to_numeric(part["deposit_sd_m"], errors="coerce").max())
    span = f"{fixed(deposit.min(), 2)} to {fixed(deposit.max(), 2)} m"
    return [len(deposit), q(measured(float(deposit.mean()), sd, "m")), q(span)]


def reading_table(rows: pd.DataFrame, known: Collection[str]) -> list[Markup]:
    """Return what people read things as, a row for each reading.

    Parameters
    ----------
    rows : DataFrame
        The table `interpretations`.
    known : collection of str
        Numbers that a link can lead to.
    """
    if not len(rows):
        return [el("p", "Nobody has written down an interpretation.")]
    head = ["thing", "read as", "certainty", "by", "on", "because", "evidence", "status"]
    head += ["to be looked at again", "note"]
    names = ("reading", "certainty", "who", "when", "why", "evidence", "status", "review", "note")
    body = [
        [
            MISSING if absent(row["number"]) else to(row["number"], known),
            *("" if absent(row[name]) else row[name] for name in names),
        ]
        for row in rows.to_dict("records")
    ]
    words = "People's words, not the program's. Where readers differ, all their readings stand."
    return [el("p", words), table(head, body)]
