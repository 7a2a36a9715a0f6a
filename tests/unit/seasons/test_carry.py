"""Numbers that last: what is seen again keeps its number, whatever the season's tracing."""

import numpy as np
import pytest
import shapely
from drawn import box, line_table, plan_of

from wrackline import contract, vectors
from wrackline.numbers import NUMBERED, place_of
from wrackline.seasons.kin import assigned, kin_of
from wrackline.seasons.replay import replay as replay_plans

ORIGIN = (0.0, 0.0)
ROOMS = [(0, 0, 4, 3), (10, 0, 15, 4), (20, 0, 24, 5)]


def season(*rooms, name="2031", features=()):
    """Return the plan of free-standing rooms, surveyed in one season."""
    lines = [line for room in rooms for line in box(*room)]
    return plan_of(line_table(lines, survey=f"{name}-walls"), features=features)


def replay(*plans, frozen=None):
    """Return seasons with lasting numbers, 2031 and on, carried from the first to the last."""
    named = [(str(2031 + k), plan) for k, plan in enumerate(plans)]
    return replay_plans(named, frozen, ORIGIN)


def told(step, event, what="room"):
    """Return the numbers of a season's events of one sort."""
    return rows_of(step, event, what)["number"].tolist()


def rows_of(step, event, what="room"):
    """Return a season's events of one sort."""
    rows = step.events
    return rows[(rows["event"] == event) & (rows["what"] == what)]


def rooms_of(step):
    return step.plan["rooms"]["room"].tolist()


def test_the_first_season_keeps_the_numbers_of_its_places():
    """With nothing before it every number is new, and from its place."""
    plan = season(*ROOMS)
    (step,) = replay(plan)
    assert rooms_of(step) == plan["rooms"]["room"].tolist()
    assert told(step, "new") == sorted(rooms_of(step))
    assert set(step.events["event"]) == {"new"}


def test_a_shift_within_the_noise_renames_nothing():
    """Half a metre is beyond the first place's square metre: rooms still keep their numbers."""
    shifted = [tuple(v + 0.25 for v in room) for room in ROOMS]
    first, second = replay(season(*ROOMS), season(*shifted, name="2032"))
    assert rooms_of(second) == rooms_of(first)
    assert not len(second.events)
    assert second.plan["wall_lines"]["wall"].tolist() == first.plan["wall_lines"]["wall"].tolist()
    assert (
        second.plan["buildings"]["building"].tolist()
        == first.plan["buildings"]["building"].tolist()
    )


def test_what_is_seen_again_was_first_seen_before():
    """A room kept from 2031 has 2031 as its first season and 2032 as its last."""
    _, second = replay(season(*ROOMS[:1]), season(*ROOMS[:2], name="2032"))
    assert second.plan["rooms"]["first_season"].tolist() == ["2031", "2032"]
    assert second.plan["rooms"]["last_season"].tolist() == ["2032", "2032"]


def test_new_and_lost_rooms_are_named():
    """The second room is gone, the third new: both are told, the first is kept."""
    first, second = replay(season(*ROOMS[:2]), season(ROOMS[0], ROOMS[2], name="2032"))
    assert rooms_of(second)[:1] == rooms_of(first)[:1]
    assert told(second, "gone") == rooms_of(first)[1:]
    assert told(second, "new") == rooms_of(second)[1:]


def test_a_split_room_leaves_its_number_to_the_larger_part():
    """Of two rooms where one was, the larger keeps the number and the other gets one of its own."""
    parts = [*box(0, 0, 6, 3), [(3.6, 0), (3.6, 3)]]
    split = plan_of(line_table(parts, survey="2032-walls"))
    first, second = replay(season((0, 0, 6, 3)), split)
    large = second.plan["rooms"]["floor_area_m2"].to_numpy(float).argmax()
    assert rooms_of(second)[large] == rooms_of(first)[0]
    assert told(second, "split") == rooms_of(first)
    assert set(rows_of(second, "split")["children"].iloc[0].split(";")) == set(rooms_of(second))


def test_merged_rooms_keep_the_larger_ones_number():
    """Where a wall between two rooms proves to be none, the larger's number stays, one is lost."""
    parts = [*box(0, 0, 6, 3), [(3.6, 0), (3.6, 3)]]
    first, second = replay(plan_of(line_table(parts)), season((0, 0, 6, 3), name="2032"))
    large = first.plan["rooms"]["floor_area_m2"].to_numpy(float).argmax()
    assert rooms_of(second) == [rooms_of(first)[large]]
    assert told(second, "merged") == rooms_of(second)
    assert set(rows_of(second, "merged")["parents"].iloc[0].split(";")) == set(rooms_of(first))
    assert told(second, "gone") == []


def test_a_number_is_never_given_twice():
    """A room of another shape at a lost room's place gets a letter; the lost number stays used."""
    small, large = (1, 1, 3.2, 2.9), (-9.5, -9.5, 14, 13.2)
    first, _, third = replay(
        season(small), season(ROOMS[2], name="2032"), season(large, ROOMS[2], name="2033")
    )
    assert rooms_of(third)[0] == rooms_of(first)[0] + "b"
    assert rooms_of(first)[0] in set(third.carried.things["number"])
    for layer, (field, _) in NUMBERED.items():
        numbers = third.plan[layer][field]
        assert numbers.is_unique


def test_fields_that_name_another_layer_follow():
    """Rooms name their building, features their room, openings and bodies what they join."""
    jar = [{"geometry": shapely.Point(1, 1, -2), "kind": "jar"}]
    shifted = [tuple(v + 0.3 for v in room) for room in ROOMS]
    _, second = replay(season(*ROOMS), season(*shifted, name="2032", features=jar))
    plan = second.plan
    assert plan["features"]["room"].tolist() == plan["rooms"]["room"].tolist()[:1]
    assert plan["rooms"]["building"].tolist() == plan["buildings"]["building"].tolist()


def test_openings_and_wall_bodies_follow_too():
    """A doorway's rooms and a body's walls are named by their lasting numbers."""
    t, door = 0.5, [[(0, 0), (1.5, 0)], [(2.4, 0), (4, 0)]]
    inner, outer = [*door, *box(0, 0, 4, 3)[1:]], box(-t, -t, 4 + t, 3 + t)
    drawn = [np.array(line) for line in inner + outer]
    plans = [
        plan_of(line_table([line + move for line in drawn], survey=f"{name}-walls"))
        for name, move in (("2031", 0.0), ("2032", 0.28))
    ]
    first, second = replay(*plans)
    assert plans[1]["rooms"]["room"].tolist() == rooms_of(first)
    assert second.plan["openings"]["joins"].tolist() == first.plan["openings"]["joins"].tolist()
    walls = set(second.plan["wall_lines"]["wall"])
    assert all(set(text.split(";")) <= walls for text in second.plan["wall_bodies"]["wall"])


def test_nothing_before_and_nothing_after_are_carried():
    """Plans without a room come before and after one with rooms, and nothing fails."""
    empty = plan_of([])
    first, second, third = replay(empty, season(*ROOMS, name="2032"), empty)
    assert not len(first.carried.things)
    assert len(told(second, "new")) == 3
    assert told(third, "gone") == told(second, "new")
    known = set(third.carried.things["number"])
    assert known == set(second.carried.things["number"])


def test_types_stay_what_they_were():
    """Carrying changes no column's type."""
    plan = season(*ROOMS)
    numbered = replay(plan)[0].plan
    for layer, table in plan.items():
        again = vectors.conform(numbered[layer], contract.columns(layer))
        assert again.dtypes.to_dict() == table.dtypes.to_dict()


@pytest.mark.parametrize(
    ("now", "before", "pairs"),
    [
        pytest.param([shapely.box(0, 0, 4, 3)], [shapely.box(0.3, 0, 4, 3)], {0: 0}, id="areas"),
        pytest.param([shapely.box(0, 0, 4, 3)], [shapely.box(3, 0, 7, 3)], {}, id="little overlap"),
        pytest.param(
            [shapely.LineString([(0, 0), (5, 0)])],
            [shapely.LineString([(4.8, 0.2), (0.2, 0.1)])],
            {0: 0},
            id="lines, one reversed",
        ),
        pytest.param(
            [shapely.LineString([(0, 0), (5, 0)])],
            [shapely.LineString([(2, -2), (2, 2)])],
            {},
            id="lines that cross",
        ),
        pytest.param([shapely.Point(0, 0)], [shapely.Point(0.2, 0)], {0: 0}, id="points"),
        pytest.param([shapely.Point(0, 0)], [shapely.Point(0.4, 0)], {}, id="points apart"),
        pytest.param([], [shapely.Point(0, 0)], {}, id="none now"),
        pytest.param([shapely.Point(1, 1)], [shapely.box(0, 0, 4, 3)], {}, id="a point in an area"),
        pytest.param(
            [shapely.LineString([(0, 0), (4, 0)])], [shapely.box(0, 0, 4, 3)], {}, id="an edge"
        ),
        pytest.param(
            [shapely.Point(0.2, 0), shapely.Point(0, 0)],
            [shapely.Point(0, 0), shapely.Point(0.25, 0)],
            {0: 1, 1: 0},
            id="each to its nearest",
        ),
        pytest.param(
            [shapely.Point(0.1, 0), shapely.Point(0.25, 0)],
            [shapely.Point(0.15, 0), shapely.Point(-0.1, 0)],
            {0: 1, 1: 0},
            id="as a whole, not nearest first",
        ),
    ],
)
def test_things_are_paired_by_overlap_run_or_distance(now, before, pairs):
    """Areas pair by overlap, lines by common run, points by distance, all of them together."""
    kin = kin_of(np.array(now, dtype=object), np.array(before, dtype=object))
    alike = kin.where(kin.alike >= 0.3)
    assert assigned(alike.now, alike.before, alike.alike) == pairs


def test_of_two_features_at_one_place_each_keeps_its_own_number():
    """A jar found right on a hearth, and inside a paving, takes the number of neither."""
    hearth = {"geometry": shapely.Point(1, 1, -2), "kind": "hearth"}
    jar = {"geometry": shapely.Point(1, 1, -1.9), "kind": "jar"}
    paving = {"geometry": shapely.box(0.5, 0.5, 2, 2), "kind": "paving"}
    first, second = replay(
        season(*ROOMS[:1], features=[hearth, paving]),
        season(*ROOMS[:1], name="2032", features=[jar, hearth, paving]),
    )
    old, new = (step.plan["features"].set_index("kind")["feature"] for step in (first, second))
    assert new["hearth"] == old["hearth"]
    assert new["paving"] == old["paving"]
    assert told(second, "new", "feature") == [new["jar"]]


def test_a_feature_that_is_read_as_something_else_keeps_its_number():
    """What was called a pit and is called a cistern now is the same thing."""
    at = {"geometry": shapely.Point(1, 1, -2)}
    first, second = replay(
        season(features=[at | {"kind": "storage pit"}]),
        season(name="2032", features=[at | {"kind": "cistern"}]),
    )
    assert told(second, "re-read", "feature") == told(first, "new", "feature")
    assert "storage pit" in rows_of(second, "re-read", "feature")["why"].iloc[0]


def test_a_number_comes_from_inside_an_area_and_midway_along_a_line():
    """An L-shaped room is numbered from a place within it, a bent wall from its middle."""
    room = shapely.Polygon([(0, 0), (9, 0), (9, 1), (1, 1), (1, 9), (0, 9)])
    wall = shapely.LineString([(0, 0), (3, 0), (3, 5)])
    places = place_of(np.array([room, wall], dtype=object))
    assert room.contains(places[0])
    assert (places[1].x, places[1].y) == (3.0, 1.0)


def test_lines_that_were_inferred_come_and_go_untold():
    """A gap closed in one season and traced in the next: the new wall is told, no closing."""
    gap = [*box(0, 0, 8, 3), [(4, 0), (4, 1)], [(4, 2), (4, 3)]]
    whole = [*box(0, 0, 8, 3), [(4, 0), (4, 1)], [(4, 1), (4, 2)], [(4, 2), (4, 3)]]
    first, second = replay(plan_of(line_table(gap)), plan_of(line_table(whole)))
    walls = first.plan["wall_lines"]
    inferred = set(walls.loc[walls["evidence"] == "inferred", "wall"])
    assert inferred
    assert not inferred & set(told(first, "new", "wall"))
    assert not inferred & set(told(second, "gone", "wall"))
