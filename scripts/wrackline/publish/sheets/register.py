"""The sheet register: one row a sheet, what it shows, to which scale, in which file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from wrackline import contract
from wrackline.publish.sheets.column import coarser_than, sd_digits
from wrackline.publish.sheets.paper import DRAWN_MM
from wrackline.publish.sheets.sheet import Planned


def register_rows(planned: Sequence[Planned], name: str) -> list[dict[str, Any]]:
    """Return the rows of a set's sheets.

    Parameters
    ----------
    planned : sequence of Planned
        As drawn.
    name : str
        Of the set.
    """
    return [_row(one, name) for one in planned]


def _row(one: Planned, name: str) -> dict[str, Any]:
    layout, content = one.sheet.layout, one.content
    west, south, east, north = layout.ground
    hidden = content.hides_place
    block = content.site.title_block
    coarse = coarser_than(content, layout.ground_m(DRAWN_MM))
    reasons = [
        "middle_easting_m, middle_northing_m: the sheet leaves the place out" if hidden else "",
        "" if block.drawn else "drawn: the config doesn't say",
        "" if block.checked else "checked: the config doesn't say",
        "" if block.date else "date: the config doesn't say",
    ]
    return {
        "sheet": f"{name}/{one.sheet.number}",
        "title": one.named.title,
        "shows": one.sheet.shows,
        "pdf": f"sheets/{name}.pdf",
        "page": one.named.page,
        "svg": f"sheets/{name}/{one.sheet.number}.svg",
        "scale": layout.scale,
        "paper": layout.paper,
        "language": content.words.code,
        "reader": content.settings.reader,
        "place": content.settings.place,
        "revision": block.revision or content.season,
        "drawn": block.drawn,
        "checked": block.checked,
        "date": block.date.isoformat() if block.date else None,
        "ground_wide_m": east - west,
        "ground_tall_m": north - south,
        "middle_easting_m": None if hidden else (west + east) / 2,
        "middle_northing_m": None if hidden else (south + north) / 2,
        "line_shows_m": layout.ground_m(DRAWN_MM),
        "less_sure_than_drawn": "; ".join(
            f"{technique} (sd {sd:.{sd_digits(sd)}f} m)" for technique, sd in coarse
        ),
        "no_place_for": ";".join(one.unplaced),
        "null_because": "; ".join(filter(None, reasons)),
    }


def register(rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
    """Return the register as a table.

    Parameters
    ----------
    rows : sequence of dict
        Of all sets.
    """
    return pd.DataFrame(rows, columns=list(contract.table_columns("sheets")))
