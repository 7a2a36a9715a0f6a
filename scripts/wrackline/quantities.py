"""Figures for people: a value with its standard uncertainty, rounded to what that supports.

The one place where a measured figure becomes text; tables, sheets and pages all come here. An
uncertainty is printed with one or two significant digits and its value to the same place. How many
digits follows the rule of the Particle Data Group's Review of Particle Physics (Introduction,
"Rounding", from memory): of the three leading digits 100 to 354 keep two, 355 to 949 keep one, and
950 to 999 round up to 1000 and keep two. It stays within GUM 7.2.6, at most two digits.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal

SIGNS = {"m": "m", "m2": "m²", "m3": "m³", "deg": "°", "": ""}
"""How a unit that ends a field's name is printed."""

MISSING = "–"
TWO_DIGITS_BELOW = 355


def places(sd: float) -> int:
    """Return how many decimal places a standard uncertainty supports; negative: tens, hundreds.

    Parameters
    ----------
    sd : float
        Positive and finite.

    Raises
    ------
    ValueError
        When the uncertainty is not positive and finite.

    Examples
    --------
    >>> [places(sd) for sd in (0.0347, 0.0361, 0.096, 12.0, 480.0)]
    [3, 2, 2, 0, -2]
    """
    if not 0 < sd < float("inf"):
        raise ValueError(f"an uncertainty of {sd} supports no rounding")
    exact = Decimal(repr(float(sd)))
    leading = int(exact.scaleb(2 - exact.adjusted()).to_integral_value(ROUND_HALF_EVEN))
    if leading < TWO_DIGITS_BELOW:
        return 1 - exact.adjusted()
    return -exact.adjusted()


def rounded(value: float, sd: float) -> tuple[str, str]:
    """Return a value and its standard uncertainty as texts, both to the place that it supports.

    A figure whose uncertainty is 0 or unknown keeps three decimals.

    Examples
    --------
    >>> rounded(0.8271, 0.119), rounded(0.8271, 0.367), rounded(14.327, 0.951)
    (('0.83', '0.12'), ('0.8', '0.4'), ('14.3', '1.0'))
    """
    if not 0 < sd < float("inf"):
        return fixed(value, 3), "0" if sd == 0 else ""
    return fixed(value, places(sd)), fixed(sd, places(sd))


def fixed(value: float, digits: int) -> str:
    """Return a number with so many decimals, or rounded to tens and hundreds; no negative zero.

    Examples
    --------
    >>> fixed(-0.0004, 3), fixed(1234.5, -2), fixed(2.5, 1), fixed(0.95, 1)
    ('0.000', '1200', '2.5', '1.0')
    """
    text = f"{round(Decimal(repr(float(value))), digits):.{max(digits, 0)}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def measured(value: float | None, sd: float | None, unit: str = "") -> str:
    """Return a figure as people read it.

    Parameters
    ----------
    value, sd : float or None
        The figure and its standard uncertainty, in one unit; a missing value gives a dash.
    unit : str
        The unit that ends the field's name: ``m``, ``m2``, ``m3``, ``deg`` or nothing.

    Examples
    --------
    >>> measured(23.4567, 0.312, "m2"), measured(3.2, None, "m"), measured(None, None, "m")
    ('23.46 ± 0.31 m²', '3.200 m', '–')
    >>> measured(87.31, 0.42, "deg")
    '87.3 ± 0.4°'
    """
    if value is None or math.isnan(value):
        return MISSING
    sign = SIGNS.get(unit, unit)
    gap = "" if sign in ("", "°") else " "
    if sd is None or math.isnan(sd):
        return f"{fixed(value, 3)}{gap}{sign}"
    texts = rounded(value, sd)
    return f"{texts[0]} ± {texts[1]}{gap}{sign}"
