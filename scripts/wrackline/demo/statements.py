"""What a survey team states beside its measurements: where it looked, swam, and saw plants."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from wrackline.demo.fieldwork import Fieldwork
from wrackline.demo.pictures import BLIND_M

AROUND_M = 1.0
"""So far around a building a tracer looks."""
SWUM_M = 0.8
"""So far off its walls a diver swims."""


def ground_traced(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return the ground over which walls were traced: its buildings, and no other."""
    mine = work.houses("faces")
    others = [h.footprint for h in work.hamlet.houses.values() if h not in mine]
    around = [house.footprint.buffer(AROUND_M) for house in mine]
    around += [
        wall.buffer(AROUND_M) for wall in work.hamlet.free_walls.values() if work.covers(wall)
    ]
    ground = shapely.difference(
        shapely.union_all(around), shapely.union_all(others).buffer(AROUND_M / 2)
    )
    return _drawn(work, list(shapely.get_parts(ground)))


def swum(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return the way that divers swam: once around each building that they traced."""
    rings = [house.footprint.buffer(SWUM_M).exterior for house in work.houses("faces")]
    return _drawn(work, [shapely.LineString(ring.coords) for ring in rings])


def plants_drawn(work: Fieldwork) -> gpd.GeoDataFrame:
    """Return where plants hide the bed, as drawn off a picture, with the share that they cover."""
    every = work.hamlet.plants(moved=work.moved)
    patches = [patch for patch in every if patch.height_m > BLIND_M]
    shapes = [
        work.hamlet.ground.put(
            shapely.Point(p.at).buffer(p.radius_m * np.sqrt(1 - (BLIND_M / p.height_m) ** 2))
        )
        for p in patches
    ]
    mine = [shape for shape in shapes if work.covers(shape)]
    if mine or work.made.part is None:
        return _drawn(work, mine).assign(share=0.9)
    west, south, _, _ = work.edges  # a ground so small that nothing grows in its part: said so
    bare = work.hamlet.ground.put(shapely.box(west, south, west + 1, south + 1))
    return _drawn(work, [bare]).assign(share=0.0)


def _drawn(work: Fieldwork, shapes: list[shapely.Geometry]) -> gpd.GeoDataFrame:
    rounded = [shapely.transform(shape, lambda xy: xy.round(2)) for shape in shapes]
    return gpd.GeoDataFrame(geometry=rounded, crs=work.hamlet.truth.crs)
