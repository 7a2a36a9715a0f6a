"""Audits of surveys: standards, stated against observed errors, and notes for people."""

from dataclasses import replace

import numpy as np
import pytest

from wrackline.accuracy.audit import Audited, Composite, against_s44, audit, check_random
from wrackline.model import SeaLevel
from wrackline.rasters import Band, Grid, RasterReader, write_raster
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


def checked(folder, seen, model):
    """Check the random sd of a surface with these bands."""
    path = folder / "seen.tif"
    parts = [Band(key, "m", values) for key, values in seen.items()]
    write_raster(path, parts, grid=GRID, crs="EPSG:32633", vertical_datum="msl")
    with RasterReader(path) as raster:
        return check_random(raster, model)


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
def test_the_stated_random_sd_is_held_against_the_spread_within_cells(tmp_path, scatter, note):
    """Simulated cells of four soundings tell a stated sd that is right from one that isn't."""
    rng = np.random.default_rng(5)
    soundings = rng.normal(-2.5, scatter, (*GRID.shape, 4))
    seen = {**bands(), "spread": soundings.std(axis=-1, ddof=1)}
    found = checked(tmp_path, seen, ErrorModel("2031-a", 0.0, 0.05))
    np.testing.assert_allclose(found["ratio"], scatter / 0.05, rtol=0.08)
    assert note in found["note"]
    assert bool(found["note"]) == bool(note)


def test_single_walls_do_not_make_a_stated_sd_too_small(tmp_path):
    """A tenth of the cells with a wall's edge in them leave the check as it is."""
    rng = np.random.default_rng(5)
    spread = rng.normal(-2.5, 0.05, (*GRID.shape, 4)).std(axis=-1, ddof=1)
    spread[:2] = 0.4
    found = checked(tmp_path, {**bands(), "spread": spread}, ErrorModel("2031-a", 0.0, 0.05))
    assert found["ratio"] < 1.25
    assert found["note"] == ""


def test_a_grid_with_one_node_a_cell_cannot_be_checked(tmp_path):
    """Null with its reason, never a ratio of 0."""
    seen = bands(count=1.0, spread=np.nan)
    found = checked(tmp_path, seen, ErrorModel("2031-a", 0.0, 0.05))
    assert (found["cells"], found["ratio"]) == (0, None)
    assert "too few" in found["note"]


def test_without_a_stated_random_sd_there_is_nothing_to_check(tmp_path):
    """An sd of 0 on level ground gives a reason instead of an infinite ratio."""
    found = checked(tmp_path, {**bands()}, ErrorModel("2031-a", 0.0, 0.0))
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
    assert found["composite"] is None


def test_the_composite_is_audited_with_its_filled_cells_and_its_coarsest_survey(tmp_path):
    """Half measured at 0.02 m, half filled at 0.08 m, from surveys that show 0.3 m and 3 m."""
    seen = bands()
    seen["sd"][:, 10:], seen["filled"][:, 10:] = 0.08, 1.0
    seen["sd"][:, :10] = 0.02
    seen["source"] = np.where(np.arange(20) < 10, 0.0, 1.0) + np.zeros(GRID.shape)
    path = tmp_path / "composite.tif"
    parts = [Band(key, "m", values) for key, values in seen.items()]
    write_raster(path, parts, grid=GRID, crs="EPSG:32633", vertical_datum="msl")
    surveys = [
        replace(audited(tmp_path), resolution_m=0.3),
        replace(audited(tmp_path, "2032-b"), resolution_m=3.0),
        audited(tmp_path, "2033-c"),
    ]
    names = [survey.name for survey in surveys]
    found = audit(surveys, NO_OVERLAPS, level=LEVEL, composite=Composite(path, names))["composite"]
    assert (found["cells"], found["filled_cells"], found["survey"]) == (400, 200, "composite")
    np.testing.assert_allclose([found["depth_m"], found["u95_m"]], [3.0, 1.96 * 0.05])
    assert (found["feature_m"], found["feature_cell"]) == (3.0, "Be4")
    every = bands()
    every["source"] = np.arange(20) % 3.0 + np.zeros(GRID.shape)
    parts = [Band(key, "m", values) for key, values in every.items()]
    write_raster(path, parts, grid=GRID, crs="EPSG:32633", vertical_datum="msl")
    mixed = audit(surveys, NO_OVERLAPS, level=LEVEL, composite=Composite(path, names))
    assert mixed["composite"]["feature_m"] is None
    assert "stated for 2033-c;" in mixed["composite"]["feature_null_because"]
    alone = audit(surveys[2:], NO_OVERLAPS, level=LEVEL)["surveys"][0]
    assert alone["feature_m"] is None
    assert alone["feature_null_because"] == (
        "no resolution_m stated; the grid alone could show 2 m"
    )


def test_strips_of_any_size_give_the_same_audit(tmp_path, monkeypatch):
    """Counts, medians and ratios of a rough surface are the same in strips of one row."""
    rng = np.random.default_rng(11)
    seen = bands()
    for name in ("height", "sd", "spread"):
        seen[name] = seen[name] * rng.uniform(0.5, 1.5, GRID.shape)
    path = tmp_path / "rough.tif"
    parts = [Band(key, "m", values) for key, values in seen.items()]
    write_raster(path, parts, grid=GRID, crs="EPSG:32633", vertical_datum="msl")
    survey = Audited("a", path, {"model": ErrorModel("a", 0.0, 0.05).as_dict(), "notes": []})
    whole = audit([survey], NO_OVERLAPS, level=LEVEL)
    strips = Grid.strips
    monkeypatch.setattr(Grid, "strips", lambda self: strips(self, 20))
    assert len(list(GRID.strips())) == 20
    assert audit([survey], NO_OVERLAPS, level=LEVEL) == whole
    known = seen["sd"].astype(np.float32)
    np.testing.assert_allclose(whole["surveys"][0]["sd_m"], np.median(known), atol=5.1e-5)
