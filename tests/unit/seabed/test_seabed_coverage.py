"""Simulated surveys: 95 % intervals of cell means hold the true seabed."""

import numpy as np
import pytest
from scipy.stats import binom

from wrackline.seabed.gridding import bin_points, survey_bands
from wrackline.uncertainty import ErrorModel, NamedError, spherical

TRIALS = 400
SIDE, POINTS = 5, 3
CELL = SIDE // 2


def error_model(kind, origin):
    """Return the errors of one kind, or of all together."""
    random = {"random_horizontal": 0.15, "random_vertical": 0.05}
    none = {"random_horizontal": 0.0, "random_vertical": 0.01}
    patchy = {"patchy_horizontal": 0.1, "patchy_vertical": 0.06, "patchy_distance": 12.0}
    named = (
        NamedError("gauge:height", "height", 0.05),
        NamedError("mark:easting", "easting", 0.2),
        NamedError("level:tilt", "tilt", 0.01, origin, 30.0),
        NamedError("base:rotation", "rotation", 0.02, origin),
    )
    parts = {
        "random": random,
        "patchy": none | patchy,
        "named": none | {"named": named},
        "mixed": random | patchy | {"named": named},
    }
    return ErrorModel("2031-sim", **parts[kind])


def truth(x, y, origin):
    """Return the seabed: a slope of 0.25 with a gentle bend."""
    east, north = x - origin[0], y - origin[1]
    return -4 + 0.2 * east - 0.15 * north + 0.002 * (east - 2.5) ** 2


def simulated(model, origin, rng):
    """Return where soundings were recorded and at which heights, with one draw of all errors."""
    places = rng.uniform(0, SIDE, (SIDE * SIDE * POINTS, 2)) + origin
    xyz = np.column_stack([places, truth(*places.T, origin)])
    error = rng.normal(size=xyz.shape) * [model.random_horizontal] * 1.0
    error[:, 2] = rng.normal(0, model.random_vertical, len(xyz))
    if model.patchy_distance:
        apart = np.linalg.norm(places[:, None] - places, axis=2)
        root = np.linalg.cholesky(spherical(apart, model.patchy_distance) + 1e-9 * np.eye(len(xyz)))
        sizes = [model.patchy_horizontal, model.patchy_horizontal, model.patchy_vertical]
        error += root @ rng.normal(size=xyz.shape) * sizes
    for part in model.named:
        error += rng.normal() * part.displacement(xyz)
    return xyz + error


@pytest.mark.parametrize("kind", ["random", "patchy", "named", "mixed"])
def test_intervals_of_cell_means_hold_the_true_seabed(bed, kind):
    """One cell each of 400 independent surveys: as often as a binomial of 95 % allows."""
    rng, origin = np.random.default_rng(31), np.array(bed.origin)
    model, misses = error_model(kind, bed.origin), []
    centre = origin + CELL + 0.5
    for _ in range(TRIALS):
        seen = simulated(model, origin, rng)
        path = bed.write(seen - [*origin, 0.0])
        cells = bin_points(path, origin=bed.origin, cell_m=1.0)
        height, sd = (band.values for band in survey_bands(cells, model, fill_distance_m=0)[:2])
        at = cells.grid.north - 1 - CELL, CELL - cells.grid.west
        if cells.count[at] == 0:
            continue
        misses.append((height[at] - truth(*centre, origin)) / sd[at])
    held = int((np.abs(misses) <= 1.96).sum())
    low, high = binom.ppf([0.001, 0.999], len(misses), 0.95)
    assert low <= held <= high
    assert 0.9 <= np.sqrt(np.mean(np.square(misses))) <= 1.1
