"""Coordinate frames of survey files: which are the same, and where a file's numbers would lie."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from pyproj import CRS

from wrackline.crs import parse_crs, site_crs, transformer
from wrackline.fit.similarity import fit_local_grid
from wrackline.model import Survey

Array = npt.NDArray[np.float64]
Placing = Callable[[Array, Array], tuple[Array, Array]]


def horizontal(crs: CRS) -> CRS:
    """Return the horizontal part of a compound CRS, or the CRS itself."""
    return crs.sub_crs_list[0] if crs.is_compound else crs


def same_crs(one: CRS, other: CRS) -> bool:
    """Tell whether two CRSs give a place the same numbers; names and axis order don't count.

    >>> same_crs(CRS.from_epsg(32633), CRS.from_user_input("+proj=utm +zone=33 +datum=WGS84"))
    True
    """
    one, other = horizontal(one), horizontal(other)
    return bool(one.equals(other, ignore_axis_order=True)) or (
        one.to_authority(min_confidence=100) == other.to_authority(min_confidence=100) is not None
    )


def placing(name: str, survey: Survey, site: str) -> Placing:
    """Return the function that takes a survey's own numbers to the site's CRS.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    survey : Survey
        Its config: a CRS or a local grid.
    site : str
        The site's CRS.

    Returns
    -------
    callable
        From x, y, shape (n,), to easting, northing, shape (n,) [m].

    Raises
    ------
    ConfigError
        When a CRS is unknown, or the site's is not projected in metres.
    InputError
        When the best transformation needs a grid that is not on this machine.
    """
    target = site_crs(site)
    if survey.local_grid is not None:
        fit = fit_local_grid(survey.local_grid)
        return lambda x, y: _columns(fit.apply(np.column_stack([x, y])))
    season = f"config/seasons/{name.split('-', 1)[0]}.yaml"
    source = parse_crs(str(survey.crs), file=season, survey=name)
    if same_crs(source, target):
        return lambda x, y: (x, y)
    operation = transformer(horizontal(source), target, survey=name, file=survey.file)
    return lambda x, y: _columns(np.column_stack(operation.transform(x, y)))


def placing_back(name: str, survey: Survey, site: str) -> Placing:
    """Return the function that takes places in the site's CRS to a survey's own numbers.

    It is the inverse of `placing`, with its parameters and errors.
    """
    target = site_crs(site)
    if survey.local_grid is not None:
        fit = fit_local_grid(survey.local_grid)
        shift = fit.apply(np.zeros((1, 2)))
        inverse = np.linalg.inv(fit.apply(np.eye(2)) - shift)
        return lambda x, y: _columns((np.column_stack([x, y]) - shift) @ inverse)
    season = f"config/seasons/{name.split('-', 1)[0]}.yaml"
    source = parse_crs(str(survey.crs), file=season, survey=name)
    if same_crs(source, target):
        return lambda x, y: (x, y)
    operation = transformer(target, horizontal(source), survey=name, file=survey.file)
    return lambda x, y: _columns(np.column_stack(operation.transform(x, y)))


def _columns(xy: Array) -> tuple[Array, Array]:
    return xy[:, 0], xy[:, 1]
