"""Sets of sheets in the config: what is taken, and what is refused with the nearest right name."""

import shutil
from pathlib import Path

import pytest
import yaml

from wrackline.config import load_site
from wrackline.errors import ConfigError

ROOT = Path(__file__).parents[3]


def site_with(tmp_path, **keys):
    """Return a copy of the demo's config with some keys of site.yaml put in their place."""
    shutil.copytree(ROOT / "config", tmp_path / "config")
    path = tmp_path / "config" / "site.yaml"
    content = yaml.safe_load(path.read_text(encoding="utf-8")) | keys
    content = {key: value for key, value in content.items() if value is not None}
    path.write_text(yaml.safe_dump(content, allow_unicode=True, sort_keys=False), encoding="utf-8")
    return tmp_path


def faults_of(folder):
    """Return the faults of a config."""
    with pytest.raises(ConfigError, match=r"site\.yaml") as caught:
        load_site(folder)
    return caught.value.faults


def test_without_sheets_there_is_one_of_the_whole_site(tmp_path):
    """Whoever asks for nothing gets the plan on A1."""
    sheets = load_site(site_with(tmp_path, sheets=None)).site.sheets
    assert [(name, one.shows, one.paper, one.scale) for name, one in sheets.items()] == [
        ("plan", "site", "A1", None)
    ]


def test_the_one_sheet_of_older_configs_becomes_the_set_plan(tmp_path):
    """`sheet`, as configs had it, is taken for the set of that name."""
    older = {"sheets": None, "sheet": {"paper": "A2", "scale": 1000}}
    sheets = load_site(site_with(tmp_path, **older)).site.sheets
    assert [(name, one.paper, one.scale) for name, one in sheets.items()] == [("plan", "A2", 1000)]


def test_a_language_without_a_file_and_a_picture_that_is_none_are_named_at_once(tmp_path):
    """Both faults in one go, each with what there is instead."""
    sheets = {
        "one": {"language": "xx"},
        "two": {"picture": "2033-photo_mosiac"},
        "three": {"picture": "2031-walls"},
    }
    found = faults_of(site_with(tmp_path, sheets=sheets))
    assert {fault.file for fault in found} == {"config/site.yaml"}
    assert "xx" in found[0].found
    assert "uk" in found[0].allowed
    assert [fault.kind for fault in found[1:]] == ["no_such_picture"] * 2
    assert "2033-photo_mosaic" in found[1].allowed
    assert "holds no picture" in found[2].found


@pytest.mark.parametrize(
    ("sheets", "words"),
    [
        ({"a": {"depths_below": "high tide"}}, "mean sea level 2021-2030"),
        ({"a": {"shows": "tiles", "only": ["B001-001"]}}, "shows tiles"),
        ({"a": {"papre": "A3"}}, "paper"),
        ({"a": {"scale": 5}}, "10"),
        ({"a": {"scale": "1:500"}}, "here 500"),
        ({"a": {"scale": "1/200"}}, "here 200"),
        ({"Plan 1": {}}, "a-z"),
    ],
)
def test_a_set_that_says_nonsense_is_refused(tmp_path, sheets, words):
    """Each with what it would take."""
    found = faults_of(site_with(tmp_path, sheets=sheets))
    assert any(words in f"{fault.found} {fault.allowed} {fault.remedy}" for fault in found), found


@pytest.mark.parametrize(("written", "read", "to_write"), [("1:50", 110, 50), ("1:20", 80, 20)])
def test_a_scale_that_yaml_counts_by_sixties_is_refused(tmp_path, written, read, to_write):
    """YAML 1.1 has integers in base 60: `190:20:30` is an example of yaml.org/type/int.html."""
    assert yaml.safe_load("190:20:30") == 190 * 3600 + 20 * 60 + 30
    folder = site_with(tmp_path, sheets={"a": {"scale": 50}})
    path = folder / "config" / "site.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("scale: 50", f"scale: {written}"))
    (fault,) = faults_of(folder)
    line = path.read_text(encoding="utf-8").splitlines()[fault.row - 1]
    assert fault.kind == "number_by_sixties"
    assert written in line
    assert str(read) in fault.found
    assert f"scale: {to_write} " in fault.remedy


def test_texts_that_may_tell_a_place_that_is_left_out_are_named_in_a_run(tmp_path):
    """A title or technique with the site's name in it goes on to the sheet: the run says so."""
    sheets = {
        "open": {"place": "left_out", "title": "Walls of Ebbrune"},
        "team": {"title": "Walls of Callowmer"},
    }
    folder = site_with(tmp_path, sheets=sheets)
    season = folder / "config" / "seasons" / "2031.yaml"
    text = season.read_text(encoding="utf-8")
    wanted = "total station, divers holding the pole"
    assert wanted in text
    season.write_text(text.replace(wanted, "total station on Callowmer light"), encoding="utf-8")
    notes = [note for note in load_site(folder).notes if "place is left out" in note]
    assert any("sheets.open.title" in note and "'ebbrune'" in note for note in notes)
    assert any("technique of 2031-walls" in note and "'callowmer'" in note for note in notes)
    assert not any("team" in note for note in notes)


def test_the_demo_says_nothing_on_its_sheet_without_the_place():
    """Its own texts hold none of its names."""
    assert not [note for note in load_site(ROOT).notes if "place is left out" in note]
