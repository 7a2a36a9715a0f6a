"""How the report puts fields into words: figures, depths, dates, lists, reasons, links."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

import pandas as pd

from wrackline.accuracy.markup import Markup, el, join
from wrackline.quantities import MISSING, fixed, measured

FIELD_WORDS = {
    "floor_area_m2": "floor area",
    "centre_area_m2": "area to wall centres",
    "perimeter_m": "length of the outline",
    "axis_deg": "axis",
    "bed_depth_m": "seabed",
    "floor_depth_m": "floor",
    "top_depth_m": "wall tops",
    "footprint_m2": "footprint",
    "clearance_above_high_water_m": "height above high water",
    "age_from": "age",
    "age_to": "age",
}
"""What a reader calls the fields whose reasons for being empty the report prints."""

WHY_COMMON = ("support:", "phase_from, phase_to:")
"""Reasons that hold for every row, told once."""


def records(table: pd.DataFrame) -> list[Mapping[str, Any]]:
    """Return a table's rows as mappings; faster to go through than the table."""
    names = [str(name) for name in table.columns]
    columns = [table[name].tolist() for name in table.columns]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def absent(value: Any) -> bool:
    """Tell whether a field is empty."""
    return bool(pd.isna(value)) or value == ""


def shown(row: Mapping[str, Any], name: str, after: str = "") -> str:
    """Return a field with its standard uncertainty as people read it.

    Parameters
    ----------
    row : mapping
    name : str
        Field; its partner has ``_sd`` before the unit.
    after : str
        Words behind a figure that is there.

    Examples
    --------
    >>> shown({"axis_deg": 12.94, "axis_sd_deg": 0.42}, "axis_deg", " from true north")
    '12.9 ± 0.4° from true north'
    """
    if absent(row[name]):
        return MISSING
    stem, unit = name.rsplit("_", 1)
    sd = row[f"{stem}_sd_{unit}"]
    return measured(float(row[name]), None if absent(sd) else float(sd), unit) + after


def deep(row: Mapping[str, Any], name: str) -> str:
    """Return a depth in words that also hold above the level.

    Examples
    --------
    >>> deep({"d_m": 3.81, "d_sd_m": 0.04}, "d_m"), deep({"d_m": -0.63, "d_sd_m": 0.05}, "d_m")
    ('3.81 ± 0.04 m deep', '0.63 ± 0.05 m above the sea level of depths')
    """
    if absent(row[name]) or row[name] >= 0:
        return shown(row, name, " deep")
    stem, unit = name.rsplit("_", 1)
    turned = {name: -row[name], f"{stem}_sd_{unit}": row[f"{stem}_sd_{unit}"]}
    return shown(turned, name, " above the sea level of depths")


def plain(row: Mapping[str, Any], name: str) -> str:
    """Return an area that states no uncertainty, to three digits.

    >>> plain({"centre_area_m2": 18.778}, "centre_area_m2")
    '18.8 m² (no sd stated)'
    """
    value = row[name]
    if absent(value):
        return MISSING
    digits = max(0, 2 - (len(str(int(abs(value)))) - 1))
    return f"{fixed(value, digits)} m² (no sd stated)"


def percent(share: float) -> str:
    """Return a share of a whole, small ones not as nothing, almost all not as all.

    >>> percent(0.9249), percent(0.00004), percent(0.99996), percent(0.0)
    ('92 %', 'under 0.1 %', 'over 99.9 %', '0 %')
    """
    if 0 < share < 0.001:
        return "under 0.1 %"
    if 0.999 < share < 1:
        return "over 99.9 %"
    digits = 1 if share < 0.01 and share > 0 else 0
    return f"{fixed(100 * share, digits)} %"


def supported(share: Any) -> str:
    """Return in which share of plausible outlines a thing stands; nothing where none is known.

    >>> supported(0.934), supported(None)
    ('stands in 93 % of the plausible outlines', '')
    """
    return "" if absent(share) else f"stands in {percent(float(share))} of the plausible outlines"


def spaced(text: object) -> str:
    """Return a list field as people read it.

    >>> spaced("2031-walls;2032-day"), spaced(None)
    ('2031-walls, 2032-day', '')
    """
    return "" if absent(text) else ", ".join(str(text).split(";"))


def dated(first: object, last: object) -> Markup:
    """Return a span of days, none of which a line break parts; a single day stands alone.

    >>> dated("2031-06-12", "2031-06-12")
    '<span class="q">2031-06-12</span>'
    """
    days = [first] if first == last else [first, last]
    return join((q(str(day)) for day in days), " to ")


def counted(number: int, word: str) -> str:
    """Return a number and its word.

    >>> counted(1, "room"), counted(3, "room"), counted(2, "unknown")
    ('1 room', '3 rooms', '2 small enclosed spaces')
    """
    word = "small enclosed space" if word == "unknown" else word
    return f"{number} {word}" + ("" if number == 1 else "s")


def listed(parts: Sequence[str]) -> str:
    """Return parts as a sentence strings them.

    >>> listed(["33 rooms"]), listed(["33 rooms", "2 courts", "1 lane"])
    ('33 rooms', '33 rooms, 2 courts and 1 lane')
    """
    return " and ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))


def reasons(text: object) -> str:
    """Return why fields of a row are empty, in words, without what holds for every row.

    >>> reasons("floor_depth_m: no floor met; support: not computed yet")
    'floor: no floor met'
    >>> reasons("floor_area_m2, perimeter_m: wall thickness unknown, or no floor left")
    'floor area, length of the outline: wall thickness unknown, or no floor left'
    """
    if absent(text):
        return ""
    parts = [part for part in str(text).split("; ") if not part.startswith(WHY_COMMON)]
    return "; ".join(map(_reason, parts))


def _reason(part: str) -> str:
    """Return one reason with fields named as people name them."""
    names, _, why = part.partition(": ")
    words = [FIELD_WORDS.get(name) for name in names.split(", ")]
    if not why or None in words:
        return part
    return f"{', '.join(dict.fromkeys(word for word in words if word))}: {why}"


def ranges(text: object) -> str:
    """Return survey lines with runs of numbers drawn together.

    >>> ranges("2031-walls/W001;2031-walls/W002;2031-walls/W003;2032-day/F7")
    '2031-walls W001–W003; 2032-day F7'
    """
    if absent(text):
        return ""
    named = sorted(part.partition("/")[::2] for part in str(text).split(";"))
    parts = []
    for survey, lines in groupby(named, key=lambda pair: pair[0]):
        parts.append(f"{survey} {', '.join(_runs([line for _, line in lines]))}")
    return "; ".join(parts)


def _runs(lines: Sequence[str]) -> list[str]:
    """Return names of lines, those whose numbers follow each other as one."""
    split = [re.fullmatch(r"(.*?)(\d+)", line) for line in lines]
    keys = [
        (m.group(1), int(m.group(2)) - k) if m else (line, k)
        for k, (m, line) in enumerate(zip(split, lines, strict=True))
    ]
    runs = []
    for _, part in groupby(zip(keys, lines, strict=True), key=lambda pair: pair[0]):
        names = [line for _, line in part]
        runs.append(names[0] if len(names) == 1 else f"{names[0]}–{names[-1]}")
    return runs


def pairs(facts: Iterable[tuple[str, object]], class_: str | None = None) -> Markup:
    """Return names and what is said of them; empty ones are left out."""
    there = [(name, value) for name, value in facts if value not in ("", None)]
    inside = (join([el("dt", name), el("dd", value)]) for name, value in there)
    return el("dl", *inside, class_=class_) if there else Markup("")


def to(number: object, known: Collection[str]) -> object:
    """Return a number as a way to its part of the page, where there is one."""
    return el("a", number, href=f"#{number}") if number in known else number


def q(text: str) -> Markup:
    """Return a figure that no line break may part from its unit."""
    return el("span", text, class_="q")
