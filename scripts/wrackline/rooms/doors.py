"""Plausible outlines of a building as far as movement goes: which of its openings were doors.

An opening that was seen is a door in every outline. A possible one is a door or a gap made by
robbing, which look alike, so each is a door in half of the outlines, whatever the others are.
Outlines resampled by other means can be given to `wrackline.rooms.access` in place of these.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.rooms.access import Outline

MOST = 256
"""Outlines of a building, at most: all that there are of up to eight possible openings."""

SEED = 1984
"""Where there are more, so many are drawn, the same in every run."""


def plausible_doors(
    openings: pd.DataFrame, rooms: Sequence[str], *, most: int = MOST, outside: str = "outside"
) -> list[Outline]:
    """Return the plausible outlines of a building.

    Parameters
    ----------
    openings : DataFrame
        Rows of the layer `openings`: `opening`, `joins` and `evidence` are read; those that lead
        into none of the rooms are left out.
    rooms : sequence of str
        Rooms of the building. Whatever else an opening joins counts as outside.
    most : int
        Greatest number of outlines; where all combinations of the possible openings are more, so
        many are drawn at random with a fixed seed.
    outside : str
        Name of the open ground.

    Returns
    -------
    list of Outline
        Equal weights; one outline where no opening is merely possible. Openings are taken in the
        order of their numbers, so the order of rows changes nothing.

    Raises
    ------
    ValueError
        When `most` is not positive.

    Examples
    --------
    A threshold in the door outside, and a gap between two rooms that may be a door:

    >>> found = pd.DataFrame(
    ...     {
    ...         "opening": ["O1", "O2"],
    ...         "joins": ["R1;outside", "R1;R2"],
    ...         "evidence": ["seen", "possible"],
    ...     }
    ... )
    >>> [outline.edges for outline in plausible_doors(found, ["R1", "R2"])]
    [[('R1', 'outside')], [('R1', 'outside'), ('R1', 'R2')]]
    """
    if most < 1:
        raise ValueError(
            f"most is {most}; at least one outline is needed, or no range has a meaning: give 1 "
            "or more"
        )
    ways = spaces_joined(openings, rooms, outside)
    seen = [edge for _, edges, evidence in ways if evidence == "seen" for edge in edges]
    unsure = [edges for _, edges, evidence in ways if evidence != "seen" and edges]
    return [
        Outline(seen + [edge for k in np.flatnonzero(row) for edge in unsure[k]])
        for row in _combinations(len(unsure), most)
    ]


def spaces_joined(
    openings: pd.DataFrame, rooms: Sequence[str], outside: str = "outside"
) -> list[tuple[str, list[tuple[str, str]], str]]:
    """Return of each opening its number, the spaces that it joins pair by pair, and its evidence.

    Parameters
    ----------
    openings, rooms, outside
        As in `plausible_doors`.

    Returns
    -------
    list of tuple
        In the order of the openings' numbers; those that lead into none of the rooms left out.
    """
    known = set(rooms)
    found = []
    columns = (openings["opening"], openings["joins"], openings["evidence"])
    for number, joins, evidence in sorted(zip(*columns, strict=True)):
        names = {part if part in known else outside for part in str(joins).split(";")}
        spaces = sorted(names - {outside}) + sorted(names & {outside})
        if names & known:
            found.append((str(number), list(combinations(spaces, 2)), evidence))
    return found


def _combinations(number: int, most: int) -> npt.NDArray[np.bool_]:
    """Return which possible openings are doors, a row an outline: all, or so many at random."""
    if 2**number <= most:
        return np.array(list(product([False, True], repeat=number)), dtype=bool)
    return np.random.default_rng(SEED).random((most, number)) < 0.5


def doors_known(openings: pd.DataFrame, rooms: Sequence[str]) -> float:
    """Return which share of a building's doors was seen, as low as the record allows.

    Parameters
    ----------
    openings : DataFrame
        As `plausible`.
    rooms : sequence of str
        One room at least.

    Returns
    -------
    float
        Openings seen, over all openings, or over the number of rooms where that is more: rooms
        that can all be entered need as many doors or more (a connected graph of n + 1 spaces, the
        outside with them, has n edges or more).

    Examples
    --------
    >>> found = pd.DataFrame({"opening": ["O1"], "joins": ["R1;outside"], "evidence": ["seen"]})
    >>> doors_known(found, ["R1", "R2"])
    0.5
    """
    evidence = [evidence for _, _, evidence in spaces_joined(openings, rooms)]
    return evidence.count("seen") / max(len(evidence), len(rooms))
