"""CSV tables: units in the column names, and no cell that a spreadsheet would run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from wrackline import contract, quantities

DECIMALS = {"deg": 2, "m2": 2, "m": 3, "share": 3}
"""Digits by the unit that ends a column's name; more than any survey here supports."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\n")


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
    printed = pd.DataFrame(texts, columns=columns, dtype=object)
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    printed.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


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
    """Return every field of layers, tables and pictures' data, with its unit and meaning."""
    pictures = {f"pictures/{name}": fields for name, fields in contract.PICTURES.items()}
    rows = [
        {"layer": layer, "field": f.name, "type": f.kind, "unit": f.unit, "meaning": f.meaning}
        for layer, fields in {**contract.LAYERS, **contract.TABLES, **pictures}.items()
        for f in fields
    ]
    return pd.DataFrame(rows)
