"""Layers settled block by block: names, crumbs, edges, and what goes back into cells."""

import numpy as np
import pytest

from wrackline.rasters import Grid
from wrackline.seabed.layers import (
    ALL,
    COLUMNS,
    LOWER,
    NOTHING,
    UPPER,
    ground_around,
    put_settled,
    settle,
)
from wrackline.seabed.tiles import BANDS

GRID = Grid((0.0, 0.0), 0.2, 0, 0, 60, 60)


def doubt(rows, columns, *, lower=-4.0, upper=-2.0, votes=(9, 0)):
    """Return a rectangle of cells that hold two layers, with a vote on each."""
    places = [(column, row) for row in reversed(rows) for column in columns]
    cells = np.zeros(len(places), dtype=COLUMNS)
    cells["column"], cells["row"] = np.array(places).T
    cells["amid"], cells["lower"], cells["upper"] = 2, lower, upper
    cells["n_lower"], cells["n_upper"] = 5, 3
    cells["for_lower"], cells["for_upper"] = votes
    return cells


def together(*parts):
    """Return cells in the order that settling wants: rows from the north, columns."""
    cells = np.concatenate(parts)
    return cells[np.lexsort((cells["column"], -cells["row"].astype(int)))]


@pytest.mark.parametrize(
    ("votes", "bed", "kind"), [((9, 0), LOWER, "above"), ((0, 9), UPPER, "below")]
)
def test_the_layer_that_goes_on_around_is_the_bed(votes, bed, kind):
    """A square of two layers: what the rim votes for stays, the other layer is the block."""
    settled = settle(doubt(range(10, 18), range(10, 18), votes=votes), GRID, structure_max_m=1.5)
    assert (settled.bed == bed).all()
    (block,) = settled.blocks
    assert (block.kind, block.cells, block.layers) == (kind, 64, 2)
    assert block.points == 64 * (3 if kind == "above" else 5)
    np.testing.assert_allclose([block.column, block.row], [14, 14])


def test_without_votes_the_lower_layer_is_the_bed():
    """Nothing in sight of the rim: plants stand on the bed, more often than echoes lie below it."""
    settled = settle(doubt(range(8), range(8), votes=(0, 0)), GRID, structure_max_m=1.5)
    assert (settled.bed == LOWER).all()


def test_blocks_of_another_height_that_touch_are_two():
    """A shoal 2 m up beside echoes 4 m down, cell by cell: two blocks, each by its own votes."""
    shoal = doubt(range(10, 18), range(10, 18))
    echoes = doubt(range(10, 18), range(18, 26), lower=-8.0, upper=-4.0, votes=(0, 9))
    settled = settle(together(shoal, echoes), GRID, structure_max_m=1.5)
    assert sorted(block.kind for block in settled.blocks) == ["above", "below"]


def test_a_few_cells_go_with_the_block_that_they_touch():
    """Five cells whose layers lie further apart than their neighbours' make no block."""
    crumbs = doubt(range(18, 19), range(10, 15), upper=3.0)
    settled = settle(
        together(doubt(range(10, 18), range(10, 18)), crumbs), GRID, structure_max_m=1.5
    )
    assert len(settled.blocks) == 1


def test_a_thin_low_line_of_two_layers_is_a_wall_and_stays_whole():
    """Two cells wide and 0.8 m high: the edge of a wall, no block; 2 m high it is one."""
    low = doubt(range(10, 12), range(5, 40), upper=-3.2)
    settled = settle(low, GRID, structure_max_m=1.5)
    assert (settled.bed == ALL).all()
    assert settled.blocks == []
    assert len(settle(doubt(range(10, 12), range(5, 40)), GRID, structure_max_m=1.5).blocks) == 1


def bands_with(**values):
    """Return the bands of one cell, NaN where nothing is given."""
    bands = {name: np.full((1, 1), np.nan) for name, _ in BANDS}
    bands |= {name: np.array([[value]], dtype=float) for name, value in values.items()}
    return {**bands, "canopy": np.full((1, 1), np.nan)}


ONE = Grid((0.0, 0.0), 0.2, 10, 10, 11, 11)
TWO_LAYERS = {
    **{"count": 5, "height": -4.0, "spread": 0.1, "middle": -4.0, "rejected": 3},
    **{"upper_count": 3, "upper_height": -2.0, "upper_spread": 0.2, "amid": 2},
}


def put(bed, cells=None, **values):
    """Return the bands of one cell after a verdict was put into them."""
    bands = bands_with(**{**TWO_LAYERS, **values})
    cells = doubt(range(10, 11), range(10, 11)) if cells is None else cells
    settled = settle(cells, GRID, structure_max_m=1.5)
    object.__setattr__(settled, "bed", np.array([bed], dtype=np.uint8))
    assert put_settled(bands, settled, ONE)
    return {name: float(values[0, 0]) for name, values in bands.items()}


def test_both_layers_of_a_wall_s_edge_are_one_sample_again():
    """Five of −4 m (sd 0.1) and three of −2 m (sd 0.2): mean −3.25, and the spread of all eight."""
    told = put(ALL)
    eight = 4 * 0.1**2 + 2 * 0.2**2 + 5 * 0.75**2 + 3 * 1.25**2
    np.testing.assert_allclose([told["height"], told["count"], told["rejected"]], [-3.25, 8, 0])
    np.testing.assert_allclose(told["spread"], np.sqrt(eight / 7))


def test_the_upper_layer_takes_the_place_of_the_lower():
    """Where the upper one is the bed, its figures stand, and the lower's points are set aside."""
    told = put(UPPER)
    assert [told[name] for name in ("height", "count", "rejected")] == [-2.0, 3, 5]
    assert np.isnan(told["canopy"])


def test_what_lay_above_the_bed_is_kept_as_canopy():
    """Where the lower one is the bed, the upper's height is told beside it."""
    told = put(LOWER)
    assert [told[name] for name in ("height", "count", "canopy")] == [-4.0, 5, -2.0]


def test_a_cell_of_which_nothing_is_bed_is_empty():
    """Only the wrong layer was met: no height, all its points set aside."""
    told = put(NOTHING, rejected=0)
    assert np.isnan(told["height"])
    assert [told["count"], told["rejected"]] == [0, 5]


def test_the_ground_around_is_a_median_that_no_wall_moves():
    """A wall 0.6 m wide across level ground: the ground around is level, whatever the piece."""
    height = np.zeros((60, 60))
    height[:, 30:33] = 0.8
    around = ground_around(height, GRID)
    np.testing.assert_allclose(around, 0.0)
    part = Grid((0.0, 0.0), 0.2, 20, 20, 44, 44)
    np.testing.assert_array_equal(
        ground_around(height[GRID.window(part)], part)[12:, 12:],
        around[GRID.window(part)][12:, 12:],
    )
