"""Which surveys a view, a surface or a rule asks for."""

import json
from pathlib import Path

from wrackline.config import SiteConfig
from wrackline.model import Season, Site
from wrackline.sources import (
    composite,
    files_there,
    ground_data,
    ground_files,
    ground_traits,
    line_traits,
    season_before,
    surface_surveys,
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
