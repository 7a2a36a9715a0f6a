"""Reads a file of items in an invented survey, for the tests of several readers."""

import datetime as dt

from wrackline.intake.items import read_items
from wrackline.model import Survey, Vertical
from wrackline.verdict import Source

CRS, ORIGIN = "EPSG:32625", (324400.0, 4207600.0)
E0, N0 = 324410.0, 4207610.0


def read_file(folder, file, **more):
    """Return the items and the verdict of a survey of one file."""
    values = {
        "name": "survey",
        "technique": "any",
        "holds": "wall_lines",
        "file": file,
        "crs": None if "local_grid" in more else CRS,
        "from_date": dt.date(2031, 6, 1),
        "to_date": dt.date(2031, 6, 2),
        "vertical": Vertical(meaning="height"),
        "random_horizontal_sd_m": 0.03,
        "random_vertical_sd_m": 0.02,
    }
    source = Source("2031-survey", Survey(**values | more), folder)
    return read_items(source, crs=CRS, origin=ORIGIN)


def kinds(verdict):
    """Return the kinds of a verdict's faults, and of its suspicions."""
    return [fault.kind for fault in verdict.faults], [doubt.kind for doubt in verdict.suspicions]
