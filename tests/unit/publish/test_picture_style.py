"""The common look of the pictures for the text: sizes in print, signs in grey, files."""

from itertools import combinations, pairwise

import matplotlib as mpl
import numpy as np
import pytest
from defusedxml import ElementTree
from PIL import Image
from printed_page import cut, drawn_texts, touching

from wrackline.publish.drawing_standards import points
from wrackline.publish.text_pictures.style import (
    COLUMN_MM,
    FILLS,
    PAGE_MM,
    SETTINGS,
    SMALL_PT,
    STROKES,
    Sign,
    draw_key,
    key_rows,
    page,
    save,
    statement_note,
    text_mm,
    wrapped,
)
from wrackline.publish.text_pictures.words import WORDS, say

NOTE = "A note of many words that has to be broken into lines, since a column is only so wide. " * 2
SVG = "{http://www.w3.org/2000/svg}"


def made(width_mm=COLUMN_MM, **more):
    """Return a picture of a panel, a key and a note."""
    with mpl.rc_context(SETTINGS):
        drawn = page(width_mm, 40.0, "A heading <of> words & signs", [NOTE], "What it shows & how")
        drawn.panel(10, 10, width_mm - 14, 20).plot([0, 1], [0, 1], **more)
        signs = [Sign(f"sign {k}", fill=dict(fill)) for k, fill in enumerate(FILLS)]
        draw_key(drawn, signs, 2.0, 40.0, width_mm - 4)
    return drawn


@pytest.mark.parametrize("width_mm", [COLUMN_MM, PAGE_MM])
def test_a_png_is_as_wide_as_stated(tmp_path, width_mm):
    """At 300 dots an inch of 25.4 mm, 88 mm are 1039 dots and 180 mm 2125; the file says so."""
    save(made(width_mm), [tmp_path / "a.png"])
    with Image.open(tmp_path / "a.png") as picture:
        assert abs(picture.width - width_mm / 25.4 * 300) < 1
        np.testing.assert_allclose(picture.info["dpi"], (300, 300), atol=0.1)
        assert picture.info["Title"] == "A heading <of> words & signs"
        assert "Software" not in picture.info


def test_an_svg_is_well_formed_and_told_in_words(tmp_path):
    """The SVG has its width in points, a role, a title and a description, and no date."""
    save(made(), [tmp_path / "a.svg"])
    tree = ElementTree.parse(tmp_path / "a.svg").getroot()
    assert tree.get("role") == "img"
    assert float(tree.get("width").removesuffix("pt")) == pytest.approx(88 * 72 / 25.4, abs=1e-3)
    assert tree.find(f"{SVG}title").text == "A heading <of> words & signs"
    assert tree.find(f"{SVG}desc").text == "What it shows & how"
    assert [child.tag for child in tree][:2] == [f"{SVG}title", f"{SVG}desc"]
    assert "dc:date" not in (tmp_path / "a.svg").read_text(encoding="utf-8")


def test_no_letter_needs_a_font(tmp_path):
    """Text is outlines: a reader without the font sees the same page."""
    save(made(), [tmp_path / "a.svg"])
    tree = ElementTree.parse(tmp_path / "a.svg").getroot()
    assert list(tree.iter(f"{SVG}text")) == []
    assert len(list(tree.iter(f"{SVG}use"))) > 100


def test_the_same_picture_has_the_same_bytes(tmp_path):
    """Also when somebody else has changed the drawing library's settings in between."""
    for name, size in (("one", 7), ("two", 13)):
        with mpl.rc_context({"font.size": size, "svg.hashsalt": name, "font.family": "serif"}):
            save(made(), [tmp_path / f"{name}.{kind}" for kind in ("svg", "png")])
    for kind in ("svg", "png"):
        assert (tmp_path / f"one.{kind}").read_bytes() == (tmp_path / f"two.{kind}").read_bytes()


def test_lines_break_at_the_measured_width():
    """No line is wider than the column; one word more would be; no word is lost."""
    lines = wrapped(NOTE, 60.0, SMALL_PT)
    assert " ".join(lines).split() == NOTE.split()
    assert all(text_mm(line, SMALL_PT) <= 60.5 for line in lines)
    for line, after in pairwise(lines):
        assert text_mm(f"{line} {after.split()[0]}", SMALL_PT) > 59.5
    assert wrapped("", 60.0, SMALL_PT) == []
    assert wrapped("unbreakable", 1.0, SMALL_PT) == ["unbreakable"]


def test_a_text_is_as_wide_as_it_is_drawn():
    """What is measured agrees with the drawn box within 2 % and a quarter of a millimetre."""
    for text, box in drawn_texts(made()):
        if "\n" not in text and text in " ".join(wrapped(NOTE, 86.0, SMALL_PT)):
            wide = box.width / made().figure.dpi * 25.4
            assert wide == pytest.approx(text_mm(text, SMALL_PT), rel=0.02, abs=0.25)


def test_keys_wrap_and_nothing_touches():
    """Eight signs need several rows in a column; no text touches another or is cut."""
    signs = [Sign(f"a sign of some words {k}", fill={}) for k in range(8)]
    rows = key_rows(signs, 84.0)
    assert [sign for row in rows for sign in row] == signs
    assert len(rows) > 2
    assert touching(made()) == []
    assert cut(made()) == []


def test_type_is_no_smaller_than_a_journal_prints():
    """Six points and more (common practice of journals, no source)."""
    assert min(SMALL_PT, SETTINGS["font.size"], SETTINGS["xtick.labelsize"]) >= 6
    assert points(25.4) == 72


def grey(colour):
    """Return the luma of a colour, 0 to 1 (ITU-R BT.709)."""
    rgb = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    return float(np.dot(rgb, [0.2126, 0.7152, 0.0722]))


def test_fills_and_strokes_stand_in_grey():
    """Any two fills differ by hatch or by 0.15 of lightness; any two strokes by their dashes."""
    for one, other in combinations(FILLS, 2):
        apart = abs(grey(one["facecolor"]) - grey(other["facecolor"]))
        assert one.get("hatch") != other.get("hatch") or apart > 0.15
    assert len({str(dashes) for _, dashes in STROKES}) == len(STROKES)
    assert all(grey(colour) < 0.65 for colour, _ in STROKES)


def test_the_statement_leaves_out_what_is_not_told():
    """Topics that a public edition leaves off are left off; the rest is one sentence."""
    about = {"surveyed": "2031", "credit": "nobody.", "depths": ""}
    assert statement_note(about, "vertical_datum", "depths", "surveyed", "credit") == (
        "Surveyed 2031; credit: nobody."
    )
    assert statement_note({}, "credit") == ""


def test_phrases_are_filled():
    """A phrase takes ready texts; one that is missing is a mistake of ours."""
    assert say("depth_no_floor", number="7") == "floors of 7"
    with pytest.raises(KeyError, match="number"):
        say("depth_no_floor")
    assert all(isinstance(text, str) and text for text in WORDS.values())
