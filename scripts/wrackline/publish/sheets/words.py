"""Every phrase that plan sheets say, in English: what a language file translates, key by key.

A name in braces is put in when the sheet is drawn: a figure, a date, a name. A translation has the
same names in braces, in any order. Only light modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

from wrackline.publish.words import CAUTION

WORDS: dict[str, str] = {
    # Titles
    "title_site": "Wall plan of the whole site",
    "title_tile": "Wall plan, sheet {number}",
    "title_index": "Index of the sheets",
    "title_building": "Building {building}",
    "title_trench": "Trench {trench}",
    "place_left_out": "place left out",
    # Title block
    "sheet_number": "Sheet",
    "revision": "Revision",
    "scale": "Scale",
    "paper": "Paper",
    "drawn": "Drawn",
    "checked": "Checked",
    "date": "Date",
    "permit": "Permit",
    "credit": "Credit",
    # Headings
    "legend": "Legend",
    "basis": "What it rests on",
    "rooms_by_key": "Rooms by key number",
    "other_numbers": "Numbers of other plans",
    "caution_heading": "Caution",
    "neighbours": "Sheets beside this one",
    # Walls, rooms and openings
    "wall_stated": "wall by its centre and stated thickness",
    "wall_body": "wall between two recorded faces",
    "wall_recorded": "wall line, recorded",
    "wall_inferred": "closing, inferred",
    "wall_old_plan": "wall line, from an old plan alone",
    "wall_phase": "wall of phase {phase}",
    "wall_phases": "wall of phases {first} to {last}",
    "wall_no_phase": "wall of unknown phase",
    "room": "room (suggested)",
    "court": "court (suggested)",
    "lane": "lane (suggested)",
    "room_unknown": "small enclosed space",
    "doorway_seen": "doorway seen",
    "doorway_possible": "doorway possible",
    # Features
    "feature_built": "feature, built",
    "feature_natural": "feature, natural",
    "feature_modern": "feature, modern",
    "feature_doubtful": "feature, doubtful",
    "feature_other": "feature of another kind",
    "stone": "stone",
    "slope": "slope, marks point downhill",
    "trench": "trench",
    "control_mark": "control mark",
    # Seabed and heights
    "relief": "seabed {height} m and more above the ground around it",
    "mosaic": "photo mosaic {survey}",
    "contour": "contour of the seabed, height in metres",
    "contour_depth": "contour of the seabed, depth in metres",
    "waterline": "{level}, on today's seabed",
    "spot_wall_top": "spot height: wall top",
    "spot_wall_base": "spot height: wall base",
    "spot_floor": "spot height: floor",
    "spot_seabed": "spot height: seabed",
    "depth_below": "depth below {level}",
    # Norths
    "grid_named": "grid: {crs}",
    "true_west_of_grid": "true north {degrees}° west of grid north",
    "true_east_of_grid": "true north {degrees}° east of grid north",
    "magnetic_west_of_grid": "magnetic north {degrees}° west of grid north",
    "magnetic_east_of_grid": "magnetic north {degrees}° east of grid north",
    "magnetic_changing_east": "magnetic north {year}, moving {minutes}′ a year to the east",
    "magnetic_changing_west": "magnetic north {year}, moving {minutes}′ a year to the west",
    "magnetic_model": "by IGRF-14, sd {sd}°; iron near by turns a needle further",
    "magnetic_carried_on": "that model ends with {year}: its last change is carried on",
    "magnetic_not_known": "magnetic north isn't known for {year}",
    "bearings_are_magnetic": "compass bearings are magnetic",
    # What it rests on
    "true_scale": "To scale in the grid; lengths in the tables are on the ground.",
    "scale_refused": "1:{wanted} was asked for; the plan doesn't fit {paper} at it.",
    "vertical_datum": "Vertical datum: {datum}.",
    "depths": "Depths below {level}, {height} m (sd {sd} m) from the datum; positive down, "
    "negative above it.",
    "promise_kept": "{mm} mm on this sheet are {m} m on the ground; all walls on it are known "
    "better than that.",
    "unphased": "No phases of walls are given: all that was recorded is taken to have stood at one "
    "time, so a wall of another time may cut a room.",
    "phase_last": "Rooms as they stood in the last phase, {phase}; those of earlier phases are in "
    "the tables.",
    "rooms_unnumbered": "Rooms too small for a number at this scale: {count}; see the tables.",
    "more_left_out": "and {count} more, for which there is no room here: see the tables.",
    "no_place": "No place for the numbers of {numbers}.",
    "local_grid": "a local grid from the site's origin",
    "hidden_datum": "the record's own height datum",
    "hidden_level": "the record's own sea level",
    "promise_broken_by": "{mm} mm on this sheet are {m} m on the ground. Less sure than that (sd): "
    "{walls}. Don't take off more than they hold.",
    "walls_by": "Walls: {technique}, {first} to {last}, sd {sd} m.",
    "counted_from_origin": "The place is left out: coordinates count from the site's origin.",
    "line_widths": "Lines are 0.13, 0.18, 0.25, 0.35 and 0.5 mm wide.",
    "heights_above": "Heights are in metres above {datum}, negative below it.",
    "heights_above_site_datum": "Heights are in metres above the site's datum, negative below it.",
    "depths_below": "Depths are in metres below {level}, negative above it.",
    "room_numbers": "R051-038 is a room, B051-038 a building: metres east and north of the site's "
    "origin.",
    "section": "section line",
    "grid_easting": "{metres} E",
    "grid_northing": "{metres} N",
    # Norths and neighbours
    "north_roughly": "north of the sheet's grid, within a few degrees of true north",
    "mark_grid": "GN",
    "mark_true": "N",
    "mark_magnetic": "MN",
    "north": "north",
    "east": "east",
    "south": "south",
    "west": "west",
    "page": "Page",
    "page_of": "{number} of {count}",
    "surveyed_short": "Surveyed",
    # Cautions
    "caution": CAUTION,
    "not_for_diving": "Not for dive planning: depths change with the tide.",
    # Units
    "unit_m": "m",
    "unit_m2": "m²",
    "unit_m3": "m³",
    "unit_deg": "°",
}
