"""Offsets between overlapping surveys: known beforehand, with errors that cancel or don't."""

import numpy as np
import pytest

from wrackline.fit.overlaps import Fitted, compare_overlaps, nmad
from wrackline.points import Points, PointWriter
from wrackline.rasters import ticks
from wrackline.uncertainty import ErrorModel, NamedError

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
    empty = {"cell_m": 1.0, "pairs": [], "apart": []}
    assert compare_overlaps([], origin=ORIGIN, cell_m=0.5) == empty


@pytest.mark.parametrize("sd", [0.1, 2.0])
def test_nmad_is_the_sd_of_normal_numbers_and_blind_to_single_blunders(sd):
    """NMAD equals sd for a normal sample (Höhle and Höhle 2009), ten blunders or none."""
    sample = np.random.default_rng(4).normal(0, sd, 20_000)
    np.testing.assert_allclose(nmad(sample), sd, rtol=0.02)
    sample[:10] = 1000.0
    np.testing.assert_allclose(nmad(sample), sd, rtol=0.02)
