"""On which side of traced faces walls lie: drawn plans told by eye, and simulated towns' truth."""

import sys
from dataclasses import replace
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
from broken_walls import MAKERS, THICKEST_M, make, table_of
from one_room_sites import SURVEY
from town_model import Damage
from towns_other import _bodies as bodies_led_through

from wrackline.model import WallSettings
from wrackline.uncertainty import ErrorModel
from wrackline.walls.coverage import cover
from wrackline.walls.facing import body_sides, sides_of_closings, sides_of_pieces
from wrackline.walls.joining import tracing_of
from wrackline.walls.linework import linework
from wrackline.walls.stretches import stretches_of

THICKEST = 1.6
HOUSES, SEEDS = 15, (3001, 3002)
LONG_M = 0.6


def sides(*lines, thickest_m=THICKEST):
    """Return the side of each drawn face; its ends are good to 5 cm."""
    faces = np.array(lines, dtype=float).reshape(-1, 2, 2)
    return body_sides(faces, np.full(len(faces), 0.05), thickest_m).side.tolist()


def east(y, start=0.0, stop=5.0):
    """Return a face that runs east."""
    return [(start, y), (stop, y)]


@pytest.mark.parametrize("turned", [(False, False), (True, False), (False, True), (True, True)])
def test_the_wall_lies_between_its_two_faces(turned):
    """North of the southern face and south of the northern one, whichever way each was drawn."""
    lines = [
        line[::-1] if k else line for line, k in zip([east(0), east(0.6)], turned, strict=True)
    ]
    expected = [-1 if turned[0] else 1, 1 if turned[1] else -1]
    assert sides(*lines) == expected


@pytest.mark.parametrize(
    "lines",
    [
        pytest.param([], id="nothing"),
        pytest.param([east(0)], id="one line"),
        pytest.param([[(1, 1), (1, 1)]], id="no length"),
        pytest.param([east(0), east(0)], id="one face drawn twice"),
        pytest.param([east(0), east(0.2)], id="two tracings of a face"),
        pytest.param([east(0), east(1.7)], id="further apart than a wall is thick"),
        pytest.param([east(0, 0, 2), east(0.6, 1.9, 4)], id="beside each other for 10 cm"),
        pytest.param([east(0), [(2, 0.1), (2, 2)]], id="one across the other"),
        pytest.param([east(0), [(0, 0.3), (3, 1.5)]], id="turned by 22 degrees"),
    ],
)
def test_what_are_no_two_faces_of_a_wall_tell_no_side(lines):
    """Nothing is told by what can't be the two faces of one wall."""
    assert sides(*lines) == [0] * len(lines)


def test_a_passage_between_two_walls_is_no_wall():
    """Walls of 0.6 m on both sides of 1.0 m: the nearer faces are of one wall."""
    assert sides(east(0), east(0.6), east(1.6), east(2.2)) == [1, -1, 1, -1]


def test_a_slit_between_two_houses_is_no_wall():
    """Walls of 0.7 m with 0.5 m between: what is usual on the site outweighs what is nearest."""
    faces = [east(0), east(0.7), east(1.2), east(1.9), east(6), east(6.7)]
    assert sides(*faces) == [1, -1] * 3


@pytest.mark.parametrize("slit_m", [0.4, 0.5, 0.6, 0.7])
def test_longer_outer_faces_across_a_slit_make_no_wall(slit_m):
    """Outer faces are longer than inner ones by the corners; three houses in a row, two slits."""
    faces, expected = [], []
    for k in range(3):
        west = k * (6 + slit_m)
        for x, start, stop in ((0, 0, 5.2), (0.6, 0.6, 4.6), (5.4, 0.6, 4.6), (6, 0, 5.2)):
            faces.append([(west + x, start), (west + x, stop)])
        expected += [-1, 1, -1, 1]
    assert sides(*faces) == expected


def test_a_face_between_two_others_parts_them():
    """Two faces 1.2 m apart, a short one between: they are no wall's where it runs."""
    assert sides(east(0, 1, 4), east(0.55, 0, 5), east(1.3, 1, 4))[2] == 0


def test_a_jamb_is_no_face():
    """What joins both faces at a wall's end has a side of its own, which isn't asked for."""
    assert sides(east(0), east(0.6), [(5, 0), (5, 0.6)]) == [1, -1, 0]


def test_a_jamb_is_no_other_face_of_a_wall_that_it_looks_at():
    """A wall's free end 0.7 m off a face that was seen for 0.55 m: its wall lies beyond it."""
    jamb, near, far = [(5, 0), (5, 0.6)], [(5.7, 0), (5.7, 0.55)], [(6.3, 0.2), (6.3, 3)]
    assert sides(east(0), east(0.6), jamb, near, far) == [1, -1, 0, -1, 1]


def test_what_is_usual_on_the_site_outweighs_what_runs_longer():
    """Of faces 0.6 m and 1.1 m off a face, the former is of its wall where walls are 0.6 m."""
    faces = [east(0, 0, 4), east(0.6), east(1.7), east(9), east(9.6)]
    assert sides(*faces) == [1, -1, 0, 1, -1]


@pytest.mark.parametrize(("arm", "side"), [([(5, 0), (5, 4)], 1), ([(5, 4), (5, 0)], -1)])
def test_round_a_corner_the_wall_stays_on_the_same_hand(arm, side):
    """Of an outer face's second arm nobody drew the inner face: its wall lies west of it."""
    assert sides(east(0), east(0.6, 0, 4.4), arm) == [1, -1, side]


def test_equal_doubts_are_settled_by_place():
    """Five faces 0.6 m apart could be paired in two ways: one is had in every order of them."""
    lines = [east(0.6 * k) for k in range(5)]
    told = {
        tuple(np.array(sides(*(lines[k] for k in p)))[np.argsort(p)])
        for p in permutations(range(5))
    }
    assert len(told) == 1


@pytest.mark.parametrize("closing", [[(5, 0), (6, 0)], [(6, 0), (5, 0)]])
def test_a_closing_has_the_side_of_the_face_that_it_leads_on(closing):
    """It starts where a face ends and goes on the same way; turned round it has the other side."""
    pieces, ends = np.array([east(0), east(0.6)], dtype=float), np.array([closing], dtype=float)
    side = sides_of_closings(ends, pieces, np.array([1, -1]))
    assert side.tolist() == [1 if closing[0] == (5, 0) else -1]


def test_a_closing_across_a_wall_leads_no_face_on():
    """From one face of a wall to the other it lies beside neither."""
    pieces = np.array([east(0), east(0.6)], dtype=float)
    across = np.array([[(5, 0), (5, 0.6)]], dtype=float)
    assert sides_of_closings(across, pieces, np.array([1, -1])).tolist() == [0]
    aslant = np.array([[(5, 0), (6, -1)]], dtype=float)
    assert sides_of_closings(aslant, pieces, np.array([1, -1])).tolist() == [0]
    assert sides_of_closings(across, pieces[:0], np.zeros(0, dtype=int)).tolist() == [0]
    assert len(sides_of_closings(across[:0], pieces, np.array([1, -1]))) == 0


def test_pieces_of_one_stretch_have_one_side():
    """A face cut into pieces of 0.2 m is one face: each piece by itself would be too short."""
    x = np.linspace(0, 4, 21)
    rows = [
        np.stack(
            [np.column_stack([x[:-1], 0 * x[1:] + y]), np.column_stack([x[1:], 0 * x[1:] + y])], 1
        )
        for y in (0, 0.6)
    ]
    pieces, stretch = np.concatenate(rows), np.repeat([0, 1], 20)
    told = sides_of_pieces(pieces, stretch, np.ones(40, dtype=bool), np.full(40, 0.02), THICKEST)
    assert told.side.tolist() == [1] * 20 + [-1] * 20
    assert told.usual_m == pytest.approx(0.6)


def test_centre_lines_have_no_sides():
    """A wall's centre beside another wall's face is none of its faces."""
    pieces = np.array([east(0), east(0.6)], dtype=float)
    for face in ([False, False], [True, False]):
        told = sides_of_pieces(pieces, np.arange(2), np.array(face), np.full(2, 0.02), THICKEST)
        assert told.side.tolist() == [0, 0]
        assert told.usual_m == 0.0
    none = sides_of_pieces(pieces[:0], np.arange(0), np.zeros(0, bool), np.zeros(0), THICKEST)
    assert len(none.side) == 0


def pieces_of(drawn):
    """Return what stands of a survey's lines: ends, side told, and the usual thickness."""
    lines = table_of(drawn)
    models = {SURVEY: ErrorModel(SURVEY, drawn.sd_m, 0.05)}
    settings = WallSettings(wall_max_thickness_m=THICKEST_M + 0.1)
    work, tracing = linework(lines), tracing_of(lines, models, settings)
    stretches = stretches_of(work, tracing.random_m)
    part = cover(work, stretches, tracing, settings.join_gap_m)
    ends, line = part.pieces.ends(work.xyz)[:, :, :2], part.pieces.line
    told = sides_of_pieces(
        ends, part.stretch, tracing.face[line], tracing.random_m[line], THICKEST_M + 0.1
    )
    return ends, told


def surveyed(maker, houses, seed):
    """Return a town and a survey of its faces that lost a quarter of its walls in part."""
    town = make(maker, houses, seed)
    return town, MAKERS[maker][1](town, Damage(lost=0.25, faces="face"), seed)


def true_sides(maker, town, ends):
    """Return the side on which the town's walls lie 0.15 m off the middle of pieces; 0 if both."""
    own = shapely.buffer(town.walls, town.thickness / 2, cap_style="square", join_style="mitre")
    led = bodies_led_through(town.walls, town.thickness)
    body = shapely.union_all(own if maker == "own towns" else led)
    step = ends[:, 1] - ends[:, 0]
    left = 0.15 * np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None]
    shapely.prepare(body)
    beside = [shapely.contains_xy(body, *(ends.mean(axis=1) + k * left).T) for k in (1, -1)]
    return beside[0].astype(int) - beside[1]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("maker", MAKERS)
def test_sides_of_simulated_towns_are_true(maker, seed):
    """Of faces of 0.6 m or more 99 % and more of the sides told are true, and nine in ten are told.

    The bound on the wrong ones is that of the binomial law with 1 %, exceeded once in a thousand.
    """
    town, drawn = surveyed(maker, HOUSES, seed)
    ends, told = pieces_of(drawn)
    true = true_sides(maker, town, ends)
    long = (np.hypot(*(ends[:, 1] - ends[:, 0]).T) >= LONG_M) & (true != 0)
    had = long & (told.side != 0)
    assert had.sum() > 400
    assert (told.side != true)[had].sum() <= binom.ppf(0.999, had.sum(), 0.01)
    assert had.sum() >= 0.9 * long.sum()
    assert told.usual_m == pytest.approx(np.median(town.thickness), abs=0.1)


MOVES = {
    "moved to a zone's grid": (lambda xy: xy + np.array([512_345.0, 4_098_765.0]), 1),
    "rotated": (lambda xy: xy @ np.array([[0.8, 0.6], [-0.6, 0.8]]), 1),
    "mirrored": (lambda xy: xy * [-1.0, 1.0], -1),
}


def places_and_sides(ends, side):
    """Return the side of each piece by its place, taken from its lesser end to the other [cm]."""
    found = {}
    for (a, b), k in zip(ends.round(3).tolist(), side.tolist(), strict=True):
        if a != b:
            found[tuple(sorted([tuple(a), tuple(b)]))] = k if a < b else -k
    return found


@pytest.mark.parametrize("maker", MAKERS)
def test_order_and_direction_of_lines_leave_no_trace(maker):
    """Lines shuffled, half of them drawn the other way: every piece has the side that it had."""
    _, drawn = surveyed(maker, 6, SEEDS[0])
    draw = np.random.default_rng(5)
    order = draw.permutation(len(drawn.lines))
    turned = draw.random(len(order)) < 0.5
    lines = np.where(turned, shapely.reverse(drawn.lines[order]), drawn.lines[order])
    other = replace(drawn, lines=lines, follows=drawn.follows[order], code=drawn.code[order])
    (ends, told), (again, told_again) = pieces_of(drawn), pieces_of(other)
    assert places_and_sides(again, told_again.side) == places_and_sides(ends, told.side)
    assert told_again.usual_m == pytest.approx(told.usual_m, abs=1e-9)


@pytest.mark.parametrize("move", MOVES)
@pytest.mark.parametrize("maker", MAKERS)
def test_where_faces_lie_leaves_no_trace(maker, move):
    """Moved and rotated faces keep their sides; mirrored ones have the other."""
    ends, _ = pieces_of(surveyed(maker, 6, SEEDS[1])[1])
    ends = ends[np.hypot(*(ends[:, 1] - ends[:, 0]).T) > 0.01]
    sd = np.full(len(ends), 0.05)
    do, sign = MOVES[move]
    moved = body_sides(do(ends), sd, 0.9)
    assert np.array_equal(moved.side, sign * body_sides(ends, sd, 0.9).side)
