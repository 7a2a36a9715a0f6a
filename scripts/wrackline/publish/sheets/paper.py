"""Paper and scale of plan sheets: what fits where, and how the ground is put onto it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrackline.publish.drawing_standards import PAPERS_MM, REDUCTIONS

Bounds = tuple[float, float, float, float]

PAPERS = PAPERS_MM
"""Longer and shorter side of the papers [mm]."""

MAPS = (25, 250, 2500, 20000, 50000, 100000, 200000)
SCALES = tuple(sorted({*(scale for scale in REDUCTIONS if scale >= 20), *MAPS}))
"""Scales that are taken when none is asked for: those of the standard, and `MAPS`, which surveyors
and maps use too (common practice, no source)."""

MARGIN_MM, GAP_MM, TICKS_MM = 8.0, 4.0, 7.0
COLUMN_MM = {"A4": 58.0, "A3": 66.0, "A2": 76.0, "A1": 84.0, "A0": 92.0}
"""Width of a column with legend, notes and title block [mm]."""

DRAWN_MM = 0.2
"""What a drawn line shows of a position (common practice, no source)."""


@dataclass(frozen=True)
class Layout:
    """Where a sheet's parts lie, and how the ground is put onto it.

    Attributes
    ----------
    paper : str
    page_mm : (float, float)
        Width and height of the page [mm].
    scale : int
        The sheet is to scale 1 : scale, in the grid.
    map_mm : (float, float, float, float)
        Left, bottom, width and height of the map's frame [mm].
    ground : (float, float, float, float)
        West, south, east and north edge of the map's frame [m].
    columns : int
        Columns of text beside the map.
    refused : int or None
        The scale that was asked for, where the ground doesn't fit the paper at it.
    """

    paper: str
    page_mm: tuple[float, float]
    scale: int
    map_mm: tuple[float, float, float, float]
    ground: Bounds
    columns: int = 1
    refused: int | None = None

    @property
    def metre_mm(self) -> float:
        """Millimetres of paper to a metre of the grid [mm]."""
        return 1000.0 / self.scale

    @property
    def column_mm(self) -> tuple[float, float, float, float]:
        """Left, bottom, width and height of the columns of text [mm]."""
        left = self.map_mm[0] + self.map_mm[2] + GAP_MM
        return left, MARGIN_MM, self.page_mm[0] - left - MARGIN_MM, self.page_mm[1] - 2 * MARGIN_MM

    def ground_m(self, paper_mm: float) -> float:
        """Return the metres of the grid under so many millimetres of paper [m]."""
        return paper_mm / self.metre_mm


def lay_out(bounds: Sequence[float], paper: str, scale: int | None, columns: int = 1) -> Layout:
    """Return the layout of a sheet that shows all of some bounds.

    Parameters
    ----------
    bounds : sequence of float
        West, south, east and north edge of what must be shown [m].
    paper : str
        One of `PAPERS`.
    scale : int or None
        Scale wanted; none: the largest that fits.
    columns : int
        Columns of text beside the map.

    Returns
    -------
    Layout
        With a smaller scale, and the one refused, where the one wanted doesn't fit.

    Examples
    --------
    >>> sheet = lay_out((0.0, 0.0, 300.0, 240.0), "A1", None)
    >>> sheet.scale, sheet.page_mm, sheet.metre_mm
    (500, (841.0, 594.0), 2.0)
    """
    west, south, east, north = map(float, bounds)
    middle = (west + east) / 2, (south + north) / 2
    wanted = [scale] if scale else []
    for number in [*wanted, *(s for s in SCALES if not scale or s > scale)]:
        need = np.array([east - west, north - south]) * 1000.0 / number
        for turned in (False, True):
            frame = map_frame(paper, columns, turned=turned)
            if need[0] <= frame[2] and need[1] <= frame[3]:
                refused = scale if number != scale else None
                return around(middle, paper, number, columns, turned=turned, refused=refused)
    return around(middle, paper, SCALES[-1], columns, refused=scale)


def around(
    middle: tuple[float, float],
    paper: str,
    scale: int,
    columns: int = 1,
    *,
    turned: bool = False,
    refused: int | None = None,
) -> Layout:
    """Return the layout of a sheet around a point, upright or `turned` with its short side down."""
    page = _page(paper, turned)
    frame = map_frame(paper, columns, turned=turned)
    half = frame[2] * scale / 2000.0, frame[3] * scale / 2000.0
    ground = (middle[0] - half[0], middle[1] - half[1], middle[0] + half[0], middle[1] + half[1])
    return Layout(paper, page, scale, frame, ground, columns, refused)


def map_frame(
    paper: str, columns: int = 1, *, turned: bool = False
) -> tuple[float, float, float, float]:
    """Return left, bottom, width and height of the map's frame on a paper [mm]."""
    page = _page(paper, turned)
    text = columns * COLUMN_MM[paper] + (columns - 1) * GAP_MM
    left = bottom = MARGIN_MM + TICKS_MM
    wide = page[0] - left - GAP_MM - text - MARGIN_MM
    return left, bottom, wide, page[1] - bottom - MARGIN_MM


def _page(paper: str, turned: bool) -> tuple[float, float]:
    long, short = map(float, PAPERS[paper])
    return (short, long) if turned else (long, short)
