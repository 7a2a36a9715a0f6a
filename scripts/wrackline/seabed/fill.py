"""Filling of gaps up to a stated distance, with an sd that says how much it is worth.

A cell without soundings, no further from a measured cell than the distance, takes the value of the
triangle (Delaunay) of measured cells around it; outside all triangles nothing is filled. Three
measured heights z_i with weights w_i miss the true height there by two things:

* their own random errors, Σ w_i² σ_i²;
* the seabed's own ups and downs between them. With the semivariogram γ of the seabed this is
  2 Σ w_i γ(d_i0) − Σ Σ w_i w_j γ(d_ij), for any weights that sum to one (Journel and Huijbregts
  1978, Mining Geostatistics, II.A).

γ is taken from the survey's own measured cells: half the mean square of height differences by
distance, the cells' random variance taken off, fitted with coefficients of at least 0 by a line, by
exponential models of a few ranges, and by d² for each axis. The last is slope, for which the term
above is zero: planes are filled without error. So the other parts alone count.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, distance_transform_edt
from scipy.optimize import nnls
from scipy.spatial import Delaunay

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LEAST_LAGS, MOST_LAGS = 4, 40
LEAST_PAIRS = 30
RANGES = (1.0, 3.0, 9.0)
"""Ranges of the exponential parts of γ, in cells."""


def fill_gaps(
    height: Array, random: Array, own: Array, *, cell_m: float, distance_m: float
) -> tuple[Array, Array, Array]:
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

    Returns
    -------
    height, random, own : array, shape (n_rows, n_columns)
        With the gaps filled; `random` there includes how much the seabed varies between the
        measured cells. Nothing is filled where fewer than 30 pairs of cells tell that.

    Examples
    --------
    A gap in a plane is filled exactly; beyond the distance nothing is:

    >>> plane = np.tile(np.arange(12.0), (3, 1))
    >>> plane[:, 3:5], plane[:, 7:11] = np.nan, np.nan
    >>> filled, *_ = fill_gaps(plane, plane * 0, plane * 0, cell_m=1.0, distance_m=1.0)
    >>> filled[1]
    array([ 0.,  1.,  2.,  3.,  4.,  5.,  6.,  7., nan, nan, 10., 11.])
    """
    measured = np.isfinite(height)
    rough = roughness(height, random, cell_m=cell_m, reach_m=2 * distance_m)
    gaps = _gaps(measured, distance_m / cell_m)
    if rough is None or not gaps.any():
        return height, random, own
    targets = np.argwhere(gaps)
    rim = np.argwhere(measured & binary_dilation(~measured, np.ones((3, 3), dtype=bool)))
    corners, weights, inside = _triangles(rim, targets)
    rows, columns = targets[inside].T
    at = tuple(np.moveaxis(rim[corners], -1, 0))
    new_height, new_random, new_own = height.copy(), random.copy(), own.copy()
    new_height[rows, columns] = (weights * height[at]).sum(axis=1)
    varies = _between(rim[corners].astype(float), targets[inside].astype(float), weights)
    new_random[rows, columns] = (weights**2 * random[at]).sum(axis=1) + varies @ rough
    new_own[rows, columns] = (weights * own[at]).sum(axis=1)
    return new_height, new_random, new_own


def _gaps(measured: npt.NDArray[np.bool_], cells: float) -> npt.NDArray[np.bool_]:
    """Return the cells without soundings whose nearest measured cell is within `cells`."""
    if cells <= 0 or not measured.any():
        return np.zeros_like(measured)
    distance = np.asarray(distance_transform_edt(~measured), dtype=float)
    return ~measured & (distance <= cells + 1e-9)


def _triangles(rim: Ints, targets: Ints) -> tuple[Ints, Array, npt.NDArray[np.bool_]]:
    """Return, for the targets inside a triangle of rim cells, its corners and their weights.

    Measured cells that border no gap can't be a corner of a triangle around a cell of a gap, so
    the rim alone gives the same triangles as all measured cells.
    """
    none = np.zeros((0, 3), dtype=np.int64), np.zeros((0, 3)), np.zeros(len(targets), dtype=bool)
    if len(rim) < 3 or np.linalg.matrix_rank(rim - rim[0]) < 2:
        return none
    mesh = Delaunay(rim.astype(float))
    simplex = mesh.find_simplex(targets.astype(float))
    frame = mesh.transform[simplex]
    inside = (simplex >= 0) & np.isfinite(frame).all(axis=(1, 2))
    frame, offset = frame[inside], targets[inside] - frame[inside][:, 2]
    two = np.einsum("nij,nj->ni", frame[:, :2], offset)
    weights = np.clip(np.column_stack([two, 1 - two.sum(axis=1)]), 0.0, 1.0)
    weights /= weights.sum(axis=1, keepdims=True)
    return mesh.simplices[simplex[inside]].astype(np.int64), weights, inside


def _between(corners: Array, targets: Array, weights: Array) -> Array:
    """Return 2 Σ w_i γ(d_i0) − Σ Σ w_i w_j γ(d_ij) for each part of γ but the slope.

    Parameters
    ----------
    corners : array, shape (n, 3, 2)
        In cells.
    targets : array, shape (n, 2)
        In cells.
    weights : array, shape (n, 3)

    Returns
    -------
    array, shape (n, n_parts)
    """
    total = np.zeros((len(targets), 1 + len(RANGES)))
    for i in range(3):
        to_target = _parts(np.linalg.norm(corners[:, i] - targets, axis=1))
        total += 2 * weights[:, i, None] * to_target
    for i, j in ((0, 1), (0, 2), (1, 2)):
        apart = _parts(np.linalg.norm(corners[:, i] - corners[:, j], axis=1))
        total -= 2 * (weights[:, i] * weights[:, j])[:, None] * apart
    return np.maximum(total, 0.0)


def _parts(distance: Array) -> Array:
    """Return the parts of γ but the slope at distances in cells, shape (n, n_parts)."""
    exponential = [1 - np.exp(-distance / reach) for reach in RANGES]
    return np.column_stack([distance, *exponential])


def roughness(height: Array, random: Array, *, cell_m: float, reach_m: float) -> Array | None:
    """Return how much the seabed varies with distance, slopes taken off.

    Parameters
    ----------
    height, random : array, shape (n_rows, n_columns)
        Mean heights [m] and their random variance [m²]; NaN where nothing was measured.
    cell_m : float
        Cell size [m].
    reach_m : float
        Greatest distance looked at; at least 4 and at most 40 cells are [m].

    Returns
    -------
    array, shape (n_parts,), or None
        Coefficients of γ by distance in cells: of the line [m² per cell], and of the exponential
        models [m²]; None below 30 pairs of cells.
    """
    lags = int(np.clip(np.ceil(reach_m / cell_m), LEAST_LAGS, MOST_LAGS))
    found = [
        (*_half_squares(height, random, lag, axis), axis)
        for lag in range(1, lags + 1)
        for axis in (0, 1)
    ]
    pairs, gamma, distance, axis = np.array(found, dtype=float).T
    if pairs.sum() < LEAST_PAIRS:
        return None
    slopes = np.column_stack([distance**2 * (axis == 0), distance**2 * (axis == 1)])
    weight = np.sqrt(pairs) / distance  # an estimate of γ is about as uncertain as γ is large
    design = np.column_stack([_parts(distance), slopes]) * weight[:, None]
    coefficients, _ = nnls(design, gamma * weight)
    return np.asarray(coefficients[: 1 + len(RANGES)], dtype=float)


def _half_squares(height: Array, random: Array, lag: int, axis: int) -> tuple[int, float, int]:
    """Return number of pairs, half their mean square difference less noise, and the lag."""
    low = [slice(None), slice(None)]
    high = [slice(None), slice(None)]
    low[axis], high[axis] = slice(None, -lag), slice(lag, None)
    one, other = tuple(low), tuple(high)
    if height.shape[axis] <= lag:
        return 0, 0.0, lag
    difference = height[one] - height[other]
    both = np.isfinite(difference)
    if not both.any():
        return 0, 0.0, lag
    noise = (random[one] + random[other])[both]
    return int(both.sum()), float(((difference[both] ** 2 - noise) / 2).mean()), lag
