"""Lines that run through each other and end in the open close no room."""

import numpy as np
import pytest
import shapely
from drawn import box, line_table, models_of

from wrackline.model import RoomSettings, WallSettings
from wrackline.rooms.faces import faces_of
from wrackline.rooms.kinds import ROOM, UNKNOWN, kinds_of, told
from wrackline.walls.joining import join_walls

ROCK = [[(20, k), (28, k + 0.3)] for k in (0, 2, 4)] + [[(k, -2), (k + 0.4, 6)] for k in (22, 25)]
HOUSE = box(0, 0, 6, 4)


def joined(lines, **columns):
    """Return hand-drawn centre lines, joined."""
    table = line_table(lines, follows="centre", thickness_m=0.5, **columns)
    models = {model.survey: model for model in models_of(table)}
    return join_walls(table, models, WallSettings())


def spaces(got):
    """Return the areas of all enclosed spaces."""
    return sorted(shapely.area(faces_of(got.network).polygons).round(1).tolist())


def test_joints_of_rock_are_set_aside_and_named():
    """Five joints make two cells between them; the house beside stays."""
    got = joined([*HOUSE, *ROCK])
    assert spaces(got) == [24.0]
    assert got.set_aside == [f"2031-walls/#{row}" for row in range(5, 10)]


def test_the_surveyor_may_say_that_they_were_built():
    """An origin given as built is taken at its word."""
    got = joined([*HOUSE, *ROCK], origin=["built"] * 9)
    assert len(spaces(got)) > 1
    assert got.set_aside == []


def test_a_joint_that_runs_on_into_a_house_is_one_among_its_like():
    """One of its ends lies at a wall, but it runs through two others that end in the open."""
    across = [[(6, 1), (28, 1.2)]]
    got = joined([*HOUSE, *ROCK, *across])
    assert "2031-walls/#10" in got.set_aside


@pytest.mark.parametrize(
    "walls",
    [
        [[(3, 0), (3, 4)], [(0, 2), (6, 2)]],
        [[(3, -0.2), (3, 4.2)], [(-0.2, 2), (6.2, 2)]],
    ],
    ids=["to the wall", "a little past it"],
)
def test_walls_drawn_through_each_other_are_walls(walls):
    """Their ends lie at other walls, so four rooms they are."""
    got = joined([*HOUSE, *walls])
    assert spaces(got) == [6.0] * 4


def test_a_small_space_that_stands_alone_is_no_room():
    """A cist of 2 by 1 m is none; the same in a row of rooms is one."""
    got = joined([*box(0, 0, 2, 1), *box(10, 0, 12, 1), *box(12, 0, 16, 4)])
    faces = faces_of(got.network)
    edges = np.zeros(len(got.network.edges), dtype=bool)
    kind = kinds_of(faces, edges, told(got.network, faces), WallSettings(), RoomSettings())
    by_place = dict(zip(shapely.bounds(faces.polygons)[:, 0].round(), kind, strict=True))
    assert by_place == {0.0: UNKNOWN, 10.0: ROOM, 12.0: ROOM}


def test_a_wall_that_runs_through_a_house_is_no_field_of_joints():
    """A stump under a house ends in the open as well, but it is alone."""
    got = joined([*HOUSE, [(3, -1), (3, 5)]])
    assert got.set_aside == []
    assert spaces(got) == [12.0, 12.0]
