"""Outlines of trenches as the record has them: name, area on the ground, season and dates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline import contract
from wrackline.crs import grid_factors
from wrackline.uncertainty import Budget, ErrorModel, model_from_dict, propagate


def trench_table(
    items: gpd.GeoDataFrame, errors: Sequence[Mapping[str, Any]], crs: str
) -> gpd.GeoDataFrame:
    """Return the trenches that were outlined, in the order of survey and row.

    Parameters
    ----------
    items : GeoDataFrame
        `ITEM_COLUMNS` of surveys of trench outlines; lines count as the ground that they enclose.
    errors : sequence of mapping
        By survey: ``model``, ``from_date`` and ``to_date``, as the stage `fit` writes them.
    crs : str
        The site's CRS.

    Returns
    -------
    GeoDataFrame
        Fields of the contract's layer `trenches`.
    """
    told = {record["model"]["survey"]: record for record in errors}
    ordered = items.sort_values(["survey", "row"], kind="stable").to_dict("records")
    rows = [_row(row, told[row["survey"]], crs) for row in ordered]
    names = [*contract.columns("trenches"), "geometry"]
    return gpd.GeoDataFrame(pd.DataFrame(rows, columns=names), geometry="geometry", crs=crs)


def _row(item: Mapping[Any, Any], record: Mapping[str, Any], crs: str) -> dict[str, Any]:
    own = item["line"]
    shape = shapely.force_2d(item["geometry"])
    outline = shape if shapely.get_dimensions(shape) == 2 else shapely.convex_hull(shape)
    area, budget = outline_area(outline, model_from_dict(record["model"]))
    x, y = shapely.get_coordinates(shapely.centroid(outline))[0]
    _, scale = grid_factors(crs, np.array([x]), np.array([y]))
    return {
        "trench": own if isinstance(own, str) and own else f"#{item['row']}",
        "area_m2": area / float(scale[0]) ** 2,
        "area_sd_m2": budget.sd / float(scale[0]) ** 2,
        "survey": item["survey"],
        "season": item["season"],
        "from_date": record["from_date"],
        "to_date": record["to_date"],
        "note": item["note"] if isinstance(item["note"], str) else "",
        "geometry": outline,
    }


def outline_area(outline: shapely.Geometry, model: ErrorModel) -> tuple[float, Budget]:
    """Return the area of an outline in the grid and its uncertainty, from its surveyed corners.

    With corners p_k in turn, 2 A = Σ (x_k y_{k+1} − x_{k+1} y_k), so that a corner's move changes
    the area by half the way between its neighbours, turned by a right angle (shoelace formula).

    Parameters
    ----------
    outline : Polygon
    model : ErrorModel
        Errors of its survey.

    Returns
    -------
    area : float
        In m².
    budget : Budget
        In m².
    """
    rings = shapely.get_rings(shapely.normalize(outline))
    corners = [shapely.get_coordinates(ring)[:-1] for ring in rings]
    gradient = np.concatenate([_change(ring) for ring in corners])
    xyz = np.concatenate([np.column_stack([ring, np.zeros(len(ring))]) for ring in corners])
    budget = propagate(gradient, xyz, np.zeros(len(xyz), dtype=np.int64), [model])
    return float(shapely.area(outline)), budget


def _change(ring: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the change of a ring's signed area by moves of its corners, shape (n, 3).

    Rings of a normalised polygon run clockwise outside and the other way round within, so that a
    hole takes away: the area is minus the sum of all signed ones.
    """
    way = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    return -np.column_stack([way[:, 1], -way[:, 0], np.zeros(len(ring))]) / 2
