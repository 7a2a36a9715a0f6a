"""The norths of a sheet, and what is said of them."""

import datetime as dt

import pytest
from geographiclib.geodesic import Geodesic
from pyproj import Transformer

from wrackline.declination import declination_deg
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.norths import Norths, norths_at, say_norths

PLACE = "EPSG:32625", 324_500.0, 4_207_700.0
DAY = dt.date(2033, 7, 1)


def test_true_north_is_where_the_meridian_runs():
    """The grid azimuth of true north is that of a step along the meridian, by geographiclib."""
    to_degrees = Transformer.from_crs(PLACE[0], "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(*PLACE[1:])
    step = Geodesic.WGS84.Direct(latitude, longitude, 0.0, 100.0)
    there = to_degrees.transform(step["lon2"], step["lat2"], direction="INVERSE")
    east, north = there[0] - PLACE[1], there[1] - PLACE[2]
    assert norths_at(*PLACE, DAY).true_deg == pytest.approx(57.29578 * east / north, abs=0.002)
    assert east > 0  # west of the zone's middle, true north lies east of the grid's


def test_magnetic_north_is_the_declination_off_the_meridian():
    """From the meridian to the needle is the declination, on either side of a zone."""
    found = norths_at(*PLACE, DAY)
    declination = float(declination_deg(-35.0, 38.0, [DAY])[0])
    assert found.magnetic_deg - found.true_deg == pytest.approx(declination, abs=0.001)
    east_of_zone = norths_at("EPSG:32624", 851_200.0, 4_213_600.0, DAY)
    assert east_of_zone.true_deg < -2
    apart = east_of_zone.magnetic_deg - east_of_zone.true_deg
    assert apart == pytest.approx(declination, abs=0.02)


def test_days_past_the_model_are_told():
    """A sheet of 2033 says that the model ends with 2029; one of 2028 doesn't."""
    english = Language.english()
    late, early = norths_at(*PLACE, DAY), norths_at(*PLACE, dt.date(2028, 7, 1))
    assert late.carried_on
    assert not early.carried_on
    assert "that model ends with 2029: its last change is carried on" in say_norths(late, english)
    assert not any("carried" in line for line in say_norths(early, english))
    assert late.magnetic_sd_deg > early.magnetic_sd_deg


def test_days_out_of_reach_have_no_magnetic_north():
    """Past 2035 magnetic north is nothing, and the sheet says so."""
    found = norths_at(*PLACE, dt.date(2040, 1, 1))
    assert (found.magnetic_deg, found.magnetic_sd_deg, found.change_min) == (None, None, None)
    assert say_norths(found, Language.english())[-1] == "magnetic north isn't known for 2040"


@pytest.mark.parametrize(
    ("norths", "line"),
    [
        (Norths(DAY, -1.234, 3.04, 0.3, 11.4), "true north 1.23° west of grid north"),
        (Norths(DAY, 1.236, 3.04, 0.3, 11.4), "true north 1.24° east of grid north"),
        (Norths(DAY, 1.0, -3.06, 0.3, 11.4), "magnetic north 3.1° west of grid north"),
        (Norths(DAY, 1.0, 3.0, 0.3, 11.4), "magnetic north 2033, moving 11′ a year to the east"),
        (Norths(DAY, 1.0, 3.0, 0.3, -7.6), "magnetic north 2033, moving 8′ a year to the west"),
    ],
)
def test_sides_are_named(norths, line):
    """East and west stand in words, so that no sign has to be understood."""
    assert line in say_norths(norths, Language.english())
