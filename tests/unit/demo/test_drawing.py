"""What is drawn off photographs: exact in truth, measured with the survey's errors alone."""

from pathlib import Path

import numpy as np
import pytest
import shapely
import yaml

from wrackline.demo.drawing import Drawn, details, drawn_things, places_of
from wrackline.demo.fieldwork import Fieldwork
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.town import settled

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def town():
    """Return the whole demo's truth as geometry."""
    text = (ROOT / "config" / "demo.yaml").read_text(encoding="utf-8")
    return Hamlet(settled(yaml.safe_load(text)))


@pytest.fixture(scope="module")
def drawn(town):
    """Return all that can be drawn of the demo's town, by kind."""
    found: dict[str, list[Drawn]] = {}
    for one in drawn_things(town):
        found.setdefault(one.kind, []).append(one)
    return found


def test_stones_lie_where_walls_have_fallen_and_on_no_other(town, drawn):
    """Of 0.2 to 1 m each way, apart from each other, within ground that lost its walls."""
    stones = [one.shape for one in drawn["stone"]]
    ground = town.lost_ground
    assert len(stones) > 10
    assert all(ground.contains(stone) for stone in stones)
    assert all(0.1 < np.ptp(shapely.get_coordinates(stone), axis=0).max() < 1 for stone in stones)
    tree = shapely.STRtree(stones)
    assert len(tree.query(stones, predicate="intersects")[0]) == len(stones)


def test_hachures_run_down_from_top_to_foot(town, drawn):
    """Each starts higher than it ends, by the bed under both ends, and crosses no house."""
    strokes = drawn["hachure"]
    fall = [places_of(one, town, moved=True)[[0, -1], 2] for one in strokes]
    assert len(strokes) > 15
    assert all(top > foot for top, foot in fall)
    built = shapely.union_all([house.footprint for house in town.houses.values()])
    assert not any(one.shape.intersects(built) for one in strokes)


def test_sections_run_lengthwise_through_trenches(town, drawn):
    """Named A, B and C; each halves a trench of 1 by 2 m and goes on beyond it at both ends."""
    trenches = [outline for outline, _ in town.trenches]
    assert [one.line for one in drawn["section line"]] == ["A", "B", "C"]
    for one in drawn["section line"]:
        (cut,) = [trench for trench in trenches if one.shape.crosses(trench)]
        assert one.shape.intersection(cut).length == pytest.approx(2.0)
        halves = shapely.ops.split(cut, one.shape).geoms
        assert [half.area for half in halves] == pytest.approx([1.0, 1.0])
        assert one.shape.length == pytest.approx(3.0)


def test_marks_have_no_origin_and_stones_were_built(drawn):
    """A stroke of the pencil is of nobody's time."""
    origins = {kind: {one.origin for one in found} for kind, found in drawn.items()}
    assert origins == {"stone": {"built"}, "hachure": {""}, "section line": {""}}


def test_the_survey_measures_them_with_its_errors(town):
    """Places are off by 2 cm, heights by 3 cm, and by the benchmark's error, as the truth says."""
    table = details(Fieldwork(town, "details"))
    true = {one.line: places_of(one, town, moved=True) for one in drawn_things(town)}
    off = []
    for row in table.itertuples():
        xyz = shapely.get_coordinates(row.geometry, include_z=True)
        xyz = xyz[:-1] if row.geometry.geom_type == "Polygon" else xyz
        off.append(xyz - true[row.line])
    off = np.concatenate(off) - [0.012, -0.009, 0.016]
    count = len(off)
    within = 4 * np.array([0.02, 0.02, 0.03])  # 4 sds of the mean, and of the sd, of so many
    assert (np.abs(off.mean(axis=0)) < within / np.sqrt(count)).all()
    np.testing.assert_allclose(off.std(axis=0), [0.02, 0.02, 0.03], rtol=4 / np.sqrt(2 * count))
