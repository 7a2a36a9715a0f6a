"""One run a site, held by the kernel for as long as any process of the run is alive.

The run locks ``.wrackline.lock`` and makes the locked file its standard input. Everything that it
starts inherits it, outside programs included, and with it the lock; so a step that outlives a run
that was killed keeps the site locked until it ends, and can be found. Nothing has to be cleaned up.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from wrackline.errors import BusyError, ConfigError, Fault

LOCK_NAME = ".wrackline.lock"
_POLL_S = 0.05


def acquire(site: Path, *, patience_s: float = 10.0, say: Callable[[str], None] = print) -> int:
    """Lock the site for this run.

    Parameters
    ----------
    site : Path
        Folder of the site.
    patience_s : float, optional
        How long to wait for a step that an interrupted run left behind.
    say : callable, optional
        Told, once, that there is something to wait for.

    Returns
    -------
    int
        File descriptor that holds the lock; the lock lasts until it, and every copy that other
        processes inherited, is closed.

    Raises
    ------
    BusyError
        When another run is at work, or a step left behind doesn't end in time.
    ConfigError
        When nothing can be written in the site's folder.
    """
    file = site / LOCK_NAME
    try:
        handle = os.open(file, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        raise _not_writable(error) from error
    deadline = time.monotonic() + patience_s
    told = False
    while not _try_lock(handle):
        owner = _owner(handle, file=file)
        if owner is not None or time.monotonic() > deadline:
            left_behind = holders(site)
            os.close(handle)
            raise _busy(owner, left_behind)
        if not told:
            say(f"Waiting for a step of an interrupted run to end {_processes(holders(site))}.")
            told = True
        time.sleep(_POLL_S)
    os.ftruncate(handle, 0)
    os.pwrite(handle, f"{os.getpid()}\n".encode(), 0)
    return handle


@contextlib.contextmanager
def held_still(site: Path) -> Iterator[None]:
    """Keep runs from a site for a moment, writing nothing there; without a lock file none ever was.

    Raises
    ------
    BusyError
        When a run is at work on the site.
    """
    try:
        handle = os.open(site / LOCK_NAME, os.O_RDONLY)
    except FileNotFoundError:
        yield
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError as slip:
        owner = _owner(handle, file=site / LOCK_NAME)
        os.close(handle)
        raise _busy(owner, holders(site)) from slip
    try:
        yield
    finally:
        os.close(handle)


def holders(site: Path) -> list[int]:
    """Return the processes, this one left out, whose standard input is the site's lock file."""
    target = _identity(site / LOCK_NAME)
    found = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit() or int(entry.name) == os.getpid():
            continue
        if target is not None and _identity(entry / "fd" / "0") == target:
            found.append(int(entry.name))
    return sorted(found)


def end_holders(site: Path, *, grace_s: float = 3.0) -> None:
    """End every process that the site's run started: ask first, and after a while insist.

    Parameters
    ----------
    site : Path
        Folder of the site, locked by this process.
    grace_s : float, optional
        Time between asking (TERM) and insisting (KILL).
    """
    deadline = time.monotonic() + grace_s
    _signal_all(holders(site), signal.SIGTERM)
    while (alive := holders(site)) and time.monotonic() < deadline:
        time.sleep(_POLL_S)
    while alive:
        _signal_all(alive, signal.SIGKILL)
        time.sleep(_POLL_S)
        alive = holders(site)


def _signal_all(pids: list[int], number: signal.Signals) -> None:
    for pid in pids:
        try:
            os.kill(pid, number)
        except ProcessLookupError:
            continue


def _try_lock(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _owner(handle: int, *, file: Path) -> int | None:
    """Return the process that wrote itself into the lock file, if it still has the file open."""
    text = os.pread(handle, 32, 0).decode(errors="replace").strip()
    if not text.isdigit():
        return None
    target = _identity(file)
    try:
        opened = [_identity(entry) for entry in Path(f"/proc/{text}/fd").iterdir()]
    except OSError:
        return None
    return int(text) if target in opened else None


def _identity(path: Path) -> tuple[int, int] | None:
    """Return device and file number, or None for what is gone or not ours to see."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _processes(pids: list[int]) -> str:
    names = ", ".join(map(str, pids)) or "of unknown number"
    return f"({'process' if len(pids) < 2 else 'processes'} {names})"


def _busy(owner: int | None, left_behind: list[int]) -> BusyError:
    who = "another run is" if owner is not None else "a step of an interrupted run is still"
    pids = [owner] if owner is not None else left_behind
    return BusyError(
        Fault(
            kind="busy",
            found=f"{who} at work on this site {_processes(pids)}",
            allowed="one run at a time",
            consequence="both would write the same files, and neither could be trusted",
            remedy="wait until it has ended and run again, or end it: "
            f"kill {' '.join(map(str, pids)) or 'PROCESS'}",
        )
    )


def _not_writable(error: OSError) -> ConfigError:
    return ConfigError(
        Fault(
            kind="site_not_writable",
            found=f"nothing can be written in the site's folder ({error})",
            allowed="a folder on a disk that you may write to",
            consequence="neither work nor results can be kept",
            remedy="copy the site to a disk of your own, or ask for leave to write there",
        )
    )
