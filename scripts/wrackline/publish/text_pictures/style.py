"""The common look of the pictures for a publication's text: sizes on paper, type, signs, files.

Everything is laid out in millimetres on the printed page: one column (88 mm) or two (180 mm). Signs
differ by tone, hatch, marker or dashes as well as by colour.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from wrackline.publish.drawing_standards import INCH_MM, points
from wrackline.publish.picture_files import UNSAID, write_figure
from wrackline.publish.text_pictures.words import say

COLUMN_MM, PAGE_MM = 88.0, 180.0
"""Widths of one and of two columns of text (common practice of journals, no source)."""

DPI = 300
FONT = "DejaVu Sans"
HEAD_PT, TEXT_PT, SMALL_PT = 8.0, 7.0, 6.0
LINE_RATIO = 1.35
"""Distance of lines of text over the size of letters."""

HAIR_MM, FINE_MM, LINE_MM, BOLD_MM = 0.13, 0.18, 0.25, 0.5
"""Widths of lines, from those of ISO 128 (from memory)."""

INK, GREY, LIGHT = "#1b1b1b", "#6f6f6f", "#d9d9d9"
FILLS: tuple[Mapping[str, Any], ...] = (
    {"facecolor": "#0072b2"},
    {"facecolor": "#f0e442", "hatch": "...."},
    {"facecolor": "#56b4e9", "hatch": "////"},
    {"facecolor": "#ffffff"},
    {"facecolor": "#d55e00", "hatch": "\\\\\\\\"},
    {"facecolor": "#e69f00", "hatch": "xxxx"},
    {"facecolor": "#009e73", "hatch": "----"},
    {"facecolor": "#1b1b1b"},
)
"""Fills of areas: colours of Okabe and Ito, white and ink, each with a hatch or tone of its own."""

STROKES: tuple[tuple[str, Any], ...] = (
    ("#0072b2", "-"),
    ("#d55e00", (0, (6, 2))),
    ("#009e73", (0, (1.5, 1.5))),
    ("#cc79a7", (0, (7, 2, 1.5, 2))),
)
"""Colours of lines, each with dashes of its own."""


SETTINGS: Any = {
    "axes.axisbelow": True,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.labelpad": 2.0,
    "axes.labelsize": TEXT_PT,
    "axes.linewidth": points(FINE_MM),
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlesize": TEXT_PT,
    "axes.titlelocation": "left",
    "axes.unicode_minus": True,
    "font.family": FONT,
    "font.size": TEXT_PT,
    "grid.color": LIGHT,
    "grid.linewidth": points(HAIR_MM),
    "hatch.linewidth": points(HAIR_MM),
    "legend.borderaxespad": 0.0,
    "legend.fontsize": SMALL_PT,
    "legend.frameon": False,
    "path.simplify": False,
    "pdf.fonttype": 42,
    "savefig.dpi": DPI,
    "svg.fonttype": "path",
    "svg.hashsalt": "wrackline",
    "text.color": INK,
    "text.hinting": "none",
    "text.parse_math": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "xtick.major.size": 2.0,
    "ytick.major.size": 2.0,
    "xtick.major.width": points(FINE_MM),
    "ytick.major.width": points(FINE_MM),
    "xtick.major.pad": 1.5,
    "ytick.major.pad": 1.5,
}


@dataclass(frozen=True)
class Page:
    """A picture on paper: a heading, a body for panels, and notes below it.

    Attributes
    ----------
    figure : Figure
    width_mm : float
    foot_mm : float
        Height of the notes, on which the body stands [mm].
    body_mm : float
        Height of the body [mm].
    title, description : str
        What a reader who can't see the picture is told.
    """

    figure: Figure
    width_mm: float
    foot_mm: float
    body_mm: float
    title: str
    description: str

    def panel(self, left: float, bottom: float, width: float, height: float, **more: Any) -> Any:
        """Return axes whose frame lies at so many millimetres from the body's lower left."""
        tall = self.figure.get_figheight() * INCH_MM
        place = (left / self.width_mm, (bottom + self.foot_mm) / tall)
        return self.figure.add_axes((*place, width / self.width_mm, height / tall), **more)

    def write(self, text: str, left: float, bottom: float, **more: Any) -> None:
        """Write a text at so many millimetres from the body's lower left."""
        tall = self.figure.get_figheight() * INCH_MM
        place = (left / self.width_mm, (bottom + self.foot_mm) / tall)
        self.figure.text(*place, text, **{"fontsize": SMALL_PT, "va": "bottom", **more})


def page(
    width_mm: float, body_mm: float, heading: str, notes: Sequence[str], description: str = ""
) -> Page:
    """Return an empty picture with its heading and its notes.

    Call it, and draw on it, within `mpl.rc_context(SETTINGS)`.

    Parameters
    ----------
    width_mm, body_mm : float
        Width of the picture and height of its body [mm].
    heading : str
        Stands above the body, wrapped to the width.
    notes : sequence of str
        Stand below it in small type, each wrapped to the width.
    description : str
        For readers who can't see the picture.
    """
    room = width_mm - 2
    head = wrapped(heading, room, HEAD_PT)
    foot = [line for note in notes if note for line in wrapped(note, room, SMALL_PT)]
    head_mm = len(head) * line_mm(HEAD_PT) + 1.5
    foot_mm = len(foot) * line_mm(SMALL_PT) + 2.0
    tall = foot_mm + body_mm + head_mm
    figure = Figure(figsize=(width_mm / INCH_MM, tall / INCH_MM), facecolor="white")
    for number, line in enumerate(head):
        top = tall - 0.5 - number * line_mm(HEAD_PT)
        figure.text(1 / width_mm, top / tall, line, fontsize=HEAD_PT, va="top")
    for number, line in enumerate(foot):
        top = foot_mm - 1.0 - number * line_mm(SMALL_PT)
        figure.text(1 / width_mm, top / tall, line, fontsize=SMALL_PT, va="top", color=INK)
    return Page(figure, width_mm, foot_mm, body_mm, heading, description)


def line_mm(size_pt: float) -> float:
    """Return the distance of lines of text on paper [mm]."""
    return size_pt * LINE_RATIO * INCH_MM / 72


@cache
def text_mm(text: str, size_pt: float) -> float:
    """Return how wide a text is on paper [mm]."""
    font = FontProperties(family=FONT, size=size_pt)
    width, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return float(width) * INCH_MM / 72


def wrapped(text: str, width_mm: float, size_pt: float) -> list[str]:
    """Return a text in lines no wider than a width, unless one word is.

    >>> wrapped("one two three", 12.0, 7.0)
    ['one two', 'three']
    """
    lines: list[str] = []
    at = 0.0
    for word in text.split():
        wide = text_mm(f" {word}", size_pt)
        if lines and at + wide <= width_mm:
            lines[-1] = f"{lines[-1]} {word}"
            at += wide
        else:
            lines.append(word)
            at = wide
    return lines


KEY_ROW_MM, SIGN_MM, GAP_MM = 4.0, 7.0, 4.0


@dataclass(frozen=True)
class Sign:
    """One entry of a key: what it means, and how it looks as a line with marks, or as a fill."""

    text: str
    line: Mapping[str, Any] | None = None
    fill: Mapping[str, Any] | None = None

    @property
    def wide_mm(self) -> float:
        """Width of sign and text with the gap to the next [mm]."""
        return self.sign_mm + 1.0 + text_mm(self.text, SMALL_PT) + GAP_MM

    @property
    def sign_mm(self) -> float:
        """Width of the sign alone: a mark needs less than a line [mm]."""
        lone = self.line is not None and self.line.get("linestyle") == "none"
        return 2.5 if lone else SIGN_MM


def key_rows(signs: Sequence[Sign], width_mm: float) -> list[list[Sign]]:
    """Return the signs of a key in rows no wider than a width, unless one sign is."""
    rows: list[list[Sign]] = []
    for sign in signs:
        held = sum(one.wide_mm for one in rows[-1]) if rows else 0.0
        if rows and held + sign.wide_mm - GAP_MM <= width_mm:
            rows[-1].append(sign)
        else:
            rows.append([sign])
    return rows


def draw_key(made: Page, signs: Sequence[Sign], left: float, top: float, width: float) -> None:
    """Draw a key whose rows go down from a place on the body.

    Parameters
    ----------
    made : Page
    signs : sequence of Sign
    left, top, width : float
        Where it begins and how wide it may be [mm].
    """
    rows = key_rows(signs, width)
    if not rows:
        return
    high = len(rows) * KEY_ROW_MM
    axes = made.panel(left, top - high, width, high)
    axes.axis("off")
    axes.set(xlim=(0, width), ylim=(0, high))
    for number, row in enumerate(rows):
        middle, at = high - (number + 0.5) * KEY_ROW_MM, 0.0
        for sign in row:
            if sign.line is not None:
                ends = [at, at + sign.sign_mm / 2, at + sign.sign_mm]
                axes.plot(ends, [middle] * 3, markevery=[1], **sign.line)
            if sign.fill is not None:
                axes.fill_between([at, at + sign.sign_mm], middle - 1.2, middle + 1.2, **sign.fill)
            axes.text(at + sign.sign_mm + 1, middle, sign.text, fontsize=SMALL_PT, va="center")
            at += sign.wide_mm


def statement_note(about: Mapping[str, str], *topics: str) -> str:
    """Return what must stand beside the figures, as one note; topics that aren't told are left out.

    Parameters
    ----------
    about : mapping of str to str
        Statement beside the figures, see `wrackline.publish.words`.
    *topics : str
        Of `vertical_datum`, `depths`, `surveyed`, `credit`, in the order wanted.
    """
    told = [say(f"note_{topic}", text=about[topic]) for topic in topics if about.get(topic)]
    note = "; ".join(told).rstrip(".")
    return f"{note[0].upper()}{note[1:]}." if note else ""


def save(made: Page, paths: Sequence[Path | str]) -> None:
    """Write a picture as SVG or PNG, with what it shows in words; equal pictures give equal bytes.

    Parameters
    ----------
    made : Page
    paths : sequence of path
        Files to write, by their suffix. A PNG has `DPI` dots an inch.
    """
    for path in map(Path, paths):
        path.parent.mkdir(parents=True, exist_ok=True)
        with mpl.rc_context(SETTINGS):
            if path.suffix == ".svg":
                path.write_text(_svg(made), encoding="utf-8")
            else:
                told = {"Title": made.title, "Description": made.description}
                write_figure(made.figure, path, dpi=DPI, metadata=told)


def _svg(made: Page) -> str:
    """Return a picture as SVG, its title and description where readers of screens find them."""
    drawn = io.StringIO()
    plain = {**UNSAID[".svg"], "Title": made.title}
    made.figure.savefig(drawn, format="svg", metadata=plain)
    head, title, rest = drawn.getvalue().partition("</title>")
    told = f"{title}\n <desc>{escape(made.description)}</desc>"
    return head.replace("<svg ", '<svg role="img" ', 1) + told + rest
