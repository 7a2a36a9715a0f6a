"""Local grids fitted to control, against a published worked example.

Source: Ghilani, Adjustment Computations, Example 18.1 (two-dimensional conformal): control, the
parameters a, b, TE and TN, residuals, S0 and the points to be transformed.
"""

import numpy as np
import pytest

from wrackline.fit.similarity import fit_local_grid, fit_similarity, local_grid_errors
from wrackline.model import LocalGrid

LOCAL = np.array([[121.622, -128.066], [141.228, 187.718], [175.802, 135.728]])
SITE = np.array([[1049422.40, 51089.20], [1049413.95, 49659.30], [1049244.95, 49884.95]])
UNKNOWN = np.array(
    [[174.148, -120.262], [513.520, -192.130], [754.444, -67.706], [972.788, 120.994]]
)
FOUND = np.array(
    [
        [1049187.361, 51040.629],
        [1047637.713, 51278.829],
        [1046582.113, 50656.241],
        [1045644.713, 49749.336],
    ]
)


def grid(local, site, sd=0.05):
    marks = [
        {"point": f"M{k}", "local": tuple(p), "site": tuple(q)}
        for k, (p, q) in enumerate(zip(local, site, strict=True))
    ]
    return LocalGrid(points=marks, control_sd_m=sd)


def test_the_published_fit_is_reproduced():
    """Parameters, residuals and S0 are those of the book, to its printed digits."""
    fit = fit_similarity(LOCAL, SITE)
    assert fit.a == pytest.approx(-4.51249, abs=5e-6)
    assert fit.b == pytest.approx(-0.25371, abs=5e-6)
    assert fit.scale == pytest.approx(4.51962, abs=5e-6)
    np.testing.assert_allclose(fit.shift, [1050003.715, 50542.131], atol=1e-3)
    expected = [[0.004, -0.029], [0.101, -0.077], [-0.105, 0.106]]
    np.testing.assert_allclose(fit.residuals, expected, atol=6e-4)
    assert fit.s0 == pytest.approx(0.14, abs=0.005)


def test_the_published_points_are_reproduced():
    """The book's four points come out as printed, within a millimetre."""
    np.testing.assert_allclose(fit_similarity(LOCAL, SITE).apply(UNKNOWN), FOUND, atol=1e-3)


def test_two_marks_fix_a_fit_and_leave_nothing_to_judge_it_by():
    """Two marks are met exactly; S0 is no number then."""
    fit = fit_local_grid(grid([(0, 0), (10, 0)], [(100, 200), (100, 210)]))
    np.testing.assert_allclose(fit.apply([[5.0, 0.0]]), [[100, 205]])
    np.testing.assert_allclose(fit.residuals, 0, atol=1e-12)
    assert np.isnan(fit.s0)


def test_marks_errors_move_and_turn_what_rests_on_them():
    """Two marks of 0.06 m, 20 m apart: shift 0.06/√2 m, turn and scale 0.06/√200 per metre."""
    errors = {
        e.kind: e
        for e in local_grid_errors("2031-a", grid([(0, 0), (20, 0)], [(0, 0), (20, 0)], 0.06))
    }
    assert errors["easting"].sd == pytest.approx(0.06 / np.sqrt(2))
    assert errors["northing"].sd == pytest.approx(0.06 / np.sqrt(2))
    assert errors["rotation"].sd == pytest.approx(0.06 / np.sqrt(200))
    assert errors["scale"].sd == pytest.approx(0.06 / np.sqrt(200))
    assert errors["rotation"].pivot == (10.0, 0.0)
    assert errors["rotation"].name == "2031-a:local_grid_rotation"


def test_marks_errors_are_those_of_repeated_fits():
    """Fitted again and again to marks moved at random, a point scatters by the stated errors."""
    rng = np.random.default_rng(8)
    local = np.array([[0, 0], [30, 5], [12, 25], [28, 22]], dtype=float)
    point, sd, runs = np.array([[40.0, -10.0]]), 0.03, 4000
    moved = np.array(
        [
            fit_similarity(local, local + rng.normal(0, sd, local.shape)).apply(point)[0]
            for _ in range(runs)
        ]
    )
    errors = local_grid_errors("a", grid(local, local, sd))
    effects = [error.displacement(np.column_stack([point, [0.0]]))[0, :2] for error in errors]
    expected = np.sqrt((np.array(effects) ** 2).sum(axis=0))
    np.testing.assert_allclose(moved.std(axis=0), expected, rtol=4 / np.sqrt(2 * runs))
