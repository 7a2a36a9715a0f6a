"""Lines, letters and papers by their standards, and what they are in points."""

import math
from itertools import pairwise

import pytest
from fontTools.ttLib import TTFont
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.textpath import TextPath

from wrackline.publish import drawing_standards as standards


def test_widths_and_heights_grow_by_the_root_of_two():
    """Both series are geometric: a sheet reduced by a paper size has widths of the series again.

    ISO 128-2 and ISO 3098-1 name the ratio 1 : sqrt(2); their rounding stays within 5 %.
    """
    for series in (standards.LINE_WIDTHS_MM, standards.LETTER_HEIGHTS_MM):
        for finer, coarser in pairwise(series):
            assert coarser / finer == pytest.approx(math.sqrt(2), rel=0.05)


def test_papers_are_halves_of_each_other():
    """A0 is a square metre, each next paper half of it, sides rounded down to the millimetre.

    ISO 216: sides 1 : sqrt(2), areas halved.
    """
    papers = [standards.PAPERS_MM[f"A{k}"] for k in range(5)]
    assert papers[0][0] * papers[0][1] == pytest.approx(1e6, rel=0.001)
    for larger, smaller in pairwise(papers):
        assert smaller == (larger[1], larger[0] // 2)


def test_scales_are_those_of_a_decade():
    """1, 2 and 5 times powers of ten, as the standard's table has them."""
    assert {int(str(n).rstrip("0")) for n in standards.REDUCTIONS} == {1, 2, 5}


@pytest.mark.parametrize("size", [0.13, 0.7, 3.5, 841.0])
def test_points_and_millimetres_undo_each_other(size):
    """72 points are an inch of 25.4 mm."""
    assert standards.millimetres(standards.points(size)) == pytest.approx(size)
    assert standards.capital_mm(standards.type_points(size)) == pytest.approx(size)


def test_capitals_are_as_high_as_said():
    """The built-in font's letter H is as high as said, in the file and as drawn."""
    path = findfont(FontProperties(family="DejaVu Sans"))
    with TTFont(path) as font:
        share = font["glyf"]["H"].yMax / font["head"].unitsPerEm
    assert share == pytest.approx(standards.CAPITAL_SHARE)
    size = standards.type_points(3.5)
    drawn = TextPath((0, 0), "H", size=size, prop=FontProperties(fname=path)).get_extents()
    assert standards.millimetres(drawn.height) == pytest.approx(3.5, rel=0.01)
