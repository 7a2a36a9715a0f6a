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
    with pytest.raises(ConfigError, match="found:") as caught:
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
        ({"Plan 1": {}}, "a-z"),
    ],
)
def test_a_set_that_says_nonsense_is_refused(tmp_path, sheets, words):
    """Each with what it would take."""
    found = faults_of(site_with(tmp_path, sheets=sheets))
    assert any(words in f"{fault.found} {fault.allowed} {fault.remedy}" for fault in found), found
