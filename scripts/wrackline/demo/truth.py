"""What is true of the invented hamlet: the model of the demo's truth file.

All places are in metres east and north of the hamlet's south-west corner, or in the frame of a
building's family; all heights are metres up from the site's datum. `config/demo.yaml` explains
every key where it stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import Field, ValidationError
from shapely import Polygon, box, union_all

from wrackline.demo.made import Made, Mark, Misfortune, Water
from wrackline.errors import ConfigError, Fault
from wrackline.model import Name, Number, Point, Positive, Strict, Text

Rectangle = tuple[Number, Number, Positive, Positive]


class Family(Strict):
    """A family of buildings that stand square to each other."""

    origin: Point = Field(description="Where the family's frame starts, east and north [m].")
    azimuth_grid_deg: Number = Field(description="Grid azimuth of the frame's long way [degrees].")


class Mound(Strict):
    """A round rise of the seabed, or a hollow where the height is negative."""

    at: Point = Field(description="Its middle, east and north [m].")
    height_m: Number = Field(description="Height in the middle [m].")
    radius_m: Positive = Field(description="Distance at which 61 % of the height is left [m].")


class Ripples(Strict):
    """Waves of sand."""

    height_m: Positive = Field(description="From trough to crest [m].")
    length_m: Positive = Field(description="From crest to crest [m].")
    azimuth_grid_deg: Number = Field(description="Way across the crests [degrees].")


class Patch(Strict):
    """A round patch of plants or of rough rock."""

    at: Point = Field(description="Its middle, east and north [m].")
    radius_m: Positive = Field(description="Where it ends [m].")
    height_m: Positive = Field(description="Plants: height of their canopy; rock: roughness [m].")


class Foreshore(Strict):
    """What falls away steeper in the south, equally wide on every extent."""

    width_m: Positive = Field(description="From the south edge to where it ends [m].")
    drop_m: Number = Field(description="How much lower than without it the south edge lies [m].")


class Hole(Strict):
    """Round ground on which something is gone."""

    at: Point = Field(description="Its middle, east and north [m].")
    radius_m: Positive = Field(description="Where it ends [m].")


class Moved(Strict):
    """What became of the seabed later on: sand moved, trenches left open, walls gone."""

    mounds: list[Mound] = Field(
        default_factory=list, description="Sand that came, or went where the height is negative."
    )
    trenches_open: bool = Field(
        False, description="Whether the trenches lie open, down to their rooms' floors."
    )
    plants: list[Patch] = Field(
        default_factory=list, description="Plants that have grown up since."
    )
    walls_lost: list[Hole] = Field(
        default_factory=list, description="Where walls are gone, down to the bed around them."
    )


class Seabed(Strict):
    """The seabed: a slope with mounds and hollows, sand in waves, rough rock and plants."""

    south_west_m: Number = Field(0.0, description="Height at the south-west corner [m].")
    rise_north_m_per_m: Number = Field(0.0, description="Rise towards north [m per m].")
    rise_east_m_per_m: Number = Field(0.0, description="Rise towards east [m per m].")
    profile: list[tuple[Number, Number]] = Field(
        default_factory=list,
        description="Added heights from south to north: share of the extent, height [m].",
    )
    foreshore: Foreshore | None = Field(None, description="Falls away steeper in the south.")
    mounds: list[Mound] = Field(default_factory=list, description="Rises and hollows.")
    ripples: Ripples | None = Field(None, description="Waves of sand.")
    outcrops: list[Patch] = Field(default_factory=list, description="Rough rock.")
    plants: list[Patch] = Field(default_factory=list, description="Plants that hide the bed.")
    moved: Moved | None = Field(None, description="What surveys of the moved bed find it to be.")


class Room(Strict):
    """One room or court, by its inside."""

    inside: Rectangle = Field(
        description="Near left corner across and along, then width and depth, in the building's "
        "frame: what lies between the wall faces [m]."
    )
    kind: Literal["room", "court"] = Field("room", description="What it is.")
    apse: Literal["near", "far", "left", "right"] | None = Field(
        None, description="Side on which half a disc is added to the rectangle."
    )
    round: bool = Field(False, description="Whether it is the disc within the rectangle.")
    household: str = Field("", description="Whose it is, where houses share a party wall.")
    floor_m: Number | None = Field(None, description="Height of its floor [m].")
    floor_seen: dict[Literal["excavated", "threshold", "paving", "probe"], int] = Field(
        default_factory=dict, description="How many points of the floor were met, and how."
    )


class Doorway(Strict):
    """A doorway through one of a room's walls."""

    room: Name = Field(description="A room that it opens.")
    side: Literal["near", "far", "left", "right"] = Field(
        description="The wall: near and far along the frame, left and right across it."
    )
    at_m: Positive = Field(description="Its middle, from the wall's near or left end [m].")
    width_m: Positive = Field(description="Clear width [m].")
    threshold_m: Number | None = Field(None, description="Height of a threshold still there [m].")
    blocked: bool = Field(False, description="Whether it was walled up later.")


class Building(Strict):
    """One building: rooms whose walls are all equally thick."""

    family: Name = Field(description="Family that it stands square to.")
    at: Point = Field(description="Where its frame starts: across and along the family's [m].")
    wall_m: Positive = Field(description="Thickness of its walls [m].")
    wall_top_m: Number = Field(description="Height of its walls' tops as preserved [m].")
    traced: Literal["faces", "centres", "no"] = Field("faces", description="How it was traced.")
    phase: Literal["early", "late"] = Field("late", description="When it was built.")
    rooms: dict[Name, Room] = Field(min_length=1, description="Its rooms, by name.")
    doorways: list[Doorway] = Field(default_factory=list, description="Its doorways.")


class FreeWall(Strict):
    """A wall that stands by itself: an enclosure, or what is left of an earlier house."""

    kind: Literal["enclosure", "stump"] = Field(description="What it is.")
    places: list[Point] = Field(min_length=2, description="Its middle, east and north [m].")
    thickness_m: Positive = Field(description="Its thickness [m].")
    top_m: Number = Field(description="Height of its top as preserved [m].")
    phase: Literal["early", "late"] = Field("late", description="When it was built.")
    traced: Literal["faces", "no"] = Field("faces", description="How it was traced.")


class Town(Strict):
    """From what a whole settlement is laid out, block by block, see `wrackline.demo.town`."""

    quarter_m: Positive = Field(description="Width of a quarter, west to east [m].")
    azimuths_grid_deg: list[Number] = Field(
        min_length=1, description="Grid azimuths of the quarters, in turn from the west [degrees]."
    )
    block_m: tuple[Positive, Positive] = Field(description="Size of a block, across and along [m].")
    lane_m: Positive = Field(description="Width of the lanes between blocks [m].")
    built_share: Number = Field(0.8, ge=0, le=1, description="Share of blocks that were built on.")
    second_share: Number = Field(
        0.3, ge=0, le=1, description="Share of them with a second building where there is room."
    )
    floors_seen_share: Number = Field(
        0.25, ge=0, le=1, description="Share of rooms in which a floor was met, thresholds apart."
    )
    quay_top_m: Number = Field(description="Height of the quays' tops [m].")


class Thing(Strict):
    """A feature other than a threshold: a hearth, a jar, a rock."""

    kind: Text = Field(description="What it is.")
    origin: Literal["built", "natural", "doubtful", "modern"] = Field("built", description="Of.")
    room: Name | None = Field(None, description="Room in which it lies.")
    building: Name | None = Field(None, description="Building whose frame the places are in.")
    shape: Literal["point", "outline", "line"] = Field(description="How it is drawn.")
    places: list[Point] = Field(min_length=1, description="Its points, in order [m].")
    top_m: Number = Field(description="Height of its top [m].")
    note: str = Field("", description="Anything else.")


class Truth(Strict):
    """The whole truth of the demo."""

    about: Text = Field(description="What this is, in words.")
    seed: int = Field(ge=0, description="Start of the random numbers; another, other errors.")
    crs: Text = Field(description="Projected CRS of the site.")
    south_west: Point = Field(description="Easting and northing of the south-west corner [m].")
    extent_m: tuple[Positive, Positive] | None = Field(None, description="Size east, north [m].")
    hectares: Positive | None = Field(
        None, description="Or its area, four parts east to three north [ha]."
    )
    sea_level_m: Number = Field(description="True height of the level depths count from [m].")
    seabed: Seabed = Field(description="The seabed.")
    town: Town | None = Field(None, description="A settlement to be laid out.")
    families: dict[Name, Family] = Field(
        default_factory=dict, description="Families of buildings; a town adds its own."
    )
    buildings: dict[Name, Building] = Field(
        default_factory=dict, description="The buildings; a town adds its own."
    )
    free_walls: dict[Name, FreeWall] = Field(
        default_factory=dict, description="Walls that stand alone; a town adds its own."
    )
    features: dict[Name, Thing] = Field(default_factory=dict, description="Features.")
    marks: dict[Text, Mark] = Field(default_factory=dict, description="Marks of the control.")
    misfortunes: dict[Name, Misfortune] = Field(default_factory=dict, description="Named errors.")
    water: Water | None = Field(None, description="The water's surface, for soundings.")
    surveys: dict[Name, Made] = Field(description="Survey files to make.")
    truth_files: Text = Field(description="Path without suffix of the truth's .json and .gpkg.")

    @property
    def extent(self) -> tuple[float, float]:
        """Size of the ground east and north [m]."""
        if self.extent_m is not None:
            return self.extent_m
        area = 1e4 * (self.hectares or 1.0)
        return round((area * 4 / 3) ** 0.5, 1), round((area * 3 / 4) ** 0.5, 1)

    def box(self, area: tuple[float, float, float, float] | None) -> tuple[float, ...]:
        """Return the edges of an area, or of the whole site: west, south, east, north [m]."""
        return area or (0.0, 0.0, *self.extent)

    def part(self, shares: tuple[float, float, float, float] | None) -> tuple[float, ...]:
        """Return the edges of a part of the site, given as shares of its extent [m]."""
        east, north = self.extent
        west_m, south_m, east_m, north_m = shares or (0.0, 0.0, 1.0, 1.0)
        return west_m * east, south_m * north, east_m * east, north_m * north


def parse(truth: Mapping[str, Any], *, file: str = "") -> Truth:
    """Return the checked truth.

    Parameters
    ----------
    truth : mapping
        Content of a truth file.
    file : str
        Its name, for messages.

    Raises
    ------
    ConfigError
        With one fault for each key that can't be used.
    """
    try:
        parsed = Truth.model_validate(truth)
    except ValidationError as problem:
        faults = [
            _fault(".".join(map(str, part["loc"])), part["msg"], file) for part in problem.errors()
        ]
        raise ConfigError(faults) from None
    faults = [_fault(where, allowed, file) for where, allowed in _loose_ends(parsed)]
    if faults:
        raise ConfigError(faults)
    return parsed


def _loose_ends(truth: Truth) -> list[tuple[str, str]]:
    """Return what names something that isn't there: the key, and what it may name."""
    loose = [end for name in truth.buildings for end in _loose_walls(truth, name)]
    if (truth.extent_m is None) == (truth.hectares is None):
        loose.append(("hectares", "either hectares or extent_m"))
    if not truth.buildings and truth.town is None:
        loose.append(("buildings", "buildings, or a town to be laid out"))
    for name, thing in truth.features.items():
        if thing.building is not None and thing.building not in truth.buildings:
            loose.append((f"features.{name}.building", f"one of {list(truth.buildings)}"))
    for name, made in truth.surveys.items():
        if set(made.errors.named) - set(truth.misfortunes):
            loose.append((f"surveys.{name}.errors.named", f"some of {list(truth.misfortunes)}"))
        if made.makes == "soundings" and (truth.water is None or made.starts is None):
            loose.append((f"surveys.{name}", "soundings need the water, and when they start"))
        if made.staff is not None and made.makes != "soundings":
            loose.append((f"surveys.{name}.staff", "a staff for soundings alone"))
    return loose


def _loose_walls(truth: Truth, name: str) -> list[tuple[str, str]]:
    """Return what doesn't fit within one building."""
    building = truth.buildings[name]
    loose = []
    if building.family not in truth.families:
        loose.append((f"buildings.{name}.family", f"one of {list(truth.families)}"))
    if not _one_body(building):
        loose.append((f"buildings.{name}.rooms", "rooms a wall apart, so that all is one body"))
    for number, door in enumerate(building.doorways):
        where = f"buildings.{name}.doorways.{number}"
        if door.room not in building.rooms:
            loose.append((f"{where}.room", f"one of {list(building.rooms)}"))
        elif not _within_its_wall(door, building.rooms[door.room]):
            loose.append((f"{where}.at_m", "a doorway between the corners of its room"))
    return loose


def _one_body(building: Building) -> bool:
    """Tell whether the rooms, each with its walls around it, hang together."""
    grown = [
        box(x - wall, y - wall, x + width + wall, y + depth + wall)
        for wall in [building.wall_m]
        for x, y, width, depth in (room.inside for room in building.rooms.values())
    ]
    return isinstance(union_all(grown), Polygon)


def _within_its_wall(door: Doorway, room: Room) -> bool:
    """Tell whether a doorway lies between the corners of its room's side."""
    side = room.inside[2] if door.side in ("near", "far") else room.inside[3]
    return door.width_m / 2 <= door.at_m <= side - door.width_m / 2


def _fault(where: str, allowed: str, file: str) -> Fault:
    return Fault(
        kind="bad_truth",
        found=f"the key '{where}' of the demo's truth",
        allowed=allowed.removeprefix("Value error, "),
        consequence="the demo's survey files can't be made",
        remedy="mend it as the comments in config/demo.yaml explain",
        file=file,
    )
