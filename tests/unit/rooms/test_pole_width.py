"""Faces traced with a pole: floors, wall bodies and footprints as they would be without it.

Worked by hand (common practice, no source): a pole 0.05 m wide, held against a face, has its axis
0.025 m off it. A room of 4.00 by 3.00 m is traced as 3.95 by 2.95 m, 11.6525 m²; its walls of
0.60 m as 0.65 m; its outer faces of 5.20 by 4.20 m, 21.84 m², as 5.25 by 4.25 m, 22.3125 m².
"""

import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import box, line_table, models_of, network_of, plan_of, site

from wrackline.model import WallSettings
from wrackline.rooms.view import prepare
from wrackline.uncertainty import ErrorModel
from wrackline.walls.joining import settle_walls

POLE, HALF = 0.05, 0.025
WALL, HALF_WALL = 0.6, 0.3
EXACT = {"abs": 1e-6}
SURE = [ErrorModel("2031-walls", 0.0, 0.0)]


def room(width, depth, off=HALF, west=0.0):
    """Return a room's inner faces, traced so far inside them."""
    return box(west + off, off, west + width - off, depth - off)


def outer(width, depth, off=HALF, wall=WALL):
    """Return the outer faces around a room, traced so far outside them."""
    reach = wall + off
    return box(-reach, -reach, width + reach, depth + reach)


def size(plan):
    """Return floor area, perimeter, area to wall centres, thickness and footprint."""
    (floor,), (wall,), (house,) = (plan[n].index for n in ("rooms", "wall_bodies", "buildings"))
    rooms, bodies, buildings = plan["rooms"], plan["wall_bodies"], plan["buildings"]
    fields = ("floor_area_m2", "perimeter_m", "centre_area_m2")
    return [
        *rooms.loc[floor, list(fields)].astype(float),
        float(bodies.loc[wall, "thickness_m"]),
        float(buildings.loc[house, "footprint_m2"]),
    ]


TRUE = [12.0, 14.0, 4.6 * 3.6, 0.6, 21.84]


@pytest.mark.parametrize(
    ("width", "expected"),
    [
        pytest.param(np.nan, [11.6525, 13.8, 4.6 * 3.6, 0.65, 22.3125], id="not stated"),
        pytest.param(0.0, [11.6525, 13.8, 4.6 * 3.6, 0.65, 22.3125], id="the faces themselves"),
        pytest.param(POLE, TRUE, id="stated"),
    ],
)
def test_a_room_traced_with_a_pole_comes_back_to_its_faces(width, expected):
    """The traced room and its walls are corrected by half the stated width along every face."""
    plan = plan_of(room(4, 3) + outer(4, 3), pole_width_m=width)
    assert size(plan) == pytest.approx(expected, **EXACT)


def test_the_published_shapes_are_those_of_the_figures():
    """Floor, body and footprint as shapes end at the faces; the lines stay where they were."""
    drawn = room(4, 3) + outer(4, 3)
    plan = plan_of(drawn, pole_width_m=POLE)
    floor, body, house = (
        plan[name].geometry.iloc[0] for name in ("rooms", "wall_bodies", "buildings")
    )
    whole = shapely.box(-0.6, -0.6, 4.6, 3.6)
    for shape, true in (
        (floor, shapely.box(0, 0, 4, 3)),
        (house, whole),
        (body, whole.difference(shapely.box(0, 0, 4, 3))),
    ):
        assert shapely.symmetric_difference(shape, true).area < 1e-6
    lines = plan["wall_lines"]
    traced = shapely.union_all(lines.geometry[lines["evidence"] == "recorded"].to_numpy())
    given = shapely.union_all([shapely.LineString(line) for line in drawn])
    assert shapely.hausdorff_distance(shapely.force_2d(traced), given) < 1e-9


@pytest.mark.parametrize(
    ("inner_pole", "outer_pole"),
    [pytest.param(True, False, id="inner face"), pytest.param(False, True, id="outer face")],
)
def test_a_wall_with_one_face_by_pole_and_one_off_photographs(inner_pole, outer_pole):
    """Only the face that the pole was held against is moved, so all figures come right."""
    drawn = room(4, 3, HALF * inner_pole) + outer(4, 3, HALF * outer_pole)
    names = ["2031-walls"] * 4 + ["2033-photo"] * 4
    widths = [POLE if inner_pole else np.nan] * 4 + [POLE if outer_pole else np.nan] * 4
    plan = plan_of(drawn, survey=names, pole_width_m=widths)
    assert size(plan) == pytest.approx(TRUE, **EXACT)


def test_beside_wall_centres_and_faces_both_come_right():
    """A floor of 4 by 3 m, two sides traced by the pole, two by the centres of 0.6 m walls."""
    west, south, east, north = HALF, -HALF_WALL, 4 + HALF_WALL, 3 - HALF
    drawn = box(west, south, east, north)
    plan = plan_of(
        drawn,
        survey=["2032-centres", "2032-centres", "2031-walls", "2031-walls"],
        follows=["centre", "centre", "face", "face"],
        thickness_m=[WALL, WALL, np.nan, np.nan],
        thickness_sd_m=[0.0, 0.0, np.nan, np.nan],
        pole_width_m=[np.nan, np.nan, POLE, POLE],
    )
    assert plan["rooms"]["floor_area_m2"].tolist() == pytest.approx([12.0], **EXACT)
    # outwards: half a wall beyond the two centres, to the room's own face at the other two
    assert plan["buildings"]["footprint_m2"].tolist() == pytest.approx([4.6 * 3.6], **EXACT)


def test_an_inner_corner_between_a_centre_and_a_face_comes_right():
    """An L of 6 by 5 m without 3 by 3 m, one side of its inner corner a centre: 21 m² of floor."""
    true = np.array([(0, 0), (6, 0), (6, 2), (3, 2), (3, 5), (0, 5)], dtype=float)
    traced = true + HALF * np.array([(1, 1), (-1, 1), (-1, -1), (-1, -1), (-1, -1), (1, -1)])
    traced[2:4, 1] = 2 + HALF_WALL
    lines = [[traced[k], traced[(k + 1) % 6]] for k in range(6)]
    centre = np.arange(6) == 2
    plan = plan_of(
        lines,
        follows=np.where(centre, "centre", "face").tolist(),
        thickness_m=np.where(centre, WALL, np.nan),
        pole_width_m=np.where(centre, np.nan, POLE),
    )
    assert plan["rooms"]["floor_area_m2"].tolist() == pytest.approx([21.0], **EXACT)


def test_two_rooms_and_the_wall_between_them():
    """Two rooms of 4 by 3 m, 0.6 m of wall around and between: each floor 12 m², 9.8 by 4.2 m."""
    drawn = room(4, 3) + room(4, 3, west=4.6)
    drawn += box(-0.625, -0.625, 9.225, 3.625)
    plan = plan_of(drawn, pole_width_m=POLE)
    assert plan["rooms"]["floor_area_m2"].tolist() == pytest.approx([12.0, 12.0], **EXACT)
    assert plan["wall_bodies"]["thickness_m"].tolist() == pytest.approx([0.6], **EXACT)
    assert plan["buildings"]["footprint_m2"].tolist() == pytest.approx([9.8 * 4.2], **EXACT)


def test_a_wall_that_stands_alone_is_thinner_and_shorter_than_traced():
    """A wall of 5.00 by 0.60 m, traced all round as 5.05 by 0.65 m: 3.000 m² of body."""
    plan = plan_of(box(-HALF, -HALF, 5 + HALF, 0.6 + HALF), pole_width_m=POLE)
    assert plan["wall_bodies"].area.tolist() == pytest.approx([3.0], **EXACT)


def test_a_face_traced_alone_is_taken_for_the_rooms_inner_face():
    """A room known by its inner faces alone: the floor grows, and the footprint with it."""
    plan = plan_of(room(4, 3), pole_width_m=POLE)
    assert plan["rooms"]["floor_area_m2"].tolist() == pytest.approx([12.0], **EXACT)
    assert plan["buildings"]["footprint_m2"].tolist() == pytest.approx([12.0], **EXACT)


def test_a_lone_line_between_two_rooms_stays_and_its_doubt_is_stated():
    """Which room's face it is can't be told: floors don't overlap, and their sd says half a pole.

    Each floor grows by 0.025 m on three sides: 3.975 by 3 m. The fourth, 2.95 m as traced and 3 m
    with both corners, may be 0.025 m off either way: 0.075 m² of the area.
    """
    drawn = [*box(HALF, HALF, 8 - HALF, 3 - HALF), [(4, HALF), (4, 3 - HALF)]]
    plan = plan_of(drawn, pole_width_m=POLE, pole_width_sd_m=0.0, models=SURE)
    rooms = plan["rooms"]
    assert rooms["floor_area_m2"].tolist() == pytest.approx([12.0, 12.0], **EXACT)
    assert rooms["floor_area_sd_m2"].tolist() == pytest.approx([0.075, 0.075], rel=0.02)
    overlap = shapely.intersection(*rooms.geometry.to_numpy())
    assert overlap.area < 1e-6


def test_an_error_of_the_width_moves_all_faces_at_once():
    """A width wrong by 0.01 m: 14 m of floor outline 0.07 m², the wall 0.01 m, 18.8 m 0.094 m²."""
    drawn = room(4, 3) + outer(4, 3)
    plan = plan_of(drawn, pole_width_m=POLE, pole_width_sd_m=0.01, models=SURE)
    assert plan["rooms"]["floor_area_sd_m2"].tolist() == pytest.approx([0.07])
    assert plan["wall_bodies"]["thickness_sd_m"].tolist() == pytest.approx([0.01])
    assert plan["buildings"]["footprint_sd_m2"].tolist() == pytest.approx([0.094])


def test_a_body_thinner_than_the_pole_has_no_thickness_and_says_why():
    """Faces 0.1 m apart as traced, by a pole of 0.12 m: nothing is left between them."""
    plan = plan_of(box(0, 0, 6, 0.1), pole_width_m=0.12, models=SURE)
    body = plan["wall_bodies"].iloc[0]
    assert np.isnan(body["thickness_m"])
    why = "thickness_m: thinner than the pole by which its faces were traced"
    assert body["null_because"].split("; ")[0] == why
    assert body.geometry.area == pytest.approx(0.6)


def test_direction_and_order_of_lines_make_no_difference():
    """Lines turned round and in another order give the same figures."""
    drawn = room(4, 3) + outer(4, 3)
    other = [line[::-1] for line in drawn[::2]] + drawn[1::2]
    one, two = (plan_of(lines, pole_width_m=POLE) for lines in (drawn, other))
    assert size(one) == pytest.approx(size(two), **EXACT)


def test_the_wall_lies_on_the_bodys_side_of_its_faces():
    """A step from each face to the side on which its wall lies ends in the wall's body."""
    table = line_table(room(4, 3) + outer(4, 3), pole_width_m=POLE)
    view = prepare(network_of(table), models_of(table), site())
    step = view.network.edges[:, 1] - view.network.edges[:, 0]
    left = np.stack([-step[:, 1], step[:, 0]], axis=1) / np.hypot(*step.T)[:, None]
    beside = view.network.edges.mean(axis=1) + 0.1 * view.wall_side[:, None] * left
    body = view.faces.polygons[view.kind == "body"][0]
    assert len(beside) == 8
    assert shapely.contains_xy(body, *beside.T).all()


@pytest.mark.parametrize(("width", "disagrees"), [(np.nan, True), (0.1, None)])
def test_a_face_off_photographs_repeats_the_poles_half_a_width_beside_it(width, disagrees):
    """Lines 0.05 m apart, sd 0.01 m each: a pole of 0.1 m explains it, else they disagree.

    On which side of the one face the wall lies nothing tells, so no offset can be had then.
    """
    names = ["2031-walls", "2033-photo"]
    lines = [[(0, 0.05), (5, 0.05)], [(0, 0), (5, 0)]]
    table = line_table(lines, survey=names, pole_width_m=[width, np.nan])
    models = {name: ErrorModel(name, 0.01, 0.01) for name in names}
    settled, _, _ = settle_walls(table, models, WallSettings())
    assert len(settled.work.lines) == 1
    (told,) = settled.tracings.loc[~settled.tracings["standing"], "disagrees"]
    assert (told is None or told is pd.NA) if disagrees is None else told == disagrees
