"""Plans within the report: rooms lead to cards, evidence is told by line, numbers stay apart."""

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from drawn import CRS
from report_site import bare_plan, layer, plan, tree

from wrackline.publish.report_building import building_plan
from wrackline.publish.report_plan import Drawing, site_plan, true_north, window


def numbers(svg):
    """Return the texts of a plan with place, letter size, by text."""
    return {
        one.text: (float(one.get("x")), float(one.get("y")), float(one.get("font-size")))
        for one in svg.iter("text")
    }


def test_each_room_is_a_way_to_its_card():
    """Both plans hold a link for each room, named for those who can't see it."""
    for svg in (tree(site_plan(plan(), CRS)), tree(building_plan(plan(), "B002-002"))):
        links = {one.get("href"): one.get("aria-label") for one in svg.iter("a")}
        assert links["#R002-002"] == "R002-002"
        assert "#R007-002" in links


def test_evidence_is_told_by_the_line_not_by_colour_alone():
    """Recorded lines are whole, inferred ones dashed."""
    svg = tree(building_plan(plan(), "B002-002"))
    drawn = {one.get("class"): one.get("stroke-dasharray") for one in svg.iter("path")}
    assert drawn["recorded"] is None
    assert drawn["inferred across"] is not None


def test_places_run_from_the_upper_left():
    """A plan's y runs down: the north-west corner is its origin."""
    drawing = Drawing(100.0, 200.0, 120.0, 210.0)
    assert drawing.places(np.array([[100.0, 210.0], [120.0, 200.0]])).tolist() == [[0, 0], [20, 10]]


def test_an_empty_part_leaves_no_broken_path():
    """Empty parts of a shape are left out: a browser stops reading a path at its first fault."""
    drawing = Drawing(0.0, 0.0, 10.0, 10.0)
    assert drawing.path(shapely.Polygon()) == ""
    assert drawing.path(shapely.box(1, 1, 2, 2)).count("M") == 1


def test_a_window_of_nothing_is_still_a_window():
    """Without shapes the window is a small one and finite."""
    drawing = window(np.array([], dtype=object), 1.0)
    assert drawing.east > drawing.west
    assert drawing.north > drawing.south


@pytest.mark.parametrize("count", [6, 250])
def test_numbers_of_buildings_stay_apart(count):
    """Numbers of buildings on the site's plan do not overlap each other, few or many."""
    side = int(np.ceil(np.sqrt(count)))
    places = [(40.0 * (k % side), 25.0 * (k // side)) for k in range(count)]
    shapes = [shapely.box(x, y, x + 9, y + 7) for x, y in places]
    rows = [{"building": f"B{k:03d}-001"} for k in range(count)]
    svg = tree(site_plan(bare_plan(buildings=layer("buildings", rows, shapes)), CRS))
    found = {text: at for text, at in numbers(svg).items() if text.startswith("B")}
    assert len(found) == count
    boxes = [shapely.box(x - 2.2 * s, y - 0.75 * s, x + 2.2 * s, y) for x, y, s in found.values()]
    left, right = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    assert (left == right).all()


def test_room_numbers_fit_their_rooms():
    """A number in a building's plan is no wider than its room."""
    svg = tree(building_plan(plan(), "B002-002"))
    for text, (_, _, size) in numbers(svg).items():
        if text.startswith("R"):
            assert 0.55 * size * len(text) <= 4.0


def test_grid_ticks_stand_on_round_coordinates():
    """Eastings and northings along the frame are whole multiples of one round step."""
    wall = gpd.GeoDataFrame(
        layer(
            "wall_lines",
            [{"evidence": "recorded"}],
            [shapely.LineString([(324411.3, 907.2), (324508.8, 981.9)])],
        )
    )
    svg = tree(site_plan(bare_plan(wall_lines=wall), CRS))
    east = [int(t.split()[0]) for t in numbers(svg) if re.fullmatch(r"\d+ E", t)]
    north = [int(t.split()[0]) for t in numbers(svg) if re.fullmatch(r"\d+ N", t)]
    assert len(east) >= 4
    assert len(north) >= 2
    assert all(value % 20 == 0 for value in [*east, *north])


def test_true_north_turns_the_right_way():
    """North of the equator and east of the central meridian, grid north lies east of true north.

    The sign is that of transverse Mercator grids: convergence is positive there (Snyder 1987,
    Map Projections: A Working Manual, p. 61, from memory).
    """
    drawing = Drawing(730_000.0, 4_200_000.0, 730_010.0, 4_200_010.0)
    assert "west of grid north" in true_north(drawing, "EPSG:32625")
