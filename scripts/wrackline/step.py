"""How a step runs: its own log, a fixed environment, and an account of how it ended.

Every script in `scripts/` ends with ``step(main, snakemake)``. The last line of the step's log
is then a record that the run reads: done, an error that a person can mend, or a mistake of ours.
A log without such a line belongs to a step that was ended from outside.
"""

from __future__ import annotations

import atexit
import ctypes
import errno
import faulthandler
import json
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

from wrackline.environment import fix_environment
from wrackline.errors import Fault, WracklineError

MARK = "@wrackline "
_PR_SET_PDEATHSIG = 1
_SHORTAGES: dict[object, str] = {
    errno.ENOSPC: "room on the disk",
    errno.EDQUOT: "room on the disk",
    MemoryError: "memory",
}


def step(main: Callable[[Any], None], snakemake: Any) -> None:
    """Run `main(snakemake)` as a step of the workflow; exit with 1 when it fails.

    Parameters
    ----------
    main : callable
        The step: reads, calls the library, writes.
    snakemake : object
        What Snakemake gives to a script; its first log file receives all that the step prints,
        what C libraries print included.

    Raises
    ------
    SystemExit
        With 1 when `main` raised; the reason is the last line of the log.

    Notes
    -----
    The process ends here when `main` succeeded.
    """
    die_with_parent()
    redirect_output(Path(snakemake.log[0]))
    fix_environment()
    started = time.monotonic()
    try:
        main(snakemake)
    except Exception as error:
        traceback.print_exc()
        _end(_account(error))
        sys.exit(1)
    _end({"end": "done", "seconds": round(time.monotonic() - started, 3)})
    _leave()


def _account(error: Exception) -> dict[str, Any]:
    """Return what the run is to know of an exception: whose it is, and what to do about it."""
    if isinstance(error, WracklineError):
        return {"end": "error", **error.as_dict()}
    short = _SHORTAGES.get(getattr(error, "errno", None) or type(error))
    if short is not None:
        fault = Fault(
            kind="machine_too_small",
            found=f"no {short} left ({error})",
            allowed=f"a machine with enough {short} for the site",
            consequence="the step can't be done",
            remedy=f"make room ({short}), then run the same command again; --cores 1 needs less",
        )
        return {"end": "error", **WracklineError(fault).as_dict()}
    return {"end": "bug", "summary": traceback.format_exception_only(error)[-1].strip()}


def die_with_parent() -> None:
    """Ask the kernel to end this process as soon as the process that started it has ended.

    A run that is killed outright then leaves no step at work behind it.
    """
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, int(signal.SIGKILL), 0, 0, 0)


def redirect_output(log: Path) -> None:
    """Send standard output and standard error to `log`, for Python and for C libraries.

    Parameters
    ----------
    log : Path
        Written anew; its folder is made when missing.
    """
    log.parent.mkdir(parents=True, exist_ok=True)
    sys.stdout.flush()
    sys.stderr.flush()
    target = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND, 0o666)
    os.dup2(target, 1)
    os.dup2(target, 2)
    os.close(target)
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(line_buffering=True)  # type: ignore[union-attr]
    faulthandler.enable(file=2)


def last_record(log: Path) -> dict[str, Any] | None:
    """Return the record that closes a step's log, or None when the step never got that far.

    Parameters
    ----------
    log : Path
        A step's log; it may be missing.

    Returns
    -------
    dict or None
        With key ``end``: ``done`` (with ``seconds``), ``error`` (with what
        `wrackline.errors.error_from_dict` reads) or ``bug`` (with ``summary``).
    """
    if not log.is_file():
        return None
    marked = [
        line
        for line in log.read_text(encoding="utf-8", errors="replace").splitlines()
        if line.startswith(MARK)
    ]
    if not marked:
        return None
    try:
        record: dict[str, Any] = json.loads(marked[-1].removeprefix(MARK))
    except json.JSONDecodeError:
        return None
    return record


def _leave() -> NoReturn:
    """End this process with 0, without taking apart all that was loaded, which takes as long."""
    atexit._run_exitfuncs()
    os._exit(0)


def _end(record: dict[str, Any]) -> None:
    """Close the log with `record`, after all that C libraries still hold back."""
    sys.stdout.flush()
    sys.stderr.flush()
    ctypes.CDLL(None).fflush(None)
    os.write(2, f"\n{MARK}{json.dumps(record, ensure_ascii=False)}\n".encode())
