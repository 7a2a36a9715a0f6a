"""Files in which a team states where it looked are held against what they must be, at intake."""

import geopandas as gpd
import pyogrio
import pytest
import shapely
from pydantic import ValidationError
from test_places import source

from wrackline.intake.ground_files import check_ground_files
from wrackline.model import for_fitting, for_reading
from wrackline.verdict import Problems

SWUM = {"swim_lines": "swum.gpkg", "swim_reach_m": 2.0}


def faults(tmp_path, **keys):
    """Return what is wrong with the statements of a survey in a folder."""
    named = source(**keys)
    problems = Problems()
    check_ground_files(type(named)(named.name, named.survey, tmp_path), problems)
    return problems.listed()


def test_statements_that_are_missing_are_all_named(tmp_path):
    """Ground, swim lines and plants: a fault each, with the file and the key to mend."""
    listed = faults(tmp_path, looked_at="data/ground.gpkg", plant_cover="plants.gpkg", **SWUM)
    kinds = ["looked_at_missing", "swim_lines_missing", "plant_cover_missing"]
    assert [fault.kind for fault in listed] == kinds
    assert [fault.file for fault in listed] == ["data/ground.gpkg", "swum.gpkg", "plants.gpkg"]
    assert "mend `plant_cover`" in listed[2].remedy


def test_statements_of_the_wrong_kind_are_named_before_anything_is_built(tmp_path):
    """Lines where the ground should be, and a text: two faults of the survey, not a traceback."""
    line = gpd.GeoDataFrame(geometry=[shapely.LineString([(0, 0), (9, 0)])], crs="EPSG:32625")
    pyogrio.write_dataframe(line, tmp_path / "ground.gpkg")
    (tmp_path / "swum.gpkg").write_text("no drawing")
    listed = faults(tmp_path, looked_at="ground.gpkg", **SWUM)
    assert [fault.kind for fault in listed] == ["no_ground", "no_swim_lines"]
    assert {fault.survey for fault in listed} == {"2031-walls"}
    assert listed[0].file == "ground.gpkg"


def test_statements_that_are_sound_are_no_fault(tmp_path):
    """With sound files, or one share for all plants, nothing is said."""
    box = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 9, 9)], crs="EPSG:32625")
    pyogrio.write_dataframe(box, tmp_path / "ground.gpkg")
    pyogrio.write_dataframe(box.boundary.to_frame("geometry"), tmp_path / "swum.gpkg")
    assert faults(tmp_path, looked_at="ground.gpkg", plant_cover=0.2, **SWUM) == []


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"swim_lines": "a.gpkg"}, "swim_lines needs swim_reach_m"),
        ({"swim_reach_m": 2.0}, "swim_lines needs swim_reach_m"),
        ({"plant_cover": 40}, "plant_cover 40 is no share: 0 to 1"),
        ({"plant_cover": -1}, "plant_cover -1 is no share: 0 to 1"),
        ({"visibility_m": 0}, "greater than 0"),
    ],
)
def test_statements_that_say_nothing_are_refused(keys, words):
    """A reach without lines, a cover in per cent, no visibility at all."""
    with pytest.raises(ValidationError, match=words):
        source(**keys)


def test_a_cover_is_a_number_or_a_file():
    """A bare number stays one; anything else is a file of the site."""
    assert source(plant_cover=0.25).survey.plant_cover == 0.25
    assert source(plant_cover=1).survey.plant_cover == 1.0
    named = source(plant_cover="plants.gpkg", looked_at="ground.gpkg").survey
    assert named.ground_files == ["ground.gpkg", "plants.gpkg"]


def test_what_a_survey_could_see_re_reads_nothing():
    """Reading keeps the files that it checks; visibility, reach and shares touch it not."""
    clear = source(visibility_m=5.0, plant_cover=0.2, **SWUM).survey
    murky = source(visibility_m=1.0, plant_cover=0.4, **SWUM | {"swim_reach_m": 3.0}).survey
    assert for_reading(clear) == for_reading(murky)
    assert for_reading(clear).swim_lines == "swum.gpkg"
    assert type(clear).model_validate_json(for_reading(clear).model_dump_json())
    assert for_fitting(clear) == for_fitting(source().survey)
