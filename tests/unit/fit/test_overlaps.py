"""Offsets between overlapping surveys: known beforehand, with errors that cancel or don't."""

from types import SimpleNamespace

import numpy as np
import pytest
import yaml
from scipy.stats import binom

from wrackline.fit.overlaps import Fitted, compare_overlaps
from wrackline.model import AppliedOffset, ErrorSource, Survey
from wrackline.points import Points, PointWriter
from wrackline.rasters import ticks
from wrackline.uncertainty import ErrorModel, NamedError, error_model

ORIGIN = (500_000.0, 4_700_000.0)


def fitted(folder, name, xyz, *, date="2031-01-01", **errors):
    """Write points given in metres from the origin, and return the survey."""
    path = folder / f"{name}.laz"
    with PointWriter(path, crs="EPSG:32633", origin=ORIGIN) as writer:
        east, north, height = (ticks(axis) for axis in np.asarray(xyz, dtype=float).T)
        writer.write(Points(east + ticks(ORIGIN[0]), north + ticks(ORIGIN[1]), height))
    model = ErrorModel(name, **{"random_horizontal": 0.0, "random_vertical": 0.1, **errors})
    return Fitted(name, path, {"model": model.as_dict(), "from_date": date})


def lattice(side=20, height=-3.0, shift=0.0):
    x, y = np.meshgrid(np.arange(side) + 0.5 + shift, np.arange(side) + 0.5)
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, height)])


def test_a_known_offset_is_found_as_newer_minus_older(tmp_path):
    """A later survey 0.25 m higher gives +0.25 m in mean and median, and no scatter."""
    older = fitted(tmp_path, "2031-a", lattice())
    newer = fitted(tmp_path, "2032-b", lattice(height=-2.75), date="2032-01-01")
    found = compare_overlaps([newer, older], origin=ORIGIN, cell_m=0.5)
    (pair,) = found["pairs"]
    assert (pair["newer"], pair["older"], pair["cells"]) == ("2032-b", "2031-a", 400)
    np.testing.assert_allclose([pair["mean_m"], pair["median_m"]], 0.25, atol=1e-9)
    np.testing.assert_allclose(pair["nmad_m"], 0.0, atol=1e-9)
    # 0.1 m at random on both sides, 400 cells of one point each: 0.1 * sqrt(2 / 400)
    np.testing.assert_allclose(pair["sd_m"], 0.1 * np.sqrt(2 / 400), rtol=1e-9)
    assert pair["beyond_95"] is True


def test_a_source_common_to_both_cancels_and_another_does_not(tmp_path):
    """The gauge that both rest on leaves the difference, each one's own benchmark stays."""
    gauge = NamedError("gauge:height", "height", 0.5)
    mark = NamedError("mark:height", "height", 0.03)
    older = fitted(tmp_path, "2031-a", lattice(), random_vertical=0.0, named=(gauge,))
    newer = fitted(tmp_path, "2032-b", lattice(), random_vertical=0.0, named=(gauge, mark))
    (pair,) = compare_overlaps([older, newer], origin=ORIGIN, cell_m=0.5)["pairs"]
    np.testing.assert_allclose(pair["sd_named_m"], 0.03, rtol=1e-9)
    assert pair["beyond_95"] is False


def test_patchy_errors_shrink_with_patches_and_not_with_cells(tmp_path):
    """Over one patch the whole error stays; with patches far below the ground, little of it."""
    wide = {"random_vertical": 0.0, "patchy_vertical": 0.1, "patchy_distance": 1e5}
    small = {"random_vertical": 0.0, "patchy_vertical": 0.1, "patchy_distance": 2.0}
    plain = fitted(tmp_path, "2031-a", lattice(), random_vertical=0.0)
    one = fitted(tmp_path, "2032-b", lattice(), **wide)
    many = fitted(tmp_path, "2032-c", lattice(), **small)
    pairs = compare_overlaps([plain, one, many], origin=ORIGIN, cell_m=0.5)["pairs"]
    by_newer = {pair["newer"]: pair for pair in pairs if pair["older"] == "2031-a"}
    np.testing.assert_allclose(by_newer["2032-b"]["sd_patchy_m"], 0.1, rtol=1e-3)
    assert by_newer["2032-c"]["sd_patchy_m"] < 0.01


def test_the_scatter_that_shows_is_never_understated(tmp_path):
    """Differences that scatter more than stated raise the random part to what they show."""
    rng = np.random.default_rng(8)
    rough = lattice()
    rough[:, 2] += rng.normal(0, 0.5, len(rough))
    older = fitted(tmp_path, "2031-a", lattice(), random_vertical=0.01)
    newer = fitted(tmp_path, "2032-b", rough, random_vertical=0.01)
    (pair,) = compare_overlaps([older, newer], origin=ORIGIN, cell_m=0.5)["pairs"]
    np.testing.assert_allclose(pair["sd_random_m"], 0.5 / 20, rtol=0.1)


def test_surveys_apart_are_named_as_such_and_no_surveys_give_empty_lists(tmp_path):
    """No shared cell is no comparison; a site without bed points has neither."""
    one = fitted(tmp_path, "2031-a", lattice(side=3))
    far = fitted(tmp_path, "2032-b", lattice(side=3, shift=100.0))
    found = compare_overlaps([one, far], origin=ORIGIN, cell_m=0.5)
    assert (found["pairs"], found["apart"]) == ([], [["2032-b", "2031-a"]])
    empty = {"cell_m": 1.0, "baseline": None, "pairs": [], "apart": []}
    assert compare_overlaps([], origin=ORIGIN, cell_m=0.5) == empty


LEVEL, ANTENNA = (NamedError(f"{name}:height", "height", 0.02) for name in ("level", "antenna"))


def levelled_line(rng):
    """Return levelled points, two metres apart along two sides of the ground, bed at -3 m."""
    along = np.arange(0.5, 60, 2)
    xy = np.vstack(
        [np.column_stack([along, along * 0 + 1.5]), np.column_stack([along * 0 + 1.5, along])]
    )
    return np.column_stack([xy, -3 + rng.normal(0, 0.004, len(xy))])


def photo_model(rng):
    """Return a photo model 0.08 m high at (30, 30), tilted by 0.3 mm a metre east, with a wall."""
    x, y = (a.ravel() for a in np.meshgrid(np.arange(0.25, 60, 0.5), np.arange(0.25, 60, 0.5)))
    height = -3 + 0.08 + 0.3e-3 * (x - 30) + rng.normal(0, 0.01, len(x))
    height[(x > 20) & (x < 22)] += 0.6
    return np.column_stack([x, y, height])


@pytest.fixture
def photo_pair(tmp_path):
    """Return the pair of a photo model and a levelled line, the latter named as the baseline."""

    def run(seed=1, **more):
        rng = np.random.default_rng(seed)
        line = fitted(
            tmp_path, "2031-line", levelled_line(rng), random_vertical=0.004, named=(LEVEL,)
        )
        errors = {"random_vertical": 0.01, "named": (ANTENNA,)}
        photo = fitted(tmp_path, "2032-photo", photo_model(rng), date="2032-01-01", **errors)
        found = compare_overlaps(
            [line, photo], origin=ORIGIN, cell_m=0.5, baseline="2031-line", **more
        )
        return found["pairs"][0]

    return run


def test_offset_and_tilt_of_a_photo_model_are_found_against_a_levelled_line(photo_pair):
    """0.08 m high and tilted by 0.3 mm a metre, with a wall across: found within their sds."""
    held = np.zeros(3)
    for seed in range(40):
        pair = photo_pair(seed)
        east = pair["pivot"][0] - ORIGIN[0]
        truth = 0.08 + 0.3e-3 * (east - 30)
        held += [
            abs(pair["offset_m"] - truth) <= 1.96 * pair["offset_fit_sd_m"],
            abs(pair["tilt_east_mm_per_m"] - 0.3) <= 1.96 * pair["tilt_east_fit_sd_mm_per_m"],
            abs(pair["tilt_north_mm_per_m"]) <= 1.96 * pair["tilt_north_fit_sd_mm_per_m"],
        ]
    assert (held >= binom.ppf(0.001, 40, 0.95)).all()
    assert pair["tilt_east_mm_per_m"] > 1.96 * pair["tilt_east_sd_mm_per_m"]
    np.testing.assert_allclose(pair["offset_sd_m"], np.hypot(0.02, 0.02), rtol=0.02)


def test_the_lines_for_the_config_bring_the_survey_on_to_the_baseline(photo_pair):
    """Read back, they take offset and tilt out, and put the line's benchmark in its place."""
    pair = photo_pair()
    written = yaml.safe_load(pair["correction"])["applied_offset"]
    offset = AppliedOffset(**{**written, "rests_on": ["level"]})
    assert (written["against"], written["replaces"]) == ("2031-line", ["antenna"])
    x = np.array([0.0, 30.0, 60.0])
    left = 0.08 + 0.3e-3 * (x - 30) + offset.at(ORIGIN[0] + x, ORIGIN[1] + 0 * x)
    survey, site = config(offset)
    model = error_model("2032-photo", survey, site)
    named = {part.name: part for part in model.named}
    assert list(named) == [
        "antenna:easting",
        "level:height",
        "2032-photo:applied_offset",
        "2032-photo:applied_tilt",
        "2032-photo:applied_tilt_2",
    ]
    places = np.column_stack([ORIGIN[0] + x, np.full(3, ORIGIN[1] + 1.0), np.full(3, -3.0)])
    own = [part.displacement(places)[:, 2] for name, part in named.items() if "applied" in name]
    sd = np.sqrt(np.square(own).sum(axis=0))
    assert (np.abs(left) <= 3 * sd).all()
    assert (sd < 0.01).all()
    np.testing.assert_allclose(named["level:height"].sd, 0.02)


def test_a_corrected_survey_s_sd_is_honest(photo_pair):
    """With the benchmark's own error drawn anew, 95 % intervals hold the bed in every corner."""
    rng, trials = np.random.default_rng(9), 60
    places = ORIGIN + np.array([[5.0, 5.0], [55.0, 5.0], [5.0, 55.0], [55.0, 55.0]])
    xyz, held = np.column_stack([places, np.full(4, -3.0)]), np.zeros(4)
    for seed in range(trials):
        written = yaml.safe_load(photo_pair(100 + seed)["correction"])["applied_offset"]
        offset = AppliedOffset(**{**written, "rests_on": ["level"]})
        model = error_model("2032-photo", *config(offset))
        named = [part.displacement(xyz)[:, 2] for part in model.named if part.kind != "easting"]
        # the photo model as measured, corrected, and the line's benchmark's error in all of it
        wrong = 0.08 + 0.3e-3 * (places[:, 0] - ORIGIN[0] - 30) + offset.at(*places.T)
        wrong += rng.normal(0, 0.02)
        held += np.abs(wrong) <= 1.96 * np.sqrt(np.square(named).sum(axis=0))
    assert (held >= binom.ppf(0.001, trials, 0.95)).all()
    assert np.sqrt(np.square(named).sum(axis=0)).max() < 0.025


def config(offset):
    """Return the photo model's config and a site's that names both benchmarks."""
    survey = Survey(
        name="photo",
        technique="photographs",
        holds="bed_points",
        file="photo.laz",
        crs="EPSG:32633",
        from_date="2032-01-01",
        to_date="2032-01-01",
        vertical={"meaning": "height"},
        random_horizontal_sd_m=0.0,
        random_vertical_sd_m=0.01,
        error_sources=["antenna"],
        applied_offset=offset,
    )
    sources = {
        "level": ErrorSource(kind="shift", easting_sd_m=0.5, height_sd_m=0.02),
        "antenna": ErrorSource(kind="shift", easting_sd_m=0.1, height_sd_m=0.02),
    }
    return survey, SimpleNamespace(error_sources=sources, origin=ORIGIN)


def test_without_a_baseline_pairs_are_compared_and_nothing_is_proposed(tmp_path):
    """A pair of which neither is the baseline has its plane, and no lines for the config."""
    older = fitted(tmp_path, "2031-a", lattice())
    newer = fitted(tmp_path, "2032-b", lattice(height=-2.75), date="2032-01-01")
    for baseline in (None, "2031-c"):
        (pair,) = compare_overlaps([newer, older], origin=ORIGIN, cell_m=0.5, baseline=baseline)[
            "pairs"
        ]
        assert pair["correction"] is None
        np.testing.assert_allclose(pair["offset_m"], 0.25)


def test_one_line_of_cells_has_an_offset_and_no_tilt(tmp_path):
    """Along a single line the tilt across it is anybody's guess, and the reason says so."""
    older = fitted(tmp_path, "2031-a", lattice()[::20])
    newer = fitted(tmp_path, "2032-b", lattice(height=-2.75), date="2032-01-01")
    (pair,) = compare_overlaps([newer, older], origin=ORIGIN, cell_m=0.5)["pairs"]
    assert pair["tilt_null_because"] == "the cells in common lie along one line"
    assert pair["tilt_east_mm_per_m"] is None
    np.testing.assert_allclose(pair["offset_m"], 0.25)


def test_a_tilted_source_common_to_both_cancels_in_the_tilt(tmp_path):
    """Both on one tilted level: the pair's tilt is as well known as noise allows."""
    tilt = NamedError("level:tilt", "tilt", 1e-2, ORIGIN, 90.0)
    older = fitted(tmp_path, "2031-a", lattice(), random_vertical=0.01, named=(tilt,))
    own = fitted(tmp_path, "2032-b", lattice(), random_vertical=0.01)
    both = fitted(tmp_path, "2032-c", lattice(), random_vertical=0.01, named=(tilt,))
    pairs = compare_overlaps([older, own, both], origin=ORIGIN, cell_m=0.5)["pairs"]
    sd = {
        pair["newer"]: pair["tilt_east_sd_mm_per_m"] for pair in pairs if pair["older"] == "2031-a"
    }
    # ordinary least squares: sigma / sqrt(sum x^2), 400 cells, variance (20^2 - 1) / 12
    expected = 1000 * 0.01 * np.sqrt(2) / np.sqrt(400 * 399 / 12)
    np.testing.assert_allclose(sd["2032-c"], expected, rtol=1e-6)
    np.testing.assert_allclose(sd["2032-b"], np.hypot(10, expected), rtol=1e-6)
