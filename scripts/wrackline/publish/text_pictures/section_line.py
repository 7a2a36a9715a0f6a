"""Where a section of the site lies, and what it meets: seabed, walls and floors along it.

A section line is straight, from its first to its last point as seen on the plan.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.rasters import RasterReader, ticks

Array = npt.NDArray[np.float64]

BEYOND_M = 10.0
"""The site's section goes so far beyond its walls."""

MOST_TRIED, MOST_SAMPLES = 400, 1500
LEAST_FALL = 0.002
"""A bed that falls by less, 2 mm in a metre, has no slope to follow."""

PIECE_M = 50.0
TOUCH_M = 0.05
"""A line met so near to a wall's body is one of its faces."""

SECTION_KIND = "section line"


@dataclass(frozen=True)
class SectionLine:
    """A straight line across the site.

    Attributes
    ----------
    name : str
        Its recorded name; empty for the site's own section.
    start, end : tuple of float
        Easting and northing [m].
    follows : str
        ``slope``, ``long axis`` or ``recorded``: why it lies as it does.
    """

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    follows: str

    @property
    def length_m(self) -> float:
        """Length in the grid [m]."""
        return math.dist(self.start, self.end)

    @property
    def shape(self) -> shapely.LineString:
        """The line as a geometry."""
        return shapely.LineString([self.start, self.end])

    def places(self, distance: Array) -> Array:
        """Return easting and northing at distances from the start, shape (n, 2) [m]."""
        share = distance / self.length_m
        start, end = np.array(self.start), np.array(self.end)
        return np.asarray(start + share[:, None] * (end - start))

    def distance(self, places: Array) -> Array:
        """Return the distances from the start of places, shape (n, 2), on the line [m]."""
        along = (np.array(self.end) - self.start) / self.length_m
        return np.asarray((places - self.start) @ along)


def recorded_lines(features: gpd.GeoDataFrame, most: int) -> list[SectionLine]:
    """Return the section lines that the team recorded, the longest first.

    Parameters
    ----------
    features : GeoDataFrame
        The layer `features`; those of the kind `section line` are read, named by `line`.
    most : int
        So many at most.
    """
    found = []
    mine = features[(features["kind"] == SECTION_KIND) & (features.geom_type == "LineString")]
    for name, shape in zip(mine["line"], mine.geometry, strict=True):
        ends = shapely.get_coordinates(shape)[[0, -1]]
        line = SectionLine(str(name), tuple(ends[0]), tuple(ends[1]), "recorded")
        found += [line] if line.length_m > 0 else []
    return sorted(found, key=lambda line: (-line.length_m, line.name, line.start))[:most]


def site_line(plan: Mapping[str, gpd.GeoDataFrame]) -> SectionLine | None:
    """Return the section of the whole site; None where no wall is on the plan.

    It runs down the slope that the seabed in the buildings shows, or along the site's long axis
    where there is none, and there where it crosses most ground covered by buildings.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Layers of the plan; `buildings`, `wall_lines` are read.
    """
    walls = plan["wall_lines"].geometry.to_numpy()
    if not len(walls):
        return None
    buildings = plan["buildings"]
    along = _down_slope(buildings)
    follows = "slope"
    if along is None:
        along, follows = _long_axis(walls), "long axis"
    xy = shapely.get_coordinates(walls)
    middle = (xy.min(axis=0) + xy.max(axis=0)) / 2
    across = np.array([-along[1], along[0]])
    reach = (xy - middle) @ along
    ends = np.array([reach.min() - BEYOND_M, reach.max() + BEYOND_M])
    offset = _best_offset(buildings, middle, (along, across), ends, (xy - middle) @ across)
    start, end = (middle + offset * across + t * along for t in ends)
    return SectionLine("", tuple(start.tolist()), tuple(end.tolist()), follows)


def _down_slope(buildings: gpd.GeoDataFrame) -> Array | None:
    """Return the direction, of length 1, in which the seabed of buildings falls; None if level."""
    known = buildings[buildings["bed_depth_m"].notna()]
    if len(known) < 3:
        return None
    xy = shapely.get_coordinates(shapely.centroid(known.geometry.to_numpy()))
    rows = np.column_stack([np.ones(len(xy)), xy - xy.mean(axis=0)])
    fit, _, rank, _ = np.linalg.lstsq(rows, known["bed_depth_m"].to_numpy(float), rcond=1e-9)
    fall = float(np.hypot(fit[1], fit[2]))
    return np.asarray(fit[1:] / fall) if rank == 3 and fall >= LEAST_FALL else None


def _long_axis(walls: npt.NDArray[np.object_]) -> Array:
    """Return the direction, of length 1, of the longer side of the walls' smallest rectangle."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.union_all(walls)))
    sides = np.diff(box, axis=0)
    longest = sides[np.argmax(np.hypot(*sides.T).round(6))]
    if longest[0] < 0 or (longest[0] == 0 and longest[1] < 0):
        longest = -longest
    return np.asarray(longest / max(float(np.hypot(*longest)), 1e-12))


def _best_offset(
    buildings: gpd.GeoDataFrame,
    middle: Array,
    axes: tuple[Array, Array],
    ends: Array,
    reach: Array,
) -> float:
    """Return how far beside the middle a line crosses most of buildings' ground [m]."""
    along, across = axes
    low, high = float(reach.min()), float(reach.max())
    step = max((high - low) / MOST_TRIED, 1.0)
    tried = np.arange(math.ceil(low / step), math.floor(high / step) + 1) * step
    if not len(tried) or not len(buildings):
        return 0.0
    starts, stops = (middle + tried[:, None] * across + t * along for t in ends)
    lines = shapely.linestrings(np.stack([starts, stops], axis=1))
    shapes = buildings.geometry.to_numpy()
    line, house = shapely.STRtree(shapes).query(lines, predicate="intersects")
    crossed = shapely.length(shapely.intersection(lines[line], shapes[house]))
    total = np.bincount(line, crossed, minlength=len(lines)).round(6)
    return float(tried[np.lexsort((tried, np.abs(tried), -total))[0]])


def sample_line(line: SectionLine, surface: str | Path) -> dict[str, Array]:
    """Return the cells of a surface under a line.

    Parameters
    ----------
    line : SectionLine
    surface : str or Path
        A merged surface.

    Returns
    -------
    dict of str to array, shape (n,)
        ``distance`` of points a cell apart, or every few cells on long lines; ``height``, ``sd``
        [m] and ``filled`` of the cell that each lies in, NaN where there is none.
    """
    with RasterReader(surface) as reader:
        cell = reader.grid.cell_m
        step = cell * max(math.ceil(line.length_m / cell / MOST_SAMPLES), 1)
        distance = np.arange(math.floor(line.length_m / step) + 1, dtype=np.float64) * step
        names = ("height", "sd", "filled")
        told = {name: np.full(len(distance), np.nan) for name in names}
        for part in np.array_split(np.arange(len(distance)), math.ceil(line.length_m / PIECE_M)):
            places = line.places(distance[part])
            bounds = (*places.min(axis=0), *places.max(axis=0))
            grid = reader.grid.around(reader.grid.origin, cell, bounds)
            at = grid.flat(ticks(places[:, 0]), ticks(places[:, 1]))
            for name, band in reader.read(grid, names).items():
                told[name][part] = band.ravel()[at]
    return {"distance": distance, **told}


def crossings(line: SectionLine, plan: Mapping[str, gpd.GeoDataFrame]) -> Iterator[dict[str, Any]]:
    """Yield the walls that a line crosses whose tops were measured, from the start on.

    Parameters
    ----------
    line : SectionLine
    plan : mapping of str to GeoDataFrame
        Layers of the plan; `wall_lines` and `wall_bodies` are read.

    Yields
    ------
    dict
        ``name``, ``from_m``, ``to_m``, ``depth_m``, ``depth_sd_m``: of a wall with a body its
        width on the line and the mean of the lines met there, its sd as if all errors were shared;
        of others the point.
    """
    met = _tops_met(line, plan["wall_lines"])
    free = np.ones(len(met), dtype=bool)
    at = np.array([top["at"] for top in met])
    rows = []
    for low, high in _stretches(line, plan["wall_bodies"]):
        inside = (at >= low - TOUCH_M) & (at <= high + TOUCH_M) & free
        if inside.any():
            free &= ~inside
            rows.append(_joined([met[k] for k in np.flatnonzero(inside)], low, high))
    rows += [_joined([met[k]], met[k]["at"], met[k]["at"]) for k in np.flatnonzero(free)]
    yield from sorted(rows, key=lambda row: (row["from_m"], row["name"]))


def _tops_met(line: SectionLine, walls: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return where a line meets recorded wall lines with a top, from the start on."""
    topped = walls[walls["top_depth_m"].notna() & (walls["evidence"] == "recorded")]
    near = topped.iloc[topped.sindex.query(line.shape, predicate="intersects")]
    met = []
    for wall in near.itertuples():
        shared = shapely.intersection(line.shape, shapely.force_2d(wall.geometry))
        at = line.distance(shapely.get_coordinates(shared))
        told = {"name": wall.wall, "depth": wall.top_depth_m, "sd": wall.top_depth_sd_m}
        met += [{**told, "at": float(place)} for place in at]
    return sorted(met, key=lambda top: (top["at"], top["name"]))


def _joined(tops: Sequence[Mapping[str, Any]], low: float, high: float) -> dict[str, Any]:
    number = len(tops)
    return {
        "name": ";".join(sorted({str(top["name"]) for top in tops})),
        "from_m": low,
        "to_m": high,
        "depth_m": math.fsum(top["depth"] for top in tops) / number,
        "depth_sd_m": math.fsum(top["sd"] for top in tops) / number,
    }


def _stretches(line: SectionLine, shapes: gpd.GeoDataFrame) -> list[tuple[float, float]]:
    """Return where a line runs within shapes, as distances from its start [m]."""
    near = shapes.geometry.to_numpy()[shapes.sindex.query(line.shape, predicate="intersects")]
    parts = shapely.get_parts(shapely.intersection(line.shape, near))
    ends = [line.distance(shapely.get_coordinates(part)) for part in parts]
    return sorted((float(at.min()), float(at.max())) for at in ends if len(at) > 1)


def floors_met(line: SectionLine, rooms: gpd.GeoDataFrame) -> Iterator[dict[str, Any]]:
    """Yield the floors that were met in rooms that a line crosses, from the start on.

    Parameters
    ----------
    line : SectionLine
    rooms : GeoDataFrame
        The layer `rooms`.
    """
    met = rooms[rooms["floor_depth_m"].notna()]
    rows = []
    for k in met.sindex.query(line.shape, predicate="intersects"):
        room = met.iloc[k]
        for low, high in _stretches(line, met.iloc[[k]]):
            told = {"depth_m": room["floor_depth_m"], "depth_sd_m": room["floor_depth_sd_m"]}
            rows.append({"name": room["room"], "from_m": low, "to_m": high, **told})
    yield from sorted(rows, key=lambda row: (row["from_m"], row["name"]))
