"""Magnetic declination against values that others published for the same field model."""

import datetime as dt

import pytest

from wrackline.fit.declination import LAST_DAY, declination_deg, geodetic

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
