"""The hamlet: however it is disturbed, it ends in the bytes of an undisturbed run."""

import os
import shutil
import signal
import subprocess
import sys

import pytest
from run_helpers import REPOSITORY, Ended, engine_of, files_in, finish

COMMAND = "import sys; from wrackline.command import main; sys.exit(main())"

# After so many lines of progress, that process is sent that signal.
DISTURBANCES = [
    (3, "parent", signal.SIGTERM),
    (4, "engine", signal.SIGKILL),
    (4, "group", signal.SIGKILL),
    (4, "group", signal.SIGINT),
    (4, "parent", signal.SIGKILL),
]


def start(site):
    """Start to build a site, in a process group of its own."""
    output = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY / "scripts")}
    command = [sys.executable, "-c", COMMAND, "build", "--site", str(site)]
    return subprocess.Popen(command, process_group=0, env=environment, **output)


def copy_hamlet(folder):
    """Return a site with the hamlet's config and nothing else."""
    shutil.copytree(REPOSITORY / "tests" / "hamlet" / "config", folder / "config")
    return folder


def disturb(site, *, lines, target, number):
    """Start a run, and send a signal to one of its processes after some lines of progress."""
    run = start(site)
    for line in run.stdout:
        lines -= line.startswith("[")
        if lines == 0:
            break
    pids = {"parent": run.pid, "engine": engine_of(run), "group": -run.pid}
    os.kill(pids[target], number)
    return finish(run)


@pytest.mark.slow
def test_hamlet_killed_five_times_ends_in_the_bytes_of_an_undisturbed_run(tmp_path):
    """The whole workflow, killed at five moments, gives what it gives undisturbed."""
    undisturbed = copy_hamlet(tmp_path / "undisturbed")
    ended = finish(start(undisturbed), within_s=300)
    assert ended.code == 0, ended.text
    killed = copy_hamlet(tmp_path / "killed")
    for lines, target, number in DISTURBANCES:
        assert disturb(killed, lines=lines, target=target, number=number).code != 0
        assert not (killed / "results").exists()
    ended = finish(start(killed), within_s=300)
    assert ended.code == 0, ended.text
    expected = files_in(undisturbed / "results")
    found = files_in(killed / "results")
    assert sorted(found) == sorted(expected)
    assert [name for name in expected if found[name] != expected[name]] == []


@pytest.mark.slow
def test_hamlet_needs_nothing_the_second_time(tmp_path):
    """A second run of the hamlet starts no step; without hidden files every step runs again."""
    site = copy_hamlet(tmp_path / "site")
    assert finish(start(site), within_s=300).code == 0
    ended = finish(start(site))
    assert ended == Ended(0, "Nothing to do: results are up to date.\n")
    copied = tmp_path / "copied"
    shutil.copytree(site, copied, ignore=shutil.ignore_patterns(".*"))
    assert "Building" in finish(start(copied), within_s=300).text
    assert files_in(copied / "results") == files_in(site / "results")
