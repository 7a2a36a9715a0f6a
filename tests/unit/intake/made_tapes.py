"""Invented tape books without error: places, and the rows that a book has of them."""

import datetime as dt
from itertools import pairwise

import numpy as np

from wrackline.crs import grid_factors
from wrackline.declination import declination_deg, geodetic
from wrackline.model import ControlValue

CRS = "EPSG:32625"
ORIGIN = np.array([324_400.0, 4_207_600.0])
DAY = dt.date(2029, 6, 9)
HEAD = "measure,from,to,value_m,sd_m,along_m,point,line,date"
PLACES = {  # easting and northing from the origin, height
    "A": (100.0, 100.0, -3.0),
    "B": (124.0, 101.0, -4.0),
    "C": (123.0, 117.0, -5.0),
    "D": (101.0, 116.0, -4.5),
    "W1": (105.0, 104.0, -5.0),
    "W2": (117.0, 105.5, -6.0),
    "W3": (116.0, 112.0, -6.5),
    "W4": (106.0, 111.0, -5.5),
}
MARKS = ("A", "B", "C", "D")
WALLS = ("W1", "W2", "W3", "W4")
SCALE = float(grid_factors(CRS, ORIGIN[:1] + 110, ORIGIN[1:] + 108)[1][0])
CONVERGENCE = float(grid_factors(CRS, ORIGIN[:1] + 110, ORIGIN[1:] + 108)[0][0])
DECLINATION = float(declination_deg(*geodetic(CRS, *(ORIGIN + 110)), [DAY])[0])


def span(a, b):
    """Return the slope distance on the ground between two places."""
    step = np.subtract(PLACES[b], PLACES[a]) / [SCALE, SCALE, 1.0]
    return float(np.linalg.norm(step))


def magnetic(a, b):
    """Return the bearing that a compass without error shows."""
    east, north = np.subtract(PLACES[b], PLACES[a])[:2]
    grid = np.degrees(np.arctan2(east, north))
    return float((grid + CONVERGENCE - DECLINATION) % 360)


def tape(a, b, value=None):
    return f"distance,{a},{b},{span(a, b) if value is None else value:.3f},,,,,"


def depth(a, value=None):
    return f"depth,{a},,{-PLACES[a][2] if value is None else value:.2f},,,,,"


def compass(a, b, value=None):
    return f"bearing,{a},{b},{magnetic(a, b) if value is None else value:.2f},,,,,{DAY}"


def offset(a, b, point, side=None):
    base, arm = (np.subtract(PLACES[k], PLACES[a])[:2] for k in (b, point))
    unit = base / np.linalg.norm(base)
    along, right = arm @ unit / SCALE, arm @ [unit[1], -unit[0]] / SCALE
    return f"offset,{a},{b},{right if side is None else side:.3f},,{along:.3f},{point},,"


def drawn(*names, line="north wall"):
    return [f"line,{a},{b},,,,,{line}," for a, b in pairwise(names)]


TAPES = [tape(mark, wall) for mark in MARKS for wall in WALLS]
TAPES += [tape(a, b) for a, b in (("W1", "W2"), ("W2", "W3"), ("W3", "W4"), ("W4", "W1"))]
TAPES += [tape("A", "B"), tape("B", "C"), tape("C", "D"), tape("D", "A")]
DEPTHS = [depth(wall) for wall in WALLS]
BOOK = [*TAPES, *DEPTHS, *drawn("W1", "W2", "W3", "W4")]
COMPASS = [compass("A", wall) for wall in WALLS] + [compass("B", wall) for wall in WALLS]


def control(*names, sd_m=0.01):
    return tuple(
        ControlValue(
            point=name,
            easting=PLACES[name][0] + ORIGIN[0],
            northing=PLACES[name][1] + ORIGIN[1],
            height=PLACES[name][2],
            sd_m=sd_m,
        )
        for name in names
    )
