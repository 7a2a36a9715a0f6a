"""Two rooms with a wall of two faces between them can be one: the wall's body becomes floor.

Floors are worked out by hand: two rooms of 3.75 by 4 m and a wall of 0.5 m between are 8 by 4 m.
"""

import datetime as dt

import numpy as np
import pytest
import shapely
from drawn import box, items, line_table, models_of, network_of, site

from wrackline.model import Decision, Phasing, WallSettings
from wrackline.rooms.bed import Bed
from wrackline.rooms.figures import area
from wrackline.rooms.plan import Items, make_plan
from wrackline.rooms.view import prepare
from wrackline.walls.decided import AGAINST, FOLLOWED, IDLE
from wrackline.walls.joining import Team, join_walls

OUTER = box(-0.5, -0.5, 8.5, 4.5)
STEPS = [(-0.5, -0.5), (4.25, -0.5), (4.25, 1.5), (8.5, 1.5), (8.5, 4.5), (-0.5, 4.5)]
STEPPED = [[STEPS[k - 1], STEPS[k]] for k in range(6)]
PAIR = [*OUTER, *box(0, 0, 3.75, 4), *box(4.25, 0, 8, 4)]
ONE, OTHER = (2.0, 2.0), (6.0, 2.0)


def merge(one=ONE, other=OTHER, date="2031-09-01"):
    """Return a merger decided by an invented team."""
    at = {"easting": one[0], "northing": one[1], "to_easting": other[0], "to_northing": other[1]}
    day = dt.date.fromisoformat(date)
    return Decision(decision="merge", who="A. Diver", date=day, why="no wall seen there", **at)


def view_of(lines, *decisions, **walls):
    """Return the view of faces, as decisions leave it."""
    table = line_table(lines)
    return prepare(network_of(table, **walls), models_of(table), site(walls=walls), [], decisions)


def plan(lines, *decisions, **walls):
    """Return the tables of a plan and what became of decisions."""
    view = view_of(lines, *decisions, **walls)
    made = make_plan(view, Items(items(), items(), []), Bed())
    return made, [o.outcome for o in view.outcomes]


def floors(lines, *decisions, **walls):
    """Return the areas of all floors, the smallest first [m²]."""
    return sorted(plan(lines, *decisions, **walls)[0]["rooms"]["floor_area_m2"].round(4))


def test_the_wall_between_two_rooms_becomes_floor():
    """Two floors of 15 m² and 2 m² of wall are one floor of 32 m²."""
    assert floors(PAIR) == pytest.approx([15, 15])
    assert floors(PAIR, merge()) == pytest.approx([32])
    assert plan(PAIR, merge())[1] == [FOLLOWED]


def test_what_is_floor_is_no_wall_any_more():
    """The walls' bodies have less ground by as much, and keep every other wall."""
    before = plan(PAIR)[0]["wall_bodies"].area.sum()
    after = plan(PAIR, merge())[0]["wall_bodies"].area.sum()
    assert before == pytest.approx(9 * 5 - 30)
    assert after == pytest.approx(9 * 5 - 32)


def test_recorded_lines_stay_published():
    """A wall passed over is recorded as it was; the two cuts are drawn by the team."""
    before, after = plan(PAIR)[0]["wall_lines"], plan(PAIR, merge())[0]["wall_lines"]
    recorded = after[after["evidence"] == "recorded"]
    assert recorded["lines"].tolist() == before["lines"].tolist()
    np.testing.assert_array_equal(recorded.length, before.length)
    assert after["closing"].dropna().tolist() == ["drawn", "drawn"]
    assert after.loc[after["closing"] == "drawn", "length_m"].tolist() == pytest.approx([0.5, 0.5])


@pytest.mark.parametrize(
    ("outer", "second", "floor"),
    [
        pytest.param(OUTER, (4.25, 1, 8, 3), 15 + 7.5 + 2 * 0.5, id="a shorter room"),
        pytest.param(STEPPED, (4.25, 2, 8, 4), 15 + 7.5 + 2 * 0.5, id="a room at a corner"),
        pytest.param(OUTER, (4.25, 0.1, 8, 3.9), 15 + 14.25 + 3.9 * 0.5, id="corners out of line"),
    ],
)
def test_only_the_wall_straight_between_them_goes(outer, second, floor):
    """Of a long wall only what has both rooms beside it becomes floor."""
    found = floors([*outer, *box(0, 0, 3.75, 4), *box(*second)], merge(ONE, (6, 2.2)))
    assert found == pytest.approx([floor])


def test_a_third_room_keeps_its_walls():
    """Merging two of three rooms in a row leaves the third, and its own wall."""
    lines = [
        *box(-0.5, -0.5, 12.75, 4.5),
        *box(0, 0, 3.75, 4),
        *box(4.25, 0, 8, 4),
        *box(8.5, 0, 12.25, 4),
    ]
    assert floors(lines, merge()) == pytest.approx([15, 32])
    both = [merge(), merge(OTHER, (10, 2))]
    assert floors(lines, *both) == pytest.approx([12.25 * 4])
    assert floors(lines, *both[::-1]) == pytest.approx([12.25 * 4])


def test_rooms_across_a_crossing_share_no_wall():
    """Two rooms that meet corner to corner can't be one: nothing lies straight between them."""
    south = [*box(0, 0, 3.75, 1.75), *box(4.25, 0, 8, 1.75)]
    north = [*box(0, 2.25, 3.75, 4), *box(4.25, 2.25, 8, 4)]
    found, outcome = plan([*OUTER, *south, *north], merge((2, 1), (6, 3)))
    assert outcome == [IDLE]
    assert len(found["rooms"]) == 4


def test_a_thicker_wall_than_any_is_no_wall_between():
    """Where walls are at most 0.4 m thick, 0.5 m of ground parts two rooms."""
    assert plan(PAIR, merge(), wall_max_thickness_m=0.4)[1] == [IDLE]


def test_a_doorway_between_them_goes_with_the_wall():
    """A door between jambs, and the doorway's closings in both faces, vanish in the one room."""
    inner = [
        *[[(3.75, 0), (3.75, 1.5)], [(3.75, 2.5), (3.75, 4)], [(0, 0), (3.75, 0)]],
        *[[(3.75, 4), (0, 4)], [(0, 4), (0, 0)]],
        *[[(4.25, 0), (4.25, 1.5)], [(4.25, 2.5), (4.25, 4)], [(4.25, 0), (8, 0)]],
        *[[(8, 0), (8, 4)], [(8, 4), (4.25, 4)]],
    ]
    jambs = [[(3.75, y), (4.25, y)] for y in (1.5, 2.5)]
    for lines in ([*OUTER, *inner], [*OUTER, *inner, *jambs]):
        before, after = plan(lines)[0], plan(lines, merge())[0]
        assert len(before["openings"]) == 1
        assert len(after["openings"]) == 0
        np.testing.assert_allclose(after["rooms"]["floor_area_m2"], [32.0])


def test_a_court_and_the_house_in_it_can_be_one():
    """A wall all around needs no cut: the court's floor takes in the house with its walls."""
    lines = [*box(-0.5, -0.5, 10.5, 10.5), *box(0, 0, 10, 10)]
    lines += [*box(3, 3, 7, 7), *box(3.5, 3.5, 6.5, 6.5)]
    found, outcome = plan(lines, merge((1, 1), (5, 5)))
    assert outcome == [FOLLOWED]
    np.testing.assert_allclose(found["rooms"]["floor_area_m2"], [100.0])
    assert found["wall_lines"]["closing"].isna().all()


def test_a_wall_recorded_since_contradicts_the_merger():
    """The faces were traced in June 2031, after the day of the decision; it is followed still."""
    found, outcome = plan(PAIR, merge(date="2031-01-01"))
    assert outcome == [AGAINST]
    assert len(found["rooms"]) == 1


@pytest.mark.parametrize("turn", [0.0, 30.0, 77.0])
def test_faces_traced_by_hand_merge_too(turn):
    """Turned and drawn with vertices 3 cm off, the one floor is within the noise of 32 m²."""
    rng = np.random.default_rng(7)
    lines = []
    for ends in PAIR:
        line = shapely.affinity.rotate(shapely.LineString(ends), turn, origin=(0, 0))
        xy = shapely.get_coordinates(shapely.segmentize(line, 0.8))
        xy[1:-1] += rng.normal(0, 0.03, xy[1:-1].shape)
        lines.append(xy.tolist())
    places = [shapely.affinity.rotate(shapely.Point(p), turn, origin=(0, 0)) for p in (ONE, OTHER)]
    assert floors(lines, merge(*[(p.x, p.y) for p in places])) == pytest.approx([32], abs=0.4)


def test_the_order_and_direction_of_lines_leave_no_trace():
    """Lines in another order and drawn the other way give the same floor to a square millimetre."""
    back = [line[::-1] for line in PAIR[::-1]]
    assert floors(back, merge(OTHER, ONE)) == pytest.approx(floors(PAIR, merge()), abs=1e-6)


def test_the_floors_error_follows_its_vertices():
    """The gradient of the merged floor is that of finite differences, to 1 in 1,000."""
    view = view_of(PAIR, merge())
    (face,) = np.flatnonzero(view.kind == "room")
    edges, side = view.bounds_of(int(face))
    vertices, gradient = view.ground.on_vertices(area(view.network.edges[edges], edges, side))
    for vertex, slope in zip(vertices.tolist(), gradient, strict=True):
        for axis in range(2):
            moved = [np.array(line, dtype=float) for line in PAIR]
            moved[vertex // 2][vertex % 2, axis] += 0.01
            (bigger,) = floors([line.tolist() for line in moved], merge())[-1:]
            assert (bigger - 32.0) / 0.01 == pytest.approx(slope[axis], abs=0.03)


def test_a_merger_holds_in_the_phase_in_which_the_wall_stands():
    """A partition of phase I parts two rooms there alone; merged, one stands in both phases."""
    outer = [*OUTER, *[[(0, 0), (8, 0)], [(8, 0), (8, 4)], [(8, 4), (0, 4)], [(0, 4), (0, 0)]]]
    lines = [*outer, [(3.75, 0), (3.75, 4)], [(4.25, 0), (4.25, 4)]]
    table = line_table(lines, line=[str(k + 1) for k in range(len(lines))])
    said = {"who": "A. Diver", "date": dt.date(2031, 9, 1), "phase_from": "I", "phase_to": "I"}
    rows = tuple(Phasing(line=f"2031-walls:{k}", **said) for k in (9, 10))
    models = {model.survey: model for model in models_of(table)}
    joined = join_walls(table, models, WallSettings(), Team(phases=rows, order=("I", "II")))

    def spaces(*decisions):
        view = prepare(joined.network, models_of(table), site(), [], decisions)
        rooms = view.kind == "room"
        areas = shapely.area(view.faces.polygons[rooms])
        return [sorted(areas[there].round(6)) for there in view.faces.standing[rooms].T]

    assert spaces() == [[15.0, 15.0], [32.0]]
    assert spaces(merge()) == [[32.0], [32.0]]
