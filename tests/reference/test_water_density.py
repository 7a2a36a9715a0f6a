"""Density of sea water and divers' depth gauges against published check values."""

import numpy as np
import pytest

from wrackline.fit.depth_gauges import sea_water_density, true_depths, water_density
from wrackline.model import DepthGauge

GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s²] (CGPM 1901)."""


@pytest.mark.parametrize(
    ("salinity", "temperature_c", "density"),
    [(0, 5, 999.96675), (0, 25, 997.04796), (35, 5, 1027.67547), (35, 25, 1023.34306)],
)
def test_density_meets_the_check_values_of_the_equation_of_state(salinity, temperature_c, density):
    """EOS-80 at one atmosphere, check values of UNESCO technical paper 44, 1983 (from memory)."""
    assert sea_water_density(salinity, temperature_c) == pytest.approx(density, abs=5e-6)


def test_fresh_water_is_heaviest_near_4_degrees():
    """999.975 kg/m³ at 3.98 °C, the greatest density of water (common tables, from memory)."""
    temperature = np.arange(0, 10, 0.01)
    density = np.array([sea_water_density(0, t) for t in temperature])
    assert density.max() == pytest.approx(999.975, abs=0.001)
    assert temperature[density.argmax()] == pytest.approx(3.98, abs=0.03)


def test_a_gauge_by_the_european_standard_shows_10_metres_for_a_bar():
    """EN 13319 (from memory): 1020 kg/m³, so that 100 kPa is shown as 10 m to within 0.03 m."""
    gauge = DepthGauge(salinity=35, temperature_c=5, display_step_m=0.1, least_sd_m=0.1)
    shown = 100_000 / (gauge.assumed_density_kg_m3 * GRAVITY)
    assert shown == pytest.approx(10.0, abs=0.03)
    true = 100_000 / (1027.67547 * GRAVITY)
    np.testing.assert_allclose(true_depths(np.array([shown]), gauge), [true], rtol=1e-8)


@pytest.mark.parametrize(
    ("temperature_c", "expansion"), [(0, 526e-7), (10, 1668e-7), (20, 2572e-7)]
)
def test_a_temperature_in_doubt_counts_by_the_water_s_expansion(temperature_c, expansion):
    """Thermal expansion of sea water of salinity 35 [1/K] (Gill 1982, table A3.1, from memory)."""
    gauge = DepthGauge(
        salinity=35,
        salinity_sd=0,
        temperature_c=temperature_c,
        temperature_sd_c=0.5,
        display_step_m=0.1,
        least_sd_m=0.1,
    )
    density, sd = water_density(gauge)
    assert sd / density == pytest.approx(0.5 * expansion, rel=0.005)


def test_a_salinity_in_doubt_counts_by_about_three_quarters_of_a_kilogram():
    """One of salinity weighs 0.77 kg/m³ at 15 °C (common tables, from memory)."""
    gauge = DepthGauge(
        salinity=35,
        salinity_sd=2,
        temperature_c=15,
        temperature_sd_c=0,
        display_step_m=0.1,
        least_sd_m=0.1,
    )
    assert water_density(gauge)[1] == pytest.approx(2 * 0.77, abs=0.02)
