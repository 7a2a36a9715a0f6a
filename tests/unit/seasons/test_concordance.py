"""Old numbers and new: every number ever given, and what bears it or came of its thing."""

import geopandas as gpd
from drawn import CRS, box, line_table, plan_of

from wrackline import contract
from wrackline.model import GivenNumber
from wrackline.seasons.concordance import concordance
from wrackline.seasons.freezing import frozen_table
from wrackline.seasons.replay import replay

PARTED = [*box(0, 0, 6, 3), [(3.6, 0), (3.6, 3)]]


def season(lines, name):
    return plan_of(line_table(lines, survey=f"{name}-walls"))


def table_of(*plans, given=()):
    """Return the concordance of seasons 2031 and on, rooms alone, by number."""
    named = [(str(2031 + k), plan) for k, plan in enumerate(plans)]
    steps = replay(named, frozen_table(given, CRS), (0.0, 0.0))
    events = [event for step in steps for event in step.carried.records()]
    table = concordance(steps[-1].carried.things, events, given, steps[-1].plan)
    return table[table["what"] == "room"].set_index("number"), steps


def test_what_stands_bears_its_own_number():
    """A room kept over two seasons: first and last season, and itself."""
    table, steps = table_of(season(box(0, 0, 4, 3), "2031"), season(box(0, 0, 4, 3), "2032"))
    (number,) = steps[0].plan["rooms"]["room"]
    row = table.loc[number]
    assert (row["state"], row["now"]) == ("stands", number)
    assert (row["first_season"], row["last_season"]) == ("2031", "2032")


def test_a_merged_number_leads_to_what_it_went_into():
    """Of two rooms one number is left; the other says merged, and into which."""
    table, steps = table_of(season(PARTED, "2031"), season(box(0, 0, 6, 3), "2032"))
    (left,) = steps[1].plan["rooms"]["room"]
    (other,) = set(steps[0].plan["rooms"]["room"]) - {left}
    assert (table.loc[other, "state"], table.loc[other, "now"]) == ("merged", left)
    assert table.loc[other, "last_season"] == "2031"


def test_a_number_is_followed_through_several_changes():
    """Merged in one season, and what it went into merged in the next."""
    three = [*box(0, 0, 9, 3), [(2, 0), (2, 3)], [(4.6, 0), (4.6, 3)]]
    two = [*box(0, 0, 9, 3), [(4.6, 0), (4.6, 3)]]
    table, steps = table_of(
        season(three, "2031"), season(two, "2032"), season(box(0, 0, 9, 3), "2033")
    )
    (left,) = steps[2].plan["rooms"]["room"]
    assert set(table["now"]) == {left}
    assert sorted(table["state"]) == ["merged", "merged", "stands"]


def test_what_is_gone_leads_nowhere():
    """A room that is no longer on any plan is gone, and its number kept on the list."""
    table, _ = table_of(
        season([*box(0, 0, 4, 3), *box(10, 0, 14, 3)], "2031"), season(box(0, 0, 4, 3), "2032")
    )
    gone = table[table["state"] == "gone"]
    assert len(gone) == 1
    assert gone["now"].tolist() == [""]


def test_numbers_of_others_lead_to_what_lies_there():
    """The old plan's 14 is the room at its place; its 15 lies on open ground."""
    rows = [
        GivenNumber(number=n, what="room", easting=x, northing=1, season="1986", series="plan")
        for n, x in (("14", 2.0), ("15", 50.0))
    ]
    table, steps = table_of(season(box(0, 0, 4, 3), "2031"), given=rows)
    (number,) = steps[0].plan["rooms"]["room"]
    assert (table.loc["14", "state"], table.loc["14", "now"]) == ("stands", number)
    assert (table.loc["15", "state"], table.loc["15", "now"]) == ("nothing there", "")
    assert list(table.reset_index()[list(contract.table_columns("concordance"))].columns)


def test_a_plan_of_nothing_has_no_numbers():
    """No rooms, no rows, and the columns are there."""
    table, _ = table_of(plan_of([]))
    assert len(table) == 0
    assert isinstance(plan_of([])["rooms"], gpd.GeoDataFrame)
