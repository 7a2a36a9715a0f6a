"""Views of a surface that show walls, drawn strip by strip: memory doesn't grow with the surface.

What a view says of a cell hangs on the cells around it alone, so strips leave no trace.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wrackline.rasters import RasterReader, SmoothRasterWriter
from wrackline.seabed import local_relief as trend
from wrackline.seabed.openness import openness
from wrackline.seabed.relief import (
    VIEW_UNITS,
    hillshade,
    horn_gradient,
    shade_around,
    slope_deg,
)

Array = npt.NDArray[np.float64]

STRIP_CELLS = 1_000_000


@dataclass(frozen=True)
class Reach:
    """How far views look: radius of the trend and of openness [m], directions of openness."""

    trend_m: float
    openness_m: float
    directions: int

    def cells(self, cell_m: float) -> int:
        """Return the margin that a strip needs on every side."""
        openness_cells = int(max(self.openness_m / cell_m, 1.0) + 1e-9)
        return max(1, trend.reach(self.trend_m, cell_m), openness_cells)


def views_of(height: Array, cell_m: float, reach: Reach) -> dict[str, Callable[[], Array]]:
    """Return what draws each view, so that no more than one is in memory.

    Parameters
    ----------
    height : array, shape (n_rows, n_columns)
        Heights, rows north to south, NaN where nothing is known [m].
    cell_m : float
        Cell size [m].
    reach : Reach
    """
    gradient = horn_gradient(height, cell_m)
    return {
        "slope": partial(slope_deg, *gradient),
        "hillshade": partial(hillshade, *gradient),
        "shade_around": partial(shade_around, *gradient),
        "local_relief": partial(trend.local_relief, height, cell_m, reach.trend_m),
        "openness": partial(openness, height, cell_m, reach.openness_m, reach.directions),
    }


def draw_views(
    surface: Path | str,
    outputs: Mapping[str, Path | str],
    *,
    crs: str,
    vertical_datum: str,
    reach: Reach,
    most_cells: int = STRIP_CELLS,
) -> None:
    """Write every view of a surface as a raster of one band.

    Parameters
    ----------
    surface : Path or str
        Raster with the band ``height`` [m].
    outputs : mapping of str to path
        Where each view of `relief.VIEW_UNITS` goes.
    crs, vertical_datum : str
        The site's.
    reach : Reach
    most_cells : int
        Of a strip; products don't hang on it.
    """
    writing = partial(SmoothRasterWriter, crs=crs, vertical_datum=vertical_datum)
    with ExitStack() as stack:
        source = stack.enter_context(RasterReader(surface))
        writers = {
            name: stack.enter_context(writing(path, [(name, VIEW_UNITS[name])], grid=source.grid))
            for name, path in outputs.items()
        }
        margin = reach.cells(source.grid.cell_m)
        for part in source.grid.strips(most_cells):
            around = part.grown(margin)
            height = source.read(around, ["height"])["height"]
            inner = around.window(part)
            for name, draw in views_of(height, part.cell_m, reach).items():
                writers[name].write(part, [draw()[inner]])
