"""A step keeps its own log, and closes it with an account of how it ended."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from wrackline.environment import FIXED_ENVIRONMENT
from wrackline.errors import InputError, error_from_dict
from wrackline.step import last_record

SCRIPTS = Path(__file__).resolve().parents[3] / "scripts"
SCRIPT = """
import ctypes, os, sys
from types import SimpleNamespace
from wrackline.errors import Fault, InputError
from wrackline.step import step

def main(snakemake):
{body}

step(main, SimpleNamespace(log=[sys.argv[1]]))
"""


def run_step(tmp_path, body):
    """Run a step with the given body; return its exit code, its output and its log."""
    log = tmp_path / "logs" / "some" / "step.log"
    text = SCRIPT.format(body="\n".join(f"    {line}" for line in body.splitlines()))
    environment = {**os.environ, "PYTHONPATH": str(SCRIPTS)}
    command = [sys.executable, "-c", text, log]
    ended = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    return ended.returncode, ended.stdout + ended.stderr, log


def gone(pid):
    """Return whether a process has ended, fetched by its parent or not."""
    try:
        return ") Z " in Path(f"/proc/{pid}/stat").read_text()
    except FileNotFoundError:
        return True


def test_step_that_succeeds_says_done(tmp_path):
    """The log ends with `done` and the seconds it took; nothing reaches the terminal."""
    code, output, log = run_step(tmp_path, "print('working')")
    assert (code, output) == (0, "")
    assert log.read_text().startswith("working\n")
    assert last_record(log)["end"] == "done"


def test_all_ways_to_print_end_in_the_log(tmp_path):
    """Python's streams, both file descriptors and a C library's buffer end in the log."""
    body = (
        "print('by python'); print('by stderr', file=sys.stderr)\n"
        "os.write(1, b'by 1\\n'); os.write(2, b'by 2\\n'); ctypes.CDLL(None).puts(b'by C')"
    )
    _, output, log = run_step(tmp_path, body)
    assert output == ""
    words = ["by python", "by stderr", "by 1", "by 2", "by C"]
    assert [word for word in words if word not in log.read_text()] == []
    assert log.read_text().splitlines()[-1].startswith("@wrackline ")


def test_error_that_a_person_can_mend_is_handed_on_whole(tmp_path):
    """The fault's four parts, file and row come back from the log as they were raised."""
    body = "raise InputError(Fault('no_rows', 'a', 'b', 'c', 'd', file='x.csv', row=7))"
    code, _, log = run_step(tmp_path, body)
    error = error_from_dict(last_record(log))
    assert code == 1
    assert isinstance(error, InputError)
    assert (error.faults[0].file, error.faults[0].row) == ("x.csv", 7)


def test_mistake_of_ours_leaves_its_traceback_in_the_log(tmp_path):
    """Any other exception is ours: its traceback in the log, its last line in the record."""
    code, output, log = run_step(tmp_path, "{}['absent']")
    assert (code, output) == (1, "")
    assert "Traceback" in log.read_text()
    assert last_record(log) == {"end": "bug", "summary": "KeyError: 'absent'"}


@pytest.mark.parametrize(
    ("body", "found"),
    [("raise OSError(28, 'full')", "no room on the disk"), ("raise MemoryError", "no memory left")],
)
def test_machine_that_is_too_small_is_no_mistake_of_ours(tmp_path, body, found):
    """A full disk, or too little memory, is told as such, with what to do."""
    _, _, log = run_step(tmp_path, body)
    fault = error_from_dict(last_record(log)).faults[0]
    assert fault.kind == "machine_too_small"
    assert fault.found.startswith(found)


def test_crash_names_the_line_in_the_log(tmp_path):
    """A crash inside of a C library leaves no record, but the line of Python that led to it."""
    code, _, log = run_step(tmp_path, "ctypes.string_at(0)")
    assert code == -signal.SIGSEGV
    assert last_record(log) is None
    assert "Segmentation fault" in log.read_text()
    assert "in main" in log.read_text()


def test_environment_is_fixed(tmp_path):
    """Dates, time zone, encoding and thread counts are the same in every step."""
    _, _, log = run_step(tmp_path, "import json; print(json.dumps(dict(os.environ)))")
    seen = json.loads(log.read_text().splitlines()[0])
    assert {name: seen.get(name) for name in FIXED_ENVIRONMENT} == FIXED_ENVIRONMENT


def test_step_ends_with_the_process_that_started_it(tmp_path):
    """When the starter is killed outright, the step doesn't go on without it."""
    pid_file = tmp_path / "pid"
    body = f"import time; open({str(pid_file)!r}, 'w').write(str(os.getpid())); time.sleep(60)"
    text = SCRIPT.format(body=f"    {body}")
    starter = (
        "import subprocess, sys\n"
        f"subprocess.run([sys.executable, '-c', {text!r}, {str(tmp_path / 'a.log')!r}])"
    )
    environment = {**os.environ, "PYTHONPATH": str(SCRIPTS)}
    process = subprocess.Popen([sys.executable, "-c", starter], env=environment)
    while not (pid_file.exists() and pid_file.read_text()):
        time.sleep(0.01)
    process.kill()
    process.wait()
    step_pid = int(pid_file.read_text())
    deadline = time.monotonic() + 10
    while not gone(step_pid):
        assert time.monotonic() < deadline, "the step outlived its starter"
        time.sleep(0.01)


@pytest.mark.parametrize("text", ["", "no record\n", "@wrackline {half"])
def test_log_without_a_whole_record_gives_none(tmp_path, text):
    """A step that was ended in the midst of its work left no account."""
    log = tmp_path / "step.log"
    log.write_text(text)
    assert last_record(log) is None
    assert last_record(tmp_path / "absent.log") is None
