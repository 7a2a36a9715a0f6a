"""Lasting numbers that come from a place, not from a running count.

The number of a thing is a letter and the whole metres east and north of the site's origin at
which it was first seen: `R123-045`. It tells a diver where to look, no survey added later renames
it, and two people number alike. Things first seen in the same square metre get a letter more.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import shapely

NUMBERED = {
    "wall_lines": ("wall", "W"),
    "openings": ("opening", "O"),
    "rooms": ("room", "R"),
    "buildings": ("building", "B"),
    "features": ("feature", "F"),
}
"""Layer -> its number's field and letter."""


def place_numbers(
    letter: str,
    places: npt.NDArray[np.float64],
    origin: tuple[float, float],
    taken: Iterable[str] = (),
) -> list[str]:
    """Return a number for each place.

    Parameters
    ----------
    letter : str
        What is numbered.
    places : array, shape (n, 2)
        Easting and northing [m].
    origin : tuple of float
        The site's origin [m].
    taken : iterable of str
        Numbers that are in use already.

    Examples
    --------
    >>> place_numbers("R", np.array([[1003.2, 2040.9], [1003.7, 2040.1]]), (1000.0, 2000.0))
    ['R003-040', 'R003-040b']
    """
    used = set(taken)
    numbers = []
    for east, north in np.floor(np.asarray(places) - np.asarray(origin)).astype(int).tolist():
        stem = f"{letter}{_digits(east)}-{_digits(north)}"
        number, tries = stem, 1
        while number in used:
            tries += 1
            number = stem + _letters(tries)
        used.add(number)
        numbers.append(number)
    return numbers


def place_of(shapes: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Return the point of each geometry that its number is made from: inside, or midway."""
    line = np.isin(shapely.get_type_id(shapes), [1, 5])
    inside = shapely.point_on_surface(shapes)
    points = np.array(inside, dtype=object)
    points[line] = shapely.line_interpolate_point(shapes[line], 0.5, normalized=True)
    return points


def _digits(metres: int) -> str:
    return f"{metres:03d}" if metres >= 0 else f"m{-metres:03d}"


def _letters(count: int) -> str:
    """Return b for 2, c for 3 and so on, aa after z."""
    text = ""
    while count > 0:
        count, rest = divmod(count - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def joined(parts: Iterable[str]) -> str:
    """Return distinct texts in order, separated by semicolons: the form of all list fields."""
    return ";".join(sorted(set(parts)))


def renumber(text: str, numbers: dict[str, str]) -> str:
    """Return a list field with its numbers replaced, others (`outside`) left as they are."""
    return joined(numbers.get(part, part) for part in text.split(";") if part)
