"""The layer of tracings: numbers of walls, lengths on the ground, and why a field is empty."""

import geopandas as gpd
import pytest
import shapely

from wrackline import vectors
from wrackline.publish.tracings import tracing_layer
from wrackline.walls.accounts import TRACING_COLUMNS

CRS = "EPSG:32633"
ENDS = [(431000, 4300000, -2.0), (431008, 4300000, -2.0)]


def tracings(*rows):
    """Return a table of tracings: each row a dict of some of its columns."""
    whole = {
        **dict.fromkeys(TRACING_COLUMNS),
        "survey": "2032-walls",
        "season": "2032",
        "row": 1,
        "standing": False,
        "weight": 0.3,
        "length_m": 8.0,
        "off_m": 0.01,
        "off_sd_m": 0.02,
        "disagrees": False,
        "why": "",
    }
    table = gpd.GeoDataFrame([whole | row for row in rows])
    shapes = gpd.GeoSeries([shapely.LineString(ENDS)] * len(rows), crs=CRS)
    return vectors.conform(table.set_geometry(shapes), TRACING_COLUMNS)


def walls(*named):
    """Return numbered wall lines: (number, lines, evidence)."""
    data = [dict(zip(("wall", "lines", "evidence"), one, strict=True)) for one in named]
    return gpd.GeoDataFrame(data, geometry=[shapely.LineString(ENDS)] * len(data), crs=CRS)


def test_a_tracing_has_the_number_of_its_wall():
    """The wall is the recorded one that stands by the named line; a closing between is none."""
    plan = walls(
        ("W002-001", "2031-walls/A1", "inferred"), ("W001-001", "2031-walls/A1", "recorded")
    )
    (row,) = tracing_layer(tracings({"line": "7", "wall_line": "2031-walls/A1"}), plan).itertuples()
    assert (row.wall, row.line, row.null_because) == ("W001-001", "2032-walls/7", "")


def test_lengths_are_on_the_ground():
    """The grid's scale is taken out: near 0.9996 x (1 + 0.5 (69 km / 6370 km)^2) of UTM there."""
    plan = walls(("W001-001", "2031-walls/A1", "recorded"))
    (length,) = tracing_layer(tracings({"wall_line": "2031-walls/A1"}), plan)["length_m"]
    assert length == pytest.approx(8 / (0.9996 * (1 + 0.5 * (69 / 6370) ** 2)), abs=2e-5)


def test_what_is_not_known_says_why():
    """No offset: the reason moves to `null_because` with the fields that are empty."""
    empty = {"off_m": None, "off_sd_m": None, "disagrees": None, "why": "no thickness is stated"}
    plan = walls(("W001-001", "2031-walls/A1", "recorded"))
    (row,) = tracing_layer(tracings({"wall_line": "2031-walls/A1"} | empty), plan).itertuples()
    assert (row.why, row.null_because) == (
        "",
        "off_m, off_sd_m, disagrees: no thickness is stated",
    )
