"""The law of propagation: by hand, by integral, by brute force, and whatever way the site lies."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from wrackline import uncertainty
from wrackline.demo.survey import displace, draw_named
from wrackline.model import ErrorSource, SeaLevel, Site, Survey
from wrackline.uncertainty import (
    COVERAGE_95,
    Budget,
    ErrorModel,
    NamedError,
    components,
    error_model,
    level_budget,
    model_from_dict,
    propagate,
    spherical,
)

SITE = {
    "schema_version": 1,
    "name": "A site",
    "crs": "EPSG:32625",
    "vertical_datum": "a datum",
    "origin": [100.0, 200.0],
    "sea_levels": [{"name": "msl", "height_m": 0.1, "sd_m": 0.03}],
    "depths_below": "msl",
    "error_sources": {
        "benchmark_1": {"kind": "shift", "easting_sd_m": 0.01, "height_sd_m": 0.02},
        "gauge_zero": {"kind": "shift", "height_sd_m": 0.05},
        "setup_1": {"kind": "rotation", "rotation_sd_deg": 0.02, "pivot": [110.0, 210.0]},
    },
}
SURVEY = {
    "name": "walls",
    "technique": "pole",
    "holds": "wall_lines",
    "file": "data/walls.gpkg",
    "crs": "EPSG:32625",
    "from_date": "2031-06-01",
    "to_date": "2031-06-02",
    "vertical": {"meaning": "height"},
    "random_horizontal_sd_m": 0.03,
    "random_vertical_sd_m": 0.04,
    "error_sources": ["benchmark_1", "setup_1"],
}


def one(xyz):
    """Return survey indices that put all points into one survey."""
    return np.zeros(len(xyz), dtype=int)


def area_gradient(xyz):
    """Return d(area) by each vertex of a ring of points, from the shoelace formula."""
    before, after = np.roll(xyz, 1, axis=0), np.roll(xyz, -1, axis=0)
    gradient = np.zeros_like(xyz)
    gradient[:, 0] = (after[:, 1] - before[:, 1]) / 2
    gradient[:, 1] = (before[:, 0] - after[:, 0]) / 2
    return gradient


def area(xyz):
    """Return the area of a ring of points, positive counter-clockwise."""
    after = np.roll(xyz, -1, axis=-2)
    return (xyz[..., 0] * after[..., 1] - after[..., 0] * xyz[..., 1]).sum(axis=-1) / 2


ROOM = np.array([[500.0, 800, -2], [504, 800, -2], [504, 803, -2], [500, 803, -2]])


def test_mean_of_independent_points_shrinks_with_their_root():
    """GUM 4.2.3: the mean of n readings has sd s / sqrt(n)."""
    xyz = np.column_stack([np.arange(25.0) * 100, np.zeros(25), np.ones(25)])
    gradient = np.tile([0.0, 0.0, 1 / 25], (25, 1))
    budget = propagate(gradient, xyz, one(xyz), [ErrorModel("a", 0.0, 0.10)])
    assert_allclose(budget.sd, 0.02)


def test_ten_equal_resistors_add_without_root():
    """GUM 5.2.2, example: ten resistors of one calibration add to 10 x 0.1 ohm = 1 ohm, not 0.32.

    Here ten heights that rest on one benchmark stand for the resistors.
    """
    xyz = np.column_stack([np.arange(10.0), np.zeros(10), np.full(10, 1000.0)])
    gradient = np.tile([0.0, 0.0, 1.0], (10, 1))
    shared = ErrorModel("a", 0, 0, named=(NamedError("calibration:height", "height", 0.1),))
    apart = ErrorModel("a", 0, 0.1)
    assert_allclose(propagate(gradient, xyz, one(xyz), [shared]).sd, 1.0)
    assert_allclose(propagate(gradient, xyz, one(xyz), [apart]).sd, 0.316, atol=5e-4)


def test_area_of_a_rectangle_by_hand():
    """Each corner's gradient is half the opposite diagonal: sd² = 4 · sd² · (5/2)² = 25 sd².

    For a 4 x 3 m room with corners off by 0.03 m per axis the area is off by 5 x 0.03 = 0.15 m².
    """
    budget = propagate(area_gradient(ROOM), ROOM, one(ROOM), [ErrorModel("a", 0.03, 1.0)])
    assert_allclose(budget.sd, 0.15)


def test_scale_changes_an_area_twice():
    """A scale of 100 ppm changes 12 m² by 2 x 100e-6 x 12 = 0.0024 m², whatever the pivot."""
    for pivot in ((500.0, 800.0), (0.0, 0.0)):
        part = NamedError("tape:scale", "scale", 100e-6, pivot)
        budget = propagate(
            area_gradient(ROOM), ROOM, one(ROOM), [ErrorModel("a", 0, 0, named=(part,))]
        )
        assert_allclose(budget.named["tape:scale"], 0.0024, rtol=1e-9)


@pytest.mark.parametrize("kind", ["easting", "northing", "rotation", "height", "tilt"])
def test_an_area_does_not_mind_how_it_is_moved(kind):
    """Shift, rotation and tilt of the whole survey leave a room's area alone."""
    part = NamedError(f"a:{kind}", kind, 0.1, (480.0, 790.0), 30.0)
    budget = propagate(area_gradient(ROOM), ROOM, one(ROOM), [ErrorModel("a", 0, 0, named=(part,))])
    assert_allclose(budget.sd, 0.0, atol=1e-10)


def test_rotation_moves_clockwise_about_its_pivot():
    """A point 50 m north of the pivot moves 50 m times the angle to the east."""
    moved = NamedError("s:rotation", "rotation", 0.001, (10.0, 20.0)).displacement(
        np.array([[10.0, 70.0, 0.0], [60.0, 20.0, 0.0]])
    )
    assert_allclose(moved, [[0.05, 0, 0], [0, -0.05, 0]], atol=1e-15)


def test_tilt_rises_towards_its_azimuth():
    """At azimuth 90 a tilt of 1 mm/m lifts a point 30 m east by 30 mm, one north not at all."""
    part = NamedError("p:tilt", "tilt", 0.001, (0.0, 0.0), 90.0)
    moved = part.displacement(np.array([[30.0, 0, 0], [0, 30, 0], [-30, 5, 0]]))
    assert_allclose(moved, [[0, 0, 0.03], [0, 0, 0], [0, 0, -0.03]], atol=1e-15)


def test_scale_moves_away_from_its_pivot():
    """At 100 ppm a point 50 m off moves 5 mm outwards."""
    part = NamedError("t:scale", "scale", 100e-6, (10.0, 0.0))
    assert_allclose(part.displacement(np.array([[60.0, 0.0, 3.0]])), [[0.005, 0, 0]], atol=1e-15)


def test_a_point_without_height_keeps_its_horizontal_errors():
    """A missing height is no obstacle to the uncertainty of a position."""
    xyz = np.array([[10.0, 0.0, np.nan]])
    part = NamedError("s:rotation", "rotation", 0.01)
    budget = propagate(
        np.array([[0.0, 1.0, 0.0]]), xyz, one(xyz), [ErrorModel("a", 0, 0, named=(part,))]
    )
    assert_allclose(budget.sd, 0.1)


def test_spherical_correlation_at_its_known_places():
    """1 at no distance, 0.3125 at half the reach, 0 from the reach on."""
    assert_allclose(spherical(np.array([0, 5.0, 10, 99]), 10.0), [1, 0.3125, 0, 0])


def test_spherical_integral_over_the_plane():
    """The correlation integrates to pi a² / 5 over the plane (doi:10.1002/esp.4551)."""
    reach = 7.0
    radius = (np.arange(200_000) + 0.5) / 200_000 * reach
    integral = (spherical(radius, reach) * 2 * np.pi * radius).sum() * reach / 200_000
    assert_allclose(integral, np.pi * reach**2 / 5, rtol=1e-8)


def test_patchy_error_of_a_wide_mean_follows_the_integral():
    """The mean over an area A much wider than a patch has variance sd² pi a² / (5 A)."""
    reach, side, cell = 4.0, 120.0, 1.0
    x, y = np.meshgrid(np.arange(cell / 2, side, cell), np.arange(cell / 2, side, cell))
    xyz = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    gradient = np.tile([0.0, 0.0, 1 / len(xyz)], (len(xyz), 1))
    model = ErrorModel("a", 0, 0, patchy_vertical=0.1, patchy_distance=reach)
    expected = 0.1 * np.sqrt(np.pi * reach**2 / 5) / side
    assert_allclose(propagate(gradient, xyz, one(xyz), [model]).patchy, expected, rtol=0.02)


def test_two_points_in_one_patch_by_hand():
    """Two points half a reach apart: variance of their mean sd² (1 + 0.3125) / 2."""
    xyz = np.array([[0.0, 0, 0], [5.0, 0, 0]])
    gradient = np.array([[0, 0, 0.5], [0, 0, 0.5]])
    model = ErrorModel("a", 0, 0, patchy_vertical=0.2, patchy_distance=10.0)
    assert_allclose(propagate(gradient, xyz, one(xyz), [model]).patchy ** 2, 0.04 * 1.3125 / 2)


def test_patchy_errors_of_different_surveys_are_independent():
    """The same two points by two surveys share no patch."""
    xyz = np.array([[0.0, 0, 0], [0.0, 0, 0]])
    gradient = np.array([[0, 0, 0.5], [0, 0, 0.5]])
    models = [ErrorModel(n, 0, 0, patchy_vertical=0.2, patchy_distance=9.0) for n in "ab"]
    assert_allclose(propagate(gradient, xyz, np.array([0, 1]), models).patchy ** 2, 0.04 / 2)


def test_blocks_do_not_change_the_patchy_sum(monkeypatch):
    """Worked through in blocks of a few points, the sum over pairs is the same."""
    rng = np.random.default_rng(2)
    xyz, gradient = rng.uniform(0, 20, (60, 3)), rng.normal(size=(60, 3))
    model = ErrorModel("a", 0, 0, 0.1, 0.2, 6.0)
    whole = propagate(gradient, xyz, one(xyz), [model]).patchy
    monkeypatch.setattr(uncertainty, "PAIR_BLOCK", 7 * 60)
    assert_allclose(propagate(gradient, xyz, one(xyz), [model]).patchy, whole)


def test_patchy_sum_agrees_with_the_whole_covariance_matrix():
    """Sparse pairs give what the full quadratic form gives, all three axes."""
    rng = np.random.default_rng(8)
    xyz, gradient = rng.uniform(0, 20, (50, 3)), rng.normal(size=(50, 3))
    distance = np.hypot(*(xyz[:, None, :2] - xyz[None, :, :2]).transpose(2, 0, 1))
    correlation = spherical(distance, 6.0)
    axes = zip(gradient.T, (0.1, 0.1, 0.2), strict=True)
    expected = sum(sd**2 * g @ correlation @ g for g, sd in axes)
    budget = propagate(gradient, xyz, one(xyz), [ErrorModel("a", 0, 0, 0.1, 0.2, 6.0)])
    assert_allclose(budget.patchy**2, expected)


def test_a_common_source_cancels_in_a_difference():
    """How far a wall stands out of a seabed of the same benchmark doesn't depend on it."""
    benchmark = NamedError("benchmark_1:height", "height", 0.5)
    models = [
        ErrorModel("wall", 0, 0.03, named=(benchmark,)),
        ErrorModel("bed", 0, 0.04, named=(benchmark,)),
    ]
    xyz = np.array([[0.0, 0, -2], [0.0, 0, -3]])
    gradient = np.array([[0, 0, 1.0], [0, 0, -1.0]])
    budget = propagate(gradient, xyz, np.array([0, 1]), models)
    assert_allclose(budget.named["benchmark_1:height"], 0.0)
    assert_allclose(budget.sd, 0.05)


def test_different_sources_do_not_cancel():
    """Two benchmarks of equal size add as independent errors."""
    models = [
        ErrorModel(n, 0, 0, named=(NamedError(f"benchmark_{n}:height", "height", 0.3),))
        for n in "ab"
    ]
    xyz, gradient = np.zeros((2, 3)), np.array([[0, 0, 1.0], [0, 0, -1.0]])
    assert_allclose(propagate(gradient, xyz, np.array([0, 1]), models).sd, 0.3 * np.sqrt(2))


def test_budgets_add_and_subtract():
    """Independent parts add in squares, equal names with their sign."""
    a = Budget(3.0, 0.0, {"x": 1.0, "y": 2.0})
    b = Budget(4.0, 1.0, {"x": 1.0})
    assert a.plus(b) == Budget(5.0, 1.0, {"x": 2.0, "y": 2.0})
    assert a.minus(b) == Budget(5.0, 1.0, {"x": 0.0, "y": 2.0})
    assert a.times(-2.0) == Budget(6.0, 0.0, {"x": -2.0, "y": -4.0})
    assert_allclose(Budget(3.0).plus(Budget(4.0)).sd, 5.0)
    assert_allclose(Budget(2.0, 3.0, {"x": -6.0}).sd, 7.0)


def test_coverage_factor_is_that_of_a_normal_95_percent_interval():
    """GUM table G.1 and IHO S-44 print 1.960."""
    assert round(COVERAGE_95, 3) == 1.960


def test_model_of_a_survey_comes_from_its_config():
    """Sizes, sources, pivots and units arrive in the model."""
    model = error_model("2031-walls", Survey(**SURVEY), Site(**SITE))
    assert (model.random_horizontal, model.random_vertical) == (0.03, 0.04)
    assert [part.name for part in model.named] == [
        "benchmark_1:easting",
        "benchmark_1:height",
        "setup_1:rotation",
    ]
    assert model.named[0].pivot == (100.0, 200.0)
    assert model.named[2].pivot == (110.0, 210.0)
    assert_allclose(model.named[2].sd, 0.02 * np.pi / 180)
    assert model_from_dict(model.as_dict()) == model


def test_an_applied_offset_takes_the_place_of_what_it_replaces():
    """A correction brings its own sd and drops the sources that it stands for."""
    offset = {"height_m": 0.1, "sd_m": 0.015, "replaces": ["benchmark_1"], "why": "seen"}
    model = error_model("2031-walls", Survey(**SURVEY, applied_offset=offset), Site(**SITE))
    assert [(part.name, part.sd) for part in model.named if part.kind == "height"] == [
        ("2031-walls:applied_offset", 0.015)
    ]


@pytest.mark.parametrize(
    ("source", "sd"),
    [
        ({"kind": "scale", "scale_sd_ppm": 50.0}, 50e-6),
        ({"kind": "tilt", "tilt_sd_mm_per_m": 2.0, "tilt_azimuth_deg": 45.0}, 2e-3),
        ({"kind": "rotation", "rotation_sd_deg": 180.0 / np.pi}, 1.0),
    ],
)
def test_sources_come_into_radians_and_metres_per_metre(source, sd):
    """Parts per million, millimetres per metre and degrees become plain numbers."""
    (part,) = components("s", ErrorSource(**source), (1.0, 2.0))
    assert_allclose(part.sd, sd)
    assert part.pivot == (1.0, 2.0)


def test_a_level_of_the_same_gauge_cancels_the_gauge():
    """Soundings and level that rest on one gauge zero give depths without its error."""
    site = Site(**SITE)
    level = level_budget(
        SeaLevel(name="l", height_m=0, sd_m=0.03, error_sources=["gauge_zero"]), site
    )
    bed = Budget(0.04, 0.0, {"gauge_zero:height": 0.05})
    assert_allclose(level.minus(bed).sd, 0.05)
    assert_allclose(level.sd, np.hypot(0.03, 0.05))


MIXED = ErrorModel(
    "mixed",
    0.02,
    0.03,
    0.03,
    0.04,
    5.0,
    named=(
        NamedError("benchmark_1:height", "height", 0.02),
        NamedError("tape:scale", "scale", 0.002, (501.0, 799.0)),
        NamedError("plane:tilt", "tilt", 0.004, (490.0, 790.0), 20.0),
    ),
)


def test_propagation_agrees_with_brute_force():
    """4,000 displaced rooms scatter in area and mean height as the law says, within 3 sd of it."""
    rng = np.random.default_rng(20310612)
    draws = np.stack([displace(ROOM, MIXED, rng, draw_named([MIXED], rng)) for _ in range(4000)])
    areas, heights = area(draws), draws[..., 2].mean(axis=1)
    mean_gradient = np.tile([0.0, 0.0, 0.25], (4, 1))
    tolerance = 3 / np.sqrt(2 * len(draws))
    for seen, gradient in ((areas, area_gradient(ROOM)), (heights, mean_gradient)):
        assert_allclose(
            seen.std(), propagate(gradient, ROOM, one(ROOM), [MIXED]).sd, rtol=tolerance
        )
    assert_allclose(areas.mean(), 12.0, atol=4 * areas.std() / np.sqrt(4000))


def test_two_surveys_of_one_benchmark_agree_with_brute_force():
    """A difference of two surveys that share a benchmark scatters as the law says."""
    shared = NamedError("benchmark_1:height", "height", 0.1)
    own = NamedError("gauge_zero:height", "height", 0.05)
    models = [
        ErrorModel("a", 0, 0.03, 0, 0.02, 5.0, named=(shared,)),
        ErrorModel("b", 0, 0.02, 0, 0.04, 8.0, named=(shared, own)),
    ]
    rng = np.random.default_rng(5)
    seen = []
    for _ in range(4000):
        named = draw_named(models, rng)
        top, bed = (displace(ROOM, model, rng, named)[:, 2].mean() for model in models)
        seen.append(top - bed)
    gradient = np.repeat([[0, 0, 0.25], [0, 0, -0.25]], 4, axis=0)
    survey = np.repeat([0, 1], 4)
    law = propagate(gradient, np.vstack([ROOM, ROOM]), survey, models).sd
    assert_allclose(np.std(seen), law, rtol=3 / np.sqrt(8000))


@settings(max_examples=60, deadline=None)
@given(
    turn=st.floats(0, 2 * np.pi),
    east=st.floats(-1e4, 1e4),
    north=st.floats(-1e4, 1e4),
    seed=st.integers(0, 2**32 - 1),
)
def test_moving_and_turning_the_site_changes_no_uncertainty(turn, east, north, seed):
    """The same survey elsewhere, turned, with its pivots and azimuths, has the same budget."""
    rng = np.random.default_rng(seed)
    xyz, gradient = rng.uniform(0, 30, (12, 3)), rng.normal(size=(12, 3))
    pivot, azimuth = rng.uniform(0, 30, 2), 40.0
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])  # clockwise

    def turned(vectors):
        return np.column_stack([vectors[:, :2] @ rotation, vectors[:, 2:]])

    def budget(points, grad, about, rise):
        named = tuple(
            NamedError(f"s:{kind}", kind, 0.01, tuple(about), rise)
            for kind in ("height", "rotation", "scale", "tilt")
        )
        model = ErrorModel("a", 0.02, 0.03, 0.02, 0.04, 9.0, named=named)
        return propagate(grad, points, one(points), [model])

    here = budget(xyz, gradient, pivot, azimuth)
    moved_pivot = pivot @ rotation + [east, north]
    there = budget(
        turned(xyz) + np.array([east, north, 0]),
        turned(gradient),
        moved_pivot,
        azimuth + np.degrees(turn),
    )
    assert_allclose([there.random, there.patchy], [here.random, here.patchy], rtol=1e-7)
    assert_allclose(list(there.named.values()), list(here.named.values()), rtol=1e-6, atol=1e-8)


@settings(max_examples=30, deadline=None)
@given(factor=st.floats(-100, 100), seed=st.integers(0, 1000))
def test_a_figure_times_a_number_has_its_sd_times_it(factor, seed):
    """The law is linear: a gradient times a number gives the budget times it."""
    rng = np.random.default_rng(seed)
    xyz, gradient = rng.uniform(0, 9, (6, 3)), rng.normal(size=(6, 3))
    plain = propagate(gradient, xyz, one(xyz), [MIXED])
    assert_allclose(
        propagate(factor * gradient, xyz, one(xyz), [MIXED]).sd,
        plain.times(factor).sd,
        rtol=1e-9,
        atol=1e-12,
    )
