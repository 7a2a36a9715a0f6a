"""How plan sheets look: line widths and letters in millimetres and points, tones, level marks.

Widths are the first five of the series of ISO 128 (`drawing_standards`). Whatever two things differ
in colour, they differ in tone, dash or hatch too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.path import Path as Outline

from wrackline.publish.drawing_standards import INCH_MM, LINE_WIDTHS_MM, POINTS_TO_INCH, points
from wrackline.publish.sheets.fonts import BUILT_IN
from wrackline.publish.tones import INK

POINT_MM = INCH_MM / POINTS_TO_INCH
FONT = BUILT_IN
WIDTHS_MM = LINE_WIDTHS_MM[:5]
FAINT_MM, THIN_MM, LINE_MM, BOLD_MM, FRAME_MM = WIDTHS_MM

SETTINGS: Any = {
    "pdf.fonttype": 42,
    "pdf.compression": 6,
    "svg.fonttype": "path",
    "svg.hashsalt": "wrackline",
    "hatch.linewidth": points(LINE_WIDTHS_MM[0]),
    "text.parse_math": False,
}
DARKEST, LIGHTEST = 0.22, 0.62
SMALLER = 0.91
"""How much smaller notes become before a sheet gets another column for them."""


@dataclass(frozen=True)
class Style:
    """How one kind of thing is drawn.

    Attributes
    ----------
    color : str
        Of lines; nothing where there is none.
    width_mm : float
    dashes : tuple of float
        On and off, in widths of the line; none: unbroken.
    face : str
        Of areas; nothing: left open.
    hatch : str
    marker : str or Path
        Of points.
    size_mm : float
        Of the marker.
    fill : str
        How a marker is filled: full, none.
    """

    color: str = ""
    width_mm: float = THIN_MM
    dashes: tuple[float, ...] = ()
    face: str = ""
    hatch: str = ""
    marker: Any = None
    size_mm: float = 0.8
    fill: str = "none"

    @property
    def line(self) -> Any:
        """The dashes as matplotlib takes them."""
        return (0, self.dashes) if self.dashes else "-"


@dataclass(frozen=True)
class Letters:
    """Sizes of letters on a sheet, each from the one wanted to the least that is taken [pt]."""

    room: tuple[float, ...] = (6.0, 5.0)
    key: tuple[float, ...] = (5.0, 4.5)
    building: tuple[float, ...] = (7.0, 6.0)
    thing: tuple[float, ...] = (5.5, 5.0)
    spot: float = 5.0
    contour: float = 5.0
    grid: float = 5.0
    note: float = 5.5
    heading: float = 7.0
    title: float = 9.0
    site: float = 11.0

    @property
    def smaller(self) -> Letters:
        """The same with smaller notes, where they need more room than there is."""
        notes = ("note", "heading", "title", "site")
        return replace(self, **{name: SMALLER * getattr(self, name) for name in notes})


DESK = Letters()
DIVER = Letters(
    room=(11.0, 9.0, 7.5),
    key=(9.0, 7.0),
    building=(14.0, 12.0),
    thing=(9.0, 8.0),
    spot=9.0,
    contour=9.0,
    grid=8.0,
    note=7.0,
    heading=9.0,
    title=12.0,
    site=13.0,
)
"""For a slate in bad light: about 3 mm for what is read most (common practice, no source)."""

LEVEL_MARK = Outline([(0, 0), (-0.62, 1.0), (0.62, 1.0), (0, 0)], closed=True)
"""The level mark: a triangle on its point, which stands where the height was taken."""
LEVEL_FOOT = Outline(
    [(0, 0), (-0.62, 1.0), (0.62, 1.0), (0, 0), (-0.62, 0), (0.62, 0)],
    [
        Outline.MOVETO,
        Outline.LINETO,
        Outline.LINETO,
        Outline.LINETO,
        Outline.MOVETO,
        Outline.LINETO,
    ],
)
"""The same on a line, for the seabed."""
LEVEL_HALF = Outline(
    [(0, 0), (-0.62, 1.0), (0, 1.0), (0, 0), (0, 1.0), (0.62, 1.0), (0.62, 1.0), (0, 0)],
    [Outline.MOVETO, Outline.LINETO, Outline.LINETO, Outline.CLOSEPOLY]
    + [Outline.MOVETO, Outline.LINETO] * 2,
)
"""The same with its left half filled, for the foot of a wall; a marker's own halves are only those
of matplotlib's built-in markers."""

LEVEL_HALF = Outline(
    [(0, 0), (-0.62, 1.0), (0, 1.0), (0, 0), (0, 1.0), (0.62, 1.0), (0.62, 1.0), (0, 0)],
    [Outline.MOVETO, Outline.LINETO, Outline.LINETO, Outline.CLOSEPOLY]
    + 2 * [Outline.MOVETO, Outline.LINETO],
)
"""The same with its left half filled: the right one is two strokes, which nothing can fill."""

WEDGE = Outline([(-1.0, 0.13), (-1.0, -0.13), (1.0, 0), (-1.0, 0.13)], closed=True)
"""A hachure, its head to the left."""

LEVELS = {
    "wall top": Style(INK, FAINT_MM, marker=LEVEL_MARK, size_mm=1.5),
    "wall base": Style(INK, FAINT_MM, marker=LEVEL_HALF, size_mm=1.5, fill="full"),
    "floor": Style(INK, FAINT_MM, marker=LEVEL_MARK, size_mm=1.5, fill="full"),
    "seabed": Style(INK, FAINT_MM, marker=LEVEL_FOOT, size_mm=1.5),
}


def luminance(color: str) -> float:
    """Return the relative luminance of a colour, 0 black to 1 white (WCAG 2.1, definitions).

    >>> [round(luminance(one), 2) for one in ("#000000", "#8c8c8c", "white")]
    [0.0, 0.26, 1.0]
    """
    share = np.array(mpl.colors.to_rgb(color))
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def tone(number: int, count: int) -> str:
    """Return the grey of a phase, the earliest darkest.

    >>> tone(0, 2), tone(1, 2)
    ('#383838', '#9e9e9e')
    """
    share = number / max(count - 1, 1)
    return "#" + 3 * f"{round(255 * (DARKEST + share * (LIGHTEST - DARKEST))):02x}"
