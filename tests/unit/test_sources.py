"""Which surveys a view, a surface or a rule asks for."""

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import pytest

from wrackline.config import SiteConfig
from wrackline.model import ControlValue, Decision, Phasing, Season, Site
from wrackline.sources import (
    composite,
    files_there,
    ground_data,
    ground_files,
    ground_traits,
    line_traits,
    placing_part,
    season_before,
    season_on,
    surface_surveys,
    team_words,
    view_surface,
    view_surveys,
    views,
)

HOLDS = {"walls": "wall_lines", "finds": "features", "floors": "floor_points", "bed": "bed_points"}


def survey(name):
    return {
        "name": name,
        "technique": "any",
        "holds": HOLDS[name],
        "file": f"data/{name}.csv",
        "crs": "EPSG:32625",
        "from_date": "2031-06-01",
        "to_date": "2031-06-02",
        "vertical": {"meaning": "height"},
        "random_horizontal_sd_m": 0.03,
        "random_vertical_sd_m": 0.02,
        "looked_at": "data/ground.gpkg" if name == "finds" else None,
    }


def config(seasons, folder=Path(), demo=None):
    """Return a site of seasons, each a list of survey names."""
    site = Site(
        schema_version=1,
        name="invented",
        crs="EPSG:32625",
        vertical_datum="invented",
        origin=(0, 0),
        sea_levels=[{"name": "msl", "height_m": 0}],
        depths_below="msl",
        demo=demo,
    )
    parts = {
        season: Season(schema_version=1, season=season, surveys=[survey(n) for n in names])
        for season, names in seasons.items()
    }
    return SiteConfig(folder, site, parts)


TWO = config({"2031": ["walls", "bed"], "2032": ["walls", "finds", "floors"]})


def test_a_view_up_to_a_season_takes_all_seasons_so_far():
    """The view of the first season holds its own walls, that of the second both seasons'."""
    assert view_surveys(TWO, "upto-2031", "wall_lines") == ["2031-walls"]
    assert view_surveys(TWO, "upto-2032", "wall_lines") == ["2031-walls", "2032-walls"]
    assert view_surveys(TWO, "upto-2032", "features", "floor_points") == [
        "2032-finds",
        "2032-floors",
    ]


def test_a_view_of_one_survey_takes_its_walls_alone_and_all_else_of_its_season():
    """`only-` compares techniques: walls of one survey, features of the seasons so far."""
    assert view_surveys(TWO, "only-2032-walls", "wall_lines") == ["2032-walls"]
    assert view_surveys(TWO, "only-2032-walls", "features") == ["2032-finds"]
    assert view_surveys(TWO, "only-2031-walls", "features") == []


def test_all_views_are_listed():
    """There is one view a season and one a survey of walls."""
    assert views(TWO) == ["upto-2031", "upto-2032", "only-2031-walls", "only-2032-walls"]


def test_surfaces_take_their_seasons_soundings():
    """A season's surface takes its own soundings, the composite those of all so far."""
    assert surface_surveys(TWO, "season-2031") == ["2031-bed"]
    assert surface_surveys(TWO, "season-2032") == []
    assert surface_surveys(TWO, composite(TWO)) == ["2031-bed"]
    assert view_surface(TWO, "only-2032-walls") == ["upto-2032"]


def test_a_site_without_soundings_has_no_surface():
    """Without bed points no view asks for a surface."""
    assert view_surface(config({"2031": ["walls"]}), "upto-2031") == []


def test_a_site_without_walls_has_views_of_seasons_alone():
    """Without wall lines the season's view is there, and asks for none."""
    bare = config({"2031": ["bed"]})
    assert views(bare) == ["upto-2031"]
    assert view_surveys(bare, "upto-2031", "wall_lines") == []
    assert json.loads(line_traits(bare, "upto-2031")) == {}


def test_traits_tell_what_the_config_says_of_lines():
    """Traits of a view's lines name what they follow, where they were traced and when."""
    assert json.loads(line_traits(TWO, "upto-2031")) == {
        "2031-walls": {
            "line_follows": "face",
            "traced_at": "top",
            "evidence": "recorded",
            "from_date": "2031-06-01",
            "to_date": "2031-06-02",
            "pole_width_m": None,
            "pole_width_sd_m": 0.0,
        }
    }


def test_the_season_before_is_the_one_before():
    """The first season has none before it."""
    assert season_before(TWO, "2031") == []
    assert season_before(TWO, "2032") == ["2031"]


def test_the_ground_is_stated_or_had_from_the_data(tmp_path):
    """Stated ground needs its own file alone, others a survey's own surface or items."""
    site = config({"2031": ["walls", "bed"], "2032": ["walls", "finds", "floors"]}, tmp_path)
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "ground.gpkg").touch()
    items = [f"work/fit/2032-{name}/items.parquet" for name in ("walls", "floors")]
    assert ground_files(site, "2032") == ["data/ground.gpkg", *items]
    assert ground_data(site, "2031-bed") == "work/seabed/survey/2031-bed.tif"


def test_stated_ground_that_is_missing_is_no_missing_input():
    """Intake names a missing outline; until then the rules ask for the others."""
    assert "data/ground.gpkg" not in ground_files(TWO, "2032")


def test_grounds_of_a_season_hang_on_its_own_surveys():
    """What is handed to the step is of that season alone, in the order of its surveys."""
    assert list(json.loads(ground_traits(TWO, "2032"))) == [
        "2032-walls",
        "2032-finds",
        "2032-floors",
    ]


def test_only_files_that_are_there_are_asked_for(tmp_path):
    """A missing file is no missing input; a demo's made file is asked for before it is there."""
    (tmp_path / "a.csv").write_text("x")
    real = config({"2031": ["walls"]}, tmp_path)
    assert files_there(real, "a.csv", "b.csv", None) == ["a.csv"]
    assert files_there(real, "data/demo/a.csv") == []
    demo = config({"2031": ["walls"]}, tmp_path, demo="config/demo.yaml")
    assert files_there(demo, "data/demo/a.csv", "b.csv") == ["data/demo/a.csv"]


@pytest.mark.parametrize(
    ("day", "season"),
    [
        ("1990-01-01", "2031"),  # before all seasons: of the first
        ("2031-06-01", "2031"),
        ("2032-05-31", "2031"),  # between two: of the earlier
        ("2032-06-01", "2032"),
        ("2040-01-01", "2032"),  # after all: of the last
    ],
)
def test_what_was_said_on_a_day_is_of_a_season(day, season):
    """The last season whose first day has come."""
    later = {"from_date": dt.date(2032, 6, 1), "to_date": dt.date(2032, 6, 2)}
    two = TWO.seasons["2032"]
    surveys = [one.model_copy(update=later) for one in two.surveys]
    site = replace(TWO, seasons=TWO.seasons | {"2032": two.model_copy(update={"surveys": surveys})})
    assert season_on(site, dt.date.fromisoformat(day)) == season


def said_on(year):
    """Return a phase and a decision of a year's summer."""
    common = {"easting": 1, "northing": 2, "who": "me", "date": f"{year}-07-01"}
    return (
        Phasing.model_validate({**common, "phase_from": "I"}),
        Decision.model_validate({**common, "decision": "confirm", "why": "seen"}),
    )


def test_a_view_knows_what_had_been_said_by_its_season():
    """A word of the second season leaves the first season's plan as it was, to the byte."""
    seasons = {
        name: season.model_copy(
            update={
                "surveys": [
                    one.model_copy(update={"from_date": dt.date(int(name), 6, 1)})
                    for one in season.surveys
                ]
            }
        )
        for name, season in TWO.seasons.items()
    }
    pairs = [said_on(2031), said_on(2032)]
    phases, decisions = zip(*pairs, strict=True)
    one = replace(TWO, seasons=seasons, phases=phases[:1], decisions=decisions[:1])
    both = replace(one, phases=phases, decisions=decisions)
    for view in ("upto-2031", "only-2031-walls"):
        assert team_words(both, view) == team_words(one, view)
    assert [len(json.loads(team_words(both, view))["decisions"]) for view in views(both)[:2]] == [
        1,
        2,
    ]
    assert len(json.loads(team_words(both, "only-2032-walls"))["phases"]) == 2


def test_a_survey_is_placed_by_what_it_rests_on():
    """A source of error that it doesn't rest on is no part of what places it."""
    shift = {"kind": "shift", "height_sd_m": 0.01}
    sources = {"benchmark": shift, "gauge": shift}
    site = Site.model_validate(TWO.site.model_dump() | {"error_sources": sources})
    first = TWO.seasons["2031"]
    walls = first.surveys[0].model_copy(update={"error_sources": ["benchmark"]})
    seasons = TWO.seasons | {"2031": first.model_copy(update={"surveys": [walls]})}
    part = Site.model_validate_json(
        placing_part(replace(TWO, site=site, seasons=seasons), "2031-walls")
    )
    assert list(part.error_sources) == ["benchmark"]


def test_a_mark_of_later_days_is_no_control_of_a_survey():
    """A mark set after the survey's last day doesn't touch it; one that was lost before stays."""
    mark = {"point": "A", "easting": 1, "northing": 2, "sd_m": 0.01}
    days = [("", "2030-01-01"), ("2031-06-02", ""), ("2031-06-03", "")]
    rows = [{**mark, "from_date": a or None, "to_date": b or None} for a, b in days]
    control = tuple(map(ControlValue.model_validate, rows))
    first = TWO.seasons["2031"]
    walls = first.surveys[0].model_copy(update={"form": "station_day"})
    seasons = {"2031": first.model_copy(update={"surveys": [walls]})}
    assert replace(TWO, control=control, seasons=seasons).control_for("2031-walls") == control[:2]
