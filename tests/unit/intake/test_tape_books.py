"""Tape books: what is drawn from them, and what is said of broken ones."""

import datetime as dt
import json
from dataclasses import replace

import numpy as np
import pytest
import shapely
from made_tapes import (
    BOOK,
    COMPASS,
    CRS,
    DAY,
    DECLINATION,
    DEPTHS,
    HEAD,
    MARKS,
    ORIGIN,
    PLACES,
    SCALE,
    TAPES,
    WALLS,
    compass,
    control,
    depth,
    drawn,
    magnetic,
    offset,
    span,
    tape,
)

from wrackline.intake.tapes import read_tape
from wrackline.model import Columns, Survey, Vertical
from wrackline.uncertainty import NamedError
from wrackline.verdict import Problems, Source


def read(folder, rows, *, marks=MARKS, head=HEAD, meaning="depth_below_datum", zero=0.0, **more):
    """Return what a tape book holds, and its problems."""
    (folder / "tapes.csv").write_text("\n".join([head, *rows]) + "\n")
    survey = Survey(
        name="tapes",
        technique="tape and snorkel",
        file="tapes.csv",
        form="tape",
        crs=more.pop("crs", CRS),
        from_date=DAY,
        to_date=DAY + dt.timedelta(days=3),
        vertical=Vertical(meaning=meaning, datum_height_m=zero),
        random_horizontal_sd_m=0.02,
        random_vertical_sd_m=0.03,
        **{"holds": "wall_lines", **more},
    )
    problems = Problems()
    source = Source("2029-tapes", survey, folder, control(*marks))
    return read_tape(source, problems), problems.listed()


def kinds(faults):
    return [fault.kind for fault in faults]


def the_one(faults, kind, severity="fault"):
    """Return the only fault there is, which must be of a kind."""
    assert [(fault.kind, fault.severity) for fault in faults] == [(kind, severity)]
    return faults[0]


def in_book(row, rows=BOOK):
    """Return the file's row of a row of the book."""
    return rows.index(row) + 2


def test_line_through_points_in_three_dimensions(tmp_path):
    """A clean book draws its wall through the true places, depths positive down, unaccused."""
    found, faults = read(tmp_path, BOOK)
    assert faults == []
    assert found.seen == len(BOOK)
    assert found.cells["line"].to_list() == ["north wall"]
    assert found.rows.tolist() == [in_book(drawn("W1", "W2")[0])]
    xyz = shapely.get_coordinates(found.geometry[0], include_z=True)
    truth = [(*(np.array(PLACES[w][:2]) + ORIGIN), -PLACES[w][2]) for w in WALLS]
    assert xyz == pytest.approx(np.array(truth), abs=0.003)


def test_heights_up_from_another_zero(tmp_path):
    """Where the file counts up from a zero 1.5 m above the datum, so does what is handed on."""
    rows = [*TAPES, *(depth(w, PLACES[w][2] - 1.5) for w in WALLS), *drawn("W1", "W3")]
    found, faults = read(tmp_path, rows, meaning="height", zero=1.5)
    assert faults == []
    xyz = shapely.get_coordinates(found.geometry[0], include_z=True)
    assert xyz[:, 2] == pytest.approx([-6.5, -8.0], abs=0.003)
    heights = {p["point"]: p["height"] for p in found.adjustment["points"]}
    assert heights["W1"] == pytest.approx(-5.0, abs=0.003)


def test_tapes_are_not_taken_for_level(tmp_path):
    """A mark 2 m above the wall: a level length of 6.41 m is 0.31 m short of the slope."""
    level = float(np.hypot(*np.subtract(PLACES["A"], PLACES["W1"])[:2])) / SCALE
    assert span("A", "W1") - level == pytest.approx(0.305, abs=0.001)
    rows = [tape("A", "W1", level) if row == tape("A", "W1") else row for row in BOOK]
    _, faults = read(tmp_path, rows)
    fault = the_one(faults, "tape_misfit", "suspicion")
    assert fault.row == 2
    assert "-0.31 off" in fault.found


def test_points_by_offsets_depths_and_bearings(tmp_path):
    """Offsets to both sides and bearings with a tape place points that tapes alone don't."""
    rows = [
        *(offset("A", "B", w) for w in ("W1", "W2", "W4")),
        compass("C", "W3"),
        tape("C", "W3"),
        *DEPTHS,
    ]
    found, faults = read(tmp_path, rows, holds="features", marks=("A", "B", "C"))
    assert faults == []
    assert found.cells["line"].to_list() == ["W1", "W2", "W4", "W3"]
    assert found.rows.tolist() == [2, 3, 4, 5]
    for shape, name in zip(found.geometry, ("W1", "W2", "W4", "W3"), strict=True):
        assert (shape.x, shape.y) == pytest.approx(PLACES[name][:2] + ORIGIN, abs=0.005)
        assert shape.z == pytest.approx(-PLACES[name][2], abs=0.005)


def test_offsets_right_are_positive(tmp_path):
    """Walking north along a base line, a point to the east lies at a positive offset."""
    rows = ["offset,A,D,5.0,,8.0,P,,", "depth,P,,4.0,,,,,", "distance,A,D,16.102,,,,,"]
    found, _ = read(tmp_path, rows, holds="features", marks=("A", "D"))
    assert found.geometry[0].x > PLACES["A"][0] + ORIGIN[0] + 4.9


def test_lines_part_where_rows_do_not_go_on(tmp_path):
    """Rows of one line that don't follow each other are two parts; lines may be mixed."""
    rows = [
        *TAPES,
        *DEPTHS,
        *drawn("W1", "W2"),
        *drawn("W2", "W3", line="east wall"),
        *drawn("W3", "W4"),
    ]
    found, faults = read(tmp_path, rows)
    assert faults == []
    assert found.cells["line"].to_list() == ["north wall", "north wall", "east wall"]


def test_attributes_come_from_the_first_row_of_a_line(tmp_path):
    """A kind or a thickness stands with the first row of its line."""
    rows = [row + "," for row in [*TAPES, *DEPTHS]]
    rows += [row + note for row, note in zip(drawn("W1", "W2", "W3"), (",0.45", ","), strict=True)]
    found, _ = read(tmp_path, rows, head=HEAD + ",thickness_m")
    assert found.cells["thickness_m"].to_list() == ["0.45"]


def test_trench_outlines_are_closed(tmp_path):
    """The outline of a trench comes back to its first corner."""
    found, _ = read(tmp_path, BOOK, holds="trench_outlines")
    assert found.geometry[0].is_closed


def test_without_heights_everything_is_level(tmp_path):
    """With vertical.meaning 'none' the plan is adjusted alone and heights are unknown."""
    flat = {name: (*place[:2], 0.0) for name, place in PLACES.items()}
    rows = [
        f"distance,{a},{b},{np.linalg.norm(np.subtract(flat[b], flat[a])) / SCALE:.3f},,,,,"
        for a in MARKS
        for b in WALLS
    ]
    found, faults = read(tmp_path, [*rows, *drawn("W1", "W2")], meaning="none")
    assert faults == []
    assert np.isnan(shapely.get_coordinates(found.geometry[0], include_z=True)[:, 2]).all()
    assert found.adjustment["points"][0]["height"] is None
    assert "height" not in {error["kind"] for error in found.adjustment["errors"]}


def test_account_is_json_and_names_the_datum(tmp_path):
    """The account can be written as JSON; its errors are what NamedError takes."""
    found, _ = read(tmp_path, BOOK)
    account = json.loads(json.dumps(found.adjustment, allow_nan=False))
    errors = [NamedError(**error) for error in account["errors"]]
    assert [error.name for error in errors] == [
        f"2029-tapes:tape_datum_{kind}" for kind in ("easting", "northing", "height", "rotation")
    ]
    assert errors[0].sd == pytest.approx(0.005)
    assert {p["point"] for p in account["points"]} == set(PLACES)
    assert [r["row"] for r in account["residuals"] if r["row"]] == list(range(2, 30))
    assert account["s0"] < 0.2


def test_gross_error_is_named_with_row_points_and_slip(tmp_path):
    """A tape read one metre too long: row, both points, size, and the likely slip."""
    wrong = tape("B", "W3", span("B", "W3") + 1)
    rows = [wrong if row == tape("B", "W3") else row for row in BOOK]
    found, faults = read(tmp_path, rows)
    fault = the_one(faults, "tape_misfit", "suspicion")
    assert fault.row == in_book(wrong, rows)
    for part in ("'B' to 'W3'", "+1.0", "a slip of 1 whole metre?"):
        assert part in fault.found
    assert fault.place == pytest.approx(ORIGIN + np.array([120.0, 106.5]), abs=0.01)
    told = [r for r in found.adjustment["residuals"] if r["rejected"]]
    assert [r["row"] for r in told] == [fault.row]
    assert told[0]["residual"] == pytest.approx(1.0, abs=0.01)


def test_exchanged_digits_are_recognised(tmp_path):
    """A tape of 15.xx written as 51.xx is told as digits exchanged."""
    right = f"{span('D', 'W3'):.2f}"
    wrong = tape("D", "W3", float(right[1] + right[0] + right[2:]))
    rows = [wrong if row == tape("D", "W3") else row for row in BOOK]
    _, faults = read(tmp_path, rows)
    fault = the_one(faults, "tape_misfit", "suspicion")
    assert f"digits exchanged, for {right}" in fault.found


def test_depth_that_fits_not_is_told_in_its_own_sense(tmp_path):
    """A depth written 10 m too deep is named as such, with its sign."""
    rows = [depth("W2", 16.0) if row == depth("W2") else row for row in BOOK]
    _, faults = read(tmp_path, rows)
    assert "depth of 'W2': 16.00 m" in faults[0].found
    assert "+10." in faults[0].found


def test_mark_that_moved_is_named(tmp_path):
    """A mark half a metre beside where the measures put it is named, not the tapes to it."""
    read(tmp_path, BOOK)
    moved = [replace_mark(mark, "C", 0.5) for mark in control(*MARKS)]
    problems = Problems()
    read_tape(replace(source_of(tmp_path), control=tuple(moved)), problems)
    fault = the_one(problems.listed(), "mark_misfit", "suspicion")
    assert "easting of mark 'C'" in fault.found


def replace_mark(mark, name, east):
    if mark.point != name:
        return mark
    return mark.model_copy(update={"easting": mark.easting + east})


def source_of(folder):
    """Return the source of the book that stands in a folder."""
    survey = Survey(
        name="tapes",
        technique="tape",
        holds="wall_lines",
        file="tapes.csv",
        form="tape",
        crs=CRS,
        from_date=DAY,
        to_date=DAY,
        vertical=Vertical(meaning="depth_below_datum"),
        random_horizontal_sd_m=0.02,
        random_vertical_sd_m=0.03,
    )
    return Source("2029-tapes", survey, folder, control(*MARKS))


def test_bearings_fit_with_declination_and_convergence(tmp_path):
    """Magnetic bearings, some 9 degrees off the grid, leave next to no residuals."""
    assert abs(DECLINATION) > 5
    found, faults = read(tmp_path, [*BOOK, *COMPASS])
    assert faults == []
    rays = [r["residual"] for r in found.adjustment["residuals"] if r["measure"] == "bearing"]
    assert np.abs(rays).max() < 0.1


def test_reversed_bearing(tmp_path):
    """A bearing taken the way back is named."""
    wrong = compass("A", "W2", (magnetic("A", "W2") + 180) % 360)
    rows = [*BOOK, *(wrong if row == compass("A", "W2") else row for row in COMPASS)]
    _, faults = read(tmp_path, rows)
    assert the_one(faults, "bearing_reversed").row == in_book(wrong, rows)


@pytest.mark.parametrize(
    ("factor", "words"), [(1, "already"), (-1, "the wrong way"), (2, "twice already")]
)
def test_declination_brought_in_by_hand(tmp_path, factor, words):
    """Bearings to which the declination was applied beforehand are told from the tapes."""
    rows = [
        compass(a, b, (magnetic(a, b) + factor * DECLINATION) % 360)
        for a in ("A", "B")
        for b in WALLS
    ]
    _, faults = read(tmp_path, [*BOOK, *rows])
    assert words in the_one(faults, "declination_twice").found


def test_iron_near_the_compass(tmp_path):
    """Bearings that are all 5 degrees too great, which is no declination, are a suspicion."""
    rows = [compass(a, b, (magnetic(a, b) + 5) % 360) for a in ("A", "B") for b in WALLS]
    found, faults = read(tmp_path, [*BOOK, *rows])
    assert "+5.0 degrees" in the_one(faults, "compass_off", "suspicion").found
    assert found is not None


@pytest.mark.parametrize(
    ("factor", "words"), [(1 / 0.3048, "feet read as metres"), (0.3048, "metres read as feet")]
)
def test_tapes_in_another_unit(tmp_path, factor, words):
    """Tapes in feet among marks in metres are one fault, not a heap of misfits."""
    rows = [
        tape(*row.split(",")[1:3], float(row.split(",")[3]) * factor)
        if row.startswith("distance")
        else row
        for row in BOOK
    ]
    _, faults = read(tmp_path, rows)
    assert words in the_one(faults, "scale_wrong").found


def test_tapes_in_feet_as_configured(tmp_path):
    """With unit: foot the same tapes draw the same wall."""
    rows = [
        tape(*row.split(",")[1:3], float(row.split(",")[3]) / 0.3048)
        if row.startswith("distance")
        else row
        for row in BOOK
    ]
    found, faults = read(tmp_path, rows, unit="foot")
    assert faults == []
    first = shapely.get_coordinates(found.geometry[0])[0]
    assert first == pytest.approx(PLACES["W1"][:2] + ORIGIN, abs=0.003)


def test_stretched_tape(tmp_path):
    """A tape that reads 1.5 % too long is a suspicion, with the scale that the marks tell."""
    rows = [
        tape(*row.split(",")[1:3], float(row.split(",")[3]) * 1.015)
        if row.startswith("distance")
        else row
        for row in BOOK
    ]
    _, faults = read(tmp_path, rows)
    assert "1.015" in the_one(faults, "tape_stretch", "suspicion").found


def test_two_tapes_leave_the_side_open(tmp_path):
    """A point from two marks alone fits on both sides, until a third tape."""
    rows = [tape("A", "W1"), tape("B", "W1"), depth("W1")]
    _, faults = read(tmp_path, rows, holds="features", marks=("A", "B", "C"))
    assert "on the other side" in the_one(faults, "mirror_ambiguous", "suspicion").found
    _, faults = read(tmp_path, [*rows, tape("C", "W1")], holds="features", marks=("A", "B", "C"))
    assert faults == []


def test_point_with_too_few_measures(tmp_path):
    """A point with one tape and no depth is named with what is missing and what would help."""
    _, faults = read(tmp_path, [*BOOK, tape("A", "W1").replace("W1", "W7")])
    fault = the_one(faults, "point_undetermined")
    assert "'W7' lacks 1 measure in plan and a height" in fault.found
    assert "its depth" in fault.remedy


def test_misspelt_point_is_guessed(tmp_path):
    """A point that only lines know, spelt almost as another, brings that other to mind."""
    rows = [row.replace("W1", "wall1") for row in BOOK[:-3]] + drawn("wal1", "W2", "W3")
    _, faults = read(tmp_path, rows)
    fault = the_one(faults, "point_undetermined")
    assert "is 'wall1' meant?" in fault.remedy
    assert fault.row == in_book(rows[-2], rows)


def test_points_that_hang_on_no_mark(tmp_path):
    """Points tied to each other alone are named, each."""
    ends = ("X1", "X2", "X3", "X4")
    extra = [f"distance,{a},{b},5.0,,,," for k, a in enumerate(ends) for b in ends[:k]]
    extra += [f"depth,{a},,4.0,,,," for a in ends]
    _, faults = read(tmp_path, [*BOOK, *(row + "," for row in extra)])
    assert kinds(faults) == ["point_undetermined"] * 4
    assert "hangs on no mark" in faults[0].found


@pytest.mark.parametrize("marks", [(), ("A",)])
def test_too_few_marks(tmp_path, marks):
    """With less than two marks nothing ties the measures to the site."""
    _, faults = read(tmp_path, BOOK, marks=marks)
    assert f"{len(marks)} of the book's points" in the_one(faults, "tape_control").found


@pytest.mark.parametrize(
    ("row", "kind", "part"),
    [
        ("distanse,A,W1,5.0,,,,,", "unknown_measure", "distance"),
        ("distance,A,W1,-5.0,,,,,", "bad_distance", "-5"),
        ("distance,A,W1,0,,,,,", "bad_distance", "0 m"),
        ("distance,A,A,5.0,,,,,", "same_point", "'A'"),
        ("distance,A,W1,,,,,,", "tape_cell_missing", "value_m"),
        ("distance,A,,5.0,,,,,", "tape_cell_missing", "without to"),
        ("distance,A,W1,5 m,,,,,", "no_number", "5 m"),
        ("distance,A,W1,5.0,0,,,,", "bad_sd", "'0'"),
        ("offset,A,B,2.0,,,W1,,", "tape_cell_missing", "along_m"),
        ("offset,A,B,2.0,,3.0,,,", "tape_cell_missing", "point"),
        ("line,W1,W2,,,,,,", "tape_cell_missing", "without line"),
        ("bearing,A,W1,400,,,,,", "bad_bearing", "400"),
        ("bearing,A,W1,40,,,,,9/6/29", "bad_date", "9/6/29"),
        ("bearing,A,W1,40,,,,,2129-06-09", "no_declination", "2129"),
        ("depth,W1,,7.5,,,,,", "depth_twice", "7.50"),
    ],
)
def test_bad_rows_are_named(tmp_path, row, kind, part):
    """Whatever is wrong with a row is one fault that cites it."""
    found, faults = read(tmp_path, [*BOOK, row])
    assert found is None
    fault = the_one(faults, kind)
    assert fault.row == len(BOOK) + 2
    assert part in " ".join((fault.found, fault.remedy))


def test_depths_without_a_meaning(tmp_path):
    """A depth where the config says that there are no heights is a fault."""
    _, faults = read(tmp_path, BOOK, meaning="none")
    assert set(kinds(faults)) == {"depth_unasked"}


def test_crs_in_degrees(tmp_path):
    """Marks in metres can't be used with a CRS in degrees."""
    _, faults = read(tmp_path, BOOK, crs="EPSG:4326")
    the_one(faults, "tape_crs")


def test_lines_are_needed_for_walls(tmp_path):
    """A survey of walls without a row of measure 'line' draws nothing, and is told so."""
    _, faults = read(tmp_path, [*TAPES, *DEPTHS])
    the_one(faults, "no_tape_lines")


def test_bearings_in_a_column_of_their_own(tmp_path):
    """Bearings may stand in a column `value` beside the lengths in `value_m`."""
    rows = []
    for row in [*BOOK, *COMPASS]:
        cells = row.split(",")
        rows.append(",".join([*cells, cells[3] if cells[0] == "bearing" else ""]))
        if cells[0] == "bearing":
            rows[-1] = ",".join([*cells[:3], "", *cells[4:], cells[3]])
    found, faults = read(tmp_path, rows, head=HEAD + ",value")
    assert faults == []
    assert found is not None


def test_columns_that_are_missing(tmp_path):
    """A book without its main columns is a fault that names them."""
    _, faults = read(tmp_path, ["A,B,5.0"], head="from,to,value_m")
    assert kinds(faults) == ["column_missing"]


def test_decimal_comma_and_semicolons(tmp_path):
    """A book with decimal commas and semicolons reads as the config says."""
    rows = [row.replace(",", ";").replace(".", ",") for row in BOOK]
    columns = Columns(separator="semicolon", decimal=",")
    found, faults = read(tmp_path, rows, head=HEAD.replace(",", ";"), columns=columns)
    assert faults == []
    assert found is not None
