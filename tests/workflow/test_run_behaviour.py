"""What a person can rely on: what a run does again, what it leaves alone, and what it says."""

import base64
import json
import os
import re
import shutil
import signal

import pytest
from run_helpers import (
    CHANGED_SITE,
    SITE,
    Site,
    alive,
    children,
    copy_workflow,
    engine_of,
    files_in,
    finish,
    wait_for,
)

LINE = r"\[(.*)\] (.*)  (.*) s"
ALL_STEPS = [
    "publish",
    "read_survey alpha",
    "read_survey beta",
    "scale_walls alpha",
    "scale_walls beta",
    "verdict",
]


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Return a site that was built once."""
    folder = tmp_path_factory.mktemp("built")
    site = Site(folder / "site", copy_workflow(folder / "workflow"))
    site.configure(SITE)
    assert site.run().code == 0
    assert site.steps() == ALL_STEPS
    return site


@pytest.fixture
def site(built, tmp_path):
    """Return a site that was built once, with a workflow of its own."""
    workflow = shutil.copytree(built.workflow, tmp_path / "workflow")
    return Site(built.copy(tmp_path / "site").folder, workflow)


def replace(file, old, new):
    """Change a file's text."""
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))


def hidden_records(site):
    """Return the files in which Snakemake describes products, named by these in base 64."""
    folder = site.folder / ".snakemake" / "metadata"
    return [file for file in folder.rglob("*") if file.is_file()]


def half_written(text):
    """Return whether a product of the walls step is being written."""
    return text.count(b"\n") == 500


def test_second_run_does_nothing_and_says_so(site):
    """A second run starts no step, touches no product and says that there is nothing to do."""
    before = {path: path.stat().st_mtime_ns for path in (site.folder / "results").rglob("*")}
    ended = site.run()
    assert (ended.code, ended.text) == (0, "Nothing to do: results are up to date.\n")
    assert site.steps() == []
    assert before == {path: path.stat().st_mtime_ns for path in before}


def test_comment_in_the_code_re_runs_nothing(site):
    """A comment, a docstring and a blank line are no change of code."""
    module = site.workflow / "scripts" / "mini_parts.py"
    replace(module, '"""Return the sum."""', '"""Return the total."""\n\n    # of all')
    assert site.run().code == 0
    assert site.steps() == []


def test_change_in_a_shared_module_re_runs_the_steps_that_import_it(site):
    """A step that imports the changed module, through however many others, is run again."""
    (site.workflow / "scripts" / "scaling.py").write_text("FACTOR = 1\n")
    step = site.workflow / "scripts" / "scale_walls.py"
    replace(step, "import ctypes", "import scaling\nimport ctypes")
    assert site.run().code == 0
    (site.workflow / "scripts" / "scaling.py").write_text("FACTOR = 2\n")
    assert site.run().code == 0
    assert site.steps() == ["publish", "scale_walls alpha", "scale_walls beta"]


def test_setting_re_runs_the_steps_that_read_it(site):
    """A change of one setting re-runs the steps that read it and what is made from theirs."""
    site.configure({**SITE, "title": "Harbour"})
    assert site.run().code == 0
    assert site.steps() == ["publish"]
    site.configure({**SITE, "title": "Harbour", "scale": 4})
    assert site.run().code == 0
    assert site.steps() == ["publish", "scale_walls alpha", "scale_walls beta"]


def test_survey_file_replaced_by_an_older_one_is_read_again(site):
    """A corrected file that was copied with its earlier date isn't overlooked."""
    file = site.folder / "data" / "beta.txt"
    file.write_text("100\n")
    os.utime(file, (1_000_000_000, 1_000_000_000))
    assert site.run().code == 0
    assert site.steps() == ["publish", "read_survey beta", "scale_walls beta", "verdict"]
    assert site.results()["surveys/beta.txt"] == b"200\n"


def test_removed_survey_leaves_nothing_behind(site):
    """Neither work, logs nor results hold a file of a survey that is no longer named."""
    site.configure({**SITE, "surveys": ["alpha"]})
    assert site.run().code == 0
    made = [*files_in(site.folder / "work"), *files_in(site.folder / "logs"), *site.results()]
    records = [base64.b64decode(file.name) for file in hidden_records(site)]
    assert not [name for name in made if "beta" in name]
    assert not [name for name in records if b"beta" in name]
    assert [name for name in made if "alpha" in name]
    site.configure(SITE)
    assert site.run().code == 0
    assert "surveys/beta.txt" in site.results()


def test_removed_rule_leaves_nothing_behind(site):
    """A product whose rule is gone is removed, with its log and its folder."""
    rule = (
        'rule extra:\n    output:\n        "work/extra/{name}.txt",\n'
        '    log:\n        "logs/extra/{name}.log",\n    shell:\n        "echo a >{output}"\n'
    )
    snakefile = site.workflow / "Snakefile"
    plain = snakefile.read_text()
    snakefile.write_text(
        plain.replace("    input:", '    input:\n        "work/extra/a.txt",', 1) + rule
    )
    assert site.run().code == 0
    assert site.steps() == ["extra a"]
    snakefile.write_text(plain)
    assert site.run().code == 0
    assert site.steps() == []
    assert not (site.folder / "work" / "extra").exists()
    assert not (site.folder / "logs" / "extra").exists()


def test_site_copied_without_hidden_files_is_rebuilt(site, tmp_path):
    """Products whose records were not copied with them aren't trusted."""
    hidden = shutil.ignore_patterns(".*")
    copied = Site(shutil.copytree(site.folder, tmp_path / "copied", ignore=hidden), site.workflow)
    assert copied.run().code == 0
    assert copied.steps() == ALL_STEPS
    assert copied.results() == site.results()


def test_work_of_another_site_is_not_trusted(site, tmp_path):
    """A site copied without hidden files over another doesn't inherit the other's records."""
    other = site.copy(tmp_path / "other")
    shutil.rmtree(other.folder / "work")
    shutil.copytree(site.folder / "work", other.folder / "work")
    (other.folder / "work" / "belongs-to.txt").write_text("another\n")
    assert other.run().code == 0
    assert other.steps() == ALL_STEPS


def test_product_without_a_record_is_rebuilt(site):
    """Where Snakemake's record of a product is lost, the product is made again."""
    for record in hidden_records(site):
        if b'"rule": "scale_walls"' in record.read_bytes():
            record.unlink()
    assert site.run().code == 0
    assert site.steps() == ["publish", "scale_walls alpha", "scale_walls beta"]
    assert site.run().code == 0
    assert site.steps() == []


def test_product_that_was_changed_by_hand_is_rebuilt(site):
    """A file under `work/` that isn't the one recorded is made again."""
    (site.folder / "work" / "walls" / "beta.txt").write_text("forged\n")
    assert site.run().code == 0
    assert site.steps() == ["publish", "scale_walls beta"]
    assert site.results()["surveys/beta.txt"] == b"24\n"


def test_product_that_is_gone_is_rebuilt(site):
    """A file under `work/` that was removed is made again, even where nothing else asks for it."""
    (site.folder / "work" / "intake" / "beta.json").unlink()
    (site.folder / "work" / "walls" / "beta.txt").unlink()
    assert site.run().code == 0
    assert site.steps() == ["publish", "read_survey beta", "scale_walls beta", "verdict"]


def test_lost_or_changed_results_are_put_in_place_again_without_a_step(site):
    """Results that were removed or altered are restored from the products of the last run."""
    expected = site.results()
    (site.folder / "results" / "plan.txt").write_text("altered")
    assert site.run().code == 0
    assert site.results() == expected
    shutil.rmtree(site.folder / "results")
    assert site.run().code == 0
    assert site.results() == expected
    assert site.steps() == []


@pytest.mark.parametrize(
    ("trouble", "code", "words"),
    [
        ("input", 3, ["FAULT too_few", "found:   1 number", "step:    scale_walls"]),
        ("bug", 70, ["mistake in wrackline", "ZeroDivisionError: nothing to divide by"]),
        ("killed", 130, ["ended from outside (signal 9, SIGKILL)", "out of memory"]),
        ("crash", 70, ["mistake in wrackline", "crashed (signal 11, SIGSEGV)"]),
        ("no output", 70, ["mistake in wrackline", "some output files are missing"]),
    ],
)
def test_failing_step_leaves_results_and_says_what_and_where(site, trouble, code, words):
    """A failure ends with its own exit code, what happened, where, and no traceback."""
    earlier = site.results()
    site.configure(CHANGED_SITE)
    ended = site.run(cores=1, MINI_TROUBLE=trouble)
    assert ended.code == code, ended.text
    expected = [*words, "results/ is as it was."]
    assert [word for word in expected if word not in ended.text] == []
    assert "Traceback" not in ended.text
    assert site.results() == earlier


def test_step_that_cannot_start_is_named_with_its_reason(site):
    """An import that fails, before the step has a log of its own, is still told in one line."""
    step = site.workflow / "scripts" / "scale_walls.py"
    replace(step, "import ctypes", "import ctypes\nimport no_such_module")
    ended = site.run(cores=1)
    assert ended.code == 70
    assert "what:   ModuleNotFoundError: No module named 'no_such_module'" in ended.text
    assert "Traceback" not in ended.text


def test_mistake_in_the_workflow_itself_is_one_message(site):
    """A workflow that can't be read ends in a message that points to the log."""
    with (site.workflow / "Snakefile").open("a") as file:
        file.write("\nrule all:\n")
    ended = site.run()
    assert ended.code == 70
    assert "mistake in wrackline" in ended.text
    assert "log:    logs/run.log" in ended.text


def test_fault_in_a_survey_file_stops_before_anything_is_built(site):
    """All faults of all surveys are shown at once; no step that builds is started."""
    earlier = site.results()
    for name in SITE["surveys"]:
        (site.folder / "data" / f"{name}.txt").write_text("1\nx\n")
    ended = site.run()
    assert ended.code == 3
    assert ended.text.count("FAULT no_number") == 2
    assert "2 faults in the survey files. Nothing was built" in ended.text
    assert site.steps() == ["read_survey alpha", "read_survey beta", "verdict"]
    assert site.results() == earlier


def test_fault_in_the_config_stops_before_anything_is_touched(site):
    """A config that can't be used ends with 2, and no file of the site is changed."""
    (site.folder / "config" / "site.json").write_text("{")
    before = files_in(site.folder)
    ended = site.run()
    assert (ended.code, "FAULT no_json" in ended.text) == (2, True)
    assert files_in(site.folder) == before


def test_progress_counts_steps_and_names_their_stage(site):
    """Each finished step is one line: how many of how many, stage, step, survey and seconds."""
    site.configure({**SITE, "scale": 7})
    lines = [line for line in site.run(cores=1).text.splitlines() if line.startswith("[")]
    counts, labels, seconds = zip(
        *(re.fullmatch(LINE, line).groups() for line in lines), strict=True
    )
    assert counts == ("1/3", "2/3", "3/3")
    assert sorted(labels[:2]) == ["walls: scale_walls alpha", "walls: scale_walls beta"]
    assert labels[2] == "publish: publish"
    assert all(float(text) >= 0 for text in seconds)


def test_what_a_c_library_prints_goes_to_the_log_of_its_step(site):
    """Output that doesn't pass through Python is in the step's log, and not on the terminal."""
    (site.folder / "data" / "beta.txt").write_text("8\n")
    ended = site.run()
    log = (site.folder / "logs" / "read_survey" / "beta.log").read_text()
    assert "said by a C library" in log
    assert "said by" not in ended.text


def test_run_beside_another_is_refused(site):
    """While a run is at work a second one ends at once, and names the first one's process."""
    site.configure(CHANGED_SITE)
    first = site.start(MINI_DELAY_S="1")
    wait_for(lambda: (site.folder / ".wrackline.lock").read_text() == f"{first.pid}\n")
    second = site.run()
    assert second.code == 4
    assert f"another run is at work on this site (process {first.pid})" in second.text
    assert finish(first).code == 0


def test_step_left_behind_keeps_the_site_until_it_ends(site):
    """A run waits for a step of a killed run to end; one that doesn't end is named."""
    site.configure(CHANGED_SITE)
    folder = site.folder / "work" / "walls"
    killed = site.start(cores=1, MINI_TROUBLE="linger")
    wait_for(lambda: any(half_written(text) for text in files_in(folder).values()))
    engine = engine_of(killed)
    left_behind = children(engine)[0]
    os.kill(killed.pid, signal.SIGKILL)
    killed.wait()
    wait_for(lambda: not alive(engine))
    assert alive(left_behind)

    refused = site.run(MINI_PATIENCE_S="0.2")
    assert refused.code == 4
    assert (
        f"a step of an interrupted run is still at work on this site (process {left_behind})"
        in (refused.text)
    )
    waiting = site.start(MINI_PATIENCE_S="20")
    assert waiting.stdout.readline().startswith("Waiting for a step of an interrupted run")
    os.kill(left_behind, signal.SIGKILL)
    assert finish(waiting).code == 0
    killed.stdout.close()


def test_record_of_a_run_names_every_step(site):
    """`logs/steps.jsonl` holds one JSON object a step, for a program to read."""
    site.configure({**SITE, "title": "Harbour"})
    site.run()
    lines = (site.folder / "logs" / "steps.jsonl").read_text().splitlines()
    record = json.loads(lines[0])
    assert record.pop("seconds") > 0
    assert record == {
        "event": "finished",
        "step": "publish",
        "stage": "publish",
        "wildcards": {},
        "log": ["logs/publish.log"],
    }
