"""The check's report: intake and cross-check in one, and what the terminal shows of it."""

import json

import pytest
from trial_site import SURVEYS, fault, page, verdict

from wrackline.accuracy.check_report import check_report, numbered, sentence, summary_text, word
from wrackline.verdict import report


def verdicts(**of):
    """Return verdicts on the three surveys, some with other values."""
    return [verdict(name, **of.get(name.split("-")[1], {})) for name in SURVEYS]


def test_without_a_cross_check_it_is_intakes_report():
    """Surveys, faults and suspicions are just what intake reports."""
    given = verdicts(bed={"suspicions": [fault()]}, walls={"faults": [fault(severity="fault")]})
    found = check_report(given)
    assert {key: found[key] for key in ("surveys", "faults", "suspicions")} == report(given)
    assert (found["accepted"], found["pairs"], found["remeasure"]) == ([], [], [])


def test_cross_check_is_counted_with_its_survey():
    """A suspicion of the cross-check is listed behind its survey's own, and counted there."""
    cross = {"suspicions": [fault("survey_offset").as_dict()], "pairs": [{"count": 3}]}
    found = check_report(
        verdicts(bed={"suspicions": [fault()]}, floors={"suspicions": [fault("x", "2031-floors")]}),
        cross,
    )
    assert [one["suspicions"] for one in found["surveys"]] == [0, 2, 1]
    assert [f["kind"] for f in found["suspicions"]] == ["height_spike", "survey_offset", "x"]
    assert found["pairs"] == [{"count": 3}]


def test_accepted_suspicions_are_kept_apart():
    """What either check found and the config accepts is listed, and counts as no suspicion."""
    mine = fault("a", remedy="accepted: seen")
    theirs = fault("b", "2031-walls", remedy="accepted: seen too")
    found = check_report(verdicts(bed={"accepted": [mine]}), {"accepted": [theirs.as_dict()]})
    assert sorted(f["kind"] for f in found["accepted"]) == ["a", "b"]
    assert [one["suspicions"] for one in found["surveys"]] == [0, 0, 0]


def test_what_is_of_no_survey_is_not_lost():
    """A suspicion about the whole site is listed, though no survey counts it."""
    found = check_report(verdicts(), {"suspicions": [fault("site_wide", "").as_dict()]})
    assert [f.kind for f in numbered(found)] == ["site_wide"]


def test_faults_come_before_suspicions_and_json_brings_them_back():
    """Numbers run over faults, then suspicions, and stay so when the report went through JSON."""
    given = verdicts(
        walls={"suspicions": [fault("s", "2031-walls")]},
        bed={"faults": [fault("f", severity="fault", place=(1.0, 2.0))]},
    )
    again = json.loads(json.dumps(check_report(given)))
    assert [f.kind for f in numbered(again)] == ["f", "s"]
    assert numbered(again)[0].place == (1.0, 2.0)


@pytest.mark.parametrize(
    ("of", "words", "said"),
    [
        ({}, "No fault and nothing doubtful in 3 surveys.", "sound"),
        ({"suspicions": [fault()]}, "No fault in 3 surveys, but 1 suspicion", "doubt"),
        ({"faults": [fault(severity="fault")] * 2}, "2 faults in 1 of 3 surveys:", "faulty"),
    ],
)
def test_the_verdict_in_one_sentence(of, words, said):
    """Nothing, a doubt or a fault each have their sentence, and the survey its word."""
    found = check_report(verdicts(bed=of))
    assert sentence(found).startswith(words)
    assert word(found["surveys"][1]) == said


def test_summary_holds_table_faults_list_and_page():
    """The terminal shows each survey, each fault with its number, tomorrow's list and the page."""
    made = page(verdicts(bed={"suspicions": [fault(place=(5.0, 5.0), row=4)]}))
    text = summary_text(made.found)
    parts = ("2031-floors", "[1] SUSPICION height_spike in f.csv, row 4", "S1  E 5.00  N 5.00")
    where = [text.index(part) for part in (*parts, "work/check/report.html")]
    assert where == sorted(where)


def test_summary_table_fits_80_columns():
    """Long names and large numbers keep the table within 80 columns, rows in line."""
    long = verdicts()
    found = check_report(long)
    found["surveys"][0] |= {"survey": "2031-" + "w" * 60, "rows": 99_999_999, "used": 99_999_999}
    found["surveys"][0] |= {"holds": "trench_outlines", "faults": 140, "suspicions": 3000}
    table = summary_text(found).split("\n\n")[0].splitlines()
    assert len(table) == 4
    assert max(map(len, table)) <= 80
    assert {line[:54].rfind(" ") < 54 for line in table} == {True}


def test_summary_does_not_steer_the_terminal():
    """Escape sequences and turned-round text in a file's cells are shown as signs, not obeyed."""
    text = summary_text(check_report(verdicts(bed={"suspicions": [fault(found="\x1b[2J\u202e")]})))
    assert "\x1b" not in text
    assert "\u202e" not in text
