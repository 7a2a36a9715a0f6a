"""The font that a sheet's letters are drawn in."""

from __future__ import annotations

from matplotlib import font_manager

from wrackline.publish.sheets.language import Language

BUILT_IN = "DejaVu Sans"


def family(language: Language) -> str:
    """Return the name of a language's font for drawing, its own file made known first.

    Parameters
    ----------
    language : Language
        Its font, if it names one, must have passed `wrackline.languages`.
    """
    if not language.font:
        return BUILT_IN
    font_manager.fontManager.addfont(language.font)
    return str(font_manager.FontProperties(fname=language.font).get_name())
