"""Plausible outlines: what stands in all of them, what in some, and what no choice is about."""

import numpy as np
import pytest
import shapely
from drawn import box, line_table, models_of

from wrackline.model import WallSettings
from wrackline.rooms.faces import faces_of
from wrackline.walls.joining import join_walls
from wrackline.walls.plausible import Plausible, load, save


def joined(lines, **walls):
    """Return the joined walls of hand-drawn centre lines."""
    table = line_table(lines, follows="centre", thickness_m=0.5)
    models = {model.survey: model for model in models_of(table)}
    return join_walls(table, models, WallSettings(**walls))


def support(got):
    """Return the support of every face, by its place in the row of faces."""
    return got.outlines[0].support(faces_of(got.network).polygons)


def test_a_room_of_recorded_walls_alone_stands_in_every_outline():
    """Nothing is closed, so nothing can be otherwise."""
    assert support(joined(box(0, 0, 4, 4))).tolist() == [1.0]


def test_a_room_with_a_plain_doorway_hardly_ever_fails():
    """A gap of a doorway in a straight wall has no rival."""
    gap = [[(0, 0), (1.5, 0)], [(2.4, 0), (4, 0)], *box(0, 0, 4, 4)[1:]]
    assert support(joined(gap))[0] >= 0.9


def rivals(north, east, beyond):
    """Return two rooms beside each other, the wall between them and the one behind both broken."""
    behind = [[(0, 4), (north, 4)], [(beyond, 4), (12, 4)]]
    return [*box(0, 0, 12, 4)[:2], box(0, 0, 12, 4)[3], *behind, [(6, 0), (6, east)]]


def test_a_wall_that_may_go_on_in_two_ways_leaves_its_rooms_in_doubt():
    """The broken wall behind may turn into the partition, or go on past it."""
    shares = support(joined(rivals(4.4, 2.4, 7.6)))
    assert len(shares) == 2
    assert ((shares > 0.6) & (shares < 0.99)).all()


def test_a_house_stands_however_it_is_divided():
    """Two rooms, or one of both, make the same house; with one of them open it is none."""
    cells = np.array([shapely.box(0, 0, 5, 4), shapely.box(5, 0, 10, 4)])
    outlines = Plausible(cells, np.array([[0, 1], [0, 0], [-1, 1]]))
    house = np.array([shapely.box(0, 0, 10, 4)])
    np.testing.assert_allclose(outlines.support_together(house), [2 / 3])
    np.testing.assert_allclose(outlines.support(cells), [1 / 3, 2 / 3])


def test_a_closing_stands_where_it_parts_two_spaces():
    """Two rooms, or a room and the open, lie beside it; in one space it is not there."""
    cells = np.array([shapely.box(0, 0, 5, 4), shapely.box(5, 0, 10, 4)])
    outlines = Plausible(cells, np.array([[0, 1], [0, 0], [-1, 1]]))
    between = np.array([shapely.LineString([(5, 0), (5, 4)]), shapely.LineString([(0, 0), (5, 0)])])
    np.testing.assert_allclose(outlines.parted(between), [2 / 3, 2 / 3])


def test_outlines_are_drawn_alike_each_time_and_in_any_order_of_lines():
    """No choice rests on the clock or on the order of lines."""
    lines = rivals(4.4, 2.4, 7.6)
    one, again, turned = joined(lines), joined(lines), joined(lines[::-1])
    np.testing.assert_array_equal(one.outlines[0].space, again.outlines[0].space)
    np.testing.assert_allclose(support(one), support(turned), atol=0.15)


def test_a_space_is_known_again_in_larger_ones_by_four_fifths():
    """Intersection over union decides: 0.8 of it is the same space, 0.79 is not."""
    cells = np.array([shapely.box(0, 0, 8, 1), shapely.box(8, 0, 10, 1)])
    outlines = Plausible(cells, np.array([[0, 0], [0, 1], [-1, 1]]))
    whole = np.array([shapely.box(0, 0, 10, 1), cells[0], cells[1]])
    np.testing.assert_allclose(outlines.support(whole), [2 / 3, 2 / 3, 2 / 3])


@pytest.mark.parametrize("phases", [1, 2])
def test_what_is_written_is_read_again(tmp_path, phases):
    """Cells and spaces of every phase come back as they were."""
    parts = [joined(box(0, 0, 4 + k, 4)).outlines[0] for k in range(phases)]
    save(parts, tmp_path / "outlines.parquet", "EPSG:32625")
    for part, again in zip(parts, load(tmp_path / "outlines.parquet", phases), strict=True):
        np.testing.assert_array_equal(part.space, again.space)
        assert shapely.equals(part.cells, again.cells).all()


def test_a_doubtful_wall_stands_in_half_of_the_outlines():
    """A line of doubtful origin may divide a room, and lends its parts half a support."""
    lines = [*box(0, 0, 12, 4), [(6, 0), (6, 4)]]
    table = line_table(lines, follows="centre", thickness_m=0.5)
    table.loc[4, "origin"] = "doubtful"
    models = {model.survey: model for model in models_of(table)}
    got = join_walls(table, models, WallSettings())
    shares = support(got)
    assert len(shares) == 2
    assert ((shares > 0.35) & (shares < 0.65)).all()
