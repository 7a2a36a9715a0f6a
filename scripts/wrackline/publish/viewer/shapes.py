"""Shapes for the plan viewer: outlines and lines as short whole numbers, and the relief's picture.

A layer's coordinates are one list of whole centimetres from the viewer's zero, each the difference
from the one before, east and north in turn; beside it stand how many corners each part has, how
many parts each thing has, and whether it is a point, a line or an area.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from PIL import Image
from scipy.spatial import cKDTree

from wrackline.publish.shrinking import Small

Array = npt.NDArray[np.float64]

TICK_M = 0.01
"""Corners are kept to a centimetre: no survey of a wall is better than that."""
POINT, LINE, AREA = 0, 1, 2
NEIGHBOURS, FARTHEST_M = 48, 1000.0
RELIEF_QUALITY = 80
DARKEST, LIGHTEST = 120, 255
"""Greys of the relief, light enough for lines and numbers over it to be read."""


@dataclass(frozen=True)
class Zero:
    """Where the viewer counts from.

    Attributes
    ----------
    easting, northing : float
        Whole metres of the site's grid [m].
    """

    easting: float
    northing: float

    def ticks(self, xy: Array) -> npt.NDArray[np.int64]:
        """Return places as whole ticks from the zero, shape (n, 2)."""
        moved: Array = xy - np.array([self.easting, self.northing])
        return np.rint(moved / TICK_M).astype(np.int64)


def packed(shapes: Sequence[Any], zero: Zero) -> dict[str, list[int]]:
    """Return shapes as lists of whole numbers.

    Parameters
    ----------
    shapes : sequence of Geometry
        Points, lines and polygons, or several of one sort; empty ones have no part.
    zero : Zero

    Returns
    -------
    dict
        ``xy``: differences of east and north [cm], 2 a corner; ``corners``: of each part;
        ``parts``: of each shape; ``kinds``: `POINT`, `LINE` or `AREA` of each shape.

    Examples
    --------
    >>> packed([shapely.Point(7, 8), shapely.LineString([(5, 5), (6, 5)])], Zero(5, 5))
    {'xy': [200, 300, -200, -300, 100, 0], 'corners': [1, 2], 'parts': [1, 1], 'kinds': [0, 1]}
    """
    kinds, parts, rings = [], [], []
    for shape in shapes:
        mine = [ring for part in shapely.get_parts(shape) for ring in _rings(part)]
        kinds.append(min(max(int(shapely.get_dimensions(shape)), POINT), AREA))
        parts.append(len(mine))
        rings += mine
    places = np.concatenate([shapely.get_coordinates(r) for r in rings]) if rings else np.empty(0)
    steps = np.diff(zero.ticks(places.reshape(-1, 2)), axis=0, prepend=np.zeros((1, 2), int))
    corners = [int(n) for n in shapely.get_num_coordinates(rings)] if rings else []
    return {"xy": steps.ravel().tolist(), "corners": corners, "parts": parts, "kinds": kinds}


def _rings(part: Any) -> list[Any]:
    """Return the lines that draw a shape of one part; none where it is empty."""
    if part is None or part.is_empty:
        return []
    if part.geom_type == "Polygon":
        return [part.exterior, *part.interiors]
    return [part]


def labels(shapes: Sequence[Any], zero: Zero) -> dict[str, list[int]]:
    """Return where a text may stand in each area, and how wide it may be.

    Parameters
    ----------
    shapes : sequence of Geometry
        Areas.
    zero : Zero

    Returns
    -------
    dict
        ``xy``: middle of the largest circle within, east and north in turn [cm]; ``wide``: the
        circle's diameter [cm], 0 where there is no area.
    """
    circles = [
        shapely.LineString() if shape.is_empty else shapely.maximum_inscribed_circle(shape, 0.05)
        for shape in shapes
    ]
    middles = [
        shapely.Point(circle.coords[0]) if circle.length else shapely.Point(zero.easting, 0.0)
        for circle in circles
    ]
    xy = zero.ticks(shapely.get_coordinates(middles).reshape(-1, 2))
    wide = [round(2 * circle.length / TICK_M) for circle in circles]
    return {"xy": xy.ravel().tolist(), "wide": wide}


def marks(shapes: Sequence[Any], zero: Zero) -> dict[str, list[int]]:
    """Return points for texts beside them, and how far each lies from those that come before it.

    Parameters
    ----------
    shapes : sequence of Point
        The most telling first.
    zero : Zero

    Returns
    -------
    dict
        ``xy`` as in `labels`; ``wide``: distance to the next of those before [cm]. Drawn only where
        that is wide enough on the screen, no two meet at any scale.

    Examples
    --------
    >>> marks([shapely.Point(0, 0), shapely.Point(9, 0), shapely.Point(8, 0)], Zero(0, 0))["wide"]
    [100000, 900, 100]
    """
    xy = shapely.get_coordinates(shapely.centroid(list(shapes))).reshape(-1, 2)
    apart = np.full(len(xy), FARTHEST_M)
    if len(xy) > 1:
        found = cKDTree(xy).query(xy, k=range(1, min(NEIGHBOURS, len(xy)) + 1))
        far, near = (np.asarray(part) for part in found)
        before = near < np.arange(len(xy))[:, None]
        # Where none of so many comes before, those before lie at least as far as the last of them.
        beyond = far[:, -1] if len(xy) > NEIGHBOURS else np.full(len(xy), FARTHEST_M)
        apart = np.where(before.any(axis=1), far[np.arange(len(xy)), before.argmax(axis=1)], beyond)
    wide = np.rint(np.minimum(apart, FARTHEST_M) / TICK_M).astype(int)
    return {"xy": zero.ticks(xy).ravel().tolist(), "wide": wide.tolist()}


def relief_picture(shade: Small, zero: Zero) -> dict[str, Any]:
    """Return a relief as a picture that lies in the page, light, and clear where nothing is known.

    Parameters
    ----------
    shade : Small
        One band of greys, 1 to 255.
    zero : Zero

    Returns
    -------
    dict
        ``picture``, a WebP as data address; ``extent``: west, east, south, north [cm].
    """
    (grey,) = shade.bands.values()
    known = np.isfinite(grey)
    low, high = np.quantile(grey[known], [0.01, 0.99]) if known.any() else (0.0, 1.0)
    share = np.clip((np.nan_to_num(grey) - low) / max(high - low, 1e-9), 0.0, 1.0)
    tone = np.rint(DARKEST + share * (LIGHTEST - DARKEST)).astype(np.uint8)
    alpha = np.where(known, 255, 0).astype(np.uint8)
    bands = [tone, tone, tone, alpha]
    packed_ = io.BytesIO()
    picture = Image.fromarray(np.dstack(bands), "RGBA")
    picture.save(packed_, "WEBP", quality=RELIEF_QUALITY, method=6)
    west, east, south, north = shade.extent
    ends = zero.ticks(np.array([[west, south], [east, north]]))
    return {
        "picture": "data:image/webp;base64," + base64.b64encode(packed_.getvalue()).decode(),
        "extent": [int(ends[0, 0]), int(ends[1, 0]), int(ends[0, 1]), int(ends[1, 1])],
    }
