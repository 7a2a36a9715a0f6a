"""Kinds of sheets: tiles, buildings, trenches, for divers, without place, in other languages."""

import datetime as dt
from dataclasses import replace
from itertools import pairwise

import geopandas as gpd
import numpy as np
import pytest
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from sheet_made import CRS, E, N, block, content, layer, site, texts_of, three_d, words_of

from wrackline.errors import InputError
from wrackline.model import TitleBlock
from wrackline.publish.sheets.content import marks_layer
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.pen import marker_style
from wrackline.publish.sheets.register import register, register_rows
from wrackline.publish.sheets.sheet import draw_sheet, plan_set
from wrackline.publish.sheets.style import LEVELS
from wrackline.publish.sheets.things import wedge


def two_corners(**keys):
    """Return two huts 150 m apart, and nothing between them."""
    huts = [shapely.box(E + x, N + x, E + x + 4, N + x + 3) for x in (5.0, 155.0)]
    rooms = [(f"R{k}", hut.buffer(-0.5)) for k, hut in enumerate(huts)]
    houses = [(f"B{k}", hut) for k, hut in enumerate(huts)]
    return content([three_d(hut.exterior) for hut in huts], rooms, houses, **keys)


def tiles(**keys):
    """Return the sheets of the two huts as tiles."""
    settings = {"shows": "tiles", "paper": "A3", "scale": 200, "overlap_m": 5.0}
    return plan_set(two_corners(**(settings | keys)), "tiles")


def test_tiles_cover_all_of_the_plan_and_no_empty_ground():
    """Every wall lies wholly on the tiles; tiles without anything are left out."""
    sheets = tiles()
    assert [one.sheet.shows for one in sheets] == ["index"] + ["tile"] * (len(sheets) - 1)
    grounds = shapely.union_all([shapely.box(*one.sheet.layout.ground) for one in sheets[1:]])
    walls = two_corners().plan["wall_lines"].geometry
    assert walls.within(grounds).all()
    for one in sheets[1:]:
        assert walls.intersects(shapely.box(*one.sheet.layout.ground)).any()


def test_neighbouring_tiles_overlap_by_what_was_asked_for():
    """With a wall across, tiles side by side share 5 m of ground."""
    wall = three_d(shapely.LineString([(E + 1, N + 1), (E + 150, N + 1)]))
    sheets = plan_set(
        content([wall], shows="tiles", paper="A3", scale=200, overlap_m=5.0), "tiles"
    )[1:]
    edges = [one.sheet.layout.ground for one in sheets]
    shared = [first[2] - second[0] for first, second in pairwise(edges)]
    assert shared == pytest.approx([5.0] * (len(edges) - 1))
    assert sheets[0].named.beside == {"east": sheets[1].sheet.number}
    assert f"east: {sheets[1].sheet.number}" in texts_of(sheets[0])


@pytest.mark.parametrize("reader", ["desk", "diver"])
@pytest.mark.parametrize("scale", [200, 250, 500])
def test_coordinates_at_a_corner_keep_clear_of_each_other(scale, reader):
    """The first tile begins at the origin, where two coordinates meet in the frame's corner."""
    planned = next(one for one in tiles(scale=scale, reader=reader) if one.sheet.number == "A1")
    figure = draw_sheet(planned)
    figure.canvas.draw()
    axes, *columns = figure.axes
    labels = [*axes.get_xticklabels(), *axes.get_yticklabels()]
    boxes = [shapely.box(*text.get_window_extent().extents) for text in labels]
    pairs = shapely.STRtree(boxes).query(boxes, predicate="intersects").T
    assert [tuple(pair) for pair in pairs if pair[0] < pair[1]] == []
    beside = shapely.union_all([shapely.box(*one.bbox.extents) for one in columns])
    page = shapely.box(*figure.bbox.extents)
    assert all(page.contains(box) and not box.intersects(beside) for box in boxes)


def test_tiles_that_would_share_more_than_half_are_refused():
    """With the size of a tile, and without drawing anything."""
    with pytest.raises(InputError, match=r"up to 27.4 m, half of a tile of 65.4 m by 54.8 m"):
        tiles(overlap_m=60.0)
    assert len(tiles(overlap_m=27.4)) > len(tiles(overlap_m=5.0))


def test_trenches_whose_names_differ_in_signs_alone_have_files_of_their_own():
    """Neither blanks nor capitals let one sheet take another's file."""
    shapes = [shapely.box(E + x, N, E + x + 2, N + 2) for x in (1, 11, 21, 31)]
    names = ("T 2", "T_2", "t/2", "../T3")
    rows = [{"trench": n, "geometry": s} for n, s in zip(names, shapes, strict=True)]
    made = content([three_d(shapes[0].exterior)], shows="trenches", paper="A4")
    sheets = plan_set(replace(made, trenches=layer("trenches", rows)), "pits")
    assert [one.sheet.number for one in sheets] == ["T_2", "T_2_2", "t_2_3", "___T3"]
    assert [one.named.title for one in sheets] == [f"Trench {name}" for name in names]


def test_a_tile_keeps_its_number_when_the_plan_grows():
    """Tiles count from the site's origin: a new wall to the west renames none."""
    before = {one.sheet.number: one.sheet.layout.ground for one in tiles()[1:]}
    grown = two_corners(shows="tiles", paper="A3", scale=200, overlap_m=5.0)
    far = content([three_d(shapely.LineString([(E - 90, N - 80), (E - 80, N - 80)]))])
    walls = gpd.pd.concat([grown.plan["wall_lines"], far.plan["wall_lines"]])
    after = plan_set(replace(grown, plan={**grown.plan, "wall_lines": walls}), "tiles")[1:]
    now = {one.sheet.number: one.sheet.layout.ground for one in after}
    assert before.items() <= now.items()
    assert len(now) > len(before)


def test_the_index_shows_every_tile_with_its_number():
    """Each tile's outline and number stand on the index, all of it in the frame."""
    index, *others = tiles()
    numbers = [one.sheet.number for one in others]
    assert [number for number, _ in index.sheet.tiles] == numbers
    assert {label.text for label in index.labels if label.role == "tile"} == set(numbers)
    frame = shapely.box(*index.sheet.layout.ground)
    assert all(frame.contains(shapely.box(*ground)) for _, ground in index.sheet.tiles)


def test_every_building_has_its_sheet_with_areas():
    """One sheet a building, named by its number; its rooms have their area below the number."""
    made = block(2, shows="buildings", paper="A4")
    made.plan["rooms"]["floor_area_m2"] = 11.27
    made.plan["rooms"]["floor_area_sd_m2"] = 0.06
    sheets = plan_set(made, "buildings")
    assert [one.sheet.subject for one in sheets] == made.plan["buildings"]["building"].tolist()
    assert "R000-000\n11.27 ± 0.06 m²" in texts_of(sheets[0])
    assert sheets[0].sheet.layout.scale == 50
    assert "Building B000-000" in texts_of(sheets[0])


def test_a_building_that_is_not_there_is_named_with_the_nearest():
    """`only` with a slip of the pen: the run stops and says which number is near."""
    made = block(2, shows="buildings", only=["B005-001"])
    with pytest.raises(InputError, match="no_such_sheet") as caught:
        plan_set(made, "buildings")
    (fault,) = caught.value.faults
    assert fault.file == "config/site.yaml"
    assert "'B005-001'" in fault.found
    assert "B005-004" in fault.allowed


def with_details(**keys):
    """Return a hut with a trench, stones, hachures, a section line and spot heights."""
    x, y = E + 10, N + 10
    features = [
        {"feature": "F1", "kind": "stone", "geometry": shapely.box(x + 6, y, x + 6.4, y + 0.5)},
        {
            "feature": "F2",
            "kind": "hachure",
            "geometry": shapely.LineString([(x - 3, y + 4), (x - 3, y + 2)]),
        },
        {
            "feature": "F3",
            "kind": "section line",
            "line": "K",
            "geometry": shapely.LineString([(x - 2, y + 1.5), (x + 7, y + 1.5)]),
        },
    ]
    hut = shapely.box(x, y, x + 5, y + 3)
    spots = [
        {
            "of": of,
            "rank": 1,
            "height_m": height,
            "height_sd_m": 0.02,
            "geometry": shapely.Point(x + dx, y + 3.0, height),
        }
        for of, height, dx in (
            ("wall top", -1.234, 1.0),
            ("wall base", -1.9, 4.0),
            ("floor", -2.4, 8.0),
            ("seabed", -2.1, -4.0),
        )
    ]
    made = content(
        [three_d(hut.exterior)],
        buildings=[("B010-010", hut)],
        layers={"features": features},
        **keys,
    )
    trench = {"trench": "T1", "geometry": shapely.box(x + 1, y + 0.5, x + 2, y + 2.5)}
    return replace(
        made,
        spots=layer("spot_heights", spots),
        trenches=layer("trenches", [trench]),
        marks=marks_layer([("M1", x - 4, y - 2)], CRS),
    )


def test_the_legend_has_what_is_on_the_sheet_and_nothing_else():
    """A hut with details explains them; a bare hut explains none of them."""
    details = ("stone", "slope, marks point downhill", "section line", "trench", "control mark")
    levels = tuple(f"spot height: {of}" for of in ("wall top", "wall base", "floor", "seabed"))
    said = texts_of(plan_set(with_details(scale=100), "plan")[0])
    assert set(details + levels) <= set(said)
    bare = texts_of(plan_set(block(1), "plan")[0])
    assert not set(details + levels) & set(bare)
    assert "wall line, recorded" in bare
    assert "closing, inferred" not in bare


def test_the_legend_is_silent_on_what_lies_beyond_the_edge():
    """A tile cuts a house off its room; what is left of the house is no wall by its centre."""
    hut = shapely.box(E + 64, N + 10, E + 79, N + 20)
    body = hut.difference(hut.buffer(-2))
    made = content(
        [three_d(hut.exterior), three_d(shapely.LineString([(E + 5, N + 5), (E + 9, N + 5)]))],
        [("R1", hut.buffer(-2))],
        [("B1", hut)],
        {"wall_bodies": [{"geometry": body}]},
        shows="tiles",
        paper="A3",
        scale=200,
    )
    sheets = plan_set(made, "tiles")
    edge = next(one for one in sheets if one.sheet.number == "A1").sheet.layout.ground[2]
    assert 64 < edge - E < 66
    for planned in sheets:
        assert "wall by its centre and stated thickness" not in texts_of(planned)


def test_sections_have_letters_at_both_ends_and_trenches_their_name():
    """K at the start of the line, K′ at its end, each nearer to its own end."""
    labels = plan_set(with_details(scale=100), "plan")[0].labels
    ends = {one.text: one.x for one in labels if one.role == "section"}
    assert ends["K"] < E + 8 < E + 17 < ends["K′"]
    assert [one.text for one in labels if one.role == "trench"] == ["T1"]
    assert [one.text for one in labels if one.role == "mark"] == ["M1"]


def test_spot_heights_are_heights_for_the_desk_and_depths_for_a_diver():
    """−1.23 m above the datum is 1.35 m below a sea level that lies at 0.12 m."""
    spots = {
        reader: {
            one.text
            for one in plan_set(with_details(scale=100, reader=reader), "plan")[0].labels
            if one.role == "spot"
        }
        for reader in ("desk", "diver")
    }
    assert spots["desk"] == {"−1.23", "−1.90", "−2.40", "−2.10"}
    assert spots["diver"] == {"1.35", "2.02", "2.52", "2.22"}


def test_no_figure_touches_a_mark():
    """The figure of a spot height stands beside its own mark and touches no other."""
    planned = plan_set(with_details(scale=100), "plan")[0]
    assert {spot.of for spot in planned.spots} == {"wall top", "wall base", "floor", "seabed"}
    boxes = [one.box for one in planned.labels]
    for spot in planned.spots:
        assert not any(box.contains(shapely.Point(spot.x, spot.y)) for box in boxes)


def ink_of(style):
    """Return how many pixels of the left and right half of a mark, drawn large, are dark."""
    figure = Figure(figsize=(4, 4), dpi=50)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.axis("off")
    axes.set(xlim=(-1, 1), ylim=(-0.2, 1.8))
    axes.plot(0, 0, **marker_style(replace(style, size_mm=51.0)))
    figure.canvas = FigureCanvasAgg(figure)
    figure.canvas.draw()
    dark = np.asarray(figure.canvas.buffer_rgba())[:, :, 0] < 128
    return [int(half.sum()) for half in np.split(dark, 2, axis=1)]


def test_the_four_heights_have_four_marks():
    """Hollow, half filled, filled, and on a line: none can be taken for another, without colour."""
    top, base, floor, seabed = (
        ink_of(LEVELS[of]) for of in ("wall top", "wall base", "floor", "seabed")
    )
    assert floor[0] == pytest.approx(floor[1], rel=0.06)
    assert base[0] == pytest.approx(floor[0], rel=0.06)
    assert base[1] < floor[1] / 5
    assert max(top) < floor[0] / 5
    assert sum(top) * 1.2 < sum(seabed) < sum(floor) / 2


def test_a_mark_that_the_frame_cuts_has_no_figure():
    """A figure without its mark would be read as another's."""
    planned = tiles()[1]
    west, south, east, north = planned.sheet.layout.ground
    rows = [
        {"of": "wall top", "rank": 1, "height_m": h, "height_sd_m": 0.02}
        | {"geometry": shapely.Point(x, (south + north) / 2, h)}
        for h, x in ((-1.0, west + 0.05), (-2.0, east - 0.05), (-3.0, (west + east) / 2))
    ]
    made = two_corners(shows="tiles", paper="A3", scale=200, overlap_m=5.0)
    planned = plan_set(replace(made, spots=layer("spot_heights", rows)), "tiles")[1]
    assert [one.text for one in planned.labels if one.role == "spot"] == ["−3.00"]


@pytest.mark.parametrize(("wide", "inside"), [(8.0, True), (1.0, False)])
def test_a_floors_figure_stays_on_its_side_of_the_wall_or_has_a_leader(wide, inside):
    """Half a metre beside a wall: in the room where it has room, else outside with a leader."""
    x, y = E + 10, N + 10
    hut = shapely.box(x, y, x + wide, y + 4)
    spot = shapely.Point(x + wide - 0.5, y + 2, -2.4)
    row = {"of": "floor", "rank": 1, "height_m": -2.4, "height_sd_m": 0.02, "geometry": spot}
    made = replace(
        content([three_d(hut.exterior)], scale=500, paper="A4"), spots=layer("spot_heights", [row])
    )
    (label,) = [one for one in plan_set(made, "plan")[0].labels if one.role == "spot"]
    assert hut.contains(label.box) == inside
    assert (label.of is None) == inside


def test_features_are_named_on_the_sheet_of_their_building_on_their_side_of_its_walls():
    """A hearth in a corner has kind and number within the room; on the site's sheet it has none."""
    hut = shapely.box(E, N, E + 6, N + 5)
    hearth = {"feature": "F005-004", "kind": "hearth", "origin": "built"}
    hearth["geometry"] = shapely.box(E + 0.4, N + 0.4, E + 1.2, N + 1.2)
    made = content(
        [three_d(hut.exterior)],
        buildings=[("B000-000", hut)],
        layers={"features": [hearth]},
        shows="buildings",
        paper="A4",
    )
    (one,) = plan_set(made, "houses")
    told = [label for label in one.labels if label.role == "feature"]
    assert [label.text for label in told] == ["hearth F005-004"]
    assert hut.contains(told[0].box)
    whole = replace(made, settings=made.settings.model_copy(update={"shows": "site"}))
    assert all(label.role != "feature" for label in plan_set(whole, "plan")[0].labels)


def test_no_cross_of_the_grid_stands_under_a_text():
    """Crosses lie over rooms, and are left out where a text stands."""
    made = block(6, scale=100)
    (planned,) = plan_set(made, "plan")
    collections = draw_sheet(planned).axes[0].collections
    crosses = next(one for one in collections if one.get_zorder() == 1.6)
    arms = [shapely.LineString(part) for part in crosses.get_segments()]
    assert arms
    assert not any(arm.intersects(label.box) for arm in arms for label in planned.labels)


def test_a_hachure_is_wide_at_the_top_and_ends_at_the_foot():
    """A stroke from (0, 4) down to (0, 0): a triangle with its base at the top."""
    shape = wedge(shapely.LineString([(0, 4), (0, 0)]), 0.6)
    assert shape.equals(shapely.Polygon([(-0.3, 4), (0.3, 4), (0, 0)]))


def test_a_trench_has_its_sheet():
    """One sheet a trench, named by the trench."""
    made = with_details(shows="trenches", paper="A4", scale=50)
    (one,) = plan_set(made, "trenches")
    assert (one.sheet.subject, one.sheet.layout.scale) == ("T1", 50)
    assert "Trench T1" in texts_of(one)


SECRETS = ("A quay", "324", "4207", "32625", "levelling datum", "friends", "quay", "M1", "mean sea")


def test_what_gives_the_place_away_can_be_left_off():
    """No names, datum, CRS, convergence, marks; coordinates count from the origin."""
    keys = {"reader": "desk", "scale": 100}
    shown = words_of(with_details(**keys))
    hidden = words_of(with_details(**keys, place="left_out"))
    for secret in SECRETS:
        assert secret not in hidden, secret
        assert secret in shown or secret in ("quay", "mean sea"), secret
    assert "true north" in shown
    assert "°" not in hidden
    assert "10 E" in hidden
    assert "place is left out" in hidden


def test_a_divers_sheet_has_magnetic_north_big_type_and_its_caution():
    """The compass's north with year, yearly change and sd; letters of at least 7 points."""
    made = with_details(scale=100, reader="diver")
    said = words_of(made)
    for words in (
        "magnetic north 2031",
        "′ a year",
        "bearings are magnetic",
        "Not for dive planning",
    ):
        assert words in said
    labels = plan_set(made, "plan")[0].labels
    assert min(one.size_pt for one in labels) >= 7.0
    assert "magnetic" not in words_of(with_details(scale=100))


def test_the_title_block_has_what_the_config_says_and_room_for_the_rest():
    """Fields that nobody filled stay empty, to be filled in by hand."""
    block_of = TitleBlock(drawn="A. Nobody", date=dt.date(2031, 9, 1), permit="7/2031")
    said = texts_of(plan_set(content([], site=site(title_block=block_of)), "plan")[0])
    for words in ("A. Nobody", "2031-09-01", "7/2031", "Checked", "1 of 1", "2031"):
        assert words in said


def test_sheets_speak_the_language_that_is_asked_for():
    """Phrases and the site's own texts in another script, with a decimal comma."""
    words = Language(
        "uk",
        decimal_mark=",",
        words={"wall_recorded": "стіна, обміряна", "caution_heading": "Увага"},
        own_texts={"A quay (invented)": "Причал (вигаданий)"},
    )
    said = texts_of(plan_set(replace(with_details(scale=100), words=words), "plan")[0])
    assert {"стіна, обміряна", "Увага", "Причал (вигаданий)", "−1,23"} <= set(said)
    assert "−1.23" not in said


def test_the_register_names_every_sheet_and_what_it_promises():
    """Number, file, page, scale, what is less sure than a line; no place where it is left out."""
    made = block(2, shows="tiles", paper="A4", scale=50)
    rows = register_rows(plan_set(made, "tiles"), "tiles")
    table = register(rows)
    assert table["sheet"].tolist()[0] == "tiles/index"
    assert table["page"].tolist() == list(range(1, len(table) + 1))
    assert table["svg"].tolist()[1] == f"sheets/{table['sheet'][1]}.svg"
    assert table["line_shows_m"].tolist()[1] == pytest.approx(0.01)
    assert table["less_sure_than_drawn"].tolist()[1] == "technique of 2031-walls (sd 0.02 m)"
    hidden = register(register_rows(plan_set(block(1, place="left_out"), "plan"), "plan"))
    assert np.isnan(hidden["middle_easting_m"].astype(float)).all()
    assert "leaves the place out" in hidden["null_because"][0]
