"""Published examples of circular statistics, through the mean that axes of walls are taken by.

Zar, Biostatistical Analysis, 5th ed. (2010), ch. 26; Fisher, Statistical Analysis of Circular Data
(1993), appendix B; Pewsey, Neuhaeuser and Ruxton, Circular Statistics in R (2013), section 3.2.
Book figures were read in stored public copies that quote them, and recomputed. The statistics of
Fisher's axial data are in no book: they were computed with numpy from the printed data.
"""

import numpy as np
import pytest

from wrackline.rooms.figures import axial_mean, axis

ZAR_26_4 = [45, 55, 81, 96, 110, 117, 132, 154]
ZAR_26_5 = {45: 6, 75: 9, 105: 13, 135: 15, 165: 22, 195: 17, 225: 12, 255: 8, 285: 3}
ZAR_26_7 = [35, 40, 40, 45, 45, 55, 60, 215, 220, 225, 225, 235, 235, 240, 245]
ZAR_26_8 = {160: 0.8954, 169: 0.7747, 117: 0.4696, 140: 0.8794, 186: 0.3922, 134: 0.6952}
ZAR_26_8 |= {171: 0.3338}
FISHER_B11 = [0, 1, 3, 3, 8, 13, 16, 18, 30, 31, 43]
FISHER_B11 += [45, 147, 298, 329, 332, 335, 340, 350, 354, 356, 357]
# Fisher B.5: long axes of 60 feldspar laths in basalt (the heading says 164; 60 are printed).
FISHER_B5 = [1, 1, 2, 2, 3, 8, 9, 12, 16, 17, 19, 23, 28, 28, 34, 34, 35, 36, 36, 37]
FISHER_B5 += [41, 45, 49, 50, 51, 53, 58, 68, 69, 70, 72, 72, 76, 78, 80, 85, 97, 97, 99, 101]
FISHER_B5 += [105, 121, 125, 126, 133, 141, 143, 149, 152, 156]
FISHER_B5 += [160, 163, 167, 168, 170, 171, 172, 174, 175, 176]


def mean_deg(angles, symmetry, weights=None):
    """Return mean and vector length of angles in degrees by `axial_mean`."""
    weight = np.ones(len(angles)) if weights is None else np.asarray(weights, dtype=float)
    mean, length = axial_mean(np.radians(np.asarray(angles, dtype=float)), weight, symmetry)
    return float(np.degrees(mean)), length


def test_directions():
    """Zar 26.4: eight directions have the mean 99 degrees and r = 0.82522."""
    mean, length = mean_deg(ZAR_26_4, 1)
    assert round(mean) == 99
    np.testing.assert_allclose(mean, 98.98775, atol=5e-6)
    np.testing.assert_allclose(length, 0.82522, atol=5e-6)


def test_spread_of_directions():
    """Zar 26.6: r gives the angular deviation of 34 and the circular sd of 36 degrees."""
    _, length = mean_deg(ZAR_26_4, 1)
    assert round(np.degrees(np.sqrt(2 * (1 - length)))) == 34
    assert round(np.degrees(np.sqrt(-2 * np.log(length)))) == 36


def test_weights_are_frequencies():
    """Zar 26.5: 105 directions in classes of 30 degrees, mean 162 degrees, r = 0.55064."""
    mean, length = mean_deg(list(ZAR_26_5), 1, list(ZAR_26_5.values()))
    assert round(mean) == 162
    np.testing.assert_allclose(length, 0.55064, atol=5e-6)


def test_axes():
    """Zar 26.7: fifteen axes, doubled, have the mean 48 degrees (2 mu = 95.9) and r = 0.94843."""
    mean, length = mean_deg(ZAR_26_7, 2)
    assert round(mean) == 48
    np.testing.assert_allclose(2 * mean, 95.9, atol=0.05)
    np.testing.assert_allclose(mean, 47.95301, atol=5e-6)
    np.testing.assert_allclose(length, 0.94843, atol=5e-6)


def test_sums_behind_the_axes():
    """Zar 26.7: the sums of sines and cosines of the doubled angles are those printed."""
    mean, length = mean_deg(ZAR_26_7, 2)
    resultant = len(ZAR_26_7) * length
    np.testing.assert_allclose(resultant * np.sin(np.radians(2 * mean)), 14.15098, atol=2e-5)
    np.testing.assert_allclose(resultant * np.cos(np.radians(2 * mean)), -1.46386, atol=2e-5)


def test_mean_of_means():
    """Zar 26.8: seven mean angles, each by its own r, have the mean 152 degrees, r = 0.59634."""
    mean, length = mean_deg(list(ZAR_26_8), 1, list(ZAR_26_8.values()))
    assert round(mean) == 152
    np.testing.assert_allclose(length * sum(ZAR_26_8.values()) / 7, 0.59634, atol=5e-6)


def test_directions_about_north():
    """Fisher B.11: 22 directions either side of north have the mean 3.10 degrees, R = 0.83."""
    mean, length = mean_deg(FISHER_B11, 1)
    np.testing.assert_allclose(mean, 3.10, atol=0.005)
    np.testing.assert_allclose(length, 0.83, atol=0.005)


def test_weak_axes():
    """Fisher B.5: sixty axes that hardly agree have the axial mean 19.8776 degrees, R = 0.23702."""
    assert (len(FISHER_B5), sum(FISHER_B5)) == (60, 4839)
    mean, length = mean_deg(FISHER_B5, 2)
    np.testing.assert_allclose(mean, 19.877641, atol=5e-7)
    np.testing.assert_allclose(length, 0.23702169, atol=5e-9)


@pytest.mark.parametrize("symmetry", [1, 2, 4])
def test_no_arithmetic_mean(symmetry):
    """Two angles just either side of the period's end average to it, not to its middle."""
    period = 360 / symmetry
    mean, length = mean_deg([1.0, period - 1.0], symmetry)
    np.testing.assert_allclose((mean + period / 2) % period, period / 2, atol=1e-9)
    assert length > 0.99


def test_walls_at_right_angles_cancel_unless_taken_as_the_same():
    """A square room has no long axis (symmetry 2), but its walls' turn (symmetry 4)."""
    angles = [20.0, 110.0, 200.0, 290.0]
    np.testing.assert_allclose(mean_deg(angles, 2)[1], 0.0, atol=1e-12)
    np.testing.assert_allclose(mean_deg(angles, 4), (20.0, 1.0), atol=1e-9)


def test_walls_count_by_their_length():
    """Axes of walls are weighted by length: Zar 26.7 with one wall an axis of its own length."""
    length = np.arange(1.0, 16.0)
    turn = np.radians(np.array(ZAR_26_7, dtype=float))
    ends = np.zeros((15, 2, 2))
    ends[:, 1] = length[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    vector = (length * np.exp(2j * turn)).sum()
    found = axis(ends, np.arange(15), 2).value
    np.testing.assert_allclose(found, np.angle(vector) / 2 % np.pi, atol=1e-12)
    assert abs(np.degrees(found) - mean_deg(ZAR_26_7, 2)[0]) > 0.1
