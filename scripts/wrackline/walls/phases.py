"""Which walls stand in which phase, as the team's register says, before they are joined.

A phase is a number from 0 on, the earliest first. What the register leaves open stands in every
phase, unless a joint tells it apart from another wall.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline.model import Phasing, Point, WallSettings
from wrackline.uncertainty import ErrorModel
from wrackline.walls.repeats import repeats_of

Ints = npt.NDArray[np.int64]

ON_WALL_M = 0.5
"""A place names the line nearest to it, no further away than this (no source)."""

LATER = ("overlies", "blocks")
"""Joints that put one wall after another, though neither has a phase of its own."""


@dataclass(frozen=True)
class Phased:
    """When each line stood.

    Attributes
    ----------
    lines : GeoDataFrame
        The lines, `stands_from` and `stands_to` filled in: first and last phase, empty where any.
    names : tuple of str
        Name of each phase, empty where only its order is known.
    notes : list of str
        What a reader should know: rows that name no wall, or contradict each other.
    """

    lines: gpd.GeoDataFrame
    names: tuple[str, ...]
    notes: list[str]


def phase_lines(
    lines: gpd.GeoDataFrame,
    models: Mapping[str, ErrorModel],
    settings: WallSettings,
    rows: Sequence[Phasing],
    order: Sequence[str],
) -> Phased:
    """Return the phases of a view's lines.

    Parameters
    ----------
    lines : GeoDataFrame
        `LINE_COLUMNS` of all the view's surveys, nothing merged yet.
    models : mapping of str to ErrorModel
        Errors by survey, to decide which lines repeat one that the register names.
    settings : WallSettings
        How far heights of such a line may differ [m].
    rows : sequence of Phasing
        The register.
    order : sequence of str
        Names of the site's phases, the earliest first.
    """
    notes: list[str] = []
    spans = _Spans(len(lines))
    joints: list[tuple[Ints, Ints, Phasing]] = []
    for row in rows:
        named = _wall(lines, row.line, row.place)
        if not len(named):
            notes.append(f"{_words(row.line, row.place)}: no wall of this view")
            continue
        spans.tell(named, row, order)
        if row.joint is not None:
            other = _wall(lines, row.other_line, row.other_place)
            if len(other):
                joints.append((named, other, row))
            else:
                where = _words(row.other_line, row.other_place)
                notes.append(f"{where}: no wall of this view for the joint")
    spans.share(repeats_of(lines, models, settings, spans.told))
    count = spans.settle(joints, len(order), notes)
    names = name_phases(order, count)
    return Phased(spans.on(lines, names), names, notes)


def name_phases(order: Sequence[str], count: int) -> tuple[str, ...]:
    """Return the names of phases: the team's, then words for those that joints alone tell apart.

    >>> name_phases(["I", "II"], 2), name_phases([], 2), name_phases([], 1), name_phases(["I"], 3)
    (('I', 'II'), ('earlier', 'later'), ('',), ('I', 'later', 'later 2'))
    """
    names = list(order) or (["earlier"] if count > 1 else [""])
    more = ["later" if k == 0 else f"later {k + 1}" for k in range(count - len(names))]
    return (*names, *more)


def _words(line: str, place: Point | None) -> str:
    return line if line or place is None else f"{place[0]:.2f} {place[1]:.2f}"


def _wall(lines: gpd.GeoDataFrame, line: str, place: Point | None) -> Ints:
    """Return the rows of a wall, named by its survey's own number or a place on it."""
    if line:
        survey, _, own = (part.strip() for part in line.partition(":"))
        named = lines["line"].fillna("").astype(str) == own
        numbered = "#" + lines["row"].astype(str) == own
        return np.flatnonzero((lines["survey"] == survey) & (named | numbered))
    if place is None or not len(lines):
        return np.zeros(0, dtype=np.int64)
    away = shapely.distance(lines.geometry.to_numpy(), shapely.Point(place))
    nearest = int(np.argmin(away))
    return np.array([nearest] if away[nearest] <= ON_WALL_M else [], dtype=np.int64)


class _Spans:
    """First and last phase of each line while they are worked out; -1 where not known."""

    def __init__(self, count: int) -> None:
        self.first = np.full(count, -1, dtype=np.int64)
        self.last = np.full(count, -1, dtype=np.int64)

    def tell(self, named: Ints, row: Phasing, order: Sequence[str]) -> None:
        """Take over what a row says of its wall."""
        if row.phase_from:
            self.first[named] = order.index(row.phase_from)
        if row.phase_to:
            self.last[named] = order.index(row.phase_to)

    @property
    def told(self) -> npt.NDArray[np.bool_]:
        """Whether anything is known of each line."""
        return np.asarray((self.first >= 0) | (self.last >= 0))

    def share(self, pairs: Ints) -> None:
        """Give a line that repeats another what only the other is told to be."""
        for one, other in pairs.tolist():
            if self.first[one] < 0 and self.last[one] < 0:
                self.first[one], self.last[one] = self.first[other], self.last[other]

    def settle(
        self, joints: Sequence[tuple[Ints, Ints, Phasing]], count: int, notes: list[str]
    ) -> int:
        """Put walls that can't have stood together in different phases; return their number."""
        later = [joint for joint in joints if joint[2].joint in LATER]
        count = max(count, 1 + _depth(later))
        for _ in range(len(joints) + 1):
            for wall, other, row in joints:
                if row.joint == "bonded":
                    self._alike(wall, other)
                elif row.joint == "overlies":
                    self._apart(wall, other, count)
                elif row.joint == "blocks":
                    self._last(wall, count)
        for wall, other, row in joints:
            if self._against(wall, other, row):
                notes.append(
                    f"{_words(row.line, row.place)} {row.joint} "
                    f"{_words(row.other_line, row.other_place)}: their phases say otherwise"
                )
        return count

    def _alike(self, wall: Ints, other: Ints) -> None:
        for one, two in ((wall, other), (other, wall)):
            for span in (self.first, self.last):
                if (span[one] < 0).all() and (span[two] >= 0).any():
                    span[one] = span[two].max()

    def _last(self, wall: Ints, count: int) -> None:
        """Let a blocking begin in the last phase: the wall that it blocks goes on standing."""
        if int(self.first[wall].max()) < 0:
            self.first[wall] = count - 1

    def _apart(self, wall: Ints, other: Ints, count: int) -> None:
        """Let a wall begin after the end of the one that it overlies."""
        first, last = int(self.first[wall].max()), int(self.last[other].max())
        if first < 0:
            known = last if last >= 0 else max(count - 2, int(self.first[other].max()))
            self.first[wall] = first = min(known + 1, count - 1)
        if last < 0:
            self.last[other] = max(first - 1, 0)

    def _against(self, wall: Ints, other: Ints, row: Phasing) -> bool:
        first, last = int(self.first[wall].max()), int(self.last[other].max())
        if row.joint == "overlies":
            return first <= last
        begun = int(self.first[other].max())
        if row.joint == "blocks":
            return first <= begun
        if row.joint == "abuts":
            return 0 <= first < begun
        return first != begun and min(first, begun) >= 0

    def on(self, lines: gpd.GeoDataFrame, names: Sequence[str]) -> gpd.GeoDataFrame:
        """Return the lines with their spans; none where a line stands in every phase."""
        told = self.told
        first = np.where(self.first >= 0, self.first, 0)
        last = np.where(self.last >= 0, self.last, len(names) - 1)
        phased = lines.copy()
        phased["stands_from"] = pd.array(np.where(told, first, -1), dtype="Int64")
        phased["stands_to"] = pd.array(np.where(told, last, -1), dtype="Int64")
        phased.loc[~told, ["stands_from", "stands_to"]] = pd.NA
        phased["phase_from"] = [names[k] or None if k >= 0 else None for k in self.first.tolist()]
        phased["phase_to"] = [names[k] or None if k >= 0 else None for k in self.last.tolist()]
        return phased


def _depth(later: Sequence[tuple[Ints, Ints, Phasing]]) -> int:
    """Return how many walls lie over one another at most, less one; circles are cut short."""
    over = {
        int(wall[0]): [int(o[0]) for w, o, _ in later if w[0] == wall[0]] for wall, _, _ in later
    }
    height: dict[int, int] = {}
    for _ in range(len(over)):
        for wall, others in over.items():
            height[wall] = min(1 + max(height.get(o, 0) for o in others), len(over))
    return max(height.values(), default=0)


def standing_in(lines: gpd.GeoDataFrame, count: int) -> npt.NDArray[np.bool_]:
    """Return in which phases each line stands, shape (lines, phases)."""
    first = lines["stands_from"].fillna(0).to_numpy(np.int64)[:, None]
    last = lines["stands_to"].fillna(count - 1).to_numpy(np.int64)[:, None]
    phase = np.arange(count)
    return np.asarray((first <= phase) & (phase <= last))
