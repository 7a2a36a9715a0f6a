"""The stages of joining walls, each by itself: stretches, what stands, ends, what is not closed."""

import numpy as np
import pytest
from drawn import box, line_table, models_of, network_of, plan_of

from wrackline.model import WallSettings
from wrackline.walls.coverage import cover
from wrackline.walls.ends import ends_of
from wrackline.walls.joining import tracing_of
from wrackline.walls.linework import RECORDED, linework
from wrackline.walls.stretches import stretches_of

LEAST_M = 0.5


def stages(lines, **drawn):
    """Return linework, tracing, stretches, what stands and the ends of lines."""
    table = line_table(lines, **drawn)
    work = linework(table)
    models = {model.survey: model for model in models_of(table, random_horizontal=0.03)}
    tracing = tracing_of(table, models, WallSettings())
    stretches = stretches_of(work, tracing.random_m)
    covered = cover(work, stretches, tracing, LEAST_M)
    return work, tracing, stretches, covered, ends_of(work, stretches, covered, tracing)


def standing(work, covered):
    """Return the ends of standing pieces, by line, shape (m, 2, 2)."""
    places = covered.pieces.ends(work.xyz)[:, :, :2]
    return {row: places[covered.pieces.line == row] for row in range(len(work.lines))}


def test_noise_makes_no_corner_and_a_corner_stays_one():
    """Points 3 cm beside a straight line are noise at 3 cm sd; a turn of 90 degrees is not."""
    line = [(0, 0), (1, 0.03), (2, -0.03), (3, 0), (3.03, 1), (3, 2)]
    stretches = stages([line])[2]
    assert stretches.first.tolist() == [0, 3]
    assert stretches.last.tolist() == [3, 5]


def test_a_second_tracing_gives_way_but_for_what_it_adds():
    """Of 4 m drawn beside a wall of 5 m, the 2 m beyond its end stand, cut where it ends."""
    work, _, _, covered, _ = stages([[(0, 0), (5, 0)], [(3, 0.04), (7, 0.04)]])
    stands = standing(work, covered)
    np.testing.assert_allclose(stands[0], [[[0, 0], [5, 0]]])
    np.testing.assert_allclose(stands[1], [[[5, 0.04], [7, 0.04]]])
    assert covered.repeats.tolist() == [[1, 0]]


@pytest.mark.parametrize(
    "other",
    [
        pytest.param([(0, 0.5), (5, 0.5)], id="the wall's other face"),
        pytest.param([(2, -1), (2.1, 1)], id="a wall that crosses"),
        pytest.param([(5.1, 0), (9, 0)], id="the wall beyond"),
    ],
)
def test_another_wall_stands_whole(other):
    """What is further beside, across, or beyond is no second tracing."""
    work, _, _, covered, _ = stages([[(0, 0), (5, 0)], other])
    np.testing.assert_allclose(standing(work, covered)[1], [other])


def test_a_centre_is_no_tracing_of_a_face():
    """A line along a wall's centre stands beside one along its face, however near."""
    lines = [[(0, 0), (5, 0)], [(0, 0.05), (5, 0.05)]]
    work, _, _, covered, _ = stages(lines, follows=["face", "centre"])
    assert [len(pieces) for pieces in standing(work, covered).values()] == [1, 1]


def test_ends_look_out_along_their_walls():
    """A wall of two points has two ends; each looks away from the wall."""
    ends = stages([[(0, 0), (4, 0)]])[-1]
    assert len(ends) == 2
    np.testing.assert_allclose(ends.along[np.argsort(ends.xy[:, 0])], [[-1, 0], [1, 0]], atol=1e-12)


def test_a_face_that_turns_at_a_jamb_looks_on_beyond_it():
    """Two faces and the jamb between them in one line have two jamb ends, looking alike."""
    ends = stages([[(0, 0), (3, 0), (3, 0.5), (0, 0.5)]])[-1]
    assert ends.xy[ends.jamb].round(6).tolist() == [[3, 0], [3, 0.5]]
    np.testing.assert_allclose(ends.along[ends.jamb], [[1, 0], [1, 0]], atol=1e-12)


def test_a_doorway_between_drawn_jambs_is_one_opening():
    """A wall between two rooms, drawn by faces with its jambs, has a doorway 1 m wide."""
    inner = [
        [(0, 0), (1, 0), (1, 0.6), (0, 0.6)],
        [(4, 0.6), (2, 0.6), (2, 0), (4, 0)],
    ]
    around = [
        [(0, 0.6), (0, 4), (4, 4), (4, 0.6)],
        [(4, 0), (4, -4), (0, -4), (0, 0)],
        *box(-0.6, -4.6, 4.6, 4.6),
    ]
    plan = plan_of([*inner, *around])
    assert len(plan["rooms"]) == 2
    (opening,) = plan["openings"].itertuples()
    assert opening.width_m == pytest.approx(1.0, abs=0.001)


def test_where_a_wall_abuts_another_there_is_no_opening():
    """A wall's face stops at both faces of one that abuts it; its doorway is the one opening."""
    west = [(3, 1.6), (3, 4), (0, 4), (0, 0), (3, 0), (3, 0.6)]
    east = [(3.7, 1.6), (3.7, 4), (7, 4), (7, 0), (3.7, 0), (3.7, 0.6)]
    plan = plan_of([west, east, *box(-0.6, -0.6, 7.6, 4.6)])
    assert len(plan["rooms"]) == 2
    (opening,) = plan["openings"].itertuples()
    assert opening.width_m == pytest.approx(1.0, abs=0.001)
    assert ";" in opening.joins


def test_a_bench_is_not_led_to_the_walls_of_its_room():
    """A line that meets nothing at either end closes nothing, though its room's walls are near."""
    network = network_of(line_table([*box(0, 0, 5, 4), [(1, 1), (1, 3)]], follows="centre"))
    assert (network.pieces.kind == RECORDED).all()


def test_a_closing_that_leads_nowhere_leaves_no_edge():
    """Two walls led on to a corner in the open keep it; what is drawn on past it is cut off."""
    network = network_of(line_table([[(0, 0), (2.8, 0)], [(3, 0.3), (3, 3)]]))
    ends = network.edges.reshape(-1, 2)
    assert ends[:, 0].max() == pytest.approx(3.0, abs=0.001)
    assert ends[:, 1].min() == pytest.approx(0.0, abs=0.001)
