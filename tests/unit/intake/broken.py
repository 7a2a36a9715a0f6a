"""A maker of malformed inputs: each made from a good one, and named by what was broken.

`CASES` maps a case's name to how it is made and to the kinds of fault or suspicion of which intake
must name at least one. All data are invented.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import laspy
import numpy as np
import openpyxl
import pyogrio
import rasterio
import shapely
from broken_books import BROKEN_BOOKS, GOOD_BOOKS
from broken_case import CRS, DAY, ORIGIN, Case
from rasterio.transform import from_origin

from wrackline.model import Columns, Correction, Survey, Vertical


def survey_of(case: Case) -> Survey:
    """Return the config of a case's survey."""
    values = {
        "name": "survey",
        "technique": "any",
        "crs": CRS,
        "from_date": DAY,
        "to_date": DAY,
        "vertical": Vertical(meaning="height"),
        "random_horizontal_sd_m": 0.03,
        "random_vertical_sd_m": 0.03,
    }
    return Survey(**values | case.survey)


# Soundings: a table of four columns, 60 rows along three lines.


def sounding_rows() -> list[list[str]]:
    """Return the good table of soundings as texts, the header first."""
    rows = [["easting", "northing", "depth", "time"]]
    for k in range(60):
        east, north = ORIGIN[0] + 20 + 2 * (k % 20), ORIGIN[1] + 30 + 10 * (k // 20)
        depth = 3.0 + 0.02 * (k % 20) + 0.11 * np.sin(k)
        time = f"2031-06-09T08:{k // 2:02d}:{30 * (k % 2):02d}"
        rows.append([f"{east:.2f}", f"{north:.2f}", f"{depth:.2f}", time])
    return rows


BED = {
    "holds": "bed_points",
    "file": "bed.csv",
    "vertical": Vertical(meaning="depth_below_datum"),
    "columns": Columns(vertical="depth"),
}
WATERED = {
    **BED,
    "vertical": Vertical(meaning="depth_below_water", water_level="gauge.csv"),
    "columns": Columns(vertical="depth", time="time"),
}

Rows = list[list[str]]


def as_text(rows: Rows, *, sep: str = ",", end: str = "\n") -> str:
    """Return rows as the text of a table."""
    return end.join(sep.join(row) for row in rows) + end


def soundings(
    kinds: str,
    change: Callable[[Rows], Rows | None] | None = None,
    *,
    text: Callable[[str], str | bytes] | None = None,
    corrections: tuple[Correction, ...] = (),
    **survey: Any,
) -> Case:
    """Return a case made from the good soundings by changing its rows, or its text."""

    def write(folder: Path) -> None:
        rows = sounding_rows()
        changed = change(rows) if change else None
        made: str | bytes = as_text(rows if changed is None else changed)
        if text is not None:
            made = text(str(made))
        data = made if isinstance(made, bytes) else made.encode()
        (folder / "bed.csv").write_bytes(data)

    return Case(tuple(kinds.split()), write, {**BED, **survey}, corrections=corrections)


def column(rows: Rows, number: int, change: Callable[[str, int], str]) -> None:
    """Change one column of all rows but the header."""
    for k, row in enumerate(rows[1:]):
        row[number] = change(row[number], k)


def cell(row: int, number: int, value: str) -> Callable[[Rows], None]:
    """Return a change that writes a value into one cell."""

    def change(rows: Rows) -> None:
        rows[row - 1][number] = value

    return change


def every(number: int, change: Callable[[str, int], str]) -> Callable[[Rows], None]:
    """Return a change of one whole column."""
    return lambda rows: column(rows, number, change)


def header(**names: str) -> Callable[[Rows], None]:
    """Return a change of the header's names."""

    def change(rows: Rows) -> None:
        rows[0] = [names.get(name, name) for name in rows[0]]

    return change


def scaled(factor: float) -> Callable[[Rows], None]:
    """Return a change that multiplies easting and northing."""

    def change(rows: Rows) -> None:
        for row in rows[1:]:
            row[0], row[1] = (f"{float(value) * factor:.3f}" for value in row[:2])

    return change


def swapped(rows: Rows) -> None:
    """Swap easting and northing."""
    for row in rows[1:]:
        row[0], row[1] = row[1], row[0]


def shifted(rows: Rows) -> None:
    """Shift one row by one column."""
    rows[11] = ["", *rows[11][:-1]]


def stray_point(rows: Rows) -> None:
    """Put one point 12 km off."""
    rows[20][0] = f"{float(rows[20][0]) + 12_000:.2f}"


def moved(east: float, north: float) -> Callable[[Rows], None]:
    """Return a change that moves all points."""

    def change(rows: Rows) -> None:
        for row in rows[1:]:
            row[0] = f"{float(row[0]) + east:.2f}"
            row[1] = f"{float(row[1]) + north:.2f}"

    return change


def to_degrees(rows: Rows) -> None:
    """Write longitudes and latitudes where metres are promised."""
    for row in rows[1:]:
        row[0], row[1] = "-34.9" + row[0][-4:-3], "38.0" + row[1][-4:-3]


def dms(rows: Rows) -> None:
    """Write degrees, minutes and seconds as text."""
    for row in rows[1:]:
        row[0], row[1] = "34°59'12.5\"W".replace('"', "''"), "38°00'05.1''N"


def day_first(text: str, number: int) -> str:
    """Write a time with the day first."""
    return f"{9 + number % 5 + 8:02d}/06/2031 {text[11:]}"


SOUNDINGS = {
    "no file": Case(("file_missing",), lambda folder: None, BED),
    "an empty file": soundings("file_empty", text=lambda text: ""),
    "a folder": Case(("not_a_file",), lambda folder: (folder / "bed.csv").mkdir(), BED),
    "a header alone": soundings("no_rows", lambda rows: rows[:1]),
    "blank lines alone": soundings(
        "no_rows column_missing header_missing", text=lambda text: "\n\n\n"
    ),
    "UTF-16": soundings("not_text", text=lambda text: text.encode("utf-16")),
    "Latin-1": soundings("not_utf8", header(time="é"), text=lambda text: text.encode("latin-1")),
    "a picture named csv": soundings(
        "not_text column_missing no_number", text=lambda text: b"\x89PNG\r\n\x1a\n\x00\x00" * 9
    ),
    "a stray quotation mark": soundings("quotes", cell(9, 0, '"324440.0')),
    "a misspelt header": soundings("header_misspelt column_missing", header(easting="eastign")),
    "an unknown header": soundings("column_missing", header(depth="measure")),
    "a repeated header": soundings("column_twice", header(time="depth")),
    "no header": soundings("header_missing column_missing", lambda rows: rows[1:]),
    "semicolons": soundings("wrong_separator", text=lambda text: text.replace(",", ";")),
    "tabs": soundings("wrong_separator", text=lambda text: text.replace(",", "\t")),
    "decimal commas among semicolons": soundings(
        "decimal_comma",
        text=lambda text: text.replace(",", ";").replace(".", ","),
        columns=Columns(vertical="depth", separator="semicolon"),
    ),
    "decimal commas among commas": soundings(
        "row_too_wide decimal_comma", text=lambda text: text.replace(".", ",")
    ),
    "a text for a depth": soundings("no_number", cell(8, 2, "three")),
    "a unit in the cell": soundings("no_number", cell(8, 2, "3.2 m")),
    "an infinite depth": soundings("no_number", cell(8, 2, "inf")),
    "degrees, minutes, seconds": soundings("dms_text", dms),
    "a row shifted by a column": soundings("column_shifted", shifted),
    "a row too wide": soundings("row_too_wide", lambda rows: rows[7].append("x")),
    "a sentinel": soundings("sentinel_height impossible_vertical", cell(9, 2, "-9999")),
    "a huge number": soundings("impossible_vertical sentinel_height", cell(9, 2, "1e20")),
    "missing depths as 0": soundings(
        "zero_height", every(2, lambda text, k: "0" if k % 9 == 4 else text)
    ),
    "depths with the wrong sign": soundings("wrong_sign", every(2, lambda text, k: "-" + text)),
    "depths in millimetres": soundings(
        "millimetres_for_metres impossible_vertical vertical_unit depth_scale",
        every(2, lambda text, k: f"{float(text) * 1000:.0f}"),
    ),
    "axes swapped": soundings("axes_swapped", swapped),
    "feet for metres": soundings("feet_for_metres", scaled(1 / 0.3048)),
    "US survey feet for metres": soundings(
        "us_feet_for_metres feet_for_metres", scaled(3937 / 1200)
    ),
    "millimetres for metres": soundings("millimetres_for_metres", scaled(1000)),
    "the next zone": soundings("wrong_zone far_from_site", crs="EPSG:32626"),
    "degrees for metres": soundings("degrees_for_metres", to_degrees),
    "a local grid that claims a CRS": soundings("local_for_crs", moved(-ORIGIN[0], -ORIGIN[1])),
    "100 km off": soundings("far_from_site", moved(0, 100_000)),
    "one point far off": soundings("far_point far_from_site", stray_point),
    "an unknown CRS": soundings("unknown_crs", crs="EPSG:99999"),
    "a block twice": soundings("repeated_rows", lambda rows: [*rows, *rows[5:35]]),
    "times with the day first": soundings(
        "date_order", every(3, day_first), **{k: WATERED[k] for k in ("vertical", "columns")}
    ),
    "a text for a time": soundings(
        "no_time", cell(8, 3, "noon"), **{k: WATERED[k] for k in ("vertical", "columns")}
    ),
    "another day's times": soundings(
        "date_outside water_not_covering",
        every(3, lambda text, k: text.replace("2031-06", "2030-02")),
        **{k: WATERED[k] for k in ("vertical", "columns")},
    ),
    "a correction that doesn't match": soundings(
        "correction_refused",
        corrections=(
            Correction(
                file="bed.csv",
                row=5,
                column="depth",
                was="9.99",
                becomes="3.2",
                why="field book",
                who="invented",
                when=DAY,
            ),
        ),
    ),
    "a correction beyond the file": soundings(
        "correction_refused",
        corrections=(
            Correction(
                file="bed.csv",
                row=500,
                column="depth",
                was="3.10",
                becomes="3.2",
                why="field book",
                who="invented",
                when=DAY,
            ),
        ),
    ),
    "a correction of no column": soundings(
        "correction_refused",
        corrections=(
            Correction(
                file="bed.csv",
                row=5,
                column="dept",
                was="3.10",
                becomes="3.2",
                why="field book",
                who="invented",
                when=DAY,
            ),
        ),
    ),
}


# The gauge's record behind soundings.


def gauge_rows() -> Rows:
    """Return a good record: ten-minute levels over a day."""
    rows = [["time", "level_m"]]
    for k in range(145):
        level = 1.9 + 0.3 * np.sin(2 * np.pi * k / 74.5)
        rows.append([f"2031-06-{9 + k // 144:02d}T{k // 6 % 24:02d}:{k % 6}0:00", f"{level:.3f}"])
    return rows


def gauged(
    kinds: str,
    change: Callable[[Rows], Rows | None] | None = None,
    text: Callable[[str], str] | None = None,
) -> Case:
    """Return good soundings with a record made from the good one."""

    def write(folder: Path) -> None:
        (folder / "bed.csv").write_text(as_text(sounding_rows()), encoding="utf-8")
        rows = gauge_rows()
        changed = change(rows) if change else None
        made = as_text(rows if changed is None else changed)
        (folder / "gauge.csv").write_text(text(made) if text else made, encoding="utf-8")

    return Case(tuple(kinds.split()), write, dict(WATERED))


def moved_clock(rows: Rows) -> Rows:
    """Return readings of eight days, the clock set an hour ahead in the middle."""
    start, made = np.datetime64("2031-06-05T00:00:00"), rows[:1]
    for k in range(8 * 144):
        stamp = start + np.timedelta64(10 * k + 60 * (k >= 4 * 144), "m")
        made.append([str(stamp), f"{1.9 + 0.6 * np.sin(2 * np.pi * k / 74.5):.3f}"])
    return made


WATERS = ("2031-06-09T02:10", "2031-06-09T08:25", "2031-06-09T14:35", "2031-06-09T20:50")


def waters(
    kinds: str, *levels: float, surge_sd_m: float = 0.1, holds: str = "high_and_low"
) -> Case:
    """Return good soundings with high and low waters."""
    rows = [[at, f"{level:.2f}"] for at, level in zip(WATERS, levels, strict=True)]
    case = gauged(kinds, lambda _: [["time", "level_m"], *rows])
    meant = WATERED["vertical"].model_copy(
        update={"water_level_holds": holds, "water_level_surge_sd_m": surge_sd_m}
    )
    return replace(case, survey=case.survey | {"vertical": meant})


GAUGES = {
    "no record": Case(
        ("water_missing",),
        lambda folder: (folder / "bed.csv").write_text(as_text(sounding_rows())) and None,
        dict(WATERED),
    ),
    "a record with other columns": gauged("water_columns", header(level_m="reading")),
    "a record with semicolons": gauged(
        "water_columns wrong_separator", text=lambda text: text.replace(",", ";")
    ),
    "a text for a level": gauged("water_no_level", cell(30, 1, "flood")),
    "a text for a record's time": gauged("water_no_time", cell(30, 0, "noon")),
    "a record out of order": gauged("water_order", lambda rows: [rows[0], *rows[:0:-1]]),
    "a record of one level": gauged("water_too_short", lambda rows: rows[:2]),
    "a record of another year": gauged(
        "water_not_covering", every(0, lambda text, k: text.replace("2031", "2030"))
    ),
    "a record in centimetres": gauged(
        "water_unit", every(1, lambda text, k: f"{float(text) * 100:.1f}")
    ),
    "a record with a spike": gauged("water_spike", cell(56, 1, "3.9")),
    "a gap where soundings are": gauged(
        "water_gap", lambda rows: [row for k, row in enumerate(rows) if not 47 <= k <= 56]
    ),
    "a record whose clock was set": gauged("water_clock_slip", moved_clock),
    "an hour of the record twice": gauged(
        "water_order", lambda rows: [*rows[:50], *([at, "1.8"] for at, _ in rows[44:])]
    ),
    "waters of which one is missing": waters("water_no_turn", 1.6, 2.2, 2.9, 1.6),
    "levels given for waters": replace(
        gauged("water_no_turn"), survey=waters("", 1.6, 2.2, 1.5, 2.3).survey
    ),
    "waters given for levels": replace(
        waters("water_turns_alone", 1.6, 2.2, 1.5, 2.3), survey=dict(WATERED)
    ),
    "a tide that weather drowns": waters("water_small_tide", 1.8, 2.0, 1.8, 2.0),
}


# Points of features and floors, as a table.


def point_rows() -> Rows:
    """Return a good table of features."""
    rows = [["easting", "northing", "height", "kind", "note"]]
    for k in range(24):
        east, north = ORIGIN[0] + 30 + 1.7 * k, ORIGIN[1] + 40 + 2.3 * (k % 7)
        rows.append([f"{east:.3f}", f"{north:.3f}", f"{-2.5 - 0.03 * k:.3f}", "jar", "-"])
    return rows


def points(
    kinds: str,
    change: Callable[[Rows], Rows | None] | None = None,
    *,
    text: Callable[[str], str | bytes] | None = None,
    holds: str = "features",
    **survey: Any,
) -> Case:
    """Return a case made from the good table of features."""

    def write(folder: Path) -> None:
        rows = point_rows()
        changed = change(rows) if change else None
        made: str | bytes = as_text(rows if changed is None else changed)
        if text is not None:
            made = text(str(made))
        (folder / "points.csv").write_bytes(made if isinstance(made, bytes) else made.encode())

    return Case(tuple(kinds.split()), write, {"holds": holds, "file": "points.csv", **survey})


POINTS = {
    "features: an empty file": points("file_empty", text=lambda text: ""),
    "features: blank lines alone": points("no_rows", text=lambda text: "\n \n"),
    "features: no header": points("header_missing column_missing", lambda rows: rows[1:]),
    "features: a misspelt header": points(
        "header_misspelt column_missing", header(northing="nrothing")
    ),
    "features: a repeated header": points("column_twice", header(note="height")),
    "features: semicolons": points("wrong_separator", text=lambda text: text.replace(",", ";")),
    "features: tabs": points("wrong_separator", text=lambda text: text.replace(",", "\t")),
    "features: decimal commas": points(
        "decimal_comma",
        text=lambda text: text.replace(",", ";").replace(".", ","),
        columns=Columns(separator="semicolon"),
    ),
    "features: a text for a height": points("no_number", cell(8, 2, "deep")),
    "features: degrees, minutes, seconds": points("dms_text", dms),
    "features: a row shifted": points("column_shifted", shifted),
    "features: a row too wide": points("row_too_wide", lambda rows: rows[7].append("x")),
    "features: a row too short": points(
        "row_too_short", cell(7, 4, "") and (lambda rows: rows[7].pop() and None)
    ),
    "features: a stray quotation mark": points("quotes", cell(9, 4, '"open')),
    "features: a cell over two lines": points("cell_over_lines", cell(9, 4, '"two\nlines"')),
    "features: a missing height as 0": points(
        "zero_height", every(2, lambda text, k: "0.000" if k % 9 == 4 else text)
    ),
    "features: a sentinel": points("sentinel_height impossible_vertical", cell(9, 2, "-9999")),
    "features: axes swapped": points("axes_swapped", swapped),
    "features: feet": points("feet_for_metres", scaled(1 / 0.3048)),
    "features: millimetres": points("millimetres_for_metres", scaled(1000)),
    "features: the next zone": points("wrong_zone far_from_site", crs="EPSG:32624"),
    "features: a local grid that claims a CRS": points(
        "local_for_crs", moved(-ORIGIN[0], -ORIGIN[1])
    ),
    "features: one far off": points(
        "far_from_site far_point", lambda rows: moved(0, 90_000)(rows[:2])
    ),
    "features: Latin-1": points("not_utf8", cell(5, 4, "café"), text=lambda t: t.encode("latin-1")),
    "floors: an odd evidence": points(
        "odd_evidence", header(kind="evidence"), holds="floor_points"
    ),
    "floors: no height": points("empty_cell", cell(6, 2, ""), holds="floor_points"),
    "walls that are points": points("wrong_shape", holds="wall_lines"),
}


# Drawings.

E0, N0 = ORIGIN[0] + 50, ORIGIN[1] + 60


def line(*xyz: tuple[float, ...]) -> Any:
    """Return a line, metres from an invented corner, at -2 m where no height is given."""
    return shapely.LineString([(E0 + p[0], N0 + p[1], *(p[2:] or (-2.0,))) for p in xyz])


GOOD_LINES = [
    line((0, 0), (6, 0), (6, 4)),
    line((6.1, 4), (0, 4)),
    line((0, 4.1), (0, 0.1)),
    line((9, 0), (15, 0.3)),
]


def drawn(
    kinds: str,
    shapes: list[Any],
    *,
    file: str = "walls.gpkg",
    crs: str | None = CRS,
    holds: str = "wall_lines",
    also: Callable[[Path], None] | None = None,
    columns: dict[str, Any] | None = None,
    **survey: Any,
) -> Case:
    """Return a case that is drawn: the good lines with others among them, or others alone."""

    def write(folder: Path) -> None:
        table = gpd.GeoDataFrame(columns or {"line": [str(k) for k in range(len(shapes))]},
                                 geometry=shapes, crs=crs)  # fmt: skip
        pyogrio.write_dataframe(table, folder / file)
        if also:
            also(folder / file)

    return Case(tuple(kinds.split()), write, {"holds": holds, "file": file, **survey})


def cut(path: Path) -> None:
    """Cut a file in half."""
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def second_layer(path: Path) -> None:
    """Add a second layer to a file."""
    table = gpd.GeoDataFrame(geometry=GOOD_LINES, crs=CRS)
    pyogrio.write_dataframe(table, path, layer="more", append=True)


def in_metres(path: Path) -> None:
    """Declare a drawing's unit as metres, as drawing programs do."""
    text = path.read_text(encoding="latin-1")
    path.write_text(re.sub(r"(\$INSUNITS\s+70\s+)\d+", r"\g<1>6", text), encoding="latin-1")


def without_index(path: Path) -> None:
    """Remove the index of a shapefile."""
    path.with_suffix(".shx").unlink()


SQUARE = [(0, 0), (3, 0), (3, 3), (0, 3), (0, 0)]
BOW = shapely.Polygon([(E0, N0), (E0 + 3, N0 + 3), (E0 + 3, N0), (E0, N0 + 3)])
SLIVER = shapely.box(E0, N0, E0 + 8, N0 + 0.01)
FLAT = [shapely.force_2d(shape) for shape in GOOD_LINES]
NO_HEIGHTS = Vertical(meaning="none")


def far(shape: Any, east: float, north: float = 0.0) -> Any:
    """Return a shape moved."""
    return shapely.transform(shape, lambda xyz: xyz + np.array([east, north, 0.0]), include_z=True)


def times(shape: Any, factor: float) -> Any:
    """Return a shape with easting and northing multiplied."""
    return shapely.transform(shape, lambda xyz: xyz * [factor, factor, 1.0], include_z=True)


def turned_over(shape: Any) -> Any:
    """Return a shape with easting and northing swapped."""
    return shapely.transform(shape, lambda xyz: xyz[:, [1, 0, 2]], include_z=True)


DRAWINGS = {
    "walls: no file": Case(
        ("file_missing",), lambda folder: None, {"holds": "wall_lines", "file": "walls.gpkg"}
    ),
    "walls: cut in half": drawn("unreadable", GOOD_LINES, also=cut),
    "walls: a text named gpkg": Case(
        ("unreadable",),
        lambda folder: (folder / "walls.gpkg").write_text("no database") and None,
        {"holds": "wall_lines", "file": "walls.gpkg"},
    ),
    "walls: two layers": drawn("layer_unnamed", GOOD_LINES, also=second_layer),
    "walls: no such layer": drawn("layer_missing", GOOD_LINES, layer="wals"),
    "walls: another CRS than stated": drawn("crs_contradiction", GOOD_LINES, crs="EPSG:32626"),
    "walls: a self-crossing line": drawn(
        "self_crossing", [*GOOD_LINES, line((20, 0), (24, 4), (24, 0), (20, 4))]
    ),
    "walls: a line of no length": drawn("zero_length", [*GOOD_LINES, line((20, 0), (20, 0))]),
    "walls: a backtracking line": drawn(
        "backtracking", [*GOOD_LINES, line((20, 0), (26, 0), (22, 0.0), (22, 5))]
    ),
    "walls: the same line twice": drawn("line_twice", [*GOOD_LINES, GOOD_LINES[0]]),
    "walls: the same line reversed": drawn(
        "line_twice", [*GOOD_LINES, shapely.reverse(GOOD_LINES[3])]
    ),
    "walls: part of another line": drawn(
        "line_inside_another", [*GOOD_LINES, line((1, 0), (5, 0))]
    ),
    "walls: an empty geometry": drawn("no_shape", [*GOOD_LINES, None]),
    "walls: no item at all": drawn("no_rows", []),
    "walls: points among lines": drawn("wrong_shape", [*GOOD_LINES, shapely.Point(E0, N0, -2)]),
    "walls: a missing height as 0": drawn(
        "zero_height", [*GOOD_LINES, line((20, 0), (22, 0, 0.0), (26, 0), (28, 0), (29, 3))]
    ),
    "walls: a sentinel": drawn(
        "impossible_vertical sentinel_height", [*GOOD_LINES, line((20, 0), (22, 0, -9999.0))]
    ),
    "walls: a spike in height": drawn(
        "height_spike",
        [
            *GOOD_LINES,
            line(*[(20 + k, 0, -2.0 + 0.01 * (k % 3) + 2.5 * (k == 4)) for k in range(9)]),
        ],
    ),
    "walls: heights promised, none there": drawn("no_heights", FLAT),
    "walls: one line far off": drawn("far_from_site", [*GOOD_LINES, far(GOOD_LINES[0], 90_000)]),
    "walls: axes swapped": drawn("axes_swapped", [turned_over(s) for s in GOOD_LINES]),
    "walls: feet": drawn("feet_for_metres", [times(s, 1 / 0.3048) for s in GOOD_LINES]),
    "walls: millimetres": drawn("millimetres_for_metres", [times(s, 1000.0) for s in GOOD_LINES]),
    "walls: a local grid that claims a CRS": drawn(
        "local_for_crs", [far(s, -ORIGIN[0], -ORIGIN[1]) for s in GOOD_LINES]
    ),
    "walls: a shapefile without index": drawn(
        "shapefile_part_missing", GOOD_LINES, file="walls.shp", also=without_index
    ),
    "walls: an odd thickness": drawn(
        "bad_thickness", GOOD_LINES, columns={"thickness_m": ["0.6", "60 cm", "0.5", "-1"]}
    ),
    "walls: a drawing that declares inches": drawn(
        "drawing_unit", GOOD_LINES, file="walls.dxf", crs=None, columns={"Layer": ["WALL"] * 4}
    ),
    "walls: a drawing layer that isn't there": drawn(
        "pick_unknown",
        GOOD_LINES,
        file="walls.dxf",
        crs=None,
        columns={"Layer": ["WALL"] * 4},
        pick=["WALLS"],
    ),
    "trenches: a ring that crosses itself": drawn(
        "invalid_ring", [BOW], holds="trench_outlines", vertical=NO_HEIGHTS
    ),
    "trenches: a sliver": drawn(
        "sliver",
        [shapely.box(E0, N0, E0 + 3, N0 + 2), SLIVER],
        holds="trench_outlines",
        vertical=NO_HEIGHTS,
    ),
    "finds: lines": drawn("wrong_shape", GOOD_LINES, holds="finds"),
}


# Coded points, spreadsheets, clouds, grids, pictures.


def coded_rows() -> Rows:
    """Return a good table of coded points: three lines of nine points."""
    rows = [["line", "sequence", "code", "easting", "northing", "height"]]
    for name in range(3):
        for k in range(9):
            east, north = E0 + 2.0 * k, N0 + 4.0 * name
            rows.append([f"w{name}", str(k + 1), "wall", f"{east:.2f}", f"{north:.2f}", "-2.10"])
    return rows


def coded(kinds: str, change: Callable[[Rows], Rows | None], **survey: Any) -> Case:
    """Return a case made from the good table of coded points."""

    def write(folder: Path) -> None:
        rows = coded_rows()
        changed = change(rows)
        (folder / "coded.csv").write_text(as_text(rows if changed is None else changed))

    keys = {"holds": "wall_lines", "file": "coded.csv", "form": "coded_points", **survey}
    return Case(tuple(kinds.split()), write, keys)


def sheet(kinds: str, change: Callable[[Any], None], **survey: Any) -> Case:
    """Return a case made from the good features as a spreadsheet."""

    def write(folder: Path) -> None:
        book = openpyxl.Workbook()
        for row in point_rows():
            book.active.append([_value(text) for text in row])
        change(book)
        book.save(folder / "points.xlsx")

    return Case(tuple(kinds.split()), write, {"holds": "features", "file": "points.xlsx", **survey})


def _value(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text


def set_cell(name: str, value: Any) -> Callable[[Any], None]:
    """Return a change of one cell of a spreadsheet."""

    def change(book: Any) -> None:
        book.active[name] = value

    return change


TABLES = {
    "coded: a line of one point": coded("lone_point", lambda rows: rows[:20]),
    "coded: a number repeated": coded("sequence_twice", cell(4, 1, "2")),
    "coded: a number skipped": coded("sequence_gap", lambda rows: rows[:3] + rows[4:]),
    "coded: a step far too long": coded("long_step", cell(5, 3, f"{E0 + 120:.2f}")),
    "coded: no such code": coded("pick_unknown", lambda rows: None, pick=["walls"]),
    "coded: no column of lines": coded("column_missing", header(line="id")),
    "coded: a text for a number": coded("no_number", cell(5, 4, "north")),
    "spreadsheet: two sheets": sheet(
        "layer_unnamed", lambda book: book.create_sheet("more") and None
    ),
    "spreadsheet: no such sheet": sheet("layer_missing", lambda book: None, layer="walls"),
    "spreadsheet: a formula": sheet("formula_without_value", set_cell("A5", "=A4+1")),
    "spreadsheet: a text for a number": sheet("no_number", set_cell("B5", "north")),
    "spreadsheet: no spreadsheet": Case(
        ("unreadable",),
        lambda folder: (folder / "points.xlsx").write_text("a,b\n1,2\n") and None,
        {"holds": "features", "file": "points.xlsx"},
    ),
}


def cloud(kinds: str, *, change: Callable[[Path], None] | None = None, factor: float = 1.0,
          z: float = -3.0, **survey: Any) -> Case:  # fmt: skip
    """Return a case made from a good point cloud."""

    def write(folder: Path) -> None:
        made = laspy.create(point_format=6, file_version="1.4")
        made.header.scales, made.header.offsets = [0.001] * 3, [ORIGIN[0], ORIGIN[1], 0.0]
        x, y = (axis.ravel() for axis in np.meshgrid(np.arange(30.0), np.arange(20.0)))
        made.x, made.y = (ORIGIN[0] + x) * factor, (ORIGIN[1] + y) * factor
        made.z = z + 0.05 * np.sin(x)
        made.write(folder / "bed.las")
        if change:
            change(folder / "bed.las")

    return Case(tuple(kinds.split()), write, {"holds": "bed_points", "file": "bed.las", **survey})


def grid(kinds: str, *, crs: str | None = CRS, placed: bool = True, value: float = -3.0,
         holds: str = "bed_grid", change: Callable[[Path], None] | None = None,
         **survey: Any) -> Case:  # fmt: skip
    """Return a case made from a good grid."""

    def write(folder: Path) -> None:
        values = np.full((1, 20, 30), value, dtype="float32") + np.arange(30) * 0.01
        place = {"transform": from_origin(ORIGIN[0], ORIGIN[1] + 20, 1, 1)} if placed else {}
        with rasterio.open(
            folder / "bed.tif", "w", driver="GTiff", count=1, width=30, height=20,
            dtype="float32", crs=crs, **place,
        ) as out:  # fmt: skip
            out.write(values.astype("float32"))
        if change:
            change(folder / "bed.tif")

    return Case(tuple(kinds.split()), write, {"holds": holds, "file": "bed.tif", **survey})


RASTERS = {
    "cloud: cut in half": cloud("unreadable", change=cut),
    "cloud: a text": cloud("unreadable", change=lambda path: path.write_text("x y z\n") and None),
    "cloud: heights of a sentinel": cloud("impossible_vertical sentinel_height", z=-99999.0),
    "cloud: depths below the water without times": cloud(
        "no_times",
        vertical=Vertical(meaning="depth_below_water", water_level="gauge.csv"),
        columns=Columns(time="time"),
    ),
    "grid: cut in half": grid("unreadable", change=cut),
    "grid: another CRS than stated": grid("crs_contradiction", crs="EPSG:32626"),
    "grid: without place": grid("not_placed", placed=False),
    "grid: a sentinel for a value": grid("impossible_vertical sentinel_height", value=-99999.0),
    "grid: a file that leads elsewhere": grid(
        "leads_elsewhere",
        change=lambda path: (
            path.write_text('<VRTDataset rasterXSize="1" rasterYSize="1"></VRTDataset>') and None
        ),
    ),
    "picture: without place": grid(
        "not_placed", placed=False, holds="picture", vertical=NO_HEIGHTS
    ),
    "picture: another CRS than stated": grid(
        "crs_contradiction", crs="EPSG:32626", holds="picture", vertical=NO_HEIGHTS
    ),
    "picture: no picture": grid(
        "unreadable",
        holds="picture",
        vertical=NO_HEIGHTS,
        change=lambda path: path.write_text("no picture") and None,
    ),
}

CASES: dict[str, Case] = {
    **SOUNDINGS,
    **GAUGES,
    **POINTS,
    **DRAWINGS,
    **TABLES,
    **RASTERS,
    **BROKEN_BOOKS,
}

GOOD: dict[str, Case] = {
    **GOOD_BOOKS,
    "soundings": soundings(""),
    "soundings with CR line ends": soundings("", text=lambda text: text.replace("\n", "\r")),
    "soundings with CRLF and BOM": soundings(
        "", text=lambda text: b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()
    ),
    "soundings with one true depth of 0": soundings(
        "", every(2, lambda text, k: f"{0.02 * (k - 20):.2f}")
    ),
    "soundings below the water": gauged(""),
    "soundings between high and low waters": waters("", 1.6, 2.2, 1.5, 2.3),
    "soundings below a mean level": waters("", 1.8, 2.0, 1.8, 2.0, holds="mean_level"),
    "features": points(""),
    "features ashore": points("", every(2, lambda text, k: f"{0.1 * k:.3f}")),
    "walls": drawn("", GOOD_LINES),
    "walls as GeoJSON": drawn("", GOOD_LINES, file="walls.geojson"),
    "walls as DXF": drawn(
        "",
        GOOD_LINES,
        file="walls.dxf",
        crs=None,
        columns={"Layer": ["WALL"] * 4},
        pick=["WALL"],
        also=in_metres,
    ),
    "walls without heights": drawn("", FLAT, vertical=NO_HEIGHTS),
    "a closed wall": drawn("", [line(*SQUARE)]),
    "coded points": coded("", lambda rows: None),
    "a spreadsheet": sheet("", lambda book: None),
    "a cloud": cloud(""),
    "a grid": grid(""),
    "a picture": grid("", holds="picture", vertical=NO_HEIGHTS),
}
