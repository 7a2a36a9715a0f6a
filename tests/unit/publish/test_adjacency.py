"""Rooms that share a wall, and openings that lead through it: on plans drawn by hand."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import CRS, box, doubled, line_table, plan_of, site

from wrackline import contract, vectors
from wrackline.publish.adjacency import adjacency_table, facing, shared_lengths, sides_of


def layer(name, geometries=(), **columns):
    """Return a plan's layer of geometries, with some of its fields."""
    data = {
        field: pd.Series(columns.get(field, [None] * len(geometries)), dtype=vectors.DTYPES[kind])
        for field, kind in contract.columns(name).items()
    }
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(list(geometries), crs=CRS), crs=CRS)


def plan(rooms, bodies=(), centres=(), openings=()):
    """Return a plan of rooms, wall bodies, centre lines and openings (joins, evidence, width)."""
    joins, evidence, width = zip(*openings, strict=True) if openings else ((), (), ())
    return {
        "rooms": layer(
            "rooms",
            list(rooms.values()),
            room=list(rooms),
            building=[f"B{name[1]}" for name in rooms],
        ),
        "wall_bodies": layer("wall_bodies", bodies),
        "wall_lines": layer("wall_lines", centres, line_follows=["centre"] * len(centres)),
        "openings": layer(
            "openings",
            [shapely.LineString([(0, 0), (1, 0)])] * len(joins),
            opening=[f"O{k}" for k in range(len(joins))],
            joins=list(joins),
            evidence=list(evidence),
            width_m=list(width),
            width_sd_m=[0.05] * len(joins),
        ),
    }


def pairs(drawn, thickest_m=1.0):
    """Return the length of wall that pairs of rooms share, by both names."""
    rows = adjacency_table(drawn, thickest_m).to_dict("records")
    return {(row["room_a"], row["room_b"]): row["shared_wall_length_m"] for row in rows}


WEST, EAST = shapely.box(0, 0, 4, 3), shapely.box(4.5, 1, 8, 5)
BETWEEN = shapely.box(4, 0, 4.5, 5)


def test_two_rooms_share_the_stretch_of_wall_that_lies_between_both():
    """Rooms 3 m and 4 m deep that overlap by 2 m along one wall share 2 m of it."""
    assert pairs(plan({"R1": WEST, "R2": EAST}, [BETWEEN])) == {("R1", "R2"): pytest.approx(2.0)}


def test_a_wall_that_is_thicker_than_walls_may_be_is_none():
    """Beyond the config's greatest thickness two rooms are no neighbours."""
    assert pairs(plan({"R1": WEST, "R2": EAST}, [BETWEEN]), thickest_m=0.45) == {}


def test_an_alley_between_two_houses_is_no_wall():
    """Across two walls with open ground between them nothing is shared, however narrow it is."""
    alley = [shapely.box(4, 0, 4.2, 5), shapely.box(4.3, 0, 4.5, 5)]
    assert pairs(plan({"R1": WEST, "R2": EAST}, alley)) == {}


def test_a_centre_line_between_two_floors_is_a_wall():
    """Walls drawn along their centres have no body: their line lies between the floors."""
    line = shapely.LineString([(4.25, -1), (4.25, 6)])
    drawn = plan({"R1": WEST, "R2": EAST}, centres=[line])
    assert pairs(drawn) == {("R1", "R2"): pytest.approx(2.0)}


def test_a_centre_line_drawn_in_two_pieces_is_one_wall():
    """Where two pieces of a line meet, opposite the middle of the stretch, it is still one wall."""
    pieces = [shapely.LineString([(4.25, y), (4.25, 2)]) for y in (-1, 6)]
    assert pairs(plan({"R1": WEST, "R2": EAST}, centres=pieces)) == {
        ("R1", "R2"): pytest.approx(2.0)
    }


def test_two_centre_lines_between_two_floors_are_two_walls():
    """Two houses that stand wall to wall share none of them."""
    lines = [shapely.LineString([(x, -1), (x, 6)]) for x in (4.15, 4.35)]
    assert pairs(plan({"R1": WEST, "R2": EAST}, centres=lines)) == {}


def test_rooms_that_only_touch_corners_are_no_neighbours():
    """Across a corner of the walls nothing faces anything."""
    north_east = shapely.box(4.5, 3.5, 8, 6)
    whole = shapely.box(-1, -1, 9, 7).difference(shapely.union_all([WEST, north_east]))
    assert pairs(plan({"R1": WEST, "R2": north_east}, [whole])) == {}


def test_a_wall_counts_once_however_many_points_its_outline_has():
    """Points along the outlines, as surveys leave them, change no length."""
    many = {"R1": shapely.segmentize(WEST, 0.3), "R2": shapely.segmentize(EAST, 0.7)}
    assert pairs(plan(many, [BETWEEN])) == {("R1", "R2"): pytest.approx(2.0)}


def test_a_wall_askew_has_the_mean_length_of_its_two_sides():
    """A wall that widens from 0.4 to 0.6 m along 3 m is as long as its sides, which differ."""
    askew = shapely.Polygon([(4.4, 0), (8, 0), (8, 3), (4.6, 3)])
    body = shapely.box(4, -1, 5, 4).difference(askew)
    (length,) = pairs(plan({"R1": WEST, "R2": askew}, [body])).values()
    assert length == pytest.approx((3 + np.hypot(3, 0.2)) / 2, abs=0.03)


def test_a_room_around_another_shares_all_of_its_walls():
    """A court with a hut in its middle shares the hut's four walls."""
    hut, court = shapely.box(4, 4, 6, 6), shapely.box(0, 0, 10, 10)
    court = court.difference(shapely.box(3.5, 3.5, 6.5, 6.5))
    body = shapely.box(3.5, 3.5, 6.5, 6.5).difference(hut)
    assert pairs(plan({"R1": hut, "R2": court}, [body])) == {("R1", "R2"): pytest.approx(8.0)}


def test_the_order_of_rooms_changes_nothing():
    """Rows stand in the order of the rooms' numbers, whatever the plan's order."""
    third = shapely.box(0, 3.5, 4, 6)
    bodies = [shapely.box(-1, -1, 9, 7).difference(shapely.union_all([WEST, EAST, third]))]
    rooms = {"R1": WEST, "R2": EAST, "R3": third}
    one = adjacency_table(plan(rooms, bodies), 1.0)
    other = adjacency_table(plan(dict(reversed(rooms.items())), bodies), 1.0)
    pd.testing.assert_frame_equal(one, other)
    assert one["room_a"].tolist() == ["R1", "R1", "R2"]


def test_openings_of_a_pair_stand_together_with_the_widest_width():
    """Two openings between the same rooms are one row; each keeps its number and evidence."""
    openings = [("R1;R2", "possible", 0.8), ("R1;R2", "seen", 1.1)]
    (row,) = adjacency_table(plan({"R1": WEST, "R2": EAST}, [BETWEEN], (), openings), 1.0).to_dict(
        "records"
    )
    assert (row["opening"], row["evidence"]) == ("O0;O1", "possible;seen")
    assert (row["width_m"], row["width_sd_m"], row["null_because"]) == (1.1, 0.05, "")


def test_a_door_to_the_outside_is_a_row_without_a_length():
    """What opens outside is told; the wall there is an outer wall, shared with nobody."""
    (row,) = adjacency_table(
        plan({"R1": WEST}, (), (), [("R1;outside", "seen", 1.0)]), 1.0
    ).to_dict("records")
    assert (row["room_a"], row["room_b"], row["opening"]) == ("R1", "outside", "O0")
    assert row["shared_wall_length_m"] is None
    assert row["null_because"] == "shared_wall_length_m: outer walls"


def test_neighbours_without_an_opening_say_so():
    """A pair that shares a wall and no opening keeps its row."""
    (row,) = adjacency_table(plan({"R1": WEST, "R2": EAST}, [BETWEEN]), 1.0).to_dict("records")
    assert (row["opening"], row["width_m"]) == ("", None)
    assert row["null_because"] == "opening: none is on the plan"
    assert row["building"] == "B1;B2"


def test_a_site_without_rooms_has_a_table_of_no_rows():
    """Without rooms there is a header and nothing else."""
    rows = adjacency_table(plan({}), 1.0)
    assert list(rows.columns) == list(contract.table_columns("adjacency"))
    assert len(rows) == 0


@pytest.mark.parametrize("follows", ["face", "centre"])
def test_a_drawn_house_of_two_rooms_has_one_shared_wall(follows):
    """Found from survey lines on, by faces or by centres: 3 m between two floors 3 m deep."""
    if follows == "face":
        lines = box(-0.5, -0.5, 8.5, 3.5) + box(0, 0, 4, 3) + box(4.5, 0, 8, 3)
        table = line_table(lines)
    else:
        lines = [*box(-0.25, -0.25, 8.25, 3.25), [(4.25, -0.25), (4.25, 3.25)]]
        table = line_table(lines, follows="centre", thickness_m=0.5, thickness_sd_m=0.02)
    found = plan_of(table, where=site(walls={"wall_max_thickness_m": 1.0}))
    assert list(pairs(found).values()) == [pytest.approx(3.0, abs=1e-3)]


def test_sides_are_walked_with_the_room_on_the_left():
    """Outlines are turned, and those of holes the other way, so that facing sides run opposite."""
    ring = shapely.box(0, 0, 4, 4).difference(shapely.box(1, 1, 2, 2))
    sides = sides_of(np.array([ring, shapely.reverse(ring)]))
    left = np.stack([-sides.step[:, 1], sides.step[:, 0]], axis=1) / sides.length[:, None]
    inside = sides.ends.mean(axis=1) + 0.01 * left
    assert shapely.contains_xy(ring, inside).all()
    assert sides.room.tolist() == [0] * 8 + [1] * 8


def test_stretches_that_overlap_count_once():
    """A side that faces two overlapping pieces of another room is not counted twice."""
    two = shapely.MultiPolygon([shapely.box(4.5, 0, 6, 2), shapely.box(4.6, 1, 6, 3)])
    sides = sides_of(np.array([WEST, two]))
    (length,) = shared_lengths(sides, facing(sides, 1.0)).values()
    assert length == pytest.approx((3 + 2 + 2) / 2)


def test_faces_of_one_wall_are_no_rooms():
    """A single room of thick walls has no neighbour, though two faces lie close."""
    assert pairs(plan_of(doubled(0, 0, 4, 3, 0.5))) == {}
