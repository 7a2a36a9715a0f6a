"""Interpretations tied to things: by number and place, several at once, none ever lost."""

import itertools

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from wrackline import vectors
from wrackline.model import Interpretation
from wrackline.registers import read_interpretations
from wrackline.seasons.carry import THING_COLUMNS
from wrackline.seasons.interpretations import (
    Record,
    current_readings,
    follow,
    unknown_numbers,
    with_readings,
)

CRS = "EPSG:32625"
HEAD = "number,easting,northing,what,reading,certainty,who,when,why,evidence"
TWO = {"R000-000": shapely.box(0, 0, 4, 3), "R005-000": shapely.box(5, 0, 9, 3)}


def record(rooms=TWO, *, season="2031", events=(), known=(), others=None):
    """Return a plan of rooms and nothing else, by default two side by side, 4 by 3 m each."""
    fields = {"wall_lines": "wall", "openings": "opening", "buildings": "building"}
    fields |= {"features": "feature", "rooms": "room"}
    plan = {
        layer: gpd.GeoDataFrame(
            {field: pd.Series([], dtype="object"), "other_numbers": pd.Series([], dtype="object")},
            geometry=[],
            crs=CRS,
        )
        for layer, field in fields.items()
    }
    data = {"room": list(rooms), "other_numbers": [(others or {}).get(n, "") for n in rooms]}
    plan["rooms"] = gpd.GeoDataFrame(data, geometry=list(rooms.values()), crs=CRS)
    things = vectors.empty(THING_COLUMNS, CRS)
    numbers = [*rooms, *known]
    things = gpd.GeoDataFrame(
        {name: [None] * len(numbers) for name in THING_COLUMNS}
        | {"layer": "rooms", "number": numbers},
        geometry=[shapely.Point(0, 0)] * len(numbers),
        crs=CRS,
    )
    return Record(season, plan, things, list(events))


def tie(rows, where=None):
    """Return readings as they stand in the season in which they were made."""
    return follow(None, list(enumerate(rows)), where or record(), 0.2)


def reading(**changed):
    base = {
        "easting": 2.0,
        "northing": 1.0,
        "what": "room",
        "reading": "dwelling",
        "certainty": "probable",
        "who": "A. Orr",
        "when": "2031-07-02",
        "why": "hearth",
    }
    return Interpretation.model_validate(base | changed)


def by_number(number="R000-000", **changed):
    return reading(easting=None, northing=None, number=number, **changed)


@pytest.mark.parametrize(
    ("given", "number", "status"),
    [
        pytest.param({}, "R000-000", "stands", id="by place"),
        pytest.param({"easting": 4.4}, "R000-000", "stands", id="beside it"),
        pytest.param({"easting": 6.0}, "R005-000", "stands", id="the other room"),
        pytest.param({"number": "R005-000"}, "R005-000", "stands", id="by number"),
        pytest.param({"number": "R005-001"}, None, "nothing there", id="no such number"),
        pytest.param({"northing": 9.0}, None, "nothing there", id="open ground"),
        pytest.param({"what": "feature"}, None, "nothing there", id="no feature at all"),
    ],
)
def test_a_reading_is_tied_or_says_that_nothing_is_there(given, number, status):
    """By number or place; what lies nowhere stays in the table, with the nearest thing."""
    row = tie([reading(**given)]).iloc[0]
    assert (row["number"] if isinstance(row["number"], str) else None) == number
    assert row["status"] == status
    assert row["reading"] == "dwelling"
    if given.get("northing"):
        assert "nearest is R00" in row["note"]


def test_readers_who_differ_dispute():
    """Two people, two readings of one room: both stand in the table as disputed."""
    table = tie([reading(), reading(reading="store", who="B. Lund")])
    assert table["status"].tolist() == ["disputed", "disputed"]


def test_readers_who_agree_do_not_dispute():
    """The same word by two people, in whatever case, is no dispute."""
    table = tie([reading(), reading(reading="Dwelling", who="B. Lund")])
    assert table["status"].tolist() == ["stands", "stands"]


def test_a_reader_may_think_again():
    """The later reading of one person supersedes the earlier, in whatever order they are listed."""
    rows = [reading(), reading(reading="store", when="2033-06-20"), reading(easting=6.0)]
    for order in itertools.permutations(range(3)):
        table = tie([rows[k] for k in order])
        found = dict(zip(order, table["status"], strict=True))
        assert found == {0: "superseded", 1: "stands", 2: "stands"}


def test_a_row_that_is_tied_to_nothing_stays_among_others():
    """Beside readings that are tied, one of open ground is listed as lying nowhere."""
    table = tie([reading(), reading(northing=50.0), reading(easting=6.0)])
    assert table["status"].tolist() == ["stands", "nothing there", "stands"]
    assert table["review"].tolist() == ["", "tied to nothing on the plan", ""]


def merged(*parents, child):
    return {"event": "merged", "parents": ";".join(parents), "children": child}


LATER = [
    pytest.param(reading(), TWO, [], "R000-000", "", id="unchanged"),
    pytest.param(
        reading(),
        {"R000-000": shapely.box(0.2, 0.2, 4.2, 3.2)},
        [],
        "R000-000",
        "",
        id="shifted, of the same shape",
    ),
    pytest.param(
        reading(),
        {"R000-000": shapely.box(0, 0, 4, 2)},
        [],
        "R000-000",
        "outline only 67% alike",
        id="smaller by a third",
    ),
    pytest.param(
        reading(easting=3.5),
        {"R000-000": shapely.box(0, 0, 2.6, 3), "R003-000": shapely.box(2.7, 0, 4, 3)},
        [],
        "R003-000",
        "made of R000-000, now R003-000; outline only 32% alike",
        id="split: the place counts",
    ),
    pytest.param(
        by_number(),
        {"R000-000": shapely.box(0, 0, 2.6, 3), "R003-000": shapely.box(2.7, 0, 4, 3)},
        [],
        "R000-000",
        "outline only 65% alike",
        id="split: the number counts",
    ),
    pytest.param(
        by_number("R005-000"),
        {"R000-000": shapely.box(0, 0, 9, 3)},
        [merged("R000-000", "R005-000", child="R000-000")],
        "R000-000",
        "made of R005-000, now R000-000; outline only 44% alike",
        id="merged: what came of it",
    ),
    pytest.param(
        by_number("R005-000"),
        {"R000-000": shapely.box(0, 0, 4, 3)},
        [{"event": "gone", "parents": "R005-000", "children": ""}],
        None,
        "R005-000, of which it was made, is no longer on the plan",
        id="gone",
    ),
]


@pytest.mark.parametrize(("made", "rooms", "events", "number", "review"), LATER)
def test_a_reading_goes_on_with_its_thing(made, rooms, events, number, review):
    """In a later season it is tied anew; what changed since it was made is to be looked at."""
    first = tie([made])
    later = record(rooms, season="2033", events=events, known=list(TWO))
    row = follow(first, [], later, 0.2).iloc[0]
    assert (row["number"] if isinstance(row["number"], str) else None) == number
    assert row["review"] == review
    assert row["made_in"] == "2031"


def test_a_heir_of_two_changes_is_found():
    """A room that merged in one season and was drawn anew in the next is followed through both."""
    first = tie([by_number("R005-000")])
    wide = record(
        {"R000-000": shapely.box(0, 0, 9, 3)},
        season="2032",
        events=[merged("R000-000", "R005-000", child="R000-000")],
        known=list(TWO),
    )
    redrawn = {"event": "redrawn", "parents": "R000-000", "children": "R020-000"}
    last = record({"R020-000": shapely.box(0, 0, 20, 9)}, season="2033", events=[redrawn])
    second = follow(first, [], wide, 0.2)
    assert follow(second, [], last, 0.2)["number"].tolist() == ["R020-000"]


def test_a_thing_that_comes_back_has_its_readings_again():
    """While its number is off the plan a reading says so, and stands again when it is back."""
    first = tie([by_number("R005-000")])
    without = follow(first, [], record({"R000-000": TWO["R000-000"]}, known=list(TWO)), 0.2)
    assert without["status"].tolist() == ["nothing there"]
    again = follow(without, [], record(season="2033"), 0.2)
    assert again["status"].tolist() == ["stands"]
    assert again["review"].tolist() == [""]


def test_readings_of_later_seasons_join_in_the_order_of_the_register():
    """A row made in 2033 that stands first in the register comes first."""
    first = follow(None, [(1, reading())], record(), 0.2)
    both = follow(first, [(0, reading(reading="store", who="B. Lund"))], record(season="2033"), 0.2)
    assert both["row"].tolist() == [0, 1]
    assert both["made_in"].tolist() == ["2033", "2031"]
    assert both["status"].tolist() == ["disputed", "disputed"]


def test_a_number_of_another_series_ties_too():
    """What the old plan calls 14 is found by that number, with or without its series."""
    where = record(others={"R005-000": "plan of 1986: 14"})
    table = tie([by_number("14"), by_number("plan of 1986: 14")], where)
    assert table["number"].tolist() == ["R005-000", "R005-000"]
    assert unknown_numbers(table, where.things) == []


def test_a_number_that_nothing_ever_had_is_a_fault_with_the_nearest():
    """A slip of the pen is named with its row; a number that is gone is none."""
    where = record(known=["R050-050"])
    table = tie([by_number("R005-001"), by_number("R050-050")], where)
    (fault,) = unknown_numbers(table, where.things)
    assert "R005-000" in fault.remedy
    assert fault.row == 2


def test_what_a_thing_is_read_as_now():
    """Readings that stand are joined with certainty, reader and year; superseded ones are not."""
    table = tie([reading(), reading(reading="store", when="2033-06-20")])
    assert current_readings(table) == {
        ("room", "R000-000"): ("store (probable, A. Orr 2033)", "stands")
    }


def test_things_on_the_plan_say_what_they_are_read_as():
    """A room that is read has words and status, another has neither."""
    told = with_readings(record().plan, tie([reading()]))["rooms"]
    assert told["reading"].tolist() == ["dwelling (probable, A. Orr 2031)", ""]
    assert told["reading_status"].tolist() == ["stands", ""]


def test_no_readings_are_a_table_of_no_rows():
    """A site without a register has the columns and nothing in them."""
    assert len(tie([])) == 0


def test_the_file_is_read_and_every_slip_named(tmp_path):
    """A row without a place, an unknown certainty and a wrong day are named with their rows."""
    (tmp_path / "config").mkdir()
    rows = [
        HEAD,
        ",,,room,store,probable,A,2031-07-02,why,",
        "R1,,,room,store,sure,A,2031-07-02,why,",
        "R1,,,room,store,certain,A,02/07/2031,why,",
        "R1,,,room,=1+1,certain,A,2031-07-02,<b>why</b>,",
    ]
    (tmp_path / "config" / "interpretations.csv").write_text("\n".join(rows), encoding="utf-8-sig")
    faults = []
    kept = read_interpretations(tmp_path, faults)
    assert [fault.row for fault in faults] == [2, 3, 4]
    assert "number, or easting and northing" in faults[0].allowed
    assert [row.reading for row in kept] == ["=1+1"]


def test_no_file_no_readings(tmp_path):
    """A site without the file has none, and no fault."""
    faults = []
    assert read_interpretations(tmp_path, faults) == ()
    assert faults == []
    assert len(tie([])) == 0
