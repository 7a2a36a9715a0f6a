"""Published examples of access analysis: D, mean depth, relative asymmetry and control.

Hillier and Hanson, The Social Logic of Space (1984), pp. 108 to 113, table 3 from memory. Worked
sums: the lecture slides "ACISS 3: Access analysis", read in a stored public copy. Diamonds: the
glossary of wiki.designcomputation.org, "D-value". Control: Manum, Rusten and Benze, "AGRAPH" (5th
Space Syntax Symposium, 2005), section 3.
"""

from itertools import pairwise

import numpy as np
import pytest

from wrackline.rooms.access import access_figures, d_value

TABLE_3 = {5: 0.352, 6: 0.349, 7: 0.340, 8: 0.328, 9: 0.317, 10: 0.306, 11: 0.295, 12: 0.285}
TABLE_3 |= {13: 0.276, 14: 0.267, 15: 0.259, 16: 0.251, 17: 0.244, 18: 0.237, 19: 0.231, 20: 0.225}

# "Modern House" of the slides. Its plan is a picture; these doors are the only ones that give the
# depths summed there: 1, 2, 3, four times 4, three times 5 from the carrier.
HOUSE = [("carrier", "garden"), ("garden", "vestibule"), ("vestibule", "hall")]
HOUSE += [("hall", "kitchen"), ("hall", "living"), ("hall", "corridor"), ("hall", "bathroom")]
HOUSE += [("corridor", f"bedroom {k}") for k in (8, 9, 10)]


def figures(edges, outside):
    """Return the figures of all spaces but one, which counts as the outside."""
    rooms = {name for edge in edges for name in edge} - {outside}
    return access_figures(edges, sorted(rooms), outside).set_index("room")


@pytest.mark.parametrize(("spaces", "printed"), TABLE_3.items())
def test_d(spaces, printed):
    """Table 3 of Hillier and Hanson: D of 5 to 20 spaces, to three places (from memory)."""
    np.testing.assert_allclose(d_value(spaces), printed, atol=5.001e-4)


def test_mean_depths_of_a_house():
    """Slides: (1+2+3+4x4+5x3)/10 = 3.7 from the carrier, (1+2x3+3x4+4+5)/10 = 2.8 from room 10."""
    inside = figures(HOUSE, "carrier")
    assert inside.loc["bedroom 10", "mean_depth"] == pytest.approx(2.8)
    assert inside.loc["bedroom 10", "steps_from_outside"] == 5
    assert figures(HOUSE, "garden").loc["carrier", "mean_depth"] == pytest.approx(3.7)


def test_asymmetry_of_the_house():
    """RA = 2 (MD - 1) / (K - 2), as on the slides with K = 11, and RRA by the D of 11 spaces."""
    found = figures(HOUSE, "carrier").loc["bedroom 10"]
    assert found["relative_asymmetry"] == pytest.approx(2 * 1.8 / 9)
    assert found["real_relative_asymmetry"] == pytest.approx(0.4 / 0.295, rel=2e-3)
    assert found["integration"] == pytest.approx(0.295 / 0.4, rel=2e-3)


def test_least_and_greatest_asymmetry():
    """Slides: with two rooms off the carrier its RA is 0, that of either room 1."""
    edges = [("carrier", "1"), ("carrier", "2")]
    assert figures(edges, "carrier")["relative_asymmetry"].tolist() == [1.0, 1.0]
    assert figures(edges, "1").loc["carrier", ["mean_depth", "relative_asymmetry"]].tolist() == [
        1.0,
        0.0,
    ]


@pytest.mark.parametrize("widest", [4, 8, 16])
def test_root_of_a_diamond(widest):
    """The root of a diamond (1, 2, 4 ... 4, 2, 1 spaces a level) has the real RA of 1."""
    half = [2**n for n in range(int(np.log2(widest)))]
    levels = [*half, widest, *half[::-1]]
    edges = []
    for depth, (above, below) in enumerate(pairwise(levels)):
        for k in range(max(above, below)):
            ends = k * above // max(above, below), k * below // max(above, below)
            edges.append((f"{depth}.{ends[0]}", f"{depth + 1}.{ends[1]}"))
    root = figures(edges, f"{len(levels) - 1}.0").loc["0.0"]
    np.testing.assert_allclose(root["real_relative_asymmetry"], 1.0, rtol=1e-12)


def test_every_space_hands_out_one():
    """AGRAPH: each space shares 1 among its neighbours, so control sums to the number of spaces."""
    inside = figures(HOUSE, "carrier")["control"].sum()
    carrier = figures(HOUSE, "garden").loc["carrier", "control"]
    np.testing.assert_allclose(inside + carrier, 11.0, rtol=1e-12)


def test_controlling_spaces():
    """Slides: a space that controls has more than 1: hall 1/2 + 1/4 + 3 dead ends, bedrooms 1/4."""
    control = figures(HOUSE, "carrier")["control"]
    np.testing.assert_allclose(control["hall"], 0.5 + 0.25 + 3)
    np.testing.assert_allclose(control["corridor"], 0.2 + 3)
    np.testing.assert_allclose(control["bedroom 8"], 0.25)
