"""What sheets say in a language: phrases, numbers, dates, own texts, and the letters for them."""

import ast
import datetime as dt
import re
import string
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import font_manager
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from wrackline.config import load_site
from wrackline.languages import texts_of
from wrackline.model import Translation
from wrackline.publish.sheets.fonts import family
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.words import WORDS
from wrackline.publish.words import CAUTION
from wrackline.quantities import fixed, measured
from wrackline.sources import language_json

ROOT = Path(__file__).parents[3]
SHEETS = ROOT / "scripts" / "wrackline" / "publish" / "sheets"
UK = yaml.safe_load((ROOT / "config" / "languages" / "uk.yaml").read_text(encoding="utf-8"))
UKRAINIAN = Language.of("uk", Translation.model_validate(UK))
ALPHABET = "абвгґдеєжзиіїйклмнопрстуфхцчшщьюя’"
"""The 33 letters of Ukrainian, and its apostrophe."""


def names_in(phrase):
    """Return the names in a phrase's braces."""
    return {name for _, name, *_ in string.Formatter().parse(phrase) if name is not None}


def test_english_is_built_in():
    """English says the phrases as they are written, and the caution of all products."""
    english = Language.english()
    assert english.say("page_of", number="2", count="5") == "2 of 5"
    assert english.say("caution") == CAUTION
    assert english.own("total station") == "total station"


def test_a_phrase_without_its_value_is_a_mistake():
    """A figure that was forgotten is never left out in silence."""
    with pytest.raises(KeyError, match="count"):
        Language.english().say("page_of", number="2")
    with pytest.raises(KeyError, match="no_such"):
        Language.english().say("no_such_phrase")


def test_values_with_braces_are_put_in_as_they_are():
    """A team's text may hold braces: it is never read as a phrase."""
    assert Language.english().say("trench", name="x") == "trench"
    assert Language.english().say("wall_phase", phase="{A}") == "wall of phase {A}"


@pytest.mark.parametrize("key", WORDS)
def test_the_demo_says_every_phrase_in_ukrainian(key):
    """Each phrase is there, has the English one's names, and says it in Cyrillic."""
    assert key in UK["words"]
    assert names_in(UK["words"][key]) == names_in(WORDS[key])
    said = " ".join(text for text, *_ in string.Formatter().parse(UK["words"][key]))
    latin = re.findall(r"[A-Za-z]+", said)
    assert set(latin) <= set(re.findall(r"[A-Z]+", WORDS[key])), "IGRF, R051-038 and the like alone"
    letters = {c for c in said.casefold() if c.isalpha()} - set("".join(latin).casefold())
    assert letters <= set(ALPHABET)


def test_the_demos_own_texts_are_all_translated():
    """Nothing that the demo's config lets sheets print stays English in Ukrainian."""
    site = load_site(ROOT)
    texts = texts_of(site.site, site.seasons.values())
    assert {site.site.name, site.site.credit, "total station", "early"} <= set(texts)
    assert [text for text in texts if UKRAINIAN.own(text) == text] == []
    assert site.notes == ()


@given(
    st.floats(-1e6, 1e6, allow_nan=False),
    st.integers(0, 4),
    st.sampled_from([".", ","]),
)
def test_numbers_are_those_of_all_products(value, digits, mark):
    """Only the mark and the minus differ from the figure that tables and pages print."""
    text = Language(decimal_mark=mark).number(value, digits)
    assert text.replace(mark, ".").replace("−", "-") == fixed(value, digits)
    assert "-" not in text


@pytest.mark.parametrize(
    ("value", "sd", "unit", "text"),
    [
        (3.417, 0.052, "m", "3,42 ± 0,05 м"),
        (-0.31, 0.012, "m", "−0,310 ± 0,012 м"),
        (23.4567, 0.312, "m2", "23,46 ± 0,31 м²"),
        (87.31, 0.42, "deg", "87,3 ± 0,4°"),
        (4.0, None, "m", "4,000 м"),
        (None, None, "m", "–"),
        (float("nan"), 0.1, "m", "–"),
        (12.5, 0.5, "", "12,5 ± 0,5"),
    ],
)
def test_figures_have_a_decimal_comma_where_it_belongs(value, sd, unit, text):
    """Ukrainian writes 3,42 м; how many digits is the sd's affair, as everywhere."""
    assert UKRAINIAN.figure(value, sd, unit) == text


@pytest.mark.parametrize(("value", "sd", "unit"), [(3.417, 0.052, "m"), (87.31, 0.42, "deg")])
def test_english_figures_are_those_of_tables(value, sd, unit):
    """The words for units are those that tables and pages print."""
    assert Language.english().figure(value, sd, unit) == measured(value, sd, unit)


def test_days_follow_the_pattern():
    """A day is turned; a year, or what is no day, stays as it was written."""
    assert UKRAINIAN.date("2033-06-09") == UKRAINIAN.date(dt.date(2033, 6, 9)) == "09.06.2033"
    assert UKRAINIAN.date("1986") == "1986"
    assert Language.english().date("2033-06-09") == "2033-06-09"


def test_steps_get_the_same_language():
    """What a rule hands to its step as JSON is the language that was read."""
    site = load_site(ROOT)
    assert Language.from_json(language_json(site, "uk")) == UKRAINIAN
    assert Language.from_json(language_json(site, "en")) == Language.english()
    own = Translation.model_validate({"language": "ქართული", "font": "fonts/own.ttf"})
    assert Language.of("ka", own).font == "config/fonts/own.ttf"


def test_a_font_of_ones_own_is_found_by_its_name():
    """A language's font file is made known under the name that it bears."""
    path = font_manager.findfont(FontProperties(family="DejaVu Serif"))
    assert family(Language("uk", font=path)) == "DejaVu Serif"
    assert family(UKRAINIAN) == "DejaVu Sans"


def wide(text):
    """Return how wide a text is drawn."""
    return (
        TextPath((0, 0), text, size=10, prop=FontProperties(family="DejaVu Sans"))
        .get_extents()
        .width
    )


def test_every_letter_is_drawn():
    """Each Ukrainian letter has a shape of its own; missing ones would share one box a script."""

    def shape(letter):
        path = TextPath((0, 0), letter, size=10, prop=FontProperties(family="DejaVu Sans"))
        return path.vertices.round(3).tobytes()

    letters = ALPHABET + ALPHABET.upper().replace("’", "")
    assert len({shape(letter) for letter in letters}) == len(letters) == 67
    assert shape("क") == shape("ख")  # Devanagari, which the font doesn't hold


def test_joined_letters_are_joined():
    """The installed matplotlib joins Arabic letters: three are narrower than three alone."""
    assert wide("ببب") < 0.9 * 3 * wide("ب")
    assert wide("www") == pytest.approx(3 * wide("w"), rel=0.1)


def test_every_phrase_is_said_by_some_sheet():
    """Nobody translates what no sheet prints: each key stands where sheets are made."""
    made = [path for path in SHEETS.glob("*.py") if path.stem != "words"]
    trees = [ast.parse(path.read_text("utf-8")) for path in made]
    nodes = [node for tree in trees for node in ast.walk(tree)]
    said = {node.value for node in nodes if isinstance(node, ast.Constant)}
    parts = [node.values for node in nodes if isinstance(node, ast.JoinedStr)]
    made_up = {
        "".join(re.escape(p.value) if isinstance(p, ast.Constant) else r"\w+" for p in part)
        for part in parts
    }
    made_up = {pattern for pattern in made_up if re.search("[a-z]{2}", pattern)}
    unsaid = [key for key in WORDS if not any(re.fullmatch(one, key) for one in made_up)]
    assert [key for key in unsaid if key not in said] == []
