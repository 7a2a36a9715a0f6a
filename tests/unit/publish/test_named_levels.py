"""The named sea levels as a table and in the report."""

import pandas as pd
import pytest
from drawn import site

from wrackline.contract import table_columns
from wrackline.model import Site
from wrackline.publish.levels import level_words, levels_table
from wrackline.publish.tables import json_rows, write_csv

ANCIENT = {
    "name": "Roman",
    "height_m": -0.8,
    "sd_m": 0.3,
    "error_sources": ["gauge"],
    "from_year": -49,
    "to_year": 150,
    "basis": "fish tanks",
}


def place():
    """Return a site with a level of today and an ancient one that rests on a gauge's zero."""
    levels = [
        {"name": "msl", "height_m": 0.1, "sd_m": 0.01, "gauge": "harbour", "years": "2010-2019"},
        ANCIENT,
    ]
    sources = {"gauge": {"kind": "shift", "height_sd_m": 0.4}}
    drawn = site().model_dump() | {"sea_levels": levels, "error_sources": sources}
    return Site.model_validate(drawn | {"high_water": "msl"})


def test_levels_stand_with_all_that_their_sd_rests_on():
    """An ancient level of sd 0.3 m over a zero of sd 0.4 m has 0.5 m, and its years in words."""
    table = levels_table(place())
    assert list(table.columns) == list(table_columns("levels"))
    now, then = table.to_dict("records")
    assert (now["sea_level"], now["gauge"], now["gauge_years"]) == ("msl", "harbour", "2010-2019")
    assert now["used_as"] == "depths count from it; today's high water"
    assert now["from_year"] is None
    assert "from_year, to_year, age_from, age_to: a level of today" in now["null_because"]
    assert then["height_sd_m"] == pytest.approx(0.5)
    assert (then["age_from"], then["age_to"]) == ("50 BCE", "150 CE")
    assert (then["basis"], then["error_sources"]) == ("fish tanks", "gauge")


def test_the_csv_has_years_as_whole_numbers(tmp_path):
    """Years are written as they stand in the config, and a level of today has none."""
    write_csv(levels_table(place()), tmp_path / "levels.csv")
    read = pd.read_csv(tmp_path / "levels.csv", dtype=str, keep_default_na=False)
    assert read["from_year"].tolist() == ["", "-49"]
    assert read["to_year"].tolist() == ["", "150"]
    assert read["height_sd_m"].tolist() == ["0.010", "0.5"]


def test_the_report_tells_each_level_with_its_age():
    """The report's table has heights with their sds, ages and grounds."""
    text = "".join(map(str, level_words(json_rows(levels_table(place())))))
    for told in ("Roman", "-0.8 ± 0.5 m", "50 BCE to 150 CE", "fish tanks", "harbour; 2010-2019"):
        assert told in text
    assert level_words([]) == []
