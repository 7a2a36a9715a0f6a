"""The table of soundings that were set aside, and the report's words on it."""

import numpy as np
import pandas as pd
import pytest

from wrackline import contract
from wrackline.publish import set_aside_table as tables
from wrackline.publish.report_set_aside import set_aside
from wrackline.publish.set_aside_table import Gridded, set_aside_table
from wrackline.rasters import Band, Grid, write_raster
from wrackline.seabed.gridding import SetAside
from wrackline.seabed.layers import Block
from wrackline.seabed.set_aside import write_set_aside

ORIGIN = (500_000.0, 4_700_000.0)


@pytest.fixture
def survey(tmp_path):
    """Return a survey with three lone soundings and one block."""
    lone = np.array([[1.2, 1.3, -1.0], [2.2, 2.3, -6.5], [90.0, 90.0, 0.0]])
    lone[:, :2] += ORIGIN
    block = Block(12.0, 34.0, 40, 120, 1.25, "above", 2, kept=False)
    found = SetAside(lone, np.array([7, 19, 20]), [block], 0.5, 5000)
    grid = Grid(ORIGIN, 0.5, 0, 0, 20, 20)
    height = Band("height", "m", np.full(grid.shape, -4.0))
    how = {"grid": grid, "crs": "EPSG:32633", "vertical_datum": "invented"}
    write_raster(tmp_path / "s.tif", [height], **how)
    write_set_aside(found, tmp_path / "s.parquet", tmp_path / "s.json")
    paths = (tmp_path / name for name in ("s.tif", "s.parquet", "s.json"))
    return Gridded("2031-swath", "data/swath.csv", *paths)


def test_blocks_and_lone_soundings_are_listed_with_their_rows(survey):
    """A block has a name from its place; a lone sounding its row and its distance from the bed."""
    table = set_aside_table([survey], ORIGIN)
    block, first, second, outside = table.to_dict("records")
    assert (block["number"], block["what"]) == ("D006-017", "layer above the bed")
    assert (block["points"], block["area_m2"], block["off_m"]) == (120, 10.0, 1.25)
    assert (first["row"], first["off_m"], second["off_m"]) == (7, 3.0, -2.5)
    assert np.isnan(outside["off_m"])
    assert list(table) == [field.name for field in contract.TABLES["set_aside"]]


def test_more_than_can_be_listed_are_counted(survey, monkeypatch):
    """Beyond the most that are listed, one row says how many more there are."""
    monkeypatch.setattr(tables, "MOST_LISTED", 1)
    table = set_aside_table([survey], ORIGIN)
    assert table["points"].tolist() == [120, 1, 2]
    assert table["points"].sum() == 123


def test_the_report_counts_by_survey_and_shows_blocks(survey):
    """The page says how many soundings and blocks of each survey were set aside."""
    page = "".join(map(str, set_aside(set_aside_table([survey], ORIGIN))))
    for words in ("2031-swath", "123", "D006-017", "layer above the bed", "+1.25"):
        assert words in page
    nothing = pd.DataFrame(columns=list(tables.COLUMNS))
    assert "No sounding was set aside" in str(set_aside(nothing)[0])
