"""What a person sees while a run is at work, and the record of it that the run itself reads.

`Progress` takes the events that Snakemake logs and knows nothing else of Snakemake, so that its
lines can be tested without a run. Each finished or failed step, and each error outside of a step,
is also appended to ``logs/steps.jsonl``, one JSON object a line.
"""

from __future__ import annotations

import json
import os
import re
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

LONG_STEP_S = 10.0

Event = Mapping[str, Any]


@dataclass
class _Job:
    """A step at work."""

    rule: str
    message: str
    wildcards: dict[str, str]
    log: list[str]
    started: float
    timer: threading.Timer


class Progress:
    """Turn Snakemake's events into lines for a person and records for a program.

    Parameters
    ----------
    terminal : int
        File descriptor that the lines are written to.
    records : Path, optional
        File that the records are appended to.
    heading : str, optional
        Line to print before the first step, if there is one.
    long_step_s : float, optional
        A step that takes longer is said to be at work, once.
    """

    def __init__(
        self,
        terminal: int,
        *,
        records: Path | None = None,
        heading: str = "",
        long_step_s: float = LONG_STEP_S,
    ) -> None:
        self._terminal = terminal
        self._records = records
        self._heading = heading
        self._long_step_s = long_step_s
        self._stages: dict[str, str] = {}
        self._jobs: dict[int, _Job] = {}
        self._done = 0
        self._total = 0

    def handle(self, kind: str, event: Event) -> None:
        """Take one event: `kind` as Snakemake names it, e.g. ``job_info``, and its fields."""
        handler = getattr(self, f"_on_{kind}", None)
        if handler is not None:
            handler(event)

    def close(self) -> None:
        """Forget steps still at work, so that nothing is printed about them any more."""
        for job in self._jobs.values():
            job.timer.cancel()
        self._jobs.clear()

    def _on_workflow_started(self, event: Event) -> None:
        self._stages = stage_of_rules(Path(str(event.get("snakefile_main", ""))).parent)

    def _on_run_info(self, event: Event) -> None:
        """Learn how many steps there are; a target without a product of its own isn't one."""
        counts = dict(event.get("stats") or {})
        total = int(counts.pop("total", 0))
        self._total = total - sum(counts.get(target, 0) for target in ("all", "check"))
        if self._heading and self._total:
            self._print(self._heading)

    def _on_job_info(self, event: Event) -> None:
        if not event.get("output"):
            return
        number = int(event["jobid"])
        timer = threading.Timer(self._long_step_s, self._still_at_work, [number])
        timer.daemon = True
        wildcards = {str(k): str(v) for k, v in dict(event.get("wildcards") or {}).items()}
        rule = str(event["rule_name"])
        log = [str(path) for path in event.get("log") or []]
        message = str(event.get("rule_msg") or "")
        self._jobs[number] = _Job(rule, message, wildcards, log, time.monotonic(), timer)
        timer.start()

    def _on_job_finished(self, event: Event) -> None:
        job = self._jobs.pop(int(event["job_id"]), None)
        if job is None:
            return
        job.timer.cancel()
        self._done += 1
        seconds = time.monotonic() - job.started
        count = f"[{self._done:>{len(str(self._total))}}/{self._total}]"
        self._print(f"{count} {self._label(job)}  {seconds:.1f} s")
        self._record("finished", job, seconds=round(seconds, 3))

    def _on_job_error(self, event: Event) -> None:
        """Snakemake tells of a failure twice: when it happens, and again at the end."""
        job = self._jobs.pop(int(event["jobid"]), None)
        if job is not None:
            job.timer.cancel()
            self._print(f"failed: {self._label(job)}")
            self._record("failed", job)

    def _on_error(self, event: Event) -> None:
        record = {"event": "error", "exception": str(event.get("exception", ""))}
        self._append({**record, "message": str(event.get("msg", "")).strip()})

    def _still_at_work(self, number: int) -> None:
        job = self._jobs.get(number)
        if job is not None:
            self._print(f"at work: {self._label(job)} ({self._long_step_s:.0f} s so far)")

    def _label(self, job: _Job) -> str:
        """Return the rule's own message; without one, its stage, its name and its wildcards."""
        stage = self._stages.get(job.rule)
        name = " ".join([job.rule, *job.wildcards.values()])
        return job.message or (f"{stage}: {name}" if stage else name)

    def _print(self, line: str) -> None:
        """Write to the terminal; one that has gone away stops no run."""
        try:
            os.write(self._terminal, (line + "\n").encode())
        except OSError:
            self._terminal = os.open(os.devnull, os.O_WRONLY)

    def _record(self, event: str, job: _Job, **more: float) -> None:
        names = {"event": event, "step": job.rule, "stage": self._stages.get(job.rule, "")}
        self._append({**names, "wildcards": job.wildcards, "log": job.log, **more})

    def _append(self, record: Mapping[str, Any]) -> None:
        if self._records is not None:
            with self._records.open("a", encoding="utf-8") as file:
                file.write(json.dumps(record, ensure_ascii=False) + "\n")


def stage_of_rules(root: Path) -> dict[str, str]:
    """Return the stage of every rule: the name of the file in ``workflow/rules`` that holds it."""
    stages = {}
    for file in sorted(root.glob("workflow/rules/*.smk")):
        for rule in re.findall(r"^\s*rule\s+(\w+)\s*:", file.read_text("utf-8"), re.MULTILINE):
            stages[rule] = file.stem
    return stages


def read_records(file: Path) -> list[dict[str, Any]]:
    """Return the records of the last run, in the order in which they were written."""
    if not file.is_file():
        return []
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
