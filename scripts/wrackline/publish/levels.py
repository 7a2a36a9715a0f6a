"""The named sea levels as published: their heights, what they rest on, and how old they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from wrackline import contract
from wrackline.accuracy.markup import Markup, el, table
from wrackline.model import SeaLevel, Site
from wrackline.publish.report_text import absent, q, shown
from wrackline.publish.sea_level import year_text
from wrackline.quantities import MISSING
from wrackline.uncertainty import level_budget

AGE_FIELDS = ("from_year", "to_year", "age_from", "age_to")


def levels_table(site: Site) -> pd.DataFrame:
    """Return one row a named sea level, in the order of the config.

    Parameters
    ----------
    site : Site

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["levels"]`.
    """
    rows = [_row(level, site) for level in site.sea_levels]
    return pd.DataFrame(rows, columns=list(contract.table_columns("levels")), dtype=object)


def _row(level: SeaLevel, site: Site) -> dict[str, Any]:
    uses = {"depths count from it": site.depths_below, "today's high water": site.high_water}
    row = {
        "sea_level": level.name,
        "height_m": level.height_m,
        "height_sd_m": level_budget(level, site).sd,
        "error_sources": "; ".join(level.error_sources) or None,
        "from_year": level.from_year,
        "to_year": level.to_year,
        "age_from": year_text(level.from_year),
        "age_to": year_text(level.to_year),
        "basis": level.basis or None,
        "gauge": level.gauge or None,
        "gauge_years": level.years or None,
        "used_as": "; ".join(use for use, name in uses.items() if name == level.name) or None,
    }
    return {**row, "null_because": _why(row) or None}


def _why(row: Mapping[str, Any]) -> str:
    """Return why cells are empty.

    >>> _why({"from_year": None, "to_year": None, "gauge": None, "basis": "notches"})
    "from_year, to_year: a level of today; gauge: the config doesn't say"
    """
    empty = [name for name, value in row.items() if value is None]
    ages = [name for name in empty if name in AGE_FIELDS]
    unsaid = [name for name in empty if name not in AGE_FIELDS]
    parts = [
        f"{', '.join(names)}: {why}"
        for names, why in ((ages, "a level of today"), (unsaid, "the config doesn't say"))
        if names
    ]
    return "; ".join(parts)


def level_words(rows: Sequence[Mapping[str, Any]]) -> list[Markup]:
    """Return the named sea levels for the report, a row each; nothing where none is given.

    Parameters
    ----------
    rows : sequence of mapping
        The named levels of `summary.json`.
    """
    if not rows:
        return []
    head = ["sea level", "height above the datum", "age", "rests on", "used as"]
    body = [
        [
            row["sea_level"],
            q(shown(row, "height_m")),
            _age(row),
            _grounds(row),
            _or_none(row, "used_as"),
        ]
        for row in rows
    ]
    return [table(head, body, caption="Named sea levels"), el("p", AGES)]


AGES = "A level without an age is one of today."


def _age(row: Mapping[str, Any]) -> str:
    return MISSING if absent(row["age_from"]) else f"{row['age_from']} to {row['age_to']}"


def _or_none(row: Mapping[str, Any], name: str) -> str:
    return MISSING if absent(row[name]) else str(row[name])


def _grounds(row: Mapping[str, Any]) -> str:
    """Return what a level rests on, as far as the config says.

    >>> _grounds({"basis": None, "gauge": "harbour", "gauge_years": "2010-2019"})
    'harbour; 2010-2019'
    """
    told = [str(row[name]) for name in ("basis", "gauge", "gauge_years") if not absent(row[name])]
    return "; ".join(told) or MISSING
