"""Families of directions in simulated sites, and the classes of their rose.

Axes are drawn about known directions, either way round the right angle, with a few walls of any
direction among them. Rates are held against the 0.1 % quantiles of binomial distributions.
"""

import numpy as np
import pytest
from scipy.stats import binom

from wrackline.rooms.families import families, rose_rows

SPREAD_DEG = 2.5


def site(seed, axes, each=30, astray=6):
    """Return axes of walls about each given axis modulo 90, and some of any direction."""
    rng = np.random.default_rng([each, len(axes), seed])
    about = np.repeat(axes, each) + rng.normal(0, SPREAD_DEG, each * len(axes))
    turned = about + 90 * rng.integers(0, 2, len(about))
    return np.concatenate([turned, rng.uniform(0, 180, astray)]) % 180


def apart(one, other, period=90.0):
    """Return how far apart axes are."""
    return np.abs((np.asarray(one) - other + period / 2) % period - period / 2)


@pytest.mark.parametrize("axes", [[20], [2, 40], [5, 30, 62]])
def test_families_are_recovered(axes):
    """One, two and three families are found in nine sites of ten, each within 2 degrees."""
    right = 0
    for seed in range(20):
        found = families(site(seed, axes))
        if len(found) == len(axes):
            right += 1
            assert apart(sorted(f.axis_deg for f in found), sorted(axes)).max() < 2
            assert all(len(f.members) >= 24 for f in found)
    assert right >= binom.ppf(0.001, 20, 0.9)


@pytest.mark.parametrize("number", [3, 8, pytest.param(40, marks=pytest.mark.slow)])
def test_no_family_without_direction(number):
    """Of sites whose walls have any direction about one in twenty seems to have a family."""
    rng = np.random.default_rng(number)
    alarms = sum(bool(families(rng.uniform(0, 180, number))) for _ in range(60))
    assert alarms <= binom.ppf(0.999, 60, 0.05)


def test_a_narrow_and_a_wide_scatter_about_one_direction_are_one_family():
    """Long walls with 0.5 and short ones with 2.5 degrees about the same axes: two families.

    Without joining families that share a peak, such sites seemed to have three or four.
    """
    rng = np.random.default_rng(5)
    right = 0
    for _ in range(6):
        sd = np.repeat([0.5, 2.5], [150, 50])
        turned = [axis + 90 * rng.integers(0, 2, 200) + rng.normal(0, sd) for axis in (12, 36)]
        found = families(np.concatenate(turned), np.tile(np.where(sd < 1, 4.0, 1.5), 2))
        right += len(found) == 2
        assert apart(sorted(f.axis_deg for f in found), [12, 36]).max() < 0.5
        assert sum(f.share for f in found) > 0.9
    assert right >= binom.ppf(0.001, 6, 0.95)


def test_uncertainty_of_the_axis():
    """The true axis lies within 1.96 standard uncertainties in about 95 of 100 sites."""
    held = 0
    for seed in range(60):
        family = families(site(seed, [33], each=20, astray=2))[0]
        held += int(apart(family.axis_deg, 33) < 1.96 * family.axis_sd_deg)
    assert binom.ppf(0.001, 60, 0.95) <= held


def test_spread_share_and_members():
    """Spread and share are those put in, and members those drawn about the axis."""
    (family,) = families(site(1, [33], each=300, astray=100))
    np.testing.assert_allclose(family.spread_deg, SPREAD_DEG, rtol=0.2)
    np.testing.assert_allclose(family.share, 0.75, atol=0.04)
    assert len(set(range(300)) & set(family.members)) > 285


@pytest.mark.parametrize("turn", [7.3, 45.0, 88.0, 100.0])
def test_turned_site(turn):
    """A site that is turned has its families turned with it, all else the same."""
    axes = site(2, [5, 30, 62])
    for one, other in zip(families(axes), families(axes + turn), strict=True):
        assert apart(one.axis_deg + turn, other.axis_deg) < 1e-3
        np.testing.assert_allclose(
            [one.axis_sd_deg, one.share, one.kappa],
            [other.axis_sd_deg, other.share, other.kappa],
            rtol=1e-3,
        )
        assert one.members == other.members


def test_order_leaves_no_trace():
    """Axes listed in another order give the same families to the last bit, members renumbered."""
    axes = site(3, [10, 40])
    weight = np.random.default_rng(3).uniform(1, 5, len(axes))
    order = np.random.default_rng(4).permutation(len(axes))
    for one, other in zip(
        families(axes, weight), families(axes[order], weight[order]), strict=True
    ):
        assert (one.axis_deg, one.kappa, one.share) == (other.axis_deg, other.kappa, other.share)
        assert one.members == tuple(sorted(order[list(other.members)].tolist()))


def test_right_angles_with_fold_two():
    """With fold 2 the walls of one right-angled building are two families, 90 degrees apart."""
    axes = site(4, [20], each=60, astray=0)
    assert len(families(axes)) == 1
    found = families(axes, fold=2)
    np.testing.assert_allclose(sorted(f.axis_deg for f in found), [20, 110], atol=2)


def test_axis_at_the_end_of_the_period():
    """Axes either side of north are one family, not two."""
    (family,) = families([89.0, 1.0, 0.0, 90.5, 179.5, 0.5])
    assert apart(family.axis_deg, 0) < 0.5
    assert family.members == (0, 1, 2, 3, 4, 5)


def test_weights():
    """Heavy axes pull the mean towards them; the scale of all weights counts for nothing."""
    axes = [10.0, 12.0, 11.0, 12.0, 10.0, 11.0, 12.0, 10.0]
    weight = np.where(np.array(axes) == 12, 3.0, 1.0)
    plain, pulled = families(axes)[0], families(axes, weight)[0]
    np.testing.assert_allclose(plain.axis_deg, 11.0, atol=0.01)
    np.testing.assert_allclose(pulled.axis_deg, np.average(axes, weights=weight), atol=0.01)
    assert families(axes, 1000 * weight)[0].axis_deg == pytest.approx(pulled.axis_deg)
    assert pulled.axis_sd_deg > 0


def test_few_axes():
    """None, one or two axes are no family; three that agree are, no tighter than 0.5 degrees."""
    assert families([]) == families([30.0]) == families([30.0, 30.0]) == []
    (family,) = families([30.0, 120.0, 30.0])
    np.testing.assert_allclose([family.axis_deg, family.spread_deg], [30, 0.5], atol=1e-6)
    assert families([1.0, 30.0, 60.0]) == []


@pytest.mark.parametrize(
    ("axes", "weights", "fold", "words"),
    [
        ([1.0, np.nan], None, 4, "1 axes that aren't numbers .* the first at 1"),
        ([1.0, 2.0], [1.0, 0.0], 4, "weight isn't positive"),
        ([1.0, 2.0], [1.0], 4, "each axis needs one weight"),
        ([1.0], None, 0, "fold is 0"),
    ],
)
def test_what_is_refused(axes, weights, fold, words):
    """Axes that aren't numbers, weights that don't fit and a fold of nothing are refused."""
    with pytest.raises(ValueError, match=words):
        families(axes, weights, fold=fold)


def test_rows_of_a_rose():
    """Classes hold every axis once, at their lower edge, modulo 180; shares follow weights."""
    rows = rose_rows([0.0, 9.9, 10.0, 180.0, 190.0, -1.0], [], weights=[1, 1, 2, 1, 1, 4])
    assert rows["axes"].tolist() == [3, 2] + [0] * 15 + [1]
    np.testing.assert_allclose(rows["share"].iloc[[0, 1, 17]], [0.3, 0.3, 0.4])
    with pytest.raises(ValueError, match="classes of 7 degrees"):
        rose_rows([1.0], [], bin_deg=7)
