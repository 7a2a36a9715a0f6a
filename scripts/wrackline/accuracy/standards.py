"""IHO Standards for Hydrographic Surveys, S-44, edition 6: vertical uncertainty and features.

All limits are at 95 %, taken as 1.96 sd (2.7), for reduced depths (3.2.3), and inclusive. They say
how well a depth is known, not what a survey would have shown: even the strictest order passes a
survey that misses a wall one course high.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

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

MATRIX = MappingProxyType(
    {
        "Bc": (100, 50, 25, 10, 5, 2, 1, 0.5, 0.3, 0.25, 0.2, 0.15, 0.1, 0.05),
        "Bd": (0.2, 0.1, 0.05, 0.023, 0.02, 0.013, 0.01, 0.0075, 0.004, 0.002),
        "Be": (50, 20, 10, 5, 2, 1, 0.75, 0.7, 0.5, 0.3, 0.25, 0.2, 0.1, 0.05),
    }
)
"""Rows of the specification matrix, 7.6, column 1 first: a [m], b, and the least cube that a survey
shows [m]. With it a survey is told more finely than by its order."""

KEPT = 0.95
"""Part of the cells whose interval keeps a limit, for the limit to count as kept."""
CELLS_A_FEATURE = 2.0
"""Cells of a grid along the least thing that it shows: annex D recommends half of it, or less."""


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


def feature_shown(
    resolution_m: float | None, cell_m: float, *, unstated: str = ""
) -> dict[str, Any]:
    """Return the least thing that a survey's grid could show, and its cell of the matrix.

    Parameters
    ----------
    resolution_m : float or None
        Least thing that the survey itself would have shown, as it states [m].
    cell_m : float
        Cell size of the grid [m].
    unstated : str
        Surveys that state none, where several are looked at.

    Returns
    -------
    dict
        ``feature_m``: the larger of the two limits, and ``feature_cell``, the finest one of row Be
        that asks for no less; both None with ``feature_null_because`` where nothing is stated.

    Examples
    --------
    >>> feature_shown(0.3, 0.5)
    {'feature_m': 1.0, 'feature_cell': 'Be6', 'feature_null_because': ''}
    >>> feature_shown(0.3, 0.05)["feature_cell"]
    'Be10'
    """
    if resolution_m is None:
        of = f" for {unstated}" if unstated else ""
        least = CELLS_A_FEATURE * cell_m
        why = f"no resolution_m stated{of}; the grid alone could show {least:g} m"
        return {"feature_m": None, "feature_cell": None, "feature_null_because": why}
    least = max(resolution_m, CELLS_A_FEATURE * cell_m)
    enough = [k for k, size in enumerate(MATRIX["Be"], start=1) if size >= least * (1 - 1e-9)]
    return {
        "feature_m": least,
        "feature_cell": f"Be{enough[-1]}" if enough else None,
        "feature_null_because": "",
    }
