"""Invented sites drawn by hand, in metres, for the stages from `walls` on.

`CRS` has its origin in mid-ocean at the equator: there the grid's scale is 1 and its north is
true, so that lengths, areas and axes can be checked against the drawing itself.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline import contract, vectors
from wrackline.model import Site, WallSettings
from wrackline.rooms.bed import Bed
from wrackline.rooms.plan import Items, make_plan
from wrackline.rooms.view import prepare
from wrackline.uncertainty import ErrorModel
from wrackline.walls.joining import build_network
from wrackline.walls.linework import ITEM_COLUMNS, LINE_COLUMNS

CRS = "+proj=tmerc +lat_0=0 +lon_0=-30 +k=1 +x_0=0 +y_0=0 +ellps=GRS80 +units=m"
SURVEY = "2031-walls"
NO_BED = Bed()


def site(*, crs=CRS, walls=None, rooms=None, origin=(0.0, 0.0), level=0.0):
    """Return an invented site whose sea level is its datum."""
    return Site.model_validate(
        {
            "schema_version": 1,
            "name": "Drawn (invented)",
            "crs": crs,
            "vertical_datum": "invented",
            "origin": origin,
            "sea_levels": [{"name": "msl", "height_m": level}],
            "depths_below": "msl",
            "walls": walls or {},
            "rooms": rooms or {},
        }
    )


def line_table(lines, *, survey=SURVEY, follows="face", crs=CRS, **columns):
    """Return wall lines, each a list of (x, y) or (x, y, z), as the stage `walls` takes them."""
    data = {name: [None] * len(lines) for name in LINE_COLUMNS}
    surveys = [survey] * len(lines) if isinstance(survey, str) else list(survey)
    data |= {
        "survey": surveys,
        "season": [name.split("-")[0] for name in surveys],
        "row": range(1, len(lines) + 1),
        "line_follows": follows,
        "traced_at": "top",
        "repeats": "",
        "thickness_m": np.nan,
        "thickness_sd_m": np.nan,
        "pole_width_m": np.nan,
        "pole_width_sd_m": np.nan,
        "from_date": "2031-06-01",
        "to_date": "2031-06-02",
        **columns,
    }
    shapes = [_line(line) for line in lines]
    table = gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=crs), crs=crs)
    return vectors.conform(table, LINE_COLUMNS)


def _line(points):
    """Return a LineStringZ; points without a height get NaN, as the stage `fit` writes them."""
    xyz = np.asarray([[*p, np.nan] if len(p) == 2 else [*p] for p in points], dtype=float)
    return shapely.linestrings(xyz)


def items(rows=(), *, crs=CRS, survey="2031-items"):
    """Return features or floor points: each row a dict with `geometry` and any item column."""
    if not rows:
        return vectors.empty(ITEM_COLUMNS, crs)
    blank = dict.fromkeys(ITEM_COLUMNS) | {"survey": survey, "season": "2031", "row": 1}
    blank |= {"thickness_m": np.nan, "thickness_sd_m": np.nan}
    table = gpd.GeoDataFrame(pd.DataFrame([blank | row for row in rows]), crs=crs)
    return vectors.conform(table, ITEM_COLUMNS)


def models_of(table, **errors):
    """Return an error model of equal size for every survey in a table."""
    given = {"random_horizontal": 0.03, "random_vertical": 0.02} | errors
    return [ErrorModel(name, **given) for name in dict.fromkeys(table["survey"])]


def network_of(table, **walls):
    """Return the network of wall lines."""
    models = {model.survey: model for model in models_of(table)}
    return build_network(table, models, WallSettings(**walls))


def plan_of(lines, *, features=(), floors=(), bed=NO_BED, where=None, models=None, **drawn):
    """Return the plan of lines as every later stage gets it: typed, numbered by place."""
    where = where or site()
    table = lines if isinstance(lines, gpd.GeoDataFrame) else line_table(lines, **drawn)
    models = models or models_of(table)
    network = build_network(table, {model.survey: model for model in models}, where.walls)
    other = [ErrorModel("2031-items", 0.05, 0.04)]
    things = Items(items(features, crs=where.crs), items(floors, crs=where.crs), other)
    plan = make_plan(prepare(network, models, where), things, bed)
    return {
        layer: vectors.conform(plan[layer], contract.columns(layer))
        for layer in contract.PLAN_LAYERS
    }


def box(west, south, east, north, z=None):
    """Return a rectangle as four walls that meet at its corners."""
    high = () if z is None else (z,)
    corners = [
        (west, south, *high),
        (east, south, *high),
        (east, north, *high),
        (west, north, *high),
    ]
    return [[corners[k], corners[(k + 1) % 4]] for k in range(4)]


def doubled(west, south, east, north, thickness):
    """Return a rectangle's walls as two faces, the inner one first."""
    t = thickness
    return box(west, south, east, north) + box(west - t, south - t, east + t, north + t)
