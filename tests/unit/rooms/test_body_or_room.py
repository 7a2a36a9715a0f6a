"""Bodies of walls told from narrow rooms: the kinds of a few drawn faces."""

import numpy as np
import pytest
from drawn import line_table, network_of

from wrackline.model import RoomSettings, WallSettings
from wrackline.rooms.faces import faces_of
from wrackline.rooms.kinds import BODY, ROOM, UNKNOWN, kinds_of, told


def kind_of(outline, thickest_m=0.9):
    """Return the kind of the one face that an outline encloses."""
    network = network_of(
        line_table([[*outline, outline[0]]], follows="face"), wall_max_thickness_m=thickest_m
    )
    faces = faces_of(network)
    walls = WallSettings(wall_max_thickness_m=thickest_m)
    kinds = kinds_of(
        faces, np.ones(len(network.edges), dtype=bool), told(network, faces), walls, RoomSettings()
    )
    assert len(kinds) == 1
    return str(kinds[0])


CORNER = [(0, 0), (4, 0), (4, 0.8), (0.8, 0.8), (0.8, 4), (0, 4)]
TEE = [(0, 0), (6, 0), (6, 0.8), (3.4, 0.8), (3.4, 4), (2.6, 4), (2.6, 0.8), (0, 0.8)]


@pytest.mark.parametrize(
    ("outline", "expected"),
    [
        pytest.param([(0, 0), (4, 0), (4, 0.8), (0, 0.8)], BODY, id="a straight wall"),
        pytest.param(CORNER, BODY, id="two walls at a corner"),
        pytest.param(TEE, BODY, id="three walls at a junction"),
        pytest.param([(0, 0), (4.5, 0), (4.5, 1), (0, 1)], ROOM, id="a room of 1 m by 4.5 m"),
        pytest.param([(0, 0), (1, 0), (1, 1.2), (0, 1.2)], UNKNOWN, id="a chest of 1 m by 1.2 m"),
        pytest.param(
            [(0, 0), (3, 0), (3, 3), (2, 3), (2, 1), (0, 1)], ROOM, id="a passage round a corner"
        ),
    ],
)
def test_a_body_is_wider_than_a_wall_at_its_junctions_alone(outline, expected):
    """With walls up to 0.9 m, bodies of 0.8 m walls are told from rooms 1 m wide.

    The largest circle in a right-angled corner of two walls of thickness t is 2 (2 - sqrt 2) t,
    1.17 t, wide: by its width alone a corner of 0.8 m walls (0.94 m) would be a room.
    """
    assert kind_of(outline) == expected


def test_a_room_with_stubs_of_wall_stays_one():
    """A room of 4 m² with two open strips of wall's width is no body: most of it is wide."""
    outline = [(0, 0), (2, 0), (4, 0), (4, 0.5), (2, 0.5), (2, 2), (0, 2)]
    assert kind_of(outline) == ROOM
