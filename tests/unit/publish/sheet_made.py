"""Made-up content of plan sheets, and what can be read back from a sheet."""

import re
import zlib

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from matplotlib.text import Text

from wrackline import contract, vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.model import SeaLevel, SheetSet, Site
from wrackline.publish.sheets.content import Content
from wrackline.publish.sheets.sheet import draw_sheet, plan_set

CRS = "EPSG:32625"
E, N = 324400.0, 4207600.0
POINT_MM = 25.4 / 72


def site(**keys):
    """Return the config of an invented site."""
    level = SeaLevel(name="mean sea level", height_m=0.12, sd_m=0.01)
    plain = {
        "schema_version": 1,
        "name": "A quay (invented)",
        "crs": CRS,
        "vertical_datum": "levelling datum of the quay",
        "origin": (E, N),
        "sea_levels": [level],
        "depths_below": "mean sea level",
        "credit": "The quay's friends",
    }
    return Site(**(plain | keys))


def layer(name, rows):
    """Return a layer of the plan from rows of some of its fields."""
    columns = contract.columns(name)
    if not rows:
        return vectors.empty(columns, CRS)
    blank = {field: None for field in columns}
    table = gpd.GeoDataFrame([blank | row for row in rows], geometry="geometry", crs=CRS)
    for field, kind in columns.items():
        if kind == "real":
            table[field] = pd.to_numeric(table[field])
    return vectors.conform(table, columns)


def surveys(**sds):
    """Return the layer `surveys` with wall surveys by name, each with its sd."""
    blank = {field: None for field in contract.columns("surveys")}
    rows = [
        blank
        | {
            "survey": name,
            "technique": f"technique of {name}",
            "holds": "wall_lines",
            "from_date": "2031-06-01",
            "to_date": "2031-06-09",
            "random_horizontal_sd_m": sd,
            "patchy_horizontal_sd_m": 0.0,
        }
        for name, sd in sds.items()
    ]
    return pd.DataFrame(rows, columns=list(contract.columns("surveys")))


def content(shapes, rooms=(), buildings=(), layers=None, **keys):
    """Return a sheet's content: recorded wall lines, rooms and buildings by number."""
    settings = {key: keys.pop(key) for key in list(keys) if key in SheetSet.model_fields}
    walls = [
        {
            "wall": f"W{k}",
            "evidence": "recorded",
            "length_m": s.length,
            "surveys": "2031-walls",
            "geometry": s,
        }
        for k, s in enumerate(shapes)
    ]
    spaces = [
        {"room": name, "kind": "room", "building": "B000-000", "geometry": as_multi(shape)}
        for name, shape in rooms
    ]
    houses = [{"building": name, "geometry": as_multi(shape)} for name, shape in buildings]
    plan = {name: layer(name, []) for name in PLAN_LAYERS}
    plan |= {
        "wall_lines": layer("wall_lines", walls),
        "rooms": layer("rooms", spaces),
        "buildings": layer("buildings", houses),
    }
    plan |= {name: layer(name, rows) for name, rows in (layers or {}).items()}
    plain = {"surveys": surveys(**{"2031-walls": 0.02}), "site": site(), "season": "2031"}
    plain |= {"settings": SheetSet(**{"paper": "A3", **settings})}
    return Content(plan, **(plain | keys))


def as_multi(shape):
    """Return an area as one of several parts."""
    return shape if shape.geom_type == "MultiPolygon" else shapely.MultiPolygon([shape])


def three_d(line, height=-1.0):
    """Return a line with one height."""
    return shapely.LineString([(*xy, height) for xy in shapely.get_coordinates(line)])


def block(count, **keys):
    """Return a raster of houses of one room of 4 by 3 m, with their walls."""
    walls, rooms, houses = [], [], []
    for i in range(count):
        for j in range(count):
            x, y = E + 5 * i, N + 4 * j
            shape = shapely.box(x, y, x + 4, y + 3)
            rooms.append((f"R{5 * i:03d}-{4 * j:03d}", shape))
            houses.append((f"B{5 * i:03d}-{4 * j:03d}", shape))
            walls.append(three_d(shape.exterior))
    return content(walls, rooms, houses, **keys)


def texts_of(planned):
    """Return all texts of a sheet, as drawn."""
    return [text.get_text() for text in draw_sheet(planned).findobj(Text) if text.get_text()]


def words_of(made, name="plan", page=0):
    """Return all words of one sheet of a set, in one string; lines are joined."""
    return " ".join(texts_of(plan_set(made, name)[page]))


def spans_in_pdf(path):
    """Return lengths of all straight two-point paths in a PDF's page [mm]."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", path.read_bytes(), re.S)
    number = rb"(-?\d+(?:\.\d+)?)"
    found = []
    for stream in streams:
        try:
            text = zlib.decompress(stream)
        except zlib.error:
            continue
        path_of_two = number + rb" " + number + rb" m\s+" + number + rb" " + number + rb" l\s+S"
        found += [tuple(map(float, four)) for four in re.findall(path_of_two, text)]
    ends = np.array(found)
    return np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]) * POINT_MM


def spans_in_svg(path):
    """Return lengths of all straight two-point paths in an SVG [mm], by its size in points."""
    text = path.read_text()
    width, box = re.search(r'width="([\d.]+)pt".*?viewBox="0 0 ([\d.]+) ', text, re.S).groups()
    ends = re.findall(r'd="M ([\d.]+) ([\d.]+)\s+L ([\d.]+) ([\d.]+)\s*"', text)
    xy = np.array(ends, dtype=float)
    scale = float(width) / float(box)
    return np.hypot(xy[:, 2] - xy[:, 0], xy[:, 3] - xy[:, 1]) * POINT_MM * scale
