"""Bed points in the site's CRS and datum: numbers known beforehand, and what is dropped."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Transformer

from wrackline.errors import ConfigError, InputError
from wrackline.fit.points import Frame, fit_points, heights
from wrackline.intake.water import WaterRecord
from wrackline.model import AppliedOffset, Columns, ErrorSource, LocalGrid, Survey, Vertical
from wrackline.points import points_info, read_points
from wrackline.uncertainty import model_from_dict
from wrackline.verdict import Source

FRAME = Frame(
    "EPSG:32633",
    "mean sea level",
    (500_000.25, 4_700_000.0),
    {"gauge": ErrorSource(kind="shift", height_sd_m=0.05)},
)


def survey(**more):
    values = {
        "name": "bed",
        "technique": "any",
        "holds": "bed_points",
        "file": "bed.csv",
        "crs": None if "local_grid" in more else "EPSG:32633",
        "from_date": dt.date(2031, 6, 1),
        "to_date": dt.date(2031, 6, 2),
        "vertical": Vertical(meaning="height"),
        "random_horizontal_sd_m": 0.1,
        "random_vertical_sd_m": 0.2,
        **more,
    }
    return Survey(**values)


def fit(folder, given_survey, *, chunk=1000, **columns):
    """Return the account and the fitted points, shape (n, 3) in metres."""
    table = pa.table({"row": np.arange(len(columns["x"])), **columns})
    pq.write_table(table, folder / "points.parquet")
    source = Source("2031-bed", given_survey, folder)
    account = fit_points(
        folder / "points.parquet", folder / "points.laz", source=source, frame=FRAME, chunk=chunk
    )
    parts = list(read_points(folder / "points.laz"))
    axes = ("easting", "northing", "height")
    return account, np.column_stack(
        [np.concatenate([getattr(part, axis) for part in parts]) for axis in axes]
    ) * 1e-4  # fmt: skip


XY = {"x": [500_010.0, 500_020.5], "y": [4_700_030.0, 4_700_040.0]}


@pytest.mark.parametrize(
    ("vertical", "given_v", "height"),
    [
        ({"meaning": "height"}, [-3.0, 1.5], [-3.0, 1.5]),
        ({"meaning": "height", "datum_height_m": 0.25}, [-3.0, 1.5], [-2.75, 1.75]),
        ({"meaning": "depth_below_datum"}, [3.0, -1.5], [-3.0, 1.5]),
        ({"meaning": "depth_below_datum", "datum_height_m": -0.5}, [3.0, -1.5], [-3.5, 1.0]),
    ],
    ids=["height", "height over another datum", "depth", "depth below another datum"],
)
def test_vertical_numbers_become_heights_above_the_datum(tmp_path, vertical, given_v, height):
    """Heights and depths, from the site's datum or another one, are brought to it."""
    _, xyz = fit(tmp_path, survey(vertical=Vertical(**vertical)), **XY, v=given_v)
    np.testing.assert_allclose(xyz[:, 2], height, atol=1e-9)
    np.testing.assert_allclose(xyz[:, :2], np.column_stack([XY["x"], XY["y"]]), atol=1e-9)


def test_depths_below_water_take_the_level_of_their_instant(tmp_path):
    """Level 0.5 m at half past, zero of the gauge at −0.1 m: 3 m below is −2.6 m."""
    (tmp_path / "tide.csv").write_text(
        "time,level_m\n1970-01-01T01:00,0\n1970-01-01T02:00,1\n1970-01-01T06:00,1\n"
    )
    vertical = Vertical(
        meaning="depth_below_water",
        water_level="tide.csv",
        water_level_zero_m=-0.1,
        water_level_utc_offset_h=1.0,
    )
    account, xyz = fit(
        tmp_path,
        survey(vertical=vertical, columns=Columns(time="t")),
        x=[500_010.0] * 3,
        y=[4_700_030.0] * 3,
        v=[3.0] * 3,
        time=[1800.0, 3 * 3600.0, 9e9],
    )
    np.testing.assert_allclose(xyz[:, 2], [-2.6], atol=1e-9)
    assert (account["rows"], account["dropped"]) == (3, 2)
    assert account["notes"][0].startswith("2 of 3 points dropped")


def test_high_and_low_waters_reduce_depths_and_stand_in_the_errors(tmp_path):
    """Midway from 0 to 2 m, 3 m below the water is -2 m; surge and the curve's sd are on record."""
    (tmp_path / "tide.csv").write_text("time,level_m\n1970-01-01T01:00,0\n1970-01-01T07:00,2\n")
    vertical = Vertical(
        meaning="depth_below_water",
        water_level="tide.csv",
        water_level_holds="high_and_low",
        water_level_surge_sd_m=0.08,
    )
    account, xyz = fit(
        tmp_path,
        survey(vertical=vertical, columns=Columns(time="t")),
        x=[500_010.0],
        y=[4_700_030.0],
        v=[3.0],
        time=[4 * 3600.0],
    )
    np.testing.assert_allclose(xyz[:, 2], [-2.0], atol=1e-9)
    (level,) = account["model"]["named"]
    assert (level["name"], level["kind"]) == ("2031-bed:water_level", "height")
    assert level["sd"] == pytest.approx(np.hypot(0.08, 0.03 * 2))
    assert account["notes"][-1].startswith("the water's level between its readings: sd 0.1000 m")


def test_a_survey_wholly_outside_the_record_is_refused(tmp_path):
    """No sounding with a known water level is an input error with the way out."""
    (tmp_path / "tide.csv").write_text("time,level_m\n1970-01-01T01:00,0\n1970-01-01T02:00,1\n")
    vertical = Vertical(meaning="depth_below_water", water_level="tide.csv")
    with pytest.raises(InputError, match="none of them with a known water level") as caught:
        fit(
            tmp_path,
            survey(vertical=vertical, columns=Columns(time="t")),
            x=[500_010.0],
            y=[4_700_030.0],
            v=[3.0],
            time=[9e9],
        )
    assert "water_level_max_gap_min" in caught.value.faults[0].remedy


def test_a_broken_record_stops_the_fit_with_its_faults(tmp_path):
    """A record that intake would have refused is refused here too."""
    vertical = Vertical(meaning="depth_below_water", water_level="tide.csv")
    with pytest.raises(InputError, match="water_missing"):
        fit(tmp_path, survey(vertical=vertical, columns=Columns(time="t")), **XY, v=[1.0, 2.0])


def test_heights_without_meaning_are_refused():
    """Vertical numbers that mean nothing are a slip of the config."""
    lines = survey(holds="wall_lines", vertical=Vertical(meaning="none"))
    with pytest.raises(ConfigError, match="no_vertical_meaning"):
        heights(np.zeros(1), lines)


def test_an_applied_offset_is_added_noted_and_carries_its_own_sd(tmp_path):
    """A person's correction shifts the heights, replaces the named source and is on record."""
    offset = AppliedOffset(height_m=0.12, sd_m=0.03, replaces=["gauge"], why="overlap, decided")
    account, xyz = fit(
        tmp_path, survey(applied_offset=offset, error_sources=["gauge"]), **XY, v=[-3.0, -2.0]
    )
    np.testing.assert_allclose(xyz[:, 2], [-2.88, -1.88], atol=1e-9)
    assert [part["name"] for part in account["model"]["named"]] == ["2031-bed:applied_offset"]
    assert "+0.120 m" in account["notes"][0]


def test_an_applied_tilt_is_taken_about_its_pivot(tmp_path):
    """By hand: 0.1 m at the pivot, 10 mm a metre east, -5 north, both on record and in the sds."""
    offset = AppliedOffset(
        height_m=0.1,
        sd_m=0.0,
        tilt_east_mm_per_m=10.0,
        tilt_north_mm_per_m=-5.0,
        tilt_east_sd_mm_per_m=2.0,
        tilt_north_sd_mm_per_m=1.0,
        tilt_correlation=0.6,
        pivot=(500_010.0, 4_700_030.0),
        why="overlap",
    )
    account, xyz = fit(tmp_path, survey(applied_offset=offset), **XY, v=[-3.0, -2.0])
    np.testing.assert_allclose(xyz[:, 2], [-2.9, -2 + 0.1 + 0.105 - 0.05], atol=1e-4)
    assert "+10.000 mm a metre towards east" in account["notes"][0]
    parts = model_from_dict(account["model"]).named
    away = np.array([[500_013.0, 4_700_034.0, 0.0]])  # 3 m east and 4 m north of the pivot
    effects = [part.displacement(away)[0, 2] for part in parts]
    # variance of 3 a + 4 b with sds of 2 and 1 mm a metre that correlate by 0.6
    expected = 36 + 16 + 2 * 12 * 0.6 * 2
    np.testing.assert_allclose(np.square(effects).sum(), expected * 1e-6, rtol=1e-9)


def test_geographic_coordinates_come_out_as_pyproj_has_them(tmp_path):
    """Longitude and latitude are projected; the file's order is easting-like first."""
    to_degrees = Transformer.from_crs("EPSG:32633", "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(XY["x"], XY["y"])
    _, xyz = fit(tmp_path, survey(crs="EPSG:4326"), x=longitude, y=latitude, v=[-3.0, -2.0])
    np.testing.assert_allclose(xyz[:, :2], np.column_stack([XY["x"], XY["y"]]), atol=1.1e-4)


def test_a_local_grid_is_turned_and_its_marks_errors_stand_in_the_model(tmp_path):
    """A quarter turn and a shift, known beforehand; the errors name the local grid."""
    marks = [
        {"point": "a", "local": (0, 0), "site": (500_100, 4_700_100)},
        {"point": "b", "local": (100, 0), "site": (500_100, 4_700_200)},
    ]
    grid = LocalGrid(points=marks, control_sd_m=0.02)
    account, xyz = fit(tmp_path, survey(local_grid=grid), x=[10.0], y=[20.0], v=[-1.0])
    np.testing.assert_allclose(xyz, [[500_080, 4_700_110, -1]], atol=1e-4)
    assert all("local_grid" in part["name"] for part in account["model"]["named"])


def test_a_point_out_of_reach_is_refused(tmp_path):
    """A stray point hundreds of kilometres off can't be stored and is named."""
    with pytest.raises(InputError, match="a point 4200 km from"):
        fit(tmp_path, survey(), x=[500_010.0], y=[500_000.0], v=[1.0])


def test_the_files_own_sd_is_carried_along(tmp_path):
    """The extra dimension holds what the grid stated, and the account says so."""
    account, _ = fit(tmp_path, survey(), **XY, v=[-3.0, -2.0], sd=[0.25, 0.5])
    assert account["own_sd"] is True
    assert next(read_points(tmp_path / "points.laz")).sd.tolist() == [0.25, 0.5]
    account, _ = fit(tmp_path, survey(), **XY, v=[-3.0, -2.0])
    assert account["own_sd"] is False
    assert next(read_points(tmp_path / "points.laz")).sd is None


def test_equal_input_gives_equal_bytes_whatever_the_chunks(tmp_path):
    """The file's header holds no clock, and chunks leave no trace."""
    rng = np.random.default_rng(3)
    data = {
        "x": rng.uniform(500_000, 500_100, 500),
        "y": rng.uniform(4_700_000, 4_700_100, 500),
        "v": rng.normal(size=500),
    }
    written = []
    for chunk in (7, 500):
        fit(tmp_path, survey(), chunk=chunk, **data)
        written.append((tmp_path / "points.laz").read_bytes())
    assert written[0] == written[1]


def test_the_header_tells_count_bounds_and_heights(tmp_path):
    """Numbers of the header are those of the points."""
    fit(tmp_path, survey(), **XY, v=[-3.0, -2.0])
    info = points_info(tmp_path / "points.laz")
    assert info.count == 2
    np.testing.assert_allclose(info.bounds, [500_010, 4_700_030, 500_020.5, 4_700_040])
    np.testing.assert_allclose(info.heights, [-3, -2])


@settings(max_examples=50, derandomize=True, database=None, deadline=None)
@given(st.floats(-50, 50), st.floats(-5, 5), st.floats(-5, 5), st.floats(-5, 5))
def test_a_depth_below_water_is_a_depth_below_a_datum_at_that_level(depth, level, zero, offset):
    """With a level that doesn't change, both ways of reduction agree."""
    record = WaterRecord(np.array([0.0, 60.0]), np.array([level, level]))
    applied = AppliedOffset(height_m=offset, sd_m=0.0, why="test")
    wet = survey(
        vertical=Vertical(
            meaning="depth_below_water", water_level="t.csv", water_level_zero_m=zero
        ),
        columns=Columns(time="t"),
        applied_offset=applied,
    )
    dry = survey(
        vertical=Vertical(meaning="depth_below_datum", datum_height_m=zero + level),
        applied_offset=applied,
    )
    below_water = heights(np.array([depth]), wet, time=np.array([30.0]), water=record)
    np.testing.assert_allclose(below_water, heights(np.array([depth]), dry), atol=1e-9)
