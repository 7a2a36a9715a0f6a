"""The plan viewer's page: self-contained, harmless, valid, the same for the same things."""

import base64
import hashlib
import json
import re
from itertools import pairwise
from pathlib import Path

import pytest
from viewer_site import ABOUT, EAST, HOSTILE, NORTH, Parts, as_tree, hostile_viewer, viewer

from wrackline.publish.viewer import kinds as viewer_kinds
from wrackline.publish.viewer import page as module
from wrackline.publish.viewer.words import KINDS, LAYERS, TONES, WORDS

FOLDER = Path(module.__file__).parent
CODE = {name: (FOLDER / name).read_text(encoding="utf-8") for name in module.DATA_FILES}
SCRIPT = "".join(text for name, text in CODE.items() if name.endswith(".js"))


def data_of(page):
    """Return the data that stands in a page."""
    (held,) = [text for tag, attrs, text in Parts(page).code if attrs.get("id") == "data"]
    return json.loads(held)


def test_equal_input_gives_equal_bytes():
    """Two viewers of the same things are the same text."""
    assert viewer().html() == viewer().html()


def test_it_stands_alone():
    """Nothing is fetched: no address, no style or script elsewhere, pictures lie in the page."""
    page = viewer().html()
    assert "://" not in page
    assert "@import" not in page
    assert "url(" not in page
    asked = [value for _, attrs in Parts(page).seen for k, value in attrs.items() if k == "src"]
    assert asked == []
    assert [one["href"] for one in Parts(page).all("link")] == ["data:,"]


def test_the_script_has_no_way_to_ask_or_to_make_markup():
    """No sink that turns text into markup or code, and no way to ask a server, is in the script."""
    sinks = r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function"
    asks = r"\bfetch\b|XMLHttpRequest|sendBeacon|WebSocket|EventSource|\bimport\b|Worker"
    assert re.findall(rf"{sinks}|{asks}|setTimeout\(\s*[\"']", SCRIPT) == []


def test_the_policy_names_the_pages_own_code_by_its_hash():
    """Style and script stand in the policy as SHA-256 in base64 (W3C, CSP level 3, 2.3.1)."""
    page = viewer().html()
    (policy,) = [
        one["content"] for one in Parts(page).all("meta") if one.get("http-equiv") is not None
    ]
    for tag, attrs, text in Parts(page).code:
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        stated = f"{tag}-src 'sha256-{digest}'" in policy
        assert stated == (attrs.get("type") != "application/json")
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert "unsafe" not in policy


def test_hostile_texts_end_no_script():
    """Markup in notes and names is in the data as text; nothing of it is an element."""
    page = hostile_viewer().html()
    parts = Parts(page)
    assert [tag for tag, _, _ in parts.code] == ["style", "script", "script"]
    assert parts.all("img") == []
    assert [attrs for _, attrs in parts.seen if any(key.startswith("on") for key in attrs)] == []
    assert "\u202e" not in page
    (held,) = [text for _, attrs, text in parts.code if attrs.get("id") == "data"]
    assert "<" not in held
    (features,) = [one for one in data_of(page)["kinds"] if one["name"] == "features"]
    assert features["facts"]["note"]["text"] == [HOSTILE.replace("\u202e", "�")]


def test_the_page_is_well_formed_and_its_names_lead_somewhere():
    """Elements nest, each name stands once, and what labels or is controlled is there."""
    page = as_tree(viewer().html())
    names = [one.get("id") for one in page.iter() if one.get("id")]
    assert len(set(names)) == len(names)
    refer = ("aria-controls", "aria-labelledby", "aria-describedby")
    named = [one.get(key) for one in page.iter() for key in refer if one.get(key)]
    assert set(named) <= set(names)
    assert page.get("lang") == "en"
    assert next(one.tag for one in page.iter() if re.fullmatch(r"h\d", one.tag)) == "h1"


def test_caution_and_statement_are_in_it():
    """The caution is there before any script runs; units, datum, dates, credit are in the data."""
    page = viewer().html()
    (caution,) = [one for one in as_tree(page).iter("p") if one.get("class") == "caution"]
    assert caution.text == ABOUT["caution"]
    told = dict(data_of(page)["about"] + data_of(page)["place"]["about"])
    for topic in ("units", "vertical_datum", "depths", "surveyed", "credit", "crs"):
        assert ABOUT[topic] in told.values()


def test_what_gives_the_place_away_stands_in_one_object():
    """Without the object `place` no coordinate, CRS or datum is left in the data."""
    data = data_of(viewer().html())
    place = data.pop("place")
    assert (place["easting"], place["northing"]) == (EAST - 6, NORTH - 7)
    left = json.dumps(data)
    for text in (ABOUT["crs"], ABOUT["vertical_datum"], place["crs_name"], "32439", "420759"):
        assert text not in left
    assert not re.search(r"\b(3244\d\d|42076\d\d)", left)


def test_every_word_is_used_and_there():
    """The script asks for no word that isn't there, and none is there that nobody asks for."""
    asked = set(re.findall(r"\bwords\.(\w+)", SCRIPT))
    python = (FOLDER / "page.py").read_text(encoding="utf-8")
    asked |= set(re.findall(r'WORDS\["(\w+)"\]', python))
    asked |= {f"tab_{name}" for name in ("layers", "figures", "about")}
    asked |= set(re.findall(r'\bact\("(\w+)"', SCRIPT))
    asked |= {key for row in re.findall(r"heads = \[([^\]]*)\]", SCRIPT) for key in words(row)}
    assert asked <= set(WORDS), asked - set(WORDS)
    assert set(WORDS) <= asked, set(WORDS) - asked


def words(row):
    """Return the texts of a list in the script."""
    return re.findall(r'"(\w+)"', row)


@pytest.mark.parametrize("name", ["LAYERS", "KINDS"])
def test_layers_and_kinds_have_words_and_signs(name):
    """Every layer has a sign in the script, and every kind is called something."""
    if name == "KINDS":
        assert {kind.name for kind in viewer_kinds.KINDS} == set(KINDS)
        return
    signs = SCRIPT[SCRIPT.index("const SIGNS") : SCRIPT.index("const VEIL")]
    drawn = set(re.findall(r"^  (\w+): \{", signs, re.MULTILINE)) - {"passages"}
    assert drawn == set(LAYERS) - {"relief", "grid", "numbers"}
    assert {"room", "court", "lane", "unknown", "come", "gone"} <= set(TONES)


def test_scripts_have_short_functions():
    """No function or method of the script is longer than 60 lines, as elsewhere in the project."""
    for name, text in CODE.items():
        starts = [m.start() for m in re.finditer(r"^(function|  \w+\(.*\) \{|class)", text, re.M)]
        sizes = [text[a:b].count("\n") for a, b in pairwise([*starts, len(text)])]
        assert max(sizes, default=0) <= 60, name
