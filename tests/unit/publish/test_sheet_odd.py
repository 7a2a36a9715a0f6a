"""Odd content of plan sheets: hostile names, odd shapes, lists without room, wide plans."""

from dataclasses import replace
from itertools import combinations, pairwise

import matplotlib as mpl
import numpy as np
import pytest
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.text import Text
from matplotlib.textpath import TextPath
from sheet_made import (
    POINT_MM,
    E,
    N,
    block,
    content,
    layer,
    site,
    surveys,
    texts_of,
    three_d,
    words_of,
)

from wrackline.errors import InputError
from wrackline.model import SeaLevel, TitleBlock
from wrackline.publish.cutting import common, less
from wrackline.publish.sheets.column import LEAST_PT, arrow_turns
from wrackline.publish.sheets.labels import CLEAR_MM, Placing
from wrackline.publish.sheets.norths import Norths
from wrackline.publish.sheets.paper import lay_out
from wrackline.publish.sheets.pen import marker_style, width_mm, wrapped
from wrackline.publish.sheets.sets import file_names
from wrackline.publish.sheets.sheet import draw_set, draw_sheet, plan_set
from wrackline.publish.sheets.style import LEVELS, SETTINGS, luminance, tone
from wrackline.publish.sheets.things import NO_LINES, obstacles, things_on
from wrackline.publish.tones import INK

HUT = shapely.box(E + 5, N + 5, E + 15, N + 12)


def trenches(made, names):
    """Return a content with trenches of some names in a row."""
    rows = [
        {"trench": name, "geometry": shapely.box(E + 8 * k, N, E + 8 * k + 5, N + 4)}
        for k, name in enumerate(names)
    ]
    return replace(made, trenches=layer("trenches", rows))


def image_of(style):
    """Return a mark as it is drawn, large, as greys."""
    figure = Figure(figsize=(1, 1), dpi=200)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(-1, 1), ylim=(-1, 1))
    axes.plot([0], [0], ls="none", **{**marker_style(style), "ms": 60, "mew": 2})
    axes.axis("off")
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., 0] / 255.0


def test_the_four_level_marks_look_different():
    """Wall top, wall base, floor and seabed, each unlike every other; all point at the place."""
    drawn = {of: image_of(style) for of, style in LEVELS.items()}
    for one, other in combinations(drawn.values(), 2):
        assert np.abs(one - other).sum() > 0.05 * (1 - one).sum()
    for image in drawn.values():
        inked = np.argwhere(image[:, 98:103] < 0.5)
        assert inked[:, 0].max() == pytest.approx(100, abs=6)


@pytest.mark.parametrize(
    ("paper", "scale", "ends"),
    [("A3", 100, ("2.5", "5 m")), ("A3", 50, ("1", "2 m")), ("A3", 20, ("0.5", "1 m"))],
)
def test_the_scale_bar_names_its_middle_rightly(paper, scale, ends):
    """Half of 5 m is 2.5 m, not 2."""
    wall = three_d(shapely.LineString([(E, N), (E + 1, N)]))
    said = texts_of(plan_set(content([wall], paper=paper, scale=scale), "plan")[0])
    assert set(ends) <= set(said)


def test_small_uncertainties_are_never_printed_as_nothing():
    """An sd of 4.2 mm is less sure than the 4 mm of 1:20, and says so in millimetres."""
    wall = three_d(shapely.LineString([(E, N), (E + 1, N)]))
    made = content([wall], scale=20, surveys=surveys(**{"2031-walls": 0.0042}))
    said = words_of(made)
    assert "(0.004 m)" in said
    assert "0.00 m" not in said


@pytest.mark.parametrize(
    ("true", "magnetic", "order"),
    [(1.2, -7.7, "mgt"), (3.0, 1.0, "gmt"), (1.0, 3.0, "gtm"), (-2.0, -1.0, "tmg"), (-1, 4, "tgm")],
)
def test_arrows_stand_in_the_order_of_the_norths(true, magnetic, order):
    """From west to east as the angles do, whichever lies nearer to the grid's."""
    turns = dict(zip("tm", arrow_turns(Norths(None, true, magnetic)), strict=True), g=0.0)
    assert "".join(sorted(turns, key=turns.get)) == order


def test_walls_of_different_spans_of_phases_look_different():
    """Early to middle and early to late begin alike and must not be drawn alike."""
    spans = [("a", "a"), ("a", "b"), ("a", "c"), ("b", "c"), ("c", "c"), ("", "")]
    bodies = [
        {"wall": f"W{k}", "phase_from": first or None, "phase_to": last or None, "geometry": shape}
        for k, (first, last) in enumerate(spans)
        for shape in [shapely.box(E + 9 * k, N, E + 9 * k + 5, N + 1)]
    ]
    made = content([], layers={"wall_bodies": bodies}, site=site(phases=["a", "b", "c"]))
    layout = plan_set(made, "plan")[0].sheet.layout
    looks = [(one.style.face, one.style.hatch) for one in things_on(made, layout) if one.words]
    assert len(looks) == len(spans)
    assert len(set(looks)) == len(spans)


def test_no_letters_stand_on_ground_too_dark_for_them():
    """Contrast of ink to what may lie under letters is 4.5 : 1 at least (WCAG 2.1, 1.4.3)."""
    bodies = [
        {
            "wall": f"W{k}",
            "phase_from": at,
            "phase_to": at,
            "geometry": shapely.box(x, N, x + 9, N + 9),
        }
        for k, (at, x) in enumerate((("a", E), ("b", E + 20)))
    ]
    made = content([], layers={"wall_bodies": bodies}, site=site(phases=["a", "b"]))
    layout = plan_set(made, "plan")[0].sheet.layout
    kept = shapely.union_all(obstacles(things_on(made, layout), layout))
    ink = luminance(INK) + 0.05
    for k, x in enumerate((E, E + 20)):
        readable = (luminance(tone(k, 2)) + 0.05) / ink >= 4.5
        assert kept.contains(shapely.Point(x + 4.5, N + 4.5)) is not readable


def test_bold_letters_have_the_room_that_they_take():
    """A building's number is drawn bold; its ground holds the bold letters' outlines."""
    made = block(1, scale=100)
    planned = plan_set(made, "plan")[0]
    (label,) = [one for one in planned.labels if one.role == "building"]
    bold = FontProperties(family="DejaVu Sans", weight="bold")
    drawn = np.ptp(TextPath((0, 0), label.text, size=label.size_pt, prop=bold).vertices, axis=0)
    west, _, east, _ = label.box.bounds
    wide_mm = (east - west) * planned.sheet.layout.metre_mm
    assert wide_mm >= drawn[0] * POINT_MM + 2 * CLEAR_MM - 1e-6


def test_names_of_a_mark_keep_clear_of_its_symbol():
    """The control mark's triangle is 1.8 mm wide, and its name stands beside all of it."""
    made = content([three_d(HUT.exterior)], scale=100)
    spot = [{"feature": "F1", "kind": "hearth", "geometry": shapely.Point(E + 2, N + 2)}]
    made.plan["features"] = layer("features", spot)
    layout = plan_set(made, "plan")[0].sheet.layout
    kept = shapely.union_all(obstacles(things_on(made, layout), layout))
    assert kept.contains(shapely.Point(E + 2.03, N + 2.03))


def test_texts_are_never_taken_for_formulas(tmp_path):
    """Dollars in names stay dollars, paired or not, and stop nothing."""
    names = ["$5$ and $6", r"$\frac$", "100 % $"]
    made = trenches(content([three_d(HUT.exterior)], site=site(credit=r"$\x$")), names)
    planned = draw_set(made, "plan", tmp_path / "plan.pdf", tmp_path / "plan")
    with mpl.rc_context(SETTINGS):
        texts = draw_sheet(planned[0]).findobj(Text)
    assert not any(text.get_parse_math() for text in texts)
    assert set(names) <= {text.get_text() for text in texts}


def test_trenches_whose_names_differ_in_signs_alone_have_each_their_file(tmp_path):
    """T/1 and T_1, t/1 on a disk that knows no case, and names of any length."""
    names = ["T/1", "T_1", "t/1", "../../x", "Траншея 1", "я" * 400, "я" * 401]
    made = trenches(content([], shows="trenches", paper="A4"), names)
    planned = draw_set(made, "plan", tmp_path / "plan.pdf", tmp_path / "plan")
    assert [one.sheet.subject for one in planned] == names
    files = sorted(path.name.casefold() for path in (tmp_path / "plan").iterdir())
    assert len(set(files)) == len(names)
    assert all(len(name.encode()) < 255 and "/" not in name for name in file_names(names))


@pytest.mark.parametrize(
    "shape",
    [
        shapely.LineString([(E + 6, N + 6), (E + 7, N + 7)]),
        shapely.LineString([(E + 6, N + 6), (E + 6, N + 6)]),
        shapely.MultiLineString(
            [[(E + 6, N + 6), (E + 7, N + 7)], [(E + 8, N + 6), (E + 9, N + 7)]]
        ),
        shapely.GeometryCollection([HUT, shapely.Point(E + 6, N + 6)]),
        shapely.MultiPoint([(E + 6, N + 6), (E + 8, N + 8)]),
        shapely.Polygon(),
        None,
    ],
)
def test_features_of_any_shape_are_drawn(shape):
    """Stones, hachures, section lines and others: what has a place is on the sheet and told."""
    for kind, words in (
        ("stone", "stone"),
        ("hachure", "slope, marks point downhill"),
        ("section line", "section line"),
        ("kerb", "feature of another kind"),
    ):
        row = {"feature": "F1", "kind": kind, "origin": None, "line": None, "geometry": shape}
        made = content([three_d(HUT.exterior)], layers={"features": [row]})
        said = texts_of(plan_set(made, "plan")[0])
        assert (words in said) is (shape is not None and not shape.is_empty)


def test_a_section_without_a_name_has_no_letters():
    """Nothing is written at the ends of a line that nobody named."""
    ends = shapely.LineString([(E, N), (E + 20, N)])
    row = {"feature": "F1", "kind": "section line", "line": None, "geometry": ends}
    made = content([three_d(HUT.exterior)], layers={"features": [row]}, scale=200)
    assert not [one for one in plan_set(made, "plan")[0].labels if one.role == "section"]


def test_a_trench_far_from_all_walls_is_on_the_sheets():
    """A test pit 80 m off lies on the site's sheet, and on a tile."""
    pit = {"trench": "T9", "geometry": shapely.box(E + 95, N + 90, E + 97, N + 92)}
    for shows in ("site", "tiles"):
        made = content(
            [three_d(HUT.exterior)], shows=shows, scale=100 if shows == "tiles" else None
        )
        made = replace(made, trenches=layer("trenches", [pit]))
        grounds = [shapely.box(*one.sheet.layout.ground) for one in plan_set(made, "plan")]
        assert any(ground.contains(pit["geometry"]) for ground in grounds[-1:])


@pytest.mark.parametrize("overlap", [0.0, 5.0, 18.0])
def test_tiles_cover_the_plan_whatever_they_share(overlap):
    """West and south of the origin too, and where nearly half of a tile is shared."""
    line = shapely.LineString([(E - 130, N - 90), (E + 60, N + 70)])
    court = shapely.box(E - 60, N - 20, E + 60, N + 60)
    made = content(
        [three_d(line)], [("R1", court)], shows="tiles", paper="A4", scale=200, overlap_m=overlap
    )
    sheets = plan_set(made, "plan")[1:]
    ground = shapely.union_all([shapely.box(*one.sheet.layout.ground) for one in sheets])
    assert ground.contains(line)
    assert ground.contains(court)
    numbers = [one.sheet.number for one in sheets]
    assert len(set(numbers)) == len(numbers)


def test_a_plan_of_kilometres_is_wholly_on_its_sheet():
    """Small paper gives a small scale, never a part of the plan."""
    for long, paper in ((3_000, "A4"), (40_000, "A4")):
        wall = three_d(shapely.LineString([(E, N), (E + long, N + long / 2)]))
        (one,) = plan_set(content([wall], paper=paper), "plan")
        assert shapely.box(*one.sheet.layout.ground).contains(wall)
        assert draw_sheet(one) is not None


def test_small_tiles_of_a_wide_plan_cost_what_is_on_them():
    """Two huts 30 km apart have a handful of tiles at 1:50; the sea between has none."""
    huts = [shapely.box(E + x, N, E + x + 4, N + 3) for x in (0.0, 30_000.0)]
    made = content([three_d(hut.exterior) for hut in huts], shows="tiles", paper="A4", scale=50)
    assert 3 <= len(plan_set(made, "plan")) <= 9


def test_long_texts_of_the_title_block_stay_readable_and_in_their_cell():
    """A permit of 600 letters has several lines, of 4.5 points at least; none is lost."""
    told = site(title_block=TitleBlock(permit="permit number seven " * 30), name="Q" * 200)
    planned = plan_set(content([three_d(HUT.exterior)], site=told), "plan")[0]
    figure = draw_sheet(planned)
    assert min(one.get_fontsize() for one in figure.findobj(Text)) >= LEAST_PT - 1e-9
    wide = planned.sheet.layout.column_mm[2]
    for text in figure.axes[-1].texts:
        end = text.get_position()[0] + width_mm(text.get_text(), text.get_fontsize())
        assert end <= wide
    said = " ".join(text.get_text() for text in figure.axes[-1].texts)
    assert said.count("seven") == 30
    assert said.count("Q") == 200


def test_words_longer_than_a_column_are_broken():
    """Whatever stands in one word, no line is wider than asked for and no letter is lost."""
    lines = wrapped("a " + "Wm" * 90 + " b", 40.0, 5.5)
    assert all(width_mm(line, 5.5) <= 40.0 for line in lines)
    assert "".join(lines).replace(" ", "") == "a" + "Wm" * 90 + "b"


def test_lists_without_room_say_what_is_left_out():
    """2,000 numbers of other plans on A4: the caution stays, the list says what is missing."""
    made = content([three_d(HUT.exterior)], [("R1", HUT)], paper="A4")
    made.plan["rooms"]["other_numbers"] = ";".join(f"an older plan: {k}" for k in range(2000))
    planned = plan_set(made, "plan")[0]
    assert planned.pen.columns == planned.sheet.layout.columns
    said = texts_of(planned)
    told = sum(" = R1" in text for text in said)
    assert f"and {2000 - told} more" in " ".join(said)
    assert any("navigation" in text for text in said)


def test_rooms_without_any_number_are_counted():
    """At 1:2000 rooms of 4 by 3 m hold not even a key: the sheet says how many."""
    said = words_of(block(4, scale=2000))
    assert "Rooms too small for a number at this scale: 16; see the tables." in said
    assert "too small for a number" not in words_of(block(4, scale=100))


def test_a_sheet_that_cannot_hold_its_own_notes_is_a_fault():
    """Never a sheet without its caution: the run stops and says what to change."""
    told = site(title_block=TitleBlock(permit="permit " * 9000))
    with pytest.raises(InputError, match="sheet_too_full"):
        plan_set(content([three_d(HUT.exterior)], paper="A4", site=told), "plan")


def test_depths_are_rounded_by_the_level_that_they_count_from():
    """A height known to 2 cm below a level known to 0.4 m has one decimal."""
    level = SeaLevel(name="old level", height_m=-1.0, sd_m=0.4)
    told = site(sea_levels=[level], depths_below="old level")
    spot = {"of": "floor", "rank": 1, "height_m": -3.26, "height_sd_m": 0.02}
    rows = [spot | {"geometry": shapely.Point(E + 2, N + 2, 0)}]
    texts = []
    for vertical in ("heights", "depths"):
        made = content([three_d(HUT.exterior)], site=told, scale=100, vertical=vertical)
        made = replace(made, spots=layer("spot_heights", rows))
        texts += [one.text for one in plan_set(made, "plan")[0].labels if one.role == "spot"]
    assert texts == ["−3.26", "2.3"]


def test_labels_far_apart_are_never_asked_about():
    """What is taken is found by its square of paper: a label meets its near ones alone."""
    layout = lay_out((0, 0, 400, 200), "A0", 500)
    placing = Placing(layout, NO_LINES)
    for x in np.linspace(-100, 500, 60):
        placing.take(shapely.box(x, 50, x + 4, 52))
    assert not placing.is_untaken(shapely.box(-100, 51, -99, 53))
    assert placing.is_untaken(shapely.box(-100, 53, 500, 54))
    assert max(map(len, placing._in_cell.values())) <= 3


def test_cutting_near_ones_is_cutting_all():
    """The same ground as with one union of everything (shapely)."""
    dice = np.random.default_rng(4)
    at = dice.uniform(0, 30, (60, 2))
    shapes = shapely.box(*at[:30].T, *(at[:30] + 3).T)
    others = shapely.box(*at[30:].T, *(at[30:] + 2).T)
    whole = shapely.union_all(others)
    for found, wanted in (
        (less(shapes, others), shapely.difference(shapes, whole)),
        (common(shapes, others), shapely.intersection(shapes, whole)),
    ):
        assert shapely.area(shapely.symmetric_difference(found, wanted)).max() < 1e-9


def test_coordinates_along_the_frame_keep_within_it():
    """Grid coordinates beside a corner turn inwards, so they meet no title block."""
    for shift in np.linspace(0, 4.5, 4):
        wall = three_d(shapely.LineString([(E + shift, N + shift), (E + 50 + shift, N + shift)]))
        planned = plan_set(content([wall], reader="diver", paper="A4"), "plan")[0]
        with mpl.rc_context({"figure.dpi": 72, "text.hinting": "none"}):
            figure = draw_sheet(planned)
            FigureCanvasAgg(figure).draw()
            axes = figure.axes[0]
            for label in axes.get_xticklabels():
                box, frame = label.get_window_extent(), axes.bbox
                assert frame.x0 - 1 <= box.x0 <= box.x1 <= frame.x1 + 1
            ends = [label.get_window_extent() for label in axes.get_xticklabels()]
            assert all(one.x1 < other.x0 for one, other in pairwise(ends))
