"""The things that the plan viewer lists, shows and draws, each kind as columns of short texts.

Everything is columns: one entry a thing, texts that repeat kept once (`coded`). The script in the
page decodes a column when it is asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline.accuracy.markup import plain
from wrackline.publish.report_text import absent, records, spaced
from wrackline.publish.viewer.facts import Facts, Told, lines_of
from wrackline.publish.viewer.shapes import Zero, labels, marks, packed
from wrackline.publish.viewer.words import HEADS
from wrackline.quantities import MISSING, fixed, measured, rounded

Record = Mapping[str, Any]

SORTED_DIGITS = 4
EARLIER = "earlier_phase"
"""Flag beside the fields of rooms and walls: of an earlier phase, and so not of the last plan."""
NEVER = -1
"""Season of what names none: it is there in every season."""
DIGITS = {"m": 2, "m2": 1, "deg": 0, "m3": 1, "share": 2}
"""Of figures in the table that have no sd, by unit; shares have none."""


@dataclass(frozen=True)
class Kind:
    """A kind of things.

    Attributes
    ----------
    name : str
        Key of `viewer_words.KINDS`.
    what : str
        What its events call it; empty where there are none.
    number : str
        Field of its number; empty where rows are counted.
    fields : sequence of str
        Fields of the table's columns, the number left out.
    layer : callable
        Row -> layer of the drawing that it stands on.
    tone : callable
        Row -> which look within that layer; empty for the only one.
    labelled : bool
        Whether its number is written on the plan.
    """

    name: str
    what: str
    number: str
    fields: Sequence[str]
    layer: Callable[[Record], str]
    tone: Callable[[Record], str] = lambda _: ""
    labelled: bool = False


DRAWN_APART = ("stone", "hachure", "section line")
"""Kinds of features that plans draw in ways of their own."""
_WALLS = {"recorded": "recorded", "old plan": "old", "inferred": "inferred"}

KINDS = (
    Kind(
        "rooms",
        "room",
        "room",
        (
            *("building", "kind", "floor_area_m2", "axis_deg", "bed_depth_m", "floor_depth_m"),
            *("recorded_share", "support", "first_season", "last_season", "reading"),
        ),
        lambda row: "earlier" if row.get(EARLIER) else "rooms",
        lambda row: "" if row.get(EARLIER) else str(row["kind"]),
        labelled=True,
    ),
    Kind(
        "buildings",
        "building",
        "building",
        (
            *("room_count", "footprint_m2", "axis_deg", "top_depth_m", "bed_depth_m"),
            *("floor_depth_m", "support", "first_season", "last_season", "reading"),
        ),
        lambda _: "buildings",
        labelled=True,
    ),
    Kind(
        "walls",
        "wall",
        "wall",
        (
            *("evidence", "closing", "length_m", "axis_deg", "top_depth_m", "base_depth_m"),
            *("first_season", "last_season"),
        ),
        lambda row: "earlier" if row.get(EARLIER) else _WALLS[str(row["evidence"])],
    ),
    Kind(
        "openings",
        "opening",
        "opening",
        ("evidence", "width_m", "joins", "first_season", "last_season"),
        lambda _: "openings",
        lambda row: str(row["evidence"]),
    ),
    Kind(
        "features",
        "feature",
        "feature",
        ("kind", "origin", "room", "top_depth_m", "base_depth_m", "season", "note"),
        lambda _: "features",
        lambda row: str(row["kind"]) if row["kind"] in DRAWN_APART else "",
    ),
    Kind(
        "trenches",
        "",
        "trench",
        ("area_m2", "bottom_height_m", "survey", "season"),
        lambda _: "trenches",
    ),
    Kind(
        "spots",
        "",
        "",
        ("of", "thing", "height_m", "depth_m", "survey", "season"),
        lambda _: "spots",
    ),
    Kind(
        "changes",
        "",
        "",
        ("earlier", "later", "change", "area_m2", "mean_m", "volume_m3"),
        lambda _: "changes",
        lambda row: "come" if str(row["change"]).endswith("come") else "gone",
    ),
)
"""Kinds of things, those first that a person looks for first."""


@dataclass(frozen=True)
class Known:
    """Seasons and surveys by their place in the viewer's lists, and where it counts from."""

    seasons: Mapping[str, int]
    surveys: Mapping[str, int]
    survey_seasons: Sequence[int]
    zero: Zero


def coded(values: Sequence[str]) -> dict[str, Any]:
    """Return a column of texts, those that repeat kept once.

    Examples
    --------
    >>> coded(["a", "b"]), coded(["a", "a", "a", ""])
    ({'text': ['a', 'b']}, {'text': ['a', ''], 'at': [0, 0, 0, 1]})
    """
    places: dict[str, int] = {}
    at = [places.setdefault(value, len(places)) for value in values]
    if 2 * len(places) > len(at):
        return {"text": list(values)}
    return {"text": list(places), "at": at}


def kind_data(kind: Kind, table: gpd.GeoDataFrame, told: Told, known: Known) -> dict[str, Any]:
    """Return all that the viewer has of one kind of things.

    Parameters
    ----------
    kind : Kind
    table : GeoDataFrame
        Its rows.
    told : Told
        What facts are drawn from.
    known : Known
        Seasons, surveys and zero.

    Returns
    -------
    dict
        ``name``; ``numbers``; ``columns`` of the table: head, text, and numbers to sort by or None;
        ``facts``: name -> column; ``lines``, ``history``, ``readings``, ``others``: columns;
        ``surveys``: places in the list of surveys by row; ``first``, ``last``: places in the list
        of seasons, -1 for none; ``layer``, ``tone``: columns; ``shapes``, see
        `viewer_shapes.packed`; ``labels`` where numbers are written.
    """
    rows, facts = records(table), told.facts(kind.name)
    numbers = numbers_of(kind, table)
    surveys = [_places(_first_of(row, "surveys", "survey"), known.surveys) for row in rows]
    shapes = list(table.geometry)
    data = {
        "name": kind.name,
        "numbers": numbers,
        "columns": [_column(table, field) for field in kind.fields if field in table.columns],
        "facts": _turned([facts(row) for row in rows]),
        "lines": coded([lines_of(row) for row in rows]),
        "history": coded([told.history(kind.what, number) for number in numbers]),
        "readings": coded([told.readings(number) if kind.what else "" for number in numbers]),
        "others": coded([plain(spaced(row.get("other_numbers"))) for row in rows]),
        "surveys": surveys,
        "first": [_season(row, ("first_season", "season", "later"), known) for row in rows],
        "last": [_season(row, ("last_season", "season", "later"), known) for row in rows],
        "layer": coded([kind.layer(row) for row in rows]),
        "tone": coded([kind.tone(row) for row in rows]),
        "shapes": packed(shapes, known.zero),
    }
    if kind.name == "spots":
        beside = marks(shapes, known.zero)
        return data | {"labels": beside | {"text": _heights(table)}, "apart": beside["wide"]}
    return data | ({"labels": labels(shapes, known.zero)} if kind.labelled else {})


def _heights(table: pd.DataFrame) -> list[str]:
    """Return the heights that stand beside their marks."""
    pairs = zip(table["height_m"], table["height_sd_m"], strict=True)
    return ["" if absent(h) else rounded(h, 0.05 if absent(sd) else sd)[0] for h, sd in pairs]


def numbers_of(kind: Kind, table: pd.DataFrame) -> list[str]:
    """Return the numbers of a kind's things; where they have none, their places in the table."""
    if kind.name == "changes":
        return [f"{row['area']} {row['earlier']}–{row['later']}" for row in records(table)]
    if not kind.number:
        return [str(k) for k in range(1, len(table) + 1)]
    return [plain(number) for number in table[kind.number]]


def body_data(bodies: gpd.GeoDataFrame, known: Known) -> dict[str, Any]:
    """Return the wall bodies: drawn with the surveys and seasons of their lines, never picked."""
    surveys = [_places(names, known.surveys) for names in bodies["surveys"]]
    first = [
        min((known.survey_seasons[place] for place in mine), default=NEVER) for mine in surveys
    ]
    return {
        "surveys": surveys,
        "first": first,
        "shapes": packed(list(bodies.geometry), known.zero),
    }


def _first_of(row: Record, *names: str) -> object:
    return next((row[name] for name in names if name in row), None)


def _places(names: object, order: Mapping[str, int]) -> list[int]:
    found = [] if absent(names) else str(names).split(";")
    return [order[name] for name in found if name in order]


def _season(row: Record, names: Sequence[str], known: Known) -> int:
    value = _first_of(row, *names)
    return known.seasons.get("" if absent(value) else str(value), NEVER)


def _turned(rows: Sequence[Facts]) -> dict[str, Any]:
    """Return facts by name, each a column, the names in the order in which things tell them.

    >>> list(_turned([[("a", "1"), ("d", "2")], [("a", "3"), ("c", "4"), ("d", "5")]]))
    ['a', 'c', 'd']
    """
    names: list[str] = []
    for row in rows:
        place = 0
        for name, _ in row:
            if name not in names:
                names.insert(place, name)
            place = names.index(name) + 1
    tables = [dict(row) for row in rows]
    return {name: coded([table.get(name, "") for table in tables]) for name in names}


def _column(table: pd.DataFrame, field: str) -> dict[str, Any]:
    """Return one column of the table: its head, its cells as texts, and what they sort by."""
    values = table[field].tolist()
    if not pd.api.types.is_numeric_dtype(table[field].dtype):
        cells = ["" if absent(value) else plain(spaced(value)) for value in values]
        return {"head": HEADS[field], **coded(cells), "sort": None}
    stem, _, unit = field.rpartition("_")
    sds = f"{stem}_sd_{unit}"
    known = table[sds].tolist() if sds in table.columns else [None] * len(values)
    cells = [_cell(*pair, unit) for pair in zip(values, known, strict=True)]
    sort = [None if absent(value) else round(float(value), SORTED_DIGITS) for value in values]
    return {"head": HEADS[field], **coded(cells), "sort": sort}


def _cell(value: Any, sd: Any, unit: str) -> str:
    """Return a figure without its unit, which stands in the head.

    >>> _cell(3.14159, 0.0123, "m"), _cell(3.14159, None, "m"), _cell(None, None, "m")
    ('3.142 ± 0.012', '3.14', '–')
    """
    if absent(value):
        return MISSING
    if absent(sd):
        return fixed(float(value), DIGITS.get(unit, 0 if float(value).is_integer() else 2))
    return measured(float(value), float(sd))
