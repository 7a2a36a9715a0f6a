"""A map of the composite's total vertical uncertainty, 1.96 sd, with its key in metres.

The classes end at values of a of S-44's specification matrix; each is darker than the one before,
so that the map reads in grey. The surface is read in strips; what is held is the map's own dots.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from wrackline.accuracy.standards import COVERAGE_S44
from wrackline.publish.picture_files import write_figure
from wrackline.publish.report_text import percent
from wrackline.quantities import fixed
from wrackline.rasters import Grid, RasterReader

Array = npt.NDArray[np.float64]

ENDS_M = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.5, 1.0)
COLOURS = (
    *("#fff7d6", "#fbe08e", "#f5bd5c", "#e8944a", "#cf6a4a"),
    *("#a94c55", "#7b385a", "#4d2a50", "#1f1a33"),
)
"""A class up to each end, and one beyond; lightness falls evenly."""
UNKNOWN: dict[str, Any] = {"facecolor": "white", "hatch": "///", "edgecolor": "#b4bec4"}
WIDEST_DOTS = 1600
WIDE_IN, KEY_IN, FOOT_IN, HEAD_IN = 9.0, 2.2, 1.2, 0.5
"""Sizes of the map, of its key, of the statement below and of the heading [inches]."""
LINE_LETTERS = 150
TITLE = "total vertical uncertainty of the seabed, 95 % (1.96 sd)"
TOPICS = ("vertical_datum", "surveyed", "caution")


def draw_uncertainty(surface: Path | str, about: Mapping[str, str], path: Path | str) -> None:
    """Draw the total uncertainty of a merged surface as a PNG.

    Parameters
    ----------
    surface : Path or str
        Raster with the bands ``sd`` [m] and ``filled``.
    about : mapping of str to str
        The statement beside all products.
    path : Path or str
        PNG to write.
    """
    with RasterReader(surface) as raster:
        dots, shares, filled = reduced(raster)
        box = _box(raster.grid)
    figure = Figure(figsize=(KEY_IN + WIDE_IN, _tall(box) + FOOT_IN + HEAD_IN))
    axes = _frame(figure, box)
    colours, norm = (
        ListedColormap(list(COLOURS)),
        BoundaryNorm([0.0, *ENDS_M, np.inf], len(COLOURS)),
    )
    axes.imshow(dots, cmap=colours, norm=norm, extent=box, interpolation="nearest")
    axes.set_title(f"{about['site']}: {TITLE}", loc="left", fontsize=10)
    _key(figure, shares, filled)
    lines = [f"{topic.replace('_', ' ')}: {about[topic]}" for topic in TOPICS if topic in about]
    lines = [part for line in lines for part in textwrap.wrap(line, LINE_LETTERS)]
    figure.text(0.06, 0.02, "\n".join(lines), fontsize=6.5, va="bottom")
    write_figure(figure, path, dpi=150)


def _tall(box: tuple[float, float, float, float]) -> float:
    """Return the height of the map itself [inches]."""
    west, east, south, north = box
    return float(np.clip(WIDE_IN * (north - south) / (east - west), 2.0, 11.0))


def _frame(figure: Figure, box: tuple[float, float, float, float]) -> Axes:
    """Return axes for the map, hatched where nothing will be drawn."""
    wide, tall = figure.get_size_inches()
    inside = (0.7 / wide, FOOT_IN / tall, (WIDE_IN - 0.9) / wide, _tall(box) / tall)
    axes = figure.add_axes(inside)
    axes.patch.set(**UNKNOWN)
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.tick_params(labelsize=6)
    return axes


def reduced(raster: RasterReader) -> tuple[Array, Array, float]:
    """Return the total uncertainty as dots, the share of each class, and the share filled.

    Returns
    -------
    dots : array, shape (n_rows, n_columns)
        1.96 times the root mean square sd of the cells in each dot [m]; NaN where there is none.
    shares : array, shape (9,)
        Part of the cells with a height in each class of `ENDS_M`, and beyond.
    filled : float
        Part of them that is filled between measured cells.
    """
    grid = raster.grid
    step = max(1, -(-max(grid.shape) // WIDEST_DOTS))
    shape = tuple(-(-size // step) for size in grid.shape)
    square, count = np.zeros(shape), np.zeros(shape)
    classes, filled = np.zeros(len(COLOURS), dtype=np.int64), 0
    starts = np.arange(0, grid.shape[1], step)
    for strip in grid.strips():
        bands = raster.read(strip, ("sd", "filled"))
        known = np.isfinite(bands["sd"])
        rows = (grid.north - strip.north + np.arange(strip.shape[0])) // step
        for total, values in ((square, np.where(known, bands["sd"] ** 2, 0.0)), (count, known)):
            np.add.at(total, rows, np.add.reduceat(values.astype(float), starts, axis=1))
        u95 = COVERAGE_S44 * bands["sd"][known]
        classes += np.bincount(np.searchsorted(ENDS_M, u95), minlength=len(classes))
        filled += int((bands["filled"] == 1).sum())
    dots = np.where(count > 0, COVERAGE_S44 * np.sqrt(square / np.maximum(count, 1)), np.nan)
    return dots, classes / max(classes.sum(), 1), filled / max(int(classes.sum()), 1)


def _box(grid: Grid) -> tuple[float, float, float, float]:
    """Return west, east, south and north edge of a grid [m]."""
    left, top = grid.transform[2], grid.transform[5]
    return left, left + grid.shape[1] * grid.cell_m, top - grid.shape[0] * grid.cell_m, top


def _key(figure: Figure, shares: Array, filled: float) -> None:
    """Write beside the map what each tone means, and how much of the ground it is."""
    style: dict[str, Any] = {"edgecolor": "#555555", "linewidth": 0.4}
    signs = [
        Patch(facecolor=colour, label=f"{words}: {percent(share)}", **style)
        for colour, words, share in zip(COLOURS, class_words(), shares, strict=True)
        if share > 0
    ]
    signs.append(Patch(label="not known", **{**style, **UNKNOWN}))
    title = f"± metres: share of the cells;\n{percent(filled)} of all are filled\nbetween soundings"
    place = (WIDE_IN / figure.get_figwidth(), 1 - HEAD_IN / figure.get_figheight())
    figure.legend(
        handles=signs,
        loc="upper left",
        bbox_to_anchor=place,
        fontsize=8,
        frameon=False,
        title=title,
        title_fontsize=8,
        alignment="left",
    )


def class_words() -> list[str]:
    """Return the classes in words, from the surest on.

    >>> class_words()[:2], class_words()[-1]
    (['up to 0.05', '0.05 to 0.10'], 'over 1.00')
    """
    ends = [fixed(end, 2) for end in ENDS_M]
    between = [f"{low} to {high}" for low, high in pairwise(ends)]
    return [f"up to {ends[0]}", *between, f"over {ends[-1]}"]
