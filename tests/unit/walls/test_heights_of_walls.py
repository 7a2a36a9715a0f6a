"""A later wall on an earlier stump is two walls, which heights tell; a wall traced twice is one.

That tops lose decimetres from season to season, and that drowned walls stand less than two metres
high, is common practice, no source.
"""

import datetime as dt

import numpy as np
import pytest
from drawn import box, line_table, models_of, plan_of

from wrackline.model import Phasing, WallSettings
from wrackline.uncertainty import ErrorModel, NamedError
from wrackline.walls.joining import Team, join_walls
from wrackline.walls.levels import BASE, BED, TOP, Levels, height_sd

TWO_SURVEYS = ["2031-walls", "2032-walls"]
STUMP, WALL = -4.0, -3.1


def flat(z, y=0.0, west=0.0, east=6.0):
    """Return a wall of 6 m that runs east at one height."""
    high = () if z is None else (z,)
    return [(west, y, *high), (east, y, *high)]


def joined(lines, *, survey=TWO_SURVEYS, rows=(), walls=None, **columns):
    """Return lines of centres by two surveys, numbered from 1, joined."""
    numbers = [str(k + 1) for k in range(len(lines))]
    given = {"follows": "centre", "thickness_m": 0.5, "line": numbers} | columns
    table = line_table(lines, survey=survey, **given)
    models = {model.survey: model for model in models_of(table)}
    team = Team(phases=tuple(rows), order=("I", "II"))
    return join_walls(table, models, walls or WallSettings(), team)


def kept(*lines, **said):
    """Return how many lines stand."""
    return len(joined(lines, **said).network.work.lines)


@pytest.mark.parametrize(
    ("second", "walls"),
    [
        pytest.param(STUMP, 1, id="as high"),
        pytest.param(STUMP - 0.4, 1, id="stones lost since"),
        pytest.param(WALL, 2, id="a wall upon it"),
        pytest.param(STUMP - 0.9, 2, id="a stump below it"),
        pytest.param(None, 1, id="without heights"),
    ],
)
def test_tops_tell_a_wall_upon_a_stump_from_a_wall_traced_again(second, walls):
    """Tops 0.9 m apart are two walls; what tops lose, or a plan without heights, makes none."""
    assert kept(flat(STUMP), flat(second, 0.04)) == walls


def test_a_second_line_of_one_survey_is_told_by_heights_too():
    """A surveyor who traced stump and wall in one season meant both."""
    one = {"survey": "2031-walls"}
    assert kept(flat(STUMP), flat(STUMP + 0.1, 0.04), **one) == 1
    assert kept(flat(STUMP), flat(WALL, 0.04), **one) == 2


@pytest.mark.parametrize(
    ("parts", "second", "walls"),
    [
        pytest.param(["base", "top"], STUMP + 1.4, 1, id="foot, and top 1.4 m above"),
        pytest.param(["base", "top"], STUMP + 2.4, 2, id="foot, and top 2.4 m above"),
        pytest.param(["top", "base"], STUMP + 0.9, 2, id="top, and foot 0.9 m above"),
        pytest.param(["bed", "bed"], STUMP + 1.4, 1, id="sand that came in"),
    ],
)
def test_top_and_foot_of_one_wall_lie_as_far_apart_as_walls_stand(parts, second, walls):
    """A top lies above its own foot, no higher than walls stand; no foot lies above its top."""
    assert kept(flat(STUMP), flat(second, 0.04), traced_at=parts) == walls


def test_heights_count_where_two_lines_run_together():
    """A top that falls by 2 m along its 6 m is one wall with a tracing of its lower half."""
    falling = [(0, 0, -3.0), (6, 0, -5.0)]
    assert kept(falling, [(3, 0.04, -4.0), (6, 0.04, -5.0)]) == 1
    assert kept(falling, [(3, 0.04, -3.0), (6, 0.04, -4.0)]) == 2


def test_a_centre_line_upon_a_stump_with_faces_stays():
    """Half a wall beside a face, a centre line repeats it, but not 0.9 m higher up."""
    follows = {"follows": ["face", "centre"]}
    assert kept(flat(STUMP), flat(STUMP, 0.25), **follows) == 1
    assert kept(flat(STUMP), flat(WALL, 0.25), **follows) == 2


def test_an_old_plan_with_heights_gives_way_to_its_own_wall_alone():
    """What an old plan drew below a wall recorded since isn't cut out of it."""
    old = {"evidence": ["recorded", "old plan"]}
    assert kept(flat(STUMP), flat(STUMP, 0.04), **old) == 1
    assert kept(flat(WALL), flat(STUMP, 0.04), **old) == 2


def test_two_walls_in_one_place_are_noted():
    """The note names both, and who can settle it; a repeat has none."""
    (note,) = joined([flat(STUMP), flat(WALL, 0.04)]).notes
    assert note.startswith("2031-walls/1 and 2032-walls/2 run in one place, 0.90 m apart")
    assert "config/phases.csv" in note
    assert joined([flat(STUMP), flat(STUMP, 0.04)]).notes == []


def phasing(line, phase):
    """Return a row of the register of phases, of an invented team."""
    said = {"phase_from": phase, "phase_to": phase}
    return Phasing(line=line, who="A. Diver", date=dt.date(2032, 9, 1), **said)


def test_a_wall_upon_a_stump_does_not_take_over_its_phase():
    """A repeat is of its line's phase; what stands upon the line is of no known one."""
    rows = [phasing("2031-walls:1", "I")]
    again = joined([flat(STUMP), flat(STUMP, 0.04)], rows=rows)
    assert again.network.work.lines["phase_to"].tolist() == ["I"]
    upon = joined([flat(STUMP), flat(WALL, 0.04)], rows=rows)
    assert upon.network.work.lines["phase_to"].fillna("").tolist() == ["I", ""]
    assert len(upon.notes) == 1


def test_phases_that_part_two_walls_leave_nothing_to_note():
    """Where the team has said which is the later, heights say no more."""
    rows = [phasing("2031-walls:1", "I"), phasing("2032-walls:2", "II")]
    got = joined([flat(STUMP), flat(WALL, 0.04)], rows=rows)
    assert len(got.network.work.lines) == 2
    assert got.notes == []


def test_the_config_says_how_far_tops_of_one_wall_differ():
    """Where storms took a metre of stones, the team allows for it."""
    assert kept(flat(STUMP), flat(WALL, 0.04), walls=WallSettings(tops_differ_max_m=1.0)) == 1


def test_a_house_upon_a_stump_keeps_its_rooms():
    """A stump under the partition of two rooms neither adds a room nor takes ground from one."""
    house = [*box(0, 0, 8, 4, WALL), [(4, 0, WALL), (4, 4, WALL)]]
    stump = [(4.04, 0, STUMP), (4.04, 4, STUMP)]
    surveys = [*["2032-walls"] * 5, "2031-walls"]
    alone = plan_of(house, follows="centre", thickness_m=0.5)["rooms"]
    both = plan_of([*house, stump], survey=surveys, follows="centre", thickness_m=0.5)["rooms"]
    assert len(both) == len(alone) == 2
    np.testing.assert_allclose(both["floor_area_m2"], alone["floor_area_m2"], atol=0.04 * 3.5)


def test_errors_of_height_add_to_what_one_wall_explains():
    """Sds of 0.3 and 0.4 m explain 1.5 m (three times 0.5 m) more than tops differ by."""
    levels = Levels(np.array([TOP, TOP]), np.array([0.3, 0.4]), 0.5, 2.0)
    zero, one = np.zeros(4, dtype=int), np.ones(4, dtype=int)
    above = np.array([1.99, 2.01, -2.01, np.nan])
    assert levels.two_walls(zero, one, above).tolist() == [False, True, True, False]


@pytest.mark.parametrize("part", [BASE, BED, TOP])
def test_who_is_named_first_says_nothing(part):
    """Two tracings are two walls whichever is held against the other."""
    levels = Levels(np.array([part, TOP]), np.zeros(2), 0.5, 2.0)
    above = np.linspace(-3, 3, 61) + 0.001
    zero, one = np.zeros(61, dtype=int), np.ones(61, dtype=int)
    there = levels.two_walls(zero, one, above)
    np.testing.assert_array_equal(there, levels.two_walls(one, zero, -above))
    assert 0 < there.sum() < 61


def test_height_sd_counts_shared_shifts_of_height():
    """3 cm at random, 4 cm patchy, and gauge and benchmark of 5 and 12 cm make 13.9 cm."""
    named = (NamedError("gauge", "height", 0.05), NamedError("mark", "height", 0.12))
    model = ErrorModel("walls", 1.0, 0.03, patchy_vertical=0.04, named=named)
    assert height_sd(model) == pytest.approx(np.sqrt(9 + 16 + 25 + 144) / 100)
