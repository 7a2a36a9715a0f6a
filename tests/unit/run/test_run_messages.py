"""What a person reads while a run is at work, and when it fails."""

import json
import os
import re
import signal

import pytest

from wrackline import command, failure
from wrackline.engine import read_summary
from wrackline.errors import ConfigError, Fault, InputError
from wrackline.progress import Progress, read_records, stage_of_rules


@pytest.fixture
def terminal():
    """Return the two ends of a pipe that stands for the terminal."""
    ends = os.pipe()
    yield ends
    for end in ends:
        os.close(end)


def start_job(number, rule="join_walls", **wildcards):
    """Return the event of a step that starts."""
    return {
        "jobid": number,
        "rule_name": rule,
        "wildcards": wildcards,
        "output": ["work/x"],
        "log": [f"logs/{rule}.log"],
    }


def test_line_of_a_finished_step(terminal, tmp_path):
    """A step's line gives its number of how many, its stage, its view and its seconds."""
    rules = tmp_path / "workflow" / "rules"
    rules.mkdir(parents=True)
    (rules / "walls.smk").write_text("rule join_walls:\n    output: 'a'\n")
    progress = Progress(terminal[1], records=tmp_path / "steps.jsonl", heading="Building")
    progress.handle("workflow_started", {"snakefile_main": str(tmp_path / "Snakefile")})
    progress.handle("run_info", {"stats": {"join_walls": 23, "all": 1, "total": 24}})
    progress.handle("job_info", start_job(3, view="upto-2021"))
    progress.handle("job_finished", {"job_id": 3})
    lines = os.read(terminal[0], 1000).decode().splitlines()
    assert lines == ["Building", "[ 1/23] walls: join_walls upto-2021  0.0 s"]
    record = read_records(tmp_path / "steps.jsonl")[0]
    assert (record["step"], record["wildcards"]) == ("join_walls", {"view": "upto-2021"})


def test_message_of_a_rule_takes_the_place_of_its_name(terminal):
    """Where a rule says in plain words what it does, a person reads that."""
    progress = Progress(terminal[1])
    progress.handle("run_info", {"stats": {"join_walls": 1, "total": 1}})
    progress.handle("job_info", {**start_job(1), "rule_msg": "Walls: joining the lines"})
    progress.handle("job_finished", {"job_id": 1})
    assert os.read(terminal[0], 1000) == b"[1/1] Walls: joining the lines  0.0 s\n"


def test_target_without_a_product_is_no_step(terminal):
    """The workflow's own targets are neither counted nor shown."""
    progress = Progress(terminal[1])
    progress.handle("run_info", {"stats": {"a": 1, "check": 1, "total": 2}})
    progress.handle("job_info", {**start_job(1, rule="check"), "output": []})
    progress.handle("job_finished", {"job_id": 1})
    progress.handle("job_info", start_job(2, rule="a"))
    progress.handle("job_finished", {"job_id": 2})
    assert os.read(terminal[0], 1000).decode().splitlines() == ["[1/1] a  0.0 s"]


def test_long_step_is_said_to_be_at_work(terminal):
    """A step that takes long is named while it does."""
    progress = Progress(terminal[1], long_step_s=0.01)
    progress.handle("job_info", start_job(1, survey="alpha"))
    assert os.read(terminal[0], 1000) == b"at work: join_walls alpha (0 s so far)\n"
    progress.close()


def test_failure_is_told_once(terminal, tmp_path):
    """Snakemake reports a failed step more than once; a person reads it once."""
    progress = Progress(terminal[1], records=tmp_path / "steps.jsonl")
    progress.handle("job_info", start_job(1, survey="alpha"))
    for _ in range(2):
        progress.handle("job_error", {"jobid": 1})
    assert os.read(terminal[0], 1000) == b"failed: join_walls alpha\n"
    assert [record["event"] for record in read_records(tmp_path / "steps.jsonl")] == ["failed"]


def test_terminal_that_is_gone_stops_nothing(terminal):
    """A closed terminal is no reason to fail."""
    reader, writer = os.pipe()
    os.close(reader)
    progress = Progress(writer)
    progress.handle("job_info", start_job(1))
    progress.handle("job_finished", {"job_id": 1})
    os.close(writer)


def test_events_that_mean_nothing_to_a_person_are_passed_over(terminal):
    """An unknown event is ignored."""
    Progress(terminal[1]).handle("rulegraph", {})


def test_stages_are_the_names_of_the_files_of_rules(tmp_path):
    """A rule belongs to the stage whose file holds it."""
    rules = tmp_path / "workflow" / "rules"
    rules.mkdir(parents=True)
    (rules / "fit.smk").write_text("rule one:\n    output: 'a'\n\n\nrule two:\n    output: 'b'\n")
    assert stage_of_rules(tmp_path) == {"one": "fit", "two": "fit"}
    assert stage_of_rules(tmp_path / "absent") == {}


def failed_step(site, account, *, step="grid_bed", message=""):
    """Write a failed step's log; return the records of its run."""
    log = f"logs/{step}.log"
    (site / "logs").mkdir(exist_ok=True)
    (site / log).write_text("" if account is None else f"@wrackline {json.dumps(account)}\n")
    return [
        {"event": "error", "message": message},
        {"event": "failed", "step": step, "wildcards": {"survey": "alpha"}, "log": [log]},
        {"event": "error", "message": "X:\nAt least one job did not complete successfully."},
    ]


@pytest.mark.parametrize(("kind", "code"), [(ConfigError, 2), (InputError, 3)])
def test_error_of_a_step_keeps_its_four_parts_and_its_code(tmp_path, kind, code):
    """A fault that a step met is shown in full, with step and log, and decides the exit code."""
    error = kind(Fault("no_rows", "0 rows", "1 or more", "no surface", "export again", "bed.xyz"))
    found = failure.explain(
        failed_step(tmp_path, {"end": "error", **error.as_dict()}), site=tmp_path
    )
    assert found.exit_code == code
    parts = ["0 rows", "1 or more", "no surface", "export again", "bed.xyz", "grid_bed alpha"]
    assert [part for part in [*parts, "logs/grid_bed.log"] if part not in found.text] == []


def test_mistake_of_ours_says_so(tmp_path):
    """A bug is called ours, with step, log and what to do; it outranks other failures."""
    error = InputError(Fault("no_rows", "a", "b", "c", "d"))
    records = failed_step(tmp_path, {"end": "error", **error.as_dict()}, step="one")
    records += failed_step(tmp_path, {"end": "bug", "summary": "KeyError: 'x'"}, step="two")
    found = failure.explain(records, site=tmp_path)
    assert found.exit_code == 70
    assert "mistake in wrackline, not in your data" in found.text
    assert "KeyError: 'x'" in found.text
    assert "FAULT no_rows" in found.text


@pytest.mark.parametrize(
    ("words", "code", "text"),
    [
        ("died with <Signals.SIGKILL: 9>.", 130, r"ended from outside \(signal 9, SIGKILL\)"),
        ("returned non-zero exit status 137.", 130, r"ended from outside \(signal 9, SIGKILL\)"),
        ("died with <Signals.SIGTERM: 15>.", 130, r"ended from outside \(signal 15, SIGTERM\)"),
        ("died with <Signals.SIGSEGV: 11>.", 70, r"the step crashed \(signal 11, SIGSEGV\)"),
        ("returned non-zero exit status 255.", 70, r"signal 127"),
    ],
)
@pytest.mark.parametrize("account", [None, {"end": "done", "seconds": 1}])
def test_step_ended_by_a_signal_is_named_as_such(tmp_path, words, code, text, account):
    """The signal is told, whether the shell or Python reported it; only a crash is ours."""
    message = f"Command 'python tmp.grid_bed.py' {words}"
    found = failure.explain(failed_step(tmp_path, account, message=message), site=tmp_path)
    assert found.exit_code == code
    assert re.search(text, found.text)


def test_step_without_an_account_is_explained_by_the_runs_log(tmp_path):
    """A step that couldn't start is explained by the last line of what it printed."""
    records = failed_step(tmp_path, None, message="tmp.grid_bed.py' returned exit status 1.")
    (tmp_path / "logs" / "run.log").write_text("Traceback\nImportError: no module\n\n")
    found = failure.explain(records, site=tmp_path)
    assert (found.exit_code, "ImportError: no module" in found.text) == (70, True)


def test_failure_outside_of_a_step_gives_the_first_reason(tmp_path):
    """A workflow that can't be read ends in the first thing that Snakemake said."""
    records = [{"event": "error", "message": "SyntaxError in file a:\nbad"}]
    found = failure.explain(records, site=tmp_path)
    assert (found.exit_code, "SyntaxError in file a:" in found.text) == (70, True)


def test_end_without_a_reason_is_an_end_from_outside(tmp_path):
    """A run in which nothing failed, and that isn't complete, was stopped."""
    assert failure.explain([], site=tmp_path).exit_code == 130
    assert "memory" in failure.ended_from_outside(signal.SIGKILL).text


def test_summary_gives_products_and_logs():
    """A product that was only made for a while, and is gone, isn't asked for."""
    table = (
        "output_file\tdate\trule\tlog-file(s)\tstatus\tplan\n"
        "work/a\t-\tr\tlogs/a\tok\tno update\n"
        "work/b\t-\tr\t-\tremoved temp file\tno update\n"
        "work/c\t-\tr\t-\tmissing\tupdate pending\n"
    )
    listing = read_summary(table)
    assert (listing.products, listing.logs) == ({"work/a", "work/c"}, {"logs/a"})
    assert listing.pending
    assert read_summary("no table").products == set()


@pytest.mark.parametrize("cores", ["0", "-1", "two"])
def test_number_of_cores_must_be_a_whole_number_from_one(cores, capsys):
    """A number of cores that makes no sense is refused with what is allowed."""
    with pytest.raises(SystemExit, match="2"):
        command.main(["build", "--site", "x", "--cores", cores])
    assert f"{cores!r} is not a whole number from 1" in capsys.readouterr().err


def test_command_names_the_files_that_it_wrote(tmp_path, capfd):
    """Starting a site, and writing the schemas, ends with a line for each file."""
    assert command.main(["new", "--site", str(tmp_path / "site")]) == 0
    assert command.main(["schemas", "--folder", str(tmp_path / "schemas")]) == 0
    lines = capfd.readouterr().out.splitlines()
    assert f"wrote {tmp_path / 'site' / 'config' / 'site.yaml'}" in lines
    assert f"wrote {tmp_path / 'schemas' / 'season.schema.json'}" in lines


def test_config_that_cannot_be_used_ends_with_2(tmp_path, capfd):
    """The command's exit code tells a fault in the config from others."""
    assert command.main(["build", "--site", str(tmp_path)]) == 2
    assert "FAULT config_missing" in capfd.readouterr().out


def test_mistake_of_ours_outside_of_a_run_is_told_as_such(monkeypatch, capfd):
    """An exception that nobody foresaw ends with 70 and the same words as in a run."""
    monkeypatch.setattr(command, "run", lambda *_arguments, **_options: {}["absent"])
    assert command.main(["check", "--site", "x"]) == 70
    assert "This is a mistake in wrackline, not in your data." in capfd.readouterr().out
