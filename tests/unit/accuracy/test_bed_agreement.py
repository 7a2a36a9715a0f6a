"""Surveys of the bed against each other, run against run, and which of several is off."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from cross_sites import ORIGIN, make

from wrackline.accuracy.agreement import Compared, covariance, suspects
from wrackline.accuracy.bed_agreement import FACTORS, level, misread, share, shift, tilt
from wrackline.accuracy.bed_cells import cell_keys, read_bed_cells
from wrackline.accuracy.run_agreement import clock_slip, off_runs, tie_runs
from wrackline.accuracy.site_checks import mark_misfits, section_of
from wrackline.uncertainty import Budget, ErrorModel, NamedError, propagate
from wrackline.verdict import Source

MADE = make(1)
NO_WALLS = np.empty(0, dtype=np.int64)
EXACT = ErrorModel("2031-exact", 0.0, 0.01)


def hilly(x, y):
    """Return the height of a bed of waves 40 m long and 0.8 m high."""
    return -4.0 + 0.4 * np.sin(x / 6.4) + 0.4 * np.cos(y / 6.4)


def bed(folder, height=hilly, model=EXACT, seed=1, **columns):
    """Return cells of 9000 exact points over 60 by 60 m; rows in order of easting."""
    xy = np.random.default_rng(seed).uniform(0, 60, (9000, 2))
    xy = xy[np.argsort(xy[:, 0])]
    table = pd.DataFrame({"x": xy[:, 0] + ORIGIN[0], "y": xy[:, 1] + ORIGIN[1]})
    table["v"], table["row"] = height(xy[:, 0], xy[:, 1]), np.arange(9000) + 2
    path = folder / f"{len(list(folder.iterdir()))}.parquet"
    table.assign(**columns).to_parquet(path)
    source = Source(model.survey, MADE.surveys["2031-swath"], folder)
    return read_bed_cells(source, path, MADE.site, model)


def test_equal_beds_agree(tmp_path):
    """Two exact surveys of one bed at other points differ by less than 5 mm, 1 cm and 0.1 mm/m."""
    shared = share(bed(tmp_path, seed=1), bed(tmp_path, seed=2), NO_WALLS)
    assert abs(level(shared).numbers[0]) < 0.005
    assert np.abs(tilt(shared).numbers).max() < 1e-4
    assert np.abs(shift(shared).numbers).max() < 0.05


def test_offset_tilt_and_shift_come_out_as_planted(tmp_path):
    """0.1 m up, 2 mm per m east and 0.5 m displaced north are found, newer minus older."""
    old = bed(tmp_path)
    higher = share(bed(tmp_path, lambda x, y: hilly(x, y) + 0.1, seed=2), old, NO_WALLS)
    assert level(higher).numbers[0] == pytest.approx(0.1, abs=0.005)
    tilted = share(bed(tmp_path, lambda x, y: hilly(x, y) + 0.002 * x, seed=2), old, NO_WALLS)
    assert tilt(tilted).numbers == pytest.approx((0.002, 0.0), abs=2e-4)
    moved = share(bed(tmp_path, lambda x, y: hilly(x, y - 0.5), seed=2), old, NO_WALLS)
    assert shift(moved).numbers == pytest.approx((0.0, 0.5), abs=0.06)


def test_flat_ground_shows_no_shift(tmp_path):
    """Without relief a horizontal shift can't be seen, so none is given."""
    flat = [bed(tmp_path, lambda x, y: 0 * x - 3.0, seed=seed) for seed in (1, 2)]
    assert shift(share(*flat, NO_WALLS)) is None


def test_budget_is_that_of_the_general_law(tmp_path):
    """Patchy and named parts of a mean are those of `propagate`; equal causes cancel."""
    gauge = NamedError("gauge:height", "height", 0.05)
    tilted = NamedError("a:tilt", "tilt", 1e-4, (float(ORIGIN[0]), float(ORIGIN[1])), 90.0)
    one = ErrorModel("a", 0.0, 0.02, 0.0, 0.04, 9.0, (gauge, tilted))
    other = ErrorModel("b", 0.0, 0.02, 0.0, 0.0, 0.0, (gauge,))
    shared = share(bed(tmp_path, model=one), bed(tmp_path, model=other, seed=2), NO_WALLS)
    budget = level(shared).budgets[0]
    some = shared.xyz[:: shared.step]
    mean = np.tile([0.0, 0.0, 1 / len(some)], (len(some), 1))
    whole = propagate(mean, some, np.zeros(len(some), int), [one])
    assert budget.named["gauge:height"] == pytest.approx(0.0, abs=1e-12)
    assert budget.named["a:tilt"] == pytest.approx(whole.named["a:tilt"], rel=1e-6)
    patchy = np.hypot(budget.patchy, budget.named["a:patchy_0"])
    assert patchy == pytest.approx(whole.patchy, rel=1e-6)


def test_walls_and_steep_cells_are_left_out(tmp_path):
    """A wall 1 m high in one survey alone doesn't move the level."""

    def walled(x, y):
        return hilly(x, y) + 1.0 * (np.abs(x - 30) < 1)

    shared = share(bed(tmp_path, walled, seed=2), bed(tmp_path), NO_WALLS)
    assert np.abs(shared.difference).max() < 0.5
    assert abs(level(shared).numbers[0]) < 0.005


@pytest.mark.parametrize("kind", ["wrong_sign", "feet_for_metres", "fathoms", "millimetres"])
def test_other_readings_are_told_apart(kind, tmp_path):
    """Numbers that a factor brings onto the other survey are named by that factor."""
    wrong = bed(tmp_path, lambda x, y: hilly(x, y) / FACTORS[kind], seed=2)
    slip = misread(wrong, bed(tmp_path))
    assert slip.kind == kind
    assert slip.after < 0.05 < slip.before


def test_an_offset_is_no_other_reading(tmp_path):
    """A survey 0.6 m too high is no survey in other units."""
    assert misread(bed(tmp_path, lambda x, y: hilly(x, y) + 0.6), bed(tmp_path)) is None


def test_rows_that_are_off_are_named(tmp_path):
    """Of 9000 rows in order, 2000 set 0.2 m up are found by the others' level, to a run or two."""

    def stepped(x, y):
        up = np.zeros_like(x)
        up[3000:5000] = 0.2
        return hilly(x, y) + up

    off = off_runs(tie_runs(bed(tmp_path, stepped, seed=2), [bed(tmp_path)], NO_WALLS))
    assert off.size == pytest.approx(0.2, abs=0.04)
    assert 14 <= off.first <= 18
    assert 26 <= off.last <= 29
    assert off.day == ""


def test_clock_needs_a_record(tmp_path):
    """Surveys that don't rest on a water-level record have no clock to be off."""
    assert clock_slip(tie_runs(bed(tmp_path, seed=2), [bed(tmp_path)], NO_WALLS)) is None


def compared(newer, older, value, **named):
    """Return a comparison of level with an own sd of 0.01 m."""
    return Compared(newer, older, (value,), (Budget(0.01, 0.0, named),), 9, (0.0, 0.0))


def test_survey_that_disagrees_with_all_is_named():
    """Of three surveys the one that lies 0.1 m off both others is named, with its size."""
    pairs = [compared("b", "a", 0.1), compared("c", "a", 0.0), compared("c", "b", -0.1)]
    (found,) = suspects(pairs, 0.05)
    assert found.name == "b"
    assert found.certain
    assert found.size == pytest.approx(0.1)
    assert found.finds > 3 * found.sd


def test_named_cause_explains_a_difference():
    """What a named cause of 0.05 m explains is no suspicion, what it doesn't is one."""
    assert suspects([compared("b", "a", 0.1, gauge=0.05)], 0.05) == []
    (found,) = suspects([compared("b", "a", 0.3, gauge=0.05)], 0.05)
    assert not found.certain


def test_one_cause_of_two_differences_is_one_error():
    """Differences that rest on one cause are correlated by the product of their effects."""
    pairs = [compared("b", "a", 0.0, gauge=0.03), compared("c", "a", 0.0, gauge=-0.02)]
    expected = [[0.0001 + 0.0009, -0.0006], [-0.0006, 0.0001 + 0.0004]]
    assert covariance(pairs) == pytest.approx(np.array(expected))


@pytest.mark.parametrize(("z", "told"), [(3.20, False), (3.40, True)])
def test_proof_is_that_of_the_normal_law(z, told):
    """Two surveys, 1 in 500 each: 3.29 sds, the two-sided 0.1 % point (statistical tables)."""
    pair = Compared("b", "a", (z,), (Budget(1.0),), 9, (0.0, 0.0))
    assert bool(suspects([pair], 0.0, alarm=0.002)) == told


def test_leaving_a_mark_out_names_it():
    """A mark 0.3 m north of its place is named with its size and azimuth, the other seven not."""
    grid = MADE.surveys["2032-walls"].local_grid
    points = [point.model_copy() for point in grid.points]
    east, north = points[4].site
    points[4] = points[4].model_copy(update={"site": (east, north + 0.3)})
    (found,) = mark_misfits(grid.model_copy(update={"points": points}))
    assert found.point == "M4"
    assert found.size == pytest.approx(0.3, abs=0.1)
    assert min(found.azimuth_deg, 360 - found.azimuth_deg) < 25


def test_marks_that_fit_or_are_too_few():
    """Marks within their sd, and two marks alone, give no misfit."""
    grid = MADE.surveys["2032-walls"].local_grid
    assert mark_misfits(grid) == []
    assert mark_misfits(grid.model_copy(update={"points": grid.points[:2]})) == []


def test_residuals_all_too_large():
    """Marks five times worse than control_sd_m says are asked about as a whole or one by one."""
    grid = MADE.surveys["2032-walls"].local_grid
    found = mark_misfits(grid.model_copy(update={"control_sd_m": 0.004}))
    assert [one.point for one in found] != []


@pytest.mark.parametrize(
    ("size", "sd", "section"), [(0.5, 0.02, 0.5), (-1.51, 0.03, 1.5), (0.75, 0.02, None)]
)
def test_pole_sections(size, sd, section):
    """Sizes as good as equal to a pole's section are named as such (common practice, no source)."""
    assert section_of(size, sd) == section


def test_cell_keys_put_neighbours_apart():
    """Places left and right, above and below the origin fall into cells of their own."""
    xy = np.array([[-0.1, -0.1], [0.1, -0.1], [-0.1, 0.1], [0.1, 0.1], [0.9, 0.9]])
    keys = cell_keys(xy, 1.0)
    assert len(set(keys.tolist())) == 4
    assert keys[3] == keys[4]
    assert keys[3] - keys[1] == 1
    assert keys[3] - keys[2] == 1 << 21


def test_heights_of_zero_are_kept(tmp_path):
    """Means of cells are means of heights, also about 0.000 m."""
    flat = bed(tmp_path, lambda x, y: 0 * x)
    assert np.abs(flat.cells["h"]).max() == 0.0
    assert flat.cells["n"].sum() == 9000
    assert replace(EXACT, survey="b").survey == "b"
