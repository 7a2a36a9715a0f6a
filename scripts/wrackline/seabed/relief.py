"""Slope and light on a surface, from gradients after Horn 1981 (doi:10.1109/PROC.1981.11918).

A cell whose 3 × 3 neighbourhood is not whole, at borders and gaps, has neither.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

VIEW_UNITS = {
    "slope": "degree",
    "hillshade": "1",
    "shade_around": "1",
    "local_relief": "m",
    "openness": "degree",
}
"""Views of a surface, and their units."""

AROUND_DEG = (225.0, 270.0, 315.0, 360.0)
"""Where the four lights of `shade_around` stand: clockwise from grid north [degrees]."""


def horn_gradient(height: Array, cell_m: float) -> tuple[Array, Array]:
    """Return the gradient by Horn's weights 1-2-1 over eight cells' widths.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights, rows north to south, NaN where nothing is known [m].
    cell_m : float
        Cell size [m].

    Returns
    -------
    east, north : array, shape (n_rows, n_columns)
        Rise per metre; NaN at borders and beside gaps.

    Examples
    --------
    >>> east, north = horn_gradient(np.array([[3.0, 4, 5], [2, 3, 4], [1, 2, 3]]), 2.0)
    >>> float(east[1, 1]), float(north[1, 1]), float(east[0, 0])
    (0.5, 0.5, nan)
    """
    east, north = np.full(height.shape, np.nan), np.full(height.shape, np.nan)
    if min(height.shape) < 3:
        return east, north
    a, b, c = height[:-2, :-2], height[:-2, 1:-1], height[:-2, 2:]
    d, f = height[1:-1, :-2], height[1:-1, 2:]
    g, h, i = height[2:, :-2], height[2:, 1:-1], height[2:, 2:]
    rise_east = ((c + 2 * f + i) - (a + 2 * d + g)) / (8 * cell_m)
    rise_north = ((a + 2 * b + c) - (g + 2 * h + i)) / (8 * cell_m)
    whole = np.isfinite(height[1:-1, 1:-1] + rise_east + rise_north)
    east[1:-1, 1:-1] = np.where(whole, rise_east, np.nan)
    north[1:-1, 1:-1] = np.where(whole, rise_north, np.nan)
    return east, north


def slope_deg(east: Array, north: Array) -> Array:
    """Return the slope from level [degrees].

    Parameters
    ----------
    east, north : array
        Rise per metre, of one shape.

    Examples
    --------
    >>> slope_deg(np.array([0.0, 0.3]), np.array([1.0, 0.4])).round(6)
    array([45.      , 26.565051])
    """
    return np.asarray(np.degrees(np.arctan(np.hypot(east, north))), dtype=float)


def hillshade(
    east: Array, north: Array, *, azimuth_deg: float = 315.0, altitude_deg: float = 45.0
) -> Array:
    """Return the light that falls on a surface, from 1 (none) to 255 (full).

    Parameters
    ----------
    east, north : array
        Rise per metre, of one shape.
    azimuth_deg, altitude_deg : float
        Where the light comes from: clockwise from grid north, and above the horizon [degrees].

    Returns
    -------
    array
        1 + 254 cos i rounded half up, with incidence i; 1 in the shade; NaN where unknown. The
        numbers are those of the program gdaldem.

    Examples
    --------
    Level ground, and a plane that rises 0.3 m eastward and 0.4 m northward per metre:

    >>> hillshade(np.array([0.0, 0.3]), np.array([0.0, 0.4]))
    array([181., 150.])
    """
    light = _light(east, north, np.radians(azimuth_deg), np.radians(altitude_deg))
    return np.asarray(np.floor(1 + 254 * light + 0.5), dtype=float)


def shade_around(east: Array, north: Array, *, altitude_deg: float = 45.0) -> Array:
    """Return the light from four sides, each weighted by how straight it looks on the slope.

    Parameters
    ----------
    east, north : array
        Rise per metre, of one shape.
    altitude_deg : float
        How high the four lights stand above the horizon [degrees].

    Returns
    -------
    array
        1 + 127 Σ w cos i rounded half up over the lights of `AROUND_DEG`, with incidence i and
        weights w = cos²(aspect − azimuth), which add up to 2; NaN where unknown. It is the form,
        and the numbers, of gdaldem with -multidirectional, after Mark 1992 (US Geological Survey,
        Open-File Report 92-422).

    Examples
    --------
    Level ground, and the two sides of a bank that runs from south-west to north-east:

    >>> shade_around(np.array([0.0, 0.5, -0.5]), np.array([0.0, -0.5, 0.5]))
    array([181., 236.,  59.])
    """
    steep = east**2 + north**2
    total = np.zeros_like(steep)
    for degrees in AROUND_DEG:
        azimuth = np.radians(degrees)
        facing = (east * np.sin(azimuth) + north * np.cos(azimuth)) ** 2
        weight = np.divide(facing, steep, out=np.full_like(steep, 0.5), where=steep > 0)
        total += weight * _light(east, north, azimuth, np.radians(altitude_deg))
    known = np.where(np.isfinite(steep), total, np.nan)
    return np.asarray(np.floor(1 + 127 * known + 0.5), dtype=float)


def _light(east: Array, north: Array, azimuth: float, altitude: float) -> Array:
    """Return the cosine of the light's incidence, 0 in the shade."""
    away = east * np.sin(azimuth) + north * np.cos(azimuth)
    light = np.sin(altitude) - np.cos(altitude) * away
    return np.asarray(np.maximum(light / np.sqrt(1 + east**2 + north**2), 0.0))
