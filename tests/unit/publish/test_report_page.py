"""The report: self-contained, harmless, and right on sites that lack most things."""

import re
from html.parser import HTMLParser
from itertools import pairwise

import pandas as pd
import pytest
import shapely
from report_site import (
    ABOUT,
    SOUNDINGS,
    WALLS,
    bare_houses,
    beds,
    card,
    cells,
    deposit,
    figure,
    houses,
    layer,
    line,
    plan,
    report,
    section,
    survey,
    surveys,
    table,
    tree,
    words,
)

from wrackline.publish.report import SECTIONS
from wrackline.publish.report_rooms import inferences
from wrackline.publish.report_words import SORTING

HOSTILE = '<script>alert("x")</script><img src=x onerror=y> & \u202eevil'


def test_equal_input_gives_equal_bytes():
    """Two reports from the same things are the same text."""
    assert report().html() == report().html()


def test_it_stands_alone():
    """Nothing is fetched, no style or script is elsewhere; links lead to pages of the record."""
    html = report(picture=b"\x89PNG").html()
    assert "http" not in html
    beside = r"buildings\.html#|condition\.png|pictures/[a-z]+\.svg|seasons/[a-z0-9_]+/report\.html"
    assert re.findall(rf"(?:src|href)=\"(?!#|data:image/png;base64,|{beside})", html) == []
    assert "@import" not in html
    assert "url(" not in html


def test_links_lead_to_parts_that_are_there_once():
    """Every link has its target, and no name stands twice."""
    page = tree(report().html())
    names = [one.get("id") for one in page.iter() if one.get("id")]
    assert len(set(names)) == len(names)
    within = [one.get("href") for one in page.iter("a") if one.get("href").startswith("#")]
    assert {link[1:] for link in within} <= set(names)


def test_it_has_a_language_headings_in_order_and_all_sections():
    """The page says its language, and no heading skips a step (WCAG 2.2, 3.1.1 and H42)."""
    page = tree(report().html())
    assert page.get("lang") == "en"
    steps = [int(one.tag[1]) for one in page.iter() if re.fullmatch(r"h[1-6]", one.tag)]
    assert steps[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(steps))
    assert [one.get("id") for one in page.iter("h2")] == [name for name, _ in SECTIONS]


def test_pictures_have_words():
    """Each plan and picture says in words what it shows (WCAG 2.2, 1.1.1)."""
    page = tree(report(picture=b"\x89PNG", seabed=SEABED).html())
    for svg in page.iter("svg"):
        assert svg.get("aria-label") or svg.get("aria-hidden") == "true"
    assert all(img.get("alt") for img in page.iter("img"))


SEABED = {
    "cell_m": 0.5,
    "fill_distance_m": 1.5,
    "cells": 1000,
    "measured": 0.4,
    "sd_low": 0.04,
    "sd_high": 0.11,
    "apart": [("2032-b", "2031-a", 400, 0.25, -0.031)],
    "sources": [(SOUNDINGS, 0.9996), (WALLS, 0.0004)],
}


class Tags(HTMLParser):
    """Notes each element that a browser would see."""

    def __init__(self):
        super().__init__()
        self.seen = []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, [name for name, _ in attrs if name.startswith("on")]))


def hostile_page():
    """Return a report in which every text of people is hostile."""
    feature = {"feature": "F1", "kind": HOSTILE, "origin": HOSTILE, "room": "R002-002"}
    feature["note"] = HOSTILE
    reading = dict.fromkeys(("reading", "certainty", "who", "when", "why", "evidence"), HOSTILE)
    reading |= {"number": "R002-002", "status": "stands", "note": HOSTILE}
    doubt = dict.fromkeys(("survey", "kind", "found", "consequence", "remedy"), HOSTILE)
    whole = houses(
        plan=plan(features=layer("features", [feature], [shapely.Point(2, 2)])),
        interpretations=table("interpretations", reading),
        surveys=surveys(survey(WALLS, HOSTILE, error_sources=HOSTILE, file=HOSTILE)),
    )
    return report(
        whole,
        about=ABOUT | dict.fromkeys(("site", "credit", "vertical_datum"), HOSTILE),
        checked={"suspicions": [doubt], "accepted": [doubt]},
        sources={"gauge_zero": HOSTILE},
    ).html()


def test_hostile_texts_show_as_text():
    """Markup in notes, names and readings is shown, never obeyed, and turns no text round."""
    tags = Tags()
    tags.feed(hostile_page())
    assert sum(tag == "script" for tag, _ in tags.seen) == 1
    assert not [tag for tag, _ in tags.seen if tag == "img"]
    assert not [handlers for _, handlers in tags.seen if handlers]
    assert "\u202e" not in hostile_page()
    assert 'alert("x")' in words(tree(hostile_page()))


def test_the_summary_is_in_plain_sentences():
    """The first paragraph counts what is there and says what is not known."""
    text = report().sentences()
    assert "On record are 1 building with 2 rooms." in text
    assert "A floor was met in 1 of these 2 spaces; the depth of the other floors" in text
    assert "Of the wall lines 31.0 m were recorded and 1.00 m were inferred" in text
    assert "2 surveys of 1 season went in" in text


def wall_only():
    """Return a report of a site of which a single wall is known."""
    lines = [line("W001", "recorded", [(0, 0), (5, 0)])]
    given = {"wall_lines": layer("wall_lines", *zip(*lines, strict=True))}
    summary = {"figures": [figure("wall_recorded_m", "5.00 m")], "sea_level": [], "flooding": []}
    return report(bare_houses(given), summary=summary | {"techniques": []})


def test_a_single_wall_makes_a_right_report():
    """Without rooms, floors and seabed the page says so, and its plan shows the wall."""
    page = tree(wall_only().html())
    for name, told in {
        "site": "No enclosed space was found",
        "seabed": "there is no seabed model",
        "tables": "No enclosed space was found",
        "sea": "No floor and no feature",
        "deposit": "No floor was met",
        "buildings": "No enclosed space was found",
        "readings": "Nobody has written down an interpretation",
        "agree": "No two surveys cover the same ground",
        "doubts": "found nothing to doubt",
        "inferred": "No wall line was closed",
    }.items():
        assert told in cells(section(page, name))
    lines = [one for one in section(page, "plan").iter("path") if one.get("class") == "recorded"]
    assert any(one.get("d").startswith("M") for one in lines)


def test_a_site_with_nothing_on_its_plan_still_has_a_report():
    """With soundings alone the page is whole and draws no plan."""
    page = tree(report(bare_houses({}), seabed=SEABED).html())
    assert "Nothing is on the plan" in cells(section(page, "plan"))
    assert "No wall line is on record" in cells(section(page, "site"))
    assert "nothing is on the plan" in cells(section(page, "site"))


def test_rooms_without_a_seabed_say_so():
    """A site that was never sounded has rooms whose seabed is not known."""
    rooms = plan()["rooms"].assign(bed_depth_m=float("nan"), bed_date=None)
    told = card(
        tree(report(houses(plan=plan(rooms=rooms), beds=beds().assign(cells=0))).html()),
        "R002-002",
    )
    assert told["seabed"] == "no depth is known"


def test_a_room_says_who_measured_its_walls_its_seabed_and_its_floor():
    """Walls, seabed and floor each name their surveys, techniques and dates."""
    told = card(tree(report().html()), "R002-002")
    assert told["measured by"] == f"{WALLS}: total station, 2031-06-09 to 2031-06-16"
    assert f"{SOUNDINGS}: single-beam echo sounder, 2031-06-12" in told["seabed"]
    assert "25 % of it filled between soundings" in told["seabed"]
    assert "2 points: 2031-floors F001–F002" in told["floor"]
    assert told["survey lines"] == f"{WALLS} W001–W003"


def test_a_room_says_how_sure_its_figures_are():
    """Values stand with their sd and 95 % interval; the causes of the seabed's sd are named."""
    told = card(tree(report().html()), "R007-002")
    # 1.96 sd each way is the 95 % interval of a normal error (GUM, JCGM 100:2008, table G.1).
    assert told["floor area"] == "16.5 ± 0.4 m²; 95 % between 15.7 and 17.3 m²"
    assert told["sd of its height"].startswith("named source gauge_zero 0.040 m, patchy errors")
    assert told["seabed"].startswith("3.00 ± 0.05 m deep")


@pytest.mark.parametrize("causes", [{}, {"gauge_zero:height": 0.001}])
def test_causes_that_hardly_count_are_not_named(causes):
    """A cause of less than a twentieth of the variance is left out."""
    page = tree(report(houses(beds=beds(causes=causes))).html())
    assert "gauge_zero" not in card(page, "R002-002")["sd of its height"]


def test_what_is_inferred_is_named_with_its_gap():
    """A room closed across a doorway says so; one recorded all round has nothing inferred."""
    page = tree(report().html())
    outline = card(page, "R007-002")["outline"]
    assert outline.startswith("94 % of it recorded")
    assert "1 × a gap closed as a possible doorway (gap 1.00 m, 1.00 m of line)" in outline
    assert card(page, "R002-002")["outline"] == "100 % of it recorded; nothing inferred"


def test_walls_of_an_old_plan_alone_are_told():
    """A room beside a wall that only an old plan shows says how much of it."""
    lines = [
        line("W001", "old plan", [(0, 0), (0, 4)]),
        line("W002", "recorded", [(0, 4), (4, 4), (4, 0), (0, 0)]),
    ]
    walls = layer("wall_lines", *zip(*lines, strict=True))
    page = tree(report(houses(plan=plan(wall_lines=walls))).html())
    assert "4.0 m of it on an old plan alone" in card(page, "R002-002")["outline"]
    assert "walls from an old plan alone 1, 4.0 m in all" in cells(section(page, "inferred"))


def test_neighbours_and_openings_are_told():
    """A room names its neighbours and where its openings lead; evidence stands beside."""
    told = card(tree(report().html()), "R007-002")
    assert told["walls shared"] == "R002-002 (4.0 m)"
    assert told["openings"] == "O009-002, 1.00 ± 0.04 m wide, possible, to outside"


def test_a_floor_is_told_only_where_one_was_met():
    """No floor met: no depth, no deposit, and the reason in words."""
    page = tree(report().html())
    told = card(page, "R007-002")
    assert told["floor"] == "none was met"
    assert "deposit" not in told
    assert told["empty because"] == "floor: no floor was met in it"
    told = card(page, "R002-002")["deposit"]
    assert told == "0.35 ± 0.05 m to 0.45 ± 0.06 m over the floor, at 2 points"


def test_floors_without_a_deposit_are_counted_and_explained():
    """A floor point without a sounded seabed is on the list with its reason."""
    point = (None, None, "probe", "2031-floors", "F009", None, "no seabed height at this point")
    page = tree(report(houses(deposit=deposit(point))).html())
    told = cells(section(page, "deposit"))
    assert "in no room 1 probe 2031-floors 0 – –" in told
    assert "1: no seabed height at this point" in told


def test_interpretations_stand_beside_their_room():
    """A reading shows who, when, how sure and whether it stands."""
    reading = {"number": "R007-002", "reading": "store", "certainty": "possible", "who": "A. Orr"}
    reading |= {"when": "2031-07-02", "status": "disputed"}
    page = tree(report(houses(interpretations=table("interpretations", reading))).html())
    told = card(page, "R007-002")["read as"]
    assert told == "store (possible; A. Orr, 2031-07-02; disputed)"
    assert "read as" not in card(page, "R002-002")


def test_accepted_suspicions_keep_their_reason():
    """What a person looked into stands with the reason that they gave."""
    doubt = {"survey": WALLS, "kind": "scale_of_grid", "found": "a scale of 1.83", "row": 7}
    doubt |= {"consequence": "lengths in fathoms", "remedy": "accepted: the margin says fathoms"}
    page = tree(report(checked={"suspicions": [], "accepted": [doubt]}).html())
    told = cells(section(page, "doubts"))
    assert "accepted: the margin says fathoms" in told
    assert "scale of grid" in told
    assert "Open" not in told


def test_a_pole_of_unstated_width_is_a_limit_told_once():
    """Surveys that don't state their pole's width share one line of the limits, accepted or not."""
    doubts = [{"survey": name, "kind": "pole_width_unstated"} for name in ("2032-a", "2031-b")]
    page = report(checked={"suspicions": doubts[:1], "accepted": doubts[1:]}).html()
    told = "The pole that traced the faces of 2031-b and 2032-a is of unstated width"
    assert told in "".join(section(tree(page), "limits").itertext())
    assert "of unstated width" not in report().html()


def test_surveys_say_what_was_read_and_used():
    """Each survey has its dates, rows read and used, stated sds and checksum."""
    told = cells(section(tree(report().html()), "surveys"))
    assert "2031-06-09 to 2031-06-16 9 7" in told
    assert "0.03 m, 0.04 m" in told
    assert "0123456789ab…" in told
    assert "gauge_zero the zero of the gauge" in told


def test_the_seabed_names_its_sources():
    """Shares too small to round are not shown as nothing."""
    told = cells(section(tree(report(seabed=SEABED).html()), "seabed"))
    assert "40 % of them" in told
    assert "under 0.1 %" in told
    assert "over 99.9 %" in told
    assert "2032-b and 2031-a differ by more than their errors explain in 25 %" in told
    assert "2032-b lies -0.031 m from the other" in told


def sea_row(**fields):
    """Return a point of the sea level."""
    row = {"structure": "R002-002", "what": "floor", "room": "R002-002", "age_from": None}
    row |= {"indication": "terrestrial limiting", "part_measured": "floor, excavated"}
    row |= {"height_m": -3.28, "height_sd_m": 0.022, "clearance_above_high_water_m": None}
    row |= {"clearance_above_high_water_sd_m": None, "statement": "sea level at or below -3.40 m"}
    row |= {"age_to": None, "null_because": "age_from, age_to: the config states no years"}
    return row | fields


def test_sea_level_points_say_what_they_are_and_why_cells_are_empty():
    """A floor is a limit; what is not used is counted with its reason."""
    rows = [sea_row(), sea_row(indication="none", null_because="it is modern")]
    summary = {"figures": [], "sea_level": rows, "flooding": [], "techniques": []}
    told = cells(section(tree(report(summary=summary).html()), "sea"))
    assert "sea level at or below -3.40 m" in told
    assert "Empty cells: age: the config states no years." in told
    assert "1 more structure, 1 because it is modern" in told


def test_closings_are_listed_one_by_one():
    """The list of closings has each with its gap, and their total length."""
    told = cells(section(tree(report().html()), "inferred"))
    assert "Each of the 1 closing" in told
    assert f"W009 doorway 1.00 m 1.00 m {WALLS}/W009" in told


def test_inferences_are_told_by_kind():
    """Closings of one kind are drawn together, with least and greatest gap."""
    gaps = [("joint", 0.1), ("doorway", 0.9), ("doorway", 1.1)]
    rows = [{"closing": kind, "gap_m": gap, "length_m": gap} for kind, gap in gaps]
    told = inferences(rows)
    assert "2 × a gap closed as a possible doorway (gaps 0.90 to 1.10 m, 2.00 m of line)" in told
    assert "1 × an end carried on to its neighbour (gap 0.10 m, 0.10 m of line)" in told


def test_a_room_in_no_building_has_a_card():
    """Spaces that belong to no building are listed apart."""
    rooms = plan()["rooms"].assign(building=None)
    page = tree(report(houses(plan=plan(rooms=rooms))).html())
    assert card(page, "R002-002")["floor"].startswith("3.400 ± 0.030 m deep")
    assert "Spaces that belong to no building" in cells(section(page, "buildings"))


def test_tables_read_without_the_script_and_sort_by_number():
    """The script only adds buttons; numbers are told from dates, whose first part is one too."""
    pattern = re.search(r"const number = /(.+?)/\.exec", SORTING).group(1)
    sort_number = re.compile(pattern)
    assert sort_number.match("16.5 ± 0.4 m²").group() == "16.5"
    assert sort_number.match("-0.63 ± 0.05 m").group() == "-0.63"
    assert not sort_number.match("2031-06-09 to 2031-06-16")
    assert "button" not in [one.tag for one in tree(report().html()).iter()]


def test_many_rooms_stay_light():
    """Three hundred rooms make a page under 5 MB."""
    count = 300
    some = plan()["rooms"].iloc[[0] * count].reset_index(drop=True)
    some["room"] = [f"R{k:03d}-001" for k in range(count)]
    some["building"] = None
    whole = houses(plan=plan(rooms=some), beds=beds(count), deposit=deposit().iloc[:0])
    assert len(report(whole).html().encode()) < 5_000_000
    assert isinstance(whole.beds, pd.DataFrame)


def test_support_is_told_once_it_is_known():
    """Without support a card is silent about it; with it, it gives the share."""
    bare = tree(report().html())
    assert "support" not in card(bare, "R002-002")
    rooms = plan()["rooms"].assign(support=[0.934, 1.0])
    page = tree(report(houses(plan=plan(rooms=rooms))).html())
    assert card(page, "R002-002")["support"] == "stands in 93 % of the plausible outlines"


def test_how_well_the_seabed_is_known_stands_beside_how_surveys_agree():
    """A site with a seabed has the map of its uncertainty, told in words too; others have none."""
    with_map = report(uncertainty=b"\x89PNG").html()
    assert "total vertical uncertainty, with its key in metres" in with_map
    assert "what stands wholly in a gap is not in them" in with_map
    assert "with its key in metres" not in report().html()


def test_surveys_are_told_by_the_matrix_and_by_what_they_would_show():
    """Finest a and b with their cells, the least thing shown, and the sentence about walls."""
    one = {
        **{"survey": "2032-swath", "cells": 9, "depth_m": 3.0, "u95_m": 0.09, "s44": []},
        **{"matrix_a_m": 0.1, "matrix_b": 0.002, "matrix_cell": "Bc13, Bd10"},
        **{"feature_m": 1.0, "feature_cell": "Be6", "random": {"ratio": None}},
    }
    unknown = {**one, "survey": "composite", "feature_m": None, "feature_cell": None}
    page = report(audit={"surveys": [one], "composite": unknown, "notes": []}).html()
    assert "0.1 m, 0.002 (Bc13, Bd10)" in page
    assert "1 m (Be6)" in page
    assert "passes a survey that misses a wall one course high" in page
