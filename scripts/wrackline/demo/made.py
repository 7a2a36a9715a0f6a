"""What is surveyed of the truth, how, and with which real errors: a part of the truth file."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field

from wrackline.model import Name, Number, Point, Positive, Strict, Text

Makes = Literal[
    "wall_faces",
    "wall_centres",
    "plan_walls",
    "plan_depths",
    "station_day",
    "coded_points",
    "tape_book",
    "level_book",
    "soundings",
    "swath",
    "bed_poles",
    "floors",
    "probes",
    "features",
    "details",
    "trench_outlines",
    "finds",
    "photo_heights",
    "mosaic",
    "ground_traced",
    "swum",
    "plants_drawn",
]


class Misfortune(Strict):
    """How far a named source of error really is off, unknown to the survey team."""

    easting_m: Number = Field(0.0, description="Shift in easting [m].")
    northing_m: Number = Field(0.0, description="Shift in northing [m].")
    height_m: Number = Field(0.0, description="Shift in height [m].")
    rotation_deg: Number = Field(0.0, description="Clockwise turn about the pivot [degrees].")
    scale_ppm: Number = Field(0.0, description="Scale from the pivot [parts per million].")
    tilt_mm_per_m: Number = Field(0.0, description="Tilt about the pivot [mm per m].")
    tilt_azimuth_deg: Number = Field(0.0, description="Way of the tilt's rise [degrees].")
    pivot: Point = Field((0.0, 0.0), description="What stays put, east and north [m].")


class Sizes(Strict):
    """Real sizes of a survey's errors, as standard deviations."""

    random_horizontal_m: Number = Field(ge=0, description="Position, point to point [m].")
    random_vertical_m: Number = Field(ge=0, description="Height, point to point [m].")
    patchy_horizontal_m: Number = Field(0.0, ge=0, description="Position, patch by patch [m].")
    patchy_vertical_m: Number = Field(0.0, ge=0, description="Height, patch by patch [m].")
    patchy_distance_m: Number = Field(0.0, ge=0, description="Reach of a patch [m].")
    named: list[Name] = Field(default_factory=list, description="Misfortunes it suffers.")


class Mark(Strict):
    """A mark of the control, where it truly is; `config/control.csv` has what is believed."""

    at: Point = Field(description="East and north of the south-west corner [m].")
    height_m: Number = Field(description="Height of its top [m].")


class PlanGrid(Strict):
    """The grid of an old plan: its own zero, north and unit."""

    zero: Point = Field(description="Where its zero lies, east and north [m].")
    azimuth_grid_deg: Number = Field(description="Grid azimuth of its north [degrees].")
    unit_m: Positive = Field(description="Metres of its unit [m].")


class Staff(Strict):
    """A tide staff, read by eye beside a survey: the survey's own record of the water."""

    file: Text = Field(description="Its record, relative to the site's folder.")
    zero_m: Number = Field(description="Height of its zero [m].")
    random_m: Number = Field(ge=0, description="How far a reading is off, as an sd [m].")
    every_min: Positive = Field(15.0, description="From reading to reading [min].")


class Made(Strict):
    """One survey file of the demo."""

    makes: Makes = Field(description="What is measured.")
    file: Text = Field(description="File written, relative to the site's folder.")
    errors: Sizes = Field(description="Real sizes of its errors.")
    area: tuple[Number, Number, Number, Number] | None = Field(
        None, description="West, south, east and north edge; all of the site if left out [m]."
    )
    part: tuple[Number, Number, Number, Number] | None = Field(
        None, description="The same as shares of the extent, 0 to 1; scales with the site."
    )
    again: bool = Field(False, description="Whether walls traced by others are traced again.")
    plan_grid: PlanGrid | None = Field(None, description="Old plans: their own grid.")
    decimal: Literal[".", ","] = Field(".", description="Tables: decimal mark.")
    display_step_m: Number = Field(0.0, ge=0, description="Depths: step of the display [m].")
    shows_times: Positive = Field(1.0, description="Depths: shown for each metre of true depth.")
    heights_above_m: Number = Field(0.0, description="Tables: height of the zero they count from.")
    marks: list[Text] = Field(default_factory=list, description="Field books: marks used.")
    every_m: Positive = Field(0.5, description="From point to point along a line [m].")
    apart_m: Positive = Field(2.0, description="From line to line [m].")
    per_m2: Positive = Field(10.0, description="Points of a swath per square metre.")
    ends_miss_m: Number = Field(0.0, ge=0, description="Traced ends miss corners by up to [m].")
    pole_width_m: Number = Field(0.0, ge=0, description="Width of the pole held to faces [m].")
    bed: Literal["first", "moved"] = Field(
        "first", description="Which bed it met: as it first was, or after sand had moved."
    )
    shows_walls: bool = Field(False, description="Whether soundings meet wall tops.")
    starts: dt.datetime | None = Field(None, description="First sounding, by its own clock.")
    staff: Staff | None = Field(None, description="Soundings: a record of their own day.")
    declination_deg: Number | None = Field(
        None,
        description="Tape books: bearings are read too, so far does north pull east [degrees].",
    )
    clock_ahead_of_utc_h: Number = Field(0.0, description="Hours its clock is ahead [h].")


class Water(Strict):
    """The water's surface while soundings were taken, and the gauge that recorded it."""

    file: Text = Field(description="The gauge's record, relative to the site's folder.")
    mean_m: Number = Field(description="Mean height of the surface [m].")
    range_m: Number = Field(ge=0, description="From low to high water [m].")
    period_h: Positive = Field(12.42, description="From one high water to the next [h].")
    high_water: dt.datetime = Field(description="A time of high water, UTC.")
    gauge_zero_m: Number = Field(description="Height of the gauge's zero [m].")
    starts: dt.datetime = Field(description="First reading, UTC.")
    hours: Positive = Field(description="How long it was read [h].")
    every_min: Positive = Field(10.0, description="From reading to reading [min].")
