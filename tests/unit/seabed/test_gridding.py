"""Surfaces of single surveys: figures by hand, planes, order, chunks and place."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrackline.errors import InputError
from wrackline.points import points_info
from wrackline.rasters import Grid
from wrackline.seabed import bins
from wrackline.seabed.bins import bin_points
from wrackline.seabed.gridding import BANDS
from wrackline.seabed.slopes import plane_gradient
from wrackline.uncertainty import ErrorModel, NamedError

HYPOTHESIS = {"derandomize": True, "database": None, "deadline": None}


def test_mean_count_and_spread_of_a_cell_are_as_by_hand(bed):
    """Heights 1, 2, 3 and 6 in one cell: mean 3, count 4, sample sd sqrt(14/3)."""
    xyz = [(0.1, 0.1, 1), (0.9, 0.1, 2), (0.5, 0.9, 3), (0.5, 0.9, 6), (1.5, 0.5, 7)]
    grid, bands = bed.surface(xyz)
    assert grid.shape == (1, 2)
    np.testing.assert_allclose(bands["height"], [[3, 7]])
    np.testing.assert_allclose(bands["count"], [[4, 1]])
    np.testing.assert_allclose(bands["spread"], [[np.sqrt(14 / 3), np.nan]], rtol=1e-6)
    assert bands["filled"].tolist() == [[0, 0]]


def test_rows_run_north_to_south(bed):
    """The northern point stands in the first row."""
    _, bands = bed.surface([(0.5, 0.5, -1), (0.5, 1.5, -2)])
    np.testing.assert_allclose(bands["height"], [[-2], [-1]])


def test_the_sd_of_a_level_cell_is_the_sum_of_its_causes(bed):
    """Random 0.04/√4, patchy 0.03, gauge 0.05: sd √(0.02² + 0.03² + 0.05²)."""
    model = ErrorModel(
        "2031-a", 0.5, 0.04, 0.0, 0.03, 10.0, (NamedError("gauge:height", "height", 0.05),)
    )
    xyz = [(x, y, -2.0) for x in (0.2, 0.7, 1.2, 1.7) for y in (0.2, 0.7, 1.2, 1.7)]
    _, bands = bed.surface(xyz, model=model)
    np.testing.assert_allclose(bands["sd_random"], 0.02, rtol=1e-6)
    np.testing.assert_allclose(bands["sd"], np.sqrt(0.02**2 + 0.03**2 + 0.05**2), rtol=1e-6)


def test_errors_of_position_count_on_a_slope(bed):
    """On a slope of 0.5 eastward, an easting shift of 0.2 m is 0.1 m of height."""
    x, y = np.meshgrid(np.arange(8) + 0.5, np.arange(8) + 0.5)
    xyz = np.column_stack([x.ravel(), y.ravel(), 0.5 * x.ravel()])
    model = ErrorModel("2031-a", 0.0, 0.0, named=(NamedError("mark:easting", "easting", 0.2),))
    _, bands = bed.surface(xyz, model=model)
    np.testing.assert_allclose(bands["sd"], 0.1, rtol=1e-4)


def test_a_tilt_grows_from_its_pivot(bed):
    """A tilt of 1 mm per m eastward is 5.5 mm at 5.5 m from the pivot."""
    tilt = NamedError("level:tilt", "tilt", 1e-3, bed.origin, 90.0)
    xyz = [(x + 0.5, 0.5, 0.0) for x in range(10)]
    _, bands = bed.surface(xyz, model=ErrorModel("2031-a", 0.0, 0.0, named=(tilt,)))
    np.testing.assert_allclose(bands["sd"][0], (np.arange(10) + 0.5) * 1e-3, rtol=1e-5)


def test_what_a_file_states_of_itself_is_the_least_sd(bed):
    """A grid's own 0.3 m is not averaged down by four nodes in a cell."""
    xyz = [(0.2, 0.2, 0), (0.7, 0.2, 0), (0.2, 0.7, 0), (0.7, 0.7, 0)]
    _, bands = bed.surface(xyz, sd=[0.3] * 4)
    np.testing.assert_allclose(bands["sd"], 0.3, rtol=1e-6)
    _, bands = bed.surface(xyz, sd=[0.001] * 4)
    np.testing.assert_allclose(bands["sd"], 0.02, rtol=1e-6)


def cloud(seed, count=400):
    rng = np.random.default_rng(seed)
    xyz = np.column_stack([rng.uniform(0, 12, (count, 2)), rng.normal(-3, 0.5, count)])
    return np.round(xyz, 4)


@pytest.mark.parametrize(
    "how", [{"tile_m": 14.0}, {"tile_m": 64.0, "memory_mb": 260.0}, {"tile_m": 28.0}]
)
def test_order_tiles_and_memory_leave_no_trace(bed, how):
    """Points shuffled, in tiles of another size, worked on in other pieces give the same bytes."""
    rng = np.random.default_rng(3)
    turn = NamedError("setup:rotation", "rotation", 0.01, (500_012.3, 4_700_045.6))
    model = ErrorModel("2031-a", 0.1, 0.05, 0.05, 0.04, 9.0, (turn,))
    settled = {"fill_distance_m": 2.0, "cell_m": 0.5, "model": model}
    xyz = cloud(11, 4000) * [5, 5, 1]
    bed.surface(xyz, **settled)
    once, lone = (bed.folder / "surface.tif").read_bytes(), bed.set_aside.lone
    bed.surface(rng.permutation(xyz), step=int(rng.integers(1, 400)), how=how, **settled)
    assert (bed.folder / "surface.tif").read_bytes() == once
    assert len(lone) > 0
    np.testing.assert_array_equal(bed.set_aside.lone, lone)


@pytest.mark.parametrize(("columns", "rows"), [(1, 0), (-3, 7), (40, 25)])
def test_points_moved_by_whole_cells_move_the_surface(bed, columns, rows):
    """The same surface comes out, so many cells further."""
    xyz, settled = cloud(12), {"fill_distance_m": 2.0, "cell_m": 0.5}
    grid, bands = bed.surface(xyz, **settled)
    moved_grid, moved = bed.surface(xyz + np.array([0.5 * columns, 0.5 * rows, 0]), **settled)
    assert (moved_grid.west, moved_grid.south) == (grid.west + columns, grid.south + rows)
    for name, values in bands.items():
        np.testing.assert_array_equal(moved[name], values)


def test_another_origin_a_whole_number_of_cells_away_changes_no_cell(bed):
    """Cells are the same ground as long as origins differ by whole cells."""
    xyz = cloud(13)
    _, bands = bed.surface(xyz, cell_m=0.5)
    _, again = bed.surface(xyz + np.array([7, 3.5, 0]), cell_m=0.5, origin=(499_993.0, 4_699_996.5))
    for name, values in bands.items():
        np.testing.assert_array_equal(again[name], values)


def test_cells_of_a_refused_size_name_the_way_out(bed, monkeypatch):
    """A stray point would make the rectangle too large for memory: refused with its size."""
    monkeypatch.setattr(bins, "MAX_CELLS", 1000)
    with pytest.raises(InputError, match="101 × 101 cells of 1 m"):
        bed.cells([(0.5, 0.5, 0), (100.5, 100.5, 0)])


def test_sums_that_64_bits_cannot_hold_are_refused(bed, monkeypatch):
    """More points in a cell than squares can be summed exactly for is a fault."""
    path = bed.write([(0.5, 0.5, 0), (0.5, 0.5, 1)])
    wide = dataclasses.replace(points_info(path), heights=(-1e5, 2e5))
    monkeypatch.setattr(bins, "points_info", lambda _: wide)
    with pytest.raises(InputError, match="2 points in one cell, over 300000 m"):
        bin_points(path, origin=bed.origin, cell_m=1.0)


@settings(max_examples=25, **HYPOTHESIS)
@given(
    st.floats(-2, 2), st.floats(-2, 2), st.floats(-50, 5), st.sampled_from([0.25, 0.5, 1.0, 2.0])
)
def test_planes_are_recovered(east, north, height, cell_m):
    """Mean heights at centres give a plane's own slope, whatever the cell."""
    grid = Grid((0.0, 0.0), cell_m, 0, 0, 9, 7)
    x, y = np.meshgrid(*grid.centres())
    slope = plane_gradient(height + east * x + north * y, cell_m)
    np.testing.assert_allclose(slope[0], east, atol=1e-6)
    np.testing.assert_allclose(slope[1], north, atol=1e-6)


def test_gaps_do_not_bend_the_slope_of_a_plane():
    """Half the cells missing at random, the plane's slope stays."""
    x, y = np.meshgrid(np.arange(12.0), np.arange(12.0)[::-1])
    plane = 0.3 * x - 0.2 * y
    plane[np.random.default_rng(2).random(plane.shape) < 0.5] = np.nan
    east, north = plane_gradient(plane, 1.0)
    known = np.isfinite(plane)
    np.testing.assert_allclose(east[known], 0.3, atol=1e-5)
    np.testing.assert_allclose(north[known], -0.2, atol=1e-5)
    assert np.isnan(east[~known]).all()


def test_a_lone_cell_takes_the_slope_of_the_others():
    """Nothing tells the slope at a lone sounding; the others' root mean square stands for it."""
    height = np.full((9, 20), np.nan)
    height[:, :8] = 0.4 * np.arange(8)
    height[4, 15] = 1.0
    east, north = plane_gradient(height, 1.0)
    np.testing.assert_allclose(np.hypot(east[4, 15], north[4, 15]), 0.4, rtol=1e-5)


def test_soundings_in_one_line_have_a_slope_along_it_alone():
    """Across a single line nothing is known: taken as level, not as infinite."""
    height = np.full((7, 7), np.nan)
    height[3] = 0.5 * np.arange(7)
    east, north = plane_gradient(height, 1.0)
    np.testing.assert_allclose(east[3], 0.5, rtol=1e-5)
    np.testing.assert_allclose(north[3], 0.0, atol=1e-9)


def test_bands_are_named_and_known_cells_have_a_positive_sd(bed):
    """The raster's bands are those that are documented; sd and height are known together."""
    _, bands = bed.surface(cloud(5), model=ErrorModel("2031-a", 0.1, 0.05), fill_distance_m=2.0)
    assert list(bands) == [name for name, _ in BANDS]
    sd, height = bands["sd"], bands["height"]
    assert (np.isfinite(sd) == np.isfinite(height)).all()
    assert (sd[np.isfinite(sd)] > 0).all()
    assert (bands["distance_m"][bands["filled"] == 0] == 0).all()
    assert (bands["distance_m"][bands["filled"] == 1] > 0).all()
