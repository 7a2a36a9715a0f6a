"""A small invented site for the tests of the report: one building of two rooms, or less."""

from xml.etree.ElementTree import Element

import geopandas as gpd
import pandas as pd
import shapely
from defusedxml import ElementTree
from drawn import CRS

from wrackline import contract, vectors
from wrackline.publish.report import Report
from wrackline.publish.report_rooms import Houses
from wrackline.uncertainty import Budget

WALLS, SOUNDINGS = "2031-walls", "2031-soundings"
ABOUT = {
    "site": "Drawn (invented)",
    "crs": CRS,
    "units": "metres",
    "vertical_datum": "an invented datum",
    "depths": "below msl",
    "uncertainties": "sd",
    "surveyed": "2031-06-09 to 2031-06-16",
    "credit": "nobody",
    "caution": "Not for navigation.",
}
FEATURE = {"feature": "F002-002", "kind": "hearth", "origin": "built", "room": "R002-002"}


def layer(name, rows=(), shapes=()):
    """Return a layer of the contract; each row is a dict of some of its fields."""
    data = {
        field: pd.Series([row.get(field) for row in rows], dtype=vectors.DTYPES[kind])
        for field, kind in contract.columns(name).items()
    }
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(list(shapes), crs=CRS), crs=CRS)


def line(wall, evidence, ends, **fields):
    """Return a wall line's row and its shape."""
    shape = shapely.LineString(ends)
    row = {"wall": wall, "evidence": evidence, "length_m": shape.length, "surveys": WALLS}
    row |= {"lines": f"{WALLS}/{wall}", "line_follows": "face" if evidence == "recorded" else None}
    return row | fields, shape


def walls():
    """Return the wall lines of two rooms of 4 m by 4 m, one of them closed across a doorway."""
    lines = [
        line("W001", "recorded", [(4, 0), (0, 0), (0, 4), (4, 4), (4, 0)]),
        line("W002", "recorded", [(9, 0), (5, 0), (5, 4), (9, 4)]),
        line("W003", "recorded", [(9, 4), (9, 2.5)]),
        line("W004", "recorded", [(9, 1.5), (9, 0)]),
        line("W009", "inferred", [(9, 2.5), (9, 1.5)], closing="doorway", gap_m=1.0),
    ]
    return layer("wall_lines", *zip(*lines, strict=True))


def rooms():
    """Return two rooms: of one all is known, of the other the floor was not met."""
    common = {"building": "B002-002", "kind": "room", "surveys": WALLS, "recorded_share": 1.0}
    common |= {"first_season": "2031", "last_season": "2031", "axis_deg": 2.0, "axis_sd_deg": 0.3}
    bed = {"bed_depth_m": 3.0, "bed_depth_sd_m": 0.05, "bed_depth_min_m": 2.9}
    bed |= {"bed_depth_max_m": 3.1, "bed_date": "2031-06-12/2031-06-12", "bed_covered_share": 1.0}
    first = {"room": "R002-002", "floor_area_m2": 16.0, "floor_area_sd_m2": 0.2}
    first |= {"floor_depth_m": 3.4, "floor_depth_sd_m": 0.03, "floor_evidence": "excavated"}
    first |= {"lines": "2031-walls/W001;2031-walls/W002;2031-walls/W003"}
    second = {"room": "R007-002", "null_because": "floor_depth_m: no floor was met in it"}
    second |= {"floor_area_m2": 16.5, "floor_area_sd_m2": 0.4, "recorded_share": 0.938}
    second |= {"lines": "2031-walls/W002;2031-walls/W004"}
    shapes = [shapely.box(0, 0, 4, 4), shapely.box(5, 0, 9, 4)]
    return layer("rooms", [common | bed | first, common | bed | second], shapes)


def plan(**layers):
    """Return the plan of the two rooms, some layers in place of its own."""
    building = {"building": "B002-002", "room_count": 2, "surveys": WALLS}
    opening = {"opening": "O009-002", "width_m": 1.0, "width_sd_m": 0.04, "evidence": "possible"}
    opening |= {"joins": "R007-002;outside"}
    whole = {
        "wall_lines": walls(),
        "wall_bodies": layer("wall_bodies"),
        "openings": layer("openings", [opening], [shapely.LineString([(9, 1.5), (9, 2.5)])]),
        "rooms": rooms(),
        "buildings": layer("buildings", [building], [shapely.box(-0.5, -0.5, 9.5, 4.5)]),
        "features": layer("features", [FEATURE], [shapely.Point(2, 2)]),
    }
    return whole | layers


def bare_plan(**layers):
    """Return a plan on which nothing is, some layers apart."""
    return {name: layer(name) for name in contract.PLAN_LAYERS} | layers


def survey(name, technique, **fields):
    """Return a survey's row."""
    row = {"survey": name, "season": "2031", "technique": technique, "holds": "wall_lines"}
    row |= {"from_date": "2031-06-09", "to_date": "2031-06-16", "rows": 9, "used": 7}
    row |= {"file": f"data/{name}.csv", "sha256": "0123456789abcdef" * 4}
    row |= {"random_horizontal_sd_m": 0.03, "random_vertical_sd_m": 0.04}
    return row | fields


def surveys(*rows):
    """Return the layer `surveys`: a total station's walls and soundings, unless told."""
    day = {"from_date": "2031-06-12", "to_date": "2031-06-12", "holds": "bed_points"}
    told = rows or (
        survey(WALLS, "total station"),
        survey(SOUNDINGS, "single-beam echo sounder", **day),
    )
    return pd.DataFrame(layer("surveys", told, [shapely.box(0, 0, 9, 4)] * len(told)))


def table(name, *rows):
    """Return a table of the contract; each row is a dict of some of its fields."""
    return pd.DataFrame(
        [{f: row.get(f) for f in contract.table_columns(name)} for row in rows],
        columns=list(contract.table_columns(name)),
    )


def beds(count=2, causes=None):
    """Return the seabed in so many rooms, alike in each."""
    row = {"cells": 40, "filled_share": 0.25, "surveys": [SOUNDINGS]}
    row["budget"] = Budget(0.01, 0.03, {"gauge_zero:height": 0.04} if causes is None else causes)
    return pd.DataFrame([row] * count)


def deposit(*rows):
    """Return floors met: two points in the first room unless told."""
    fields = ("deposit_m", "deposit_sd_m", "evidence", "survey", "line", "room", "null_because")
    told = rows or (
        (0.35, 0.05, "excavated", "2031-floors", "F001", "R002-002", None),
        (0.45, 0.06, "excavated", "2031-floors", "F002", "R002-002", None),
    )
    return pd.DataFrame(list(told), columns=list(fields))


def adjacency():
    """Return that the two rooms share a wall, and that one leads outside."""
    return table(
        "adjacency",
        {"room_a": "R002-002", "room_b": "R007-002", "shared_wall_length_m": 4.0},
        {"room_a": "R007-002", "room_b": "outside", "opening": "O009-002", "evidence": "possible"},
    )


def houses(**parts):
    """Return the report's matter on rooms, some of it replaced."""
    whole = {"plan": plan(), "surveys": surveys(), "adjacency": adjacency(), "beds": beds()}
    whole |= {"deposit": deposit(), "interpretations": table("interpretations")}
    return Houses(**(whole | parts))


def figure(name, shown):
    """Return one figure of a summary."""
    return {"figure": name, "text": name, "shown": shown, "basis": "the plan"}


def bare_houses(layers):
    """Return the report's matter on a plan of nothing but some layers."""
    nothing = pd.DataFrame({"cells": []})
    empty = deposit().iloc[:0]
    rest = {"adjacency": table("adjacency"), "beds": nothing, "deposit": empty}
    return houses(plan=bare_plan(**layers), **rest)


def report(of=None, **parts):
    """Return a report, some of what it is made from replaced."""
    whole = {
        "about": ABOUT,
        "houses": houses() if of is None else of,
        "summary": {
            "figures": [figure("wall_recorded_m", "31.0 m"), figure("wall_inferred_m", "1.00 m")],
            "sea_level": [],
            "flooding": [],
            "techniques": [],
        },
        "checked": {"suspicions": [], "accepted": []},
        "overlaps": {"pairs": []},
        "audit": {"surveys": [], "notes": []},
        "sources": {"gauge_zero": "the zero of the gauge"},
        "seabed": {},
        "orientation": table("orientation"),
        "set_aside": table("set_aside"),
    }
    return Report(**(whole | parts))


def tree(html) -> Element:
    """Return a page as a tree: it is well-formed XML but for doctype and void elements."""
    text = str(html).removeprefix("<!DOCTYPE html>\n")
    for name in ("style", "script"):
        before, _, rest = text.partition(f"<{name}>")
        text = before + rest.partition(f"</{name}>")[2]
    parts = text.split("<")
    closed = [
        f"{p[: p.index('>')]}/{p[p.index('>') :]}" if p.startswith(("meta ", "img ")) else p
        for p in parts
    ]
    return ElementTree.fromstring("<".join(closed))


def words(element):
    """Return all text of an element."""
    return " ".join("".join(element.itertext()).split())


def cells(element):
    """Return all text of an element, a space between its parts."""
    return " ".join(" ".join(element.itertext()).split())


def section(page, name):
    """Return what stands in the section of a heading."""
    return next(
        one for one in page.iter("section") if any(h.get("id") == name for h in one.findall("h2"))
    )


def card(page, number):
    """Return what is said of a room, by name."""
    (article,) = [one for one in page.iter("article") if one.get("id") == number]
    listed = article.find("dl")
    return dict(
        zip(map(words, listed.findall("dt")), map(words, listed.findall("dd")), strict=True)
    )
