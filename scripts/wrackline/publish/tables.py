"""CSV tables: units in the column names, and no cell that a spreadsheet would run."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from wrackline import contract

DECIMALS = {"deg": 2, "m2": 2, "m": 3, "share": 3}
"""Digits by the unit that ends a column's name; more than any survey here supports."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\n")


def write_csv(table: pd.DataFrame, path: Path | str) -> None:
    """Write a table as CSV in UTF-8, empty cells for null.

    Parameters
    ----------
    table : DataFrame
        A geometry column is left out.
    path : Path or str
    """
    columns = [name for name in table.columns if name != "geometry"]
    printed = pd.DataFrame({name: _texts(name, table[name]) for name in columns}, dtype=object)
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    printed.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def _texts(name: str, column: pd.Series) -> list[str]:
    return [_text(name, value) for value in column]


def _text(name: str, value: Any) -> str:
    """Return one cell; texts that a spreadsheet would take for a formula get an apostrophe.

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
    text = str(value).replace("\r\n", "\n").replace("\r", "\n")  # else a row would break in two
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def field_list() -> pd.DataFrame:
    """Return every field of every layer with its unit and meaning."""
    rows = [
        {"layer": layer, "field": f.name, "type": f.kind, "unit": f.unit, "meaning": f.meaning}
        for layer, fields in contract.LAYERS.items()
        for f in fields
    ]
    return pd.DataFrame(rows)
