"""Variances of cells: by grid as by place, and the same in whatever piece."""

import numpy as np

from wrackline.rasters import Grid
from wrackline.seabed.variances import cell_places, common_of_cells, common_variance
from wrackline.uncertainty import ErrorModel, NamedError

GRID = Grid((500_000.0, 4_700_000.0), 0.05, 7, 11, 60, 47)
PIVOT = (500_123.4, 4_700_321.7)
KINDS = ("easting", "northing", "height", "rotation", "scale", "tilt")
MODEL = ErrorModel(
    "2031-a",
    0.1,
    0.1,
    0.05,
    0.04,
    9.0,
    tuple(NamedError(f"mark:{kind}", kind, 0.013, PIVOT, 37.0) for kind in KINDS),
)


def surface():
    """Return rough heights with gaps, and slopes."""
    rng = np.random.default_rng(5)
    height = rng.normal(-3, 0.2, GRID.shape)
    height[rng.random(GRID.shape) < 0.2] = np.nan
    return height, (rng.normal(0, 0.3, GRID.shape), rng.normal(0, 0.3, GRID.shape))


def test_errors_of_a_grid_are_those_of_its_places():
    """Every kind of source, by rows and columns, as `common_variance` has it place by place."""
    height, slope = surface()
    known = np.isfinite(height)
    found = common_of_cells(GRID, height, slope, MODEL)
    slopes = np.column_stack([part[known] for part in slope])
    places = cell_places(GRID, height, known)
    np.testing.assert_allclose(found[known], common_variance(places, slopes, MODEL), rtol=1e-9)
    assert np.isnan(found[~known]).all()


def test_errors_of_a_cell_are_the_same_in_whatever_piece():
    """A piece has, to the bit, the figures of the whole."""
    height, slope = surface()
    whole = common_of_cells(GRID, height, slope, MODEL)
    for piece in GRID.pieces(13):
        window = GRID.window(piece)
        found = common_of_cells(piece, height[window], tuple(p[window] for p in slope), MODEL)
        np.testing.assert_array_equal(found, whole[window])
