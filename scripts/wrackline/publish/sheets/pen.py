"""A pen that fills columns of text beside a sheet's map, from the top down, column after column.

It first takes down what is to be drawn, so that a sheet can be laid out with as many columns as its
notes need, and draws when all is known. All sizes are millimetres on paper, letters points.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import zip_longest
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font

from wrackline.publish.drawing_standards import points
from wrackline.publish.sheets.paper import GAP_MM
from wrackline.publish.sheets.style import FONT, LEVELS, LINE_MM, POINT_MM, Style
from wrackline.publish.tones import GREY, INK

Draw = Callable[[Axes], Any]
SPACING = 1.25
PROBE_PT, FIXED_POINT = 100.0, 65536.0
BOLD_WIDER = 1.13
"""How much wider bold letters are than plain ones, at most (DejaVu Sans, measured)."""
MORE_PT = 24.0
"""Kept free where lists end, for three lines that say what is left out."""
SAMPLE_MM = 9.0
"""Width of a sample in the legend."""


@dataclass
class Pen:
    """Writes one thing under the other.

    Attributes
    ----------
    wide, tall : float
        Width of a column and height of all [mm].
    font : str
        Family of the letters.
    x, y : float
        Where the next thing goes: left edge and top [mm].
    columns : int
        Columns used so far.
    last : int or None
        The column in which lists must end.
    """

    wide: float
    tall: float
    font: str = FONT
    x: float = 0.0
    y: float = 0.0
    columns: int = 1
    last: int | None = None
    drawn: list[Draw] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.y = self.tall

    def room(self, high: float, keep: float = 0.0) -> float:
        """Take so much height, in the next column where this one ends; return its top.

        `keep` more must follow in the same column.
        """
        if self.y - high - keep < 0 and self.y < self.tall:
            self.columns += 1
            self.x += self.wide + GAP_MM
            self.y = self.tall
        self.y -= high
        return self.y + high

    def gap(self, high: float) -> None:
        """Leave room, but none at the top of a column."""
        if self.y < self.tall:
            self.y -= high

    def text(self, text: str, size_pt: float, **style: Any) -> None:
        """Write text, wrapped to the column by its letters' widths."""
        line_mm = size_pt * POINT_MM * SPACING
        wide = self.wide / (BOLD_WIDER if style.get("weight") == "bold" else 1.0)
        for line in wrapped(text, wide, size_pt, self.font):
            bottom = self.room(line_mm) - line_mm
            self._write(self.x, bottom, line, size_pt, **style)
        self.gap(0.6)

    def heading(self, text: str, size_pt: float) -> None:
        """Write a heading under a line, together with what follows."""
        self.gap(2.0)
        line_mm = size_pt * POINT_MM * SPACING
        top = self.room(line_mm + 0.8, keep=6.0)
        self.rule(self.x, top, self.wide, LINE_MM)
        self._write(self.x, top - line_mm, text, size_pt, weight="bold")

    def listed(self, texts: Sequence[str], size_pt: float) -> int:
        """Write short texts side by side, in as many ranks as fit; return how many are left out."""
        if not texts:
            return 0
        widest = max(width_mm(text, size_pt, self.font) for text in texts)
        ranks = max(int((self.wide + 2.0) / (widest + 2.0)), 1)
        for start in range(0, len(texts), ranks):
            if self.is_full(size_pt):
                return len(texts) - start
            parts = [self._in_column(text, size_pt) for text in texts[start : start + ranks]]
            for lines in zip_longest(*parts, fillvalue=""):
                line_mm = size_pt * POINT_MM * SPACING
                bottom = self.room(line_mm) - line_mm
                for k, line in enumerate(lines):
                    self._write(self.x + k * (self.wide + 2.0) / ranks, bottom, line, size_pt)
        self.gap(0.6)
        return 0

    def _in_column(self, text: str, size_pt: float) -> list[str]:
        """Return a text as it is where the column holds it, else in lines."""
        fits = width_mm(text, size_pt, self.font) <= self.wide
        return [text] if fits else wrapped(text, self.wide, size_pt, self.font)

    def is_full(self, size_pt: float) -> bool:
        """Tell whether the last column has no room for letters of a size and what is said then."""
        high = (size_pt + MORE_PT) * POINT_MM * SPACING
        return self.last is not None and self.columns >= self.last and self.y < high

    def legend(self, words: str, style: Style | None, size_pt: float) -> None:
        """Write one entry: a sample of its style, and its words."""
        indent = SAMPLE_MM + 2.0
        lines = wrapped(words, self.wide - indent, size_pt, self.font)
        line_mm = size_pt * POINT_MM * SPACING
        high = max(len(lines) * line_mm, 2.6) + 0.1 * size_pt
        top = self.room(high)
        if style is not None:
            self.drawn.append(_sample(style, self.x, top - max(line_mm, 2.6) / 2))
        for k, line in enumerate(lines):
            self._write(self.x + indent, top - (k + 0.8) * line_mm, line, size_pt)

    def rule(self, x: float, y: float, wide: float, width_mm: float, high: float = 0.0) -> None:
        """Draw a line along the column, or up it."""
        ends = ([x, x + (0 if high else wide)], [y, y + high])
        self.drawn.append(lambda axes: axes.plot(*ends, color=INK, lw=points(width_mm)))

    def write(self, x: float, y: float, text: str, size_pt: float, **style: Any) -> None:
        """Write one line at a place, counted from the column's left edge and the bottom of all."""
        self._write(self.x + x, y, text, size_pt, **style)

    def _write(self, x: float, y: float, text: str, size_pt: float, **style: Any) -> None:
        style = {"color": INK, "va": "baseline", "family": self.font, **style}
        self.drawn.append(lambda axes: axes.text(x, y, text, fontsize=size_pt, **style))


def _sample(style: Style, x: float, y: float) -> Draw:
    """Return what draws a legend's sample, its middle at a height."""

    def draw(axes: Axes) -> None:
        if style.marker is not None:
            down = style.size_mm / 2 if style in LEVELS.values() else 0.0
            axes.plot([x + SAMPLE_MM / 2], [y - down], ls="none", **marker_style(style))
        elif style.face:
            box = [x, x + SAMPLE_MM, x + SAMPLE_MM, x], [y - 1.1, y - 1.1, y + 1.1, y + 1.1]
            axes.fill(*box, fc=style.face, hatch=style.hatch, ec=style.color or GREY, lw=0)
            axes.fill(*box, fc="none", ec=GREY, lw=points(0.13))
        else:
            pen = {"color": style.color, "lw": points(style.width_mm), "ls": style.line}
            axes.plot([x, x + SAMPLE_MM], [y, y], dash_capstyle="butt", **pen)

    return draw


def marker_style(style: Style) -> dict[str, Any]:
    """Return a marker as matplotlib's ``plot`` takes it."""
    pen = {"mec": style.color, "mew": points(style.width_mm)}
    long = points(style.size_mm) * (2.0 if not isinstance(style.marker, str) else 1.0)
    return {
        "marker": style.marker,
        "ms": long,
        "mfc": style.color if style.fill == "full" else "white",
        **pen,
    }


def wrapped(text: str, wide_mm: float, size_pt: float, font: str = FONT) -> list[str]:
    """Return text as lines no wider than so much; a longer word is broken anywhere.

    Parameters
    ----------
    text : str
    wide_mm, size_pt : float
    font : str
        Family.
    """
    lines: list[str] = []
    for word in (part for one in text.split() for part in _broken(one, wide_mm, size_pt, font)):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_mm(longer, size_pt, font) <= wide_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines or [""]


def _broken(word: str, wide_mm: float, size_pt: float, font: str) -> Iterator[str]:
    """Yield a word in parts no wider than so much, of a letter at least."""
    while len(word) > 1 and width_mm(word, size_pt, font) > wide_mm:
        widths = np.cumsum([_advance(letter, font) for letter in word]) * size_pt * POINT_MM
        fits = max(int(np.searchsorted(widths, wide_mm, side="right")), 1)
        yield word[:fits]
        word = word[fits:]
    yield word


def width_mm(text: str, size_pt: float, font: str = FONT) -> float:
    """Return how wide a text stands on paper, by the advance of its letters [mm]."""
    return sum(_advance(letter, font) for letter in text) * size_pt * POINT_MM


@cache
def _advance(letter: str, font: str) -> float:
    """Return a letter's advance, in sizes of the font."""
    return float(_face(font).load_char(ord(letter)).linearHoriAdvance) / FIXED_POINT / PROBE_PT


@cache
def _face(font: str) -> FT2Font:
    face = FT2Font(findfont(FontProperties(family=font)))
    face.set_size(PROBE_PT, 72)
    return face
