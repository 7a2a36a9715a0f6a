"""The size of a survey's own cells. Only light modules: the Snakefile reads it."""

from __future__ import annotations

import math


def survey_cell(cell_m: float, least_cell_m: float | None) -> float:
    """Return a survey's own cell: the least whole multiple of the site's that it resolves.

    Parameters
    ----------
    cell_m : float
        The site's cell [m].
    least_cell_m : float or None
        Cells finer than this tell nothing more of the survey [m].

    Examples
    --------
    >>> survey_cell(0.05, None), survey_cell(0.05, 0.12), survey_cell(0.5, 0.5)
    (0.05, 0.15, 0.5)
    """
    if least_cell_m is None:
        return cell_m
    return round(max(1, math.ceil(least_cell_m / cell_m - 1e-9)) * cell_m, 9)
