"""The GeoPackages held to the standard by SQL alone: OGC 12-128, requirements by their number.

Requirement numbers were read in the standard's public text (spec/core and its annexes). Not held
to it here: the texts of triggers of R-trees (R77), of which only the names are.
"""

import datetime as dt
import re
import sqlite3
import struct
import subprocess
from pathlib import Path

import pandas as pd
import pyogrio
import pytest

from wrackline import contract
from wrackline.io import read_json
from wrackline.publish.packages import TABLES, title

PACKAGES = ("site.gpkg", "seasons/2031/plan.gpkg")
APPLICATION_ID = 0x47504B47
VERSION = 10300
COLUMN_TYPES = ("BOOLEAN", "TINYINT", "SMALLINT", "MEDIUMINT", "INT", "INTEGER", "FLOAT", "DOUBLE")
COLUMN_TYPES += ("REAL", "TEXT", "BLOB", "DATE", "DATETIME")
KINDS = ("GEOMETRY", "POINT", "LINESTRING", "POLYGON", "MULTIPOINT", "MULTILINESTRING")
KINDS += ("MULTIPOLYGON", "GEOMETRYCOLLECTION")
GEOMETRIES = {
    "wall_lines": ("LINESTRING", 1),
    "wall_bodies": ("MULTIPOLYGON", 0),
    "openings": ("LINESTRING", 0),
    "rooms": ("MULTIPOLYGON", 0),
    "buildings": ("MULTIPOLYGON", 0),
    "spot_heights": ("POINT", 1),
    "trenches": ("MULTIPOLYGON", 0),
    "contours": ("LINESTRING", 0),
    "waterlines": ("LINESTRING", 0),
    "surveys": ("MULTIPOLYGON", 0),
    "tracings": ("LINESTRING", 1),
}
OF_THE_STANDARD = (
    "spatial_ref_sys",
    "contents",
    "geometry_columns",
    "tile_matrix_set",
    "tile_matrix",
    "extensions",
    "metadata",
    "metadata_reference",
    "data_columns",
    "data_column_constraints",
)
WRITTEN = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z")


@pytest.fixture(scope="module", params=PACKAGES)
def package(request, hamlet):
    """Return path and read-only connection of a GeoPackage."""
    path = hamlet / "results" / request.param
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        yield path, connection
    connection.close()


def rows(package, query):
    """Return the rows of a query."""
    return package[1].execute(query).fetchall()


def first(package, query):
    """Return the first column of a query's rows."""
    return [row[0] for row in rows(package, query)]


def defined(package, table):
    """Return the columns of a table: name, type, whether null is refused, place in the key."""
    columns = rows(package, f'PRAGMA table_info("{table}")')
    return {name: (kind.upper(), bool(full), key) for _, name, kind, full, _, key in columns}


def layers(package):
    """Return the names of the package's tables of features."""
    return first(package, "SELECT table_name FROM gpkg_contents WHERE data_type = 'features'")


def test_file(package):
    """R1 to R3: an SQLite file that says that it is a GeoPackage, and of which version."""
    path, _ = package
    assert path.read_bytes()[:16] == b"SQLite format 3\0"
    assert rows(package, "PRAGMA application_id") == [(APPLICATION_ID,)]
    assert rows(package, "PRAGMA user_version") == [(VERSION,)]
    assert path.suffix == ".gpkg"


def test_nothing_is_in_it_that_the_standard_does_not_know(package):
    """R4: tables of the standard, of users as contents list them, and of their R-trees alone."""
    known = {f"gpkg_{name}" for name in OF_THE_STANDARD} | {*layers(package), *TABLES}
    for name in first(package, "SELECT name FROM sqlite_master WHERE type IN ('table', 'view')"):
        assert name in known or re.match(r"rtree_(\w+)_geom|sqlite_\w+", name), name


def test_integrity(package):
    """R6 and R7: the file is sound and no foreign key dangles."""
    assert rows(package, "PRAGMA integrity_check") == [("ok",)]
    assert rows(package, "PRAGMA foreign_key_check") == []


def test_reference_systems(package):
    """R10 to R12 and R16: the three required systems, and every one that is used, are defined."""
    assert defined(package, "gpkg_spatial_ref_sys") == {
        "srs_name": ("TEXT", True, 0),
        "srs_id": ("INTEGER", True, 1),
        "organization": ("TEXT", True, 0),
        "organization_coordsys_id": ("INTEGER", True, 0),
        "definition": ("TEXT", True, 0),
        "description": ("TEXT", False, 0),
    }
    query = "SELECT srs_id, organization, organization_coordsys_id FROM gpkg_spatial_ref_sys"
    assert sorted(rows(package, query)) == [
        (-1, "NONE", -1),
        (0, "NONE", 0),
        (4326, "EPSG", 4326),
        (32625, "EPSG", 32625),
    ]
    used = first(package, "SELECT srs_id FROM gpkg_contents WHERE data_type = 'features'")
    used += first(package, "SELECT srs_id FROM gpkg_geometry_columns")
    assert set(used) == {32625}


def test_contents(package):
    """R13 to R15, R18, R118: contents name every table of users, with the date as it must be."""
    known = set(first(package, "SELECT name FROM sqlite_master"))
    for name, kind, changed in rows(
        package, "SELECT table_name, data_type, last_change FROM gpkg_contents"
    ):
        assert name in known
        assert kind == ("attributes" if name in TABLES else "features")
        assert WRITTEN.fullmatch(changed)
        dt.datetime.strptime(changed, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=dt.UTC)
    of_season = (*contract.PLAN_LAYERS, *contract.BESIDE_PLAN)
    expected = contract.LAYERS if package[0].name == "site.gpkg" else of_season
    assert sorted(layers(package)) == sorted(expected)


def test_geometry_columns(package):
    """R21 to R28 and R146: one geometry column a table, of a known type, in its CRS, z told."""
    found = rows(package, "SELECT table_name, geometry_type_name, z, m FROM gpkg_geometry_columns")
    assert sorted(name for name, *_ in found) == sorted(layers(package))
    for name, kind, z, m in found:
        assert kind in KINDS
        assert z in (0, 1, 2)
        assert m == 0
        if name in GEOMETRIES:
            assert (kind, z) == GEOMETRIES[name], name
    joined = "gpkg_contents AS c JOIN gpkg_geometry_columns AS g ON c.table_name = g.table_name"
    assert first(package, f"SELECT count(*) FROM {joined} WHERE c.srs_id != g.srs_id") == [0]  # noqa: S608


def test_columns(package):
    """R5, R29 to R31: integer primary keys, one geometry column, types of the standard."""
    query = "SELECT table_name, column_name, geometry_type_name FROM gpkg_geometry_columns"
    for name, geometry, declared in rows(package, query):
        columns = defined(package, name)
        assert [(c, kind) for c, (kind, _, key) in columns.items() if key] == [("fid", "INTEGER")]
        types = {column: kind for column, (kind, *_) in columns.items()}
        assert types.pop(geometry) == declared
        assert {kind.split("(")[0] for kind in types.values()} <= set(COLUMN_TYPES)
        assert list(types) == ["fid", *contract.columns(name)]


def test_tables_without_places(package):
    """R5 and R119: their key is an integer too, their columns are of the standard's types."""
    for name in TABLES:
        columns = defined(package, name)
        assert [(c, kind) for c, (kind, _, key) in columns.items() if key] == [("fid", "INTEGER")]
        assert {kind.split("(")[0] for kind, *_ in columns.values()} <= set(COLUMN_TYPES)


def test_geometries(package):
    """R19, R32, R33, R152: blobs of version 0 in the table's CRS, of its type, z or not, full."""
    query = "SELECT table_name, geometry_type_name, z FROM gpkg_geometry_columns"
    for name, declared, z in rows(package, query):
        for blob in first(package, f'SELECT geom FROM "{name}"'):  # noqa: S608
            assert blob[:3] == b"GP\0"
            flags = blob[3]
            assert struct.unpack("<i" if flags & 1 else ">i", blob[4:8]) == (32625,)
            assert not flags >> 4 & 1
            kind, has_z = shape_of(blob, flags)
            assert declared in ("GEOMETRY", KINDS[kind])
            assert has_z in ({0: (0,), 1: (1,), 2: (0, 1)}[z])


def shape_of(blob, flags):
    """Return the type in a blob's well-known binary, and whether it has heights (ISO 13249-3)."""
    start = 8 + (0, 32, 48, 48, 64)[flags >> 1 & 7]
    (code,) = struct.unpack("<I" if blob[start] else ">I", blob[start + 1 : start + 5])
    return code % 1000, code // 1000


def test_extensions(package):
    """R58 to R64: each extension is one that OGC adopted, with what defines it and its scope."""
    query = "SELECT table_name, column_name, extension_name, definition, scope FROM gpkg_extensions"
    for table, column, name, definition, scope in rows(package, query):
        assert column is None or column in defined(package, table)
        assert name in ("gpkg_rtree_index", "gpkg_metadata", "gpkg_schema")
        assert definition.startswith("http://www.geopackage.org/spec")
        assert scope == ("write-only" if name == "gpkg_rtree_index" else "read-write")


def test_spatial_indexes(package):
    """R75 to R77: every table has an R-tree, listed for writers alone, kept by version 1.3."""
    query = "SELECT table_name, scope FROM gpkg_extensions WHERE extension_name = '{}'"
    listed = rows(package, query.format("gpkg_rtree_index"))
    assert sorted(listed) == sorted((name, "write-only") for name in layers(package))
    for name in layers(package):
        (found,) = rows(package, f'SELECT count(*) FROM "rtree_{name}_geom"')  # noqa: S608
        assert found == rows(package, f'SELECT count(*) FROM "{name}"')[0]  # noqa: S608
        triggers = first(
            package,
            f"SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = '{name}'",  # noqa: S608
        )
        ends = {trigger.removeprefix(f"rtree_{name}_geom_") for trigger in triggers}
        assert ends == {"insert", "delete", "update1", "update2", "update3", "update4"}


def test_metadata(package):
    """R93 to R102, R140: each layer has the statement beside it, by the standard's two tables."""
    query = "SELECT table_name, column_name, scope FROM gpkg_extensions WHERE extension_name = '{}'"
    assert sorted(rows(package, query.format("gpkg_metadata"))) == [
        ("gpkg_metadata", None, "read-write"),
        ("gpkg_metadata_reference", None, "read-write"),
    ]
    texts = dict(rows(package, "SELECT id, metadata FROM gpkg_metadata"))
    found = rows(
        package,
        "SELECT reference_scope, table_name, column_name, row_id_value, timestamp, md_file_id, "
        "md_parent_id FROM gpkg_metadata_reference",
    )
    assert sorted(row[1] for row in found) == sorted(layers(package))
    for scope, _, column, row, written, mine, parent in found:
        assert (scope, column, row, parent) == ("table", None, None, None)
        assert WRITTEN.fullmatch(written)
        assert "Not for navigation" in texts[mine]


def test_fields_are_explained_as_the_standard_has_it(package):
    """R103 to R114, R141: each field has its title, with its unit, and its meaning."""
    query = "SELECT table_name, column_name, scope FROM gpkg_extensions WHERE extension_name = '{}'"
    assert sorted(rows(package, query.format("gpkg_schema")), key=str) == [
        ("gpkg_data_column_constraints", None, "read-write"),
        ("gpkg_data_columns", None, "read-write"),
    ]
    assert {name: kind for name, (kind, *_) in defined(package, "gpkg_data_columns").items()} == {
        **dict.fromkeys(("table_name", "column_name", "name", "title", "description"), "TEXT"),
        **dict.fromkeys(("mime_type", "constraint_name"), "TEXT"),
    }
    told = rows(package, "SELECT table_name, column_name, name, description FROM gpkg_data_columns")
    expected = [
        (layer, field.name, title(field), field.meaning)
        for layer in layers(package)
        for field in contract.LAYERS[layer]
    ]
    assert sorted(told) == sorted(expected)
    assert len({(layer, name) for layer, _, name, _ in told}) == len(told)
    assert rows(package, "SELECT constraint_name FROM gpkg_data_column_constraints") == []
    assert set(first(package, "SELECT constraint_name FROM gpkg_data_columns")) == {None}


def test_tables_beside_the_layers_explain_them(package, hamlet):
    """Opened anywhere, the package says its units, datum, sea level and caution, and each field."""
    path, _ = package
    tables = {name: pyogrio.read_dataframe(path, layer=name) for name in TABLES}
    said = dict(zip(tables["about"]["topic"], tables["about"]["text"], strict=True))
    if path.name == "site.gpkg":
        assert said == read_json(hamlet / "results" / "manifest.json")["about"]
    assert "Not for navigation" in said["caution"]
    fields = tables["fields"]
    assert fields.groupby("layer").size().to_dict() == {
        layer: len(contract.LAYERS[layer]) for layer in layers(package)
    }
    units = set(fields["unit"].replace("", pd.NA).dropna())
    assert units <= set(tables["units"]["unit"])
    assert dict(zip(tables["units"]["unit"], tables["units"]["name"], strict=True))["m2"] == (
        "square metre"
    )


def test_words_of_a_closed_list_are_those_of_the_contract(package):
    """Where the contract lists all words of a field, no other stands in it."""
    for layer in layers(package):
        for field in contract.LAYERS[layer]:
            if field.words:
                query = f'SELECT DISTINCT "{field.name}" FROM "{layer}"'  # noqa: S608
                assert set(first(package, query)) <= {None, *field.words}, f"{layer}.{field.name}"


@pytest.fixture(scope="module")
def validator():
    """Return the command of GDAL's own validator, which Debian's python3-gdal brings."""
    command = ["/usr/bin/python3", "-m", "osgeo_utils.samples.validate_gpkg"]
    probe = [command[0], "-c", "import osgeo_utils.samples.validate_gpkg"]
    if (
        not Path(command[0]).exists()
        or subprocess.run(probe, check=False, capture_output=True).returncode
    ):
        pytest.skip("no validator: install Debian's python3-gdal")
    return command


def validated(validator, path):
    """Return all that the validator says of a package; nothing where it is in order."""
    done = subprocess.run(
        [*validator, "-k", str(path)], capture_output=True, text=True, check=False, env={}
    )
    return (done.stdout + done.stderr).strip() or done.returncode


def test_a_validator_of_others_finds_nothing(package, validator):
    """GDAL's checks of the whole standard, requirement by requirement."""
    assert validated(validator, package[0]) == 0


@pytest.mark.slow
def test_a_validator_of_others_finds_nothing_in_the_demo(demo, validator):
    """Nor in the packages of all seasons, with an old plan whose lines have no heights."""
    packages = sorted((demo / "results").rglob("*.gpkg"))
    assert len(packages) > 4
    for path in packages:
        assert validated(validator, path) == 0, path.parent.name


def test_nothing_tells_the_clock(package):
    """The date of change is the project's fixed one, so that equal input gives equal bytes."""
    changed = {date for (date,) in rows(package, "SELECT last_change FROM gpkg_contents")}
    assert changed == {"2000-01-01T00:00:00.000Z"}


def test_layers_explain_themselves(package):
    """Every layer's description has what it holds, datum, sea level, caution; and is short."""
    query = "SELECT table_name, description FROM gpkg_contents WHERE data_type = 'features'"
    for name, text in rows(package, query):
        assert text.startswith(contract.ABOUT[name])
        assert "datum: levelling datum of Callowmer Bay" in text
        assert "below mean sea level 2021-2030, +0.120 m" in text
        assert "Not for navigation" in text
        assert len(text) < 400


def test_reading_leaves_no_file_beside_it(hamlet):
    """Opening a package with GDAL leaves `results/` as it was."""
    before = sorted(path.name for path in (hamlet / "results").iterdir())
    pyogrio.read_dataframe(hamlet / "results" / "site.gpkg", layer="rooms")
    assert sorted(path.name for path in (hamlet / "results").iterdir()) == before
