"""A corpus of malformed inputs: each is named for what it is, none ends in a traceback."""

import pytest
from broken import CASES, CRS, GOOD, ORIGIN, survey_of

from wrackline.intake.items import read_items
from wrackline.intake.points import read_bed
from wrackline.model import POINT_HOLDS
from wrackline.verdict import Source


def verdict_on(case, folder):
    """Return what intake alone says of a case."""
    case.write(folder)
    survey = survey_of(case)
    source = Source("2031-survey", survey, folder, case.control, case.corrections)
    if survey.holds in POINT_HOLDS:
        return read_bed(source, folder / "out.parquet", crs=CRS, origin=ORIGIN)
    return read_items(source, crs=CRS, origin=ORIGIN)[1]


def test_the_corpus_is_large():
    """There are at least a hundred ways in which an input is broken."""
    assert len(CASES) >= 100


@pytest.mark.parametrize("name", CASES)
def test_what_was_broken_is_named(name, tmp_path):
    """One of the kinds that fit is named, in four parts, with the file."""
    case = CASES[name]
    verdict = verdict_on(case, tmp_path)
    found = [*verdict.faults, *verdict.suspicions]
    assert {fault.kind for fault in found} & set(case.kinds), [fault.kind for fault in found]
    for fault in found:
        parts = (fault.found, fault.allowed, fault.consequence, fault.remedy, fault.file)
        assert all(part.strip() for part in parts), fault


@pytest.mark.parametrize("name", GOOD)
def test_good_inputs_are_not_accused(name, tmp_path):
    """What the broken ones were made from is read without a word."""
    verdict = verdict_on(GOOD[name], tmp_path)
    assert [fault.text() for fault in [*verdict.faults, *verdict.suspicions]] == []
    assert verdict.used > 0
