"""Figures that moved between two plans: by more than their own sd, the right way round."""

import numpy as np
import pytest
from drawn import box, line_table, plan_of

from wrackline import contract
from wrackline.seasons.moved import compared, measured_fields, moved


def plan(*rooms, name="2031"):
    lines = [line for room in rooms for line in box(*room)]
    return plan_of(line_table(lines, survey=f"{name}-walls"))


def named(plan, number="R1"):
    """Return the plan with its one room numbered as given."""
    plan["rooms"]["room"] = [number]
    plan["buildings"]["building"] = ["B1"]
    plan["wall_lines"]["wall"] = [f"W{k}" for k in range(len(plan["wall_lines"]))]
    return plan


def rows(before, now, what="room"):
    table = moved(before, now)
    return table[table["what"] == what].set_index("figure")


def test_a_figure_that_moved_is_told_in_its_own_sds():
    """A room of 12 m² that is 14 m² now: both figures, the difference, and over the sd before."""
    before, now = named(plan((0, 0, 4, 3))), named(plan((0, 0, 4, 3.5)))
    row = rows(before, now).loc["floor_area_m2"]
    sd = before["rooms"]["floor_area_sd_m2"].iloc[0]
    assert (row["before"], row["now"]) == pytest.approx((12.0, 14.0))
    assert row["times_sd"] == pytest.approx(2.0 / sd)
    assert row["before_sd"] == sd


def test_what_moved_by_less_than_its_sd_is_not_listed():
    """An area larger by a fifth of its sd is the same area."""
    before, now = named(plan((0, 0, 4, 3))), named(plan((0, 0, 4, 3)))
    now["rooms"]["floor_area_m2"] += 0.2 * before["rooms"]["floor_area_sd_m2"]
    assert len(moved(before, now)) == 0
    assert compared(before, now) == (compared(before, before)[0], 0)


def test_axes_are_compared_the_short_way_round():
    """From 179 to 1 degrees a wall turned by 2; a square room's axis may be either side."""
    before, now = named(plan((0, 0, 4, 3))), named(plan((0, 0, 4, 3)))
    for table, walls, rooms in ((before, 179.0, 2.0), (now, 1.0, 93.0)):
        table["wall_lines"]["axis_deg"] = walls
        table["wall_lines"]["axis_sd_deg"] = 0.5
        table["rooms"]["axis_deg"] = rooms
        table["rooms"]["axis_sd_deg"] = 0.4
    table = moved(before, now)
    turned = table[table["figure"] == "axis_deg"].set_index("what")["moved_by"]
    assert np.allclose(turned["wall"].to_numpy(float), 2.0)
    assert turned["room"] == pytest.approx(1.0)


def test_new_things_and_new_figures_do_not_move():
    """A room of one plan alone is none that moved; a depth had for the first time is counted."""
    before, now = named(plan((0, 0, 4, 3))), named(plan((0, 0, 4, 3)))
    now["rooms"]["floor_depth_m"] = 3.0
    now["rooms"]["floor_depth_sd_m"] = 0.05
    assert len(moved(before, now)) == 0
    assert compared(before, now)[1] == 1
    other = named(plan((0, 0, 9, 9)), "R2")
    assert "room" not in set(moved(before, other)["what"])


def test_what_moved_most_comes_first():
    """Rows fall in the number of sds."""
    before, now = named(plan((0, 0, 4, 3))), named(plan((0, 0, 5, 3.2)))
    now["wall_lines"]["axis_deg"] += 9.0
    times = moved(before, now)["times_sd"].to_numpy(float)
    assert len(set(times)) > 2
    assert (np.diff(times) <= 0).all()


def test_the_first_season_moves_nothing():
    """Without a plan before there is nothing to compare, and the columns are there."""
    table = moved(None, plan((0, 0, 4, 3)))
    assert len(table) == 0
    assert list(table.columns) == [field.name for field in contract.TABLES["figures_moved"]]
    assert compared(None, plan((0, 0, 4, 3))) == (0, 0)


def test_every_figure_with_an_sd_is_compared():
    """The fields come from the contract: areas, axes, depths, widths."""
    assert ("floor_depth_m", "floor_depth_sd_m") in measured_fields("rooms")
    assert ("footprint_m2", "footprint_sd_m2") in measured_fields("buildings")
    assert ("top_depth_m", "top_depth_sd_m") in measured_fields("wall_lines")
