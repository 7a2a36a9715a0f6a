"""Coordinate reference systems, through pyproj alone.

A missing datum grid makes PROJ return its input as output unless it is told otherwise, so every
transformation here asks for the best operation, refuses ballpark ones and checks that the best
is to be had. Grid to true north and grid to ground are PROJ's factors at the place in question.
"""

from __future__ import annotations

import warnings
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from pyproj import CRS, Proj, Transformer, network
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

from wrackline.errors import ConfigError, Fault, InputError

network.set_network_enabled(False)  # type: ignore[attr-defined]  # nothing is fetched at run time

Array = npt.NDArray[np.float64]


def parse_crs(text: str, *, file: str, survey: str = "") -> CRS:
    """Return the CRS that a config names.

    Raises
    ------
    ConfigError
        When PROJ doesn't know it.
    """
    try:
        return CRS.from_user_input(text)
    except CRSError:
        raise ConfigError(
            Fault(
                kind="unknown_crs",
                found=f"crs '{text}'",
                allowed="an authority code such as 'EPSG:32633', or a WKT or PROJ text",
                consequence="the survey could not be placed",
                remedy="look the code up in the survey's own report",
                file=file,
                survey=survey,
            )
        ) from None


def site_crs(text: str) -> CRS:
    """Return the site's CRS, which must be projected, in metres, easting before northing.

    Raises
    ------
    ConfigError
        When it is unknown or of another kind.
    """
    crs = parse_crs(text, file="config/site.yaml")
    units = {axis.unit_name for axis in crs.axis_info[:2]}
    if crs.is_projected and units == {"metre"}:
        return crs
    raise ConfigError(
        Fault(
            kind="site_crs",
            found=f"'{crs.name}', {'projected' if crs.is_projected else 'not projected'}, "
            f"in {', '.join(sorted(units)) or 'no unit'}",
            allowed="a projected CRS in metres",
            consequence="lengths and areas would not be metres",
            remedy="choose the national grid or the UTM zone of the site",
            file="config/site.yaml",
        )
    )


def transformer(source: CRS, target: CRS, *, survey: str, file: str) -> Transformer:
    """Return the best transformation between two CRSs, refusing anything less.

    Parameters
    ----------
    source, target : CRS
        From and to; coordinates are always in the order easting (longitude), northing.
    survey, file : str
        For the message.

    Raises
    ------
    InputError
        When the best operation needs a grid that is not on this machine, or there is none.
    """
    try:
        with warnings.catch_warnings():  # its warning of a missing grid becomes the fault below
            warnings.simplefilter("ignore", UserWarning)
            group = TransformerGroup(source, target, always_xy=True, allow_ballpark=False)
        if group.best_available and group.transformers:
            return Transformer.from_crs(
                source, target, always_xy=True, allow_ballpark=False, only_best=True
            )
        missing = sorted(
            {
                grid.short_name
                for op in group.unavailable_operations
                for grid in op.grids
                if not grid.available
            }
        )
    except ProjError:
        missing = []
    raise InputError(
        Fault(
            kind="grid_missing" if missing else "no_transformation",
            found=f"from '{source.name}' to '{target.name}': "
            + (f"the best operation needs {', '.join(missing)}" if missing else "no operation"),
            allowed="the best known transformation, with its grid files on this machine",
            consequence="positions would come out shifted by up to hundreds of metres, unseen",
            remedy="put the grid file into PROJ's data folder (pyproj.datadir.get_data_dir()), "
            "or deliver the survey in the site's CRS",
            file=file,
            survey=survey,
        )
    )


@lru_cache(maxsize=8)
def _proj(crs_text: str) -> tuple[Proj, Transformer]:
    crs = CRS.from_user_input(crs_text)
    if crs.geodetic_crs is None:
        raise ValueError(f"{crs.name} has no geodetic CRS")
    return Proj(crs), Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)


def grid_factors(crs_text: str, easting: Array, northing: Array) -> tuple[Array, Array]:
    """Return convergence and scale of the site's grid at given places.

    Parameters
    ----------
    crs_text : str
        The site's projected CRS.
    easting, northing : array, shape (n,)
        Places [m].

    Returns
    -------
    convergence_deg : array, shape (n,)
        Positive where grid north lies east of true north: true azimuth = grid azimuth +
        convergence [degrees].
    scale : array, shape (n,)
        Grid length over ground length; areas go with the areal scale, its square on a
        conformal grid.

    Notes
    -----
    The sign is PROJ's; the Australian manual (GDA technical manual) prints the opposite one.
    """
    proj, to_geodetic = _proj(crs_text)
    longitude, latitude = to_geodetic.transform(np.asarray(easting), np.asarray(northing))
    factors = proj.get_factors(longitude, latitude)
    return (
        np.asarray(factors.meridian_convergence, dtype=float),
        np.sqrt(np.asarray(factors.areal_scale, dtype=float)),
    )
