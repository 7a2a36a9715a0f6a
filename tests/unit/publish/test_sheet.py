"""Plan sheets: true to scale on every paper, no label on another or on a wall, the same bytes."""

import re
import zlib
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from wrackline import contract, vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.publish.passages import passages
from wrackline.publish.sheet import Content, draw_sheet, labels_of, other_numbers
from wrackline.publish.sheet_paper import PAPERS, lay_out
from wrackline.publish.shrinking import Small

CRS = "EPSG:32625"
E, N = 324400.0, 4207600.0
ABOUT = {
    "site": "A quay (invented)",
    "vertical_datum": "invented",
    "depths": "below msl",
    "surveyed": "2031",
    "credit": "none",
    "caution": "Not for navigation.",
}
POINT_MM = 25.4 / 72


def layer(name, rows):
    """Return a layer of the plan from rows of some of its fields."""
    columns = contract.columns(name)
    if not rows:
        return vectors.empty(columns, CRS)
    blank = {field: None for field in columns}
    table = gpd.GeoDataFrame([blank | row for row in rows], geometry="geometry", crs=CRS)
    for field, kind in columns.items():
        if kind == "real":
            table[field] = pd.to_numeric(table[field])
    return vectors.conform(table, columns)


def content(shapes, rooms=()):
    """Return a sheet's content: recorded wall lines, and rooms by number."""
    walls = [
        {"wall": f"W{k}", "evidence": "recorded", "length_m": s.length, "geometry": s}
        for k, s in enumerate(shapes)
    ]
    spaces = [
        {
            "room": name,
            "kind": "room",
            "building": "B000-000",
            "geometry": shapely.MultiPolygon([s]),
        }
        for name, s in rooms
    ]
    plan = {name: layer(name, []) for name in PLAN_LAYERS}
    plan |= {"wall_lines": layer("wall_lines", walls), "rooms": layer("rooms", spaces)}
    surveys = pd.DataFrame(columns=["holds", *contract.columns("surveys")])
    surveys = surveys.loc[:, ~surveys.columns.duplicated()]
    return Content(plan, None, None, surveys, ABOUT, CRS, "2031")


def hundred_metres():
    """Return a wall of exactly 100 m of grid, east to west, and one of 60 m to the north."""
    east = shapely.LineString([(E, N, -1), (E + 100, N, -1)])
    return content([east, shapely.LineString([(E, N, -1), (E, N + 60, -1)])])


def spans_in_pdf(path):
    """Return lengths of all straight two-point paths in a PDF's page [mm]."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", path.read_bytes(), re.S)
    number = rb"(-?\d+(?:\.\d+)?)"
    found = []
    for stream in streams:
        try:
            text = zlib.decompress(stream)
        except zlib.error:
            continue
        path_of_two = number + rb" " + number + rb" m\s+" + number + rb" " + number + rb" l\s+S"
        found += [tuple(map(float, four)) for four in re.findall(path_of_two, text)]
    ends = np.array(found)
    return np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]) * POINT_MM


def spans_in_svg(path):
    """Return lengths of all straight two-point paths in an SVG [mm], by its size in points."""
    text = path.read_text()
    width, box = re.search(r'width="([\d.]+)pt".*?viewBox="0 0 ([\d.]+) ', text, re.S).groups()
    ends = re.findall(r'd="M ([\d.]+) ([\d.]+)\s+L ([\d.]+) ([\d.]+)\s*"', text)
    xy = np.array(ends, dtype=float)
    scale = float(width) / float(box)
    return np.hypot(xy[:, 2] - xy[:, 0], xy[:, 3] - xy[:, 1]) * POINT_MM * scale


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("suffix", ["pdf", "svg"])
def test_a_hundred_metres_measure_what_the_scale_says(paper, suffix, tmp_path):
    """100 m of grid are 200.0 mm at 1:500, within 0.1 mm, in both formats on every paper."""
    path = tmp_path / f"plan.{suffix}"
    layout = draw_sheet(hundred_metres(), paper, 500, [path])
    assert (layout.scale, layout.note) == (500, "")
    spans = spans_in_pdf(path) if suffix == "pdf" else spans_in_svg(path)
    for wanted_mm in (200.0, 120.0):
        assert np.abs(spans - wanted_mm).min() < 0.1


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_page_has_the_size_of_its_paper(paper, tmp_path):
    """The PDF's page is the paper of ISO 216, either way up."""
    path = tmp_path / "plan.pdf"
    draw_sheet(hundred_metres(), paper, None, [path])
    box = re.search(rb"/MediaBox \[ *0 0 ([\d.]+) ([\d.]+) *\]", path.read_bytes()).groups()
    sides = sorted(float(side) * POINT_MM for side in box)
    assert sides == pytest.approx(sorted(PAPERS[paper]), abs=0.1)


def test_the_largest_scale_that_fits_is_taken():
    """A plan of 300 by 240 m fits A1 at 1:500 and not at 1:250; a small hut is drawn large."""
    assert lay_out((0, 0, 300, 240), "A1", None).scale == 500
    assert lay_out((0, 0, 5, 4), "A4", None).scale == 50
    tall = lay_out((0, 0, 40, 200), "A2", None)
    assert tall.page_mm[0] < tall.page_mm[1]


def test_a_scale_that_does_not_fit_gives_way_and_says_so():
    """1:100 of 100 m needs a metre of paper: on A3 the sheet is to 1:500, and says why."""
    layout = lay_out((0, 0, 102, 62), "A3", 100)
    assert layout.scale == 500
    assert layout.note == "1:100 was asked for; the plan doesn't fit A3 at it."


def block(count):
    """Return a raster of rooms of 4 by 3 m with their walls."""
    walls, rooms = [], []
    for i in range(count):
        for j in range(count):
            x, y = E + 5 * i, N + 4 * j
            shape = shapely.box(x, y, x + 4, y + 3)
            rooms.append((f"R{5 * i:03d}-{4 * j:03d}", shape))
            walls.append(shapely.LineString([(*p, -1.0) for p in shape.exterior.coords]))
    return content(walls, rooms)


@pytest.mark.parametrize("paper", ["A0", "A3", "A4"])
def test_no_label_touches_a_wall_or_another(paper):
    """Whatever the scale, numbers stand clear of walls and of each other."""
    drawn = block(8)
    layout, labels = labels_of(drawn, paper, None)
    boxes = np.array([label.box for label in labels], dtype=object)
    one, other = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    assert (one == other).all()
    walls = drawn.plan["wall_lines"].geometry.to_numpy()
    assert not shapely.intersects(shapely.union_all(walls), boxes).any()
    assert shapely.contains(shapely.box(*layout.ground), boxes).all()
    assert len(labels) >= 40


def test_a_room_too_small_for_its_number_gets_a_key(tmp_path):
    """At 1:500 a closet of 1.6 m has no room for eight letters: it gets a key number."""
    walls = shapely.LineString([(E, N, -1), (E + 90, N, -1)])
    _, labels = labels_of(
        content([walls], [("R000-010", shapely.box(E, N + 10, E + 1.6, N + 12))]), "A3", 500
    )
    assert [(label.text, label.role) for label in labels] == [("1", "key")]


def test_the_same_plan_gives_the_same_bytes(tmp_path):
    """No date, no random name: two drawings are alike to the byte."""
    paths = [[tmp_path / f"{k}.pdf", tmp_path / f"{k}.svg"] for k in range(2)]
    for pair in paths:
        draw_sheet(block(2), "A4", None, pair)
    for first, second in zip(*paths, strict=True):
        assert first.read_bytes() == second.read_bytes()


def test_a_site_of_one_wall_has_a_sheet(tmp_path):
    """One wall, no room, no seabed: a sheet all the same."""
    path = tmp_path / "plan.pdf"
    draw_sheet(content([shapely.LineString([(E, N, -1), (E + 3, N + 1, -1)])]), "A4", None, [path])
    assert path.stat().st_size > 5000


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


def with_seabed(**more):
    """Return a sheet's content with contours across it, two of them labelled."""
    rows = [
        {
            "height_m": at,
            "depth_m": -at,
            "index": at == round(at),
            "label_easting_m": E + 45.0,
            "label_northing_m": N + 20.0 + 8 * k,
            "label_turn_deg": 0.0,
            "geometry": shapely.LineString([(E - 5, N + 20 + 8 * k), (E + 95, N + 20 + 8 * k)]),
        }
        for k, at in enumerate((-3.0, -2.5, -2.0))
    ]
    return replace(hundred_metres(), contours=layer("contours", rows), **more)


def test_index_contours_have_their_height_written_on_them():
    """Labels of whole metres stand where the layer says, on their line; others have none."""
    _, labels = labels_of(with_seabed(), "A1", 500)
    told = {label.text: (label.x - E, label.y - N) for label in labels if label.role == "contour"}
    assert told == {"−3": (45.0, 20.0), "−2": (45.0, 36.0)}


def test_contours_are_not_labelled_where_a_building_hides_them():
    """Where the layer's place lies in a room, the height stands elsewhere on the line."""
    house = shapely.box(E + 40, N + 15, E + 50, N + 40)
    rooms = {**with_seabed().plan, "rooms": content([], [("R001-001", house)]).plan["rooms"]}
    _, labels = labels_of(with_seabed(plan=rooms), "A1", 500)
    told = [label for label in labels if label.role == "contour"]
    assert {label.text for label in told} == {"−3", "−2"}
    assert not any(label.box.intersects(house) for label in told)


@pytest.mark.parametrize("suffix", ["pdf", "svg"])
def test_the_seabeds_relief_lies_lightly_under_the_plan(tmp_path, suffix):
    """With a relief the sheet is as much to scale as without, and the same each time."""
    relief = np.zeros((30, 50))
    relief[10:12] = 0.4
    small = Small({"local_relief": relief}, (E - 5, E + 95, N - 5, N + 55))
    paths = [tmp_path / f"{name}.{suffix}" for name in ("a", "b")]
    for path in paths:
        draw_sheet(with_seabed(relief=small), "A1", 500, [path])
    spans = spans_in_pdf(paths[0]) if suffix == "pdf" else spans_in_svg(paths[0])
    assert np.abs(spans - 200.0).min() < 0.1
    assert paths[0].read_bytes() == paths[1].read_bytes()
    draw_sheet(with_seabed(), "A1", 500, [tmp_path / f"bare.{suffix}"])
    assert paths[0].stat().st_size > (tmp_path / f"bare.{suffix}").stat().st_size


def test_numbers_of_other_plans_stand_on_the_sheet():
    """Each beside the record's own, buildings and rooms in one list; none, no list."""
    rooms = [("R010-010", shapely.box(10, 10, 14, 13)), ("R030-010", shapely.box(30, 10, 34, 13))]
    drawn = content([], rooms=rooms)
    assert other_numbers(drawn.plan) == []
    drawn.plan["rooms"]["other_numbers"] = ["plan of 1986: I/2;bags: 7", None]
    said = ["bags: 7 = R010-010", "plan of 1986: I/2 = R010-010"]
    assert other_numbers(drawn.plan) == said
