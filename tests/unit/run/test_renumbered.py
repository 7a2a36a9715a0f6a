"""What the run says of numbers that changed: which, where and by which file."""

import json

import geopandas as gpd
import pytest
import shapely

from wrackline.numbers import NUMBERED
from wrackline.renumbered import say_renumbered

CRS = "EPSG:32625"


def write(record, seasons, files):
    """Write a record: by season its rooms, and the raw files behind them."""
    sums = {}
    for season, rooms in seasons.items():
        package = record / "seasons" / season / "plan.gpkg"
        package.parent.mkdir(parents=True)
        for layer, (field, _) in NUMBERED.items():
            shapes = rooms if layer == "rooms" else {}
            table = gpd.GeoDataFrame({field: list(shapes)}, geometry=list(shapes.values()), crs=CRS)
            table.to_file(package, layer=layer, driver="GPKG", geometry_type="Polygon")
        sums[f"seasons/{season}/plan.gpkg"] = {"bytes": 1, "sha256": repr(rooms)}
    surveys = gpd.GeoDataFrame(
        {"file": list(files), "sha256": list(files.values())},
        geometry=[shapely.box(0, 0, 1, 1)] * len(files),
        crs=CRS,
    )
    surveys.to_file(record / "site.gpkg", layer="surveys", driver="GPKG")
    (record / "manifest.json").write_text(json.dumps({"files": sums}))


OLD = {"R000-000": shapely.box(0, 0, 4, 3), "R010-000": shapely.box(10, 0, 14, 3)}
MOVED = {"R000-001": shapely.box(0, 0.6, 4, 3.6), "R010-000": OLD["R010-000"]}


@pytest.fixture
def site(tmp_path):
    """Return a site with a record of two seasons."""
    write(tmp_path / "results", {"2031": OLD, "2032": OLD}, {"walls.gpkg": "a"})
    return tmp_path


def test_a_mended_file_and_what_it_renamed_are_said(site):
    """The number before and now, how far it moved on which plan, and the file that changed."""
    write(site / "work" / "publish", {"2031": MOVED, "2032": MOVED}, {"walls.gpkg": "b"})
    first, change, last = say_renumbered(site)
    assert first.startswith("1 numbers that are not in print changed (changed: walls.gpkg)")
    assert "room R000-000 is R000-001 now: on the plan of 2031 it lies 0.60 m" in change
    assert "make freeze" in last


def test_nothing_is_said_where_nothing_changed(site):
    """Equal plans are not even opened; a new season beside them renames nothing."""
    write(site / "work" / "publish", {"2031": OLD, "2032": OLD, "2033": OLD}, {"walls.gpkg": "a"})
    assert say_renumbered(site) == []


def test_a_new_older_plan_is_named(site):
    """Where an older season came in, its file is what is new."""
    files = {"walls.gpkg": "a", "old.dxf": "c"}
    write(site / "work" / "publish", {"1986": MOVED, "2031": MOVED, "2032": MOVED}, files)
    assert "(new: old.dxf)" in say_renumbered(site)[0]


def test_many_changes_are_counted(site):
    """Of very many, twenty are listed and the others counted."""
    many = {f"R{k:03d}-000": shapely.box(k, 0, k + 0.9, 1) for k in range(0, 90, 3)}
    named = {f"{number}b": shape for number, shape in many.items()}
    for record, rooms in ((site / "old" / "results", many), (site / "old" / "work/publish", named)):
        write(record, {"2031": rooms}, {"walls.gpkg": "a"})
    lines = say_renumbered(site / "old")
    assert lines[0].startswith("30 numbers")
    assert "no survey file changed, but config or code did" in lines[0]
    assert "and 10 more" in lines[-2]
