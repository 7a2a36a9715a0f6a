"""Published concentrations of von Mises distributions, through `kappa_of`.

Zar, Biostatistical Analysis, 5th ed. (2010), example 26.4, whose maximum likelihood estimate was
computed with scipy from the printed data; Mardia, Statistics of Directional Data (1972), appendix
2.3, the inverse of A, from memory. Means of the same examples stand in `test_circular`.
"""

import numpy as np
import pytest
from scipy.stats import vonmises

from wrackline.rooms.families import families, kappa_of, mean_length

ZAR_26_4 = [45, 55, 81, 96, 110, 117, 132, 154]
ZAR_26_7 = [35, 40, 40, 45, 45, 55, 60, 215, 220, 225, 225, 235, 235, 240, 245]
INVERSE_A = {0.1: 0.20101, 0.2: 0.40828, 0.3: 0.62922, 0.4: 0.87408, 0.5: 1.15932}
INVERSE_A |= {0.6: 1.51574, 0.7: 2.01363, 0.8: 2.87129, 0.9: 5.3047}


@pytest.mark.parametrize(("length", "kappa"), INVERSE_A.items())
def test_inverse_of_a(length, kappa):
    """Mardia's table: kappa for lengths of the mean vector from 0.1 to 0.9 (from memory)."""
    np.testing.assert_allclose(kappa_of(length), kappa, rtol=1e-5)


def test_directions():
    """Zar 26.4: eight directions have the concentration 3.22314, as scipy fits it."""
    angle = np.radians(ZAR_26_4)
    kappa = float(kappa_of(abs(np.exp(1j * angle).mean())))
    np.testing.assert_allclose(kappa, 3.22314, atol=5e-6)
    np.testing.assert_allclose(kappa, vonmises.fit(angle, fscale=1)[0], rtol=1e-5)


def test_one_family_of_axes():
    """Zar 26.7: fifteen axes are one family about 48 degrees, R = 0.94843."""
    (family,) = families(ZAR_26_7, fold=2)
    assert round(family.axis_deg) == 48
    np.testing.assert_allclose(family.axis_deg, 47.953, atol=0.01)
    np.testing.assert_allclose(mean_length(family.kappa), 0.94843, atol=1e-3)
    assert family.members == tuple(range(15))


def test_axis_uncertainty():
    """Fisher 1993, eq. 4.42 (from memory): sd of a mean direction is 1 / sqrt(n R kappa)."""
    (family,) = families(ZAR_26_7, fold=2)
    sd = np.degrees(1 / np.sqrt(15 * family.share * 0.94843 * family.kappa)) / 2
    np.testing.assert_allclose(family.axis_sd_deg, sd, rtol=1e-3)
