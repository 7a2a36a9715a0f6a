"""What lies under a sheet's lines: the seabed's relief in light greys, or a survey's picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from scipy.ndimage import zoom

from wrackline.publish.sheets.content import Content
from wrackline.publish.sheets.paper import Bounds, Layout
from wrackline.publish.sheets.style import Style

RELIEF_LIGHT = 3.0
"""The seabed's relief takes this part of the greys, as one in so many, and leaves ink its own."""
SMOOTH_MM, MOST_PARTS = 0.8, 16
"""Cells of the relief that are larger than this on paper are parted, into so many at most."""
PICTURE_LIGHT = 0.45
"""How far a picture is lightened towards white, so that ink stands out on it."""
PICTURE_DOTS_MM = 8.0
"""Pixels of a picture to a millimetre of paper, at most: 200 to the inch."""


@dataclass(frozen=True)
class Under:
    """A picture under a sheet.

    Attributes
    ----------
    values : array
        (rows, columns) of greys or (rows, columns, 4) of colours.
    extent : tuple of float
        West, east, south and north edge [m].
    look : dict
        How greys are drawn.
    sample : (str, Style) or None
        Words and sample for the legend.
    survey : str
        Of a picture.
    """

    values: np.ndarray
    extent: tuple[float, float, float, float]
    look: dict[str, Any]
    sample: tuple[str, Style] | None = None
    survey: str = ""

    def draw(self, axes: Axes) -> None:
        """Draw it under all else."""
        axes.imshow(
            self.values,
            extent=self.extent,
            aspect="auto",
            zorder=0.1,
            interpolation="none",
            **self.look,
        )


def backdrop_of(content: Content, layout: Layout) -> Under | None:
    """Return what lies under a sheet, if anything: a picture where one is asked for, else relief.

    Parameters
    ----------
    content : Content
    layout : Layout
    """
    below = _picture(content, layout) if content.picture is not None else None
    return below if below is not None else _relief(content, layout)


def _relief(content: Content, layout: Layout) -> Under | None:
    """Return the part of the relief on a sheet; what stands above the ground around is darker."""
    relief = content.relief
    if relief is None:
        return None
    whole = relief.bands["local_relief"]
    known = np.abs(whole[np.isfinite(whole)])
    most = max(float(np.quantile(known, 0.99)), 0.05) if known.size else 0.05
    values, extent = _cropped(whole, relief.extent, layout.ground)
    if not values.size or not np.isfinite(values).any():
        return None
    values = _finer(values, layout.metre_mm * (extent[1] - extent[0]) / values.shape[1])
    look = {"cmap": "Greys", "vmin": -most / 4, "vmax": RELIEF_LIGHT * most}
    tone = mpl.colormaps["Greys"]((1 + 0.25) / (RELIEF_LIGHT + 0.25))
    words = content.words.say("relief", height=content.words.number(most, 2))
    return Under(values, extent, look, (words, Style(face=mpl.colors.to_hex(tone))))


def _cropped(
    values: np.ndarray, extent: tuple[float, float, float, float], ground: Bounds
) -> tuple[np.ndarray, tuple[float, float, float, float]]:
    """Return the cells that touch a frame, and their extent."""
    west, east, south, north = extent
    rows, columns = values.shape
    cell = (east - west) / columns, (north - south) / rows
    i0 = int(np.clip(np.floor((ground[0] - west) / cell[0]), 0, columns))
    i1 = int(np.clip(np.ceil((ground[2] - west) / cell[0]), 0, columns))
    j0 = int(np.clip(np.floor((north - ground[3]) / cell[1]), 0, rows))
    j1 = int(np.clip(np.ceil((north - ground[1]) / cell[1]), 0, rows))
    left, top = west + i0 * cell[0], north - j0 * cell[1]
    right, bottom = west + i1 * cell[0], north - j1 * cell[1]
    return values[j0:j1, i0:i1], (left, right, bottom, top)


def _finer(values: np.ndarray, cell_mm: float) -> np.ndarray:
    """Return cells parted into smaller ones, so that large ones don't look like things."""
    parts = int(min(np.ceil(cell_mm / SMOOTH_MM), MOST_PARTS))
    if parts < 2:
        return values
    known = np.isfinite(values)
    smooth = zoom(np.where(known, values, 0.0), parts, order=1, grid_mode=True, mode="nearest")
    share = zoom(known.astype(float), parts, order=1, grid_mode=True, mode="nearest")
    return np.where(share > 0.5, smooth / np.maximum(share, 0.5), np.nan)


def _picture(content: Content, layout: Layout) -> Under | None:
    """Return the part of a survey's picture on a sheet, lightened."""
    most = int(PICTURE_DOTS_MM * max(layout.map_mm[2:]))
    found = content.picture(layout.ground, most) if content.picture is not None else None
    if found is None:
        return None
    rgba = found.rgba.copy()
    dark = 255 - rgba[..., :3].astype(float)
    rgba[..., :3] = 255 - np.round(dark * (1 - PICTURE_LIGHT)).astype("u1")
    return Under(rgba, found.extent, {}, None, content.settings.picture or "")
