"""One survey's surface brought on to a piece of the site's cells, its variance split by cause.

A survey's own cells may be k site's cells wide, k a whole number, counted from the same origin. Its
values are then interpolated between its cells' centres (bilinear), where all four around are known;
elsewhere they are carried from its own cell's centre along the slope there. Errors go with the
heights: the random ones of four cells are independent, all others are alike in neighbouring cells
and are interpolated as they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import itemgetter
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt

from wrackline.errors import Fault, InputError
from wrackline.rasters import TICK_M, Grid, RasterReader
from wrackline.seabed.slopes import SLOPE_MARGIN, plane_gradient
from wrackline.seabed.surface_kinds import CANOPY
from wrackline.seabed.variances import named_effects
from wrackline.uncertainty import ErrorModel

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

OWN_SHARE = 1e-3
"""Least share of a cell's variance that counts as stated beyond the model (files are float32)."""
NANO = 1e-9
MEAN_APART = 0.5214
"""Mean distance of two points in a square of side 1 (2 + √2 + 5 asinh 1, over 15); a patchy error's
correlation falls by 1.5 d / a at small distances d (see `wrackline.uncertainty.spherical`)."""
NEEDED = ("height", "sd", "sd_random", "count", "filled")
SOMETIMES = ("distance_m", "surface")


@dataclass(frozen=True)
class Layer:
    """One survey on a piece of the site's cells; arrays of the piece's shape.

    Attributes
    ----------
    height : array
        NaN where the survey has none [m].
    random, patchy, rest : array
        Variances: from point to point, patchy, and what the cell's stated sd holds beyond the
        error model, such as a file's own uncertainty [m²].
    named : dict of str to array
        What one standard uncertainty of each named component does to the height [m].
    alike : array
        How many of the site's cells share one cell's random error.
    count, distance_m : array
        Points in the survey's cell; how far the nearest measured cell lies [m].
    filled, plants : array of bool
        Interpolated over a gap; a canopy of plants, not the bed.
    """

    height: Array
    random: Array
    patchy: Array
    rest: Array
    named: dict[str, Array]
    alike: Array
    count: Array
    distance_m: Array
    surface: Array
    filled: Flags
    plants: Flags

    @property
    def known(self) -> Flags:
        """Where the survey has a height."""
        return np.isfinite(self.height)

    def inner(self, window: tuple[slice, slice], relief: Array) -> Layer:
        """Return a window of it, with the variance of relief that it can't show added."""
        parts = {
            name: value[window]
            for name, value in vars(self).items()
            if isinstance(value, np.ndarray)
        }
        parts["random"] = parts["random"] + relief[window]
        return Layer(**parts, named={name: e[window] for name, e in self.named.items()})

    @property
    def common(self) -> Array:
        """Variance of all that isn't random [m²]."""
        total = self.patchy + self.rest
        for name in sorted(self.named):
            total = total + self.named[name] ** 2
        return np.asarray(total)


@dataclass(frozen=True)
class Spread:
    """How values of coarse cells go on to the site's cells: own cell, neighbour, its weight.

    Attributes
    ----------
    rows, columns : tuple of (own, neighbour, weight of the neighbour)
        Indices into the coarse piece, one a row or a column of the site's piece.
    whole : array of bool
        Where the own cell and its three neighbours on the place's side all have a height.
    """

    rows: tuple[Ints, Ints, Array]
    columns: tuple[Ints, Ints, Array]
    whole: Flags

    def nearest(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return each place's own cell's value."""
        if not self.apart:  # cells as wide as the site's, one after the other
            (first, last), (left, right) = (
                (int(axis[0][0]), int(axis[0][-1])) for axis in (self.rows, self.columns)
            )
            return values[first : last + 1, left : right + 1]
        return values.take(self.rows[0], axis=0).take(self.columns[0], axis=1)

    @property
    def apart(self) -> bool:
        """Whether some place lies off its own cell's centre."""
        return bool(self.rows[2].any() or self.columns[2].any())

    def heights(self, values: Array, cell_m: float) -> Array:
        """Return heights between centres, carried along the own cell's slope where not `whole`.

        Parameters
        ----------
        values : array
            Heights of the coarse cells [m].
        cell_m : float
            Their side [m].
        """
        inner = self.between(values)
        if self.whole.all() or not self.apart:
            return inner
        gradient = plane_gradient(values, cell_m, lone_slope=0.0)
        east, north = (self.nearest(slope) for slope in gradient)
        (row, above, down), (column, beside, across) = self.rows, self.columns
        x, y = (beside - column) * across * cell_m, (row - above) * down * cell_m
        carried = self.nearest(values) + east * x + north * y[:, None]
        return np.where(self.whole, inner, carried)

    def between(self, values: Array, *, power: int = 1) -> Array:
        """Return values between centres, with weights to a power; own ones where not `whole`."""
        if not self.apart:
            return np.asarray(self.nearest(values))
        down = _along_axis(values, self.rows, 0, power)
        total = _along_axis(down, self.columns, 1, power)
        return np.asarray(np.where(self.whole, total, self.nearest(values)), dtype=float)


def _along_axis(values: Array, where: tuple[Ints, Ints, Array], axis: int, power: int) -> Array:
    """Return values between centres along one axis; the neighbour counts only with a weight."""
    own, other, weight = where
    shape = (-1, 1) if axis == 0 else (1, -1)
    share = weight.reshape(shape)
    near, far = values.take(own, axis=axis), values.take(other, axis=axis)
    return np.where(share > 0, (1 - share) ** power * near + share**power * far, near)


def spread_of(part: Grid, coarse: Grid, height: Array) -> Spread:
    """Return how a coarse piece's values go on to the site's cells.

    Parameters
    ----------
    part : Grid
        Piece of the site's cells.
    coarse : Grid
        Piece of the survey's cells, one more than `part` needs on every side.
    height : array, shape `coarse.shape`
        NaN where the survey has none.
    """
    k = ratio(coarse, part.cell_m)
    rows, columns = (
        _along(np.arange(part.north - 1, part.south - 1, -1), k, coarse.north - 1, -1),
        _along(np.arange(part.west, part.east), k, coarse.west, 1),
    )
    spread = Spread(rows, columns, np.zeros(part.shape, dtype=bool))
    empty = (~np.isfinite(height)).astype(float)
    lacking = Spread(rows, columns, np.ones(part.shape, dtype=bool)).between(empty)
    return Spread(rows, columns, (lacking == 0) & ~np.isnan(spread.nearest(height)))


def _along(cell: Ints, k: int, first: int, way: int) -> tuple[Ints, Ints, Array]:
    """Return own index, neighbour's index and its weight for cells along one axis."""
    own = cell // k
    away = (cell - own * k + 0.5) / k - 0.5
    other = own + np.sign(away).astype(np.int64)
    return way * (own - first), way * (other - first), np.abs(away)


def ratio(grid: Grid, cell_m: float) -> int:
    """Return how many of the site's cells a survey's cell is wide.

    >>> ratio(Grid((0.0, 0.0), 0.5, 0, 0, 1, 1), 0.1)
    5
    """
    k = round(grid.cell_m / cell_m)
    if k < 1 or abs(grid.cell_m / cell_m - k) > 1e-6 * k:
        raise InputError(_unlike(grid.cell_m, cell_m))
    return k


def _unlike(own_m: float, cell_m: float) -> Fault:
    return Fault(
        "cells_unlike",
        f"a survey's surface with cells of {own_m:g} m",
        f"a whole multiple of the site's cells of {cell_m:g} m",
        "its cells would not hold whole cells of the merged surface",
        "remove work/seabed and build again",
    )


def coarse_piece(part: Grid, survey: Grid, margin: int) -> Grid:
    """Return the survey's cells that hold a piece of the site's, with a margin of so many."""
    k = ratio(survey, part.cell_m)
    lone = Grid(
        survey.origin,
        survey.cell_m,
        part.west // k,
        part.south // k,
        -(-part.east // k),
        -(-part.north // k),
    )
    return lone.grown(margin)


def read_layer(
    reader: RasterReader, model: ErrorModel, part: Grid, *, fill_distance_m: float
) -> Layer | None:
    """Read one survey on a piece of the site's cells.

    Parameters
    ----------
    reader : RasterReader
        The survey's surface, as `wrackline.seabed.gridding` writes it.
    model : ErrorModel
    part : Grid
        Piece of the site's cells.
    fill_distance_m : float
        Farthest that a filled cell lies from a measured one [m].

    Returns
    -------
    Layer or None
        None where the survey has no height in the piece.
    """
    own = coarse_piece(part, reader.grid, SLOPE_MARGIN + 1)
    if own.intersection(reader.grid) is None:
        return None
    bands = reader.read(own, [*NEEDED, *(name for name in SOMETIMES if name in reader.names)])
    known = np.isfinite(bands["height"])
    if not known.any():
        return None
    spread = spread_of(part, own, bands["height"])
    patchy, named = by_cause(bands["height"], own, model)
    random = bands["sd_random"] ** 2
    stated = bands["sd"] ** 2 - random
    rest = stated - patchy - sum(named[name] ** 2 for name in sorted(named))
    rest = np.where(rest > OWN_SHARE * bands["sd"] ** 2, rest, 0.0)
    filled = spread.nearest(bands["filled"]) > 0
    squares = spread.between(np.where(known, 1.0, np.nan), power=2)
    k = ratio(reader.grid, part.cell_m)
    alike = np.where(filled, max(k**2, filled_alike(fill_distance_m / part.cell_m)), k**2)
    nothing = np.full(known.shape, np.nan)
    surface = spread.nearest(bands.get("surface", np.where(known, 1.0, np.nan)))
    return Layer(
        height=spread.heights(bands["height"], own.cell_m),
        random=spread.between(random, power=2),
        patchy=spread.between(np.where(known, patchy, np.nan)),
        rest=spread.between(np.where(known, rest, np.nan)),
        named={name: spread.between(effect) for name, effect in named.items()},
        alike=alike / squares,
        count=spread.nearest(bands["count"]),
        distance_m=spread.nearest(bands.get("distance_m", nothing)),
        surface=surface,
        filled=filled,
        plants=surface == CANOPY,
    )


def filled_alike(cells: float) -> float:
    """Return how many cells share one filled cell's error, which is filled over so many cells.

    Filled cells share the measured cells that they lie between. Their errors are taken as alike
    over twice the fill distance a, with the spherical correlation, whose integral over the plane
    is π a² / 5 (see `wrackline.uncertainty`).
    """
    return float(1 + np.pi * (2 * cells) ** 2 / 5)


def by_cause(height: Array, grid: Grid, model: ErrorModel) -> tuple[Array, dict[str, Array]]:
    """Return what patchy and named errors do to heights on a piece of a survey's cells.

    Parameters
    ----------
    height : array, shape `grid.shape`
        NaN where there is none [m].
    grid : Grid
    model : ErrorModel

    Returns
    -------
    patchy : array
        Variance [m²].
    named : dict of str to array
        Signed effect of one standard uncertainty of each component [m].
    """
    slope = plane_gradient(height, grid.cell_m, lone_slope=0.0)
    steep = slope[0] ** 2 + slope[1] ** 2
    patchy = model.patchy_vertical**2 + steep * model.patchy_horizontal**2
    named: dict[str, Array] = {}
    for name, effect in named_effects(grid, slope, model):
        named[name] = named.get(name, 0.0) + effect
    return patchy, named


def fading(reader: RasterReader, part: Grid, cells: float) -> Array:
    """Return how far a survey's weight has faded towards the edge of its ground: 1 far inside.

    Parameters
    ----------
    reader : RasterReader
    part : Grid
        Piece of the site's cells.
    cells : float
        Distance over which it fades, in the site's cells; 0 fades nothing.

    Returns
    -------
    array, shape `part.shape`
        From 0 (no height of the bed) to 1. Plants are no ground of the bed.
    """
    around = part.grown(int(np.ceil(cells)) + 1)
    own = coarse_piece(around, reader.grid, 0)
    names = [name for name in ("height", "surface") if name in reader.names]
    bands = reader.read(own, names)
    there = np.isfinite(bands["height"])
    if "surface" in bands:
        there &= bands["surface"] != CANOPY
    k = ratio(reader.grid, part.cell_m)
    whole = np.repeat(np.repeat(there, k, axis=0), k, axis=1)
    fine = Grid(part.origin, part.cell_m, own.west * k, own.south * k, own.east * k, own.north * k)
    ground = whole[fine.window(around)]
    if cells <= 0 or ground.all() or not ground.any():
        return ground[around.window(part)].astype(float)
    away = np.asarray(distance_transform_edt(ground))[around.window(part)]
    return np.clip((away - 0.5) / cells, 0.0, 1.0)


def unseen_relief(layers: Sequence[tuple[int, Layer, float]], part: Grid, k: int) -> Array:
    """Return the variance of what cells of k site's cells can't show, as finer surveys have it.

    A finer survey's heights, less what is left of them when they are taken in cells of k and
    interpolated, squared and averaged over a cell, less what its own random and patchy errors
    vary by within a cell; 0 where these alone would often be as much.

    Parameters
    ----------
    layers : sequence of (ratio, Layer, patchy distance [m])
        Surveys on the piece; the finest that tells counts, the first of equals.
    part : Grid
        Piece of the site's cells; values are right from 3 k inward.
    k : int
        Site's cells in a coarse cell.

    Returns
    -------
    array, shape `part.shape`
        In m²; 0 where no finer survey tells.
    """
    relief = np.full(part.shape, np.nan)
    blocks = coarse_piece(part, replace(part, cell_m=part.cell_m * k), 0)
    whole = replace(
        part, west=blocks.west * k, south=blocks.south * k, east=blocks.east * k,
        north=blocks.north * k,
    )  # fmt: skip
    into = whole.window(part)
    finer = sorted((one for one in layers if one[0] < k), key=itemgetter(0))
    for _, layer, patch_m in finer:
        uneven = min(1.0, 1.5 * MEAN_APART * k * part.cell_m / patch_m) if patch_m else 1.0
        seen, height, random = (np.zeros(whole.shape, dtype) for dtype in (bool, float, float))
        seen[into] = layer.known & ~layer.filled & ~layer.plants
        height[into], random[into] = layer.height, layer.random + uneven * layer.patchy
        left = _left_over(height, random, seen, whole=whole, k=k)
        new = np.repeat(np.repeat(left, k, axis=0), k, axis=1)
        relief = np.where(np.isnan(relief), new[into], relief)
    return np.asarray(np.nan_to_num(relief), dtype=float)


def _left_over(height: Array, random: Array, seen: Flags, *, whole: Grid, k: int) -> Array:
    """Return the variance that a finer survey shows in each coarse cell; NaN: seen too little."""
    rim = coarse_piece(whole, replace(whole, cell_m=whole.cell_m * k), 1)
    mean = np.pad(_block_mean(height, seen, k, TICK_M)[0], 1, constant_values=np.nan)
    spread = spread_of(whole, rim, mean)
    seen = seen & spread.whole
    away = np.where(seen, height - spread.between(mean), 0.0)
    square, number = _block_mean(away**2, seen, k, NANO)
    noise, _ = _block_mean(random, seen, k, NANO)
    beyond = square - noise > 2 * noise * np.sqrt(2 / np.maximum(number, 1))
    return np.where(np.isnan(square), np.nan, np.where(beyond, square - noise, 0.0))


def _block_mean(values: Array, seen: Flags, k: int, tick: float) -> tuple[Array, Array]:
    """Return means over blocks of k × k cells at least half seen, by whole ticks, and counts."""
    shape = values.shape[0] // k, k, values.shape[1] // k, k
    whole = np.rint(np.where(seen, values, 0.0) / tick).astype(np.int64).reshape(shape)
    number = seen.reshape(shape).sum(axis=(1, 3))
    mean = whole.sum(axis=(1, 3)) * tick / np.maximum(number, 1)
    return np.where(number * 2 >= k * k, mean, np.nan), number
