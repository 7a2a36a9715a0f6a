"""Blunders in drawn items: crossings, doublings, slivers, heights that are none; and honest ones.

What is honest and what is a blunder is common practice, no source.
"""

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from items_read import CRS, E0, N0, kinds, read_file

from wrackline.model import Vertical


def shape(points, z=-2.0, make=shapely.LineString):
    return make([(E0 + p[0], N0 + p[1], p[2] if len(p) > 2 else z) for p in points])


def drawn(folder, shapes, columns=None, **more):
    table = gpd.GeoDataFrame(columns or {}, geometry=list(shapes), crs=CRS)
    pyogrio.write_dataframe(table, folder / "items.gpkg")
    return read_file(folder, "items.gpkg", **more)


def place(x, y):
    return (E0 + x, N0 + y)


HONEST = {
    "a closed room": [(0, 0), (4, 0), (4, 3), (0, 3), (0, 0)],
    "a room that runs over its corner": [(0, -0.1), (4, -0.1), (4, 3), (0, 3), (0, -0.3)],
    "an end that meets its own wall": [(0, 0), (6, 0), (6, 3), (3, 3), (3, 0)],
    "the end of a wall, both faces": [(0, 0), (5, 0), (5, 0.5), (0, 0.5)],
    "scatter of points on one place": [(0, 0), (2, 0), (1.95, 0), (4, 0)],
}


@pytest.mark.parametrize("case", HONEST)
def test_honest_walls_are_not_accused(tmp_path, case):
    """Walls as they are traced give no suspicion."""
    _, verdict = drawn(tmp_path, [shape(HONEST[case])])
    assert kinds(verdict) == ([], [])


def test_a_line_that_crosses_itself_is_named_with_the_place(tmp_path):
    """Two corners in the wrong order make a line cross itself in the middle."""
    _, verdict = drawn(tmp_path, [shape([(0, 0), (4, 4), (4, 0), (0, 4), (0, 0)])])
    assert [(s.kind, s.row, s.place) for s in verdict.suspicions] == [
        ("self_crossing", 1, place(2, 2))
    ]


def test_a_line_that_turns_back_is_named_with_the_place(tmp_path):
    """A point in the wrong order makes a line run back along itself."""
    _, verdict = drawn(tmp_path, [shape([(0, 0), (3, 0), (1, 0), (5, 0)])])
    assert kinds(verdict) == ([], ["backtracking"])
    assert verdict.suspicions[0].place == place(3, 0)


def test_lines_drawn_over_others_are_left_out(tmp_path):
    """A twin half a millimetre off, and a line that is part of another, are named and left out."""
    walls = [
        shape([(0, 0), (5, 0), (5, 3)]),
        shape([(5, 3), (5.0004, 0), (0, 0.0004)]),
        shape([(1, 0), (3, 0)]),
        shape([(1, 0.01), (3, 0.01)]),
    ]
    items, verdict = drawn(tmp_path, walls)
    assert [(s.kind, s.row) for s in verdict.suspicions] == [
        ("line_twice", 2),
        ("line_inside_another", 3),
    ]
    assert items["row"].tolist() == [1, 4]


def heights(folder, values, **more):
    points = [shape([(k, 0, z)], make=lambda p: shapely.Point(p[0])) for k, z in enumerate(values)]
    return drawn(folder, points, holds="features", **more)


def test_a_zero_among_heights_far_from_it_is_doubted(tmp_path):
    """A height of exactly 0 where all others are two metres away is named with its row."""
    _, verdict = heights(tmp_path, [-2.1, -2.3, 0.0, -2.2, -2.0, -1.9])
    assert [(s.kind, s.row, s.place) for s in verdict.suspicions] == [
        ("zero_height", 3, place(2, 0))
    ]


@pytest.mark.parametrize(
    "values",
    [
        pytest.param([0.1, -0.2, 0.0, 0.3, -0.1], id="heights near zero"),
        pytest.param([-3.0, -0.2, 0.0, -1.5, -2.4], id="a slope down from zero"),
        pytest.param([0, 0, 0, 1, 1, 1], id="whole metres"),
        pytest.param([100.0, 99.0, 98.5, 100.8, 105.9], id="another datum"),
        pytest.param([612.0, 612.0, 613.5, 611.0], id="a high datum, one height twice"),
    ],
)
def test_honest_heights_are_not_accused(tmp_path, values):
    """Heights about zero, rounded or from a high datum give no suspicion."""
    _, verdict = heights(tmp_path, values)
    assert kinds(verdict) == ([], [])


def test_a_flat_drawing_is_doubted_once(tmp_path):
    """Heights that are 0 throughout are one suspicion, which says how to state it."""
    _, verdict = heights(tmp_path, [0.0] * 9)
    assert kinds(verdict) == ([], ["zero_height"])
    _, verdict = heights(tmp_path, [0.0] * 9, vertical=Vertical(meaning="none"))
    assert kinds(verdict) == ([], [])


@pytest.mark.parametrize("mark", [-999.0, 999.9, 777.0])
def test_marks_of_a_missing_height_are_refused(tmp_path, mark):
    """Large heights that stand twice, or are nines, are marks of a missing one: a fault a row."""
    _, verdict = heights(tmp_path, [-2.1, mark, -2.2, mark, -2.3])
    assert [(f.kind, f.row) for f in verdict.faults] == [
        ("sentinel_height", 2),
        ("sentinel_height", 4),
    ]


def test_a_spike_of_height_within_a_line_is_doubted(tmp_path):
    """A vertex two metres above both its neighbours is named; a step of two metres is not."""
    spike = [(k, 0, -2.1 + (2.0 if k == 4 else 0.0)) for k in range(9)]
    step = [(k, 5, -2.1 + (2.0 if k > 4 else 0.0)) for k in range(9)]
    _, verdict = drawn(tmp_path, [shape(spike), shape(step)])
    assert [(s.kind, s.row, s.place) for s in verdict.suspicions] == [
        ("height_spike", 1, place(4, 0))
    ]


def test_noisy_walls_on_a_slope_are_not_accused(tmp_path):
    """Of 400 walls traced with 5 cm of scatter on falling ground, none is doubted."""
    rng = np.random.default_rng(20310601)
    walls = []
    for k in range(400):
        x = np.arange(8) * 0.7
        z = -1.0 - 0.3 * x - 0.01 * k + rng.normal(0, 0.05, 8)
        y = (k % 40) * 3 + rng.normal(0, 0.03, 8)
        walls.append(shape(np.column_stack([x + (k // 40) * 9, y, z])))
    items, verdict = drawn(tmp_path, walls)
    assert kinds(verdict) == ([], [])
    assert len(items) == 400


RING = [(0, 0), (4, 0), (4, 2), (0, 2), (0, 0)]


def test_outlines_of_trenches_become_polygons(tmp_path):
    """Polygons and closed lines are outlines alike."""
    shapes = [shape(RING), shape([(x + 9, y) for x, y in RING], make=shapely.Polygon)]
    items, verdict = drawn(tmp_path, shapes, holds="trench_outlines")
    assert kinds(verdict) == ([], [])
    assert items.geom_type.tolist() == ["Polygon", "Polygon"]
    assert items.geometry.area.tolist() == [8.0, 8.0]


@pytest.mark.parametrize(
    ("points", "kind", "severity"),
    [
        ([(0, 0), (4, 4), (4, 0), (0, 4), (0, 0)], "invalid_ring", "fault"),
        ([(0, 0), (4, 0), (4, 2), (0, 2), (0, 1)], "open_outline", "fault"),
        ([(0, 0), (4, 0), (4, 0.02), (0, 0.02), (0, 0)], "sliver", "suspicion"),
    ],
)
def test_outlines_that_hold_no_ground_are_named(tmp_path, points, kind, severity):
    """Outlines that cross themselves, are open or are slivers are named with their place."""
    _, verdict = drawn(tmp_path, [shape(points)], holds="trench_outlines")
    found = [(f.kind, f.severity) for f in [*verdict.faults, *verdict.suspicions]]
    assert (kind, severity) in found
    assert [f.place for f in [*verdict.faults, *verdict.suspicions] if f.kind == kind] != [None]


PROBES = "easting,northing,height,met,to_depth_m\n"


def probes(folder, *rows, header=PROBES, **more):
    lines = [f"{E0 + k},{N0},{row}" for k, row in enumerate(rows)]
    (folder / "probes.csv").write_text(header + "\n".join(lines) + "\n")
    return read_file(folder, "probes.csv", holds="probes", **more)


def test_probes_lie_at_what_they_met(tmp_path):
    """A probe met the floor as far below the bed as the deposit is thick."""
    items, verdict = probes(tmp_path, "-2.5,floor,0.75", "-2.5,rock,0", "-2.5,Nothing,1.5")
    assert kinds(verdict) == ([], [])
    assert [point.z for point in items.geometry] == [-3.25, -2.5, -4.0]
    assert items["kind"].tolist() == ["floor", "rock", "nothing"]
    assert items["evidence"].unique().tolist() == ["probe"]
    assert items["thickness_m"].tolist() == [0.75, 0, 1.5]


def test_probed_depths_count_downwards(tmp_path):
    """Where the survey gives depths, the deposit's thickness adds to them."""
    vertical = Vertical(meaning="depth_below_datum")
    items, _ = probes(tmp_path, "2.5,floor,0.75", vertical=vertical)
    assert items.geometry.iloc[0].z == 3.25


@pytest.mark.parametrize(
    ("row", "kind"),
    [
        ("-2.5,floor,-0.4", "bad_thickness"),
        ("-2.5,floor,40", "bad_thickness"),
        ("-2.5,flor,0.4", "unknown_met"),
        ("-2.5,,0.4", "unknown_met"),
    ],
)
def test_probes_that_cant_be_are_refused(tmp_path, row, kind):
    """Thicknesses below 0 or beyond 20 m, and unknown words for what was met, are faults."""
    _, verdict = probes(tmp_path, "-2.5,floor,0.75", row)
    assert [(f.kind, f.row) for f in verdict.faults] == [(kind, 3)]


def test_a_probe_without_thickness_is_left_out(tmp_path):
    """Its bed's height would be taken for the floor's; without such a column it is the floor's."""
    items, verdict = probes(tmp_path, "-2.5,floor,0.75", "-2.5,floor,")
    assert (len(items), kinds(verdict)) == (1, ([], ["no_thickness"]))
    items, verdict = probes(tmp_path, "-2.5,floor", header="easting,northing,height,met\n")
    assert (items.geometry.iloc[0].z, kinds(verdict)) == (-2.5, ([], []))
