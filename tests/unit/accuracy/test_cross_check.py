"""All checks together on seeded sites: slips are found and named, clean sites are left alone."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from cross_sites import ORIGIN, Made, accused, check, make, write
from cross_slips import SLIPS

from wrackline.accuracy import bed_cells
from wrackline.accuracy.cross_check import CheckedSurvey, cross_check
from wrackline.errors import fault_from_dict
from wrackline.model import ErrorSource, HeightLink

EVERYDAY = (
    "day's level 0.2 m",
    "swath 0.15 m too low",
    "tilt 0.1 m over the site",
    "walls 0.15 m off",
    "sign of heights",
    "feet",
    "an hour 0.25 m off",
    "a mark 0.3 m off",
    "axes swapped",
    "wrong zone",
    "same survey twice",
    "walls inside another",
)
BEDS = ("2031-swath", "2031-pole", "2032-swath")


def only(made: Made, *names: str) -> Made:
    """Return the site with some of its surveys alone."""
    return Made(
        made.site,
        {name: made.surveys[name] for name in names},
        {name: table for name, table in made.beds.items() if name in names},
        {name: shapes for name, shapes in made.items.items() if name in names},
        made.water,
    )


def lean(seed: int) -> Made:
    """Return a clean site with the soundings and one other survey of the bed, by turns."""
    made = make(seed)
    return only(made, "2031-soundings", BEDS[seed % 3], *made.items)


@pytest.mark.slow
def test_clean_sites_are_not_accused(tmp_path):
    """Of 20 sites whose errors are as stated, at most one gets any suspicion."""
    found = [accused(check(lean(seed), tmp_path)) for seed in range(20)]
    assert sum(map(bool, found)) <= 1, found


@pytest.mark.parametrize("name", EVERYDAY)
def test_slip_is_found(name, tmp_path):
    """A slip planted in a site is found; of two surveys of walls, the newer is named."""
    slip = SLIPS[name]
    assert slip.found in accused(check(slip.plant(make(1)), tmp_path))


@pytest.mark.slow
@pytest.mark.parametrize("name", list(SLIPS))
def test_slip_is_found_nine_times_in_ten(name, tmp_path):
    """Each slip is found in 9 of 10 sites or more; of two surveys of walls, the newer is named."""
    slip = SLIPS[name]
    found = [slip.found in accused(check(slip.plant(make(seed)), tmp_path)) for seed in range(10)]
    assert sum(found) >= 9, np.flatnonzero(~np.array(found))


def test_what_is_found_can_be_acted_on(tmp_path):
    """A suspicion has four parts, the survey's file, a place on the site and its depth."""
    result = check(SLIPS["an hour 0.25 m off"].plant(make(2)), tmp_path)
    fault = fault_from_dict(json.loads(json.dumps(result))["suspicions"][0])
    assert fault.kind == "block_off"
    assert fault.severity == "suspicion"
    assert fault.file == "soundings.csv"
    assert "too low" in fault.found
    assert "2031-06-12T06:" in fault.found
    assert all([fault.allowed, fault.consequence, fault.remedy])
    assert np.abs(np.array(fault.place) - ORIGIN - [50, 40]).max() < 60
    assert 0 < fault.depth_m < 7


def test_size_sign_and_sd_are_told(tmp_path):
    """A swath set 0.2 m too low is said to be about that much too low, within three sds."""
    made = make(3)
    low = made.with_bed("2031-swath", v=made.beds["2031-swath"]["v"] - 0.2)
    (fault,) = check(low, tmp_path)["suspicions"]
    size, rest = fault["found"].split(" m too low (sd ")
    sd = float(rest.split(" m)")[0])
    assert abs(float(size) - 0.2) < 3 * sd < 0.15


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        pytest.param({}, ["2031-walls"], id="total station, nothing stated"),
        pytest.param({"pole_width_m": 0.05}, [], id="stated"),
        pytest.param({"line_follows": "centre"}, [], id="no faces"),
        pytest.param({"technique": "tapes between nails"}, [], id="no pole"),
        pytest.param(
            {"technique": "traced off photographs, targets on poles"}, [], id="photographs"
        ),
        pytest.param({"old_plan": True}, [], id="old plan"),
    ],
)
def test_faces_traced_by_a_pole_of_unstated_width_are_named(changes, named, tmp_path):
    """A survey of faces whose technique names a pole must say how wide it was, 0 included."""
    made = make(1).with_survey("2031-walls", **{"pole_width_m": None, **changes})
    found = check(made, tmp_path)["suspicions"]
    mine = [fault for fault in found if fault["kind"] == "pole_width_unstated"]
    assert [fault["survey"] for fault in mine] == named
    assert all("state pole_width_m" in fault["remedy"] for fault in mine)


def test_accepted_kind_stands_apart(tmp_path):
    """A kind that the survey's config accepts is listed as accepted, with the reason."""
    made = SLIPS["walls 0.15 m off"].plant(make(1))
    made = made.with_survey("2032-walls", accepted={"survey_shift": "seen on the spot"})
    result = check(made, tmp_path)
    assert result["suspicions"] == []
    assert [fault["remedy"] for fault in result["accepted"]] == ["accepted: seen on the spot"]


def test_order_of_surveys_and_rows_does_not_matter(tmp_path):
    """Surveys in another order give the same suspicions."""
    surveys = write(SLIPS["tilt 0.1 m over the site"].plant(make(1)), tmp_path)
    site = make(1).site
    assert cross_check(surveys, site) == cross_check(surveys[::-1], site)


def test_surveys_that_cannot_be_used_are_passed_over(tmp_path):
    """An empty table, a lost water record or an unknown CRS is no matter for these checks."""
    made = make(1)
    made = replace(made, beds={**made.beds, "2031-swath": made.beds["2031-swath"].iloc[:0]})
    made = made.with_survey("2031-pole", crs="EPSG:999999")
    surveys = write(replace(made, items={**made.items, "2031-walls": []}), tmp_path)
    (tmp_path / "gauge.csv").unlink()
    result = cross_check(surveys, made.site)
    assert result["suspicions"] == []
    assert result["pairs"] == []


@pytest.mark.parametrize("name", ["2031-soundings", "2031-swath", "2031-walls", "2032-floors"])
def test_lone_survey_is_not_accused(name, tmp_path):
    """A survey with nothing to hold it against is left alone."""
    assert check(only(make(4), name), tmp_path)["suspicions"] == []


def test_no_survey_at_all():
    """Without surveys there is nothing to say."""
    found = cross_check([], make(1).site)
    assert found == {"faults": [], "suspicions": [], "accepted": [], "pairs": []}


def test_walls_ashore_and_new_ground_are_no_fault(tmp_path):
    """Walls well above the sea, where nobody sounded, and a survey 300 m off, are honest."""
    made = make(5)
    ashore = made.with_items("2031-walls", lambda xyz: xyz + np.array([0.0, 150.0, 9.0]))
    away = ashore.with_bed("2031-pole", x=made.beds["2031-pole"]["x"] + 300.0)
    assert accused(check(away, tmp_path)) == []


def test_true_height_of_zero_is_no_fault(tmp_path):
    """A bed that lies at 0.000 m, as flats do, is neither of wrong sign nor in another unit."""
    made = make(6)
    level = np.median(made.beds["2031-swath"]["v"])
    raised = made
    for name in ("2031-swath", "2031-pole", "2032-swath"):
        raised = raised.with_bed(name, v=made.beds[name]["v"] - level)
    assert accused(check(only(raised, *BEDS), tmp_path)) == []


@pytest.mark.parametrize(
    ("name", "kind"), [("2031-soundings", "wrong_sign"), ("2031-swath", "wrong_sign")]
)
def test_lone_sounded_bed_above_the_water(name, kind, tmp_path):
    """Sounded ground above the sea, or negative depths, has the wrong sign, others or not."""
    made = only(make(7), name)
    flipped = made.with_bed(name, v=-made.beds[name]["v"])
    assert accused(check(flipped, tmp_path)) == [f"{name} {kind}"]


def test_laser_from_the_air_may_meet_dry_ground(tmp_path):
    """A laser is a beam, yet no sounder: heights above the water are honest."""
    made = only(make(7), "2031-swath")
    dry = made.with_bed("2031-swath", v=-made.beds["2031-swath"]["v"])
    dry = dry.with_survey("2031-swath", technique="airborne laser beam")
    assert accused(check(dry, tmp_path)) == []


def test_lone_bed_at_an_absurd_level(tmp_path):
    """Depths of some thousand metres, as of millimetres, are asked about without other surveys."""
    made = only(make(7), "2031-swath")
    deep = made.with_bed("2031-swath", v=1000.0 * made.beds["2031-swath"]["v"])
    assert accused(check(deep, tmp_path)) == ["2031-swath level_absurd"]


def test_named_errors_of_an_adjustment_count(tmp_path):
    """An offset that an adjustment's own named error explains is no suspicion."""
    made = SLIPS["walls 0.15 m off"].plant(make(1))
    errors = [{"name": f"station:{k}", "kind": k, "sd": 0.2} for k in ("easting", "northing")]
    surveys = [
        replace(one, adjustment={"errors": errors}) if one.name == "2032-walls" else one
        for one in write(made, tmp_path)
    ]
    assert accused(cross_check(surveys, made.site)) == []


def test_own_uncertainty_of_a_file_counts(tmp_path):
    """An offset within what the file says of its own uncertainty is no suspicion."""
    made = SLIPS["swath 0.15 m too low"].plant(make(1))
    assert accused(check(made.with_bed("2031-swath", sd=0.12), tmp_path)) == []


def test_floors_above_the_bed(tmp_path):
    """Floors met under the deposit that lie half a metre above the bed beside are asked about."""
    made = make(8).with_items("2032-floors", lambda xyz: xyz + np.array([0.0, 0.0, 1.3]))
    assert "2032-floors floor_above_bed" in accused(check(made, tmp_path))


def test_many_points_stay_as_few_cells(tmp_path):
    """Points are summed chunk by chunk: as many rows as cells and runs stay, however many come."""
    made = only(make(1), "2031-swath")
    table = pd.concat([made.beds["2031-swath"]] * 60, ignore_index=True)
    (one,) = write(replace(made, beds={"2031-swath": table}), tmp_path)
    model = bed_cells.ErrorModel("2031-swath", 0.03, 0.03)
    bed = bed_cells.read_bed_cells(one.source, one.table, made.site, model)
    assert bed.cells["n"].sum() == len(table)
    assert len(bed.cells) <= 61 * 46
    assert len(bed.runs) <= len(bed.cells) * bed_cells.RUNS


def test_two_surveys_that_disagree_leave_it_open(tmp_path):
    """Where only two surveys meet, the message says that either may be off."""
    made = only(SLIPS["swath 0.15 m too low"].plant(make(1)), "2031-swath", "2031-pole")
    made = made.with_bed("2031-pole", v=made.beds["2031-pole"]["v"] + 0.2)
    (fault,) = check(made, tmp_path)["suspicions"]
    assert "either of the two" in fault["found"]


def test_walls_sign(tmp_path):
    """Walls as far above the datum as the bed lies below it have the wrong sign."""
    made = make(9).with_items("2031-walls", lambda xyz: xyz * [1.0, 1.0, -1.0])
    assert "2031-walls wrong_sign" in accused(check(made, tmp_path))


def test_checked_survey_knows_its_kind(tmp_path):
    """A grid of the bed is of the bed, a line isn't; its source names its file."""
    made = make(1)
    one = CheckedSurvey("2031-swath", made.surveys["2031-swath"], tmp_path / "a", tmp_path)
    assert one.is_bed
    assert one.source.path == tmp_path / "swath.csv"
    assert not replace(one, survey=made.surveys["2031-walls"]).is_bed
    assert shapely.is_valid(made.items["2031-walls"][0])


def test_a_forgotten_gauge_zero_is_named(tmp_path):
    """A record that reads 1.85 m at the datum, its zero left at 0: the sea stands too high."""
    made = make(1)
    survey = made.surveys["2031-soundings"]
    zero = survey.vertical.model_copy(update={"water_level_zero_m": 0.0})
    made.surveys["2031-soundings"] = survey.model_copy(update={"vertical": zero})
    assert "2031-soundings gauge_zero" in accused(check(made, tmp_path))


def test_a_survey_that_cant_be_placed_is_a_fault_of_the_check(tmp_path):
    """A geoid grid that isn't there stops the check, with the survey's name; others go on."""
    made = only(make(1), "2031-swath", "2031-soundings")
    link = HeightLink(zero="ellipsoid", geoid_grid="none.tif", error_source="geoid")
    source = ErrorSource(kind="shift", height_sd_m=0.02)
    sources = {**made.site.error_sources, "geoid": source}
    made = replace(
        made, site=made.site.model_copy(update={"height_links": [link], "error_sources": sources})
    )
    survey = made.surveys["2031-swath"]
    zero = survey.vertical.model_copy(update={"zero": "ellipsoid"})
    made.surveys["2031-swath"] = survey.model_copy(update={"vertical": zero})
    faults = check(made, tmp_path)["faults"]
    assert [(fault["survey"], fault["kind"]) for fault in faults] == [
        ("2031-swath", "geoid_grid_unreadable")
    ]
