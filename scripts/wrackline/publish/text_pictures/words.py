"""Every phrase of the pictures for the text, in one place, so that they can be translated."""

from __future__ import annotations

WORDS: dict[str, str] = {
    "note_vertical_datum": "datum: {text}",
    "note_depths": "depths {text}",
    "note_surveyed": "surveyed {text}",
    "note_credit": "credit: {text}",
    "not_for_navigation": "Not for navigation and not for dive planning.",
    "depth_heading": "{site}: wall tops, seabed and floors of {number} buildings",
    "depth_axis": "depth [m]",
    "depth_wall_top": "wall tops as preserved, mean",
    "depth_wall_base": "wall bases, mean",
    "depth_seabed": "seabed inside, median",
    "depth_floor": "floors met, mean",
    "depth_note": "A column a building, the shallowest seabed first. Bars: 95 %, 1.96 standard "
    "uncertainties each way; where none shows, it is shorter than its mark. Bands: 95 % of the "
    "sea levels' heights above the datum. Four heights, none taken for another.",
    "depth_not_drawn": "Not measured, so not drawn: {list} of the buildings.",
    "depth_no_wall_top": "wall tops of {number}",
    "depth_no_wall_base": "wall bases of {number}",
    "depth_no_seabed": "seabed of {number}",
    "depth_no_floor": "floors of {number}",
    "depth_nothing": "No building is on the plan: there is nothing to draw but the sea levels.",
    "depth_range": "{what} of {number}, {low} to {high} m",
    "depth_description": "Depths of {number} buildings at {site}, below the named sea level, one "
    "column each: {ranges}.",
    "east": "east",
    "west": "west",
    "north": "north",
    "south": "south",
    "profile_heading": "{site}: sections of the seabed and of what stands on it",
    "profile_nothing": "No wall is on the plan and no section line was recorded.",
    "profile_slope": "Down the slope of the seabed, where most ground covered by buildings is "
    "crossed",
    "profile_axis": "Along the site's long axis, where most ground covered by buildings is crossed",
    "profile_recorded": "Section {name}",
    "profile_title": "{what}: from {east} m {east_word} and {north} m {north_word} of the site's "
    "origin towards {azimuth}°. Vertical exaggeration {times} times.",
    "profile_along": "distance along the section [m]",
    "profile_bed": "seabed, sounded",
    "profile_filled": "seabed, filled between soundings",
    "profile_wall": "wall, from the bed beside it to its top (mark: mean of the lines met)",
    "profile_floor": "floor met in the room",
    "profile_note": "Grey bands and bars: 95 %, 1.96 standard uncertainties each way; of the "
    "seabed and the sea levels for the height above the datum, of walls and floors with the "
    "level's. Azimuth from true north; distances in the grid. Tops are means of a whole wall "
    "line.",
    "profile_no_bed": "No seabed was sounded on the line.",
    "profile_no_wall": "No wall with a measured top is crossed.",
    "profile_no_floor": "No floor was met in a room that is crossed.",
    "profile_told": "The seabed lies {low} to {high} m deep; {walls} walls are crossed.",
    "profile_description": "Sections across {site}. {told}",
    "access_heading": "{site}: how rooms were reached; {number} of {all} buildings, those whose "
    "doors are best known",
    "access_heading_none": "{site}: how rooms were reached; too few doors are known",
    "access_nothing": "No building of {rooms} rooms or more has {share} % of its doors known.",
    "access_note": "Justified access graphs (Hillier and Hanson 1984): each level up is one door "
    "further from outside, all possible openings taken for doors, so that levels are the fewest "
    "doors. In brackets the share of the doors that was seen. A space that no way leads to stands "
    "on top, its outline dashed. A graph shows ways, not places.",
    "access_left_out": "{number} buildings of {rooms} rooms or more are left out: less than "
    "{share} % of their doors were seen.",
    "access_known": "{seen} seen, {possible} possible",
    "access_outside": "outside",
    "access_room": "room, by its number without R",
    "access_court": "court",
    "access_seen": "door seen",
    "access_possible": "possible: a door or a gap made by robbing",
    "access_told": "{building}: {rooms} rooms, the deepest {deepest} doors from outside.",
    "access_description": "Access graphs of buildings at {site}, the outside at the bottom. {told}",
    "season_heading": "{site}: {number} seasons side by side",
    "season_heading_one": "{site}: the one season so far",
    "season_techniques": "Techniques of a:",
    "season_others": "other techniques",
    "season_traced": "wall lines traced [m]",
    "season_ground": "ground looked at [ha]",
    "season_bed": "sd of the seabed's cells [m]",
    "season_plan": "on the plan after the season",
    "season_rooms": "rooms: what became of them",
    "season_walls": "wall lines: what became of them",
    "season_none": "none",
    "season_n_rooms": "rooms",
    "season_n_buildings": "buildings",
    "season_looked_walls": "walls",
    "season_looked_seabed": "seabed",
    "season_looked_pictures": "pictures",
    "season_looked_other": "other",
    "season_is_new": "new",
    "season_is_changed": "changed",
    "season_is_gone": "gone",
    "season_is_lost": "lost, buried, overgrown",
    "season_range": "median; 9 of 10 cells",
    "season_note": "a, b: by that season's surveys alone; both faces of a wall count in a, "
    "overlaps count once in b. c, d: as known after the season; rooms with courts and lanes. e, f: "
    "against the plan of the season before; gone: no longer on the plan; lost, buried and "
    "overgrown are suggestions from that season's surveys.",
    "season_told": "{season}: {traced} m of wall lines traced; {rooms} rooms and {buildings} "
    "buildings on the plan.",
    "season_description": "Six small panels compare the seasons at {site}. {told}",
    "rose_heading": "{site}: directions of {number} straight stretches of recorded walls",
    "rose_note": "Axes from true north, weighed by length; area in proportion to share. Right "
    "angles count as the same to a family; arcs at the rim reach one spread either side of its "
    "axis. ± is one standard uncertainty, from the scatter within a family alone. Both faces of a "
    "wall count. A family is a direction, not a phase.",
    "rose_family": "{letter}  {axis}, spread {spread}°, {share} % of the length",
    "rose_none": "No direction stands out.",
    "rose_few": "{number} stretches: {least} are needed to tell a direction.",
    "area_heading": "{site}: floor areas of {spaces} enclosed spaces, ground covered by "
    "{buildings} buildings",
    "area_axis": "floor area, class of {width} m² [m²]",
    "area_axis_building": "ground covered, class of {width} m² [m²]",
    "area_count": "number",
    "area_room": "room",
    "area_court": "court",
    "area_lane": "lane",
    "area_unknown": "kind unknown",
    "area_building": "building",
    "area_median": "median {median}{held}, half of all {low}–{high} m²",
    "area_bound": " (95 %: {low}–{high})",
    "area_none": "none with an area",
    "area_spaces": "spaces",
    "area_buildings": "buildings",
    "area_note": "Between wall faces, on the ground; kinds are suggestions. Bars: number as "
    "measured; whiskers: 95 % range of that number under the errors of the areas alone, each on "
    "its own. Above: median (mark), its 95 % interval (heavy) and the middle half (light); the "
    "interval takes those on record for a random sample.",
    "area_missing": "{number} {what} without an area, not drawn: {why}",
    "area_description": "Two histograms for {site}. Spaces: {spaces}. Buildings: {buildings}.",
    "rose_description": "A rose of the axes of {number} straight stretches of recorded walls at "
    "{site}, north up, each axis drawn both ways. Directions that stand out: {families}",
}


def say(key: str, **texts: str) -> str:
    """Return a phrase with its gaps filled by ready texts.

    >>> say("note_surveyed", text="2031 to 2033")
    'surveyed 2031 to 2033'
    """
    return WORDS[key].format(**texts)
