"""How two seasons fit on stable ground: a plane with its sd, and what to write."""

import numpy as np
import pytest
import yaml
from changed import level, surface

from wrackline.model import AppliedOffset
from wrackline.seabed.differences import difference
from wrackline.seabed.registration import Registration
from wrackline.uncertainty import NamedError

SHAPE = (40, 50)


def fitted(rise, old=None, new=None, stable=None):
    """Return the registration's figures of a rise of so much, by cells."""
    earlier = surface(np.zeros(SHAPE), old or level("2031-a", 0.01))
    later = surface(np.zeros(SHAPE) + rise, new or level("2032-b", 0.01))
    stable = np.ones(SHAPE, bool) if stable is None else stable
    registration = Registration(earlier.grid)
    for part in earlier.grid.strips(500):
        registration.look(part, stable[earlier.grid.window(part)])
    for part in earlier.grid.strips(500):
        registration.add(difference(earlier, later, part), stable[earlier.grid.window(part)])
    return registration.figures(earlier, later)


def test_a_plane_is_found():
    """An offset at the middle and tilts, to the last digit, against a least squares fit."""
    north, east = np.mgrid[SHAPE[0] - 1 : -1 : -1, 0 : SHAPE[1]] + 0.5
    rise = 0.2 + 0.003 * (east - 25) - 0.002 * (north - 20)
    found = fitted(rise)
    assert found["offset_m"] == pytest.approx(0.2)
    assert found["tilt_east_mm_per_m"] == pytest.approx(3.0)
    assert found["tilt_north_mm_per_m"] == pytest.approx(-2.0)
    assert found["pivot"] == pytest.approx([500_025.0, 4_700_020.0])
    cells = SHAPE[0] * SHAPE[1]
    assert found["offset_sd_m"] == pytest.approx(np.sqrt(2e-4 / cells))
    spread = np.sqrt(((east - 25) ** 2).sum())
    assert found["tilt_east_sd_mm_per_m"] == pytest.approx(1000 * np.sqrt(2e-4) / spread)


def test_what_both_rest_on_is_no_uncertainty_of_it():
    """A level common to both seasons is in neither sd; another one is."""
    mark = (NamedError("mark:height", "height", 0.05),)
    both = fitted(0.0, level("2031-a", named=mark), level("2032-b", named=mark))
    one = fitted(0.0, level("2031-a", 0.001), level("2032-b", named=mark))
    assert both["offset_sd_m"] == pytest.approx(0.0, abs=1e-12)
    assert one["offset_sd_m"] == pytest.approx(0.05, rel=1e-3)
    assert one["offset_fit_sd_m"] < 0.001


def test_seasons_within_their_errors_are_not_apart():
    """0.04 m with a level of 0.05 m is nothing; 0.2 m is, and has lines that the config takes."""
    new = level("2032-b", 0.01, named=(NamedError("gauge:height", "height", 0.05),))
    assert fitted(0.04, new=new)["correction"] == {}
    found = fitted(0.2, new=new)
    assert found["apart"]
    lines = yaml.safe_load(found["correction"]["2032-b"])["applied_offset"]
    offset = AppliedOffset.model_validate(lines)
    assert offset.height_m == pytest.approx(-0.2)
    assert (offset.against, offset.replaces) == ("2031-a", ["gauge"])


def test_ground_too_small_or_too_narrow_says_so():
    """A few cells tell nothing, a line no tilt."""
    few, line = np.zeros(SHAPE, bool), np.zeros(SHAPE, bool)
    few[0, :3], line[5, :] = True, True
    assert "fewer than 4 cells" in fitted(0.1, stable=few)["null_because"]
    found = fitted(0.1, stable=line)
    assert found["tilt_null_because"] == "the stable ground lies along one line"
    assert found["offset_m"] == pytest.approx(0.1)
    assert "tilt_east_mm_per_m" not in found
