"""A small invented site for the tests of the plan viewer: the report's two rooms, put elsewhere."""

import re
from html.parser import HTMLParser
from xml.etree.ElementTree import Element

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from defusedxml import ElementTree
from report_site import ABOUT as REPORT_ABOUT
from report_site import FEATURE, WALLS, houses, layer, plan, survey, surveys, table

from wrackline.publish.shrinking import Small
from wrackline.publish.viewer.facts import Told
from wrackline.publish.viewer.page import Viewer

EAST, NORTH = 324400.0, 4207600.0
CRS_OF_SITE = "EPSG:32625"
HOSTILE = "</script><img src=x onerror=alert(1)> \"'`${1+1}{{2}} & \u202eevil <!--"
SECOND = "2032-again"
ABOUT = REPORT_ABOUT | {"crs": CRS_OF_SITE}
EVENTS = (
    {
        **{"season": "2031", "what": "room", "event": "new", "number": "R002-002"},
        **{"parents": "", "children": "R002-002", "share": None, "why": "first seen now"},
    },
    {
        **{"season": "2032", "what": "room", "event": "merged", "number": "R007-002"},
        **{"parents": "R006-001;R007-002", "children": "R007-002", "share": 0.9, "why": "no wall"},
    },
)


def moved(table):
    """Return a layer put where sites lie."""
    if not isinstance(table, gpd.GeoDataFrame):
        return table
    there = table.set_crs(CRS_OF_SITE, allow_override=True)
    return there.set_geometry(there.geometry.translate(EAST, NORTH))


def two_surveys():
    """Return the surveys: a total station's walls, and another technique a season later."""
    again = {"season": "2032", "from_date": "2032-06-01", "to_date": "2032-06-01"}
    return surveys(
        survey(WALLS, "total station"), survey(SECOND, "traced off photographs", **again)
    )


def contours():
    """Return two contours, one of them bold with a height on it."""
    rows = [
        {"height_m": -3.0, "depth_m": 3.1, "index": True, "label_easting_m": 5.0},
        {"height_m": -3.1, "depth_m": 3.2, "index": False},
    ]
    rows[0] |= {"label_northing_m": -3.0}
    made = layer(
        "contours", rows, [shapely.LineString([(-2, y), (5, y), (12, y)]) for y in (-3, 8)]
    )
    made["label_easting_m"] += EAST
    made["label_northing_m"] += NORTH
    return moved(made)


def shade():
    """Return a relief of four cells, one of them unknown."""
    grey = np.array([[1.0, 255.0], [128.0, np.nan]])
    return Small({"shade_around": grey}, (EAST - 2, EAST + 10, NORTH - 4, NORTH + 8))


def readings(text="store"):
    """Return a reading of the second room."""
    row = {"number": "R007-002", "reading": text, "certainty": "possible", "who": "A. Orr"}
    row |= {"when": "2031-07-02", "status": "disputed", "why": "sherds of jars"}
    return table("interpretations", row)


def two_rooms(**layers):
    """Return the report's two rooms where sites lie; the second feature is of a later survey."""
    second = {"feature": "F008-003", "kind": "jar", "origin": "built", "survey": SECOND}
    first = FEATURE | {"survey": WALLS, "season": "2031", "top_depth_m": 3.2, "line": "T1"}
    both = [first, second | {"season": "2032"}]
    features = layer("features", both, [shapely.Point(2, 2), shapely.box(7.5, 2.5, 8.5, 3.5)])
    bodies = {"wall": "W001;W002", "thickness_m": 0.503, "thickness_sd_m": 0.021, "surveys": WALLS}
    body = layer("wall_bodies", [bodies], [shapely.box(4, 0, 5, 4)])
    whole = plan(features=features, wall_bodies=body, **layers)
    return {name: moved(one) for name, one in whole.items()}


def viewer(of=None, events=EVENTS, about=ABOUT, **parts):
    """Return a viewer, some of what it is made from replaced."""
    matter = of or houses(plan=two_rooms(), surveys=two_surveys(), interpretations=readings())
    condition = {"wall": "W001", "last_known": "seen", "known_in": "2031", "length_m": 12.0}
    told = Told(matter, events, pd.DataFrame([condition]))
    whole = {"about": about, "told": told, "more": {"contours": contours()}, "shade": shade()}
    return Viewer(**(whole | parts))


def hostile_viewer():
    """Return a viewer in which every text of people is hostile."""
    feature = {"feature": "F1", "kind": HOSTILE, "origin": HOSTILE, "room": "R002-002"}
    feature |= {"note": HOSTILE, "survey": WALLS, "season": "2031", "line": HOSTILE}
    features = layer("features", [feature], [shapely.Point(2, 2)])
    reading = readings(HOSTILE).assign(who=HOSTILE, why=HOSTILE, certainty=HOSTILE)
    bad = survey(WALLS, HOSTILE, file=HOSTILE)
    whole = {name: moved(one) for name, one in plan(features=features).items()}
    matter = houses(plan=whole, surveys=surveys(bad), interpretations=reading)
    told = ABOUT | dict.fromkeys(("site", "credit", "vertical_datum", "depths"), HOSTILE)
    events = [EVENTS[0] | {"why": HOSTILE}]
    return viewer(matter, events, told)


class Parts(HTMLParser):
    """Notes each element that a browser would see, and the text within styles and scripts."""

    def __init__(self, page):
        super().__init__()
        self.seen, self.code, self.inside = [], [], False
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        self.inside = tag in ("style", "script")
        if self.inside:
            self.code.append([tag, dict(attrs), ""])

    def handle_endtag(self, tag):
        self.inside = False

    def handle_data(self, data):
        if self.inside:
            self.code[-1][2] += data

    def all(self, tag):
        """Return the attributes of every element of a name."""
        return [attrs for name, attrs in self.seen if name == tag]


def as_tree(page) -> Element:
    """Return a page as a tree: it is well-formed XML but for doctype, void elements and code."""
    text = page.removeprefix("<!DOCTYPE html>\n")
    text = re.sub(r"<(style|script)([^>]*)>.*?</\1>", r"<\1\2/>", text, flags=re.DOTALL)
    return ElementTree.fromstring(re.sub(r"<((?:meta|link) [^>]*)>", r"<\1/>", text))
