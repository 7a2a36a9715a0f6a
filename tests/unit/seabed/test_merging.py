"""Merged surfaces: weights, variances and seams by hand, and figures that no tile changes."""

import itertools

import numpy as np
import pytest
from layered_surfaces import ORIGIN, merge, sources, survey

from wrackline.errors import InputError
from wrackline.io import read_json, write_json
from wrackline.rasters import Band, Grid, RasterReader, read_raster, write_raster
from wrackline.seabed.carried import ratio, read_layer, unseen_relief
from wrackline.seabed.merge import BANDS, Merging, SurveySurface, merge_surfaces, share_band
from wrackline.uncertainty import ErrorModel, NamedError, model_from_dict

MARK = NamedError("mark:height", "height", 0.3)


def row(bands, name):
    return bands[name][0].tolist()


def test_weights_are_inverse_variances_and_the_sd_follows_them():
    """By hand: 1 and 2 with sd 0.1 and 0.2 give 1.2 with sd 1 / √(100 + 25)."""
    bands = merge(survey("2031-a", [1.0], random=0.1), survey("2031-b", [1.25], random=0.2))
    np.testing.assert_allclose(bands["height"], 1.05)
    np.testing.assert_allclose(bands["sd"], 1 / np.sqrt(125))
    np.testing.assert_allclose(bands["share:2031-a"], 0.8)
    np.testing.assert_allclose(bands["share:2031-b"], 0.2)
    assert (row(bands, "source"), row(bands, "count")) == ([0.0], [6.0])


def test_a_million_points_do_not_drown_a_levelled_line():
    """Counts say nothing: a photo model 0.3 m adrift counts by its total variance, 1 to 9."""
    photo = survey("2031-p", [0.2], random=1e-4, model=ErrorModel("2031-p", 0, 1, named=(MARK,)))
    photo[1].bands["count"][:] = 1e6
    bands = merge(photo, survey("2031-levelled", [0.0], random=0.1))
    np.testing.assert_allclose(bands["share:2031-levelled"], 0.9, rtol=1e-5)
    np.testing.assert_allclose(bands["height"], 0.02, rtol=1e-4)


def test_a_source_that_both_rest_on_does_not_average():
    """Two surveys of one mark know the height no better than the mark; of two marks, they do."""
    model = ErrorModel("2031-a", 0.0, 0.0, named=(MARK,))
    other = ErrorModel("2031-b", 0.0, 0.0, named=(NamedError("other:height", "height", 0.3),))
    same = merge(*(survey(name, [1.0], random=0, model=model) for name in ("2031-a", "2031-b")))
    two = merge(
        survey("2031-a", [1.0], random=0, model=model),
        survey("2031-b", [1.0], random=0, model=other),
    )
    np.testing.assert_allclose(same["sd"], 0.3)
    np.testing.assert_allclose(two["sd"], 0.3 / np.sqrt(2))


@pytest.mark.parametrize("count", [2, 3, 6])
def test_weights_lose_at_most_what_the_module_says(count):
    """Beside the best linear weights (Aitken; common variance 1) no sd is over its bound."""
    sizes, worst = [1e-9, 0.1, 0.5, 1.0, float(count), 9.0, 40.0], 0.0
    for own in itertools.combinations_with_replacement(sizes, count):
        covariance = np.diag(own) + 1.0
        best = 1 / np.linalg.inv(covariance + 1e-12 * np.eye(count)).sum()
        weight = 1 / (np.array(own) + 1)
        weight /= weight.sum()
        worst = max(worst, np.sqrt(weight @ covariance @ weight / best))
    bound = np.sqrt(1 + (count - 1) / (4 * count))
    assert worst <= bound * (1 + 1e-6)
    np.testing.assert_allclose(worst, bound, rtol=1e-3)  # the worst case is among the sizes


def test_a_newer_season_stands_alone_where_nobody_knows_how_the_bed_changes():
    """The bed as last measured, whatever the order of listing; the older fills what is left."""
    old = survey("2031-a", [1.0, 1.0], random=0.01)
    new = survey("2032-a", [2.0, np.nan], random=0.5, day=365)
    for parts, index in (((old, new), 1), ((new, old), 0)):
        bands = merge(*parts)
        assert row(bands, "height") == [2.0, 1.0]
        assert row(bands, "source") == [index, 1 - index]
        np.testing.assert_allclose(bands["sd"], [[0.5, 0.01]])


def test_a_stated_change_lets_older_seasons_join_by_their_age():
    """Two years at 0.1 m a year add 0.04 m² to the older survey, by hand."""
    old = survey("2031-a", [1.0], random=0.1)
    new = survey("2033-a", [1.1], random=0.1, day=2 * 365.25)
    bands = merge(old, new, change_sd_m_per_year=0.1)
    total = 1 / np.array([0.01 + 0.04, 0.01])
    np.testing.assert_allclose(bands["height"], total @ [1.0, 1.1] / total.sum())
    np.testing.assert_allclose(bands["sd"], 1 / np.sqrt(total.sum()))
    alone = merge(old, survey("2033-a", [np.nan], day=730), change_sd_m_per_year=0.1)
    np.testing.assert_allclose(alone["sd"], 0.1)  # nothing newer: its own date's bed


def test_what_differs_beyond_its_errors_raises_the_sd_and_is_counted():
    """Cells 1 m apart with 0.1 m each: the older's error, or both's; agreeing ones are left."""
    tally = {}
    old = survey("2031-a", [1.0, 0.0])
    new = survey("2032-a", [0.0, 0.1], day=365.25)
    bands = merge(old, new, change_sd_m_per_year=0.0, tally=tally)
    assert tally == {("2032-a", "2031-a"): [2, 1, -9000]}
    excess = 1 - 2.575829**2 * 0.02
    np.testing.assert_allclose(bands["share:2031-a"], [[0.01 / (excess + 0.02), 0.5]], rtol=1e-6)
    within = merge(old, survey("2031-b", [0.0, 0.1]))
    np.testing.assert_allclose(within["sd"], [[np.sqrt((excess + 0.01) / 2), 0.1 / np.sqrt(2)]])
    np.testing.assert_allclose(within["height"], [[0.5, 0.05]])
    assert within["sd_rest"][0, 1] == 0.0


def test_measured_cells_come_before_filled_ones_of_a_newer_season():
    """An interpolated value never hides a measured one, and counts no points."""
    bands = merge(survey("2031-a", [1.0], random=0.3), survey("2032-a", [2.0], filled=1, day=365))
    np.testing.assert_allclose(bands["height"], 1.0)
    assert (row(bands, "filled"), row(bands, "count"), row(bands, "source")) == ([0], [3], [0])
    alone = merge(survey("2032-a", [2.0], filled=1))
    assert (row(alone, "filled"), row(alone, "count")) == ([1.0], [0.0])


def test_filled_cells_join_less_and_less_with_their_distance():
    """Beside measured cells of another survey: 1 - distance / feather, and not beyond it."""
    distance = np.array([[0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]])
    gap = survey("2031-a", np.zeros((9, 9)), filled=distance > 0, distance_m=distance)
    bands = merge(gap, survey("2031-b", np.zeros((9, 9))), feather_m=4.0)
    near = np.array([1, 0.75, 0.5, 0.25, 0])
    np.testing.assert_allclose(np.nan_to_num(bands["share:2031-a"][4, :5]), near / 2)


def test_the_bed_comes_before_the_canopy_of_plants():
    """Where one survey saw plants and another the bed, the bed stands; structure counts as bed."""
    photo = survey("2031-p", [1.0, 1.0, 1.0], surface=[[2.0, 3.0, 2.0]])
    beams = survey("2031-s", [0.0, 0.0, np.nan], random=0.3, surface=[[1.0, 1.0, 1.0]])
    bands = merge(photo, beams)
    np.testing.assert_allclose(bands["height"], [[0.0, _mix(), 1.0]], rtol=1e-6)
    assert row(bands, "surface") == [1.0, 3.0, 2.0]


def _mix():
    """Return the mean of 1 m and 0 m with sds of 0.1 and 0.3, apart by 1 m, as of one season."""
    excess = 1 - 2.575829**2 * 0.1
    weight = 1 / np.array([0.01 + excess, 0.09 + excess])
    return weight[0] / weight.sum()


def test_no_step_shows_where_a_survey_ends_inside_anothers_ground():
    """A far better survey 0.1 m higher fades in evenly over 6 m: by less than 0.1 / 6 a cell."""
    inner = np.full((40, 40), np.nan)
    inner[:, 10:] = 0.1
    wide, inner = survey("2031-a", np.zeros((40, 40))), survey("2031-b", inner, random=0.02)
    hard = merge(wide, inner)["height"][20, :30]
    soft = merge(wide, inner, feather_m=6.0)
    assert np.abs(np.diff(hard)).max() > 0.09
    assert np.abs(np.diff(soft["height"][20, :30])).max() < 0.1 / 6
    # the sd follows the weights used
    share = np.nan_to_num(soft["share:2031-b"])
    expected = np.hypot((1 - share) * 0.1, share * 0.02)
    np.testing.assert_allclose(soft["sd"], expected)
    assert share[20, 16] == pytest.approx(25 / 26)


def test_coarse_surveys_lie_on_the_site_s_cells_without_steps():
    """A plane in cells of 4 m is a plane in cells of 1 m: between centres, by hand."""
    x = np.arange(8) * 4 + 2.0
    plane = np.tile(0.25 * x, (6, 1))
    bands = merge(survey("2031-a", plane, k=4, random=0.2))
    # between centres, and at the rim along the slope
    np.testing.assert_allclose(bands["height"], np.tile(0.25 * (np.arange(32) + 0.5), (24, 1)))
    weights = np.outer([0.875, 0.125], [0.875, 0.125])
    np.testing.assert_allclose(bands["sd_random"][2, 2] ** 2, 0.2**2 * (weights**2).sum())
    np.testing.assert_allclose(bands["together"][2, 2], 16 / (weights**2).sum())
    np.testing.assert_allclose(bands["together"][0, 0], 16)


def test_coarse_cells_count_little_where_a_finer_survey_shows_relief():
    """A wall of 0.5 m that a sounder's cells blur keeps its height in the merged surface."""
    fine = np.zeros((40, 40))
    fine[:, 18:20] = 0.5
    blurred = fine.reshape(10, 4, 10, 4).mean(axis=(1, 3))
    surveys = survey("2031-p", fine, random=0.05), survey("2031-s", blurred, k=4, random=0.02)
    bands = merge(*surveys)
    assert bands["height"][20, 18:20].min() > 0.45
    flat = bands["share:2031-s"][20, 4]
    np.testing.assert_allclose(flat, 0.05**2 / (0.05**2 + 0.02**2 * _squares(0)), rtol=1e-6)


def _squares(at):
    """Return Σ b² of bilinear weights in cells of 4, by the place along both axes."""
    away = abs((at + 0.5) / 4 - 0.5)
    return (away**2 + (1 - away) ** 2) ** 2


def test_relief_is_what_is_left_on_coarse_cells():
    """A chequerboard of ±0.1 m averages to 0 in cells of 2: its variance is left, less noise."""
    board = np.where(np.indices((24, 24)).sum(axis=0) % 2, 0.1, -0.1)
    (one,) = sources(survey("2031-a", board, random=0.05))
    layer = read_layer(one.reader, one.model, one.reader.grid, fill_distance_m=0.0)
    relief = unseen_relief([(1, layer, 0.0)], one.reader.grid, 2)
    np.testing.assert_allclose(relief[6:-6, 6:-6], 0.1**2 - 0.05**2)


def test_cells_that_do_not_fit_are_refused():
    """0.3 m is no multiple of 0.2 m."""
    with pytest.raises(InputError, match=r"a whole multiple of the site's cells of 0\.2 m"):
        ratio(Grid(ORIGIN, 0.3, 0, 0, 1, 1), 0.2)


def test_surveys_apart_keep_their_places_and_the_gap_stays_empty():
    """Grids are united; cells without any survey have no source."""
    bands = merge(survey("2031-a", [1.0, np.nan]), survey("2031-b", [2.0], corner=(3, 0)))
    np.testing.assert_array_equal(bands["height"], [[1.0, np.nan, np.nan, 2.0]])
    np.testing.assert_array_equal(bands["source"], [[0.0, np.nan, np.nan, 1.0]])
    np.testing.assert_array_equal(bands["share:2031-a"], [[1.0, np.nan, np.nan, np.nan]])


def rough_surveys():
    """Return four surveys of two seasons, cells of 1, 1, 3 and 5 m, with gaps, plants, errors."""
    rng = np.random.default_rng(5)
    tilt = NamedError("level:tilt", "tilt", 1e-3, (0.0, 0.0), 30.0)
    found = []
    for name, k, shape in (
        ("2031-a", 1, (50, 60)), ("2032-b", 1, (40, 40)), ("2032-c", 3, (15, 20)),
        ("2031-d", 5, (9, 8)),
    ):  # fmt: skip
        height = rng.normal(-3, 0.1, shape)
        height[rng.random(shape) < 0.1] = np.nan
        distance = np.where(rng.random(shape) < 0.2, 1.0, 0.0)
        model = ErrorModel(name, 0.1, 0.1, 0.05, 0.04, 9.0, (MARK, tilt))
        more = {
            "filled": distance > 0,
            "distance_m": distance,
            "surface": rng.integers(1, 4, shape),
        }
        day = 365.0 * (name > "2032")
        found.append(survey(name, height, k=k, model=model, day=day, own=0.1, **more))
    return found


@pytest.mark.parametrize("change", [None, 0.02])
def test_no_figure_depends_on_the_tile_or_on_the_order_of_surveys(change):
    """Piece by piece, to the bit; listed backwards, to the bit but for the sources' numbers."""
    surveys, how = rough_surveys(), {"feather_m": 6.0, "change_sd_m_per_year": change}
    whole = merge(*surveys, **how)
    grid = Grid(ORIGIN, 1.0, 0, 0, 60, 50)
    for part in (Grid(ORIGIN, 1.0, 7, 3, 24, 31), Grid(ORIGIN, 1.0, 30, 20, 31, 21)):
        piece = merge(*surveys, part=part, **how)
        for name, band in piece.items():
            np.testing.assert_array_equal(band, whole[name][grid.window(part)], err_msg=name)
    backwards = merge(*surveys[::-1], **how)
    for name in set(whole) - {"source"}:
        np.testing.assert_array_equal(backwards[name], whole[name], err_msg=name)
    np.testing.assert_array_equal(3 - backwards["source"], whole["source"])


def written(folder):
    """Write the rough surveys' rasters and errors, and return them."""
    surveys = []
    for name, reader, model, day in rough_surveys():
        raster, errors = folder / f"{name}.tif", folder / f"{name}.json"
        bands = [Band(key, "m", values) for key, values in reader.bands.items()]
        write_raster(raster, bands, grid=reader.grid, crs="EPSG:32633", vertical_datum="msl")
        date = "2032-05-01" if day else "2031-05-01"
        account = {"model": model.as_dict(), "from_date": date, "to_date": date, "own_sd": True}
        write_json(account, errors)
        surveys.append(SurveySurface(name, raster, errors))
    return surveys


def test_raster_and_record_agree(tmp_path):
    """Bands and shares as documented; sources, models and dates in the order of the source band."""
    surveys, out = written(tmp_path), tmp_path / "composite.tif"
    frame = {"crs": "EPSG:32633", "vertical_datum": "msl", "origin": ORIGIN}
    how = Merging(1.5, 3.0, 0.05, 1.0)
    merge_surfaces(surveys, out, name="composite", frame=frame, how=how)
    first = out.read_bytes()
    merge_surfaces(surveys, out, name="composite", frame=frame, how=how, tile=16)
    assert out.read_bytes() == first
    with RasterReader(out) as reader:
        assert reader.names == (*BANDS, *(share_band(survey.name) for survey in surveys))
    _, bands = read_raster(out)
    shares = np.nan_to_num([bands[share_band(survey.name)] for survey in surveys])
    np.testing.assert_allclose(shares.sum(axis=0), np.isfinite(bands["height"]), atol=1e-6)
    record = read_json(tmp_path / "composite.json")
    assert record["sources"] == ["2031-a", "2032-b", "2032-c", "2031-d"]
    assert [model_from_dict(m).survey for m in record["models"]] == record["sources"]
    assert record["dates"][1] == ["2032-05-01", "2032-05-01"]
    assert (record["cell_m"], record["fill_distance_m"], record["feather_m"]) == (1.0, 1.5, 3.0)
    pairs = {(pair["newer"], pair["older"]) for pair in record["pairs"]}
    assert ("2032-b", "2031-a") in pairs
    assert all(0 <= pair["apart_95"] <= pair["cells"] for pair in record["pairs"])
