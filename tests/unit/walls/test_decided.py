"""Decisions about closings are followed where lines are joined, and reported."""

import datetime as dt

import numpy as np
import pytest
import shapely
from drawn import box, line_table, models_of

from wrackline.model import Decision, WallSettings
from wrackline.walls.decided import AGAINST, FOLLOWED, IDLE, OVERTAKEN
from wrackline.walls.joining import Team, join_walls
from wrackline.walls.linework import DRAWN
from wrackline.walls.network import load, save

GAP = [[(0, 0), (1.5, 0)], [(2.4, 0), (4, 0)], *box(0, 0, 4, 4)[1:]]
WIDE = [[(0, 0), (1, 0)], [(13, 0), (14, 0)], *box(0, 0, 14, 4)[1:]]


def decision(kind, place, to=None, date="2031-09-01"):
    """Return a decision of an invented team."""
    far = {} if to is None else {"to_easting": to[0], "to_northing": to[1]}
    return Decision(
        decision=kind,
        easting=place[0],
        northing=place[1],
        who="A. Diver",
        date=dt.date.fromisoformat(date),
        why="looked at it",
        **far,
    )


def decided(lines, *decisions, **columns):
    """Return the spaces and the outcome of every decision about hand-drawn lines."""
    table = line_table(lines, follows="centre", thickness_m=0.5, **columns)
    models = {model.survey: model for model in models_of(table)}
    joined = join_walls(table, models, WallSettings(), Team(decisions=decisions))
    spaces = shapely.get_parts(shapely.polygonize(shapely.linestrings(joined.network.edges)))
    return spaces, [o and o.outcome for o in joined.outcomes], joined.network


def test_a_forbidden_closing_is_not_made():
    """The room stays open where the team says that there was no wall."""
    assert len(decided(GAP)[0]) == 1
    spaces, outcome, _ = decided(GAP, decision("forbid", (1.95, 0.1)))
    assert len(spaces) == 0
    assert outcome == [FOLLOWED]


def test_a_forbidden_place_elsewhere_changes_nothing():
    """A place is about what lies within its reach alone."""
    spaces, _, _ = decided(GAP, decision("forbid", (1.95, 0.7)))
    assert len(spaces) == 1


def test_a_confirmed_closing_is_made_though_it_would_be_too_dear():
    """A gap of seven metres between short ends is not closed of itself."""
    far = [[(0, 0), (0.6, 0)], [(7.4, 0.5), (8, 0.5)], *box(0, 0, 8, 4)[1:]]
    assert len(decided(far)[0]) <= 1
    confirmed = decision("confirm", (4, 0.25))
    _, outcome, network = decided(far, confirmed)
    assert outcome == [FOLLOWED]
    closings = network.closings()
    middle = shapely.linestrings(closings.ends(network.work.xyz)[:, :, :2])
    assert (shapely.distance(middle, shapely.Point(4, 0.25)) < 0.3).any()


def test_a_confirmation_where_nothing_can_be_closed_says_so():
    """No end looks that way, so there is nothing to confirm."""
    assert decided(GAP, decision("confirm", (2, 2)))[1] == [IDLE]


def test_a_drawn_line_divides_a_room():
    """A line from wall to wall parts the room, though nothing was recorded on it."""
    spaces, outcome, network = decided(box(0, 0, 8, 4), decision("draw", (3, 0.2), (3, 3.9)))
    assert outcome == [FOLLOWED]
    np.testing.assert_allclose(sorted(shapely.area(spaces)), [12.0, 20.0])
    assert (network.pieces.kind == DRAWN).sum() == 1


def test_a_line_that_splits_a_room_has_no_free_end():
    """What ends in the open divides nothing."""
    spaces, outcome, _ = decided(box(0, 0, 8, 4), decision("split", (3, 0.2), (3, 2.9)))
    assert outcome == [IDLE]
    assert len(spaces) == 1


def drawn(network):
    """Return the ends of what was drawn by hand, (d, 2, 2)."""
    ends = network.pieces.ends(network.work.xyz)[network.pieces.kind == DRAWN]
    return ends[:, :, :2]


def test_a_wall_may_be_drawn_with_a_free_end():
    """A stub is drawn from the wall to where the team says that it ended, and bounds no space."""
    spaces, outcome, network = decided(box(0, 0, 8, 4), decision("draw", (3, 0.2), (3, 2.9)))
    assert outcome == [FOLLOWED]
    assert len(spaces) == 1
    np.testing.assert_allclose(drawn(network), [[[3, 0], [3, 2.9]]], atol=1e-6)
    np.testing.assert_allclose(network.length[network.drawn], [2.9])


CORNER = [((3, 0.1), (3.1, 2.1)), ((3.0, 1.9), (7.8, 2.0))]


@pytest.mark.parametrize("kind", ["draw", "split"])
@pytest.mark.parametrize("swapped", [False, True])
def test_two_drawn_lines_meet_in_the_open(kind, swapped):
    """Two walls whose ends the team puts 22 cm apart meet between: they cut off 5 by 2 m."""
    lines = [decision(kind, *ends[:: -1 if swapped else 1]) for ends in CORNER]
    spaces, outcome, _ = decided(box(0, 0, 8, 4), *lines[:: -1 if swapped else 1])
    assert outcome == [FOLLOWED, FOLLOWED]
    np.testing.assert_allclose(sorted(shapely.area(spaces)), [9.8, 22.2], atol=0.2)


def test_a_drawn_line_ends_at_another():
    """A partition drawn from a wall to the middle of a drawn one makes three rooms of one."""
    across = decision("draw", (3, 0.0), (3, 4.0))
    beside = decision("draw", (8, 2), (3.2, 2))
    for lines in ([across, beside], [beside, across]):
        spaces, outcome, _ = decided(box(0, 0, 8, 4), *lines)
        assert outcome == [FOLLOWED, FOLLOWED]
        np.testing.assert_allclose(sorted(shapely.area(spaces)), [10, 10, 12], atol=0.01)


def test_a_drawn_line_ends_at_a_closing():
    """A partition from the far wall to the middle of a lost stretch parts the room behind it."""
    lost = [[(0, 0), (1.5, 0)], [(4, 0), (8, 0)], *box(0, 0, 8, 4)[1:]]
    spaces, outcome, network = decided(lost, decision("split", (2.75, 4), (2.75, 0.1)))
    assert outcome == [FOLLOWED]
    np.testing.assert_allclose(sorted(shapely.area(spaces)), [11, 21], atol=0.01)
    assert network.drawn.sum() == 1


def test_a_free_end_moves_with_the_walls_before_and_behind_it():
    """A stub drawn 3 of 4 m across from wall to wall ends at a quarter of the one's motion.

    So it does by finite differences: both ends of either wall moved by 1 cm along the stub.
    """
    stub = decision("draw", (3, 0.2), (3, 3.0))
    _, _, network = decided(box(0, 0, 8, 4), stub)
    (piece,) = np.flatnonzero(network.pieces.kind == DRAWN)
    weights = network.pieces.weights(len(network.work.xyz))[2 * piece + 1].toarray().ravel()
    np.testing.assert_allclose([weights[[0, 1]].sum(), weights[[4, 5]].sum()], [0.25, 0.75])
    assert weights.sum() == pytest.approx(1.0)
    moved = [np.array(line, dtype=float) for line in box(0, 0, 8, 4)]
    moved[2][:, 1] += 0.01
    ends = network.pieces.ends(np.concatenate([np.c_[line, np.zeros(2)] for line in moved]))
    np.testing.assert_allclose(ends[piece, 1, :2], [3.0, 3.0075])


def test_a_stub_into_open_ground_is_held_by_the_walls_behind_it():
    """Outside a house of 4 m the two walls that a stub of 2 m is in line with tell its place."""
    _, outcome, network = decided(box(0, 0, 8, 4), decision("draw", (3, 3.9), (3, 6)))
    assert outcome == [FOLLOWED]
    np.testing.assert_allclose(drawn(network), [[[3, 4], [3, 6]]], atol=1e-6)


def test_far_from_all_walls_nothing_is_drawn():
    """A place mistyped by a hundred metres has no walls on its way that could hold it."""
    spaces, outcome, network = decided(box(0, 0, 8, 4), decision("draw", (3, 104), (3, 108)))
    assert outcome == [IDLE]
    assert len(spaces) == 1
    assert not network.drawn.any()


def test_a_free_end_is_written_and_read(tmp_path):
    """What a network says of hand-drawn lines lasts in its files."""
    _, _, network = decided(box(0, 0, 8, 4), decision("draw", (3, 0.2), (3, 3.0)))
    save(network, tmp_path, "EPSG:32625")
    again = load(tmp_path)
    np.testing.assert_array_equal(again.pieces.span, network.pieces.span)
    np.testing.assert_allclose(drawn(again), [[[3, 0], [3, 3]]], atol=1e-6)


@pytest.mark.parametrize(
    ("kind", "became"), [("confirm", OVERTAKEN), ("forbid", AGAINST)], ids=["confirm", "forbid"]
)
def test_a_wall_recorded_since_is_set_against_the_decision(kind, became):
    """A wall traced after the day of the decision confirms or contradicts it."""
    walls = box(0, 0, 4, 4)
    earlier = decision(kind, (2, 0.0), date="2031-01-01")
    assert decided(walls, earlier)[1] == [became]
    later = decision(kind, (2, 0.0), date="2032-01-01")
    assert decided(walls, later)[1] != [became]


def test_a_wall_recorded_since_across_a_drawn_line_contradicts_it():
    """What runs across a drawn wall shows that it wasn't there."""
    walls = [*box(0, 0, 8, 4), [(1, 2), (6, 2)]]
    drawn = decision("draw", (3, 0.0), (3, 4.0), date="2031-01-01")
    assert decided(walls, drawn)[1] == [AGAINST]


def test_decisions_about_spaces_wait_for_the_rooms():
    """Mergers and open ground have no outcome where walls are joined."""
    merge = decision("merge", (1, 1), (3, 1))
    assert decided(GAP, merge, decision("open_ground", (2, 2)))[1] == [None, None]
