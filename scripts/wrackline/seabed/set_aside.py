"""What of a survey's points was set aside: written out in full, and as an account."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from wrackline.io import write_json
from wrackline.seabed.gridding import SetAside

SCHEMA = pa.schema(
    [
        ("easting", pa.float64()),
        ("northing", pa.float64()),
        ("height", pa.float64()),
        ("row", pa.int64()),
    ]
)


def write_set_aside(found: SetAside, table: Path | str, account: Path | str) -> None:
    """Write lone blunders as Parquet and the account of all that was set aside as JSON.

    Parameters
    ----------
    found : SetAside
    table : Path or str
        Columns of `SCHEMA`; `row` is null where the rows of the raw file are not known.
    account : Path or str
        ``points`` of the survey, ``lone`` of them, ``blocks``, and the ``cell_m`` of their cells.
    """
    rows = pa.nulls(len(found.lone), pa.int64()) if found.rows is None else pa.array(found.rows)
    columns = [pa.array(found.lone[:, axis]) for axis in range(3)]
    pq.write_table(pa.Table.from_arrays([*columns, rows], schema=SCHEMA), table, compression="zstd")
    write_json(account_of(found), account)


def account_of(found: SetAside) -> dict[str, Any]:
    """Return the account of what was set aside, as JSON has it."""
    return {
        "points": found.points,
        "lone": len(found.lone),
        "blocks": [asdict(block) for block in found.blocks],
        "cell_m": found.cell_m,
    }
