"""Plan sheets: true to scale on every paper, no label on another or on a wall, the same bytes."""

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from sheet_made import (
    POINT_MM,
    E,
    N,
    block,
    content,
    layer,
    spans_in_pdf,
    spans_in_svg,
    surveys,
    texts_of,
    three_d,
    words_of,
)

from wrackline.publish.passages import passages
from wrackline.publish.sheets.column import other_numbers
from wrackline.publish.sheets.paper import PAPERS, lay_out
from wrackline.publish.sheets.sheet import draw_set, draw_sheet, plan_set
from wrackline.publish.sheets.style import WIDTHS_MM
from wrackline.publish.shrinking import Small


def hundred_metres(**keys):
    """Return a wall of exactly 100 m of grid, east to west, and one of 60 m to the north."""
    east = shapely.LineString([(E, N, -1), (E + 100, N, -1)])
    return content([east, shapely.LineString([(E, N, -1), (E, N + 60, -1)])], **keys)


def drawn(made, folder, name="plan"):
    """Draw a set; return its PDF and its SVGs."""
    planned = draw_set(made, name, folder / f"{name}.pdf", folder / name)
    return folder / f"{name}.pdf", [folder / name / f"{p.sheet.number}.svg" for p in planned]


@pytest.mark.parametrize("paper", list(PAPERS))
def test_a_hundred_metres_measure_what_the_scale_says(paper, tmp_path):
    """100 m of grid are 200.0 mm at 1:500, within 0.1 mm, in both formats on every paper."""
    made = hundred_metres(paper=paper, scale=500)
    layout = plan_set(made, "plan")[0].sheet.layout
    assert (layout.scale, layout.refused) == (500, None)
    pdf, (svg,) = drawn(made, tmp_path)
    for spans in (spans_in_pdf(pdf), spans_in_svg(svg)):
        for wanted_mm in (200.0, 120.0):
            assert np.abs(spans - wanted_mm).min() < 0.1


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_page_has_the_size_of_its_paper(paper, tmp_path):
    """The PDF's page is the paper of ISO 216, either way up."""
    pdf, _ = drawn(hundred_metres(paper=paper), tmp_path)
    box = re.search(rb"/MediaBox \[ *0 0 ([\d.]+) ([\d.]+) *\]", pdf.read_bytes()).groups()
    sides = sorted(float(side) * POINT_MM for side in box)
    assert sides == pytest.approx(sorted(PAPERS[paper]), abs=0.1)


def test_the_largest_scale_that_fits_is_taken():
    """A plan of 300 by 240 m fits A1 at 1:500 and not at 1:250; a small hut is drawn large."""
    assert lay_out((0, 0, 300, 240), "A1", None).scale == 500
    assert lay_out((0, 0, 5, 4), "A4", None).scale == 25
    tall = lay_out((0, 0, 40, 200), "A2", None)
    assert tall.page_mm[0] < tall.page_mm[1]


def test_a_scale_that_does_not_fit_gives_way_and_says_so():
    """1:100 of 100 m needs a metre of paper: on A3 the sheet is to 1:500, and says why."""
    layout = lay_out((0, 0, 102, 62), "A3", 100)
    assert (layout.scale, layout.refused) == (500, 100)
    said = words_of(hundred_metres(scale=100))
    assert "1:100 was asked for; the plan doesn't fit A3 at it." in said


def touching(labels):
    """Return pairs of labels that touch each other."""
    boxes = np.array([label.box for label in labels], dtype=object)
    one, other = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    return [(labels[a].text, labels[b].text) for a, b in zip(one, other, strict=True) if a < b]


@pytest.mark.parametrize("paper", ["A0", "A3", "A4"])
@pytest.mark.parametrize("reader", ["desk", "diver"])
def test_no_label_touches_a_wall_or_another(paper, reader):
    """Whatever the scale, numbers stand clear of walls and of each other."""
    made = block(8, paper=paper, reader=reader)
    planned = plan_set(made, "plan")[0]
    assert touching(planned.labels) == []
    walls = made.plan["wall_lines"].geometry.to_numpy()
    boxes = np.array([label.box for label in planned.labels], dtype=object)
    assert not shapely.intersects(shapely.union_all(walls), boxes).any()
    assert shapely.contains(shapely.box(*planned.sheet.layout.ground), boxes).all()
    assert len(planned.labels) >= 40


def test_a_buildings_number_stands_in_no_building():
    """Numbers of buildings stand beside them, never in a neighbour's room."""
    made = block(3)
    houses = shapely.union_all(made.plan["buildings"].geometry.to_numpy())
    labels = [one for one in plan_set(made, "plan")[0].labels if one.role == "building"]
    assert labels
    assert not any(label.box.intersects(houses) for label in labels)


def test_a_room_too_small_for_its_number_gets_a_key():
    """At 1:500 a closet of 1.6 m has no room for eight letters: it gets a key, listed beside."""
    walls = shapely.LineString([(E, N, -1), (E + 90, N, -1)])
    closet = shapely.box(E, N + 10, E + 1.6, N + 12)
    made = content([walls], [("R000-010", closet)], scale=500)
    planned = plan_set(made, "plan")[0]
    assert [(one.text, one.role) for one in planned.labels] == [("1", "key")]
    assert "1  R000-010" in texts_of(planned)


def test_the_same_plan_gives_the_same_bytes(tmp_path):
    """No date, no random name: two drawings are alike to the byte."""
    (first, svgs), (second, others) = (drawn(block(2), tmp_path / str(k)) for k in range(2))
    assert first.read_bytes() == second.read_bytes()
    assert [svg.read_bytes() for svg in svgs] == [svg.read_bytes() for svg in others]


def test_a_site_of_one_wall_has_a_sheet(tmp_path):
    """One wall, no room, no seabed, no survey told: a sheet all the same."""
    made = content([shapely.LineString([(E, N, -1), (E + 3, N + 1, -1)])], paper="A4")
    pdf, _ = drawn(replace(made, surveys=surveys()), tmp_path)
    assert pdf.stat().st_size > 5000


def test_a_site_of_nothing_has_a_sheet(tmp_path):
    """An empty plan is drawn as such: frame, title block, caution."""
    for shows in ("site", "tiles", "buildings", "trenches"):
        pdf, _ = drawn(content([], shows=shows), tmp_path, shows)
        assert pdf.stat().st_size > 300


def test_a_wall_is_open_where_an_opening_leads_through_it():
    """An opening of 1 m through a wall 0.6 m thick leaves 0.6 m² of it open, and no more."""
    bodies = [{"wall": "W1", "geometry": shapely.box(E, N, E + 8, N + 0.6)}]
    across = shapely.LineString([(E + 3, N + 0.3), (E + 4, N + 0.3)])
    plan = {
        "wall_bodies": layer("wall_bodies", bodies),
        "openings": layer("openings", [{"opening": "O1", "geometry": across}]),
    }
    open_ground = passages(plan)
    assert open_ground.area.sum() == pytest.approx(0.6)
    assert len(passages(plan | {"openings": layer("openings", [])})) == 0


def with_seabed(made=None, **keys):
    """Return a sheet's content with contours across it, two of them labelled."""
    rows = [
        {
            "height_m": at,
            "depth_m": 0.12 - at,
            "index": at == round(at),
            "label_easting_m": E + 45.0,
            "label_northing_m": N + 20.0 + 8 * k,
            "label_turn_deg": 0.0,
            "geometry": shapely.LineString([(E - 5, N + 20 + 8 * k), (E + 95, N + 20 + 8 * k)]),
        }
        for k, at in enumerate((-3.0, -2.5, -2.0))
    ]
    made = made or hundred_metres(paper="A1", scale=500, **keys)
    return replace(made, contours=layer("contours", rows))


def contour_labels(made):
    """Return the labels of contours on the first sheet."""
    return [one for one in plan_set(made, "plan")[0].labels if one.role == "contour"]


def test_index_contours_have_their_height_written_on_them():
    """Labels of whole metres stand where the layer says, on their line; others have none."""
    told = {one.text: (one.x - E, one.y - N) for one in contour_labels(with_seabed())}
    assert told == {"−3": (45.0, 20.0), "−2": (45.0, 36.0)}


def test_contours_are_interrupted_where_their_height_stands():
    """No contour runs through a label."""
    planned = plan_set(with_seabed(), "plan")[0]
    lines = np.concatenate([one.shapes for one in planned.things if one.broken])
    inner = [label.box.buffer(-1e-6) for label in planned.labels]
    assert inner
    assert not shapely.intersects(shapely.union_all(lines), np.array(inner, dtype=object)).any()


def test_contours_are_not_labelled_where_a_building_hides_them():
    """Where the layer's place lies in a room, the height stands elsewhere on the line."""
    house = shapely.box(E + 40, N + 15, E + 50, N + 40)
    made = with_seabed()
    rooms = content([], [("R001-001", house)]).plan["rooms"]
    told = contour_labels(replace(made, plan={**made.plan, "rooms": rooms}))
    assert {label.text for label in told} == {"−3", "−2"}
    assert not any(label.box.intersects(house) for label in told)


def test_the_seabeds_relief_lies_lightly_under_the_plan(tmp_path):
    """With a relief the sheet is as much to scale as without, and the same each time."""
    relief = np.zeros((30, 50))
    relief[10:12] = 0.4
    small = Small({"local_relief": relief}, (E - 5, E + 95, N - 5, N + 55))
    made = replace(with_seabed(), relief=small)
    (pdf, (svg,)), (again, _) = (drawn(made, tmp_path / name) for name in ("a", "b"))
    assert np.abs(spans_in_pdf(pdf) - 200.0).min() < 0.1
    assert np.abs(spans_in_svg(svg) - 200.0).min() < 0.1
    assert pdf.read_bytes() == again.read_bytes()
    assert any("above the ground around" in text for text in texts_of(plan_set(made, "plan")[0]))


def test_numbers_of_other_plans_stand_on_the_sheet():
    """Each beside the record's own, buildings and rooms in one list; none, no list."""
    rooms = [("R010-010", shapely.box(10, 10, 14, 13)), ("R030-010", shapely.box(30, 10, 34, 13))]
    made = content([], rooms=rooms)
    assert other_numbers(made.plan) == []
    made.plan["rooms"]["other_numbers"] = ["plan of 1986: I/2;bags: 7", None]
    said = ["bags: 7 = R010-010", "plan of 1986: I/2 = R010-010"]
    assert other_numbers(made.plan) == said


@pytest.mark.parametrize("reader", ["desk", "diver"])
def test_no_text_beside_the_map_runs_over_another(reader):
    """Notes, legend, lists and title block: no two texts touch, none leaves the page."""
    made = block(5, paper="A4", reader=reader)
    made.plan["rooms"]["other_numbers"] = [f"an older plan: {k}" for k in range(25)]
    planned = plan_set(with_seabed(made), "plan")[0]
    figure = draw_sheet(planned)
    figure.set_dpi(200)
    figure.canvas.draw()
    page = figure.bbox
    for axes in figure.axes[1:]:
        boxes = [text.get_window_extent() for text in axes.texts if text.get_text().strip()]
        flat = [shapely.box(b.x0, b.y0 + 1.5, b.x1, b.y1 - 1.5) for b in boxes]
        pairs = shapely.STRtree(flat).query(flat, predicate="intersects").T
        assert [tuple(pair) for pair in pairs if pair[0] < pair[1]] == []
        assert all(b.x1 <= page.x1 and b.y0 >= page.y0 for b in boxes)


def test_lines_have_the_widths_that_the_sheet_states(tmp_path):
    """Every stroke in the SVG is one of the series, in millimetres on paper, or finer."""
    _, (svg,) = drawn(with_seabed(block(3)), tmp_path)
    text = svg.read_text()
    widths = {round(float(w) * POINT_MM, 2) for w in re.findall(r"stroke-width: ([\d.]+)", text)}
    assert widths - {0.0} <= {*WIDTHS_MM, 0.09, 0.11}
    assert {0.13, 0.18, 0.5} <= widths
    assert "0.13, 0.18, 0.25, 0.35 and 0.5 mm" in words_of(with_seabed(block(3)))


def test_fonts_are_embedded(tmp_path):
    """The PDF carries its letters as TrueType; the SVG has outlines and needs no font."""
    pdf, (svg,) = drawn(block(2), tmp_path)
    assert pdf.read_bytes().count(b"/FontFile2") >= 1
    assert b"/Type3" not in pdf.read_bytes()
    assert "<text" not in svg.read_text()


@pytest.mark.parametrize(("sd", "scale", "kept"), [(0.02, 500, True), (0.02, 20, False)])
def test_a_scale_that_promises_more_than_the_data_hold_says_so(sd, scale, kept):
    """0.2 mm are 0.1 m at 1:500 and 4 mm at 1:20: walls known to 2 cm hold the first alone."""
    wall = three_d(shapely.LineString([(E, N), (E + 3, N)]))
    said = words_of(content([wall], scale=scale, surveys=surveys(**{"2031-walls": sd})))
    assert ("all walls on it are known better" in said) is kept
    assert ("technique of 2031-walls (0.02 m)" in said) is not kept
