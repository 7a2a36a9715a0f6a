"""What a person is told when a run fails: what happened, where, and what to do.

A step's own account, the last line of its log, decides. Only where there is none, because the step
was ended from outside or never came so far, does what Snakemake reports count.
"""

from __future__ import annotations

import re
import signal
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrackline.errors import EXIT_BUG, EXIT_STOPPED, error_from_dict
from wrackline.step import last_record

Record = dict[str, Any]

_KEPT = "results/ is as it was."
_AGAIN = "Run the same command again to go on."
_NO_NEWS = "At least one job did not complete successfully."
_OUTSIDE = {signal.SIGKILL, signal.SIGTERM, signal.SIGINT, signal.SIGHUP}
_STATUS = re.compile(r"exit status (\d+)|died with <Signals\.(\w+)")


@dataclass(frozen=True)
class Failure:
    """A message for a person, and the exit code that goes with it."""

    text: str
    exit_code: int


def explain(records: Sequence[Record], *, site: Path) -> Failure:
    """Say why a run failed.

    Parameters
    ----------
    records : sequence of dict
        The run's records, as `wrackline.progress.read_records` returns them.
    site : Path
        Folder of the site; logs are named relative to it.

    Returns
    -------
    Failure
        All failed steps in one text; the exit code of a mistake of ours outranks the others.
    """
    messages = [str(r["message"]) for r in records if r["event"] == "error"]
    messages = [message for message in messages if not message.endswith(_NO_NEWS)]
    failed = [r for r in records if r["event"] == "failed"]
    failures = [_explain_step(r, messages=messages, site=site) for r in failed]
    if not failures:
        failures = [_explain_workflow(messages)]
    text = "\n\n".join([*dict.fromkeys(f.text for f in failures), _KEPT])
    return Failure(text, max(failures, key=lambda f: _rank(f.exit_code)).exit_code)


def ended_from_outside(number: int) -> Failure:
    """Say that the run's own engine was ended by a signal."""
    hint = " The machine may have run out of memory." if number == signal.SIGKILL else ""
    text = f"The run was ended from outside ({_signal_name(number)}).{hint}\n{_KEPT} {_AGAIN}"
    return Failure(text, EXIT_STOPPED)


def bug(where: str, what: str, log: str) -> Failure:
    """Say that the mistake is ours.

    Parameters
    ----------
    where : str
        The step, or empty outside of one.
    what : str
        The last line of the traceback, or the like.
    log : str
        File to look at and to send.
    """
    lines = ["This is a mistake in wrackline, not in your data.", f"  what:   {what}"]
    lines += [f"  step:   {where}"] if where else []
    lines += [f"  log:    {log}"]
    lines += ["  to do:  send this message and the log to the makers of wrackline"]
    return Failure("\n".join(lines), EXIT_BUG)


def _explain_step(record: Record, *, messages: Sequence[str], site: Path) -> Failure:
    name = " ".join([record["step"], *record["wildcards"].values()])
    log = (record["log"] or ["logs/run.log"])[0]
    account = last_record(site / log) or {}
    if account.get("end") == "error":
        error = error_from_dict(account)
        return Failure(f"{error}\n  step:    {name}\n  log:     {log}", error.exit_code)
    if account.get("end") == "bug":
        return bug(name, account["summary"], log)
    own = re.compile(rf"\.{record['step']}\.py'|\brule {record['step']}\b")
    message = next(filter(own.search, messages), "")
    number = _signal_in(message)
    if number is not None:
        return _stopped_step(name, number, log)
    if account.get("end") != "done":
        return bug(name, _last_line(site / "logs" / "run.log"), "logs/run.log")
    return bug(name, _first_line(message), log)


def _stopped_step(name: str, number: int, log: str) -> Failure:
    """Tell a step that was ended from one that crashed."""
    if number not in _OUTSIDE:
        return bug(name, f"the step crashed ({_signal_name(number)})", log)
    hint = "; often the machine ran out of memory" if number == signal.SIGKILL else ""
    lines = [
        f"A step was ended from outside ({_signal_name(number)}){hint}.",
        f"  step:   {name}",
        f"  log:    {log}",
        f"  to do:  {_AGAIN[0].lower()}{_AGAIN[1:-1]}, with --cores 1 when memory is short",
    ]
    return Failure("\n".join(lines), EXIT_STOPPED)


def _explain_workflow(messages: Sequence[str]) -> Failure:
    """Explain a failure outside of any step; one without a word is a graceful stop."""
    if not messages:
        return ended_from_outside(signal.SIGTERM)
    what = "\n          ".join(line.strip() for line in messages[0].splitlines()[:8])
    return bug("", what, "logs/run.log")


def _signal_in(message: str) -> int | None:
    """Return the signal that ended a step, from the words in which Python reports it."""
    found = _STATUS.search(message)
    if found is None:
        return None
    status, name = found.groups()
    if name:
        return int(signal.Signals[name])
    return int(status) - 128 if int(status) > 128 else None


def _signal_name(number: int) -> str:
    try:
        return f"signal {int(number)}, {signal.Signals(number).name}"
    except ValueError:
        return f"signal {number}"


def _first_line(text: str) -> str:
    return text.strip().splitlines()[0] if text.strip() else "no reason was given"


def _last_line(log: Path) -> str:
    """Return the last line that says something, e.g. what a traceback ends with."""
    text = log.read_text(encoding="utf-8", errors="replace") if log.is_file() else ""
    lines = [line for line in text.splitlines() if line.strip()]
    return lines[-1] if lines else "no reason was given"


def _rank(exit_code: int) -> tuple[bool, int]:
    return exit_code == EXIT_BUG, exit_code if exit_code != EXIT_STOPPED else 0
