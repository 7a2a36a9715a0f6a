"""Which of two layers is the seabed, decided for each block of cells at once.

A *block* is a patch of cells that touch and hold two layers, or that stand above or below the
ground around them by more than anything of the site does. Around two layers the cells that are not
in doubt vote for the layer that goes on into them; where nothing votes, the lower one is the bed.
A block that stands alone is set aside only where the ground is known most of the way round it, and
it is no longer than the ground around was looked at: a quay or a cliff goes on, a shoal doesn't.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from wrackline.rasters import Grid

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


class Read(Protocol):
    """Reads bands of `wrackline.seabed.tiles.BANDS` of any piece, NaN where there is nothing."""

    def __call__(self, part: Grid, names: Sequence[str] = ..., /) -> dict[str, Array]:
        """Return the bands that are asked for, all if none are."""


DOUBT_BANDS = ("height", "count", "amid", "upper_height", "upper_count")

RIM = 2
"""Cells from a block's edge whose heights vote."""
NEAR = 3
"""Half-width of the window whose layers a cell with one layer is held against, in cells."""
TREND_M, LEAST_TREND, MOST_TREND = 3.0, 6, 32
"""Half-width of the window of the ground around [m], and its bounds in cells."""
LEAST_RING = 0.75
"""Part of the cells round a block that must be known for it to be set aside alone."""

ALIKE = 0.3
"""A layer goes on into a neighbouring cell while its height there differs by no more than so much
of the layers' distance."""
CRUMB = 16
"""Blocks of fewer cells go to the larger one that they touch."""
THICK, FULL = 4, 0.8
"""A block holds a square of so many cells a side, of which so much holds two layers; what doesn't,
and is no higher than a structure, is the edge of a wall that the cells don't resolve."""
LEAST_STEP = 0.5
"""A block's edge rises by at least so much of its height at once; a rock's flank does not."""

LOWER, UPPER, NOTHING, ALL = 0, 1, 2, 3
"""Which part of a cell is the bed."""

UPPER_FIGURES = (
    ("height", "upper_height"),
    ("count", "upper_count"),
    ("spread", "upper_spread"),
    ("middle", "upper_height"),
)

COLUMNS = np.dtype(
    [
        ("column", "i4"),
        ("row", "i4"),
        ("alone", "u1"),
        ("amid", "u1"),
        ("lower", "f4"),
        ("upper", "f4"),
        ("n_lower", "i4"),
        ("n_upper", "i4"),
        ("for_lower", "u1"),
        ("for_upper", "u1"),
        ("round", "u1"),
        ("known_round", "u1"),
        ("step", "f4"),
    ]
)
"""A cell in doubt. `lower` and `upper` are the layers' heights: where a cell holds one layer its
own, and NaN for the other; where it stands alone its own, and that of the ground around [m]. `step`
is the mean rise to it from the cells beside it that are not in doubt [m]."""


@dataclass(frozen=True)
class Block:
    """A patch of cells of which something was set aside, or would be if more were known.

    Attributes
    ----------
    column, row : float
        Middle of its cells, counted from the site's origin, rows northward.
    cells : int
    points : int
        Set aside.
    offset_m : float
        Mean height of what was set aside above what is taken for the bed [m]; below is negative.
    kind : {"above", "below"}
    layers : {1, 2}
        Whether the bed was seen beside it in the same cells, or nothing but it was.
    kept : bool
        Whether it stands in the surface all the same, since too little around it is known.
    """

    column: float
    row: float
    cells: int
    points: int
    offset_m: float
    kind: str
    layers: int
    kept: bool


def trend_cells(cell_m: float) -> int:
    """Return the half-width of the window of the ground around, in cells."""
    return int(np.clip(np.rint(TREND_M / cell_m), LEAST_TREND, MOST_TREND))


def trend_margin(cell_m: float) -> int:
    """Return how many cells around a piece the ground around its cells is read from."""
    half = trend_cells(cell_m)
    return half + 2 * max(half // 4, 1)


def margin_cells(cell_m: float) -> int:
    """Return how many cells around a piece must be known to judge its cells."""
    return trend_margin(cell_m) + max(RIM, NEAR)


def ground_around(height: Array, grid: Grid) -> Array:
    """Return the median height of the ground around each cell.

    Cells are taken in squares of a quarter of the window's half-width, counted from the site's
    origin, each by its median; the median of those in the window holds for the whole square.

    Parameters
    ----------
    height : array, shape `grid.shape`
        Heights, NaN where nothing is known [m].
    grid : Grid

    Returns
    -------
    array, shape `grid.shape`
        In metres; NaN where the window is empty.
    """
    half = trend_cells(grid.cell_m)
    side = max(half // 4, 1)
    west, south = grid.west // side * side, grid.south // side * side
    east, north = -(-grid.east // side) * side, -(-grid.north // side) * side
    padded = np.full((north - south, east - west), np.nan)
    at = slice(north - grid.north, north - grid.south), slice(grid.west - west, grid.east - west)
    padded[at] = height
    squares = _square_medians(padded, side)
    around = _window_medians(squares, half // side)
    return np.repeat(np.repeat(around, side, axis=0), side, axis=1)[at]


@njit(cache=True, nogil=True)
def _square_medians(height, side):  # type: ignore[no-untyped-def]
    rows, columns = height.shape[0] // side, height.shape[1] // side
    out, held = np.full((rows, columns), np.nan), np.empty(side * side)
    for r in range(rows):
        for c in range(columns):
            number = 0
            for i in range(r * side, (r + 1) * side):
                for j in range(c * side, (c + 1) * side):
                    if not np.isnan(height[i, j]):
                        held[number] = height[i, j]
                        number += 1
            if number:
                out[r, c] = np.median(held[:number])
    return out


@njit(cache=True, nogil=True)
def _window_medians(values, half):  # type: ignore[no-untyped-def]
    rows, columns = values.shape
    out, held = np.full((rows, columns), np.nan), np.empty((2 * half + 1) ** 2)
    for r in range(rows):
        for c in range(columns):
            number = 0
            for i in range(max(r - half, 0), min(r + half + 1, rows)):
                for j in range(max(c - half, 0), min(c + half + 1, columns)):
                    if not np.isnan(values[i, j]):
                        held[number] = values[i, j]
                        number += 1
            if number:
                out[r, c] = np.median(held[:number])
    return out


def cells_in_doubt(
    read: Read, grid: Grid, *, structure_max_m: float, edge: int = 1024
) -> npt.NDArray[np.void]:
    """Return the cells that hold two layers, lie amid such, or stand apart from the ground.

    Parameters
    ----------
    read : callable
        Returns the bands of a piece.
    grid : Grid
        Of the whole survey.
    structure_max_m : float
        Nothing of the site stands higher above the ground around it, or lies deeper below [m].
    edge : int
        Side of the pieces that are read one by one, in cells.

    Returns
    -------
    structured array, shape (n,)
        As `COLUMNS` has it, ordered by rows from the north and by columns.
    """
    margin = margin_cells(grid.cell_m)
    found = [np.zeros(0, dtype=COLUMNS)]
    for piece in grid.pieces(edge):
        bands = read(piece.grown(margin), DOUBT_BANDS)
        found.append(_in_doubt(bands, piece.grown(margin), margin, structure_max_m))
    cells = np.concatenate(found)
    return cells[np.lexsort((cells["column"], -cells["row"].astype(np.int64)))]


def _in_doubt(
    bands: dict[str, Array], wide: Grid, margin: int, structure_max_m: float
) -> npt.NDArray[np.void]:
    """Return the cells in doubt of one strip, whose bands are given with a margin."""
    height, amid = bands["height"], np.nan_to_num(bands["amid"]).astype(np.int64)
    around = ground_around(np.where(amid > 0, np.nan, height), wide)
    alone = (np.abs(height - around) > structure_max_m) & (amid == 0)
    inner = slice(margin, -margin), slice(margin, -margin)
    here = np.zeros(height.shape, dtype=bool)
    here[inner] = (amid > 0)[inner] | alone[inner]
    row, column = np.nonzero(here)
    out = np.zeros(len(row), dtype=COLUMNS)
    out["column"], out["row"] = column + wide.west, wide.north - 1 - row
    out["alone"], out["amid"] = alone[row, column], amid[row, column]
    out["lower"] = height[row, column]
    out["upper"] = np.where(out["alone"], around[row, column], bands["upper_height"][row, column])
    out["n_lower"] = bands["count"][row, column]
    out["n_upper"] = np.nan_to_num(bands["upper_count"][row, column])
    _settle_single(out, bands, row, column)
    sure = np.where((amid > 0) | alone, np.nan, height)
    ballots = np.zeros((len(row), 4), dtype=np.uint8)
    places, steps = np.column_stack([row, column]), np.full(len(row), np.nan)
    _vote(sure, here, places, (out["lower"], out["upper"]), ballots, steps)
    out["step"] = steps
    for number, name in enumerate(("for_lower", "for_upper", "round", "known_round")):
        out[name] = ballots[:, number]
    return out


@njit(cache=True, nogil=True)
def _vote(sure, doubt, places, layers, ballots, steps):  # type: ignore[no-untyped-def]
    """Count sure cells near each doubtful one, by the layer that goes on in them, and its ring.

    A cell that holds one of the layers speaks for it; between two the closer one goes on.
    """
    rows, columns = sure.shape
    for k in range(len(places)):
        r, c = places[k]
        lower, upper, rise = layers[0][k], layers[1][k], 0.0
        for i in range(max(r - RIM, 0), min(r + RIM + 1, rows)):
            for j in range(max(c - RIM, 0), min(c + RIM + 1, columns)):
                known = not np.isnan(sure[i, j])
                if max(abs(i - r), abs(j - c)) == 1 and not doubt[i, j]:
                    ballots[k, 2] += 1
                    ballots[k, 3] += known
                    rise += lower - sure[i, j] if known else 0.0
                if known:
                    off = abs(sure[i, j] - lower), abs(sure[i, j] - upper)
                    ballots[k, 1 if np.isnan(off[0]) or off[1] < off[0] else 0] += 1
        if ballots[k, 3]:
            steps[k] = rise / ballots[k, 3]


def _settle_single(
    out: npt.NDArray[np.void], bands: dict[str, Array], row: Ints, column: Ints
) -> None:
    """Say of a cell with one layer which of the two around it it is."""
    single = np.flatnonzero(out["amid"] == 1)
    if not len(single):
        return
    two = bands["amid"] == 2
    lower = np.where(two, bands["height"], np.nan)
    upper = np.where(two, bands["upper_height"], np.nan)
    places = np.column_stack([row[single], column[single]])
    is_upper = _closer_to_upper(lower, upper, out["lower"][single].astype(float), places)
    swap = single[is_upper]
    out["upper"][swap], out["n_upper"][swap] = out["lower"][swap], out["n_lower"][swap]
    out["lower"][swap], out["n_lower"][swap] = np.nan, 0


@njit(cache=True, nogil=True)
def _closer_to_upper(lower, upper, height, places):  # type: ignore[no-untyped-def]
    rows, columns = lower.shape
    out = np.zeros(len(places), dtype=np.bool_)
    for k in range(len(places)):
        r, c = places[k]
        number, low, high = 0, 0.0, 0.0
        for i in range(max(r - NEAR, 0), min(r + NEAR + 1, rows)):
            for j in range(max(c - NEAR, 0), min(c + NEAR + 1, columns)):
                if not np.isnan(lower[i, j]) and not np.isnan(upper[i, j]):
                    number += 1
                    low += lower[i, j]
                    high += upper[i, j]
        out[k] = number > 0 and abs(height[k] - high / number) < abs(height[k] - low / number)
    return out


@dataclass(frozen=True)
class Settled:
    """What became of the cells in doubt.

    Attributes
    ----------
    cells : structured array, shape (n,)
        As `COLUMNS` has it, ordered by rows from the north and by columns.
    bed : array of int, shape (n,)
        Which part of each cell is the bed: lower, upper, nothing or all of it (0, 1, 2, 3).
    blocks : list of Block
        From the north, and from the west.
    """

    cells: npt.NDArray[np.void]
    bed: npt.NDArray[np.uint8]
    blocks: list[Block]

    def of(self, part: Grid) -> tuple[npt.NDArray[np.void], npt.NDArray[np.uint8]]:
        """Return the cells of a piece, and what is the bed of each."""
        down = -self.cells["row"].astype(np.int64)
        first = int(np.searchsorted(down, 1 - part.north, side="left"))
        last = int(np.searchsorted(down, -part.south, side="right"))
        cells, bed = self.cells[first:last], self.bed[first:last]
        here = (cells["column"] >= part.west) & (cells["column"] < part.east)
        return cells[here], bed[here]

    def near(self, part: Grid, reach: int) -> Flags:
        """Tell which cells of a piece lie within so many cells of one in doubt."""
        cells, _ = self.of(part.grown(reach))
        touched = np.zeros(part.grown(reach).shape, dtype=bool)
        touched[_at(cells, part.grown(reach))] = True
        wide = ndimage.maximum_filter(touched.view(np.uint8), 2 * reach + 1, mode="constant")
        return np.asarray(wide[reach:-reach, reach:-reach] > 0)


def settle(cells: npt.NDArray[np.void], grid: Grid, *, structure_max_m: float) -> Settled:
    """Decide block by block which cells, or which of their layers, are the seabed.

    Parameters
    ----------
    cells : structured array, shape (n,)
        As `cells_in_doubt` returns them.
    grid : Grid
    structure_max_m : float
        Nothing of the site stands higher above the ground around it, or lies deeper below [m].
    """
    label = _blocks_of(cells)
    order = np.argsort(label, kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(label[order])) + 1) if len(cells) else []
    bed, blocks = np.zeros(len(cells), dtype=np.uint8), []
    longest = 2 * trend_cells(grid.cell_m)
    for part in parts:
        if cells["alone"][part[0]]:
            decided, block = _alone(cells[part], longest)
        else:
            decided, block = _layered(cells[part], structure_max_m)
        bed[part] = decided
        if block is not None:
            blocks.append(block)
    return Settled(cells, bed, blocks)


def _blocks_of(cells: npt.NDArray[np.void]) -> Ints:
    """Return the number of the block that each cell belongs to.

    Cells that touch are of one block: those that stand alone; and those of two layers, where both
    layers go on from one to the other. A cell with one layer belongs to the nearest with two.
    """
    kind = np.where(cells["alone"] == 1, 0, cells["amid"])
    lower, upper = cells["lower"].astype(float), cells["upper"].astype(float)
    one, other = _neighbours(cells)
    same = (kind[one] == kind[other]) & (kind[one] != 1)
    most = ALIKE * np.minimum((upper - lower)[one], (upper - lower)[other])
    goes_on = np.maximum(np.abs(lower[one] - lower[other]), np.abs(upper[one] - upper[other]))
    same &= (kind[one] == 0) | (goes_on <= most)
    links = coo_array((same[same], (one[same], other[same])), shape=(len(cells), len(cells)))
    label = np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)
    both = (kind[one] == 2) & (kind[other] == 2)
    label = _without_crumbs(label, one[both], other[both])
    single, two = np.flatnonzero(kind == 1), np.flatnonzero(kind == 2)
    if len(single) and len(two):
        places = np.column_stack([cells["column"], cells["row"]]).astype(float)
        label[single] = label[two[cKDTree(places[two]).query(places[single])[1]]]
    return label


def _without_crumbs(label: Ints, one: Ints, other: Ints) -> Ints:
    """Return labels of which those of a few cells were given to the largest block they touch."""
    size = np.bincount(label)
    best = np.arange(len(size))
    for a, b in ((label[one], label[other]), (label[other], label[one])):
        crumb = (size[a] < CRUMB) & (size[b] > size[best[a]])
        order = np.argsort(size[b[crumb]], kind="stable")
        best[a[crumb][order]] = b[crumb][order]
    return np.asarray(best[label], dtype=np.int64)


def _neighbours(cells: npt.NDArray[np.void]) -> tuple[Ints, Ints]:
    """Return pairs of cells that touch by a side or a corner, each once."""
    row, column = cells["row"].astype(np.int64), cells["column"].astype(np.int64)
    width = int(np.ptp(column)) + 4 if len(cells) else 1
    key = (row.max(initial=0) - row) * width + column
    first, second = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for step in (1, width - 1, width, width + 1):
        at = np.minimum(np.searchsorted(key, key + step), max(len(key) - 1, 0))
        met = np.flatnonzero(key[at] == key + step)
        first.append(met)
        second.append(at[met])
    return np.concatenate(first), np.concatenate(second)


def _layered(
    part: npt.NDArray[np.void], structure_max_m: float
) -> tuple[npt.NDArray[np.uint8], Block | None]:
    """Decide on a block of two layers; the edge of a wall stays whole."""
    two = part["amid"] == 2
    apart = (part["upper"] - part["lower"])[two].astype(float)
    if not _thick(part) and np.median(apart) <= structure_max_m:
        return np.full(len(part), ALL, dtype=np.uint8), None
    upper_is_bed = int(part["for_upper"].astype(int).sum()) > int(
        part["for_lower"].astype(int).sum()
    )
    mine, other = ("upper", "lower") if upper_is_bed else ("lower", "upper")
    decided = np.full(len(part), UPPER if upper_is_bed else LOWER, dtype=np.uint8)
    decided[np.isnan(part[mine])] = NOTHING
    points = int(part["n_" + other].sum())
    both = part[~np.isnan(part["lower"]) & ~np.isnan(part["upper"])]
    offset = float((both[other] - both[mine]).astype(float).mean())
    return decided, _block(part, points, offset, layers=2, kept=False)


def _thick(part: npt.NDArray[np.void]) -> bool:
    """Tell whether a block holds a square of cells that nearly all hold two layers."""
    two = part[part["amid"] == 2]
    row, column = two["row"] - two["row"].min(), two["column"] - two["column"].min()
    held = np.zeros((int(row.max()) + 1, int(column.max()) + 1))
    held[row, column] = 1.0
    return bool(ndimage.uniform_filter(held, THICK, mode="constant").max() >= FULL - 1e-9)


def _alone(part: npt.NDArray[np.void], longest: int) -> tuple[npt.NDArray[np.uint8], Block | None]:
    """Decide on a block that stands apart from the ground around it."""
    length = max(int(np.ptp(part["row"])), int(np.ptp(part["column"]))) + 1
    ring = int(part["round"].astype(int).sum())
    known = int(part["known_round"].astype(int).sum())
    offset = float((part["lower"] - part["upper"]).astype(float).mean())
    rim = part["step"][np.isfinite(part["step"])].astype(float)
    slopes_off = len(rim) > 0 and abs(float(rim.mean())) < LEAST_STEP * abs(offset)
    if length > longest or slopes_off:
        return np.full(len(part), ALL, dtype=np.uint8), None
    kept = known < LEAST_RING * max(ring, 1)
    block = _block(part, int(part["n_lower"].sum()), offset, layers=1, kept=kept)
    return np.full(len(part), ALL if kept else NOTHING, dtype=np.uint8), block


def _block(
    part: npt.NDArray[np.void], points: int, offset: float, *, layers: int, kept: bool
) -> Block:
    return Block(
        column=float(part["column"].astype(float).mean()) + 0.5,
        row=float(part["row"].astype(float).mean()) + 0.5,
        cells=len(part),
        points=0 if kept else points,
        offset_m=offset,
        kind="above" if offset > 0 else "below",
        layers=layers,
        kept=kept,
    )


def _at(cells: npt.NDArray[np.void], part: Grid) -> tuple[Ints, Ints]:
    """Return rows and columns of cells within a piece."""
    row = part.north - 1 - cells["row"].astype(np.int64)
    return row, cells["column"].astype(np.int64) - part.west


def put_settled(bands: dict[str, Array], settled: Settled, part: Grid) -> bool:
    """Put what was settled into the bands of a piece, and tell whether anything was.

    Parameters
    ----------
    bands : dict of str to array, shape `part.shape`
        Of `wrackline.seabed.tiles.BANDS`, and ``canopy``; changed in place.
    settled : Settled
    part : Grid
    """
    cells, bed = settled.of(part)
    row, column = _at(cells, part)
    layered = cells["alone"] == 0
    two = layered & (cells["amid"] == 2)
    over = layered & np.isfinite(cells["upper"]) & (bed != UPPER) & (bed != ALL)
    bands["canopy"][row[over], column[over]] = cells["upper"][over]
    above = two & (bed == UPPER)
    at = row[above], column[above]
    bands["rejected"][at] += (cells["n_lower"] - cells["n_upper"])[above]
    for name, source in UPPER_FIGURES:
        bands[name][at] = bands[source][at]
    _join_layers(bands, (row[two & (bed == ALL)], column[two & (bed == ALL)]))
    nothing = row[bed == NOTHING], column[bed == NOTHING]
    bands["rejected"][nothing] += bands["count"][nothing]
    bands["count"][nothing] = 0.0
    for name in ("height", "spread", "middle"):
        bands[name][nothing] = np.nan
    return len(cells) > 0


def _join_layers(bands: dict[str, Array], at: tuple[Any, Any]) -> None:
    """Put both layers of cells together again: a wall's edge that the cells don't resolve."""
    n, m = bands["count"][at], bands["upper_count"][at]
    low, high = bands["height"][at], bands["upper_height"][at]
    total = n + m
    mean = (n * low + m * high) / total
    squares = np.maximum(n - 1, 0) * np.nan_to_num(bands["spread"][at]) ** 2
    squares += np.maximum(m - 1, 0) * np.nan_to_num(bands["upper_spread"][at]) ** 2
    squares += n * (low - mean) ** 2 + m * (high - mean) ** 2
    bands["rejected"][at] -= m
    bands["count"][at], bands["height"][at], bands["middle"][at] = total, mean, mean
    bands["spread"][at] = np.sqrt(squares / np.maximum(total - 1, 1))
