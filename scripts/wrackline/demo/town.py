"""A settlement from one number: blocks on the lattices of its quarters, and what stands there.

Quarters lie side by side from west to east, each with its own grid azimuth. A block draws from
random numbers of its own (seed, quarter, column, row), so that a small site is the corner of a
larger one: the same houses at the same places, on a bed whose slope is fitted to the extent.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from shapely.geometry import box

from wrackline.demo.furnishing import furnish, outdoor
from wrackline.demo.hamlet import Frame, bed_height
from wrackline.demo.houses import KINDS, SMALL, Sketch, drawn
from wrackline.demo.truth import (
    Building,
    Family,
    FreeWall,
    Mound,
    Patch,
    Thing,
    Town,
    Truth,
    parse,
)

EDGE_M = 2.0
FORESHORE_M = 22.0
"""How far from the south no house has its middle: what lies there is left to quays [m]."""

QUAY_NORTH_M = 4.41

STUMP_SHARE, GARDEN_SHARE = 0.05, 0.4
OUTCROP_SHARE, PLANTS_SHARE, MOUND_SHARE = 0.12, 0.14, 0.3
GAP_M = 1.6
"""Between two houses of one block, at least [m]."""

SPREAD = np.stack(np.meshgrid(*[np.linspace(0, 1, 5)] * 2), axis=-1).reshape(-1, 2)
"""Places spread over a house, as shares of its width and depth, shape (25, 2)."""


@dataclass(frozen=True)
class Block:
    """One block: where its frame stands, and its own random numbers."""

    name: str
    family: str
    at: tuple[float, float]
    frame: Frame
    size: tuple[float, float]
    rng: np.random.Generator

    @property
    def middle(self) -> tuple[float, float]:
        """Its middle, east and north [m]."""
        east, north = self.frame.place(np.array([self.size]) / 2)[0].tolist()
        return east, north


@dataclass
class Grown:
    """What has been laid out so far."""

    truth: Truth
    families: dict[str, Family] = field(default_factory=dict)
    buildings: dict[str, Building] = field(default_factory=dict)
    free_walls: dict[str, FreeWall] = field(default_factory=dict)
    features: dict[str, Thing] = field(default_factory=dict)
    mounds: list[Mound] = field(default_factory=list)
    outcrops: list[Patch] = field(default_factory=list)
    plants: list[Patch] = field(default_factory=list)

    def bed(self, places: np.ndarray) -> np.ndarray:
        """Return the bed's height at places east and north, as laid out so far, shape (n,) [m]."""
        seabed = self.truth.seabed.model_copy(
            update={"mounds": [*self.truth.seabed.mounds, *self.mounds]}
        )
        return bed_height(seabed, places, self.truth.extent[1])


def settled(content: Mapping[str, Any], *, file: str = "") -> Truth:
    """Return the checked truth with its town, if it has one, laid out.

    Parameters
    ----------
    content : mapping
        Content of a truth file.
    file : str
        Its name, for messages.

    Raises
    ------
    ConfigError
        With one fault for each key that can't be used.
    """
    truth = parse(content, file=file)
    return truth if truth.town is None else lay_out(truth, truth.town)


def lay_out(truth: Truth, town: Town) -> Truth:
    """Return the truth with families, buildings, free walls and features of a town added."""
    grown = Grown(truth)
    blocks = list(_blocks(truth, town))
    for block in blocks:
        _ground(grown, block)
    for block in blocks:
        if block.middle[1] < FORESHORE_M:
            continue
        if block.rng.random() < town.built_share:
            _build(grown, town, block)
        else:
            _open_plot(grown, block)
    _quays(grown, town)
    seabed = truth.seabed.model_copy(
        update={
            "mounds": [*truth.seabed.mounds, *grown.mounds],
            "outcrops": [*truth.seabed.outcrops, *grown.outcrops],
            "plants": [*truth.seabed.plants, *grown.plants],
        }
    )
    return truth.model_copy(
        update={
            "families": truth.families | grown.families,
            "buildings": truth.buildings | grown.buildings,
            "free_walls": truth.free_walls | grown.free_walls,
            "features": truth.features | grown.features,
            "seabed": seabed,
        }
    )


def _blocks(truth: Truth, town: Town) -> Iterator[Block]:
    """Yield the blocks that lie within the ground, each wholly in one quarter."""
    east, north = truth.extent
    wide, deep = town.block_m
    for quarter in range(int(np.ceil(east / town.quarter_m))):
        azimuth = town.azimuths_grid_deg[quarter % len(town.azimuths_grid_deg)]
        start = (quarter * town.quarter_m, 0.0)
        family = Frame(*start, azimuth)
        least, most = start[0] + EDGE_M, min(start[0] + town.quarter_m, east) - EDGE_M
        ground = box(least, EDGE_M, max(most, least), north - EDGE_M)
        reach = int(np.hypot(town.quarter_m, north) / min(wide, deep)) + 1
        for row in range(-reach, reach + 1):
            for column in range(-reach, reach + 1):
                at = (column * (wide + town.lane_m), row * (deep + town.lane_m))
                corner = family.place(np.array([at]))[0].tolist()
                frame = Frame(corner[0], corner[1], azimuth)
                if ground.covers(frame.put(box(0, 0, wide, deep))):
                    seed = [truth.seed, quarter, column + 5000, row + 5000]
                    name = f"{'abcdefgh'[quarter % 8]}{_letters(column)}{_letters(row)}"
                    name += f"_{quarter}" if quarter > 7 else ""
                    rng = np.random.default_rng(seed)
                    yield Block(name, f"quarter_{quarter + 1}", at, frame, (wide, deep), rng)


def _letters(number: int) -> str:
    return f"{number:02d}" if number >= 0 else f"m{-number:02d}"


def _ground(grown: Grown, block: Block) -> None:
    """Add what the bed has at a block: a rise or hollow, rough rock, plants."""
    east, north = block.middle
    quarter = int(block.family.split("_")[1]) - 1
    azimuth = block.frame.azimuth_grid_deg
    town = grown.truth.town
    if town is not None:
        family = Family(origin=(quarter * town.quarter_m, 0.0), azimuth_grid_deg=azimuth)
        grown.families.setdefault(block.family, family)
    rng = block.rng
    draws, spots = rng.random(3), rng.uniform(-12, 12, (3, 2))
    places = [(round(east + dx, 2), round(north + dy, 2)) for dx, dy in spots]
    if draws[0] < MOUND_SHARE:
        height = round(float(rng.choice([-0.4, 0.3, 0.5])), 2)
        radius = round(float(rng.uniform(3.0, 6.0)), 1)
        grown.mounds.append(Mound(at=places[0], height_m=height, radius_m=radius))
    if draws[1] < OUTCROP_SHARE:
        radius = round(float(rng.uniform(4.0, 9.0)), 1)
        grown.outcrops.append(Patch(at=places[1], radius_m=radius, height_m=0.25))
    if draws[2] < PLANTS_SHARE:
        radius = round(float(rng.uniform(3.0, 7.0)), 1)
        height = round(float(rng.uniform(0.15, 0.4)), 2)
        grown.plants.append(Patch(at=places[2], radius_m=radius, height_m=height))


def _build(grown: Grown, town: Town, block: Block) -> None:
    """Add a house at the block's front and, where there is room, a small one behind it."""
    rng = block.rng
    wall = round(float(rng.choice([0.5, 0.55, 0.6, 0.65, 0.75])), 2)
    house = drawn(KINDS, rng, wall)
    across = float(rng.choice([0.0, 0.5, 1.0], p=[0.45, 0.1, 0.45]))  # most stand on a lane
    across *= max(block.size[0] - house.size[0], 0.0)
    along = float(rng.uniform(0, min(max(block.size[1] - house.size[1], 0.0), 2.5)))
    _put(grown, block, house, (across, along), block.name)
    left = block.size[1] - along - house.size[1] - GAP_M
    if rng.random() < town.second_share and left > 6.0:
        small = drawn(SMALL, rng, wall)
        if small.size[1] <= left:
            place = (float(rng.uniform(0, block.size[0] - small.size[0])), block.size[1])
            _put(grown, block, small, (place[0], place[1] - small.size[1]), f"{block.name}b")
    if rng.random() < STUMP_SHARE:
        _stump(grown, block, grown.buildings[block.name], house)


def _put(grown: Grown, block: Block, house: Sketch, corner: tuple[float, float], name: str) -> None:
    """Add a house whose outer near left corner stands at a place of the block."""
    rng = block.rng
    at = tuple(round(block.at[k] + corner[k] + house.wall, 2) for k in (0, 1))
    bed = grown.bed(block.frame.place(SPREAD * house.size + corner))
    top = round(float(bed.max() + rng.uniform(0.1, 0.7)), 2)
    traced = str(rng.choice(["faces", "centres", "no"], p=[0.82, 0.14, 0.04]))
    curved = any(cell.get("apse") or cell.get("round") for cell in house.cells.values())
    floor = round(float(bed.min() - rng.uniform(0.4, 0.9)), 2)
    building = Building.model_validate(
        {
            "family": block.family,
            "at": at,
            "wall_m": house.wall,
            "wall_top_m": top,
            "traced": "faces" if curved else traced,
            "phase": "early" if rng.random() < 0.35 else "late",
            "rooms": house.rooms(),
            "doorways": house.doorways(rng),
        }
    )
    grown.buildings[name] = furnish(building, floor, rng, _seen(grown))
    grown.features |= outdoor(name, grown.buildings[name], rng)


def _seen(grown: Grown) -> float:
    return 0.0 if grown.truth.town is None else grown.truth.town.floors_seen_share


def _stump(grown: Grown, block: Block, building: Building, house: Sketch) -> None:
    """Add an early wall that runs aslant under a house, which is then late and stands higher."""
    late = building.model_copy(update={"phase": "late"})
    grown.buildings[block.name] = late
    wide, deep = house.size
    turn = float(block.rng.uniform(-0.3, 0.3))
    start = np.array(building.at) - np.array(block.at) + [wide * 0.3, -2.0]
    ends = np.stack([start, start + np.array([turn * deep, deep * 0.7])])
    places = block.frame.place(ends).round(2).tolist()
    bed = float(grown.bed(np.array(places)).max())
    grown.free_walls[f"{block.name}_stump"] = FreeWall(
        kind="stump",
        places=[tuple(place) for place in places],
        thickness_m=0.7,
        top_m=round(min(bed + 0.08, building.wall_top_m - 0.1), 2),
        phase="early",
    )


def _open_plot(grown: Grown, block: Block) -> None:
    """Add what stands on a plot without a house: a garden wall, natural rock, a mooring block."""
    rng, (wide, deep) = block.rng, block.size
    if rng.random() < GARDEN_SHARE:
        long, far = wide * rng.uniform(0.4, 0.9), deep * rng.uniform(0.5, 0.9)
        corner = np.array([[1.0, 2.0], [1.0, far], [1.0 + long, far]])
        if rng.random() < 0.5:
            corner[:, 0] = wide - corner[:, 0]
        places = block.frame.place(corner).round(2).tolist()
        bed = float(grown.bed(np.array(places)).max())
        grown.free_walls[f"{block.name}_wall"] = FreeWall(
            kind="enclosure",
            places=[tuple(place) for place in places],
            thickness_m=0.8,
            top_m=round(bed + 0.5, 2),
        )
        return
    steps = np.cumsum(rng.uniform([1.5, -0.5], [3.0, 0.6], (5, 2)), axis=0)
    steps += np.array([3.0, deep / 2])
    places = block.frame.place(steps).round(2).tolist()
    height = round(float(grown.bed(np.array(places)).mean()) + 0.3, 2)
    grown.features[f"{block.name}_rock"] = Thing.model_validate(
        {
            "kind": "rock edge",
            "origin": "natural",
            "shape": "line",
            "places": places,
            "top_m": height,
            "note": "runs straight for some metres, but natural",
        }
    )
    if rng.random() < 0.4:
        square = np.array([[0, 0], [1.2, 0], [1.2, 1.2], [0, 1.2]])
        square = square + np.array([wide / 2, 2.0])
        places = block.frame.place(square).round(2).tolist()
        top = round(float(grown.bed(np.array(places)).mean()) + 0.5, 2)
        grown.features[f"{block.name}_mooring"] = Thing.model_validate(
            {
                "kind": "mooring block",
                "origin": "modern",
                "shape": "outline",
                "places": places,
                "top_m": top,
                "note": "concrete",
            }
        )


def _quays(grown: Grown, town: Town) -> None:
    """Add a quay on the foreshore of every quarter: the outline of its upper course."""
    east, _ = grown.truth.extent
    for quarter in range(int(np.ceil(east / town.quarter_m))):
        start, end = quarter * town.quarter_m, min((quarter + 1) * town.quarter_m, east)
        middle, south = (start + end) / 2, QUAY_NORTH_M
        corners = [(-7.0, 0.0), (7.0, 0.0), (7.0, 1.8), (-7.0, 1.8)]
        grown.features[f"quay_{quarter + 1}"] = Thing.model_validate(
            {
                "kind": "quay",
                "shape": "outline",
                "places": [(round(middle + x, 2), round(south + y, 2)) for x, y in corners],
                "top_m": town.quay_top_m,
                "note": "upper course of large blocks, laid dry",
            }
        )


def overlaps(truth: Truth, shapes: Mapping[str, shapely.Polygon]) -> list[tuple[str, str]]:
    """Return pairs of buildings whose ground overlaps: none in a town that can stand."""
    names, outlines = list(shapes), np.array(list(shapes.values()), dtype=object)
    one, other = shapely.STRtree(outlines).query(outlines, predicate="intersects")
    return [(names[i], names[j]) for i, j in zip(one, other, strict=True) if i < j]
