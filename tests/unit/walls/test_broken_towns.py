"""Rooms from broken walls on small simulated towns of two hands, and what must not change them."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import affinity

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
from broken_walls import MAKERS, joined, make, one_town, spaces
from town_model import Damage

HOUSES, SEED = 20, 2001
MOVES = {
    "moved": lambda line: affinity.translate(line, 1234.5, -987.6),
    "rotated": lambda line: affinity.rotate(line, 37.0, origin=(0, 0)),
    "mirrored": lambda line: affinity.scale(line, -1.0, 1.0, origin=(0, 0)),
    "turned round": lambda line: line.reverse(),
    "same": lambda line: line,
}


@pytest.mark.parametrize(
    ("damage", "least"),
    [
        pytest.param(Damage(noise_m=0, ends_m=0, doors=0, doubled=0), 0.98, id="clean"),
        pytest.param(Damage(), 0.95, id="doorways"),
        pytest.param(Damage(lost=0.25), 0.9, id="damaged"),
    ],
)
@pytest.mark.parametrize("maker", MAKERS)
def test_rooms_come_back_from_broken_centre_lines(maker, damage, least):
    """Nine of ten rooms and more come back where snapping to a grid finds next to none."""
    found, _, common = one_town(maker, damage, HOUSES, SEED)
    assert found.f1 >= least
    assert damage.doors == 0 or common < 0.3


def test_rooms_come_back_from_broken_faces():
    """Floors between faces come back, without bias in their areas."""
    found, _, _ = one_town("own towns", Damage(lost=0.1, faces="face"), HOUSES, SEED)
    assert found.f1 >= 0.9
    assert abs(found.bias) <= 0.01


@pytest.mark.parametrize("move", MOVES)
def test_where_and_how_lines_lie_leaves_no_trace(move):
    """Moved, rotated, mirrored, turned round or in another order: the same rooms, IoU 0.999."""
    town = make("own towns", 8, SEED)
    drawn = MAKERS["own towns"][1](town, Damage(lost=0.1), SEED)
    rooms = spaces(joined(drawn))
    order = np.random.default_rng(5).permutation(len(drawn.lines))
    lines = np.array([MOVES[move](line) for line in drawn.lines[order]], dtype=object)
    again = spaces(joined(replace(drawn, lines=lines, follows=drawn.follows[order])))
    shape = MOVES[move] if move != "turned round" else MOVES["same"]
    wanted = np.array([shape(room) for room in rooms], dtype=object)
    assert len(again) == len(wanted)
    a, b = shapely.STRtree(again).query(wanted, predicate="intersects")
    common = shapely.area(shapely.intersection(wanted[a], again[b]))
    iou = common / (shapely.area(wanted[a]) + shapely.area(again[b]) - common)
    best = np.zeros(len(wanted))
    np.maximum.at(best, a, iou)
    assert best.min() >= 0.999
