"""Verdicts: what intake says of a file, and of all of them together."""

import datetime as dt

import pytest

from wrackline.errors import Fault
from wrackline.model import Survey, Vertical
from wrackline.verdict import (
    LISTED,
    Problems,
    Source,
    file_there,
    make_verdict,
    read_verdict,
    report,
    write_verdict,
)


@pytest.fixture
def source(tmp_path):
    survey = Survey(
        name="echo",
        technique="echo sounder",
        holds="bed_points",
        file="data/echo.csv",
        crs="EPSG:32633",
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=Vertical(meaning="height"),
        random_horizontal_sd_m=0.1,
        random_vertical_sd_m=0.1,
    )
    (tmp_path / "data").mkdir()
    return Source("2031-echo", survey, tmp_path)


def test_a_missing_file_is_a_fault_that_names_the_nearest_one(source):
    """A missing file becomes a fault, with the most similar name in its folder."""
    (source.folder / "data" / "ehco.csv").write_text("x")
    problems = Problems()
    assert not file_there(source, problems)
    (fault,) = problems.listed()
    assert fault.kind == "file_missing"
    assert "'ehco.csv'" in fault.found


def test_an_empty_file_is_a_fault(source):
    """A file of no bytes becomes a fault of its own kind."""
    source.path.write_text("")
    problems = Problems()
    assert not file_there(source, problems)
    assert [fault.kind for fault in problems.listed()] == ["file_empty"]


def test_faults_of_one_kind_are_listed_up_to_a_cap_and_then_counted(source):
    """Thirty faults of a kind are twenty listed and a count of ten."""
    problems = Problems()
    for row in range(30):
        problems.add(source.fault("bad", "a", "b", "c", "d", row=row))
    problems.add(source.fault("other", "a", "b", "c", "d"))
    listed = problems.listed()
    assert len(listed) == LISTED + 2
    assert listed[LISTED].found == "10 more of this kind"
    assert listed[-1].kind == "other"


def test_a_verdict_survives_writing_and_reading(source, tmp_path):
    """What is written is what is read back, faults and suspicions apart."""
    source.path.write_text("hello")
    problems = Problems()
    problems.add(source.fault("bad", "a", "b", "c", "d", row=3))
    problems.add(source.suspicion("odd", "a", "b", "c", "d"))
    verdict = make_verdict(source, problems, rows=5, used=4, bounds=[0, 0, 1, 1], vertical=[-1, 0])
    write_verdict(verdict, tmp_path / "verdict.json")
    assert read_verdict(tmp_path / "verdict.json") == verdict
    assert [f.kind for f in verdict.faults] == ["bad"]
    assert [f.kind for f in verdict.suspicions] == ["odd"]
    assert verdict.bytes == 5
    # SHA-256 of "hello", FIPS 180-4 test page value
    assert verdict.sha256.startswith("2cf24dba5fb0a30e")


def test_the_report_gathers_all_surveys_and_works_without_any(source):
    """All faults stand in one list; a site without surveys of a kind gives empty lists."""
    problems = Problems()
    problems.add(source.fault("bad", "a", "b", "c", "d"))
    whole = report([make_verdict(source, problems), make_verdict(source, Problems())])
    assert [survey["faults"] for survey in whole["surveys"]] == [1, 0]
    assert Fault(**whole["faults"][0]).survey == "2031-echo"
    assert report([]) == {"surveys": [], "faults": [], "suspicions": []}
