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
    "area_median": "median {median} m²{held}, half of all {low} to {high} m²",
    "area_bound": " (95 %: {low} to {high})",
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
