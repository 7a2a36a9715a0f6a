"""The config model: every key that a site team may write, with meaning, unit and bounds.

`wrackline.config` reads files into it, `wrackline.schemas` writes it out as JSON schemas, and
config/README.md is held to it by a test. Lengths are metres, angles degrees, `sd` one standard
uncertainty (JCGM 100:2008, GUM). Only light modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    field_validator,
    model_validator,
)

SCHEMA_VERSION = 1

Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9_]*$", max_length=40)]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Sd = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Point = tuple[Number, Number]

Holds = Literal[
    "wall_lines",
    "features",
    "floor_points",
    "probes",
    "trench_outlines",
    "finds",
    "picture",
    "bed_points",
    "bed_grid",
]
VECTOR_HOLDS = (
    "wall_lines",
    "features",
    "floor_points",
    "probes",
    "trench_outlines",
    "finds",
    "picture",
)
POINT_HOLDS = ("bed_points", "bed_grid")
FLOOR_HOLDS = ("floor_points", "probes")

Form = Literal["drawn", "coded_points", "station_day", "tape", "levelling"]
OBSERVED = ("station_day", "tape", "levelling")
POLE_FORMS = ("station_day", "coded_points")
POLE_WORDS = ("pole", "prism", "reflector", "total station", "rover")
"""Forms of a survey, and words in its technique, that tell of a pole held on what is measured."""

"""Forms that hold observations: they are reduced to places by way of `config/control.csv`."""

Unit = Literal["metre", "millimetre", "centimetre", "foot", "us_survey_foot", "fathom", "braza"]
UNITS_M: dict[str, float] = {
    "metre": 1.0,
    "millimetre": 0.001,
    "centimetre": 0.01,
    "foot": 0.3048,
    "us_survey_foot": 1200 / 3937,
    "fathom": 1.8288,
    "braza": 1.67181,
}
"""Metres of each unit; the braza as two varas of 0.835905 m (from memory)."""


WaterHolds = Literal["levels", "high_and_low", "mean_level"]
Indication = Literal["terrestrial", "marine", "index", "none"]
Year = Annotated[int, Field(ge=-20_000, le=2_200)]
NEVER_INDEX = ("floor", "grave")
"""Kinds whose builders only kept them dry: no height above the sea was aimed at."""


class Strict(BaseModel):
    """Base of every config part: unknown keys are refused, values are not changed later."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        str_strip_whitespace=True,
        coerce_numbers_to_str=True,
        populate_by_name=True,
    )


def _check_years(first: int, last: int) -> None:
    if last < first:
        raise ValueError(f"to_year {last} lies before from_year {first}")


def _check_range_of_years(first: int | None, last: int | None) -> None:
    if (first is None) != (last is None):
        raise ValueError("give both from_year and to_year, or neither")
    if first is not None and last is not None:
        _check_years(first, last)


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
    gauge: str = Field("", description="Gauge that the level was worked out from, for the record.")
    years: str = Field("", description="Years that the level was worked out from, for the record.")
    from_year: Year | None = Field(
        None, description="An ancient level: first year at which the sea stood so, astronomical."
    )
    to_year: Year | None = Field(
        None, description="An ancient level: last year at which the sea stood so, astronomical."
    )
    basis: str = Field(
        "", description="What the level and its years rest on, e.g. 'notches, radiocarbon'."
    )

    @model_validator(mode="after")
    def _years_hold(self) -> SeaLevel:
        _check_range_of_years(self.from_year, self.to_year)
        if self.from_year is not None and not self.basis:
            raise ValueError("from_year and to_year need their basis: what they rest on")
        return self


class HeightLink(Strict):
    """One link of the site's heights: a zero, its height above another, and what that rests on."""

    zero: Text = Field(description="Name of the zero that the link is about, e.g. 'ellipsoid'.")
    above: Text = Field(
        "site", description="The zero that it is counted from; 'site' is the site's own datum."
    )
    height_m: Number | None = Field(
        None, description="Height of `zero` above the other one [m]; give this or geoid_grid."
    )
    geoid_grid: str | None = Field(
        None,
        description="Raster of the height of the site's datum above the ellipsoid [m], relative to "
        "the site's folder, for a link from the ellipsoid.",
    )
    error_source: Name = Field(
        description="Named error source that the link rests on; its height_sd_m is the link's sd."
    )
    about: str = Field("", description="Who measured it, when and how.")

    @model_validator(mode="after")
    def _one_of_two(self) -> HeightLink:
        if (self.height_m is None) == (self.geoid_grid is None):
            raise ValueError("give either height_m or geoid_grid, one of the two")
        if self.zero == "site":
            raise ValueError("the site's own datum is the end of every link, never its zero")
        return self


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


class Years(Strict):
    """A span of time, and what it is known from."""

    from_year: Year = Field(description="First year, astronomical: 1 is 1 CE, 0 is 1 BCE.")
    to_year: Year = Field(description="Last year, astronomical: -99 is 100 BCE.")
    basis: Text = Field(description="What the years rest on, e.g. 'pottery in the floors'.")

    @model_validator(mode="after")
    def _in_order(self) -> Years:
        _check_years(self.from_year, self.to_year)
        return self


class SeaLevelMark(Strict):
    """What one kind of structure says of the sea level of its time."""

    kind: Text = Field(description="Kind of feature, the team's word; 'floor' for floors met.")
    indication: Indication = Field(
        description="terrestrial: it stood above the sea, so the level lay at or below it. "
        "marine: it stood below, so the level lay at or above it. index: its part stood at a known "
        "height above or below it. none: it says nothing. A floor or grave is never an index."
    )
    part: str = Field(
        "", description="Part whose height was taken, e.g. 'top of the quay as preserved'."
    )
    lower_limit_m: Number | None = Field(
        None, description="Index: least height of that part above sea level, in use [m]."
    )
    upper_limit_m: Number | None = Field(
        None, description="Index: greatest height of that part above sea level, in use [m]."
    )
    from_year: Year | None = Field(
        None, description="First year of use, astronomical; as the settlement when left out."
    )
    to_year: Year | None = Field(
        None, description="Last year of use, astronomical; as the settlement when left out."
    )
    basis: str = Field("", description="What the kind's meaning, limits and years rest on.")

    @model_validator(mode="after")
    def _limits_hold(self) -> SeaLevelMark:
        limits = (self.lower_limit_m, self.upper_limit_m)
        if self.indication != "index" and limits != (None, None):
            raise ValueError("lower_limit_m and upper_limit_m belong to indication 'index' alone")
        if self.indication == "index" and None in limits:
            raise ValueError("an index needs lower_limit_m and upper_limit_m, heights in use")
        lower, upper = self.lower_limit_m, self.upper_limit_m
        if lower is not None and upper is not None and upper <= lower:
            raise ValueError(f"upper_limit_m {upper:g} must lie above lower_limit_m {lower:g}")
        if self.kind.casefold() in NEVER_INDEX and self.indication not in ("terrestrial", "none"):
            raise ValueError(
                f"a {self.kind} only says that the sea stood no higher: its indication is "
                "'terrestrial', or 'none'"
            )
        return self

    @model_validator(mode="after")
    def _years_hold(self) -> SeaLevelMark:
        _check_range_of_years(self.from_year, self.to_year)
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
    reject_blunders: bool = Field(
        True,
        description="Whether soundings that nothing around them bears out, and the false one of "
        "two layers, are set aside and listed; false takes every point as seabed, as with grids.",
    )
    structure_max_m: Annotated[float, Field(gt=0, le=50)] = Field(
        1.5,
        description="Nothing of the site stands higher above the ground around it, or lies deeper "
        "below (trenches, wells): a patch of soundings that does is set aside and listed [m].",
    )
    tile_m: Annotated[float, Field(ge=1, le=5000)] = Field(
        64.0,
        description="Edge of the tiles in which large surveys are worked on; figures don't depend "
        "on it [m].",
    )
    job_raw_mb: Annotated[float, Field(gt=0, le=1e6)] = Field(
        40.0,
        description="A survey larger than twice this is gridded in several jobs, each of so much "
        "of its raw LAZ file (of others, 8 times as much); figures don't depend on it [MB].",
    )
    memory_mb: Annotated[int, Field(ge=1000, le=1_000_000)] = Field(
        1500,
        description="Memory that the seabed's steps may use together, two at a time [MB].",
    )
    trend_m: Annotated[float, Field(gt=0, le=100)] = Field(
        2.0,
        description="Radius of the trend that local relief stands above, at least two cells: some "
        "three times as wide as walls, and no wider than rooms [m].",
    )
    openness_m: Annotated[float, Field(gt=0, le=100)] = Field(
        2.0, description="How far openness looks around each cell, at least one cell [m]."
    )
    openness_directions: Annotated[int, Field(ge=4, le=64, multiple_of=2)] = Field(
        16, description="Directions in which openness looks, an even number."
    )
    feather_m: Annotated[float, Field(ge=0, le=50)] = Field(
        2.0,
        description="Towards the edge of its ground a survey's weight fades over this distance, so "
        "that no step shows where it ends inside another's; 0 fades nothing [m].",
    )
    change_sd_m_per_year: Annotated[float, Field(ge=0, le=10)] | None = Field(
        None,
        description="How much the bed's height changes in a year, as a standard deviation. Left "
        "out, nobody knows: where a newer season measured, older ones don't count. Stated (0: it "
        "stays), older seasons count there too, with that added to their errors [m].",
    )
    stable_ground: Text | None = Field(
        None,
        description="File of polygons, relative to the site's folder: ground that is known not to "
        "change, such as rock or a quay. Seasons are held against each other there; nothing is "
        "moved by it: what to write to move a season's surveys is told in the change's figures.",
    )
    change_window_m: Annotated[float, Field(gt=0, le=100)] = Field(
        1.5,
        description="Side of the ground over which change between seasons is averaged before it "
        "is tested, at least one cell; areas of change are no smaller [m].",
    )
    baseline: Text | None = Field(
        None,
        description="Survey of bed points, as `<season>-<name>`, that the others are held against: "
        "the levelled or total-station one that you trust most. Nothing is moved by it; what to "
        "write to move a survey is told in tables/overlaps.csv.",
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
    lost_stretch_max_m: Annotated[float, Field(ge=0, le=20)] = Field(
        8.0,
        description="A wider gap, up to this, is closed as a lost stretch of wall where its ends "
        "bear that out; 0 closes none [m].",
    )
    wall_max_thickness_m: Annotated[float, Field(gt=0, le=20)] = Field(
        1.6,
        description="No wall is thicker: two traced faces further apart are of two walls; where "
        "one face alone was traced, an enclosed strip no wider than this is a wall's body [m].",
    )
    tops_differ_max_m: Annotated[float, Field(ge=0, le=20)] = Field(
        0.5,
        description="Tops of one wall, traced twice, differ in height by no more than this beyond "
        "their errors (uneven tops, stones lost since), and so do its feet; where two tracings "
        "differ by more they are two walls, a later one on a stump [m].",
    )
    wall_standing_max_m: Annotated[float, Field(ge=0, le=50)] = Field(
        2.0,
        description="Where one tracing follows the top and another the foot, or the seabed beside "
        "the wall, those of one wall differ in height by no more than this [m].",
    )
    no_walls: list[Text] = Field(
        ["grave", "kerb", "cistern", "rock", "bedrock", "beach rock", "rubble", "tumble", "modern"],
        description="Kinds of lines in surveys of walls that are no walls: they close no room, and "
        "are published as features. So are lines whose origin is natural or modern.",
    )


class ReadingSettings(Strict):
    """When the team's interpretations are to be looked at again."""

    review_change_share: Annotated[float, Field(gt=0, lt=1)] = Field(
        0.2,
        description="Share of its outline by which a thing may have changed since it was read, "
        "beyond which its readings are listed for review.",
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


RATIO = re.compile(r"\s*1\s*[:/]\s*(\d+)\s*")


class SheetSet(Strict):
    """A set of plan sheets: what they show, on which paper, for whom."""

    shows: Literal["site", "tiles", "buildings", "trenches"] = Field(
        "site",
        description="The whole site on one sheet; tiles with overlap and an index; one sheet for "
        "each building; one for each trench.",
    )
    paper: Literal["A4", "A3", "A2", "A1", "A0"] = Field("A1", description="Paper (ISO 216).")
    scale: Annotated[int, Field(ge=10, le=20000)] | None = Field(
        None,
        description="Sheets are drawn to 1 : this; left out, to the largest usual scale that fits, "
        "for tiles to 1:200.",
    )
    overlap_m: Annotated[float, Field(ge=0, le=1000)] | None = Field(
        None,
        description="Ground that neighbouring tiles share, up to half a tile; left out, 5 m, or "
        "half of smaller tiles [m].",
    )
    only: list[Text] = Field(
        default_factory=list,
        description="Numbers of the buildings, or names of the trenches, that get a sheet; left "
        "out, all.",
    )
    reader: Literal["desk", "diver"] = Field(
        "desk",
        description="For a diver: big type, depths, magnetic north with its yearly change.",
    )
    title: Text | None = Field(None, description="Title; left out, what the sheet shows.")
    language: Text = Field(
        "en", description="Language of titles and labels: en, or a file of config/languages/."
    )
    vertical: Literal["heights", "depths"] | None = Field(
        None,
        description="Contours and spot heights as heights above the datum or depths below a sea "
        "level; left out, heights, for a diver depths.",
    )
    depths_below: Text | None = Field(
        None, description="Sea level that the sheet's depths count from; left out, the site's."
    )
    relief: bool = Field(True, description="The seabed's relief, lightly, under all else.")
    picture: Text | None = Field(
        None,
        description="Survey of a picture, as season-name, that lies under all else, e.g. "
        "2033-photo_mosaic.",
    )
    place: Literal["shown", "left_out"] = Field(
        "shown",
        description="left_out: nothing on the sheet tells where the site lies; coordinates count "
        "from its origin.",
    )

    @field_validator("scale", mode="before")
    @classmethod
    def _one_figure(cls, scale: Any) -> Any:
        """Refuse 1:500 with the figure to write."""
        ratio = RATIO.fullmatch(scale) if isinstance(scale, str) else None
        if ratio:
            raise ValueError(f"the figure after 1 alone, here {ratio[1]}")
        return scale


class TitleBlock(Strict):
    """Who made the sheets and when, as printed in their title block (fields of ISO 7200)."""

    drawn: Text | None = Field(None, description="Who drew the sheets.")
    checked: Text | None = Field(None, description="Who checked them.")
    date: dt.date | None = Field(
        None, description="Date of issue; left out, only the dates of survey are printed."
    )
    revision: Text | None = Field(
        None, description="Revision; left out, the last season, after which the plan is drawn."
    )
    permit: Text | None = Field(None, description="Permit under which the survey was made.")


class Site(Strict):
    """`config/site.yaml`: what is true of the site in every season."""

    schema_version: int = Field(description="Version of this file's layout; now 1.")
    name: Text = Field(description="Name of the site as printed on every product.")
    public_name: str = Field(
        "",
        description="What the site is called where its place is left out; it must not tell it.",
    )
    crs: Text = Field(description="The site's projected CRS in metres, e.g. 'EPSG:32633'.")
    vertical_datum: Text = Field(description="What height 0.000 is, in words, as printed.")
    origin: Point = Field(
        description="Easting and northing from which cells and place numbers count; choose it "
        "south-west of everything and never change it [m]."
    )
    sea_levels: list[SeaLevel] = Field(min_length=1, description="Named sea levels.")
    depths_below: Text = Field(description="Name of the sea level that every depth counts from.")
    high_water: Text | None = Field(
        None,
        description="Name of the sea level that is today's high water; clearances of structures "
        "above it are stated.",
    )
    occupied: Years | None = Field(None, description="Years in which the settlement was lived in.")
    sea_level_marks: list[SeaLevelMark] = Field(
        default_factory=list,
        description="What kinds of structure say of the sea level of their time.",
    )
    phases: list[Text] = Field(
        default_factory=list,
        description="Names of the building phases, earliest first; config/phases.csv uses them.",
    )
    error_sources: dict[Name, ErrorSource] = Field(
        default_factory=dict, description="Named causes of error that surveys share, by name."
    )
    height_links: list[HeightLink] = Field(
        default_factory=list,
        description="Zeros of height other than the site's datum, each tied to it or to another.",
    )
    seabed: SeabedSettings = Field(default_factory=SeabedSettings, description="Seabed settings.")
    walls: WallSettings = Field(default_factory=WallSettings, description="Wall settings.")
    rooms: RoomSettings = Field(default_factory=RoomSettings, description="Room settings.")
    readings: ReadingSettings = Field(
        default_factory=ReadingSettings, description="How interpretations are followed."
    )
    sheets: dict[Name, SheetSet] = Field(
        default_factory=lambda: {"plan": SheetSet()},
        description="Sets of plan sheets, by name; left out, one of the name plan: the whole "
        "site on A1.",
    )
    title_block: TitleBlock = Field(
        default_factory=TitleBlock, description="What the sheets' title block says."
    )
    credit: str = Field("", description="Credit line for the products.")
    demo: str | None = Field(
        None,
        description="Truth file from which a demo's survey files are made, relative to the site; "
        "leave it out for a real site.",
    )

    @model_validator(mode="before")
    @classmethod
    def _one_sheet(cls, content: Any) -> Any:
        """Take `sheet`, the one sheet of older configs, as the set `plan`."""
        if isinstance(content, dict) and "sheet" in content and "sheets" not in content:
            rest = {key: value for key, value in content.items() if key != "sheet"}
            return {**rest, "sheets": {"plan": content["sheet"]}}
        return content

    @model_validator(mode="after")
    def _sheets_hold(self) -> Site:
        names = [level.name for level in self.sea_levels]
        for name, sheets in self.sheets.items():
            if sheets.depths_below is not None and sheets.depths_below not in names:
                raise ValueError(
                    f"sheets.{name}.depths_below names '{sheets.depths_below}', but sea_levels "
                    f"has {names}"
                )
            if sheets.only and sheets.shows not in ("buildings", "trenches"):
                raise ValueError(f"sheets.{name}.only names things, but it shows {sheets.shows}")
            if sheets.overlap_m is not None and sheets.shows != "tiles":
                raise ValueError(
                    f"sheets.{name}.overlap_m is for tiles, but it shows {sheets.shows}"
                )
        return self

    @model_validator(mode="after")
    def _names_hold(self) -> Site:
        names = [level.name for level in self.sea_levels]
        if len(set(names)) < len(names):
            raise ValueError("two sea_levels bear the same name")
        if self.depths_below not in names:
            raise ValueError(
                f"depths_below names '{self.depths_below}', but sea_levels has {names}"
            )
        if self.high_water is not None and self.high_water not in names:
            near = difflib.get_close_matches(self.high_water, names, 1, 0.0)
            raise ValueError(
                f"high_water names '{self.high_water}', but sea_levels has {names}; "
                f"the nearest is '{near[0]}'"
            )
        kinds = [mark.kind.casefold() for mark in self.sea_level_marks]
        twice = sorted({kind for kind in kinds if kinds.count(kind) > 1})
        if twice:
            raise ValueError(f"sea_level_marks has the kind '{twice[0]}' twice")
        known = set(self.error_sources)
        for level in self.sea_levels:
            missing = sorted(set(level.error_sources) - known)
            if missing:
                raise ValueError(
                    f"sea level '{level.name}' rests on unknown error source {missing}"
                )
        return self

    @model_validator(mode="after")
    def _phases_differ(self) -> Site:
        names = [phase.casefold() for phase in self.phases]
        twice = next((phase for phase in self.phases if names.count(phase.casefold()) > 1), None)
        if twice is not None:
            raise ValueError(f"phases has '{twice}' twice (small and capital letters are one)")
        return self

    @model_validator(mode="after")
    def _links_hold(self) -> Site:
        zeros = [link.zero for link in self.height_links]
        if len(set(zeros)) < len(zeros):
            raise ValueError("two height_links are about the same zero")
        for link in self.height_links:
            if link.error_source not in self.error_sources:
                raise ValueError(
                    f"height link '{link.zero}' rests on unknown error source {link.error_source}"
                )
            self.links_from(link.zero)
        return self

    def links_from(self, zero: str) -> list[HeightLink]:
        """Return the links that lead from a zero to the site's datum.

        Raises
        ------
        ValueError
            When a link is missing, or they run in a circle.
        """
        by_zero = {link.zero: link for link in self.height_links}
        path: list[HeightLink] = []
        while zero != "site":
            if zero not in by_zero:
                known = ", ".join(["site", *by_zero])
                raise ValueError(f"no height link from '{zero}'; there are {known}")
            path.append(by_zero[zero])
            if len(path) > len(by_zero):
                raise ValueError(f"the height links from '{path[0].zero}' run in a circle")
            zero = by_zero[zero].above
        return path

    @property
    def depth_level(self) -> SeaLevel:
        """The sea level that depths count from."""
        return next(level for level in self.sea_levels if level.name == self.depths_below)

    @property
    def high_water_level(self) -> SeaLevel | None:
        """Today's high water, where the config names it."""
        return next((level for level in self.sea_levels if level.name == self.high_water), None)


class DepthGauge(Strict):
    """A diver's depth gauge: what it takes water to weigh, and how finely it shows depth."""

    assumed_density_kg_m3: Annotated[float, Field(ge=990, le=1060)] = Field(
        1020.0,
        description="Density of water for which the gauge shows true depths [kg/m³]; 1020 in "
        "EN 13319 (100 kPa to 9.98 m), about 1000 on gauges for fresh water.",
    )
    salinity: Annotated[float, Field(ge=0, le=42)] | None = Field(
        None, description="Practical salinity of the water; with temperature_c, or density_kg_m3."
    )
    salinity_sd: Annotated[float, Field(ge=0, le=20)] = Field(
        0.5, description="Standard uncertainty of the salinity, as a mean over the water column."
    )
    temperature_c: Annotated[float, Field(ge=-2, le=40)] | None = Field(
        None, description="Temperature of the water [°C]."
    )
    temperature_sd_c: Annotated[float, Field(ge=0, le=20)] = Field(
        1.0,
        description="Standard uncertainty of the temperature, as a mean over the water column "
        "[°C].",
    )
    density_kg_m3: Annotated[float, Field(ge=990, le=1060)] | None = Field(
        None,
        description="Density of the water as measured, in place of salinity and temperature "
        "[kg/m³].",
    )
    density_sd_kg_m3: Annotated[float, Field(gt=0, le=50)] | None = Field(
        None, description="Standard uncertainty of density_kg_m3 [kg/m³]."
    )
    display_step_m: Annotated[float, Field(gt=0, le=5)] = Field(
        description="Step in which the gauge shows depth [m]."
    )
    least_sd_m: Positive = Field(
        description="Standard uncertainty of one reading, below which none is believed [m]."
    )

    @model_validator(mode="after")
    def _density_is_known(self) -> DepthGauge:
        if (self.salinity is None) != (self.temperature_c is None):
            raise ValueError(
                "give both salinity and temperature_c, or density_kg_m3 in their place"
            )
        if (self.salinity is None) == (self.density_kg_m3 is None):
            raise ValueError("give either salinity and temperature_c, or density_kg_m3")
        if (self.density_kg_m3 is None) != (self.density_sd_kg_m3 is None):
            raise ValueError("density_kg_m3 needs its density_sd_kg_m3, and only it has one")
        return self


class Satellite(Strict):
    """What satellite positions are given in."""

    heights: Literal["ellipsoidal", "above_datum"] = Field(
        description="ellipsoidal: above the ellipsoid, so that vertical.zero must lead from there "
        "to the site's datum. above_datum: a geoid was already taken off."
    )
    frame: Text = Field(description="Reference frame, e.g. 'ITRF2014' or 'ETRS89'.")
    epoch_year: Annotated[float, Field(ge=1980, le=2200)] = Field(
        description="Epoch of the coordinates, in years."
    )


class Vertical(Strict):
    """How the file's vertical numbers are meant."""

    meaning: Literal["height", "depth_below_datum", "depth_below_water", "none"] = Field(
        description="height: up from a datum. depth_below_datum: down from a datum. "
        "depth_below_water: down from the water's surface at the time (needs water_level). "
        "none: the file has no heights."
    )
    unit: Unit = Field("metre", description="Unit of the file's vertical numbers.")
    zero: Text = Field(
        "site",
        description="Name of the zero that the file's numbers count from, one of "
        "site.yaml's height_links; 'site' is the site's own datum.",
    )
    datum_height_m: Number = Field(
        0.0, description="Height of the file's zero above the one named by `zero` [m]."
    )
    depth_gauge: DepthGauge | None = Field(
        None, description="Diver's depth gauge that the depths were read from."
    )
    water_level: str | None = Field(
        None, description="CSV of the water's level (columns time, level_m), for depth_below_water."
    )
    water_level_holds: WaterHolds = Field(
        "levels",
        description="levels: readings of the level as it stood, of any spacing. high_and_low: high "
        "and low waters in turn, with their times; between them the cosine curve is taken. "
        "mean_level: the same, where weather outweighs the tide; their mean level is taken.",
    )
    water_level_surge_sd_m: Annotated[float, Field(gt=0, le=10)] | None = Field(
        None,
        description="high_and_low and mean_level: how far weather holds the water off the level "
        "that the record tells, sd [m].",
    )
    water_level_sd_m: Sd = Field(
        0.0,
        description="What the record's own scatter can't tell, alike for the whole survey, sd: "
        "the gauge's calibration, the way from the gauge to the site, seiches shorter than twice "
        "the readings' spacing [m].",
    )
    clocks_sd_s: Annotated[float, Field(ge=0, le=43_200)] = Field(
        0.0,
        description="Difference between the soundings' clock and the gauge's, once their hours "
        "are taken off, sd [s].",
    )
    water_level_zero_m: Number = Field(
        0.0,
        description="Height of the gauge's zero above the zero named by `zero`, which is the "
        "site's datum when left out [m].",
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
        if self.depth_gauge is not None and self.meaning != "depth_below_water":
            raise ValueError("depth_gauge belongs to meaning 'depth_below_water'")
        return self

    @model_validator(mode="after")
    def _water_level_holds(self) -> Vertical:
        of_levels = self.water_level_holds == "levels"
        if self.water_level is None and not (
            of_levels and self.water_level_sd_m == 0 and self.clocks_sd_s == 0
        ):
            raise ValueError(
                "water_level_holds, water_level_sd_m and clocks_sd_s say nothing without a "
                "water_level"
            )
        if of_levels and self.water_level_surge_sd_m is not None:
            raise ValueError(
                "water_level_surge_sd_m belongs to water_level_holds 'high_and_low' or "
                "'mean_level': readings of the level hold the surge"
            )
        if not of_levels and self.water_level_surge_sd_m is None:
            raise ValueError(
                f"water_level_holds '{self.water_level_holds}' needs water_level_surge_sd_m: how "
                "far weather holds the water off that level"
            )
        return self


class LocalGridPoint(Strict):
    """One mark known in both the local grid and the site's CRS."""

    point: Text = Field(description="Name of the mark.")
    local: Point = Field(description="Its easting-like and northing-like numbers in the file.")
    site: Point | None = Field(
        None,
        description="Its easting and northing in the site's CRS [m]; those of config/control.csv "
        "when left out.",
    )


class LocalGrid(Strict):
    """A grid of the survey's own, fitted to the site's CRS by marks known in both."""

    method: Literal["similarity", "affine"] = Field(
        "similarity",
        description="similarity: one scale and one rotation (a grid laid out on the ground). "
        "affine: both axes of their own (pixels of a scan, paper that shrank); three marks fix it.",
    )
    points: list[LocalGridPoint] = Field(
        min_length=2, description="Marks known in both; two fix the fit, more give its error."
    )
    control_sd_m: Positive = Field(
        description="Standard uncertainty of a mark's position, per axis [m]."
    )

    @model_validator(mode="after")
    def _marks_fix_it(self) -> LocalGrid:
        names = [point.point for point in self.points]
        if len(set(names)) < len(names):
            raise ValueError("a mark stands twice among the points")
        if self.method == "affine" and len(self.points) < 3:
            raise ValueError("an affine fit needs three marks or more")
        first, *others = [point.local for point in self.points]
        spread = max(abs(x - first[0]) + abs(y - first[1]) for x, y in others)
        if spread == 0:
            raise ValueError("the marks all have the same local numbers")
        return self


class Columns(Strict):
    """Column names of a table (CSV, XYZ); for a file without header, numbers from 1."""

    easting: str | int = Field("easting", description="Column of eastings (or longitude).")
    northing: str | int = Field("northing", description="Column of northings (or latitude).")
    vertical: str | int = Field("height", description="Column of heights or depths.")
    time: str | int | None = Field(None, description="Column of times, where they are needed.")
    line: str | int | None = Field(None, description="Column of the survey's own line or item id.")
    sequence: str | int | None = Field(
        None, description="Column of a point's number along its line, for form coded_points."
    )
    code: str | int | None = Field(
        None, description="Column of the code by which points are told apart."
    )
    point: str | int | None = Field(None, description="Column of point names or numbers.")
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
    tilt_east_mm_per_m: Number = Field(
        0.0, description="Added to heights for every metre east of the pivot [mm per m]."
    )
    tilt_north_mm_per_m: Number = Field(
        0.0, description="Added to heights for every metre north of the pivot [mm per m]."
    )
    tilt_east_sd_mm_per_m: Sd = Field(
        0.0, description="Standard uncertainty of the tilt towards east [mm per m]."
    )
    tilt_north_sd_mm_per_m: Sd = Field(
        0.0, description="Standard uncertainty of the tilt towards north [mm per m]."
    )
    tilt_correlation: Annotated[float, Field(gt=-1, lt=1)] = Field(
        0.0, description="Correlation of the errors of the two tilts."
    )
    pivot: Point | None = Field(
        None,
        description="Easting and northing in the site's CRS where the tilt adds nothing; needed "
        "with a tilt [m].",
    )
    against: Text | None = Field(
        None,
        description="Survey of bed points, as `<season>-<name>`, that the correction was measured "
        "against: the survey's heights then rest on that one's named error sources too.",
    )
    rests_on: list[Name] = Field(
        default_factory=list,
        description="Further error sources whose shifts of height and tilts the corrected heights "
        "rest on; those of `against` are added by themselves.",
    )
    replaces: list[Name] = Field(
        default_factory=list,
        description="Error sources of the survey that the correction takes the place of: their "
        "shifts of height and tilts, not what they do to positions; water_level, water_clock and "
        "gauge_density are those that the fit adds by itself.",
    )
    why: Text = Field(description="Reason and who decided, for the record.")

    def at(self, easting: Any, northing: Any) -> Any:
        """Return what is added to heights at places: numbers or arrays [m]."""
        east, north = self.pivot or (0.0, 0.0)
        tilt = self.tilt_east_mm_per_m * (easting - east)
        return self.height_m + (tilt + self.tilt_north_mm_per_m * (northing - north)) / 1000

    @property
    def tilts(self) -> bool:
        """Whether there is a tilt, or an uncertainty of one."""
        return any(
            (
                self.tilt_east_mm_per_m,
                self.tilt_north_mm_per_m,
                self.tilt_east_sd_mm_per_m,
                self.tilt_north_sd_mm_per_m,
            )
        )

    @model_validator(mode="after")
    def _pivot_fits(self) -> AppliedOffset:
        if self.tilts and self.pivot is None:
            raise ValueError("a tilt needs its pivot, where it adds nothing")
        return self


class Survey(Strict):
    """One survey of a season: one file, one technique, one kind of content."""

    name: Name = Field(description="Short lasting name, unique within the season.")
    technique: Text = Field(description="Technique in words, e.g. 'total station'.")
    holds: Holds = Field(description="What the file holds.")
    file: Text = Field(description="The file, relative to the site's folder.")
    form: Form = Field(
        "drawn",
        description="How the file records it. drawn: coordinates as they are. coded_points: a "
        "table of points strung into lines. station_day: a total station's raw day. tape: "
        "distances, offsets, depths and bearings between named points. levelling: a level book.",
    )
    layer: str | None = Field(
        None, description="Layer of a file with several; sheet of a spreadsheet."
    )
    pick: list[Text] = Field(
        default_factory=list,
        description="Drawing layers of a DXF, or codes of a table, that belong to this survey; "
        "all when left out.",
    )
    unit: Unit | None = Field(
        None,
        description="Unit of the file's eastings and northings; the CRS's own when left out.",
    )
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
    pole_width_m: Annotated[float, Field(ge=0, le=0.5)] | None = Field(
        None,
        description="Wall lines along faces: width of the pole or reflector that was held against "
        "the face. Its axis was measured, half of this off the wall; 0 where the face itself was. "
        "Floors, wall bodies and footprints are corrected by it [m].",
    )
    pole_width_sd_m: Sd = Field(
        0.0,
        description="Standard uncertainty of it, twice the gap that was left included [m].",
    )
    old_plan: bool = Field(
        False,
        description="Wall lines: drawn on an older plan. Their evidence is `old plan`, and they "
        "give way wherever a better survey has recorded the wall since.",
    )
    resolution_m: Positive | None = Field(
        None, description="Least thing that the survey would have shown [m]."
    )
    least_cell_m: Positive | None = Field(
        None,
        description="Bed points: cells finer than this tell nothing more, since soundings within a "
        "beam's footprint are not independent; half the least thing that it would have shown (IHO "
        "S-44, annex D). The surface has the site's cell, or as many times that [m].",
    )
    applied_offset: AppliedOffset | None = Field(
        None, description="A vertical correction that a person decided on."
    )
    looked_at: str | None = Field(
        None,
        description="Polygon file of the ground that was looked at, in the site's CRS or one that "
        "it names; or a raster, such as the mosaic that walls were traced from: its cells with a "
        "value.",
    )
    swim_lines: str | None = Field(
        None,
        description="Line file of the way that was swum, in the site's CRS or one that it names; "
        "with swim_reach_m it states the ground looked at, beside looked_at.",
    )
    swim_reach_m: Positive | None = Field(
        None,
        description="How far to either side of swim_lines was looked; never further than "
        "visibility_m [m].",
    )
    visibility_m: Positive | None = Field(
        None, description="How far one could see in the water, at the worst of the survey [m]."
    )
    plant_cover: Annotated[float, Field(ge=0, le=1)] | str | None = Field(
        None,
        description="Share of the ground that plants cover, 0 to 1, alike everywhere; or a polygon "
        "file of where they grow, with a column share (all of it where there is none).",
    )
    satellite: Satellite | None = Field(
        None, description="Frame and epoch, where positions come from satellites."
    )
    accepted: dict[Name, Text] = Field(
        default_factory=dict,
        description="Kinds of suspicion that a person has looked into, each with the reason why "
        "the data are right.",
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
        if meaning == "none" and self.holds in ("floor_points", "probes", *POINT_HOLDS):
            raise ValueError(f"{self.holds} say nothing without heights: meaning is 'none'")
        if meaning == "depth_below_water" and self.holds != "bed_points":
            raise ValueError("depth_below_water is read for bed_points alone")
        if meaning == "depth_below_water" and self.columns.time is None:
            raise ValueError("depth_below_water needs columns.time, to know the water's level")
        return self

    @model_validator(mode="after")
    def _swim_fits(self) -> Survey:
        if (self.swim_lines is None) != (self.swim_reach_m is None):
            raise ValueError(
                "swim_lines needs swim_reach_m, how far to either side was looked, and only it "
                "has one"
            )
        if isinstance(self.plant_cover, str) and self.plant_cover.lstrip("-").isdecimal():
            raise ValueError(
                f"plant_cover {self.plant_cover} is no share: 0 to 1, or a file of polygons"
            )
        return self

    @model_validator(mode="after")
    def _offset_fits(self) -> Survey:
        offset = self.applied_offset
        if offset and self.holds not in POINT_HOLDS and (offset.tilts or offset.against):
            raise ValueError(
                f"applied_offset: tilt and against are for bed points alone, not for {self.holds}"
            )
        return self

    @model_validator(mode="after")
    def _pole_fits(self) -> Survey:
        if self.pole_width_m is None and self.pole_width_sd_m:
            raise ValueError("pole_width_sd_m says nothing without pole_width_m")
        if self.pole_width_m is not None and self.holds != "wall_lines":
            raise ValueError(f"pole_width_m is for wall_lines alone, not for {self.holds}")
        if self.pole_width_m is not None and self.line_follows == "centre":
            raise ValueError(
                "pole_width_m is for lines along faces: a pole on a wall's centre isn't beside it"
            )
        return self

    @model_validator(mode="after")
    def _form_fits(self) -> Survey:
        if self.form != "drawn" and self.holds not in VECTOR_HOLDS[:-1]:
            raise ValueError(f"{self.holds} are read in the form 'drawn' alone")
        if self.form in OBSERVED and self.local_grid is not None:
            raise ValueError(f"form {self.form} takes its places from config/control.csv: give crs")
        if (
            self.satellite
            and self.satellite.heights == "ellipsoidal"
            and (self.vertical.zero == "site" and self.vertical.meaning == "height")
        ):
            raise ValueError(
                "ellipsoidal heights need vertical.zero, with a height link to the site's datum"
            )
        return self

    @property
    def ground_files(self) -> list[str]:
        """Files that state where was looked and where plants grow."""
        files = (self.looked_at, self.swim_lines, self.plant_cover)
        return [file for file in files if isinstance(file, str)]

    @property
    def resting_on(self) -> list[str]:
        """Names of all error sources that its errors are stated by, its correction's included."""
        offset = self.applied_offset
        return list(dict.fromkeys([*self.error_sources, *(offset.rests_on if offset else ())]))

    @property
    def lacks_pole_width(self) -> bool:
        """Whether its wall faces were most likely traced with a pole of unstated width.

        A total station's day and coded points are such, and a technique that names a pole.
        """
        words = self.technique.lower()
        named = any(word in words for word in POLE_WORDS) and "photo" not in words
        poled = self.form in POLE_FORMS or named
        traced = self.holds == "wall_lines" and self.line_follows != "centre" and not self.old_plan
        return traced and poled and self.pole_width_m is None


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


class Translation(Strict):
    """`config/languages/<code>.yaml`: what the sheets say in another language."""

    language: Text = Field(description="Name of the language, as it calls itself.")
    decimal_mark: Literal[".", ","] = Field(
        ".", description="What stands between a number's whole part and its decimals."
    )
    date_pattern: Text = Field(
        "YYYY-MM-DD", description="How a day is written, with YYYY, MM and DD once each."
    )
    font: Text | None = Field(
        None,
        description="TrueType font (.ttf) that holds the language's letters, relative to config/; "
        "DejaVu Sans when left out.",
    )
    words: dict[str, Text] = Field(
        default_factory=dict,
        description="Translations of the sheets' phrases, by key; those left out stay English.",
    )
    own: dict[str, Text] = Field(
        default_factory=dict,
        description="Translations of the site's own texts (its name, its phases, kinds of feature "
        "…), by the text itself; those left out stay as they are.",
    )

    @field_validator("words", "own", mode="before")
    @classmethod
    def _empty_blocks(cls, value: Any) -> Any:
        """Take a block whose lines are all comments for an empty one."""
        return {} if value is None else value

    @model_validator(mode="after")
    def _days_can_be_read(self) -> Translation:
        if any(self.date_pattern.count(part) != 1 for part in ("YYYY", "MM", "DD")):
            raise ValueError("date_pattern needs YYYY, MM and DD, each once, as in DD.MM.YYYY")
        return self


class ControlValue(Strict):
    """A row of `config/control.csv`: one mark's place and height, as it held for some time."""

    point: Text = Field(description="Name of the mark, the same in every row and file.")
    easting: Number = Field(description="Easting in the site's CRS [m].")
    northing: Number = Field(description="Northing in the site's CRS [m].")
    height: Number | None = Field(
        None, description="Height above the site's datum [m]; empty where it has none."
    )
    sd_m: Positive = Field(description="Standard uncertainty of easting and of northing [m].")
    height_sd_m: Positive | None = Field(
        None, description="Standard uncertainty of the height [m]; sd_m when empty."
    )
    from_date: dt.date | None = Field(None, description="First day on which the values hold.")
    to_date: dt.date | None = Field(None, description="Last day on which the values hold.")
    method: str = Field("", description="How it was measured, in words.")
    fate: Literal["stands", "moved", "lost", "re-levelled"] = Field(
        "stands",
        description="What became of the mark at the end of that time; of a mark that moved, was "
        "lost or re-levelled, to_date is needed.",
    )
    note: str = Field("", description="Anything a reader should know.")

    @model_validator(mode="after")
    def _time_holds(self) -> ControlValue:
        if self.fate != "stands" and self.to_date is None:
            raise ValueError(f"a mark that is '{self.fate}' needs the last day on which it held")
        if self.from_date and self.to_date and self.to_date < self.from_date:
            raise ValueError(f"to_date {self.to_date} lies before from_date {self.from_date}")
        return self

    def holds_on(self, first: dt.date, last: dt.date) -> bool:
        """Tell whether the values hold on any day from `first` to `last`."""
        return (self.from_date is None or self.from_date <= last) and (
            self.to_date is None or self.to_date >= first
        )


class Correction(Strict):
    """A row of `config/corrections.csv`: one cell of a raw file, put right by a person."""

    file: Text = Field(description="The raw file, as its survey's `file` has it.")
    row: Annotated[int, Field(ge=1)] = Field(
        description="Row of a table (the header is row 1), or number of a feature from 1."
    )
    column: Text = Field(description="Column's name, or its number from 1.")
    was: str = Field("", description="What stands in the file; the correction is refused if not.")
    becomes: str = Field("", alias="is", description="What it is to be read as.")
    why: Text = Field(description="Reason, e.g. 'field book p. 14'.")
    who: Text = Field(description="Who decided.")
    when: dt.date = Field(description="Day of the decision.")


class Interpretation(Strict):
    """A row of `config/interpretations.csv`: what somebody reads a thing as, and why."""

    number: str = Field("", description="Lasting number of the thing, e.g. R051-038; or its place:")
    easting: Number | None = Field(None, description="Easting of a place in or on it [m].")
    northing: Number | None = Field(None, description="Northing of a place in or on it [m].")
    what: Literal["room", "building", "wall", "opening", "feature"] = Field(
        description="What sort of thing it is about."
    )
    reading: Text = Field(description="What it is read as, e.g. dwelling, store.")
    certainty: Literal["possible", "probable", "certain"] = Field(
        description="How sure the reader is, in the reader's own word."
    )
    who: Text = Field(description="Who reads it so.")
    when: dt.date = Field(description="Day of the reading.")
    why: Text = Field(description="On what grounds.")
    evidence: str = Field("", description="Where the grounds can be looked up.")
    phase: str = Field("", description="Phase that the reading is about; empty: all or not known.")

    @model_validator(mode="after")
    def _tied(self) -> Interpretation:
        placed = self.easting is not None and self.northing is not None
        if not self.number and not placed:
            raise ValueError("either a number, or easting and northing, to tie it to a thing")
        return self


class GivenNumber(Strict):
    """A row of `config/numbers.csv`: a number that stands in print, and what it belongs to."""

    number: Annotated[Text, StringConstraints(pattern=r"^[^;,]+$")] = Field(
        description="The number as it stands in print; no comma and no semicolon in it."
    )
    what: Literal["room", "building", "wall", "opening", "feature"] = Field(
        description="What sort of thing bears it."
    )
    easting: Number = Field(description="Easting of a place in or on it [m].")
    northing: Number = Field(description="Northing of a place in or on it [m].")
    season: Name = Field(description="Season on whose plan, or in which, it was given.")
    series: str = Field(
        "",
        description="Whose numbers these are, e.g. 'plan of 1986'; empty: the record's own, which "
        "the thing then bears for good.",
    )
    outline: str = Field(
        "", description="Outline of the thing as well-known text; empty: its place alone ties it."
    )
    note: str = Field("", description="Where it stands: sheet, bag, page.")


class Phasing(Strict):
    """A row of `config/phases.csv`: when a wall stood, how it meets another, or both."""

    line: str = Field("", description="The wall, as survey:line, e.g. 2031-walls:17; or its place:")
    easting: Number | None = Field(None, description="Easting of a place on the wall [m].")
    northing: Number | None = Field(None, description="Northing of a place on the wall [m].")
    phase_from: str = Field(
        "", description="First phase in which it stood, one of site.yaml's; empty: not known."
    )
    phase_to: str = Field("", description="Last phase in which it stood; empty: not known.")
    joint: Literal["bonded", "abuts", "overlies", "blocks"] | None = Field(
        None, description="What the wall does where it meets the other one."
    )
    other_line: str = Field("", description="The wall that the joint is with, or its place:")
    other_easting: Number | None = Field(None, description="Easting of a place on that wall [m].")
    other_northing: Number | None = Field(None, description="Northing of a place on that wall [m].")
    who: Text = Field(description="Who saw it so.")
    date: dt.date = Field(description="Day on which it was seen or decided.")
    note: str = Field("", description="Grounds, and anything a reader should know.")

    @property
    def place(self) -> Point | None:
        """A place on the wall (easting, northing) [m]; none where a line names it."""
        return _point(self.easting, self.northing)

    @property
    def other_place(self) -> Point | None:
        """A place on the other wall (easting, northing) [m]; none where a line names it."""
        return _point(self.other_easting, self.other_northing)


class Decision(Strict):
    """A row of `config/decisions.csv`: what the team decided about the joined plan at a place."""

    decision: Literal["confirm", "forbid", "draw", "split", "merge", "open_ground"] = Field(
        description="confirm, forbid: the closing nearest to the place. draw: a closing from place "
        "to place. split: the room, along the line. merge: the rooms that hold the two places. "
        "open_ground: the space that holds the place is no room."
    )
    easting: Number = Field(description="Easting of the place [m].")
    northing: Number = Field(description="Northing of the place [m].")
    to_easting: Number | None = Field(None, description="Easting of the second place [m].")
    to_northing: Number | None = Field(None, description="Northing of the second place [m].")
    who: Text = Field(description="Who decided.")
    date: dt.date = Field(description="Day of the decision.")
    why: Text = Field(description="On what grounds.")

    @property
    def place(self) -> Point:
        """The place (easting, northing) [m]."""
        return self.easting, self.northing

    @property
    def to_place(self) -> Point | None:
        """The second place (easting, northing) [m]; none where the decision has one place."""
        return _point(self.to_easting, self.to_northing)


def _point(easting: float | None, northing: float | None) -> Point | None:
    return None if easting is None or northing is None else (easting, northing)


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
    "pole_width_m": None,
    "pole_width_sd_m": 0.0,
    "resolution_m": None,
    "least_cell_m": None,
    "looked_at": None,
    "swim_lines": None,
    "swim_reach_m": None,
    "visibility_m": None,
    "plant_cover": None,
    "old_plan": False,
    "note": "",
}
NEUTRAL_WATER: dict[str, Any] = {
    "depth_gauge": None,
    "water_level_sd_m": 0.0,
    "clocks_sd_s": 0.0,
}
NEUTRAL_SITE: dict[str, Any] = {
    "name": "-",
    "public_name": "",
    "credit": "",
    "demo": None,
    "seabed": SeabedSettings(),
    "high_water": None,
    "occupied": None,
    "sea_level_marks": [],
    "phases": [],
    "sheets": {},
    "title_block": TitleBlock(),
}


UNSUMMARISED = (
    "credit",
    "demo",
    "seabed",
    "sheets",
    "title_block",
    "name",
    "public_name",
    "phases",
)


def for_reading(survey: Survey) -> Survey:
    """Return a survey with what reading its file doesn't use at one neutral value.

    Rules hand such parts to steps, so that a change re-runs only the steps that it touches.
    """
    traits = {**NEUTRAL_TRAITS, "looked_at": survey.looked_at, "satellite": None}
    traits["swim_lines"] = survey.swim_lines
    traits["swim_reach_m"] = None if survey.swim_lines is None else 1.0
    traits["plant_cover"] = survey.plant_cover if isinstance(survey.plant_cover, str) else None
    traits["vertical"] = survey.vertical.model_copy(update=NEUTRAL_WATER)
    errors = {} if survey.form in OBSERVED else NEUTRAL_ERRORS
    return survey.model_copy(update={**errors, **traits})


def for_fitting(survey: Survey) -> Survey:
    """Return a survey with what placing it and stating its errors doesn't use neutral."""
    reading: dict[str, Any] = {
        "technique": "-",
        "layer": None,
        "wall_thickness_m": None,
        "pick": [],
        "accepted": {},
    }
    return survey.model_copy(update={**NEUTRAL_TRAITS, **reading, "wall_thickness_sd_m": 0.0})


def for_placing(site: Site) -> Site:
    """Return a site with its CRS, origin and error sources alone."""
    level = SeaLevel(name="datum", height_m=0.0, sd_m=0.0)
    plain = {"walls": WallSettings(), "rooms": RoomSettings(), "vertical_datum": "-"}
    return site.model_copy(
        update={**NEUTRAL_SITE, **plain, "sea_levels": [level], "depths_below": "datum"}
    )


def for_checking(site: Site) -> Site:
    """Return a site with what the checks of all surveys read: places, levels and error sources."""
    seabed = SeabedSettings(cell_m=site.seabed.cell_m)
    plain = {"walls": WallSettings(), "rooms": RoomSettings(), "seabed": seabed}
    return site.model_copy(update={**NEUTRAL_SITE, **plain, "name": site.name})


def without_note(survey: Survey) -> Survey:
    """Return a survey without what only readers of the record use of it."""
    return survey.model_copy(update={"note": ""})


def for_levels(site: Site) -> Site:
    """Return a site with its sea levels and what they rest on, for the lines on the seabed."""
    plain = {"walls": WallSettings(), "rooms": RoomSettings(), "vertical_datum": "-"}
    part = site.model_copy(update={**NEUTRAL_SITE, **plain, "height_links": []})
    return _with_own_sources(part)


def for_measuring(site: Site) -> Site:
    """Return a site with what rooms are measured by: no seabed settings, one sea level."""
    plain = {"sea_levels": [site.depth_level], "vertical_datum": "-", "height_links": []}
    return _with_own_sources(site.model_copy(update={**NEUTRAL_SITE, **plain}))


def for_summary(site: Site) -> Site:
    """Return a site with what its summary reads: levels, marks, years, error sources, walls."""
    plain = {"vertical_datum": "-", "rooms": RoomSettings(), "height_links": []}
    part = site.model_copy(update={**plain, **{key: NEUTRAL_SITE[key] for key in UNSUMMARISED}})
    return _with_own_sources(part)


SHEET_TRAITS = (
    "technique",
    "holds",
    "from_date",
    "to_date",
    "random_horizontal_sd_m",
    "patchy_horizontal_sd_m",
)
"""What plan sheets print of a survey."""


def for_sheets(site: Site) -> Site:
    """Return a site with what its plan sheets print: names, levels, phases, title block."""
    plain = {"walls": WallSettings(), "rooms": RoomSettings(), "height_links": [], "sheets": {}}
    levels = [level.model_copy(update={"error_sources": []}) for level in site.sea_levels]
    kept = ("name", "public_name", "credit", "phases", "title_block")
    update = {key: value for key, value in NEUTRAL_SITE.items() if key not in kept}
    whole = {**update, **plain, "sea_levels": levels, "error_sources": {}}
    return site.model_copy(update=whole)


def _with_own_sources(site: Site) -> Site:
    """Return a site with those sources of error alone that its sea levels rest on."""
    names = {name for level in site.sea_levels for name in level.error_sources}
    sources = {name: part for name, part in site.error_sources.items() if name in names}
    return site.model_copy(update={"error_sources": sources})


def to_json(part: Strict) -> str:
    """Return one config part as canonical JSON, the form in which rules hand it to steps."""
    return part.model_dump_json()


def list_to_json(parts: Sequence[Strict]) -> list[str]:
    """Return config parts as canonical JSON, in the order given."""
    return [to_json(part) for part in parts]
