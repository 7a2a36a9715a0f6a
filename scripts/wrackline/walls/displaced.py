"""Disagreements of tracings in words: a whole survey displaced is said once, not wall by wall.

Where half of the walls that two surveys both traced disagree, the shift that brings them together
best is taken out first; walls that agree then are said in one sentence, the others one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wrackline.walls.linework import Array, Ints, line_name
from wrackline.walls.placing import Again
from wrackline.walls.tracings import Groups, disagreeing

LEAST_WALLS = 3
"""Fewer walls tell nothing of a whole survey (no source)."""

MOST_OF = 0.5
"""A survey is displaced where more than this share of its walls disagrees (no source)."""

WALL = (
    "{one} lies {off:.2f} m (sd {sd:.2f} m) to the {side} of {wall}, with which it runs: more than "
    "errors explain; the wall is placed without it"
)
SURVEY = (
    "{one} lies {off:.2f} m towards grid {azimuth:.0f}° of {wall}, along {walls} of the {all} "
    "walls that both traced: one of the two surveys is displaced; the walls stand where {wall} "
    "has them"
)
WITH_SURVEY = "more than errors explain, as its whole survey: the wall is placed without it"
ALONE = "more than errors explain: the wall is placed without it"


@dataclass(frozen=True)
class Offsets:
    """Mean offsets of tracings from the walls as traced, and which of them disagree.

    Attributes
    ----------
    groups : Groups
    sd_m : array, shape (g,)
        Sd of each offset [m].
    beyond : array of bool, shape (g,)
    """

    groups: Groups
    sd_m: Array
    beyond: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Apart:
    """Disagreements in words.

    Attributes
    ----------
    why : dict of int to str
        By row of `Groups`.
    notes : list of str
        Whole surveys first, then walls, the surest first.
    """

    why: dict[int, str]
    notes: list[str]


def displaced(again: Again, offsets: Offsets) -> Apart:
    """Return what disagrees, in words."""
    groups, lines = offsets.groups, again.every.work.lines
    names = lines["survey"].to_numpy(str)
    one, wall = names[groups.one], names[groups.wall]
    why: dict[int, str] = {}
    notes = []
    for first, second in sorted(set(zip(one[offsets.beyond], wall[offsets.beyond], strict=True))):
        mine = np.flatnonzero((one == first) & (wall == second) & np.isfinite(groups.off_m))
        beyond = mine[offsets.beyond[mine]]
        if len(beyond) < LEAST_WALLS or len(beyond) <= MOST_OF * len(mine):
            continue
        shift, left = _shift(again, offsets, mine)
        with_survey = beyond[~left[np.isin(mine, beyond)]]
        why |= dict.fromkeys(with_survey.tolist(), WITH_SURVEY)
        words = {"one": first, "wall": second, "off": np.hypot(*shift)}
        azimuth = np.degrees(np.arctan2(shift[0], shift[1])) % 360
        counts = {"walls": len(with_survey), "all": len(mine)}
        notes.append(SURVEY.format(**words, azimuth=azimuth, **counts))
    alone = [k for k in np.flatnonzero(offsets.beyond).tolist() if k not in why]
    alone.sort(key=lambda k: -abs(groups.off_m[k]) / offsets.sd_m[k])
    why |= dict.fromkeys(alone, ALONE)
    return Apart(why, notes + [_about(again, offsets, k) for k in alone])


def _about(again: Again, offsets: Offsets, row: int) -> str:
    groups, lines = offsets.groups, again.every.work.lines
    one, wall = (line_name(lines.iloc[k[row]]) for k in (groups.one, groups.wall))
    off = float(groups.off_m[row])
    side = "left" if off > 0 else "right"
    return WALL.format(one=one, wall=wall, off=abs(off), sd=offsets.sd_m[row], side=side)


def _shift(again: Again, offsets: Offsets, rows: Ints) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return the shift that brings a survey's tracings on to walls, and which then disagree."""
    groups, stretches = offsets.groups, again.every.stretches
    along = stretches.along[again.pairs.wall] * groups.share[:, None]
    left = np.zeros((len(groups.off_m), 2))
    np.add.at(left, groups.of, np.stack([-along[:, 1], along[:, 0]], axis=1))
    sd = offsets.sd_m[rows]
    design, off = left[rows] / sd[:, None], groups.off_m[rows] / sd
    shift = np.asarray(np.linalg.lstsq(design, off, rcond=None)[0], dtype=float)
    return shift, disagreeing(groups.off_m[rows] - left[rows] @ shift, sd)
