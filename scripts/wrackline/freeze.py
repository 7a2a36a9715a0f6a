"""Puts a finished season's numbers on record as printed: rows added to `config/numbers.csv`.

Reads `results/seasons/<season>/plan.gpkg` and `config/numbers.csv`; writes the latter alone, whole
or not at all. From then on these numbers may be split, merged or retired, but never renamed.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import geopandas as gpd

from wrackline.errors import ConfigError, Fault
from wrackline.model import GivenNumber
from wrackline.numbers import NUMBERED
from wrackline.registers import NUMBERS, given_numbers, nearest
from wrackline.seasons.freezing import as_rows, frozen_rows


def freeze(site: Path, season: str) -> tuple[int, int]:
    """Add a season's numbers that are not yet in print to `config/numbers.csv`.

    Parameters
    ----------
    site : Path
        The site's folder, its record built.
    season : str
        The season on whose plan the numbers stand.

    Returns
    -------
    added, known : int
        Rows added, and numbers of the plan that were in print already.

    Raises
    ------
    ConfigError
        When there is no plan of that season, or the register can't be read.
    """
    plan = _plan(site, season)
    given = given_numbers(site)
    printed = {(row.what, row.number) for row in given if not row.series}
    rows = as_rows(frozen_rows(plan, season))
    fresh = [row for row in rows if (row["what"], row["number"]) not in printed]
    if fresh:
        _write(site / NUMBERS, [_cells(row) for row in given] + fresh)
    return len(fresh), len(rows) - len(fresh)


def _plan(site: Path, season: str) -> dict[str, gpd.GeoDataFrame]:
    package = site / "results" / "seasons" / season / "plan.gpkg"
    if not package.is_file():
        seasons = sorted(path.parent.name for path in package.parents[1].glob("*/plan.gpkg"))
        near = nearest(season, seasons)
        raise ConfigError(
            Fault(
                kind="no_such_season",
                found=f"no plan of the season '{season}' in results/",
                allowed=f"a season of the record: {', '.join(seasons) or 'none yet'}",
                consequence="no number was put in print",
                remedy=f"did you mean '{near}'?" if near else "name a season: SEASON=2031",
                file="results/seasons/",
            )
        )
    return {layer: gpd.read_file(package, layer=layer) for layer in NUMBERED}


def _cells(row: GivenNumber) -> dict[str, str]:
    return {name: str(value) for name, value in row.model_dump().items()}


def _write(path: Path, rows: list[dict[str, str]]) -> None:
    """Write the register beside itself, then give it its name."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(GivenNumber.model_fields), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    beside = path.with_name(path.name + ".new~")
    beside.write_text(text.getvalue(), encoding="utf-8")
    beside.replace(path)
