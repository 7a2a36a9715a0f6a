"""Wall lines, features and floors from any file: what is taken, and what is said of bad ones.

Whatever a file holds, intake ends in faults of four parts, never in a traceback; and a file of
which nothing can be used ends in at least one.
"""

import datetime as dt
import json
import sqlite3
import struct

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from wrackline.fit.items import fit_items
from wrackline.intake.items import read_items
from wrackline.model import Columns, Site, Survey, Vertical
from wrackline.verdict import Source

CRS, ORIGIN = "EPSG:32625", (500_000.0, 4_200_000.0)
E0, N0 = 500_100.0, 4_200_100.0
LINE = [(E0, N0, -2.0), (E0 + 5, N0, -2.1)]


def read(folder, file, *, holds="wall_lines", crs=CRS, **more):
    """Return the items and the verdict of a file in `folder`, every fault checked for its parts."""
    survey = survey_of(file, holds=holds, crs=crs, **more)
    found = read_items(Source("2031-survey", survey, folder), crs=CRS, origin=ORIGIN)
    for fault in [*found[1].faults, *found[1].suspicions]:
        parts = (fault.found, fault.allowed, fault.consequence, fault.remedy, fault.file)
        assert all(part.strip() for part in parts), fault
        assert fault.survey == "2031-survey"
    assert (len(found[0]) == 0) == bool(found[1].faults)
    return found


def survey_of(file, *, holds="wall_lines", crs=CRS, **more):
    values = {
        "name": "survey",
        "technique": "any",
        "holds": holds,
        "file": file,
        "crs": None if "local_grid" in more else crs,
        "from_date": dt.date(2031, 6, 1),
        "to_date": dt.date(2031, 6, 2),
        "vertical": Vertical(meaning="height"),
        "random_horizontal_sd_m": 0.03,
        "random_vertical_sd_m": 0.02,
    }
    return Survey(**values | more)


def kinds(verdict):
    return [fault.kind for fault in verdict.faults], [s.kind for s in verdict.suspicions]


def drawn(folder, shapes, name="walls.gpkg", crs=CRS, layer=None, **columns):
    """Write shapes as a vector file."""
    table = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)
    pyogrio.write_dataframe(table, folder / name, layer=layer or "walls")
    return name


def text(folder, content, name="floors.csv"):
    data = content if isinstance(content, bytes) else content.encode()
    (folder / name).write_bytes(data)
    return name


def geojson(folder, geometries, name="walls.geojson", crs=CRS, **properties):
    """Write geometries, each a dict or None, as GeoJSON that names its CRS."""
    content = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": crs}},
        "features": [
            {"type": "Feature", "properties": properties, "geometry": geometry}
            for geometry in geometries
        ],
    }
    (folder / name).write_text(json.dumps(content))
    return name


def gpkg_blob(folder, wkb, name="walls.gpkg", kind="LINESTRING", z=0, m=0):
    """Write a GeoPackage of one feature whose WKB is given byte by byte."""
    drawn(folder, [shapely.LineString(LINE)], name)
    blob = b"GP\x00\x01" + struct.pack("<i", 32625) + wkb
    with sqlite3.connect(folder / name) as base:
        triggers = base.execute("select name from sqlite_master where type = 'trigger'").fetchall()
        for (trigger,) in triggers:
            base.execute(f'drop trigger "{trigger}"')
        base.execute("update walls set geom = ?", (blob,))
        base.execute("update gpkg_geometry_columns set geometry_type_name = ?", (kind,))
        base.execute("update gpkg_geometry_columns set z = ?, m = ?", (z, m))
        base.execute("delete from gpkg_extensions")
    base.close()
    return name


HEADER = "easting,northing,height,line,evidence\n"
ROWS = f"{E0},{N0},-2.5,F1,excavated\n{E0 + 1},{N0},-2.6,F2,probe\n"


def test_lines_are_read_with_their_attributes_and_rows(tmp_path):
    """Lines keep their own ids, notes and thickness, whatever the capitals of the columns."""
    lines = [shapely.LineString(LINE), shapely.LineString(np.add(LINE, (0, 3, 0)))]
    name = drawn(tmp_path, lines, Line=[7.0, 8.0], NOTE=["a", None], thickness_m=[0.6, np.nan])
    items, verdict = read(tmp_path, name, wall_thickness_m=0.7, wall_thickness_sd_m=0.05)
    assert items["line"].tolist() == ["7", "8"]
    assert items["note"].isna().tolist() == [False, True]
    assert items["thickness_m"].tolist() == [0.6, 0.7]
    assert items["thickness_sd_m"].tolist() == [0.05, 0.05]
    assert items["row"].tolist() == [1, 2]
    assert (verdict.rows, verdict.used, verdict.vertical) == (2, 2, [-2.1, -2.0])
    assert verdict.bounds == [E0, N0, E0 + 5, N0 + 3]


def test_polygons_and_multilines_of_walls_become_single_lines(tmp_path):
    """A polygon gives its rings and a multi-line its parts, each citing the row it came from."""
    hole = shapely.box(E0 + 1, N0 + 1, E0 + 2, N0 + 2).exterior
    yard = shapely.Polygon(shapely.box(E0, N0, E0 + 4, N0 + 3).exterior, [hole])
    many = shapely.MultiLineString(
        [[(E0, N0 + 9), (E0 + 1, N0 + 9)], [(E0, N0 + 8), (E0 + 2, N0 + 8)]]
    )
    items, _ = read(tmp_path, drawn(tmp_path, [yard, many]), vertical=Vertical(meaning="none"))
    assert items["row"].tolist() == [1, 1, 2, 2]
    assert items.geometry.length.tolist() == [14.0, 4.0, 1.0, 2.0]


def test_points_recorded_twice_in_a_row_are_one(tmp_path):
    """A point that repeats the one before it is dropped; a line of nothing else is left out."""
    walls = [
        shapely.LineString([LINE[0], LINE[0], LINE[1]]),
        shapely.LineString([LINE[0], LINE[0]]),
    ]
    items, verdict = read(tmp_path, drawn(tmp_path, walls))
    assert shapely.get_num_coordinates(items.geometry).tolist() == [2]
    assert kinds(verdict) == ([], ["zero_length"])
    assert verdict.suspicions[0].row == 2


def test_a_line_drawn_twice_is_read_once(tmp_path):
    """A second line through the same places, either way round, is left out and named."""
    walls = [shapely.LineString(LINE), shapely.LineString(LINE[::-1])]
    items, verdict = read(tmp_path, drawn(tmp_path, walls))
    assert len(items) == 1
    assert [(s.kind, s.row) for s in verdict.suspicions] == [("line_twice", 2)]


def test_heights_that_are_missing_stay_missing(tmp_path):
    """Flat lines where heights are promised are a suspicion, and their heights NaN, not 0."""
    flat = shapely.LineString([(E0, N0), (E0 + 5, N0)])
    items, verdict = read(tmp_path, drawn(tmp_path, [flat]))
    assert kinds(verdict) == ([], ["no_heights"])
    fitted = fit_items(items, "2031-survey", survey_of("walls.gpkg"), site())
    assert np.isnan(shapely.get_coordinates(fitted.geometry, include_z=True)[:, 2]).all()


def site():
    return Site(
        schema_version=1,
        name="invented",
        crs=CRS,
        vertical_datum="invented",
        origin=ORIGIN,
        sea_levels=[{"name": "msl", "height_m": 0.0}],
        depths_below="msl",
    )


def test_floor_points_are_read_from_a_table(tmp_path):
    """Floor points come from text with their numbers, ids and evidence."""
    items, verdict = read(
        tmp_path, text(tmp_path, HEADER + ROWS), holds="floor_points", columns=Columns(line="line")
    )
    xyz = shapely.get_coordinates(items.geometry, include_z=True)
    np.testing.assert_array_equal(xyz, [[E0, N0, -2.5], [E0 + 1, N0, -2.6]])
    assert items["evidence"].tolist() == ["excavated", "probe"]
    assert items["line"].tolist() == ["F1", "F2"]
    assert items["row"].tolist() == [2, 3]
    assert kinds(verdict) == ([], [])


SPREADSHEET = (HEADER + ROWS).replace(",", ";").replace(".", ",")


@pytest.mark.parametrize(
    ("content", "columns"),
    [
        pytest.param(b"\xef\xbb\xbf" + (HEADER + ROWS).encode(), {}, id="byte order mark"),
        pytest.param((HEADER + ROWS).replace("\n", "\r"), {}, id="CR alone"),
        pytest.param((HEADER + ROWS).replace("\n", "\r\n"), {}, id="CRLF"),
        pytest.param(HEADER + ROWS + "\n,,,,\n\n", {}, id="blank rows at the end"),
        pytest.param(
            SPREADSHEET, {"separator": "semicolon", "decimal": ","}, id="semicolons, decimal commas"
        ),
        pytest.param((HEADER + ROWS).replace(",", "\t"), {"separator": "tab"}, id="tabs"),
        pytest.param((HEADER + ROWS).replace(",", "  "), {"separator": "space"}, id="blanks"),
        pytest.param(HEADER + ROWS, {"easting": 1, "northing": 2, "vertical": 3}, id="numbers"),
        pytest.param((HEADER + ROWS).replace("evidence", "Evidence"), {}, id="capitals"),
    ],
)
def test_tables_are_read_however_they_were_saved(tmp_path, content, columns):
    """Two floors come out of every way in which programs save the same table."""
    name = text(tmp_path, content)
    items, verdict = read(tmp_path, name, holds="floor_points", columns=Columns(**columns))
    assert kinds(verdict) == ([], [])
    assert items["evidence"].tolist() == ["excavated", "probe"]
    assert items.geometry.x.tolist() == [E0, E0 + 1]


@pytest.mark.parametrize(
    ("content", "kind", "row"),
    [
        pytest.param(HEADER, "no_rows", None, id="header only"),
        pytest.param("\n\n", "no_rows", None, id="blank lines only"),
        pytest.param(HEADER + f"{E0},north,-2,F1,probe\n", "no_number", 2, id="word"),
        pytest.param(HEADER + f"{E0},nan,-2,F1,probe\n", "no_number", 2, id="nan"),
        pytest.param(HEADER + ROWS + f"{E0},{N0},-inf,F1,probe\n", "no_number", 4, id="inf"),
        pytest.param(HEADER + f"{E0},{N0},1_000,F1,probe\n", "no_number", 2, id="underscore"),
        pytest.param(HEADER + f"{E0},{N0},-2.5 m,F1,probe\n", "no_number", 2, id="unit"),
        pytest.param(HEADER + "500100,5,4200100,5,-2,5,F,probe\n", "row_too_wide", 2, id="comma"),
        pytest.param(HEADER + f"{E0 * 1e9},{N0},-2,F1,probe\n", "far_from_site", None, id="huge"),
        pytest.param(HEADER + f"{E0},1e300,-2,F1,probe\n", "far_from_site", None, id="1e300"),
        pytest.param(
            HEADER + ROWS + f"{E0},42001001,-2,F1,probe\n", "far_from_site", 4, id="a digit"
        ),
        pytest.param(HEADER + f"{E0},{N0},-99999,F1,probe\n", "impossible_vertical", 2, id="mark"),
        pytest.param(HEADER + f'{E0},{N0},-2,"F1,probe\n{ROWS}', "quotes", 2, id="open quote"),
        pytest.param(HEADER + f'{E0},{N0},-2,"F"1,probe\n', "quotes", 2, id="quote within"),
        pytest.param("easting,height\n1,2\n", "column_missing", 1, id="no northing"),
        pytest.param("easting,northing,height,height\n1,2,3,4\n", "column_twice", 1, id="twice"),
        pytest.param(
            f"easting,northing,height,note,Note\n{E0},{N0},1,a,b\n", "column_twice", 1, id="notes"
        ),
        pytest.param((HEADER + ROWS).replace(",", ";"), "wrong_separator", 1, id="semicolons"),
        pytest.param(HEADER.encode("utf-16"), "not_text", None, id="UTF-16"),
        pytest.param(b"PK\x03\x04\x00\x00\x08" * 50, "not_text", None, id="a spreadsheet"),
    ],
)
def test_a_table_that_cant_be_read_right_is_refused_by_row(tmp_path, content, kind, row):
    """Broken tables end in the fault that names what is wrong, with its row where there is one."""
    _, verdict = read(tmp_path, text(tmp_path, content), holds="floor_points")
    assert (kind, row) in [(fault.kind, fault.row) for fault in verdict.faults]


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        pytest.param(HEADER + ROWS + f"{E0},,-2,F1,probe\n", "empty_cell", id="empty"),
        pytest.param(HEADER + ROWS + f"{E0},{N0},-9999,F1,probe\n", "empty_cell", id="no value"),
        pytest.param(HEADER + ROWS + f"{E0},{N0},-2,F1\n", "row_too_short", id="short"),
        pytest.param(HEADER + ROWS + f"{E0},{N0},-2,F1,probed\n", "odd_evidence", id="evidence"),
        pytest.param(
            HEADER + ROWS + f'{E0},{N0},-2,"F1\nF2",probe\n', "cell_over_lines", id="two lines"
        ),
        pytest.param(
            (HEADER + ROWS).replace("F1", "Füße").encode("latin-1"), "not_utf8", id="latin"
        ),
    ],
)
def test_what_is_doubtful_in_a_table_is_shown_and_the_rest_read(tmp_path, content, kind):
    """Doubtful rows are suspicions, and the two good floors are read all the same."""
    columns = Columns(no_value=["-9999"])
    items, verdict = read(tmp_path, text(tmp_path, content), holds="floor_points", columns=columns)
    assert verdict.faults == []
    assert kind in kinds(verdict)[1]
    assert items.geometry.x.tolist()[:2] == [E0, E0 + 1]


def test_a_misspelt_evidence_is_named_with_the_nearest_right_one(tmp_path):
    """An unknown evidence counts last, and the suspicion says which word was likely meant."""
    content = HEADER + f"{E0},{N0},-2,F1,excavatd\n"
    _, verdict = read(tmp_path, text(tmp_path, content), holds="floor_points")
    assert verdict.suspicions[0].remedy == "did you mean 'excavated'?"


def test_thickness_with_a_decimal_comma_is_read_as_the_table_says(tmp_path):
    """Attributes that are numbers follow columns.decimal, as the coordinates do."""
    content = f"easting;northing;height;kind;thickness_m\n{int(E0)},0;{int(N0)},0;-2,0;jar;0,65\n"
    columns = Columns(separator="semicolon", decimal=",")
    items, _ = read(tmp_path, text(tmp_path, content), holds="features", columns=columns)
    assert items["thickness_m"].tolist() == [0.65]


@pytest.mark.parametrize("thickness", ["0.6 m", "0", "-0.5", "60", "inf", "thick"])
def test_a_thickness_that_cant_be_one_is_refused(tmp_path, thickness):
    """A thickness of no length is a fault with its row, not a wall of the survey's own."""
    name = drawn(tmp_path, [shapely.LineString(LINE)], thickness_m=[thickness])
    _, verdict = read(tmp_path, name, wall_thickness_m=0.6)
    assert [(f.kind, f.row) for f in verdict.faults] == [("bad_thickness", 1)]


POINT = shapely.Point(E0, N0, -2)
INFINITE = shapely.LineString([(E0, N0, -2), (np.inf, N0, -2)])


def _cut(folder):
    whole = (folder / drawn(folder, [shapely.LineString(LINE)], "whole.gpkg")).read_bytes()
    return text(folder, whole[:5000], "walls.gpkg")


def _folder(folder):
    (folder / "walls.gpkg").mkdir()
    return "walls.gpkg"


def _two_layers(folder):
    drawn(folder, [shapely.LineString(LINE)])
    table = gpd.GeoDataFrame(geometry=[shapely.LineString(LINE)], crs=CRS)
    pyogrio.write_dataframe(table, folder / "walls.gpkg", layer="rubble", append=True)
    return "walls.gpkg"


def _attributes(folder):
    pyogrio.write_dataframe(gpd.pd.DataFrame({"a": [1]}), folder / "walls.gpkg", layer="notes")
    return "walls.gpkg"


WALL_FAULTS = {
    "empty layer": (lambda f: drawn(f, []), "no_rows", None),
    "a point": (lambda f: drawn(f, [POINT]), "wrong_shape", 1),
    "lines and points": (
        lambda f: geojson(
            f,
            [
                {"type": "LineString", "coordinates": LINE},
                {"type": "Point", "coordinates": LINE[0]},
            ],
        ),
        "wrong_shape",
        2,
    ),
    "infinite": (lambda f: drawn(f, [shapely.LineString(LINE), INFINITE]), "not_finite", 2),
    "null geometry only": (lambda f: geojson(f, [None]), "no_rows", None),
    "empty geometry": (lambda f: drawn(f, [shapely.LineString()]), "no_rows", None),
    "zero length": (lambda f: drawn(f, [shapely.LineString(LINE[:1] * 2)]), "no_rows", None),
    "other CRS": (
        lambda f: drawn(f, [shapely.LineString(LINE)], crs="EPSG:32626"),
        "crs_contradiction",
        None,
    ),
    "one stray": (
        lambda f: drawn(f, [shapely.LineString(LINE), shapely.LineString(np.array(LINE) * 1.1)]),
        "far_from_site",
        2,
    ),
    "swapped": (
        lambda f: drawn(f, [shapely.LineString(np.array(LINE)[:, [1, 0, 2]])]),
        "axes_swapped",
        None,
    ),
    "binary": (lambda f: text(f, bytes(range(256)) * 20, "walls.gpkg"), "unreadable", None),
    "cut short": (_cut, "unreadable", None),
    "no JSON": (lambda f: text(f, '{"type": "FeatureColl', "walls.geojson"), "unreadable", None),
    "unknown ending": (lambda f: text(f, "no drawing at all", "walls.abc"), "unreadable", None),
    "empty file": (lambda f: text(f, "", "walls.gpkg"), "file_empty", None),
    "a folder": (_folder, "not_a_file", None),
    "missing": (lambda _: "wals.gpkg", "file_missing", None),
    "two layers": (_two_layers, "layer_unnamed", None),
    "no drawing": (_attributes, "no_geometry", None),
    "two columns": (
        lambda f: drawn(
            f, [shapely.LineString(LINE)], "w.geojson", "EPSG:4326", note=["a"], NOTE=["b"]
        ),
        "column_twice",
        1,
    ),
    "nested": (
        lambda f: geojson(
            f,
            [
                {
                    "type": "GeometryCollection",
                    "geometries": [{"type": "Point", "coordinates": LINE[0]}],
                }
            ],
        ),
        "wrong_shape",
        1,
    ),
    "height mark": (
        lambda f: drawn(f, [shapely.LineString([(E0, N0, -32768), (E0 + 1, N0, -2)])]),
        "impossible_vertical",
        1,
    ),
    "broken WKB": (lambda f: gpkg_blob(f, b"\x01\x02\x00\x00\x00\xff\xff"), "no_rows", None),
}


@pytest.mark.parametrize("case", WALL_FAULTS)
def test_a_drawing_that_cant_be_used_ends_in_a_fault(tmp_path, case):
    """Broken or misplaced drawings end in the fault that names what is wrong, never a traceback."""
    make, kind, row = WALL_FAULTS[case]
    _, verdict = read(tmp_path, make(tmp_path))
    assert (kind, row) in [(fault.kind, fault.row) for fault in verdict.faults]


def test_an_empty_drawing_among_others_is_left_out_and_named(tmp_path):
    """A feature without geometry is a suspicion with its row; the others are read."""
    line = {"type": "LineString", "coordinates": LINE}
    items, verdict = read(tmp_path, geojson(tmp_path, [line, None]))
    assert len(items) == 1
    assert [(s.kind, s.row) for s in verdict.suspicions] == [("no_shape", 2)]


def test_lists_in_attributes_are_read_as_texts(tmp_path):
    """An attribute that is a list, as GeoJSON allows, becomes a text instead of a failure."""
    line = {"type": "LineString", "coordinates": LINE}
    items, verdict = read(tmp_path, geojson(tmp_path, [line], note=["a", "b"], kind={"x": 1}))
    assert verdict.faults == []
    assert "a" in items["note"].iloc[0]


def test_an_attribute_named_geometry_does_no_harm(tmp_path):
    """A property that bears the geometry's own name is passed over."""
    line = {"type": "LineString", "coordinates": LINE}
    items, verdict = read(tmp_path, geojson(tmp_path, [line], geometry="x", geom="y"))
    assert verdict.faults == []
    assert items.geometry.length.tolist() == [5.0]


def test_flat_and_raised_lines_may_stand_in_one_file(tmp_path):
    """In a file of 2-D and 3-D lines each keeps what it has."""
    raised = {"type": "LineString", "coordinates": LINE}
    flat = {"type": "LineString", "coordinates": [point[:2] for point in LINE[::-1]]}
    flat["coordinates"][0] = [E0, N0 + 5]
    items, verdict = read(tmp_path, geojson(tmp_path, [raised, flat]))
    z = shapely.get_coordinates(items.geometry, include_z=True)[:, 2]
    assert z[:2].tolist() == [-2.0, -2.1]
    assert kinds(verdict) == ([], ["no_heights"])
    assert np.isnan(z[2:]).all()


def test_measures_are_passed_over(tmp_path):
    """Lines with measures (M) are read without them."""
    numbers = [*LINE[0], 0.0, *LINE[1], 5.0]
    wkb = struct.pack("<BII8d", 1, 3002, 2, *numbers)
    items, verdict = read(tmp_path, gpkg_blob(tmp_path, wkb, z=1, m=1))
    assert verdict.faults == []
    assert shapely.get_coordinates(items.geometry, include_z=True).tolist() == [[*p] for p in LINE]


def test_a_layer_of_any_geometry_in_3d_is_refused_with_the_way_out(tmp_path):
    """A layer declared as 'any geometry, 3-D', which can't be read, is told how to be saved."""
    wkb = shapely.to_wkb(shapely.LineString(LINE), output_dimension=3, flavor="iso")
    _, verdict = read(tmp_path, gpkg_blob(tmp_path, wkb, kind="GEOMETRY", z=1))
    assert "LineStringZ" in verdict.faults[0].remedy


def test_curves_are_read_as_the_lines_that_follow_them(tmp_path):
    """A circular arc becomes a line along it: half a circle of 1 m is 3.14 m long."""
    wkb = struct.pack("<BII6d", 1, 8, 3, E0, N0, E0 + 1, N0 + 1, E0 + 2, N0)
    flat = Vertical(meaning="none")
    items, verdict = read(tmp_path, gpkg_blob(tmp_path, wkb, kind="CIRCULARSTRING"), vertical=flat)
    assert verdict.faults == []
    assert items.geometry.length.tolist() == pytest.approx([np.pi], rel=1e-3)


DXF = """0
SECTION
2
ENTITIES
0
LINE
8
WALLS
10
500100.0
20
4200100.0
30
-2.0
11
500105.0
21
4200100.0
31
-2.1
0
ARC
8
WALLS
10
500103.0
20
4200103.0
30
-2.0
40
1.0
50
0.0
51
180.0
0
ENDSEC
0
EOF
"""


def test_a_dxf_drawing_is_read(tmp_path):
    """A DXF's line and arc are read, in the CRS that the config names."""
    items, verdict = read(tmp_path, text(tmp_path, DXF, "walls.dxf"))
    assert verdict.faults == []
    assert items.geometry.length.tolist() == pytest.approx([5.0, np.pi], rel=1e-3)


def test_a_shapefile_without_its_prj_is_taken_at_the_configs_word(tmp_path):
    """A Shapefile that declares no CRS is read in the configured one."""
    name = drawn(tmp_path, [shapely.LineString(LINE)], "walls.shp")
    (tmp_path / "walls.prj").unlink()
    items, verdict = read(tmp_path, name)
    assert verdict.faults == []
    assert items.geometry.length.tolist() == [5.0]


def test_tables_without_drawing_beside_the_one_layer_do_not_count(tmp_path):
    """A GeoPackage whose only other layer is a table without geometry needs no `layer`."""
    name = drawn(tmp_path, [shapely.LineString(LINE)])
    styles = gpd.pd.DataFrame({"style": ["a"]})
    pyogrio.write_dataframe(styles, tmp_path / name, layer="layer_styles", append=True)
    items, verdict = read(tmp_path, name)
    assert (len(items), verdict.faults) == (1, [])


def test_a_layer_is_read_by_its_name_and_a_wrong_name_is_refused(tmp_path):
    """`layer` chooses among several; one that isn't there is a fault that lists those that are."""
    name = _two_layers(tmp_path)
    assert len(read(tmp_path, name, layer="rubble")[0]) == 1
    _, verdict = read(tmp_path, name, layer="ruble")
    assert verdict.faults[0].allowed == "the file's layers: walls, rubble"


@pytest.mark.parametrize("name", ["walls.gpkg", "floors.csv"])
def test_a_file_that_may_not_be_read_is_a_fault(tmp_path, monkeypatch, name):
    """Where the system refuses to open a file, the verdict says so and has no checksum."""
    (tmp_path / name).write_text("x")

    def refuse(self, *_, **__):
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr("pathlib.Path.open", refuse)
    _, verdict = read(tmp_path, name, holds="floor_points")
    assert kinds(verdict)[0] == ["unreadable"]
    assert verdict.sha256 is None


def test_degrees_are_checked_in_their_own_order(tmp_path):
    """Longitude before latitude lies at the site; the other way round the fault says to swap."""
    there = shapely.LineString([(-33.0, 37.9475), (-32.9999, 37.9475)])
    name = drawn(tmp_path, [there], "a.geojson", "EPSG:4326")
    flat = Vertical(meaning="none")
    assert len(read(tmp_path, name, crs="EPSG:4326", vertical=flat)[0]) == 1
    swapped = shapely.LineString(shapely.get_coordinates(there)[:, ::-1])
    name = drawn(tmp_path, [swapped], "b.geojson", "EPSG:4326")
    _, verdict = read(tmp_path, name, crs="EPSG:4326", vertical=flat)
    assert verdict.faults[0].kind == "axes_swapped"
    assert "it lies at the site" in verdict.faults[0].remedy


def test_a_point_table_cannot_hold_walls(tmp_path):
    """A table of points where lines are promised is refused, each row named."""
    _, verdict = read(tmp_path, text(tmp_path, HEADER + ROWS))
    assert [(f.kind, f.row) for f in verdict.faults] == [("wrong_shape", 2), ("wrong_shape", 3)]


def test_floors_without_heights_are_refused(tmp_path):
    """A floor point without a height would have no depth, so it is a fault with its row."""
    name = drawn(tmp_path, [shapely.Point(E0, N0)])
    _, verdict = read(tmp_path, name, holds="floor_points")
    assert [(f.kind, f.row) for f in verdict.faults] == [("no_height", 1)]


def test_a_table_without_header_is_refused(tmp_path):
    """Without column names attributes can't be told apart, so the table is refused."""
    columns = Columns(header=False, easting=1, northing=2, vertical=3)
    _, verdict = read(tmp_path, text(tmp_path, ROWS), holds="floor_points", columns=columns)
    assert kinds(verdict)[0] == ["no_header"]
