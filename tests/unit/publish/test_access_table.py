"""The table of how rooms were reached, and what the report says of it."""

import pandas as pd
import pytest
import shapely
from drawn import CRS
from report_site import card, houses, layer, plan, report, tree

from wrackline import contract
from wrackline.publish.access_table import access_table
from wrackline.publish.report_access import way_in, ways_through


def house(*doors, rooms=("R1", "R2"), building="B1"):
    """Return a plan of rooms and doors, each a text as "R1;outside seen"."""
    parts = [door.split(" ") for door in doors]
    rows = [
        {"opening": f"O{k}", "joins": joins, "evidence": evidence}
        for k, (joins, evidence) in enumerate(parts)
    ]
    line = shapely.LineString([(0, 0), (1, 0)])
    return {
        "rooms": layer(
            "rooms",
            [{"room": room, "building": building} for room in rooms],
            [shapely.box(0, 0, 4, 4)] * len(rooms),
        ),
        "openings": layer("openings", rows, [line] * len(rows)),
    }


def rows(plan, **options):
    """Return the table by room."""
    return access_table(plan, **options).set_index("room")


def test_the_contracts_fields():
    """The table has the contract's fields, a row a room in the order of their numbers."""
    found = access_table(house("R1;outside seen", rooms=("R2", "R1")))
    assert list(found.columns) == list(contract.table_columns("access"))
    assert found["room"].tolist() == ["R1", "R2"]


def test_figures_of_a_house_all_of_whose_doors_are_known():
    """Both doors seen: no range is open, and the inner room is a dead end behind the outer one."""
    found = rows(house("R1;outside seen", "R1;R2 seen"))
    assert found["doors_known_share"].tolist() == [1, 1]
    assert found["outlines"].tolist() == [1, 1]
    for end in ("low", "high"):
        assert found[f"steps_from_outside_{end}"].tolist() == [1, 2]
        # Control by Hillier and Hanson 1984, p. 109: 1/1 + 1/1 of the outer room, 1/2 of the inner.
        assert found[f"control_{end}"].tolist() == [2.0, 0.5]
        assert found[f"mean_steps_{end}"].tolist() == [1.0, 1.5]
    assert found["dead_end_share"].tolist() == [0, 1]


def test_too_few_doors_known_leaves_figures_out():
    """One seen of five: what was counted stays, every figure is empty and says why."""
    doors = ["R1;outside seen", "R1;R2 possible", *["R2;outside possible"] * 3]
    found = rows(house(*doors))
    assert found["openings_possible"].tolist() == [4, 4]
    assert found["doors_known_share"].tolist() == [0.2, 0.2]
    assert found["steps_from_outside_low"].isna().all()
    assert set(found["null_because"]) == {"all: 20% of the doors known, 25% needed"}
    assert rows(house(*doors), least_known=0.2)["steps_from_outside_low"].notna().all()


def test_rooms_of_no_building_have_a_row_and_a_reason():
    """A lane of no building is listed without figures."""
    found = rows(house("R1;outside seen", rooms=("R1",), building=None))
    assert found.loc["R1", "null_because"] == "all: it belongs to no building"
    assert found.loc["R1", "outlines"] is None


def test_a_site_without_rooms_has_an_empty_table():
    """No room, no row; the columns stay."""
    found = access_table({name: layer(name) for name in ("rooms", "openings")})
    assert len(found) == 0
    assert list(found.columns) == list(contract.table_columns("access"))


def test_a_site_without_openings_has_rooms_without_figures():
    """No opening is on the plan: each room stands with none of its doors known."""
    found = rows(house())
    assert found["openings_possible"].tolist() == [0, 0]
    assert set(found["null_because"]) == {"all: 0% of the doors known, 25% needed"}
    assert ways_through(found.reset_index().to_dict("records")).startswith("0 doors seen")


def test_null_is_explained_by_the_fields_names():
    """In a house of two rooms RRA has no published D: the reason names the table's own fields."""
    why = rows(house("R1;outside seen", "R1;R2 seen"))["null_because"]
    assert why.str.startswith("real_relative_asymmetry, integration:").all()
    assert not why.str.contains("mean_depth").any()


def test_doors_of_another_building_are_not_counted():
    """A door of the next building changes nothing."""
    one = house("R1;outside seen", "R1;R2 seen")
    two = house("R8;outside possible", rooms=("R8", "R9"), building="B2")
    both = {name: pd.concat([one[name], two[name]], ignore_index=True) for name in one}
    both["openings"]["opening"] = ["O0", "O1", "O2"]
    alone = rows(one)
    assert rows(both).loc[alone.index].equals(alone)


@pytest.mark.parametrize(
    ("doors", "told"),
    [
        (
            ["R1;outside seen", "R1;R2 possible"],
            "1 door seen, 1 opening possible: 2 plausible outlines; deepest in: R2, 2 doors "
            "from outside",
        ),
        (
            ["R1;outside seen", "R2;outside seen"],
            "2 doors seen, 0 openings possible: 1 plausible outline; all rooms lie 1 door "
            "from outside",
        ),
        (
            ["R1;outside possible"],
            "0 doors seen, 1 opening possible; too little to tell how rooms were reached "
            "(0% of the doors known, 25% needed)",
        ),
    ],
)
def test_words_for_a_building(doors, told):
    """What a building's card says is what was seen, how many outlines, and where that leads."""
    assert ways_through(access_table(house(*doors)).to_dict("records")) == told


def test_words_for_a_room():
    """Steps, dead end, rooms behind and doubt stand in words."""
    doors = ["R1;outside seen", "R1;R2 possible"]
    first, second = access_table(house(*doors)).to_dict("records")
    told = "1 door from outside; a dead end in 50 % of the plausible outlines"
    assert way_in(first) == f"{told}; 0 to 1 room only through it"
    assert way_in(second) == (
        "2 doors from outside; a dead end; entered in 50 % of the plausible outlines"
    )


def test_words_for_a_room_that_no_door_leads_to():
    """A room that no opening leads to says so; a room without a row says nothing."""
    cut = access_table(house("R1;outside seen")).to_dict("records")[1]
    assert way_in(cut) == "no known opening leads here from outside"
    assert way_in({}) == ""


def test_the_rooms_card_has_its_way_in():
    """The report's cards say how rooms were reached, from the table beside the plan."""
    drawn = plan()
    drawn["openings"]["evidence"] = "seen"
    page = tree(report(houses(plan=drawn, access=access_table(drawn))).html())
    assert card(page, "R007-002")["way in"] == "1 door from outside; a dead end"
    assert card(page, "R002-002")["way in"] == "no known opening leads here from outside"
    assert drawn["openings"].crs == CRS
