"""Points by tile and by cell: nothing lost, nothing doubled, and as other libraries bin them."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binned_statistic_2d
from sims import Held

from wrackline.errors import InputError
from wrackline.points import points_info, raw_chunks
from wrackline.rasters import Grid
from wrackline.seabed import spill as spilling
from wrackline.seabed.blunders import MARGIN
from wrackline.seabed.cells import Area, sort_cells, sum_cells
from wrackline.seabed.gridding import spill_survey
from wrackline.seabed.spill import Tiling, open_spill, spill_points
from wrackline.seabed.tiles import cells_of_tile, grid_tiles, tiles_of_share, work_of
from wrackline.uncertainty import ErrorModel

HYPOTHESIS = {"derandomize": True, "database": None, "deadline": None}
MODEL = ErrorModel("2031-a", 0.05, 0.05)


def cloud(seed, count=3000, side=80):
    """Return random points, some of them on the edges of cells and tiles [m]."""
    rng = np.random.default_rng(seed)
    xyz = np.column_stack([rng.uniform(-side / 2, side, (count, 2)), rng.normal(-3, 0.5, count)])
    xyz[: count // 10, :2] = np.round(xyz[: count // 10, :2])
    return np.round(xyz, 4)


def spilled(bed, xyz, *, tile_m=14.0, cell_m=0.25, **more):
    """Write points and spill them into tiles."""
    folder = spill_survey(
        bed.write(xyz, **more), bed.folder / "spill", bed.origin, cell_m=cell_m, tile_m=tile_m
    )
    return open_spill(folder)


def test_each_point_is_in_the_tile_that_holds_it_once(bed):
    """Points of a tile, its margin left out, are all points of the file, each once."""
    xyz = cloud(1)
    spill = spilled(bed, xyz)
    tiles = spill.tiles()
    assert len(tiles) > 20
    count = 0
    for number, points in tiles.items():
        area = Area.of(spill.tiling.tile(number), spill.offset)
        count += int(sum_cells(points, area, base=0)[:, 0].sum())
    assert count == len(xyz) == spill.count


def test_a_tile_has_the_points_of_its_margin(bed):
    """Within the margin a tile has as many points as the whole file."""
    xyz = cloud(2)
    spill = spilled(bed, xyz)
    everything = list(raw_chunks(bed.folder / "points.laz"))
    for number, points in spill.tiles().items():
        wide = Area.of(spill.tiling.tile(number).grown(MARGIN), spill.offset)
        whole = sum_cells(everything, wide, base=0)
        np.testing.assert_array_equal(sum_cells(points, wide, base=0), whole)


def test_a_spill_is_read_back_as_it_was_written(bed):
    """Opened anew, a spill is the one that was written, rows and own sds included."""
    xyz = cloud(3, 50)
    spill = spilled(bed, xyz, sd=np.full(50, 0.25), rows=np.arange(50) + 2)
    info = points_info(bed.folder / "points.laz")
    assert (spill.with_sd, spill.with_row, spill.words) == (True, True, 5)
    again = spill_points(bed.folder / "points.laz", bed.folder / "other", tiling=spill.tiling)
    assert dataclasses.replace(again, folder=spill.folder) == spill
    assert spill.heights == info.heights
    words = np.concatenate([run for points in spill.tiles().values() for run in points])
    assert set(words[:, 3].tolist()) == {2500}
    assert set(words[:, 4].tolist()) == set(range(2, 52))


def test_ground_too_wide_for_tiles_is_refused(bed, monkeypatch):
    """A stray point would need more tiles than can be counted."""
    monkeypatch.setattr(spilling, "MOST_TILES", 4)
    path = bed.write([(0, 0, 0), (900, 900, 0)])
    tiling = Tiling(Grid.around(bed.origin, 1.0, points_info(path).bounds), 64, MARGIN)
    with pytest.raises(InputError, match="points over 15 × 15 tiles of 64 m"):
        spill_points(path, bed.folder / "spill", tiling=tiling)


@settings(max_examples=25, **HYPOTHESIS)
@given(st.integers(0, 10_000), st.sampled_from([0.25, 0.5, 1.0, 2.0]))
def test_counts_and_means_are_those_of_scipy(seed, cell_m):
    """scipy.stats.binned_statistic_2d gives the same counts and means."""
    rng = np.random.default_rng(seed)
    words = rng.integers(0, 200_000, (500, 3)).astype(np.int32)
    grid = Grid((0.0, 0.0), cell_m, 0, 0, round(20 / cell_m), round(20 / cell_m))
    sums = sum_cells([words[:200], words[200:]], Area.of(grid, (0, 0, 0)), base=1000)
    edges = np.arange(grid.shape[0] + 1) * round(cell_m * 10_000)
    where = words[:, 0], words[:, 1]
    count = binned_statistic_2d(*where, None, "count", [edges, edges]).statistic.T[::-1]
    mean = binned_statistic_2d(*where, words[:, 2], "mean", [edges, edges]).statistic.T[::-1]
    np.testing.assert_array_equal(sums[:, 0].reshape(grid.shape), count)
    there = count > 0
    found = sums[:, 1].reshape(grid.shape)[there] / count[there] + 1000
    np.testing.assert_allclose(found, mean[there])


@settings(max_examples=20, **HYPOTHESIS)
@given(st.integers(0, 10_000), st.integers(1, 300))
def test_heights_are_sorted_within_each_cell(seed, most):
    """Every cell has its own heights, in order, however many they are."""
    rng = np.random.default_rng(seed)
    words = rng.integers(0, 30_000, (most * 9, 3)).astype(np.int32)
    area = Area.of(Grid((0.0, 0.0), 1.0, 0, 0, 3, 3), (0, 0, 0))
    cells = sort_cells(Held([words]), area)
    for at in range(9):
        row, column = divmod(at, 3)
        mine = (words[:, 0] // 10_000 == column) & (words[:, 1] // 10_000 == 2 - row)
        part = cells.heights[cells.starts[at] : cells.starts[at + 1]]
        np.testing.assert_array_equal(part, np.sort(words[mine, 2]))


def test_middle_heights_are_medians_of_what_is_kept(bed):
    """Without blunders a cell's middle is numpy's median of its points."""
    xyz = np.column_stack(
        [cloud(5, 4000, 8)[:, :2], np.random.default_rng(6).normal(0, 0.02, 4000)]
    )
    grid, bands = bed.surface(xyz, model=MODEL)
    column = np.floor(xyz[:, 0]).astype(int) - grid.west
    row = grid.north - 1 - np.floor(xyz[:, 1]).astype(int)
    for at in ((3, 4), (7, 2), (5, 9)):
        mine = np.round(xyz[(row == at[0]) & (column == at[1]), 2], 4)
        np.testing.assert_allclose(bands["middle"][at], np.median(mine), atol=1e-6)


def test_pieces_of_a_tile_are_the_tile(bed):
    """Worked on in quarters, for want of memory, a tile has the same cells and blunders."""
    spill = spilled(bed, cloud(7, 20_000), tile_m=120.0)
    number, points = max(spill.tiles().items(), key=lambda tile: len(tile[1]))
    tile = spill.tiling.tile(number)
    limits = {"cell_m": 0.25, "structure_max_m": 1.5}
    (whole,) = cells_of_tile(points, tile, spill, work_of(MODEL, memory_mb=1e6, **limits))
    small = work_of(MODEL, memory_mb=251.0, **limits)
    pieces = list(cells_of_tile(points, tile, spill, small))
    assert len(pieces) > 4
    for piece in pieces:
        for name, values in piece.bands.items():
            np.testing.assert_array_equal(values, whole.bands[name][tile.window(piece.grid)])
    assert sum(len(piece.lone) for piece in pieces) == len(whole.lone) > 0


@pytest.mark.parametrize("shares", [1, 2, 5])
def test_shares_part_the_tiles_and_change_nothing(bed, shares):
    """Each tile belongs to one share; the rasters of all shares hold what one raster would."""
    spill = spilled(bed, cloud(8))
    mine = [tiles_of_share(spill, share, shares) for share in range(shares)]
    assert sorted(tile for tiles in mine for tile in tiles) == list(spill.tiles())
    work = work_of(MODEL, cell_m=0.25, structure_max_m=1.5, memory_mb=1e6)
    lone = [
        grid_tiles(spill, bed.folder / f"{share}.tif", work, share=(share, shares))
        for share in range(shares)
    ]
    once = grid_tiles(spill, bed.folder / "whole.tif", work)
    assert sum(len(part) for part in lone) == len(once)


def test_a_plane_is_recovered_at_the_centres_of_cells(bed):
    """A plane of slope 0.5, sounded at random places, has its own heights at the cells' centres."""
    rng = np.random.default_rng(9)
    xyz = np.column_stack([rng.uniform(0, 20, (4000, 2)), np.zeros(4000)])
    xyz[:, 2] = -3 + 0.4 * xyz[:, 0] - 0.3 * xyz[:, 1]
    grid, bands = bed.surface(xyz, model=ErrorModel("2031-a", 0.0, 0.01))
    east, north = np.meshgrid(*grid.centres())
    truth = -3 + 0.4 * (east - bed.origin[0]) - 0.3 * (north - bed.origin[1])
    np.testing.assert_allclose(bands["height"], truth, atol=0.01)
    assert np.nanmax(bands["sd_random"]) < 0.05


def test_a_step_stays_a_step(bed):
    """A step of 2 m between two cells is 2 m high, and no wider than the cells beside it."""
    rng = np.random.default_rng(10)
    xyz = np.column_stack([rng.uniform(0, 20, (6000, 2)), np.zeros(6000)])
    xyz[:, 2] = np.where(xyz[:, 0] >= 10, 2.0, 0.0)
    _, bands = bed.surface(xyz, model=ErrorModel("2031-a", 0.0, 0.01))
    np.testing.assert_allclose(bands["middle"][:, :10], 0.0, atol=1e-6)
    np.testing.assert_allclose(bands["middle"][:, 10:], 2.0, atol=1e-6)
    np.testing.assert_allclose(bands["height"][:, 2:8], 0.0, atol=1e-6)
    assert np.abs(bands["height"] - bands["middle"]).max() < 0.35


def test_a_cliff_is_no_slope(bed):
    """Beside a cliff of 8 m means are moved as on the steepest loose ground, 0.35 m at most."""
    rng = np.random.default_rng(11)
    xyz = np.column_stack([rng.uniform(0, 20, (6000, 2)), np.zeros(6000)])
    xyz[:, 2] = np.where(xyz[:, 0] >= 10, 8.0, 0.0)
    how = {"structure_max_m": None}
    _, bands = bed.surface(xyz, model=ErrorModel("2031-a", 0.0, 0.01), how=how)
    truth = np.where(np.arange(20) >= 10, 8.0, 0.0)
    assert np.abs(bands["height"] - truth).max() <= 0.5 * 0.7
