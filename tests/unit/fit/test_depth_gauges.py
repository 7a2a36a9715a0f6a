"""Divers' depth gauges: shown depths in the sea's own water, and what a reading is worth."""

import datetime as dt

import numpy as np
import pytest

from wrackline.fit.depth_gauges import density_ratio, reading_sd, sea_water_density, true_depths
from wrackline.fit.points import Frame, heights
from wrackline.intake.water import WaterRecord
from wrackline.model import Columns, DepthGauge, Survey, Vertical

FRAME = Frame("EPSG:32625", "datum", (324_400.0, 4_207_600.0), {})


def gauge(**more):
    values = {"salinity": 38.0, "temperature_c": 18.0, "display_step_m": 0.1, "least_sd_m": 0.1}
    return DepthGauge(**{**values, **more})


def survey(depth_gauge=None, random_sd_m=0.0):
    return Survey(
        name="divers",
        technique="depth gauge",
        holds="bed_points",
        file="divers.csv",
        crs="EPSG:32625",
        from_date=dt.date(2031, 6, 9),
        to_date=dt.date(2031, 6, 9),
        vertical=Vertical(
            meaning="depth_below_water", water_level="gauge.csv", depth_gauge=depth_gauge
        ),
        columns=Columns(time="time"),
        random_horizontal_sd_m=0.1,
        random_vertical_sd_m=random_sd_m,
    )


def test_pressure_is_what_both_columns_of_water_share():
    """A shown depth of the gauge's water weighs as much as the true depth of the sea's."""
    one = gauge(assumed_density_kg_m3=1000.0)
    shown = np.array([0.0, 2.5, 9.0])
    density = sea_water_density(38.0, 18.0)
    np.testing.assert_allclose(true_depths(shown, one) * density, shown * 1000.0)


def test_a_fresh_water_gauge_in_the_sea_shows_too_much():
    """In salt water the diver is less deep than a gauge for fresh water shows, by 2.7 %."""
    assert density_ratio(gauge(assumed_density_kg_m3=1000.0)) == pytest.approx(0.9731, abs=2e-4)


def test_water_of_the_gauges_own_density_changes_nothing():
    """Where the sea weighs what the gauge assumes, shown depths are true."""
    same = gauge(assumed_density_kg_m3=sea_water_density(38.0, 18.0))
    np.testing.assert_allclose(true_depths(np.array([7.3]), same), [7.3], rtol=1e-15)


@pytest.mark.parametrize(
    ("random_sd_m", "step", "least", "expected"),
    [
        (0.0, 0.1, 0.01, 0.1 / np.sqrt(12)),
        (0.0, 0.1, 0.15, 0.15),
        (0.3, 0.1, 0.15, np.hypot(0.3, 0.1 / np.sqrt(12))),
        (0.0, 1.0, 0.15, 1 / np.sqrt(12)),
    ],
)
def test_a_reading_is_never_better_than_its_step_or_the_stated_least(
    random_sd_m, step, least, expected
):
    """Rounding over the step joins the survey's own sd; the least is a floor."""
    one = gauge(display_step_m=step, least_sd_m=least)
    assert reading_sd(random_sd_m, one) == pytest.approx(expected)
    model = FRAME.errors_of("2031-divers", survey(one, random_sd_m))
    assert model.random_vertical == pytest.approx(expected)


def test_a_survey_without_gauge_keeps_its_sd():
    """Nothing is added where no depth gauge is named."""
    assert FRAME.errors_of("2031-divers", survey(None, 0.07)).random_vertical == 0.07


def test_heights_take_the_true_depth_below_the_level_of_the_instant():
    """Level 0.5 m, shown 8 m by a fresh water gauge: the bed is 8 m x ratio below the level."""
    one = gauge(assumed_density_kg_m3=1000.0)
    record = WaterRecord(np.array([0.0, 600.0]), np.array([0.4, 0.6]))
    found = heights(np.array([8.0]), survey(one), time=np.array([300.0]), water=record)
    np.testing.assert_allclose(found, [0.5 - 8.0 * density_ratio(one)])
