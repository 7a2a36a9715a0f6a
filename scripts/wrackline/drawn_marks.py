"""Features that are marks of the drawing and no things of the past: hachures and section lines.

They are recorded, numbered and drawn like all features. They lie in no room, have no height of
their own, and are counted and interpreted by nobody.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

HACHURE, SECTION_LINE = "hachure", "section line"
"""A stroke from the top of a slope to its foot; the line in which a section was drawn, whose name
is the survey's own for it."""

DRAWN_MARKS = (HACHURE, SECTION_LINE)


def are_marks(kinds: Iterable[object]) -> npt.NDArray[np.bool_]:
    """Tell which kinds of features are marks of the drawing, capitals and small letters alike.

    Examples
    --------
    >>> are_marks(["hearth", "Section line", None]).tolist()
    [False, True, False]
    """
    return np.array([is_mark(kind) for kind in kinds], dtype=bool)


def is_mark(kind: object) -> bool:
    """Tell whether a kind of feature is a mark of the drawing."""
    return isinstance(kind, str) and kind.strip().casefold() in DRAWN_MARKS
