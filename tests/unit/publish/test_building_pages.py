"""Pictures of single buildings and the pages that they stand on, to be printed and checked."""

import re
from itertools import pairwise

import numpy as np
import pytest
import shapely
from report_site import ABOUT, bare_plan, card, cells, houses, layer, line, plan, report, tree

from wrackline.crs import grid_factors
from wrackline.publish.building_pages import building_pages
from wrackline.publish.report_building import STROKES, building_key, building_plan, openings_of

BUILDING = "B002-002"
KINDS = ("joint", "corner", "extension", "foot", "doorway", "lost")


def picture(**layers):
    """Return the picture of the two rooms, some layers replaced."""
    return tree(building_plan(plan(**layers), BUILDING))


def texts(svg):
    """Return all texts of a picture."""
    return [one.text for one in svg.iter("text")]


def closings(*kinds):
    """Return the walls of the two rooms with more closings, one of each kind, side by side."""
    rows = [
        line(f"W1{k}", "inferred", [(k, -0.3), (k + 0.5, -0.3)], closing=kind, gap_m=0.5)
        for k, kind in enumerate(kinds)
    ]
    rows.append(line("W001", "recorded", [(0, 0), (0, 4)]))
    rows.append(line("W002", "old plan", [(9, 0), (9, 4)]))
    return layer("wall_lines", *zip(*rows, strict=True))


def openings(*evidence):
    """Return openings side by side in the wall between the two rooms, of some evidence."""
    rows = [
        {"opening": f"O00{k}", "evidence": one, "joins": "R002-002;R007-002", "width_m": 1.0}
        for k, one in enumerate(evidence)
    ]
    lines = [shapely.LineString([(4, k), (4, k + 0.8)]) for k in range(len(evidence))]
    return layer("openings", rows, lines)


def test_recorded_is_solid_and_every_kind_of_closing_is_drawn_dashed():
    """Each closing and the old plan's line is drawn once, broken; the recorded one unbroken."""
    svg = picture(wall_lines=closings(*KINDS))
    drawn = {one.get("class"): one for one in svg.iter("path") if one.get("stroke-width")}
    assert drawn["recorded"].get("stroke-dasharray") is None
    broken = [drawn[stroke.name] for stroke in STROKES if stroke.name != "recorded"]
    dashes = [one.get("stroke-dasharray") for one in broken]
    assert len(set(dashes)) == 4
    assert None not in dashes
    inferred = [one for one in broken if one.get("class").startswith("inferred")]
    assert sum(one.get("d").count("M") for one in inferred) == len(KINDS)


def test_kinds_of_closing_are_all_told():
    """The strokes name every kind of closing that the contract has, none twice."""
    told = [kind for stroke in STROKES for kind in stroke.closings]
    assert sorted(told) == sorted(KINDS)


def test_seen_and_possible_openings_differ_without_colour():
    """A seen opening's disc is filled dark with a whole rim, a possible one's is white, broken."""
    svg = picture(openings=openings("seen", "possible"))
    discs = {one.get("class"): one for one in svg.iter("g") if one.find("circle") is not None}
    assert discs["seen"].find("circle").get("stroke-dasharray") is None
    assert discs["possible"].find("circle").get("stroke-dasharray") is not None
    assert discs["seen"].find("title").text == "O000, seen"
    assert [discs[name].find("text").text for name in ("seen", "possible")] == ["1", "2"]


def test_a_disc_stands_in_the_middle_of_its_wall():
    """An opening closed along one face is marked between both faces."""
    body = layer("wall_bodies", [{}], [shapely.box(4, 0, 5, 4)])
    svg = picture(openings=openings("seen"), wall_bodies=body)
    west = -0.5 - 1.5
    (disc,) = [one for one in svg.iter("circle") if one.get("stroke-width")]
    wide = float(svg.get("viewBox").split()[2])
    # The window is widened evenly about the building where it would be too tall.
    offset = (wide - (9.5 - west + 1.5)) / 2
    assert float(disc.get("cx")) == pytest.approx(4.45 - west + offset, abs=0.01)


def test_discs_are_numbered_as_the_table_lists_them():
    """Keys go by the openings' numbers, whatever the order of rows."""
    found = plan(openings=openings("seen", "possible", "possible").iloc[::-1])
    assert openings_of(found, BUILDING)["opening"].tolist() == ["O000", "O001", "O002"]
    assert len(openings_of(found, "B999-999")) == 0


def test_support_is_shown_when_it_is_known():
    """Null support leaves no word; a known one stands in its room and in the table."""
    assert not any("support" in text for text in texts(picture()))
    rooms = plan()["rooms"].assign(support=[0.931, 0.5])
    told = texts(picture(rooms=rooms))
    assert {"support 0.93", "support 0.50", "94 % rec."} <= set(told)
    assert "0.93" in building_pages(plan(rooms=rooms), ABOUT)


def test_labels_stay_in_their_rooms():
    """A label's lines, by letters of 0.56 of their size, lie within the room of 4 m by 4 m."""
    svg = picture(rooms=plan()["rooms"].assign(support=[0.931, 0.5]))
    wide, tall = map(float, svg.get("viewBox").split()[2:])
    west = 4.5 - wide / 2
    room = shapely.box(0, 0, 4, 4)
    labels = [one for one in svg.iter("text") if "over" in (one.get("class") or "")]
    mine = labels[:3]
    assert [one.text for one in mine] == ["R002-002", "100 % rec.", "support 0.93"]
    for one in mine:
        x, y, size = (float(one.get(name)) for name in ("x", "y", "font-size"))
        half = 0.28 * size * len(one.text)
        top = 2 + tall / 2 - y
        box = shapely.box(x + west - half, top, x + west + half, top + 0.75 * size)
        assert room.contains(box), one.text


def test_lines_of_a_label_stand_below_each_other():
    """Number, share and support do not overlap."""
    svg = picture(rooms=plan()["rooms"].assign(support=[0.931, 0.5]))
    labels = [one for one in svg.iter("text") if "over" in (one.get("class") or "")][:3]
    places = [(float(one.get("y")), float(one.get("font-size"))) for one in labels]
    for (upper, _), (lower, size) in pairwise(places):
        assert lower - 0.75 * size > upper


def test_a_small_room_keeps_its_number_alone():
    """Where letters would be too small to read, share and support stand in the table alone."""
    rooms = plan()["rooms"]
    rooms = rooms.set_geometry([shapely.box(0, 0, 0.4, 0.4), shapely.box(5, 0, 9, 4)])
    told = texts(picture(rooms=rooms))
    assert "R002-002" in told
    assert "100 % rec." not in told
    assert "94 % rec." in told


def test_the_arrow_points_to_true_north():
    """Grid north lies east of true north by the convergence, so the arrow turns back by it.

    The site is moved 3 degrees east of its central meridian at 38 degrees north: about
    3 sin 38 = 1.85 degrees (Snyder 1987, p. 61, from memory).
    """
    moved = {}
    for name, table in plan().items():
        shifted = table.copy()
        shifted.geometry = shapely.transform(
            table.geometry.to_numpy(), lambda xy: xy + np.array([763_000.0, 4_210_000.0])
        )
        moved[name] = shifted.set_crs("EPSG:32625", allow_override=True)
    svg = tree(building_plan(moved, BUILDING))
    (arrow,) = [one for one in svg.iter("path") if one.get("class") == "north"]
    turn = float(re.match(r"rotate\((-?[\d.]+)", arrow.get("transform")).group(1))
    exact, _ = grid_factors("EPSG:32625", np.array([763_004.5]), np.array([4_210_002.0]))
    assert turn == pytest.approx(-1.85, abs=0.05)
    assert turn == pytest.approx(-float(exact[0]), abs=0.001)


def test_the_key_has_every_line_and_disc():
    """What the picture uses is explained once, with samples in its own style."""
    key = tree(building_key())
    assert len(list(key.iter("li"))) == len(STROKES) + 4
    samples = {one.get("class") for one in key.iter("path")} | {
        g.get("class") for g in key.iter("g")
    }
    assert {stroke.name for stroke in STROKES} | {"seen", "possible"} <= samples


def test_every_building_has_a_page():
    """The page has a section a building with its rooms, openings, caution and scale."""
    page = tree(building_pages(plan(), ABOUT))
    (section,) = page.iter("section")
    assert section.find("h2").get("id") == BUILDING
    told = cells(section)
    assert "R002-002 room 16.00 ± 0.20 m² 100 % – 3.00 ± 0.05 m deep 3.400 ± 0.030 m deep" in told
    assert "1 O009-002 possible 1.00 ± 0.04 m R007-002, outside" in told
    assert "Not for navigation." in told
    assert "none met" in told
    assert re.search(r"\d m true N", told)


def test_the_report_leads_to_the_page():
    """The link of a building's card names a place that the pages have."""
    page = tree(report(houses()).html())
    links = [one.get("href") for one in page.iter("a") if "buildings.html" in one.get("href")]
    assert links == [f"buildings.html#{BUILDING}"]
    ids = {one.get("id") for one in tree(building_pages(plan(), ABOUT)).iter()}
    assert BUILDING in ids
    assert card(page, "R002-002")


def test_every_room_that_a_picture_leads_to_has_a_place():
    """Links within the pages lead to ids on them, those of neighbours excepted."""
    page = tree(building_pages(plan(), ABOUT))
    ids = {one.get("id") for one in page.iter() if one.get("id")}
    links = {one.get("href").removeprefix("#") for one in page.iter("a")}
    assert links <= ids


def test_a_site_without_buildings_has_a_plain_page():
    """No building: no picture, and a sentence."""
    page = tree(building_pages(bare_plan(), ABOUT))
    assert "No building is on the plan." in cells(page)
    assert not list(page.iter("section"))


def test_a_building_without_openings_says_so():
    """No opening on the plan: no disc and a sentence."""
    page = tree(building_pages(plan(openings=layer("openings")), ABOUT))
    assert "No opening is on the plan." in cells(page)


def test_markup_from_survey_files_is_escaped():
    """A name that looks like markup stays text."""
    page = building_pages(plan(), ABOUT | {"site": "<script>x</script>"})
    assert "<script>" not in page
