"""Keys of the water's level, of depth gauges and of ancient sea levels: what fits what."""

import pytest
from pydantic import ValidationError

from wrackline.model import DepthGauge, SeaLevel, Survey, Vertical, for_fitting, for_reading

READING = {"display_step_m": 0.1, "least_sd_m": 0.05}
WET = {"meaning": "depth_below_water", "water_level": "gauge.csv"}


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({}, "either salinity and temperature_c, or density_kg_m3"),
        ({"salinity": 35}, "both salinity and temperature_c"),
        ({"temperature_c": 15}, "both salinity and temperature_c"),
        (
            {"salinity": 35, "temperature_c": 15, "density_kg_m3": 1025, "density_sd_kg_m3": 1},
            "either salinity and temperature_c, or density_kg_m3",
        ),
        ({"density_kg_m3": 1025}, "needs its density_sd_kg_m3"),
        ({"salinity": 35, "temperature_c": 15, "density_sd_kg_m3": 1}, "only it has one"),
        ({"density_kg_m3": 1025, "density_sd_kg_m3": 0}, "greater than 0"),
        ({"density_kg_m3": 1.025, "density_sd_kg_m3": 1}, "greater than or equal to 990"),
    ],
)
def test_a_gauge_knows_its_water_in_one_way(keys, said):
    """Salinity and temperature together, or a measured density with its sd."""
    with pytest.raises(ValidationError, match=said):
        DepthGauge(**READING, **keys)


def test_a_gauge_of_earlier_configs_is_read_as_before():
    """Salinity and temperature alone do; their sds have values of their own."""
    gauge = DepthGauge(**READING, salinity=35.0, temperature_c=15.0)
    assert (gauge.density_kg_m3, gauge.assumed_density_kg_m3) == (None, 1020.0)
    assert gauge.salinity_sd > 0
    assert gauge.temperature_sd_c > 0


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"water_level_holds": "high_and_low"}, "needs water_level_surge_sd_m"),
        ({"water_level_holds": "mean_level"}, "needs water_level_surge_sd_m"),
        ({"water_level_surge_sd_m": 0.1}, "readings of the level hold the surge"),
        (
            {"water_level_holds": "high_and_low", "water_level_surge_sd_m": 0},
            "greater than 0",
        ),
        ({"water_level_holds": "twelfths"}, "'levels', 'high_and_low' or 'mean_level'"),
        ({"clocks_sd_s": -1}, "greater than or equal to 0"),
        ({"clock_sd_s": 1}, "Extra inputs are not permitted"),
    ],
)
def test_what_a_record_holds_and_its_surge_go_together(keys, said):
    """High and low waters need the surge's sd; readings have none; slips of the pen are refused."""
    with pytest.raises(ValidationError, match=said):
        Vertical(**WET, **keys)


@pytest.mark.parametrize(
    "keys",
    [
        {"clocks_sd_s": 30},
        {"water_level_sd_m": 0.02},
        {"water_level_holds": "high_and_low", "water_level_surge_sd_m": 0.1},
    ],
)
def test_errors_of_a_record_need_the_record(keys):
    """Without water_level its keys would say nothing, so they are refused."""
    with pytest.raises(ValidationError, match="say nothing without a water_level"):
        Vertical(meaning="height", **keys)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"from_year": -300, "basis": "notches"}, "both from_year and to_year"),
        ({"to_year": -300, "basis": "notches"}, "both from_year and to_year"),
        ({"from_year": 100, "to_year": -300, "basis": "notches"}, "to_year -300 lies before"),
        ({"from_year": -300, "to_year": 100}, "need their basis"),
    ],
)
def test_an_ancient_level_has_both_years_in_order_and_a_basis(keys, said):
    """One year alone, years turned round, or years that rest on nothing are refused."""
    with pytest.raises(ValidationError, match=said):
        SeaLevel(name="Roman", height_m=-0.8, **keys)


def test_a_level_of_one_year_or_of_today_is_read():
    """Equal years are a range; no years at all are a level of today."""
    at_once = SeaLevel(name="then", height_m=-1, from_year=-99, to_year=-99, basis="a mole")
    assert (at_once.from_year, at_once.to_year) == (-99, -99)
    assert SeaLevel(name="now", height_m=0.1).from_year is None


def test_reading_a_file_doesn_t_use_what_its_errors_are():
    """Sds of level and clocks, and the depth gauge, re-run the fit and not the reading."""
    told = {"water_level_holds": "high_and_low", "water_level_surge_sd_m": 0.1}
    gauge = {"salinity": 35, "temperature_c": 15, **READING}
    survey = Survey(
        name="divers",
        technique="depth gauge",
        holds="bed_points",
        file="divers.csv",
        crs="EPSG:32625",
        from_date="2031-06-09",
        to_date="2031-06-09",
        vertical={**WET, **told, "clocks_sd_s": 9, "water_level_sd_m": 0.1, "depth_gauge": gauge},
        columns={"time": "time"},
        random_horizontal_sd_m=0.1,
        random_vertical_sd_m=0.1,
    )
    assert for_reading(survey).vertical == Vertical(**WET, **told)
    assert for_fitting(survey).vertical == survey.vertical
