"""Change of the seabed between two seasons, in figures and on a raster.

Only ground that both seasons have counts, filled gaps included with the sds that they have. Set
apart from the bed are walls of the plan (cells that a wall's body touches: a sounding that meets a
wall lifts its cell), plants and structures, and ground that the team dug in between. Two passes
over pieces of the surfaces, so that memory is bounded: the first tests, the second sums.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import rasterio.features
import shapely
from scipy.ndimage import find_objects

from wrackline.crs import grid_factors
from wrackline.rasters import Grid, RasterWriter
from wrackline.seabed.change_areas import (
    FALSE_SHARE,
    UNTESTED,
    Threshold,
    areas,
    local_scores,
    scored,
    stands,
    threshold,
    two_sided_p,
    window_cells,
)
from wrackline.seabed.change_sums import Sum, Sums
from wrackline.seabed.differences import Difference, common_grid, difference
from wrackline.seabed.registration import Registration
from wrackline.seabed.sample import Surface
from wrackline.seabed.turnover import Turnover
from wrackline.uncertainty import COVERAGE_95

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Labels = npt.NDArray[np.int32]

STRIP_CELLS = 250_000
HALF_DIAGONAL = 0.7072
"""Half a cell's diagonal, in cells."""
MEASURED, FILLED, DUG, WALL, OTHER, ONLY_EARLIER, ONLY_LATER = range(1, 8)
GROUNDS = {
    MEASURED: "bed, measured in both seasons",
    FILLED: "bed, filled between soundings in one season or both",
    DUG: "dug by the team",
    WALL: "touched by a wall's body",
    OTHER: "plants or a structure in one season or both",
    ONLY_EARLIER: "the earlier season alone has a height",
    ONLY_LATER: "the later season alone has a height",
}
"""Values of the band `ground`."""
BANDS = {"difference": "m", "sd": "m", "lod_95": "m", "score": "1", "area": "1", "ground": "1"}
"""Bands of the raster of change and their units."""
NO_GROUND = "the two seasons have no ground in common"
NOT_STATED = "no ground is stated as stable (seabed.stable_ground in site.yaml)"
AREA_FIGURES = (
    *("area", "change", "area_m2", "filled_share", "mean_m", "mean_sd_m"),
    *("volume_m3", "volume_sd_m3", "p"),
)


@dataclass(frozen=True)
class Outlines:
    """What of the ground counts as what; shapes in the site's CRS.

    Attributes
    ----------
    rooms, buildings : dict of str to Geometry
        Floors and footprints, by lasting number.
    walls : sequence of Geometry
        Bodies of walls.
    dug : dict of str to Geometry
        Trenches dug between the seasons, these included, by name.
    stable : sequence of Geometry or None
        Ground known to be stable; None where the team states none.
    """

    rooms: Mapping[str, Any] = field(default_factory=dict)
    buildings: Mapping[str, Any] = field(default_factory=dict)
    walls: Sequence[Any] = ()
    dug: Mapping[str, Any] = field(default_factory=dict)
    stable: Sequence[Any] | None = None


def outlines_of(
    plan: Mapping[str, gpd.GeoDataFrame],
    trenches: Sequence[gpd.GeoDataFrame],
    stable: Sequence[Any] | None,
) -> Outlines:
    """Return outlines from a numbered plan, the trenches' items and the stable ground.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        ``rooms``, ``buildings`` and ``wall_bodies`` of the later season. What of a building is no
        room is wall too: walls by their centre have no body.
    trenches : sequence of GeoDataFrame
        Fitted items of the surveys of trenches; lines count as the ground that they enclose.
    stable : sequence of Polygon or None
    """
    dug = {}
    for items in trenches:
        for number, row in enumerate(items.itertuples(), start=1):
            own = row.line if isinstance(row.line, str) and row.line else f"#{number}"
            outline = shapely.force_2d(row.geometry)
            closed = shapely.get_dimensions(outline) == 2
            dug[f"{row.survey}/{own}"] = outline if closed else shapely.convex_hull(outline)
    rooms, buildings = plan["rooms"], plan["buildings"]
    floors = shapely.union_all(rooms.geometry.to_numpy())
    between = shapely.difference(buildings.geometry.to_numpy(), floors)
    return Outlines(
        dict(zip(rooms["room"], rooms.geometry, strict=True)),
        dict(zip(buildings["building"], buildings.geometry, strict=True)),
        [*plan["wall_bodies"].geometry, *between],
        dug,
        stable,
    )


def seasons_of(earlier: str, old: Surface, later: str, new: Surface) -> dict[str, Any]:
    """Return which seasons are compared, by which surveys, and of what dates."""
    sides = {"earlier": (earlier, old), "later": (later, new)}
    found: dict[str, Any] = {side: name for side, (name, _) in sides.items()}
    found["surveys"] = {side: surface.sources for side, (_, surface) in sides.items()}
    found["dates"] = {
        side: [min(first for first, _ in surface.dates), max(last for _, last in surface.dates)]
        for side, (_, surface) in sides.items()
    }
    return found


@dataclass(frozen=True)
class Layer:
    """Named shapes as labels of cells: the cells whose centres lie in them, numbered from 1."""

    names: list[str]
    shapes: list[Any]

    def on(self, part: Grid) -> Labels:
        """Return each cell's number, 0 outside all shapes."""
        left, top = part.transform[2], part.transform[5]
        high, wide = part.shape
        there = shapely.box(left, top - high * part.cell_m, left + wide * part.cell_m, top)
        pairs = [
            (shape, number)
            for number, shape in enumerate(self.shapes, start=1)
            if not shapely.is_empty(shape) and shapely.intersects(shape, there)
        ]
        if not pairs:
            return np.zeros(part.shape, dtype=np.int32)
        return np.asarray(
            rasterio.features.rasterize(pairs, part.shape, transform=part.transform, dtype="int32")
        )


def layers_of(outlines: Outlines, cell_m: float) -> dict[str, Layer]:
    """Return outlines as layers: walls and trenches with all cells that they touch.

    Of rooms count the cells wholly inside, of those too small for one the cells with their centre
    inside, as for their depth.
    """
    rim = HALF_DIAGONAL * cell_m
    cores = {name: shapely.buffer(shape, -rim) for name, shape in outlines.rooms.items()}
    rooms = {
        name: outlines.rooms[name] if shapely.is_empty(core) else core
        for name, core in cores.items()
    }
    grown = [
        shapely.buffer(list(shapes), rim) for shapes in (outlines.walls, outlines.dug.values())
    ]
    stable = list(outlines.stable or ())
    return {
        "room": Layer(list(rooms), list(rooms.values())),
        "building": Layer(list(outlines.buildings), list(outlines.buildings.values())),
        "wall": Layer([""] * len(outlines.walls), list(grown[0])),
        "dug": Layer(list(outlines.dug), list(grown[1])),
        "stable": Layer([""] * len(stable), stable),
    }


@dataclass(frozen=True)
class Seen:
    """A piece of the difference, and which of its cells count as what."""

    found: Difference
    labels: dict[str, Labels]

    @property
    def dug(self) -> Flags:
        """Bed that the team dug, walls left out."""
        return np.asarray(self._bed & (self.labels["dug"] > 0), dtype=bool)

    @property
    def natural(self) -> Flags:
        """Bed that nobody dug, walls left out."""
        return np.asarray(self._bed & (self.labels["dug"] == 0), dtype=bool)

    @property
    def measured(self) -> Flags:
        """Bed that nobody dug, measured in both seasons: what areas of change rest on.

        A gap filled between soundings tells the bed between them, not what stands wholly in it.
        """
        return self.natural & ~self.found.filled

    @property
    def _bed(self) -> Flags:
        clear = self.labels["wall"] == 0
        return np.asarray(self.found.both & self.found.bed & clear, dtype=bool)

    @property
    def ground(self) -> Array:
        """Value of `GROUNDS` in each cell, NaN where neither season has a height."""
        found = self.found
        out = np.full(found.part.shape, np.nan)
        out[found.only[0]], out[found.only[1]] = ONLY_EARLIER, ONLY_LATER
        out[found.both] = np.where(self.labels["wall"] > 0, WALL, OTHER)[found.both]
        natural, dug = self.natural, self.dug
        out[natural] = np.where(found.filled, FILLED, MEASURED)[natural]
        out[dug] = DUG
        return out


@dataclass
class Change:
    """The seabed's change between two seasons, worked out piece by piece.

    Parameters
    ----------
    earlier, later : Surface
    outlines : Outlines
    crs : str
        The site's CRS.
    window_m : float
        Side of the ground over which change is averaged before it is tested [m].
    """

    earlier: Surface
    later: Surface
    outlines: Outlines
    crs: str
    window_m: float

    def __post_init__(self) -> None:
        grid = common_grid(self.earlier, self.later)
        self.meets = grid is not None
        self.grid = grid or replace(
            self.earlier.grid, east=self.earlier.grid.west + 1, south=self.earlier.grid.north - 1
        )
        self.layers = layers_of(self.outlines, self.grid.cell_m)
        self.window = window_cells(self.window_m, self.grid.cell_m)
        self.registration = Registration(self.grid)
        self.turnover = Turnover()
        self.grounds = np.zeros(len(GROUNDS) + 1, dtype=np.int64)

    @property
    def cell_m2(self) -> float:
        """A cell's area on the ground, the grid's scale taken out at the middle [m²]."""
        grid = self.grid
        east = grid.transform[2] + grid.shape[1] * grid.cell_m / 2
        north = grid.transform[5] - grid.shape[0] * grid.cell_m / 2
        _, scale = grid_factors(self.crs, np.array([east]), np.array([north]))
        return float(grid.cell_m**2 / scale[0] ** 2)

    def pieces(self, margin: int = 0, where: Flags | None = None) -> Iterator[tuple[Grid, Seen]]:
        """Yield strips, and what is seen of each with a margin of so many cells.

        With `where`, only strips that hold such cells.
        """
        for part in self.grid.strips(STRIP_CELLS):
            if where is not None and not where[self.grid.window(part)].any():
                continue
            around = part.grown(margin)
            found = difference(self.earlier, self.later, around)
            yield part, Seen(found, {name: one.on(around) for name, one in self.layers.items()})

    def test(self) -> tuple[npt.NDArray[np.int16], Threshold]:
        """Return every cell's score in steps, and from what score on cells are taken."""
        scores = np.full(self.grid.shape, UNTESTED, dtype=np.int16)
        for part, seen in self.pieces(self.window // 2):
            window = seen.found.part.window(part)
            z = local_scores(seen.found, seen.measured, self.window)[window]
            scored(part, self.grid, z, scores)
            stable = (seen.natural & (seen.labels["stable"] > 0))[window]
            self.registration.look(part, stable)
        return scores, threshold(scores)


@dataclass
class _Regions:
    """Sums of the regions of one kind, by number."""

    windows: dict[int, Grid]
    cell_m: float
    sums: dict[int, Sums] = field(default_factory=dict)

    def add(self, found: Difference, labels: Labels) -> None:
        """Take the cells of a piece, by the number of the region they are in."""
        for number, at in enumerate(find_objects(labels), start=1):
            if at is None:
                continue
            if number not in self.sums:
                self.sums[number] = Sums(self.windows[number])
            self.sums[number].add(found, labels[at] == number, (at[0], at[1]))


def _windows(layer: Layer, grid: Grid) -> dict[int, Grid]:
    """Return the cells around each shape, by its number."""
    return {
        number: Grid.around(grid.origin, grid.cell_m, shape.bounds)
        for number, shape in enumerate(layer.shapes, start=1)
        if not shapely.is_empty(shape)
    }


def measure_change(change: Change, raster: Path | str, about: Mapping[str, Any]) -> dict[str, Any]:
    """Write the raster of change and return its figures.

    Parameters
    ----------
    change : Change
    raster : Path or str
        Raster with `BANDS` to write.
    about : mapping
        ``earlier``, ``later`` and ``vertical_datum``.

    Returns
    -------
    dict
        See `scripts/measure_change.py`; ``areas`` is a table with geometry.
    """
    scores, found = change.test()
    numbered, standing = _standing(change, areas(scores, found, change.window), found)
    regions = {name: _Regions(_windows(change.layers[name], change.grid), change.grid.cell_m)
               for name in ("room", "building", "dug")}  # fmt: skip
    regions["area"] = standing
    whole = {name: Sums(change.grid) for name in ("natural", "dug", "stable")}
    with _writer(change, raster, about) as writer:
        for part, seen in change.pieces():
            here = numbered[change.grid.window(part)]
            _add(change, seen, whole, regions)
            writer.write(part, _bands(seen, scores[change.grid.window(part)], here))
    shapes = _area_shapes(numbered, change.grid)
    return _figures(change, whole, regions, found, shapes)


def _standing(change: Change, numbered: Labels, found: Threshold) -> tuple[Labels, _Regions]:
    """Return those areas that errors alone would seldom make, numbered anew, and their sums."""
    boxes = dict(enumerate(find_objects(numbered), start=1))
    tried = _Regions(
        {number: _cut(change.grid, at) for number, at in boxes.items()}, change.grid.cell_m
    )
    for part, seen in change.pieces(where=numbered > 0):
        tried.add(seen.found, numbered[change.grid.window(part)])
    totals = {number: sums.total() for number, sums in sorted(tried.sums.items())}
    kept = [k for k, one in totals.items() if stands(one.value / one.sd, one.cells, found.tested)]
    anew = np.zeros(len(boxes) + 1, dtype=np.int32)
    anew[kept] = np.arange(1, len(kept) + 1)
    sums = {int(anew[number]): tried.sums[number] for number in kept}
    return anew[numbered], _Regions({}, change.grid.cell_m, sums)


def _writer(change: Change, raster: Path | str, about: Mapping[str, Any]) -> RasterWriter:
    grounds = "; ".join(f"{value} = {words}" for value, words in GROUNDS.items())
    return RasterWriter(
        raster,
        list(BANDS.items()),
        grid=change.grid,
        crs=change.crs,
        vertical_datum=about["vertical_datum"],
        tags={
            "earlier": about["earlier"],
            "later": about["later"],
            "difference": "later minus earlier: above 0 ground has come",
            "ground": grounds,
        },
    )


def _cut(grid: Grid, at: Sequence[slice]) -> Grid:
    """Return the piece of a grid that slices of its raster cover."""
    rows, columns = at
    return replace(
        grid,
        west=grid.west + columns.start,
        east=grid.west + columns.stop,
        north=grid.north - rows.start,
        south=grid.north - rows.stop,
    )


def _add(change: Change, seen: Seen, whole: dict[str, Sums], regions: dict[str, _Regions]) -> None:
    """Take a piece into all sums."""
    found, natural, dug = seen.found, seen.natural, seen.dug
    stable = natural & (seen.labels["stable"] > 0)
    everywhere = (slice(0, found.part.shape[0]), slice(0, found.part.shape[1]))
    for name, mask in (("natural", natural), ("dug", dug), ("stable", stable)):
        whole[name].add(found, mask, everywhere)
    for name in ("room", "building"):
        regions[name].add(found, np.where(natural, seen.labels[name], 0))
    regions["dug"].add(found, np.where(dug, seen.labels["dug"], 0))
    change.registration.add(found, stable)
    noise = np.sqrt(found.random[0] + found.random[1] + found.patchy_variance)
    change.turnover.add(found.height[natural], noise[natural])
    known = seen.ground
    change.grounds += np.bincount(known[known > 0].astype(int), minlength=len(GROUNDS) + 1)


def _bands(seen: Seen, scores: npt.NDArray[np.int16], here: Labels) -> list[Array]:
    """Return a piece of every band of the raster of change."""
    sd = seen.found.sd
    tested = scores != UNTESTED
    return [
        seen.found.height,
        sd,
        COVERAGE_95 * sd,
        np.where(tested, scores / 1000.0, np.nan),
        np.where(tested, here, np.nan),
        seen.ground,
    ]


def _area_shapes(numbered: Labels, grid: Grid) -> dict[int, Any]:
    """Return the outline of each area of change, by its number."""
    found: dict[int, list[Any]] = {}
    for shape, number in rasterio.features.shapes(
        numbered, mask=numbered > 0, connectivity=4, transform=grid.transform
    ):
        found.setdefault(int(number), []).append(shapely.geometry.shape(shape))
    return {number: shapely.union_all(parts) for number, parts in sorted(found.items())}


def figure(sums: Sums | None, cell_m2: float) -> dict[str, Any]:
    """Return area, mean and volume of a region with their sds and what the volume's rest on.

    Parameters
    ----------
    sums : Sums or None
    cell_m2 : float
        Area of a cell on the ground [m²].
    """
    if sums is None or sums.cells == 0:
        nothing = ("mean_m", "mean_sd_m", "volume_m3", "volume_sd_m3")
        empty: dict[str, Any] = dict.fromkeys(nothing)
        return {"cells": 0, "area_m2": 0.0, "filled_share": None, **empty, "causes_m3": {}}
    volume = sums.total(cell_m2)
    area = sums.cells * cell_m2
    return {
        "cells": sums.cells,
        "area_m2": area,
        "filled_share": sums.filled / sums.cells,
        "mean_m": volume.value / area,
        "mean_sd_m": volume.sd / area,
        "volume_m3": volume.value,
        "volume_sd_m3": volume.sd,
        "causes_m3": _causes(volume),
    }


def _causes(volume: Sum) -> dict[str, float]:
    """Return the parts of a volume's sd: random, patchy, and each named component."""
    parts = {"random": volume.budget.random, "patchy": volume.budget.patchy}
    named = {name: abs(effect) for name, effect in volume.budget.named.items()}
    return {name: size for name, size in {**parts, **named}.items() if size > 0}


def _figures(
    change: Change,
    whole: Mapping[str, Sums],
    regions: Mapping[str, _Regions],
    found: Threshold,
    shapes: Mapping[int, Any],
) -> dict[str, Any]:
    cell = change.cell_m2
    site = figure(whole["natural"], cell)
    grounds = {GROUNDS[k]: int(change.grounds[k]) * cell for k in GROUNDS}
    return {
        "cell_m": change.grid.cell_m,
        "cell_area_m2": cell,
        "null_because": None if site["cells"] else NO_GROUND,
        "grounds_m2": grounds,
        "site": site,
        "gross": _gross(site, change.turnover, whole["natural"]),
        "dug": figure(whole["dug"], cell),
        "stable": {
            **figure(whole["stable"], cell),
            "registration": _registration(change),
        },
        "detection": {
            "window_m": change.window * change.grid.cell_m,
            "false_share": FALSE_SHARE,
            "least_score": found.z,
            "cells_tested": found.tested,
            "cells_taken": found.taken,
        },
        "trenches": _named(change.outlines.dug, regions["dug"], cell),
        "rooms": _named(change.outlines.rooms, regions["room"], cell),
        "buildings": _named(change.outlines.buildings, regions["building"], cell),
        "areas": _area_table(change, regions["area"], shapes),
    }


def _registration(change: Change) -> dict[str, Any]:
    if change.outlines.stable is None:
        return {"cells": 0, "null_because": NOT_STATED}
    return change.registration.figures(change.earlier, change.later)


def _gross(site: Mapping[str, Any], turnover: Turnover, sums: Sums) -> dict[str, Any]:
    """Return what came and what went, freed of noise, with intervals of 95 %."""
    keys = ("came_m3", "went_m3", "noise_m3")
    if not site["cells"]:
        return dict.fromkeys((*keys, "gross_sd_m3"))
    size = max(turnover.mean_size() * site["area_m2"], abs(site["volume_m3"]))
    raw = max(turnover.raw_size() * site["area_m2"], abs(site["volume_m3"]))
    net = site["volume_m3"]
    return {
        "came_m3": (size + net) / 2,
        "went_m3": (size - net) / 2,
        "noise_m3": max(raw - size, 0.0) / 2,
        "gross_sd_m3": site["volume_sd_m3"],
    }


def _named(shapes: Mapping[str, Any], regions: _Regions, cell_m2: float) -> list[dict[str, Any]]:
    """Return the figures of every shape, with the share of it that was compared."""
    rows = []
    for number, (name, shape) in enumerate(shapes.items(), start=1):
        one = figure(regions.sums.get(number), cell_m2)
        cells = one["cells"] * regions.cell_m**2
        share = min(cells / float(shapely.area(shape)), 1.0) if cells else 0.0
        rows.append({"name": name, **one, "compared_share": share})
    return rows


def _area_table(change: Change, regions: _Regions, shapes: Mapping[int, Any]) -> gpd.GeoDataFrame:
    """Return the areas of change, numbered as in the raster."""
    rows = []
    for number, shape in shapes.items():
        one = figure(regions.sums[number], change.cell_m2)
        came = "ground has come" if one["volume_m3"] > 0 else "ground has gone"
        p = two_sided_p(one["volume_m3"] / one["volume_sd_m3"])
        rows.append({"area": f"C{number:03d}", "change": came, **one, "p": p, "geometry": shape})
    columns = [*AREA_FIGURES, "geometry"]
    return gpd.GeoDataFrame(rows, columns=columns, geometry="geometry", crs=change.crs)
