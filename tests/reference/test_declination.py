"""Magnetic declination against values that others published for the same field model."""

import datetime as dt

import numpy as np
import ppigrf
import pytest

from wrackline.declination import (
    CARRIED_SD_NT,
    LAST_DAY,
    declination_deg,
    declination_sd_deg,
    geodetic,
    yearly_change_min,
)

MID_YEAR = {year: dt.date(year, 7, 2) for year in range(1945, 2036)}


@pytest.mark.parametrize(
    ("year", "declination"),
    [(1950, 27.82), (1960, 27.02), (1980, 24.35), (1995, 20.57), (2000, 18.84), (2014, 14.07)],
)
def test_series_of_the_reference_program_in_the_north(year, declination):
    """Yearly values by the reference program igrf13.f at 59.9 N, 109.9 W, 1.1 km: within 0.01.

    Series published with github.com/proway2/go-igrf, testdata/set1; definitive years, alike in
    the 13th and 14th generation.
    """
    found = declination_deg(-109.9, 59.9, [MID_YEAR[year]], height_m=1100.0)
    assert found[0] == pytest.approx(declination, abs=0.01)


@pytest.mark.parametrize(
    ("year", "declination"), [(1945, -22.68), (1970, -21.16), (1985, -20.02), (2010, -19.94)]
)
def test_series_of_the_reference_program_in_the_south(year, declination):
    """The same program's values at 59.9 S, 0 E, 100.1 km (testdata/set5): within 0.01."""
    found = declination_deg(0.0, -59.9, [MID_YEAR[year]], height_m=100_100.0)
    assert found[0] == pytest.approx(declination, abs=0.01)


def test_example_of_a_manual():
    """MathWorks' manual of igrfmagm: Natick, 42.283 N 71.35 W, 1 km, 4 July 2015: -14.6381."""
    found = declination_deg(-71.35, 42.283, [dt.date(2015, 7, 4)], height_m=1000.0)
    assert found[0] == pytest.approx(-14.6381, abs=0.0005)


def test_days_after_the_model_go_on_as_it_ended():
    """Past 2030 the declination changes by as much a year as in the model's last year."""
    days = [dt.date(2029, 1, 1), dt.date(2030, 1, 1), dt.date(2031, 1, 1)]
    before, end, after = declination_deg(-33.0, 38.0, days)
    assert after - end == pytest.approx(end - before)
    assert abs(after - end) > 0.01


def test_days_out_of_reach_are_refused():
    """A day for which nobody can say is an error, not the nearest value."""
    with pytest.raises(ValueError, match="known from"):
        declination_deg(-33.0, 38.0, [LAST_DAY + dt.timedelta(days=1)])


def test_no_days_give_no_values():
    """Nothing asked for, nothing given."""
    assert declination_deg(0.0, 0.0, []).shape == (0,)


def test_place_of_the_declination():
    """A UTM zone's false origin lies on the equator and its own meridian (IOGP 373-7-2)."""
    assert geodetic("EPSG:32625", 500_000.0, 0.0) == pytest.approx((-33.0, 0.0), abs=1e-9)


@pytest.mark.parametrize(
    ("year", "change"),
    [(1951, -4), (1962, -11), (1976, -17), (1983, -14), (2002, -23), (2012, -17), (2017, -7)],
)
def test_yearly_change_of_the_reference_program_in_the_north(year, change):
    """The column SV beside those declinations (testdata/set1), whole minutes a year: within one.

    Years inside a model's term, whose change the program takes as steady.
    """
    found = yearly_change_min(-109.9, 59.9, MID_YEAR[year], height_m=1100.0)
    assert found == pytest.approx(change, abs=1.0)


@pytest.mark.parametrize(
    ("year", "change"), [(1947, 5), (1967, 5), (1986, 2), (1996, 0), (2013, -4)]
)
def test_yearly_change_of_the_reference_program_in_the_south(year, change):
    """The same program's changes at 59.9 S, 0 E, 100.1 km (testdata/set5): within a minute."""
    found = yearly_change_min(0.0, -59.9, MID_YEAR[year], height_m=100_100.0)
    assert found == pytest.approx(change, abs=1.0)


WORLD_MODEL = [
    # height [km], latitude, longitude, declination and its change at 2025.0, then at 2027.5
    (0, 80, 0, 1.28, 0.52, 2.59, 0.53),
    (0, 0, 120, -0.16, -0.03, -0.24, -0.03),
    (0, -80, 240, 68.78, -0.12, 68.49, -0.12),
    (100, 80, 0, 0.85, 0.52, 2.16, 0.52),
    (100, 0, 120, -0.15, -0.03, -0.23, -0.03),
    (100, -80, 240, 68.21, -0.11, 67.93, -0.11),
]
"""NOAA NCEI, WMM2025testvalues.pdf (December 2024), columns D and Ddot [degrees]."""


@pytest.mark.parametrize("row", WORLD_MODEL)
def test_the_world_magnetic_model_says_the_same(row):
    """Another model of the same field and years: declination within 0.05, change within 0.02."""
    height_km, latitude, longitude, *published = row
    days = [dt.date(2025, 1, 1), dt.date(2027, 7, 2)]
    place = float(longitude), float(latitude)
    found = declination_deg(*place, days, height_m=1000.0 * height_km)
    assert found == pytest.approx(published[::2], abs=0.05)
    changes = [yearly_change_min(*place, day, height_m=1000.0 * height_km) / 60 for day in days]
    assert changes == pytest.approx(published[1::2], abs=0.02)


@pytest.mark.parametrize(
    ("place", "across_nt"), [((240.0, -80.0), 16898.1), ((120.0, 0.0), 39677.9)]
)
def test_error_of_a_declination_as_the_world_model_states_it(place, across_nt):
    """Equation 43 of the WMM2025 report, with H of its own test values at 2025.0: within 1 %."""
    stated = (0.26**2 + (5417 / across_nt) ** 2) ** 0.5
    assert declination_sd_deg(*place, dt.date(2025, 1, 1)) == pytest.approx(stated, rel=0.01)


def test_what_is_carried_on_is_less_sure():
    """Years past the model add what directions strayed sideways from older predictions."""
    place = -35.0, 38.0
    inside = declination_sd_deg(*place, dt.date(2029, 12, 31))
    assert declination_sd_deg(*place, dt.date(2025, 1, 1)) == pytest.approx(inside, rel=0.01)
    after = declination_sd_deg(*place, dt.date(2034, 1, 1))
    strayed_deg = (after**2 - inside**2) ** 0.5
    across_nt = 5417 / (inside**2 - 0.26**2) ** 0.5
    assert strayed_deg == pytest.approx(np.degrees(4 * 17 / across_nt), rel=0.01)


def test_how_far_predictions_strayed():
    """The figure in the code, measured anew on the definitive models: 17 nT a year."""
    latitude = np.degrees(np.arcsin(np.linspace(-0.95, 0.95, 15)))
    east_of, north_of = np.meshgrid(np.arange(-180.0, 180.0, 20.0), latitude)

    def field(year):
        parts = ppigrf.igrf(east_of, north_of, 0.0, dt.datetime(year, 1, 1))
        return np.squeeze(parts[0]), np.squeeze(parts[1])

    strayed = []
    for year in range(1970, 2016, 5):
        (east, north), (east_then, north_then) = field(year), field(year + 5)
        (east_5, north_5), (east_6, north_6) = field(year - 5), field(year - 6)
        now = np.arctan2(east, north)
        a_year = now - np.arctan2(east - east_5 + east_6, north - north_5 + north_6)
        a_year = (a_year + np.pi) % (2 * np.pi) - np.pi
        off = now + 5 * a_year - np.arctan2(east_then, north_then)
        off = (off + np.pi) % (2 * np.pi) - np.pi
        strayed.append(off * np.hypot(east_then, north_then) / 5)
    assert np.sqrt(np.mean(np.square(strayed))) == pytest.approx(CARRIED_SD_NT, rel=0.05)
