"""Variance of a cell's height, by cause.

* random: (σ_v² + |g|² σ_h²) / n, with slope g. Where the cell's soundings scatter more than that
  and the slope explain, their own scatter counts, as much as their number weighs against `PRIOR`
  soundings' worth of the stated errors. The mean is brought to the cell's centre along the slope;
  across a direction in which nothing tells the slope, the survey's usual slope s stands for it, and
  s² c²/24 is added, with cell size c: soundings along one line share their place across it.
* patchy: σ_pv² + |g|² σ_ph², alike within the patch and therefore not shrunk by n;
* named: the square of what each source's displacement does to the height there, −g·(de, dn) + dh.

First order: JCGM 100:2008, 5.1.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from numba import njit

from wrackline.rasters import Grid
from wrackline.uncertainty import ErrorModel

Array = npt.NDArray[np.float64]

PRIOR = 10
"""Degrees of freedom that the stated errors are worth against a cell's own scatter (our choice)."""


def random_variance(
    count: npt.NDArray[np.generic],
    steep: Array,
    model: ErrorModel,
    cell_m: float,
    spread: Array | None = None,
) -> Array:
    """Return the random variance of cells' heights, all slopes known.

    Parameters
    ----------
    count : array, shape (n,)
        Points in each cell, at least 1.
    steep : array, shape (n,)
        Square of the slope, metre per metre.
    model : ErrorModel
    cell_m : float
        Cell size [m].
    spread : array, shape (n,), optional
        Sample standard deviation of each cell's heights [m]; NaN where there is none.

    Returns
    -------
    array, shape (n,)
        In m².

    Examples
    --------
    Four soundings of 0.04 m on level ground give a mean known to 0.02 m:

    >>> model = ErrorModel("2031-level", 0.5, 0.04)
    >>> np.sqrt(random_variance(np.array([4]), np.array([0.0]), model, 1.0))
    array([0.02])

    Twenty-one that scatter by 0.1 m have it known to √((10 · 0.04² + 20 · 0.1²) / 30 / 21):

    >>> one = np.array([21]), np.array([0.0])
    >>> np.sqrt(random_variance(*one, model, 1.0, np.array([0.1]))).round(5)
    array([0.01852])
    """
    errors = model.random_vertical**2, model.random_horizontal**2, cell_m**2 / 12
    number, slope = np.broadcast_arrays(np.asarray(count, dtype=float), steep)
    known = np.full(number.shape, np.nan) if spread is None else spread
    return np.asarray(_variances(number, slope, known, errors), dtype=float)


@njit(cache=True, nogil=True)
def variance_of_mean(number, steep, spread, errors):  # type: ignore[no-untyped-def]
    """Return what `random_variance` does, of one cell.

    `errors`: random variances of height and of position, and that of a place within a cell [m²].
    """
    stated = errors[0] + steep * errors[1]
    if number > 1 and not np.isnan(spread):
        seen = max(spread * spread - steep * errors[2], 0.0)
        stated = max(stated, (PRIOR * stated + (number - 1) * seen) / (PRIOR + number - 1))
    return stated / number


@njit(cache=True, nogil=True)
def _variances(number, steep, spread, errors):  # type: ignore[no-untyped-def]
    out = np.empty(len(number))
    for i in range(len(number)):
        out[i] = variance_of_mean(number[i], steep[i], spread[i], errors)
    return out


def placing_variance(missing: npt.NDArray[np.generic], usual_slope: float, cell_m: float) -> Array:
    """Return the variance from slopes that nothing tells.

    Parameters
    ----------
    missing : array, shape (n,)
        Number of directions, 0 to 2, in which a cell's slope is not known.
    usual_slope : float
        Root mean square steepness of the survey.
    cell_m : float
        Cell size [m].

    Returns
    -------
    array, shape (n,)
        In m².

    Examples
    --------
    >>> placing_variance(np.array([0, 1, 2]), 0.2, 1.0).round(5)
    array([0.     , 0.00167, 0.00333])
    """
    one_way = usual_slope**2 / 2 * cell_m**2 / 12
    return np.asarray(np.asarray(missing, dtype=float) * one_way, dtype=float)


def common_variance(xyz: Array, slope: Array, model: ErrorModel) -> Array:
    """Return the variance of cells' heights from patchy and named errors.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Easting, northing, height of the cells' centres [m].
    slope : array, shape (n, 2)
        Rise per metre towards east and north.
    model : ErrorModel

    Returns
    -------
    array, shape (n,)
        In m².
    """
    steep = (slope**2).sum(axis=1)
    variance = model.patchy_vertical**2 + steep * model.patchy_horizontal**2
    for part in model.named:
        moved = part.displacement(xyz)
        variance = variance + (moved[:, 2] - (slope * moved[:, :2]).sum(axis=1)) ** 2
    return np.asarray(variance, dtype=float)


def tilts(model: ErrorModel) -> bool:
    """Tell whether a survey's patchy or named errors bear on heights by the slope."""
    level = ("height", "tilt")
    return model.patchy_horizontal > 0 or any(part.kind not in level for part in model.named)


def common_of_cells(
    grid: Grid, height: Array, slope: tuple[Array, Array], model: ErrorModel
) -> Array:
    """Return what `common_variance` does for all cells of a piece.

    Parameters
    ----------
    grid : Grid
    height : array, shape `grid.shape`
        NaN where nothing is known [m].
    slope : tuple of arrays, shape `grid.shape`
        Rise per metre towards east and north.
    model : ErrorModel

    Returns
    -------
    array, shape `grid.shape`
        In m²; NaN where nothing is known.
    """
    variance = np.full(grid.shape, model.patchy_vertical**2)
    if model.patchy_horizontal > 0:
        variance += (slope[0] ** 2 + slope[1] ** 2) * model.patchy_horizontal**2
    for _, effect in named_effects(grid, slope, model):
        variance += effect**2
    variance[np.isnan(height)] = np.nan
    return variance


def named_effects(
    grid: Grid, slope: tuple[Array, Array], model: ErrorModel
) -> Iterator[tuple[str, Array]]:
    """Yield what one standard uncertainty of each named component does to a piece's heights.

    Parameters
    ----------
    grid : Grid
    slope : tuple of arrays, shape `grid.shape`
        Rise per metre towards east and north.
    model : ErrorModel

    Yields
    ------
    name : str
    effect : array, shape `grid.shape`
        In metres, signed. A displacement is linear in the place, so that a row and a column through
        the pivot tell all, to the bit the same in whatever piece.
    """
    east, north = grid.centres()
    for part in model.named:
        still = part.displacement(np.array([[*part.pivot, 0.0]]))
        across = part.displacement(_places(east, np.full(len(east), part.pivot[1])))
        down = part.displacement(_places(np.full(len(north), part.pivot[0]), north)) - still
        moved = across[None, :, :] + down[:, None, :]
        yield part.name, moved[..., 2] - slope[0] * moved[..., 0] - slope[1] * moved[..., 1]


def _places(east: Array, north: Array) -> Array:
    return np.column_stack([east, north, np.zeros(len(east))])


def cell_places(grid: Grid, height: Array, where: npt.NDArray[np.bool_]) -> Array:
    """Return easting, northing, height, shape (n, 3), of the cells chosen by `where`."""
    easting, northing = grid.centres()
    row, column = np.nonzero(where)
    return np.column_stack([easting[column], northing[row], height[where]])
