"""A new site's first config: commented, already valid, to be filled in.

`create` writes it; nothing that a team has written is ever overwritten.
"""

from __future__ import annotations

from pathlib import Path

from wrackline.errors import ConfigError, Fault

SITE_YAML = """\
# The site: what holds in every season. Lines marked <-- are yours to set; the rest can stay.
# Every key, with its unit, its bounds and what is taken when it is left out, is explained in
# config/README.md of the workflow. A misspelt key is refused with the right one named.

schema_version: 1

# Name as it stands on every plan and table.
name: Name of the site                       # <--

# The grid of every product: projected, in metres (the national grid, or the UTM zone).
# Surveys may come in other grids; they are transformed.
crs: EPSG:32633                              # <--

# What height 0.000 is, in words.
vertical_datum: name of the height datum     # <--

# Easting and northing that cells and place numbers count from. South-west of everything that
# will ever be surveyed; never change it afterwards.
origin: [500000, 4000000]                    # <--

# Named levels of the sea, as heights above the datum, each with its standard uncertainty (sd)
# and the time that it belongs to. Depths are printed below the level named in depths_below.
sea_levels:
  - name: mean sea level 2015-2024           # <--
    height_m: 0.0                            # <--
    sd_m: 0.05                               # <--
depths_below: mean sea level 2015-2024       # <-- the same words as above

# What moves everything that rests on it together: a benchmark, a gauge's zero, the backsight of
# an instrument. List each once here and name it in every survey that rests on it. More points
# don't shrink such an error; another benchmark does.
error_sources:
  benchmark_1:
    kind: shift                              # shift, rotation, scale or tilt
    easting_sd_m: 0.02                       # <--
    northing_sd_m: 0.02                      # <--
    height_sd_m: 0.03                        # <--
    about: the benchmark on the shore        # <--
  gauge_zero:
    kind: shift
    height_sd_m: 0.03                        # <--
    about: levelling of the tide gauge's zero to the datum

# The seabed model: cell size, and how far from soundings it may fill in.
seabed:
  cell_m: 0.5
  fill_distance_m: 1.5
  contour_step_m: 0.25

# Walls: which gaps are slips of the pole, which may be doorways, how thick a wall can be.
walls:
  join_gap_m: 0.5
  doorway_max_m: 1.6
  lost_stretch_max_m: 8.0
  wall_max_thickness_m: 1.6

# Rooms: what is too small for a room, and from what size a space is suggested as a court.
rooms:
  room_min_area_m2: 1.0
  room_max_area_m2: 150.0

# Plan sheets, in sets by name; without this one of the whole site. A scale is 500, not 1:500.
# sheets:
#   plan: {paper: A1, scale: 500}
#   tiles: {shows: tiles, paper: A3, scale: 200, overlap_m: 5}
#   divers: {shows: buildings, paper: A4, reader: diver}
#   talk: {paper: A3, place: left_out}
# title_block: {drawn: A. N. Other, checked: A. N. Else, permit: "7/2033"}
# public_name: A drowned settlement        # stands in for the name where the place is left out

# Credit line for the products.
credit: ""
"""

SEASON = "season_01"

SEASON_YAML = """\
# One season: what was surveyed, one entry a file. Lines marked <-- are yours to set.
# The season bears the file's name; seasons are taken in the order of their names, so a year is a
# good name: rename this file to <year>.yaml and set `season` to the same.
# Another season is another file like this one. Nothing else is edited.

schema_version: 1
season: season_01                            # <-- the same as the file's name

surveys:
  # Wall lines, traced with a pole. Any vector file that GDAL reads (GeoPackage, Shapefile, DXF).
  - name: walls                              # short and lasting; never reuse it for another survey
    technique: total station, pole           # <-- in words, as it should be printed
    holds: wall_lines
    file: data/season_01/walls.gpkg          # <-- relative to the site's folder
    crs: EPSG:32633                          # <-- grid of the file's numbers
    from_date: 2024-06-01                    # <--
    to_date: 2024-06-14                      # <--
    vertical:
      meaning: height                        # up from the datum; see config/README.md
    line_follows: face                       # <-- face, centre, or edge for want of better
    pole_width_m: 0.03                       # <-- of the pole held against the face; 0 without
    traced_at: top                           # <-- where on the wall its heights were taken
    random_horizontal_sd_m: 0.03             # <-- from point to point, per axis
    random_vertical_sd_m: 0.03               # <--
    patchy_horizontal_sd_m: 0.02             # <-- alike over patchy_distance_m
    patchy_vertical_sd_m: 0.02               # <--
    patchy_distance_m: 5.0                   # <--
    error_sources: [benchmark_1]             # <-- names from site.yaml
    resolution_m: 0.3                        # <-- the least thing that it would have shown

  # Soundings: a table of depths below the water's surface, and the water level's record.
  - name: soundings
    technique: single-beam echo sounder      # <--
    holds: bed_points
    file: data/season_01/soundings.csv       # <--
    crs: EPSG:32633                          # <--
    from_date: 2024-06-10                    # <--
    to_date: 2024-06-10                      # <--
    vertical:
      meaning: depth_below_water             # <-- or height, or depth_below_datum
      water_level: data/season_01/water_level.csv   # <-- columns time, level_m
      water_level_zero_m: 0.0                # <-- height of the gauge's zero above the datum
      water_level_utc_offset_h: 0            # <-- hours that the gauge's clock is ahead of UTC
      time_utc_offset_h: 0                   # <-- hours that the sounder's clock is ahead of UTC
    columns:                                 # <-- the table's own column names
      easting: easting
      northing: northing
      vertical: depth
      time: time
      separator: comma
      decimal: "."
    random_horizontal_sd_m: 0.15             # <--
    random_vertical_sd_m: 0.08               # <--
    patchy_vertical_sd_m: 0.05               # <-- waves, squat, sound speed
    patchy_distance_m: 10.0                  # <--
    error_sources: [gauge_zero]              # <--
    resolution_m: 1.0                        # <--
"""

DATA_README = """\
What to put here
================

The raw survey files, as they came from the instrument or the person who made them. Don't tidy
them up: what needs saying about a file (its grid, its columns, how its depths are meant) is said
in config/seasons/, so that the record can be traced back to the file itself.

For the config as it was started, two surveys are expected:

season_01/walls.gpkg       wall lines; any vector format that GDAL reads will do
season_01/soundings.csv    soundings, one a row: easting, northing, depth, time
season_01/water_level.csv  the water's level while they were taken: time, level_m

Change the names in config/seasons/ to those of your files, or remove what you don't have.

The position of a drowned settlement invites looting. Keep this folder, and what is built from
it, among people who need it.
"""


def create(folder: Path) -> list[Path]:
    """Write a new site's config and a note on its data.

    Parameters
    ----------
    folder : Path
        The new site's folder; made when missing.

    Returns
    -------
    list of Path
        The files written. A data/README.txt that is already there is left as it is.

    Raises
    ------
    ConfigError
        When the folder already holds a config, or can't be a folder.
    """
    faults = list(_in_the_way(folder))
    if faults:
        raise ConfigError(faults)
    content = {
        folder / "config" / "site.yaml": SITE_YAML,
        folder / "config" / "seasons" / f"{SEASON}.yaml": SEASON_YAML,
        folder / "data" / "README.txt": DATA_README,
    }
    written = [path for path in content if not path.exists()]
    for path in written:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content[path], encoding="utf-8")
    return written


def _in_the_way(folder: Path) -> list[Fault]:
    """Return what keeps a new config from being written."""
    if folder.exists() and not folder.is_dir():
        return [_fault(str(folder), "a file, where the site's folder should be")]
    config = folder / "config"
    there = [config / "site.yaml", *sorted(config.glob("seasons/*.y*ml"))]
    return [
        _fault(str(path.relative_to(folder)), "a config that is already there")
        for path in there
        if path.exists()
    ]


def _fault(file: str, found: str) -> Fault:
    return Fault(
        kind="config_in_the_way",
        found=found,
        allowed="a folder without config/site.yaml and config/seasons/",
        consequence="what a team has written would be lost",
        remedy="name another folder, or add a season to this site under config/seasons/",
        file=file,
    )
