"""Bed points from any file: what is taken, and what is said of broken or misplaced files."""

import datetime as dt

import laspy
import numpy as np
import pyarrow.parquet as pq
import pytest
import rasterio
from affine import Affine
from pyproj import CRS

from wrackline.intake.points import read_bed
from wrackline.model import Columns, LocalGrid, Survey, Vertical
from wrackline.verdict import Source

ORIGIN = (500_000.0, 4_700_000.0)
HEIGHT = Vertical(meaning="height")


def read(folder, file, *, vertical=HEIGHT, crs="EPSG:32633", **more):
    """Return the verdict on a file in `folder`, and its table."""
    survey = Survey(
        name="bed",
        technique="any",
        holds="bed_points",
        file=file,
        crs=None if "local_grid" in more else crs,
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=vertical,
        random_horizontal_sd_m=0.1,
        random_vertical_sd_m=0.1,
        **more,
    )
    out = folder / "points.parquet"
    verdict = read_bed(Source("2031-bed", survey, folder), out, crs="EPSG:32633", origin=ORIGIN)
    return verdict, pq.read_table(out).to_pandas()


def csv(folder, rows, name="bed.csv", head="easting,northing,height"):
    (folder / name).write_text("\n".join([head, *rows]) + "\n")
    return name


def tiff(folder, values, *, crs="EPSG:32633", nodata=-9999.0, name="bed.tif", second=None):
    """Write a raster of 2 m cells whose north-west corner is 100 m from the origin."""
    bands = [values] if second is None else [values, second]
    with rasterio.open(
        folder / name,
        "w",
        driver="GTiff",
        height=values.shape[0],
        width=values.shape[1],
        count=len(bands),
        dtype="float32",
        crs=None if crs is None else rasterio.CRS.from_wkt(CRS.from_user_input(crs).to_wkt()),
        transform=Affine(2.0, 0.0, ORIGIN[0] + 100, 0.0, -2.0, ORIGIN[1] + 100),
        nodata=nodata,
    ) as target:
        for number, band in enumerate(bands, start=1):
            target.write(band.astype("float32"), number)
        if second is not None:
            target.set_band_description(2, "uncertainty")
    return name


def cloud(folder, xyz, classes=None, *, crs=None, name="bed.laz"):
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales, header.offsets = np.full(3, 0.001), np.array([*ORIGIN, 0.0])
    if crs:
        header.add_crs(CRS.from_user_input(crs))
    data = laspy.LasData(header)
    data.x, data.y, data.z = np.asarray(xyz, dtype=float).T
    if classes is not None:
        data.classification = np.asarray(classes, dtype=np.uint8)
    data.write(str(folder / name))
    return name


def kinds(verdict):
    return [fault.kind for fault in verdict.faults]


def test_a_table_becomes_plain_numbers_with_rows(tmp_path):
    """Columns, types and extent are as documented."""
    verdict, table = read(tmp_path, csv(tmp_path, ["500010,4700020,-3", "500012,4700021,-2.5"]))
    assert list(table.columns) == ["x", "y", "v", "row"]
    assert [str(kind) for kind in table.dtypes] == ["float64", "float64", "float64", "int64"]
    assert (verdict.rows, verdict.used, verdict.faults) == (2, 2, [])
    assert verdict.bounds == [500010.0, 4700020.0, 500012.0, 4700021.0]
    assert verdict.vertical == [-3.0, -2.5]


def test_a_grid_gives_the_centres_of_its_cells_without_nodata(tmp_path):
    """A 2 × 2 grid with a gap gives three points at cell centres, rows counted from 1."""
    values = np.array([[-1.0, -2.0], [-9999.0, -4.0]])
    verdict, table = read(tmp_path, tiff(tmp_path, values))
    assert table["x"].tolist() == [500101.0, 500103.0, 500103.0]
    assert table["y"].tolist() == [4700099.0, 4700099.0, 4700097.0]
    assert table["v"].tolist() == [-1.0, -2.0, -4.0]
    assert table["row"].tolist() == [1, 2, 4]
    assert (verdict.rows, verdict.used) == (4, 3)


def test_a_band_named_uncertainty_is_read_as_the_files_own_sd(tmp_path):
    """The second band of a bathymetric grid comes along as sd, nodata as none stated."""
    sd = np.array([[0.3, -9999.0]])
    _, table = read(tmp_path, tiff(tmp_path, np.array([[-1.0, -2.0]]), second=sd))
    np.testing.assert_allclose(table["sd"], [0.3, 0.0], atol=1e-7)


def test_ground_points_are_taken_where_there_are_any(tmp_path):
    """With ground classified, other classes are left out and counted."""
    xyz = [(500001, 4700001, -1), (500002, 4700002, -2), (500003, 4700003, 5)]
    verdict, table = read(tmp_path, cloud(tmp_path, xyz, [2, 40, 5]))
    assert table["v"].tolist() == [-1.0, -2.0]
    assert [f.kind for f in verdict.suspicions] == ["classes_left_out"]
    assert verdict.suspicions[0].found.startswith("1 points")


def test_without_ground_all_points_but_noise_are_taken(tmp_path):
    """Unclassified clouds are taken whole, noise left out."""
    xyz = [(500001, 4700001, -1), (500002, 4700002, -2), (500003, 4700003, 5)]
    _, table = read(tmp_path, cloud(tmp_path, xyz, [0, 1, 7]))
    assert table["v"].tolist() == [-1.0, -2.0]
    assert table["row"].tolist() == [1, 2]


@pytest.mark.parametrize("write", [tiff, cloud], ids=["raster", "cloud"])
def test_a_crs_in_the_file_that_contradicts_the_config_is_a_fault(tmp_path, write):
    """The file says zone 34, the config zone 33: nobody guesses."""
    content = np.array([[-1.0]]) if write is tiff else [(500001, 4700001, -1)]
    verdict, table = read(tmp_path, write(tmp_path, content, crs="EPSG:32634"))
    assert kinds(verdict) == ["crs_contradiction"]
    assert "EPSG:32634" in verdict.faults[0].found
    assert table.empty


def test_a_crs_without_a_code_agrees_with_its_twin(tmp_path):
    """A PROJ text for UTM zone 33 is the configured EPSG:32633."""
    verdict, _ = read(
        tmp_path, tiff(tmp_path, np.array([[-1.0]]), crs="+proj=utm +zone=33 +datum=WGS84")
    )
    assert verdict.faults == []


def test_heights_in_feet_are_refused(tmp_path):
    """A compound CRS with heights in US feet is a fault, not a silent factor of 3.28."""
    name = cloud(tmp_path, [(500001, 4700001, -1)], crs="EPSG:32633+6360")
    verdict, _ = read(tmp_path, name)
    assert kinds(verdict) == ["vertical_unit"]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("bed.laz", b"LASF this is no point cloud at all" * 20),
        ("bed.las", b"not even that"),
        ("bed.tif", b"II*\x00 broken"),
        ("bed.bag", b"\x89HDF\r\n\x1a\n broken"),
        ("bed.laz", None),
    ],
    ids=["laz", "las", "tif", "bag", "cut short"],
)
def test_a_broken_file_is_a_fault_and_not_a_failure(tmp_path, name, content):
    """Whatever a reader chokes on comes back as a fault in the verdict, with an empty table."""
    if content is None:
        rng = np.random.default_rng(1)
        cloud(tmp_path, rng.normal(size=(5000, 3)) + np.array([*ORIGIN, 0]), name="whole.laz")
        content = (tmp_path / "whole.laz").read_bytes()[:4000]
    (tmp_path / name).write_bytes(content)
    verdict, table = read(tmp_path, name)
    assert kinds(verdict) == ["unreadable"]
    assert table.empty
    assert verdict.sha256


def test_a_missing_file_gives_a_verdict_and_an_empty_table(tmp_path):
    """The run can show the fault beside all others."""
    verdict, table = read(tmp_path, "nowhere.csv")
    assert kinds(verdict) == ["file_missing"]
    assert (verdict.sha256, verdict.bytes, table.empty) == (None, 0, True)


def test_a_raster_without_place_is_refused(tmp_path):
    """A picture has no coordinates: nothing is placed at 0, 0."""
    # the smallest PNG: one white pixel
    pixel = (
        "89504e470d0a1a0a0000000d4948445200000001000000010100000000376ef9240000000a4944415478"
        "9c6360000000020001e221bc330000000049454e44ae426082"
    )
    (tmp_path / "bed.png").write_bytes(bytes.fromhex(pixel))
    verdict, _ = read(tmp_path, "bed.png")
    assert kinds(verdict) == ["not_placed"]


def test_heights_in_feet_are_read_where_the_config_says_so(tmp_path):
    """US survey feet by the file's word and the config's: 3937 of them are 1200 m (definition)."""
    name = cloud(tmp_path, [(500001, 4700001, -39.37)], crs="EPSG:32633+6360")
    feet = Vertical(meaning="height", unit="us_survey_foot")
    verdict, table = read(tmp_path, name, vertical=feet)
    assert verdict.faults == []
    np.testing.assert_allclose(table["v"], [-12.0], atol=1e-9)


def test_a_fathom_of_depth_is_1_8288_metres(tmp_path):
    """A fathom is six international feet (definition), and extent and table are in metres."""
    sea = Vertical(meaning="depth_below_datum", unit="fathom")
    verdict, table = read(tmp_path, csv(tmp_path, ["500010,4700020,2.5"]), vertical=sea)
    np.testing.assert_allclose(table["v"], [4.572], atol=1e-12)
    np.testing.assert_allclose(verdict.vertical, [4.572, 4.572], atol=1e-12)


def test_eastings_in_feet_become_metres_of_the_crs(tmp_path):
    """500 010 m written in international feet (0.3048 m, definition) lie at the site."""
    row = f"{500_010 / 0.3048:.4f},{4_700_020 / 0.3048:.4f},-3"
    verdict, table = read(tmp_path, csv(tmp_path, [row]), unit="foot")
    assert verdict.faults == []
    np.testing.assert_allclose(table[["x", "y"]], [[500_010, 4_700_020]], atol=1e-4)


def test_marks_of_missing_values_do_not_pass_as_seabed(tmp_path):
    """A height of −9999 is named with its row and the key that mends it."""
    verdict, table = read(tmp_path, csv(tmp_path, ["500010,4700020,-9999", "500010,4700020,-3"]))
    assert kinds(verdict) == ["sentinel_height"]
    assert verdict.faults[0].row == 2
    assert "no_value" in verdict.faults[0].remedy
    assert table.empty


def test_swapped_axes_are_seen_by_where_they_would_lie(tmp_path):
    """A survey far from the site that would lie at it with axes swapped is told so."""
    verdict, _ = read(tmp_path, csv(tmp_path, ["4700020,500010,-3"]))
    assert kinds(verdict) == ["axes_swapped"]
    assert "swap" in verdict.faults[0].remedy


def test_an_unknown_crs_is_one_of_the_faults_and_not_a_failure(tmp_path):
    """Config slips that only a file's reading shows are collected too."""
    verdict, _ = read(tmp_path, csv(tmp_path, ["500010,4700020,-3"]), crs="EPSG:999999")
    assert kinds(verdict) == ["unknown_crs"]


def test_a_local_grid_is_placed_before_it_is_judged(tmp_path):
    """Local coordinates near 5000, 5000 lie at the site by the survey's marks."""
    marks = [
        {"point": "a", "local": (5000, 5000), "site": (500100, 4700100)},
        {"point": "b", "local": (5100, 5000), "site": (500200, 4700100)},
    ]
    grid = LocalGrid(points=marks, control_sd_m=0.01)
    verdict, _ = read(tmp_path, csv(tmp_path, ["5010,5020,-3"]), local_grid=grid)
    assert verdict.faults == []


def test_a_table_of_headers_alone_has_no_rows(tmp_path):
    """A file with a header and nothing else is a fault."""
    verdict, _ = read(tmp_path, csv(tmp_path, []))
    assert kinds(verdict) == ["no_rows"]


WATER = Vertical(meaning="depth_below_water", water_level="tide.csv")
TIMED = {"columns": Columns(vertical="depth", time="time")}
SOUNDING = ["500010,4700020,3,2031-06-01T10:00:00"]
TIDE = "time,level_m\n2031-06-01T09:00:00,0.1\n2031-06-01T11:00:00,0.3\n"


@pytest.mark.parametrize(
    ("tide", "expected"),
    [
        (TIDE, []),
        (None, ["water_missing"]),
        (TIDE.replace("level_m", "stage"), ["water_columns"]),
        (TIDE.replace("0.3", "high"), ["water_no_level"]),
        (TIDE.replace("T11:00:00", " at noon"), ["water_no_time"]),
        (TIDE.replace("T11:00", "T08:00"), ["water_order"]),
        (TIDE[: TIDE.index("2031-06-01T11")], ["water_too_short"]),
        (TIDE.replace("2031", "2030"), ["water_not_covering"]),
    ],
    ids=["good", "missing", "columns", "level", "time", "order", "short", "another year"],
)
def test_the_water_level_record_is_checked_with_the_survey(tmp_path, tide, expected):
    """Whatever would bend every depth is a fault of the survey that rests on it."""
    if tide is not None:
        (tmp_path / "tide.csv").write_text(tide)
    name = csv(tmp_path, SOUNDING, head="easting,northing,depth,time")
    verdict, table = read(tmp_path, name, vertical=WATER, **TIMED)
    assert kinds(verdict) == expected
    assert all(fault.file == "tide.csv" for fault in verdict.faults)
    assert "time" in table.columns


def test_depths_below_water_need_a_table_with_times(tmp_path):
    """A raster has no times of soundings."""
    (tmp_path / "tide.csv").write_text(TIDE)
    verdict, _ = read(tmp_path, tiff(tmp_path, np.array([[-1.0]])), vertical=WATER, **TIMED)
    assert "no_times" in kinds(verdict)
