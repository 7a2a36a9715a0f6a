"""CSV tables: units in the column names, and no cell that a spreadsheet would run.

A spreadsheet of another country splits rows at semicolons or tabs and heeds no quotes while it does
so; then a part of a text stands in a cell of its own. So parts are guarded like whole texts, behind
any blanks, quotes and signs that don't show, which some programs drop before they look.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from wrackline import contract, quantities

DECIMALS = {"deg": 2, "m2": 2, "m": 3, "share": 3}
"""Digits by the unit that ends a column's name; more than any survey here supports."""

QUOTE = '"'
UNSEEN = (
    r"[^\S\t\n]|[\"\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2064\ufeff]"
)
FORMULA = re.compile(rf"(?P<start>^|[;\t\n])(?P<unseen>(?:{UNSEEN})*)(?P<sign>[=+\-@＝＋－＠])")
"""Where a formula may begin in a text; a figure's own sign is none, and is never looked at."""

QUOTED = re.compile(r"[,;\t\n\"]|^\s|\s$")
"""What has a cell put in quotes; semicolons and tabs too, since some split rows at all of them."""


def write_csv(
    table: pd.DataFrame, path: Path | str, *, pairs: Mapping[str, str] | None = None
) -> None:
    """Write a table as CSV in UTF-8, empty cells for null.

    A figure that stands beside its standard uncertainty is printed, with it, to the place that
    the uncertainty supports; all others have the decimals of `DECIMALS`.

    Parameters
    ----------
    table : DataFrame
        A geometry column is left out.
    path : Path or str
    pairs : mapping of str to str, optional
        Standard uncertainties of columns where the names don't say so.
    """
    columns = [name for name in table.columns if name != "geometry"]
    texts = {name: _texts(name, table[name]) for name in columns}
    for name, sd_name in {**pairs_in(columns), **(pairs or {})}.items():
        figures = zip(table[name], table[sd_name], texts[name], texts[sd_name], strict=True)
        cells = [_supported(*figure) for figure in figures]
        texts[name], texts[sd_name] = ([cell[k] for cell in cells] for k in (0, 1))
    rows = [[_guarded(name) for name in columns], *zip(*texts.values(), strict=True)]
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    with Path(path).open("w", encoding="utf-8", newline="") as stream:
        stream.writelines(_row(cells) for cells in rows)


def _row(cells: Sequence[str]) -> str:
    r"""Return a row of a file.

    >>> _row(["R1", "a;b", ""]), _row([""])
    ('R1,"a;b",\\n', '""\\n')
    """
    quoted = [
        f'"{cell.replace(QUOTE, QUOTE * 2)}"' if QUOTED.search(cell) else cell for cell in cells
    ]
    return (",".join(quoted) or QUOTE * 2) + "\n"


def pairs_in(columns: Sequence[str]) -> dict[str, str]:
    """Return the columns that have their standard uncertainty in another: `_sd` before the unit.

    >>> pairs_in(["floor_area_m2", "floor_area_sd_m2", "random_sd_m", "rows"])
    {'floor_area_m2': 'floor_area_sd_m2'}
    """
    there = {name: name.replace("_sd_", "_", 1) for name in columns if "_sd_" in name}
    return {value: sd for sd, value in there.items() if value in columns}


def _supported(value: Any, sd: Any, text: str, sd_text: str) -> tuple[str, str]:
    """Return the cells of a figure and its standard uncertainty; as they are, if that says little.

    >>> _supported(12.3456, 0.312, "12.35", "0.31"), _supported(1.25, 0.0, "1.250", "0.000")
    (('12.35', '0.31'), ('1.250', '0.000'))
    """
    if not sd_text or not 0 < sd < float("inf"):
        return text, sd_text
    digits = quantities.places(sd)
    return (
        quantities.fixed(value, digits) if _is_real(value) else text,
        quantities.fixed(sd, digits),
    )


def _is_real(value: Any) -> bool:
    return isinstance(value, float | np.floating) and bool(np.isfinite(value))


def json_rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a table's rows as JSON has them, with all digits, null for what is missing."""
    return [
        {str(name): None if pd.isna(value) else value for name, value in row.items()}
        for row in table.to_dict("records")
    ]


def _texts(name: str, column: pd.Series) -> list[str]:
    return [_text(name, value) for value in column]


def _text(name: str, value: Any) -> str:
    """Return one cell.

    >>> _text("note", "=1+1"), _text("depth_m", -0.25), _text("depth_m", None)
    ("'=1+1", '-0.250', '')
    """
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return ""
    if isinstance(value, bool | np.bool_ | int | np.integer):
        return str(value)
    if isinstance(value, float | np.floating):
        digits = DECIMALS.get(name.rsplit("_", 1)[-1], 3)
        text = f"{value:.{digits}f}"
        return text.removeprefix("-") if float(text) == 0 else text
    return _guarded(str(value))


def _guarded(text: str) -> str:
    """Return a text with an apostrophe wherever a spreadsheet would take it for a formula.

    >>> _guarded("a; =1+1"), _guarded("-5"), _guarded("a-b")
    ("a;' =1+1", "'-5", 'a-b')
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")  # else a row would break in two
    return FORMULA.sub(r"\g<start>'\g<unseen>\g<sign>", text)


def field_list() -> pd.DataFrame:
    """Return every field of layers, tables and pictures' data, with its unit and meaning."""
    pictures = {f"pictures/{name}": fields for name, fields in contract.PICTURES.items()}
    rows = [
        {"layer": layer, "field": f.name, "type": f.kind, "unit": f.unit, "meaning": f.meaning}
        for layer, fields in {**contract.LAYERS, **contract.TABLES, **pictures}.items()
        for f in fields
    ]
    return pd.DataFrame(rows)
