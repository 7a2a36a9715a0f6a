"""The products' fields: name, type, unit and meaning, in one place.

Steps write what is declared here, the publisher prints it as the field list beside the tables,
and tests hold the files to it. Types are those of `wrackline.vectors`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Field:
    """One field of a layer.

    Attributes
    ----------
    name : str
    kind : {"text", "real", "whole", "flag"}
    unit : str
        One of `UNITS`; empty for texts, counts and bare ratios.
    meaning : str
    words : tuple of str
        All words that can stand in it; empty where any may.
    """

    name: str
    kind: str
    unit: str
    meaning: str
    words: tuple[str, ...] = ()


UNITS = {
    "m": ("metre", "m", "m"),
    "m2": ("square metre", "m²", "m2"),
    "m3": ("cubic metre", "m³", "m3"),
    "deg": ("degree of arc", "°", "deg"),
}
"""Name, sign and code of each unit that ends a field's name (Unified Code for Units of Measure,
case sensitive)."""


WHY_NULL = Field("null_because", "text", "", "why fields of this row are empty, in words")
SURVEYS = Field("surveys", "text", "", "surveys that the figures rest on, separated by ;")
OTHER_NUMBERS = Field(
    "other_numbers",
    "text",
    "",
    "numbers that others gave to what lies there, as series: number, separated by ;",
)
READINGS = (
    Field(
        "reading",
        "text",
        "",
        "what the team reads it as, with certainty, reader and year, separated by ;",
    ),
    Field("reading_status", "text", "", "stands, or disputed where readers differ"),
)
TOLD_LATER = ("other_numbers", "reading", "reading_status")
"""Fields of numbered layers that the stage `rooms` leaves empty, since later stages know them."""
LINES = Field("lines", "text", "", "survey lines that it was drawn from, as survey/line or #row")


def _axis(of: str, span: str) -> tuple[Field, ...]:
    return (
        Field("axis_deg", "real", "deg", f"{of}, clockwise from true north, {span}"),
        Field("axis_sd_deg", "real", "deg", "its standard uncertainty"),
    )


def _measured(name: str, unit: str, meaning: str) -> tuple[Field, ...]:
    """Return a figure and its standard uncertainty, the unit standing last in both names."""
    stem = name.removesuffix(f"_{unit}")
    return (
        Field(name, "real", unit, meaning),
        Field(f"{stem}_sd_{unit}", "real", unit, f"standard uncertainty of {name}"),
    )


def _phases() -> tuple[Field, ...]:
    return (
        Field("phase_from", "text", "", "first phase, as the team says"),
        Field("phase_to", "text", "", "last phase, as the team says"),
    )


def _seasons() -> tuple[Field, ...]:
    return (
        Field("first_season", "text", "", "season in which it was first on the plan"),
        Field("last_season", "text", "", "last season whose surveys show it"),
    )


def _range(name: str, kind: str, meaning: str) -> tuple[Field, ...]:
    """Return the two ends of a range over plausible outlines, 2.5 to 97.5 % of them."""
    return (
        Field(f"{name}_low", kind, "", f"{meaning}: least, over the plausible outlines"),
        Field(f"{name}_high", kind, "", f"{meaning}: greatest, over the plausible outlines"),
    )


EVIDENCE = Field(
    "evidence",
    "text",
    "",
    "recorded, inferred (a closing) or old plan",
    ("recorded", "inferred", "old plan"),
)
SEEN_AS = ("seen", "buried", "overgrown", "lost", "could not be seen", "not looked for")
"""What a season's surveys can say of a stretch of wall."""

LAYERS: dict[str, tuple[Field, ...]] = {
    "wall_lines": (
        Field("wall", "text", "", "lasting number of the wall line"),
        OTHER_NUMBERS,
        *READINGS,
        EVIDENCE,
        Field(
            "closing",
            "text",
            "",
            "for an inferred line: joint, corner, extension, foot, doorway, lost (a lost "
            "stretch), drawn (by the team)",
            ("joint", "corner", "extension", "foot", "doorway", "lost", "drawn"),
        ),
        Field("gap_m", "real", "m", "for an inferred line: what it bridges"),
        Field(
            "support",
            "real",
            "",
            "for an inferred line: share of plausible outlines in which it parts two spaces, 0-1",
        ),
        Field(
            "line_follows",
            "text",
            "",
            "face, centre or edge of the wall",
            ("face", "centre", "edge"),
        ),
        Field(
            "traced_at",
            "text",
            "",
            "where heights were taken: top, bed or base",
            ("top", "bed", "base"),
        ),
        Field("length_m", "real", "m", "length on the ground"),
        *_axis("axis", "0-180"),
        *_measured("top_depth_m", "m", "mean depth of the wall's top as preserved"),
        *_measured("base_depth_m", "m", "mean depth of the wall's base"),
        *_phases(),
        SURVEYS,
        LINES,
        *_seasons(),
        WHY_NULL,
    ),
    "wall_bodies": (
        Field("wall", "text", "", "lasting numbers of the wall lines around it, separated by ;"),
        *_measured("thickness_m", "m", "mean thickness between faces"),
        EVIDENCE,
        *_phases(),
        SURVEYS,
        WHY_NULL,
    ),
    "openings": (
        Field("opening", "text", "", "lasting number"),
        OTHER_NUMBERS,
        *READINGS,
        *_measured("width_m", "m", "clear width between the ends recorded"),
        Field("joins", "text", "", "rooms on both sides, or outside, separated by ;"),
        Field(
            "evidence",
            "text",
            "",
            "seen (threshold or jamb recorded) or possible (a gap)",
            ("seen", "possible"),
        ),
        SURVEYS,
        *_seasons(),
        WHY_NULL,
    ),
    "rooms": (
        Field("room", "text", "", "lasting number"),
        OTHER_NUMBERS,
        *READINGS,
        Field("building", "text", "", "lasting number of its building"),
        Field(
            "kind",
            "text",
            "",
            "room, court, lane or unknown: a suggestion from size and shape",
            ("room", "court", "lane", "unknown"),
        ),
        *_measured("floor_area_m2", "m2", "area between wall faces, on the ground"),
        Field("centre_area_m2", "real", "m2", "area to wall centres, on the ground"),
        Field("perimeter_m", "real", "m", "outline of the floor, on the ground"),
        *_axis("long axis", "0-180"),
        Field("elongation", "real", "", "length over width of the smallest enclosing rectangle"),
        Field("bed_depth_m", "real", "m", "median depth of the seabed in it"),
        Field("bed_depth_min_m", "real", "m", "least depth of the seabed in it"),
        Field("bed_depth_max_m", "real", "m", "greatest depth of the seabed in it"),
        Field("bed_depth_sd_m", "real", "m", "standard uncertainty of bed_depth_m"),
        Field("bed_date", "text", "", "days on which the seabed in it was surveyed"),
        Field("bed_covered_share", "real", "", "share of the floor with a seabed height, 0-1"),
        *_measured("floor_depth_m", "m", "mean depth of the floor where it was met"),
        Field("floor_evidence", "text", "", "excavated, threshold, paving or probe"),
        Field("recorded_share", "real", "", "share of the outline that was recorded, 0-1"),
        Field("support", "real", "", "share of plausible outlines in which it stands, 0-1"),
        *_phases(),
        SURVEYS,
        LINES,
        *_seasons(),
        WHY_NULL,
    ),
    "buildings": (
        Field("building", "text", "", "lasting number"),
        OTHER_NUMBERS,
        *READINGS,
        Field("room_count", "whole", "", "rooms in it, courts left out"),
        *_measured("footprint_m2", "m2", "area to the outer lines recorded, on the ground"),
        *_axis("axis, right angles taken as the same", "0-90"),
        *_measured("top_depth_m", "m", "mean depth of its wall tops as preserved"),
        *_measured("bed_depth_m", "m", "median depth of the seabed in it"),
        *_measured("floor_depth_m", "m", "mean depth of the floors met in it"),
        Field("support", "real", "", "share of plausible outlines in which it stands, 0-1"),
        SURVEYS,
        *_seasons(),
        WHY_NULL,
    ),
    "features": (
        Field("feature", "text", "", "lasting number"),
        OTHER_NUMBERS,
        *READINGS,
        Field("kind", "text", "", "what it is, the team's word"),
        Field("origin", "text", "", "built, natural, doubtful or modern, the team's word"),
        Field("room", "text", "", "room in which it lies, if any"),
        *_measured("top_depth_m", "m", "mean depth of its top"),
        Field("base_depth_m", "real", "m", "mean depth of its base"),
        *_phases(),
        Field("survey", "text", "", "survey that recorded it"),
        Field("season", "text", "", "season of that survey"),
        Field("line", "text", "", "the survey's own number for it"),
        Field("note", "text", "", "the surveyor's note"),
        WHY_NULL,
    ),
    "spot_heights": (
        Field(
            "of",
            "text",
            "",
            "what it is the height of: wall top, wall base, floor or seabed, never two of them",
        ),
        Field(
            "thing",
            "text",
            "",
            "lasting number of the wall or the room; empty for open seabed, and a floor in no room",
        ),
        Field(
            "rank",
            "whole",
            "",
            "1 is put on a sheet first: points of one kind lie 20 m apart at least up to rank 1, "
            "10 m up to 2, 5 m up to 3, 2.5 m up to 4 (of the seabed the places wanted do, up to "
            "2 m beside it)",
        ),
        *_measured("height_m", "m", "height above the datum"),
        *_measured("depth_m", "m", "depth below the named sea level"),
        Field("easting_m", "real", "m", "where it was measured"),
        Field("northing_m", "real", "m", "where it was measured"),
        Field(
            "evidence",
            "text",
            "",
            "of a wall: recorded or old plan; of a floor: excavated, paving, threshold or probe; "
            "of the seabed: seabed model, a cell of it that holds soundings",
        ),
        Field(
            "survey",
            "text",
            "",
            "survey that it rests on, several separated by ;; of the seabed the one that counts "
            "most",
        ),
        Field("season", "text", "", "season of that survey, of several the last"),
    ),
    "trenches": (
        Field("trench", "text", "", "the team's name for it, or the row of its file"),
        *_measured("area_m2", "m2", "ground within its outline, on the ground"),
        Field("survey", "text", "", "survey of its outline"),
        Field("season", "text", "", "season of that survey"),
        Field("from_date", "text", "", "first day of that survey"),
        Field("to_date", "text", "", "last day of that survey"),
        Field("note", "text", "", "the surveyor's note"),
    ),
    "contours": (
        Field(
            "height_m",
            "real",
            "m",
            "height above the datum; lines are smoothed within the surface's sd, rings of less "
            "than 1 m2 and scraps shorter than 1 m left out",
        ),
        Field("depth_m", "real", "m", "depth below the named sea level"),
        Field("index", "flag", "", "drawn bolder: every fifth, or fourth where that is rounder"),
        Field(
            "label_easting_m",
            "real",
            "m",
            "where its height may be written; empty where it is no index contour, or under 4 m",
        ),
        Field("label_northing_m", "real", "m", "where its height may be written"),
        Field(
            "label_turn_deg", "real", "deg", "clockwise turn of a level text along it, in the grid"
        ),
    ),
    "seabed_change_areas": (
        Field("area", "text", "", "its number between these two seasons"),
        Field("earlier", "text", "", "earlier season"),
        Field("later", "text", "", "later season"),
        Field(
            "change",
            "text",
            "",
            "ground has come, or ground has gone",
            ("ground has come", "ground has gone"),
        ),
        Field("area_m2", "real", "m2", "its cells, on the ground"),
        Field("filled_share", "real", "", "share of its cells filled between soundings, 0-1"),
        *_measured(
            "mean_m",
            "m",
            "mean of later minus earlier height; as areas are chosen for being far from 0, it "
            "is rather too far from it",
        ),
        *_measured("volume_m3", "m3", "what came, or went where below 0"),
        Field(
            "p",
            "real",
            "",
            "probability of a mean as far from 0 by errors alone, at this place",
        ),
    ),
    "waterlines": (
        Field(
            "sea_level",
            "text",
            "",
            "named sea level where it meets today's seabed, which is no ancient shore: the bed has "
            "silted, worn and moved since",
        ),
        Field("height_m", "real", "m", "its height above the datum"),
        Field(
            "height_sd_m",
            "real",
            "m",
            "standard uncertainty of the level against the surface at this stretch, what both rest "
            "on cancelled; 1.96 of it up and down hold the level in 95 of 100 cases",
        ),
        Field("slope_deg", "real", "deg", "slope of the seabed within 5 m of the stretch's middle"),
        Field(
            "may_lie_off_m",
            "real",
            "m",
            "how far off the line may lie, across it: height_sd_m over the slope, one standard "
            "uncertainty",
        ),
        WHY_NULL,
    ),
    "sightings": (
        Field("wall", "text", "", "lasting number of the wall line"),
        Field("season", "text", "", "season whose surveys say it"),
        Field(
            "status",
            "text",
            "",
            "seen, buried, overgrown, lost, could not be seen, or not looked for: a suggestion "
            "from that season's surveys alone; none is taken off the plan by it",
            SEEN_AS,
        ),
        Field("length_m", "real", "m", "length of the stretch on the ground"),
        *_measured("exposure_m", "m", "how far the wall stands above the bed beside it"),
        *_measured("cover_m", "m", "how far the bed lies above the wall's recorded top"),
        *_measured(
            "loss_m",
            "m",
            "how far what stands falls short of the recorded top; of walls traced "
            "anew, of the top of this season",
        ),
        SURVEYS,
        Field("evidence", "text", "", "what the word rests on"),
        WHY_NULL,
    ),
    "wall_condition": (
        Field("wall", "text", "", "lasting number of the wall line"),
        Field("building", "text", "", "building that it is of; empty where it stands alone"),
        Field(
            "last_known",
            "text",
            "",
            "seen, buried, overgrown or lost, as the last season said that could tell; or nothing "
            "known: a suggestion",
            ("seen", "buried", "overgrown", "lost", "nothing known"),
        ),
        Field("known_in", "text", "", "that season"),
        Field("last_seen", "text", "", "last season in which it was truly seen; empty: in none"),
        Field("this_season", "text", "", "what the last season of all says of it", SEEN_AS),
        Field("length_m", "real", "m", "length of the stretch on the ground"),
    ),
    "surveys": (
        Field("survey", "text", "", "identifier"),
        Field("season", "text", "", "season"),
        Field("technique", "text", "", "technique"),
        Field("holds", "text", "", "what its file holds"),
        Field("from_date", "text", "", "first day"),
        Field("to_date", "text", "", "last day"),
        Field("file", "text", "", "file as delivered"),
        Field("sha256", "text", "", "checksum of the file"),
        Field("rows", "whole", "", "rows or features in it"),
        Field("used", "whole", "", "of them used"),
        Field("random_horizontal_sd_m", "real", "m", "stated, per axis"),
        Field("random_vertical_sd_m", "real", "m", "stated"),
        Field("patchy_horizontal_sd_m", "real", "m", "stated, per axis"),
        Field("patchy_vertical_sd_m", "real", "m", "stated"),
        Field("patchy_distance_m", "real", "m", "stated"),
        Field("error_sources", "text", "", "named error sources, separated by ;"),
        Field("resolution_m", "real", "m", "least thing that it would have shown, as stated"),
        Field("visibility_m", "real", "m", "how far one could see in the water, as stated"),
        Field(
            "pole_width_m",
            "real",
            "m",
            "width of the pole held against wall faces, as stated; lines lie half of it off them",
        ),
        Field("ground_looked_at", "text", "", "what the outline is: stated, or had from the data"),
        Field(
            "plant_cover_share",
            "real",
            "",
            "share of that ground that plants cover, as stated, 0-1",
        ),
        Field("used_for", "text", "", "products that rest on it"),
        WHY_NULL,
    ),
    "tracings": (
        Field("wall", "text", "", "lasting number of the wall line that it became part of"),
        Field("survey", "text", "", "survey that traced it"),
        Field("season", "text", "", "its season"),
        Field("line", "text", "", "the line as surveyed, as survey/line or #row"),
        Field("standing", "flag", "", "whether the wall stands by this line, or by a better one"),
        Field("weight", "real", "", "its mean share in the wall's place, 0-1"),
        Field("length_m", "real", "m", "how far it runs along the wall, on the ground"),
        *_measured(
            "off_m",
            "m",
            "mean offset from the wall as placed, + to the left of its line; lines of different "
            "faces, centres and poles brought together",
        ),
        Field(
            "disagrees",
            "flag",
            "",
            "whether it lies further off the line that stands than errors explain; such have no "
            "share; all walls are tested at one level, 5 in 100 sites name one wrongly",
        ),
        Field("why", "text", "", "why it disagrees, or has no share in the wall's place"),
        WHY_NULL,
    ),
}


TABLES: dict[str, tuple[Field, ...]] = {
    "interpretations": (
        Field("number", "text", "", "the thing that lies there now; empty where none does"),
        Field("what", "text", "", "room, building, wall, opening or feature"),
        Field("given", "text", "", "number that its reader gave, if any"),
        Field("easting", "real", "m", "place given, if any"),
        Field("northing", "real", "m", "place given, if any"),
        Field("reading", "text", "", "what it is read as, the reader's word"),
        Field("phase", "text", "", "phase that the reading is about"),
        Field("certainty", "text", "", "possible, probable or certain, the reader's word"),
        Field("who", "text", "", "who reads it so"),
        Field("when", "text", "", "day of the reading"),
        Field("why", "text", "", "on what grounds"),
        Field("evidence", "text", "", "where the grounds can be looked up"),
        Field("made_in", "text", "", "season on whose plan it was made"),
        Field(
            "status",
            "text",
            "",
            "stands; disputed: others read it otherwise; superseded: changed by its reader since; "
            "nothing there: no such thing is on the plan now",
        ),
        Field("review", "text", "", "why a person should look at it again; empty where none need"),
        Field("note", "text", "", "how it was tied, and the nearest thing where none lies there"),
    ),
    "changes": (
        Field("season", "text", "", "season whose plan shows the change"),
        Field("what", "text", "", "room, building, wall, opening or feature"),
        Field(
            "event",
            "text",
            "",
            "new; split; merged; redrawn: another outline took its place; gone: no longer on the "
            "plan; found again; reshaped; re-read: of another kind now; renumbered: a number in "
            "print took the place of its own; lost, buried, overgrown, uncovered, seen again: most "
            "of its walls, as the season suggests",
        ),
        Field(
            "number", "text", "", "of the thing; of a split the parent's, of a merger the child's"
        ),
        Field("parents", "text", "", "what it was made of, separated by ;"),
        Field("children", "text", "", "what became of it, separated by ;"),
        Field(
            "share",
            "real",
            "",
            "how alike its outlines before and now are, laid upon each other, 0-1",
        ),
        Field("why", "text", "", "what tells of the change"),
    ),
    "figures_moved": (
        Field("what", "text", "", "room, building, wall, opening or feature"),
        Field("number", "text", "", "lasting number"),
        Field("figure", "text", "", "field that moved; its unit ends its name"),
        Field("before", "real", "", "the figure on the plan of the season before"),
        Field("before_sd", "real", "", "its standard uncertainty then"),
        Field("now", "real", "", "the figure on this season's plan"),
        Field("now_sd", "real", "", "its standard uncertainty now"),
        Field(
            "moved_by",
            "real",
            "",
            "now less before; of an axis the lesser turn, of rooms and buildings within 45 degrees",
        ),
        Field(
            "times_sd", "real", "", "moved_by over before_sd, without its sign; over 1 in all rows"
        ),
    ),
    "to_decide": (
        Field("rank", "whole", "", "what settles most floor first"),
        Field("question", "text", "", "what a person should decide"),
        Field("number", "text", "", "the thing that it is about"),
        Field("easting", "real", "m", "where it is"),
        Field("northing", "real", "m", "where it is"),
        Field("settles", "text", "", "what the answer settles"),
        Field(
            "floor_m2",
            "real",
            "m2",
            "floor of the rooms of which it settles something, as far as it is in doubt",
        ),
        Field("answer_in", "text", "", "file in which the answer is written"),
    ),
    "concordance": (
        Field("what", "text", "", "room, building, wall, opening or feature"),
        Field("series", "text", "", "whose number it is; empty: the record's own"),
        Field("number", "text", "", "the number, as it stands in print"),
        Field("printed", "text", "", "season in which it was put in print; empty: not yet"),
        Field("first_season", "text", "", "season in which its thing was first on the plan"),
        Field("last_season", "text", "", "last season in which it was on the plan"),
        Field("now", "text", "", "what bears it, or came of its thing, on the plan as now known"),
        Field(
            "state",
            "text",
            "",
            "stands; split, merged, redrawn or renumbered: now names what came of it; gone; "
            "nothing there: nothing on the plan lies at the place given",
        ),
        Field("note", "text", "", "where it stands in print, as config/numbers.csv has it"),
    ),
    "set_aside": (
        Field("survey", "text", "", "the survey of bed points"),
        Field("number", "text", "", "name of a block, from its place; empty for a lone sounding"),
        Field("what", "text", "", "lone sounding; layer above or below the bed; patch"),
        Field("easting", "real", "m", "of the sounding, or of the block's middle"),
        Field("northing", "real", "m", "of the sounding, or of the block's middle"),
        Field("height_m", "real", "m", "of a lone sounding, above the datum"),
        Field("off_m", "real", "m", "how far it lay from the bed there, up"),
        Field("points", "whole", "", "soundings set aside"),
        Field("area_m2", "real", "m2", "of a block"),
        Field(
            "in_surface",
            "flag",
            "",
            "whether it stands in the surface all the same: too little around it is known",
        ),
        Field("file", "text", "", "raw file"),
        Field("row", "whole", "", "row of the raw file, where that is a table"),
    ),
    "levels": (
        Field("sea_level", "text", "", "name of the level, as waterlines have it"),
        *_measured("height_m", "m", "its height above the datum"),
        Field("error_sources", "text", "", "named error sources in its sd, separated by ;"),
        Field("from_year", "whole", "", "first year, astronomical: 0 is 1 BCE; empty: today's"),
        Field("to_year", "whole", "", "last year, astronomical"),
        Field("age_from", "text", "", "first year, as people write it"),
        Field("age_to", "text", "", "last year, as people write it"),
        Field("basis", "text", "", "what the level and its years rest on, the team's word"),
        Field("gauge", "text", "", "gauge that it was worked out from"),
        Field("gauge_years", "text", "", "years of that gauge's record"),
        Field("used_as", "text", "", "whether depths count from it, or it is today's high water"),
        WHY_NULL,
    ),
    "sea_level": (
        Field("structure", "text", "", "lasting number, or survey/point of a floor in no room"),
        Field("what", "text", "", "its kind; floor for a floor that was met"),
        Field("building", "text", "", "building in which it lies, if any"),
        Field("room", "text", "", "room in which it lies, if any"),
        Field("part_measured", "text", "", "part of it whose height was taken"),
        Field(
            "indication",
            "text",
            "",
            "terrestrial limiting, marine limiting, index point, or none: not used",
        ),
        Field(
            "statement",
            "text",
            "",
            "what it says of the sea level of its time, land moved since included, in words",
        ),
        Field("relative_to", "text", "", "today's level that elevations and sea levels count from"),
        *_measured("height_m", "m", "height of that part above the datum"),
        *_measured(
            "elevation_m",
            "m",
            "its height above relative_to: for a limiting point a bound, no level",
        ),
        *_measured(
            "clearance_above_high_water_m", "m", "its height above today's named high water"
        ),
        Field("lower_limit_m", "real", "m", "index: least height above sea level in use, Ll"),
        Field("upper_limit_m", "real", "m", "index: greatest height above sea level in use, Ul"),
        Field("reference_water_level_m", "real", "m", "index: RWL = (Ul + Ll) / 2"),
        Field("indicative_range_m", "real", "m", "index: IR = Ul - Ll"),
        *_measured("sea_level_m", "m", "index: RSL = elevation_m - RWL, above relative_to"),
        Field("from_year", "whole", "", "first year, astronomical: 0 is 1 BCE"),
        Field("to_year", "whole", "", "last year, astronomical"),
        Field("age_from", "text", "", "first year, as people write it"),
        Field("age_to", "text", "", "last year, as people write it"),
        Field("age_basis", "text", "", "what the years rest on, the team's word"),
        Field("meaning_basis", "text", "", "what the indication rests on"),
        Field("evidence", "text", "", "how a floor was met; recorded for a feature"),
        SURVEYS,
        WHY_NULL,
    ),
    "flooding": (
        Field("building", "text", "", "lasting number of the building"),
        Field("room", "text", "", "room whose floor it is about; empty for the building as such"),
        Field("sea_level", "text", "", "named sea level: still water, no waves and no surge"),
        *_measured("sea_level_m", "m", "its height above the datum"),
        Field(
            "probability",
            "real",
            "",
            "that the level lies above the floor as it lies today, 0-1; nothing on why it does, "
            "nor on whether it did when the building was in use",
        ),
        Field("rests_on", "text", "", "the floor or threshold: for a building the lowest measured"),
        Field("floors_measured", "whole", "", "floors and thresholds measured in it"),
        *_measured("floor_height_m", "m", "height of that floor or threshold above the datum"),
        *_measured(
            "level_above_floor_m", "m", "level less floor, what both rest on cancelled in its sd"
        ),
        SURVEYS,
        WHY_NULL,
    ),
    "adjacency": (
        Field("room_a", "text", "", "lasting number of a room, court or lane"),
        Field("room_b", "text", "", "its neighbour, or outside"),
        Field("building", "text", "", "building of both, or both, separated by ;"),
        Field(
            "shared_wall_length_m",
            "real",
            "m",
            "length of the wall between them, on the ground; no sd",
        ),
        Field("opening", "text", "", "openings that join them, separated by ;"),
        Field("evidence", "text", "", "of each opening in turn: seen or possible"),
        *_measured("width_m", "m", "clear width of the widest of them"),
        WHY_NULL,
    ),
    "access": (
        Field("room", "text", "", "lasting number of a room, court or lane: a space"),
        Field("building", "text", "", "its building; what is not of it counts as outside"),
        Field("openings_seen", "whole", "", "openings of the building with a threshold: doors"),
        Field(
            "openings_possible",
            "whole",
            "",
            "its other openings, each a door or a gap made by robbing",
        ),
        Field(
            "outlines",
            "whole",
            "",
            "plausible outlines that ranges are taken over: what was seen is a door in all, each "
            "possible opening in half of them; every combination of up to eight, else 256 drawn "
            "with a fixed seed; ranges hold 95 of 100 outlines",
        ),
        Field(
            "doors_known_share",
            "real",
            "",
            "openings seen, over all openings or the number of rooms, whichever is more, 0-1; "
            "below a quarter no figure is given",
        ),
        *_range("steps_from_outside", "whole", "doors on the shortest way in"),
        *_range("doors", "whole", "doors of the room"),
        *_range("rooms_behind", "whole", "rooms that can be reached only through it"),
        Field(
            "dead_end_share", "real", "", "share of outlines in which it leads to one space, 0-1"
        ),
        Field(
            "through_room_share",
            "real",
            "",
            "share of outlines in which it leads to two spaces or more, 0-1",
        ),
        *_range("control", "real", "sum over its neighbours of 1 / number of their neighbours"),
        *_range("mean_steps", "real", "mean number of doors to all other spaces, mean depth MD"),
        *_range("relative_asymmetry", "real", "RA = 2 (MD - 1) / (k - 2) of k spaces"),
        *_range("real_relative_asymmetry", "real", "RRA = RA / D of as many spaces"),
        *_range("integration", "real", "1 / RRA"),
        Field("reached_share", "real", "", "share of outlines in which it can be entered, 0-1"),
        WHY_NULL,
    ),
    "orientation": (
        Field("row", "text", "", "class of the rose, or family A, B, …, the greatest first"),
        Field("from_deg", "real", "deg", "class: from; family: its axis less its spread"),
        Field("to_deg", "real", "deg", "class: to, beyond; family: its axis plus its spread"),
        Field(
            "axis_deg",
            "real",
            "deg",
            "middle of the class, 0-180; mean axis of the family, 0-90, right angles taken as the "
            "same; clockwise from true north",
        ),
        Field(
            "axis_sd_deg",
            "real",
            "deg",
            "standard uncertainty of a family's axis from its scatter alone: an error of "
            "orientation that surveys share is not in it",
        ),
        Field("spread_deg", "real", "deg", "circular standard deviation of a family's stretches"),
        Field("stretches", "whole", "", "straight stretches of recorded wall lines in it"),
        Field("length_share", "real", "", "share of the length of all stretches, 0-1"),
        WHY_NULL,
    ),
    "condition": (
        Field("building", "text", "", "lasting number; all: all walls; no building: the others"),
        Field("season", "text", "", "season, the newest first"),
        Field(
            "trend",
            "text",
            "",
            "losing walls, being buried, being overgrown, being uncovered, walls lower than "
            "recorded, stable, first record (nothing to compare), not known since a season: "
            "suggestions, from 2 m on and 1 % (loss) or 5 % of what was compared",
        ),
        Field("evidence", "text", "", "what the trend rests on"),
        Field(
            "walls_m",
            "real",
            "m",
            "length of its recorded wall lines on the plan of that season; of a wall with two "
            "faces both count, here and in all lengths",
        ),
        Field("looked_for_m", "real", "m", "of it, where some survey of the season looked"),
        *(
            Field(f"{status}_m", "real", "m", f"of it, {status.replace('_', ' ')} that season")
            for status in (
                "not_looked_for",
                "could_not_be_seen",
                "lost",
                "buried",
                "overgrown",
                "seen",
            )
        ),
        Field("compared_m", "real", "m", "of it, known that season and in one before"),
        Field("newly_lost_m", "real", "m", "lost, and not said to be lost before"),
        Field("newly_buried_m", "real", "m", "buried, and seen when last known before"),
        Field("newly_overgrown_m", "real", "m", "overgrown, and seen when last known before"),
        Field("newly_uncovered_m", "real", "m", "seen, and buried or overgrown when last known"),
        Field("found_again_m", "real", "m", "seen, and said to be lost before: that was wrong"),
        Field("lost_so_far_m", "real", "m", "lost when last known, up to that season"),
        *_measured("mean_exposure_m", "m", "how far what was seen stands above the bed, mean"),
        *_measured("mean_loss_m", "m", "how far what was seen falls short of its recorded top"),
        Field("last_seen", "text", "", "last season in which half of its walls or more were seen"),
        WHY_NULL,
    ),
    "seabed_change": (
        Field("earlier", "text", "", "earlier season"),
        Field("later", "text", "", "later season"),
        Field(
            "scope",
            "text",
            "",
            "site: bed that both seasons have, walls, plants and dug ground left out; stable "
            "ground; dug by the team; area of change; trench; building; room (cells wholly inside)",
        ),
        Field("name", "text", "", "number of the area, trench, building or room"),
        Field("area_m2", "real", "m2", "ground that was compared"),
        Field("compared_share", "real", "", "share of a room, building or trench compared, 0-1"),
        Field("filled_share", "real", "", "share of it filled between soundings, 0-1"),
        *_measured("mean_m", "m", "mean change of height, later minus earlier"),
        *_measured("volume_m3", "m3", "net volume: sum over all cells compared, no cell left out"),
        *_measured("came_m3", "m3", "volume of what came, freed of the noise's share"),
        *_measured("went_m3", "m3", "volume of what went, freed of the noise's share"),
        Field("p", "real", "", "of an area: probability of its mean by errors alone"),
        Field("note", "text", "", "of an area what it is; of stable ground how the seasons fit"),
        WHY_NULL,
    ),
    "sheets": (
        Field("sheet", "text", "", "set and number of the sheet"),
        Field("title", "text", "", "its title, in its language"),
        Field("shows", "text", "", "site, index, tile, building or trench"),
        Field("pdf", "text", "", "file of all sheets of the set, below results/"),
        Field("page", "whole", "", "its page in that file"),
        Field("svg", "text", "", "file of the sheet alone, below results/"),
        Field("scale", "whole", "", "the sheet is to scale 1 : this, in the grid"),
        Field("paper", "text", "", "paper of ISO 216"),
        Field("language", "text", "", "language of its titles and labels"),
        Field("reader", "text", "", "desk or diver"),
        Field("place", "text", "", "shown; left_out: nothing on it tells where the site lies"),
        Field("revision", "text", "", "revision, or the season after which it is drawn"),
        Field("drawn", "text", "", "who drew it"),
        Field("checked", "text", "", "who checked it"),
        Field("date", "text", "", "date of issue"),
        Field("ground_wide_m", "real", "m", "ground that it shows, west to east, in the grid"),
        Field("ground_tall_m", "real", "m", "ground that it shows, south to north, in the grid"),
        Field("middle_easting_m", "real", "m", "easting of its map's middle"),
        Field("middle_northing_m", "real", "m", "northing of its map's middle"),
        Field("line_shows_m", "real", "m", "ground under 0.2 mm, what a drawn line shows"),
        Field(
            "less_sure_than_drawn",
            "text",
            "",
            "techniques of walls on it whose sd is more than line_shows_m: don't take off more "
            "than they hold",
        ),
        Field("no_place_for", "text", "", "buildings whose number has no place, separated by ;"),
        WHY_NULL,
    ),
    "summary": (
        Field("figure", "text", "", "lasting name of the figure"),
        Field("text", "text", "", "what it is, in words"),
        Field("value", "real", "", "the figure, in its unit; a text where it is none"),
        Field("sd", "real", "", "standard uncertainty of value"),
        Field("unit", "text", "", "unit of value and sd; empty for counts"),
        Field("shown", "text", "", "the figure as printed, with its uncertainty"),
        Field("basis", "text", "", "what it rests on, and what its uncertainty covers"),
    ),
}
"""Tables that follow from the plan, beside the layers' own."""

PICTURES: dict[str, tuple[Field, ...]] = {
    "orientation": TABLES["orientation"],
    "areas": (
        Field("of", "text", "", "spaces (floors) or buildings (ground covered)"),
        Field(
            "kind", "text", "", "room, court, lane, unknown or building; all: all that are drawn"
        ),
        Field("row", "text", "", "class, lower quartile, median, upper quartile, or no area"),
        Field("from_m2", "real", "m2", "class: from"),
        Field("to_m2", "real", "m2", "class: to, beyond"),
        Field("count", "whole", "", "how many lie in the class; else how many there are"),
        Field(
            "low_count",
            "whole",
            "",
            "class of all: 2.5 % quantile of that number under the areas' own errors, each on its "
            "own",
        ),
        Field("high_count", "whole", "", "class of all: 97.5 % quantile of that number"),
        Field("value_m2", "real", "m2", "the quartile or median, by areas as measured"),
        Field(
            "low_m2",
            "real",
            "m2",
            "lower end of its 95 % interval by order statistics: those on record taken for a "
            "random sample of all there were",
        ),
        Field("high_m2", "real", "m2", "upper end of that interval"),
        WHY_NULL,
    ),
    "depths": (
        Field("of", "text", "", "sea level, wall top, wall base, seabed or floor"),
        Field("name", "text", "", "lasting number of the building, or name of the sea level"),
        Field("place", "whole", "", "its column, from the left; empty for a sea level"),
        *_measured(
            "depth_m",
            "m",
            "depth below the named sea level: means of wall tops, bases and floors, median of the "
            "seabed; of a sea level the sd is that of its height above the datum",
        ),
        WHY_NULL,
    ),
    "profile": (
        Field("section", "whole", "", "number of the section on the picture, from above"),
        Field("of", "text", "", "line, sea level, seabed, wall top or floor"),
        Field("name", "text", "", "of a recorded section line, sea level, wall lines or room"),
        Field(
            "follows",
            "text",
            "",
            "line: slope (of the seabed in the buildings), long axis, or recorded by the team",
        ),
        Field("from_m", "real", "m", "distance from the section's start, in the grid"),
        Field("to_m", "real", "m", "distance at which it ends; of a point the same"),
        *_measured(
            "depth_m",
            "m",
            "depth below the named sea level; of the seabed and of sea levels the sd is that of "
            "the height above the datum; of walls the mean of the lines met",
        ),
        Field("evidence", "text", "", "seabed: sounded, or filled between soundings"),
        Field("east_of_origin_m", "real", "m", "line: its start, from the site's origin"),
        Field("north_of_origin_m", "real", "m", "line: its start, from the site's origin"),
        Field("azimuth_deg", "real", "deg", "line: where it runs, clockwise from true north"),
        WHY_NULL,
    ),
    "access": (
        Field("building", "text", "", "lasting number of a building of three rooms or more"),
        Field("place", "whole", "", "its place by how well its doors are known, the best first"),
        Field("drawn", "flag", "", "whether it is on the picture"),
        Field("doors_known_share", "real", "", "as in tables/access.csv, 0-1"),
        Field("row", "text", "", "space, way, or left out (too few doors known)"),
        Field("space", "text", "", "lasting number of a room, or outside"),
        Field("to_space", "text", "", "way: the space that it leads to"),
        Field("kind", "text", "", "space: room, court, lane, unknown or outside"),
        Field(
            "steps_from_outside",
            "whole",
            "",
            "space: fewest doors to outside, all possible openings taken for doors",
        ),
        Field("level", "whole", "", "space: its row on the picture, from below"),
        Field("across", "real", "", "space: places to the right of the graph's middle"),
        Field("evidence", "text", "", "way: seen, where any of its openings was; else possible"),
        Field("openings", "text", "", "way: its openings, separated by ;"),
        WHY_NULL,
    ),
    "seasons": (
        Field("season", "text", "", "season"),
        Field(
            "figure",
            "text",
            "",
            "wall lines traced, ground looked at (overlaps once): by that season's surveys; sd of "
            "the seabed, on the plan: as known after it; rooms, walls: against the plan before",
        ),
        Field("part", "text", "", "technique, what was looked for, or what became of it"),
        Field("value", "real", "", "the figure, in its unit; of sds of cells the median"),
        Field("low", "real", "", "sd of the seabed: 5 % of the cells have a lower one"),
        Field("high", "real", "", "sd of the seabed: 5 % of the cells have a higher one"),
        Field("unit", "text", "", "unit of value, low and high; empty for counts"),
        WHY_NULL,
    ),
}
"""Tables of what the pictures for the text show, row by row as drawn."""


def picture_columns(picture: str) -> dict[str, str]:
    """Return the fields of the table beside a picture, and their types."""
    return {field.name: field.kind for field in PICTURES[picture]}


def table_columns(table: str) -> dict[str, str]:
    """Return the fields of a table that follows from the plan, and their types."""
    return {field.name: field.kind for field in TABLES[table]}


ABOUT = {
    "wall_lines": "Walls as lines, recorded and inferred, with the height at each vertex recorded.",
    "wall_bodies": "Ground that walls cover, between two recorded faces or inferred ones.",
    "openings": "Doorways and gaps of a doorway's width, each as a line across its opening.",
    "rooms": "Rooms, courts and lanes as areas between wall faces.",
    "buildings": "Buildings as areas to their outer recorded lines.",
    "features": "Thresholds, hearths, jars, graves … as the surveys recorded them.",
    "spot_heights": "Points at which a height was measured: wall tops and bases, floors, seabed.",
    "trenches": "Outlines of trenches, as the surveys recorded them.",
    "contours": "Lines of equal height of the seabed.",
    "seabed_change_areas": "Areas in which the seabed changed between two seasons.",
    "waterlines": "Named sea levels where they meet today's seabed.",
    "sightings": "Stretches of walls, with what each season's surveys showed of them.",
    "wall_condition": "Stretches of walls, with what was last known of them.",
    "surveys": "Surveys, with their errors and the ground that they looked at.",
    "tracings": "Survey lines of walls, each with its share in the wall's place.",
}
"""What each layer holds, in a sentence."""


PLAN_LAYERS = ("wall_lines", "wall_bodies", "openings", "rooms", "buildings", "features")
"""Layers of a plan, in the order in which steps write them."""

BESIDE_PLAN = ("spot_heights", "trenches")
"""Layers published with the plan as known after a season, without lasting numbers of their own."""


def columns(layer: str) -> dict[str, str]:
    """Return a layer's fields and their types, the form that `wrackline.vectors` takes."""
    return {field.name: field.kind for field in LAYERS[layer]}
