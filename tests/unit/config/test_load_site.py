"""A site's config is read whole, or everything that is wrong with it is named at once."""

import textwrap
from pathlib import Path

import pytest

from wrackline import config
from wrackline.config import load_site
from wrackline.errors import ConfigError, error_from_dict
from wrackline.survey_names import season_of

SITE = """\
schema_version: 1
name: A site
crs: EPSG:32625
vertical_datum: a datum
origin: [0, 0]
sea_levels:
  - {name: msl, height_m: 0.0}
depths_below: msl
error_sources:
  benchmark_1: {kind: shift, height_sd_m: 0.02}
"""

SEASON = """\
schema_version: 1
season: "2031"
surveys:
  - name: walls
    technique: pole
    holds: wall_lines
    file: data/walls.gpkg
    crs: EPSG:32625
    from_date: 2031-06-01
    to_date: 2031-06-02
    vertical: {meaning: height}
    random_horizontal_sd_m: 0.03
    random_vertical_sd_m: 0.03
    error_sources: [benchmark_1]
"""


@pytest.fixture
def site(tmp_path):
    """Return a function that writes a site's config, changed by replacements, and reads it."""

    def write(*, in_site=(), in_season=(), season_file="2031.yaml"):
        folder = tmp_path / "config" / "seasons"
        folder.mkdir(parents=True)
        for text, changes, path in (
            (SITE, in_site, folder.parent / "site.yaml"),
            (SEASON, in_season, folder / season_file),
        ):
            for old, new in changes:
                assert old in text
                text = text.replace(old, new)  # noqa: PLW2901
            path.write_text(text, encoding="utf-8")
        return tmp_path

    return write


def faults_of(folder: Path):
    """Return the faults that loading raises."""
    with pytest.raises(ConfigError, match="found:") as caught:
        load_site(folder)
    assert caught.value.exit_code == 2
    return caught.value.faults


def test_a_plain_site_is_read(site):
    """Surveys bear season and name; defaults are filled in; a quoted year stays text."""
    loaded = load_site(site())
    assert list(loaded.surveys) == ["2031-walls"]
    assert loaded.surveys["2031-walls"].line_follows == "face"
    assert loaded.site.seabed.cell_m == 0.5
    assert loaded.vector_surveys == ["2031-walls"]
    assert loaded.point_surveys == []


def test_a_bare_year_is_a_fine_season_name(site):
    """`season: 2031` without quotes means the same."""
    assert list(load_site(site(in_season=[('"2031"', "2031")])).seasons) == ["2031"]


def test_a_byte_order_mark_does_no_harm(site):
    """A file saved by an editor that writes a byte order mark is read all the same."""
    assert load_site(site(in_site=[("schema_version", "\ufeffschema_version")])).site.name


def test_an_unknown_key_is_refused_with_the_nearest_named(site):
    """A misspelt key is found with its line, and the right one is offered."""
    (fault,) = faults_of(
        site(
            in_season=[("random_vertical_sd_m", "random_vertcal_sd_m: 1\n    random_vertical_sd_m")]
        )
    )
    assert fault.kind == "unknown_key"
    assert "surveys.walls.random_vertcal_sd_m" in fault.found
    assert "'random_vertical_sd_m'" in fault.remedy
    assert (fault.file, fault.row) == ("config/seasons/2031.yaml", 13)


def test_an_unknown_key_in_an_inner_block_is_compared_with_that_block(site):
    """The nearest key is looked for where the wrong one stands."""
    (fault,) = faults_of(site(in_site=[("depths_below", "seabed: {cel_m: 1}\ndepths_below")]))
    assert "'cell_m'" in fault.remedy
    assert fault.row == 8


def test_an_unknown_key_like_no_other_is_refused_too(site):
    """Where nothing is near, the message says where keys are listed."""
    (fault,) = faults_of(site(in_site=[("depths_below", "zzz: 1\ndepths_below")]))
    assert "config/README.md" in fault.remedy


def test_a_repeated_key_is_refused(site):
    """A key given twice is named with the line of the second."""
    (fault,) = faults_of(site(in_site=[("origin: [0, 0]", "origin: [0, 0]\norigin: [1, 1]")]))
    assert (fault.kind, fault.row) == ("repeated_key", 6)
    assert "'origin'" in fault.found


def test_text_that_is_no_yaml_is_refused(site):
    """Broken YAML is named with its line."""
    (fault,) = faults_of(site(in_site=[("origin: [0, 0]", "origin: [0, 0\nx: ]}")]))
    assert fault.kind == "not_yaml"
    assert fault.row in (5, 6)


@pytest.mark.parametrize("text", ["? [a, b]\n: 1\n", "&a {a: *a}\n"])
def test_yaml_beyond_plain_keys_is_a_fault_and_no_crash(site, text):
    """A list as key and a block that holds itself are named as faults of the config."""
    folder = site()
    (folder / "config" / "site.yaml").write_text(text, encoding="utf-8")
    assert {fault.file for fault in faults_of(folder)} == {"config/site.yaml"}


def test_a_tab_is_refused_as_such(site):
    """A tab for indentation is a fault of the YAML, with blanks as the way out."""
    (fault,) = faults_of(site(in_season=[("    technique", "\ttechnique")]))
    assert fault.kind == "not_yaml"
    assert "blanks instead of tabs" in fault.allowed


@pytest.mark.parametrize(("text", "kind"), [("", "empty_config"), ("- a\n- b\n", "not_a_mapping")])
def test_an_empty_file_and_a_list_are_refused(site, text, kind):
    """What holds no keys is named as such."""
    folder = site()
    (folder / "config" / "site.yaml").write_text(text, encoding="utf-8")
    assert [fault.kind for fault in faults_of(folder)] == [kind]


def test_a_missing_site_file_names_the_way_to_start(tmp_path):
    """A folder without config is told how to start one."""
    (fault, *_) = faults_of(tmp_path)
    assert fault.kind == "config_missing"
    assert "make new" in fault.remedy


def test_a_site_without_seasons_is_refused(site):
    """There must be one season at least."""
    folder = site()
    (folder / "config" / "seasons" / "2031.yaml").unlink()
    assert [fault.kind for fault in faults_of(folder)] == ["no_season"]


def test_a_file_that_is_not_utf8_is_refused(site):
    """A file in another encoding is named with the remedy."""
    folder = site()
    (folder / "config" / "site.yaml").write_bytes("name: Müle".encode("latin-1"))
    (fault,) = faults_of(folder)
    assert fault.kind == "config_unreadable"
    assert "UTF-8" in fault.remedy


def test_a_decimal_comma_is_refused_with_the_point_as_remedy(site):
    """`0,03` is no number; the message shows it and asks for a point."""
    (fault,) = faults_of(
        site(in_season=[("random_horizontal_sd_m: 0.03", "random_horizontal_sd_m: 0,03")])
    )
    assert "'0,03'" in fault.found
    assert "decimal point" in fault.remedy
    assert fault.row == 12


@pytest.mark.parametrize("value", ["-0.1", ".nan", ".inf", "5 cm"])
def test_an_sd_must_be_a_number_from_zero(site, value):
    """Negative, endless and no-number sds are refused, as is a unit."""
    change = ("random_vertical_sd_m: 0.03", f"random_vertical_sd_m: {value}")
    (fault,) = faults_of(site(in_season=[change]))
    assert "surveys.walls.random_vertical_sd_m" in fault.found


@pytest.mark.parametrize("path", ["/data/walls.gpkg", "../walls.gpkg", "data/../../walls.gpkg"])
def test_a_path_outside_the_site_is_refused(site, path):
    """Files lie in the site's folder, so that it can be rebuilt from there alone."""
    (fault,) = faults_of(site(in_season=[("data/walls.gpkg", path)]))
    assert fault.kind == "outside_the_site"
    assert path in fault.found
    assert fault.survey == "2031-walls"


def test_a_misnamed_season_is_refused(site):
    """A season's key and its file's name are the same."""
    (fault,) = faults_of(site(season_file="2032.yaml"))
    assert fault.kind == "season_misnamed"
    assert "2032" in fault.allowed


def test_an_unknown_error_source_is_refused_with_the_nearest(site):
    """A survey can't rest on a source that site.yaml doesn't list."""
    (fault,) = faults_of(site(in_season=[("[benchmark_1]", "[benchmark1]")]))
    assert fault.kind == "unknown_error_source"
    assert "'benchmark_1'" in fault.remedy


def test_a_missing_key_is_named_with_its_meaning(site):
    """What is required and left out is named, with what it is."""
    (fault,) = faults_of(site(in_season=[("    technique: pole\n", "")]))
    assert fault.kind == "missing_key"
    assert "surveys.walls.technique" in fault.found
    assert "Technique in words" in fault.allowed


def test_all_faults_of_all_files_are_shown_at_once(site):
    """Faults of both files come in one error, each with its line, in one message."""
    faults = faults_of(
        site(
            in_site=[("name: A site", "nam: A site"), ("origin: [0, 0]", "origin: [a, 0]")],
            in_season=[("holds: wall_lines", "holds: walls"), ("[benchmark_1]", "7")],
        )
    )
    rows = {(fault.file, fault.row) for fault in faults}
    assert ("config/site.yaml", 2) in rows
    assert ("config/site.yaml", 5) in rows
    assert ("config/seasons/2031.yaml", 6) in rows
    assert ("config/seasons/2031.yaml", 14) in rows
    assert {"unknown_key", "missing_key", "bad_value"} == {fault.kind for fault in faults}


def test_faults_survive_the_way_between_processes(site):
    """An error written as JSON values comes back with the same faults."""
    with pytest.raises(ConfigError, match="nam") as caught:
        load_site(site(in_site=[("name: A site", "nam: A site")]))
    again = error_from_dict(caught.value.as_dict())
    assert isinstance(again, ConfigError)
    assert again.faults == caught.value.faults


def test_a_newer_schema_is_refused_with_the_newer_release(site):
    """A file of a later version asks for the release that wrote it."""
    (fault,) = faults_of(site(in_site=[("schema_version: 1", "schema_version: 99")]))
    assert fault.kind == "schema_version"
    assert "newer release" in fault.remedy


def test_an_older_schema_is_migrated(site, monkeypatch):
    """A file of version 0 is brought to version 1 when there is a way to."""

    def from_0(content):
        content["name"] = content.pop("title")
        return {**content, "schema_version": 1}

    folder = site(in_site=[("schema_version: 1\nname", "schema_version: 0\ntitle")])
    monkeypatch.setitem(config.MIGRATIONS, 0, from_0)
    assert load_site(folder).site.name == "A site"


def test_an_older_schema_without_a_way_is_refused(site):
    """A file of a version that can't be migrated is refused, with where to read."""
    (fault,) = faults_of(site(in_site=[("schema_version: 1", "schema_version: 0")]))
    assert "CHANGELOG.md" in fault.remedy


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("crs: EPSG:32625\n", "\n", "either crs or local_grid"),
        ("to_date: 2031-06-02", "to_date: 2031-05-02", "lies before"),
        (
            "random_vertical_sd_m: 0.03",
            "random_vertical_sd_m: 0.03\n    patchy_vertical_sd_m: 0.1",
            "patchy_distance_m",
        ),
        ("{meaning: height}", "{meaning: depth_below_water}", "water_level"),
        (
            "holds: wall_lines",
            "holds: wall_lines\n    pole_width_m: 0.05\n    line_follows: centre",
            "pole_width_m is for lines along faces",
        ),
        ("holds: wall_lines", "holds: features\n    pole_width_m: 0.05", "for wall_lines alone"),
        (
            "holds: wall_lines",
            "holds: wall_lines\n    pole_width_sd_m: 0.01",
            "nothing without pole_width_m",
        ),
        ("holds: wall_lines", "holds: wall_lines\n    pole_width_m: 5", "0.5"),
        ("holds: wall_lines", "holds: bed_grid\n    columns: {decimal: ';'}", "'.' or ','"),
    ],
)
def test_parts_of_a_survey_must_fit_each_other(site, old, new, said):
    """What doesn't go together is refused with the reason."""
    (fault,) = faults_of(site(in_season=[(old, new)]))
    assert said in fault.allowed


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("depths_below: msl", "depths_below: mhw", "mhw"),
        ("height_m: 0.0}", "height_m: 0.0, error_sources: [no_such]}", "no_such"),
        ("kind: shift, height_sd_m: 0.02", "kind: tilt, height_sd_m: 0.02", "above zero"),
        ("height_sd_m: 0.02", "height_sd_m: 0.02, rotation_sd_deg: 1", "one source, one kind"),
    ],
)
def test_parts_of_a_site_must_fit_each_other(site, old, new, said):
    """A level, a source and their names must fit."""
    (fault,) = faults_of(site(in_site=[(old, new)]))
    assert said in fault.allowed


def test_seasons_come_in_the_order_of_their_names(site):
    """Whatever the order of files, 2029 comes before 2031, and up_to tells them apart."""
    folder = site()
    earlier = SEASON.replace('"2031"', '"2029"').replace("name: walls", "name: plan")
    (folder / "config" / "seasons" / "2029.yaml").write_text(earlier, encoding="utf-8")
    loaded = load_site(folder)
    assert list(loaded.surveys) == ["2029-plan", "2031-walls"]
    assert loaded.up_to("2029") == ["2029-plan"]
    assert [season_of(name) for name in loaded.up_to("2031")] == ["2029", "2031"]


def test_the_message_has_its_four_parts(site):
    """What was found, what is allowed, what it would do, what to do: each on a line."""
    with pytest.raises(ConfigError, match="nam") as caught:
        load_site(site(in_site=[("name: A site", "nam: A site")]))
    text = textwrap.dedent(str(caught.value))
    for part in ("found:", "allowed:", "effect:", "to do:"):
        assert part in text
