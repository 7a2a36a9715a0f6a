"""Local grids: similarity and affine transformations fitted to control by least squares.

Similarity (2-D conformal): E = a x - b y + TE, N = b x + a y + TN. Affine: each axis its own
a x + b y + c. Worked examples that the tests reproduce: Ghilani, Adjustment Computations, 18.1
and 18.2; IOGP Guidance Note 7-2, methods 9621 and 9624.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wrackline.model import LocalGrid
from wrackline.uncertainty import NamedError

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Similarity:
    """A fitted similarity transformation.

    Attributes
    ----------
    a, b : float
        Scale times cosine and sine of the rotation.
    shift : array, shape (2,)
        TE, TN [m].
    residuals : array, shape (n, 2)
        Computed minus given, at the control points [m].
    """

    a: float
    b: float
    shift: Array
    residuals: Array

    @property
    def scale(self) -> float:
        """Length in the target over length in the source."""
        return float(np.hypot(self.a, self.b))

    @property
    def s0(self) -> float:
        """Reference standard deviation of the fit [m]; NaN where two points leave nothing over."""
        redundant = self.residuals.size - 4
        if redundant <= 0:
            return float("nan")
        return float(np.sqrt((self.residuals**2).sum() / redundant))

    def apply(self, xy: Array) -> Array:
        """Return points, shape (n, 2), in the target system [m]."""
        turn = np.array([[self.a, self.b], [-self.b, self.a]])
        return np.asarray(np.asarray(xy) @ turn + self.shift, dtype=float)


def fit_similarity(local: Array, site: Array) -> Similarity:
    """Fit the transformation from local to site coordinates.

    Parameters
    ----------
    local, site : array, shape (n, 2)
        The same n >= 2 distinct points in both systems.

    Returns
    -------
    Similarity

    Examples
    --------
    A quarter turn, twice as large, moved by (10, 20):

    >>> fit = fit_similarity(np.array([[0.0, 0], [1, 0]]), np.array([[10.0, 20], [10, 22]]))
    >>> fit.apply(np.array([[0.0, 1.0]])).round(6)
    array([[ 8., 20.]])
    """
    local, site = np.asarray(local, dtype=float), np.asarray(site, dtype=float)
    from_centre, to_centre = local.mean(axis=0), site.mean(axis=0)
    p, q = local - from_centre, site - to_centre
    size = (p**2).sum()
    a = float((p * q).sum() / size)
    b = float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum() / size)
    turn = np.array([[a, b], [-b, a]])
    shift = to_centre - from_centre @ turn
    return Similarity(a, b, shift, local @ turn + shift - site)


@dataclass(frozen=True)
class Affine:
    """A fitted affine transformation.

    Attributes
    ----------
    matrix : array, shape (2, 2)
        Rows: easting, northing; columns: x, y.
    shift : array, shape (2,)
        Constant terms [m].
    residuals : array, shape (n, 2)
        Computed minus given, at the control points [m].
    """

    matrix: Array
    shift: Array
    residuals: Array

    @property
    def scale(self) -> float:
        """Square root of the area in the target over the area in the source."""
        return float(np.sqrt(abs(np.linalg.det(self.matrix))))

    @property
    def s0(self) -> float:
        """Reference standard deviation of the fit [m]; NaN where three points fix it exactly."""
        redundant = self.residuals.size - 6
        if redundant <= 0:
            return float("nan")
        return float(np.sqrt((self.residuals**2).sum() / redundant))

    def apply(self, xy: Array) -> Array:
        """Return points, shape (n, 2), in the target system [m]."""
        return np.asarray(np.asarray(xy) @ self.matrix.T + self.shift, dtype=float)


def fit_affine(local: Array, site: Array, sd: Array | None = None) -> Affine:
    """Fit the affine transformation from local to site coordinates.

    Parameters
    ----------
    local, site : array, shape (n, 2)
        The same n >= 3 points in both systems, not on one line.
    sd : array, shape (n, 2), optional
        Standard uncertainties of `site`; alike for all when left out.

    Returns
    -------
    Affine

    Examples
    --------
    Pixels of 0.5 m counted downwards from (100, 200):

    >>> pixels = np.array([[0.0, 0], [10, 0], [0, 10]])
    >>> fit = fit_affine(pixels, np.array([[100.0, 200], [105, 200], [100, 195]]))
    >>> fit.apply(np.array([[4.0, 2.0]])).round(6) + 0.0
    array([[102., 199.]])
    """
    local, site = np.asarray(local, dtype=float), np.asarray(site, dtype=float)
    weight = np.ones_like(site) if sd is None else 1.0 / np.asarray(sd, dtype=float)
    centre = local.mean(axis=0)
    design = np.column_stack([local - centre, np.ones(len(local))])
    rows = [
        np.linalg.lstsq(design * weight[:, [k]], site[:, k] * weight[:, k], rcond=None)[0]
        for k in (0, 1)
    ]
    matrix = np.array([row[:2] for row in rows])
    shift = np.array([row[2] for row in rows]) - matrix @ centre
    return Affine(matrix, shift, local @ matrix.T + shift - site)


def marks_of(grid: LocalGrid) -> tuple[Array, Array]:
    """Return a local grid's marks in its own numbers and in the site's CRS, shape (n, 2) each."""
    return (
        np.array([point.local for point in grid.points], dtype=float),
        np.array([point.site for point in grid.points], dtype=float),
    )


def fit_local_grid(grid: LocalGrid) -> Similarity | Affine:
    """Return the transformation that a config's local grid describes."""
    local, site = marks_of(grid)
    return fit_affine(local, site) if grid.method == "affine" else fit_similarity(local, site)


def local_grid_errors(name: str, grid: LocalGrid) -> list[NamedError]:
    """Return what the marks' own errors do to everything on the local grid.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    grid : LocalGrid
        Its marks, with their standard uncertainty.

    Returns
    -------
    list of NamedError
        Shift, rotation and scale about the marks' centre, where they are independent. An affine
        fit is worst along the direction in which its marks spread least; its rotation and scale
        are given the sd of that direction, so that no place is called better than it is.
    """
    _, site = marks_of(grid)
    centre = site.mean(axis=0)
    pivot = (float(centre[0]), float(centre[1]))
    shift = grid.control_sd_m / np.sqrt(len(site))
    spread = (site - centre).T @ (site - centre)
    size = np.linalg.eigvalsh(spread)[0] if grid.method == "affine" else np.trace(spread)
    turn = grid.control_sd_m / np.sqrt(size)
    sizes = {"easting": shift, "northing": shift, "rotation": turn, "scale": turn}
    return [
        NamedError(f"{name}:local_grid_{kind}", kind, float(sd), pivot)
        for kind, sd in sizes.items()
    ]
