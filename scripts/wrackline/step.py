"""How a step runs: its own log, a fixed environment, and an account of how it ended.

Every script in `scripts/` ends with ``step(main, snakemake)``. The last line of the step's log
is then a record that the run reads: done, an error that a person can mend, or a mistake of ours.
A log without such a line belongs to a step that was ended from outside.
"""

from __future__ import annotations

import ctypes
import faulthandler
import json
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from wrackline.environment import fix_environment
from wrackline.errors import WracklineError

MARK = "@wrackline "
_PR_SET_PDEATHSIG = 1


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
    """
    die_with_parent()
    redirect_output(Path(snakemake.log[0]))
    fix_environment()
    started = time.monotonic()
    try:
        main(snakemake)
    except WracklineError as error:
        print(error, flush=True)
        _end({"end": "error", **error.as_dict()})
    except Exception as error:
        traceback.print_exc()
        summary = traceback.format_exception_only(error)[-1].strip()
        _end({"end": "bug", "summary": summary})
    else:
        _end({"end": "done", "seconds": round(time.monotonic() - started, 3)})
        return
    sys.exit(1)


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


def _end(record: dict[str, Any]) -> None:
    """Close the log with `record`, after all that C libraries still hold back."""
    sys.stdout.flush()
    sys.stderr.flush()
    ctypes.CDLL(None).fflush(None)
    os.write(2, f"\n{MARK}{json.dumps(record, ensure_ascii=False)}\n".encode())
