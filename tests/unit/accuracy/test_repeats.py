"""The same points in two files."""

import numpy as np
import pytest

from wrackline.accuracy.repeats import LEAST_POINTS, is_lattice, point_codes, repeats


def codes(seed, count=400, keep=1):
    """Return codes of places drawn from a seed."""
    xyz = np.random.default_rng(seed).uniform(0, 100, (count, 3))
    return point_codes(*xyz.T, keep)


def test_copy_is_found_in_any_order():
    """A copy in another order, with hair's breadths of rounding, holds the same points."""
    xyz = np.random.default_rng(1).uniform(0, 100, (50, 3)).round(3)
    again = xyz[::-1] + 2e-4
    (found,) = repeats({"a": point_codes(*xyz.T), "b": point_codes(*again.T)})
    assert found.whole
    assert found.points == 50


@pytest.mark.parametrize(("share", "told"), [(0.95, True), (0.85, False)])
def test_nine_tenths_of_a_survey(share, told):
    """A survey of which nine tenths stand in another is told, less isn't."""
    xyz = np.random.default_rng(2).uniform(0, 100, (400, 3))
    part = xyz[:100].copy()
    part[int(share * 100) :] += 7.0
    found = repeats({"all": point_codes(*xyz.T), "part": point_codes(*part.T)})
    assert [(one.inner, one.outer, one.whole) for one in found] == [("part", "all", False)] * told


def test_few_points_or_other_places_say_nothing():
    """Surveys of other places, or of a handful of points, are no repeats."""
    assert repeats({"a": codes(3), "b": codes(4)}) == []
    few = codes(5, LEAST_POINTS - 1)
    assert repeats({"a": few, "b": few}) == []


def test_thinned_codes_find_the_same():
    """One in ten of the codes, the same ones in both files, is enough to see a copy."""
    thin = codes(6, 20_000, keep=10)
    assert len(thin) == pytest.approx(2000, rel=0.1)
    (found,) = repeats({"a": thin, "b": codes(6, 20_000, keep=10)})
    assert found.whole


def test_codes_do_not_collide():
    """Neighbouring places to the millimetre, negative ones too, all have codes of their own."""
    x, y, z = (axis.ravel() for axis in np.meshgrid(*[np.arange(-20, 20) / 1000] * 3))
    assert len(point_codes(x, y, z)) == 40**3


def test_lattice_is_told_from_soundings():
    """Nodes of a grid share eastings, soundings don't."""
    x, _ = np.meshgrid(np.arange(30.0), np.arange(30.0))
    assert is_lattice(x.ravel())
    assert not is_lattice(np.random.default_rng(7).uniform(0, 100, 900))
