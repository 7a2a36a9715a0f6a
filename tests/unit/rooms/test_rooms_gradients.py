"""Analytic gradients against the whole measurement done anew with every vertex moved a little.

An sd is honest only if its gradient is that of the figure printed. So all surveyed vertices are
moved at random, by about a tenth of a millimetre each way; network, faces, floors and tables are
built anew, and the change of the printed figure is held against the gradient behind its sd. For
this the node grid, which rounds crossings to 1 mm, is made a million times finer.
"""

from itertools import pairwise

import numpy as np
import pytest
from drawn import line_table, models_of, plan_of, site

from wrackline.rooms import figures
from wrackline.rooms.building_rows import buildings_in, top_figure
from wrackline.rooms.openings import openings_of
from wrackline.rooms.rooms import floor_figure, long_axis, outlined, spaces_of
from wrackline.rooms.view import prepare
from wrackline.rooms.walls import thickness_figure
from wrackline.walls.joining import build_network

STEP, MOTIONS = 1e-4, 4
HEIGHTS = (-2.0, -1.6, -2.3, -1.9)
PRINTED = {
    "floor": ("rooms", "floor_area_m2", 1.0),
    "room axis": ("rooms", "axis_deg", -180 / np.pi),
    "thickness": ("wall_bodies", "thickness_m", 1.0),
    "width": ("openings", "width_m", 1.0),
    "footprint": ("buildings", "footprint_m2", 1.0),
    "building axis": ("buildings", "axis_deg", -180 / np.pi),
    "top": ("buildings", "top_depth_m", -1.0),
}
"""By figure: layer, field, and what one unit of the analytic figure is in the printed one."""


@pytest.fixture(autouse=True)
def _fine_nodes(monkeypatch):
    for module in ("walls.planar", "walls.joining", "walls.network", "rooms.walls"):
        monkeypatch.setattr(f"wrackline.{module}.NODE_M", 1e-9)
    monkeypatch.setattr("wrackline.rooms.floors.CUT_M", 1e-10)


def shaken(lines, seed=5, size=0.02):
    """Return lines with heights that differ and places off the drawing by some centimetres."""
    rng = np.random.default_rng(seed)
    out = []
    for line in lines:
        xyz = np.array([[*p[:2], HEIGHTS[k % 4]] for k, p in enumerate(line)])
        out.append(xyz + rng.normal(0, size, xyz.shape))
    return out


def view_of(table, where):
    models = models_of(table)
    network = build_network(table, {m.survey: m for m in models}, where.walls)
    return prepare(network, models, where)


def analytic(view):
    """Return the gradient of every figure on every vertex, by figure, each shape (rows, n, 3)."""
    spaces, wholes = spaces_of(view), buildings_in(view)
    ends = view.network.edges
    doors = openings_of(view.network, view.faces, view.kind, view.site.walls.wall_max_thickness_m)
    found = {
        "floor": [floor_figure(view, s) for s in spaces if s.floor is not None],
        "room axis": [long_axis(ends[s.edges], s.edges) for s in spaces],
        "thickness": [thickness_figure(view, k) for k in np.flatnonzero(view.kind == "body")],
        "width": [figures.length(ends[o.edges], o.edges) for o in doors],
        "footprint": [
            outlined(view, w.edges[w.side != 0], w.side[w.side != 0], w.footprint)
            for w in wholes
            if w.footprint is not None
        ],
        "building axis": [figures.axis(ends[w.edges], w.edges, 4) for w in wholes],
        "top": [figure for w in wholes if (figure := top_figure(view, w.edges)) is not None],
    }
    return {name: np.array([_full(view, f) for f in those]) for name, those in found.items()}


def _full(view, figure):
    full = np.zeros_like(view.network.work.xyz)
    vertices, gradient = view.ground.on_vertices(figure)
    full[vertices] = gradient
    return full


def printed(lines, where, drawn):
    plan = plan_of(lines, where=where, **drawn)
    return {
        name: plan[layer][field].to_numpy(float) / unit
        for name, (layer, field, unit) in PRINTED.items()
    }


def check(lines, *, there, size=0.02, share=2e-4, **drawn):
    """Hold every figure's gradient to the change along random motions of all vertices at once."""
    where = site()
    lines = shaken(lines, size=size)
    gradients = analytic(view_of(line_table(lines, **drawn), where))
    for name in there:
        assert len(gradients[name]) > 0, name
    rng = np.random.default_rng(11)
    for _ in range(MOTIONS):
        motion = [rng.normal(size=line.shape) for line in lines]
        ahead, back = (
            printed([x + sign * STEP * d for x, d in zip(lines, motion, strict=True)], where, drawn)
            for sign in (1, -1)
        )
        for name, gradient in gradients.items():
            if len(gradient):
                expected = (gradient * np.concatenate(motion)).sum(axis=(1, 2))
                off = share * np.sqrt((gradient**2).sum(axis=(1, 2)).max())
                change = (ahead[name] - back[name]) / (2 * STEP)
                np.testing.assert_allclose(change, expected, rtol=0, atol=off, err_msg=name)


def frame(west, south, east, north, over=0.2):
    """Return a rectangle's walls, each led beyond its corners (or short of them) by `over`."""
    return [
        [(west - over, south), (east + over, south)],
        [(east, south - over), (east, north + over)],
        [(east + over, north), (west - over, north)],
        [(west, north + over), (west, south - over)],
    ]


SOUTH_WEST_NORTH = frame(0, 0, 4, 3)[1:]
L_SHAPE = [(0, 0), (6, 0), (6, 2), (3, 2), (3, 5), (0, 5), (0, 0)]
L_WALLS = [list(pair) for pair in pairwise(L_SHAPE)]


@pytest.mark.parametrize(
    "lines",
    [
        pytest.param(frame(0, 0, 4, 3), id="walls that cross"),
        pytest.param(frame(0, 0, 4, 3, -0.1), id="corners closed by extension"),
        pytest.param([[(0, 0), (2, 0.05), (4, 0), (4, 3), (0, 3), (0, 0.1)]], id="one polyline"),
        pytest.param([*SOUTH_WEST_NORTH, [(0.2, 0), (3.8, 0)]], id="ends extended to walls"),
    ],
)
def test_area_axes_and_height_move_as_their_gradients_say(lines):
    """Area, axes and mean height of a room change with each vertex as their gradients say."""
    check(lines, there=("floor", "room axis", "footprint", "building axis", "top"))


@pytest.mark.parametrize(
    "wall",
    [
        pytest.param([[(-0.3, 0), (1.3, 0)], [(2.3, 0.03), (4.3, 0)]], id="between two ends"),
        pytest.param([[(0.9, 0), (4.3, 0)]], id="between an end and a wall"),
    ],
)
def test_a_doorways_width_moves_with_both_its_sides(wall):
    """The width of a doorway changes with the ends, or with the end and the wall, beside it."""
    check([*SOUTH_WEST_NORTH, *wall], there=("width", "floor", "top"))


def test_thickness_moves_as_its_gradient_says():
    """The mean thickness of a wall between two faces changes as its gradient says."""
    check(frame(0, 0, 4, 3) + frame(-0.5, -0.5, 4.5, 3.5, -0.1), there=("thickness", "footprint"))


def test_a_foot_slides_along_its_wall():
    """A room closed by a foot on the nearest wall changes as its gradient says."""
    spur = [(2, 0.25), (2.6, 0.26), (2.9, 0.3), (3.6, 0.3)]
    check([*SOUTH_WEST_NORTH, [(-0.3, 0), (4.3, 0)], spur], there=("thickness",))


@pytest.mark.parametrize(
    ("lines", "thickness"),
    [
        pytest.param([*frame(0, 0, 8, 4), [(3.5, -0.1), (3.5, 4.1)]], 0.5, id="two rooms"),
        pytest.param(frame(0, 0, 8, 4), [0.5, 0.7, 0.4, 0.9], id="walls of four thicknesses"),
        pytest.param(L_WALLS, [0.5, 0.7, 0.4, 0.6, 0.9, 0.3], id="L-shape"),
    ],
)
def test_floors_and_footprints_move_as_their_gradients_say(lines, thickness):
    """Floors and footprints beside wall centres change with each vertex as their gradients say."""
    drawn = {"follows": "centre", "thickness_m": thickness, "thickness_sd_m": 0.0}
    check(lines, there=("floor", "footprint"), share=2e-3, **drawn)


def test_where_a_thin_wall_runs_on_as_a_thick_one_the_jog_moves_too():
    """A wall whose thickness changes midway gives its floor a gradient right to 2 %."""
    walls = [*SOUTH_WEST_NORTH, [(-0.2, 0), (2, 0)], [(2.1, 0), (5.2, 0)]]
    drawn = {"follows": "centre", "thickness_m": [0.5, 0.5, 0.5, 0.5, 0.9], "thickness_sd_m": 0.0}
    check(walls, there=("floor", "footprint"), size=0.004, share=0.02, **drawn)


@pytest.mark.parametrize(
    "widths",
    [
        pytest.param([0.1] * 8, id="both faces by pole"),
        pytest.param([0.1] * 4 + [np.nan] * 4, id="inner face by pole"),
        pytest.param([np.nan] * 4 + [0.1] * 4, id="outer face by pole"),
    ],
)
def test_outlines_off_faces_traced_by_pole_move_as_their_gradients_say(widths):
    """Floors, bodies and footprints corrected for a pole change with each vertex as they say."""
    lines = frame(0, 0, 4, 3) + frame(-0.5, -0.5, 4.5, 3.5, -0.1)
    check(lines, there=("floor", "thickness", "footprint"), share=2e-3, pole_width_m=widths)


def test_outlines_between_centres_and_faces_traced_by_pole_move_as_their_gradients_say():
    """A floor moved in from two walls' centres and out from two faces changes as it says."""
    drawn = {
        "follows": ["centre", "face", "face", "centre"],
        "thickness_m": [0.5, np.nan, np.nan, 0.7],
        "thickness_sd_m": 0.0,
        "pole_width_m": [np.nan, 0.1, 0.1, np.nan],
    }
    check(frame(0, 0, 4, 3), there=("floor", "footprint"), share=2e-3, **drawn)
