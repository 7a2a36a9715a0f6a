"""The errors that the demo draws are the errors that `wrackline.uncertainty` propagates."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from wrackline.demo import survey
from wrackline.demo.survey import displace, draw_named, patchy_fields
from wrackline.uncertainty import ErrorModel, NamedError, spherical

PLACES = np.array([[0, 0], [1.03, 0], [2.5, 0.3], [5, 0], [8.1, 2], [10, 0], [30, 20.0]])
REACH = 10.0
DRAWS = 6000


@pytest.mark.parametrize("exact_points", [survey.EXACT_POINTS, 0])
def test_patchy_covariance_is_spherical(monkeypatch, exact_points):
    """Patchy fields have unit variance and spherical correlation, by either method."""
    monkeypatch.setattr(survey, "EXACT_POINTS", exact_points)
    rng = np.random.default_rng(20310612)
    draws = np.vstack([patchy_fields(PLACES, REACH, rng).T for _ in range(DRAWS // 3)])
    distance = np.hypot(*(PLACES[:, None] - PLACES[None]).transpose(2, 0, 1))
    # the sampling sd of a covariance of unit normals is at most sqrt(2 / draws) = 0.018
    assert_allclose(draws.T @ draws / len(draws), spherical(distance, REACH), atol=0.065)
    assert_allclose(draws.mean(axis=0), 0.0, atol=0.05)


def test_fields_are_independent_of_each_other():
    """The patchy errors of easting, northing and height have nothing to do with each other."""
    rng = np.random.default_rng(7)
    draws = np.stack([patchy_fields(PLACES, REACH, rng) for _ in range(2000)])
    cross = np.einsum("dpi,dpj->ij", draws, draws) / draws[..., 0].size
    assert_allclose(cross, np.eye(3), atol=0.08)


def test_patchy_field_of_many_points_has_unit_sd():
    """A cloud of 100,000 points gets a field of unit sd, alike close by, unlike far off."""
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 100, (100_000, 2))
    field = patchy_fields(xy, 2.0, rng, count=1)[:, 0]
    assert_allclose(field.std(), 1.0, atol=0.05)
    near = patchy_fields(np.vstack([xy, xy + 0.1]), 2.0, rng, count=1).reshape(2, -1)
    assert_allclose(np.mean(near[0] * near[1]), spherical(np.array(0.1414), 2.0), atol=0.06)


def test_points_at_one_place_share_their_patchy_error():
    """Two points at the same place are off by the same patchy error."""
    field = patchy_fields(np.array([[1.0, 2], [4, 4], [1, 2]]), 5.0, np.random.default_rng(1))
    assert_array_equal(field[0], field[2])


def test_random_error_has_the_stated_size_per_axis():
    """Random errors scatter each axis by the sd that the model states."""
    model = ErrorModel("a", 0.03, 0.05)
    moved = displace(np.zeros((20_000, 3)), model, np.random.default_rng(5), {})
    assert_allclose(moved.std(axis=0), [0.03, 0.03, 0.05], rtol=0.03)


def test_named_errors_move_all_points_as_the_model_says():
    """A named source moves every point by its draw times its displacement, and nothing else."""
    parts = (
        NamedError("benchmark_a:height", "height", 0.02),
        NamedError("setup_01:rotation", "rotation", 0.001, pivot=(10.0, 0.0)),
    )
    xyz = np.array([[10.0, 0, -2], [10, 50, -3], [60, 0, np.nan]])
    draws = {"benchmark_a:height": 1.5, "setup_01:rotation": -2.0}
    moved = displace(xyz, ErrorModel("a", 0, 0, named=parts), np.random.default_rng(0), draws)
    expected = [[10, 0, -1.97], [10 - 0.1, 50, -2.97], [60, 0.1, np.nan]]
    assert_allclose(moved, expected, atol=1e-12)


def test_equal_named_components_get_one_draw():
    """Surveys that rest on the same source share one draw of it."""
    part = NamedError("gauge_zero:height", "height", 0.05)
    other = NamedError("benchmark_a:height", "height", 0.02)
    models = [ErrorModel("a", 0, 0, named=(part,)), ErrorModel("b", 0, 0, named=(part, other))]
    draws = draw_named(models, np.random.default_rng(9))
    assert sorted(draws) == ["benchmark_a:height", "gauge_zero:height"]


def test_a_named_component_without_draw_is_refused():
    """A named error is never left out in silence."""
    model = ErrorModel("a", 0, 0, named=(NamedError("gauge_zero:height", "height", 0.05),))
    with pytest.raises(KeyError, match="gauge_zero:height"):
        displace(np.zeros((1, 3)), model, np.random.default_rng(0), {})


def test_no_points_and_same_seed():
    """No points give no points, and one seed gives one result."""
    model = ErrorModel("a", 0.1, 0.1, 0.1, 0.1, 5.0)
    assert displace(np.zeros((0, 3)), model, np.random.default_rng(0), {}).shape == (0, 3)
    xyz = np.arange(30.0).reshape(10, 3)
    twice = [displace(xyz, model, np.random.default_rng(4), {}) for _ in range(2)]
    assert_array_equal(*twice)
