"""Walls of different phases: joined apart, merged only where phases allow."""

import datetime as dt

import numpy as np
import pytest
import shapely
from drawn import box, line_table, models_of, site

from wrackline.model import Phasing, WallSettings
from wrackline.rooms.faces import faces_of
from wrackline.rooms.openings import openings_of
from wrackline.rooms.view import prepare
from wrackline.rooms.walls import wall_bodies, wall_lines
from wrackline.walls.joining import Team, join_walls
from wrackline.walls.network import load, save

STUMP = [(3, -1), (3, 5)]
HOUSE = [*box(0, 0, 6, 4), STUMP]
ORDER = ("I", "II")


def phasing(line="", place=None, **said):
    """Return a row of the register of phases, of an invented team."""
    where = {} if place is None else {"easting": place[0], "northing": place[1]}
    return Phasing(line=line, who="A. Diver", date=dt.date(2031, 9, 1), **where, **said)


def joined(lines, rows, order=ORDER, **columns):
    """Return hand-drawn centre lines, numbered from 1, joined as a register says."""
    numbers = [str(k + 1) for k in range(len(lines))]
    traits = {"follows": "centre", "thickness_m": 0.5, "line": numbers} | columns
    table = line_table(lines, **traits)
    models = {model.survey: model for model in models_of(table)}
    team = Team(phases=tuple(rows), order=tuple(order))
    return join_walls(table, models, WallSettings(), team)


def areas(got):
    """Return the areas of all spaces, by phase."""
    faces = faces_of(got.network)
    size = shapely.area(faces.polygons)
    return [sorted(size[there].round(3).tolist()) for there in faces.standing.T]


def test_without_a_register_a_stump_cuts_the_room():
    """What is not told apart stands together."""
    assert areas(joined(HOUSE, [])) == [[12.0, 12.0]] * 2


@pytest.mark.parametrize("named", [{"line": "2031-walls:5"}, {"place": (3.2, 4.6)}])
def test_an_early_stump_cuts_only_the_rooms_of_its_time(named):
    """A wall of phase I, named by line or place, is no wall in phase II."""
    got = joined(HOUSE, [phasing(**named, phase_from="I", phase_to="I")])
    assert areas(got) == [[12.0, 12.0], [24.0]]


def test_a_joint_alone_tells_two_walls_apart():
    """The house overlies the stump: no name of a phase is needed."""
    over = [
        phasing("2031-walls:1", joint="overlies", other_line="2031-walls:5"),
        phasing("2031-walls:3", joint="overlies", other_line="2031-walls:5"),
    ]
    got = joined(HOUSE, over, order=())
    assert areas(got)[-1] == [24.0]
    assert got.network.phases == ("earlier", "later")


def test_a_room_that_stands_throughout_is_one_room():
    """Faces that are the same in two phases are found once."""
    beside = [*HOUSE, *box(20, 0, 24, 4)]
    got = joined(beside, [phasing("2031-walls:5", phase_from="I", phase_to="I")])
    faces = faces_of(got.network)
    far = shapely.bounds(faces.polygons)[:, 0] > 19
    assert far.sum() == 1
    assert faces.standing[far].all()


def test_faces_of_different_phases_are_no_neighbours():
    """Rooms that never stood together share no wall."""
    got = joined(HOUSE, [phasing("2031-walls:5", phase_from="I", phase_to="I")])
    faces = faces_of(got.network)
    pairs = faces.neighbours().tocoo()
    for one, other in zip(pairs.row, pairs.col, strict=True):
        assert (faces.standing[one] & faces.standing[other]).any()


def test_a_blocked_door_is_a_gap_before_and_a_wall_after():
    """The blocking stands from phase II, so that in phase I the gap is closed by a closing."""
    gap = [[(0, 0), (1.5, 0)], [(2.4, 0), (4, 0)], *box(0, 0, 4, 4)[1:], [(1.5, 0.04), (2.4, 0.03)]]
    got = joined(gap, [phasing("2031-walls:6", joint="blocks", other_line="2031-walls:1")])
    network = got.network
    across = shapely.distance(shapely.linestrings(network.edges), shapely.Point(1.95, 0)) < 0.05
    recorded = network.recorded & across
    assert network.standing[recorded].any(axis=0).tolist() == [False, True]
    assert [len(phase) for phase in areas(got)] == [1, 1]
    faces = faces_of(network)
    kind = np.full(len(faces.polygons), "room")
    assert openings_of(network, faces, kind, 0.8) == []


def test_a_later_wall_on_a_stump_is_not_merged_with_it():
    """Two surveys' lines 5 cm apart are one wall, unless phases tell them apart."""
    lines = [[(0, 0), (6, 0)], [(0, 0.05), (6, 0.05)]]
    columns = {"survey": ["2031-walls", "2032-walls"], "line": ["1", "2"]}
    assert len(joined(lines, [], **columns).network.work.lines) == 1
    rows = [
        phasing("2031-walls:1", phase_from="I", phase_to="I"),
        phasing("2032-walls:2", phase_from="II", phase_to="II"),
    ]
    assert len(joined(lines, rows, **columns).network.work.lines) == 2


def test_a_repeat_takes_over_what_is_said_of_the_line_it_repeats():
    """The better survey of a dated wall is dated too, whichever of the two was named."""
    lines = [[(0, 0), (6, 0)], [(0, 0.05), (6, 0.05)]]
    columns = {"survey": ["2031-walls", "2032-walls"], "line": ["1", "2"]}
    for named in ("2031-walls:1", "2032-walls:2"):
        got = joined(lines, [phasing(named, phase_from="I", phase_to="I")], **columns)
        assert got.network.work.lines["phase_from"].tolist() == ["I"]


def test_phases_against_a_joint_are_noted():
    """A wall that overlies another can't be the earlier one."""
    rows = [
        phasing("2031-walls:1", phase_from="I", joint="overlies", other_line="2031-walls:5"),
        phasing("2031-walls:5", phase_from="II", phase_to="II"),
    ]
    assert ["say otherwise" in note for note in joined(HOUSE, rows).notes] == [True]


def test_a_place_without_a_wall_is_noted():
    """A row that names no wall does nothing, and says so."""
    notes = joined(HOUSE, [phasing(place=(50.0, 50.0), phase_from="I")]).notes
    assert notes == ["50.00 50.00: no wall of this view"]


def test_rooms_carry_the_phases_of_dated_walls(tmp_path):
    """Written and read again, a room has the phases of the dated walls around it."""
    beside = [*HOUSE, *box(20, 0, 24, 4)]
    got = joined(beside, [phasing("2031-walls:5", phase_from="I", phase_to="I")])
    save(got.network, tmp_path, "EPSG:32625")
    network = load(tmp_path, ORDER)
    np.testing.assert_array_equal(network.standing, got.network.standing)
    view = prepare(network, models_of(got.network.work.lines), site(), got.outlines)
    told = {
        round(view.faces.polygons[k].area): view.phases_of(k, view.bounds_of(k)[0])
        for k in range(len(view.kind))
    }
    assert told == {12: ("I", "I"), 24: (None, None), 16: (None, None)}


def test_wall_bodies_carry_the_phases_of_dated_faces():
    """Bodies of three walls, each by its faces: one early, one late, one that nobody dated."""
    lines = [*box(0, 0, 6, 0.6), *box(20, 0, 26, 0.6), *box(40, 0, 46, 0.6)]
    early = [phasing(f"2031-walls:{k}", phase_from="I", phase_to="I") for k in range(1, 5)]
    late = [phasing(f"2031-walls:{k}", phase_from="II") for k in range(5, 9)]
    got = joined(lines, [*early, *late], follows="face", thickness_m=None)
    view = prepare(got.network, models_of(got.network.work.lines), site(), got.outlines)
    bodies = wall_bodies(view, wall_lines(view))
    bodies = bodies.iloc[np.argsort(bodies.geometry.bounds["minx"])]
    told = bodies[["phase_from", "phase_to"]].astype(object)
    assert told.where(told.notna(), None).to_numpy().tolist() == [
        *(["I", "I"], ["II", "II"], [None, None])
    ]
    assert ["not dated" in why or "is dated" in why for why in bodies["null_because"]] == [
        *(False, False, True)
    ]


def test_a_closing_says_in_which_phases_it_stands():
    """The gap that is filled later was a doorway in the first phase alone."""
    gap = [[(0, 0), (1.5, 0)], [(2.4, 0), (4, 0)], *box(0, 0, 4, 4)[1:], [(1.5, 0.04), (2.4, 0.03)]]
    got = joined(gap, [phasing("2031-walls:6", phase_from="II")])
    view = prepare(got.network, models_of(got.network.work.lines), site(), got.outlines)
    lines = wall_lines(view)
    doorway = lines[lines["closing"] == "doorway"]
    assert doorway[["phase_from", "phase_to"]].to_numpy().tolist() == [["I", "I"]]
    recorded = lines[lines["evidence"] == "recorded"]
    assert recorded["phase_from"].dropna().tolist() == ["II"]
    assert recorded["phase_to"].isna().all()
