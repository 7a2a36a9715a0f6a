"""Paper and scale of a plan sheet: what fits where, and what a scale promises."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

PAPERS = {"A4": (297, 210), "A3": (420, 297), "A2": (594, 420), "A1": (841, 594), "A0": (1189, 841)}
"""Longer and shorter side of the papers of ISO 216 [mm]."""

SCALES = (20, 50, 100, 200, 250, 500, 1000, 2000, 2500, 5000, 10000, 20000)
MARGIN_MM, GAP_MM, TICKS_MM = 8.0, 4.0, 7.0
COLUMN_MM = {"A4": 58.0, "A3": 66.0, "A2": 76.0, "A1": 84.0, "A0": 92.0}
"""Width of the column with title, legend and notes [mm]."""

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
    note : str
        Why the scale is another than the one that was asked for; empty otherwise.
    """

    paper: str
    page_mm: tuple[float, float]
    scale: int
    map_mm: tuple[float, float, float, float]
    ground: tuple[float, float, float, float]
    note: str = ""

    @property
    def metre_mm(self) -> float:
        """Millimetres of paper to a metre of the grid [mm]."""
        return 1000.0 / self.scale

    def ground_m(self, paper_mm: float) -> float:
        """Return the metres of the grid under so many millimetres of paper [m]."""
        return paper_mm / self.metre_mm


def lay_out(bounds: Sequence[float], paper: str, scale: int | None) -> Layout:
    """Return the layout of a sheet that shows all of some bounds.

    Parameters
    ----------
    bounds : sequence of float
        West, south, east and north edge of what must be shown [m].
    paper : str
        One of `PAPERS`.
    scale : int or None
        Scale wanted; none: the largest that fits.

    Returns
    -------
    Layout
        With a smaller scale, and a note that says so, where the one wanted doesn't fit.

    Examples
    --------
    >>> sheet = lay_out((0.0, 0.0, 300.0, 240.0), "A1", None)
    >>> sheet.scale, sheet.page_mm, sheet.metre_mm
    (500, (841.0, 594.0), 2.0)
    """
    west, south, east, north = map(float, bounds)
    wanted = [scale] if scale else []
    for number in [*wanted, *(s for s in SCALES if not scale or s > scale)]:
        need = np.array([east - west, north - south]) * 1000.0 / number
        for turned in (False, True):
            page = PAPERS[paper][::-1] if turned else PAPERS[paper]
            frame = _map_frame(paper, page)
            if need[0] <= frame[2] and need[1] <= frame[3]:
                return _layout(bounds, paper, page, frame, number, scale)
    number = SCALES[-1]
    page = PAPERS[paper]
    return _layout(bounds, paper, page, _map_frame(paper, page), number, scale)


def _layout(
    bounds: Sequence[float],
    paper: str,
    page: tuple[int, int],
    frame: tuple[float, float, float, float],
    number: int,
    wanted: int | None,
) -> Layout:
    middle = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    half = frame[2] * number / 2000.0, frame[3] * number / 2000.0
    ground = (middle[0] - half[0], middle[1] - half[1], middle[0] + half[0], middle[1] + half[1])
    note = f"1:{wanted} was asked for; the plan doesn't fit {paper} at it." if wanted else ""
    size = float(page[0]), float(page[1])
    return Layout(paper, size, number, frame, ground, note if wanted != number else "")


def _map_frame(paper: str, page: tuple[int, int]) -> tuple[float, float, float, float]:
    column = COLUMN_MM[paper]
    left = bottom = MARGIN_MM + TICKS_MM
    wide = page[0] - left - GAP_MM - column - MARGIN_MM
    return left, bottom, wide, page[1] - bottom - MARGIN_MM - TICKS_MM
