"""Lasting numbers from places, and list fields in which they stand."""

import numpy as np
import pytest

from wrackline.numbers import joined, place_numbers, renumber

ORIGIN = (1000.0, 2000.0)


@pytest.mark.parametrize(
    ("place", "number"),
    [
        pytest.param((1000.0, 2000.0), "R000-000", id="the origin"),
        pytest.param((1123.9, 2045.2), "R123-045", id="whole metres, cut off"),
        pytest.param((2234.0, 2005.0), "R1234-005", id="beyond 999 m"),
        pytest.param((999.9, 2001.0), "Rm001-001", id="west of the origin"),
        pytest.param((1001.0, 1987.5), "R001-m013", id="south of the origin"),
        pytest.param((999.0, 1999.0), "Rm001-m001", id="one metre off both ways"),
    ],
)
def test_a_number_tells_the_metres_east_and_north_of_the_origin(place, number):
    """Numbers count whole metres from the origin; an m stands for minus."""
    assert place_numbers("R", np.array([place]), ORIGIN) == [number]


def test_things_in_one_square_metre_get_letters():
    """The second is b, the 26th z, the 27th aa, the 28th ab: none stands twice."""
    numbers = place_numbers("W", np.tile([1005.5, 2006.5], (28, 1)), ORIGIN)
    assert [numbers[k] for k in (0, 1, 25, 26, 27)] == [
        "W005-006",
        "W005-006b",
        "W005-006z",
        "W005-006aa",
        "W005-006ab",
    ]
    assert len(set(numbers)) == len(numbers)


def test_taken_numbers_are_not_given_again():
    """A number in use, and its letters, are passed over."""
    place = np.array([[1005.5, 2006.5]])
    assert place_numbers("R", place, ORIGIN, taken=["R005-006", "R005-006b"]) == ["R005-006c"]


def test_no_place_has_no_number():
    """Nothing to number gives no numbers."""
    assert place_numbers("R", np.zeros((0, 2)), ORIGIN) == []


def test_list_fields_hold_each_once_in_order():
    """Parts of a list field are sorted and stand once."""
    assert joined(["b", "a", "b"]) == "a;b"
    assert joined([]) == ""


def test_renumbering_replaces_whole_numbers_only():
    """Known numbers are replaced, `outside` and longer numbers stay, order follows the new ones."""
    assert renumber("R1;R11;outside", {"R1": "R7"}) == "R11;R7;outside"
    assert renumber("", {"R1": "R7"}) == ""
