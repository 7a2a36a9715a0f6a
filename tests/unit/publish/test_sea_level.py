"""What structures say of the sea level of their time: limits, levels, and what is never used."""

import numpy as np
import pytest
import shapely
from drawn import box, items, plan_of, site
from pydantic import ValidationError

from wrackline.contract import table_columns
from wrackline.model import SeaLevelMark, Site, Years, for_measuring, for_placing
from wrackline.publish.sea_level import (
    INDEX,
    MARINE,
    NONE,
    TERRESTRIAL,
    sea_level_table,
    year_text,
)
from wrackline.uncertainty import ErrorModel, NamedError

MODEL = ErrorModel("2031-items", 0.05, 0.04)
QUAY = {"kind": "quay", "indication": "index", "lower_limit_m": 0.4, "upper_limit_m": 1.0}


def place(**more):
    """Return the drawn site, its level of depths 0.10 m above the datum, with further keys."""
    levels = [
        {"name": "msl", "height_m": 0.10, "sd_m": 0.01},
        {"name": "high", "height_m": 0.50, "sd_m": 0.02, "error_sources": ["gauge"]},
    ]
    sources = {"gauge": {"kind": "shift", "height_sd_m": 0.30}}
    base = site().model_dump() | {"sea_levels": levels, "error_sources": sources}
    return Site.model_validate(base | more)


def thing(kind, height=-1.2, *, at=(20.0, 20.0), origin="built"):
    """Return a feature of one point."""
    return {"kind": kind, "origin": origin, "geometry": shapely.Point(*at, height)}


def floor(height, *, at=(2.0, 2.0), evidence="excavated"):
    """Return a point at which a floor was met, by default inside the room drawn."""
    return {"evidence": evidence, "line": "F1", "geometry": shapely.Point(*at, height)}


def table(features=(), floors=(), *, where=None, model=MODEL):
    """Return the sea-level rows of one room of 4 by 4 m with features and floors, as dicts."""
    where = where or place()
    plan = plan_of(box(0, 0, 4, 4, -0.5), features=features, floors=floors, where=where)
    rows = sea_level_table(plan, items(floors), [model], where)
    assert list(rows.columns) == list(table_columns("sea_level"))
    return rows.to_dict("records")


@pytest.mark.parametrize("evidence", ["excavated", "threshold", "paving", "probe"])
def test_a_floor_that_was_met_bounds_the_level_and_gives_none(evidence):
    """A floor says at or below its own height, with how it was met; its row has no sea level."""
    (row,) = table(floors=[floor(-3.0, evidence=evidence)])
    assert row["indication"] == TERRESTRIAL
    assert row["statement"] == "sea level at or below -3.10 ± 0.04 m"
    assert (row["part_measured"], row["evidence"]) == (f"floor, {evidence}", evidence)
    assert row["sea_level_m"] is None
    assert row["reference_water_level_m"] is None


def test_a_room_whose_floor_was_not_met_says_nothing():
    """Neither the seabed in a room nor the tops of its walls stand for its floor: no row."""
    assert table() == []


def test_a_floor_met_in_no_room_stands_under_its_points_name():
    """A floor in the open is a row of its own, named after survey and point."""
    (row,) = table(floors=[floor(-3.0, at=(30.0, 30.0))])
    assert (row["structure"], row["room"]) == ("2031-items/F1", None)
    assert row["part_measured"] == "floor, excavated, in no room"


@pytest.mark.parametrize("kind", ["threshold", "Hearth", "grave", "paving", "bench", "street"])
def test_what_people_kept_dry_bounds_the_level_from_above(kind):
    """Kinds that stood above the sea are terrestrial limiting without a word in the config."""
    (row,) = table([thing(kind)])
    assert row["indication"] == TERRESTRIAL
    assert row["statement"] == "sea level at or below -1.30 ± 0.04 m"
    assert row["sea_level_m"] is None


def test_a_marine_limiting_kind_bounds_the_level_from_below():
    """What stood in the sea says at or above, and gives no level."""
    where = place(sea_level_marks=[{"kind": "fish trap", "indication": "marine"}])
    (row,) = table([thing("fish trap")], where=where)
    assert (row["indication"], row["sea_level_m"]) == (MARINE, None)
    assert row["statement"] == "sea level at or above -1.30 ± 0.04 m"


def test_an_index_point_gives_a_level_with_its_range():
    """A quay's top, in use 0.4 to 1.0 m above the sea and now at -1.3 m: the level was -2.0 m."""
    where = place(sea_level_marks=[{**QUAY, "part": "top as preserved", "basis": "invented"}])
    (row,) = table([thing("quay")], where=where)
    assert row["indication"] == INDEX
    assert row["reference_water_level_m"] == pytest.approx(0.7)
    assert row["indicative_range_m"] == pytest.approx(0.6)
    assert row["sea_level_m"] == pytest.approx(-2.0)
    assert row["sea_level_sd_m"] == pytest.approx(np.hypot(np.hypot(0.04, 0.01), 0.3))
    assert row["statement"] == "sea level at -2.00 ± 0.30 m"
    assert (row["part_measured"], row["meaning_basis"]) == ("top as preserved", "invented")


@pytest.mark.parametrize(
    ("origin", "reason"),
    [("natural", "it is natural"), ("modern", "it is modern"), ("doubtful", "is doubtful")],
)
def test_what_nobody_built_then_is_never_used(origin, reason):
    """Natural, modern and doubtful things say nothing, even of a kind that the config lists."""
    where = place(
        sea_level_marks=[QUAY], occupied={"from_year": 1, "to_year": 9, "basis": "invented"}
    )
    (row,) = table([thing("quay", origin=origin)], where=where)
    assert row["indication"] == NONE
    assert reason in row["null_because"]
    assert (row["sea_level_m"], row["from_year"], row["age_from"]) == (None, None, None)


def test_a_kind_that_is_not_listed_says_nothing_and_why():
    """Its functional height isn't stated; a near kind of the config is named, for slips."""
    where = place(sea_level_marks=[QUAY])
    jar, slip = table([thing("jar"), thing("quai", at=(40.0, 40.0))], where=where)
    assert jar["statement"] == "not used: its functional height isn't stated (sea_level_marks)"
    assert slip["null_because"].startswith(
        "its functional height isn't stated (sea_level_marks); the nearest kind there is 'quay'"
    )


def test_a_kind_that_says_nothing_does_so_in_the_teams_words():
    """Indication none gives the config's reason."""
    mark = {"kind": "cistern", "indication": "none", "basis": "fed by rain"}
    (row,) = table([thing("cistern")], where=place(sea_level_marks=[mark]))
    assert (row["indication"], row["statement"]) == (NONE, "not used: fed by rain")


def test_a_structure_without_heights_says_nothing():
    """Where no height was taken the row stays, without figures, and says so."""
    (row,) = table([thing("threshold", np.nan)])
    assert (row["indication"], row["height_m"], row["elevation_m"]) == (NONE, None, None)
    assert "height_m: no heights were taken on it" in row["null_because"]


def test_elevation_is_the_published_depth_the_other_way_up():
    """Elevation is minus the plan's depth, with the same uncertainty, for floors and features."""
    where = place(depths_below="high")
    things, floors = [thing("hearth", at=(1.0, 1.0))], [floor(-3.0), floor(-3.1, at=(3.0, 2.0))]
    plan = plan_of(box(0, 0, 4, 4, -0.5), features=things, floors=floors, where=where)
    met, hearth = sea_level_table(plan, items(floors), [MODEL], where).to_dict("records")
    for row, layer, name in ((met, "rooms", "floor"), (hearth, "features", "top")):
        published = plan[layer].iloc[0]
        assert row["elevation_m"] == pytest.approx(-published[f"{name}_depth_m"])
        assert row["elevation_sd_m"] == pytest.approx(published[f"{name}_depth_sd_m"])
    assert (hearth["room"], hearth["building"]) == (met["room"], met["building"])


def test_a_gauge_zero_that_both_rest_on_cancels_from_the_clearance():
    """Height over high water keeps the survey's and the level's own errors, not the common one."""
    model = ErrorModel("2031-items", 0.05, 0.04, named=(NamedError("gauge:height", "height", 0.3),))
    (row,) = table([thing("hearth")], where=place(high_water="high"), model=model)
    assert row["clearance_above_high_water_m"] == pytest.approx(-1.7)
    assert row["clearance_above_high_water_sd_m"] == pytest.approx(np.hypot(0.04, 0.02))
    assert row["height_sd_m"] == pytest.approx(np.hypot(0.04, 0.3))


def test_without_a_named_high_water_there_is_no_clearance():
    """The field is empty and says that the config names none."""
    (row,) = table([thing("hearth")])
    assert row["clearance_above_high_water_m"] is None
    assert "clearance_above_high_water_m: the config names no high_water" in row["null_because"]


def test_years_are_the_kinds_own_or_else_the_settlements():
    """A kind's years go before the settlement's; both are written as people write them."""
    occupied = {"from_year": -699, "to_year": 0, "basis": "sherds"}
    own = {**QUAY, "from_year": 10, "to_year": 20, "basis": "a coin"}
    where = place(occupied=occupied, sea_level_marks=[own])
    hearth, quay = table([thing("hearth"), thing("quay", at=(40.0, 40.0))], where=where)
    said = ("from_year", "to_year", "age_from", "age_to", "age_basis")
    assert [hearth[name] for name in said] == [-699, 0, "700 BCE", "1 BCE", "sherds"]
    assert [quay[name] for name in said] == [10, 20, "10 CE", "20 CE", "a coin"]


def test_there_is_no_year_nought_between_the_eras():
    """The year before 1 CE is 1 BCE: astronomical 0 (common practice, no source)."""
    assert [year_text(year) for year in (2, 1, 0, -1, None)] == [
        *("2 CE", "1 CE", "1 BCE", "2 BCE"),
        None,
    ]


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        ({"indication": "index"}, "an index needs lower_limit_m and upper_limit_m"),
        ({**QUAY, "lower_limit_m": 1.0}, "upper_limit_m 1 must lie above lower_limit_m 1"),
        ({"indication": "marine", "lower_limit_m": 0.0}, "belong to indication 'index' alone"),
        ({**QUAY, "kind": "Grave"}, "a Grave only says that the sea stood no higher"),
        ({**QUAY, "kind": "floor"}, "a floor only says that the sea stood no higher"),
        ({"indication": "marine", "kind": "floor"}, "only says that the sea stood no higher"),
        ({**QUAY, "from_year": 5}, "give both from_year and to_year"),
        ({**QUAY, "from_year": 5, "to_year": 4}, "to_year 4 lies before from_year 5"),
    ],
)
def test_a_mark_that_cannot_be_is_refused(slip, words):
    """Limits belong to an index, in order; floors and graves are never one; years in order."""
    with pytest.raises(ValidationError, match=words):
        SeaLevelMark.model_validate({"kind": "quay"} | slip)


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        ({"high_water": "hihg"}, "high_water names 'hihg'.*the nearest is 'high'"),
        ({"sea_level_marks": [QUAY, {**QUAY, "kind": "Quay"}]}, "has the kind 'quay' twice"),
    ],
)
def test_a_site_that_names_what_is_not_there_is_refused(slip, words):
    """High water is one of the levels, the nearest suggested; a kind stands once."""
    with pytest.raises(ValidationError, match=words):
        place(**slip)


def test_the_settlements_years_are_in_order():
    """An occupation that ends before it starts is refused."""
    with pytest.raises(ValidationError, match="to_year 1 lies before from_year 2"):
        Years(from_year=2, to_year=1, basis="invented")


@pytest.mark.parametrize("cut", [for_placing, for_measuring])
def test_earlier_steps_are_not_handed_what_only_the_summary_reads(cut):
    """A change of marks, years or high water re-runs no fit and no room."""
    occupied = {"from_year": 1, "to_year": 2, "basis": "x"}
    rich = place(high_water="high", sea_level_marks=[QUAY], occupied=occupied)
    assert cut(rich) == cut(place())
    assert Site.model_validate_json(cut(rich).model_dump_json()).high_water_level is None
