"""The layer `tracings`: every surveyed wall line, by the lasting number of its wall."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from wrackline import contract, vectors
from wrackline.crs import grid_factors
from wrackline.walls.linework import line_name

NO_OFFSET = "off_m, off_sd_m, disagrees: {}"


def tracing_layer(tracings: gpd.GeoDataFrame, walls: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the contract's layer `tracings`.

    Parameters
    ----------
    tracings : GeoDataFrame
        `wrackline.walls.accounts.TRACING_COLUMNS`.
    walls : GeoDataFrame
        The layer `wall_lines` with lasting numbers.
    """
    recorded = walls[walls["evidence"] != "inferred"]
    number = dict(zip(recorded["lines"], recorded["wall"], strict=True))
    unknown = tracings["off_m"].isna()
    whys = tracings["why"].fillna("").astype(str)
    table = tracings.drop(columns=["row", "wall_line"]).assign(
        wall=tracings["wall_line"].map(number),
        line=[line_name(row) for _, row in tracings.iterrows()],
        length_m=ground_lengths(tracings),
        why=whys.where(~unknown, ""),
        null_because=np.where(unknown, whys.map(NO_OFFSET.format), ""),
    )
    table = table.sort_values(["wall", "survey", "line"], kind="stable", ignore_index=True)
    return vectors.conform(table, contract.columns("tracings"))


def ground_lengths(tracings: gpd.GeoDataFrame) -> np.ndarray:
    """Return how far each tracing runs along its wall on the ground, shape (n,) [m].

    Parameters
    ----------
    tracings : GeoDataFrame
        `wrackline.walls.accounts.TRACING_COLUMNS`.
    """
    return np.asarray(tracings["length_m"].to_numpy(float) / _scale(tracings))


def _scale(lines: gpd.GeoDataFrame) -> np.ndarray:
    """Return grid length over ground length at each line's middle, shape (n,)."""
    if not len(lines):
        return np.ones(0)
    middle = shapely.get_coordinates(shapely.centroid(lines.geometry.to_numpy()))
    return grid_factors(lines.crs.to_string(), middle[:, 0], middle[:, 1])[1]
