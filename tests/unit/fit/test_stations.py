"""Setups of a total station: place, orientation, height, and what is set aside."""

import numpy as np
import pytest

from wrackline.fit.stations import (
    Occupied,
    Sights,
    fit_setup,
    forgotten_constant,
    named_errors,
    near_section,
    shot_variances,
)

MARKS = np.array([[30.0, 5], [10, 40], [-35, 10], [-20, -30], [25, -28]])
MARKS += np.array([500_000.0, 4_200_000.0])
TRUE = np.array([500_003.0, 4_199_998.0, np.radians(200)])


def sights(*, seed=None, sd=0.01, constant=0.0, distances=5):
    """Return sights from `TRUE` to all marks, with noise where a seed is given."""
    to = MARKS - TRUE[:2]
    noise = np.zeros((3, 5)) if seed is None else np.random.default_rng(seed).normal(0, sd, (3, 5))
    length = np.hypot(*to.T)
    far = np.where(np.arange(5) < distances, length + noise[0] + constant, np.nan)
    return Sights(
        place=MARKS,
        sd=np.full(5, 1e-6),
        circle=np.arctan2(to[:, 0], to[:, 1]) - TRUE[2] + noise[1] / length,
        distance=far,
        axis=3.0 + noise[2],
        axis_sd=np.full(5, sd),
    )


@pytest.mark.parametrize("distances", [5, 2, 1, 0])
def test_a_free_station_is_found_from_any_set_of_distances(distances):
    """Five directions alone, or with one, two or five distances, give place and orientation."""
    setup = fit_setup(sights(distances=distances), None, 0.01)
    assert setup.determined
    np.testing.assert_allclose(setup.x[:2], TRUE[:2], atol=1e-5)
    assert np.cos(setup.x[2] - TRUE[2]) == pytest.approx(1.0, abs=1e-12)
    assert setup.axis == pytest.approx(3.0)


def test_setups_scatter_as_their_covariance_says():
    """Over 300 setups errors of place, orientation and height, in sds, have an rms near 1."""
    z = []
    for seed in range(300):
        setup = fit_setup(sights(seed=seed), None, 0.01)
        turn = np.angle(np.exp(1j * (setup.x[2] - TRUE[2])))
        error = [*(setup.x[:2] - TRUE[:2]), turn, setup.axis - 3.0]
        z.append(error / np.sqrt([*np.diag(setup.covariance), setup.axis_sd**2]))
    assert 0.92 < np.sqrt(np.mean(np.square(z))) < 1.08


def test_a_wrong_station_mark_is_told_from_wrong_back_sights():
    """An occupied mark 0.3 m from where five back-sights put the instrument is itself set aside."""
    wrong = Occupied(TRUE[:2] + np.array([0.3, 0.0]), 0.005, 4.0, 0.01)
    setup = fit_setup(sights(seed=1), wrong, 0.01)
    assert setup.off == [-1]
    assert setup.off_height == [-1]
    np.testing.assert_allclose(setup.x[0], TRUE[0], atol=0.05)


def test_a_constant_is_fitted_beside_the_place():
    """Marks all round show a constant of 30 mm with its sd; no sight is set aside for it."""
    setup = fit_setup(sights(seed=2, sd=0.004, constant=0.03), None, 0.004)
    assert setup.constant == pytest.approx(0.03, abs=3 * setup.constant_sd)
    assert forgotten_constant(setup.constant, setup.constant_sd) == 0.030
    assert setup.off_with_constant == []


def test_clean_distances_have_no_forgotten_constant():
    """Of 200 clean setups none is said to lack a prism's constant, but for chance."""
    setups = [fit_setup(sights(seed=seed), None, 0.01) for seed in range(200)]
    assert sum(forgotten_constant(s.constant, s.constant_sd) is not None for s in setups) <= 1


def test_shared_errors_are_those_of_the_setup():
    """Shift and rotation about their own pivot give the variance that the covariance gives."""
    setup = fit_setup(sights(seed=3, distances=2), None, 0.01)
    errors = {e["kind"]: e for e in named_errors("2031-day", [setup])}
    at = np.array([[40.0, 10.0], [-15.0, 60.0]])
    pivot = np.array(errors["rotation"]["pivot"]) - setup.x[:2]
    turn = errors["rotation"]["sd"] * (at - pivot)
    expected = shot_variances(setup, at)
    np.testing.assert_allclose(errors["easting"]["sd"] ** 2 + turn[:, 1] ** 2, expected[:, 0])
    np.testing.assert_allclose(errors["northing"]["sd"] ** 2 + turn[:, 0] ** 2, expected[:, 1])
    assert errors["height"]["sd"] == setup.axis_sd


def test_several_setups_are_pooled():
    """Two setups give one set of errors, sds the root mean square of both."""
    setups = [fit_setup(sights(seed=seed, sd=sd), None, sd) for seed, sd in ((1, 0.01), (2, 0.03))]
    pooled = named_errors("2031-day", setups)
    own = [named_errors("2031-day", [setup]) for setup in setups]
    assert [error["name"] for error in pooled] == [
        f"2031-day:setups_{kind}" for kind in ("easting", "northing", "height", "rotation")
    ]
    for k, error in enumerate(pooled):
        rms = np.sqrt((own[0][k]["sd"] ** 2 + own[1][k]["sd"] ** 2) / 2)
        assert error["sd"] == pytest.approx(rms)


def test_sections_need_to_agree_within_the_noise():
    """A misfit of 0.42 m with an sd of 2 cm is no pole section; 0.52 m is one of half a metre."""
    assert near_section(0.42, 0.02) is None
    assert near_section(-0.52, 0.02) == 0.5
