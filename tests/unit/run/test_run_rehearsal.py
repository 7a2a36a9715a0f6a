"""What a rehearsal says of a build: why each step would run, and what becomes of the record."""

from dataclasses import replace

import pytest

from wrackline.errors import Fault
from wrackline.planned import PlannedStep, causes_of, why
from wrackline.rehearsal import Built, Rehearsal, check_text, new_names, text_of

OLD, NEW = "a" * 32, "b" * 32
PARAMS = (
    "Params have changed since last execution: Union of exclusive params before and now across all "
    "output: before: {} now: {} "
)

BLOCK = """'{{"gap_m":{},"b":{{"c":1}}}}'"""
"""A part of the config as rules hand it on: JSON, as Python writes a text."""


def step(rule, *wildcards, reason="", stage="walls", makes=()):
    """Return a planned step."""
    return PlannedStep(rule, stage, list(wildcards), list(makes), f"logs/{rule}/x.log", reason)


def reason_of(text, rule="join_walls", new=(), plan=()):
    """Return the plain words for a reason as Snakemake gives it."""
    one = step(rule, "upto-2031", reason=text)
    return why(one, causes_of([*plan, one], new, lambda _rule: NEW))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (PARAMS.format(f"'{OLD}'", f"'{NEW}'"), "changed code"),
        (PARAMS.format(f"'{OLD}'", f"'{OLD[:-1]}c'"), "changed file"),
        (PARAMS.format("0.25", "0.5"), "changed config: 0.25, now 0.5"),
        (
            PARAMS.format(f"""{BLOCK.format(5)},'{OLD}'""", f"""{BLOCK.format(4)},'{NEW}'"""),
            "changed code; changed config: gap_m 5, now 4",
        ),
        (PARAMS.format("'x now: 1'", "'x now: 2'"), "changed config: x now: 1, now x now: 2"),
        ("Forced execution", "its product isn't as the last run left it"),
        ("Missing output files: work/a.tif", "not made yet"),
        ("Incomplete output files: work/a.tif", "an earlier run ended in it"),
        ("Updated input files: data/b.csv, data/a.csv", "changed file: data/a.csv, data/b.csv"),
        ("Set of input files has changed", "other surveys or seasons take part"),
        ("Input files updated by another job: work/a.parquet, work/b.tif", "follows fit, grid"),
    ],
)
def test_a_reason_in_plain_words(text, words):
    """Code, raw files, values of the config and steps before are told apart."""
    makers = [step("grid", makes=["work/b.tif"]), step("fit", makes=["work/a.parquet"])]
    assert reason_of(text, plan=makers) == words


def test_what_is_for_a_new_season_is_new_whatever_else():
    """A view, a surface or a survey of a new season; not one of a season before it."""
    assert reason_of("Missing output files: x", new=["2031"]) == "new"
    assert reason_of("Missing output files: x", new=["2032", "2032-bed"]) == "not made yet"


def rehearsed(plan, surveys, built, total=9):
    """Return a rehearsal of a plan."""
    causes = causes_of(plan, new_names(surveys, built), lambda _rule: NEW)
    return Rehearsal(built, surveys, plan, total, causes)


BUILT = Built(["2031-walls", "2032-bed"], ["site.gpkg", "seasons/2031/plan.gpkg"])


def test_new_changed_and_gone_surveys_are_told(tmp_path):
    """A survey of no built record is new, one that is read again changed, one in no config gone."""
    read = step(
        "read_items", "2031-walls", stage="intake", reason="Updated input files: data/w.gpkg"
    )
    text = text_of(rehearsed([read], ["2031-walls", "2033-bed"], BUILT), ["intake"], tmp_path)
    assert "Last built: 2031 and 2032, 2 surveys." in text
    assert "new      2033-bed\n" in text
    assert "changed  2031-walls (changed file: data/w.gpkg)\n" in text
    assert "gone     2032-bed" in text
    assert "A build would run 1 of 9 steps" in text
    assert "comes before" not in text


def test_a_season_older_than_built_ones_is_told_of(tmp_path):
    """Its plan comes into those after it, which are made again."""
    surveys = ["1986-plan", *BUILT.surveys]
    text = text_of(rehearsed([step("join_walls", "upto-1986")], surveys, BUILT), [], tmp_path)
    assert "1986 comes before 2031 and 2032, already built" in text


def test_products_and_seasons_that_stay_are_told(tmp_path):
    """What no step of the plan makes stays in the record, and a season that none is for."""
    plan = [step("publish_site", makes=["work/publish/site.gpkg", "work/publish/manifest.json"])]
    text = text_of(rehearsed(plan, BUILT.surveys, BUILT), [], tmp_path)
    assert "results/: 1 product would be made; seasons/ would stay." in text
    assert "8 steps would stay as they are, all that is of 2031 and 2032 alone" in text


def test_times_are_those_of_the_last_run_or_none(tmp_path):
    """A step without a log has no time, and the text says of how many nothing is known."""
    plan = [step("join_walls", "upto-2031"), step("find_rooms", "upto-2031")]
    assert "Time:" not in text_of(rehearsed(plan, BUILT.surveys, BUILT), [], tmp_path)
    log = tmp_path / "logs/join_walls/x.log"
    log.parent.mkdir(parents=True)
    log.write_text('@wrackline {"end": "done", "seconds": 41.6}\n')
    text = text_of(rehearsed(plan, BUILT.surveys, BUILT), [], tmp_path).replace("\n", " ")
    assert "Time: 1 step of these took 42 s in all" in text
    assert "the other 1 take, no earlier run tells" in text


def test_nothing_to_do_is_said(tmp_path):
    """With no step to run, the results are up to date."""
    assert "nothing to do" in text_of(rehearsed([], BUILT.surveys, BUILT), [], tmp_path)


def test_doubts_from_before_are_counted_and_new_ones_shown():
    """A suspicion that the last check had is only counted, unless its survey is new or changed."""
    old = Fault("slip", "old", "b", "c", "d", survey="2031-walls", severity="suspicion")
    new = replace(old, found="other")
    built = replace(BUILT, suspicions=[old])
    text = check_text({"faults": [], "suspicions": [old, new]}, rehearsed([], BUILT.surveys, built))
    assert "found:   other" in text
    assert "found:   old" not in text
    assert "No fault, and 1 suspicion about what is new or changed." in text
    assert text.endswith("1 suspicion from before stands too.")
