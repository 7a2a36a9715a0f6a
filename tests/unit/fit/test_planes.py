"""Planes through differences: against an independent fit, strays, and simulated coverage."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import binom

from wrackline.fit.planes import TUKEY, fit_plane, nmad

GRID = np.array([[x, y] for x in range(20) for y in range(15)], dtype=float)


def tilted(rng=None, noise=0.0):
    """Return heights of a plane, 0.08 m up, 0.3 and -0.1 mm a metre, with noise."""
    height = 0.08 + GRID @ [0.3e-3, -0.1e-3]
    return height if rng is None else height + rng.normal(0, noise, len(GRID))


def test_a_plane_is_found_as_it_is():
    """Offset at the pivot, the middle of the points, and both tilts."""
    plane = fit_plane(GRID, tilted())
    np.testing.assert_allclose(plane.pivot, GRID.mean(axis=0))
    at_pivot = 0.08 + np.array(plane.pivot) @ [0.3e-3, -0.1e-3]
    np.testing.assert_allclose(plane.coefficients, [at_pivot, 0.3e-3, -0.1e-3], atol=1e-12)
    offset = fit_plane(GRID, np.full(len(GRID), 0.08), tilted=False)
    np.testing.assert_allclose(offset.coefficients, [0.08, 0, 0])


def test_walls_and_trenches_do_not_move_it():
    """A fifth of the cells off by half a metre and more, to one side, move a plane by little."""
    rng = np.random.default_rng(7)
    height = tilted(rng, 0.01)
    clean = fit_plane(GRID, height)
    height[:60] += rng.uniform(0.4, 1.5, 60)
    plane = fit_plane(GRID, height)
    assert plane.weights[:60].max() == 0
    np.testing.assert_allclose(plane.coefficients[1:], [0.3e-3, -0.1e-3], atol=6e-4)
    truth = 0.08 + np.array(plane.pivot) @ [0.3e-3, -0.1e-3]
    assert abs(plane.coefficients[0] - truth) < 3e-3
    assert abs(clean.coefficients[1] - 0.3e-3) < 3e-4


def test_it_is_the_least_of_tukey_s_loss():
    """SciPy's minimiser, started beside it with the scale held, comes to the same place."""
    height = tilted(np.random.default_rng(3), 0.02)
    height[::11] += 0.3
    plane = fit_plane(GRID, height)
    centred = np.column_stack([np.ones(len(GRID)), GRID - plane.pivot])
    scale = 1.4826 * np.median(np.abs(height - centred @ plane.coefficients))

    def loss(x):
        u = np.minimum(np.abs(height - centred @ x) / scale / TUKEY, 1)
        return (1 - (1 - u**2) ** 3).sum()

    found = minimize(loss, plane.coefficients + np.array([1e-3, 1e-4, 1e-4]), method="BFGS").x
    np.testing.assert_allclose(plane.coefficients, found, atol=2e-5)


def test_influence_is_the_answer_to_a_small_change():
    """Weights held, each coefficient is its influence times the heights."""
    height = tilted(np.random.default_rng(5), 0.02)
    plane = fit_plane(GRID, height)
    np.testing.assert_allclose(plane.influence @ height, plane.coefficients, atol=1e-8)
    np.testing.assert_allclose(plane.influence.sum(axis=1), [1, 0, 0], atol=1e-12)


@pytest.mark.parametrize("strays", [0, 30])
def test_the_scatter_states_how_well_the_plane_is_known(strays):
    """Over 400 noisy planes, with strays and without, 95 % intervals hold offset and tilts."""
    rng, held, trials = np.random.default_rng(11), np.zeros(3), 400
    for _ in range(trials):
        height = tilted(rng, 0.02)
        height[rng.permutation(len(height))[:strays]] += rng.uniform(0.3, 1.0, strays)
        plane = fit_plane(GRID, height)
        at_pivot = 0.08 + np.array(plane.pivot) @ [0.3e-3, -0.1e-3]
        error = plane.coefficients - [at_pivot, 0.3e-3, -0.1e-3]
        held += np.abs(error) <= 1.96 * np.sqrt(np.diag(plane.scatter))
    low, high = binom.ppf([0.001, 0.999], trials, 0.95)
    assert (held >= low).all()
    assert (held <= high).all()


@pytest.mark.parametrize("sd", [0.1, 2.0])
def test_nmad_is_the_sd_of_normal_numbers_and_blind_to_single_blunders(sd):
    """NMAD equals sd for a normal sample (Höhle and Höhle 2009), ten blunders or none."""
    sample = np.random.default_rng(4).normal(0, sd, 20_000)
    np.testing.assert_allclose(nmad(sample), sd, rtol=0.02)
    sample[:10] = 1000.0
    np.testing.assert_allclose(nmad(sample), sd, rtol=0.02)
