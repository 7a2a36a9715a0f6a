"""Rows to layers: the contract's fields, and a number for each thing from its place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from wrackline import contract
from wrackline.model import Site
from wrackline.numbers import NUMBERED, place_numbers, place_of

NO_PHASES = "phase_from, phase_to: the team has not dated it"
NO_SUPPORT = "support: no outlines were drawn beside this one"
UNDATED = "phase_from, phase_to: no wall around it is dated by the team"


def as_layer(
    layer: str, rows: Sequence[dict[str, Any]], site: Site, *, extra: Sequence[str] = ()
) -> gpd.GeoDataFrame:
    """Return rows as a layer, numbered by place where the layer's things have numbers.

    Parameters
    ----------
    layer : str
        Its name in the contract.
    rows : sequence of dict
        The layer's fields but the number, `geometry`, and what `extra` names.
    site : Site
        Its CRS, and the origin that numbers count from.
    extra : sequence of str
        Columns beside the contract's.

    Raises
    ------
    KeyError
        When a row has other fields: a mistake of ours.
    """
    field, letter = NUMBERED.get(layer, (None, ""))
    own = () if field is None else (field, *contract.TOLD_LATER)
    names = [name for name in contract.columns(layer) if name not in own] + [*extra, "geometry"]
    wrong = {name for row in rows for name in set(names) ^ set(row)}
    if wrong:
        raise KeyError(f"fields of {layer} missing or not declared: {sorted(wrong)}")
    frame = pd.DataFrame(rows, columns=names)
    table = gpd.GeoDataFrame(frame, geometry="geometry", crs=site.crs)
    if field is not None:
        places = shapely.get_coordinates(place_of(table.geometry.to_numpy()))
        table[field] = place_numbers(letter, places, site.origin)
        table[list(contract.TOLD_LATER)] = ""
    return table
