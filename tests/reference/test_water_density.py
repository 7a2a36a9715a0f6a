"""Density of sea water and divers' depth gauges against published check values."""

import numpy as np
import pytest

from wrackline.fit.depth_gauges import sea_water_density, true_depths
from wrackline.model import DepthGauge

GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s²] (CGPM 1901)."""


@pytest.mark.parametrize(
    ("salinity", "temperature_c", "density"),
    [(0, 5, 999.96675), (35, 5, 1027.67547), (35, 25, 1023.34306)],
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
