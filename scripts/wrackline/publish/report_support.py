"""What support is worth: how often rooms of a support were real, on simulated towns."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pandas as pd

from wrackline.accuracy.markup import Markup, el, table
from wrackline.publish.report_text import percent
from wrackline.quantities import fixed

DATA_FILES = ("support_on_towns.csv",)
RELIABILITY = Path(__file__).with_name(DATA_FILES[0])
"""Counted by tests/benchmarks/support_towns.py, and kept with the code."""

LEAST_COUNT = 100
"""A share of fewer rooms is shown hollow: it says little."""

SIDE, PAD = 220, 34
WORDS = (
    "Support is the share of plausible outlines in which a space stands: the closings of broken "
    "walls chosen anew, each time as likely as its gaps and angles make it; twenty of the hundred "
    "are the outline that was chosen, so that little is below 0.2. How much that is worth was "
    "counted on simulated towns, invented and then surveyed badly, with doorways, lost stretches "
    "and walls, rubble and doubled lines: of the rooms found there, the share that were real is "
    "set against their support. A site whose damage is of another kind may do worse; walls that "
    "nobody drew, and lines that are no walls, lower no support."
)


def reliability() -> pd.DataFrame:
    """Return bins of support: rooms counted, their mean support, the share that were real."""
    return pd.read_csv(RELIABILITY)


def support_words() -> list[Markup]:
    """Return what support is worth: in words, as a plot and as a table."""
    bins = reliability()
    ranges = bins[["support_from", "support_to"]].to_numpy(float).tolist()
    rows = [
        [f"{fixed(low, 2)} to {fixed(high, 2)}", fixed(mean, 2), percent(real), str(int(rooms))]
        for (low, high), (mean, real, rooms) in zip(ranges, _points(bins), strict=True)
    ]
    head = ["support", "mean", "real on simulated towns", "rooms counted"]
    return [
        el("p", WORDS),
        el("figure", plot(bins), el("figcaption", "Support and truth, on simulated towns")),
        table(head, rows),
    ]


def plot(bins: pd.DataFrame) -> Markup:
    """Return the reliability plot: real share against mean support, and the line where they agree.

    Parameters
    ----------
    bins : DataFrame
        As `reliability` returns it.
    """
    side = SIDE + 2 * PAD
    parts = [
        el("rect", x=PAD, y=PAD, width=SIDE, height=SIDE, fill="none", stroke="#777"),
        _line((0, 0), (1, 1), stroke="#777", stroke_dasharray="4 3"),
    ]
    points = _points(bins)
    for one, other in pairwise(points):
        parts.append(_line((one[0], one[1]), (other[0], other[1]), stroke="#111"))
    for support, real, rooms in points:
        fill = "#111" if rooms >= LEAST_COUNT else "#fff"
        x, y = _at(support, real)
        parts.append(el("circle", cx=x, cy=y, r=3.5, fill=fill, stroke="#111"))
    for share in (0.0, 0.5, 1.0):
        x, y = _at(share, share)
        low, left = PAD + SIDE + 14, PAD - 5
        label = fixed(share, 1)
        parts.append(el("text", label, x=x, y=low, text_anchor="middle", font_size=10))
        parts.append(el("text", label, x=left, y=float(y) + 3, text_anchor="end", font_size=10))
    middle = PAD + SIDE / 2
    parts.append(el("text", "support", x=middle, y=side - 6, text_anchor="middle", font_size=11))
    turned = f"rotate(-90 10 {middle})"
    words = "share real, on simulated towns"
    parts.append(
        el("text", words, x=10, y=middle, text_anchor="middle", font_size=11, transform=turned)
    )
    label = "Share of rooms that were real on simulated towns, against their support"
    return el(
        "svg",
        *parts,
        viewBox=f"0 0 {side} {side}",
        width=side,
        height=side,
        role="img",
        aria_label=label,
    )


def _points(bins: pd.DataFrame) -> list[list[float]]:
    """Return mean support, real share and number of rooms of each bin."""
    return bins[["mean_support", "real_share", "rooms"]].to_numpy(float).tolist()


def _at(support: float, real: float) -> tuple[str, str]:
    return fixed(PAD + SIDE * support, 1), fixed(PAD + SIDE * (1 - real), 1)


def _line(one: tuple[float, float], other: tuple[float, float], **style: str) -> Markup:
    (x1, y1), (x2, y2) = _at(*one), _at(*other)
    return el("line", x1=x1, y1=y1, x2=x2, y2=y2, **style)
