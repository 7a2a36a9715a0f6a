"""Filling of gaps up to a stated distance, with an sd that says how much it is worth.

A cell without soundings, no further from a measured cell than the distance, is filled by universal
kriging with a linear drift (Chilès and Delfiner 2012, Geostatistics, 3.4 and 4) from the two
nearest measured cells of each of eight sectors, none further off than twice the distance. The
generalised covariance is the survey's own, see `wrackline.seabed.roughness`. Where the measured
cells don't surround it, nothing is filled.

A measured cell that stands off the plane through the middle of its neighbours by more than 2.5 sds
(a wall, a stone) counts as that much less sure. So filled cells tell the seabed between; what
stands wholly in a gap is not in them.

A filled cell depends on cells within `margin_cells` alone: strips with that margin give the same
figures as the whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt

from wrackline.seabed.neighbours import krige_cells
from wrackline.seabed.roughness import Roughness

Array = npt.NDArray[np.float64]

REACH = 2.0
"""Farthest neighbour, in fill distances."""
LEAST_REACH = 3
"""And at least so many cells."""


@dataclass(frozen=True)
class Filled:
    """A surface with its gaps filled; arrays of shape (n_rows, n_columns).

    Attributes
    ----------
    height : array
        Measured and filled heights [m]; NaN where neither is.
    random : array
        Their variance [m²]; in filled cells with how much the seabed varies between measured
        cells.
    own : array
        Least variance by the file's own statement [m²].
    distance_m : array
        Distance to the nearest measured cell: 0 where measured, NaN where not filled [m].
    """

    height: Array
    random: Array
    own: Array
    distance_m: Array


def margin_cells(cell_m: float, distance_m: float) -> int:
    """Return how many cells around a strip its filled cells may depend on.

    >>> margin_cells(0.5, 2.5), margin_cells(0.05, 2.5), margin_cells(1.0, 0.0)
    (10, 100, 0)
    """
    if distance_m <= 0:
        return 0
    return max(LEAST_REACH, int(np.ceil(REACH * distance_m / cell_m - 1e-9)))


def fill_gaps(
    height: Array,
    random: Array,
    own: Array,
    *,
    cell_m: float,
    distance_m: float,
    rough: Roughness | None,
) -> Filled:
    """Fill cells without soundings that lie near measured ones.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Mean heights, NaN where nothing was measured [m].
    random : array, shape (n_rows, n_columns)
        Random variance of the means [m²].
    own : array, shape (n_rows, n_columns)
        Least variance by the file's own statement, 0 where there is none [m²].
    cell_m : float
        Cell size [m].
    distance_m : float
        Farthest that a filled cell's centre lies from a measured one's [m].
    rough : Roughness or None
        Of the whole survey; with None nothing is filled, as no sd could be told.

    Examples
    --------
    A gap in a plane is filled exactly; beyond the distance nothing is:

    >>> plane = np.tile(np.arange(12.0), (3, 1))
    >>> plane[:, 3:5], plane[:, 7:11] = np.nan, np.nan
    >>> level = Roughness((), (0.0, 0.0, 0.0))
    >>> filled = fill_gaps(plane, 0 * plane, 0 * plane, cell_m=1.0, distance_m=1.0, rough=level)
    >>> filled.height[1].round(6)
    array([ 0.,  1.,  2.,  3.,  4.,  5.,  6., nan, nan, nan, nan, 11.])
    >>> filled.distance_m[1]
    array([ 0.,  0.,  0.,  1.,  1.,  0.,  0., nan, nan, nan, nan,  0.])
    """
    measured = np.isfinite(height)
    result = Filled(height.copy(), random.copy(), own.copy(), np.where(measured, 0.0, np.nan))
    if rough is None or distance_m <= 0 or measured.all():
        return result
    distance = _distance(measured)
    gaps = ~measured & (distance <= distance_m / cell_m + 1e-9)
    if not gaps.any():
        return result
    reach, cells = margin_cells(cell_m, distance_m), np.argwhere(gaps)
    table = rough.covariance(np.sqrt(np.arange(4 * reach**2 + 1)))
    z, noise, least = (np.ascontiguousarray(band, dtype=float) for band in (height, random, own))
    found = krige_cells(z, noise, least, cells, table, reach, rough.noise_share)
    filled = np.isfinite(found[:, 0])
    at = tuple(cells[filled].T)
    result.height[at], result.random[at], result.own[at] = found[filled].T
    result.distance_m[at] = distance[at] * cell_m
    return result


def _distance(measured: npt.NDArray[np.bool_]) -> Array:
    """Return the distance of each cell to the nearest measured one [cells], inf if none is."""
    if not measured.any():
        return np.full(measured.shape, np.inf)
    return np.asarray(distance_transform_edt(~measured), dtype=float)
