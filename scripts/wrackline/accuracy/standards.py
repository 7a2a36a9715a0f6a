"""IHO Standards for Hydrographic Surveys, S-44, edition 6: total vertical uncertainty.

All limits are at 95 %, taken as 1.96 sd (2.7), for reduced depths (3.2.3), and inclusive. They say
how well a depth is known, not what a survey would have shown: even the strictest order passes a
survey that misses a wall one course high.
"""

from __future__ import annotations

from types import MappingProxyType

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

COVERAGE_S44 = 1.96
"""Standard uncertainties in a 95 % interval of a depth, as S-44 prints it (2.7)."""

ORDERS = MappingProxyType(
    {
        "exclusive": (0.15, 0.0075),
        "special": (0.25, 0.0075),
        "1a": (0.5, 0.013),
        "1b": (0.5, 0.013),
        "2": (1.0, 0.023),
    }
)
"""Order -> a [m] and b, table 1; strictest first."""


def tvu_max(depth: npt.ArrayLike, order: str) -> Array:
    """Return the greatest total vertical uncertainty that an order allows, √(a² + (b d)²).

    Parameters
    ----------
    depth : array
        Reduced depths [m]; ground above the level counts as depth 0.
    order : {"exclusive", "special", "1a", "1b", "2"}

    Returns
    -------
    array
        At 95 % [m].

    Examples
    --------
    >>> tvu_max([0.0, 3.0, 10.0], "special").round(4)
    array([0.25 , 0.251, 0.261])
    """
    a, b = ORDERS[order]
    d = np.maximum(np.asarray(depth, dtype=float), 0.0)
    return np.asarray(np.sqrt(a**2 + (b * d) ** 2), dtype=float)
