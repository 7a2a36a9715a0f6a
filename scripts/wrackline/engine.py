"""The one process of a run that loads Snakemake: checks, builds, tidies up.

Snakemake is driven through its command line's own parser, in this one process: a summary of what
the rules make, then, unless all of it stands, the target `check` and the target `all`. Loading it
is most of an idle run, so a second run costs little more than ``snakemake --version``.
"""

from __future__ import annotations

import contextlib
import copy
import io
import json
import os
import sys
import traceback
from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from snakemake.cli import args_to_api, parse_args
from snakemake.persistence.file import FilePersistence

from wrackline import failure, housekeeping, progress, rehearsal
from wrackline.config import load_site
from wrackline.environment import fix_environment
from wrackline.errors import EXIT_INPUT, EXIT_OK, Fault, fault_from_dict
from wrackline.fingerprint import fingerprint
from wrackline.job import Job
from wrackline.planned import PlannedStep, causes_of, read_plan

VERDICT = "work/check/report.json"


@dataclass(frozen=True)
class Listing:
    """What targets ask for: products and logs, relative to the site, and whether any is due."""

    products: frozenset[str] = frozenset()
    logs: frozenset[str] = frozenset()
    pending: bool = True


class Engine:
    """Snakemake, set up for one run."""

    def __init__(self, job: Job, *, terminal: int) -> None:
        self._job = job
        self._terminal = terminal
        self._parser, self._arguments = self._parse()

    def run(self) -> int:
        """Do what was asked; return the exit code."""
        if self._job.built is not None:
            return self._rehearse(self._job.built)
        return self._check_alone() if self._job.surveys else self._check_and_build()

    def _rehearse(self, built: Path) -> int:
        """Tell what a build of the site that this one stands in for would do; carry out the check.

        The dry run comes first: after the check, the steps of intake would stand.
        """
        targets = ("check", "all")
        listing = self._list(*targets)
        if not listing.products:
            return self._failed()
        plan = self.plan(*targets, again=self._doubtful(listing))
        was = rehearsal.read_built(built)
        surveys = list(load_site(self._job.site).surveys)
        causes = causes_of(plan, rehearsal.new_names(surveys, was), self._code)
        told = rehearsal.Rehearsal(was, surveys, plan, len(listing.logs), causes)
        order = rehearsal.stage_order(self._job.root)
        self._say(rehearsal.text_of(told, order, built) + "\n")
        if not self._make("check", heading="Checking, away from the site"):
            self._say("The logs of a rehearsal go with it; `wrackline check` leaves them in logs/.")
            return self._failed()
        verdict = read_verdict(self._job.site)
        found = {"faults": verdict.faults, "suspicions": verdict.suspicions}
        self._say(f"\n{rehearsal.check_text(found, told)}\nNothing of the site was touched.")
        return EXIT_INPUT if verdict.faults else EXIT_OK

    def plan(self, *targets: str, again: Sequence[str] = ()) -> list[PlannedStep]:
        """Return the steps that targets ask for, or that make `again`, and carry none out."""
        file = self._job.log.with_name("plan.jsonl")
        file.unlink(missing_ok=True)
        changes = {"forcerun": list(again), "dryrun": True, "logger_wrackline_plan": str(file)}
        self._snakemake(*targets, **changes)
        return read_plan(file)

    def _code(self, rule: str) -> str:
        """Return the present fingerprint of a rule's code."""
        return fingerprint(rule, scripts=self._job.root / "scripts")

    def _check_and_build(self) -> int:
        """Check and build, or find that there is nothing to do; return the exit code."""
        targets = ["check"] if self._job.check_only else ["check", "all"]
        listing = self._list(*targets)
        if not listing.products:
            return self._failed()
        stands = not listing.pending and not self._doubtful(listing)
        if not stands and not self._make("check", heading="Checking the survey files"):
            return self._failed()
        verdict = read_verdict(self._job.site)
        if verdict.faults:
            return self._refuse(verdict)
        if self._job.check_only:
            self._tell(verdict.suspicions, summary=verdict.summary)
            self._say("No faults found.")
            return EXIT_OK
        self._tell_suspicions(verdict.suspicions, in_full=not stands)
        if not stands and not self._make(*targets, heading="Building"):
            return self._failed()
        self._sweep(listing if stands else self._list(*targets))
        if stands:
            self._say("Nothing to do: results are up to date.")
        return EXIT_OK

    def _check_alone(self) -> int:
        """Check the files of some surveys, each by itself; return the exit code."""
        verdicts = [f"work/intake/{survey}/verdict.json" for survey in self._job.surveys]
        if not self._make(*verdicts, heading="Checking one survey file"):
            return self._failed()
        found = [read_verdict(self._job.site, verdict) for verdict in verdicts]
        faults = [fault for one in found for fault in one.faults]
        self._tell([*faults, *(doubt for one in found for doubt in one.suspicions)], summary="")
        self._say(
            f"{len(faults) or 'No'} fault{'s' if len(faults) != 1 else ''} in the file itself."
        )
        return EXIT_INPUT if faults else EXIT_OK

    def _parse(self) -> tuple[ArgumentParser, Namespace]:
        profile = self._job.root / "workflow" / "profiles" / "default"
        words = ["--snakefile", self._job.root / "Snakefile", "--directory", self._job.site]
        words += ["--profile", "none", "--workflow-profile", profile]
        words += ["--cores", self._job.cores or "all"]
        words += ["--resources", f"mem_mb={self._job.memory_mb}"]
        words += ["--logger-wrackline-terminal", self._terminal]
        words += ["--logger-wrackline-records", self._job.records]
        parser, arguments = parse_args([str(word) for word in words])
        arguments.max_jobs_per_timespan = None  # each job's start would set off a clock for good
        return parser, arguments

    def _snakemake(self, *targets: str, **changes: Any) -> bool:
        """Run Snakemake once, with its command-line arguments changed as given."""
        arguments = copy.copy(self._arguments)
        arguments.targets = list(targets)
        for name, value in changes.items():
            setattr(arguments, name, value)
        return bool(args_to_api(arguments, self._parser))

    def _list(self, *targets: str) -> Listing:
        """Return what targets ask for; nothing when the rules can't be read."""
        text = io.StringIO()
        with contextlib.redirect_stdout(text):
            self._snakemake(*targets, summary=True)
        return read_summary(text.getvalue())

    def _make(self, *targets: str, heading: str) -> bool:
        """Make what targets ask for; a product that can't be trusted is made again."""
        listing = self._list(*targets)
        changes = {"forcerun": self._doubtful(listing), "logger_wrackline_heading": heading}
        return bool(listing.products) and self._snakemake(*targets, **changes)

    def _doubtful(self, listing: Listing) -> list[str]:
        site = self._job.site
        dates = _recorded_dates(site)
        return housekeeping.untrusted(site, products=listing.products, recorded_date=dates)

    def _sweep(self, listing: Listing) -> None:
        """Remove what no rule makes, and Snakemake's records of it."""
        site = self._job.site
        records = FilePersistence(path=site / ".snakemake", nolock=True)
        for name in housekeeping.sweep(site, products=listing.products, logs=listing.logs):
            records._delete_record(name)

    def _failed(self) -> int:
        found = failure.explain(progress.read_records(self._job.records), site=self._job.site)
        self._say(f"\n{found.text}")
        return found.exit_code

    def _tell(self, faults: list[Fault], *, summary: str) -> None:
        """Show what was found: the report's own summary, or each in turn where it has none."""
        text = summary or "\n\n".join(fault.text() for fault in faults)
        if text:
            self._say(f"\n{text}\n")

    def _refuse(self, verdict: Findings) -> int:
        self._tell(verdict.faults, summary=verdict.summary)
        count = f"{len(verdict.faults)} fault{'s' if len(verdict.faults) > 1 else ''}"
        self._say(f"{count} in the survey files. Nothing was built; results/ is as it was.")
        return EXIT_INPUT

    def _tell_suspicions(self, suspicions: list[Fault], *, in_full: bool) -> None:
        """Show what is doubtful; in a run that does nothing else, only how much of it there is."""
        if suspicions and in_full:
            self._say("\n" + "\n\n".join(suspicion.text() for suspicion in suspicions) + "\n")
        elif suspicions:
            self._say(f"Doubtful, but no fault: {len(suspicions)}; see `wrackline check`.")

    def _say(self, text: str) -> None:
        with contextlib.suppress(OSError):
            os.write(self._terminal, (text + "\n").encode())


def start(job: Job) -> int:
    """Do the run's work in this process, which ends with it; return the exit code.

    Standard output and standard error go to ``logs/run.log``, with whatever Snakemake or a step
    that has no log yet prints; only lines meant for a person go to the terminal.

    Notes
    -----
    Snakemake works in a second thread. In the first it would take over the signal TERM, with a
    handler that waits for a lock that the interrupted code may hold, and so now and then for ever.
    """
    terminal = os.dup(1)
    _log_to(job.log)
    job.records.write_text("", encoding="utf-8")
    fix_environment()
    os.chdir(job.site)
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(_work, job, terminal=terminal).result()


def _work(job: Job, *, terminal: int) -> int:
    """Run the engine; a mistake of ours becomes a message, its traceback stays in the log."""
    try:
        housekeeping.distrust_foreign_work(job.site)
        code = Engine(job, terminal=terminal).run()
        housekeeping.prune_snakemake(job.site)
    except Exception as error:
        traceback.print_exc()
        what = traceback.format_exception_only(error)[-1].strip()
        found = failure.bug("", what, str(job.log.relative_to(job.site)))
        os.write(terminal, f"\n{found.text}\n".encode())
        return found.exit_code
    return code


@dataclass(frozen=True)
class Findings:
    """What the checks found: faults, suspicions, and all of it as a text for the terminal."""

    faults: list[Fault]
    suspicions: list[Fault]
    summary: str


def read_verdict(site: Path, verdict: str = VERDICT) -> Findings:
    """Return what the checks found, of all surveys or of one."""
    record = json.loads((site / verdict).read_text(encoding="utf-8"))
    return Findings(
        [fault_from_dict(fault) for fault in record["faults"]],
        [fault_from_dict(suspicion) for suspicion in record["suspicions"]],
        record.get("summary", ""),
    )


def read_summary(text: str) -> Listing:
    r"""Read the table that ``snakemake --summary`` prints; no table gives an empty listing.

    What a rule makes for a while only, and is gone, isn't among the products.

    Examples
    --------
    >>> head = "output_file\tlog-file(s)\tstatus\tplan\n"
    >>> listing = read_summary(head + "work/a\tlogs/a,logs/b\tok\tno update\n")
    >>> sorted(listing.products), sorted(listing.logs), listing.pending
    (['work/a'], ['logs/a', 'logs/b'], False)
    """
    head, *lines = [line.split("\t") for line in text.splitlines() if "\t" in line] or [[]]
    rows = [dict(zip(head, line, strict=True)) for line in lines]
    if not rows:
        return Listing()
    logs = {log for row in rows for log in row["log-file(s)"].split(",")} - {"-", ""}
    products = {row["output_file"] for row in rows if row["status"] != "removed temp file"}
    pending = any(row["plan"] != "no update" for row in rows)
    return Listing(frozenset(products), frozenset(logs), pending)


def _recorded_dates(site: Path) -> housekeeping.RecordedDate:
    """Return a look-up of the date that Snakemake's record of a product states."""
    records = FilePersistence(path=site / ".snakemake", nolock=True)

    def recorded_date(name: str) -> float | None:
        record = records._read_record(name)
        return None if record is None or record.incomplete else record.endtime

    return recorded_date


def _log_to(log: Path) -> None:
    """Send standard output and standard error to `log`, written anew."""
    log.parent.mkdir(parents=True, exist_ok=True)
    sys.stdout.flush()
    sys.stderr.flush()
    handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND, 0o666)
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    os.close(handle)
