"""Divers' depth gauges: what a shown depth means in the water that the diver was in.

A gauge measures pressure and shows it as depth of a water of fixed density, so the true depth is
the shown one times that density over the water's own.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from wrackline.model import DepthGauge
from wrackline.uncertainty import NamedError

Array = npt.NDArray[np.float64]


def sea_water_density(salinity: float, temperature_c: float) -> float:
    """Return the density of sea water at one standard atmosphere [kg/m³].

    Parameters
    ----------
    salinity : float
        Practical salinity, 0 to 42.
    temperature_c : float
        Temperature, -2 to 40 [°C]; IPTS-68 and ITS-90 differ by less than 0.01 kg/m³ here.

    Notes
    -----
    International equation of state of sea water, EOS-80 (UNESCO technical papers in marine science
    44, 1983). Down to 10 m, pressure adds less than 0.05 kg/m³ to the mean of the column.

    Examples
    --------
    >>> round(sea_water_density(35.0, 5.0), 5)
    1027.67547
    """
    t = temperature_c
    pure = np.polyval(
        [6.536332e-9, -1.120083e-6, 1.001685e-4, -9.095290e-3, 6.793952e-2, 999.842594], t
    )
    first = np.polyval([5.3875e-9, -8.2467e-7, 7.6438e-5, -4.0899e-3, 8.24493e-1], t)
    root = np.polyval([-1.6546e-6, 1.0227e-4, -5.72466e-3], t)
    return float(pure + first * salinity + root * salinity**1.5 + 4.8314e-4 * salinity**2)


def true_depths(shown: Array, gauge: DepthGauge) -> Array:
    """Return depths below the water's surface from those that a gauge showed.

    Parameters
    ----------
    shown : array, shape (n,)
        Depths as shown [m].
    gauge : DepthGauge
        Density that it takes the water to have, and the water's own, or salinity and temperature.

    Returns
    -------
    array, shape (n,)
        Depths [m].

    Examples
    --------
    A gauge for 1020 kg/m³ shows 10 m in fresh water of 5 °C, which is lighter: 10.2 m are above it.

    >>> gauge = DepthGauge(salinity=0, temperature_c=5, display_step_m=0.1, least_sd_m=0.1)
    >>> true_depths(np.array([10.0]), gauge).round(3)
    array([10.2])
    """
    return np.asarray(np.asarray(shown, dtype=float) * density_ratio(gauge), dtype=float)


def density_ratio(gauge: DepthGauge) -> float:
    """Return the factor from shown to true depths."""
    return gauge.assumed_density_kg_m3 / water_density(gauge)[0]


def water_density(gauge: DepthGauge) -> tuple[float, float]:
    """Return the density of the water that the diver was in, and its sd [kg/m³].

    As measured, or from salinity and temperature, whose sds go in to first order (JCGM 100:2008,
    5.1.2).

    Examples
    --------
    >>> warm = {"salinity": 35, "temperature_c": 25, "salinity_sd": 1, "temperature_sd_c": 2}
    >>> gauge = DepthGauge(**warm, display_step_m=1, least_sd_m=1)
    >>> [round(part, 2) for part in water_density(gauge)]
    [1023.34, 0.97]
    """
    if gauge.density_kg_m3 is not None:
        return gauge.density_kg_m3, gauge.density_sd_kg_m3 or 0.0
    salinity, warmth = gauge.salinity or 0.0, gauge.temperature_c or 0.0
    density = sea_water_density(salinity, warmth)
    fresher = max(salinity - 0.5, 0.0)
    by_salinity = sea_water_density(fresher + 1, warmth) - sea_water_density(fresher, warmth)
    by_warmth = sea_water_density(salinity, warmth + 0.5) - sea_water_density(
        salinity, warmth - 0.5
    )
    changes = by_salinity * gauge.salinity_sd, by_warmth * gauge.temperature_sd_c
    return density, float(np.hypot(*changes))


def density_error(name: str, depth_m: float, gauge: DepthGauge) -> NamedError:
    """Return what the density's uncertainty does to a survey's heights.

    Every depth is too deep or too shallow by the same share, so the error is one cause for the
    whole survey and grows with depth. It is carried as one height shift, of the size that it has at
    the root mean square depth: its square is then right in the mean over the soundings, a wall
    and the bed beside it share it as they should, and all that reads named height shifts reads it.
    Turned down: a kind of named error that grows with depth, whose zero, the water's surface, no
    other stage knows.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    depth_m : float
        Root mean square of the depths shown [m].
    gauge : DepthGauge

    Examples
    --------
    A tenth of a per cent at 10 m is a centimetre:

    >>> measured = {"density_kg_m3": 1020.0, "density_sd_kg_m3": 1.02}
    >>> gauge = DepthGauge(**measured, display_step_m=0.1, least_sd_m=0.1)
    >>> round(density_error("2031-divers", 10.0, gauge).sd, 6)
    0.01
    """
    density, sd = water_density(gauge)
    return NamedError(
        f"{name}:gauge_density", "height", depth_m * density_ratio(gauge) * sd / density
    )


def reading_sd(random_sd_m: float, gauge: DepthGauge) -> float:
    """Return the standard uncertainty of one depth, from point to point [m].

    The survey's own and that of rounding to the display's step, evenly spread over the step (JCGM
    100:2008, 4.3.7), but never better than the gauge's stated least.

    Parameters
    ----------
    random_sd_m : float
        What the survey's config states [m].
    gauge : DepthGauge

    Examples
    --------
    >>> gauge = DepthGauge(salinity=38, temperature_c=18, display_step_m=0.3, least_sd_m=0.05)
    >>> round(reading_sd(0.05, gauge), 3), round(reading_sd(0.0, gauge), 3)
    (0.1, 0.087)
    """
    rounding = gauge.display_step_m / np.sqrt(12.0)
    return float(max(np.hypot(random_sd_m, rounding), gauge.least_sd_m))
