"""The rose of the walls' directions: classes by area, the families that stand out, and their sd."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import matplotlib as mpl
import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke
from matplotlib.projections.polar import PolarAxes

from wrackline.publish.drawing_standards import INCH_MM, points
from wrackline.publish.text_pictures.style import (
    BOLD_MM,
    COLUMN_MM,
    FINE_MM,
    HAIR_MM,
    INK,
    LIGHT,
    SETTINGS,
    SMALL_PT,
    STROKES,
    TEXT_PT,
    Page,
    page,
    statement_note,
)
from wrackline.publish.text_pictures.words import say
from wrackline.quantities import fixed, measured
from wrackline.rooms.families import LEAST_MEMBERS

Array = npt.NDArray[np.float64]

DISC_MM, ROW_MM, KEY_MM = 60.0, 4.2, 13.0
RIM, LETTER, EDGE = 1.05, 1.15, 1.24
"""Radii of a family's arc, of its letter and of the disc, the greatest class being 1."""
FOLD = 4
"""Axes a quarter turn apart are the same to a family."""


def draw_rose(table: pd.DataFrame, about: Mapping[str, str]) -> Page:
    """Draw the table `orientation`, north up, every axis both ways.

    Parameters
    ----------
    table : DataFrame
        The fields of `contract.TABLES["orientation"]`.
    about : mapping of str to str
        Statement beside the figures.

    Notes
    -----
    Areas, not radii, are in proportion to shares, so that great classes don't look greater than
    they are (Fisher 1993, section 2.2, from memory).
    """
    classes, found = (table[(table["row"] == "class") == kind] for kind in (True, False))
    number = int(classes["stretches"].sum())
    heading = say("rose_heading", site=about["site"], number=str(number))
    with mpl.rc_context(SETTINGS):
        rows = max(len(found), 1)
        body = DISC_MM + 14 + rows * ROW_MM + 2
        notes = [say("rose_note"), statement_note(about, "surveyed", "credit")]
        made = page(COLUMN_MM, body, heading, notes, _description(found, number, about))
        place = ((COLUMN_MM - DISC_MM) / 2, body - DISC_MM - 6.5)
        axes = made.panel(*place, DISC_MM, DISC_MM, projection="polar")
        _petals(axes, classes, found)
        for k, family in enumerate(found.to_dict("records")):
            _mark(axes, family, k)
        _key(made, found, number)
    return made


def _description(found: pd.DataFrame, number: int, about: Mapping[str, str]) -> str:
    told = [_family(row) for row in found.to_dict("records")] or [_none(number)]
    return say("rose_description", site=about["site"], number=str(number), families="; ".join(told))


def _none(number: int) -> str:
    """Return why no family is marked."""
    if number < LEAST_MEMBERS:
        return say("rose_few", number=str(number), least=str(LEAST_MEMBERS))
    return say("rose_none")


def _family(row: Mapping[Any, Any]) -> str:
    return say(
        "rose_family",
        letter=_letter(row),
        axis=measured(float(row["axis_deg"]), float(row["axis_sd_deg"]), "deg"),
        spread=fixed(row["spread_deg"], 1),
        share=fixed(100 * row["length_share"], 0),
    )


def _letter(row: Mapping[Any, Any]) -> str:
    return str(row["row"]).removeprefix("family ")


def _petals(axes: PolarAxes, classes: pd.DataFrame, found: pd.DataFrame) -> None:
    """Draw classes as sectors of proportional area, with rings of round shares."""
    axes.set(theta_zero_location="N", theta_direction=-1)
    share = classes["length_share"].to_numpy(dtype=float)
    top = float(share.max(initial=0.0)) or 1.0
    low, high = (classes[f"{end}_deg"].to_numpy(dtype=float) for end in ("from", "to"))
    for turn in (0.0, math.pi):
        bars = axes.bar(
            np.radians((low + high) / 2) + turn,
            np.sqrt(share / top),
            width=np.radians(high - low),
            facecolor=LIGHT,
            edgecolor=INK,
            linewidth=points(HAIR_MM),
            zorder=2,
        )
        for bar, start in zip(bars, low, strict=True):
            bar.set_gid(f"class-{start:g}-{'back' if turn else 'forth'}")
    _rings(axes, top, _clear(found))
    bearings = np.arange(0, 360, 30)
    axes.set_thetagrids(bearings, ["N", *(f"{bearing}°" for bearing in bearings[1:])])
    axes.tick_params(labelsize=SMALL_PT, pad=1.0)
    axes.spines["polar"].set_linewidth(points(FINE_MM))
    axes.set_ylim(0, EDGE)


def _rings(axes: PolarAxes, top: float, clear_deg: float) -> None:
    """Draw rings of round shares and write the shares where no family lies."""
    steps = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5)
    step = next(step for step in steps if top / step < 3)
    rings = np.arange(1, math.floor(top / step + 1e-9) + 1) * step
    axes.set_rgrids(np.sqrt(rings / top), [""] * len(rings))
    halo = [withStroke(linewidth=2, foreground="white")]
    for ring in rings:
        place = (math.radians(clear_deg), math.sqrt(ring / top))
        words = f"{fixed(100 * ring, 1).removesuffix('.0')} %"
        axes.text(*place, words, fontsize=SMALL_PT, zorder=6, path_effects=halo, ha="center")


def _mark(axes: PolarAxes, family: Mapping[Any, Any], k: int) -> None:
    """Draw a family's axes through the centre, its spread as arcs, and its letter at their ends."""
    colour, dashes = STROKES[k % len(STROKES)]
    spread = np.radians(np.linspace(-1, 1, 25) * float(family["spread_deg"]))
    style: dict[str, Any] = {"color": colour, "solid_capstyle": "butt", "zorder": 4}
    ends = [way + turn for way in _ways(float(family["axis_deg"])) for turn in (0, 180)]
    for end in np.radians(ends):
        axes.plot([end, end], [0, RIM], color="white", linewidth=points(2 * BOLD_MM), zorder=3)
        width = points(BOLD_MM)
        (line,) = axes.plot([end, end], [0, RIM], linestyle=dashes, linewidth=width, **style)
        line.set_gid(f"family-{_letter(family)}-{np.degrees(end):.1f}")
        axes.plot(end + spread, np.full(25, RIM), linewidth=points(3 * BOLD_MM), **style)
        at: dict[str, Any] = {"ha": "center", "va": "center", "weight": "bold"}
        axes.text(end, LETTER, _letter(family), fontsize=TEXT_PT, **at)


def _ways(axis_deg: float) -> list[float]:
    """Return the axes of a family within 180 degrees."""
    return sorted({round((axis_deg + 360 * i / FOLD) % 180, 9) for i in range(FOLD)})


def _clear(found: pd.DataFrame) -> float:
    """Return the bearing, up and to the right, that lies farthest from all families."""
    axes = [float(axis) for axis in found["axis_deg"]]
    ways = np.array([way for axis in axes for way in _ways(axis)] or [0.0])
    bearing = np.arange(5.0, 61.0, 5.0)
    off = (bearing[:, None] - ways + 90) % 180 - 90
    return float(bearing[np.argmax(np.abs(off).min(axis=1))])


def _key(made: Page, found: pd.DataFrame, number: int) -> None:
    """Write what the marks stand for under the rose."""
    tall = made.figure.get_figheight() * INCH_MM
    rows = found.to_dict("records")
    for k, row in enumerate(rows):
        height = (len(rows) - k - 0.5) * ROW_MM + 1.5
        colour, dashes = STROKES[k % len(STROKES)]
        ends = [1 / COLUMN_MM, (KEY_MM - 2) / COLUMN_MM]
        style: dict[str, Any] = {"color": colour, "linestyle": dashes}
        level = [(height + made.foot_mm) / tall] * 2
        made.figure.add_artist(Line2D(ends, level, linewidth=points(BOLD_MM), **style))
        made.write(_family(row), KEY_MM, height, fontsize=TEXT_PT, va="center")
    if not rows:
        made.write(_none(number), 1.0, 0.5 * ROW_MM + 1.5, fontsize=TEXT_PT, va="center")
