"""A new site starts from a config that already validates."""

import re

import pytest

from wrackline.config import load_site
from wrackline.errors import ConfigError
from wrackline.model import Season, Site
from wrackline.starter import SEASON_YAML, SITE_YAML, create


def test_the_created_config_validates(tmp_path):
    """What `create` writes loads at once: one wall survey and one of soundings."""
    folder = tmp_path / "deep" / "site"
    paths = create(folder)
    loaded = load_site(folder)
    assert [survey.holds for survey in loaded.surveys.values()] == ["wall_lines", "bed_points"]
    assert all(path.is_file() for path in paths)
    assert len(paths) == 3


def test_every_file_that_the_config_names_is_explained(tmp_path):
    """The note in data/ tells of each file that the config expects."""
    create(tmp_path)
    note = (tmp_path / "data" / "README.txt").read_text(encoding="utf-8")
    for survey in load_site(tmp_path).surveys.values():
        for path in filter(None, (survey.file, survey.vertical.water_level)):
            assert path.removeprefix("data/") in note


def test_every_required_key_of_a_site_and_a_season_is_there():
    """What can't be left out stands in the started files."""
    for model, text in ((Site, SITE_YAML), (Season, SEASON_YAML)):
        for name, field in model.model_fields.items():
            assert not field.is_required() or re.search(rf"^{name}:", text, re.MULTILINE)


@pytest.mark.parametrize("name", ["config/site.yaml", "config/seasons/2031.yaml"])
def test_an_existing_config_is_never_overwritten(tmp_path, name):
    """Where a config is, the message names it and the way out, and nothing is written."""
    path = tmp_path / name
    path.parent.mkdir(parents=True)
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(ConfigError, match=rf"{name}.*(\n.*)*another folder"):
        create(tmp_path)
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == [path]
    assert path.read_text(encoding="utf-8") == "mine"


def test_a_note_of_the_team_in_data_is_left_alone(tmp_path):
    """A data/README.txt that is already there stays as it is."""
    note = tmp_path / "data" / "README.txt"
    note.parent.mkdir()
    note.write_text("mine", encoding="utf-8")
    assert note not in create(tmp_path)
    assert note.read_text(encoding="utf-8") == "mine"


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    """A file can't become a site."""
    path = tmp_path / "site"
    path.touch()
    with pytest.raises(ConfigError, match="where the site's folder should be"):
        create(path)
