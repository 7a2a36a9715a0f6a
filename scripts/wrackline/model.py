"""The config model: every key that a site team may write, with meaning, unit and bounds.

`wrackline.config` reads files into it, `wrackline.schemas` writes it out as JSON schemas, and
config/README.md is held to it by a test. Lengths are metres, angles degrees, `sd` one standard
uncertainty (JCGM 100:2008, GUM). Only light modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

SCHEMA_VERSION = 1

Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9_]*$", max_length=40)]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Sd = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Point = tuple[Number, Number]

Holds = Literal["wall_lines", "features", "floor_points", "bed_points", "bed_grid"]
VECTOR_HOLDS = ("wall_lines", "features", "floor_points")
POINT_HOLDS = ("bed_points", "bed_grid")


class Strict(BaseModel):
    """Base of every config part: unknown keys are refused, values are not changed later."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, str_strip_whitespace=True, coerce_numbers_to_str=True
    )


class SeaLevel(Strict):
    """One named level of the sea, as a height above the site's vertical datum."""

    name: Text = Field(
        description="Name printed beside every depth, e.g. 'mean sea level 2010-2019'."
    )
    height_m: Number = Field(description="Height of the level above the site's datum [m].")
    sd_m: Sd = Field(0.0, description="Own standard uncertainty of the level [m].")
    error_sources: list[Name] = Field(
        default_factory=list,
        description="Names of the error sources that this level rests on (height shifts only).",
    )


class ErrorSource(Strict):
    """One cause that moves everything resting on it together."""

    kind: Literal["shift", "rotation", "scale", "tilt"] = Field(
        description="How it moves the survey: shift, rotation about the pivot, scale from the "
        "pivot, or tilt of heights about the pivot."
    )
    easting_sd_m: Sd = Field(0.0, description="Shift in easting, sd [m].")
    northing_sd_m: Sd = Field(0.0, description="Shift in northing, sd [m].")
    height_sd_m: Sd = Field(0.0, description="Shift in height, sd [m].")
    rotation_sd_deg: Sd = Field(0.0, description="Rotation about the pivot, sd [degrees].")
    scale_sd_ppm: Annotated[float, Field(ge=0, le=1e5)] = Field(
        0.0, description="Scale from the pivot, sd [parts per million]."
    )
    tilt_sd_mm_per_m: Sd = Field(0.0, description="Slope of the tilt, sd [mm of height per m].")
    tilt_azimuth_deg: Annotated[float, Field(ge=0, lt=360)] = Field(
        0.0, description="Grid azimuth of the tilt's steepest rise [degrees]."
    )
    pivot: Point | None = Field(
        None, description="Easting and northing that stay put; the site's origin if left out [m]."
    )
    about: Text = Field("no description given", description="What it is, in words, for the report.")

    @model_validator(mode="after")
    def _sizes_fit_the_kind(self) -> ErrorSource:
        given = {
            "shift": max(self.easting_sd_m, self.northing_sd_m, self.height_sd_m),
            "rotation": self.rotation_sd_deg,
            "scale": self.scale_sd_ppm,
            "tilt": self.tilt_sd_mm_per_m,
        }
        if given[self.kind] <= 0:
            raise ValueError(f"a source of kind '{self.kind}' needs its sd above zero")
        extra = [kind for kind, size in given.items() if size > 0 and kind != self.kind]
        if extra:
            raise ValueError(
                f"kind is '{self.kind}', yet an sd of {extra[0]} is given: one source, one kind"
            )
        return self


class SeabedSettings(Strict):
    """How soundings become a surface."""

    cell_m: Annotated[float, Field(ge=0.01, le=100)] = Field(
        0.5, description="Cell size of the seabed model, counted from the site's origin [m]."
    )
    fill_distance_m: Annotated[float, Field(ge=0, le=100)] = Field(
        1.5,
        description="Cells no further than this from a sounded cell are interpolated and marked "
        "as filled; beyond it nothing is invented; 0 fills nothing [m].",
    )
    contour_step_m: Annotated[float, Field(ge=0.01, le=100)] = Field(
        0.25, description="Height step between contours [m]."
    )


class WallSettings(Strict):
    """How broken wall lines are joined."""

    join_gap_m: Annotated[float, Field(ge=0, le=5)] = Field(
        0.5, description="Ends that miss each other or a wall by up to this are joined [m]."
    )
    doorway_max_m: Annotated[float, Field(ge=0, le=5)] = Field(
        1.6,
        description="A gap between two ends in line, wider than join_gap_m and up to this, is "
        "closed as a possible doorway [m].",
    )
    wall_max_thickness_m: Annotated[float, Field(gt=0, le=20)] = Field(
        1.6, description="An enclosed strip no wider than this between faces is a wall's body [m]."
    )


class RoomSettings(Strict):
    """How enclosed spaces are told apart; suggestions, until the team says otherwise."""

    room_min_area_m2: Annotated[float, Field(gt=0)] = Field(
        1.0, description="Enclosed spaces below this are no rooms [m²]."
    )
    room_max_area_m2: Annotated[float, Field(gt=0)] = Field(
        150.0, description="Enclosed spaces above this are suggested as courts [m²]."
    )
    lane_max_width_m: Annotated[float, Field(gt=0)] = Field(
        2.5, description="Long enclosed spaces no wider than this are suggested as lanes [m]."
    )
    lane_min_elongation: Annotated[float, Field(gt=1)] = Field(
        5.0, description="Length over width from which a narrow space is suggested as a lane."
    )


class Site(Strict):
    """`config/site.yaml`: what is true of the site in every season."""

    schema_version: int = Field(description="Version of this file's layout; now 1.")
    name: Text = Field(description="Name of the site as printed on every product.")
    crs: Text = Field(description="The site's projected CRS in metres, e.g. 'EPSG:32633'.")
    vertical_datum: Text = Field(description="What height 0.000 is, in words, as printed.")
    origin: Point = Field(
        description="Easting and northing from which cells and place numbers count; choose it "
        "south-west of everything and never change it [m]."
    )
    sea_levels: list[SeaLevel] = Field(min_length=1, description="Named sea levels.")
    depths_below: Text = Field(description="Name of the sea level that every depth counts from.")
    error_sources: dict[Name, ErrorSource] = Field(
        default_factory=dict, description="Named causes of error that surveys share, by name."
    )
    seabed: SeabedSettings = Field(default_factory=SeabedSettings, description="Seabed settings.")
    walls: WallSettings = Field(default_factory=WallSettings, description="Wall settings.")
    rooms: RoomSettings = Field(default_factory=RoomSettings, description="Room settings.")
    credit: str = Field("", description="Credit line for the products.")
    demo: str | None = Field(
        None,
        description="Truth file from which a demo's survey files are made, relative to the site; "
        "leave it out for a real site.",
    )

    @model_validator(mode="after")
    def _names_hold(self) -> Site:
        names = [level.name for level in self.sea_levels]
        if len(set(names)) < len(names):
            raise ValueError("two sea_levels bear the same name")
        if self.depths_below not in names:
            raise ValueError(
                f"depths_below names '{self.depths_below}', but sea_levels has {names}"
            )
        known = set(self.error_sources)
        for level in self.sea_levels:
            missing = sorted(set(level.error_sources) - known)
            if missing:
                raise ValueError(
                    f"sea level '{level.name}' rests on unknown error source {missing}"
                )
        return self

    @property
    def depth_level(self) -> SeaLevel:
        """The sea level that depths count from."""
        return next(level for level in self.sea_levels if level.name == self.depths_below)


class Vertical(Strict):
    """How the file's vertical numbers are meant."""

    meaning: Literal["height", "depth_below_datum", "depth_below_water", "none"] = Field(
        description="height: up from a datum. depth_below_datum: down from a datum. "
        "depth_below_water: down from the water's surface at the time (needs water_level). "
        "none: the file has no heights."
    )
    datum_height_m: Number = Field(
        0.0, description="Height of the file's zero above the site's datum [m]."
    )
    water_level: str | None = Field(
        None, description="CSV of the water's level (columns time, level_m), for depth_below_water."
    )
    water_level_zero_m: Number = Field(
        0.0, description="Height of the gauge's zero above the site's datum [m]."
    )
    water_level_utc_offset_h: Annotated[float, Field(ge=-14, le=14)] = Field(
        0.0, description="Hours that the gauge's clock is ahead of UTC [h]."
    )
    water_level_max_gap_min: Positive = Field(
        60.0, description="Longest gap of the record that is interpolated across [minutes]."
    )
    time_utc_offset_h: Annotated[float, Field(ge=-14, le=14)] = Field(
        0.0, description="Hours that the soundings' clock is ahead of UTC [h]."
    )

    @model_validator(mode="after")
    def _water_level_where_needed(self) -> Vertical:
        if (self.meaning == "depth_below_water") != (self.water_level is not None):
            raise ValueError("water_level belongs to meaning 'depth_below_water', and only to it")
        return self


class LocalGridPoint(Strict):
    """One mark known in both the local grid and the site's CRS."""

    point: Text = Field(description="Name of the mark.")
    local: Point = Field(description="Its easting-like and northing-like numbers in the file.")
    site: Point = Field(description="Its easting and northing in the site's CRS [m].")


class LocalGrid(Strict):
    """A grid of the survey's own, fitted to the site's CRS by a similarity transformation."""

    points: list[LocalGridPoint] = Field(
        min_length=2, description="Marks known in both; two fix the fit, more give its error."
    )
    control_sd_m: Positive = Field(
        description="Standard uncertainty of a mark's position, per axis [m]."
    )


class Columns(Strict):
    """Column names of a table (CSV, XYZ); for a file without header, numbers from 1."""

    easting: str | int = Field("easting", description="Column of eastings (or longitude).")
    northing: str | int = Field("northing", description="Column of northings (or latitude).")
    vertical: str | int = Field("height", description="Column of heights or depths.")
    time: str | int | None = Field(None, description="Column of times, where they are needed.")
    line: str | int | None = Field(None, description="Column of the survey's own line or item id.")
    separator: Literal["comma", "semicolon", "tab", "space"] = Field(
        "comma", description="What stands between columns."
    )
    header: bool = Field(True, description="Whether the first row holds column names.")
    decimal: Literal[".", ","] = Field(".", description="Decimal mark.")
    no_value: list[str] = Field(
        default_factory=list, description="Texts that stand for a missing number, e.g. '-9999'."
    )


class AppliedOffset(Strict):
    """A vertical correction that a person decided on, from the estimate of an earlier run."""

    height_m: Number = Field(description="Added to every height of the survey [m].")
    sd_m: Sd = Field(description="Standard uncertainty of the correction [m].")
    replaces: list[Name] = Field(
        default_factory=list,
        description="Error sources of the survey that the correction takes the place of.",
    )
    why: Text = Field(description="Reason and who decided, for the record.")


class Survey(Strict):
    """One survey of a season: one file, one technique, one kind of content."""

    name: Name = Field(description="Short lasting name, unique within the season.")
    technique: Text = Field(description="Technique in words, e.g. 'total station'.")
    holds: Holds = Field(description="What the file holds.")
    file: Text = Field(description="The file, relative to the site's folder.")
    layer: str | None = Field(None, description="Layer of a file with several.")
    crs: str | None = Field(
        None, description="CRS of the file's numbers; give either this or local_grid."
    )
    local_grid: LocalGrid | None = Field(None, description="Local grid of the file's numbers.")
    from_date: dt.date = Field(description="First day of the survey.")
    to_date: dt.date = Field(description="Last day of the survey.")
    vertical: Vertical = Field(description="How vertical numbers are meant.")
    columns: Columns = Field(default_factory=Columns, description="Columns, for a table.")
    random_horizontal_sd_m: Sd = Field(
        description="Point-to-point error of a position, sd per axis [m]."
    )
    random_vertical_sd_m: Sd = Field(description="Point-to-point error of a height, sd [m].")
    patchy_horizontal_sd_m: Sd = Field(
        0.0, description="Error of position alike over patchy_distance_m, sd per axis [m]."
    )
    patchy_vertical_sd_m: Sd = Field(
        0.0, description="Error of height alike over patchy_distance_m, sd [m]."
    )
    patchy_distance_m: Annotated[float, Field(ge=0, le=1e5)] = Field(
        0.0, description="Distance beyond which patchy errors are independent [m]."
    )
    error_sources: list[Name] = Field(
        default_factory=list, description="Named error sources (site.yaml) that it rests on."
    )
    line_follows: Literal["face", "centre", "edge"] = Field(
        "face",
        description="Wall lines: what the line follows. face: a wall's face; centre: its middle; "
        "edge: the edge of what stands or lies there, a face for want of better.",
    )
    traced_at: Literal["top", "bed", "base"] = Field(
        "top", description="Wall lines: where on the wall its heights were taken."
    )
    wall_thickness_m: Positive | None = Field(
        None, description="Wall lines along centres: thickness, where the file has none [m]."
    )
    wall_thickness_sd_m: Sd = Field(0.0, description="Standard uncertainty of it [m].")
    resolution_m: Positive | None = Field(
        None, description="Least thing that the survey would have shown [m]."
    )
    applied_offset: AppliedOffset | None = Field(
        None, description="A vertical correction that a person decided on."
    )
    looked_at: str | None = Field(
        None, description="Polygon file of the ground that was looked at, in the site's CRS."
    )
    note: str = Field("", description="Anything a reader should know.")

    @model_validator(mode="after")
    def _parts_fit(self) -> Survey:
        if (self.crs is None) == (self.local_grid is None):
            raise ValueError("give either crs or local_grid, one of the two")
        if self.to_date < self.from_date:
            raise ValueError(f"to_date {self.to_date} lies before from_date {self.from_date}")
        patchy = max(self.patchy_horizontal_sd_m, self.patchy_vertical_sd_m)
        if patchy > 0 and not self.patchy_distance_m:
            raise ValueError("a patchy sd needs its patchy_distance_m")
        meaning = self.vertical.meaning
        if meaning == "none" and self.holds not in ("wall_lines", "features"):
            raise ValueError(f"{self.holds} say nothing without heights: meaning is 'none'")
        if meaning == "depth_below_water" and self.holds != "bed_points":
            raise ValueError("depth_below_water is read for bed_points alone")
        if meaning == "depth_below_water" and self.columns.time is None:
            raise ValueError("depth_below_water needs columns.time, to know the water's level")
        return self


class Season(Strict):
    """`config/seasons/<season>.yaml`: what one season brought."""

    schema_version: int = Field(description="Version of this file's layout; now 1.")
    season: Name = Field(
        description="Name of the season, the same as the file's; seasons are "
        "taken in the order of their names."
    )
    surveys: list[Survey] = Field(min_length=1, description="The season's surveys.")

    @model_validator(mode="after")
    def _survey_names_differ(self) -> Season:
        names = [survey.name for survey in self.surveys]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two surveys bear the name {twice[0]}")
        return self


NEUTRAL_ERRORS: dict[str, Any] = {
    "random_horizontal_sd_m": 0.0,
    "random_vertical_sd_m": 0.0,
    "patchy_horizontal_sd_m": 0.0,
    "patchy_vertical_sd_m": 0.0,
    "patchy_distance_m": 0.0,
    "error_sources": [],
    "applied_offset": None,
}
NEUTRAL_TRAITS: dict[str, Any] = {
    "line_follows": "face",
    "traced_at": "top",
    "resolution_m": None,
    "looked_at": None,
    "note": "",
}
NEUTRAL_SITE: dict[str, Any] = {
    "name": "-",
    "credit": "",
    "demo": None,
    "seabed": SeabedSettings(),
}


def for_reading(survey: Survey) -> Survey:
    """Return a survey with what reading its file doesn't use at one neutral value.

    Rules hand such parts to steps, so that a change re-runs only the steps that it touches.
    """
    traits = {**NEUTRAL_TRAITS, "looked_at": survey.looked_at}
    return survey.model_copy(update={**NEUTRAL_ERRORS, **traits})


def for_fitting(survey: Survey) -> Survey:
    """Return a survey with what placing it and stating its errors doesn't use neutral."""
    reading = {"technique": "-", "layer": None, "wall_thickness_m": None}
    return survey.model_copy(update={**NEUTRAL_TRAITS, **reading, "wall_thickness_sd_m": 0.0})


def for_placing(site: Site) -> Site:
    """Return a site with its CRS, origin and error sources alone."""
    level = SeaLevel(name="datum", height_m=0.0, sd_m=0.0)
    plain = {"walls": WallSettings(), "rooms": RoomSettings(), "vertical_datum": "-"}
    return site.model_copy(
        update={**NEUTRAL_SITE, **plain, "sea_levels": [level], "depths_below": "datum"}
    )


def for_measuring(site: Site) -> Site:
    """Return a site with what rooms are measured by: no seabed settings, one sea level."""
    return site.model_copy(
        update={**NEUTRAL_SITE, "sea_levels": [site.depth_level], "vertical_datum": "-"}
    )


def to_json(part: Strict) -> str:
    """Return one config part as canonical JSON, the form in which rules hand it to steps."""
    return part.model_dump_json()
