"""Numbers in print: tied by outline or place, never renamed, never given to anything else."""

import pytest
import shapely
from drawn import CRS, box, line_table, plan_of

from wrackline.errors import ConfigError, InputError
from wrackline.freeze import freeze
from wrackline.model import GivenNumber
from wrackline.numbers import NUMBERED
from wrackline.registers import read_numbers
from wrackline.seasons.freezing import as_rows, frozen_rows, frozen_table
from wrackline.seasons.replay import replay

ORIGIN = (0.0, 0.0)
ROOMS = [(0, 0, 4, 3), (10, 0, 15, 4), (20, 0, 24, 5)]


def season(*rooms, name="2031", lines=()):
    """Return the plan of free-standing rooms and further lines, surveyed in one season."""
    drawn = [line for room in rooms for line in box(*room)]
    return plan_of(line_table([*drawn, *lines], survey=f"{name}-walls"))


def given(number, place=(2.0, 1.5), **more):
    """Return a row of numbers in print."""
    row = {"number": number, "what": "room", "season": "2031"} | more
    return GivenNumber(easting=place[0], northing=place[1], **row)


def replayed(*plans, frozen, first=2031):
    named = [(str(first + k), plan) for k, plan in enumerate(plans)]
    return replay(named, frozen, ORIGIN)


def rooms_of(step):
    return step.plan["rooms"]["room"].tolist()


def events_of(step, what="room"):
    rows = step.events[step.events["what"] == what]
    return dict(zip(rows["event"], rows["number"], strict=True))


def test_a_number_in_print_is_borne_by_what_holds_its_place():
    """Whatever its form, the number of the sheet is the room's; the others keep their places'."""
    (step,) = replayed(season(*ROOMS), frozen=frozen_table([given("House 3/2")], CRS))
    plain = season(*ROOMS)["rooms"]["room"].tolist()
    assert rooms_of(step) == ["House 3/2", *plain[1:]]


def test_a_frozen_plan_renames_nothing_when_its_file_is_repaired():
    """All moved by 0.6 m, and a room more: of the frozen numbers none is another's now."""
    first = replayed(season(*ROOMS), frozen=None)[0]
    frozen = frozen_rows(first.plan, "2031")
    shifted = [tuple(v + 0.6 for v in room) for room in ROOMS]
    assert rooms_of(replayed(season(*shifted), frozen=None)[0]) != rooms_of(first)
    (repaired,) = replayed(season(*shifted, (30, 0, 34, 3)), frozen=frozen)
    assert rooms_of(repaired)[:3] == rooms_of(first)
    assert len(set(rooms_of(repaired))) == 4


def test_an_older_plan_added_later_takes_the_numbers_in_print():
    """A plan that sorts before all others shows the same rooms, 0.4 m off: the numbers hold."""
    frozen = frozen_rows(replayed(season(*ROOMS), frozen=None)[0].plan, "2031")
    old = season(*[tuple(v + 0.4 for v in room) for room in ROOMS[:2]], name="1986")
    steps = replay([("1986", old), ("2031", season(*ROOMS))], frozen, ORIGIN)
    assert rooms_of(steps[0]) == rooms_of(steps[1])[:2]
    assert set(rooms_of(steps[1])) == set(frozen.loc[frozen["layer"] == "rooms", "number"])


def test_a_number_that_lies_nowhere_is_said_to_be_gone_and_kept():
    """A repaired file without the room: its number is told gone, and given to nothing new there."""
    first = replayed(season(*ROOMS[:2]), frozen=None)[0]
    frozen = frozen_rows(first.plan, "2031")
    without, back = replayed(season(ROOMS[1]), season(*ROOMS[:2], name="2032"), frozen=frozen)
    assert events_of(without)["gone"] == rooms_of(first)[0]
    gone = without.events[without.events["event"] == "gone"]
    assert gone["why"].str.contains("in print").all()
    assert rooms_of(back) == rooms_of(first)
    assert events_of(back)["found again"] == rooms_of(first)[0]


def test_of_two_printed_numbers_in_one_room_one_is_merged():
    """A repaired file without the partition: the larger part's number stays, the other's merged."""
    parted = [*box(0, 0, 6, 3), [(3.6, 0), (3.6, 3)]]
    first = replayed(plan_of(line_table(parted)), frozen=None)[0]
    (step,) = replayed(season((0, 0, 6, 3)), frozen=frozen_rows(first.plan, "2031"))
    large = first.plan["rooms"]["floor_area_m2"].to_numpy(float).argmax()
    assert rooms_of(step) == [rooms_of(first)[large]]
    merged = step.events[(step.events["event"] == "merged") & (step.events["what"] == "room")]
    assert set(merged["parents"].iloc[0].split(";")) == set(rooms_of(first))


def test_a_printed_number_is_never_given_to_something_new():
    """A room that begins in the square metre of a printed number of elsewhere gets a letter."""
    taken = season(ROOMS[0])["rooms"]["room"].iloc[0]
    frozen = frozen_table([given(taken, place=(500.0, 500.0))], CRS)
    (step,) = replayed(season(ROOMS[0]), frozen=frozen)
    assert rooms_of(step) == [f"{taken}b"]


def test_the_numbers_of_others_stand_beside():
    """A series of its own renames nothing; it is written beside what lies there."""
    rows = [given("14", series="plan of 1986"), given("3b", series="bags", season="2032")]
    first, second = replayed(
        season(*ROOMS), season(*ROOMS, name="2032"), frozen=frozen_table(rows, CRS)
    )
    assert first.plan["rooms"]["other_numbers"].tolist() == ["plan of 1986: 14", "", ""]
    assert second.plan["rooms"]["other_numbers"].iloc[0] == "bags: 3b;plan of 1986: 14"
    assert rooms_of(second) == season(*ROOMS)["rooms"]["room"].tolist()


def test_a_wall_measured_by_its_faces_keeps_the_number_of_its_centre():
    """An old plan's single line, then both faces 0.5 m apart: one of them is that wall."""
    old = plan_of(line_table([[(0, 0), (6, 0)]], survey="1986-plan", follows="centre"))
    faces = [[(0, 0.25), (6, 0.25)], [(0, -0.25), (6, -0.25)]]
    steps = replay([("1986", old), ("2031", plan_of(line_table(faces)))], None, ORIGIN)
    (number,) = steps[0].plan["wall_lines"]["wall"]
    assert number in set(steps[1].plan["wall_lines"]["wall"])


def test_what_was_gone_and_comes_back_has_its_number_again():
    """Off the plan for two seasons, the room is found again under its old number."""
    one, both = season(ROOMS[0]), season(*ROOMS[:2])
    steps = replayed(both, one, one, both, frozen=None)
    assert rooms_of(steps[3]) == rooms_of(steps[0])
    assert events_of(steps[1]) == {"gone": rooms_of(steps[0])[1]}
    assert events_of(steps[3]) == {"found again": rooms_of(steps[0])[1]}


def test_a_room_that_turns_out_larger_is_the_same_room():
    """A corner known before is the whole room now: it keeps its number, its outline changed."""
    steps = replayed(season((0, 0, 2, 2)), season((0, 0, 6, 4), name="2032"), frozen=None)
    assert rooms_of(steps[0]) == rooms_of(steps[1])
    assert events_of(steps[1]) == {"reshaped": rooms_of(steps[0])[0]}


def test_numbers_do_not_depend_on_the_order_of_rows():
    """Two jars in one square metre have the same letters whatever the order of the table."""
    jars = [
        {"geometry": shapely.Point(1.2, 1.3, -2), "kind": "jar"},
        {"geometry": shapely.Point(1.8, 1.7, -2), "kind": "jar"},
    ]
    found = []
    for features in (jars, jars[::-1]):
        plan = plan_of(line_table(box(*ROOMS[0])), features=features)
        table = replayed(plan, frozen=None)[0].plan["features"]
        found.append({row.geometry.x: row.feature for row in table.itertuples()})
    assert found[0] == found[1]


def test_an_outline_that_cannot_be_read_is_named():
    """Broken well-known text is a fault with the number, not a crash."""
    with pytest.raises(InputError, match="House 3"):
        frozen_table([given("House 3", outline="POLYGON ((0 0, 4")], CRS)


def write(folder, text):
    (folder / "config").mkdir(exist_ok=True)
    (folder / "config" / "numbers.csv").write_text(text)


def test_a_number_twice_is_a_fault(tmp_path):
    """One number of one series on two things can't be; in two series it can."""
    head = "number,what,easting,northing,season,series\n"
    write(tmp_path, head + "7,room,1,1,2031,\n7,room,9,9,2031,\n7,room,9,9,2031,bags\n")
    faults = []
    assert len(read_numbers(tmp_path, faults)) == 3
    (fault,) = faults
    assert (fault.kind, fault.row) == ("number_twice", 3)


def record_of(folder, plan, season="2031"):
    """Write a season's plan as the record has it."""
    package = folder / "results" / "seasons" / season / "plan.gpkg"
    package.parent.mkdir(parents=True)
    for layer, table in plan.items():
        table.to_file(package, layer=layer, driver="GPKG")


def test_freezing_adds_what_is_not_yet_in_print_and_only_that(tmp_path):
    """A first freeze puts all numbers in print, the next adds nothing; rows of people stay."""
    plan = replayed(season(*ROOMS[:2]), frozen=None)[0].plan
    record_of(tmp_path, plan)
    write(
        tmp_path, "number,what,easting,northing,season,series,note\n14,room,2,1.5,1986,old,p. 4\n"
    )
    added, known = freeze(tmp_path, "2031")
    assert (known, added) == (0, sum(len(plan[k]) for k in ("rooms", "buildings", "wall_lines")))
    assert freeze(tmp_path, "2031") == (0, added)
    rows = read_numbers(tmp_path, [])
    assert (rows[0].number, rows[0].series, rows[0].note) == ("14", "old", "p. 4")
    assert {row.number for row in rows if row.what == "room"} == {"14", *plan["rooms"]["room"]}
    again = replayed(season(*ROOMS[:2]), frozen=frozen_table(rows, CRS))[0]
    assert again.plan["rooms"]["room"].tolist() == plan["rooms"]["room"].tolist()


def test_freezing_a_season_that_is_not_on_record_is_a_fault(tmp_path):
    """A mistyped season names the nearest, and writes nothing."""
    record_of(tmp_path, replayed(season(ROOMS[0]), frozen=None)[0].plan)
    with pytest.raises(ConfigError, match="did you mean '2031'"):
        freeze(tmp_path, "2013")
    assert not (tmp_path / "config" / "numbers.csv").exists()


def test_rows_hold_outlines_to_the_centimetre():
    """An area has its outline beside its place, a point its place alone."""
    jar = [{"geometry": shapely.Point(1.234, 1.3, -2), "kind": "jar"}]
    plan = plan_of(line_table(box(*ROOMS[0])), features=jar)
    rows = {row["what"]: row for row in as_rows(frozen_rows(plan, "2031"))}
    assert rows["room"]["outline"].startswith("POLYGON ((")
    assert rows["feature"]["outline"] == ""
    assert rows["feature"]["easting"] == "1.23"


def test_putting_numbers_in_print_changes_nothing():
    """A house that grew over three seasons, doors and all: the same numbers and the same events."""
    door = [[(0, 0), (1.5, 0)], [(2.4, 0), (4, 0)], *box(0, 0, 4, 3)[1:]]
    wider = [*door, *box(4.6, 0, 9, 3)]
    parted = [*wider, [(7, 0), (7, 3)]]
    plans = [
        (name, plan_of(line_table(lines, survey=f"{name}-walls")))
        for name, lines in (("2031", door), ("2032", wider), ("2033", parted))
    ]
    plain = replay(plans, None, ORIGIN)
    frozen = frozen_table(
        [GivenNumber.model_validate(row) for row in as_rows(frozen_rows(plain[2].plan, "2033"))],
        CRS,
    )
    again = replay(plans, frozen, ORIGIN)
    assert len(plain[0].plan["openings"])
    for one, other in zip(plain, again, strict=True):
        for layer, (field, _) in NUMBERED.items():
            assert one.plan[layer][field].tolist() == other.plan[layer][field].tolist()
        assert one.carried.records() == other.carried.records()
