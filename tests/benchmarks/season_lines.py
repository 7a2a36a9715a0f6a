"""How well walls and openings of a sequence of seasons kept their numbers, by their places alone.

A wall of the record is a true one's where it lies on it nearly all along; of a wall traced by its
faces each face is told by its side. A doorway is told by its middle.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from season_surveys import ORIGIN, Seasons
from season_towns import Array, Shapes

Key = tuple[int, int]
Numbers = dict[Key, set[str]]
Told = Any

ON_M, ON_SHARE = 0.75, 0.9
"""A line lies on a true wall where so much of it is this near."""

FACE_M = 0.12
"""Further off a wall's centre than this a line is one of its faces."""

LONG_SHARE = 0.5
"""A line that is shorter than this share of its wall doesn't stand for it."""

DOOR_M = 0.6


def score_walls(
    sequence: Seasons, told: Sequence[Told], count: Counter[str], failures: list[str]
) -> None:
    """Count walls that kept their number, and numbers that went over to another wall."""
    runs = [_here(run) for run in sequence.story.town.runs]
    stands = [_walls(runs, one) for one in told]
    _compare(sequence.seed, "walls", stands, (count, failures))


def score_openings(
    sequence: Seasons, told: Sequence[Told], count: Counter[str], failures: list[str]
) -> None:
    """Count doorways that kept their number, and numbers that went over to another doorway."""
    doors = {run: _here(door).centroid for run, door in sequence.story.town.doors.items()}
    stands = [_doors(doors, one) for one in told]
    _compare(sequence.seed, "openings", stands, (count, failures))


def _here(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.transform(shape, lambda xy: xy + np.array(ORIGIN))


def _walls(runs: Sequence[shapely.LineString], told: Told) -> tuple[str, Numbers]:
    """Return a season, and the numbers of the long lines on each true wall or face of it."""
    rows = told.plan["wall_lines"]
    rows = rows[rows["evidence"] != "inferred"]
    shapes = shapely.force_2d(rows.geometry.to_numpy())
    size = shapely.length(shapes)
    found: Numbers = {}
    for k, run in enumerate(runs):
        on = shapely.length(shapely.intersection(shapes, run.buffer(ON_M, cap_style="square")))
        for at in np.flatnonzero((on > ON_SHARE * size) & (size > LONG_SHARE * run.length)):
            key = (k, _side(run, shapes[at]))
            found.setdefault(key, set()).add(str(rows["wall"].iloc[at]))
    return told.season, found


def _side(run: shapely.LineString, line: shapely.LineString) -> int:
    """Return on which side of a wall's centre a line lies, 0 for on it."""
    ends: Array = shapely.get_coordinates(run)
    step = (ends[-1] - ends[0]) / run.length
    x, y = np.array(line.interpolate(0.5, normalized=True).coords[0][:2]) - ends[0]
    off = float(step[0] * y - step[1] * x)
    return 0 if abs(off) < FACE_M else int(np.sign(off))


def _doors(doors: dict[int, shapely.Point], told: Told) -> tuple[str, Numbers]:
    """Return a season, and the numbers of the openings at each true doorway."""
    rows = told.plan["openings"]
    middles: Shapes = shapely.centroid(rows.geometry.to_numpy())
    found: Numbers = {}
    for run, middle in doors.items():
        near = np.flatnonzero(shapely.distance(middles, middle) < DOOR_M)
        if len(near):
            found[run, 0] = {str(number) for number in rows["opening"].iloc[near]}
    return told.season, found


def _compare(
    seed: int,
    what: str,
    stands: Sequence[tuple[str, Numbers]],
    into: tuple[Counter[str], list[str]],
) -> None:
    """Count what is seen again, and what of it kept one of its numbers."""
    count, failures = into
    last: Numbers = {}
    owner: dict[str, int] = {}
    for season, numbers in stands:
        for key, now in numbers.items():
            before = last.get(key, now)
            count[f"{what}: seen again"] += key in last
            count[f"{what}: seen again, kept"] += key in last and bool(before & now)
            if not before & now:
                words = f"{what} {sorted(before)} is now {sorted(now)}"
                failures.append(f"seed {seed} {season}: {words}")
            others = [
                number for number in sorted(now) if owner.setdefault(number, key[0]) != key[0]
            ]
            count[f"{what}: numbers on another"] += len(others)
            failures += [f"seed {seed} {season}: {what} {n} is on another" for n in others]
        last |= numbers
