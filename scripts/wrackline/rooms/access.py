"""The access graph of a building: how deep its rooms lie, and which of them lead on to others.

Figures after Hillier and Hanson, The Social Logic of Space (1984), sections 3.2 and 4.2. Spaces
are the rooms and the outside; two spaces are neighbours where at least one door joins them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import networkx as nx
import numpy as np
import numpy.typing as npt
import pandas as pd

Array = npt.NDArray[np.float64]
Graph = Any
"""A networkx graph of names: its stubs have no type that holds at run time too."""

COUNTS = ("steps_from_outside", "doors", "rooms_behind")
TRAITS = ("dead_end", "through_room")
MEASURES = (
    "control",
    "mean_depth",
    "relative_asymmetry",
    "real_relative_asymmetry",
    "integration",
)
LEAST_FOR_D = 5
"""The published table of D starts at five spaces; smaller buildings have no RRA."""

LOW, HIGH = 0.025, 0.975
"""Weighted quantiles between which a range lies."""

CUT_OFF = "no known door leads here from outside"


@dataclass(frozen=True)
class Outline:
    """One plausible outline of a building, as far as movement goes.

    Attributes
    ----------
    edges : sequence of tuple of str
        The two spaces that each door joins.
    weight : float
        How plausible it is, on any scale common to all outlines; not negative.
    """

    edges: Sequence[tuple[str, str]]
    weight: float = 1.0


def d_value(spaces: int) -> float:
    """Return D: the relative asymmetry of the root of a diamond-shaped complex.

    Parameters
    ----------
    spaces : int
        Number of spaces, the outside with them; at least 3.

    Raises
    ------
    ValueError
        When there are fewer than three spaces.

    Notes
    -----
    Hillier and Hanson 1984, pp. 111 f. and table 3; in closed form Krüger 1989, On node and axial
    maps (from memory).

    Examples
    --------
    >>> [round(d_value(k), 3) for k in (5, 10, 20)]
    [0.352, 0.306, 0.225]
    """
    k = spaces
    if k < 3:
        raise ValueError(f"D needs three spaces, not {k}")
    return 2 * (k * (math.log2((k + 2) / 3) - 1) + 1) / ((k - 1) * (k - 2))


def access_figures(
    edges: Sequence[tuple[str, str]], rooms: Sequence[str], outside: str = "outside"
) -> pd.DataFrame:
    """Return what the doors of a building say about its rooms.

    Parameters
    ----------
    edges : sequence of tuple of str
        The two spaces that each door joins. Two doors between the same spaces are both counted
        in `doors` and are one way in all other figures.
    rooms : sequence of str
    outside : str
        Name of the open ground, a space of its own.

    Returns
    -------
    DataFrame
        One row a room, in the order of their names: `room`; `steps_from_outside`, the doors on
        the shortest way in; `doors`; `rooms_behind`, the rooms that can be reached only through
        this one; `dead_end`, it has one neighbour; `through_room`, it has two or more, so that it
        lies on a way between two others; `control`, `mean_depth`, `relative_asymmetry`,
        `real_relative_asymmetry`, `integration`; `null_because`. Depths are taken over the spaces
        that can be reached, the outside with them. For a room that can't be reached all but
        `doors` are null.

    Raises
    ------
    ValueError
        When two spaces share a name, or an edge joins a space that isn't there or one with itself.

    Notes
    -----
    With k spaces and mean depth MD, RA = 2 (MD - 1) / (k - 2), RRA = RA / D, integration 1 / RRA;
    control sums 1 / (number of neighbours) over a room's neighbours: Hillier and Hanson 1984,
    pp. 108 to 113.

    Examples
    --------
    A hall with two chambers: both lie two doors in, and only the hall leads to them.

    >>> doors = [("outside", "hall"), ("hall", "east"), ("hall", "west")]
    >>> found = access_figures(doors, ["east", "hall", "west"])
    >>> found["steps_from_outside"].tolist(), found["rooms_behind"].tolist()
    ([2, 1, 2], [0, 2, 0])
    >>> found["control"].round(3).tolist()
    [0.333, 3.0, 0.333]
    """
    return _table(_rows(edges, rooms, outside))


def _rows(
    edges: Sequence[tuple[str, str]], rooms: Sequence[str], outside: str
) -> list[dict[str, Any]]:
    """Return the figures of each room, in the order of their names."""
    _check(edges, rooms, outside)
    graph: Graph = nx.Graph()
    graph.add_nodes_from(sorted([*rooms, outside]))
    graph.add_edges_from(sorted((min(edge), max(edge)) for edge in edges))
    system = graph.subgraph(nx.node_connected_component(graph, outside))
    steps = nx.single_source_shortest_path_length(system, outside)
    rows = []
    for room in sorted(rooms):
        found: dict[str, Any] = {"null_because": f"all but doors: {CUT_OFF}"}
        if room in steps:
            found = _figures(system, room, outside) | {"steps_from_outside": steps[room]}
        rows.append({"room": room, "doors": sum(room in edge for edge in edges)} | found)
    return rows


def _check(edges: Sequence[tuple[str, str]], rooms: Sequence[str], outside: str) -> None:
    if len({*rooms, outside}) != len(rooms) + 1:
        raise ValueError(
            f"rooms {sorted(rooms)} and {outside!r} share a name; every space needs its own, or "
            "doors can't be told to one of them: rename the rooms"
        )
    for one, other in edges:
        strange = sorted({one, other} - {*rooms, outside})
        if strange or one == other:
            raise ValueError(
                f"a door joins {one!r} and {other!r}; it must join two of the rooms or one and "
                f"{outside!r}, or depths would count it wrongly: correct the door or add the room"
            )


def _figures(system: Graph, room: str, outside: str) -> dict[str, Any]:
    """Return the figures of a room that can be reached."""
    k = len(system)
    beside = len(system[room])
    mean_depth = sum(nx.single_source_shortest_path_length(system, room).values()) / (k - 1)
    without = system.subgraph(space for space in system if space != room)
    behind = k - 1 - len(nx.node_connected_component(without, outside))
    asymmetry, why = _asymmetry(mean_depth, k)
    return {
        "rooms_behind": behind,
        "dead_end": beside == 1,
        "through_room": beside > 1,
        "control": math.fsum(1 / len(system[other]) for other in system[room]),
        "mean_depth": mean_depth,
        **asymmetry,
        "null_because": why,
    }


def _asymmetry(mean_depth: float, spaces: int) -> tuple[dict[str, float], str]:
    """Return RA, RRA and integration, and why any of them is missing."""
    names = MEASURES[-3:]
    if spaces < 3:
        return {}, f"{', '.join(names)}: fewer than three spaces"
    relative = 2 * (mean_depth - 1) / (spaces - 2)
    if spaces < LEAST_FOR_D:
        why = f"{', '.join(names[1:])}: D is published for {LEAST_FOR_D} spaces or more"
        return {names[0]: relative}, why
    real = relative / d_value(spaces)
    if real == 0:
        return {names[0]: 0.0, names[1]: 0.0}, f"{names[2]}: next to every other space, no bound"
    return dict(zip(names, (relative, real, 1 / real), strict=True)), ""


def _table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    order = ["room", *COUNTS, *TRAITS, *MEASURES, "null_because"]
    kinds = {**dict.fromkeys(COUNTS, "Int64"), **dict.fromkeys(TRAITS, "boolean")}
    kinds |= {**dict.fromkeys(MEASURES, "float64"), "room": "object", "null_because": "object"}
    return pd.DataFrame(rows, columns=order).astype(kinds)


def access_ranges(
    outlines: Sequence[Outline],
    rooms: Sequence[str],
    *,
    doors_known: float | None,
    least_known: float,
    outside: str = "outside",
) -> pd.DataFrame:
    """Return the figures of `access_figures` as ranges over plausible outlines of a building.

    Parameters
    ----------
    outlines : sequence of Outline
    rooms : sequence of str
        Rooms of all outlines.
    doors_known : float or None
        Share of the building's doors that are known, 0 to 1; None where it can't be told.
    least_known : float
        Share from which on figures are given, 0 to 1.
    outside : str
        Name of the open ground.

    Returns
    -------
    DataFrame
        One row a room, in the order of their names: `room`; for counts and measures
        `<figure>_low` and `<figure>_high`, the 2.5 % and 97.5 % quantiles by weight over the
        outlines in which the figure exists; for traits `<trait>_share`, the share of weight that
        has it among the outlines in which the room can be reached; `reached_share`, the share of
        these; `null_because`. All are null where too few doors are known.

    Raises
    ------
    ValueError
        When there are no outlines, weights are negative or sum to nothing, or a share lies
        outside 0 to 1; and as `access_figures`.
    """
    weight = _weights(outlines, doors_known, least_known)
    names = sorted(rooms)
    share = 0.0 if doors_known is None else doors_known
    if doors_known is None or share < least_known:
        known = "an unknown share" if doors_known is None else f"{share:.0%}"
        why = f"all: {known} of the doors known, {least_known:.0%} needed"
        return _range_table([{"room": room, "null_because": why} for room in names])
    whole = _table([row for one in outlines for row in _rows(one.edges, rooms, outside)])
    rows = [
        {"room": room} | _ranges(whole.iloc[k :: len(names)], weight)
        for k, room in enumerate(names)
    ]
    return _range_table(rows)


def _weights(outlines: Sequence[Outline], known: float | None, least: float) -> Array:
    weight = np.array([outline.weight for outline in outlines], dtype=float)
    if not np.isfinite(weight).all() or (weight < 0).any() or not weight.sum() > 0:
        raise ValueError(
            f"weights {weight.tolist()} of outlines; they must not be negative and must sum to "
            "more than 0, or ranges have no meaning: weigh at least one outline"
        )
    for name, share in (("doors_known", known), ("least_known", least)):
        if share is not None and not 0 <= share <= 1:
            raise ValueError(
                f"{name} is {share}; it is a share from 0 to 1, else every figure or none would "
                "be given: divide per cents by 100"
            )
    return weight


def _ranges(values: pd.DataFrame, weight: Array) -> dict[str, Any]:
    """Return the ranges of one room from its figures in all outlines."""
    row: dict[str, Any] = {}
    missing = []
    for name in (*COUNTS, *MEASURES):
        value = values[name].to_numpy(dtype=float, na_value=np.nan)
        ends = [quantile(value, weight, q) for q in (LOW, HIGH)]
        row |= dict(zip((f"{name}_low", f"{name}_high"), ends, strict=True))
        missing += [] if np.isfinite(ends).all() else [name]
    reached = values["steps_from_outside"].notna().to_numpy()
    held = math.fsum(weight[reached])
    row["reached_share"] = held / math.fsum(weight)
    if held > 0:
        for name in TRAITS:
            has = values[name].fillna(False).to_numpy(dtype=bool)
            row[f"{name}_share"] = math.fsum(weight[has & reached]) / held
    else:
        missing += [f"{name}_share" for name in TRAITS]
    why = "in no outline can the room be reached" if held == 0 else "in no outline has it a value"
    row["null_because"] = f"{', '.join(missing)}: {why}" if missing else ""
    return row


def quantile(values: Array, weight: Array, share: float) -> float:
    """Return the least value at or below which a share of the weight lies; NaN from nothing.

    Parameters
    ----------
    values : array, shape (n,)
        NaN where there is none; those are left out with their weight.
    weight : array, shape (n,)
    share : float
        0 to 1.

    Notes
    -----
    Inverse of the empirical distribution, definition 1 of Hyndman and Fan 1996, with weights: the
    result is always a value that occurs.

    Examples
    --------
    >>> quantile(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 8.0]), 0.5)
    2.0
    """
    held = np.isfinite(values) & (weight > 0)
    if not held.any():
        return math.nan
    value, at = np.unique(values[held], return_inverse=True)
    parts = [math.fsum(weight[held][at == k]) for k in range(len(value))]
    level = np.cumsum(parts) / math.fsum(parts)
    return float(value[np.argmax(level >= share - 1e-12)])


def _range_table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    ends = [f"{name}_{end}" for name in (*COUNTS, *MEASURES) for end in ("low", "high")]
    shares = [*(f"{name}_share" for name in TRAITS), "reached_share"]

    kinds = {n: "Int64" if n.startswith(COUNTS) else "float64" for n in (*ends, *shares)}
    kinds |= {"room": "object", "null_because": "object"}
    return pd.DataFrame(rows, columns=["room", *ends, *shares, "null_because"]).astype(kinds)
