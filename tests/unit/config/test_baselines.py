"""What others are held against: a survey of bed points that stands as it was measured."""

import pytest

from sites import survey, write_site
from wrackline.config import load_site
from wrackline.errors import ConfigError

OFFSET = {"height_m": -0.08, "sd_m": 0.004, "replaces": ["antenna"], "why": "against the line"}
SOURCES = {name: {"kind": "shift", "height_sd_m": 0.02} for name in ("level", "link", "antenna")}
LINKS = [{"zero": "old zero", "height_m": 0.4, "error_source": "link"}]
VERTICAL = {"meaning": "height", "zero": "old zero"}


def loaded(folder, *, photo=None, line=None, walls=None, **seabed):
    """Write a site of a levelled line, a photo model with an applied offset, and walls."""
    surveys = [
        survey("line", "a.csv", "bed_points", error_sources=["level"], **(line or {})),
        survey(
            "photo",
            "b.laz",
            "bed_points",
            error_sources=["antenna"],
            applied_offset=OFFSET | (photo or {}),
        ),
        survey("walls", "c.gpkg", "wall_lines", **(walls or {})),
    ]
    write_site(folder, {"2031": surveys}, error_sources=SOURCES, height_links=LINKS, seabed=seabed)
    return load_site(folder)


def test_a_corrected_survey_rests_on_what_it_was_measured_against(tmp_path):
    """The line's benchmark, and the link from the zero of its heights, come in by themselves."""
    line = {"vertical": VERTICAL}
    config = loaded(tmp_path, photo={"against": "2031-line"}, line=line, baseline="2031-line")
    photo = config.surveys["2031-photo"]
    assert photo.applied_offset.rests_on == ["level", "link"]
    assert photo.resting_on == ["antenna", "level", "link"]
    assert config.surveys["2031-line"].resting_on == ["level"]


@pytest.mark.parametrize("name", ["2031-lin", "2031-walls", "2031-photo", "nobody"])
def test_what_is_no_other_survey_of_bed_points_is_refused(tmp_path, name):
    """Misspelt, walls, itself, or nothing like it: the fault names those that would do."""
    with pytest.raises(ConfigError, match="unknown_baseline") as caught:
        loaded(tmp_path, photo={"against": name})
    (fault,) = caught.value.faults
    assert fault.survey == "2031-photo"
    assert fault.allowed.endswith("as <season>-<name>: 2031-line")


def test_a_misspelt_baseline_is_refused_with_the_nearest_name(tmp_path):
    """The site's own key is held against the seasons' surveys."""
    with pytest.raises(ConfigError, match="unknown_baseline") as caught:
        loaded(tmp_path, baseline="2031-lines")
    assert caught.value.faults[0].file == "config/site.yaml"
    assert caught.value.faults[0].remedy == "did you mean '2031-line'?"


def test_corrections_in_a_chain_are_refused(tmp_path):
    """What was itself corrected is no baseline."""
    line = {"applied_offset": {"height_m": 0.1, "sd_m": 0.0, "why": "because"}}
    with pytest.raises(ConfigError, match="chained_offset"):
        loaded(tmp_path, photo={"against": "2031-line"}, line=line)


@pytest.mark.parametrize(
    ("photo", "walls", "words"),
    [
        ({"tilt_east_mm_per_m": 0.3}, None, "a tilt needs its pivot"),
        (None, {"applied_offset": OFFSET | {"against": "2031-line"}}, "for bed points alone"),
        ({"rests_on": ["nobody"]}, None, "nobody"),
    ],
)
def test_offsets_that_say_too_little_or_too_much_are_refused(tmp_path, photo, walls, words):
    """A tilt without its pivot, walls held against a bed, a source that nobody named."""
    with pytest.raises(ConfigError, match=words):
        loaded(tmp_path, photo=photo, walls=walls)
