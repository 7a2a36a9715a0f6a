"""What one survey says of bits of walls: by heights, by tracing, or by having looked in vain.

By heights. With the wall's recorded top z and the bed b beside it in the season's surface, z - b is
what would stand proud if nothing had changed; the surface itself shows e (see
`wrackline.seasons.standing`). The wall is *seen* where e is beyond doubt and at least the survey's
`resolution_m`; *buried* where the bed lies above z beyond their joint sd; *lost* where z - b would
be shown, and e falls short of it beyond doubt. A wall that is narrower, or would stand lower, than
`resolution_m` can't be shown: of it the survey says nothing.

By tracing. A wall is seen where a line of the season runs along its line, its middle or its other
face. Its absence from a survey of walls means something only where the survey states where it
looked, its visibility and its plants, and the season's bed doesn't lie over the wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.seasons.bits import Array, Bits, Flags, Ints
from wrackline.seasons.standing import WINDOW_M, Standing, straight_walls
from wrackline.uncertainty import COVERAGE_95, ErrorModel

Codes = npt.NDArray[np.int64]

UNSOUGHT, HIDDEN, LOST, BURIED, OVERGROWN, SEEN = range(6)
STATUSES = (
    "not looked for",
    "could not be seen",
    "lost",
    "buried",
    "overgrown",
    "seen",
)
"""What a season says of a stretch of wall, by its code."""

NO_REASON, COARSE, UNSTATED, NO_TOP, FEW, ASIDE, EVEN, UNCLEAR, SHORT = range(9)
DIM, PLANTS_UNSTATED, PLANTS_THERE, NO_BED, NEAR_LINE = range(9, 14)

PROUD_SDS = 3.0
"""Sds from which a wall stands proud beyond doubt: one bit in a thousand by chance (one-sided
normal)."""
MISSING_SDS, LOST_SDS = 2.5, 4.0
"""Sds from which a bit may be missing, and from which a stretch of such bits is: over a stretch the
evidence adds up, and of the thousands of stretches of a site hardly one is so far off by chance."""
FLAT_SDS = 2.0
NO_PLANTS, PLANTS = 0.1, 0.5
"""Shares of the ground: up to which plants hide no wall, and from which they do (no source)."""
LEAST_VISIBILITY_M = 1.0
"""In murkier water a wall that a diver didn't find may still be there (no source)."""
ALONG_M, ALONG_DEG = 0.3, 25.0
"""How far beside a wall, and how far out of its direction, a line is still one along it."""


@dataclass(frozen=True)
class Heights:
    """What one survey's surface says of bits; NaN where it says nothing.

    Attributes
    ----------
    survey : str
    resolution_m : float
        Least thing that it would have shown; NaN where that isn't stated [m].
    standing : Standing
        As chosen for each bit, see `readings`.
    proud, proud_sd : array, shape (n,)
        Recorded top less bed, and its sd, causes common to both cancelled [m].
    common_sd : array, shape (n,)
        Of that sd the part that doesn't shrink along a wall [m].
    """

    survey: str
    resolution_m: float
    standing: Standing
    proud: Array
    proud_sd: Array
    common_sd: Array

    @property
    def over_bed(self) -> Flags:
        """Whether the recorded top stands above the bed beyond their joint sd."""
        return np.asarray(self.proud > COVERAGE_95 * self.proud_sd)

    @property
    def under_bed(self) -> Flags:
        """Whether the bed lies over the recorded top beyond their joint sd."""
        return np.asarray(-self.proud > COVERAGE_95 * self.proud_sd)

    @property
    def missing(self) -> Array:
        """What of the wall that would stand proud the surface doesn't show, shape (n,) [m]."""
        return np.asarray(self.proud - self.standing.exposure)

    @property
    def missing_sd(self) -> Array:
        """Its sd were the wall there: the chance that few soundings met it included [m]."""
        chance = np.maximum(self.proud, 0.0) ** 2 * self.standing.chance
        return np.asarray(np.sqrt(self.standing.exposure_sd**2 + chance + self.proud_sd**2))


def heights_of(
    survey: str,
    resolution_m: float | None,
    standing: Standing,
    top: Array,
    joint: tuple[Array, Array],
) -> Heights:
    """Return what a survey's surface says of bits.

    Parameters
    ----------
    survey : str
    resolution_m : float or None
    standing : Standing
    top : array, shape (n,)
        Recorded height of the walls' tops [m].
    joint : tuple of array, shape (n,)
        Sd of top against bed but for the bed's own scatter: in all, and the part of it that
        doesn't shrink along a wall [m].
    """
    total = np.sqrt(joint[0] ** 2 + standing.bed_sd**2)
    least = np.nan if resolution_m is None else resolution_m
    return Heights(survey, least, standing, top - standing.bed, total, joint[1])


def joint_sd(
    recorders: Sequence[ErrorModel], which: Ints, model: ErrorModel, xyz: Array
) -> tuple[Array, Array]:
    """Return the sd of recorded tops against a survey's heights, causes common to both cancelled.

    Parameters
    ----------
    recorders : sequence of ErrorModel
        Errors of the surveys that recorded the tops.
    which : array of int, shape (n,)
        The one of each point.
    model : ErrorModel
        Errors of the survey of the bed; its random ones are left out.
    xyz : array, shape (n, 3)
        The points [m].

    Returns
    -------
    total, common : array, shape (n,)
        In all, and the part that neighbouring points share [m].
    """
    random, common = np.zeros(len(xyz)), np.full(len(xyz), model.patchy_vertical**2)
    for number in np.unique(which).tolist():
        mine, wall = np.flatnonzero(which == number), recorders[number]
        effect: dict[str, Array] = {}
        for sign, errors in ((1.0, wall), (-1.0, model)):
            for part in errors.named:
                moved = sign * part.displacement(xyz[mine])[:, 2]
                effect[part.name] = effect.get(part.name, 0.0) + moved
        random[mine] = wall.random_vertical**2
        common[mine] += wall.patchy_vertical**2 + sum(e**2 for e in effect.values())
    return np.sqrt(random + common), np.sqrt(common)


def sharpest(readings: Sequence[Heights]) -> Heights:
    """Return for each bit the reading of the shortest window that decides, else of the longest.

    Parameters
    ----------
    readings : sequence of Heights
        Of one survey, by windows, the shortest first.
    """
    chosen = np.full(len(readings[0].proud), len(readings) - 1)
    for number in range(len(readings) - 2, -1, -1):
        decided = np.isin(judge_heights(readings[number], np.inf)[0], (SEEN, LOST))
        chosen[decided] = number
    pick = {
        name: np.choose(chosen, [getattr(r.standing, name) for r in readings])
        for name in vars(readings[0].standing)
    }
    rest = {
        name: np.choose(chosen, [getattr(r, name) for r in readings])
        for name in ("proud", "proud_sd", "common_sd")
    }
    return Heights(readings[0].survey, readings[0].resolution_m, Standing(**pick), **rest)


def judge_heights(heights: Heights, thickness: Array | float) -> tuple[Codes, Codes]:
    """Return what a survey's heights say of bits, and why they say no more.

    Parameters
    ----------
    heights : Heights
    thickness : array, shape (n,), or float
        Of the walls [m].
    """
    standing, least = heights.standing, heights.resolution_m
    e, sd = standing.exposure, standing.exposure_sd
    known, topped = np.isfinite(e), np.isfinite(heights.proud)  # where the windows say anything
    fine = np.asarray(thickness) >= least
    shown = fine & (heights.proud >= least) & heights.over_bed
    gone = shown & (heights.missing > MISSING_SDS * heights.missing_sd)
    gone &= (e < FLAT_SDS * sd) | (e < least)
    status, reason = np.full(len(e), HIDDEN), np.full(len(e), UNCLEAR)
    told = [
        (known & topped & ~heights.over_bed & ~heights.under_bed, HIDDEN, EVEN),
        (known & ~topped, HIDDEN, NO_TOP),
        (known & ~fine | topped & heights.over_bed & ~shown, HIDDEN, COARSE),
        (np.full(len(e), np.isnan(least)), HIDDEN, UNSTATED),
        (gone & ~standing.set_aside, LOST, NO_REASON),
        (gone & standing.set_aside, HIDDEN, ASIDE),
        (topped & heights.under_bed, BURIED, NO_REASON),
        (known & fine & (e > PROUD_SDS * sd) & (e >= least), SEEN, NO_REASON),
        (~known, HIDDEN, FEW),
    ]
    for where, what, why in told:  # later ones outweigh earlier ones
        status[where], reason[where] = what, why
    status[standing.over == 0] = UNSOUGHT
    return status, reason


def confirmed(status: Codes, reason: Codes, heights: Heights, bits: Bits) -> tuple[Codes, Codes]:
    """Return what heights say of bits, losses left out that a whole stretch doesn't bear out.

    Parameters
    ----------
    status, reason : array of int, shape (n,)
        From `judge_heights`.
    heights : Heights
    bits : Bits
    """
    status, reason = status.copy(), reason.copy()
    own = heights.missing_sd**2 - heights.common_sd**2
    for run in runs_of(status, bits):
        if status[run[0]] != LOST:
            continue
        windows = max(1.0, float(bits.length[run].sum()) / WINDOW_M)
        sd = np.sqrt(own[run].mean() / windows + (heights.common_sd[run] ** 2).mean())
        if heights.missing[run].mean() < LOST_SDS * sd:
            status[run], reason[run] = HIDDEN, UNCLEAR
    return status, reason


def runs_of(status: Codes, bits: Bits) -> list[Ints]:
    """Return runs of bits of one wall with one status."""
    edges = np.flatnonzero((np.diff(status) != 0) | (np.diff(bits.wall) != 0)) + 1
    return [run for run in np.split(np.arange(len(bits)), edges) if len(run)]


@dataclass(frozen=True)
class Absence:
    """What a survey of walls states of where it looked.

    Attributes
    ----------
    survey : str
    within : array of bool, shape (n,)
        Whether each bit lies in the ground that it states.
    visibility_m, resolution_m : float
        NaN where not stated [m].
    plants : array, shape (n,)
        Share of the ground that plants cover at each bit; NaN where the survey states nothing.
    """

    survey: str
    within: Flags
    visibility_m: float
    resolution_m: float
    plants: Array


def judge_absence(
    absence: Absence, bed: Heights | None, thickness: Array, beside: Flags
) -> tuple[Codes, Codes]:
    """Return what it says of bits that a survey of walls didn't trace them, and why no more.

    Parameters
    ----------
    absence : Absence
    bed : Heights or None
        The season's best knowledge of the bed beside the walls.
    thickness : array, shape (n,)
        Of the walls [m].
    beside : array of bool, shape (n,)
        Whether a line of the season runs so near that it may be this wall's.
    """
    count, least = len(absence.within), absence.resolution_m
    over = np.zeros(count, bool) if bed is None else bed.over_bed & (bed.proud >= least)
    unknown = np.ones(count, bool) if bed is None else ~np.isfinite(bed.proud)
    status, reason = np.full(count, HIDDEN), np.full(count, NO_REASON)
    told = [
        (over & (thickness >= least), LOST, NO_REASON),
        (~over, HIDDEN, EVEN),
        (~(thickness >= least), HIDDEN, COARSE),
        (unknown, HIDDEN, NO_BED),
        (beside, HIDDEN, NEAR_LINE),
        (absence.plants > NO_PLANTS, HIDDEN, PLANTS_THERE),
        (np.isnan(absence.plants), HIDDEN, PLANTS_UNSTATED),
        (np.full(count, not absence.visibility_m >= LEAST_VISIBILITY_M), HIDDEN, DIM),
        (np.full(count, np.isnan(least)), HIDDEN, UNSTATED),
    ]
    for where, what, why in told:  # later ones outweigh earlier ones
        status[where], reason[where] = what, why
    status[~absence.within] = UNSOUGHT
    return status, reason


def traced_bits(bits: Bits, lines: npt.NDArray[np.object_], off_m: Array) -> tuple[Flags, Ints]:
    """Tell which bits lines of the season run along, and which line first.

    Parameters
    ----------
    bits : Bits
    lines : array of LineString, shape (m,)
    off_m : array, shape (m,)
        How far each may lie off a wall's line for want of accuracy [m].

    Returns
    -------
    traced : array of bool, shape (n,)
    line : array of int, shape (n,)
        Row of a line, -1 where none.
    """
    which = np.full(len(bits), -1)
    walls = straight_walls(lines)
    tree = shapely.STRtree(walls.stretches)
    reach = np.maximum(off_m, ALONG_M)
    for across in (bits.span[:, 0], bits.span.mean(axis=1), bits.span[:, 1], 0.0 * bits.top):
        off = np.nan_to_num(across)[:, None] * bits.left
        bit, stretch = tree.query(
            shapely.points(bits.xy + off),
            predicate="dwithin",
            distance=float(reach.max(initial=0.0)),
        )
        away = shapely.distance(shapely.points((bits.xy + off)[bit]), walls.stretches[stretch])
        cosine = np.abs((bits.way[bit] * walls.way[stretch]).sum(axis=1))
        fits = (away <= reach[walls.wall[stretch]]) & (cosine >= np.cos(np.radians(ALONG_DEG)))
        which[bit[fits]] = np.maximum(which[bit[fits]], walls.wall[stretch[fits]])
    return which >= 0, which


def lines_beside(bits: Bits, lines: npt.NDArray[np.object_], reach_m: float) -> Flags:
    """Tell which bits have a line of the season beside them that runs as they do, within reach.

    A line that ends before a bit is none beside it: walls go on where others are lost.
    """
    near = np.zeros(len(bits), bool)
    walls = straight_walls(lines)
    bit, stretch = shapely.STRtree(walls.stretches).query(
        shapely.points(bits.xy), predicate="dwithin", distance=reach_m
    )
    start = shapely.get_coordinates(shapely.get_point(walls.stretches, 0))
    ahead = ((bits.xy[bit] - start[stretch]) * walls.way[stretch]).sum(axis=1)
    beside = (ahead >= -ALONG_M) & (ahead <= shapely.length(walls.stretches)[stretch] + ALONG_M)
    cosine = np.abs((bits.way[bit] * walls.way[stretch]).sum(axis=1))
    near[bit[beside & (cosine >= np.cos(np.radians(ALONG_DEG)))]] = True
    return near
