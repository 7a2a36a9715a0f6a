"""Exact points in, surveyed points out: one draw of a survey's errors.

The errors are drawn from the very model that `wrackline.uncertainty` propagates: random from
point to point, patchy with the spherical correlation, and named sources that move all points
together. So what this module does to points and what `propagate` says of a figure can be held
against each other.

Patchy fields: up to `EXACT_POINTS` points by the Cholesky factor of their correlation matrix; more
by circulant embedding on a grid (Dietrich and Newsam 1997, doi:10.1137/S1064827592240555), which
is exact on the nodes because the spherical correlation ends at its reach, then taken to the
points bilinearly and scaled back to a standard deviation of one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from scipy.fft import next_fast_len
from scipy.spatial.distance import cdist

from wrackline.uncertainty import Array, ErrorModel, spherical

EXACT_POINTS = 1200
NODES_PER_REACH = 16
MAX_NODES = 4_000_000


def draw_named(models: Iterable[ErrorModel], rng: np.random.Generator) -> dict[str, float]:
    """Return one standard normal draw for each named component of the surveys.

    Components of equal name are one error and get one draw, also between surveys.

    Parameters
    ----------
    models : iterable of ErrorModel
        Errors of the surveys of a site.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    dict of str to float
        Draw by component name, e.g. ``{"gauge_zero:height": 0.31}``, in standard uncertainties.
    """
    names = sorted({part.name for model in models for part in model.named})
    return {name: float(rng.standard_normal()) for name in names}


def displace(
    xyz: Array, model: ErrorModel, rng: np.random.Generator, named_draws: Mapping[str, float]
) -> Array:
    """Return the points as one survey would have measured them.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        True easting, northing, height [m]; a height may be NaN and stays so.
    model : ErrorModel
        Errors of the survey.
    rng : numpy.random.Generator
        Source of the random and patchy draws; points are drawn in the order given.
    named_draws : mapping of str to float
        For each named component of the model, how many standard uncertainties it is off.

    Returns
    -------
    array, shape (n, 3)
        Measured easting, northing, height [m].

    Raises
    ------
    KeyError
        When a named component has no draw.

    Examples
    --------
    >>> from wrackline.uncertainty import NamedError
    >>> low = ErrorModel("a", 0.0, 0.0, named=(NamedError("gauge_zero:height", "height", 0.05),))
    >>> displace(np.zeros((1, 3)), low, np.random.default_rng(1), {"gauge_zero:height": -2.0})
    array([[ 0. ,  0. , -0.1]])
    """
    points = np.asarray(xyz, dtype=float)
    sizes = np.array([model.random_horizontal, model.random_horizontal, model.random_vertical])
    moved = points + sizes * rng.standard_normal(points.shape)
    sizes = np.array([model.patchy_horizontal, model.patchy_horizontal, model.patchy_vertical])
    if sizes.any() and len(points):
        moved += sizes * patchy_fields(points[:, :2], model.patchy_distance, rng)
    for part in model.named:
        moved += named_draws[part.name] * part.displacement(points)
    return moved


def patchy_fields(xy: Array, reach: float, rng: np.random.Generator, count: int = 3) -> Array:
    """Return independent fields of unit sd and spherical correlation, at points.

    Parameters
    ----------
    xy : array, shape (n, 2)
        Easting and northing [m].
    reach : float
        Distance from which the correlation is zero [m].
    rng : numpy.random.Generator
        Source of the draws.
    count : int
        Number of fields.

    Returns
    -------
    array, shape (n, count)
        Values with mean 0 and sd 1.
    """
    places, place_of = np.unique(xy, axis=0, return_inverse=True)
    if len(places) <= EXACT_POINTS:
        fields = _fields_at_points(places, reach, rng, count)
    else:
        fields = _fields_by_grid(places, reach, rng, count)
    values: Array = fields[place_of.reshape(-1)]
    return values


def _fields_at_points(xy: Array, reach: float, rng: np.random.Generator, count: int) -> Array:
    """Return fields by the Cholesky factor of the points' correlation matrix."""
    correlation = spherical(cdist(xy, xy), reach)
    correlation[np.diag_indices(len(xy))] += 1e-9  # points a hair apart leave it singular
    factor = np.linalg.cholesky(correlation)
    fields: Array = factor @ rng.standard_normal((len(xy), count))
    return fields


def _fields_by_grid(xy: Array, reach: float, rng: np.random.Generator, count: int) -> Array:
    """Return fields drawn on a grid and taken to the points bilinearly."""
    low = xy.min(axis=0)
    extent = xy.max(axis=0) - low + 2 * reach  # two reaches of margin: no edge sees the other
    cell = max(reach / NODES_PER_REACH, float(np.sqrt(np.prod(extent) / MAX_NODES)))
    shape = (next_fast_len(int(extent[0] / cell) + 2), next_fast_len(int(extent[1] / cell) + 2))
    nodes = _fields_on_torus(shape, cell, reach, rng=rng, count=count)
    position = (xy - low) / cell
    corner = position.astype(np.int64)
    weights = _bilinear_weights(position - corner)
    steps = ((0, 0), (0, 1), (1, 0), (1, 1))
    values = sum(
        weight[:, None] * nodes[corner[:, 0] + i, corner[:, 1] + j]
        for weight, (i, j) in zip(weights, steps, strict=True)
    )
    scaled: Array = values / np.sqrt(_variance_between_nodes(weights, cell, reach))[:, None]
    return scaled


def _bilinear_weights(part: Array) -> Array:
    """Return the weights of a cell's four nodes at places (0 to 1 each way), shape (4, n)."""
    x, y = part.T
    return np.stack([(1 - x) * (1 - y), (1 - x) * y, x * (1 - y), x * y])


def _fields_on_torus(
    shape: tuple[int, int], cell: float, reach: float, *, rng: np.random.Generator, count: int
) -> Array:
    """Return fields on the nodes of a grid whose opposite edges meet, shape (nx, ny, count)."""
    lags = [np.minimum(np.arange(n), n - np.arange(n)) * cell for n in shape]
    spectrum = np.fft.fft2(spherical(np.hypot(lags[0][:, None], lags[1][None, :]), reach)).real
    root = np.sqrt(np.maximum(spectrum, 0.0) * spectrum.size)
    fields = []
    for _ in range((count + 1) // 2):
        noise = rng.standard_normal((*shape, 2)) @ np.array([1.0, 1.0j])
        drawn = np.fft.ifft2(root * noise)
        fields += [drawn.real, drawn.imag]
    return np.stack(fields[:count], axis=-1)


def _variance_between_nodes(weights: Array, cell: float, reach: float) -> Array:
    """Return the variance of the bilinear mean of four nodes of unit variance, per point."""
    corners = np.array([(0, 0), (0, 1), (1, 0), (1, 1)], dtype=float) * cell
    correlation = spherical(cdist(corners, corners), reach)
    variance: Array = np.einsum("ip,ij,jp->p", weights, correlation, weights)
    return variance
