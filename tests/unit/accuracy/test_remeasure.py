"""Tomorrow's list: which places, how deep, from which mark, and in what order."""

import itertools
from typing import get_args

import numpy as np
import pytest
from drawn import site
from trial_site import MARK, SITE, SURVEYS, fault, sketches

from wrackline.accuracy.remeasure import (
    BY_HOLDS,
    as_html,
    as_text,
    remeasure,
    short_way,
    standing_marks,
)
from wrackline.accuracy.sketches import Sketch
from wrackline.model import ControlValue, Holds


def stops(faults, *, drawn=None, control=(), level=SITE):
    """Return tomorrow's list at the trial site."""
    drawn = sketches() if drawn is None else drawn
    return remeasure(faults, drawn, surveys=SURVEYS, site=level, control=control)


def mark(point, easting, northing, **other):
    """Return a control value."""
    return ControlValue(point=point, easting=easting, northing=northing, sd_m=0.01, **other)


def test_the_way_begins_at_the_first_mark():
    """From a mark in the east the eastern place comes first; without marks the western one."""
    faults = [fault(place=(e, 5.0)) for e in (20.0, 4.0, 38.0)]
    east = stops(faults, control=[mark("B9", 40, 5)])
    assert [row["easting"] for row in east] == [38.0, 20.0, 4.0]
    assert [row["easting"] for row in stops(faults)] == [4.0, 20.0, 38.0]
    assert [row["stop"] for row in east] == [1, 2, 3]


def test_the_way_goes_to_the_nearest_that_is_left():
    """Each step leads to the nearest of the places that are left, whatever their order before."""
    places = [(float(e), float(n)) for e, n in np.random.default_rng(6).uniform(0, 99, (30, 2))]
    way = short_way(places, (0.0, 0.0))
    assert sorted(way) == list(range(30))
    here = (0.0, 0.0)
    for at, k in enumerate(way):
        left = [np.hypot(places[j][0] - here[0], places[j][1] - here[1]) for j in way[at:]]
        assert left[0] == min(left)
        here = places[k]
    turned = short_way(places[::-1], (0.0, 0.0))
    assert [places[::-1][k] for k in turned] == [places[k] for k in way]


def test_no_way_without_places():
    """Nothing doubtful gives an empty list, and no text."""
    assert stops([]) == []
    assert as_text([]) == ""
    assert short_way([], None) == []


def test_places_within_a_metre_are_one_stop():
    """Places 0.9 m apart are one stop with two reasons; 1.1 m apart they are two."""
    one = stops([fault(place=(5.0, 5.0), row=7), fault("lone_point", place=(5.9, 5.0), row=8)])
    assert [(why["number"], why["row"]) for why in one[0]["why"]] == [(1, 7), (2, 8)]
    assert len(stops([fault(place=(5.0, 5.0)), fault(place=(6.1, 5.0))])) == 2


def test_depth_is_the_stated_one_before_the_bed():
    """A fault's own depth counts; else that of the bed nearby; else none is told."""
    rows = stops(
        [
            fault(place=(2.0, 2.0), depth_m=7.25),
            fault(place=(20.0, 14.0)),
            fault(place=(60.0, 40.0)),
        ]
    )
    assert [(row["depth_m"], row["depth_from"]) for row in rows] == [
        (7.25, "stated"),
        (3.0, "soundings"),  # the bed falls as −1 − E/10
        (None, None),
    ]


def test_depth_counts_from_the_sites_sea_level():
    """With the sea 0.5 m above the datum, every depth from soundings is 0.5 m more."""
    assert stops([fault(place=(20.0, 14.0))], level=site(level=0.5))[0]["depth_m"] == 3.5


def test_depth_is_not_that_of_the_doubted_sounding():
    """A spike at the surface doesn't make its own stop shallow."""
    drawn = sketches()
    bed = drawn[1].soundings.copy()
    at = np.flatnonzero((bed[:, 0] == 20) & (bed[:, 1] == 14))
    bed[at, 2] = 0.0
    drawn[1] = Sketch("2031-bed", dots=bed[:, :2], soundings=bed)
    assert stops([fault(place=(20.0, 14.0))], drawn=drawn)[0]["depth_m"] == pytest.approx(
        3, abs=0.2
    )


def test_from_the_nearest_mark():
    """A place 3 m east and 4 m north of a mark is 5 m from it at 36.9° (3-4-5 triangle)."""
    row = stops([fault(place=(13.0, 14.0))], control=[MARK, mark("B2", 10, 10)])[0]
    assert (row["mark"], row["mark_m"], row["mark_bearing_deg"]) == ("B2", 5.0, 36.9)


@pytest.mark.parametrize(
    ("east", "north", "bearing"), [(0, 9, 0), (9, 0, 90), (0, -9, 180), (-9, 0, 270), (-1e-9, 9, 0)]
)
def test_grid_bearings_run_clockwise_from_north(east, north, bearing):
    """The four winds have 0°, 90°, 180° and 270°, and none has 360°."""
    row = stops([fault(place=(20.0 + east, 15.0 + north))], control=[mark("B3", 20, 15)])[0]
    assert row["mark_bearing_deg"] == bearing


def test_marks_that_are_gone_are_no_use():
    """Of a mark that was lost or moved nothing is measured; a later value brings it back."""
    lost = mark("B1", 1, 1, fate="lost", to_date="2031-06-01")
    moved = mark("B2", 2, 2, fate="moved", to_date="2031-06-01")
    anew = mark("B2", 2, 3, from_date="2031-06-02")
    assert [m.northing for m in standing_marks([lost, moved, anew])] == [3]


def test_a_whole_survey_is_looked_at_in_its_middle():
    """An offset without a place is checked at the survey's middle; a missing file nowhere."""
    rows = stops([fault("survey_offset"), fault("file_missing")])
    assert len(rows) == 1
    assert (rows[0]["easting"], rows[0]["northing"]) == pytest.approx((20, 15), abs=1.5)


def test_places_far_off_are_no_stops():
    """Nobody is sent 80 km away to look at a point that lies there by mistake."""
    assert stops([fault("far_point", place=(80_000.0, 5.0))]) == []


def test_what_to_measure_follows_kind_and_content():
    """A mark is occupied again, a wall traced, a sounding sounded; all of one stop are named."""
    at = {"place": (5.0, 5.0)}
    what = stops([fault("mark_misfit", **at), fault("x", "2031-walls", **at), fault("x", **at)])[0][
        "what"
    ]
    assert [words.split()[0] for words in what] == ["occupy", "trace", "sound"]


def test_every_content_has_its_work():
    """For each kind of content that a survey can hold there is something to do on site."""
    assert set(BY_HOLDS) == set(get_args(Holds))


def test_the_list_in_words():
    """Text and table have stop, coordinates, depth, reason and mark; text fits 80 columns."""
    rows = stops([fault(place=(20.0, 14.0), row=9)], control=[MARK])
    text, html = as_text(rows), as_html(rows, "mean sea")
    for part in ("S1", "20.00", "14.00", "~3.0", "[1] height_spike, 2031-bed row 9", "B1: 24.4 m"):
        assert part in text
        assert part in html
    assert max(map(len, text.splitlines())) <= 80
    assert "mean sea" in html


def test_any_order_of_places_gives_the_same_way():
    """All orders of four places lead to the same stops."""
    faults = [fault(place=p) for p in ((1.0, 1.0), (9.0, 3.0), (4.0, 20.0), (30.0, 9.0))]
    ways = {
        tuple((row["easting"], row["northing"]) for row in stops(order, control=[MARK]))
        for order in itertools.permutations(faults)
    }
    assert len(ways) == 1
