"""The seabed's change between seasons as a table: the site, rooms, buildings, areas, a row each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline import contract, vectors
from wrackline.quantities import fixed, measured

LAYER = "seabed_change_areas"
TABLE = "seabed_change"
FIGURES = ("area_m2", "filled_share", "mean_m", "mean_sd_m", "volume_m3", "volume_sd_m3")


def change_areas(files: Sequence[Path | str], crs: str) -> gpd.GeoDataFrame:
    """Return the layer of areas of change of all pairs of seasons.

    Parameters
    ----------
    files : sequence of path
        As the rule `measure_change` writes them, a pair each.
    crs : str
        The site's CRS.
    """
    tables = [vectors.read(path) for path in files]
    there = [table for table in tables if len(table)]
    if not there:
        return vectors.empty(contract.columns(LAYER), crs)
    return gpd.GeoDataFrame(pd.concat(there, ignore_index=True), geometry="geometry", crs=crs)


def change_table(figures: Sequence[Mapping[str, Any]], areas: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return one row a pair of seasons and region that both have ground of.

    Parameters
    ----------
    figures : sequence of mapping
        Figures of each pair, see `wrackline.seasons.seabed_change.measure_change`.
    areas : GeoDataFrame
        The layer `seabed_change_areas`.
    """
    rows = [row for pair in figures for row in _rows(pair, areas)]
    return pd.DataFrame(rows, columns=list(contract.table_columns(TABLE)))


def _rows(pair: Mapping[str, Any], areas: gpd.GeoDataFrame) -> Iterator[dict[str, Any]]:
    """Yield the rows of one pair, the site first."""
    seasons = {"earlier": pair["earlier"], "later": pair["later"]}
    yield {**seasons, "scope": "site", "name": "", **_figures(pair["site"]), **_gross(pair)}
    stable = _figures(pair["stable"])
    words = registration_words(pair["stable"]["registration"])
    yield {**seasons, "scope": "stable ground", "name": "", **stable, "note": words}
    yield {**seasons, "scope": "dug by the team", "name": "", **_figures(pair["dug"])}
    mine = (areas["earlier"] == pair["earlier"]) & (areas["later"] == pair["later"])
    for area in areas[mine].to_dict("records"):
        row = {name: area[name] for name in (*FIGURES, "p")}
        yield {**seasons, "scope": "area of change", "name": area["area"], **row,
               "note": area["change"]}  # fmt: skip
    for scope, key in (("trench", "trenches"), ("building", "buildings"), ("room", "rooms")):
        for one in pair[key]:
            if one["cells"]:
                share = one["compared_share"]
                yield {**seasons, "scope": scope, "name": one["name"], "compared_share": share,
                       **_figures(one)}  # fmt: skip


def _figures(one: Mapping[str, Any]) -> dict[str, Any]:
    return {name: one[name] for name in FIGURES}


def _gross(pair: Mapping[str, Any]) -> dict[str, Any]:
    """Return what came and what went, and why figures are empty where they are."""
    gross = pair["gross"]
    return {
        "came_m3": gross["came_m3"],
        "came_sd_m3": gross["gross_sd_m3"],
        "went_m3": gross["went_m3"],
        "went_sd_m3": gross["gross_sd_m3"],
        "null_because": pair["null_because"],
    }


def registration_words(found: Mapping[str, Any]) -> str:
    """Return what stable ground says of how two seasons fit together.

    Parameters
    ----------
    found : mapping
        See `wrackline.seabed.registration.Registration.figures`.

    Examples
    --------
    >>> registration_words({"null_because": "no ground is stated as stable"})
    'no ground is stated as stable'
    >>> registration_words({"null_because": None, "offset_m": 0.012, "offset_sd_m": 0.031,
    ...                     "tilt_null_because": "one line", "apart": False, "correction": {}})
    'offset 0.012 ± 0.031 m; no tilt: one line; within what the errors allow'
    """
    if found["null_because"]:
        return str(found["null_because"])
    words = [f"offset {measured(found['offset_m'], found['offset_sd_m'], 'm')}"]
    if found["tilt_null_because"]:
        words.append(f"no tilt: {found['tilt_null_because']}")
    else:
        tilts = [
            f"{fixed(found[f'tilt_{way}_mm_per_m'], 2)} ± "
            f"{fixed(found[f'tilt_{way}_sd_mm_per_m'], 2)} mm per m {way}"
            for way in ("east", "north")
        ]
        words.append(f"tilt {' and '.join(tilts)}")
    if not found["apart"]:
        return "; ".join([*words, "within what the errors allow"])
    lines = [f"{survey}: {text}" for survey, text in sorted(found["correction"].items())]
    apart = "further apart than the errors allow; to bring the later season on, if a person decides"
    return "; ".join([*words, f"{apart}, write: {' | '.join(lines)}"])
