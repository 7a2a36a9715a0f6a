"""Interpretations tied to things: by number and place, several at once, none ever lost."""

import itertools

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from wrackline.model import Interpretation
from wrackline.registers import read_interpretations
from wrackline.seasons.interpretations import tie

CRS = "EPSG:32625"
HEAD = "number,easting,northing,what,reading,certainty,who,when,why,evidence"


def plan():
    """Return a plan of two rooms side by side, 4 by 3 m each, and nothing else."""
    shapes = [shapely.box(0, 0, 4, 3), shapely.box(5, 0, 9, 3)]
    rooms = gpd.GeoDataFrame({"room": ["R000-000", "R005-000"]}, geometry=shapes, crs=CRS)
    fields = {"wall_lines": "wall", "openings": "opening", "buildings": "building"}
    fields["features"] = "feature"
    empty = {
        layer: gpd.GeoDataFrame({field: pd.Series([], dtype="object")}, geometry=[], crs=CRS)
        for layer, field in fields.items()
    }
    return {"rooms": rooms, **empty}


def reading(**changed):
    base = {
        "easting": 2.0,
        "northing": 1.0,
        "what": "room",
        "reading": "dwelling",
        "certainty": "probable",
        "who": "A. Orr",
        "when": "2031-07-02",
        "why": "hearth",
    }
    return Interpretation.model_validate(base | changed)


@pytest.mark.parametrize(
    ("given", "number", "status"),
    [
        pytest.param({}, "R000-000", "stands", id="by place"),
        pytest.param({"easting": 4.4}, "R000-000", "stands", id="beside it"),
        pytest.param({"easting": 6.0}, "R005-000", "stands", id="the other room"),
        pytest.param({"number": "R005-000"}, "R005-000", "stands", id="by number"),
        pytest.param({"number": "R005-001"}, None, "nothing there", id="no such number"),
        pytest.param({"northing": 9.0}, None, "nothing there", id="open ground"),
        pytest.param({"what": "feature"}, None, "nothing there", id="no feature at all"),
    ],
)
def test_a_reading_is_tied_or_says_that_nothing_is_there(given, number, status):
    """By number or place; what lies nowhere stays in the table, with the nearest thing."""
    row = tie([reading(**given)], plan()).iloc[0]
    assert (row["number"], row["status"]) == (number, status)
    assert row["reading"] == "dwelling"
    if status == "nothing there" and given.get("what") is None:
        assert "nearest" in row["note"]


def test_readers_who_differ_dispute():
    """Two people, two readings of one room: both stand in the table as disputed."""
    table = tie([reading(), reading(reading="store", who="B. Lund")], plan())
    assert table["status"].tolist() == ["disputed", "disputed"]


def test_readers_who_agree_do_not_dispute():
    """The same word by two people, in whatever case, is no dispute."""
    table = tie([reading(), reading(reading="Dwelling", who="B. Lund")], plan())
    assert table["status"].tolist() == ["stands", "stands"]


def test_a_reader_may_think_again():
    """The later reading of one person supersedes the earlier, in whatever order they are listed."""
    rows = [reading(), reading(reading="store", when="2033-06-20"), reading(easting=6.0)]
    for order in itertools.permutations(range(3)):
        table = tie([rows[k] for k in order], plan())
        found = dict(zip(order, table["status"], strict=True))
        assert found == {0: "superseded", 1: "stands", 2: "stands"}


def test_a_row_that_is_tied_to_nothing_stays_among_others():
    """Beside readings that are tied, one of open ground is listed as lying nowhere."""
    table = tie([reading(), reading(northing=50.0), reading(easting=6.0)], plan())
    assert table["status"].tolist() == ["stands", "nothing there", "stands"]


def test_the_file_is_read_and_every_slip_named(tmp_path):
    """A row without a place, an unknown certainty and a wrong day are named with their rows."""
    (tmp_path / "config").mkdir()
    rows = [
        HEAD,
        ",,,room,store,probable,A,2031-07-02,why,",
        "R1,,,room,store,sure,A,2031-07-02,why,",
        "R1,,,room,store,certain,A,02/07/2031,why,",
        "R1,,,room,=1+1,certain,A,2031-07-02,<b>why</b>,",
    ]
    (tmp_path / "config" / "interpretations.csv").write_text("\n".join(rows), encoding="utf-8-sig")
    faults = []
    kept = read_interpretations(tmp_path, faults)
    assert [fault.row for fault in faults] == [2, 3, 4]
    assert "number, or easting and northing" in faults[0].allowed
    assert [row.reading for row in kept] == ["=1+1"]


def test_no_file_no_readings(tmp_path):
    """A site without the file has none, and no fault."""
    faults = []
    assert read_interpretations(tmp_path, faults) == ()
    assert faults == []
    assert len(tie([], plan())) == 0
