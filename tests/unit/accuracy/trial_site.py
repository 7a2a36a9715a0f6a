"""A small invented site with three surveys, for the tests of the check's report."""

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import shapely
from drawn import CRS, site

from wrackline import vectors
from wrackline.accuracy.check_page import Page
from wrackline.accuracy.check_report import check_report, numbered
from wrackline.accuracy.remeasure import remeasure
from wrackline.accuracy.sketches import Sketch
from wrackline.errors import Fault
from wrackline.model import ControlValue, Survey
from wrackline.verdict import Verdict
from wrackline.walls.linework import ITEM_COLUMNS

SITE = site()
HOSTILE = 'data/<script>alert("1")</script>&.csv'


def survey(name="walls", holds="wall_lines", **other):
    """Return the config of a survey whose numbers are the site's own."""
    return Survey.model_validate(
        {
            "name": name,
            "technique": "invented",
            "holds": holds,
            "file": f"data/{name}.csv",
            "crs": CRS,
            "from_date": "2031-06-01",
            "to_date": "2031-06-02",
            "vertical": {"meaning": "height"},
            "random_horizontal_sd_m": 0.05,
            "random_vertical_sd_m": 0.05,
            **other,
        }
    )


SURVEYS = {
    "2031-walls": survey(),
    "2031-bed": survey("bed", "bed_points"),
    "2031-floors": survey("floors", "floor_points"),
}


def fault(kind="height_spike", name="2031-bed", severity="suspicion", **other):
    """Return a fault or a suspicion of a survey."""
    parts = {"found": "a", "allowed": "b", "consequence": "c", "remedy": "d", "file": "f.csv"}
    return Fault(**{"kind": kind, **parts, "survey": name, "severity": severity, **other})


def verdict(name, **other):
    """Return the verdict on a survey; 10 rows, all used, unless told otherwise."""
    given = SURVEYS[name]
    parts = {"rows": 10, "used": 10, **other}
    return Verdict(name, "2031", given.technique, given.holds, given.file, **parts)


def sketches():
    """Return walls around a court of 20 m by 10 m on a bed that falls from −1 m to −5 m."""
    walls = [np.array([[10.0, 10], [30, 10], [30, 20], [10, 20], [10, 10]])]
    east, north = (a.ravel() for a in np.meshgrid(np.arange(0.0, 41, 2), np.arange(0.0, 31, 2)))
    bed = np.column_stack([east, north, -1 - east / 10])
    return [
        Sketch("2031-walls", paths=walls),
        Sketch("2031-bed", dots=bed[:, :2], soundings=bed),
        Sketch("2031-floors", dots=np.array([[15.0, 15], [25, 15]])),
    ]


MARK = ControlValue(point="B1", easting=0.0, northing=0.0, sd_m=0.01)


def page(verdicts=None, cross_check=None, *, drawn=None, control=(MARK,)):
    """Return the page of a check, by default of three sound surveys."""
    verdicts = verdicts or [verdict(name) for name in SURVEYS]
    drawn = sketches() if drawn is None else drawn
    found = check_report(verdicts, cross_check)
    found["remeasure"] = remeasure(
        numbered(found), drawn, surveys=SURVEYS, site=SITE, control=control
    )
    return Page(found, drawn, SURVEYS, SITE, control)


def write_points(path, x, y, v, **columns):
    """Write a table of bed points as intake does."""
    data = {"x": x, "y": y, "v": v, "row": np.arange(len(x), dtype=np.int64), **columns}
    pq.write_table(pa.table({name: np.asarray(a) for name, a in data.items()}), path)
    return path


def write_items(path, shapes):
    """Write a table of items as intake does."""
    table = vectors.empty(ITEM_COLUMNS, None)
    if len(shapes):
        data = {name: [None] * len(shapes) for name in ITEM_COLUMNS}
        data |= {"survey": "2031-walls", "row": range(1, len(shapes) + 1)}
        table = gpd.GeoDataFrame(data, geometry=list(shapely.force_3d(shapes)))
    vectors.write(table, ITEM_COLUMNS, path)
    return path
