"""Kinds of spaces told by the sides of traced faces, where width alone would mislead."""

import numpy as np
import pytest
import shapely
from drawn import box, doubled, line_table, models_of, site

from wrackline.rooms.kinds import BODY, LANE, NARROWEST_M, ROOM, UNKNOWN
from wrackline.rooms.view import prepare
from wrackline.walls.joining import Team, join_walls

THICK_M = 0.6


def kinds(lines, *, follows="face", **walls):
    """Return the kind and the area of every space of a drawn plan, the smallest first."""
    where = site(walls=walls)
    columns = {"thickness_m": THICK_M} if follows == "centre" else {}
    table = line_table(lines, follows=follows, **columns)
    models = models_of(table)
    by_survey = {model.survey: model for model in models}
    joined = join_walls(table, by_survey, where.walls, Team())
    view = prepare(joined.network, models, where)
    size = shapely.area(view.faces.polygons).round(2)
    order = np.argsort(size)
    return [(str(view.kind[k]), float(size[k])) for k in order]


def around(west, south, east, north):
    """Return the ground of a wall around a rectangle [m²]."""
    return round((east - west + 2 * THICK_M) * (north - south + 2 * THICK_M), 2) - round(
        (east - west) * (north - south), 2
    )


@pytest.mark.parametrize(("long_m", "kind"), [(4.0, ROOM), (8.0, LANE)])
@pytest.mark.parametrize("thickest_m", [0.8, 1.6])
def test_a_passage_between_two_walls_is_no_wall(long_m, kind, thickest_m):
    """1.0 m wide between walls of 0.6 m: a room, or a lane where it is long, whatever the config.

    It is narrower than the thickest wall may be (1.6 m), so by its width it would be a wall's body.
    """
    found = kinds(doubled(0, 0, long_m, 1.0, THICK_M), wall_max_thickness_m=thickest_m)
    assert (kind, long_m) in found
    assert (BODY, pytest.approx(around(0, 0, long_m, 1), abs=0.01)) in found
    assert len(found) == 2


def two_houses(apart_m):
    """Return two houses with walls of 0.6 m, and what closes the slit between them at its ends."""
    left = 5 + THICK_M
    right = left + apart_m
    across = [[(left, y), (right, y)] for y in (-THICK_M, 4 + THICK_M)]
    first = doubled(0, 0, 5, 4, THICK_M)
    return [*first, *doubled(right + THICK_M, 0, right + THICK_M + 5, 4, THICK_M), *across]


@pytest.mark.parametrize("apart_m", [0.4, 0.5, 0.7])
def test_a_slit_between_two_houses_is_neither_wall_nor_room(apart_m):
    """Nobody lives in a slit of half a metre; the houses' walls end at it."""
    found = kinds(two_houses(apart_m))
    assert (UNKNOWN, pytest.approx(apart_m * 5.2, abs=0.01)) in found
    bodies = [size for kind, size in found if kind == BODY]
    assert bodies == pytest.approx([around(0, 0, 5, 4)] * 2, abs=0.01)


@pytest.mark.parametrize("apart_m", [NARROWEST_M + 0.05, 1.2])
def test_a_wider_slit_is_a_space(apart_m):
    """A person can walk through 0.8 m: it is a lane or a room, and still no wall."""
    found = dict((size, kind) for kind, size in kinds(two_houses(apart_m)))
    assert found[round(apart_m * 5.2, 2)] in (ROOM, LANE)


def two_rooms(jambs):
    """Return two rooms with a doorway of 0.9 m through the wall of 0.6 m between them."""
    west = [[(0, 0), (5, 0)], [(5, 0), (5, 1.5)], [(5, 2.4), (5, 4)], [(5, 4), (0, 4)]]
    east = [
        [(5.6, 0), (10, 0)],
        [(5.6, 0), (5.6, 1.5)],
        [(5.6, 2.4), (5.6, 4)],
        [(5.6, 4), (10, 4)],
    ]
    ends = [[(0, 4), (0, 0)], [(10, 0), (10, 4)]]
    depth = [[(5, y), (5.6, y)] for y in (1.5, 2.4)] if jambs else []
    return [*west, *east, *ends, *depth, *box(-0.6, -0.6, 10.6, 4.6)]


@pytest.mark.parametrize("jambs", [True, False], ids=["jambs drawn", "jambs not drawn"])
def test_a_doorways_depth_is_no_room(jambs):
    """A doorway through a wall of 0.6 m is a part of the wall, and no space of half a m²."""
    found = kinds(two_rooms(jambs))
    rooms = [size for kind, size in found if kind != BODY]
    assert rooms == pytest.approx([17.6, 20.0], abs=0.01)
    body = sum(size for kind, size in found if kind == BODY)
    assert body == pytest.approx(11.2 * 5.2 - 17.6 - 20, abs=0.01)


def test_a_room_open_to_its_walls_inside_is_shut_off():
    """Where both lost faces of a corner leave a room open to the wall's inside, it stays a room."""
    west = [[(0, 0), (6, 0)], [(6, 1.4), (6, 4)], [(6, 4), (0, 4)], [(0, 4), (0, 0)]]
    east = [[(8.6, 0), (12.6, 0)], [(12.6, 0), (12.6, 4)], [(12.6, 4), (6.6, 4)]]
    lines = [*box(-0.6, -0.6, 13.2, 4.6), *west, *east, [(6.6, 4), (6.6, 0)]]
    found = kinds(lines)
    assert found == [
        (BODY, pytest.approx(13.8 * 5.2 - 48, abs=0.01)),
        (ROOM, pytest.approx(24, abs=0.01)),
        (ROOM, pytest.approx(24, abs=0.01)),
    ]


def test_where_no_face_has_a_side_width_decides():
    """Faces 0.2 m apart are too near for sides to be told: a strip is a body, the rest a room."""
    strip = [[(0, 0), (5, 0)], [(5, 0), (5, 0.2)], [(5, 0.2), (0, 0.2)], [(0, 0.2), (0, 0)]]
    assert kinds(strip, wall_max_thickness_m=1.6) == [(BODY, 1.0)]
    assert kinds(box(0, 0, 5, 3), wall_max_thickness_m=1.6) == [(ROOM, 15.0)]


def test_by_centre_lines_a_narrow_room_is_a_room():
    """Between the centres of walls no width makes a wall's body."""
    assert kinds(box(0, 0, 4, 1.2), follows="centre") == [(ROOM, 4.8)]
