"""Waterlines: where levels meet the seabed, how far off they may lie, and when nobody can say."""

import numpy as np
import pytest

from wrackline.model import SeaLevel
from wrackline.rasters import Band, Grid, write_raster
from wrackline.seabed.waterlines import FLAT, REACH_M, STRETCH_M, height_sd, waterlines
from wrackline.uncertainty import Budget, ErrorModel, NamedError

ORIGIN = (500_000.0, 4_700_000.0)
PLAIN = [ErrorModel("2031-a", 0.1, 0.05), ErrorModel("2031-b", 0.1, 0.05)]


@pytest.fixture
def draw(tmp_path):
    """Return a function that writes a surface and returns its waterlines."""

    def drawn(height, *, levels, sd=0.06, cell=0.5, models=PLAIN, source=0.0, **more):
        grid = Grid(ORIGIN, cell, 0, 0, height.shape[1], height.shape[0])
        same = np.ones(height.shape)
        bands = [Band("height", "m", height), Band("sd", "m", sd * same)]
        bands.append(Band("source", "1", source * same))
        frame = {"crs": "EPSG:32633", "vertical_datum": "invented"}
        write_raster(tmp_path / "surface.tif", bands, grid=grid, **frame)
        return waterlines(tmp_path / "surface.tif", models, levels=levels, crs="EPSG:32633", **more)

    return drawn


def level(height, sd, name="sea", **named):
    """Return a level with its budget: its own sd and what it shares, by name."""
    return SeaLevel(name=name, height_m=height), Budget(named={f"{name}:level": sd, **named})


def beach(slope, shape=(60, 80), cell=0.5):
    """Return a plane that rises northward, 0 in its middle row."""
    rows = (shape[0] // 2 - np.arange(shape[0])) * cell * slope
    return np.tile(rows[:, None], (1, shape[1]))


@pytest.mark.parametrize("slope", [0.01, 0.1, 1.0])
def test_the_line_may_lie_off_by_the_heights_sd_over_the_slope(draw, slope):
    """On a beach of even slope, the sd of place is hypot(sd of level, sd of bed) / slope."""
    rows = draw(beach(slope), levels=[level(0.01, 0.08)])
    np.testing.assert_allclose(rows["height_sd_m"], 0.1, rtol=1e-6)
    np.testing.assert_allclose(rows["slope_deg"], np.degrees(np.arctan(slope)), rtol=1e-5)
    flat = 0.1 / slope >= REACH_M
    np.testing.assert_allclose(rows["may_lie_off_m"], np.nan if flat else 0.1 / slope, rtol=1e-5)
    assert (rows["null_because"] == (FLAT if flat else "")).all()


def test_a_level_shifted_by_its_sd_moves_the_line_by_the_stated_distance(draw):
    """The line of a level one sd higher lies as far up the beach as the figure says."""
    low, high = (draw(beach(0.05), levels=[level(at, 0.08)], sd=0.0) for at in (0.1, 0.18))
    moved = high.geometry.bounds["miny"].mean() - low.geometry.bounds["miny"].mean()
    assert moved == pytest.approx(low["may_lie_off_m"].mean(), rel=0.01)


def test_ground_too_flat_says_nothing_of_the_place(draw):
    """Where the bed rises less within the reach than level and bed are sure, there is no figure."""
    height = beach(0.1)
    height[:, :40] *= 0.1
    rows = draw(height, levels=[level(0.003, 0.05)])
    flat = rows.geometry.centroid.x < ORIGIN[0] + 15
    steep = rows.geometry.centroid.x > ORIGIN[0] + 25
    assert rows.loc[flat, "may_lie_off_m"].isna().all()
    assert (rows.loc[flat, "null_because"] == FLAT).all()
    assert rows.loc[steep, "may_lie_off_m"].notna().all()
    assert (rows["may_lie_off_m"].isna() == (rows["null_because"] != "")).all()


def test_a_gauge_that_level_and_soundings_rest_on_cancels():
    """A gauge's zero of 0.2 m in both leaves the rest; in one of them alone it counts."""
    named = {"gauge:height": 0.2}
    tide = Budget(named={"sea:level": 0.03, **named})
    sounded = ErrorModel("a", 0.0, 0.0, named=(NamedError("gauge:height", "height", 0.2),))
    bed = float(np.hypot(0.2, 0.04))
    assert height_sd(tide, sounded, bed) == pytest.approx(0.05)
    other = ErrorModel("b", 0.0, 0.0, named=(NamedError("gauge:rotation", "rotation", 0.2),))
    assert height_sd(tide, other, 0.04) == pytest.approx(np.sqrt(0.03**2 + 0.2**2 + 0.04**2))


def test_each_stretch_answers_to_the_survey_under_it(draw):
    """Stretches on ground of the survey that shares the level's gauge are surer than the others."""
    gauge = (NamedError("gauge:height", "height", 0.2),)
    models = [ErrorModel("a", 0.0, 0.05, named=gauge), ErrorModel("b", 0.0, 0.05)]
    at = [level(0.01, 0.02, **{"gauge:height": 0.2})]
    shared = draw(beach(0.2), levels=at, models=models, sd=0.21, source=0.0)
    apart = draw(beach(0.2), levels=at, models=models, sd=0.21, source=1.0)
    np.testing.assert_allclose(
        shared["height_sd_m"], np.sqrt(0.21**2 - 0.2**2 + 0.02**2), rtol=1e-5
    )
    np.testing.assert_allclose(apart["height_sd_m"], np.sqrt(0.21**2 + 0.2**2 + 0.02**2), rtol=1e-5)


def test_stretches_are_short_and_make_up_the_whole_line(draw):
    """Nothing of the line is lost or doubled where it is cut."""
    rows = draw(beach(0.1), levels=[level(0.01, 0.05)])
    assert (rows.length <= STRETCH_M + 1e-9).all()
    assert rows.length.sum() == pytest.approx(39.5)
    assert rows.union_all().length == pytest.approx(39.5)


def test_levels_beyond_the_surface_have_no_line_and_equal_ones_one_each(draw):
    """A level above everything has no row; two names of one height have the same lines."""
    levels = [level(0.5, 0.01, "a"), level(0.5, 0.09, "b"), level(99.0, 0.01, "c")]
    rows = draw(beach(0.1), levels=levels)
    assert set(rows["sea_level"]) == {"a", "b"}
    by_name = dict(list(rows.groupby("sea_level")))
    assert by_name["a"].length.sum() == by_name["b"].length.sum()
    assert (by_name["a"]["height_sd_m"].max()) < by_name["b"]["height_sd_m"].min()
    nothing = draw(np.full((5, 5), np.nan), levels=levels)
    assert len(nothing) == 0
    assert "may_lie_off_m" in nothing.columns


def test_strips_leave_no_trace(draw):
    """Whatever the strips, the rows are the same."""
    random = np.random.default_rng(3)
    height = beach(0.1) + random.normal(0, 0.05, (60, 80))
    whole = draw(height, levels=[level(0.0, 0.05)])
    parts = draw(height, levels=[level(0.0, 0.05)], most_cells=1)
    assert whole.equals(parts)
