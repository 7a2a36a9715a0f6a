"""The seabed within polygons: heights by hand, and budgets that hold up in simulation."""

import geopandas as gpd
import numpy as np
import pytest
from layered_surfaces import Memory, merge, survey
from scipy.stats import binom
from shapely.geometry import Polygon, box

from wrackline.rasters import Grid
from wrackline.seabed.carried import filled_alike
from wrackline.seabed.merge import share_band
from wrackline.seabed.sample import (
    COLUMNS,
    Surface,
    cells_in,
    covered_shares,
    median_budget,
    sample_bed,
)
from wrackline.uncertainty import ErrorModel, NamedError

LEVEL = ErrorModel("2031-level", 0.0, 0.1)


def surface(height, *, random=0.1, filled=None, models=(LEVEL,), source=None, own=None):
    """Return a surface of 1 m cells, each from one survey; `own` is the sd its file states."""
    height = np.asarray(height, dtype=float)
    grid = Grid((0.0, 0.0), 1.0, 0, 0, height.shape[1], height.shape[0])
    known = np.isfinite(height)
    filled = np.where(known, 0.0 if filled is None else filled, np.nan)
    source = np.where(known, 0.0 if source is None else source, np.nan)
    bands = {
        "height": height,
        "sd_random": np.where(known, random, np.nan),
        "sd_rest": np.where(known, np.sqrt(max((own or 0) ** 2 - random**2, 0.0)), np.nan),
        "filled": filled,
        "together": np.where(filled > 0, filled_alike(2.0), 1.0),
        "source": source,
    }
    for number, model in enumerate(models):
        bands[share_band(model.survey)] = np.where(source == number, 1.0, np.nan)
    return opened(grid, bands, models)


def opened(grid, bands, models):
    """Return a surface that is read from memory."""
    dates = [["2031-05-01", "2031-05-02"]] * len(models)
    return Surface(grid, Memory(grid, bands).read, [m.survey for m in models], models, dates)


def merged(*surveys, **how):
    """Return the merged surface of surveys in memory, as it is sampled."""
    bands = merge(*surveys, **how)
    rows, columns = bands["height"].shape
    grid = Grid((0.0, 0.0), 1.0, 0, 0, columns, rows)
    return opened(grid, bands, [model for _, _, model, _ in surveys])


def budget(of):
    rows, columns = of.grid.shape
    return median_budget(of, cells_in(box(0, 0, columns, rows), of))


@pytest.fixture
def sample(monkeypatch):
    """Return `sample_bed` on a surface in memory."""

    def run(polygons, of):
        monkeypatch.setattr("wrackline.seabed.sample.read_surface", lambda *_: of)
        return sample_bed(polygons, "surface.tif", "surface.json")

    return run


def test_median_least_greatest_and_cells_are_as_by_hand(sample):
    """Cells count whose centre lies inside: three of the upper row."""
    of = surface([[-1.0, -2.0, -4.0, -9.0], [0, 0, 0, 0]])
    found = sample([box(0, 1.2, 3, 2)], of).iloc[0]
    assert tuple(found.index) == COLUMNS
    assert (found.bed_height_median, found.bed_height_min, found.bed_height_max) == (-2, -4, -1)
    assert (found.cells, found.filled_share) == (3, 0.0)
    assert found.surveys == ["2031-level"]
    assert (found.from_date, found.to_date) == ("2031-05-01", "2031-05-02")


def test_shares_covered_are_as_by_hand_with_and_without_heights(sample):
    """Two of four square metres have a cell with a height, of others none: by themselves too."""
    of = surface([[-1.0, np.nan], [-2.0, np.nan]])
    places = [box(0, 0, 2, 2), box(1, 0, 2, 2), box(0, 0, 0.9, 0.9), Polygon()]
    assert covered_shares(places, of) == [0.5, 0.0, 1.0, 0.0]
    assert sample(places, of)["covered_share"].tolist() == [0.5, 0.0, 1.0, 0.0]


def test_gaps_lower_the_covered_share_and_filled_cells_are_counted(sample):
    """Half the room is covered, a quarter of that was interpolated."""
    height = np.full((2, 8), -3.0)
    height[:, 4:] = np.nan
    filled = np.zeros((2, 8))
    filled[0, :2] = 1
    found = sample([box(0, 0, 8, 2)], surface(height, filled=filled)).iloc[0]
    assert (found.cells, found.covered_share, found.filled_share) == (8, 0.5, 0.25)


def test_polygons_without_a_cell_get_nulls_and_keep_their_index(sample):
    """Outside, too small, empty: null heights, no budget, never 0."""
    rooms = gpd.GeoSeries(
        [box(50, 50, 60, 60), box(0.6, 0.6, 0.9, 0.9), Polygon(), box(-5, -5, 1, 1)],
        index=["a", "b", "c", "d"],
    )
    found = sample(rooms, surface([[-1.0, -2.0], [-3.0, -4.0]]))
    assert list(found.index) == ["a", "b", "c", "d"]
    assert found["cells"].tolist() == [0, 0, 0, 1]
    assert found["bed_height_median"].isna().tolist() == [True, True, True, False]
    assert found.loc["a", "budget"] is None
    assert found.loc["d", "bed_height_median"] == -3.0


def test_one_and_two_cells_have_the_sd_of_their_mean():
    """The median of one cell is the cell, of two their mean."""
    np.testing.assert_allclose(budget(surface([[-1.0]])).random, 0.1)
    np.testing.assert_allclose(budget(surface([[-1.0, -1.0]])).random, 0.1 / np.sqrt(2))


def test_on_a_level_bed_the_random_part_is_that_of_a_median():
    """√(π/2) s/√n, for 400 cells."""
    of = surface(np.full((20, 20), -3.0))
    np.testing.assert_allclose(budget(of).random, np.sqrt(np.pi / 2) * 0.1 / 20, rtol=1e-6)


def test_a_named_shift_moves_the_median_wholly_and_keeps_its_sign():
    """All cells rise together: the effect is the source's own sd."""
    gauge = NamedError("gauge:height", "height", 0.05)
    of = surface(np.full((9, 9), -3.0), models=(ErrorModel("2031-a", 0, 0.1, named=(gauge,)),))
    np.testing.assert_allclose(budget(of).named["gauge:height"], 0.05)


def test_an_easting_shift_moves_the_median_down_a_slope():
    """On a rise of 0.2 eastward, points shifted 0.1 m east lower the surface by 0.02 m."""
    height = np.tile(0.2 * np.arange(12.0), (12, 1))
    mark = NamedError("mark:easting", "easting", 0.1)
    of = surface(height, models=(ErrorModel("2031-a", 0, 0.1, named=(mark,)),))
    np.testing.assert_allclose(budget(of).named["mark:easting"], -0.02, rtol=1e-6)


def test_patchy_errors_shrink_only_over_several_patches():
    """Alike over 1 km the whole error stays; alike over 3 m in 40 m, a tenth."""
    height = np.full((40, 40), -3.0)
    wide = surface(height, models=(ErrorModel("a-a", 0, 0.1, 0, 0.06, 1000.0),))
    small = surface(height, models=(ErrorModel("a-a", 0, 0.1, 0, 0.06, 3.0),))
    np.testing.assert_allclose(budget(wide).patchy, 0.06, rtol=0.05)
    assert budget(small).patchy < 0.006


def test_what_the_file_states_beyond_its_model_stays_whole():
    """An own sd of 0.3 m over a model of 0.1 m stands as a source of the survey's own."""
    of = surface(np.full((10, 10), -3.0), own=0.3)
    np.testing.assert_allclose(
        budget(of).named["2031-level:own_sd"], np.sqrt(0.3**2 - 0.1**2), rtol=1e-6
    )


def test_filled_cells_count_for_less_than_measured_ones():
    """Cells interpolated between the same soundings share their errors."""
    measured = budget(surface(np.full((10, 10), -3.0)))
    filled = budget(surface(np.full((10, 10), -3.0), filled=np.ones((10, 10))))
    # twice the fill distance is 4 cells: 1 + π 4² / 5 cells share one error, fewer at the rim
    alike = np.sqrt(1 + np.pi * 16 / 5)
    assert 0.8 * alike < filled.random / measured.random < alike


def bed_level(shape):
    return np.zeros(shape)


def bed_rough(shape):
    return np.random.default_rng(77).normal(0, 0.3, shape)


def bed_steep(shape):
    return np.tile(0.15 * np.arange(shape[1]), (shape[0], 1))


@pytest.mark.parametrize("bed", [bed_level, bed_rough, bed_steep])
def test_intervals_of_the_median_hold_the_true_median(bed):
    """Over 500 surveys of a bed, 95 % intervals hold its true median within binomial bounds."""
    rng, shape, trials = np.random.default_rng(6), (9, 11), 500
    truth = bed(shape)
    held = 0
    for _ in range(trials):
        seen = truth + rng.normal(0, 0.1, shape)
        error = np.median(seen) - np.median(truth)
        held += abs(error) <= 1.96 * budget(surface(seen)).random
    low, high = binom.ppf([0.001, 0.999], trials, 0.95)
    assert low <= held <= high


def test_shares_pass_on_each_survey_s_own_errors():
    """By hand: shares of 0.8 and 0.2 pass on 0.8 and 0.2 of the named errors, whole."""
    one = ErrorModel("2031-a", 0.0, 0.1, named=(NamedError("a:height", "height", 0.1),))
    other = ErrorModel("2031-b", 0.0, 0.2, named=(NamedError("b:height", "height", 0.2),))
    flat = np.full((9, 9), -3.0)
    found = budget(
        merged(survey("2031-a", flat, model=one), survey("2031-b", flat, random=0.2, model=other))
    )
    np.testing.assert_allclose([found.named["a:height"], found.named["b:height"]], [0.08, 0.04])
    random = np.hypot(0.8 * 0.1, 0.2 * 0.2)
    np.testing.assert_allclose(found.random, np.sqrt(np.pi / 2) * random / 9, rtol=1e-6)


def test_cells_that_share_a_coarse_cell_are_not_independent():
    """64 cells of which 16 each have one error, wherever the coarse cells begin: by counting."""
    of = surface(np.full((8, 8), -3.0))
    of.read.__self__.bands["together"][:] = 16.0
    same = []
    for right, down in np.ndindex(4, 4):
        block = np.add.outer(100 * ((np.arange(8) + down) // 4), (np.arange(8) + right) // 4)
        same.append((block.ravel()[:, None] == block.ravel()).mean())
    np.testing.assert_allclose(budget(of).random, 0.1 * np.sqrt(np.pi / 2 * np.mean(same)))


def test_a_coarse_survey_s_room_is_as_well_known_as_its_coarse_cells():
    """32 m by 32 m of coarse cells of 4 m: the median of 64 errors, wherever cells lie between."""
    flat = np.full((10, 10), -3.0)
    of = merged(survey("2031-a", flat, k=4, random=0.2))
    whole = median_budget(of, cells_in(box(4, 4, 36, 36), of))
    np.testing.assert_allclose(whole.random, np.sqrt(np.pi / 2) * 0.2 / 8, rtol=0.1)


def test_a_polygon_over_many_tiles_is_sampled_as_one(monkeypatch):
    """Cells come in rows from north to south, whatever the tiles they are read in."""
    height = np.random.default_rng(3).normal(-3, 0.1, (40, 50))
    of = surface(height)
    circle = box(20, 20, 21, 21).buffer(15)
    before, sure = cells_in(circle, of), median_budget(of, cells_in(circle, of))
    monkeypatch.setattr("wrackline.seabed.sample.TILE", 7)
    after = cells_in(circle, of)
    np.testing.assert_array_equal(after.row, before.row)
    np.testing.assert_array_equal(after.told["height"], before.told["height"])
    assert median_budget(of, after) == sure
