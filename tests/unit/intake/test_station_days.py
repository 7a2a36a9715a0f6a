"""Raw days of a total station: shots come out where they were, and every slip is named.

Days are made with known truth and seeded noise; heights of poles, counts of marks and sizes of
slips are common practice, no source.
"""

import datetime as dt

import numpy as np
import pytest
import shapely
from made_days import CRS, HEAD, Made, survey, usual_day

from wrackline.intake.items import read_items
from wrackline.intake.station_checks import skipped_numbers
from wrackline.model import ControlValue, Vertical
from wrackline.uncertainty import NamedError
from wrackline.verdict import Source


def errors_of(found, made):
    """Return errors of the found points, and what all stated sds together let expect."""
    xyz = shapely.get_coordinates(found.geometry, include_z=True)
    variance = np.tile(np.square([0.02, 0.02, 0.015]), (len(xyz), 1))
    for error in found.adjustment["errors"]:
        named = NamedError(**error | {"pivot": tuple(error["pivot"])})
        variance += named.displacement(xyz) ** 2
    truth = np.array([made.truth[point] for point in found.cells["point"]])
    return xyz - truth, np.sqrt(variance)


def only(problems, kind):
    """Return the one problem there is, of the kind that is expected, its four parts filled."""
    assert [fault.kind for fault in problems] == [kind]
    parts = (problems[0].found, problems[0].allowed, problems[0].consequence, problems[0].remedy)
    assert all(part.strip() for part in parts)
    return problems[0]


def test_a_day_without_noise_comes_back_to_a_tenth_of_a_millimetre(tmp_path):
    """Grid scale, curvature, refraction and heights of instrument and pole are all undone."""
    made = usual_day(noise=0.0, shots=50)
    found, problems = made.read(tmp_path)
    assert problems == []
    assert np.abs(errors_of(found, made)[0]).max() < 1e-4


def test_errors_are_as_large_as_stated(tmp_path):
    """Of 200 shots, the errors over their stated sds have an rms of 0.9 to 1.1."""
    made = usual_day(7, shots=200)
    found, problems = made.read(tmp_path)
    error, sd = errors_of(found, made)
    assert problems == []
    assert 0.9 < np.sqrt(np.mean((error / sd) ** 2)) < 1.1


def test_setups_are_off_by_as_much_as_stated(tmp_path):
    """The mean error of 80 days over its stated sd has an rms near 1."""
    ratio = []
    for seed in range(80):
        made = usual_day(seed, shots=20)
        error, sd = errors_of(made.read(tmp_path)[0], made)
        own = np.sqrt(sd**2 - np.square([0.02, 0.02, 0.015]) * (1 - 1 / 20))
        ratio.append(error.mean(axis=0) / own.mean(axis=0))
    assert 0.8 < np.sqrt(np.mean(np.square(ratio))) < 1.2


def turned(values, angle, shift):
    """Return control values turned clockwise about a place, and shifted."""
    c, s = np.cos(angle), np.sin(angle)
    out = []
    for value in values:
        east, north = value.easting - 324_400.0, value.northing - 4_207_600.0
        place = {
            "easting": 324_400.0 + c * east + s * north + shift[0],
            "northing": 4_207_600.0 - s * east + c * north + shift[1],
            "height": value.height + shift[2],
        }
        out.append(value.model_copy(update=place))
    return tuple(out)


def test_the_same_readings_on_moved_control_give_moved_points(tmp_path):
    """Control turned by 0.7 rad and shifted takes every point along, to a tenth of a mm."""
    made = usual_day(5)
    here, _ = made.read(tmp_path)
    shift = (3.0, -2.0, 1.0)
    there, _ = made.read(tmp_path, control=turned(made.control(), 0.7, shift))
    one, two = (shapely.get_coordinates(f.geometry, include_z=True) for f in (here, there))
    east, north = one[:, 0] - 324_400.0, one[:, 1] - 4_207_600.0
    c, s = np.cos(0.7), np.sin(0.7)
    expected = np.column_stack(
        [324_400.0 + c * east + s * north, 4_207_600.0 - s * east + c * north, one[:, 2]]
    )
    np.testing.assert_allclose(two, expected + np.array(shift), atol=1e-4)


def test_a_mark_that_moved_is_named_with_its_size(tmp_path):
    """A mark 0.3 m off among eight is named in 99 of 100 days or more, and no other mark."""
    right = 0
    for seed in range(100):
        made = usual_day(seed, shots=3)
        off = (0.3 * np.cos(seed), 0.3 * np.sin(seed), 0.0)
        _, problems = made.read(tmp_path, control=made.control(CP3=off))
        named = [fault for fault in problems if fault.kind == "control_misfit"]
        right += [fault.row for fault in named] == [5] and "'CP3'" in named[0].found
        size = float(named[0].found.split("sighted ")[1].split(" m")[0])
        assert size == pytest.approx(0.3, abs=0.12)
    assert right >= 99


def test_clean_days_are_not_accused(tmp_path):
    """Of 200 clean days with two setups and check shots, at most 2 % get any suspicion."""
    accused = 0
    for seed in range(200):
        made = usual_day(seed, shots=4)
        made.sight("shot", "CP2", made.marks["CP2"])
        made.station(None, name="CP1")
        made.backs("CP4", "CP6")
        made.shots(4, first=5)
        made.sight("shot", "CP5", made.marks["CP5"])
        accused += bool(made.read(tmp_path)[1])
    assert accused <= 4


def test_forgotten_prism_constants_are_named_and_no_mark_blamed(tmp_path):
    """Distances all 34.4 mm short, with marks and pole good to 5 mm, are a prism's constant."""
    made = Made(2, mark_sd=0.004, noise=0.3)
    made.station((4.0, -3.0, 2.0))
    made.backs(*made.marks)
    made.shots(5)
    for row in made.rows[1:]:
        row["slope_m"] = f"{float(row['slope_m']) - 0.0344:.4f}"
    found = only(made.read(tmp_path, random_horizontal_sd_m=0.006)[1], "prism_constant")
    assert "34.4" in found.remedy
    for row in made.rows[1:]:
        row["prism_constant_mm"] = "34.4"
    assert made.read(tmp_path, random_horizontal_sd_m=0.006)[1] == []


@pytest.mark.parametrize(("slip", "section"), [(-1.0, "1 m"), (0.5, "0.5 m")])
def test_pole_sections_show_at_check_shots(tmp_path, slip, section):
    """A check shot whose pole height is a section too small or large is named, with the section."""
    made = usual_day(4)
    made.sight("shot", "CP2", made.marks["CP2"])
    made.rows[-1]["target_height_m"] = f"{2.0 + slip:.3f}"
    found = only(made.read(tmp_path)[1], "pole_section")
    assert section in found.found
    assert found.row == len(made.rows) + 1


def test_a_check_shot_out_of_place_is_named(tmp_path):
    """A shot on a mark 0.4 m from it, by a knocked instrument, is named and is no item."""
    made = usual_day(4)
    made.sight("shot", "CP2", made.marks["CP2"] + np.array([0.4, 0.0, 0.0]))
    found, problems = made.read(tmp_path)
    only(problems, "check_shot_off")
    assert "CP2" not in set(found.cells["point"])


def test_a_wrong_instrument_height_is_named(tmp_path):
    """On a mark, an instrument height 1 m wrong stands against the back-sights' heights."""
    made = Made(1)
    made.station(None, name="CP1")
    made.backs("CP3", "CP5", "CP7")
    made.shots(3)
    made.rows[0]["instrument_height_m"] = "0.500"
    assert only(made.read(tmp_path)[1], "instrument_height_off").row == 2


def change(**cells):
    def slip(made):
        made.rows[12].update(cells)

    return slip


def drop(kind):
    def slip(made):
        made.rows[:] = [row for row in made.rows if row["kind"] != kind]

    return slip


def as_vertical(made):
    for row in made.rows[1:]:
        row["zenith_deg"] = f"{90 - float(row['zenith_deg']):.5f}"


def as_gon(made):
    for row in made.rows[1:]:
        row["circle_deg"] = f"{float(row['circle_deg']) / 0.9:.5f}"


def rename(made):
    made.rows[2]["point"] = "CQ2"


@pytest.mark.parametrize(
    ("slip", "kind", "row"),
    [
        (change(circle_deg="-3"), "circle_out_of_range", 14),
        (change(circle_deg="361"), "circle_out_of_range", 14),
        (change(zenith_deg="372"), "zenith_out_of_range", 14),
        (change(zenith_deg="3.2"), "zenith_not_vertical", 14),
        (as_vertical, "zenith_not_vertical", 3),
        (change(target_height_m=""), "target_height_missing", 14),
        (change(target_height_m="2000"), "target_height_out_of_range", 14),
        (change(slope_m=""), "reading_missing", 14),
        (change(kind="shoot"), "unknown_kind", 14),
        (drop("back_sight"), "back_sight_missing", 2),
        (drop("station"), "station_missing", 2),
        (drop("shot"), "no_shots", None),
        (rename, "unknown_mark", 4),
    ],
)
def test_faults_are_named_with_their_row(tmp_path, slip, kind, row):
    """Each slip that leaves nothing to reduce stops the survey, by one message with its row."""
    made = usual_day(6)
    slip(made)
    found, problems = made.read(tmp_path)
    assert found is None
    fault = only(problems, kind)
    assert (fault.severity, fault.row) == ("fault", row)


@pytest.mark.parametrize("name", ["kind", "slope_m", "target_height_m"])
def test_a_missing_column_is_one_fault(tmp_path, name):
    """A column that isn't there is said once, not once a row."""
    made = usual_day(6)
    made.head = [column for column in HEAD if column != name]
    for row in made.rows:
        row.pop(name, None)
    found, problems = made.read(tmp_path)
    assert found is None
    assert len(problems) == 1
    assert name in problems[0].found


def test_swapped_marks_are_both_named(tmp_path):
    """Two back-sights under each other's names are both named, with no pole to blame."""
    made = usual_day(6)
    made.rows[3]["point"], made.rows[5]["point"] = made.rows[5]["point"], made.rows[3]["point"]
    _, problems = made.read(tmp_path)
    assert {(fault.kind, fault.row) for fault in problems} == {
        ("control_misfit", 5),
        ("control_misfit", 7),
    }


def test_gon_is_told_from_degrees(tmp_path):
    """Circle readings up to 400 are one fault, not one a row."""
    made = usual_day(6, shots=60)
    as_gon(made)
    only(made.read(tmp_path)[1], "angles_in_gon")


def test_the_nearest_mark_is_suggested(tmp_path):
    """An unknown mark's message has the known name most like it."""
    made = usual_day(6)
    rename(made)
    assert "'CP2'" in only(made.read(tmp_path)[1], "unknown_mark").found


def test_a_pole_height_of_nought_among_others_is_doubted(tmp_path):
    """One target height of 0 among 2 m ones is a suspicion with its row."""
    made = usual_day(6)
    change(target_height_m="0")(made)
    assert only(made.read(tmp_path)[1], "target_height_zero").row == 14


def test_one_mark_lost_on_the_day_is_a_fault(tmp_path):
    """A mark lost on the first day and sighted on the second is a fault, on the first none."""
    made = usual_day(6)
    lost = {"to_date": dt.date(2031, 6, 1), "fate": "lost"}
    control = tuple(v.model_copy(update=lost) if v.point == "CP2" else v for v in made.control())
    for day, expected in (("2031-06-02T08:00", ["mark_not_valid"]), ("2031-06-01T08:00", [])):
        for row in made.rows:
            row["time"] = day
        assert [fault.kind for fault in made.read(tmp_path, control=control)[1]] == expected


def test_two_values_of_a_mark_need_the_day(tmp_path):
    """A mark that moved during the survey can't be used without a day of the sights."""
    made = usual_day(6)
    first = made.control()[1].model_copy(update={"to_date": dt.date(2031, 6, 1), "fate": "moved"})
    then = made.control()[1].model_copy(update={"from_date": dt.date(2031, 6, 2)})
    control = (*[v for v in made.control() if v.point != "CP2"], first, then)
    only(made.read(tmp_path, control=control)[1], "mark_ambiguous")


def test_one_back_sight_without_distance_is_unchecked(tmp_path):
    """Nothing would show a wrong mark; a check shot takes the doubt away."""
    made = Made(1)
    made.station(None, name="CP1")
    made.backs("CP3")
    made.rows[-1].update(slope_m="")
    made.shots(3)
    only(made.read(tmp_path)[1], "setup_unchecked")
    made.sight("shot", "CP5", made.marks["CP5"])
    assert made.read(tmp_path)[1] == []


def test_two_directions_dont_fix_a_free_station(tmp_path):
    """Two back-sights without distances are a fault; three are enough."""
    made = Made(1)
    made.station((4.0, -3.0, 2.0))
    made.backs("CP1", "CP4")
    for row in made.rows[1:]:
        row["slope_m"] = ""
    made.shots(3)
    only(made.read(tmp_path)[1], "setup_undetermined")


def test_directions_alone_place_a_free_station(tmp_path):
    """Five directions, one with a distance for the height, put the shots within their sds."""
    made = Made(1)
    made.station((4.0, -3.0, 2.0))
    made.backs("CP1", "CP3", "CP4", "CP6", "CP8")
    for row in made.rows[2:]:
        row["slope_m"] = ""
    made.shots(30)
    found, problems = made.read(tmp_path)
    error, sd = errors_of(found, made)
    assert problems == []
    assert np.abs(error / sd).max() < 5


def test_two_faces_are_averaged_and_a_slip_in_one_is_named(tmp_path):
    """A second face with the opposite error of collimation cancels it; 60 arc-seconds are named."""
    made = usual_day(6)
    for row in made.rows[1:]:
        circle, zenith = float(row["circle_deg"]), float(row["zenith_deg"])
        row.update(
            circle_deg=f"{circle + 0.003:.6f}",
            circle_2_deg=f"{(circle + 180 - 0.003) % 360:.6f}",
            zenith_deg=f"{zenith + 0.002:.6f}",
            zenith_2_deg=f"{360 - zenith + 0.002:.6f}",
        )
    plain, _ = usual_day(6).read(tmp_path)
    found, problems = made.read(tmp_path)
    assert problems == []
    both = [shapely.get_coordinates(f.geometry, include_z=True) for f in (plain, found)]
    np.testing.assert_allclose(*both, atol=1e-5)
    row = made.rows[12]
    row["circle_2_deg"] = f"{float(row['circle_2_deg']) + 60 / 3600:.6f}"
    assert only(made.read(tmp_path)[1], "faces_disagree").row == 14


def test_a_number_used_twice_and_one_skipped_are_named(tmp_path):
    """The second place of a name is named with the row of the first; so is a gap in a long run."""
    made = usual_day(6, shots=30)
    made.rows[20]["point"] = made.rows[14]["point"]
    _, problems = made.read(tmp_path)
    assert [fault.kind for fault in problems] == ["point_repeated", "numbers_skipped"]
    assert problems[0].row == 22
    assert "row 16" in problems[0].found


def test_gaps_that_are_the_rule_are_no_slips():
    """Every other number missing, or a new series of a hundred, is how the crew counts."""
    assert skipped_numbers([str(n) for n in range(0, 80, 2)]) == []
    assert skipped_numbers([str(n) for n in [*range(1, 30), *range(101, 130)]]) == []
    assert skipped_numbers([str(n) for n in [*range(1, 15), *range(16, 30), 15]]) == []


def test_shots_are_strung_into_lines_by_sequence(tmp_path):
    """Shots of a line come in the order of their sequence; a lone one is named and left out."""
    made = usual_day(6, shots=5)
    for row, (line, sequence) in zip(
        made.rows[9:], [("W1", 2), ("W1", 1), ("W2", 1), ("W2", 2), ("W3", 1)], strict=True
    ):
        row.update(line=line, sequence=sequence, evidence="seen")
    found, problems = made.read(tmp_path, holds="wall_lines")
    only(problems, "lone_point")
    assert found.cells["line"].tolist() == ["W1", "W2"]
    assert found.rows.tolist() == [12, 13]
    first = shapely.get_coordinates(found.geometry[0])
    assert np.hypot(*(first[0] - made.truth["2"][:2])) < 0.15


def test_control_above_other_zeros_is_refused(tmp_path):
    """Depths, or heights from another zero, can't come from control marks."""
    vertical = Vertical(meaning="depth_below_datum")
    _, problems = usual_day(6).read(tmp_path, vertical=vertical)
    only(problems, "heights_from_control")


def test_a_day_goes_through_intake(tmp_path):
    """Items, their place and the account of the setups arrive in the table and its verdict."""
    made = usual_day(6, shots=0)
    made.shots(20, evidence="paving")
    made.write(tmp_path)
    source = Source("2031-day", survey(), tmp_path, made.control())
    items, verdict = read_items(source, crs=CRS, origin=(324_300.0, 4_207_500.0))
    assert (len(items), verdict.faults, verdict.suspicions) == (20, [], [])
    setup = verdict.adjustment["setups"][0]
    assert setup["row"] == 2
    assert len(setup["back_sights"]) == 8
    assert {error["kind"] for error in verdict.adjustment["errors"]} == {
        "easting",
        "northing",
        "height",
        "rotation",
    }


def test_marks_without_height_leave_the_height_open(tmp_path):
    """A free station on marks without heights has no axis height, which is a fault."""
    made = usual_day(6)
    flat = tuple(
        ControlValue(point=v.point, easting=v.easting, northing=v.northing, sd_m=v.sd_m)
        for v in made.control()
    )
    only(made.read(tmp_path, control=flat)[1], "axis_height_unknown")
