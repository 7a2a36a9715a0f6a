"""What a check says of interpretations whose number the last record doesn't know; writes nothing.

Numbers are given while the record is built, so a number that isn't known may be one of what is new.
Only light modules may be imported here: the run's own code reads it.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

from wrackline.model import Interpretation
from wrackline.registers import INTERPRETATIONS, nearest

CONCORDANCE = Path("results/tables/concordance.csv")


def say_unknown(site: Path, readings: Sequence[Interpretation]) -> list[str]:
    """Return what to say of readings by a number that the last record doesn't know, line by line.

    Parameters
    ----------
    site : Path
        The site's folder; without a record nothing is said.
    readings : sequence of Interpretation
        Rows of `config/interpretations.csv`.
    """
    if not (site / CONCORDANCE).is_file():
        return []
    with (site / CONCORDANCE).open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    known: dict[str, list[str]] = {}
    for row in rows:
        names = [row["number"], f"{row['series']}: {row['number']}"]
        known.setdefault(row["what"], []).extend(names if row["series"] else names[:1])
    lines = []
    for reading in readings:
        mine = known.get(reading.what, [])
        if reading.number and reading.number not in mine:
            near = nearest(reading.number, mine)
            hint = f"; did you mean '{near}'?" if near else ""
            lines.append(
                f"SUSPICION unknown_number in {INTERPRETATIONS}: the {reading.what} "
                f"{reading.number}, read as '{reading.reading}', is not in the last record{hint} "
                "Unless it is new, a build will refuse it."
            )
    return lines
