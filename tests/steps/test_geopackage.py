"""The GeoPackages held to the standard by SQL alone: OGC 12-128, requirements by their number.

Requirement numbers were read in the standard's public text (spec/core).
"""

import datetime as dt
import sqlite3
import struct

import pyogrio
import pytest

from wrackline import contract

PACKAGES = ("site.gpkg", "seasons/2031/plan.gpkg")
APPLICATION_ID = 0x47504B47
VERSIONS = (10200, 10300, 10400)
COLUMN_TYPES = ("BOOLEAN", "TINYINT", "SMALLINT", "MEDIUMINT", "INT", "INTEGER", "FLOAT", "DOUBLE")
COLUMN_TYPES += ("REAL", "TEXT", "BLOB", "DATE", "DATETIME")
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


def layers(package):
    """Return the names of the package's tables of features."""
    return [name for (name,) in rows(package, "SELECT table_name FROM gpkg_contents")]


def test_file(package):
    """R1 to R3: an SQLite file that says that it is a GeoPackage, and of which version."""
    path, _ = package
    assert path.read_bytes()[:16] == b"SQLite format 3\0"
    assert rows(package, "PRAGMA application_id") == [(APPLICATION_ID,)]
    assert rows(package, "PRAGMA user_version")[0][0] in VERSIONS


def test_integrity(package):
    """R6 and R7: the file is sound and no foreign key dangles."""
    assert rows(package, "PRAGMA integrity_check") == [("ok",)]
    assert rows(package, "PRAGMA foreign_key_check") == []


def test_reference_systems(package):
    """R10 to R12 and R16: the three required systems, and every one that is used, are defined."""
    defined = {srs for (srs,) in rows(package, "SELECT srs_id FROM gpkg_spatial_ref_sys")}
    assert defined >= {-1, 0, 4326, 32625}
    used = {srs for (srs,) in rows(package, "SELECT srs_id FROM gpkg_contents")}
    used |= {srs for (srs,) in rows(package, "SELECT srs_id FROM gpkg_geometry_columns")}
    assert used == {32625}


def test_contents(package):
    """R13 to R15 and R18: contents name tables that exist, with a date in the standard's form."""
    known = {name for (name,) in rows(package, "SELECT name FROM sqlite_master")}
    for name, kind, changed in rows(
        package, "SELECT table_name, data_type, last_change FROM gpkg_contents"
    ):
        assert name in known
        assert kind == "features"
        dt.datetime.strptime(changed, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=dt.UTC)
    of_season = (*contract.PLAN_LAYERS, *contract.BESIDE_PLAN)
    expected = contract.LAYERS if package[0].name == "site.gpkg" else of_season
    assert sorted(layers(package)) == sorted(expected)


def test_geometry_columns(package):
    """R21 to R28 and R146: one geometry column a table, of a known type, in its CRS, z told."""
    found = rows(package, "SELECT table_name, geometry_type_name, z, m FROM gpkg_geometry_columns")
    assert sorted(name for name, *_ in found) == sorted(layers(package))
    for name, kind, z, m in found:
        assert kind == kind.upper()
        assert m in (0, 1, 2)
        if name in GEOMETRIES:
            assert (kind, z) == GEOMETRIES[name], name


def test_columns(package):
    """R5, R29 and R30: integer primary keys, one geometry column, types of the standard."""
    query = "SELECT table_name, column_name, geometry_type_name FROM gpkg_geometry_columns"
    for name, geometry, declared in rows(package, query):
        columns = rows(package, f'PRAGMA table_info("{name}")')
        assert [(c[1], c[2].upper()) for c in columns if c[5]] == [("fid", "INTEGER")]
        types = {column[1]: column[2].upper() for column in columns}
        assert types.pop(geometry) == declared
        assert {kind.split("(")[0] for kind in types.values()} <= set(COLUMN_TYPES)
        assert set(types) == {"fid", *contract.columns(name)}


def test_geometries(package):
    """R19, R33 and R152: blobs start with GP and version 0, in the table's CRS, none empty."""
    for name in layers(package):
        blobs = [blob for (blob,) in rows(package, f'SELECT geom FROM "{name}"')]  # noqa: S608
        for blob in blobs:
            assert blob[:3] == b"GP\0"
            little, empty = blob[3] & 1, blob[3] >> 4 & 1
            assert struct.unpack("<i" if little else ">i", blob[4:8]) == (32625,)
            assert not empty


def test_spatial_indexes(package):
    """R58 ff.: every table has an R-tree, listed as an extension that only writers must know."""
    listed = rows(
        package,
        "SELECT table_name, scope FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index'",
    )
    assert sorted(listed) == sorted((name, "write-only") for name in layers(package))
    for name in layers(package):
        (found,) = rows(package, f'SELECT count(*) FROM "rtree_{name}_geom"')  # noqa: S608
        assert found == rows(package, f'SELECT count(*) FROM "{name}"')[0]  # noqa: S608


def test_nothing_tells_the_clock(package):
    """The date of change is the project's fixed one, so that equal input gives equal bytes."""
    changed = {date for (date,) in rows(package, "SELECT last_change FROM gpkg_contents")}
    assert changed == {"2000-01-01T00:00:00.000Z"}


def test_layers_explain_themselves(package):
    """Every layer's description has datum, sea level, caution and each field's meaning."""
    for name, text in rows(package, "SELECT table_name, description FROM gpkg_contents"):
        assert "Datum: levelling datum of Callowmer Bay" in text
        assert "below mean sea level 2021-2030, +0.120 m" in text
        assert "Not for navigation" in text
        for field in contract.LAYERS[name]:
            assert f"{field.name}" in text
            assert field.meaning in text


def test_reading_leaves_no_file_beside_it(hamlet):
    """Opening a package with GDAL leaves `results/` as it was."""
    before = sorted(path.name for path in (hamlet / "results").iterdir())
    pyogrio.read_dataframe(hamlet / "results" / "site.gpkg", layer="rooms")
    assert sorted(path.name for path in (hamlet / "results").iterdir()) == before
