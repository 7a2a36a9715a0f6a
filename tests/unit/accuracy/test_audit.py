"""Audits of surveys: standards, stated against observed errors, and notes for people."""

import numpy as np
import pytest

from wrackline.accuracy.audit import Audited, against_s44, audit, check_random
from wrackline.model import SeaLevel
from wrackline.rasters import Band, Grid, write_raster
from wrackline.uncertainty import ErrorModel

LEVEL = SeaLevel(name="msl", height_m=0.5)
GRID = Grid((500_000.0, 4_700_000.0), 1.0, 0, 0, 20, 20)
NO_OVERLAPS = {"cell_m": 2.0, "pairs": [], "apart": []}


def bands(*, spread=0.05, count=4.0, sd=0.05):
    def flat(value):
        return np.full(GRID.shape, float(value))

    return {
        "height": flat(-2.5),
        "sd": flat(sd),
        "count": flat(count),
        "spread": flat(spread),
        "filled": flat(0),
    }


def audited(folder, name="2031-a", *, notes=(), model=None, **more):
    path = folder / f"{name}.tif"
    parts = [Band(key, "m", values) for key, values in bands(**more).items()]
    write_raster(path, parts, grid=GRID, crs="EPSG:32633", vertical_datum="msl")
    model = model or ErrorModel(name, 0.0, 0.05)
    return Audited(name, path, {"model": model.as_dict(), "notes": list(notes)})


def test_an_audit_states_depth_sd_and_the_orders_it_keeps(tmp_path):
    """Depth 3 m, sd 0.1 m: 0.196 m at 95 % keeps special order and not exclusive."""
    found = audit([audited(tmp_path, sd=0.1)], NO_OVERLAPS, level=LEVEL)
    (one,) = found["surveys"]
    assert (one["survey"], one["cells"], one["filled_cells"]) == ("2031-a", 400, 0)
    np.testing.assert_allclose([one["depth_m"], one["sd_m"], one["u95_m"]], [3.0, 0.1, 0.196])
    kept = {row["order"]: row["kept"] for row in one["s44"]}
    assert kept == {"exclusive": False, "special": True, "1a": True, "1b": True, "2": True}


def test_the_limit_of_an_order_is_inclusive():
    """1.96 sd equal to the limit must not fail, a hair above must."""
    limit = np.array([0.15])
    assert against_s44(np.array([0.0]), limit / 1.96)[0]["share"] == 1.0
    assert against_s44(np.array([0.0]), limit / 1.96 * 1.0001)[0]["share"] == 0.0


def test_ground_above_the_sea_counts_as_depth_zero():
    """Walls ashore are held to the limit at depth 0."""
    np.testing.assert_allclose(against_s44(np.array([-3.0]), np.array([0.1]))[0]["tvu_max_m"], 0.15)


@pytest.mark.parametrize(
    ("scatter", "note"),
    [(0.05, ""), (0.1, "too small"), (0.02, "too large")],
    ids=["as stated", "twice", "less than half"],
)
def test_the_stated_random_sd_is_held_against_the_spread_within_cells(scatter, note):
    """Simulated cells of four soundings tell a stated sd that is right from one that isn't."""
    rng = np.random.default_rng(5)
    soundings = rng.normal(-2.5, scatter, (*GRID.shape, 4))
    seen = {**bands(), "spread": soundings.std(axis=-1, ddof=1)}
    found = check_random(GRID, seen, ErrorModel("2031-a", 0.0, 0.05))
    np.testing.assert_allclose(found["ratio"], scatter / 0.05, rtol=0.08)
    assert note in found["note"]
    assert bool(found["note"]) == bool(note)


def test_single_walls_do_not_make_a_stated_sd_too_small():
    """A tenth of the cells with a wall's edge in them leave the check as it is."""
    rng = np.random.default_rng(5)
    spread = rng.normal(-2.5, 0.05, (*GRID.shape, 4)).std(axis=-1, ddof=1)
    spread[:2] = 0.4
    found = check_random(GRID, {**bands(), "spread": spread}, ErrorModel("2031-a", 0.0, 0.05))
    assert found["ratio"] < 1.25
    assert found["note"] == ""


def test_a_grid_with_one_node_a_cell_cannot_be_checked():
    """Null with its reason, never a ratio of 0."""
    seen = bands(count=1.0, spread=np.nan)
    found = check_random(GRID, seen, ErrorModel("2031-a", 0.0, 0.05))
    assert (found["cells"], found["ratio"]) == (0, None)
    assert "too few" in found["note"]


def test_without_a_stated_random_sd_there_is_nothing_to_check():
    """An sd of 0 on level ground gives a reason instead of an infinite ratio."""
    found = check_random(GRID, {**bands()}, ErrorModel("2031-a", 0.0, 0.0))
    assert (found["ratio"], found["note"]) == (None, "no random sd is stated")


def test_offsets_beyond_what_errors_explain_become_notes(tmp_path):
    """A pair that differs by more than its errors allow is one line for a person."""
    pair = {"newer": "2032-b", "older": "2031-a", "beyond_95": True, "median_m": 0.3, "sd_m": 0.05}
    surveys = [audited(tmp_path, notes=["3 of 9 points dropped"]), audited(tmp_path, "2032-b")]
    found = audit(surveys, {**NO_OVERLAPS, "pairs": [pair]}, level=LEVEL)
    assert found["surveys"][0]["compared_with"] == ["2032-b"]
    assert found["surveys"][1]["compared_with"] == ["2031-a"]
    assert found["notes"][0] == "2031-a: 3 of 9 points dropped"
    assert found["notes"][-1].startswith("2032-b lies +0.300 m (median) from 2031-a")


def test_a_site_without_bed_points_has_an_empty_audit():
    """Nothing to audit is no failure."""
    found = audit([], NO_OVERLAPS, level=LEVEL)
    assert (found["surveys"], found["notes"], found["depths_below"]) == ([], [], "msl")
