"""Networks of tapes in three dimensions: places, their sds, and blunders found."""

import numpy as np
import pytest

from wrackline.fit import tapes
from wrackline.fit.tapes import (
    ALONG,
    BEARING,
    DISTANCE,
    EAST,
    HEIGHT,
    NORTH,
    RIGHT,
    Network,
    predict,
    solve,
)

FRAME = np.array([324_500.0, 4_207_700.0, 0.0])
CORNERS = np.array([[0.0, 0.0], [24.0, 0.0], [24.0, 16.0], [0.0, 16.0]])
POINTS, TAPES, TAPE_SD_M, DEPTH_SD_M, MARK_SD_M, SCALE = 12, 60, 0.02, 0.03, 0.01, 0.9996


def network(rows, count, scale=1.0):
    """Return a network from rows of kind, a, b, p, value, sd."""
    kind, a, b, p, value, sd = (np.array(column) for column in zip(*rows, strict=True))
    return Network(kind, a, b, p, value.astype(float), sd, scale, count)


def mark(k, place, sd=MARK_SD_M):
    return [(kind, k, k, -1, v, sd) for kind, v in zip((EAST, NORTH, HEIGHT), place, strict=True)]


def slope_m(one, other, scale=1.0):
    return float(np.linalg.norm((np.array(one) - other) / [scale, scale, 1.0]))


def simulated(seed, gross_m=0.0):
    """Return a noisy network of 12 points and 60 tapes, its truth, and the row of its blunder."""
    chance = np.random.default_rng(seed)
    xyz = chance.uniform([0.0, 0.0, -8.0], [24.0, 16.0, -3.0], (POINTS, 3))
    xyz[:4, :2] = CORNERS
    xyz += FRAME
    rows = [row for k in range(4) for row in mark(k, xyz[k])]
    rows += [(HEIGHT, k, k, -1, xyz[k, 2], DEPTH_SD_M) for k in range(4, POINTS)]
    first = len(rows)
    pairs = [(a, b) for a in range(POINTS) for b in range(a)]
    for k in chance.permutation(len(pairs))[:TAPES]:
        a, b = pairs[k]
        rows.append((DISTANCE, a, b, -1, slope_m(xyz[a], xyz[b], SCALE), TAPE_SD_M))
    net = network(rows, POINTS, SCALE)
    net.value[:] += chance.normal(size=len(rows)) * net.sd
    wrong = first + int(chance.integers(TAPES))
    net.value[wrong] += gross_m * chance.choice([-1, 1])
    return net, xyz, wrong


def accused(solution):
    """Tell whether anything of a network would be a suspicion."""
    off = abs(solution.tape_scale - 1)
    stretched = off > 0.005 and off > 4 * solution.tape_scale_sd
    return bool(solution.snooped.rejected or solution.mirrored or stretched)


def standard_errors(seeds):
    """Return errors in units of their stated sds, of all points that are no marks."""
    out = []
    for seed in seeds:
        net, xyz, _ = simulated(seed)
        found = solve(net)
        out.append(((found.xyz - xyz) / found.sds)[4:])
    return np.array(out)


def test_derivatives():
    """Derivatives of every kind of observation agree with central differences to 1e-7."""
    rows = [
        (DISTANCE, 0, 1, -1, 1.0, 1.0),
        (ALONG, 1, 2, 4, 1.0, 1.0),
        (RIGHT, 1, 2, 4, 1.0, 1.0),
        (HEIGHT, 3, 3, -1, 1.0, 1.0),
        (BEARING, 2, 4, -1, 1.0, 1.0),
        (EAST, 0, 0, -1, 1.0, 1.0),
        (NORTH, 2, 2, -1, 1.0, 1.0),
    ]
    net = network(rows, 5, SCALE)
    x = np.random.default_rng(7).uniform(0, 20, 15)
    steps = np.eye(15) * 1e-5
    numeric = [(predict(net, x + s, 1.1)[0] - predict(net, x - s, 1.1)[0]) / 2e-5 for s in steps]
    assert predict(net, x, 1.1)[1] == pytest.approx(np.array(numeric).T, abs=1e-7)


def test_three_four_five_in_three_dimensions():
    """By hand: 5 m from (0, 0, 0) and from (6, 0, 0), 4 m deep, lies 3 m along, 0 m beside.

    A slope of 5 over a step of 4 is 3 in plan (3-4-5 triangle); a third tape of the square root
    of 41 from (3, 5, 0) agrees: 5 in plan, 4 down.
    """
    at = [(0.0, 0.0, 0.0), (6.0, 0.0, 0.0), (3.0, 5.0, 0.0)]
    rows = [row for k in range(3) for row in mark(k, at[k])]
    rows += [(HEIGHT, 3, 3, -1, -4.0, 0.01)]
    rows += [(DISTANCE, k, 3, -1, d, 0.02) for k, d in enumerate((5.0, 5.0, 41**0.5))]
    found = solve(network(rows, 4))
    assert found.xyz[3] == pytest.approx([3.0, 0.0, -4.0], abs=1e-6)
    assert not accused(found)


def test_level_tapes_would_misplace_by_metres():
    """The same tapes taken for level would put the point 4.0 m aside of where it lies.

    With the step left out, 5 m from both marks meets 4 m beside their line, not on it.
    """
    at = [(0.0, 0.0, 0.0), (6.0, 0.0, 0.0)]
    rows = [row for k in range(2) for row in mark(k, at[k])]
    tied = [(DISTANCE, k, 2, -1, 5.0, 0.02) for k in range(2)]
    deep = solve(network([*rows, (HEIGHT, 2, 2, -1, -4.0, 0.01), *tied], 3))
    level = solve(network([*rows, (HEIGHT, 2, 2, -1, 0.0, 0.01), *tied], 3))
    assert abs(deep.xyz[2, 1]) < 0.05
    assert abs(level.xyz[2, 1]) == pytest.approx(4.0, abs=1e-6)


def test_grid_scale_stretches_plan_alone():
    """On a grid of scale 0.9996 a level tape of 100 m spans 99.96 m of grid, depths stay."""
    rows = [*mark(0, (0.0, 0.0, 0.0)), *mark(1, (0.0, 50.0, 0.0)), (HEIGHT, 2, 2, -1, 0.0, 0.01)]
    rows += [(BEARING, 0, 2, -1, np.pi / 2, 1e-6), (DISTANCE, 0, 2, -1, 100.0, 0.02)]
    assert solve(network(rows, 3, SCALE)).xyz[2] == pytest.approx([99.96, 0.0, 0.0], abs=1e-4)


def test_errors_are_as_large_as_stated():
    """Errors over stated sds have an rms of 0.9 to 1.1, over 40 fixed seeds."""
    assert 0.9 < np.sqrt((standard_errors(range(40)) ** 2).mean()) < 1.1


def test_gross_error_is_found_and_named():
    """One tape off by 1 m is the first that is named, in each of 20 seeds."""
    for seed in range(1000, 1020):
        net, _, wrong = simulated(seed, 1.0)
        found = solve(net)
        first = found.snooped.rejected[0]
        assert first.index == wrong
        assert abs(found.misfit[wrong]) == pytest.approx(1.0, abs=0.15)


@pytest.mark.slow
def test_gross_errors_in_a_hundred_networks():
    """One tape off by 1 m is named in 98 of 100 seeds or more, and nothing else in 95."""
    named = alone = 0
    for seed in range(2000, 2100):
        net, _, wrong = simulated(seed, 1.0)
        rejected = [found.index for found in solve(net).snooped.rejected]
        named += wrong in rejected
        alone += rejected == [wrong]
    assert named >= 98
    assert alone >= 95


@pytest.mark.slow
def test_clean_networks_are_not_accused():
    """Of 200 clean networks at most 4 get any suspicion; each axis' errors are as stated."""
    assert sum(accused(solve(simulated(seed)[0])) for seed in range(200)) <= 4
    rms = np.sqrt((standard_errors(range(200)) ** 2).mean(axis=(0, 1)))
    assert ((rms > 0.9) & (rms < 1.1)).all()


def test_blunders_that_look_the_same_are_all_named():
    """Three tapes fix a point and check each other once: any of the three could be the blunder."""
    xyz = np.array([[0.0, 0, 0], [10, 0, 0], [5, 9, 0], [4, 3, -1.0]])
    rows = [row for k in range(3) for row in mark(k, xyz[k], 0.001)]
    rows += [(HEIGHT, 3, 3, -1, -1.0, 0.01)]
    rows += [(DISTANCE, k, 3, -1, slope_m(xyz[k], xyz[3]) + (k == 1), 0.02) for k in range(3)]
    found = solve(network(rows, 4))
    first = len(rows) - 3
    named = {found.snooped.rejected[0].index, *found.alike[0]}
    assert named >= {first, first + 1, first + 2}


def test_mirrored_network_is_told():
    """Points that hang on two marks by tapes alone fit on both sides; a bearing ends the doubt."""
    xyz = np.array([[0.0, 0, -3], [10, 0, -4], [3, 6, -5], [8, 5, -4], [6, 9, -4]])
    rows = [row for k in range(2) for row in mark(k, xyz[k])]
    rows += [(HEIGHT, k, k, -1, xyz[k, 2], 0.02) for k in range(2, 5)]
    rows += [
        (DISTANCE, a, b, -1, slope_m(xyz[a], xyz[b]), 0.02) for a in range(5) for b in range(a)
    ]
    both = solve(network(rows, 5))
    assert [point for point, _, _ in both.mirrored] == [2, 3, 4]
    azimuth = float(np.arctan2(*(xyz[2] - xyz[0])[:2]))
    one = solve(network([*rows, (BEARING, 0, 2, -1, azimuth, np.radians(2))], 5))
    assert one.mirrored == []
    assert one.xyz == pytest.approx(xyz, abs=0.002)


def test_point_known_too_loosely_is_told():
    """A point on the line of both its bearings lies loose along it."""
    rows = [*mark(0, (0.0, 0.0, 0.0)), *mark(1, (0.0, 10.0, 0.0)), (HEIGHT, 2, 2, -1, 0.0, 0.01)]
    rows += [(BEARING, k, 2, -1, 0.0, np.radians(2)) for k in (0, 1)]
    loose = tapes.loose_points(solve(network(rows, 3)))
    assert [(point, plan) for point, plan, _ in loose] == [(2, True)]


def test_third_distance_stands_in_for_a_depth():
    """Without a depth, two tapes leave a point's height open and three don't."""
    at = [(0.0, 0.0, 0.0), (6.0, 0.0, 0.0), (3.0, 5.0, 1.0)]
    rows = [row for k in range(3) for row in mark(k, at[k])]
    tied = [(DISTANCE, k, 3, -1, 5.0, 0.02) for k in range(3)]
    assert tapes.weak_points(network([*rows, *tied[:2]], 4)) == [(3, 0, 1)]
    assert tapes.weak_points(network([*rows, *tied], 4)) == []


def test_weakness_is_handed_on():
    """A point that hangs on a weak one is weak itself."""
    rows = [*mark(0, (0.0, 0.0, 0.0)), *mark(1, (6.0, 0.0, 0.0))]
    rows += [(HEIGHT, k, k, -1, 0.0, 0.01) for k in (2, 3)]
    rows += [(DISTANCE, a, b, -1, 5.0, 0.02) for a, b in ((0, 2), (1, 3), (2, 3))]
    assert tapes.weak_points(network(rows[:-1], 4)) == [(2, 1, 0), (3, 1, 0)]
    assert tapes.weak_points(network(rows, 4)) == []


def test_order_of_observations_does_not_matter():
    """The same observations in another order give the same places."""
    net, _, _ = simulated(3)
    order = np.random.default_rng(0).permutation(len(net.kind))
    assert solve(net.part(order)).xyz == pytest.approx(solve(net).xyz, abs=1e-6)


def test_datum_errors_of_marks_at_one_place():
    """Marks without any spread give no rotation, and no height where none is known."""
    found = tapes.datum_errors("s", np.zeros((2, 2)), np.array([0.03, 0.04]), np.empty(0))
    assert [error.kind for error in found] == ["easting", "northing"]
    assert found[0].sd == pytest.approx(0.025)  # rms 0.03536 over the root of 2
