"""How well the identities of a sequence of seasons were told, held against its truth.

Which room of the record is which true one is told here by common ground alone (intersection over
union of `ALIKE` or more), whatever numbers the record gives. What the joining of walls itself got
wrong is left out of the score of identities, but counted. Counts are named ``thing: of what``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy.cluster.hierarchy import DisjointSet
from season_surveys import FIRST_YEAR, ORIGIN, Seasons, place_in
from season_towns import Room

ALIKE = 0.5
"""Common ground over all ground of both from which a room of the record is a true one."""

BESIDE = 0.3
"""Where a room of the record covers so much of another true one, or the other way round, it was
not read right."""

SURELY_LOST, SURELY_THERE = 0.6, 0.4
"""Shares of a recorded outline; half of it lost is the measure, what lies near it is not scored."""

REDRAWN = 0.67
"""A room that has less than this of its own and its former ground in common has surely changed."""

QUIET = ("unchanged", "redrawn", "tangled")
"""What became of things that no split, merger or end is to be named for, or none can be."""

Shapes = npt.NDArray[np.object_]
Numbers = dict[Room, str]
Told = Any


@dataclass(frozen=True)
class Reading:
    """One season of the record held against the truth.

    Attributes
    ----------
    season : str
    things : list of frozenset
        True things known by then, as sets of cells.
    number : dict of frozenset to str
        Number in the record of those that were read right.
    numbers : list of str
        Every number of the record.
    ground : dict of str to frozenset
        Cells that things of each number cover by half or more, read right or not.
    covered : callable
        Greatest share of a true thing's ground that one thing of the record covers.
    """

    season: str
    things: list[Room]
    number: Numbers
    numbers: list[str]
    ground: dict[str, Room]
    covered: Callable[[Room], float]


def read(sequence: Seasons, told: Told, what: str = "room") -> Reading:
    """Return what a season of the record says, by the true things.

    Parameters
    ----------
    sequence : Seasons
    told : object
        With `season` and `plan`.
    what : {"room", "building"}
    """
    layer = told.plan[f"{what}s"]
    shapes = layer.geometry.to_numpy()
    numbers = [str(n) for n in layer[what]]
    if what == "room":
        things, truth = sequence.rooms(told.season), sequence.floors(told.season)
    else:
        things, truth = _buildings(sequence, told.season)
    cells = np.asarray(shapely.transform(sequence.story.town.cells, _to_site))

    def covered(thing: Room) -> float:
        ground = shapely.union_all(cells[sorted(thing)], grid_size=1e-6)
        common = shapely.area(shapely.intersection(shapes, ground))
        return float(common.max(initial=0.0) / ground.area)

    match = _matched(truth, shapes)
    number = {thing: numbers[at] for thing, at in zip(things, match, strict=True) if at >= 0}
    ground = _grounds(cells, shapes, numbers)
    return Reading(told.season, things, number, numbers, ground, covered)


def _to_site(xy: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.asarray(xy + np.array(ORIGIN))


def _grounds(cells: Shapes, shapes: Shapes, numbers: Sequence[str]) -> dict[str, Room]:
    """Return the cells that things of each number cover by half or more."""
    common = shapely.area(shapely.intersection(shapes[:, None], cells[None]))
    covers = common >= ALIKE * shapely.area(cells)
    found: dict[str, Room] = {}
    for row, number in enumerate(numbers):
        found[number] = found.get(number, frozenset()) | set(np.flatnonzero(covers[row]).tolist())
    return found


def _buildings(sequence: Seasons, season: str) -> tuple[list[Room], Shapes]:
    """Return true buildings that have rooms: sets of cells, and their ground."""
    town, known = sequence.story.town, sequence.known(season)
    rooms = sequence.rooms(season)
    found: dict[Room, shapely.Geometry] = {}
    for block in town.blocks(known):
        mine = [room for room in rooms if block & set(town.around(room).tolist())]
        if mine:
            cells = frozenset(c for room in mine for c in room)
            chosen = np.isin(np.arange(len(town.atoms)), list(block))
            ground = [*town.cells[sorted(cells)], *town.bodies(chosen)]
            found[cells] = shapely.union_all(ground, grid_size=1e-6)
    shapes = np.array(list(found.values()), dtype=object)
    return list(found), np.asarray(shapely.transform(shapes, _to_site), dtype=object)


def _matched(truth: Shapes, found: Shapes) -> list[int]:
    """Return the found shape of each true one, -1 where none was read right."""
    match = [-1] * len(truth)
    if not len(truth) or not len(found):
        return match
    common = shapely.area(shapely.intersection(truth[:, None], found[None]))
    size, own = shapely.area(truth)[:, None], shapely.area(found)[None]
    alike = common / (size + own - common)
    into, out_of = common / size, common / own
    for t, f in np.argwhere(alike >= ALIKE).tolist():
        others = np.delete(into[:, f], t).max(initial=0.0)
        rivals = np.delete(out_of[t], f).max(initial=0.0)
        if others < BESIDE and rivals < BESIDE:
            match[t] = f
    return match


def score_rooms(sequence: Seasons, told: Sequence[Told]) -> tuple[Counter[str], list[str]]:
    """Return how rooms kept their numbers and what events were named, and failures in words."""
    count: Counter[str] = Counter()
    failures: list[str] = []
    readings = [read(sequence, one) for one in told]
    for reading in readings:
        count["rooms: known"] += len(reading.things)
        count["rooms: read right"] += len(reading.number)
        count["rooms: in the record"] += len(reading.numbers)
    _kept(sequence.seed, readings, "rooms", count, failures)
    for (before, after), one in zip(pairwise(readings), told[1:], strict=True):
        _events(sequence.seed, before, after, _rows(one.events, "room"), (count, failures))
    return count, failures


def score_buildings(
    sequence: Seasons, told: Sequence[Told], count: Counter[str], failures: list[str]
) -> None:
    """Count how buildings kept their numbers."""
    readings = [read(sequence, one, "building") for one in told]
    for reading in readings:
        count["buildings: known"] += len(reading.things)
        count["buildings: read right"] += len(reading.number)
    _kept(sequence.seed, readings, "buildings", count, failures)


def _kept(
    seed: int, readings: Sequence[Reading], what: str, count: Counter[str], failures: list[str]
) -> None:
    """Count unchanged things that kept their number, and numbers used again for something else."""
    last: Numbers = {}
    stood_for: dict[str, Room] = {}
    for reading in readings:
        twice = len(reading.numbers) - len(set(reading.numbers))
        if twice:
            count[f"{what}: numbers reused"] += twice
            failures.append(f"seed {seed} {reading.season}: {twice} numbers of {what} stand twice")
        for thing, number in reading.number.items():
            if thing in last:
                count[f"{what}: unchanged"] += 1
                count[f"{what}: unchanged, kept"] += last[thing] == number
                if last[thing] != number:
                    words = f"{last[thing]} is now {number}, cells {sorted(thing)} unchanged"
                    failures.append(f"seed {seed} {reading.season}: {what} {words}")
            before = stood_for.get(number, frozenset())
            if before and not thing & before:
                count[f"{what}: numbers reused"] += 1
                words = f"{number} stood for cells {sorted(before)}, now {sorted(thing)}"
                failures.append(f"seed {seed} {reading.season}: {what} {words}")
        last |= reading.number
        _stand(stood_for, reading)


def _stand(stood_for: dict[str, Room], reading: Reading) -> None:
    """Note the cells that numbers stand for in a season, with those that they stood for before.

    So a number that stood for several rooms, while their walls were joined otherwise, may stay
    with any of them.
    """
    for number, cells in reading.ground.items():
        stood_for[number] = stood_for.get(number, frozenset()) | cells
    for thing, number in reading.number.items():
        stood_for[number] = stood_for[number] | thing


@dataclass(frozen=True)
class Row:
    """One stated event of a room."""

    event: str
    number: str
    parents: frozenset[str]
    children: frozenset[str]


def _rows(events: pd.DataFrame, what: str) -> list[Row]:
    chosen = events[events["what"].astype(str).isin((what, f"{what}s"))]
    columns = ("event", "number", "parents", "children")
    return [
        Row(str(event), str(number), _listed(parents), _listed(children))
        for event, number, parents, children in zip(*(chosen[c] for c in columns), strict=True)
    ]


def _listed(text: object) -> frozenset[str]:
    return frozenset(part for part in str(text).split(";") if part and part not in ("nan", "None"))


def _changes(
    before: Sequence[Room], after: Sequence[Room]
) -> Iterator[tuple[list[Room], list[Room]]]:
    """Yield groups of things that share ground between two seasons, and those that share none."""
    old, new = [(0, b) for b in before], [(1, a) for a in after]
    sets = DisjointSet([*old, *new])
    for one in old:
        for other in new:
            if one[1] & other[1]:
                sets.merge(one, other)
    for group in sets.subsets():
        yield (
            sorted((t for side, t in group if side == 0), key=min),
            sorted((t for side, t in group if side == 1), key=min),
        )


def _kind(old: Sequence[Room], new: Sequence[Room]) -> str:
    """Return what truly became of a group of rooms."""
    shape = (min(len(old), 2), min(len(new), 2))
    if shape == (1, 1):
        return "unchanged" if old == new else "redrawn"
    names = {(1, 2): "split", (2, 1): "merged", (1, 0): "gone", (0, 1): "new"}
    return names.get(shape, "tangled")


def _events(
    seed: int,
    before: Reading,
    after: Reading,
    rows: Sequence[Row],
    into: tuple[Counter[str], list[str]],
    prefix: str = "",
) -> None:
    """Count true events of rooms between two seasons, and those that were named right."""
    count, failures = into
    for old, new in _changes(before.things, after.things):
        kind = _kind(old, new)
        if prefix and kind in QUIET:
            continue
        read_right = all(t in before.number for t in old) and all(t in after.number for t in new)
        read_right &= kind != "gone" or after.covered(old[0]) < ALIKE
        read_right &= kind != "new" or before.covered(new[0]) < ALIKE
        if not read_right:
            count[f"{prefix}{kind}: left out"] += kind not in QUIET
            continue
        olds, news = {before.number[t] for t in old}, {after.number[t] for t in new}
        count[f"{prefix}{kind}: true"] += 1
        right = _named(kind, olds, news, rows)
        count[f"{prefix}{kind}: named right"] += right
        if not right and kind not in QUIET[1:]:
            about = [r for r in rows if {r.number, *r.parents, *r.children} & (olds | news)]
            cells = f"{[sorted(t) for t in old]} -> {[sorted(t) for t in new]}"
            failures.append(
                f"seed {seed} {after.season}: {prefix}{kind} {sorted(olds)} -> {sorted(news)} "
                f"(cells {cells}) is told as {about}"
            )


def _named(kind: str, olds: set[str], news: set[str], rows: Sequence[Row]) -> bool:
    """Tell whether an event was named: its kind, all its parents and all its children."""
    if kind == "split":
        return any(
            r.event == "split" and olds <= {r.number, *r.parents} and r.parents <= olds
            and news - olds <= r.children <= news | olds
            for r in rows
        )  # fmt: skip
    if kind == "merged":
        return any(
            r.event == "merged" and news <= {r.number, *r.children} and r.children <= news | olds
            and olds - news <= r.parents <= olds | news
            for r in rows
        )  # fmt: skip
    if kind == "gone":
        return any(r.event == "gone" and olds == {r.number} for r in rows)
    if kind == "new":
        return any(r.event in ("new", "found again") and news == {r.number} for r in rows)
    loud = ("split", "merged", "gone")
    return not any(r.event in loud and olds & {r.number, *r.parents} for r in rows)


def marks_of(sequence: Seasons, told: Told) -> Reading:
    """Return the rooms of a season whose numbers are frozen, by the truth as known then."""
    return read(sequence, told)


def score_frozen(
    sequence: Seasons,
    told: Sequence[Told],
    marks: Reading,
    name: tuple[str, str],
    into: tuple[Counter[str], list[str]],
) -> None:
    """Count frozen numbers that were renamed, reused or dropped when the seasons were told again.

    Parameters
    ----------
    sequence : Seasons
        As changed since.
    told : sequence
        What is told of it.
    marks : Reading
        The season whose numbers were frozen.
    name : tuple of str
        What was changed, and the season that was frozen.
    into : tuple of Counter and list
        Receive counts and failures.
    """
    count, failures = into
    owner = {number: thing for thing, number in marks.number.items()}
    stood_for = dict(owner)
    where = f"seed {sequence.seed}, {name[0]}, {name[1]} frozen,"
    readings = [read(sequence, one) for one in told]
    for reading in readings:
        for thing, number in reading.number.items():
            if thing in marks.number:
                count["frozen: looked at"] += 1
                if number != marks.number[thing]:
                    count["frozen: renamed"] += 1
                    words = f"{marks.number[thing]} (cells {sorted(thing)}) is {number}"
                    failures.append(f"{where} {reading.season}: {words}")
            if number in owner and not stood_for[number] & thing:
                count["frozen: reused"] += 1
                words = f"{number} of cells {sorted(stood_for[number])} is on {sorted(thing)}"
                failures.append(f"{where} {reading.season}: {words}")
        _stand(stood_for, reading)
    rows = [row for one in told for row in _rows(one.events, "room")]
    said = {n for row in rows for n in (row.number, *row.parents)}
    for number in sorted(set(owner) - set(readings[-1].numbers) - said):
        count["frozen: dropped without a word"] += 1
        failures.append(f"{where} {number} (cells {sorted(owner[number])}) is dropped")
    at = next((r for r in readings if r.season == name[1]), None)
    if at is not None and name[0].startswith("wall"):
        _events(sequence.seed, marks, at, rows, into, "after a repair, ")


def score_untouched(
    sequence: Seasons, changed: Seasons, told: Sequence[Told], again: Sequence[Told]
) -> tuple[Counter[str], list[str]]:
    """Count rooms that a change of early files didn't touch, and those of them that kept a number.

    Nothing is frozen here. A change touches a room where a survey that differs traced any of the
    walls around it, or where the room differs in any season.
    """
    count: Counter[str] = Counter()
    failures: list[str] = []
    town = sequence.story.town
    same = {id(s) for s in sequence.surveys}
    differ = [s.atoms for s in changed.surveys if id(s) not in same]
    touched = np.any(differ, axis=0) if differ else np.zeros(len(town.atoms), dtype=bool)
    later = {one.season: one for one in again}
    for one in told:
        was, now = read(sequence, one), read(changed, later[one.season])
        for thing in set(was.number) & set(now.number):
            if touched[town.around(thing)].any():
                continue
            count["unfrozen: untouched by a change"] += 1
            count["unfrozen: kept"] += was.number[thing] == now.number[thing]
            if was.number[thing] != now.number[thing]:
                words = f"untouched {was.number[thing]} became {now.number[thing]}"
                failures.append(f"seed {sequence.seed} {one.season}: {words}")
    return count, failures


def score_notes(
    sequence: Seasons,
    told: Sequence[Told],
    follow: Callable[..., Sequence[Mapping[int, tuple[str | None, bool]]]],
    count: Counter[str],
    failures: list[str],
) -> None:
    """Count interpretations that were lost, or tied to another room than theirs."""
    rng = np.random.default_rng([sequence.seed, 12])
    readings = [read(sequence, one) for one in told]
    rows, rooms, since = [], [], []
    for at, reading in enumerate(readings):
        able = sorted(reading.number, key=min)
        for k in rng.permutation(len(able))[:3].tolist():
            place = place_in(sequence, able[k])
            by_number = rng.random() < 0.5
            rows.append(_note(reading.number[able[k]] if by_number else "", place, at))
            rooms.append(able[k])
            since.append(at)
    followed = follow(rows, told)
    for at, (reading, ties) in enumerate(zip(readings, followed, strict=True)):
        for row, (room, first) in enumerate(zip(rooms, since, strict=True)):
            if at >= first:
                fate = _fate(reading, room, ties.get(row), shapely.area(sequence.story.town.cells))
                count["interpretations: looked at"] += 1
                count[f"interpretations: {fate}"] += 1
                if fate in ("lost", "on another room", "changed, not for review"):
                    where = f"seed {sequence.seed} {reading.season}: interpretation"
                    words = f"{rows[row]} of cells {sorted(room)} is {ties.get(row)}: {fate}"
                    failures.append(f"{where} {words}")


def _fate(
    reading: Reading,
    room: Room,
    tie: tuple[str | None, bool] | None,
    area_m2: npt.NDArray[np.float64],
) -> str:
    """Return what became of an interpretation of a room in a season."""
    if tie is None or tie == (None, False):
        return "lost"
    number, review = tie
    if number is not None and not review:
        now = next((t for t, n in reading.number.items() if n == number), room)
        if not (reading.ground.get(number, room) | now) & room:
            return "on another room"
        common, both = (area_m2[list(cells)].sum() for cells in (now & room, now | room))
        if common < REDRAWN * both and reading.covered(now) >= ALIKE:
            return "changed, not for review"
    return "for review" if review else "stands"


def _note(number: str, place: tuple[float, float], season: int) -> dict[str, Any]:
    """Return a row of interpretations, tied by number or by place."""
    return {
        "number": number,
        "easting": None if number else place[0],
        "northing": None if number else place[1],
        "what": "room",
        "reading": "store",
        "certainty": "possible",
        "who": "A. Diver",
        "when": f"{FIRST_YEAR + season}-07-01",
        "why": "shape",
        "evidence": "",
    }


def score_losses(
    sequence: Seasons,
    told: Sequence[Told],
    lost: Callable[..., set[str]],
    count: Counter[str],
    failures: list[str],
) -> None:
    """Count rooms of which at least half the recorded outline is gone, and those named lost."""
    for one in told:
        reading = read(sequence, one)
        named = lost(sequence.upto(one.season), one)
        for room, share in sequence.lost_share(one.season).items():
            if room not in reading.number or SURELY_THERE < share < SURELY_LOST:
                continue
            number = reading.number[room]
            kind = "lost" if share >= SURELY_LOST else "there"
            count[f"{kind}: true"] += 1
            right = (number in named) == (kind == "lost")
            count[f"{kind}: named right"] += right
            if not right:
                words = f"{number} (cells {sorted(room)}), {share:.0%} of its outline lost"
                failures.append(f"seed {sequence.seed} {one.season}: {words}, is not told {kind}")


BARS = (
    ("rooms: read right", "rooms: known", None),
    ("rooms: unchanged, kept", "rooms: unchanged", 0.995),
    ("split: named right", "split: true", 0.95),
    ("merged: named right", "merged: true", 0.95),
    ("gone: named right", "gone: true", 0.95),
    ("lost: named right", "lost: true", 0.95),
    ("there: named right", "there: true", None),
    ("new: named right", "new: true", None),
    ("unchanged: named right", "unchanged: true", None),
    ("redrawn: named right", "redrawn: true", None),
    ("after a repair, split: named right", "after a repair, split: true", 0.95),
    ("after a repair, merged: named right", "after a repair, merged: true", 0.95),
    ("buildings: read right", "buildings: known", None),
    ("buildings: unchanged, kept", "buildings: unchanged", None),
    ("walls: seen again, kept", "walls: seen again", None),
    ("openings: seen again, kept", "openings: seen again", None),
    ("unfrozen: kept", "unfrozen: untouched by a change", None),
)
"""What of what, and the least share wanted."""

NONE_OF = (
    ("rooms: numbers reused", "rooms: unchanged"),
    ("frozen: renamed", "frozen: looked at"),
    ("frozen: reused", "frozen: looked at"),
    ("frozen: dropped without a word", "frozen: looked at"),
    ("buildings: numbers reused", "buildings: unchanged"),
    ("walls: numbers on another", "walls: seen again"),
    ("openings: numbers on another", "openings: seen again"),
    ("interpretations: lost", "interpretations: looked at"),
    ("interpretations: changed, not for review", "interpretations: looked at"),
    ("interpretations: on another room", "interpretations: looked at"),
)
"""What must not happen at all, and how often it could have."""

LEFT_OUT = ("split", "merged", "gone", "new")


def table(count: Counter[str]) -> list[str]:
    """Return counts as rows of a table."""
    rows = ["| what | of | right | share % | wanted % |", "|---|---|---|---|---|"]
    for part, whole, bar in BARS:
        if count[whole]:
            share, wanted = (
                100 * count[part] / count[whole],
                "" if bar is None else f"{100 * bar:g}",
            )
            rows.append(f"| {part} | {count[whole]} | {count[part]} | {share:.2f} | {wanted} |")
    for part, whole in NONE_OF:
        if count[whole]:
            rows.append(f"| {part} | {count[whole]} | {count[part]} | | none |")
    for kind in LEFT_OUT:
        rows.append(
            f"| {kind}: left out, walls joined otherwise | | {count[f'{kind}: left out']} | | |"
        )
    return rows


def failed(count: Counter[str]) -> list[str]:
    """Return the bars that counts miss."""
    missed = [
        part
        for part, whole, bar in BARS
        if bar is not None and count[whole] and count[part] < bar * count[whole]
    ]
    return missed + [part for part, whole in NONE_OF if count[part]]
