"""The adjustment of observations, and the blunders found among them."""

import numpy as np
import pytest

from wrackline.fit.adjust import adjust, critical_value, snoop

MARKS = np.array([[0.0, 0], [30, 0], [60, 5], [0, 40], [60, 40], [30, 45], [10, 20], [50, 22]])


def distances(x):
    """Predict the distances from one unknown place to all marks."""
    difference = x - MARKS
    length = np.hypot(*difference.T)
    return length, difference / length[:, None]


def network(seed, *, sd=0.02, blunder=0.0, at=3):
    rng = np.random.default_rng(seed)
    observed = distances(np.array([25.0, 15.0]))[0] + rng.normal(0, sd, len(MARKS))
    observed[at] += blunder
    return snoop(distances, np.array([28.0, 18.0]), observed, np.full(len(MARKS), sd))


def test_unknowns_scatter_as_their_covariance_says():
    """Over 500 networks the errors of the unknowns, in sds, have an rms near 1."""
    truth = np.array([25.0, 15.0])
    z = []
    for seed in range(500):
        found = network(seed).adjustment
        z.append((found.x - truth) / np.sqrt(np.diag(found.covariance)))
    assert 0.95 < np.sqrt(np.mean(np.square(z))) < 1.05


def test_a_blunder_of_fifteen_sds_is_found_and_sized():
    """A distance 0.3 m off among eight, each good to 2 cm, is set aside with its size."""
    for seed in range(50):
        rejected = network(seed, blunder=0.3).rejected
        assert rejected[0].index == 3
        assert rejected[0].size == pytest.approx(0.3, abs=0.1)


def test_clean_observations_are_not_accused():
    """Of 1,000 clean networks no more than 5 lose an observation, at a significance of 0.001."""
    assert sum(bool(network(seed).rejected) for seed in range(1000)) <= 5


def test_unknowns_without_observations_are_named():
    """A second unknown that no observation touches is undetermined, with no claim about it."""
    found = adjust(
        lambda x: (np.repeat(x[0], 2), np.array([[1.0, 0], [1, 0]])),
        np.zeros(2),
        np.array([1.0, 1.2]),
        np.full(2, 0.1),
    )
    assert found.undetermined == [1]
    assert found.x[0] == pytest.approx(1.1)


def test_without_redundancy_nothing_can_show():
    """One measure of one unknown has no redundancy, no standardised residual and no s0."""
    found = adjust(lambda x: (x, np.eye(1)), np.zeros(1), np.array([2.0]), np.ones(1))
    assert found.redundancy[0] == pytest.approx(0, abs=1e-12)
    assert found.standardised[0] == 0
    assert np.isnan(found.s0)


def test_critical_values_of_the_normal_law():
    """Two-sided 0.1 % for one observation is 3.29 (normal tables, as in Baarda's w-test)."""
    assert critical_value(1, 0.001) == pytest.approx(3.29, abs=0.005)
