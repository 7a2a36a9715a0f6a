"""What standards of technical drawing lay down for sheets: lines, letters, paper, scales, fields.

Facts alone; how sheets look is decided where they are drawn. The standards were written for machine
parts and buildings: a plan may use finer letters, and says nothing wrong by it.
"""

from __future__ import annotations

POINTS_TO_INCH, INCH_MM = 72.0, 25.4

LINE_WIDTHS_MM = (0.13, 0.18, 0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0)
"""Widths of lines, each the square root of 2 times the one before (ISO 128-2:2020; from memory,
those from 0.18 mm also in drawing handbooks after ISO 128-20)."""

LETTER_HEIGHTS_MM = (1.8, 2.5, 3.5, 5.0, 7.0, 10.0, 14.0, 20.0)
"""Nominal sizes of letters: the height of capitals (ISO 3098-1:2015; from memory)."""

PAPERS_MM = {
    "A4": (297, 210),
    "A3": (420, 297),
    "A2": (594, 420),
    "A1": (841, 594),
    "A0": (1189, 841),
}
"""Longer and shorter side of trimmed paper (ISO 216, ISO 5457:1999)."""

FILING_EDGE_MM, BORDER_MM = 20.0, 10.0
"""Border at the left, where sheets are filed, and at other edges (ISO 5457:1999; from memory)."""

REDUCTIONS = (2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)
"""Recommended scales 1 : n; others where these can't be had (ISO 5455:1979, clause 5)."""

TITLE_BLOCK_MM = 180.0
"""Greatest width of a title block (ISO 7200:2004; from memory)."""

TITLE_BLOCK_FIELDS = (
    "legal owner",
    "identification number",
    "date of issue",
    "sheet number",
    "title",
    "approval person",
    "creator",
    "document type",
)
"""Fields that every title block has (ISO 7200:2004, mandatory ones); revision, number of sheets and
language code are among the optional ones."""

CAPITAL_SHARE = 1493 / 2048
"""Height of a capital over the size of the type, in DejaVu Sans (its letter H)."""


def points(size_mm: float) -> float:
    """Return a length on paper in points, the unit of type and of line widths in drawing programs.

    >>> round(points(0.25), 4), points(25.4)
    (0.7087, 72.0)
    """
    return size_mm * POINTS_TO_INCH / INCH_MM


def millimetres(size_pt: float) -> float:
    """Return a length in points in millimetres on paper.

    >>> millimetres(72.0)
    25.4
    """
    return size_pt * INCH_MM / POINTS_TO_INCH


def type_points(capital_mm: float) -> float:
    """Return the size of type whose capitals are so high on paper.

    >>> [round(type_points(high), 1) for high in LETTER_HEIGHTS_MM[:3]]
    [7.0, 9.7, 13.6]
    """
    return points(capital_mm) / CAPITAL_SHARE


def capital_mm(type_pt: float) -> float:
    """Return how high capitals of a size of type are on paper [mm].

    >>> round(capital_mm(5.0), 2)
    1.29
    """
    return millimetres(type_pt) * CAPITAL_SHARE
