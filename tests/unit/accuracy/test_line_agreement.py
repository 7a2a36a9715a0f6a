"""Walls traced twice."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from cross_sites import make

from wrackline.accuracy.line_agreement import (
    along,
    lines_of,
    match,
    near_lines,
    wall_level,
    wall_shift,
)
from wrackline.uncertainty import ErrorModel, NamedError

SURVEY = make(1).surveys["2031-walls"]
STILL = ErrorModel("still", 0.01, 0.01)


def huts(move=lambda xyz: xyz, model=STILL, survey=SURVEY, name="2031-walls"):
    """Return four huts of two faces each, moved."""
    shapes = []
    for east, north in ((0, 0), (40, 5), (8, 33), (37, 30)):
        for grow in (0.0, 0.6):
            ring = shapely.box(east - grow, north - grow, east + 6 + grow, north + 4 + grow)
            turned = shapely.affinity.rotate(ring, east + 10, origin=(east, north)).exterior
            xyz = np.column_stack([shapely.get_coordinates(turned), np.full(5, -3.0)])
            shapes.append(shapely.LineString(move(xyz)))
    return lines_of(name, survey, model, gpd.GeoDataFrame(geometry=shapes))


def test_exact_shift_is_found():
    """Two equal tracings, one moved by (0.12, -0.09) m, differ by just that."""
    moved = huts(lambda xyz: xyz + np.array([0.12, -0.09, 0.0]), name="2032-walls")
    shift, turn = wall_shift(match(moved, huts()))
    assert shift.numbers == pytest.approx((0.12, -0.09), abs=1e-6)
    assert turn.numbers[0] == pytest.approx(0.0, abs=1e-6)
    assert (shift.newer, shift.older) == ("2032-walls", "2031-walls")


def test_turn_is_found_about_the_middle():
    """A turn of 0.2 degrees anticlockwise is found as such, and no shift of the middle."""
    angle = np.radians(0.2)
    turned = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    centre = np.array([22.0, 20.0])

    def move(xyz):
        return np.column_stack([(xyz[:, :2] - centre) @ turned + centre, xyz[:, 2]])

    shift, turn = wall_shift(match(huts(move), huts()))
    assert turn.numbers[0] == pytest.approx(angle, rel=0.02)
    assert np.abs(shift.numbers).max() < 0.02


def test_level_is_found():
    """Tops 0.15 m higher in one tracing differ by 0.15 m."""
    found = wall_level(match(huts(lambda xyz: xyz + np.array([0, 0, 0.15])), huts()))
    assert found.numbers == pytest.approx((0.15,))


def test_shared_cause_cancels():
    """A benchmark that both tracings rest on adds nothing to the sd of their shift."""
    mark = NamedError("benchmark:easting", "easting", 0.5)
    both = ErrorModel("a", 0.01, 0.01, named=(mark,))
    alone = wall_shift(match(huts(model=both), huts()))[0].budgets[0].sd
    shared = wall_shift(match(huts(model=both), huts(model=both)))[0].budgets[0].sd
    assert alone > 0.5
    assert shared < 0.05


def test_other_face_is_not_taken():
    """A face moved by a third of the wall's thickness is still held against itself."""
    shift, _ = wall_shift(match(huts(lambda xyz: xyz + np.array([0.2, 0, 0])), huts()))
    assert shift.numbers == pytest.approx((0.2, 0.0), abs=1e-6)


def test_what_cannot_be_compared():
    """Lines along centres, walls elsewhere and no walls at all give no comparison."""
    centres = SURVEY.model_copy(update={"line_follows": "centre"})
    assert match(huts(survey=centres), huts()) is None
    assert match(huts(lambda xyz: xyz + np.array([500.0, 0, 0])), huts()) is None
    none = lines_of("a", SURVEY, STILL, gpd.GeoDataFrame(geometry=[]))
    assert match(none, huts()) is None
    assert near_lines([none], 1.0).shape == (0, 2)


def test_no_heights_no_level():
    """Walls without heights have a shift but no level."""
    flat = huts(lambda xyz: xyz * [1, 1, np.nan])
    assert wall_level(match(flat, huts())) is None
    assert wall_shift(match(flat, huts())) is not None


def test_walls_of_one_direction_fix_no_shift():
    """Parallel walls say nothing of a shift along them, so none is given."""
    shapes = [shapely.LineString([(0, y, 0), (9, y, 0)]) for y in range(0, 40, 5)]
    walls = lines_of("a", SURVEY, STILL, gpd.GeoDataFrame(geometry=shapes))
    assert wall_shift(match(walls, walls)) is None


def test_places_along_lines():
    """Places lie evenly on the line, no further apart than asked for."""
    shape = shapely.LineString([(0, 0, 0), (2, 0, 2), (2, 0, 2)])
    xyz, way, line = along(lines_of("a", SURVEY, STILL, gpd.GeoDataFrame(geometry=[shape])), 0.5)
    assert xyz.tolist() == [[0.25, 0, 0.25], [0.75, 0, 0.75], [1.25, 0, 1.25], [1.75, 0, 1.75]]
    assert way.tolist() == [[1.0, 0.0]] * 4
    assert line.tolist() == [0] * 4
