"""Local grids: the similarity (2-D conformal) transformation fitted to control by least squares.

Model: E = a x - b y + TE, N = b x + a y + TN. Source of the worked example that the tests
reproduce: Ghilani, Adjustment Computations, Example 18.1.
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


def fit_local_grid(grid: LocalGrid) -> Similarity:
    """Return the transformation that a config's local grid describes."""
    return fit_similarity(
        np.array([point.local for point in grid.points]),
        np.array([point.site for point in grid.points]),
    )


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
        Shift, rotation and scale about the marks' centre, where they are independent.
    """
    site = np.array([point.site for point in grid.points])
    centre = site.mean(axis=0)
    pivot = (float(centre[0]), float(centre[1]))
    shift = grid.control_sd_m / np.sqrt(len(site))
    turn = grid.control_sd_m / np.sqrt(((site - centre) ** 2).sum())
    sizes = {"easting": shift, "northing": shift, "rotation": turn, "scale": turn}
    return [
        NamedError(f"{name}:local_grid_{kind}", kind, float(sd), pivot)
        for kind, sd in sizes.items()
    ]
