"""What a surface of the seabed shows of a wall: its bed beside it, and how far it stands proud.

Around a bit of wall, cells are taken from a survey's own surface: over it and one or two bits to
either side along the wall, and within `BESIDE_M` of its body. A cell of which the share f lies over
the wall's body has the height

    h = b + g_a a + g_s s + e f

with the bed b, its slope across (a) and along (s) the wall, and the exposure e: how far the wall
stands above the bed beside it. So cells that are wider than a wall still tell of it, by the share
that it covers of them, and a steep bed is no wall. The four are estimated by least squares
(Björck 1996, Numerical Methods for Least Squares Problems, 1.1); the scatter of the cells about
them, ripples and stones included, gives their sd. As relief goes on from cell to cell, neighbours
are no independent witnesses: the sd is `ALIKE` times that of independent cells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.rasters import Grid, RasterReader, ticks
from wrackline.seabed.surface_kinds import CANOPY
from wrackline.seasons.bits import Array, Bits, Flags, Ints

WINDOWS, BESIDE_M = (1, 2), 1.75
"""Bits to either side of a bit that its windows reach; how far cells beside a wall's body lie."""
WINDOW_M = 2.5
"""Length of the longest window: what is told of places nearer than this rests on the same cells."""
LEAST_CELLS, WORST, HALF = 12, 1e6, 0.25
ALIKE = 2.0
"""Sd of an exposure over that of independent cells. On open, rippled ground of the demo, exposures
of walls that aren't there scatter by 1.2 to 1.4 of it in the swath's cells and by 1.7 to 1.9 in
those of the photographs, which have less noise of their own."""
ACROSS_DEG = 25.0
"""Walls that run otherwise than a bit by more than this are other walls where they meet it."""
CLEAR = 0.75
"""A cell nearer than this, in cells, to another wall may be lifted by it."""
TILE = 1024


@dataclass(frozen=True)
class Standing:
    """What one survey's surface shows at bits of walls; NaN where it shows nothing.

    Attributes
    ----------
    bed : array, shape (n,)
        Height of the bed beside the wall, taken to the wall [m].
    bed_sd : array, shape (n,)
        Its sd by scatter and random errors alone [m].
    exposure, exposure_sd : array, shape (n,)
        How far the wall stands above the bed [m].
    chance : array, shape (n,)
        What chance adds to the variance of the exposure of a wall that stands, over its exposure
        squared: of the few soundings of a cell that a wall covers in part, none may have met it.
    set_aside : array of bool, shape (n,)
        Whether soundings that were set aside lie over the wall.
    over : array of int, shape (n,)
        Measured cells over the bit itself; of a lone bit without any, those of the bits beside it.
    """

    bed: Array
    bed_sd: Array
    exposure: Array
    exposure_sd: Array
    chance: Array
    set_aside: Flags
    over: Ints


@dataclass(frozen=True)
class _Met:
    """Cells at bits: bit, place along and across its line, height, sd, soundings, set aside."""

    bit: Ints
    along: Array
    across: Array
    height: Array
    sd: Array
    count: Array
    rejected: Array


def read_standing(
    surface: RasterReader, bits: Bits, others: Walls, position_sd_m: Array
) -> list[Standing]:
    """Return what a survey's surface shows at bits, by windows of `WINDOWS`.

    Parameters
    ----------
    surface : RasterReader
        A survey's surface, bands of `wrackline.seabed.gridding`. Cells that were filled, and
        plants, are left out.
    bits : Bits
    others : Walls
        All walls, so that those that meet a bit are left out.
    position_sd_m : array, shape (n,)
        Standard uncertainty of the bits' place against the survey's cells, per axis [m].

    Returns
    -------
    list of Standing
        The shortest window first: it tells best where a wall ends, the longest is the surest.
    """
    cell = surface.grid.cell_m
    wide = np.sqrt(cell**2 + 12 * position_sd_m**2)
    met = _clear(_met(surface, bits), bits, others, cell)
    share = covered_share(met.across, bits.span[met.bit], wide[met.bit])
    return _estimate(met, bits, share)


def covered_share(across: Array, span: Array, wide: Array) -> Array:
    """Return the share of cells that a wall covers, seen along the wall.

    A cell is taken for a box as wide as its spread: √12 times its sd across, which is the cell's
    own side, whatever its turn, and the errors of its place.

    Parameters
    ----------
    across : array, shape (n,)
        Of the cells' centres [m].
    span : array, shape (n, 2)
        From where to where the wall lies across [m].
    wide : array, shape (n,)
        Width of the box [m].

    Examples
    --------
    A wall of 0.6 m under cells of 0.5 m: one wholly on it, one half, one beside it.

    >>> across, span = np.array([0.3, 0.6, 1.0]), np.array([[0.0, 0.6]] * 3)
    >>> covered_share(across, span, np.full(3, 0.5)).round(3)
    array([1. , 0.5, 0. ])
    """
    low = np.maximum(across - wide / 2, span[:, 0])
    high = np.minimum(across + wide / 2, span[:, 1])
    return np.asarray(np.clip(high - low, 0.0, None) / wide)


def _met(surface: RasterReader, bits: Bits) -> _Met:
    """Return the measured cells whose centres lie beside bits."""
    grid = surface.grid
    reach = float(np.abs(bits.span).max(initial=0.0)) + BESIDE_M
    steps = np.arange(-int(np.ceil(reach / grid.cell_m)) - 1, int(np.ceil(reach / grid.cell_m)) + 2)
    middle = np.stack([grid.cells(ticks(bits.xy[:, k]), k) for k in (0, 1)], axis=1)
    found = []
    for east in steps.tolist():  # an array of all bits for each place in the window
        for north in steps.tolist():
            cell = middle + np.array([east, north])
            away = np.asarray(grid.origin) + (cell + 0.5) * grid.cell_m - bits.xy
            along, across = (away * bits.way).sum(axis=1), (away * bits.left).sum(axis=1)
            inside = (along >= -bits.length / 2) & (along < bits.length / 2)
            inside &= (across >= bits.span[:, 0] - BESIDE_M) & (
                across <= bits.span[:, 1] + BESIDE_M
            )
            bit = np.flatnonzero(inside)
            found.append((bit, cell[bit], along[bit], across[bit]))
    bit, cell, along, across = (np.concatenate(parts) for parts in zip(*found, strict=True))
    told = _read(surface, cell)
    known = np.flatnonzero(np.isfinite(told["height"]))
    order = known[np.lexsort([cell[known, 0], cell[known, 1], bit[known]])]
    away_m = along + bits.along.mean(axis=1)[bit]
    return _Met(bit[order], away_m[order], across[order], *(told[name][order] for name in READ))


READ = ("height", "sd_random", "count", "rejected")


def _read(surface: RasterReader, cell: Ints) -> dict[str, Array]:
    """Return `READ` of cells, heights NaN where the bed was not measured."""
    grid = surface.grid
    out = {name: np.full(len(cell), np.nan) for name in READ}
    keys, owner = np.unique(np.floor_divide(cell, TILE), axis=0, return_inverse=True)
    for number, (east, north) in enumerate(keys.tolist()):
        west, south = east * TILE, north * TILE
        part = Grid(grid.origin, grid.cell_m, west, south, west + TILE, south + TILE)
        if part.intersection(grid) is None:
            continue
        bands = surface.read(part, [*READ, "filled", "surface"])
        mine = np.flatnonzero(owner.reshape(-1) == number)
        row, column = part.north - 1 - cell[mine, 1], cell[mine, 0] - part.west
        told = {name: band[row, column] for name, band in bands.items()}
        there = (told["count"] > 0) & (told["filled"] != 1) & (told["surface"] != CANOPY)
        told["height"] = np.where(there, told["height"], np.nan)
        for name, values in out.items():
            values[mine] = told[name]
    return out


@dataclass(frozen=True)
class Walls:
    """Straight stretches of all walls, and their bodies.

    Attributes
    ----------
    stretches : array of LineString, shape (m,)
    wall : array of int, shape (m,)
        Row of the wall line that each is of.
    way : array, shape (m, 2)
        Unit vector along each.
    """

    stretches: npt.NDArray[np.object_]
    wall: Ints
    way: Array


def straight_walls(lines: npt.NDArray[np.object_]) -> Walls:
    """Return the straight stretches of wall lines."""
    xy, line = shapely.get_coordinates(lines, return_index=True)
    first = np.flatnonzero(np.diff(line) == 0)
    step = xy[first + 1] - xy[first]
    way = step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    ends = np.stack([xy[first], xy[first + 1]], axis=1)
    return Walls(shapely.linestrings(ends), np.asarray(line[first], dtype=np.int64), way)


def _clear(met: _Met, bits: Bits, others: Walls, cell_m: float) -> _Met:
    """Return the cells without those that another wall may lift.

    Beside the bit's body that is any wall; over it one that runs otherwise, such as at a corner.
    """
    place = (
        bits.xy[met.bit]
        + (met.along - bits.along.mean(axis=1)[met.bit])[:, None] * bits.way[met.bit]
        + met.across[:, None] * bits.left[met.bit]
    )
    tree = shapely.STRtree(others.stretches)
    near, wall = tree.query(shapely.points(place), predicate="dwithin", distance=CLEAR * cell_m)
    span, across = bits.span[met.bit[near]], met.across[near]
    over = (across > span[:, 0] - CLEAR * cell_m) & (across < span[:, 1] + CLEAR * cell_m)
    cosine = np.abs((bits.way[met.bit[near]] * others.way[wall]).sum(axis=1))
    otherwise = cosine < np.cos(np.radians(ACROSS_DEG))
    mine = bits.wall[met.bit[near]] == others.wall[wall]
    lifted = np.where(over, otherwise & ~mine, ~mine)
    keep = np.ones(len(met.bit), bool)
    keep[near[lifted]] = False
    return _Met(*(values[keep] for values in vars(met).values()))


def _estimate(met: _Met, bits: Bits, share: Array) -> list[Standing]:
    """Return the least-squares estimates in windows along the walls."""
    count, at = len(bits), bits.along.mean(axis=1)
    base = _mean_height(met, bits)
    h = met.height - base[met.bit]
    across = met.across - bits.span.mean(axis=1)[met.bit]
    x = np.column_stack([np.ones(len(h)), across, met.along - at[met.bit], share])
    normal, right = x[:, :, None] * x[:, None, :], x * h[:, None]
    partly = (share * (1 - share) / met.count)[:, None, None]
    aside = (share > HALF) * np.nan_to_num(met.rejected)
    rest = np.column_stack([h**2, met.sd**2, np.ones(len(h)), aside])
    squares = [normal.reshape(-1, 16), (partly * normal).reshape(-1, 16)]
    sums = _summed(met.bit, np.column_stack([*squares, right, rest]), count)
    over = _closed(
        _summed(met.bit, (share > 0).astype(float)[:, None], count)[:, 0].astype(np.int64), bits
    )
    total, found = sums, []
    for step in range(1, max(WINDOWS) + 1):  # each bit's own, and those beside it
        total = total + _moved(sums, bits, at, -step) + _moved(sums, bits, at, step)
        if step in WINDOWS:
            found.append(_solved(total, base, over))
    return found


def _mean_height(met: _Met, bits: Bits) -> Array:
    """Return for each bit the mean height of the cells at its wall, from which sums are taken."""
    wall = bits.wall[met.bit]
    most = int(bits.wall.max(initial=-1)) + 1
    count = np.bincount(wall, minlength=most)
    mean = np.bincount(wall, met.height, minlength=most) / np.maximum(count, 1)
    return np.asarray(mean[bits.wall])


def _summed(bit: Ints, values: Array, count: int) -> Array:
    return np.stack([np.bincount(bit, column, minlength=count) for column in values.T], axis=1)


def _closed(over: Ints, bits: Bits) -> Ints:
    """Return counts of cells over bits; a lone bit without one has those of the bits beside it."""
    before, after = np.roll(over, 1), np.roll(over, -1)
    within = (np.roll(bits.wall, 1) == bits.wall) & (np.roll(bits.wall, -1) == bits.wall)
    return np.where((over == 0) & within, np.minimum(before, after), over)


def _moved(sums: Array, bits: Bits, at: Array, step: int) -> Array:
    """Return the sums of the bit so many further on, places along counted from the bit itself."""
    there = np.arange(len(bits)) + step
    inside = (there >= 0) & (there < len(bits))
    there = np.where(inside, there, 0)
    inside &= bits.wall[there] == bits.wall
    turn = np.tile(np.eye(4), (len(bits), 1, 1))
    turn[:, 2, 0] = at[there] - at
    back = turn.transpose(0, 2, 1)
    normal, partly = (
        (turn @ sums[there, k : k + 16].reshape(-1, 4, 4) @ back).reshape(-1, 16) for k in (0, 16)
    )
    right = (turn @ sums[there, 32:36, None])[:, :, 0]
    moved = np.column_stack([normal, partly, right, sums[there, 36:]])
    return np.where(inside[:, None], moved, 0.0)


def _solved(total: Array, base: Array, over: Ints) -> Standing:
    """Return the estimates from the sums over windows."""
    normal, partly = (total[:, k : k + 16].reshape(-1, 4, 4) for k in (0, 16))
    right, (squares, own, number, aside) = total[:, 32:36], total[:, 36:].T
    size = np.sqrt(np.maximum(np.einsum("nii->ni", normal), 1e-12))
    scaled = normal / (size[:, :, None] * size[:, None, :])
    told = (number >= LEAST_CELLS) & (np.linalg.cond(scaled) < WORST)
    inverse = np.full_like(normal, np.nan)
    inverse[told] = np.linalg.inv(scaled[told])
    inverse /= size[:, :, None] * size[:, None, :]
    found = (inverse @ right[:, :, None])[:, :, 0]
    scatter = (squares - (found * right).sum(axis=1)) / np.maximum(number - 4, 1)
    variance = ALIKE**2 * np.maximum(scatter, own / np.maximum(number, 1))
    sd = np.sqrt(variance[:, None] * np.einsum("nii->ni", inverse))
    chance = np.einsum("ni,nij,nj->n", inverse[:, 3], partly, inverse[:, 3])
    bed = found[:, 0] + base
    return Standing(bed, sd[:, 0], found[:, 3], sd[:, 3], chance, aside > 0, over)
