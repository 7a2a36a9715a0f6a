"""Sketches of surveys: thinned while they are read, in the site's CRS, drawn within a frame."""

import time
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import shapely
from trial_site import SITE, sketches, survey, write_items, write_points

from wrackline.accuracy import sketch_pictures as pictures
from wrackline.accuracy.sketches import (
    MOST_DOTS,
    MOST_SOUNDINGS,
    MOST_VERTICES,
    Sketch,
    Thinner,
    sketch_survey,
    thin,
)

BED = survey("bed", "bed_points")


@pytest.mark.parametrize("count", [0, 1, 1000, 60_000])
def test_thinning_keeps_within_bounds(count):
    """Of points spread out, no more than asked for are kept, and no fewer than a third of that."""
    xy = np.random.default_rng(1).uniform(0, 100, (count, 2))
    kept = thin(xy, 900)
    assert min(count, 300) <= len(kept) <= 900
    assert {tuple(p) for p in kept} <= {tuple(p) for p in xy}


def test_thinning_is_even():
    """Where points are a hundred times denser, about as many a square metre are kept as beside."""
    rng = np.random.default_rng(2)
    dense, sparse = rng.uniform(0, 50, (99_000, 2)), rng.uniform(50, 100, (1000, 2))
    kept = thin(np.vstack([dense, sparse]), 400)
    share = (kept[:, 0] < 50).mean()
    assert 0.35 < share < 0.65


def test_a_stray_point_does_not_coarsen_the_rest():
    """One point 1000 km off is kept, and hundreds of the others too."""
    xy = np.random.default_rng(3).uniform(0, 100, (5000, 2))
    kept = thin(np.vstack([xy, [[1e6, 1e6]]]), 1500)
    assert len(kept) > 500
    assert kept[:, 0].max() == 1e6


def test_chunks_keep_within_bounds():
    """Taken in many chunks, points that move across the ground stay within the bounds."""
    thinner = Thinner(500)
    for east in range(100):
        xy = np.random.default_rng(east).uniform((10 * east, 0), (10 * east + 10, 10), (200, 2))
        thinner.take(np.column_stack([xy, xy[:, 0]]))
    assert 160 <= len(thinner.kept) <= 500
    assert np.ptp(thinner.kept[:, 0]) > 950


def test_points_without_a_number_are_passed_over():
    """A point without easting is no dot."""
    assert len(thin(np.array([[np.nan, 1.0], [2.0, 3.0]]), 5)) == 1


def test_bed_points_become_dots_and_soundings(tmp_path):
    """Depths below the datum become heights; dots lie where the file has them."""
    table = write_points(tmp_path / "p.parquet", [1.0, 9.0], [2.0, 8.0], [3.0, 4.0])
    meant = {"meaning": "depth_below_datum", "datum_height_m": 0.5}
    made = sketch_survey("2031-bed", survey("bed", "bed_points", vertical=meant), table, SITE)
    assert made.soundings.tolist() == [[1.0, 2.0, -2.5], [9.0, 8.0, -3.5]]
    assert made.dots.tolist() == [[1.0, 2.0], [9.0, 8.0]]


def test_depths_without_their_water_level_are_no_soundings(tmp_path):
    """Where the record of the water's level is missing, dots stay, and no depth is told."""
    table = write_points(tmp_path / "p.parquet", [1.0], [2.0], [3.0], time=[0.0])
    meant = {"meaning": "depth_below_water", "water_level": str(tmp_path / "none.csv")}
    given = survey("bed", "bed_points", vertical=meant, columns={"time": "t"})
    made = sketch_survey("2031-bed", given, table, SITE)
    assert len(made.dots) == 1
    assert len(made.soundings) == 0


def test_a_local_grid_is_placed(tmp_path):
    """A grid turned by a quarter and set at (100, 200) puts (10, 0) at (100, 210)."""
    marks = [
        {"point": "A", "local": [0, 0], "site": [100, 200]},
        {"point": "B", "local": [10, 0], "site": [100, 210]},
    ]
    grid = {"points": marks, "control_sd_m": 0.01}
    given = survey(crs=None, local_grid=grid)
    table = write_items(tmp_path / "i.parquet", [shapely.LineString([(0, 0), (10, 0)])])
    made = sketch_survey("2031-walls", given, table, SITE)
    np.testing.assert_allclose(made.paths[0], [[100, 200], [100, 210]], atol=1e-9)


def test_items_become_dots_lines_and_rings(tmp_path):
    """Points are dots; lines and both rings of an outline with a hole are paths."""
    ring = shapely.Point(5, 5).buffer(3).difference(shapely.Point(5, 5).buffer(1))
    shapes = [shapely.Point(1, 2), shapely.LineString([(0, 0), (1, 1)]), ring]
    made = sketch_survey("2031-walls", survey(), write_items(tmp_path / "i.parquet", shapes), SITE)
    assert made.dots.tolist() == [[1.0, 2.0]]
    assert len(made.paths) == 3


@pytest.mark.parametrize(("lines", "vertices"), [(1, 50_000), (5000, 2)])
def test_paths_keep_within_bounds(tmp_path, lines, vertices):
    """One line of many vertices is simplified; of many lines of two vertices some are left out."""
    rng = np.random.default_rng(4)
    steps = rng.normal(0, 1, (lines, vertices, 2)).cumsum(axis=1)
    table = write_items(tmp_path / "i.parquet", shapely.linestrings(steps))
    made = sketch_survey("2031-walls", survey(), table, SITE)
    assert 100 < sum(map(len, made.paths)) <= MOST_VERTICES


def test_nothing_read_gives_an_empty_sketch(tmp_path):
    """The empty table of a faulty survey, of either sort, is a sketch without a place."""
    bed = write_points(tmp_path / "p.parquet", [], [], [])
    items = write_items(tmp_path / "i.parquet", [])
    assert len(sketch_survey("2031-bed", BED, bed, SITE).places) == 0
    assert len(sketch_survey("2031-walls", survey(), items, SITE).places) == 0


def test_two_million_points_take_seconds(tmp_path):
    """Two million points are sketched in less than 3 s (measured: about 1 s)."""
    rng = np.random.default_rng(5)
    x, y, v = rng.uniform(0, 300, (3, 2_000_000))
    table = write_points(tmp_path / "p.parquet", x, y, v)
    start = time.process_time()
    made = sketch_survey("2031-bed", BED, table, SITE)
    assert time.process_time() - start < 3
    assert MOST_DOTS / 3 <= len(made.dots) <= MOST_DOTS
    assert MOST_SOUNDINGS / 3 <= len(made.soundings) <= MOST_SOUNDINGS


def test_the_frame_leaves_out_what_lies_far_off():
    """A survey 80 km away doesn't shrink the others to a dot; alone, it is what is shown."""
    far = Sketch("2031-far", dots=np.array([[80_000.0, 0.0], [80_010.0, 5.0]]))
    frame = pictures.frame_of([*sketches(), far], [])
    assert frame.east < 100
    assert frame.shows(np.array([[20.0, 15.0]])).all()
    assert pictures.frame_of([far], []).shows(far.dots).all()


def test_places_in_a_picture():
    """The frame's corners are the corners of the ground in the picture, north up."""
    frame = pictures.Frame(0, 0, 100, 60)
    corner = frame.to_picture(np.array([[0.0, 60.0], [100.0, 0.0]]))
    assert corner[0].tolist() == [pictures.LEFT, pictures.TOP]
    assert corner[1].tolist() == pytest.approx([pictures.WIDTH - pictures.RIGHT, frame.foot])


def drawing(marks):
    """Return the root of a picture of the trial site with marks."""
    frame = pictures.frame_of(sketches(), [])
    return ET.fromstring(pictures.picture(frame, count=3, own=0, marks=marks))  # noqa: S314


def words(root):
    """Return the texts in a picture."""
    return [text.text for text in root.iter() if text.tag.endswith("text")]


def test_a_picture_has_scale_north_and_coordinates():
    """A picture is well-formed and names a length, north, eastings and northings."""
    texts = words(drawing([]))
    assert "10 m" in texts
    assert "grid north" in texts
    assert {"0", "20", "40"} <= set(texts)


def test_labels_beside_each_other_do_not_overlap():
    """Twelve marks in a row, 2 m apart, get labels that don't cover each other."""
    marks = [pictures.Mark(str(k), (8 + 2.0 * k, 15.0)) for k in range(1, 13)]
    rects = [
        [float(rect.get(key)) for key in ("x", "y", "width", "height")]
        for group in drawing(marks).iter()
        if group.get("class") == "mark"
        for rect in group
        if rect.tag.endswith("rect")
    ]
    boxes = [shapely.box(x, y, x + w, y + h) for x, y, w, h in rects]
    assert len(boxes) == 12
    crossing = [a.intersects(b) for k, a in enumerate(boxes) for b in boxes[:k]]
    assert not any(crossing)


def test_marks_at_one_place_share_a_label():
    """Three suspicions at one place stand in one label, a fault there in its own."""
    marks = [pictures.Mark(str(k), (20.0, 15.0)) for k in (3, 4, 5)]
    texts = words(drawing([*marks, pictures.Mark("1", (20.0, 15.0), "fault")]))
    assert {"3–5", "1"} <= set(texts)


def test_a_mark_outside_is_an_arrow_at_the_edge():
    """A place far to the east is shown by an arrow at the right edge, labelled inside."""
    root = drawing([pictures.Mark("7", (5000.0, 15.0))])
    arrows = [p.get("transform") for p in root.iter() if p.get("d", "").startswith("M0 0l")]
    assert arrows == ["translate(432 " + arrows[0].split()[1].removesuffix(")") + ") rotate(0)"]
    assert "7" in words(root)


def luminance(colour):
    """Return the relative luminance of a colour #rgb or #rrggbb (WCAG 2.2)."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    parts = np.array([int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    """Return the contrast ratio of two colours (WCAG 2.2)."""
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


def test_tones_can_be_told_apart_in_grey():
    """Texts have a contrast of 4.5, own and pale of 3 (WCAG 2.2, criteria 1.4.3 and 1.4.11)."""
    assert contrast("#fff", "#000000") == pytest.approx(21)
    assert contrast(pictures.LABELS["fault"]["fill"], "#fff") > 4.5
    assert contrast(pictures.LABELS["suspicion"]["fill"], pictures.INK) > 4.5
    assert contrast(pictures.OWN["stroke"], pictures.PALE["stroke"]) > 3
    assert pictures.LABELS["fault"]["rx"] != pictures.LABELS["suspicion"]["rx"]
