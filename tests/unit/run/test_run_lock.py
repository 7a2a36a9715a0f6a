"""One run a site, for as long as any process of it is alive."""

import os
import signal
import subprocess
import sys
import threading

import pytest

from wrackline import lock
from wrackline.errors import BusyError, ConfigError


@pytest.fixture
def held(tmp_path):
    """Lock a site, and let go of it at the end."""
    handle = lock.acquire(tmp_path)
    yield handle
    os.close(handle)


@pytest.fixture
def left_behind(tmp_path):
    """Return a process that inherited the lock of a run that is no more."""
    handle = lock.acquire(tmp_path)
    os.pwrite(handle, b"4194304\n", 0)
    process = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"], stdin=handle)
    os.close(handle)
    yield process
    process.kill()
    process.wait()


def test_second_run_is_refused_and_told_by_whom(tmp_path, held):
    """While a run holds the site another is refused at once, with the first one's process."""
    with pytest.raises(
        BusyError, match=rf"another run is at work on this site \(process {os.getpid()}\)"
    ):
        lock.acquire(tmp_path)


def test_refusal_names_the_way_out(tmp_path, held):
    """The message says what is allowed, and how to end the other run."""
    with pytest.raises(BusyError, match=rf"one run at a time(.|\n)*kill {os.getpid()}"):
        lock.acquire(tmp_path)


def test_lock_is_free_when_its_process_lets_go(tmp_path):
    """A lock that was let go can be taken again, by any run, with nothing to clean up."""
    os.close(lock.acquire(tmp_path))
    os.close(lock.acquire(tmp_path))


def test_left_behind_process_holds_the_site_and_is_named(tmp_path, left_behind):
    """A process that inherited the lock keeps it, though the run that took it is gone."""
    assert lock.holders(tmp_path) == [left_behind.pid]
    told = []
    with pytest.raises(
        BusyError, match=rf"still at work on this site \(process {left_behind.pid}\)"
    ):
        lock.acquire(tmp_path, patience_s=0.1, say=told.append)
    assert told == [f"Waiting for a step of an interrupted run to end (process {left_behind.pid})."]


def test_run_goes_on_when_the_process_left_behind_ends(tmp_path, left_behind):
    """A run that waits takes the lock as soon as the other process has ended."""
    threading.Timer(0.2, os.kill, [left_behind.pid, signal.SIGKILL]).start()
    os.close(lock.acquire(tmp_path, patience_s=30, say=lambda _text: None))


def test_all_that_a_run_started_is_ended(tmp_path):
    """Processes that heed TERM, and those that don't, are gone afterwards; others aren't."""
    handle = lock.acquire(tmp_path)
    deaf = (
        "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print(1, flush=True)"
    )
    code = [f"{deaf}; time.sleep(60)", "import time; print(1, flush=True); time.sleep(60)"]
    inside = [
        subprocess.Popen([sys.executable, "-c", c], stdin=handle, stdout=subprocess.PIPE)
        for c in code
    ]
    outside = subprocess.Popen([sys.executable, "-c", code[1]], stdout=subprocess.PIPE)
    for process in (*inside, outside):
        process.stdout.readline()
    ender = threading.Thread(target=lock.end_holders, args=[tmp_path], kwargs={"grace_s": 0.3})
    ender.start()
    codes = [process.wait(timeout=10) for process in inside]
    ender.join()
    assert codes == [-signal.SIGKILL, -signal.SIGTERM]
    assert outside.poll() is None
    outside.kill()
    for process in (*inside, outside):
        process.communicate()
    os.close(handle)


def test_site_that_cannot_be_written_to_is_told(tmp_path):
    """Where no lock can be kept, nothing else could be; the message says what to do."""
    with pytest.raises(ConfigError, match=r"nothing can be written(.|\n)*copy the site"):
        lock.acquire(tmp_path / "absent")
