"""What became of things from one plan to the next, each change with its parents and children."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wrackline.numbers import joined
from wrackline.seasons.kin import Kin

EVENT_COLUMNS = {
    "season": "text",
    "what": "text",
    "event": "text",
    "number": "text",
    "parents": "text",
    "children": "text",
    "share": "real",
    "why": "text",
}
"""`share`: how alike an area's outlines before and now are, laid upon each other (0-1)."""

PART = 0.5
"""A thing of which this much lies in another is a part of it (no source)."""
SLIVER = 0.02
"""Common shares below this are no kinship: outlines only touch (no source)."""
RESHAPED = 0.8
"""Outlines less alike than this, laid upon each other, have changed (no source)."""


@dataclass(frozen=True)
class Change:
    """One layer of two plans, and which thing is which.

    Attributes
    ----------
    now : sequence of str, length n
        Numbers on the plan of now.
    before : array of str, shape (m,)
        All numbers known before.
    present : array of bool, shape (m,)
        Which of them were on the plan before.
    again : array of bool, shape (m,)
        Which of them were gone and are back.
    printed : array of str, shape (m,)
        The season in which a number was put in print; empty for others.
    due : array of bool, shape (m,)
        Which numbers were put in print with this season.
    kin : Kin
        What things have in common.
    anchors : Kin
        What things of now have in common with the outlines of what was put in print with this
        season.
    pairs : mapping of int to int
        Row of now -> row of before that it is.
    renumbered : set of int
        Rows of now that took a number in print in place of their own.
    kinds : mapping of int to (str, str)
        Row of now -> its kind before and now, where it is another.
    outlines : mapping of int to float
        Row of now -> how alike the outlines of an area are, laid upon each other, 0-1.
    divisible : bool
        Whether things of this sort fall into parts and are joined; features are not.
    """

    now: Sequence[str]
    before: npt.NDArray[np.object_]
    present: npt.NDArray[np.bool_]
    again: npt.NDArray[np.bool_]
    printed: npt.NDArray[np.object_]
    due: npt.NDArray[np.bool_]
    kin: Kin
    anchors: Kin
    pairs: Mapping[int, int]
    renumbered: frozenset[int]
    kinds: Mapping[int, tuple[str, str]]
    outlines: Mapping[int, float]
    divisible: bool = True

    def first(self, row: int) -> bool:
        """Tell whether a thing of now is on a plan for the first time."""
        old = self.pairs.get(row)
        return old is None or not (self.present[old] or self.again[old])


def change_rows(season: str, what: str, change: Change) -> list[dict[str, object]]:
    """Return one row a change of a layer, in the order of event and number.

    Parameters
    ----------
    season : str
    what : str
        room, building, wall, opening or feature.
    change : Change

    Returns
    -------
    list of dict
        Fields of `EVENT_COLUMNS`. Events: ``new``; ``split`` (number the parent's, children its
        parts, itself among them where one keeps its number); ``merged`` (number the child's,
        parents what it was made of); ``redrawn`` (another outline took its place); ``gone`` (no
        longer on the plan); ``found again``; ``reshaped``; ``re-read`` (its kind).
    """
    rows = [{"season": season, "what": what, **row} for row in _events(change)]
    return sorted(rows, key=lambda row: (str(row["event"]), str(row["number"])))


def _events(change: Change) -> Iterator[dict[str, object]]:
    parts, sources = _families(change.kin.where(change.present[change.kin.before]), change)
    told = [*_splits(change, parts), *_mergers(change, sources)]
    told += _others(change, parts, sources)
    yield from told
    yield from _in_print(change, told)
    for row in change.renumbered:
        was, now = str(change.before[change.pairs[row]]), change.now[row]
        why = f"{now} is in print for it"
        yield _row("renumbered", was, [was], [now], why=why)
    for row, (was, now) in change.kinds.items():
        same = [change.now[row]]
        yield _row("re-read", change.now[row], same, same, why=f"{was} before, {now} now")


def _families(kin: Kin, change: Change) -> tuple[dict[int, list[int]], dict[int, list[int]]]:
    """Return what each thing before fell into, and what each of now was made of."""
    kin = kin.where(np.full(len(kin.now), change.divisible))
    part = kin.where((kin.share_now >= PART) & (kin.share_before >= SLIVER))
    whole = kin.where((kin.share_before >= PART) & (kin.share_now >= SLIVER))
    parts: dict[int, list[int]] = {}
    sources: dict[int, list[int]] = {}
    for row, old in zip(part.now.tolist(), part.before.tolist(), strict=True):
        parts.setdefault(old, []).append(row)
    for row, old in zip(whole.now.tolist(), whole.before.tolist(), strict=True):
        sources.setdefault(row, []).append(old)
    return parts, sources


def _splits(change: Change, parts: Mapping[int, list[int]]) -> Iterator[dict[str, object]]:
    for old, rows in sorted(parts.items()):
        fresh = [row for row in rows if change.pairs.get(row) == old or change.first(row)]
        if len(fresh) > 1:
            children = [change.now[row] for row in fresh]
            why = f"recorded or drawn lines part it in {len(children)} now"
            yield _row("split", change.before[old], [change.before[old]], children, why=why)


def _mergers(change: Change, sources: Mapping[int, list[int]]) -> Iterator[dict[str, object]]:
    row_of = {old: row for row, old in change.pairs.items()}
    for row, olds in sorted(sources.items()):
        lost = [old for old in olds if row_of.get(old) in (row, None)]
        if len(lost) > 1:
            parents = [str(change.before[old]) for old in lost]
            why = f"nothing parts the {len(parents)} any more"
            yield _row("merged", change.now[row], parents, [change.now[row]], why=why)


def _in_print(change: Change, told: Sequence[Mapping[str, object]]) -> Iterator[dict[str, object]]:
    """Yield what a plan has otherwise than the numbers that were put in print with its season.

    That comes of a file mended since, or of an older plan: what was printed as one is parted, two
    are one, or nothing lies there.
    """
    parts, sources = _families(change.anchors.where(_not_as_printed(change)), change)
    said = {name for row in told for name in str(row["parents"]).split(";")}
    for old, rows in sorted(parts.items()):
        if len(rows) > 1 and str(change.before[old]) not in said:
            children = [change.now[row] for row in rows]
            why = f"in print as one, parted in {len(rows)} on this plan"
            yield _row("split", change.before[old], [change.before[old]], children, why=why)
    merged = {row: olds for row, olds in sorted(sources.items()) if len(olds) > 1}
    for row, olds in merged.items():
        parents = [str(change.before[old]) for old in olds]
        if not set(parents) <= said:
            why = f"in print as {len(parents)}, one on this plan"
            yield _row("merged", change.now[row], parents, [change.now[row]], why=why)
    found = {*said, *change.now}
    found |= {str(change.before[old]) for olds in merged.values() for old in olds}
    found |= {str(change.before[old]) for old, rows in parts.items() if len(rows) > 1}
    for old in np.flatnonzero(change.due).tolist():
        if str(change.before[old]) not in found:
            yield _left(change, old, parts, sources)


def _not_as_printed(change: Change) -> npt.NDArray[np.bool_]:
    """Tell which pairs of anchors are of things that are no longer as they were printed."""
    kin, row_of = change.anchors, {number: row for row, number in enumerate(change.now)}
    bearer = np.array([row_of.get(str(change.before[old]), -1) for old in kin.before], dtype=int)
    as_was = kin.alike >= np.where(kin.areal, RESHAPED, PART)
    kept = kin.before[(bearer == kin.now) & as_was]
    return ~np.isin(kin.before, kept)


def _others(
    change: Change, parts: Mapping[int, list[int]], sources: Mapping[int, list[int]]
) -> Iterator[dict[str, object]]:
    """Yield what is new, gone, redrawn, found again and reshaped."""
    used = set(change.pairs.values())
    told = {row for rows in parts.values() if len(rows) > 1 for row in rows}
    for row, number in enumerate(change.now):
        old = change.pairs.get(row)
        if change.first(row) and row not in told:
            yield _row("new", number, children=[number], why=_inside(change, row))
        elif old is not None and change.again[old]:
            yield _row("found again", number, [number], [number], change.outlines.get(row))
        elif old is not None and _reshaped(change, row, parts.get(old, ()), sources.get(row, ())):
            yield _row("reshaped", number, [number], [number], change.outlines[row])
    whole = {old for olds in sources.values() if len(olds) > 1 for old in olds}
    for old in np.flatnonzero(change.present).tolist():
        if old not in used and old not in whole and len(parts.get(old, ())) < 2:
            yield _left(change, old, parts, sources)


def _reshaped(change: Change, row: int, parts: Sequence[int], sources: Sequence[int]) -> bool:
    """Tell whether a thing neither split nor merged has another outline now."""
    return max(len(parts), len(sources)) < 2 and change.outlines.get(row, 1.0) < RESHAPED


def _left(
    change: Change,
    old: int,
    parts: Mapping[int, list[int]],
    sources: Mapping[int, list[int]],
) -> dict[str, object]:
    """Return what became of a thing whose number nothing bears now, and that fell into no parts."""
    number = str(change.before[old])
    rows = {*parts.get(old, ()), *(row for row, olds in sources.items() if old in olds)}
    note = "; its number is in print and stays its own" if change.printed[old] else ""
    if rows:
        children = [change.now[row] for row in sorted(rows)]
        return _row("redrawn", number, [number], children, why="drawn otherwise now" + note)
    return _row("gone", number, [number], why="nothing on the plan lies where it was" + note)


def _inside(change: Change, row: int) -> str:
    """Return in what a new thing lies, if it lies in one."""
    kin = change.kin.where((change.kin.now == row) & (change.kin.share_now >= PART))
    kin = kin.where(change.present[kin.before])
    names = joined(str(change.before[old]) for old in kin.before)
    return f"within {names}" if names else "first seen now"


def _row(
    event: str,
    number: object,
    parents: Sequence[object] = (),
    children: Sequence[object] = (),
    share: float | None = None,
    why: str = "",
) -> dict[str, object]:
    return {
        "event": event,
        "number": str(number),
        "parents": joined(map(str, parents)),
        "children": joined(map(str, children)),
        "share": np.nan if share is None else share,
        "why": why,
    }
