"""GeoPackages: the contract's fields, missing heights kept missing, the same bytes each time."""

import sqlite3

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from drawn import box, line_table, plan_of, site

from wrackline import contract, vectors
from wrackline.environment import FIXED_DATE
from wrackline.publish.packages import TABLES, title, write_package

CRS = "EPSG:32625"
EAST, NORTH = 500_000, 4_200_000
ABOUT = {
    "site": "Drawn (invented)",
    "depths": "below msl, +0.000 m from the datum",
    "vertical_datum": "invented",
    "caution": "Not for navigation.",
}


@pytest.fixture
def plan():
    """Return the plan of one room, half of whose walls have heights."""
    south, east, *others = box(EAST, NORTH, EAST + 4, NORTH + 3)
    lines = [[(*south[0], -2.0), south[1]], [(*p, -2.0) for p in east], *others]
    where = site(crs=CRS, origin=(EAST, NORTH))
    features = [
        {"geometry": shapely.Point(EAST + 1, NORTH + 1, -2.5), "kind": "jar"},
        {"geometry": shapely.box(EAST, NORTH, EAST + 1, NORTH + 1), "kind": "paving"},
    ]
    return plan_of(line_table(lines, crs=CRS), where=where, features=features)


@pytest.fixture(autouse=True)
def _fixed_date(monkeypatch):
    monkeypatch.setenv("OGR_CURRENT_DATE", FIXED_DATE)


def everything(plan):
    """Return the plan and the other layers of the site's package, these without rows."""
    rest = [name for name in contract.LAYERS if name not in plan]
    return plan | {name: vectors.empty(contract.columns(name), CRS) for name in rest}


def test_every_layer_comes_back_with_its_fields_and_rows(tmp_path, plan):
    """All layers are there, empty ones too, with the contract's fields in order; then tables."""
    layers = everything(plan)
    write_package(layers, tmp_path / "site.gpkg", crs=CRS, about=ABOUT)
    assert pyogrio.list_layers(tmp_path / "site.gpkg")[:, 0].tolist() == [*layers, *TABLES]
    for name, table in layers.items():
        again = gpd.read_file(tmp_path / "site.gpkg", layer=name)
        assert list(again.columns) == [*contract.columns(name), "geometry"]
        assert len(again) == len(table)
        assert again.crs.to_epsg() == 32625


def test_a_missing_height_is_missing_in_the_package(tmp_path, plan):
    """NaN heights of wall lines come back as NaN, beside those that were taken; never as 0."""
    write_package(plan, tmp_path / "plan.gpkg", crs=CRS, about=ABOUT)
    walls = gpd.read_file(tmp_path / "plan.gpkg", layer="wall_lines")
    z = [shapely.get_coordinates(line, include_z=True)[:, 2].tolist() for line in walls.geometry]
    assert str(z) == "[[-2.0, nan], [-2.0, -2.0], [nan, nan], [nan, nan]]"
    raw = pyogrio.raw.read(tmp_path / "plan.gpkg", layer="wall_lines")
    assert raw[0]["geometry_type"] == "LineString Z"


def test_lines_without_heights_are_in_space_all_the_same(tmp_path, plan):
    """A layer that declares heights has them in every line, NaN where nobody took any.

    OGC 12-128, R27 and R32: z is mandatory where the column says 1. An old plan's lines had none.
    """
    walls = plan["wall_lines"]
    walls = walls.set_geometry(shapely.force_2d(walls.geometry.to_numpy()), crs=CRS)
    write_package({"wall_lines": walls}, tmp_path / "plan.gpkg", crs=CRS, about=ABOUT)
    again = gpd.read_file(tmp_path / "plan.gpkg", layer="wall_lines")
    assert again.geometry.has_z.all()
    assert np.isnan(shapely.get_coordinates(again.geometry, include_z=True)[:, 2]).all()
    np.testing.assert_array_equal(
        shapely.get_coordinates(again.geometry), shapely.get_coordinates(walls.geometry)
    )


def test_null_figures_are_null_in_sql(tmp_path, plan):
    """A depth that can't be had is NULL in the database, not NaN and not 0."""
    write_package(plan, tmp_path / "plan.gpkg", crs=CRS, about=ABOUT)
    base = sqlite3.connect(tmp_path / "plan.gpkg")
    (kind,) = base.execute("select typeof(bed_depth_m) from rooms").fetchone()
    base.close()
    assert kind == "null"


def test_written_twice_a_package_has_the_same_bytes(tmp_path, plan):
    """The same layers give the same file, whenever they are written and over whatever."""
    (tmp_path / "b.gpkg").write_text("what stood there before")
    for name in ("a.gpkg", "b.gpkg"):
        write_package(everything(plan), tmp_path / name, crs=CRS, about=ABOUT)
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


def test_the_package_is_one_by_the_standard(tmp_path, plan):
    """OGC 12-128 by SQL: R2 ids, R6 integrity, R7 foreign keys, R11 reference systems, R15 date."""
    write_package(everything(plan), tmp_path / "site.gpkg", crs=CRS, about=ABOUT)
    base = sqlite3.connect(tmp_path / "site.gpkg")
    one = {
        name: base.execute(f"pragma {name}").fetchall()
        for name in ("application_id", "user_version", "integrity_check", "foreign_key_check")
    }
    systems = {row[0] for row in base.execute("select srs_id from gpkg_spatial_ref_sys")}
    dates = {row[0] for row in base.execute("select last_change from gpkg_contents")}
    blobs = [row[0] for row in base.execute("select geom from wall_lines")]
    base.close()
    assert one["application_id"] == [(0x47504B47,)]
    assert one["user_version"] in ([(10200,)], [(10300,)], [(10400,)])
    assert one["integrity_check"] == [("ok",)]
    assert one["foreign_key_check"] == []
    assert {-1, 0, 4326, 32625} <= systems
    assert len(dates) == 1
    assert next(iter(dates)).startswith(FIXED_DATE[:19])
    assert all(blob[:3] == b"GP\x00" for blob in blobs)
    assert {int.from_bytes(blob[4:8], "little") for blob in blobs} == {32625}


def test_every_layer_says_what_it_is(tmp_path, plan):
    """A layer's description holds sea level, datum, caution; each field its title and meaning."""
    write_package(plan, tmp_path / "plan.gpkg", crs=CRS, about=ABOUT)
    base = sqlite3.connect(tmp_path / "plan.gpkg")
    (text,) = base.execute(
        "select description from gpkg_contents where table_name = 'rooms'"
    ).fetchone()
    query = "select name, description from gpkg_data_columns where column_name = 'floor_area_m2'"
    words = base.execute(query).fetchall()
    base.close()
    assert "below msl" in text
    assert "datum: invented" in text
    assert "Not for navigation" in text
    assert words == [("floor area (m²)", "area between wall faces, on the ground")]


def test_every_layer_is_told_and_every_unit_named():
    """Each layer has a sentence, each unit of a field its name and sign, no two titles are one."""
    assert set(contract.ABOUT) >= set(contract.LAYERS)
    for fields in (*contract.LAYERS.values(), *contract.TABLES.values()):
        assert {field.unit for field in fields} <= {"", *contract.UNITS}
        assert len({title(field) for field in fields}) == len(fields)


def test_a_layer_with_other_fields_is_refused(tmp_path, plan):
    """A table that isn't the contract's is a mistake of ours and never written."""
    broken = {"rooms": plan["rooms"].drop(columns="kind")}
    with pytest.raises(KeyError, match=r"columns missing: \['kind'\]"):
        write_package(broken, tmp_path / "plan.gpkg", crs=CRS, about=ABOUT)
    assert not (tmp_path / "plan.gpkg").exists()


def test_rooms_of_one_and_of_several_parts_stand_in_one_layer(tmp_path, plan):
    """Single polygons become multi-polygons of one part; nothing is lost by it."""
    write_package(plan, tmp_path / "plan.gpkg", crs=CRS, about=ABOUT)
    again = gpd.read_file(tmp_path / "plan.gpkg", layer="rooms")
    assert again.geom_type.tolist() == ["MultiPolygon"]
    np.testing.assert_allclose(again.geometry.area, [12.0])


def test_ground_that_is_empty_is_written_as_empty(tmp_path):
    """A survey whose ground is nothing has an empty outline of the layer's own type."""
    values = {name: [None] for name in contract.columns("surveys")} | {"survey": ["2031-a"]}
    empty = shapely.GeometryCollection()
    table = gpd.GeoDataFrame(values, geometry=gpd.GeoSeries([empty], crs=CRS))
    write_package({"surveys": table}, tmp_path / "s.gpkg", crs=CRS, about=ABOUT)
    again = gpd.read_file(tmp_path / "s.gpkg", layer="surveys")
    assert len(again) == 1
    assert again.geometry.is_empty.all() or again.geometry.isna().all()
