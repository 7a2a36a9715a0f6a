"""Malformed field books: total-station days, level books and tape books, made from good ones."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from broken_case import Case
from made_days import usual_day
from made_tapes import BOOK, COMPASS, HEAD, MARKS, PLACES, control, depth, drawn, tape

from wrackline.model import ControlValue, Vertical

Rows = list[dict[str, str]]


def day(
    kinds: str,
    change: Callable[[Rows], Rows | None],
    *,
    setups: int = 1,
    **moved: tuple[float, float, float],
) -> Case:
    """Return a case made from a good total-station day; `moved` are marks stated wrongly."""
    made = usual_day(seed=5, shots=30)
    for more in range(1, setups):
        made.station((4.0 + more, 6.0 * more, 2.0))
        made.backs(*made.marks)
    changed = change(made.rows)
    made.rows = made.rows if changed is None else changed

    def write(folder: Path) -> None:
        made.write(folder)

    keys = {"holds": "features", "form": "station_day", "file": "day.csv"}
    return Case(tuple(kinds.split()), write, keys, made.control(**moved))


def put(row: int, **cells: str) -> Callable[[Rows], None]:
    """Return a change of some cells of one row; row 0 is the station, 1 to 8 are back-sights."""
    return lambda rows: rows[row].update(cells)


def all_of(column: str, change: Callable[[float], float]) -> Callable[[Rows], None]:
    """Return a change of a column wherever it has a number."""

    def changed(rows: Rows) -> None:
        for row in rows:
            if row.get(column):
                row[column] = f"{change(float(row[column])):.5f}"

    return changed


def without(kind: str) -> Callable[[Rows], Rows]:
    """Return a change that leaves out rows of one kind."""
    return lambda rows: [row for row in rows if row["kind"] != kind]


STATION_DAYS = {
    "day: a mark stated 0.3 m wrongly": day(
        "control_misfit", lambda rows: None, CP3=(0.3, 0.0, 0.0)
    ),
    "day: no row": day("no_rows no_shots station_missing", lambda rows: []),
    "day: no station": day("station_missing", without("station")),
    "day: no back-sight": day("back_sight_missing setup_undetermined", without("back_sight")),
    "day: no shot": day("no_shots", without("shot")),
    "day: an unknown mark": day("unknown_mark", put(2, point="CP22")),
    "day: an unknown kind of row": day("unknown_kind", put(4, kind="bakc_sight")),
    "day: angles in gon": day("angles_in_gon", all_of("circle_deg", lambda a: a / 0.9)),
    "day: angles from the horizontal": day(
        "zenith_not_vertical", all_of("zenith_deg", lambda a: 90 - a)
    ),
    "day: a circle beyond 400": day("circle_out_of_range", put(12, circle_deg="512.2")),
    "day: no distance": day("reading_missing", put(12, slope_m="")),
    "day: a pole height forgotten": day(
        "target_height_zero target_height_missing", put(12, target_height_m="0")
    ),
    "day: a pole section of 1 m forgotten": day("pole_section", put(3, target_height_m="1.000")),
    "day: a prism constant forgotten": day(
        "prism_constant", all_of("slope_m", lambda d: d + 0.0344), setups=3
    ),
    "day: a text for an angle": day("no_number", put(12, circle_deg="north")),
    "day: degrees, minutes, seconds": day("dms_text", put(12, circle_deg="12°34'56\"")),
    "day: a number twice": day("point_repeated", put(15, point="3")),
}


def book(kinds: str, rows: Sequence[str], *, marks: Sequence[str] = MARKS, **keys: Any) -> Case:
    """Return a case of a tape book."""

    def write(folder: Path) -> None:
        (folder / "tapes.csv").write_text("\n".join([HEAD, *rows]) + "\n")

    survey = {
        "holds": "wall_lines",
        "form": "tape",
        "file": "tapes.csv",
        "vertical": Vertical(meaning="depth_below_datum"),
        "random_horizontal_sd_m": 0.02,
        **keys,
    }
    return Case(tuple(kinds.split()), write, survey, control(*marks))


def slipped(old: str, new: str) -> list[str]:
    """Return the good book with one row replaced."""
    return [new if row == old else row for row in BOOK]


def span_of(a: str, b: str) -> float:
    """Return the length that the good book has between two points."""
    return float(tape(a, b).split(",")[3])


def in_feet() -> list[str]:
    """Return the good book with its tapes in feet."""
    rows = []
    for row in BOOK:
        cells = row.split(",")
        if cells[0] == "distance":
            cells[3] = f"{float(cells[3]) / 0.3048:.3f}"
        rows.append(",".join(cells))
    return rows


def much_slipped() -> list[str]:
    """Return the good book with every third tape wrong, each by another amount."""
    rows = list(BOOK)
    for number, k in enumerate(k for k, row in enumerate(BOOK) if row.startswith("distance")):
        if number % 3 == 0:
            cells = rows[k].split(",")
            cells[3] = f"{float(cells[3]) + 0.9 + 0.37 * number:.3f}"
            rows[k] = ",".join(cells)
    return rows


def reversed_bearing() -> list[str]:
    """Return the good book with bearings, one of them read at the compass's other end."""
    cells = COMPASS[2].split(",")
    cells[3] = f"{(float(cells[3]) + 180) % 360:.2f}"
    return [*BOOK, *COMPASS[:2], ",".join(cells), *COMPASS[3:]]


TAPE_BOOKS = {
    "tape: a whole metre misread": book(
        "tape_misfit", slipped(tape("A", "W3"), tape("A", "W3", span_of("A", "W3") + 1.0))
    ),
    "tape: no row": book("no_rows tape_control no_tape_lines", []),
    "tape: no marks": book("tape_control", BOOK, marks=()),
    "tape: a point with one tape": book(
        "point_undetermined", [*BOOK, "distance,A,W9,7.31,,,,,", *drawn("W3", "W9")]
    ),
    "tape: an unknown measure": book(
        "unknown_measure", slipped(tape("A", "W3"), "distanse,A,W3,7,,,,,")
    ),
    "tape: feet": book("scale_wrong", in_feet()),
    "tape: no length": book("tape_cell_missing", slipped(tape("A", "W3"), "distance,A,W3,,,,,,")),
    "tape: a negative length": book(
        "bad_distance", slipped(tape("A", "W3"), "distance,A,W3,-7,,,,,")
    ),
    "tape: a bearing beyond 360": book("bad_bearing", [*BOOK, "bearing,A,W1,400,,,,,2029-06-09"]),
    "tape: a bearing read backwards": book("bearing_reversed", reversed_bearing()),
    "tape: depths from another zero": book(
        "tape_zero", BOOK, vertical=Vertical(meaning="depth_below_datum", zero="gauge")
    ),
    "tape: a third of the tapes wrong": book("tape_network", much_slipped()),
    "tape: two depths for one point": book(
        "depth_twice", [*BOOK, depth("W1", -PLACES["W1"][2] + 1)]
    ),
}


LEVEL_HEAD = "point,back_sight_m,intermediate_sight_m,fore_sight_m,easting,northing"
LEVELLED = (
    "BM1,1.500,,,,",
    "F1,,2.250,,324410,4207620",
    "T1,1.800,,1.300,324420,4207630",
    "F2,,2.100,,324425,4207633",
    "BM2,,,1.500,,",
)


def levels(kinds: str, rows: Sequence[str]) -> Case:
    """Return a case of a level book between two benchmarks, 2.0 and 2.5 m high."""
    marks = tuple(
        ControlValue(
            point=name, easting=324400 + k, northing=4207600, height=2.0 + k / 2, sd_m=0.005
        )
        for k, name in enumerate(("BM1", "BM2"))
    )

    def write(folder: Path) -> None:
        (folder / "levels.csv").write_text("\n".join([LEVEL_HEAD, *rows]) + "\n")

    keys = {
        "holds": "features",
        "form": "levelling",
        "file": "levels.csv",
        "random_vertical_sd_m": 0.003,
    }
    return Case(tuple(kinds.split()), write, keys, marks)


def row(number: int, text: str) -> list[str]:
    """Return the good book with one row replaced."""
    return [text if k == number else old for k, old in enumerate(LEVELLED)]


LEVEL_BOOKS = {
    "levels: a decimetre misread": levels(
        "levelling_misclosure", row(2, "T1,1.900,,1.300,324420,4207630")
    ),
    "levels: no closing mark": levels("levelling_open", row(4, "T9,,,1.500,324450,4207650")),
    "levels: an unknown benchmark": levels("unknown_mark", row(0, "BM7,1.500,,,,")),
    "levels: a row without a reading": levels("sight_missing", row(1, "F1,,,,324410,4207620")),
    "levels: two readings in one row": levels(
        "sights_mixed", row(1, "F1,1.2,2.25,,324410,4207620")
    ),
    "levels: millimetres": levels(
        "staff_in_millimetres staff_reading",
        [
            "BM1,1500,,,,",
            "F1,,2250,,324410,4207620",
            "T1,1800,,1300,324420,4207630",
            "F2,,2100,,324425,4207633",
            "BM2,,,1500,,",
        ],
    ),
    "levels: no row": levels("no_rows", []),
    "levels: half a place": levels("half_place", row(1, "F1,,2.250,,324410,")),
}

BROKEN_BOOKS = {**STATION_DAYS, **TAPE_BOOKS, **LEVEL_BOOKS}
GOOD_BOOKS = {
    "a total-station day": day("", lambda rows: None),
    "a tape book": book("", BOOK),
    "a tape book with bearings": book("", [*BOOK, *COMPASS]),
    "a level book": levels("", LEVELLED),
}
