"""Small detectors of the slips that tables of points bring along: pure functions on texts."""

from __future__ import annotations

import csv
import difflib
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

MARKS: dict[str, str | None] = {"comma": ",", "semicolon": ";", "tab": "\t", "space": None}
"""What stands between columns, by the config's word; None: any run of blanks."""

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
NOT_NUMBER = float("nan")
DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
DMS = re.compile(
    r"(?P<head>[NSEWO])?\s*[+-]?\d{1,3}(?P<degree>\s*(?:°|º|deg|:)\s*|\s+)"
    r"[0-5]?\d(?:[.,]\d+)?"
    r"(?P<minute>\s*['′’:]\s*|\s+(?=\d)|\s*)"
    r"(?P<seconds>[0-5]?\d(?:[.,]\d+)?)?\s*(?:\"|″|”|'')?\s*(?P<tail>[NSEWO])?",
    re.IGNORECASE,
)

VARIANTS: dict[str, tuple[str, ...]] = {
    role: tuple(words.split())
    for role, words in {
        "easting": "easting eastings east e x xcoord xcoordinate coordx pointx rechtswert ostwert "
        "este longitude long lon lng",
        "northing": "northing northings north n y ycoord ycoordinate coordy pointy hochwert "
        "nordwert norte latitude lat",
        "height": "height heights z zcoord h elevation elev ele level rl reducedlevel altitude alt "
        "hoehe hohe cota altura",
        "depth": "depth depths tiefe profundidad sounding dep",
        "time": "time datetime timestamp dateandtime utc zeit hora",
        "line": "line lineid lineno linenumber string linea linie",
        "sequence": "sequence seq order orden vertex",
        "code": "code featurecode fcode cod codigo",
        "point": "point pointid pointno pointnumber pt ptno ptid id name punkt punto",
        "note": "note notes remark remarks comment comments nota bemerkung",
    }.items()
}
"""Names that columns go by, without case, blanks, marks and accents (common practice, no
source)."""

LEAST_ALIKE = 0.8
"""Likeness of two words, from 0 to 1, from which one is taken for a misspelling of the other."""

How = Literal["exact", "alike", "variant", "misspelt"]


@dataclass(frozen=True)
class HeaderMatch:
    """A column found by its name: its number from 0, and how it was found."""

    place: int
    how: How


def as_number(text: str, decimal: str) -> float:
    """Return a text as a number, NaN where it is none.

    >>> as_number("-3,25", ","), as_number("1_000", "."), as_number("inf", ".")
    (-3.25, nan, nan)
    """
    if decimal != "." and "." in text:
        return NOT_NUMBER
    plain = text.replace(decimal, ".")
    return float(plain) if NUMBER.fullmatch(plain) else NOT_NUMBER


def looks_like_dms(text: str) -> bool:
    r"""Tell whether a text is an angle in degrees and minutes, with or without seconds.

    Without any mark of degrees or letter of a quarter, three groups of digits are asked for.

    >>> [looks_like_dms(text) for text in ("12°34'56\"", "12 34 56 N", "37 56.85 N", "12:34:56")]
    [True, True, True, True]
    >>> [looks_like_dms(text) for text in ("500100.25", "12 34", "-2.5 m", "F1", "")]
    [False, False, False, False, False]
    """
    match = DMS.fullmatch(text.strip())
    if match is None:
        return False
    marked = match["head"] or match["tail"] or "°" in text or "º" in text or "deg" in text.lower()
    return bool(marked) or bool(match["seconds"])


def decimal_comma_share(texts: Iterable[str]) -> float:
    """Return the share, from 0 to 1, of texts that are numbers with a decimal comma.

    Blank texts don't count.

    >>> decimal_comma_share(["500100,25", "-2,5", "", "7", "F1"])
    0.5
    """
    there = [text for text in texts if text.strip()]
    commas = sum(DECIMAL_COMMA.fullmatch(text.strip()) is not None for text in there)
    return commas / len(there) if there else 0.0


def better_separator(lines: Sequence[str], separator: str) -> str | None:
    """Return the word of a separator that takes lines apart where the given one doesn't.

    Parameters
    ----------
    lines : sequence of str
        The first lines of a table that are not blank, the header first.
    separator : {"comma", "semicolon", "tab", "space"}
        The configured one.

    Returns
    -------
    str or None
        None when the header falls into several cells as it is, or no other separator gives the
        same number of cells in every line.

    Examples
    --------
    >>> better_separator(["east;north;z", "500100,5;4200100,5;-2,5"], "comma")
    'semicolon'
    >>> better_separator(["east,north", "1,2"], "comma") is None
    True
    """
    if not lines or len(split_line(lines[0], separator)) > 1:
        return None
    best, most = None, 1
    for other in ("semicolon", "tab", "comma", "space"):
        widths = {len(split_line(line, other)) for line in lines}
        if other != separator and len(widths) == 1 and min(widths) > most:
            best, most = other, min(widths)
    return best


def split_line(line: str, separator: str) -> list[str]:
    """Return the cells of one line, blanks around them taken off.

    >>> split_line('500100.0; "wall; north"', "semicolon")
    ['500100.0', 'wall; north']
    """
    mark = MARKS[separator]
    if mark is None:
        return line.split()
    cells = next(csv.reader([line], delimiter=mark, skipinitialspace=True), [])
    return [cell.strip() for cell in cells]


def all_numbers(cells: Sequence[str], decimal: str = ".") -> bool:
    """Tell whether a first row is numbers alone, and so no header: two or more, not 1, 2, 3 ...

    >>> all_numbers(["500100.0", "4200100.0", "-2.5"]), all_numbers(["1", "2", "3"])
    (True, False)
    """
    there = [cell for cell in cells if cell]
    counted = there == [str(k) for k in range(1, len(there) + 1)]
    numbers = [as_number(cell, decimal) == as_number(cell, decimal) for cell in there]
    return len(there) > 1 and all(numbers) and not counted


def header_match(
    wanted: str, names: Sequence[str], aliases: Sequence[str] = ()
) -> HeaderMatch | None:
    """Return the one column that a name means, None where there is none or more than one.

    Parameters
    ----------
    wanted : str
        The name as the config has it.
    names : sequence of str
        The file's own names.
    aliases : sequence of str
        Further names that the column may go by, beside those of `VARIANTS`.

    Examples
    --------
    >>> names = ["Nr", "Rechtswert", "NORTH_ING", "Heigth"]
    >>> [header_match(name, names).how for name in ("Nr", "northing", "easting", "height")]
    ['exact', 'alike', 'variant', 'misspelt']
    >>> header_match("easting", ["x", "east"]) is None
    True
    """
    exact = [k for k, name in enumerate(names) if name == wanted]
    if exact:
        return HeaderMatch(exact[0], "exact") if len(exact) == 1 else None
    plain = [plain_name(name) for name in names]
    known = _known(wanted, aliases)
    stages: list[tuple[How, list[int]]] = [
        ("alike", [k for k, name in enumerate(plain) if name == plain_name(wanted)]),
        ("variant", [k for k, name in enumerate(plain) if name in known]),
        ("misspelt", [k for k, name in enumerate(plain) if _misspelt(name, known)]),
    ]
    for how, found in stages:
        if found:
            return HeaderMatch(found[0], how) if len(found) == 1 else None
    return None


def plain_name(name: str) -> str:
    """Return a name without case, accents, blanks and marks, and without a unit in brackets.

    >>> plain_name(" Höhe_über NN [m]")
    'hoheubernn'
    """
    bare = re.sub(r"[\[(][^\])]*[\])]\s*$", "", name.replace("ß", "ss"))
    letters = unicodedata.normalize("NFKD", bare.casefold())
    return "".join(letter for letter in letters if letter.isalnum())


def _known(wanted: str, aliases: Sequence[str]) -> set[str]:
    """Return the plain names that a wanted column may go by."""
    plain = plain_name(wanted)
    groups = [set(words) for words in VARIANTS.values() if plain in words]
    return {plain, *map(plain_name, aliases)}.union(*groups)


def _misspelt(name: str, known: set[str]) -> bool:
    """Tell whether a plain name is a slip of a known one: long enough, no word of its own."""
    if any(name in words for words in VARIANTS.values()):
        return False
    digits = re.sub(r"\D", "", name)
    return any(
        min(len(name), len(word)) > 4
        and digits == re.sub(r"\D", "", word)
        and difflib.SequenceMatcher(None, name, word).ratio() >= LEAST_ALIKE
        for word in known
    )
