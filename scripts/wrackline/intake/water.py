"""Water-level records: the gauge's CSV, checked for what would bend every depth."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.intake.texts import utc_seconds
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class WaterRecord:
    """Level of the water above the gauge's zero.

    Attributes
    ----------
    time : array, shape (n,)
        UTC, in seconds since 1970, increasing.
    level : array, shape (n,)
        Level [m].
    """

    time: Array
    level: Array


def read_water(source: Source, problems: Problems) -> WaterRecord | None:
    """Read the water-level record of a survey; None, with faults in `problems`, when it is bad.

    Parameters
    ----------
    source : Source
    problems : Problems
    """
    file = str(source.survey.vertical.water_level)
    try:
        table = pd.read_csv(
            source.folder / Path(file), dtype=str, keep_default_na=False, encoding="utf-8-sig"
        )
    except (OSError, UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as slip:
        problems.add(_unreadable(source, file, type(slip).__name__))
        return None
    table.columns = [str(name).strip() for name in table.columns]
    if not {"time", "level_m"} <= set(table.columns):
        problems.add(_no_columns(source, file, list(table.columns)))
        return None
    texts = table["time"].str.strip()
    time = utc_seconds(texts, source.survey.vertical.water_level_utc_offset_h)
    level = pd.to_numeric(table["level_m"].str.strip(), errors="coerce").to_numpy(dtype=float)
    faults = _row_faults(source, file, table, time, level)
    problems.extend(faults)
    return None if faults else WaterRecord(time, level)


def _row_faults(
    source: Source, file: str, table: pd.DataFrame, time: Array, level: Array
) -> list[Fault]:
    """Return a fault for each row that is no time, no number or out of order, at most one each."""
    checks = {
        "water_no_time": (~np.isfinite(time), "time", "date and time of day as ISO 8601"),
        "water_no_level": (~np.isfinite(level), "level_m", "a finite number of metres"),
        "water_order": (
            np.concatenate([[False], ~(np.diff(time) > 0)]) & np.isfinite(time),
            "time",
            "times that increase from row to row",
        ),
    }
    faults = [
        source.fault(
            kind,
            f"'{table[column].iloc[int(np.flatnonzero(bad)[0])]}' as {column}"
            + (f", and {int(bad.sum()) - 1} rows more" if bad.sum() > 1 else ""),
            allowed,
            "depths taken at that time would be reduced by a wrong level",
            "mend the record, or leave the row out: gaps are known as gaps",
            file=file,
            row=int(np.flatnonzero(bad)[0]) + 2,
        )
        for kind, (bad, column, allowed) in checks.items()
        if bad.any()
    ]
    if len(table) < 2:
        faults.append(_too_short(source, file, len(table)))
    return faults


def _unreadable(source: Source, file: str, slip: str) -> Fault:
    missing = slip == "FileNotFoundError"
    return source.fault(
        "water_missing" if missing else "water_unreadable",
        "no such file" if missing else f"no readable CSV ({slip})",
        "a CSV in UTF-8 with columns time, level_m",
        "depths below the water's surface can't be brought to a datum",
        "put the record where vertical.water_level says",
        file=file,
    )


def _no_columns(source: Source, file: str, names: list[str]) -> Fault:
    return source.fault(
        "water_columns",
        f"columns {', '.join(names[:8])}",
        "columns time (ISO 8601) and level_m (metres above the gauge's zero), by comma",
        "depths below the water's surface can't be brought to a datum",
        "rename the columns",
        file=file,
        row=1,
    )


def _too_short(source: Source, file: str, rows: int) -> Fault:
    return source.fault(
        "water_too_short",
        f"{rows} rows",
        "at least two levels, before and after the soundings",
        "the level at the soundings' time can't be had",
        "get the whole record from the gauge's keeper",
        file=file,
    )
